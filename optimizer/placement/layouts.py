"""How products may lie on a surface, and the rectangles there that are worth looking at.

Positions are a grid along the surface plus anchors: flush with both ends, centred on the points
where first reflections bounce, on the speakers' axis and on windows. By the rules of order
(room/layout.py) a place is one of a block of pieces, and there are fewer of them.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from itertools import product as every

import numpy as np

from optimizer.faults import Fault
from optimizer.placement.about_axis import axis_in, mirror_rects
from optimizer.placement.blocks import (
    ALIKE,
    ALONE_BY_NATURE,
    ONE,
    OWN_PLACE,
    Grid,
    agreed,
    grids,
    starts_beside_areas,
)
from optimizer.placement.catalogue import Product
from optimizer.placement.holding import LOW, SELF_HELD
from optimizer.placement.pieces import mirror_partner
from optimizer.room.geometry import DIGITS, Floats, Rect
from optimizer.room.layout import FREE, OrderRules
from optimizer.room.model import Room, Surface
from optimizer.room.scenario import Scenario

MOST_PLACES = 150_000  # of a grid that is asked for
WIDEST_GRID = 2.0  # m
FINEST = 0.30  # m, grid step
STEP_UP = 2.0  # levels on a wall are this many grid steps apart
BELOW_TOP = 0.3  # m that pieces in lines keep from the top of a wall
HIGH_WALL = 3.0  # m above the lowest edge, from which pieces in lines hang at more than two levels
UPRIGHT = 1e-3  # share of its normal that points up or down in a wall that counts as upright


@dataclass(frozen=True)
class Layout:
    """One way a product may lie on a surface: its size along u and v, and its fitting.

    In a block the size is the block's. `order` are the rules that say where it may lie.
    """

    product: Product
    fitting: int
    mounting: str
    width: float
    height: float
    turned: bool
    grid: Grid = ONE
    order: OrderRules = FREE

    @property
    def reach(self) -> float:
        """How far it stands out in metres."""
        return self.product.fittings[self.fitting].gap + self.product.depth

    @property
    def own_place(self) -> bool:
        """Whether its kind has a place of its own: at a window, on the floor, before a wall."""
        return self.product.kind in OWN_PLACE or self.mounting in ALONE_BY_NATURE

    @property
    def asks(self) -> tuple[bool, bool, bool, float, str]:
        """What its places must be, beside free of what it reaches into: layouts that agree in it
        can be looked at together. Over a window or not, and only there; under people or not; its
        lowest edge; what holds it."""
        may = "window" in self.product.mountings
        only = "wall" not in self.product.mountings and self.mounting == "window"
        lowest = -np.inf if self.own_place else self.order.lowest_edge
        return may, only, self.product.kind == "rug", lowest, self.mounting


Placed = tuple[Layout, Floats]  # a layout and rectangles (N, 4) for it on one surface


def layouts_on(
    surface: Surface, products: tuple[Product, ...], order: OrderRules
) -> Iterator[Layout]:
    """Ways each product may lie on this surface."""
    if surface.is_wall:
        upright = abs(float(surface.plane.normal[2])) < UPRIGHT
        fitting_here = {"wall", "window", *(SELF_HELD if upright else {"stand"})}
    else:
        fitting_here = {"floor"} if surface.is_floor else {"ceiling"}
    for item in products:
        usable = [m for m in item.mountings if m in fitting_here]
        if not usable:
            continue
        mounting = usable[0] if usable != ["wall", "window"] else "window"
        turns = (False, True) if item.turn and abs(item.width - item.height) > 1e-6 else (False,)
        for fitting, turned in every(range(len(item.fittings)), turns):
            size = (item.height, item.width) if turned else (item.width, item.height)
            if mounting == "adhesive" and item.fittings[fitting].gap > 0.0:
                continue  # strips hold flush pieces only
            blocks = grids(item.kind, mounting, size, surface) if order.blocks else (ONE,)
            for block in blocks:
                outline = block.outline(*size)
                yield Layout(item, fitting, mounting, *outline, turned, block, order)


@dataclass(frozen=True)
class Anchors:
    """What places on a surface are laid at beside its grid: `bounces` (N, 2) of reflections, the
    axis, areas."""

    room: Room
    surface: Surface
    bounces: Floats

    @cached_property
    def axis(self) -> tuple[int, float] | None:
        """Where the speakers' axis lies (`axis_in`)."""
        return axis_in(self.room, self.surface)

    @cached_property
    def heights(self) -> list[float]:
        """Heights of bounces, those that are close as one."""
        return agreed(self.bounces[:, 1])

    @cached_property
    def middles(self) -> list[float]:
        """Places of bounces along the surface, those that are close as one."""
        return agreed(self.bounces[:, 0])

    @cached_property
    def middles_of_rows(self) -> list[float]:
        """The same, of rows of pieces."""
        return agreed(self.bounces[:, 0], ALIKE)

    @cached_property
    def opposite(self) -> list[float]:
        """Middles along a wall of the mirror images of areas, where pieces hang without a twin."""
        return _opposite_areas(self.room, self.surface)

    @cached_property
    def windows(self) -> list[Rect]:
        """Windows of the surface."""
        return [a.rect for a in self.surface.areas if a.kind == "window"]


