"""One product at one place: where it lies, the space it takes, what sound meets."""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np

from materials import Material
from materials.corner import CornerFill
from materials.finite import Face
from materials.made import make_strength, matter_of
from materials.modal import Make
from optimizer.acoustics.scene import UPRIGHT, Ints, Patches, Scene, objects
from optimizer.bands import N_BANDS
from optimizer.placement.butting import edge_factors, face_of
from optimizer.placement.catalogue import Product
from optimizer.placement.shade import normals_of, shades
from optimizer.placement.zones import bounding_boxes, prism_corners
from optimizer.room.geometry import DIGITS, Floats, Plane, Rect, rects_overlap
from optimizer.room.model import Room, Surface, mirror_name, mirror_points, mirror_rect

# Categories of material that let sound through to the surface behind.
OPEN_BACK = frozenset({"porous", "foam", "curtain", "carpet", "corner fill", "screen"})


@dataclass(frozen=True)
class Piece:
    """A product at a place, held as HOLDING of placement.holding says.

    `rects` are the surface rectangles it covers (two in a corner or along an edge).

    `face` (4, 3) are the corners of the face sound meets, `box` (2, 3) the space it takes.
    """

    product: Product
    fitting: int
    mounting: str
    rects: tuple[tuple[str, Rect], ...]
    turned: bool
    face: Floats = field(repr=False, compare=False)
    box: Floats = field(repr=False, compare=False)

    @cached_property
    def surface(self) -> str:
        """Where it hangs: the surface's name, or both walls of a corner ("front-left")."""
        return "-".join(name for name, _ in self.rects)

    @property
    def rect(self) -> Rect:
        """The rectangle it covers on its first surface."""
        return self.rects[0][1]

    @property
    def reach(self) -> float:
        """How far it stands out from its surface, in metres (gap and depth)."""
        return self.product.fittings[self.fitting].gap + self.product.depth

    @property
    def standing_out(self) -> tuple[tuple[str, Rect, float], ...]:
        """Rectangles on surfaces that rules on places look at, and how far it stands out there in
        metres; none of a piece in a corner of walls, where nobody walks."""
        if len(self.rects) == 1:
            return ((self.surface, self.rect, self.reach),)
        along = self.rects if self.mounting == "edge" else ()
        return tuple((name, rect, self.product.width) for name, rect in along)

    @property
    def material(self) -> Material:
        """What it is, hung as it is."""
        return self.product.fittings[self.fitting].material

    @property
    def edge_face(self) -> Face | None:
        """What it shows for the edge effect, None where no edge counts (screens, corner fills)."""
        flat = len(self.rects) == 1 and not self.is_object
        return face_of(self.material) if flat else None

    @property
    def is_object(self) -> bool:
        """True for a screen or box that stands by itself, not for a panel that does."""
        return self.mounting == "stand" and self.material.category not in ("porous", "foam")

    @property
    def face_area(self) -> float:
        """Area of the face in m2, times the number of faces that absorb."""
        first, second, _, last = self.face
        width, height = np.linalg.norm(second - first), np.linalg.norm(last - first)
        return float(width * height) * self.product.faces


def flat_piece(
    room: Room,
    product: Product,
    fitting: int,
    mounting: str,
    surface: str,
    rect: Rect,
    turned: bool,
) -> Piece:
    """A piece that lies flat on (or in front of) one surface."""
    plane = room.surface(surface).plane
    gap = product.fittings[fitting].gap
    (face,), (box,) = faces_and_boxes(plane, np.array([rect]), gap + product.depth)
    return Piece(product, fitting, mounting, ((surface, rect),), turned, face, box)


def faces_and_boxes(plane: Plane, rects: Floats, reach: float | Floats) -> tuple[Floats, Floats]:
    """Faces (N, 4, 3) of pieces that lie flat on rectangles (N, 4) and reach so far off them, and
    the boxes (N, 2, 3) they take."""
    corners = prism_corners(plane, rects, reach)
    return np.round(corners[:, 4:], DIGITS), bounding_boxes(corners)


def corner_piece(
    room: Room,
    product: Product,
    fitting: int,
    rects: tuple[tuple[str, Rect], tuple[str, Rect]],
    mounting: str = "corner",
) -> Piece:
    """A piece across the corner of two surfaces at right angles: its face runs between the far
    edges of two leg rectangles.

    Each leg rectangle starts at the corner.
    """
    first, second = (room.surface(name).plane for name, _ in rects)
    along = _lengthways(first, second)
    legs = [
        prism_corners(plane, np.array([rect]), 0.0)[0, :4]
        for plane, (_, rect) in zip((first, second), rects, strict=True)
    ]
    (a, b), (c, d) = (
        _far_edge(leg, other.height_over(leg), along)
        for leg, other in zip(legs, (second, first), strict=True)
    )
    around = np.concatenate(legs)
    box = np.round(np.stack([around.min(axis=0), around.max(axis=0)]), DIGITS)
    face = np.round(np.array([a, c, d, b]), DIGITS)
    return Piece(product, fitting, mounting, rects, False, face, box)


