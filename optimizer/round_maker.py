"""One round after another: a decision corrected by what fuller models said, solved and judged."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np

from optimizer.acoustics.assessment import Judge
from optimizer.acoustics.criteria import Criteria
from optimizer.acoustics.judge_trace import TraceJudge
from optimizer.acoustics.judged import Judged, judge_scene
from optimizer.acoustics.low_decay_criteria import MODEL as LOW_MODEL
from optimizer.acoustics.scene import Scene
from optimizer.acoustics.surface_weights import scattering_worth, surface_weights
from optimizer.bands import N_BANDS
from optimizer.placement.candidates import Candidate, shares_of
from optimizer.placement.counted import counted, scattering_areas
from optimizer.placement.effects import Effects
from optimizer.placement.effort import Effort
from optimizer.placement.order import Ints
from optimizer.placement.pieces import Piece, treated
from optimizer.placement.plan import Selection, propose, select
from optimizer.placement.plan import judged as against_bound
from optimizer.placement.program import TIE
from optimizer.placement.proof import Report, objective
from optimizer.placement.spacing import spread_out
from optimizer.placement.sureness import plan_sample, tightened
from optimizer.project import Project
from optimizer.room.geometry import Floats
from optimizer.round_record import Round

ROUGH = 0.03  # gap of the first round, whose plan only has to be good: it is not corrected yet
FINE = 0.7  # of the gap, to which the others are: a plan found beside theirs may be the one kept
LEAST_SCATTERING = 0.1  # m2 in some band, from which what a candidate scatters is looked at


@dataclass(frozen=True)
class RoundMaker:
    """Makes the rounds of a decision; what stays the same from one to the next."""

    project: Project
    candidates: tuple[Candidate, ...]
    effects: Effects
    judges: Sequence[Judge]
    confidence: float | None
    gap: float
    effort: Effort
    report: Report | None
    known: dict[frozenset[Candidate], Judged] = field(default_factory=dict)
    weighed: dict[frozenset[Candidate], tuple[Floats, Floats]] = field(default_factory=dict)

    def criteria(self, factors: Floats, judged: Judged, chosen: Ints | None) -> Criteria:
        """The criteria with these corrections, and tightened for the confidence asked for."""
        low, high = self.effects.criteria.limits
        if self.confidence is not None:
            pieces = [] if chosen is None else self.pieces(chosen)
            project = self.project
            sampled = plan_sample(project.room, judged, project.hung, pieces, project.criteria_of)
            low, high = tightened(low, high, judged, sampled, self.confidence)
        return self.effects.criteria.with_limits(low / factors, high / factors)

    def limits(self, factors: Floats, judged: Judged, chosen: Ints | None) -> Effects:
        """The decision with these corrections, absorption counted by the surface it lies on."""
        effects = replace(self.effects, criteria=self.criteria(factors, judged, chosen))
        tracer = self._tracer
        if chosen is None or tracer is None:
            return effects
        weights, worth = self._weighed(chosen, judged.scene, tracer)
        return counted(effects, self.shares, weights, chosen, worth * self.scattering)

    @cached_property
    def shares(self) -> Floats:
        """Share (C, S) of each surface in what a candidate covers."""
        return shares_of(self.candidates, [s.name for s in self.project.room.surfaces])

    @cached_property
    def scattering(self) -> Floats:
        """Area in m2 (C, 8) that a candidate scatters from more than what it covers."""
        return scattering_areas(self.candidates, self.project.room)

    def weights(self, last: Round) -> tuple[Floats, Floats]:
        """How much absorption counts on each surface (S, 8) with a round's plan, and what
        scattering is worth (8,)."""
        if self._tracer is None:
            return np.ones((self.shares.shape[1], N_BANDS)), np.zeros(N_BANDS)
        return self._weighed(last.selection.chosen, last.judged.scene, self._tracer)

    @property
    def _tracer(self) -> TraceJudge | None:
        return next((judge for judge in self.judges if isinstance(judge, TraceJudge)), None)

    def _weighed(self, chosen: Ints, scene: Scene, tracer: TraceJudge) -> tuple[Floats, Floats]:
        """Weights with a selection, remembered."""
        known = self.plan(chosen)
        if known not in self.weighed:
            rough = self.scattering.max(axis=1) > LEAST_SCATTERING
            on = np.any(self.shares[rough] > 0.0, axis=0)
            given = (tracer.rays, tracer.seed)
            worth = scattering_worth(scene, on, *given) if on.any() else np.zeros(N_BANDS)
            self.weighed[known] = surface_weights(scene, *given), worth
        return self.weighed[known]

    def first(self, earlier: Sequence[Ints], bare: Callable[[], Judged]) -> Round:
        """The first round, uncorrected; `bare` gives the room as it is judged, which is awaited
        before anything else is."""
        factors, limits = np.ones(len(self.effects.criteria.rows)), self.effects
        if self.confidence is not None:
            limits = self.limits(factors, bare(), None)
        rough = max(self.gap, ROUGH) if self.judges else self.gap
        selection = self.solved(limits, self.start(earlier), rough)
        bare()
        return self.as_round(selection, factors, limits)

    def next(self, last: Round) -> Round:
        """Another round, corrected by how the last was judged."""
        factors = last.judged.factors
        limits = self.limits(factors, last.judged, last.selection.chosen)
        selection = self.solved(limits, last.selection.chosen, FINE * self.gap)
        return self.as_round(selection, factors, limits)

    def start(self, earlier: Sequence[Ints]) -> Ints | None:
        """The best by the criteria of the plans that there were, to begin from."""
        return min(earlier, key=lambda chosen: objective(self.effects, chosen), default=None)

    def beside(self, other: Round, chosen: Ints) -> Round:
        """Another selection judged, against the bound of a round."""
        found, limited = other.selection, other.limited
        selection = against_bound(limited, chosen, found.bound, self.gap, found.seconds)
        return self.as_round(selection, other.factors, limited)

    def among(self, candidates: tuple[Candidate, ...], effects: Effects) -> "RoundMaker":
        """The same among other candidates, silent; what was judged stays known."""
        return replace(self, candidates=candidates, effects=effects, report=None)

    def plan(self, chosen: Ints) -> frozenset[Candidate]:
        """What a selection hangs, whichever candidates it is one of."""
        return frozenset(self.candidates[c] for c in chosen.tolist())

    def pieces(self, chosen: Ints) -> list[Piece]:
        """The pieces of a selection."""
        return [piece for c in chosen for piece in self.candidates[c].pieces]

    def judged(self, chosen: Ints) -> Judged:
        """The room with a selection, judged; the last ones are remembered."""
        known = self.plan(chosen)
        if known not in self.known:
            self.known[known] = self._judged(chosen)
        return self.known[known]

    def _judged(self, chosen: Ints) -> Judged:
        return judge_scene(self.scene(chosen), self.effects.criteria, self.judges)

    def scene(self, chosen: Ints) -> Scene:
        """The room with a selection."""
        return treated(self.project.room, self.project.scene, self.pieces(chosen))

    def spread(self, limited: Effects, selection: Selection) -> Selection:
        """The selection with pieces that touch moved apart where that helps."""
        room, scene = self.project.room, self.project.scene
        chosen = spread_out(room, scene, limited, self.candidates, selection.chosen)
        return against_bound(limited, chosen, selection.bound, self.gap, selection.seconds)

    def solved(self, limited: Effects, start: Ints | None, gap: float) -> Selection:
        """The selection for these limits, to a gap."""
        return self.spread(limited, select(limited, gap, self.effort, self.report, start))

    def proposed(self, limited: Effects, start: Ints, gap: float) -> Selection:
        """A good selection for these limits, of which nothing is proven."""
        chosen = propose(limited, gap, self.effort, start)
        return self.spread(limited, against_bound(limited, chosen, 0.0, self.gap, 0.0))

    def as_round(self, selection: Selection, factors: Floats, limited: Effects) -> Round:
        """A selection judged, and how far its decay is from what the decision expected."""
        judged = self.judged(selection.chosen)
        score = judged.score
        if self.confidence is not None:
            sure = self.criteria(judged.factors, judged, selection.chosen)
            score = sure.score(judged.quantities)
        cost = self.effects.cost_cents(selection.chosen) / max(self.effects.budget_cents, 1)
        quantities = limited.quantities(selection.chosen)
        off = _disagreement(judged, factors, quantities)
        return Round(selection, judged, factors, off, score + TIE * cost, limited)


def _disagreement(judged: Judged, factors: Floats, expected: Floats) -> float:
    """Largest relative difference between expected and judged decay above the Schroeder frequency;
    below it a band holds a few modes and says little. `expected` (K,) quantities, uncorrected."""
    values = judged.criteria.values(expected) * factors
    off = [
        abs(values[k] / judged.values[k] - 1.0)
        for k, row in enumerate(judged.criteria.rows)
        if row.group == "decay" and row.weight > 0 and row.model != LOW_MODEL
    ]
    return max(off, default=0.0)
