"""Constructors for tracer scenes: rooms by size or plan, furniture and panels by their figures."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from optimizer.acoustics.trace_scene import Surface, coefficients, vector
from optimizer.bands import N_BANDS

Array = NDArray[np.float64]
Rect = tuple[float, float, float, float]


def box_surfaces(
    size: ArrayLike, absorption: ArrayLike, scattering: ArrayLike
) -> tuple[Surface, ...]:
    """The six surfaces of a box of size (x, y, z) with one corner at the origin.

    Order: x = 0, x = size, y = 0, y = size, z = 0, z = size. On each, u and v are the two room
    axes in the order x, y, z. absorption, scattering: anything that broadcasts to (6, bands).
    """
    lengths = vector(size, "size")
    if np.any(lengths <= 0.0):
        raise ValueError("size must be positive")
    alpha = np.broadcast_to(np.asarray(absorption, dtype=np.float64), (6, N_BANDS))
    rough = np.broadcast_to(np.asarray(scattering, dtype=np.float64), (6, N_BANDS))
    eye = np.eye(3)
    surfaces = []
    for k in range(6):
        axis, far = divmod(k, 2)
        i, j = (n for n in range(3) if n != axis)
        rect = np.array([[0.0, 0.0], [lengths[i], 0.0], [lengths[i], lengths[j]], [0, lengths[j]]])
        origin = eye[axis] * lengths[axis] * far
        normal = eye[axis] * (1.0 - 2.0 * far)
        surfaces.append(Surface(origin, eye[i], eye[j], normal, rect, alpha[k], rough[k]))
    return tuple(surfaces)


def prism_surfaces(
    plan: ArrayLike, height: float, absorption: ArrayLike, scattering: ArrayLike
) -> tuple[Surface, ...]:
    """Floor, ceiling and walls of a room over a plan, floor at z = 0.

    plan: (n, 2) corners in x and y, counter-clockwise seen from above, not crossing itself; wall
    k runs from corner k to the next, u along it and v up. absorption, scattering: anything that
    broadcasts to (n + 2, bands), in the order floor, ceiling, walls.
    """
    corners = np.asarray(plan, dtype=np.float64)
    if corners.ndim != 2 or corners.shape[0] < 3 or corners.shape[1] != 2 or height <= 0.0:
        raise ValueError("a prism needs a plan of shape (n >= 3, 2) and a positive height")
    shape = (len(corners) + 2, N_BANDS)
    alpha = np.broadcast_to(np.asarray(absorption, dtype=np.float64), shape)
    rough = np.broadcast_to(np.asarray(scattering, dtype=np.float64), shape)
    x, y, z = np.eye(3)
    surfaces = [
        Surface(0.0 * z, x, y, z, corners, alpha[0], rough[0]),
        Surface(height * z, x, y, -z, corners, alpha[1], rough[1]),
    ]
    for k, (a, b) in enumerate(zip(corners, np.roll(corners, -1, axis=0), strict=True), start=2):
        length = float(np.hypot(*(b - a)))
        u = np.append((b - a) / length, 0.0)
        rect = np.array([[0.0, 0.0], [length, 0.0], [length, height], [0.0, height]])
        surfaces.append(Surface(np.append(a, 0.0), u, z, np.cross(z, u), rect, alpha[k], rough[k]))
    return tuple(surfaces)


def obstacle_absorption(
    absorption_area: ArrayLike, lower: ArrayLike, upper: ArrayLike, covered: float = 0.0
) -> Array:
    """Coefficient that gives a box an absorption area A (m2 per band): A / exposed face area.

    covered: m2 of its faces that touch floor, wall or neighbours. ValueError when A exceeds the
    exposed area: the box is then too small for what it is said to absorb.
    """
    a, b, c = vector(upper, "upper") - vector(lower, "lower")
    exposed = 2.0 * (a * b + b * c + c * a) - covered
    area = np.asarray(absorption_area, dtype=np.float64)
    if exposed <= 0.0 or np.any(area > exposed):
        raise ValueError(f"absorption area exceeds the exposed {exposed:.2f} m2 of the box")
    return coefficients(area / exposed, "obstacle absorption")


def enlarge_patch(
    rect: Rect, absorption: ArrayLike, base: ArrayLike, limits: Rect
) -> tuple[Rect, Array]:
    """Rectangle and coefficients for a piece whose absorption exceeds one (edge effect).

    The rectangle (u0, v0, u1, v1) grows about its centre, all bands alike, until no coefficient
    exceeds one, and is pushed back inside `limits`; every band keeps alpha * area plus the share
    of the wall `base` (bands,) that the rim now hides. What finds no room is lost at one.
    """
    alpha, wall = np.asarray(absorption, dtype=np.float64), coefficients(base, "base")
    u0, v0, u1, v1 = rect
    over = alpha > 1.0
    if np.any(wall[over] >= 1.0):
        raise ValueError("base must be below one where the absorption exceeds one")
    growth = (alpha[over] - wall[over]) / (1.0 - wall[over])
    side = np.sqrt(float(growth.max())) if over.any() else 1.0
    low, high = np.array(limits[:2]), np.array(limits[2:])
    size = np.minimum(side * np.array([u1 - u0, v1 - v0]), high - low)
    start = np.clip(0.5 * (np.array([u0 + u1, v0 + v1]) - size), low, high - size)
    area, grown = (u1 - u0) * (v1 - v0), float(np.prod(size))
    share = area / grown
    kept = np.minimum(alpha * share + wall * (1.0 - share), 1.0)
    end = start + size
    return (float(start[0]), float(start[1]), float(end[0]), float(end[1])), kept