def _lengthways(first: Plane, second: Plane) -> Floats:
    """The direction (3,) of the edge of two planes, towards growing coordinates."""
    edge = np.cross(first.normal, second.normal)
    return np.asarray(edge * np.sign(edge[np.abs(edge).argmax()]))


def _far_edge(leg: Floats, off: Floats, along: Floats) -> Floats:
    """The edge (2, 3) of a leg (4, 3) that is farthest `off` (4,) the other surface, in order."""
    far = leg[np.argsort(-off, kind="stable")[:2]]
    return np.asarray(far[np.argsort(far @ along, kind="stable")])


def piece_patches(
    room: Room, pieces: list[Piece], together: Ints | None = None
) -> tuple[Patches, Ints]:
    """Patches of pieces, and which piece (N,) each patch belongs to.

    The pieces stand in the room at the same time, so that those that touch lose the joint edge;
    `together` (N,) gives sets apart, such as candidates, of which only each set does.
    A piece in a corner gives half its face to each of its two legs; its face stands nowhere
    parallel to them, so reflections are judged on the walls themselves (offset 0).
    """
    order = {surface.name: i for i, surface in enumerate(room.surfaces)}
    rows = [
        (index, order[name], rect, piece)
        for index, piece in enumerate(pieces)
        for name, rect in piece.rects
    ]
    if not rows:
        return Patches.none(), np.zeros(0, dtype=np.int64)
    owner = np.array([row[0] for row in rows], dtype=np.int64)
    surface = np.array([row[1] for row in rows], dtype=np.int64)
    rect = np.array([row[2] for row in rows])
    one, kind = _alike([row[3] for row in rows])
    alpha, face = _absorbing(one, kind, np.stack([piece.face for piece in pieces])[owner])
    open_back = np.array([p.material.category in OPEN_BACK for p in one])[kind, None]
    sets = np.zeros(len(pieces), dtype=np.int64) if together is None else together
    normals = normals_of(room, [[name for name, _ in piece.rects] for piece in pieces])
    off = np.array([p.reach if len(p.rects) == 1 else 0.0 for p in one])[kind]
    first = np.unique(owner, return_index=True)[1]
    faces = np.stack([p.face for p in pieces]) - (off[first, None] * normals)[:, None]
    shade = shades(room, faces, normals)  # faces as tracer and waves have them, on their surface
    shown = [piece.edge_face for piece in one]
    patches = Patches(
        surface=surface,
        rect=rect,
        alpha=alpha,
        scatter=np.array([p.material.scattering for p in one]).reshape(-1, N_BANDS)[kind],
        face=face,
        offset=off,
        hides=np.where(open_back, np.minimum(alpha, 1.0), 1.0),
        edge=edge_factors([shown[k] for k in kind.tolist()], surface, rect, sets[owner]),
        make=objects([_make(p) for p in one])[kind],
        strength=np.array([_strength(p) for p in one])[kind],
        shade=shade[owner],
        fill_axis=np.array([_fill_axis(room, p) for p in pieces], dtype=np.int64)[owner],
    )
    return patches, owner


def _alike(each: Sequence[Piece]) -> tuple[list[Piece], Ints]:
    """One piece of each kind, and the kind (N,) of each: alike in product, fitting, mounting, size
    and how many surfaces they lie on."""
    seen: dict[object, int] = {}
    one: list[Piece] = []
    kind = np.empty(len(each), dtype=np.int64)
    for i, piece in enumerate(each):
        u0, v0, u1, v1 = piece.rect
        size = round(u1 - u0, DIGITS), round(v1 - v0, DIGITS)
        key = id(piece.product), piece.fitting, piece.mounting, size, len(piece.rects)
        if key not in seen:
            seen[key] = len(one)
            one.append(piece)
        kind[i] = seen[key]
    return one, kind


