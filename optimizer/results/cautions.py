"""The usual cautions, chosen by what a plan asks a person to do. They replace no rule and no trade.

Figures: sprinklers 29 CFR 1910.159(c)(10); fire classes EN 13501-1; the push that tips a piece is
m g b / (2 y), weight times half its base over the height of the push; the rest common practice.
"""

from collections.abc import Sequence

from optimizer.placement.catalogue import NOT_STATED
from optimizer.placement.holding import LOW, takes_hole
from optimizer.placement.pieces import Piece
from optimizer.placement.sundries import uses_for
from optimizer.results.shopping_overhead import load_in_words, overhead_products
from optimizer.room.schema import OVERHEAD as OVERHEAD_MOUNTINGS

ALWAYS = (
    "This plan does not check structure, wiring or fire rules. Local codes, the landlord and "
    "licensed trades decide.",
    "Look for cables and pipes before drilling anywhere.",
    "Keep exits, escape routes, extinguishers, sprinklers, vents, heaters, lights and smoke or "
    "heat detectors clear; do not cover them.",
)
DRILLING = (
    "In a building from before 2000, textured coatings, insulating boards, ceiling and floor tiles "
    "may hold asbestos: do not drill, sand or remove them until a laboratory has tested a sample; "
    "leave sound material alone and use a licensed contractor."
)
OVERHEAD = (
    "Overhead pieces: fix into structure (joists or slab) with rated anchors, at least two "
    "independent points per piece and a secondary safety line on each; allow several times the "
    "weight. Ask a licensed person when in doubt. Never work overhead alone.",
    "Keep at least 46 cm (18 in) clear below sprinklers over the whole room; a hung panel may "
    "obstruct them: ask the fire authority.",
    "Burning droplets matter most overhead: ask the supplier for the reaction-to-fire class.",
)
STANDING = (
    "What stands or leans can be tipped: a base of at least a quarter of its height, feet that do "
    "not slip, nothing to climb on, and where children or animals live tie its top. A push of 15 N "
    "(a light shove) at 100 cm (40 in) tips a piece of 10 kg on a base of 30 cm (12 in)."
)
POLES = (
    "Tension poles press on floor and ceiling: set them below a joist or solid ceiling, never "
    "below a hung or thin one; ask the maker for the load they carry at your height, and check "
    "them every few weeks."
)
STRIPS = (
    "Strips hold by shear on clean, smooth, painted or plastered walls only: wipe with alcohol, "
    "press for 30 s, hang after an hour, follow the maker. Never overhead, on a slope, over a bed, "
    "on wallpaper, brick or rough plaster. Loads in the price list are what is commonly stated; "
    "keep to twice the weight."
)
FIBRES = (
    "Mineral fibre: wrap panels fully. When cutting or filling wear gloves, long sleeves, eye "
    "protection and a dust mask, ventilate, and vacuum instead of sweeping."
)


def cautions(pieces: Sequence[Piece]) -> list[str]:
    """Cautions that apply to these pieces, most general first."""
    if not pieces:
        return [ALWAYS[0]]
    texts = list(ALWAYS)
    mountings = {piece.mounting for piece in pieces}
    if any(takes_hole(piece.product.sundries, piece.mounting) for piece in pieces):
        texts.append(DRILLING)
    if mountings & OVERHEAD_MOUNTINGS:
        texts += OVERHEAD
        texts += _overhead_weights(pieces)
    texts += [STANDING] if mountings & LOW or _stacked(pieces) else []
    texts += [POLES] if "pole" in mountings else []
    texts += [STRIPS] if "adhesive" in mountings else []
    if any(_fibrous(piece) for piece in pieces):
        texts.append(FIBRES)
    unstated = sorted({p.product.name for p in pieces if p.product.fire_class == NOT_STATED})
    if unstated:
        names = ", ".join(unstated)
        texts.append(f"Reaction to fire is not stated for: {names}. Ask before you buy.")
    return texts


def _stacked(pieces: Sequence[Piece]) -> bool:
    """Whether corner pieces stand on others without a fixing."""
    return any(
        piece.mounting == "corner" and piece.rect[1] > 0.0
        and not any(use.sundry.hole for use in uses_for(piece.product.sundries, "corner"))
        for piece in pieces
    )  # fmt: skip


def _overhead_weights(pieces: Sequence[Piece]) -> list[str]:
    return [
        f"{product.name}, overhead: {load_in_words(product)}"
        + ("." if product.weight_kg is not None else ". Weigh it before you choose fixings.")
        for product in overhead_products(pieces)
    ]


def _fibrous(piece: Piece) -> bool:
    material = piece.product.fittings[piece.fitting].material
    text = f"{material.id} {material.name}".lower()
    return any(word in text for word in ("wool", "fibre", "corner_fill", "screen"))
