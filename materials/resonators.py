"""Resonant absorbers: panels on an air space, perforated and slotted facings, sealed boxes.

Sources
    Cox and D'Antonio, Acoustic Absorbers and Diffusers, 3rd ed.: membrane 7.9 and 7.10;
        perforated panel mass 7.6 and resistance 7.12, end correction Table 7.1 (Nesterov).
        Mass and resistance were written from memory.
    Slot end correction -(1/pi) ln sin(pi eps / 2): Smits and Kosten, Acustica 1 (1951) 114
        (from memory); it is the thin diaphragm in a parallel-plate duct of potential theory.
    Kuttruff, Room Acoustics: cross-section of a resonator (from memory).
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from materials.medium import (
    AIR,
    KINEMATIC_VISCOSITY,
    Complexes,
    Floats,
    Medium,
    positive_frequencies,
)


def membrane_resonance(mass: float, depth: float, filled: bool = False) -> float:
    """Resonance of a panel on a sealed air space in hertz.

    60/sqrt(m d) empty (Cox and D'Antonio 7.9); 50/sqrt(m d) when porous fill keeps the air at
    room temperature (7.10, below about 500 Hz). `mass` in kg/m2, `depth` of the space in m.
    """
    _above_zero(mass=mass, depth=depth)
    return float((50.0 if filled else 60.0) / np.sqrt(mass * depth))


def hole_end_correction(open_share: float) -> float:
    """Nesterov's end correction per hole side, in hole radii, for round holes.

    delta = 0.85 (1 - 1.47 eps^0.5 + 0.47 eps^1.5), Cox and D'Antonio Table 7.1; 0 < eps < 1.
    """
    _check_share(open_share)
    return float(0.85 * (1.0 - 1.47 * open_share**0.5 + 0.47 * open_share**1.5))


def slot_end_correction(open_share: float) -> float:
    """End correction per side, in slot widths, for parallel slots: -(1/pi) ln sin(pi eps/2)."""
    _check_share(open_share)
    return float(-np.log(np.sin(0.5 * np.pi * open_share)) / np.pi)


def perforated_resonance(
    open_share: float, thickness: float, hole_radius: float, depth: float, medium: Medium = AIR
) -> float:
    """Resonance of a perforated panel in hertz, cavity shallow against the wavelength.

    f0 = (c/2 pi) sqrt(eps / ((t + 2 delta a) D)): eps open share, t thickness, a hole radius,
    D cavity depth, all in m. Viscous mass is left out, so the impedance peaks slightly lower.
    """
    _above_zero(thickness=thickness, hole_radius=hole_radius, depth=depth)
    length = thickness + 2.0 * hole_end_correction(open_share) * hole_radius
    return float(medium.c / (2.0 * np.pi) * np.sqrt(open_share / (length * depth)))


def slotted_resonance(
    open_share: float, thickness: float, slot_width: float, depth: float, medium: Medium = AIR
) -> float:
    """Resonance of a slotted panel in hertz; as `perforated_resonance` with the slot's mass."""
    _above_zero(thickness=thickness, slot_width=slot_width, depth=depth)
    length = thickness + 2.0 * slot_end_correction(open_share) * slot_width
    return float(medium.c / (2.0 * np.pi) * np.sqrt(open_share / (length * depth)))


def perforated_impedance(
    freqs: Floats, thickness: float, hole_radius: float, open_share: float, medium: Medium = AIR
) -> Complexes:
    """Series impedance of a panel with round holes, r + jwm in Pa s/m, shape (freqs,).

    m = (rho/eps)(t + 2 delta a + sqrt(8 nu/w)(1 + t/2a))   Cox and D'Antonio 7.6
    r = (rho/eps) sqrt(8 nu w)(1 + t/2a)                    7.12
    For holes wide against the viscous layer (radius above about 0.5 mm): not microperforated.
    """
    delta = hole_end_correction(open_share) * hole_radius
    wetted = thickness / (2.0 * hole_radius)
    return _facing(freqs, thickness + 2.0 * delta, wetted, open_share, medium)


def slotted_impedance(
    freqs: Floats, thickness: float, slot_width: float, open_share: float, medium: Medium = AIR
) -> Complexes:
    """Series impedance of a panel with parallel slots, r + jwm in Pa s/m, shape (freqs,).

    As `perforated_impedance` with the slot's end correction. Wall friction goes with wetted
    edge over open area: 2/a for a round hole, 2/w for a slot, so w stands in place of a.
    """
    delta = slot_end_correction(open_share) * slot_width
    wetted = thickness / (2.0 * slot_width)
    return _facing(freqs, thickness + 2.0 * delta, wetted, open_share, medium)


def _facing(
    freqs: Floats, length: float, wetted: float, open_share: float, medium: Medium
) -> Complexes:
    omega = 2.0 * np.pi * freqs
    viscous = np.sqrt(8.0 * KINEMATIC_VISCOSITY / omega) * (1.0 + wetted)
    mass = medium.rho / open_share * (length + viscous)
    resistance = medium.rho / open_share * omega * viscous
    return np.asarray(resistance + 1j * omega * mass, dtype=np.complex128)


@dataclass(frozen=True)
class SealedResonator:
    """A rigid sealed box with one round neck, standing against a wall (Helmholtz resonator).

    volume m3, neck_radius and neck_length m, `resistance` Pa s/m of a cloth or porous plug over
    the neck area. Lumped: good while the box and the neck are below a quarter wavelength.
    """

    key: str
    name: str
    volume: float
    neck_radius: float
    neck_length: float
    resistance: float = 0.0
    source: str = ""

    def __post_init__(self) -> None:
        _above_zero(volume=self.volume, neck_radius=self.neck_radius, neck_length=self.neck_length)
        if not 0.0 <= self.resistance <= 100_000.0:
            raise ValueError("resistance must be between 0 and 100000 Pa s/m")

    @property
    def neck_area(self) -> float:
        """Open area of the neck, m2."""
        return float(np.pi * self.neck_radius**2)

    @property
    def neck_mass_length(self) -> float:
        """Neck length with both end corrections, 0.85 radii each (flanged openings), m."""
        return self.neck_length + 1.7 * self.neck_radius

    def resonance(self, medium: Medium = AIR) -> float:
        """f0 = (c/2 pi) sqrt(S / (l' V)) in hertz, l' the neck with its end corrections."""
        return float(
            medium.c
            / (2.0 * np.pi)
            * np.sqrt(self.neck_area / (self.neck_mass_length * self.volume))
        )

    def impedance(self, freqs: npt.ArrayLike, medium: Medium = AIR) -> Complexes:
        """Pressure over volume velocity at the neck, Pa s/m3, outer radiation loss left out.

        The outer end mass is included; friction in the neck as in a perforated panel.
        """
        f = positive_frequencies(freqs)
        omega = 2.0 * np.pi * f
        viscous = np.sqrt(8.0 * KINEMATIC_VISCOSITY / omega) * (
            1.0 + self.neck_length / (2.0 * self.neck_radius)
        )
        neck = medium.rho * omega * (viscous + 1j * (self.neck_mass_length + viscous))
        spring = medium.rho * medium.c**2 / (1j * omega * self.volume)
        return np.asarray((neck + self.resistance) / self.neck_area + spring, dtype=np.complex128)

    def absorption_area(self, freqs: npt.ArrayLike, medium: Medium = AIR) -> Floats:
        """Random-incidence absorption area on a wall in m2 at each frequency.

        A = 8 rho c R / |Z + Rr|^2 with Z = R + jX of `impedance` and the radiation resistance
        Rr = rho c k^2/(2 pi) of a small opening in a wall. A plane wave meets the cross-section
        4 rho c R/|Z + Rr|^2, at most wavelength^2/(2 pi) when R = Rr; the Sabine area is twice
        the hemisphere mean of the cross-section. No gain from edges or corners of the room.
        """
        f = positive_frequencies(freqs)
        z = self.impedance(f, medium)
        radiation = medium.impedance * medium.wavenumber(f) ** 2 / (2.0 * np.pi)
        area = 8.0 * medium.impedance * z.real / np.abs(z + radiation) ** 2
        return np.asarray(area, dtype=np.float64)

    def point_admittance(self, freqs: npt.ArrayLike, medium: Medium = AIR) -> Complexes:
        """rho c U / p in m2: add it times psi^2 at the neck to a mode's surface integral of beta.

        Pressure gain from walls, edges and corners belongs to the mode shape. The room's modes
        carry the radiation, so it is left out here.
        """
        return np.asarray(medium.impedance / self.impedance(freqs, medium), dtype=np.complex128)


def _above_zero(**lengths: float) -> None:
    for name, value in lengths.items():
        if not (np.isfinite(value) and value > 0.0):
            raise ValueError(f"{name} must be above zero")


def _check_share(open_share: float) -> None:
    if not 0.0 < open_share < 1.0:
        raise ValueError("open share must be between 0 and 1 (a share, not per cent)")
