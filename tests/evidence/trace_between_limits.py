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
RADIUS = 0.5
DT = 1e-3


def library_t20(size, walls, scattering):
    """T20 of the library's ray-traced histogram, mean over four receivers."""
    names = ("west", "east", "south", "north", "floor", "ceiling")
    materials = {
        n: pra.Material(float(a), float(scattering)) for n, a in zip(names, walls, strict=True)
    }
    room = pra.ShoeBox(
        size, fs=8000, materials=materials, max_order=0, ray_tracing=True, air_absorption=False
    )
    room.set_ray_tracing(n_rays=RAYS, receiver_radius=RADIUS, hist_bin_size=DT, time_thres=4.0)
    room.set_sound_speed(343.0)
    room.add_source(np.multiply(size, (0.25, 0.3, 0.45)))
    spots = np.array([[0.7, 0.6, 0.5], [0.6, 0.3, 0.4], [0.35, 0.75, 0.6], [0.8, 0.8, 0.4]])
    room.add_microphone_array((spots * size).T)
    room.ray_tracing()
    energy = [np.asarray(h[0][0]).sum(axis=0) for h in room.rt_histograms]
    return np.array([decay_times(backward_integral(e[:, None], DT), DT).t20[0] for e in energy])


def rows():
    for name, (size, walls) in ROOMS.items():
        areas = np.repeat(np.prod(size) / np.array(size), 2)
        alpha = np.array(walls)[:, None]
        axis = [0, 0, 1, 1, 2, 2]
        formulas = [
            float(f(float(np.prod(size)), areas, alpha, axis=axis)[0])
            for f in (sabine, eyring, arau)
        ]
        for s in SCATTERING:
            scene = Scene(box_surfaces(size, alpha, s))
            found = trace(scene, rays=RAYS)
            ours, error = found.decay.t20[0], found.t20_error[0]
            point = trace(scene, rays=RAYS, source=np.multiply(size, (0.25, 0.3, 0.45)))
            library = library_t20(size, walls, s)
            yield (
                f"| {name} | {s:g} | {ours:.3f} +/- {error:.3f} | {point.decay.t20[0]:.3f} | "
                f"{library.mean():.3f} ({library.min():.3f} .. {library.max():.3f}) | "
                f"{100 * (library.mean() / point.decay.t20[0] - 1):+.0f} % | "
                + " | ".join(f"{f:.3f}" for f in formulas)
                + " |"
            )


def main():
    for row in rows():
        print(row)


if __name__ == "__main__":
    main()
