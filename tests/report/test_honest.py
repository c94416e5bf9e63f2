"""Reports of plans with little or nothing in them say so, and odd names do no harm."""

import re
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pytest
from pages import Page, sections, words_of
from plans import PLACES, Place, demo_project, edited_project, plan_of

from optimizer.commands.plan_text import plan_in_words
from optimizer.report.figures import NO_RESPONSE, report_charts
from optimizer.report.page import hanging_html, report_html
from optimizer.report.score import score_groups
from optimizer.report.summary import summary
from optimizer.results.model import Plan
from optimizer.results.proof import proof_in_words
from optimizer.results.report_md import report_markdown
from optimizer.results.scorecard import ScoreCard, ScoreRow

NASTY = '<b>&"Böse" $x$ </script>|%s {{ 7*7 }}' + "w" * 40


@pytest.fixture(scope="module")
def empty() -> Plan:
    return plan_of(demo_project("small_bedroom"), ())


@pytest.fixture(scope="module")
def laid() -> Plan:
    return plan_of(demo_project("small_bedroom"))


def test_no_piece_at_all(empty: Plan) -> None:
    html = report_html(empty)
    by_section = {key: words_of(text) for key, text in sections(html).items()}
    assert "Nothing to buy." in by_section["shopping"]
    assert "nothing to hang, the room stays as it is" in by_section["hanging"]
    assert "Nothing: no piece on the list" in by_section["short"]
    assert "Nothing: the room stays as it is." in by_section["short"]
    assert Page(html).faults == []
    assert "nothing to hang" in words_of(hanging_html(empty))


def test_why_nothing_is_bought(empty: Plan) -> None:
    failed = replace(empty, selection=replace(empty.selection, status="infeasible", bound=-np.inf))
    assert "without a plan" in summary(failed).buy[0]
    assert "nothing is proven" in proof_in_words(failed)
    met = tuple(replace(row, ok_before=True, ok_after=True) for row in empty.card.rows)
    fine = replace(empty, card=ScoreCard(met, 0.0, 0.0))
    assert summary(fine).buy == ["Nothing: every limit that counts is met already."]
    assert "already" in summary(fine).wrong[0]
    budget = empty.project.scenario.budget.model_copy(update={"amount": 0.0})
    scenario = replace(empty.project.scenario, budget=budget)
    poor = replace(empty, project=replace(empty.project, scenario=scenario))
    assert summary(poor).buy == ["Nothing: the budget is 0."]


def test_what_is_proven_is_not_overstated(laid: Plan) -> None:
    def told(status: str, gap: float, changed: bool = False) -> str:
        return proof_in_words(
            replace(laid, selection=replace(laid.selection, status=status, gap=gap)), changed
        )

    assert "Proven within 0.4 % of the best by the quick models" in told("optimal", 0.004)
    assert "not proven" in told("optimal", 0.004)  # of the fuller models
    assert "Proven" not in told("feasible", 0.2)
    assert "at most 20.0 %" in told("feasible", 0.2)
    assert "not known" in told("feasible", 3.0)
    assert "not known" in told("optimal", np.inf)
    assert "need not hold" in told("optimal", 0.004, True)


def test_how_many_plans_were_judged_is_said(laid: Plan) -> None:
    def told(judged: int | None) -> str:
        return proof_in_words(replace(laid, judged=judged))

    assert "The fuller models judged 12 plans; that no other is better by them" in told(12)
    assert "judged one plan;" in told(1)
    assert "No fuller model judged it." in told(0)
    assert "corrected" not in told(0)
    assert "that no other plan is better by the fuller models is not proven" in told(None).lower()


def test_a_bound_without_corrections_is_not_called_corrected(laid: Plan) -> None:
    """The first round has none, though its plan may be the one kept and judged."""
    assert "as the fuller ones corrected" not in proof_in_words(replace(laid, judged=3))
    said = proof_in_words(replace(laid, judged=3, corrected=True))
    assert "the best by the quick models that choose, as the fuller ones corrected them" in said


