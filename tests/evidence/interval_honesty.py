"""Do the intervals of the score card hold what they say: four times in five?

Run: OPENBLAS_NUM_THREADS=1 python tests/evidence/interval_honesty.py [DRAWS PER ROOM]
Writes the .md beside it; about seven minutes for 80 draws in each of three rooms.

For a plan of each demo room the program states an interval for every row, from its own quick draws.
Then the room is drawn anew, as often as asked: true coefficients and scattering of each material,
true positions of loudspeakers and seats, all at once. Each such room is judged from scratch by the
tracer (20,000 rays, another seed), the coupled modes and all criteria of its own positions; rows
that neither tracer nor modes judge are drawn five times as often. Counted is how often the outcome
lies within the interval. What the models leave out is in neither.
"""

import sys
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from optimizer.acoustics.assessment import Judge
from optimizer.acoustics.judge_modes import ModesJudge
from optimizer.acoustics.judge_trace import TraceJudge
from optimizer.acoustics.judged import Judged, judge_scene
from optimizer.acoustics.low_decay_criteria import LowDecayFamily
from optimizer.acoustics.mode_criteria import ModeFamily, highest_mode
from optimizer.acoustics.scene import Scene
from optimizer.acoustics.uncertainty import POSITION_M, Kinds, Sampled, drawn, room_kinds
from optimizer.placement.pieces import Piece, in_order, piece_patches, treated
from optimizer.placement.plan import greedy
from optimizer.placement.sureness import plan_sample
from optimizer.planning import build_decision
from optimizer.project import Project, load_project

ROOT = Path(__file__).parents[2]
ROOMS = ("small_bedroom", "spare_room", "garage")
DRAWS = 80  # in each room
MORE = 5  # times as often are rows drawn that need no judge
SEED = 2026  # not the program's
Array = NDArray[np.float64]


@dataclass(frozen=True)
class Outcome:
    """Rows of one room: group names (K,), intervals (K,), values (D, K) of the drawn rooms (nan
    where a row does not exist in a draw), and what was stated of the chance to meet the limits."""

    room: str
    groups: tuple[str, ...]
    keys: tuple[str, ...]
    low: Array
    high: Array
    values: Array
    chance: Array
    met: Array  # (D, K), nan where open

    @property
    def inside(self) -> Array:
        """1 inside, 0 outside, nan without a value (D, K)."""
        within = (self.values >= self.low - 1e-9) & (self.values <= self.high + 1e-9)
        return np.where(np.isnan(self.values), np.nan, within.astype(float))

    @property
    def moves(self) -> NDArray[np.bool_]:
        """Rows (K,) that chance moves at all."""
        return np.asarray(np.nanmax(self.values, axis=0) - np.nanmin(self.values, axis=0) > 1e-9)


def quick_plan(project: Project) -> list[Piece]:
    """A plan by benefit for money."""
    decision = build_decision(project)
    assert not decision.flipped
    chosen = greedy(decision.effects)
    return [piece for c in chosen for piece in decision.candidates[c].pieces]


def moved(scene: Scene, rng: np.random.Generator) -> Scene:
    """The scene with loudspeakers and seats up to POSITION_M off each way."""
    speakers, seats = (
        at + rng.uniform(-POSITION_M, POSITION_M, at.shape) for at in (scene.speakers, scene.seats)
    )
    return replace(scene, speakers=speakers, seats=seats)


def judges_of(project: Project, scene: Scene, seed: int) -> Sequence[Judge]:
    """The judges of "fast" for the positions of a scene."""
    dimensions = project.room.dimensions
    assert dimensions is not None
    families = project.criteria_of(scene).families
    modal = next(f for f in families if isinstance(f, ModeFamily))
    low = next((f for f in families if isinstance(f, LowDecayFamily)), None)
    above = highest_mode(project.room.volume) if low else 0.0
    return TraceJudge(above, seed=seed), ModesJudge(dimensions, modal, low)


def true_values(
    project: Project, judged: Judged, kinds: Kinds, keys: Sequence[str], draws: int
) -> tuple[Array, Array]:
    """Values and whether limits are met (D, K) of rooms drawn at random, judged from scratch.

    The first `draws` by all judges; then only rows that no judge answers, nan in the others.
    """
    rng = np.random.default_rng([SEED, len(keys)])
    values, met = (np.full((MORE * draws, len(keys)), np.nan) for _ in range(2))
    place = {key: k for k, key in enumerate(keys)}
    for d in range(MORE * draws):
        truth = moved(drawn(judged.scene, kinds, rng), rng)
        judges = judges_of(project, truth, seed=1000 + d) if d < draws else ()
        found = judge_scene(truth, project.criteria_of(truth), judges)
        told = found.told
        for row, value, ok in zip(found.criteria.told_rows, told.values, told.met, strict=True):
            if row.key in place and (d < draws or row.key not in judged.said.values):
                values[d, place[row.key]] = value
                met[d, place[row.key]] = ok
    return values, met


