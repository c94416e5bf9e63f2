"""How far chance alone bends the decay of a straight, noise-like response of narrow bandwidth.

Run by hand; prints the table of decay_chance.md. Exponential decays of Gaussian noise, filtered and
evaluated as optimizer.measurement does, without added noise.
"""

import sys

import numpy as np

from optimizer.acoustics.decay_curve import (
    T20_RANGE,
    T30_RANGE,
    backward_integral,
    decay_times,
    level_db,
)
from optimizer.measurement.decay_evaluation import nonlinearity
from optimizer.measurement.filters import OCTAVES, filter_reversed

RATE = 4000
CASES = ((0, 0.15), (0, 0.3), (0, 1.0), (1, 0.5), (2, 0.5), (3, 0.3), (3, 1.0))  # band, T in s


def one_decay(index: int, T: float, rng: np.random.Generator) -> tuple[float, ...]:
    """Curvature, T20 over EDT less one (both %), non-linearities of T20 and T30 (permille)."""
    t = np.arange(int(1.6 * T * RATE)) / RATE
    response = rng.standard_normal(t.size) * 10.0 ** (-3.0 * t / T)
    filtered, start = filter_reversed(response, RATE, OCTAVES, index)
    energy = filtered**2
    curve = backward_integral(energy[start:, None], 1.0 / RATE)
    curve[0] += energy[:start].sum() / RATE
    found, level = decay_times(curve, 1.0 / RATE), level_db(curve)[:, 0]
    early = 100.0 * (found.t20[0] / found.edt[0] - 1.0)
    crooked = [nonlinearity(level, 1.0 / RATE, *r) for r in (T20_RANGE, T30_RANGE)]
    return float(found.curvature[0]), float(early), *crooked


def main(repeats: int = 1500) -> None:
    """Print the 99 % points, scaled by the root of B T or by B T."""
    rng = np.random.default_rng(7)
    print("| B T | curvature, %*sqrt | EDT, %*sqrt | T20 permille*BT | T30 permille*BT |")
    print("|----:|---:|---:|---:|---:|")
    for index, T in CASES:
        product = OCTAVES.width[index] * T
        drawn = np.array([one_decay(index, T, rng) for _ in range(repeats)])
        drawn[:, 0] = np.abs(drawn[:, 0])
        points = np.nanpercentile(drawn, 99, axis=0)
        scaled = points * np.array([product**0.5, product**0.5, product, product])
        print(f"| {product:.0f} | " + " | ".join(f"{value:.0f}" for value in scaled) + " |")


if __name__ == "__main__":
    main(*(int(argument) for argument in sys.argv[1:]))