def test_page_markdown_and_terminal_say_the_same(laid: Plan) -> None:
    plan = replace(laid, judged=7)
    said = proof_in_words(plan)
    assert said in words_of(sections(report_html(plan))["short"])
    assert said in report_markdown(plan)
    assert " ".join(said.split()) in " ".join(plan_in_words(plan, "m", "", "").split())


def test_more_than_the_budget_and_worse_than_before_are_said(laid: Plan) -> None:
    budget = laid.project.scenario.budget.model_copy(update={"amount": 10.0})
    scenario = replace(laid.project.scenario, budget=budget)
    dear = replace(laid, project=replace(laid.project, scenario=scenario))
    assert "over the budget" in summary(dear).buy[-1]
    row = next(r for r in laid.card.rows if r.weight > 0 and r.high is not None)
    spoilt = replace(row, before=row.high, after=9 * row.high, ok_before=True, ok_after=False)
    rows = tuple(spoilt if r is row else r for r in laid.card.rows)
    worse = replace(laid, card=replace(laid.card, rows=rows))
    assert any("makes worse" in text and row.where in text for text in summary(worse).wont)


def test_figures_of_the_summary_are_those_of_the_card(laid: Plan) -> None:
    rows = [row for row in laid.card.rows if row.weight > 0]
    before = sum(not row.ok_before for row in rows)
    after = sum(not row.ok_after for row in rows)
    assert summary(laid).will[0] == (
        f"Of {len(rows)} limits that count, {before} are missed now and {after} with the plan."
    )
    worst = max((r for r in rows if r.criterion == "decay"), key=lambda r: r.before / r.high)
    assert f"At {worst.where} it takes {worst.before:.2f} s" in summary(laid).wrong[0]


def test_names_are_shown_as_written_and_break_nothing(tmp_path: Path) -> None:
    quoted = NASTY[:78].replace('"', '""')
    project = edited_project(
        tmp_path / "room", "small_bedroom",
        toml=('name = "mix"', "name = '" + NASTY[:78] + "'"),
        prices=('panel_50_1200,"wool panel 50 mm, 0.6 x 1.2 m"', f'panel_50_1200,"{quoted}"'),
    )  # fmt: skip
    html = report_html(plan_of(project))
    page = Page(html)
    assert page.faults == []
    assert not page.all("b")
    assert not page.all("script")
    by_section = sections(html)
    for key in ("short", "shopping", "hanging", "why"):
        assert NASTY[:78] in words_of(by_section[key]), key
    assert f"Seat “{NASTY[:78]}”" in words_of(by_section["sources"])
    assert "49" not in words_of(by_section["why"]).split("{{")[-1][:8]


@dataclass(frozen=True)
class WiderRow(ScoreRow):
    """A score row with columns that this report does not know."""

    spread: tuple[float, float] | None = None
    unused: str | None = None


def test_new_columns_of_the_score_card_are_shown(laid: Plan) -> None:
    rows = []
    for row in laid.card.rows:
        decay = row.criterion == "decay"
        more = {"after_low": 0.9 * row.after, "after_high": 1.2 * row.after} if decay else {}
        share = {"chance": 0.25, "spread": (1.0, 2.0)} if decay else {}
        rows.append(WiderRow(**{**row.as_dict(), **more, **share}))  # type: ignore[arg-type]
    wide = replace(laid, card=replace(laid.card, rows=tuple(rows)))
    decay = next(g for g in score_groups(wide.card) if g.key == "decay")
    assert decay.table.header == (
        "what", "limits", "now", "with the plan", "4 in 5 between", "chance", "spread", "verdict",
    )  # fmt: skip
    ends = [0.9 * rows[0].after, 1.2 * rows[0].after]
    between = f"{ends[0]:.2f} to {ends[1]:.2f} s"
    assert decay.table.rows[0][4:7] == [between, "25 %", "1.00 to 2.00 s"]
    early = next(g for g in score_groups(wide.card) if g.key == "early")
    assert early.table.header == ("what", "now", "with the plan", "verdict")
    assert early.told[0] == "Limit: at most -10.0 dB."
    plain, barred = (report_charts(p).pictures[0].svg for p in (laid, wide))
    assert "4 in 5 between" in barred
    assert "4 in 5 between" not in plain


