"""The parts of a report as rows of text, shared by the terminal and the report file."""

from collections.abc import Sequence

import numpy as np

from materials.cells import csv_text
from optimizer.acoustics.absorption import added_area
from optimizer.acoustics.decay import FORMULAS, axis_weights, schroeder_frequency
from optimizer.acoustics.scene import Scene
from optimizer.bands import BAND_LABELS
from optimizer.placement.sundries import Sundry
from optimizer.results.model import Plan
from optimizer.results.scorecard import ScoreCard
from optimizer.results.shopping import money
from optimizer.results.shopping_overhead import (
    OVERHEAD_HEADER,
    OVERHEAD_RIGHT,
    overhead_gaps,
    overhead_rows,
)
from optimizer.results.tables import markdown_list, markdown_table
from optimizer.results.words import place_in_words, size_in_words
from optimizer.room.geometry import Floats

PIECES_HEADER = ("no.", "product", "where", "size as hung", "pair", "why")
SHOPPING_HEADER = (
    "to buy", "needed", "at hand", "packs", "in a pack", "left over", "per pack", "total",
)  # fmt: skip
CUT_OFF = (
    "Cut off: the time limit was over before the search was. What is shown is the best so far, "
    "perhaps without the ranges of its figures; another machine, or the same one with other "
    "work beside, may find another. Allow more time for a plan that is the same everywhere."
)
SHOPPING_RIGHT = (1, 2, 3, 4, 5, 6, 7)


def piece_rows(plan: Plan, units: str = "m") -> list[list[str]]:
    """Rows of PIECES_HEADER."""
    return [
        [p.id, p.piece.product.name, place_in_words(p.piece, plan.project.room, units),
         size_in_words(p.piece, units), p.pair or "", p.why]
        for p in plan.pieces
    ]  # fmt: skip


def shopping_rows(plan: Plan) -> list[list[str]]:
    """Rows of SHOPPING_HEADER."""
    currency = plan.project.scenario.budget.currency
    return [
        [line.product.name, str(line.needed), str(line.owned), str(line.packs),
         str(line.product.pack), str(line.left_over), money(line.product.price_cents, currency),
         money(line.total_cents, currency)]
        for line in plan.shopping
    ]  # fmt: skip


def shopping_total(plan: Plan) -> list[str]:
    """The last row of the shopping table."""
    total = money(plan.cost_cents, plan.project.scenario.budget.currency)
    return ["total", *[""] * (len(SHOPPING_HEADER) - 2), total]


def shopping_notes(plan: Plan) -> list[str]:
    """What a person should know about the list: what is left, what was kept back, taxes."""
    project, budget = plan.project, plan.project.scenario.budget
    if not plan.shopping:
        return []
    left = project.budget_cents - plan.cost_cents
    amount = money(abs(left), budget.currency)
    notes = [f"{amount} of the budget are left." if left >= 0 else f"{amount} over the budget."]
    if any(isinstance(line.product, Sundry) for line in plan.shopping):
        notes.append(
            "While choosing, every pack was counted with all that hangs its pieces, so the list "
            "never adds up to more than the budget. Pieces at hand are taken to come with what "
            "hangs them."
        )
    kept = project.set_aside
    if kept.total:
        deliveries, packs = (money(c, budget.currency) for c in (kept.deliveries, kept.part_packs))
        notes.append(
            f"Kept back while choosing: {deliveries} for deliveries and {packs} for part-used "
            "packs of what hangs pieces, at their most; the list charges what is really bought."
        )
    return [
        *notes,
        *overhead_gaps([p.piece for p in plan.pieces]),
        *filter(None, [budget.tax_note]),
    ]


def shopping_markdown(plan: Plan) -> str:
    """The shopping list as a report shows it: lines and total, what hangs overhead, notes."""
    if not plan.shopping:
        return "Nothing to buy."
    rows = [*shopping_rows(plan), shopping_total(plan)]
    parts = [markdown_table(SHOPPING_HEADER, rows, SHOPPING_RIGHT)]
    overhead = overhead_rows([p.piece for p in plan.pieces])
    if overhead:
        parts.append(markdown_table(OVERHEAD_HEADER, overhead, OVERHEAD_RIGHT))
    return "\n\n".join([*parts, markdown_list(shopping_notes(plan))])


def shopping_csv(plan: Plan) -> str:
    """The shopping list as CSV (RFC 4180), amounts with two decimals.

    The tax note, if there is one, stands before the total, which is the last row.
    """
    names = ["product", "name", "needed", "owned", "packs", "pack_size", "left_over", "supplier",
             "unit_price", "total", "currency"]  # fmt: skip
    rows: list[list[object]] = [[*names]]
    budget = plan.project.scenario.budget
    for line in plan.shopping:
        price, total = (f"{c / 100:.2f}" for c in (line.product.price_cents, line.total_cents))
        rows.append([line.product.id, line.product.name, line.needed, line.owned, line.packs,
                     line.product.pack, line.left_over, line.supplier, price, total,
                     budget.currency])  # fmt: skip
    blank = [""] * (len(names) - 4)
    if budget.tax_note:
        rows.append(["note", budget.tax_note, *blank, "", ""])
    rows.append(["total", "", *blank, f"{plan.cost_cents / 100:.2f}", budget.currency])
    return csv_text(rows)


def decay_times(scene: Scene) -> dict[str, Floats]:
    """Decay times (8,) in s by each of the six formulas for a scene with its treatment."""
    areas, alpha, normals = _as_surfaces(scene)
    objects = scene.object_area.sum(axis=0)
    axis = axis_weights(normals)
    return {
        name: formula(scene.volume, areas, alpha, axis=axis, air=scene.air, object_area=objects)
        for name, formula in FORMULAS.items()
    }


def _as_surfaces(scene: Scene) -> tuple[Floats, Floats, Floats]:
    """Each surface with the mean coefficient of all that lies on it: areas, alpha, normals."""
    areas = np.array([plane.area for plane in scene.planes])
    total = areas[:, None] * scene.base_alpha
    for patches, over in ((scene.tiles, False), (scene.pieces, True)):
        added = added_area(scene, patches, clip=False, over_tiles=over)
        np.add.at(total, patches.surface, added)
    return areas, total / areas[:, None], np.array([plane.normal for plane in scene.planes])


def decay_rows(scene: Scene) -> list[list[str]]:
    """One row per formula, one column per band."""
    return [
        [name, *[f"{t:.2f}" if np.isfinite(t) else "-" for t in times]]
        for name, times in decay_times(scene).items()
    ]


def decay_header() -> list[str]:
    """Header of decay_rows."""
    return ["decay time in s", *BAND_LABELS]


def schroeder_of(card: ScoreCard, volume: float) -> tuple[float, float]:
    """Schroeder frequency in Hz before and after, from the mean decay at 500 Hz and 1 kHz."""
    middle = [
        row for row in card.rows if row.criterion == "decay" and row.where in ("500 Hz", "1 kHz")
    ]
    before, after = (np.mean([getattr(r, side) for r in middle]) for side in ("before", "after"))
    first, second = schroeder_frequency([before, after], volume)
    return float(first), float(second)


def wrapped(texts: Sequence[str], mark: str = "- ") -> str:
    """A list, one item a line."""
    return "\n".join(mark + text for text in texts)
