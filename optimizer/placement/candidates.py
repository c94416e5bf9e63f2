"""Every placement worth considering: mirrored pairs, pieces on the axis, singles where forced.

Positions are a grid along each surface plus anchors: flush with both ends, centred on the points
where first reflections bounce, centred on the speakers' axis and on windows. A pair mirrored
about the axis is one candidate. A single off the axis is offered only where its mirror image is
not free (a window, a door, furniture on the other side). By the rules of order (room/layout.py) a
place is one of a block of pieces, and there are fewer of them.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import product as every

import numpy as np

from optimizer.acoustics.scene import Ints
from optimizer.placement.about_axis import axis_in, mirror_rects
from optimizer.placement.blocks import (
    AGREE,
    ALIKE,
    ALONE_BY_NATURE,
    ONE,
    OWN_PLACE,
    Grid,
    agreed,
    grids,
    leaves_gap,
    starts_beside_areas,
)
from optimizer.placement.catalogue import Product, meets_fire_class
from optimizer.placement.corners import corner_pieces
from optimizer.placement.edges import edge_runs
from optimizer.placement.holding import LOW, SELF_HELD, allowed_mountings
from optimizer.placement.pieces import Piece, are_mirrored, flat_piece, mirror_partner
from optimizer.placement.rules import Spread, barred, holds
from optimizer.placement.zones import Mask, Spots, Zones, zones_of
from optimizer.room.geometry import DIGITS, Floats, Rect, rects_overlap
from optimizer.room.layout import FREE, OrderRules
from optimizer.room.model import Room, Surface
from optimizer.room.schema import LimitsSection

FINEST = 0.30  # m, grid step
ENOUGH = 4000  # free rectangles
STEP_UP = 2.0  # levels on a wall are this many grid steps apart
BELOW_TOP = 0.3  # m that pieces in lines keep from the top of a wall
HIGH_WALL = 3.0  # m above the lowest edge, from which pieces in lines hang at more than two levels
CENTRED = 1e-4  # m off the axis that counts as on it
UPRIGHT = 1e-3  # share of its normal that points up or down in a wall that counts as upright


@dataclass(frozen=True)
class Candidate:
    """One decision: a block of pieces (often of one) on the axis or alone, or a mirrored pair of
    blocks, the pieces of one before those of the other."""

    pieces: tuple[Piece, ...]
    grid: Grid = ONE

    @property
    def product(self) -> Product:
        """The product placed."""
        return self.pieces[0].product

    @property
    def is_pair(self) -> bool:
        """True for a mirrored pair."""
        return len(self.pieces) == 2 * self.grid.count

    @property
    def blocks(self) -> tuple[tuple[Piece, ...], ...]:
        """The pieces of each block."""
        count = self.grid.count
        return tuple(self.pieces[i : i + count] for i in range(0, len(self.pieces), count))


def kinds_of(candidates: Sequence[Candidate]) -> Ints:
    """Number (C,) of each candidate's kind: its product, and the surfaces that it lies on."""
    kinds = [(c.product.id, *sorted(piece.surface for piece in c.pieces)) for c in candidates]
    known = {kind: number for number, kind in enumerate(dict.fromkeys(kinds))}
    return np.array([known[kind] for kind in kinds], dtype=np.int64)


def shares_of(candidates: Sequence[Candidate], surfaces: Sequence[str]) -> Floats:
    """Share (C, S) of each surface in the area that each candidate covers."""
    index = {name: number for number, name in enumerate(surfaces)}
    shares = np.zeros((len(candidates), len(surfaces)))
    for row, candidate in zip(shares, candidates, strict=True):
        for piece in candidate.pieces:
            for name, (u0, v0, u1, v1) in piece.rects:
                row[index[name]] += (u1 - u0) * (v1 - v0)
    return np.asarray(shares / shares.sum(axis=1, keepdims=True))


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


def allowed_products(products: tuple[Product, ...], limits: LimitsSection) -> tuple[Product, ...]:
    """Products that are not banned, meet the fire class asked for, and keep a way to be mounted."""
    kept = []
    for item in products:
        mountings = allowed_mountings(item.mountings, item.sundries, limits)
        if "wall" in mountings:  # strips are for those who may not drill
            mountings = tuple(m for m in mountings if m != "adhesive")
        fit = meets_fire_class(item.fire_class, limits.fire_class)
        if mountings and fit and item.id not in limits.banned_products:
            kept.append(replace(item, mountings=mountings))
    return tuple(kept)


