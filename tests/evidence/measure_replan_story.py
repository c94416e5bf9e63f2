"""A room treated in two stages, with a measurement in between.

Plan a first stage, hang it, plan the rest; measure, calibrate on both measurements, plan the rest
again from that plan. The room is the invented demo room; what it is truly made of is drawn
(recovery.py).

Run: python tests/evidence/measure_replan_story.py  (some minutes; writes the .md beside it)
"""

import argparse
import runpy
import shutil
import tempfile
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from optimizer.acoustics.judged import judge_scene
from optimizer.bands import BANDS, band_label
from optimizer.calibration.model import State
from optimizer.calibration.unknowns import made_of, unknowns_of
from optimizer.commands import calibrate
from optimizer.earlier_plan import begin_from, make_plan_from, read_earlier
from optimizer.placement.pieces import treated
from optimizer.planning import make_plan
from optimizer.project import load_project
from optimizer.results.planfile import plan_as_json

ROOT = Path(__file__).parents[2]
DRAWN = runpy.run_path(str(ROOT / "tests" / "calibration" / "recovery.py"))
SEED = 11


@dataclass(frozen=True)
class Story:
    """What happened. Decays (8,) in s: measured bare and after stage 1, and for the latter what
    table and calibrated table predict. `scores`: weighted excess in the true room."""

    room: object  # as described
    calibrated: object
    first: object  # plan of stage 1
    second_plain: object  # plan of stage 2 without calibration
    second: object  # plan of stage 2 on the calibrated room, begun from that one
    stays: bool  # whether it is that one
    bare: np.ndarray
    after: np.ndarray
    expected: np.ndarray
    corrected: np.ndarray
    scores: dict[str, float]


def story(folder, room, budgets, judging="fast", seed=SEED):
    """The whole story in a folder that holds the room file and its price list."""
    project = load_project(room, budgets[0])
    truth = drawn_truth(project, seed)
    first = make_plan(project, 0.02, judging=judging)
    (folder / "plan.json").write_text(plan_as_json(first))
    hung = tuple(p.piece for p in first.pieces)
    states = {"before.csv": (), "after.csv": hung}
    found = {name: measured(project, truth, pieces, judging) for name, pieces in states.items()}
    for name, decay in found.items():
        (folder / name).write_text(as_csv(decay))
    out = folder / "room_calibrated.toml"
    command(room, "--measured", folder / "before.csv", "--measured", folder / "after.csv",
            "--with", folder / "plan.json", "--out", out, "--fast")  # fmt: skip
    calibrated = load_project(out, budgets[1])
    plain = hung_in(room, out, folder / "room_hung.toml", budgets[1])
    second_plain = make_plan(plain, 0.02, judging=judging)
    (folder / "rest.json").write_text(plan_as_json(second_plain))
    begun = begin_from(read_earlier(folder / "rest.json", calibrated), calibrated)
    renewed = make_plan_from(begun, 0.02, judging=judging)
    second = renewed.plan
    true = DRAWN["made_with"](plain, truth)
    scores = {"bare": score(DRAWN["made_with"](project, truth), (), judging)}
    for name, plan in (("stage 1", None), ("plain", second_plain), ("calibrated", second)):
        pieces = made_of([p.piece for p in plan.pieces], truth) if plan else ()
        scores[name] = score(true, pieces, judging)
    return Story(
        project, calibrated, first, second_plain, second, renewed.stays, found["before.csv"].t20,
        found["after.csv"].t20, predicted(project, hung, judging),
        predicted(calibrated, calibrated.hung, judging), scores,
    )  # fmt: skip


def drawn_truth(project, seed):
    """What the room and the products are truly made of, drawn from the table's uncertainty."""
    unknowns = unknowns_of([(project.room, DRAWN["one_of_each"](project))])
    z = np.random.default_rng(seed).standard_normal(unknowns.prior.shape)
    return unknowns.table(np.clip(z, -2, 2))


def measured(project, truth, pieces, judging):
    """The decay of the true room with pieces in it; by the quick models where nothing judges."""
    if judging == "none":
        nothing = DRAWN["Measured"]((), *np.full((3, 8), np.nan))
        t20 = State("true", project.room, pieces, nothing).decay(truth).t20
        return DRAWN["Measured"]((), t20, np.full(8, np.nan), DRAWN["decay_error"](t20, 12))
    return DRAWN["measure"](project, truth, pieces)


