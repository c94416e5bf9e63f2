"""The report as one self-contained HTML page, and the hanging sheets alone as another."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup

from optimizer.drawings.style import Picture
from optimizer.drawings.unfolded import unfolded
from optimizer.faults import shown_name
from optimizer.placement.catalogue import Product
from optimizer.report.figures import Charts, Responses, report_charts
from optimizer.report.glossary import TERMS
from optimizer.report.hanging import (
    Sheet,
    bare_surfaces,
    hanging_sheets,
    hung_table,
    reasons_table,
)
from optimizer.report.judges import models_table, sureness
from optimizer.report.measured import measured_parts
from optimizer.report.more import Others, Part, Stages, budget_part, others_part, stages_part
from optimizer.report.rules import rules_parts
from optimizer.report.score import score_groups
from optimizer.report.sheets import room_pictures, surface_pictures
from optimizer.report.sources import assumptions, coefficients_table, model_limits, references
from optimizer.report.summary import summary
from optimizer.report.svg import inline
from optimizer.report.wording import ABSENT, Table, listed
from optimizer.results import tellings as tell
from optimizer.results.cautions import cautions
from optimizer.results.comparison_plans import groups_of
from optimizer.results.diffuser_words import diffuser_sentences
from optimizer.results.model import Plan
from optimizer.results.money_curve import MoneyCurve
from optimizer.results.order_words import order_in_words
from optimizer.results.product_words import bass_sentences
from optimizer.results.proof import proof_in_words
from optimizer.results.shopping_overhead import OVERHEAD_HEADER, OVERHEAD_RIGHT, overhead_rows

FOLDER = Path(__file__).parent
CHART_OF = {"decay": "decay", "mode": "modes", "early": "early", "side balance": "sides",
            "low end": "response"}  # fmt: skip


@dataclass(frozen=True)
class Shown:
    """A picture as the page shows it."""

    title: str
    alt: str
    svg: Markup


@dataclass(frozen=True)
class PartShown:
    """A part about other plans with its chart, if there is one."""

    part: Part
    figure: Shown | None


@dataclass(frozen=True)
class SheetShown:
    """A hanging sheet with its drawing, if there is one.

    `listed`: the drawing itself lists where each piece goes, so that paper needs no table.
    """

    sheet: Sheet
    figure: Shown | None
    listed: bool


def report_html(
    plan: Plan,
    units: str = "m",
    low_response: Responses | None = None,
    changed: bool = False,
    more: Sequence[Picture] = (),
    stages: Stages | None = None,
    budget: MoneyCurve | None = None,
    others: Others | None = None,
    parts: Sequence[Part] = (),
    whole: bool = False,
) -> str:
    """The whole report. Lengths in "m" or "ft".

    `low_response` is the bass at the seats now and with the plan; without it that chart is left
    out and the page says so. `changed`: what the plan was solved for is no longer so. `stages` of
    a purchase, the `budget` curve and `others` nearly as good are shown where they were made;
    `more` are further charts of that kind, `parts` further parts. `whole`: what stands behind the
    plan (score card, reasons, sources) is unfolded, so that it is printed too.
    """
    charts = report_charts(plan, units, low_response)
    return _render(
        "report.html.j2",
        **_common(plan, units),
        **_scored(plan, units, charts),
        summary=summary(plan, units),
        proof=proof_in_words(plan, changed),
        order=order_in_words(plan, units),
        rounds=_sentence(plan.rounds),
        measured=_parts(measured_parts(plan), "c"),
        more=[
            *_more(plan, stages, budget, others),
            *_parts([*rules_parts(plan, units), *parts], "q"),
        ],
        more_charts=_shown(more, "m"),
        whole=whole,
        unfolded=_one(unfolded(plan, units), "u"),
        drawings=_shown(room_pictures(plan, units), "d"),
        shopping=_shopping(plan),
        shopping_notes=tell.shopping_notes(plan),
        fire=_fire_table(plan),
        bass=bass_sentences([p.piece for p in plan.pieces], plan.project.usable_products, units),
        diffusers=diffuser_sentences(plan.project.room, groups_of(plan.pieces), units),
        reasons=reasons_table(plan, units),
        assumptions=assumptions(plan, units),
        coefficients=coefficients_table(plan),
        references=references(plan),
        terms=TERMS,
        model_limits=model_limits(),
        made=f"Made by treatment report from {shown_name(plan.project.scenario.path)}. "
        "Predictions, not measurements.",
    )


def _scored(plan: Plan, units: str, charts: Charts) -> dict[str, Any]:
    """What the score card's section needs; each chart stands with the group it shows."""
    groups = score_groups(plan.card, units)
    shown = dict(zip((p.name for p in charts.pictures), _shown(charts.pictures, "p"), strict=True))
    by_group = {g.key: shown.pop(CHART_OF[g.key]) for g in groups if CHART_OF.get(g.key) in shown}
    return {
        "score_before": f"{plan.card.score_before:.3f}",
        "score_after": f"{plan.card.score_after:.3f}",
        "sureness": sureness(plan.card),
        "models": models_table(plan.card),
        "groups": groups,
        "chart_of": by_group,
        "charts": list(shown.values()),
        "left_out": charts.left_out,
    }


