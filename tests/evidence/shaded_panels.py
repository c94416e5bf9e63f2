"""What a panel behind furniture still does, by ray tracer, wave equation and the shade of the plan.

python tests/evidence/shaded_panels.py > tests/evidence/shaded_panels.md

A bare invented room with one piece of furniture before the left wall. The same two panels are put
on that wall behind it, and on the open right wall. A model's factor is the change of 1 / T20 by the
first over that by the second; the plan's is the mean of `optimizer.placement.shade`.
"""

from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np

from optimizer.acoustics.assessment import Judge
from optimizer.acoustics.judge_trace import TraceJudge
from optimizer.acoustics.judge_waves import WaveJudge
from optimizer.acoustics.judged import judge_scene
from optimizer.placement.pieces import Piece, flat_piece, piece_patches, treated
from optimizer.project import Project, load_project
from optimizer.room.geometry import Floats

ROOM = """
title = "shade (invented)"
[room]
length = 4.2
width = 3.1
height = 2.45
[surfaces]
front = "plaster_on_masonry"
back = "plaster_on_masonry"
left = "plaster_on_masonry"
right = "plaster_on_masonry"
floor = "parquet_on_concrete"
ceiling = "plaster_on_masonry"
[[speakers]]
name = "L"
at = [0.5, 0.95, 1.2]
[[speakers]]
name = "R"
at = [0.5, 2.15, 1.2]
[[seats]]
name = "mix"
at = [1.6, 1.55, 1.2]
[[furniture]]
kind = "{kind}"
{material}
at = [1.9, {gap}, 0.0]
size = [2.0, {deep}, {high}]
[budget]
amount = 900
catalogue = "prices.csv"
"""
PRICES = """\
id,name,kind,width,height,depth,turn,mountings,gaps,materials,price,pack
wool,wool,panel,1.0,{},0.1,no,wall,0,mineral_wool_100_wall,50,1
"""
# Furniture, its depth and height, its material, the panels' height and lower edge.
CASES = {
    "cabinet": (0.4, 1.2, "", 1.2, 0.0),
    "bookcase": (0.3, 1.8, "", 1.2, 0.3),
    "sofa": (0.85, 0.8, 'material = "sofa_3_seat"', 0.8, 0.0),
    "bed": (0.95, 0.5, 'material = "bed_single"', 0.5, 0.0),
}
BANDS = ("125 Hz", "250 Hz", "500 Hz", "1 kHz", "4 kHz")
_COLUMNS = (1, 2, 3, 4, 6)


def room(folder: Path, kind: str, gap: float) -> Project:
    """The room with furniture so many m off the left wall."""
    deep, high, material, tall, _ = CASES[kind]
    text = ROOM.format(kind=kind, material=material, gap=gap, deep=deep, high=high)
    (folder / "room.toml").write_text(text, encoding="utf-8")
    (folder / "prices.csv").write_text(PRICES.format(tall), encoding="utf-8")
    return load_project(folder / "room.toml")


def panels(project: Project, kind: str, wall: str) -> list[Piece]:
    """Two panels side by side, as wide as the furniture."""
    _, _, _, tall, low = CASES[kind]
    product = project.products[0]
    rects = [(x, low, x + 1.0, low + tall) for x in (1.9, 2.9)]
    return [flat_piece(project.room, product, 0, "wall", wall, r, False) for r in rects]


def rate(project: Project, pieces: list[Piece], judge: Judge) -> Floats:
    """1 / T20 (8,) of the octave bands with some pieces."""
    scene = treated(project.room, project.scene, pieces)
    judged = judge_scene(scene, project.criteria, [judge])
    rows = [k for k, row in enumerate(project.criteria.rows) if row.group == "decay"]
    return np.asarray(1.0 / judged.values[rows])


def factor(project: Project, kind: str, judge: Judge) -> Floats:
    """What the panels do behind the furniture over what they do on the open wall (8,)."""
    bare = rate(project, [], judge)
    hidden = rate(project, panels(project, kind, "left"), judge) - bare
    return np.asarray(hidden / (rate(project, panels(project, kind, "right"), judge) - bare))


def of_plan(project: Project, kind: str) -> Floats:
    """The same by the shade that a plan reckons with."""
    return np.asarray(
        piece_patches(project.room, panels(project, kind, "left"))[0].shade.mean(axis=0)
    )


def main() -> None:
    """Print the tables."""
    print(__doc__.split("\n\n")[2].strip() if __doc__ else "")
    print("\n| furniture | off the wall | by | " + " | ".join(BANDS) + " |")
    print("| --- " * (3 + len(BANDS)) + "|")
    judges: dict[str, Judge] = {"tracer": TraceJudge(0.0, rays=40000), "waves": WaveJudge(500)}
    with TemporaryDirectory() as name:
        for kind in CASES:
            for gap in (0.15, 0.2, 0.3, 0.5):
                project = room(Path(name), kind, gap)
                row(kind, gap, "the plan", of_plan(project, kind), 8)
                row(kind, gap, "ray tracing", factor(project, kind, judges["tracer"]), 8)
                if gap in (0.2, 0.5) and kind in ("cabinet", "sofa"):
                    row(kind, gap, "wave equation", factor(project, kind, judges["waves"]), 4)


def row(kind: str, gap: float, by: str, values: Floats, known: int) -> None:
    """One line of the table; bands that a model does not judge are left blank."""
    cells = [f"{values[c]:.2f}" if c < known else "" for c in _COLUMNS]
    print(f"| {kind} | {gap:.2f} m | {by} | " + " | ".join(cells) + " |", flush=True)


if __name__ == "__main__":
    main()
