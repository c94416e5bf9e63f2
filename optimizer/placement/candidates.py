"""Every placement worth considering: mirrored pairs, pieces on the axis, singles where forced.

Positions are a grid along each surface plus anchors: flush with both ends, centred on the points
where first reflections bounce, centred on the speakers' axis and on windows. A pair mirrored
about the axis is one candidate. A single off the axis is offered only where its mirror image is
not free (a window, a door, furniture on the other side).
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import product as every

import numpy as np

from optimizer.acoustics.scene import Ints
from optimizer.placement.catalogue import Product, meets_fire_class
from optimizer.placement.corners import corner_pieces
from optimizer.placement.holding import LOW, SELF_HELD, allowed_mountings
from optimizer.placement.pieces import Piece, are_mirrored, flat_piece, mirror_partner
from optimizer.placement.rules import Spread, barred, holds
from optimizer.placement.zones import Mask, Spots, Zones, zones_of
from optimizer.room.geometry import DIGITS, Floats, Rect
from optimizer.room.model import Room, Surface
from optimizer.room.schema import LimitsSection

FINEST = 0.30  # m, grid step
ENOUGH = 4000  # free rectangles
STEP_UP = 2.0  # levels on a wall are this many grid steps apart
CENTRED = 1e-4  # m off the axis that counts as on it
UPRIGHT = 1e-3  # share of its normal that points up or down in a wall that counts as upright


@dataclass(frozen=True)
class Candidate:
    """One decision: a piece on the axis or alone, a stack of them, or a mirrored pair of either."""

    pieces: tuple[Piece, ...]

    @property
    def product(self) -> Product:
        """The product placed."""
        return self.pieces[0].product

    @property
    def is_pair(self) -> bool:
        """True for a mirrored pair of pieces or stacks."""
        return are_mirrored(self.pieces)


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
    """One way a product may lie on a surface: its size along u and v, and its fitting."""

    product: Product
    fitting: int
    mounting: str
    width: float
    height: float
    turned: bool

    @property
    def reach(self) -> float:
        """How far it stands out in metres."""
        return self.product.fittings[self.fitting].gap + self.product.depth


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
    room: Room, products: tuple[Product, ...], limits: LimitsSection, bounces: dict[str, Floats]
) -> tuple[Candidate, ...]:
    """All candidates of allowed products. `bounces`: uv points (N, 2) per surface to centre on.

    Without a grid step in the limits the step is FINEST, or coarser where that would give far
    more than ENOUGH free rectangles.
    """
    zones = zones_of(room)
    step = FINEST if limits.grid is None else limits.grid
    free = _free_rects(zones, products, limits, bounces, step)
    count = sum(len(rect) for *_, rect in free)
    if limits.grid is None and count > ENOUGH:
        step = round(FINEST * float(np.sqrt(count / ENOUGH)), 2)
        free = _free_rects(zones, products, limits, bounces, step)
    found = [
        candidate
        for surface, layout, rect in free
        for candidate in _mirrored(zones, surface, layout, rect, limits)
    ]
    for item in products:
        if "corner" in item.mountings:
            stacks = corner_pieces(zones, item, stacked=limits.no_holes)
            found += (Candidate(pieces) for pieces in stacks)
    return tuple(found)


def has_place(room: Room, product: Product, limits: LimitsSection, grid: float) -> bool:
    """True when a product has a place on the grid or in a corner; bounces are not looked at."""
    zones = zones_of(room)
    return any(len(rect) for *_, rect in _free_rects(zones, (product,), limits, {}, grid)) or (
        "corner" in product.mountings
        and any(True for _ in corner_pieces(zones, product, stacked=limits.no_holes))
    )


def candidates_at(
    room: Room, products: tuple[Product, ...], limits: LimitsSection, pieces: Sequence[Piece]
) -> tuple[Candidate, ...]:
    """Candidates at the places of flat pieces, by the rules of `find_candidates`.

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
        for layout in _layouts(surface, products, limits):
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
) -> tuple[Candidate, ...]:
    """Candidates of flat pieces whose middle is a point (u, v) of a surface: one alone of each
    product, and those of `find_candidates`."""
    zones, surface = zones_of(room), room.surface(name)
    found: list[Candidate] = []
    for layout in _layouts(surface, products, limits):
        half = np.array([layout.width, layout.height]) / 2
        rect = np.round(np.array([[*(middle - half), *(middle + half)]]), DIGITS)
        spots = Spots(room.surfaces.index(surface), rect, layout.reach)
        free = rect[_usable(zones, surface, layout, spots, limits)]
        found += (Candidate((_piece(room, layout, surface, tuple(r)),)) for r in free.tolist())
        found += _mirrored(zones, surface, layout, free, limits)
    return tuple(dict.fromkeys(found))