def outcome(name: str, draws: int) -> Outcome:
    """A demo room: intervals as the program states them, and what drawn rooms turn out to be."""
    project = load_project(ROOT / "scenarios" / f"{name}.toml")
    pieces = in_order(quick_plan(project))
    _, owner = piece_patches(project.room, pieces)
    scene = treated(project.room, project.scene, pieces)
    judged = judge_scene(scene, project.criteria, project.judges("fast"))
    sampled: Sampled = plan_sample(project.room, judged, (), pieces, project.criteria_of)
    low, high = sampled.told_interval()
    kinds = room_kinds(project.room, [pieces[index].material for index in owner])
    rows = judged.criteria.told_rows
    keys = tuple(row.key for row in rows)
    values, met = true_values(project, judged, kinds, keys, draws)
    print(name, "done", flush=True)
    groups = tuple(row.group for row in rows)
    return Outcome(name, groups, keys, low, high, values, sampled.told_probability(), met)


def share(parts: Sequence[Array]) -> str:
    """Mean of arrays with nan, in %."""
    return f"{100 * np.nanmean(np.concatenate([p.ravel() for p in parts])):.0f}"


def coverage_rows(outcomes: Sequence[Outcome]) -> list[list[str]]:
    """Per group: rows, coverage per room and of all."""
    groups = list(dict.fromkeys(g for o in outcomes for g in o.groups))
    rows = []
    for group in [*groups, "all"]:
        parts = []
        for o in outcomes:
            mine = np.array([group in (g, "all") for g in o.groups]) & o.moves
            parts.append(o.inside[:, mine])
        count = sum(p.shape[1] for p in parts)
        if count:
            each = [share([p]) if p.size else "-" for p in parts]
            rows.append([group, str(count), *each, share(parts)])
    return rows


def chance_rows(outcomes: Sequence[Outcome]) -> list[list[str]]:
    """Stated chance of meeting a limit against how often it was met, in classes of the former."""
    stated, found = (
        np.concatenate(x)
        for x in (
            [o.chance for o in outcomes],
            [np.nanmean(np.where(np.isnan(o.met), np.nan, o.met), axis=0) for o in outcomes],
        )
    )
    edges = [0.0, 0.01, 0.2, 0.4, 0.6, 0.8, 0.99, 1.01]
    rows = []
    for low, high in zip(edges[:-1], edges[1:], strict=True):
        mine = (stated >= low) & (stated < high)
        if mine.any():
            rows.append(
                [f"{100 * low:.0f} to {min(100 * high, 100):.0f} %", str(int(mine.sum())),
                 f"{100 * stated[mine].mean():.0f}", f"{100 * found[mine].mean():.0f}"]
            )  # fmt: skip
    return rows


def table(header: list[str], rows: list[list[str]]) -> str:
    """A markdown table."""
    lines = [header, ["---"] * len(header), *rows]
    return "\n".join("| " + " | ".join(line) + " |" for line in lines)


def main() -> None:
    draws = int(sys.argv[1]) if len(sys.argv) > 1 else DRAWS
    outcomes = [outcome(name, draws) for name in ROOMS]
    what = " ".join((__doc__ or "").split("\n\n")[2].split())
    text = [
        "# Do the intervals hold what they say?",
        "",
        f"Written by interval_honesty.py: {draws} drawn rooms for a plan of each of "
        f"{len(ROOMS)} invented demo rooms.",
        "",
        what,
        "",
        "## Share of the outcomes within the interval that is to hold 80 %, in %",
        "",
        "Rows that no draw moves are left out. The rows of a group move together, so the figure "
        "of one group in one room is uncertain by about 5 points.",
        "",
        table(["group", "rows", *ROOMS, "all rooms"], coverage_rows(outcomes)),
        "",
        "## Stated chance of meeting a limit, and how often it was met, in %",
        "",
        table(["stated", "rows", "mean stated", "met"], chance_rows(outcomes)),
        "",
    ]
    Path(__file__).with_suffix(".md").write_text("\n".join(text), encoding="utf-8")


if __name__ == "__main__":
    main()
