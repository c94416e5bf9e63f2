"""What a calibrated room file carries of a measurement stands in the report beside predictions.

Decays, rooms and prices are invented.
"""

import re
from pathlib import Path

import numpy as np
import pytest
from pages import Page, sections, words_of
from plans import demo_project, edited_project, plan_of

from optimizer.bands import BANDS, band_label
from optimizer.faults import ScenarioError
from optimizer.project import load_project
from optimizer.report.page import report_html
from optimizer.results.fingerprint import figures_mark
from optimizer.results.model import Plan

ROOM = "small_bedroom"
T20 = (0, 0.612, 0.664, 0.781, 0.842, 0.833, 0.744, 0)
ERROR = (0, 0.031, 0.022, 0.023, 0.014, 0.016, 0.018, 0)
BEFORE = (0.61, 0.597, 0.617, 0.854, 0.919, 0.874, 0.758, 0.567)
AFTER = (0.62, 0.611, 0.652, 0.789, 0.847, 0.832, 0.741, 0.567)


def section(state: str, t20: tuple[float, ...] = T20) -> str:
    rows = {"t20": t20, "error": ERROR, "before": BEFORE, "after": AFTER}
    told = "".join(f"{key} = {list(values)}\n" for key, values in rows.items())
    return f'[[measured]]\nstate = "{state}"\n{told}\n'


def calibrated(folder: Path, *states: str) -> Plan:
    """A plan for a demo room whose file carries these states."""
    text = "\n".join(states)
    return plan_of(edited_project(folder, ROOM, toml=("[budget]", f"{text}\n[budget]")))


def measured_part(plan: Plan, units: str = "m") -> str:
    html = report_html(plan, units)
    assert Page(html).faults == []
    return sections(html)["measured"]


def rows_of(html: str) -> list[list[str]]:
    """Cells of the rows of every table."""
    return [
        [words_of(cell) for cell in re.findall(r"<t[hd]\b.*?</t[hd]>", row, re.DOTALL)]
        for body in re.findall(r"<tbody.*?</tbody>", html, re.DOTALL)
        for row in re.findall(r"<tr.*?</tr>", body, re.DOTALL)
    ]


def test_no_part_where_nothing_was_measured() -> None:
    html = report_html(plan_of(demo_project(ROOM)))
    assert "measured" not in sections(html)
    assert "#measured" not in html


def test_each_band_with_what_was_and_is_predicted(tmp_path: Path) -> None:
    plan = calibrated(tmp_path / "room", section("before the first stage"))
    html = measured_part(plan)
    now = {row.where: row.before for row in plan.card.rows if row.criterion == "decay"}
    wanted = []
    for band, t, e, first, second in zip(BANDS, T20, ERROR, BEFORE, AFTER, strict=True):
        if t:
            name = band_label(band)
            cells = [name, f"{t:.2f} s", f"{e:.2f} s"]
            for predicted in (first, second, now[name]):
                cells += [f"{predicted:.2f} s", f"{round(100 * (predicted / t - 1)):+d} %"]
            wanted.append(cells)
    assert len(wanted) == 6
    assert rows_of(html) == wanted
    assert "Measured: before the first stage" in words_of(html)
    assert html.count("<svg") == 1


def test_the_chart_tells_how_far_off_each_prediction_is(tmp_path: Path) -> None:
    html = measured_part(calibrated(tmp_path / "room", section("bare")))
    t20, before, after = (np.array(v)[1:7] for v in (T20, BEFORE, AFTER))
    for word, predicted in (("By the tables", before), ("Calibrated", after)):
        off = 100 * np.abs(predicted / t20 - 1)
        mean, worst = off.mean(), off.max()
        told = f"{word}, the prediction is off by {mean:.0f} % on average, at most by {worst:.0f} %"
        assert told in html


def test_only_the_last_state_is_compared_with_the_room_as_it_is(tmp_path: Path) -> None:
    html = measured_part(calibrated(tmp_path / "room", section("bare"), section("stage 1")))
    lengths = [len(row) for row in rows_of(html)]
    assert lengths == [7] * 6 + [9] * 6
    assert html.count("<svg") == 2


def test_a_changed_figure_is_a_changed_figure_and_nothing_else(tmp_path: Path) -> None:
    other = (*T20[:3], 0.951, *T20[4:])
    first, second = (
        sections(report_html(calibrated(tmp_path / name, section("bare", t20))))
        for name, t20 in (("a", T20), ("b", other))
    )
    assert {key for key in first if first[key] != second[key]} == {"measured"}
    assert "0.95 s" in words_of(second["measured"])
    assert "0.95 s" not in words_of(first["measured"])


def test_it_is_told_and_not_computed_with(tmp_path: Path) -> None:
    plain = edited_project(tmp_path / "plain", ROOM)
    told = calibrated(tmp_path / "told", section("bare")).project
    assert figures_mark(plain, []) == figures_mark(told, [])


@pytest.mark.parametrize(
    ("old", "new"),
    [("0.612", "-0.612"), ("0.612, ", ""), ("error", "mistake"), ('state = "bare"\n', "")],
)
def test_sections_at_fault(tmp_path: Path, old: str, new: str) -> None:
    text = section("bare")
    assert old in text
    project = edited_project(tmp_path / "room", ROOM)
    path = project.scenario.path
    path.write_text(path.read_text() + text.replace(old, new, 1))
    with pytest.raises(ScenarioError) as caught:
        load_project(path)
    assert "measured" in str(caught.value.faults[0])
