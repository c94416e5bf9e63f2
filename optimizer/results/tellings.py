"""The parts of a report as rows of text, shared by the terminal and the report file."""

import csv
import io
from collections.abc import Sequence

import numpy as np

from optimizer.acoustics.absorption import added_area
from optimizer.acoustics.decay import FORMULAS, axis_weights, schroeder_frequency
from optimizer.acoustics.scene import Scene
from optimizer.bands import BANDS, band_label
from optimizer.results.model import Plan
from optimizer.results.scorecard import ScoreCard, ScoreRow
from optimizer.results.shopping import money
from optimizer.results.words import place_in_words, size_in_words
from optimizer.room.geometry import Floats

SCORE_HEADER = ("criterion", "where", "limits", "before", "after", "unit", "verdict")
SCORE_RIGHT = (3, 4)
PIECES_HEADER = ("no.", "product", "where", "size as hung", "pair", "why")
SHOPPING_HEADER = ("product", "needed", "owned", "packs", "pieces per pack", "per pack", "total")
SHOPPING_RIGHT = (1, 2, 3, 4, 5, 6)
_SQUARE = {"m2": "m²"}


def score_rows(card: ScoreCard, with_before: bool = True) -> list[list[str]]:
    """Rows of SCORE_HEADER."""
    rows = []
    for row in card.rows:
        unit = _SQUARE.get(row.unit, row.unit)
        before, after = (_number(v, row.unit) for v in (row.before, row.after))
        verdict = row.verdict if with_before else ("met" if row.ok_after else "not met")
        counted = "" if row.weight > 0 else " (informs only)"
        rows.append(
            [row.criterion, row.where, _limits(row), before, after, unit, verdict + counted]
        )
    return rows


def _limits(row: ScoreRow) -> str:
    low, high = (None if v is None else _number(v, row.unit) for v in (row.low, row.high))
    if low is None:
        return f"at most {high}"
    if high is None:
        return f"at least {low}"
    return f"{low} to {high}"


def _number(value: float, unit: str) -> str:
    digits = 1 if unit in ("dB", "%", "ms", "Hz") else 2
    return f"{round(value, digits) + 0.0:.{digits}f}"


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
         str(line.product.pack), money(line.product.price_cents, currency),
         money(line.total_cents, currency)]
        for line in plan.shopping
    ]  # fmt: skip


def shopping_csv(plan: Plan) -> str:
    """The shopping list as CSV (RFC 4180), amounts with two decimals."""
    text = io.StringIO(newline="")
    writer = csv.writer(text)
    names = ["product", "name", "needed", "owned", "packs", "pack_size", "unit_price", "total",
             "currency"]  # fmt: skip
    writer.writerow(names)
    currency = plan.project.scenario.budget.currency
    for line in plan.shopping:
        price, total = (f"{c / 100:.2f}" for c in (line.product.price_cents, line.total_cents))
        writer.writerow([line.product.id, line.product.name, line.needed, line.owned, line.packs,
                         line.product.pack, price, total, currency])  # fmt: skip
    writer.writerow(["total", "", "", "", "", "", "", f"{plan.cost_cents / 100:.2f}", currency])
    return text.getvalue()


def proof_in_words(plan: Plan) -> str:
    """How near the optimum the plan is proven to be, in one sentence."""
    s = plan.selection
    considered = f"{plan.candidates} placements considered, {plan.pairs} of them mirrored pairs"
    if s.status == "optimal":
        proof = f"proven within {100 * s.gap:.1f} % of the best possible"
    else:
        proof = (
            f"the best found in the time given, at most {100 * s.gap:.1f} % from the best possible"
        )
    return (
        f"{considered}; {proof} (objective {s.objective:.4f}, bound {s.bound:.4f}, "
        f"{s.seconds:.1f} s)."
    )


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
    return ["decay time in s", *[band_label(band) for band in BANDS]]


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
