"""Edge effect: error of booking joints pair by pair, and what is lost by not solving for them.

Run: python tests/evidence/edge_effect.py; it writes edge_effect.md beside itself.
"""

import time
from dataclasses import replace
from pathlib import Path

import numpy as np

from materials import load_table
from materials.bands import BANDS
from materials.build import Build
from materials.edges import (
    GAIN_LIMIT,
    bounded_area,
    butt_loss,
    gap_loss,
    laboratory_alpha,
    piece_factor,
    table_face,
)
from materials.finite import Face, group_area
from materials.layers import Porous
from optimizer.placement.butting import edge_factors, find_joints
from optimizer.placement.pieces import piece_patches
from optimizer.placement.plan import select
from optimizer.placement.spacing import exact_objective, spread_out
from optimizer.planning import Decision, build_decision
from optimizer.project import Project, load_project

SCENARIOS = Path(__file__).parents[2] / "scenarios"
ROOMS = ("small_bedroom", "spare_room", "garage")
GAP, SECONDS = 0.03, 3600.0  # a guard that does not bind
CONCLUSION = (
    "Losses never help a plan that is not too dead, so the solver's bound holds with them too, and "
    "knowing the joints in the program could win back at most the step from `without` to `with "
    "losses`. That step is smaller than the gap that is solved to, while a program with joints "
    "would need a product term per touching pair and band: ninety pairs per candidate in the room "
    "whose grid fits its panels. So joints stay out of the program, and the search after it counts "
    "them exactly. Where the time limit ended the solver, a move may also win what the solver had "
    "left. Runs that end at the time limit differ from machine to machine."
)
CLOSE = 0.02  # m
GAPS = (0.01, 0.02, 0.05, 0.1, 0.2, 0.4, 0.8)
SIZES = {"0.6 x 1.2 m": (0.6, 1.2), "0.6 x 0.6 m": (0.6, 0.6)}
SHAPES = {"pair": (2, 1), "row of three": (3, 1), "row of six": (6, 1), "block 2 x 2": (2, 2),
          "block 3 x 3": (3, 3)}  # fmt: skip


def faces() -> dict[str, Face]:
    """A build and two rows of the table."""
    table = load_table()
    return {
        "100 mm of 15 kPa s/m2": Build("trial", "layer", (Porous(0.1, 15_000),)),
        "mineral_wool_50_wall": table_face(table["mineral_wool_50_wall"].absorption),
        "membrane_plywood_6": table_face(table["membrane_plywood_6"].absorption),
    }


def joint_error(face: Face, size: tuple[float, float], across: int, up: int) -> float:
    """Booked absorption of a block, pair by pair, against its joint outline: worst band."""
    w, h = size
    places = [(i * w, j * h) for i in range(across) for j in range(up)]
    rect = np.array([[x, y, x + w, y + h] for x, y in places])
    zero = np.zeros(len(rect), dtype=np.int64)
    pairwise = edge_factors([face] * len(rect), zero, rect, zero).mean(axis=0)
    lab = laboratory_alpha(face) * w * h * len(rect)
    whole = bounded_area(group_area(face, [(x, y, w, h) for x, y in places]), lab, GAIN_LIMIT)
    exact = np.maximum(whole / lab, 1.0)
    worst = int(np.abs(pairwise / exact - 1.0).argmax())
    return float(pairwise[worst] / exact[worst] - 1.0)


def rows_of_error() -> list[str]:
    """Table lines: worst band of each block and face."""
    lines = []
    for name, face in faces().items():
        for label, size in SIZES.items():
            errors = [100 * joint_error(face, size, *shape) for shape in SHAPES.values()]
            lines.append(f"| {name} | {label} | " + " | ".join(f"{e:+.2f}" for e in errors) + " |")
    return lines


def row_error(face: Face, size: tuple[float, float]) -> float:
    """Booked absorption of four pieces CLOSE to each other over their group, in %: worst band."""
    w, h = size
    rects = [(i * (w + CLOSE), 0.0, w, h) for i in range(4)]
    lab = laboratory_alpha(face) * w * h * 4
    group = np.maximum(bounded_area(group_area(face, rects), lab, GAIN_LIMIT) / lab, 1.0)
    return float(100 * (piece_factor(face, w, h) / group - 1).max())