def find_candidates(
    room: Room,
    products: tuple[Product, ...],
    limits: LimitsSection,
    bounces: dict[str, Floats],
    order: OrderRules = FREE,
) -> tuple[Candidate, ...]:
    """All candidates of allowed products. `bounces`: uv points (N, 2) per surface to centre on.

    Without a grid step in the limits the step is FINEST, or coarser where that would give far
    more than ENOUGH free rectangles.
    """
    zones = zones_of(room)
    step = FINEST if limits.grid is None else limits.grid
    free = _free_rects(zones, products, limits, bounces, step, order)
    count = sum(len(rect) for *_, rect in free)
    if limits.grid is None and count > ENOUGH:
        step = round(FINEST * float(np.sqrt(count / ENOUGH)), 2)
        free = _free_rects(zones, products, limits, bounces, step, order)
    found = [
        candidate
        for surface, layout, rect in free
        for candidate in _mirrored(zones, surface, layout, rect, limits)
    ]
    if order.clouds:
        found = [c for c in found if not _open_over_bounces(zones.room, c, bounces)]
    for item in products:
        if "corner" in item.mountings:
            stacks = corner_pieces(zones, item, stacked=limits.no_holes)
            found += (Candidate(pieces, _stack(pieces)) for pieces in stacks)
        if "edge" in item.mountings:
            found += (Candidate(run, grid) for run, grid in edge_runs(zones, item, limits))
    return tuple(found)


