"""Uneven boxes at 10 and 30 % scattering beside the ray tracing of a general-purpose library.

Run: python tests/evidence/trace_between_limits.py  (writes the .md beside it; about a minute).
The library is pyroomacoustics (Scheibler, Bezzam, Dokmanic, ICASSP 2018). Reported, not asserted.
"""

from pathlib import Path

import numpy as np
import pyroomacoustics as pra

from optimizer.acoustics.decay import arau, eyring, sabine
from optimizer.acoustics.decay_curve import backward_integral, decay_times
from optimizer.acoustics.trace import trace
from optimizer.acoustics.trace_scene import Scene
from optimizer.acoustics.trace_shapes import box_surfaces

# absorption of x0, x1, y0, y1, z0, z1
ROOMS = {
    "5.1 x 3.9 x 2.7, floor and ceiling": ((5.1, 3.9, 2.7), (0.1, 0.1, 0.1, 0.1, 0.5, 0.7)),
    "5.1 x 3.9 x 2.7, ceiling only": ((5.1, 3.9, 2.7), (0.1, 0.1, 0.1, 0.1, 0.1, 0.8)),
    "5.1 x 3.9 x 2.7, one end wall": ((5.1, 3.9, 2.7), (0.1, 0.8, 0.1, 0.1, 0.1, 0.1)),
    "5.1 x 3.9 x 2.7, graded": ((5.1, 3.9, 2.7), (0.1, 0.3, 0.05, 0.2, 0.15, 0.5)),
    "9.25 x 7.65 x 3.15, floor only": ((9.25, 7.65, 3.15), (0.07, 0.07, 0.07, 0.07, 0.37, 0.07)),
    "8 x 5 x 3, even": ((8.0, 5.0, 3.0), (0.2,) * 6),
}
SCATTERING = (0.1, 0.3)
RAYS = 20_000
ENDS = ("5.1 x 3.9 x 2.7, one end wall", "8 x 5 x 3, even")
DT = 1e-3


THRESHOLDS = {"as delivered": 1e-7, "lowered": 1e-13}
SPOT = (0.25, 0.3, 0.45)


def library_t20(size, walls, scattering, threshold):
    """T20 of the library's ray-traced histogram, mean over four receivers."""
    names = ("west", "east", "south", "north", "floor", "ceiling")
    materials = {
        n: pra.Material(float(a), float(scattering)) for n, a in zip(names, walls, strict=True)
    }
    room = pra.ShoeBox(
        size, fs=8000, materials=materials, max_order=0, ray_tracing=True, air_absorption=False
    )
    room.set_ray_tracing(
        n_rays=RAYS, receiver_radius=0.5, hist_bin_size=DT, time_thres=4.0, energy_thres=threshold
    )
    room.set_sound_speed(343.0)
    room.add_source(np.multiply(size, SPOT))
    spots = np.array([[0.7, 0.6, 0.5], [0.6, 0.3, 0.4], [0.35, 0.75, 0.6], [0.8, 0.8, 0.4]])
    room.add_microphone_array((spots * size).T)
    room.ray_tracing()
    energy = [np.asarray(h[0][0]).sum(axis=0) for h in room.rt_histograms]
    return np.mean([decay_times(backward_integral(e[:, None], DT), DT).t20[0] for e in energy])


def box_t20(size, walls, scattering, blend):
    """T20 of a box by a second, independent tracer.

    blend: the new direction is s * diffuse + (1 - s) * specular, normalised, instead of one of
    the two with probability s and 1 - s.
    """
    rng = np.random.default_rng(5)
    size, walls = np.array(size), np.array(walls)
    row = np.arange(RAYS)
    p, d = rng.random((RAYS, 3)) * size, _unit(rng.normal(size=(RAYS, 3)))
    energy, time, lost = np.ones(RAYS), np.zeros(RAYS), np.zeros(int(4.0 / DT) + 1)
    while energy.max() > 1e-6:
        gap = (np.where(d > 0.0, size, 0.0) - p) / d
        axis = gap.argmin(axis=1)
        far = d[row, axis] > 0.0
        p = p + gap[row, axis][:, None] * d
        time += gap[row, axis] / 343.0
        alpha = walls[2 * axis + far]
        np.add.at(lost, np.minimum((time / DT).astype(int), len(lost) - 1), energy * alpha)
        energy = energy * (1.0 - alpha)
        normal = np.eye(3)[axis] * np.where(far, -1.0, 1.0)[:, None]
        specular = d * (1.0 - 2.0 * np.eye(3)[axis])
        diffuse = _unit(_unit(rng.normal(size=(RAYS, 3))) + normal)
        if blend:
            d = _unit(scattering * diffuse + (1.0 - scattering) * specular)
        else:
            d = np.where(rng.random((RAYS, 1)) < scattering, diffuse, specular)
        p[row, axis] = np.where(far, size[axis], 0.0)
    left = np.cumsum(lost[::-1])[::-1]
    return decay_times(backward_integral(left[:, None], DT), DT).t20[0]