def rows_of_gap() -> list[str]:
    """Table lines: loss of two pieces side by side with a gap, over that of the joint."""
    lines = []
    for name, face in faces().items():
        for label, size in SIZES.items():
            joint = butt_loss(face, size, size)[1:7]
            shares = [
                gap_loss(face, size, size, (size[0] + gap, 0.0))[1:7].sum() / joint.sum()
                for gap in GAPS
            ]
            cells = [name, label, *(f"{x:.2f}" for x in shares), f"{row_error(face, size):+.1f}"]
            lines.append("| " + " | ".join(cells) + " |")
    return lines


def touching_pairs(decision: Decision) -> int:
    """Pairs of candidates that touch: how many product terms a program with joints would need."""
    pieces = [p for c in decision.candidates for p in c.pieces]
    owner = np.array([i for i, c in enumerate(decision.candidates) for _ in c.pieces])
    patches, piece = piece_patches(decision.project.room, pieces, together=owner)
    edged = np.flatnonzero([pieces[i].edge_face is not None for i in piece.tolist()])
    together = np.zeros(len(edged), dtype=np.int64)
    joints = find_joints(patches.surface[edged], patches.rect[edged], together)
    of = owner[piece[edged]]
    pairs = np.sort(np.stack([of[joints.first], of[joints.second]]), axis=0)
    return len(np.unique(pairs[:, pairs[0] != pairs[1]], axis=1).T)


def with_budget(project: Project, factor: float) -> Project:
    """The project with a multiple of its budget."""
    amount = project.scenario.budget.amount * factor
    section = project.scenario.budget.model_copy(update={"amount": amount})
    return replace(project, scenario=replace(project.scenario, budget=section))


def row_of_room(name: str, factor: float) -> str:
    """Table line: objective as solved, with losses, after moving, and the time that took."""
    project = with_budget(load_project(SCENARIOS / f"{name}.toml"), factor)
    decision = build_decision(project)
    selection = select(decision.effects, GAP, SECONDS)
    chosen, solved = selection.chosen, decision.project
    given = (solved.room, solved.scene, decision.effects, decision.candidates)
    began = time.process_time()
    moved = spread_out(*given, chosen)
    seconds = time.process_time() - began
    before, after = (exact_objective(*given, c) for c in (chosen, moved))
    cells = (
        name, f"{factor:g}", len(decision.candidates), touching_pairs(decision),
        f"{selection.bound:.4f}", f"{selection.objective:.4f}", f"{before:.4f}", f"{after:.4f}",
        len(np.setdiff1d(moved, chosen)), f"{seconds:.2f}",
    )  # fmt: skip
    return "| " + " | ".join(str(cell) for cell in cells) + " |"


def main() -> None:
    """Write the tables."""
    text = [
        "# Free edges and joints",
        "",
        "Written by edge_effect.py. Error in % of the booked absorption (gain bounded at "
        f"{GAIN_LIMIT:.0%}) when joints are added up pair by pair, against the joint outline as "
        f"one patch; worst of {len(BANDS)} octaves.",
        "",
        "| face | piece | " + " | ".join(SHAPES) + " |",
        "|---|---|" + "---|" * len(SHAPES),
        *rows_of_error(),
        "",
        "Share of the loss of a joint that two pieces side by side still have with a gap between "
        "them, sum of 125 Hz to 4 kHz; it follows 1 / (1 + gap / 0.15 m). What is booked takes "
        "pieces with a gap as apart; the last column says how much too high, in %, a row of four "
        f"with gaps of {CLOSE:g} m is booked for that in the worst octave.",
        "",
        "| face | piece | " + " | ".join(f"{gap:g} m" for gap in GAPS) + " | row of four |",
        "|---|---|---|" + "---|" * len(GAPS),
        *rows_of_gap(),
        "",
        f"Plans to a gap of {GAP:.0%}, solved without joints in the program: "
        "the objective without and with the losses of joints, and after butted pieces were moved.",
        "",
        "| room | budget | candidates | touching pairs | bound | without losses | with losses "
        "| after moving | moved | CPU s |",
        "|---|---|---|---|---|---|---|---|---|---|",
        *(row_of_room(name, factor) for name in ROOMS for factor in (1.0, 2.0, 4.0)),
        "",
        CONCLUSION,
        "",
    ]
    Path(__file__).with_suffix(".md").write_text("\n".join(text), encoding="utf-8")


if __name__ == "__main__":
    main()
