"""Planning in rounds: solve, judge the plan with fuller models, correct, solve again.

The first round has no corrections and a rough gap. Where its plan's figures are not what it
expected, a second solves with every criterion scaled by how the fuller models judged the first
plan, and with absorption counted by the surface it lies on (acoustics.surface_weights). The
corrected criteria still differ from the fuller models by more than near-best plans differ from each
other; so the models themselves search near the plan that they judge best
(optimizer.judged_search), which is never made worse.
"""

import math
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace

from optimizer.acoustics.assessment import Judge
from optimizer.acoustics.judged import Judged, judge_scene
from optimizer.judged_search import search
from optimizer.placement.candidates import Candidate
from optimizer.placement.effects import Effects
from optimizer.placement.effort import Effort
from optimizer.placement.order import Ints
from optimizer.placement.proof import Report
from optimizer.project import Project
from optimizer.round_maker import RoundMaker
from optimizer.round_record import Round, Rounds, Told

MOST = 2  # rounds: one as it is, one corrected; the search goes on from the better


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
    refused: Callable[[Candidate], bool] = lambda _: False,
) -> Rounds:
    """Rounds for a decision; without judges there is one, judged by the criteria alone.

    Plans that there were before (`earlier`, candidate indices) are begun from and judged too. The
    room as it is also gets the findings of the `informers`; `bare` gives it judged, when that is
    under way. Each solve ends at the gap or the effort; a time limit in s that binds ends the
    rounds too. What is `refused` is offered at no other place either.

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
        found = _further_rounds(made, before, first, tell, earlier, refused)
        return replace(found, before=informed.result())


def _further_rounds(
    made: RoundMaker,
    before: Judged,
    first: Round,
    tell: Told,
    earlier: Sequence[Ints],
    refused: Callable[[Candidate], bool],
) -> Rounds:
    """All rounds, begun with the first, and what the search from the best of them finds."""
    judges, guard = made.judges, made.effort.guard
    rounds = [first]
    while judges and not _ended(rounds) and not guard.over():
        tell(f"round {len(rounds) + 1}: choosing pieces and places")
        rounds.append(made.next(rounds[-1]))
    old = tuple(made.beside(rounds[-1], chosen) for chosen in earlier)
    ended = Rounds(before, made.candidates, made.effects, tuple(rounds), earlier=old)
    if not judges:
        return ended
    offer = replace(made.project.offer, refused=refused)
    needed = {rule.name for rule in offer.order(made.candidates).rules}
    lifted = needed - {rule.name for rule in made.effects.order.rules}
    return search(made, replace(offer, lifted=frozenset(lifted)), ended, tell)


def _ended(rounds: Sequence[Round]) -> bool:
    """Whether another round would bring nothing: what was expected was judged, or enough."""
    return rounds[-1].agrees or len(rounds) == MOST
