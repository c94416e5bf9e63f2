"""The room as all later steps see it: flat surfaces, areas on them, furniture, people, ears."""

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from materials import Material
from optimizer.room.geometry import DIGITS, Floats, Plane, Rect, plane_from_corners

# Areas no piece may cover. A curtain may hang over a window.
BLOCKING = frozenset(
    {
        "window",
        "door",
        "closet",
        "opening",
        "vent",
        "heater",
        "detector",
        "switch",
        "curtain",
        "rug",
    }
)
_SIDES = {"left": "right", "right": "left"}


@dataclass(frozen=True)
class Area:
    """A rectangle on a surface with its own material; `rect` is u0, v0, u1, v1 in metres."""

    name: str
    kind: str
    rect: Rect
    material: Material

    @property
    def blocks(self) -> bool:
        """True when no piece may cover it."""
        return self.kind in BLOCKING


@dataclass(frozen=True)
class Surface:
    """One flat surface: its plane, its material, and areas that differ (later ones on top)."""

    name: str
    plane: Plane
    material: Material
    areas: tuple[Area, ...] = ()

    @property
    def is_wall(self) -> bool:
        """True for anything that is not near level."""
        return bool(abs(self.plane.normal[2]) < 0.5)

    @property
    def is_floor(self) -> bool:
        """True when it faces up."""
        return bool(self.plane.normal[2] >= 0.5)

    @property
    def is_ceiling(self) -> bool:
        """True when it faces down (sloped ones included)."""
        return bool(self.plane.normal[2] <= -0.5)


@dataclass(frozen=True)
class Furniture:
    """A box in the room, (2, 3) min and max corner, with what it absorbs (per item or per m2)."""

    name: str
    kind: str
    box: Floats
    material: Material

    @property
    def reflects(self) -> bool:
        """True when its top is a hard level surface that mirrors sound to the ears."""
        return self.kind in ("desk", "table")


@dataclass(frozen=True)
class Speaker:
    """A loudspeaker's acoustic centre (3,) and the point (3,) it is aimed at."""

    name: str
    at: Floats
    aim: Floats


@dataclass(frozen=True)
class Seat:
    """Where a listener's ears are (3,), and how much that seat counts."""

    name: str
    at: Floats
    weight: float


@dataclass(frozen=True)
class Box:
    """A box (2, 3) that pieces must keep clear of, with the reason."""

    name: str
    box: Floats


@dataclass(frozen=True)
class Room:
    """Everything geometric and material about a room. Lengths in metres."""

    surfaces: tuple[Surface, ...]
    furniture: tuple[Furniture, ...]
    speakers: tuple[Speaker, ...]
    seats: tuple[Seat, ...]
    keep_clear: tuple[Box, ...]
    volume: float
    temperature_c: float
    humidity_percent: float
    skirting: float
    dimensions: tuple[float, float, float] | None  # length, width, height of a box, else None

    @cached_property
    def axis_y(self) -> float:
        """The y of the upright plane midway between the first two speakers."""
        pair = self.speakers[:2]
        return float(np.round(sum(float(s.at[1]) for s in pair) / len(pair), DIGITS))

    @cached_property
    def width_span(self) -> tuple[float, float]:
        """Smallest and largest y of the room."""
        y = np.concatenate([s.plane.to_xyz(s.plane.polygon)[:, 1] for s in self.surfaces])
        return float(y.min()), float(y.max())

    def surface(self, name: str) -> Surface:
        """The surface of that name; KeyError when there is none."""
        for surface in self.surfaces:
            if surface.name == name:
                return surface
        raise KeyError(name)

    def mirrored(self) -> "Room":
        """The same room with left and right exchanged (names of side walls and speakers too)."""
        low, high = self.width_span
        total = low + high
        return replace(
            self,
            surfaces=mirror_surfaces(self.surfaces, total),
            furniture=tuple(replace(f, box=mirror_box(f.box, total)) for f in self.furniture),
            speakers=tuple(
                replace(s, at=mirror_points(s.at, total), aim=mirror_points(s.aim, total))
                for s in reversed(self.speakers)
            ),
            seats=tuple(replace(s, at=mirror_points(s.at, total)) for s in self.seats),
            keep_clear=tuple(replace(b, box=mirror_box(b.box, total)) for b in self.keep_clear),
        )


def mirror_points(points: Floats, total: float) -> Floats:
    """Points (..., 3) with y exchanged for total - y, kept to a micrometre."""
    mirrored = np.array(points, dtype=float)
    mirrored[..., 1] = np.round(total - mirrored[..., 1], DIGITS) + 0.0
    return mirrored


def mirror_box(box: Floats, total: float) -> Floats:
    """A box (2, 3) mirrored in y."""
    corners = mirror_points(box, total)
    return np.stack([corners.min(axis=0), corners.max(axis=0)])


def mirror_name(name: str) -> str:
    """ "left" for "right" and the reverse; other names stay."""
    return _SIDES.get(name, name)


def mirror_rect(rect: Rect, plane: Plane, image: Plane, total: float) -> Rect:
    """A rectangle on `plane` as it lies on the mirrored plane `image`."""
    corners = plane.to_xyz(np.array([[rect[0], rect[1]], [rect[2], rect[3]]]))
    uv = np.round(image.to_uv(mirror_points(corners, total)), DIGITS) + 0.0
    (u0, v0), (u1, v1) = uv.min(axis=0), uv.max(axis=0)
    return float(u0), float(v0), float(u1), float(v1)


def mirror_surfaces(surfaces: tuple[Surface, ...], total: float) -> tuple[Surface, ...]:
    """Surfaces mirrored in y, in an order that a second mirroring restores."""
    mirrored: dict[str, Surface] = {}
    for surface in surfaces:
        plane = surface.plane
        corners = mirror_points(plane.to_xyz(plane.polygon), total)
        image = plane_from_corners(corners, plane.normal * np.array([1.0, -1.0, 1.0]))
        areas = tuple(
            replace(a, rect=mirror_rect(a.rect, plane, image, total)) for a in surface.areas
        )
        name = mirror_name(surface.name)
        mirrored[name] = Surface(name, image, surface.material, areas)
    order = [s.name for s in surfaces if s.name in mirrored]
    return tuple(mirrored[n] for n in order) + tuple(
        s for n, s in mirrored.items() if n not in order
    )
