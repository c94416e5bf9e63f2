"""What the energy tracer traces in: planar surfaces, patches, obstacles and free panels.

Every coefficient is per octave band, shape (bands,), within 0..1: energy tracing has no use for
an absorption above one. trace_shapes has the ways round it: a laboratory value above one (edge
effect) becomes an enlarged patch of the same absorption area, a furniture item given as
absorption area a coefficient over its exposed faces.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from optimizer.bands import N_BANDS

Array = NDArray[np.float64]
UNIT_TOLERANCE = 1e-6


def coefficients(values: ArrayLike, what: str) -> Array:
    """Checked copy of one coefficient per band, 0..1."""
    array = np.array(values, dtype=np.float64)
    if array.shape != (N_BANDS,):
        raise ValueError(f"{what} needs one value per band, shape ({N_BANDS},), got {array.shape}")
    if not np.all((array >= 0.0) & (array <= 1.0)):
        raise ValueError(f"{what} must lie between 0 and 1 in every band")
    return array


def vector(values: ArrayLike, what: str) -> Array:
    """Checked copy of a point or direction."""
    array = np.array(values, dtype=np.float64)
    if array.shape != (3,) or not np.all(np.isfinite(array)):
        raise ValueError(f"{what} must be three finite numbers")
    return array


def _axes(u: Array, v: Array, what: str) -> None:
    gram = np.array([u @ u - 1.0, v @ v - 1.0, u @ v])
    if np.any(np.abs(gram) > UNIT_TOLERANCE):
        raise ValueError(f"{what}: u and v must be unit vectors at right angles")


def _own(instance: object, **values: object) -> None:
    """Store the checked copies on a frozen dataclass."""
    for name, value in values.items():
        object.__setattr__(instance, name, value)


@dataclass(frozen=True)
class Surface:
    """Planar simple polygon of the room's boundary.

    origin (3,), in-plane unit axes u and v (3,), inward unit normal (3,), vertices (n, 2) in
    (u, v) metres, either turning sense. Absorption and scattering coefficient (bands,).
    """

    origin: Array
    u: Array
    v: Array
    normal: Array
    vertices: Array
    absorption: Array
    scattering: Array

    def __post_init__(self) -> None:
        origin, u, v = (vector(getattr(self, n), f"surface {n}") for n in ("origin", "u", "v"))
        normal = vector(self.normal, "surface normal")
        vertices = np.array(self.vertices, dtype=np.float64)
        _axes(u, v, "surface")
        if abs(abs(float(np.cross(u, v) @ normal)) - 1.0) > UNIT_TOLERANCE:
            raise ValueError("surface normal must be the unit normal of u and v")
        if vertices.ndim != 2 or vertices.shape[0] < 3 or vertices.shape[1] != 2:
            raise ValueError("surface vertices must have shape (n >= 3, 2)")
        if _polygon_area(vertices) <= 0.0:
            raise ValueError("surface has no area")
        _own(self, origin=origin, u=u, v=v, normal=normal, vertices=vertices)
        _own(self, absorption=coefficients(self.absorption, "surface absorption"))
        _own(self, scattering=coefficients(self.scattering, "surface scattering"))

    @property
    def area(self) -> float:
        """Area in m2."""
        return _polygon_area(self.vertices)

    def corners(self) -> Array:
        """Vertices in room coordinates, (n, 3)."""
        return np.asarray(
            self.origin + self.vertices[:, :1] * self.u + self.vertices[:, 1:] * self.v
        )


@dataclass(frozen=True)
class Patch:
    """Rectangle u0..u1, v0..v1 (metres in the surface's axes) lying on surface number `surface`.

    Where patches overlap the later one is on top.
    """

    surface: int
    u0: float
    v0: float
    u1: float
    v1: float
    absorption: Array
    scattering: Array

    def __post_init__(self) -> None:
        if not (self.u1 > self.u0 and self.v1 > self.v0):
            raise ValueError("patch needs u1 > u0 and v1 > v0")
        _own(self, absorption=coefficients(self.absorption, "patch absorption"))
        _own(self, scattering=coefficients(self.scattering, "patch scattering"))


@dataclass(frozen=True)
class Obstacle:
    """Closed axis-aligned box between corners lower and upper (3,), alike on all faces."""

    lower: Array
    upper: Array
    absorption: Array
    scattering: Array

    def __post_init__(self) -> None:
        lower, upper = vector(self.lower, "obstacle lower"), vector(self.upper, "obstacle upper")
        if not np.all(upper > lower):
            raise ValueError("obstacle upper corner must exceed the lower one on every axis")
        _own(self, lower=lower, upper=upper)
        _own(self, absorption=coefficients(self.absorption, "obstacle absorption"))
        _own(self, scattering=coefficients(self.scattering, "obstacle scattering"))


@dataclass(frozen=True)
class Panel:
    """Thin rectangle hanging free: `width` along u and `height` along v from the origin corner.

    The front face looks along u x v. Back coefficients default to those of the front.
    """

    origin: Array
    u: Array
    v: Array
    width: float
    height: float
    absorption: Array
    scattering: Array
    back_absorption: Array | None = None
    back_scattering: Array | None = None

    def __post_init__(self) -> None:
        origin, u, v = (vector(getattr(self, n), f"panel {n}") for n in ("origin", "u", "v"))
        _axes(u, v, "panel")
        if not (self.width > 0.0 and self.height > 0.0):
            raise ValueError("panel width and height must be positive")
        front = coefficients(self.absorption, "panel absorption")
        rough = coefficients(self.scattering, "panel scattering")
        back = front if self.back_absorption is None else self.back_absorption
        back_rough = rough if self.back_scattering is None else self.back_scattering
        _own(self, origin=origin, u=u, v=v, absorption=front, scattering=rough)
        _own(self, back_absorption=coefficients(back, "panel back_absorption"))
        _own(self, back_scattering=coefficients(back_rough, "panel back_scattering"))


@dataclass(frozen=True)
class Scene:
    """Closed room for the tracer. air: energy attenuation m in 1/m per band, default none.

    Raises ValueError when the surfaces cannot close (their areas and centres against Gauss's
    theorem), normals point outward, or a patch names no surface or reaches beyond it.
    """

    surfaces: tuple[Surface, ...]
    patches: tuple[Patch, ...] = ()
    obstacles: tuple[Obstacle, ...] = ()
    panels: tuple[Panel, ...] = ()
    air: Array = field(default_factory=lambda: np.zeros(N_BANDS))

    def __post_init__(self) -> None:
        air = np.array(self.air, dtype=np.float64)
        if air.shape != (N_BANDS,) or not np.all((air >= 0.0) & np.isfinite(air)):
            raise ValueError("air needs one attenuation per band, 1/m, not negative")
        _own(self, air=air)
        for name in ("surfaces", "patches", "obstacles", "panels"):
            _own(self, **{name: tuple(getattr(self, name))})
        _check_closed(self.surfaces)
        for patch in self.patches:
            _check_patch(patch, self.surfaces)

    @property
    def volume(self) -> float:
        """Volume inside the surfaces, m3 (obstacles not taken off)."""
        return float(np.trace(_moments(self.surfaces))) / 3.0

    @property
    def area(self) -> float:
        """Area of the surfaces, m2 (obstacles and panels not counted)."""
        return sum(s.area for s in self.surfaces)


def _polygon_area(vertices: Array) -> float:
    return _area_and_centre(vertices.tobytes())[0]


@lru_cache(maxsize=256)
def _area_and_centre(vertices: bytes) -> tuple[float, float, float]:
    """Area of a polygon and the in-plane coordinates of its centre; nan where it has no area."""
    a = np.frombuffer(vertices).reshape(-1, 2)
    b = np.roll(a, -1, axis=0)
    area = abs(0.5 * float(a[:, 0] @ b[:, 1] - a[:, 1] @ b[:, 0]))
    cross = a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]
    if area <= 0.0:
        return area, np.nan, np.nan
    u, v = cross @ (a + b) / (3.0 * cross.sum())
    return area, float(u), float(v)


def _centroid(surface: Surface) -> Array:
    """Centre of area of a surface in room coordinates."""
    _, u, v = _area_and_centre(surface.vertices.tobytes())
    return np.asarray(surface.origin + u * surface.u + v * surface.v)


def _moments(surfaces: Sequence[Surface]) -> Array:
    """Minus the sum of S n c^T: by Gauss the volume times the unit matrix if the room closes."""
    return np.asarray(
        -np.sum([s.area * np.outer(s.normal, _centroid(s)) for s in surfaces], axis=0)
    )


def _check_closed(surfaces: Sequence[Surface]) -> None:
    if len(surfaces) < 4:
        raise ValueError("a closed room needs at least four surfaces")
    gap = float(np.linalg.norm(np.sum([s.area * s.normal for s in surfaces], axis=0)))
    if gap > 1e-4 * sum(s.area for s in surfaces):
        raise ValueError(f"the surfaces do not close: areas times normals leave {gap:.3g} m2")
    moments = _moments(surfaces)
    volume = float(np.trace(moments)) / 3.0
    if volume <= 0.0:
        raise ValueError("the surface normals must point into the room")
    if np.any(np.abs(moments - volume * np.eye(3)) > 1e-3 * volume):
        raise ValueError("the surfaces do not close: at least one is missing or misplaced")


def _check_patch(patch: Patch, surfaces: Sequence[Surface]) -> None:
    if not 0 <= patch.surface < len(surfaces):
        raise ValueError(f"patch lies on surface {patch.surface}, which does not exist")
    vertices = surfaces[patch.surface].vertices
    low, high = vertices.min(axis=0) - 1e-6, vertices.max(axis=0) + 1e-6
    if patch.u0 < low[0] or patch.v0 < low[1] or patch.u1 > high[0] or patch.v1 > high[1]:
        raise ValueError(f"patch reaches beyond surface {patch.surface}")
