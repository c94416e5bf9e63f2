"""What holds a piece: each mounting, whether it takes a hole, and what strips and poles carry.

A mounting that takes a hole needs hooks, screws, plugs or anchors in a wall or ceiling. The others
stand, lie, lean, clamp or stick by themselves, as long as the sundries that come with them take no
hole either. A corner piece stands on the floor or on the piece below it; only one that hangs above
nothing needs its fixings.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace

from optimizer.placement.sundries import SundryUse, uses_for
from optimizer.room.schema import OVERHEAD, LimitsSection

# Interlocking strips are sold for 0.5 to 2.3 kg a pair and are to be chosen for 1.5 to 2 times the
# weight; deep pieces lever their top off (common practice, no source). The last two are our own.
SAFETY = 2.0
STRIPS_DEEPEST = 0.05  # m a piece on strips may stand out
STRIPS_HEAVIEST = 4.0  # kg of a piece on strips
POLE_LONGEST = 3.0  # m between floor and ceiling that a tension pole spans (common practice)
# Beginnings of the ids of wall materials that strips do not hold on: brick, concrete, block, rough
# or papered walls (common practice, no source). Plaster on masonry takes them.
NO_STRIPS_ON = (
    "brick_", "concrete_", "aerated_block", "plaster_rough", "plaster_wallpaper",
    "acoustic_plaster", "wood_wool",
)  # fmt: skip


@dataclass(frozen=True)
class Holding:
    """How a mounting holds a piece, in words, and whether it takes a hole."""

    hole: bool
    how: str


HOLDING = {
    "wall": Holding(True, "hangs on hooks or screws in the wall"),
    "ceiling": Holding(True, "hangs from anchors in the ceiling"),
    "window": Holding(True, "hangs from a rail on brackets"),
    "corner": Holding(False, "stands in the corner, on the floor or on a piece below it"),
    "edge": Holding(True, "is fixed where wall and ceiling meet"),
    "floor": Holding(False, "lies on the floor"),
    "stand": Holding(False, "stands on its own feet"),
    "lean": Holding(False, "stands on the floor and leans on the wall"),
    "pole": Holding(False, "is held by poles clamped between floor and ceiling"),
    "adhesive": Holding(False, "is held to the wall by strips that stick"),
}
LOW = frozenset({"stand", "lean"})  # mountings along a wall that start on the floor
SELF_HELD = LOW | {"pole", "adhesive"}  # mountings that want an upright wall


def takes_hole(uses: tuple[SundryUse, ...], mounting: str) -> bool:
    """Whether a product with these sundries takes a hole when mounted so.

    A corner piece does not: without its fixings it stands (`standing`).
    """
    if mounting == "corner":
        return False
    return HOLDING[mounting].hole or any(use.sundry.hole for use in uses_for(uses, mounting))


def allowed_mountings(
    mountings: tuple[str, ...], uses: tuple[SundryUse, ...], limits: LimitsSection
) -> tuple[str, ...]:
    """The mountings of a product that the limits leave."""
    banned = set(limits.no_mountings) | (OVERHEAD if limits.nothing_overhead else set())
    return tuple(
        m for m in mountings
        if m not in banned and not (limits.no_holes and takes_hole(uses, m))
    )  # fmt: skip


def standing(mountings: tuple[str, ...], uses: tuple[SundryUse, ...]) -> tuple[SundryUse, ...]:
    """The sundries of a product whose corner pieces stand and so take no fixing with a hole."""
    if "corner" not in mountings:
        return uses
    kept: list[SundryUse] = []
    for use in uses:
        if not use.sundry.hole:
            kept.append(use)
        elif use.mounting is None:
            kept += [replace(use, mounting=m) for m in mountings if m != "corner"]
        elif use.mounting != "corner":
            kept.append(use)
    return tuple(kept)


def load_faults(
    mountings: tuple[str, ...],
    uses: tuple[SundryUse, ...],
    weight_kg: float | None,
    reach: float,
) -> Iterator[tuple[str, object, str]]:
    """Column, value and remedy of each thing by which strips or poles would not hold a piece.

    `reach` m it stands out at least. Sundries whose own row is at fault (without a name) are told
    there.
    """
    if any(not use.sundry.name for use in uses):
        return
    for mounting in (m for m in mountings if m in ("adhesive", "pole")):
        stated = [u for u in uses_for(uses, mounting) if u.sundry.load_kg is not None]
        carried = sum(use.count * (use.sundry.load_kg or 0.0) for use in stated)
        what = "strips" if mounting == "adhesive" else "poles"
        if not stated:
            remedy = (
                f'the {what} of mounting "{mounting}" are missing; name a sundry with a load_kg'
            )
            yield "sundries", None, remedy
        elif weight_kg is None:
            yield "weight_kg", None, f"is missing; {what} are chosen by the weight of the piece"
        elif carried < SAFETY * weight_kg - 1e-9:
            remedy = (
                f"is {weight_kg:g} kg, {SAFETY:g} times that is above the {carried:g} kg that its "
                f"{what} carry; give more or stronger ones, or leave {mounting} out"
            )
            yield "weight_kg", weight_kg, remedy
    if "adhesive" not in mountings:
        return
    if weight_kg is not None and weight_kg > STRIPS_HEAVIEST:
        remedy = f"is above the {STRIPS_HEAVIEST:g} kg that strips are for; leave adhesive out"
        yield "weight_kg", weight_kg, remedy
    if reach > STRIPS_DEEPEST + 1e-9:
        remedy = (
            f"with its gap stands out {1000 * reach:g} mm, and levers strips off above "
            f"{1000 * STRIPS_DEEPEST:g} mm; leave adhesive out or the gap"
        )
        yield "depth", None, remedy
