"""Charts draw the arrays they are given and say in words what these show."""

import re
from collections.abc import Sequence
from xml.etree import ElementTree

import numpy as np
import pytest
from matplotlib.colors import to_rgb

from optimizer.bands import BANDS
from optimizer.drawings import charts
from optimizer.drawings.chart_axes import NOW, PLANNED
from optimizer.drawings.style import Picture

NOW_S = np.array([0.45, 0.45, 0.70, 1.01, 1.06, 1.00, 0.74, 0.56])
PLAN_S = np.array([0.41, 0.34, 0.39, 0.24, 0.14, 0.22, 0.20, 0.26])
LOW = np.array([np.nan, 0.15, 0.15, 0.15, 0.15, 0.15, 0.15, 0.10])
HIGH = np.array([0.50, 0.35, 0.25, 0.25, 0.25, 0.25, 0.25, 0.30])
SEATS = ("mix", "couch")
F_HZ = np.geomspace(10.0, 400.0, 200)
LEVELS = np.stack([6 * np.sin(F_HZ / 9), 4 * np.sin(F_HZ / 5) - 3])


def decay() -> Picture:
    return charts.decay_chart(NOW_S, PLAN_S, LOW, HIGH)


def early(labels: Sequence[str] | None = None) -> Picture:
    names = ("left speaker to mix via ceiling", "left speaker to mix via top of desk", "c")
    return charts.early_chart([4.7, 0.8, 6.9], [-9.0, -8.4, -14.0], [-19.0, -8.4, -70.0], names,
                              -10.0, 15.0, labels)  # fmt: skip


def modes() -> Picture:
    return charts.modes_chart([90.0, 37.3, 50.0], [0.52, 0.65, 0.9], [0.30, 0.57, 0.8],
                              [0.36, 0.85, 0.64], np.array([True, True, False]))  # fmt: skip


def sides() -> Picture:
    return charts.sides_chart([0.7, -1.9], [0.2, -1.2], 1.57, ["125 Hz", "250 Hz"])


def response() -> Picture:
    return charts.response_chart(F_HZ, LEVELS, 0.5 * LEVELS, SEATS)


def budget() -> Picture:
    return charts.budget_chart([0, 500, 1500], [3.2, 1.1, 0.6], "EUR", 500.0)


def stages() -> Picture:
    return charts.stages_chart(["bare", "corners", "panels"], [0, 300, 900], [3, 1.5, 0.6], "EUR")


ALL = (decay, early, modes, sides, response, budget, stages)


def drawn(shown: Picture, label: str, axes: int = 0) -> tuple[np.ndarray, np.ndarray]:
    """Data of the line with a label."""
    lines = shown.figure.axes[axes].lines
    x, y = next(line for line in lines if line.get_label() == label).get_data()
    return np.asarray(x), np.asarray(y)


@pytest.mark.parametrize("make", ALL)
def test_svg_is_well_formed_told_in_words_and_always_the_same(make) -> None:  # type: ignore[no-untyped-def]
    shown = make()
    root = ElementTree.fromstring(shown.svg)
    assert root.get("role") == "img"
    assert shown.alt.endswith(".")
    assert re.search(r"\d", shown.alt)
    assert make().svg == shown.svg


def test_now_and_planned_differ_in_grey() -> None:
    """Luminance of ITU-R BT.709, dash and marker all differ."""
    grey = [np.dot((0.2126, 0.7152, 0.0722), to_rgb(s.colour)) for s in (NOW, PLANNED)]
    assert abs(grey[0] - grey[1]) > 0.15
    assert NOW.dash != PLANNED.dash
    assert NOW.marker != PLANNED.marker


def test_decay_draws_its_arrays_and_counts_what_is_outside() -> None:
    shown = decay()
    np.testing.assert_array_equal(drawn(shown, "now")[1], NOW_S)
    np.testing.assert_array_equal(drawn(shown, "with the plan")[1], PLAN_S)
    first, second = shown.alt.split("; ")
    assert first == (
        "Now 7 of the 8 octave bands are outside the limits, the farthest 1 kHz with 1.06 s "
        "(allowed at most 0.25 s)"
    )
    assert second == (
        "with the plan 2 of the 8 octave bands are outside the limits, the farthest 250 Hz with "
        "0.39 s (allowed at most 0.25 s)."
    )


def test_decay_below_its_limit_is_outside_too() -> None:
    dead = np.where(np.arange(8) == 4, 0.05, 0.2)
    alt = charts.decay_chart(np.full(8, 0.2), dead, LOW, HIGH).alt
    assert "Now none of the 8 octave bands is outside" in alt
    assert "1 of the 8 octave bands is outside the limits, the farthest 1 kHz with 0.05 s (allowed "
    assert "at least 0.15 s" in alt


def test_decay_without_absorption_or_with_gaps_is_drawn() -> None:
    endless = np.where(np.arange(8) < 2, np.inf, 0.4)
    gaps = np.where(np.arange(8) > 5, np.nan, 0.3)
    shown = charts.decay_chart(endless, gaps, np.full(8, np.nan), np.full(8, np.nan))
    assert np.isfinite(shown.figure.axes[0].get_ylim()).all()


