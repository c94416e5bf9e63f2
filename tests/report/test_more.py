"""Other plans beside the one shown: stages, alternatives, budget curve; and names of notes."""

from dataclasses import dataclass, replace

import numpy as np
import pytest
from pages import Page, sections, words_of
from plans import PLACES, demo_project, plan_of

from optimizer.placement.alternatives import Alternatives
from optimizer.placement.budget_curve import Curve, Point
from optimizer.placement.plan import Selection
from optimizer.placement.stages import StagedSelection
from optimizer.report.page import report_html
from optimizer.report.summary import summary
from optimizer.report.wording import near_note, note_of
from optimizer.results.model import Plan
from optimizer.results.money_curve import money_curve
from optimizer.results.shopping import money

NOTHING = Selection("optimal", np.zeros(0, dtype=np.int64), 1.0, 0.9, 0.1, 1.0)


@dataclass(frozen=True)
class Staged:
    plans: tuple[Plan, ...]
    found: StagedSelection


@dataclass(frozen=True)
class Other:
    best: Plan
    plans: tuple[Plan, ...]
    found: Alternatives


@pytest.fixture(scope="module")
def plans() -> tuple[Plan, Plan]:
    """A first stage and a second one that holds it."""
    project = demo_project("spare_room")
    first = plan_of(project.with_budget(30000), PLACES[:2])
    return first, plan_of(project, PLACES[:4])


def test_stages_are_told_with_their_money_and_what_is_new(plans: tuple[Plan, Plan]) -> None:
    held = StagedSelection("optimal", (NOTHING,) * 2, (NOTHING,) * 2, (0.0, 0.0123), (0.5, 0.5),
                           1.0, 0.9, 0.1, 1.0)  # fmt: skip
    html = report_html(plans[1], stages=Staged(plans, held))
    assert Page(html).faults == []
    told = words_of(sections(html)["more"])
    currency = plans[0].project.scenario.budget.currency
    for plan in plans:
        assert money(plan.cost_cents, currency) in told
        assert f"{plan.card.score_after:.3f}" in told
    assert f"2 pieces: 2 × {plans[0].pieces[0].piece.product.name}" in told
    new = {p.piece.product.name for p in plans[1].pieces[2:]}
    assert all(f"1 × {name}" in told.split("stage 2")[-1] for name in new)
    assert "0.012" in told
    assert '<a href="#more">' in html


def test_alternatives_and_that_there_are_none(plans: tuple[Plan, Plan]) -> None:
    found = Alternatives((NOTHING,), np.array([[0.0, 0.42], [0.42, 0.0]]), True, 1.0)
    told = words_of(
        sections(report_html(plans[1], others=Other(plans[1], plans[:1], found)))["more"]
    )
    assert "alternative 1" in told
    assert "42 %" in told
    empty = Other(plans[1], (), Alternatives((), np.zeros((1, 1)), False, 1.0))
    told = words_of(sections(report_html(plans[1], others=empty))["more"])
    assert "None was found as far as the search went." in told


def test_budget_curve_with_what_is_kept_back(plans: tuple[Plan, Plan]) -> None:
    none = np.zeros(0, dtype=np.int64)
    kept = plans[1].project.set_aside.total
    points = tuple(
        Point(cents, cents - 100, NOTHING, score, score / 2, {}, none, none, 1e-5)
        for cents, score in ((20000, 2.0), (40000, 1.5))
    )
    amounts = [20000 + kept, 40000 + kept]
    html = report_html(plans[1], budget=money_curve(Curve(3.0, {}, points, 0), amounts))
    told = words_of(sections(html)["more"])
    currency = plans[1].project.scenario.budget.currency
    assert f"Beyond {money(20000 + kept, currency)} more money buys little." in told
    assert money(40000 + kept, currency) in told
    assert "without any piece the excess is 3.000" in told


def test_no_part_where_nothing_of_the_kind_was_made(plans: tuple[Plan, Plan]) -> None:
    assert "more" not in sections(report_html(plans[1]))


def test_how_sure_is_counted_in_three_parts(plans: tuple[Plan, Plan]) -> None:
    rows = plans[1].card.rows
    counting = [i for i, row in enumerate(rows) if row.weight > 0]
    chances = dict(zip(counting, np.resize([0.8, 0.79, 0.2, 0.19], len(counting)), strict=True))
    drawn = tuple(replace(row, chance=chances.get(i)) for i, row in enumerate(rows))
    plan = replace(plans[1], card=replace(plans[1].card, rows=drawn))
    values = list(chances.values())
    sure, low = sum(v >= 0.8 for v in values), sum(v < 0.2 for v in values)
    assert summary(plan).will[-1] == (
        f"How sure: {sure} of the {len(values)} limits are met with a chance of 80 % or more, "
        f"{len(values) - sure - low} may go either way, {low} have a chance below 20 %."
    )
    assert "How sure" not in " ".join(summary(plans[1]).will)


@pytest.mark.parametrize(
    ("f_hz", "name"),
    [(440.0, "A4"), (261.63, "C4"), (246.94, "B3"), (27.5, "A0"), (41.2, "E1"), (69.3, "C♯2")],
)
def test_notes(f_hz: float, name: str) -> None:
    """A4 = 440 Hz (ISO 16:1975); the others 440 Hz * 2^(n/12), equal temperament."""
    assert note_of(f_hz) == name


def test_a_name_only_for_a_frequency() -> None:
    assert near_note("137.2 Hz (0-0-2)") == "137.2 Hz (0-0-2), near C♯3"
    assert near_note("1 kHz") == "1 kHz"
