"""Single-number ratings of absorbers: ISO 11654 (alpha_w, shape indicators, class) and NRC.

ISO 11654:1997, clauses 4 and 5 and Annex B; NRC after ASTM C423. Ratings are for labels only:
neither says anything below 250 Hz.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

RATING_BANDS: tuple[int, ...] = (250, 500, 1000, 2000, 4000)
_REFERENCE = np.array([16, 20, 20, 20, 18])  # in steps of 0.05
_UNFAVOURABLE_LIMIT = 2  # 0.10
_INDICATOR_EXCESS = 5  # 0.25
_CLASSES = (("A", 18), ("B", 16), ("C", 12), ("D", 6), ("E", 3))


@dataclass(frozen=True)
class WeightedAbsorption:
    """alpha_w, the shape indicators ("", "L", "M", "H", "LM" ...) and the class A-E."""

    alpha_w: float
    indicators: str
    absorber_class: str

    def __str__(self) -> str:
        return f"{self.alpha_w:.2f}" + (f"({self.indicators})" if self.indicators else "")


def practical_alpha(thirds: Sequence[float]) -> float:
    """alpha_p of one octave from its three thirds: mean to two decimals, to 0.05, at most 1."""
    if len(thirds) != 3:
        raise ValueError("an octave needs its three third-octave values")
    return min(_steps(round(sum(thirds) / 3.0 + 1e-9, 2)) * 0.05, 1.0)


def weighted_alpha(practical: Sequence[float]) -> WeightedAbsorption:
    """ISO 11654 rating of the practical coefficients at 250, 500, 1000, 2000 and 4000 Hz.

    The reference curve is moved down in steps of 0.05 until the unfavourable deviations add up
    to no more than 0.10; alpha_w is the moved curve at 500 Hz. Values are taken to 0.05, capped
    at 1. Raises ValueError unless there are five values of zero or above.
    """
    values = np.asarray(practical, dtype=np.float64)
    if values.shape != (5,) or np.any(~np.isfinite(values)) or np.any(values < 0.0):
        raise ValueError("five coefficients of zero or above are needed, 250 to 4000 Hz")
    steps = np.array([min(_steps(float(v)), 20) for v in values])
    shift = 0
    while np.maximum(_REFERENCE - shift - steps, 0).sum() > _UNFAVOURABLE_LIMIT:
        shift += 1
    moved = np.maximum(_REFERENCE - shift, 0)
    excess = steps - moved >= _INDICATOR_EXCESS
    letters = "".join(
        letter
        for letter, where in (("L", [0]), ("M", [1, 2]), ("H", [3, 4]))
        if excess[where].any()
    )
    rating = int(moved[1])
    name = next((c for c, least in _CLASSES if rating >= least), "unclassified")
    return WeightedAbsorption(round(rating * 0.05, 2), letters, name)


def noise_reduction_coefficient(alphas: Sequence[float]) -> float:
    """NRC: mean of the third-octave values at 250, 500, 1000, 2000 Hz to 0.05, midpoint up."""
    if len(alphas) != 4:
        raise ValueError("four third-octave values are needed: 250, 500, 1000 and 2000 Hz")
    return round(_steps(sum(alphas) / 4.0) * 0.05, 2)


def _steps(value: float) -> int:
    """Nearest multiple of 0.05, midpoints up; the small term absorbs binary rounding."""
    return int(np.floor(value / 0.05 + 0.5 + 1e-9))