def test_a_chart_without_data_is_left_out_with_a_reason(laid: Plan) -> None:
    assert NO_RESPONSE in report_charts(laid).left_out

    class Heard:
        f_hz = np.geomspace(20, 300, 50)

        def __init__(self, by: float) -> None:
            self.level_db = by * np.sin(np.arange(100.0)).reshape(2, 1, 50)

    html = report_html(laid, low_response=(Heard(3.0), Heard(1.0)))
    assert "Bass at the seats" in html
    assert NO_RESPONSE not in html
    assert len(PLACES) == len(laid.pieces)


HANGING = (
    '[[hung]]\nproduct = "panel_50_1200"\nsurface = "left"\nat = [3.2, 0.2]\n'
    '[[hung]]\nproduct = "panel_25_600"\nsurface = "ceiling"\nat = [0.2, 0.3]\n[budget]'
)


def test_what_hangs_already_is_on_the_sheets_and_not_on_the_shopping_list(tmp_path: Path) -> None:
    bare = plan_of(edited_project(tmp_path / "bare", "small_bedroom"), PLACES[:2])
    plan = plan_of(
        edited_project(tmp_path / "room", "small_bedroom", toml=("[budget]", HANGING)), PLACES[:2]
    )
    assert plan.shopping == bare.shopping
    first, second = (sections(report_html(p))["hanging"] for p in (bare, plan))
    assert "hangs already" not in words_of(first)
    assert "Hangs already and stays" not in words_of(first)
    told = words_of(second)
    table = told.split("Hangs already and stays where it is")[1]
    names = [piece.product.name for piece in plan.project.hung]
    assert f"h1 {names[0]} left wall 3200 and 3800 from the front wall 200 and 1400" in table
    assert f"h2 {names[1]} ceiling 200 and 800 from the front wall 300 and 900" in table
    assert f"h1 {names[0]} (hangs already, stays) 3200 and 3800 200 and 1400" in told
    assert "h2" not in told.split("Hangs already and stays")[0]  # no new piece on the ceiling
    assert "Hangs already: h1" in second  # in words beside the drawing
    assert "Hangs already and stays" in words_of(hanging_html(plan))


def test_a_self_made_piece_is_told_by_name(tmp_path: Path) -> None:
    """Its coefficients come from a build, whose id and source nobody is to read as an id."""
    project = demo_project("small_bedroom")
    page = Page(report_html(plan_of(project, (Place("made_panel_100", "wall", "left", 2.6, 0.3),))))
    assert "build:" not in page.text
    assert "two 50 mm fibre boards in a cloth-covered frame" in page.text
    assert "two_boards_cloth" not in page.text
    assert "ICA 2016 paper 490" in page.text


def test_overhead_pieces_show_weight_fixings_and_a_second_line(laid: Plan) -> None:
    html = report_html(laid)
    product = laid.pieces[4].piece.product
    assert laid.pieces[4].piece.mounting == "ceiling"
    load = f"{product.weight_kg:g} kg each; at least 2 fixings, 1 safety line"
    by_section = {key: words_of(text) for key, text in sections(html).items()}
    assert f"{product.name}: {load} (of 2)." in by_section["hanging"]
    assert load in re.sub(r"<[^>]+>", "", sections(html)["hanging"])  # beside the drawing
    assert f"{product.name}, overhead: {load}." in by_section["cautions"]
    for words in ("into structure", "licensed person", "sprinklers", "heaters", "exits", "vents",
                  "asbestos", "Local codes", "detectors"):  # fmt: skip
        assert words.lower() in by_section["cautions"].lower(), words
    assert "not stated" in by_section["shopping"]  # the rug's reaction to fire
    assert by_section["shopping"].count("at least 2 (none in the price list)") == 1