def positions(layout: Layout, grid: float, anchors: Anchors) -> Floats:
    """Rectangles (N, 4) on the grid and at the anchors; not yet checked for being free."""
    u, v = _lower_left(layout, grid, anchors)
    rect = np.empty((len(u), len(v), 4))
    rect[..., 0], rect[..., 1] = u[:, None], v
    rect[..., 2], rect[..., 3] = (u + layout.width)[:, None], v + layout.height
    return np.asarray(np.round(rect.reshape(-1, 4), DIGITS))


def asked_for(room: Room, products: tuple[Product, ...], grid: float, order: OrderRules) -> int:
    """How many rectangles a grid asks for over all layouts and surfaces, free or not and without
    those at bounces."""
    count = 0
    for surface in room.surfaces:
        anchors = Anchors(room, surface, np.zeros((0, 2)))
        for layout in layouts_on(surface, products, order):
            u, v = _lower_left(layout, grid, anchors)
            count += len(u) * len(v)
    return count


def grid_faults(scenario: Scenario, room: Room, products: tuple[Product, ...]) -> Iterator[Fault]:
    """A grid that a person asks for gives no more places than can be planned with."""
    grid, order = scenario.limits.grid, scenario.layout.rules
    if grid is None:
        return
    count = asked_for(room, products, grid, order)
    coarser = grid
    while count > MOST_PLACES and coarser < WIDEST_GRID:
        coarser = min(1.05 * coarser, WIDEST_GRID)
        if asked_for(room, products, coarser, order) <= MOST_PLACES:
            break
    if coarser > grid:
        remedy = (
            f"asks for {count:,} places of the products, and at most {MOST_PLACES:,} are looked "
            f"at; write {np.ceil(100 * coarser) / 100:.2f} m or more, or fewer products"
        )
        yield Fault(scenario.file, "limits.grid", grid, remedy)


def _lower_left(layout: Layout, grid: float, anchors: Anchors) -> tuple[Floats, Floats]:
    """Where rectangles begin along u and along v; none where the layout is too large."""
    room, surface = anchors.room, anchors.surface
    u0, v0, u1, v1 = surface.plane.bounds
    width, height = layout.width, layout.height
    if width > u1 - u0 + 1e-9 or height > v1 - v0 + 1e-9:
        return np.zeros(0), np.zeros(0)
    order, on_axis = layout.order, anchors.axis
    u_starts = _starts(u0, u1, width, grid) + [a - width / 2 for a in anchors.bounces[:, 0]]
    lowest = 0.0 if layout.own_place else order.lowest_edge
    bottom = v0 + (max(room.skirting, lowest) if surface.is_wall else 0.0)
    step = grid * STEP_UP if surface.is_wall else grid
    v_starts = _starts(bottom, v1, height, step) + [a - height / 2 for a in anchors.bounces[:, 1]]
    if order.lines and surface.is_wall and not layout.own_place:
        v_starts = [*_levels(bottom, v1, height), *(a - height / 2 for a in anchors.heights)]
    if order.blocks and surface.is_wall and not layout.own_place:
        middles = anchors.middles_of_rows if layout.grid.columns > 1 else anchors.middles
        u_starts = [u0, u1 - width, *(a - width / 2 for a in middles)]
        u_starts += starts_beside_areas(surface, width)
        u_starts += [middle - width / 2 for middle in anchors.opposite]
    if order.clouds and surface.is_ceiling and on_axis is not None and on_axis[0] == 1:
        u_starts = _starts(u0, u1, width, 2 * STEP_UP * grid)
        u_starts += [a - width / 2 for a in anchors.middles_of_rows]
        v_starts = [a - height / 2 for a in anchors.bounces[:, 1]]  # the axis comes below
    if layout.mounting in LOW:
        v_starts = [v0]
    if on_axis is not None:
        along, at = on_axis
        (u_starts if along == 0 else v_starts).append(at - (width, height)[along] / 2)
    if layout.product.kind == "curtain":
        windows = anchors.windows
        u_starts += [(a[0] + a[2] - width) / 2 for a in windows]
        u_starts += [a[0] for a in windows] + [a[2] - width for a in windows]
        v_starts += [a[3] - height for a in windows] + [a[1] for a in windows]
        v_starts += [min(v1, a[3] + 0.1) - height for a in windows]
    u, v = (np.array(sorted(set(np.round(s, DIGITS).tolist()))) for s in (u_starts, v_starts))
    return u, v


def _starts(low: float, high: float, size: float, step: float) -> list[float]:
    last = high - size
    return [*np.arange(low, last + 1e-9, step).tolist(), last]


def _opposite_areas(room: Room, surface: Surface) -> list[float]:
    """Middles along a wall of the mirror images of areas, where pieces hang without a twin."""
    partner = mirror_partner(room, surface)
    blocking = [] if partner is None else [a.rect for a in partner.areas if a.blocks]
    if partner is None or not blocking:
        return []
    rects = mirror_rects(room, partner, surface, np.array(blocking))
    return [round(float(middle), DIGITS) for middle in rects[:, [0, 2]].mean(axis=1)]


def _levels(low: float, high: float, size: float) -> list[float]:
    """Lower edges of what is hung in lines: at the foot of the wall and below its top, on high
    walls between them too.

    What hangs at one height only leaves the sound in the other half of the room to itself.
    """
    top = max(high - BELOW_TOP - size, low)
    steps = np.arange(low, top, STEP_UP * FINEST).tolist()
    kept = steps if high - low > HIGH_WALL else [low]
    return [*kept, top] if size <= high - low + 1e-9 else []
