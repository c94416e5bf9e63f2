"""Every placement worth considering: mirrored pairs, pieces on the axis, singles where forced.

Where they may lie on each surface says optimizer.placement.layouts. A pair mirrored about the axis
is one candidate. A single off the axis is offered only where its mirror image is not free (a
window, a door, furniture on the other side). All layouts of a surface that ask the same of a place
are looked at together.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from optimizer.acoustics.scene import Ints
from optimizer.placement.about_axis import mirror_rects
from optimizer.placement.blocks import ONE, Grid, leaves_gap
from optimizer.placement.catalogue import Product, meets_fire_class
from optimizer.placement.corners import corner_pieces
from optimizer.placement.edges import edge_runs
from optimizer.placement.holding import allowed_mountings
from optimizer.placement.layouts import FINEST, Anchors, Layout, Placed, layouts_on, positions
from optimizer.placement.pieces import Piece, are_mirrored, faces_and_boxes, mirror_partner
from optimizer.placement.rules import Spread, barred, holds
from optimizer.placement.zones import Mask, Spots, Zones, zones_of
from optimizer.room.geometry import DIGITS, Floats, Rect
from optimizer.room.layout import FREE, OrderRules
from optimizer.room.model import Room, Surface
from optimizer.room.schema import LimitsSection

ENOUGH = 4000  # free rectangles
CENTRED = 1e-4  # m off the axis that counts as on it


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
    count = sum(len(rect) for _, placed in free for _, rect in placed)
    if limits.grid is None and count > ENOUGH:
        step = round(FINEST * float(np.sqrt(count / ENOUGH)), 2)
        free = _free_rects(zones, products, limits, bounces, step, order)
    found = [
        candidate
        for surface, placed in free
        for candidate in _mirrored(zones, surface, placed, limits)
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
    free = _free_rects(zones, only, limits, {}, grid, order)
    if any(len(rect) for _, placed in free for _, rect in placed):
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
        for layout in layouts_on(surface, products, replace(order, blocks=False)):
            same = layout.product.id, layout.fitting, layout.turned
            if same == (piece.product.id, piece.fitting, piece.turned):
                free = _free(zones, surface, [(layout, rect)], limits)
                found += _mirrored(zones, surface, free, limits)
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
    for layout in layouts_on(surface, products, replace(order, blocks=False)):
        half = np.array([layout.width, layout.height]) / 2
        rect = np.round(np.array([[*(middle - half), *(middle + half)]]), DIGITS)
        free = _free(zones, surface, [(layout, rect)], limits)
        found += (Candidate(block) for blocks in _blocks(room, surface, free) for block in blocks)
        found += _mirrored(zones, surface, free, limits)
    return tuple(dict.fromkeys(found))


def slid_candidates(
    room: Room,
    limits: LimitsSection,
    candidates: Sequence[Candidate],
    steps: Floats,
    order: OrderRules = FREE,
) -> tuple[Candidate, ...]:
    """The candidates of flat pieces or blocks slid along their surface by `steps` (N,) m, each way
    by each; those in corners and along edges, or whose kind has a place of its own, stay."""
    zones = zones_of(room)
    by = np.stack([axis.ravel() for axis in np.meshgrid(steps, steps, indexing="ij")], axis=1)
    placed: dict[str, list[Placed]] = {}
    for candidate in candidates:
        first = candidate.pieces[0]
        if len(first.rects) > 1:
            continue
        surface = room.surface(first.surface)
        kind = first.product.id, first.fitting, first.turned, candidate.grid
        rect = np.array(_outline(candidate.blocks[0])) + np.concatenate([by, by], axis=1)
        rect = _inside(surface, np.round(rect, DIGITS))
        placed.setdefault(surface.name, []).extend(
            (layout, rect)
            for layout in layouts_on(surface, (first.product,), order)
            if (layout.product.id, layout.fitting, layout.turned, layout.grid) == kind
            and not layout.own_place
        )
    found: list[Candidate] = []
    for name, each in placed.items():
        surface = room.surface(name)
        found += _mirrored(zones, surface, _free(zones, surface, each, limits), limits)
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
) -> list[tuple[Surface, list[Placed]]]:
    """Free rectangles (N, 4) of every product layout on every surface."""
    found = []
    for surface in zones.room.surfaces:
        anchors = Anchors(zones.room, surface, bounces.get(surface.name, np.zeros((0, 2))))
        placed = [
            (layout, positions(layout, grid, anchors))
            for layout in layouts_on(surface, products, order)
        ]
        found.append((surface, _free(zones, surface, placed, limits)))
    return found


def _free(
    zones: Zones, surface: Surface, placed: Sequence[Placed], limits: LimitsSection
) -> list[Placed]:
    """The rectangles of layouts that are free."""
    usable = _usable(zones, surface, placed, limits)
    return [(layout, rect[mask]) for (layout, rect), mask in zip(placed, usable, strict=True)]


def _usable(
    zones: Zones, surface: Surface, placed: Sequence[Placed], limits: LimitsSection
) -> list[Mask]:
    """Which rectangles of each layout are free, within the limits on depth and headroom, and can
    hold the piece."""
    alike: dict[tuple[object, ...], list[int]] = {}
    for number, (layout, _) in enumerate(placed):
        alike.setdefault(layout.asks, []).append(number)
    found = [np.zeros(len(rect), dtype=bool) for _, rect in placed]
    for numbers in alike.values():
        sizes = [len(placed[n][1]) for n in numbers]
        if not any(sizes):
            continue
        rect = np.concatenate([placed[n][1] for n in numbers])
        reach = np.repeat([placed[n][0].reach for n in numbers], sizes)
        spots = Spots(zones.room.surfaces.index(surface), rect, reach)
        free = _usable_alike(zones, surface, placed[numbers[0]][0], spots, limits)
        for n, mask in zip(numbers, np.split(free, np.cumsum(sizes)[:-1]), strict=True):
            found[n] = mask
    return found


def _usable_alike(
    zones: Zones, surface: Surface, layout: Layout, spots: Spots, limits: LimitsSection
) -> Mask:
    """Which spots of layouts that ask the same as this one are usable."""
    may, only, flat, lowest, mounting = layout.asks
    free = zones.free(spots, frozenset({"window"}) if may else frozenset(), flat=flat)
    if only:
        free &= _over_window(surface, spots.rect)
    if surface.is_wall and np.isfinite(lowest):
        heights = surface.plane.to_xyz(spots.rect.reshape(-1, 2, 2))[..., 2].min(axis=1)
        free &= heights >= lowest - 1e-9
    index = np.flatnonzero(free)
    spread = Spread(surface, spots.rect[index], np.broadcast_to(spots.reach, len(free))[index])
    free[index] = ~barred(zones.room, spread, limits) & holds(zones, spread, mounting)
    return free


def _over_window(surface: Surface, rect: Floats) -> Mask:
    windows = [a.rect for a in surface.areas if a.kind == "window"]
    over = np.zeros(len(rect), dtype=bool)
    for u0, v0, u1, v1 in windows:
        over |= (rect[:, 0] < u1) & (rect[:, 2] > u0) & (rect[:, 1] < v1) & (rect[:, 3] > v0)
    return over


def _mirrored(
    zones: Zones, surface: Surface, placed: Sequence[Placed], limits: LimitsSection
) -> Iterator[Candidate]:
    """Candidates of free rectangles: pairs once, pieces on the axis, singles where forced."""
    placed = [(layout, rect) for layout, rect in placed if len(rect)]
    room, partner = zones.room, mirror_partner(zones.room, surface)
    if partner is None or not placed:
        for (layout, _), blocks in zip(placed, _blocks(room, surface, placed), strict=True):
            yield from (Candidate(block, layout.grid) for block in blocks)
        return
    sizes = np.cumsum([len(rect) for _, rect in placed])[:-1]
    rects = np.concatenate([rect for _, rect in placed])
    images = mirror_rects(room, surface, partner, rects)
    twins = [(layout, i) for (layout, _), i in zip(placed, np.split(images, sizes), strict=True)]
    fits = np.concatenate(_usable(zones, partner, twins, limits))
    forced = ~fits & ~_partly_free(zones, partner, twins, limits, ~fits)
    single, double = forced, ~forced & fits
    if partner is surface:
        own = np.abs(rects - images).max(axis=1) < CENTRED
        left = (surface.plane.to_xyz(rects.reshape(-1, 2, 2))[..., 1]).mean(axis=1) < room.axis_y
        single, double = own | forced, double & ~own & ~_overlap(rects, images) & left
    elif room.surfaces.index(surface) > room.surfaces.index(partner):
        double = np.zeros(len(rects), dtype=bool)
    kept = single | double
    first = _taken(placed, kept)
    second = _taken(twins, double)
    others = iter([block for each in _blocks(room, partner, second) for block in each])
    paired = iter(double[kept].tolist())
    for (layout, _), blocks in zip(first, _blocks(room, surface, first), strict=True):
        for block in blocks:
            yield Candidate((*block, *next(others)) if next(paired) else block, layout.grid)


def _taken(placed: Sequence[Placed], mask: Mask) -> list[Placed]:
    """The rectangles of layouts, one layout's after another's, where a mask holds."""
    masks = np.split(mask, np.cumsum([len(rect) for _, rect in placed])[:-1])
    return [(layout, rect[kept]) for (layout, rect), kept in zip(placed, masks, strict=True)]


def _overlap(rects: Floats, others: Floats, least: float = 1e-6) -> Mask:
    """Which rectangles (N, 4) share a part with others (N, 4) (`rects_overlap`)."""
    shared = np.minimum(rects[:, 2:], others[:, 2:]) - np.maximum(rects[:, :2], others[:, :2])
    return np.asarray(np.all(shared > least, axis=1))


def _partly_free(
    zones: Zones, surface: Surface, placed: Sequence[Placed], limits: LimitsSection, asked: Mask
) -> Mask:
    """Which outlines of blocks leave a place for some of their pieces, of those `asked` for."""
    asked = asked & np.concatenate([np.full(len(r), y.grid.count > 1) for y, r in placed])
    blocks = _taken(placed, asked)
    cells = [(layout, layout.grid.cells_of(rect).reshape(-1, 4)) for layout, rect in blocks]
    usable = _usable(zones, surface, cells, limits)
    some = [
        mask.reshape(-1, layout.grid.count).any(axis=1)
        for (layout, _), mask in zip(cells, usable, strict=True)
    ]
    found = np.zeros(len(asked), dtype=bool)
    found[asked] = np.concatenate(some)
    return found


def _blocks(
    room: Room, surface: Surface, placed: Sequence[Placed]
) -> list[list[tuple[Piece, ...]]]:
    """The pieces of the blocks in the outlines of each layout."""
    made = []
    cells = [layout.grid.cells_of(rect).reshape(-1, 4) for layout, rect in placed]
    sizes = [len(each) for each in cells]
    if not sum(sizes):
        return [[] for _ in placed]
    reach = np.repeat([layout.reach for layout, _ in placed], sizes)
    faces, boxes = faces_and_boxes(surface.plane, np.concatenate(cells), reach)
    start = 0
    for (layout, rect), mine in zip(placed, cells, strict=True):
        mountings = [layout.mounting] * len(rect)
        if layout.mounting == "window":
            over = _over_window(surface, rect).tolist()
            mountings = ["window" if yes else "wall" for yes in over]
        count, rects = layout.grid.count, mine.tolist()
        taken = zip(rects, faces[start:], boxes[start:], strict=False)
        pieces = [
            Piece(
                layout.product, layout.fitting, mountings[i // count],
                ((surface.name, (u0, v0, u1, v1)),), layout.turned, face, box,
            )
            for i, ((u0, v0, u1, v1), face, box) in enumerate(taken)
        ]  # fmt: skip
        made.append([tuple(pieces[i : i + count]) for i in range(0, len(pieces), count)])
        start += len(mine)
    return made
