"""What sound meets in a room, as arrays: surfaces, tiles on them, treatment, objects, ears.

A tile is a rectangle of a surface with its own coefficients; tiles never overlap. A patch is a
rectangle covered by treatment: it hides what lies under it and absorbs with its own face area
(a corner fill covers more wall than it shows face, a free-standing screen has two faces).
"""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from materials import Material
from optimizer.acoustics.air import air_attenuation
from optimizer.bands import EXACT_HZ, N_BANDS
from optimizer.room.geometry import Floats, Plane
from optimizer.room.model import Area, Furniture, Room, Surface

Ints = NDArray[np.int64]
Complexes = NDArray[np.complex128]

# Frequencies at which a piece's admittance is carried along, twelve to the octave: with five to the
# octave a tuned panel is misread between them by up to its own height.
LOW_HZ: Floats = 16.0 * 2.0 ** (np.arange(80) / 12.0)  # to 1534 Hz, past the octave of 1 kHz
LOW_HZ.setflags(write=False)


UPRIGHT = 2  # the axis of the room along which the corners of walls run


def _bands() -> Floats:
    return np.zeros((0, N_BANDS))


def _flat() -> Floats:
    return np.zeros(0)


def _whole() -> Ints:
    return np.zeros(0, dtype=np.int64)


def _objects() -> NDArray[np.object_]:
    return objects(())


def objects(each: Sequence[object]) -> NDArray[np.object_]:
    """An array (N,) of Python objects."""
    out = np.full(len(each), None, dtype=object)
    out[:] = each
    return out


@dataclass(frozen=True)
class Patches:
    """N covered rectangles: `surface` (N,) index, `rect` (N, 4) m, `alpha` and `scatter` (N, 8).

    `face` (N,) is the absorbing area in m2, `offset` (N,) how far the face stands off the surface.
    `hides` (N, 8) is the share of the absorption under it that is lost: 1 behind a closed piece;
    behind a porous one what it absorbs itself, since the rest goes on to the surface (a board
    wall goes on absorbing bass behind a thin wool panel).

    `edge` (N, 8) is how much more than its coefficient a piece absorbs with its free edges, 1 or
    above. `make` (N,) is what a piece is made of (materials.modal.Make), which decides how it acts
    in the bass; None where only coefficients are known. `strength` (N,) multiplies the admittance
    of the make (a row that shows less, a drawn one). `shade` (N, 8) is the share of an open wall's
    sound that reaches it, for formulas that know no furniture. `fill_axis` (N,) is the axis of the
    room (0 x, 1 y, 2 z) along which a piece that fills a corner runs. Left out: 1, None, 1, 1, 2.
    """

    surface: Ints
    rect: Floats
    alpha: Floats
    scatter: Floats
    face: Floats
    offset: Floats
    hides: Floats
    edge: Floats = field(default_factory=_bands)
    make: NDArray[np.object_] = field(default_factory=_objects)
    strength: Floats = field(default_factory=_flat)
    shade: Floats = field(default_factory=_bands)
    fill_axis: Ints = field(default_factory=_whole)

    def __post_init__(self) -> None:
        count = len(self.surface)
        if len(self.edge) != count:
            object.__setattr__(self, "edge", np.ones((count, N_BANDS)))
        if len(self.make) != count:
            object.__setattr__(self, "make", np.full(count, None, dtype=object))
        if len(self.strength) != count:
            object.__setattr__(self, "strength", np.ones(count))
        if len(self.shade) != count:
            object.__setattr__(self, "shade", np.ones((count, N_BANDS)))
        if len(self.fill_axis) != count:
            object.__setattr__(self, "fill_axis", np.full(count, UPRIGHT))

    def __len__(self) -> int:
        return len(self.surface)

    def take(self, index: Ints | NDArray[np.bool_]) -> "Patches":
        """The patches of an index or mask, in that order."""
        return Patches(*(getattr(self, name)[index] for name in self.__dataclass_fields__))

    def beside(self, other: "Patches") -> "Patches":
        """These patches, then the others."""
        names = self.__dataclass_fields__
        both = ((getattr(self, name), getattr(other, name)) for name in names)
        return Patches(*(np.concatenate(pair) for pair in both)) if len(self) else other

    @staticmethod
    def none() -> "Patches":
        """No patch at all."""
        flat, bands = np.zeros(0), np.zeros((0, N_BANDS))
        return Patches(
            np.zeros(0, dtype=np.int64), np.zeros((0, 4)), bands, bands, flat, flat, bands
        )