def _free_rects(
    zones: Zones,
    products: tuple[Product, ...],
    limits: LimitsSection,
    bounces: dict[str, Floats],
    grid: float,
) -> list[tuple[Surface, Layout, Floats]]:
    """Free rectangles (N, 4) of every product layout on every surface."""
    found = []
    for index, surface in enumerate(zones.room.surfaces):
        for layout in _layouts(surface, products, limits):
            anchors = bounces.get(surface.name, np.zeros((0, 2)))
            rect = _positions(zones.room, surface, layout, grid, anchors)
            spots = Spots(index, rect, layout.reach)
            found.append((surface, layout, rect[_usable(zones, surface, layout, spots, limits)]))
    return found


def _layouts(
    surface: Surface, products: tuple[Product, ...], limits: LimitsSection
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
            width, height = (item.height, item.width) if turned else (item.width, item.height)
            if mounting == "adhesive" and item.fittings[fitting].gap > 0.0:
                continue  # strips hold flush pieces only
            yield Layout(item, fitting, mounting, width, height, turned)


def _positions(
    room: Room, surface: Surface, layout: Layout, grid: float, anchors: Floats
) -> Floats:
    """Rectangles (N, 4) on the grid and at the anchors; not yet checked for being free."""
    u0, v0, u1, v1 = surface.plane.bounds
    width, height = layout.width, layout.height
    if width > u1 - u0 + 1e-9 or height > v1 - v0 + 1e-9:
        return np.zeros((0, 4))
    u_starts = _starts(u0, u1, width, grid) + [a - width / 2 for a in anchors[:, 0]]
    bottom = v0 + (room.skirting if surface.is_wall else 0.0)
    step = grid * STEP_UP if surface.is_wall else grid
    v_starts = _starts(bottom, v1, height, step) + [a - height / 2 for a in anchors[:, 1]]
    if layout.mounting in LOW:
        v_starts = [v0]
    on_axis = _axis_in(room, surface)
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


def _axis_in(room: Room, surface: Surface) -> tuple[int, float] | None:
    """Which in-plane axis (0 u, 1 v) runs along y, and where the speakers' axis lies on it."""
    for along, axis in enumerate((surface.plane.u, surface.plane.v)):
        if abs(axis[1]) > 0.999:
            return along, (room.axis_y - float(surface.plane.origin[1])) * float(np.sign(axis[1]))
    return None


def _usable(
    zones: Zones, surface: Surface, layout: Layout, spots: Spots, limits: LimitsSection
) -> Mask:
    """Which spots are free, within the limits on depth and headroom, and can hold the piece."""
    kind = layout.product.kind
    over = frozenset({"window"}) if "window" in layout.product.mountings else frozenset()
    free = zones.free(spots, over, flat=kind == "rug")
    if "wall" not in layout.product.mountings and layout.mounting == "window":
        free &= _over_window(surface, spots.rect)
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
        yield from (Candidate((_piece(room, layout, surface, tuple(r)),)) for r in free.tolist())
        return
    image = _mirror_rects(room, surface, partner, free)
    index = room.surfaces.index(partner)
    fits = _usable(zones, partner, layout, Spots(index, image, layout.reach), limits)
    same = partner.name == surface.name
    for rect, twin, free_too in zip(free.tolist(), image.tolist(), fits, strict=True):
        first = _piece(room, layout, surface, tuple(rect))
        if same and np.abs(np.subtract(rect, twin)).max() < CENTRED or not free_too:
            yield Candidate((first,))
        elif same and _rects_overlap(rect, twin):
            continue
        elif _is_first(room, first, surface, partner):
            yield Candidate((first, _piece(room, layout, partner, tuple(twin))))


def _is_first(room: Room, piece: Piece, surface: Surface, partner: Surface) -> bool:
    """True for the member of a pair that lies left of the axis, so that a pair is made once."""
    if surface.name != partner.name:
        order = room.surfaces.index
        return order(surface) < order(partner)
    return float(piece.box[:, 1].mean()) < room.axis_y


def _rects_overlap(a: list[float], b: list[float]) -> bool:
    tiny = 1e-6
    wide = min(a[2], b[2]) - max(a[0], b[0]) > tiny
    return wide and min(a[3], b[3]) - max(a[1], b[1]) > tiny


def _mirror_rects(room: Room, surface: Surface, partner: Surface, rect: Floats) -> Floats:
    """Rectangles (N, 4) mirrored about the axis and laid on the partner surface."""
    corners = surface.plane.to_xyz(rect.reshape(-1, 2, 2))
    corners[..., 1] = 2 * room.axis_y - corners[..., 1]
    uv = partner.plane.to_uv(corners)
    return np.round(np.concatenate([uv.min(axis=1), uv.max(axis=1)], axis=1), DIGITS) + 0.0


def _piece(room: Room, layout: Layout, surface: Surface, rect: Rect) -> Piece:
    mounting = layout.mounting
    if mounting == "window" and not _over_window(surface, np.array([rect]))[0]:
        mounting = "wall"
    return flat_piece(
        room, layout.product, layout.fitting, mounting, surface.name, rect, layout.turned
    )
