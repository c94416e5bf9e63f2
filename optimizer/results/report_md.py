"""report.md: the plan as a person reads it."""

from optimizer.bands import band_label
from optimizer.faults import by_name
from optimizer.placement.pieces import Piece, treated
from optimizer.results import tellings as tell
from optimizer.results.by_moving import by_moving
from optimizer.results.cautions import cautions
from optimizer.results.comparison_plans import groups_of
from optimizer.results.diffuser_words import diffuser_sentences
from optimizer.results.model import Plan
from optimizer.results.order_words import order_in_words
from optimizer.results.product_words import bass_sentences
from optimizer.results.proof import proof_in_words
from optimizer.results.rule_words import LIFT, rules_in_words
from optimizer.results.score_words import SCORE_HEADER, SCORE_RIGHT, score_rows
from optimizer.results.shopping import money
from optimizer.results.tables import markdown_list, markdown_table, markdown_text


def report_markdown(plan: Plan, units: str = "m") -> str:
    """The whole report as Markdown."""
    pieces = [p.piece for p in plan.pieces]
    sections = [
        _title(plan),
        _summary(plan, units),
        *filter(None, [order_in_words(plan, units)]),
        "## Shopping list\n\n" + tell.shopping_markdown(plan),
        "## What the products do in the bass\n\n" + _bass(plan, pieces, units),
        *_diffusers(plan, units),
        "## Where each piece goes\n\n" + _places(plan, units),
        "## Score card\n\n" + _score(plan),
        "## Decay time by six formulas\n\n" + _formulas(plan, pieces),
        "## How sure this is\n\n" + _limits(plan),
        *_doubts(plan),
        "## Cautions\n\n" + markdown_list(cautions(pieces)),
    ]
    return "\n\n".join(sections) + "\n"


def _doubts(plan: Plan) -> list[str]:
    """What is unlikely in the files, if anything."""
    told = [by_name(doubt) for doubt in plan.project.doubts]
    return ["## To check\n\n" + markdown_list(told)] if told else []


def _title(plan: Plan) -> str:
    scenario = plan.project.scenario
    paragraphs = [markdown_text(part) for part in scenario.note.split("\n\n")]
    note = "".join(f"\n\n{text}" for text in paragraphs if text)
    return f"# Treatment plan: {markdown_text(scenario.title)}{note}"


def _summary(plan: Plan, units: str) -> str:
    scenario, card = plan.project.scenario, plan.card
    currency = scenario.budget.currency
    counted = [row for row in card.rows if row.weight > 0]
    before = sum(not row.ok_before for row in counted)
    after = sum(not row.ok_after for row in counted)
    mended = sum(row.verdict == "now met" for row in counted)
    better = sum(row.verdict == "better" for row in counted)
    cost = markdown_text(money(plan.cost_cents, currency))
    budget = markdown_text(money(plan.project.budget_cents, currency))
    return (
        f"Buy {len(plan.pieces)} pieces for {cost} of {budget}. Of {len(counted)} criteria, "
        f"{before} fail now and {after} fail with the plan: {mended} mended, {better} of the rest "
        f"better. Weighted excess over the limits: {card.score_before:.3f} before, "
        f"{card.score_after:.3f} after (0 = all met).\n\n{proof_in_words(plan)}"
        f"{_rules(plan, units)}"
    )


def _rules(plan: Plan, units: str) -> str:
    """The rules that cost the plan, as a list; empty where none does."""
    told = [markdown_text(text) for text in rules_in_words(plan, units)]
    return f"\n\nIn the way:\n\n{tell.wrapped(told)}\n\n{LIFT}" if told else ""


def _places(plan: Plan, units: str) -> str:
    if not plan.pieces:
        return "No piece: the room stays as it is."
    intro = (
        "Face the front wall (the one behind the loudspeakers); left and right are as you then "
        "see them. Distances are to the nearest edges of the piece.\n\n"
    )
    return intro + markdown_table(tell.PIECES_HEADER, tell.piece_rows(plan, units))


def _bass(plan: Plan, pieces: list[Piece], units: str) -> str:
    said = bass_sentences(pieces, plan.project.usable_products, units)
    return tell.wrapped(said) if said else "Nothing to say of these products."


def _diffusers(plan: Plan, units: str) -> list[str]:
    """How far the diffusers stand and what their figures are worth, if there are any."""
    said = diffuser_sentences(plan.project.room, groups_of(plan.pieces), units)
    return ["## The diffusers\n\n" + tell.wrapped(said)] if said else []


def _score(plan: Plan) -> str:
    table = markdown_table(SCORE_HEADER, score_rows(plan.card), SCORE_RIGHT)
    moving = by_moving(plan.card)
    return f"{table}\n\n{markdown_list(moving)}" if moving else table


def _formulas(plan: Plan, pieces: list[Piece]) -> str:
    scene = plan.project.scene
    after = treated(plan.project.room, scene, pieces)
    header, right = tell.decay_header(), tuple(range(1, 9))
    return (
        "The score card's decay comes from fuller models (its last column says which). Where the "
        "formulas part, treatment is uneven and none of them is sure.\n\nNow:\n\n"
        + markdown_table(header, tell.decay_rows(scene), right)
        + "\n\nWith the plan:\n\n"
        + markdown_table(header, tell.decay_rows(after), right)
    )


def _limits(plan: Plan) -> str:
    before, after = tell.schroeder_of(plan.card, plan.project.room.volume)
    return tell.wrapped(
        [
            f"Below the Schroeder frequency ({before:.0f} Hz now, {after:.0f} Hz with the plan) "
            "single room modes rule and a decay formula says little: read the bands below it as a "
            "direction, not a figure.",
            "Absorption coefficients differ between laboratories by about 20 % of the value at "
            "125 Hz, 10 % at 250 Hz and 5 % above (ISO 12999-2), and between sources by more. "
            "63 Hz values are mostly extrapolated.",
            "Cross-over: single modes by the coupled modes, octave bands up to "
            f"{band_label(plan.project.scenario.models.waves_up_to)} by the wave "
            "equation, above by ray tracing with estimated scattering. Walls are taken to react "
            "locally, loudspeakers as points, furniture as boxes. Where two models answer the same "
            "band both figures are in the notes of plan.json; a difference of 10 % is usual, and "
            "in unevenly treated rooms tracing is the longer one since it knows no diffraction at "
            "panel edges.",
            "Reflections: first order only, random-incidence coefficients in place of the exact "
            "specular loss, a general two-way loudspeaker.",
            "The decay mask comes from standards for larger listening rooms (BS.1116-3, "
            "EBU Tech 3276); a small room that reaches it is a very good one.",
            "Limits of the side and pair balance are this tool's own; no standard gives one.",
        ]
    )
