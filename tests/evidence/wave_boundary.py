"""What the wave equation gives away by meeting porous pieces at one angle, by finite elements.

Run: OPENBLAS_NUM_THREADS=1 python tests/evidence/wave_boundary.py
Writes the .md beside it; about four minutes of work.

A wave equation in time meets a wall point by point: it cannot know at what angle. The product's
wave solver takes each make at the mean angle of a diffuse field, corner fills as strips on both
walls (optimizer.acoustics.admittance.low_cells). Here the referee's furnished room and pieces
(tests/referee) are solved by coupled modes with that boundary and with what the product's coupled
modes have (the run of each mode, fills as volumes); what is left is what the boundary costs.
"""

import sys
from pathlib import Path

import numpy as np

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT / "tests" / "referee"))

from project_cases import (  # noqa: E402 - after the path
    ROOM,
    TOP_HZ,
    Extra,
    Hung,
    boards,
    box_of,
    by_mode,
    geometry,
    level_differences,
    reference,
)

from materials.corner import CornerFill  # noqa: E402
from optimizer.acoustics.admittance import diffuse  # noqa: E402
from optimizer.acoustics.coupled_build import CoupledBox, couple_box  # noqa: E402
from optimizer.acoustics.make_admittance import make_table  # noqa: E402
from optimizer.acoustics.modes import Patches  # noqa: E402
from optimizer.acoustics.scene import LOW_HZ  # noqa: E402

END = (
    "",
    "Single pieces on single modes are off by half to two thirds either way at one angle: modes",
    "are therefore judged by the coupled modes, never by the wave equation. In a furnished room",
    "modes of all angles meet every piece, and the mean damping of an octave, which is what the",
    "wave equation judges, is as near as by each mode's run. So it keeps the boundary; wool as",
    "cells with a resistance would need cells smaller than a panel is deep, and was not built.",
)
OCTAVES = {"63 Hz": (44.0, 88.0), "125 Hz": (88.0, 125.0)}


def as_waves_have_it(pieces: list[Hung], extra: Extra) -> CoupledBox:
    """The room with each piece at the mean angle of a diffuse field."""
    rows = [(place, p.make) for p in pieces for place in p.places]
    corner = np.array([isinstance(make.build, CornerFill) for _, make in rows], dtype=bool)
    beta = diffuse(np.array([make_table(make) for _, make in rows]), corner)
    places = [place for place, _ in rows] + [place for place, _ in extra]
    patches = Patches(*(np.array([p[i] for p in places]) for i in (0, 1, 2)))
    every = np.concatenate([beta, np.array([b for _, b in extra]).reshape(-1, len(LOW_HZ))])
    return couple_box(ROOM, patches, LOW_HZ, every, 1.15 * TOP_HZ)


def off(box: CoupledBox, wanted: dict[str, float]) -> list[str]:
    """Mean and worst ratio of damping to finite elements in each octave."""
    found, cells = by_mode(box), []
    for low, high in OCTAVES.values():
        ratio = np.array([found[m][1] / d for m, d in wanted.items() if low <= found[m][0] < high])
        cells.append(f"{ratio.mean():.2f} ({ratio.min():.2f} to {ratio.max():.2f})"
                     if len(ratio) else "-")  # fmt: skip
    return cells


def level_off(box: CoupledBox) -> float:
    """Mean difference in dB of the response at two seats, 20 to 125 Hz."""
    return float(np.mean([np.abs(difference).mean() for difference in level_differences(box)]))


def main() -> None:
    pieces, wanted = geometry(), reference()
    lines = ["# What one angle for all costs the wave equation", "",
             "Written by wave_boundary.py. Damping of modes over that by finite elements, mean",
             "(range) of the modes in an octave; response of the furnished room: mean difference.",
             "", "| case | boundary | 63 Hz | 125 Hz, to 125 | response dB |",
             "| --- | --- | --- | --- | --- |"]  # fmt: skip
    for case in sorted(wanted):
        if "square" in case or case not in pieces:
            continue
        extra = boards(pieces[case]) if "furnished" in case else []
        both = (("by each mode's run", box_of(pieces[case], extra)),
                ("one mean angle", as_waves_have_it(pieces[case], extra)))  # fmt: skip
        for name, box in both:
            told = f"{level_off(box):.2f}" if "furnished" in case else ""
            lines.append(f"| {case} | {name} | {' | '.join(off(box, wanted[case]))} | {told} |")
    text = "\n".join([*lines, *END]) + "\n"
    Path(__file__).with_suffix(".md").write_text(text, encoding="utf-8")
    print(text)


if __name__ == "__main__":
    main()
