"""Air as the builds see it, and the array types of this package."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Complexes = npt.NDArray[np.complex128]

# Kinematic viscosity of air at 20 C, m2/s (common handbook figure, from memory).
KINEMATIC_VISCOSITY = 1.51e-5


@dataclass(frozen=True)
class Medium:
    """Air: sound speed c in m/s and density rho in kg/m3."""

    c: float = 343.0
    rho: float = 1.205

    def __post_init__(self) -> None:
        if not (self.c > 0.0 and self.rho > 0.0):
            raise ValueError("sound speed and density of the air must be above zero")

    @property
    def impedance(self) -> float:
        """Characteristic impedance rho c, Pa s/m."""
        return self.rho * self.c

    def wavenumber(self, freqs: Floats) -> Floats:
        """k0 = 2 pi f / c in 1/m."""
        return 2.0 * np.pi * freqs / self.c


AIR = Medium()


def positive_frequencies(freqs: npt.ArrayLike) -> Floats:
    """One-dimensional array of frequencies in hertz; ValueError unless all are above zero."""
    values = np.atleast_1d(np.asarray(freqs, dtype=np.float64))
    if values.ndim != 1 or values.size == 0:
        raise ValueError("frequencies must be a list of numbers")
    if not np.all(np.isfinite(values)) or np.any(values <= 0.0):
        raise ValueError("frequencies must be above zero")
    return values