def predicted(project, pieces, judging):
    """Decay (8,) that a project expects with pieces in it."""
    nothing = DRAWN["Measured"]((), *np.full((3, 8), np.nan))
    judges = project.judges(judging)
    state = State("expected", project.room, tuple(pieces), nothing, judges)
    return state.decay({}).t20 * state.corrections({})


def as_csv(decay):
    """A measured decay as a decay file."""
    lines = ["band_hz,t20_s,t30_s,spread_s,positions"]
    for band, t20, t30, error in zip(BANDS, decay.t20, decay.t30, decay.error, strict=True):
        late = f"{t30:.4f}" if np.isfinite(t30) else ""
        lines.append(f"{band},{t20:.4f},{late},{error * np.sqrt(12):.4f},12")
    return "\n".join(lines) + "\n"


def command(*arguments):
    """`treatment calibrate` with these arguments."""
    parser = argparse.ArgumentParser()
    calibrate.add_parser(parser.add_subparsers())
    parsed = parser.parse_args(["calibrate", *map(str, arguments)])
    assert parsed.run(parsed) == 0


def hung_in(room, calibrated, path, budget):
    """The room as described, with what hangs in the calibrated one."""
    hung = calibrated.read_text().partition("\n[[hung]]")
    path.write_text(room.read_text() + "".join(hung[1:]))
    return load_project(path, budget)


def score(project, pieces, judging):
    """Weighted excess of a room with pieces beside what hangs in it."""
    scene = treated(project.room, project.scene, pieces)
    return judge_scene(scene, project.criteria, project.judges(judging)).score


def told(found, budgets):
    """The story as Markdown."""
    yield "# Measure, calibrate, plan the rest"
    yield ""
    yield "The invented spare room. What it is truly made of differs from the table by a draw from"
    yield "the table's own uncertainty; the measurements are simulated with that truth (tracer and"
    yield "coupled modes). The products are drawn too; of these a measurement tells only as far as"
    yield "they hang. Every figure below is made by the script beside this file."
    yield ""
    yield f"1. Stage 1 for {budgets[0]} EUR: {_bought(found.first)}."
    yield f"2. The rest planned for {budgets[1]} EUR more, with the {len(found.calibrated.hung)}"
    yield f"   pieces of stage 1 hung and fixed: {_bought(found.second_plain)}."
    yield "3. Measured before and after hanging stage 1; calibrated on both."
    became = "It stays" if found.stays else f"It gives way to: {_bought(found.second)}"
    yield "4. The rest planned again on the calibrated room from the plan at hand (`--earlier`)."
    yield f"   {became}."
    yield ""
    names = ("measured bare", "measured after stage 1", "expected by the table", "calibrated")
    yield "| decay s | " + " | ".join(band_label(band) for band in BANDS) + " |"
    yield "|---" * 9 + "|"
    for name, row in zip(
        names, (found.bare, found.after, found.expected, found.corrected), strict=True
    ):
        yield f"| {name} | " + " | ".join(f"{t:.2f}" for t in row) + " |"
    yield ""
    yield "| in the true room | weighted excess |"
    yield "|---|---|"
    yield f"| bare | {found.scores['bare']:.3f} |"
    yield f"| after stage 1 | {found.scores['stage 1']:.3f} |"
    yield f"| after stage 2 planned without the measurement | {found.scores['plain']:.3f} |"
    yield f"| after stage 2 planned again, calibrated | {found.scores['calibrated']:.3f} |"


def _bought(plan):
    parts = [f"{line.needed} x {line.product.name}" for line in plan.shopping]
    return ", ".join(parts) if parts else "nothing"


def main():
    budgets = (400, 900)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        for file in ("spare_room.toml", "spare_room_prices.csv"):
            shutil.copy(ROOT / "scenarios" / file, folder / file)
        found = story(folder, folder / "spare_room.toml", budgets)
    Path(__file__).with_suffix(".md").write_text("\n".join(told(found, budgets)) + "\n")


if __name__ == "__main__":
    main()