def _absorbing(one: list[Piece], kind: Ints, faces: Floats) -> tuple[Floats, Floats]:
    """Coefficients (N, 8) and absorbing area (N,) of the patches of pieces with faces (N, 4, 3).

    An object given by its absorption area counts with a face so large that no coefficient is
    above one.
    """
    alpha = np.array([p.material.absorption for p in one]).reshape(-1, N_BANDS)[kind]
    sides = (_lengths(faces[:, i] - faces[:, 0]) for i in (1, 3))
    share = np.array([p.product.faces / len(p.rects) for p in one])[kind]
    face = np.prod(list(sides), axis=0) * share
    in_m2 = np.array([p.material.unit == "m2" for p in one])[kind]
    face[in_m2] = np.maximum(face[in_m2], alpha[in_m2].max(axis=1, initial=0.0))
    alpha[in_m2] /= face[in_m2, None]
    return alpha, face


def _lengths(vectors: Floats) -> Floats:
    """Length (N,) of each vector (N, 3), each different one rounded as by itself."""
    one, which = np.unique(vectors, axis=0, return_inverse=True)
    return np.array([np.linalg.norm(vector) for vector in one])[which.ravel()]


def _fill_axis(room: Room, piece: Piece) -> int:
    """The axis of the room along which a piece in a corner runs."""
    if len(piece.rects) == 1:
        return UPRIGHT
    first, second = (room.surface(name).plane for name, _ in piece.rects)
    return int(np.abs(_lengthways(first, second)).argmax())


def _make(piece: Piece) -> Make | None:
    """What the piece is made of, None for materials of which only coefficients are known."""
    material, (u0, v0, u1, v1) = piece.material, piece.rect
    width, height = round(u1 - u0, 6), round(v1 - v0, 6)
    covered = round(len(piece.rects) * width * height, 6)
    if material.build is not None:
        return Make(material.build, (width, height), covered)
    matter = matter_of(material)
    if matter is None or piece.is_object:
        return None
    if isinstance(matter, CornerFill):
        matter = replace(matter, leg=piece.product.width)
    return Make(matter, (width, height), covered, from_table=True)


def _strength(piece: Piece) -> float:
    """How much of its make the piece is believed to be (materials.made)."""
    return 1.0 if piece.material.build is not None else make_strength(piece.material)


def are_mirrored(pieces: Sequence[Piece]) -> bool:
    """Whether the second half of some pieces that belong together is the first one mirrored.

    Those of a stack lie above each other, so their centres have one y.
    """
    half, odd = divmod(len(pieces), 2)
    if odd or not half:
        return False
    first, second = (float(pieces[i].box[:, 1].mean()) for i in (0, half))
    return abs(first - second) > 1e-6


def pieces_overlap(one: Piece, other: Piece) -> bool:
    """Whether two pieces would cover part of the same place."""
    return any(a == b and rects_overlap(p, q) for a, p in one.rects for b, q in other.rects)


def in_order(pieces: Sequence[Piece]) -> list[Piece]:
    """Pieces in an order of their own, whatever order they come in.

    Rectangles that touch may overlap by the micrometre that coordinates are kept to, and which of
    two the sum of a model meets first would else show in its sixth digit.
    """
    return sorted(pieces, key=lambda p: (p.rects, p.product.id, p.fitting, p.mounting, p.turned))


def treated(room: Room, scene: Scene, pieces: Sequence[Piece]) -> Scene:
    """The scene with the pieces in it, which stand `in_order`."""
    return scene.with_pieces(piece_patches(room, in_order(pieces))[0])


def mirrored_piece(piece: Piece, room: Room, image: Room) -> Piece:
    """The piece as it lies in the mirrored room."""
    low, high = room.width_span
    total = low + high
    rects = tuple(
        (
            mirror_name(n),
            mirror_rect(r, room.surface(n).plane, image.surface(mirror_name(n)).plane, total),
        )
        for n, r in piece.rects
    )
    box = mirror_points(piece.box, total)
    return replace(
        piece,
        rects=rects,
        face=mirror_points(piece.face, total),
        box=np.stack([box.min(axis=0), box.max(axis=0)]),
    )


def mirror_partner(room: Room, surface: Surface) -> Surface | None:
    """The surface that is this one's mirror image about the speakers' axis, if there is one."""
    wanted = surface.plane.normal * np.array([1.0, -1.0, 1.0])
    centre = surface.plane.to_xyz(surface.plane.polygon).mean(axis=0)
    centre[1] = 2 * room.axis_y - centre[1]
    facing = [s for s in room.surfaces if s.plane.normal @ wanted > 0.999]
    if not facing:
        return None
    return min(
        facing,
        key=lambda s: float(np.linalg.norm(s.plane.to_xyz(s.plane.polygon).mean(axis=0) - centre)),
    )
