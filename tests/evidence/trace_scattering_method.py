"""How to trace eight bands whose scattering differs: forked paths, weights, or one band at a time.

Run: python tests/evidence/trace_scattering_method.py  (writes the .md beside it)
"""

import time
from pathlib import Path

import numpy as np
from numba import njit

from optimizer.acoustics.decay_curve import backward_integral, decay_times
from optimizer.acoustics.trace import trace
from optimizer.acoustics.trace_scene import Scene
from optimizer.acoustics.trace_shapes import box_surfaces

SIZE = np.array([4.6, 3.4, 2.5])
HZ = np.array([63, 125, 250, 500, 1000, 2000, 4000, 8000.0])
LIVE = np.full((6, 8), 0.08)
TREATED = np.array([0.1, 0.25, 0.2, 0.2, 0.1, 0.5])[:, None] * np.ones(8)
# the depth rule s = 0.5 sqrt(d f / c), within 0.05 and 0.99, for 2 cm, 10 cm and none
CASES = {
    "live, depth 2 cm": (LIVE, 0.02),
    "live, depth 10 cm": (LIVE, 0.10),
    "treated, depth 2 cm": (TREATED, 0.02),
    "treated, depth 10 cm": (TREATED, 0.10),
    "treated, plain 0.05": (TREATED, 0.0),
}
RAYS = 20_000
BATCHES = 10
DT = 1e-3


@njit(cache=True)
def weighted(size, alpha, scattering, chance, seed, rays, lost):
    """One path per ray for all bands: scatter with `chance`, bands weighted by s / chance."""
    np.random.seed(seed)
    bands = alpha.shape[1]
    energy, p, d = np.empty(bands), np.empty(3), np.empty(3)
    for _ in range(rays):
        for a in range(3):
            p[a], d[a] = np.random.random() * size[a], np.random.normal()
        d /= np.sqrt(np.sum(d * d))
        energy[:] = 1.0
        path = 0.0
        while energy.max() > 1e-6:
            gap, axis = np.inf, 0
            for a in range(3):
                t = ((size[a] if d[a] > 0.0 else 0.0) - p[a]) / d[a]
                if t < gap:
                    gap, axis = t, a
            path += gap
            slot = int(path / (343.0 * DT))
            if slot >= lost.shape[0]:
                break
            p += gap * d
            wall = 2 * axis + (d[axis] > 0.0)
            p[axis] = size[axis] if d[axis] > 0.0 else 0.0
            sign = -1.0 if d[axis] > 0.0 else 1.0
            scatter = np.random.random() < chance
            for b in range(bands):
                before = energy[b]
                s = scattering[b]
                weight = s / chance if scatter else (1.0 - s) / (1.0 - chance)
                energy[b] *= (1.0 - alpha[wall, b]) * weight
                lost[slot, b] += before - energy[b]
            if scatter:
                for a in range(3):
                    d[a] = np.random.normal()
                d /= np.sqrt(np.sum(d * d))
                d[axis] += sign
                d /= np.sqrt(np.sum(d * d))
            else:
                d[axis] = -d[axis]


def weighted_t20(alpha, scattering, chance):
    """T20 per batch, (batches, bands)."""
    times = []
    for k in range(BATCHES):
        lost = np.zeros((4000, 8))
        weighted(SIZE, alpha, scattering, chance, k, RAYS // BATCHES, lost)
        left = np.maximum(np.cumsum(lost[::-1], axis=0)[::-1], 1e-12)
        times.append(decay_times(backward_integral(left, DT), DT).t20)
    return np.array(times)


def clocked(call):
    start = time.process_time()
    result = call()
    return result, time.process_time() - start


def error_row(name, method, t20, error, seconds):
    share = 100.0 * error / t20
    cost = share.max() ** 2 * seconds
    cells = " | ".join("-" if np.isnan(v) else f"{v:.1f}" for v in share)
    return f"| {name} | {method} | {seconds:.2f} | {cells} | {cost:.2f} |"


def case_rows(name):
    alpha, depth = CASES[name]
    s = np.clip(0.5 * np.sqrt(depth * HZ / 343.0), 0.05, 0.99)
    scene = Scene(box_surfaces(SIZE, alpha, s))
    found, seconds = clocked(lambda: trace(scene, rays=RAYS, threads=1))
    yield error_row(name, "forked", found.decay.t20, found.errors.t20, seconds)
    alone = []
    for b in range(8):
        scene = Scene(box_surfaces(SIZE, alpha[:, b : b + 1], s[b]))
        alone.append(clocked(lambda scene=scene: trace(scene, rays=RAYS, threads=1)))
    t20 = np.array([r.decay.t20[0] for r, _ in alone])
    error = np.array([r.errors.t20[0] for r, _ in alone])
    yield error_row(name, "one band at a time", t20, error, sum(t for _, t in alone))
    if np.ptp(s) > 0.0:
        for label, chance in (("mean", s.mean()), ("middle", 0.5 * (s.min() + s.max()))):
            times, seconds = clocked(lambda c=chance: weighted_t20(alpha, s, c))
            error = times.std(axis=0, ddof=1) / np.sqrt(BATCHES)
            method = f"weights, chance = {label} {chance:.2f}"
            yield error_row(name, method, times.mean(axis=0), error, seconds)


HEAD = f"""# Eight bands in one pass: three ways

Box 4.6 x 3.4 x 2.5 m, {RAYS} rays, one thread. Standard error of T20 in per cent per octave band
63 Hz to 8 kHz, from {BATCHES} batches. Cost = largest error squared times seconds: the seconds
for 1 % in the worst band. "Forked" is the tracer of this project. "Weights" is a common path with
likelihood-ratio weights s/q after a scattered and (1-s)/(1-q) after a specular reflection.

| case | method | s | 63 | 125 | 250 | 500 | 1k | 2k | 4k | 8k | cost |
|---|---|---|---|---|---|---|---|---|---|---|---|
"""
FOOT = """
A weight keeps the mean and multiplies the variance of a band by s^2/q + (1-s)^2/(1-q) at each
hit, e.g. 1.08 for s = 0.05 on a path with q = 0.15, but 1.5 for s = 0.05 with q = 0.4 and 1.4 for
s = 0.7: after the 25 to 60 reflections of a decay nothing is left of the sample in the bands far
from q, and the error stated there cannot be trusted itself. Forked paths have no weights: one
random number per hit decides for all bands at once, those with s above it go one way, the others
the other way. A ray has at most eight ends, bands with equal coefficients never part, and a path
is shared for as long as the bands decide alike. The error is that of tracing each band alone,
the time less.
"""


def main():
    weighted(SIZE, LIVE, np.full(8, 0.1), 0.1, 0, 10, np.zeros((10, 8)))
    trace(Scene(box_surfaces(SIZE, 0.2, 0.2)), rays=200)
    table = "\n".join(row for name in CASES for row in case_rows(name))
    Path(__file__).with_suffix(".md").write_text(HEAD + table + "\n" + FOOT)


if __name__ == "__main__":
    main()
