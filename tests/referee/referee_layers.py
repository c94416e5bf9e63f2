"""Closed form for a box room with layers over one whole wall: a transcendental equation for w.

Written by impedances carried through the layers; the finite elements use densities and moduli.
"""

from collections.abc import Sequence

import numpy as np
from referee_matter import DENSITY, SPEED, miki
from scipy.optimize import newton

Layers = Sequence[tuple[float, float]]


def face_admittance(w: complex, tangential: float, layers: Layers) -> complex:
    """Velocity over pressure (m/s/Pa) at the face of layers on a rigid wall, last one at the wall.

    layers: thickness in m and flow resistivity (0 = air gap); tangential wavenumber in 1/m.
    Transfer of an oblique wave through a layer: Allard and Atalla, Propagation of Sound in Porous
    Media, 2nd ed., 3.4.
    """
    y: complex = 0.0
    for depth, sigma in reversed(layers):
        z, k = (DENSITY * SPEED, w / SPEED) if sigma == 0.0 else miki(w, sigma)
        kx = np.sqrt(complex(k**2 - tangential**2))
        yx = kx / (k * z)
        t = 1j * np.tan(kx * depth)
        y = yx * (y + yx * t) / (yx + y * t)
    return y


def layered_room(
    length: float, order: int, tangential: float, layers: Layers, steps: int = 50
) -> complex:
    """Complex w of the mode that grows out of cos(order pi x / length) as the layers get deeper."""

    def unmatched(w: complex, share: float) -> complex:
        thin = [(d * share, sigma) for d, sigma in layers]
        room = length - sum(d for d, _ in thin)
        kx = np.sqrt(complex((w / SPEED) ** 2 - tangential**2))
        y = face_admittance(w, tangential, thin)
        return np.cos(kx * room) * y + 1j * kx / (w * DENSITY) * np.sin(kx * room)

    # Off the axis, as a grazing wave has no kx to divide by.
    w = (1.0 + 1e-4j) * complex(SPEED * np.hypot(order * np.pi / length, tangential))
    for share in np.linspace(0.0, 1.0, steps + 1)[1:]:
        w = complex(newton(unmatched, w, args=(share,), tol=1e-12, maxiter=100))
    return w
