"""Products that no place in the room takes, and why: told before and beside a plan.

A product is asked for at every place of the usual grid; the limit or thing without which there
would be a place is the reason. A limit is named once with all the products that it bars.
"""

from collections.abc import Iterator, Sequence
from dataclasses import replace

from optimizer.faults import Fault
from optimizer.placement.bars import FREE, own_boxes, without_rules
from optimizer.placement.candidates import has_place
from optimizer.placement.catalogue import Product
from optimizer.placement.layouts import FINEST
from optimizer.room import sane
from optimizer.room.model import Room
from optimizer.room.scenario import Scenario
from optimizer.room.schema import LimitsSection

_BARS = {
    "max_depth": "no piece may stand out farther from a wall below 2 m, which bars",
    "headroom": "leaves no place overhead for",
    "head_depth": "no piece may stand out farther at head height where people walk, which bars",
}


def product_doubts(scenario: Scenario, room: Room, products: Sequence[Product]) -> Iterator[Fault]:
    """Doubts about usable products: too large to be sold, or without a place in this room."""
    for product in products:
        longest = max(product.width, product.height)
        if product.kind not in ("curtain", "rug") and longest > sane.LARGEST_BOARD:
            remedy = (
                f'"{product.id}" is {product.width:g} x {product.height:g} m; no board is sold '
                f"above {sane.LARGEST_BOARD:g} m, check the unit"
            )
            yield Fault(str(scenario.catalogue_path), "", None, remedy)
    limits = scenario.limits
    barred: dict[tuple[str, object, str], list[str]] = {}
    for product in products:
        reason = _reason(room, product, limits)
        if reason is not None:
            barred.setdefault(reason, []).append(product.id)
    for (key, value, why), names in barred.items():
        whole = "nothing can be placed: " if len(names) == len(products) else ""
        remedy = f"{whole}{why} {', '.join(names)}"
        yield Fault(scenario.file, key, value, remedy)


def _reason(room: Room, product: Product, limits: LimitsSection) -> tuple[str, object, str] | None:
    """Key, value and words of what keeps a product out; None where it has a place."""
    if _fits(room, product, limits):
        return None
    hung_only, free = without_rules(room, limits)
    for key, why in _BARS.items():
        if _fits(room, product, limits.model_copy(update={key: FREE[key]})):
            return f"limits.{key}", getattr(limits, key), why
    if own_boxes(room) and _fits(hung_only, product, limits):
        return "limits.keep_clear", None, "leaves no place for"
    bare = tuple(replace(surface, areas=()) for surface in room.surfaces)
    empty = replace(room, keep_clear=(), furniture=(), surfaces=bare, skirting=0.0)
    if _fits(empty, product, free):
        return "room", None, "windows, doors, furniture and limits together leave no place for"
    return "room", None, "no surface that takes it is large enough for"


def _fits(room: Room, product: Product, limits: LimitsSection) -> bool:
    step = FINEST if limits.grid is None else limits.grid
    return any(has_place(room, product, limits, grid) for grid in (4 * step, step))  # coarse first
