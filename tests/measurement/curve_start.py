"""Where a decay curve from a time-reversed filter should begin.

Run by hand; prints the table of curve_start.md. The mean energy of an exponential decay of noise,
with a direct sound of `direct` times its energy at the onset, is passed through the filter (its
energy response, reversed), integrated backwards and evaluated. What the filter moves ahead of the
beginning is added to the first sample. The true T is that of the decay.
"""

import numpy as np

from optimizer.acoustics.decay_curve import backward_integral, decay_times
from optimizer.measurement.filters import DELAY, OCTAVES, filter_reversed

RATE, BAND = 8000, 3
PLACES = {"onset": 0.0, "halfway": 0.5, "direct sound": 1.0}


def energy_response() -> np.ndarray:
    """Energy of the filter's own response (samples,), reversed in time."""
    impulse = np.zeros(RATE // 4)
    impulse[-1] = 1.0
    return filter_reversed(impulse, RATE, OCTAVES, BAND)[0] ** 2


def evaluated(product: float, direct: float, share: float) -> tuple[float, float]:
    """EDT and T20 over the true T for a beginning `share` of the delay ahead of the onset."""
    T = product / OCTAVES.width[BAND]
    decay = 10.0 ** (-6.0 * np.arange(int(1.5 * T * RATE) + 1) / RATE / T)
    decay[0] += direct * decay.sum()
    response = energy_response()
    energy = np.convolve(decay, response)
    start = response.size - 1 - round(share * DELAY / OCTAVES.width[BAND] * RATE)
    curve = backward_integral(energy[start:, None], 1.0 / RATE)
    curve[0] += energy[:start].sum() / RATE
    found = decay_times(curve, 1.0 / RATE)
    return float(found.edt[0]) / T, float(found.t20[0]) / T


def main() -> None:
    """Print the table."""
    print("| B T | direct | " + " | ".join(f"{p}: EDT, T20" for p in PLACES) + " |")
    print("|---:|---:|" + "---|" * len(PLACES))
    for product in (4, 8, 16, 32, 64, 128):
        for direct in (0.0, 1.0, 2.0):
            pairs = [evaluated(product, direct, share) for share in PLACES.values()]
            cells = " | ".join(f"{edt:.2f}, {t20:.2f}" for edt, t20 in pairs)
            print(f"| {product} | {direct:g} | {cells} |")


if __name__ == "__main__":
    main()
