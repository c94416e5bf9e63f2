"""What hangs overhead and by what: weight, number of fixings, secondary line.

At least two independent fixings and a secondary safety line per piece: common practice, no source.
"""

from collections.abc import Sequence

from optimizer.placement.catalogue import Product
from optimizer.placement.pieces import Piece
from optimizer.placement.sundries import uses_for
from optimizer.room.schema import OVERHEAD

OVERHEAD_HEADER = (
    "hung overhead", "pieces", "weight each", "weight in all", "fixings each", "safety line",
)  # fmt: skip
OVERHEAD_RIGHT = (1, 2, 3, 4)
FEWEST_FIXINGS = 2
UNKNOWN = "not stated"


def overhead_products(pieces: Sequence[Piece]) -> dict[Product, int]:
    """Products hung from the ceiling, and how many pieces of each."""
    counts: dict[Product, int] = {}
    for piece in pieces:
        if piece.mounting in OVERHEAD:
            counts[piece.product] = counts.get(piece.product, 0) + 1
    return counts


def fixings_and_lines(product: Product) -> tuple[int, int]:
    """Fixings and safety lines that the price list has for one piece overhead."""
    uses = {u for m in OVERHEAD & set(product.mountings) for u in uses_for(product.sundries, m)}
    fixings, lines = (
        sum(use.count for use in uses if use.sundry.kind == kind)
        for kind in ("fixing", "safety_line")
    )
    return fixings, lines


def overhead_rows(pieces: Sequence[Piece]) -> list[list[str]]:
    """Rows of OVERHEAD_HEADER, one per product; empty when nothing hangs overhead."""
    rows = []
    for product, count in overhead_products(pieces).items():
        fixings, lines = fixings_and_lines(product)
        weight = product.weight_kg
        each = UNKNOWN if weight is None else f"{weight:g} kg"
        in_all = UNKNOWN if weight is None else f"{weight * count:g} kg"
        rows.append([product.name, str(count), each, in_all, _needed(fixings, FEWEST_FIXINGS),
                     _needed(lines, 1)])  # fmt: skip
    return rows


def _needed(listed: int, fewest: int) -> str:
    """How many the price list has for one piece, or how many it takes at least."""
    if listed >= fewest:
        return str(listed)
    return f"at least {fewest} ({listed or 'none'} in the price list)"


def load_in_words(product: Product) -> str:
    """What one piece overhead weighs and takes: "6.6 kg each; 4 fixings, 1 safety line"."""
    fixings, lines = fixings_and_lines(product)
    weight = product.weight_kg
    each = "weight not stated" if weight is None else f"{weight:g} kg each"
    many = str(fixings) if fixings >= FEWEST_FIXINGS else f"at least {FEWEST_FIXINGS}"
    return f"{each}; {many} fixings, {max(lines, 1)} safety line{'s' * (lines > 1)}"


def overhead_gaps(pieces: Sequence[Piece]) -> list[str]:
    """A sentence for each product whose sundries fall short of what usually goes overhead."""
    texts = []
    for product in overhead_products(pieces):
        fixings, lines = fixings_and_lines(product)
        missing = []
        if fixings < FEWEST_FIXINGS:
            missing.append(f"at least {FEWEST_FIXINGS} fixings")
        if lines < 1:
            missing.append("a secondary safety line")
        if missing:
            texts.append(
                f"{product.name}: the price list does not give {' and '.join(missing)} for a piece "
                "overhead; buy them as well, they are not in the total."
            )
    return texts