def _unit(vectors):
    return vectors / np.linalg.norm(vectors, axis=1)[:, None]


def row(name, scattering):
    size, walls = ROOMS[name]
    scene = Scene(box_surfaces(size, np.array(walls)[:, None], scattering))
    found = trace(scene, rays=RAYS)
    ours = found.decay.t20[0]
    cells = [name, f"{scattering:g}", f"{ours:.3f} +/- {found.errors.t20[0]:.3f}"]
    others = [box_t20(size, walls, scattering, blend) for blend in (False, True)]
    others += [library_t20(size, walls, scattering, t) for t in THRESHOLDS.values()]
    cells += [f"{t:.3f} ({100 * (t / ours - 1):+.0f} %)" for t in others]
    areas = np.repeat(np.prod(size) / np.array(size), 2)
    for formula in (sabine, eyring, arau):
        alpha = np.array(walls)[:, None]
        t = formula(float(np.prod(size)), areas, alpha, axis=[0, 0, 1, 1, 2, 2])
        cells.append(f"{t[0]:.3f}")
    return "| " + " | ".join(cells) + " |"


HEAD = """# Uneven boxes between the limits: traced T20 in seconds

20,000 rays each; c = 343 m/s, no air. "Tracer": this project. "Choice" and "blend": a second
tracer written for this table, which either chooses diffuse or specular with probability s and
1 - s, or takes the direction s * diffuse + (1 - s) * specular. "Library": ray tracing of
pyroomacoustics {version}, mean of four receivers, with its energy threshold as delivered (1e-7)
and lowered to 1e-13. In brackets: against the tracer.

| box m, absorption | s | tracer | choice | blend | library | lowered | Sabine | Eyring | Arau |
|---|---|---|---|---|---|---|---|---|---|
"""
FOOT = """
What the table shows:

- At the two ends (s = 0 and s = 1) all tracers agree: scattering is the only difference. The
  second tracer, with the same rule of choice, stays with the first one everywhere.
- Between the ends the library, its threshold lowered, follows the blended direction to 3 %. Its
  source (room.cpp, simul_ray) forms exactly that weighted sum. A small blend turns every ray a
  little and sends none off in a wholly new direction. Where rays live long because they run
  between hard walls (compact boxes with absorption on one wall or one pair) they stay on their
  course: 9 to 31 % longer. Where they live long because they never change their height at all
  (the wide room with carpet, the even box) a small turn at every hit is enough to end that: 3 to
  24 % shorter. The scattering coefficient of ISO 17497-1 is the share of the reflected energy
  that leaves the specular direction, which is the rule of choice: 1 - s of the energy goes on
  exactly specularly. In a blend none does.
- As delivered, the library shortens decays at 30 % and more. The energy it sends from every hit
  straight to the receivers is dropped below an absolute threshold, after about 10 dB of decay,
  while the rays go on; the sum starts too high. In the even box at s = 1 that gives 0.50 s, less
  than Eyring's 0.55 s, which no diffuse field can do (Kuttruff: 0.575 s, tracer: 0.575 s).

So the table is evidence on the two models of scattering, not a check of one by the other; the
checks are the two limits in tests/acoustics/test_trace.py.
"""


def main():
    cases = [(name, s) for name in ROOMS for s in SCATTERING]
    cases += [(name, s) for name in ENDS for s in (0.0, 1.0)]
    table = "\n".join(row(name, s) for name, s in cases)
    text = HEAD.format(version=pra.__version__) + table + "\n" + FOOT
    Path(__file__).with_suffix(".md").write_text(text)


if __name__ == "__main__":
    main()
