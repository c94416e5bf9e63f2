"""Planning in rounds: solve, judge the plan with fuller models, correct, solve again.

The first round has no corrections and a rough gap. Each later one solves with every criterion
scaled by how the fuller models judged the last plan, and with absorption counted by the surface it
lies on (acoustics.surface_weights). It ends when a plan's figures are what its round expected, when
a plan comes back or is judged worse, or after a few rounds. The corrected criteria still differ
from the fuller models by more than near-best plans differ from each other; so a few that the
criteria hold to be about as good as the best are judged too. The plan that is judged best is kept:
correcting never makes it worse. It stands against the bound of the round that proves it best; when
that is not enough, of one more with its own corrections, and then of the first one solved finely.
"""

import math
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from functools import partial

import numpy as np

from optimizer.acoustics.assessment import Judge
from optimizer.acoustics.judged import Judged, judge_scene
from optimizer.placement.candidates import Candidate
from optimizer.placement.effects import Effects
from optimizer.placement.effort import Effort
from optimizer.placement.order import Ints
from optimizer.placement.proof import Report
from optimizer.project import Project
from optimizer.round_maker import RoundMaker
from optimizer.round_record import Round, Rounds

MOST = 4  # rounds of correcting

Told = Callable[[str], None]


def plan_in_rounds(
    project: Project,
    candidates: tuple[Candidate, ...],
    effects: Effects,
    judges: Sequence[Judge],
    gap: float,
    limit: float | Effort = math.inf,
    report: Report | None = None,
    tell: Told = lambda text: None,
    confidence: float | None = None,
    earlier: Sequence[Ints] = (),
    informers: Sequence[Judge] = (),
    bare: Callable[[], Judged] | None = None,
) -> Rounds:
    """Rounds for a decision; without judges there is one, judged by the criteria alone.

    Plans that there were before (`earlier`, candidate indices) are begun from and judged too. The
    room as it is also gets the findings of the `informers`; `bare` gives it judged, when that is
    under way. Each solve ends at the gap or the effort; a time limit in s that binds ends the
    rounds too.

    With a `confidence` (0.5 to 1) every limit is tightened by how far the quantile of the last
    plan's figure at that probability lies from the figure, so that each criterion is met with it.
    """
    effort = Effort.of(limit)
    made = RoundMaker(project, candidates, effects, judges, confidence, gap, effort, report)
    tell("judging the room as it is, and round 1: choosing pieces and places")
    with ThreadPoolExecutor(1) as pool:  # beside the solver, which keeps one processor busy
        bare = bare or pool.submit(judge_scene, project.scene, effects.criteria, judges).result
        first = made.first(earlier, bare)
        before = bare()
        informed = pool.submit(before.with_findings, informers)
        found = _further_rounds(made, before, first, tell, earlier)
        return replace(found, before=informed.result())


def _further_rounds(
    made: RoundMaker,
    before: Judged,
    first: Round,
    tell: Told,
    earlier: Sequence[Ints],
) -> Rounds:
    """All rounds, begun with the first, and what is judged besides."""
    judges, guard = made.judges, made.effort.guard
    rounds, near = [first], list[Round]()
    while judges and not _ended(rounds) and not guard.over():
        tell(f"round {len(rounds) + 1}: choosing pieces and places")
        another, beside = made.next(rounds)
        rounds.append(another)
        near += beside
    best = Rounds(before, tuple(rounds), tuple(near)).best
    if judges and (best is rounds[0] or best is rounds[-1]) and not guard.over():
        tell("judging plans about as good as the best")
        near += made.near(best)
    old = tuple(made.beside(best, chosen, best.factors, best.limited) for chosen in earlier)
    kept = Rounds(before, tuple(rounds), tuple(near), old).best
    final = made.closest(kept, rounds) if judges else kept
    for proof_of in (made.closing, partial(made.refined, first=first)):
        if not judges or final.selection.status == "optimal" or guard.over():
            break
        tell("proving how good the plan kept is")
        rounds.append(proof_of(kept))
        kept = Rounds(before, tuple(rounds), tuple(near), old).best
        final = made.closest(kept, rounds)
    old = tuple(final if r is kept else r for r in old)
    return Rounds(before, tuple(rounds), tuple(near), old, (final,))


def _ended(rounds: Sequence[Round]) -> bool:
    """Whether another round would bring nothing: it agrees, came back, got worse, or enough."""
    last, others = rounds[-1], rounds[:-1]
    came_back = any(np.array_equal(last.selection.chosen, r.selection.chosen) for r in others)
    worse = last.value > min((r.value for r in others), default=math.inf)
    return last.agrees or came_back or worse or len(rounds) == MOST
