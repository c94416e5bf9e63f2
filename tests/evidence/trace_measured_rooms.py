"""Traced decay of two measured rooms: a hard room with carpet and the seminar room BRAS CR2.

Run: python tests/evidence/trace_measured_rooms.py  (writes the .md beside it)
"""

import runpy
from pathlib import Path

import numpy as np

from optimizer.acoustics.air import air_attenuation
from optimizer.acoustics.decay import arau, eyring, fitzroy, kuttruff, sabine
from optimizer.acoustics.trace import trace
from optimizer.acoustics.trace_scene import Scene
from optimizer.acoustics.trace_shapes import box_surfaces, prism_surfaces

TEST = runpy.run_path(str(Path(__file__).parents[1] / "acoustics" / "test_trace.py"))
AREAS = TEST["CR2_AREAS"]
RAYS = 20_000


def formulas(size, alpha, air):
    """T by formula at one band for a box, alpha per wall (6,)."""
    areas = np.repeat(np.prod(size) / np.array(size), 2)
    return {
        f.__name__: float(
            f(float(np.prod(size)), areas, alpha[:, None], axis=[0, 0, 1, 1, 2, 2], air=[air])[0]
        )
        for f in (sabine, eyring, kuttruff, fitzroy, arau)
    }


def carpet():
    size, air = (9.25, 7.65, 3.15), air_attenuation([1000.0])[0]
    s = np.array([0.02, 0.05, 0.06, 0.07, 0.08, 0.1, 0.15, 0.3])
    bare = np.array([0.07, 0.07, 0.07, 0.07, 0.02, 0.07])[:, None] * np.ones(8)
    yield "## Hard room with carpet"
    yield ""
    yield "9.25 x 7.65 x 3.15 m, 1 kHz, painted block and concrete; measured 3.3 s bare, 1.6 s"
    yield "carpeted (D. Russell, Penn State, reverberation demonstration). Walls and ceiling 0.07,"
    yield "floor 0.02, carpet 0.37 reproduce the 2.6 and 0.93 s calculated there by Sabine. Air 20"
    yield "C, 50 %. All bare surfaces are scaled alike until the traced T20 of the bare room is"
    yield "3.3 s; then the carpet is laid. Deviation from 1.6 s in brackets."
    yield ""
    yield "| scattering | scale | EDT | T20 | T30 | curvature % | 0.07 and 0.02 as they are: T20 |"
    yield "|---|---|---|---|---|---|---|"
    scale = 0.75 * np.ones(8)
    for _ in range(4):
        found = trace(Scene(box_surfaces(size, scale * bare, s), air=np.full(8, air)), rays=5000)
        scale *= found.decay.t20 / 3.3
    laid = []
    for factor in (scale, np.ones(8)):
        alpha = factor * bare
        alpha[4] = 0.37
        laid.append(trace(Scene(box_surfaces(size, alpha, s), air=np.full(8, air)), rays=RAYS))
    matched, plain = laid
    for b in range(8):
        d = matched.decay
        off = 100 * (d.t20[b] / 1.6 - 1)
        yield (
            f"| {s[b]:g} | {scale[b]:.3f} | {d.edt[b]:.2f} | {d.t20[b]:.2f} ({off:+.0f} %) | "
            f"{d.t30[b]:.2f} | {d.curvature[b]:.0f} | {plain.decay.t20[b]:.2f} |"
        )
    yield ""
    alpha = scale[5] * bare[:, 5]
    alpha[4] = 0.37
    by = ", ".join(f"{k} {v:.2f}" for k, v in formulas(size, alpha, air).items())
    yield f"By formula, matched like the line for 0.1 (s): {by}."
    yield ""
    yield "Within 15 % of the measured 1.6 s for a scattering of about 0.055 to 0.11; at 0.05 the"
    yield "trace is 18 % long. Between 0.05 and 0.1 the result moves by a quarter: in such a room"
    yield "scattering must carry its uncertainty. Sabine is 38 % short of the measured figure."
    yield ""


def walls_mean(k):
    names = ("concrete", "windows", "plaster")
    total = sum(AREAS[n] for n in names)
    return sum(AREAS[n] * TEST["_cr2"](n)[k] for n in names) / total


def seminar_scenes():
    """The arrangements compared: name, scene."""
    air = air_attenuation(temp_c=19.5, humidity=41.7)
    plan, height = TEST["cr2_plan"]()
    total = sum(AREAS.values())
    mean, rough = (sum(a * TEST["_cr2"](n)[k] for n, a in AREAS.items()) / total for k in (0, 1))
    yield "evenly mixed", Scene(prism_surfaces(plan, height, mean, rough), air=air)
    yield "evenly mixed, no air", Scene(prism_surfaces(plan, height, mean, rough))
    floor = 0.5 * (AREAS["floor"] + AREAS["ceiling"])
    placed = np.array(
        [TEST["_cr2"](n)[0] * AREAS[n] / floor for n in ("floor", "ceiling")]
        + [walls_mean(0)] * len(plan)
    )
    given = np.array(
        [TEST["_cr2"](n)[1] for n in ("floor", "ceiling")] + [walls_mean(1)] * len(plan)
    )
    for name, s in (("given", given), ("0.1", 0.1), ("0.2", 0.2), ("0.4", 0.4)):
        yield (
            f"in place, scattering {name}",
            Scene(prism_surfaces(plan, height, placed, s), air=air),
        )


def seminar():
    thirds, t20 = np.loadtxt(TEST["DATA"] / "Evaluation_CR2_T20.txt", delimiter=",")
    measured = TEST["_octaves"](t20, thirds)
    bands = slice(2, 7)
    yield "## Seminar room BRAS CR2"
    yield ""
    yield "Third-octave coefficients and T20 averaged to octaves (tests/data/bras_cr2/README.md)."
    yield "Volume 146.1 m3 and surface 202.53 m2 are exact; the plan (8.4 x 6.7 m with a bay cut"
    yield "from one long wall) is our own, as no box has these sides, volume and surface together:"
    yield "8.4 x 6.7 x 3.0 m has 168.8 m3. Floor and ceiling are 50.46 m2 each instead of 49.29 and"
    yield "51.62; their coefficients are scaled by the area."
    yield ""
    yield "| T20 s | 250 | 500 | 1k | 2k | 4k |"
    yield "|---|---|---|---|---|---|"
    yield "| measured | " + " | ".join(f"{t:.3f}" for t in measured[bands]) + " |"
    for name, scene in seminar_scenes():
        t = trace(scene, rays=RAYS).decay.t20[bands]
        cells = (
            f"{v:.3f} ({100 * (v / m - 1):+.1f} %)" for v, m in zip(t, measured[bands], strict=True)
        )
        yield f"| traced, {name} | " + " | ".join(cells) + " |"
    yield ""
    yield "The absorption was fitted to the measurement with Eyring's formula, which knows areas"
    yield "but no places. Spread evenly it gives the measured T20 back within 5 %, which checks the"
    yield "sum, the air and the tracer's mean path. Put in their places, with walls that absorb"
    yield "less than ceiling and floor, and with the given scattering of 0.05 to 0.1 at 250 and"
    yield "500 Hz, the same figures decay up to 12 % slower: the fit already holds whatever"
    yield "unevenness the real room has, so the model counts it twice. With 20 % scattering the"
    yield "difference is gone."


def main():
    lines = ["# Two measured rooms", "", f"{RAYS} rays, c = 343 m/s.", "", *carpet(), *seminar()]
    Path(__file__).with_suffix(".md").write_text("\n".join(lines) + "\n")


if __name__ == "__main__":
    main()
