"""One sigma of an absorption coefficient or area: laboratories, sources, estimates."""

from collections.abc import Sequence

from materials.bands import BANDS

# ISO 12999-2:2020, standard deviation of reproducibility m alpha + n of the third-octave bands
# at the octave centres 63 Hz to 4 kHz; its table ends at 5 kHz, whose figures stand for 8 kHz.
REPRODUCIBILITY: tuple[tuple[float, float], ...] = (
    (0.450, 0.015),
    (0.180, 0.015),
    (0.090, 0.015),
    (0.050, 0.015),
    (0.040, 0.015),
    (0.035, 0.021),
    (0.030, 0.040),
    (0.026, 0.060),
)
_OBJECT_AREA = 10.0  # m2, reference area of the standard for absorption areas
_LEAST_63 = 0.5

# Relative error of an estimated coefficient: rms over the two builds with a small gap that were
# measured beside their flush layer (25 mm wool +25 mm, 25 mm felt +50 mm): 0.33 0.36 0.25 0.11
# 0.09 0.13 from 125 Hz to 4 kHz, rounded up. Objects: 0.4, a judgement.
_ESTIMATED_ALPHA = (0.5, 0.35, 0.4, 0.25, 0.15, 0.15, 0.15, 0.15)
_ESTIMATED_OBJECT = 0.4


def reproducibility(values: Sequence[float], unit: str = "alpha") -> tuple[float, ...]:
    """Standard deviation between laboratories in the octaves of BANDS (ISO 12999-2:2020).

    m alpha + n for coefficients, m A + 10 n in m2 for the absorption area of an object.
    """
    if len(values) != len(BANDS) or any(not value >= 0.0 for value in values):
        raise ValueError(f"{len(BANDS)} values of zero or above are needed, one per octave")
    if unit not in ("alpha", "m2"):
        raise ValueError("unit must be alpha or m2")
    scale = _OBJECT_AREA if unit == "m2" else 1.0
    return tuple(
        m * value + scale * n for value, (m, n) in zip(values, REPRODUCIBILITY, strict=True)
    )


def one_sigma(
    values: Sequence[float],
    between: Sequence[float | None],
    unit: str = "alpha",
    estimated: bool = False,
) -> tuple[float, ...]:
    """One sigma per octave: the largest of laboratories, sources, and what an estimate is worth.

    `between` is the standard deviation between sources, None where fewer than two give the band;
    at 8 kHz a blank takes that of 4 kHz, because the value is held from there. At 63 Hz never
    less than half the value.
    """
    sources = list(between)
    if sources[-1] is None:
        sources[-1] = sources[-2]
    sigma = [max(a, b or 0.0) for a, b in zip(reproducibility(values, unit), sources, strict=True)]
    sigma[0] = max(sigma[0], _LEAST_63 * values[0])
    if not estimated:
        return tuple(sigma)
    shares = _ESTIMATED_ALPHA if unit == "alpha" else (_ESTIMATED_OBJECT,) * len(BANDS)
    return tuple(
        max(s, share * value) for s, share, value in zip(sigma, shares, values, strict=True)
    )
