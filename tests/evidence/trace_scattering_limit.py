"""Uniform boxes at 80 % scattering against Kuttruff's formula and the equation behind it.

Run: python tests/evidence/trace_scattering_limit.py  (writes the .md beside it)
"""

import runpy
from pathlib import Path

import numpy as np
from scipy.optimize import brentq

from optimizer.acoustics.trace import trace
from optimizer.acoustics.trace_scene import Scene
from optimizer.acoustics.trace_shapes import box_surfaces

TEST = runpy.run_path(str(Path(__file__).parents[1] / "acoustics" / "test_trace.py"))
ALPHA = np.array([0.05, 0.1, 0.15, 0.2, 0.3, 0.4, 0.45, 0.5])
BOXES = [(4, 4, 4), (5, 4, 3), (4.6, 3.4, 2.5), (4, 4, 8), (8, 8, 4), (8, 5, 3), (8, 6, 2.5)]


def percent(values):
    return " | ".join(f"{v:+.1f}" for v in 100.0 * values)


def box_rows(size):
    paths = TEST["chords"](size, 1_000_000)
    variance = paths.var() / paths.mean() ** 2
    rate = np.array(
        [
            brentq(lambda x, a=a: np.log(1 - a) + np.log(np.mean(np.exp(x * paths))), 1e-6, 2)
            for a in ALPHA
        ]
    )
    equation = 6.0 * np.log(10.0) / (TEST["C"] * rate)
    name = " x ".join(f"{s:g}" for s in size)
    rows = []
    for scattering in (0.8, 1.0):
        scene = Scene(box_surfaces(size, ALPHA, scattering))
        found = trace(scene, rays=20_000)
        formula = TEST["kuttruff"](scene.volume, scene.area, ALPHA, variance)
        head = f"| {name} | {variance:.3f} | {found.path_variance:.3f} | {scattering:.1f} |"
        rows.append(f"{head} trace / formula | {percent(found.decay.t20 / formula - 1)} |")
        rows.append(f"{head} trace / equation | {percent(found.decay.t20 / equation - 1)} |")
    head = f"| {name} | {variance:.3f} | | |"
    rows.append(f"{head} formula / equation | {percent(formula / equation - 1)} |")
    return rows


def main():
    lines = [
        "# Strong scattering: traced T20 in uniform boxes",
        "",
        "Deviation in per cent for mean absorption 0.05 to 0.5; 20,000 rays (standard error below",
        "0.2 %). g2 = variance of the free paths over their mean squared: chords = sampled with",
        "the cosine law, traced = from the rays. Formula: Kuttruff, a'' = -ln(1-a)(1 + g2/2",
        "ln(1-a)). Equation: (1-a) <exp(x l)> = 1 for independent paths l, of which the formula is",
        "the series cut after two terms.",
        "",
        "| box m | g2 chords | g2 traced | scattering | ratio | "
        + " | ".join(f"{a:g}" for a in ALPHA)
        + " |",
        "|---" * (5 + len(ALPHA)) + "|",
        *[row for size in BOXES for row in box_rows(size)],
        "",
        "The formula itself is 2.2 to 2.7 % longer than its equation at 0.5. With purely diffuse",
        "walls the trace keeps within 2 % of the formula and 1.5 % of the equation everywhere. The",
        "20 % of specular reflections cost compact boxes up to two per cent more: at 0.5 a cube is",
        "3.7 %, 5 x 4 x 3 m 3.3 % and 4.6 x 3.4 x 2.5 m 3.2 % below the formula (within 3 % up to",
        "0.45), the larger flat boxes within 3 % over the whole range. All stay within 1.5 % of",
        "the equation. The tests assert 3 % of the formula for 8 x 5 x 3 and 8 x 6 x 2.5 m and 2 %",
        "of the equation for 5 x 4 x 3 m.",
    ]
    Path(__file__).with_suffix(".md").write_text("\n".join(lines) + "\n")


if __name__ == "__main__":
    main()