def _more(
    plan: Plan, stages: Stages | None, budget: MoneyCurve | None, others: Others | None
) -> list[PartShown]:
    """The parts about other plans."""
    parts = [
        *([stages_part(stages)] if stages else []),
        *([others_part(others)] if others else []),
        *([budget_part(budget, plan)] if budget else []),
    ]
    return _parts(parts, "o")


def _parts(parts: Iterable[Part], prefix: str) -> list[PartShown]:
    return [
        PartShown(part, _one(part.chart, f"{prefix}{i}") if part.chart else None)
        for i, part in enumerate(parts)
    ]


def hanging_html(plan: Plan, units: str = "m") -> str:
    """The hanging sheets and the cautions alone, to print and take to the wall."""
    return _render("hanging.html.j2", **_common(plan, units))


def _common(plan: Plan, units: str) -> dict[str, Any]:
    scenario = plan.project.scenario
    sheets = hanging_sheets(plan, units)
    pieces = [p.piece for p in plan.pieces]
    overhead = overhead_rows(pieces)
    table = Table("Hung overhead: weight and fixings", OVERHEAD_HEADER, overhead, OVERHEAD_RIGHT)
    return {
        "title": f"Treatment plan: {scenario.title}",
        "note": scenario.note,
        "css": Markup((FOLDER / "report.css").read_text(encoding="utf-8")),  # noqa: S704 - ours
        "sheets": _with_figures(sheets, surface_pictures(plan, units)),
        "bare": listed(bare_surfaces(plan)),
        "hung": hung_table(plan, units),
        "overhead": table if overhead else None,
        "cautions": cautions(pieces),
    }


def _with_figures(sheets: Iterable[Sheet], pictures: dict[str, Picture]) -> list[SheetShown]:
    shown: list[SheetShown] = []
    for sheet in sheets:
        picture = pictures.get(sheet.surface)
        prefix = f"s{len(shown)}"
        listed = picture is not None and 'id="row-' in picture.svg
        shown.append(SheetShown(sheet, _one(picture, prefix) if picture else None, listed))
    return sorted(shown, key=lambda sheet: sheet.figure is None)


def _shown(pictures: Iterable[Picture], prefix: str) -> list[Shown]:
    return [_one(picture, f"{prefix}{i}") for i, picture in enumerate(pictures)]


def _one(picture: Picture, prefix: str) -> Shown:
    return Shown(picture.title, picture.alt, inline(picture, prefix))


def _sentence(text: str) -> str:
    return text[:1].upper() + text[1:] + ("" if text.endswith(".") else ".") if text else ""


def _shopping(plan: Plan) -> Table:
    rows = tell.shopping_rows(plan)
    foot = tuple(tell.shopping_total(plan)) if rows else ()
    return Table("What to buy", tell.SHOPPING_HEADER, rows, tell.SHOPPING_RIGHT, foot=foot)


def _fire_table(plan: Plan) -> Table:
    """Weight and fire class of each product, as the price list states them."""
    rows = [
        [line.product.name,
         ABSENT if line.product.weight_kg is None else f"{line.product.weight_kg:g} kg",
         line.product.fire_class, line.product.note]
        for line in plan.shopping if isinstance(line.product, Product)
    ]  # fmt: skip
    header = ("product", "weight each", "reaction to fire", "note")
    return Table("As the supplier states it", header, rows, (1,))


def _render(template: str, **values: Any) -> str:
    environment = Environment(
        loader=FileSystemLoader(FOLDER),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )
    return environment.get_template(template).render(**values)