def test_uncertainty_is_drawn_as_given() -> None:
    shown = charts.decay_chart(NOW_S, PLAN_S, LOW, HIGH, (0.9 * PLAN_S, 1.2 * PLAN_S))
    (bars,) = shown.figure.axes[0].containers
    ends = np.array([path.vertices[:, 1] for path in bars[2][0].get_paths()])
    np.testing.assert_allclose(ends, np.stack([0.9 * PLAN_S, 1.2 * PLAN_S], axis=1), rtol=1e-12)
    assert len(ends) == len(BANDS)


def test_early_names_what_stays_too_loud() -> None:
    shown = early()
    np.testing.assert_array_equal(drawn(shown, "limit -10 dB"), ([0.0, 15.0], [-10.0, -10.0]))
    np.testing.assert_array_equal(drawn(shown, "with the plan")[1], [-19.0, -8.4, -40.0])
    notes = [text.get_text() for text in shown.figure.axes[0].texts]
    assert notes == ["left speaker to mix via top of ..."]
    assert shown.alt == (
        "Now 2 of the 3 first reflections are above the limit of -10 dB; the strongest is left "
        "speaker to mix via top of desk with -8.4 dB. With the plan 1 of the 3 first reflections "
        "is above the limit of -10 dB; the strongest is left speaker to mix via top of desk with "
        "-8.4 dB."
    )
    short = early(labels=("a", "desk", "c"))
    assert [text.get_text() for text in short.figure.axes[0].texts] == ["desk"]
    assert short.alt == shown.alt


def test_early_labels_do_not_lie_on_each_other() -> None:
    names = [f"left speaker to mix via surface {i}" for i in range(12)]
    delay, level = np.linspace(1, 14, 12), np.full(12, -5.0)
    shown = charts.early_chart(delay, level, level, names, -10.0, 15.0)
    notes = shown.figure.axes[0].texts
    assert 1 <= len(notes) < 12
    shown.png()  # lays the texts out
    boxes = [note.get_window_extent() for note in notes]
    for i, box in enumerate(boxes):
        assert not any(box.overlaps(other) for other in boxes[i + 1 :])


def test_modes_count_only_those_that_are_heard() -> None:
    shown = modes()
    np.testing.assert_array_equal(
        drawn(shown, "audible limit"), ([37.3, 50, 90], [0.85, 0.64, 0.36])
    )
    np.testing.assert_array_equal(drawn(shown, "now"), ([37.3, 90.0], [0.65, 0.52]))
    assert shown.alt == (
        "Now 1 of the 2 modes that count rings longer than the audible limit; the farthest from it "
        "is 90.0 Hz with 0.52 s (limit 0.36 s). With the plan none of the 2 modes that count rings "
        "longer than the audible limit; the nearest to it is 90.0 Hz with 0.30 s (limit 0.36 s). "
        "Small marks are modes that only inform."
    )


def test_sides_say_which_side_and_how_much() -> None:
    shown = sides()
    bars = [[bar.get_height() for bar in group] for group in shown.figure.axes[0].containers]
    assert bars == [[0.7, -1.9], [0.2, -1.2]]
    assert shown.alt == (
        "Now the sides differ most at 250 Hz: 1.90 m² more on the right; 1 of the 2 bands is "
        "beyond the limit of 1.57 m². With the plan the sides differ most at 250 Hz: 1.20 m² more "
        "on the right; none of the 2 bands is beyond the limit of 1.57 m²."
    )


def test_response_is_relative_to_the_first_seat_now() -> None:
    shown = response()
    used = (F_HZ >= 20) & (F_HZ <= 300)
    zero = 10 * np.log10(np.mean(10 ** (LEVELS[0, used] / 10)))
    for seat in range(2):
        x, y = drawn(shown, "with the plan", seat)
        np.testing.assert_allclose(x, F_HZ[used])
        np.testing.assert_allclose(y, 0.5 * LEVELS[seat, used] - zero, rtol=1e-12)
    spread = LEVELS[1, used].std()
    assert f"At couch the level strays from its mean by {spread:.1f} dB now" in shown.alt


def test_budget_and_stages_tell_their_ends() -> None:
    assert budget().alt == "The weighted excess falls from 3.20 at 0 EUR to 0.60 at 1,500 EUR."
    assert stages().alt.startswith("bare: 0 EUR spent, excess 3.00; corners: 300 EUR spent")
    for wrong in (lambda: charts.budget_chart([], [], "EUR"),
                  lambda: charts.stages_chart([], [], [], "EUR")):  # fmt: skip
        with pytest.raises(ValueError, match="at least one"):
            wrong()


def test_nothing_to_draw_is_said() -> None:
    none = np.zeros(0)
    assert "No reflection" in charts.early_chart(none, none, none, (), -10.0, 15.0).alt
    assert "No room mode" in charts.modes_chart(none, none, none, none, none.astype(bool)).alt
    assert "No band" in charts.sides_chart(none, none, 1.0, ()).alt
    with pytest.raises(ValueError, match="20 to 300 Hz"):
        charts.response_chart([500.0], [[0.0]], [[0.0]], ["mix"])


def test_names_of_any_length_and_kind() -> None:
    name = "<seat> & $x$ " + 80 * "w"
    shown = charts.response_chart(F_HZ, LEVELS, LEVELS, (name, "\x00couch"))
    assert "<seat> & $x$" in shown.alt
    ElementTree.fromstring(shown.svg)
    charts.early_chart([1.0], [-3.0], [-3.0], [name], -10.0, 15.0).png()
