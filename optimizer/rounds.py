"""Planning in rounds: solve, judge the plan with fuller models, correct, solve again.

The first corrections come from a quick guess at a plan. Each round solves with every criterion
scaled by how the fuller models judged the last plan. It ends when a plan's figures are what its
round expected, when a plan comes back, or after a few rounds; the plan that is judged best is
kept, so correcting never makes it worse.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from optimizer.acoustics.assessment import Judge
from optimizer.acoustics.judged import Judged, judge_scene
from optimizer.acoustics.low_decay_criteria import MODEL as LOW_MODEL
from optimizer.placement.candidates import Candidate
from optimizer.placement.effects import Effects
from optimizer.placement.greedy import greedy_selection
from optimizer.placement.pieces import Piece, piece_patches
from optimizer.placement.plan import Ints, Report, Selection, objective, prune, select
from optimizer.placement.plan import judged as against_bound
from optimizer.placement.program import TIE
from optimizer.placement.spacing import spread_out
from optimizer.placement.sureness import plan_sample, tightened
from optimizer.project import Project
from optimizer.room.geometry import Floats

AGREE = 0.05  # relative difference of expected and judged decay at which the rounds end
MOST = 4
ROUGH = 0.06  # gap of the first round, whose corrections are provisional anyway
HOLD = 0.5  # share, in the exponent, of a new correction of a mode that is taken over
LEAST = 0.1  # share of the time limit that must be left for another round


@dataclass(frozen=True)
class Round:
    """One round: the selection, its scene judged, and how far off the expected decay was."""

    selection: Selection
    judged: Judged
    factors: Floats  # (K,) corrections it was solved with
    off: float  # largest relative difference in the decay rows that count
    value: float  # judged score, then money as in the objective
    limited: Effects  # the decision with the limits it was solved with

    @property
    def agrees(self) -> bool:
        """Whether the corrected surrogate and the fuller models agree."""
        return self.off <= AGREE


@dataclass(frozen=True)
class Rounds:
    """All rounds of a plan, and the room as it is, judged."""

    before: Judged
    rounds: tuple[Round, ...]

    @property
    def best(self) -> Round:
        """The round whose plan is judged best; of equals the last, whose bound fits it best."""
        return min(reversed(self.rounds), key=lambda r: r.value)


Told = Callable[[str], None]


def plan_in_rounds(
    project: Project,
    candidates: tuple[Candidate, ...],
    effects: Effects,
    judges: Sequence[Judge],
    gap: float,
    time_limit: float,
    report: Report | None = None,
    tell: Told = lambda text: None,
    confidence: float | None = None,
) -> Rounds:
    """Rounds for a decision; without judges there is one, judged by the criteria alone.

    With a `confidence` (0.5 to 1) every limit is tightened by how far the quantile of the last
    plan's figure at that probability lies from the figure, so that each criterion is met with it.
    """
    tell("judging the room as it is")
    before = judge_scene(project.scene, effects.criteria, judges)
    made = _Planning(project, candidates, effects, judges, confidence)
    limits, last = made.limits(before.factors, before, None), None
    factors = before.factors
    if judges:
        tell("judging a first guess")
        last = made.guess(limits)
        guessed = made.judged(last)
        factors = guessed.factors
        limits = made.limits(factors, guessed, last)
    rounds: list[Round] = []
    wanted, left = (max(gap, ROUGH) if judges else gap), time_limit
    for number in range(MOST if judges else 1):
        tell(f"round {number + 1}: choosing pieces and places")
        found = made.round(factors, limits, wanted, left, report, last)
        came_back = any(np.array_equal(found.selection.chosen, r.selection.chosen) for r in rounds)
        rounds.append(found)
        last, left = found.selection.chosen, left - found.selection.seconds
        settled = found.agrees or came_back
        if (settled and found.selection.gap <= gap) or left < LEAST * time_limit:
            break
        wanted = gap
        factors = _corrected(found)
        limits = made.limits(factors, found.judged, last)
    return Rounds(before, tuple(rounds))


@dataclass(frozen=True)
class _Planning:
    """What stays the same from round to round."""

    project: Project
    candidates: tuple[Candidate, ...]
    effects: Effects
    judges: Sequence[Judge]
    confidence: float | None
    known: dict[tuple[int, ...], Judged] = field(default_factory=dict)

    def limits(self, factors: Floats, judged: Judged, chosen: Ints | None) -> Effects:
        """The decision with these corrections, and tightened for the confidence asked for."""
        low, high = self.effects.criteria.limits
        if self.confidence is not None:
            pieces = [] if chosen is None else self.pieces(chosen)
            everything = [*self.project.hung, *pieces]
            sampled = plan_sample(self.project.room, judged, everything, self.project.criteria_of)
            low, high = tightened(low, high, judged, sampled, self.confidence)
        criteria = self.effects.criteria.with_limits(low / factors, high / factors)
        return replace(self.effects, criteria=criteria)

    def guess(self, limited: Effects) -> Ints:
        """A selection found in a moment, good enough to learn corrections from."""
        return prune(limited, greedy_selection(limited, lambda chosen: objective(limited, chosen)))

    def pieces(self, chosen: Ints) -> list[Piece]:
        """The pieces of a selection."""
        return [piece for c in chosen for piece in self.candidates[c].pieces]

    def judged(self, chosen: Ints) -> Judged:
        """The room with a selection, judged; the last ones are remembered."""
        known = tuple(chosen.tolist())
        if known not in self.known:
            self.known[known] = self._judged(chosen)
        return self.known[known]

    def _judged(self, chosen: Ints) -> Judged:
        patches = piece_patches(self.project.room, self.pieces(chosen))[0]
        scene = self.project.scene.with_pieces(patches)
        return judge_scene(scene, self.effects.criteria, self.judges)

    def spread(self, limited: Effects, selection: Selection, gap: float) -> Selection:
        """The selection with pieces that touch moved apart where that helps."""
        room, scene = self.project.room, self.project.scene
        chosen = spread_out(room, scene, limited, self.candidates, selection.chosen)
        return against_bound(limited, chosen, selection.bound, gap, selection.seconds)

    def round(
        self,
        factors: Floats,
        limited: Effects,
        gap: float,
        seconds: float,
        report: Report | None,
        start: Ints | None,
    ) -> Round:
        """Solve with these corrections and limits, and judge what comes out."""
        selection = self.spread(limited, select(limited, gap, seconds, report, start), gap)
        judged = self.judged(selection.chosen)
        score = judged.score
        if self.confidence is not None:
            sure = self.limits(judged.factors, judged, selection.chosen).criteria
            score = sure.score(judged.quantities)
        cost = self.effects.cost_cents(selection.chosen) / max(self.effects.budget_cents, 1)
        off = _disagreement(judged, factors)
        return Round(selection, judged, factors, off, score + TIE * cost, limited)


def _disagreement(judged: Judged, factors: Floats) -> float:
    """Largest relative difference between expected and judged decay above the Schroeder frequency;
    below it a band holds a few modes and says little."""
    off = [
        abs(factors[k] / judged.factors[k] - 1.0)
        for k, row in enumerate(judged.criteria.rows)
        if row.group == "decay" and row.weight > 0 and row.model != LOW_MODEL
    ]
    return max(off, default=0.0)


def _corrected(found: Round) -> Floats:
    """Corrections for the next round. Those of modes move half the way, because two modes that
    join and part again from plan to plan would otherwise throw the rounds about."""
    new = found.judged.factors
    single = np.array(
        [row.group == "mode" or row.model == LOW_MODEL for row in found.judged.criteria.rows]
    )
    held = found.factors ** (1 - HOLD) * new**HOLD
    return np.where(single, held, new)


def rounds_in_words(rounds: Rounds) -> str:
    """How the rounds went, in one sentence."""
    count = len(rounds.rounds)
    if count == 1 and not math.isfinite(rounds.best.off):
        return "judged by the quick models alone"
    best = next(i for i, r in enumerate(rounds.rounds, 1) if r is rounds.best)
    off = 100 * rounds.best.off
    return (
        f"{count} round{'s' if count > 1 else ''} of choosing and judging; round {best} kept, its "
        f"decay within {off:.0f} % of what it was chosen for"
    )
