"""Is there a better plan beside the one told? Plans near it that no search looked at, judged.

Run: OPENBLAS_NUM_THREADS=1 python tests/evidence/regret.py [ROOM.toml ...]
Writes the .md beside it; about two minutes of work for each demo room, less for the drawn ones.

The plan of each room is judged anew with another seed of the rays, and so are TRIALS exchanges
drawn at random: one or two candidates of the plan taken out, others put in their place, at random
among all that fit the room, the budget, the order and the plan's places slid by up to 0.3 m, and
that the quick models hold to be worse by no more than a tenth. The search proposes the best by its
quick models, never at random. "Better by" is what the best of them gains over the plan's score.

The same exchanges say how well the quick models rank plans near one: rank correlation (Spearman) of
the score they foretell with the score judged, by effects of first order and by those taken at the
plan (optimizer.placement.around), both with the corrections of the plan; and so do trials by
coarser models (optimizer.acoustics.trial), with the root mean square of what a trial is off by.

Drawn rooms are those of correction_gain.py (seeds not used there).
"""

import sys
from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from itertools import islice
from pathlib import Path

import numpy as np
from correction_gain import random_decision
from scipy.stats import spearmanr

from optimizer.acoustics.assessment import Judge
from optimizer.acoustics.judge_trace import TraceJudge
from optimizer.acoustics.judged import Judged, judge_scene
from optimizer.acoustics.trial import Trial, coarser, tried
from optimizer.placement.around import Around, around, at_the_plan
from optimizer.placement.effects import Effects
from optimizer.placement.effort import Effort
from optimizer.placement.nearby import Neighbours
from optimizer.placement.order import Ints
from optimizer.placement.pieces import treated
from optimizer.placement.proof import objective
from optimizer.planning import DEFAULT_GAP, Decision, Planned, build_decision, planned
from optimizer.project import Project, load_project
from optimizer.results.tables import markdown_table
from optimizer.together import one_thread_each

HERE = Path(__file__)
SCENARIOS = HERE.parents[2] / "scenarios"
DEMO = ("small_bedroom", "spare_room", "garage", "living_room")
DRAWN = (101, 102, 103, 104, 105)  # seeds
TRIALS = 60
WORSE = 0.1  # of the objective, by which an exchange may look worse to be judged
SEED = 4711  # of the rays
HEADER = ("room", "plan, as told", "plan, other rays", "exchanges judged", "best of them",
          "better by, %", "median, % worse", "rank, first order", "rank, at the plan",
          "rank, tried", "tried, % off")  # fmt: skip


@dataclass(frozen=True)
class Found:
    """A room's plan as told and judged with other rays, the scores of exchanges so judged, and the
    rank correlation with what the quick models foretell, of first order and at the plan, and with
    trials; and how much in per cent these are off."""

    room: str
    told: float
    again: float
    others: tuple[float, ...]
    ranks: tuple[float, ...]
    off: float


def judges_of(project: Project) -> tuple[Judge, ...]:
    """The project's judges, with other rays."""
    return tuple(
        replace(j, seed=SEED) if isinstance(j, TraceJudge) else j for j in project.judges()
    )


def around_plan(made: Planned) -> Around:
    """All candidates of the decision, and the plan's slid."""
    decision, best = made.decision, made.rounds.best
    offer, effects = decision.project.offer, decision.effects
    corrected = best.judged.corrected
    plan = [decision.candidates[c] for c in best.selection.chosen.tolist()]
    here = around(offer, decision.candidates, effects, plan, corrected, useful=effects.count)
    return replace(here, effects=replace(here.effects, criteria=corrected))


def exchanges(effects: Effects, chosen: Ints, rng: np.random.Generator) -> Iterator[Ints]:
    """Selections that differ by one or two candidates, drawn at random, each once."""
    moves, limit = Neighbours(effects), (1.0 + WORSE) * objective(effects, chosen)
    seen = {tuple(np.sort(chosen).tolist())}
    for _ in range(100 * TRIALS):
        held = chosen
        for _ in range(int(rng.integers(1, 3))):
            rest = np.setdiff1d(held, rng.choice(held, 1)) if len(held) else held
            value = moves.additions(rest)
            fits = np.flatnonzero(np.isfinite(value))
            held = np.append(rest, rng.choice(fits)) if len(fits) else held
        held = np.sort(held)
        if tuple(held.tolist()) in seen or objective(effects, held) > limit:
            continue
        seen.add(tuple(held.tolist()))
        yield held


def looked_at(room: str, decision: Decision, project: Project) -> Found:
    """A room planned, and random exchanges from its plan judged."""
    made = planned(
        project, decision, DEFAULT_GAP, Effort.of(3600.0), None, "full", lambda _: None, None, ()
    )
    solved, best = decision.project, made.rounds.best
    judges, here = judges_of(solved), around_plan(made)
    models = coarser(judges)

    def judged(chosen: Ints) -> tuple[Judged, Trial]:
        pieces = [p for c in chosen.tolist() for p in here.candidates[c].pieces]
        scene = treated(solved.room, solved.scene, pieces)
        return judge_scene(scene, solved.criteria, judges), tried(scene, best.judged, models)

    rng = np.random.default_rng(SEED)
    some = list(islice(exchanges(here.effects, here.chosen, rng), TRIALS))
    with ThreadPoolExecutor(2) as pool:
        plan, *found = pool.map(judged, [here.chosen, *some])
    again, others = plan[0], [one.score for one, _ in found]
    told = [again.corrected.score(trial.told_from(again, plan[1])) for _, trial in found]
    off = 100.0 * float(np.sqrt(np.mean((np.array(told) - others) ** 2))) / again.score
    first, near = here.effects, here.effects
    if best.judged.said.modes is not None:
        near = at_the_plan(solved.offer, here, best.judged.said.modes)
    foretold = [[effects.score(chosen) for chosen in some] for effects in (first, near)]
    ranks = tuple(float(spearmanr(one, others).statistic) for one in (*foretold, told))
    return Found(room, best.judged.score, again.score, tuple(others), ranks, off)


def decisions(given: Sequence[str]) -> Iterator[tuple[str, Decision, Project]]:
    """Rooms by name, their decisions and projects."""
    for path in [Path(p) for p in given] or [SCENARIOS / f"{name}.toml" for name in DEMO]:
        project = load_project(path)
        yield path.stem.replace("_", " "), build_decision(project), project
    for seed in () if given else DRAWN:
        decision = random_decision(seed, 14.0, 30.0)
        yield f"drawn {seed}", decision, decision.project


def row(found: Found) -> list[str]:
    best, median = min(found.others), float(np.median(found.others))
    return [
        found.room, f"{found.told:.4f}", f"{found.again:.4f}", str(len(found.others)),
        f"{best:.4f}", f"{100 * (1.0 - best / found.again):+.2f}",
        f"{100 * (median / found.again - 1.0):.1f}", *(f"{rank:.2f}" for rank in found.ranks),
        f"{found.off:.2f}",
    ]  # fmt: skip


def main(given: Sequence[str]) -> None:
    """Judge and write the table."""
    rows = []
    with one_thread_each():
        for name, decision, project in decisions(given):
            rows.append(row(looked_at(name, decision, project)))
            print(*rows[-1], flush=True)
    if not given:
        text = f"# {(__doc__ or '').splitlines()[0]}\n\n{markdown_table(HEADER, rows)}\n"
        HERE.with_suffix(".md").write_text(text)


if __name__ == "__main__":
    main(sys.argv[1:])
