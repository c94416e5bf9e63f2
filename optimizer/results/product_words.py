"""What each product does in the bass, a sentence each: those of the plan and those not bought."""

from collections.abc import Sequence

import numpy as np

from materials import Material
from materials.bass import bass_take
from materials.tuning import resonant, tuning
from optimizer.bands import BAND_LABELS
from optimizer.placement.catalogue import Fitting, Product
from optimizer.placement.pieces import Piece
from optimizer.units import format_length

TUNED = frozenset({"panel absorber", "perforated"})  # categories; their rows know octaves only
BOX = "on frame"  # the mounting of rows that stand on a closed space


def bass_sentences(
    pieces: Sequence[Piece], products: Sequence[Product], units: str = "m"
) -> list[str]:
    """One sentence per product of the plan, as it hangs there, and per product not bought that is
    tuned, or does little or nothing even where it does most; products of which there is nothing to
    say (diffusers) are left out."""
    hung: dict[str, list[Fitting]] = {}
    for piece in pieces:
        hung.setdefault(piece.product.id, []).append(piece.product.fittings[piece.fitting])
    said = [_sentence(p, hung[p.id], units) for p in products if p.id in hung]
    left = [_sentence(p, p.fittings, units) for p in products if p.id not in hung and not _works(p)]
    return [*filter(None, said), *(f"Not bought: {text}" for text in left if text)]


def _works(product: Product) -> bool:
    """Whether a product is porous and does more than little in the bass in one of its fittings."""
    takes = [take for each in product.fittings if (take := bass_take(each.material))]
    return not all(take.weak for take in takes)


def _sentence(product: Product, fittings: Sequence[Fitting], units: str) -> str:
    """The sentence of a product, in that of its fittings that takes most; blank where none is."""
    takes = [(take, each.gap) for each in fittings if (take := bass_take(each.material))]
    if takes:
        take, gap = max(takes, key=lambda pair: pair[0].at_125)
        off = f"{format_length(gap, units)} off its surface, " if gap > 0 else ""
        return f"{product.name}: {off}{take.in_words()}."
    said = [text for each in fittings if (text := resonance_words(each.material))]
    return f"{product.name}: {said[0]}." if said else ""


def resonance_words(material: Material) -> str:
    """What a resonant material is tuned to; blank for others."""
    if material.build is not None:
        found = tuning(material.build) if resonant(material.build) else None
        return found.in_words() if found else ""
    if material.category not in TUNED or material.mounting != BOX:
        return ""
    top = BAND_LABELS[int(np.argmax(material.absorption))]
    return f"takes most in the octave of {top}, by its table; measure before you close the box"
