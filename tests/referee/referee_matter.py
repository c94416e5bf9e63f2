"""Air and porous matter as an equivalent fluid, for the referee alone (nothing of the product).

Time factor exp(+j w t); w may be complex with a positive real part.
"""

from dataclasses import dataclass

import numpy as np

# Dry air of 20 degrees C at 101.325 kPa: speed of sound as in ISO 9613-1 (343.2 m/s), density as in
# any handbook (1.204 kg/m3, from memory).
SPEED = 343.2
DENSITY = 1.204


def miki(w: complex, sigma: float) -> tuple[complex, complex]:
    """Characteristic impedance (Pa s/m) and wavenumber (1/m) of matter of sigma Pa s/m2.

    Miki, J. Acoust. Soc. Jpn (E) 11 (1990) 19: fitted for 0.01 < f/sigma < 1 and used below that
    range here, as is common practice.
    """
    x = w / (2.0 * np.pi * sigma)
    impedance = DENSITY * SPEED * (1.0 + (0.070 - 0.107j) * x**-0.632)
    wavenumber = w / SPEED * (1.0 + (0.109 - 0.160j) * x**-0.618)
    return impedance, wavenumber


def fluid(w: complex, sigma: float) -> tuple[complex, complex]:
    """Density (kg/m3) and bulk modulus (Pa) at w; sigma = 0 is air."""
    if sigma == 0.0:
        return DENSITY, DENSITY * SPEED**2
    impedance, wavenumber = miki(w, sigma)
    return impedance * wavenumber / w, impedance * w / wavenumber


@dataclass(frozen=True)
class Constant:
    """A wall of one specific admittance (rho c / impedance) at every frequency."""

    value: complex

    def __call__(self, w: complex) -> complex:
        return self.value


@dataclass(frozen=True)
class Membrane:
    """A limp damped plate before a closed space: 1 / (r + j w m + s / (j w)), times rho c.

    mass m in kg/m2, stiffness s of the space (and the plate) in Pa/m, resistance r in Pa s/m.
    """

    mass: float
    stiffness: float
    resistance: float

    def __call__(self, w: complex) -> complex:
        z = self.resistance + 1j * w * self.mass + self.stiffness / (1j * w)
        return DENSITY * SPEED / z


Admittance = Constant | Membrane