def _stack(pieces: Sequence[Piece]) -> Grid:
    """The grid of a stack in a corner, or of each of two."""
    return Grid(rows=len(pieces) // (2 if are_mirrored(pieces) else 1))


def _open_over_bounces(room: Room, candidate: Candidate, bounces: dict[str, Floats]) -> bool:
    """Whether a pair overhead leaves a gap between its halves where a reflection bounces."""
    name = candidate.pieces[0].surface
    if not candidate.is_pair or name not in bounces or candidate.pieces[-1].surface != name:
        return False
    halves = [_outline(pieces) for pieces in candidate.blocks]
    return room.surface(name).is_ceiling and leaves_gap(halves, bounces[name])


def _outline(pieces: Sequence[Piece]) -> Rect:
    rects = np.array([piece.rect for piece in pieces])
    (u0, v0), (u1, v1) = rects[:, :2].min(axis=0).tolist(), rects[:, 2:].max(axis=0).tolist()
    return u0, v0, u1, v1


def has_place(
    room: Room, product: Product, limits: LimitsSection, grid: float, order: OrderRules = FREE
) -> bool:
    """True when a product has a place on the grid, in a corner or along an edge; bounces are not
    looked at."""
    zones, only = zones_of(room), (product,)
    if any(len(rect) for *_, rect in _free_rects(zones, only, limits, {}, grid, order)):
        return True
    found: list[Iterator[object]] = []
    if "corner" in product.mountings:
        found.append(corner_pieces(zones, product, stacked=limits.no_holes))
    if "edge" in product.mountings:
        found.append(edge_runs(zones, product, limits))
    return any(True for places in found for _ in places)


def candidates_at(
    room: Room,
    products: tuple[Product, ...],
    limits: LimitsSection,
    pieces: Sequence[Piece],
    order: OrderRules = FREE,
) -> tuple[Candidate, ...]:
    """Candidates of one piece or pair at the places of flat pieces, as by `find_candidates`.

    There is none for a piece whose product is not allowed, whose place is not free any more, or
    that is the right member of a pair.
    """
    zones = zones_of(room)
    found: list[Candidate] = []
    for piece in pieces:
        if len(piece.rects) > 1:
            continue
        surface = room.surface(piece.surface)
        rect = np.array([piece.rect])
        for layout in _layouts(surface, products, replace(order, blocks=False)):
            same = layout.product.id, layout.fitting, layout.turned
            if same == (piece.product.id, piece.fitting, piece.turned):
                spots = Spots(room.surfaces.index(surface), rect, layout.reach)
                free = rect[_usable(zones, surface, layout, spots, limits)]
                found += _mirrored(zones, surface, layout, free, limits)
    return tuple(found)


def candidates_centred(
    room: Room,
    products: tuple[Product, ...],
    limits: LimitsSection,
    name: str,
    middle: tuple[float, float],
    order: OrderRules = FREE,
) -> tuple[Candidate, ...]:
    """Candidates of flat pieces whose middle is a point (u, v) of a surface: one alone of each
    product, and those of `find_candidates`."""
    zones, surface = zones_of(room), room.surface(name)
    found: list[Candidate] = []
    for layout in _layouts(surface, products, replace(order, blocks=False)):
        half = np.array([layout.width, layout.height]) / 2
        rect = np.round(np.array([[*(middle - half), *(middle + half)]]), DIGITS)
        spots = Spots(room.surfaces.index(surface), rect, layout.reach)
        free = rect[_usable(zones, surface, layout, spots, limits)]
        found += (Candidate(_pieces(room, layout, surface, tuple(r))) for r in free.tolist())
        found += _mirrored(zones, surface, layout, free, limits)
    return tuple(dict.fromkeys(found))


def slid_candidates(
    room: Room,
    products: tuple[Product, ...],
    limits: LimitsSection,
    candidates: Sequence[Candidate],
    steps: Floats,
    order: OrderRules = FREE,
) -> tuple[Candidate, ...]:
    """The candidates of flat pieces or blocks slid along their surface by `steps` (N,) m, each way
    by each; those in corners and along edges, or whose kind
    has a place of its own, stay."""
    zones = zones_of(room)
    by = np.stack([axis.ravel() for axis in np.meshgrid(steps, steps, indexing="ij")], axis=1)
    found: list[Candidate] = []
    for candidate in candidates:
        first = candidate.pieces[0]
        if len(first.rects) > 1:
            continue
        surface = room.surface(first.surface)
        kind = first.product.id, first.fitting, first.turned, candidate.grid
        for layout in _layouts(surface, products, order):
            own = layout.product.id, layout.fitting, layout.turned, layout.grid
            if own != kind or layout.own_place:
                continue
            rect = np.array(_outline(candidate.blocks[0])) + np.concatenate([by, by], axis=1)
            rect = _inside(surface, np.round(rect, DIGITS))
            spots = Spots(room.surfaces.index(surface), rect, layout.reach)
            free = rect[_usable(zones, surface, layout, spots, limits)]
            found += _mirrored(zones, surface, layout, free, limits)
    return tuple(dict.fromkeys(found))


def _inside(surface: Surface, rects: Floats) -> Floats:
    """Those of rectangles (N, 4) that lie within the bounds of a surface."""
    u0, v0, u1, v1 = surface.plane.bounds
    low = np.all(rects[:, :2] >= np.array([u0, v0]) - 1e-9, axis=1)
    return np.asarray(rects[low & np.all(rects[:, 2:] <= np.array([u1, v1]) + 1e-9, axis=1)])


def _free_rects(
    zones: Zones,
    products: tuple[Product, ...],
    limits: LimitsSection,
    bounces: dict[str, Floats],
    grid: float,
    order: OrderRules,
) -> list[tuple[Surface, Layout, Floats]]:
    """Free rectangles (N, 4) of every product layout on every surface."""
    found = []
    for index, surface in enumerate(zones.room.surfaces):
        for layout in _layouts(surface, products, order):
            anchors = bounces.get(surface.name, np.zeros((0, 2)))
            rect = _positions(zones.room, surface, layout, grid, anchors)
            spots = Spots(index, rect, layout.reach)
            found.append((surface, layout, rect[_usable(zones, surface, layout, spots, limits)]))
    return found


def _layouts(
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


def _positions(
    room: Room, surface: Surface, layout: Layout, grid: float, anchors: Floats
) -> Floats:
    """Rectangles (N, 4) on the grid and at the anchors; not yet checked for being free."""
    u0, v0, u1, v1 = surface.plane.bounds
    width, height = layout.width, layout.height
    if width > u1 - u0 + 1e-9 or height > v1 - v0 + 1e-9:
        return np.zeros((0, 4))
    order, on_axis = layout.order, axis_in(room, surface)
    u_starts = _starts(u0, u1, width, grid) + [a - width / 2 for a in anchors[:, 0]]
    lowest = 0.0 if layout.own_place else order.lowest_edge
    bottom = v0 + (max(room.skirting, lowest) if surface.is_wall else 0.0)
    step = grid * STEP_UP if surface.is_wall else grid
    v_starts = _starts(bottom, v1, height, step) + [a - height / 2 for a in anchors[:, 1]]
    if order.lines and surface.is_wall and not layout.own_place:
        v_starts = [*_levels(bottom, v1, height), *(a - height / 2 for a in agreed(anchors[:, 1]))]
    if order.blocks and surface.is_wall and not layout.own_place:
        middles = agreed(anchors[:, 0], ALIKE if layout.grid.columns > 1 else AGREE)
        u_starts = [u0, u1 - width, *(a - width / 2 for a in middles)]
        u_starts += starts_beside_areas(surface, width)
        u_starts += [middle - width / 2 for middle in _opposite_areas(room, surface)]
    if order.clouds and surface.is_ceiling and on_axis is not None and on_axis[0] == 1:
        u_starts = _starts(u0, u1, width, 2 * STEP_UP * grid)
        u_starts += [a - width / 2 for a in agreed(anchors[:, 0], ALIKE)]
        v_starts = [a - height / 2 for a in anchors[:, 1]]  # the axis comes below
    if layout.mounting in LOW:
        v_starts = [v0]
    if on_axis is not None:
        along, at = on_axis
        (u_starts if along == 0 else v_starts).append(at - (width, height)[along] / 2)
    if layout.product.kind == "curtain":
        windows = [a.rect for a in surface.areas if a.kind == "window"]
        u_starts += [(a[0] + a[2] - width) / 2 for a in windows]
        u_starts += [a[0] for a in windows] + [a[2] - width for a in windows]
        v_starts += [a[3] - height for a in windows] + [a[1] for a in windows]
        v_starts += [min(v1, a[3] + 0.1) - height for a in windows]
    u, v = (np.unique(np.round(starts, DIGITS)) for starts in (u_starts, v_starts))
    grid_u, grid_v = (g.ravel() for g in np.meshgrid(u, v, indexing="ij"))
    rect = np.stack([grid_u, grid_v, grid_u + width, grid_v + height], axis=1)
    return np.asarray(np.round(rect, DIGITS), dtype=np.float64)


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


def _usable(
    zones: Zones, surface: Surface, layout: Layout, spots: Spots, limits: LimitsSection
) -> Mask:
    """Which spots are free, within the limits on depth and headroom, and can hold the piece."""
    kind = layout.product.kind
    over = frozenset({"window"}) if "window" in layout.product.mountings else frozenset()
    free = zones.free(spots, over, flat=kind == "rug")
    if "wall" not in layout.product.mountings and layout.mounting == "window":
        free &= _over_window(surface, spots.rect)
    if surface.is_wall and not layout.own_place:
        heights = surface.plane.to_xyz(spots.rect.reshape(-1, 2, 2))[..., 2].min(axis=1)
        free &= heights >= layout.order.lowest_edge - 1e-9
    index = np.flatnonzero(free)
    spread = Spread(surface, spots.rect[index], spots.reach)
    free[index] = ~barred(zones.room, spread, limits) & holds(zones, spread, layout.mounting)
    return free


def _over_window(surface: Surface, rect: Floats) -> Mask:
    windows = [a.rect for a in surface.areas if a.kind == "window"]
    over = np.zeros(len(rect), dtype=bool)
    for u0, v0, u1, v1 in windows:
        over |= (rect[:, 0] < u1) & (rect[:, 2] > u0) & (rect[:, 1] < v1) & (rect[:, 3] > v0)
    return over


def _mirrored(
    zones: Zones,
    surface: Surface,
    layout: Layout,
    free: Floats,
    limits: LimitsSection,
) -> Iterator[Candidate]:
    """Candidates of free rectangles: pairs once, pieces on the axis, singles where forced."""
    if not len(free):
        return
    room = zones.room
    partner = mirror_partner(room, surface)
    if partner is None:
        for rect in free.tolist():
            yield Candidate(_pieces(room, layout, surface, tuple(rect)), layout.grid)
        return
    image = mirror_rects(room, surface, partner, free)
    index = room.surfaces.index(partner)
    fits = _usable(zones, partner, layout, Spots(index, image, layout.reach), limits)
    same = partner.name == surface.name
    forced = ~fits & ~_partly_free(zones, partner, layout, image, limits)
    for rect, twin, free_too, alone in zip(
        free.tolist(), image.tolist(), fits, forced, strict=True
    ):
        first = _pieces(room, layout, surface, tuple(rect))
        if same and np.abs(np.subtract(rect, twin)).max() < CENTRED or alone:
            yield Candidate(first, layout.grid)
        elif not free_too or same and rects_overlap(rect, twin):
            continue
        elif _is_first(room, first, surface, partner):
            second = _pieces(room, layout, partner, tuple(twin))
            yield Candidate((*first, *second), layout.grid)


def _partly_free(
    zones: Zones, surface: Surface, layout: Layout, rects: Floats, limits: LimitsSection
) -> Mask:
    """Which outlines (N, 4) of blocks leave a place for some of their pieces."""
    some = np.zeros(len(rects), dtype=bool)
    if layout.grid.count == 1:
        return some
    index = zones.room.surfaces.index(surface)
    cells = np.array([list(layout.grid.cells(tuple(rect))) for rect in rects.tolist()])
    for cell in range(layout.grid.count):
        spots = Spots(index, cells[:, cell], layout.reach)
        some |= _usable(zones, surface, layout, spots, limits)
    return some


def _is_first(room: Room, block: Sequence[Piece], surface: Surface, partner: Surface) -> bool:
    """True for the member of a pair that lies left of the axis, so that a pair is made once."""
    if surface.name != partner.name:
        order = room.surfaces.index
        return order(surface) < order(partner)
    return float(np.mean([piece.box[:, 1].mean() for piece in block])) < room.axis_y


def _pieces(room: Room, layout: Layout, surface: Surface, rect: Rect) -> tuple[Piece, ...]:
    """The pieces of a block in its outline."""
    mounting = layout.mounting
    if mounting == "window" and not _over_window(surface, np.array([rect]))[0]:
        mounting = "wall"
    product, fitting, turned = layout.product, layout.fitting, layout.turned
    return tuple(
        flat_piece(room, product, fitting, mounting, surface.name, cell, turned)
        for cell in layout.grid.cells(rect)
    )
