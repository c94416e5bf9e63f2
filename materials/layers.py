"""Stacks of porous layers, air gaps and thin facings in front of a rigid wall.

The stack is worked from the wall towards the room with the transfer matrix of each layer at
every angle of incidence (Cox and D'Antonio, Acoustic Absorbers and Diffusers, 2.29-2.32;
Bies, Hansen and Howard, Engineering Noise Control, Appendix D). In terms of the admittance
Y = 1/Z a fluid layer of thickness d gives

    Y = (Yb + (j/Zx) tan(kx d)) / (1 + j Yb Zx tan(kx d)),
    kx = sqrt(k^2 - k0^2 sin^2 theta),  Zx = Zc k / kx        (Snell's law)

with Yb = 0 at the wall; a thin facing adds its series impedance. With `locally_reacting` every
layer is crossed straight (theta = 0 inside), as in a space divided by battens.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import ClassVar

import numpy as np
import numpy.typing as npt

from materials.medium import AIR, Complexes, Floats, Medium, positive_frequencies
from materials.porous import MODELS, characteristic, check_flow_resistivity
from materials.resonators import (
    hole_end_correction,
    perforated_impedance,
    slot_end_correction,
    slotted_impedance,
)

_DEEPEST = 2.0


@dataclass(frozen=True)
class Porous:
    """Fibrous or open-cell layer: thickness m, flow resistivity Pa s/m2, frame at rest."""

    kind: ClassVar[str] = "porous"
    thickness: float
    flow_resistivity: float
    model: str = "miki"

    def __post_init__(self) -> None:
        _check_thickness(self.thickness)
        check_flow_resistivity(self.flow_resistivity)
        if self.model not in MODELS:
            raise ValueError(f"unknown porous model {self.model!r}; known: {', '.join(MODELS)}")


@dataclass(frozen=True)
class AirGap:
    """Air space of the given thickness in m."""

    kind: ClassVar[str] = "air"
    thickness: float

    def __post_init__(self) -> None:
        _check_thickness(self.thickness)


@dataclass(frozen=True)
class Membrane:
    """Air-tight limp sheet or panel: mass kg/m2 and loss resistance Pa s/m, Z = loss + jwm.

    Bending stiffness is left out, which holds for panels far below their coincidence frequency
    and for spans large against the depth of the space behind. Real panels also lose 0.04-0.10
    in the upper bands through bending and joints, which is not in the model.
    """

    kind: ClassVar[str] = "membrane"
    thickness: ClassVar[float] = 0.0
    mass: float
    loss: float = 0.0

    def __post_init__(self) -> None:
        if not 0.01 <= self.mass <= 100.0:
            raise ValueError("mass must be between 0.01 and 100 kg/m2")
        _check_resistance("loss", self.loss)


@dataclass(frozen=True)
class Cloth:
    """Thin permeable sheet held still: flow resistance Pa s/m."""

    kind: ClassVar[str] = "cloth"
    thickness: ClassVar[float] = 0.0
    resistance: float

    def __post_init__(self) -> None:
        _check_resistance("resistance", self.resistance)


@dataclass(frozen=True)
class Perforated:
    """Stiff panel with round holes: thickness and hole_diameter m, open_share 0-1.

    `resistance` (Pa s/m, per area of panel) is that of a cloth glued over the holes.
    """

    kind: ClassVar[str] = "perforated"
    thickness: float
    hole_diameter: float
    open_share: float
    resistance: float = 0.0

    def __post_init__(self) -> None:
        _check_thickness(self.thickness)
        if not 0.001 <= self.hole_diameter <= 0.1:
            raise ValueError("hole diameter must be between 1 and 100 mm (no microperforation)")
        hole_end_correction(self.open_share)
        _check_resistance("resistance", self.resistance)


@dataclass(frozen=True)
class Slotted:
    """Stiff panel with parallel slots: thickness and slot_width m, open_share 0-1."""

    kind: ClassVar[str] = "slotted"
    thickness: float
    slot_width: float
    open_share: float
    resistance: float = 0.0

    def __post_init__(self) -> None:
        _check_thickness(self.thickness)
        if not 0.001 <= self.slot_width <= 0.1:
            raise ValueError("slot width must be between 1 and 100 mm")
        slot_end_correction(self.open_share)
        _check_resistance("resistance", self.resistance)


Layer = Porous | AirGap | Membrane | Cloth | Perforated | Slotted
Facing = Membrane | Cloth | Perforated | Slotted


def facing_impedance(facing: Facing, freqs: Floats, medium: Medium = AIR) -> Complexes:
    """Series impedance of a thin facing in Pa s/m, shape (freqs,), the same at every angle."""
    if isinstance(facing, Membrane):
        return np.asarray(facing.loss + 2j * np.pi * freqs * facing.mass, dtype=np.complex128)
    if isinstance(facing, Cloth):
        return np.full(freqs.shape, facing.resistance, dtype=np.complex128)
    if isinstance(facing, Perforated):
        series = perforated_impedance(
            freqs, facing.thickness, 0.5 * facing.hole_diameter, facing.open_share, medium
        )
    else:
        series = slotted_impedance(
            freqs, facing.thickness, facing.slot_width, facing.open_share, medium
        )
    return np.asarray(series + facing.resistance, dtype=np.complex128)


def face_admittance(
    layers: Sequence[Layer],
    freqs: npt.ArrayLike,
    theta: npt.ArrayLike = 0.0,
    locally_reacting: bool = False,
    medium: Medium = AIR,
) -> Complexes:
    """Normalised admittance beta = rho c / Zs of the face, shape (freqs, angles).

    `layers` run from the room to the rigid wall; `theta` in rad from the normal, 0 <= theta
    < pi/2. Re(beta) >= 0 but for thin Delany-Bazley layers far below that fit. Raises ValueError
    on an empty stack or an angle outside the range.
    """
    if not layers:
        raise ValueError("a build needs at least one layer")
    f = positive_frequencies(freqs)
    angles = np.atleast_1d(np.asarray(theta, dtype=np.float64))
    if np.any(angles < 0.0) or np.any(angles >= 0.5 * np.pi):
        raise ValueError("angles of incidence must be from 0 up to, not including, 90 degrees")
    inside = np.zeros(1) if locally_reacting else angles
    y: Complexes = np.zeros((f.size, inside.size), dtype=np.complex128)
    for layer in reversed(layers):
        if isinstance(layer, Porous | AirGap):
            y = _cross_fluid(y, layer, f, inside, medium)
        else:
            y = y / (1.0 + y * facing_impedance(layer, f, medium)[:, None])
    return np.asarray(
        np.broadcast_to(y * medium.impedance, (f.size, angles.size)), dtype=np.complex128
    )


def surface_impedance(
    layers: Sequence[Layer],
    freqs: npt.ArrayLike,
    theta: npt.ArrayLike = 0.0,
    locally_reacting: bool = False,
    medium: Medium = AIR,
) -> Complexes:
    """Surface impedance Zs in Pa s/m, shape (freqs, angles); see `face_admittance`."""
    beta = face_admittance(layers, freqs, theta, locally_reacting, medium)
    return np.asarray(medium.impedance / beta, dtype=np.complex128)


def _cross_fluid(
    y: Complexes, layer: Porous | AirGap, freqs: Floats, theta: Floats, medium: Medium
) -> Complexes:
    k0 = medium.wavenumber(freqs)[:, None]
    if isinstance(layer, Porous):
        zc, k = characteristic(freqs, layer.flow_resistivity, layer.model, medium)
        zc, k = zc[:, None], k[:, None]
    else:
        zc, k = np.full_like(k0, medium.impedance, dtype=np.complex128), k0.astype(np.complex128)
    # Principal root: Im k < 0 keeps Im kx < 0, the wave that dies away into the layer.
    kx = np.sqrt(k**2 - (k0 * np.sin(theta)) ** 2)
    zx = zc * k / kx
    tangent = 1j * np.tan(kx * layer.thickness)
    return np.asarray((y + tangent / zx) / (1.0 + y * zx * tangent), dtype=np.complex128)


def _check_thickness(thickness: float) -> None:
    if not 0.0 < thickness <= _DEEPEST:
        raise ValueError(f"thickness must be above zero and at most {_DEEPEST:g} m")


def _check_resistance(name: str, value: float) -> None:
    if not 0.0 <= value <= 100_000.0:
        raise ValueError(f"{name} must be between 0 and 100000 Pa s/m")