@dataclass(frozen=True)
class Scene:
    """A room as arrays: P surfaces, T tiles, O objects, S speakers, R seats, 8 octave bands."""

    planes: tuple[Plane, ...]
    names: tuple[str, ...]  # (P,)
    base_alpha: Floats  # (P, 8)
    base_scatter: Floats  # (P, 8)
    tiles: Patches
    pieces: Patches
    object_area: Floats  # (O, 8) m2
    object_box: Floats  # (O, 2, 3)
    object_names: tuple[str, ...]
    object_solid: NDArray[np.bool_]  # (O,) True where it blocks sound paths
    mirrors: Ints  # indices of objects whose top reflects
    volume: float
    air: Floats  # (8,) 1/m
    axis_y: float
    speakers: Floats  # (S, 3)
    aims: Floats  # (S, 3)
    speaker_names: tuple[str, ...]
    seats: Floats  # (R, 3)
    seat_weights: Floats  # (R,)
    seat_names: tuple[str, ...]
    edge_effect: bool = True  # whether free edges of pieces count
    hung: Patches = field(default_factory=Patches.none)  # pieces that stay whatever is added

    @cached_property
    def surface_area(self) -> float:
        """Total area of the surfaces in m2."""
        return float(sum(plane.area for plane in self.planes))

    def with_pieces(self, pieces: Patches) -> "Scene":
        """The same room with this treatment in place of any other, beside what hangs and stays."""
        return replace(self, pieces=self.hung.beside(pieces))

    def with_hung(self, hung: Patches) -> "Scene":
        """The same room with pieces that stay, and no other."""
        return replace(self, pieces=hung, hung=hung)


def scene_of(room: Room, edge_effect: bool = True) -> Scene:
    """The arrays of a room without treatment; `edge_effect` False lets no edge of a piece count."""
    objects = room.furniture
    return Scene(
        planes=tuple(s.plane for s in room.surfaces),
        names=tuple(s.name for s in room.surfaces),
        base_alpha=np.array([s.material.absorption for s in room.surfaces]),
        base_scatter=np.array([s.material.scattering for s in room.surfaces]),
        tiles=_tiles(room.surfaces),
        pieces=Patches.none(),
        object_area=np.array([object_area(f) for f in objects]).reshape(-1, N_BANDS),
        object_box=np.array([f.box for f in objects]).reshape(-1, 2, 3),
        object_names=tuple(f.name for f in objects),
        object_solid=np.array([f.kind not in ("person", "chair") for f in objects], dtype=bool),
        mirrors=np.array([i for i, f in enumerate(objects) if f.reflects], dtype=np.int64),
        volume=room.volume,
        air=air_attenuation(EXACT_HZ, room.temperature_c, room.humidity_percent),
        axis_y=room.axis_y,
        speakers=np.array([s.at for s in room.speakers]).reshape(-1, 3),
        aims=np.array([s.aim for s in room.speakers]).reshape(-1, 3),
        speaker_names=tuple(s.name for s in room.speakers),
        seats=np.array([s.at for s in room.seats]).reshape(-1, 3),
        seat_weights=np.array([s.weight for s in room.seats]),
        seat_names=tuple(s.name for s in room.seats),
        edge_effect=edge_effect,
    )


def object_area(furniture: Furniture) -> Floats:
    """Absorption area (8,) in m2 of one object.

    A material per item ("m2") counts as it is; a coefficient ("alpha") counts over the five faces
    of the box that do not stand on the floor.
    """
    values = np.array(furniture.material.absorption)
    if furniture.material.unit == "m2":
        return values
    dx, dy, dz = furniture.box[1] - furniture.box[0]
    return values * float(dx * dy + 2 * dz * (dx + dy))


def _tiles(surfaces: tuple[Surface, ...]) -> Patches:
    rows = [
        (index, rect, area.material)
        for index, surface in enumerate(surfaces)
        for rect, area in _visible(surface.areas)
    ]
    if not rows:
        return Patches.none()
    rect = np.array([row[1] for row in rows])
    return Patches(
        surface=np.array([row[0] for row in rows], dtype=np.int64),
        rect=rect,
        alpha=np.array([row[2].absorption for row in rows]),
        scatter=np.array([row[2].scattering for row in rows]),
        face=(rect[:, 2] - rect[:, 0]) * (rect[:, 3] - rect[:, 1]),
        offset=np.zeros(len(rows)),
        hides=np.ones((len(rows), N_BANDS)),
    )


def tile_materials(room: Room) -> tuple[Material, ...]:
    """Material of each tile of the room's scene, in its order."""
    return tuple(area.material for surface in room.surfaces for _, area in _visible(surface.areas))


def _visible(areas: tuple[Area, ...]) -> list[tuple[tuple[float, ...], Area]]:
    """Areas cut into rectangles that do not overlap; a later area hides an earlier one."""
    if not areas:
        return []
    rects = np.array([a.rect for a in areas])
    u, v = (np.unique(rects[:, [i, i + 2]]) for i in (0, 1))
    cells: list[tuple[tuple[float, ...], Area]] = []
    for u0, u1 in zip(u[:-1], u[1:], strict=True):
        for v0, v1 in zip(v[:-1], v[1:], strict=True):
            middle = np.array([(u0 + u1) / 2, (v0 + v1) / 2])
            on_top = np.flatnonzero(contains(rects, middle))
            if len(on_top):
                cells.append(((float(u0), float(v0), float(u1), float(v1)), areas[on_top[-1]]))
    return cells


def contains(rects: Floats, point: Floats) -> NDArray[np.bool_]:
    """Which rectangles (..., 4) hold a point (..., 2), edges included; broadcast together."""
    u, v = point[..., 0], point[..., 1]
    inside = (rects[..., 0] <= u) & (u <= rects[..., 2])
    return np.asarray(inside & (rects[..., 1] <= v) & (v <= rects[..., 3]))
