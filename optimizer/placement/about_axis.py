"""Places on a surface about the speakers' axis: where the axis lies, and what mirrors into what."""

import numpy as np

from optimizer.room.geometry import DIGITS, Floats
from optimizer.room.model import Room, Surface


def axis_in(room: Room, surface: Surface) -> tuple[int, float] | None:
    """Which in-plane axis (0 u, 1 v) runs along y, and where the speakers' axis lies on it."""
    for along, axis in enumerate((surface.plane.u, surface.plane.v)):
        if abs(axis[1]) > 0.999:
            return along, (room.axis_y - float(surface.plane.origin[1])) * float(np.sign(axis[1]))
    return None


def mirror_rects(room: Room, surface: Surface, partner: Surface, rect: Floats) -> Floats:
    """Rectangles (N, 4) mirrored about the axis and laid on the partner surface."""
    corners = surface.plane.to_xyz(rect.reshape(-1, 2, 2))
    corners[..., 1] = 2 * room.axis_y - corners[..., 1]
    uv = partner.plane.to_uv(corners)
    return np.round(np.concatenate([uv.min(axis=1), uv.max(axis=1)], axis=1), DIGITS) + 0.0
