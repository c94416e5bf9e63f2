"""The search by the judges: plans near the best one, proposed by the quick models, tried, judged.

Rounds end with a plan that the corrected quick models hold to be the best on a grid. Fuller models
tell plans near it apart better, and know nothing of a grid. So plans near it are proposed: the best
that changes a few of its places, several, or any, pieces slid by less than the grid among them, and
exchanges that look little worse, by effects taken at the plan and corrected
for what was tried so far (placement.around, placement.lessons). They are tried side by side by
coarser models, told from the plan judged last (acoustics.trial); the search goes to the best that
looks better, and where it stands is judged after a few steps and at the end. It ends when nothing
new is proposed or so many in a row were no better: a count of trials, never of seconds.
"""

from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field, replace

from optimizer.acoustics.judged import Judged
from optimizer.acoustics.trial import Trial, coarser, read_alike, tried
from optimizer.placement.around import (
    Around,
    Offer,
    about,
    around,
    at_the_plan,
    few_changes,
    placed,
    with_places,
)
from optimizer.placement.candidates import Candidate, kinds_of
from optimizer.placement.counted import counted
from optimizer.placement.effects import Effects
from optimizer.placement.lessons import Lesson, corrected_change
from optimizer.placement.nearby import Neighbours
from optimizer.placement.order import Ints
from optimizer.placement.plan import Selection
from optimizer.placement.plan import judged as against_bound
from optimizer.placement.proof import objective
from optimizer.room.geometry import Floats
from optimizer.round_maker import RoundMaker
from optimizer.round_record import Round, Rounds, Told

STEPS = (2, 5, 99)  # at most so many places of the plan are changed at once, in a proposal each
EXCHANGES = 2  # of one candidate, proposed besides
CLOSELY = 1.0  # of the gap, to which proposals are solved
CLOSE = 0.5  # of the gap, to which the plan kept is proven
FAILED, MOST = 18, 160  # plans in a row that are no better, and plans in all, after which it ends
FAR = 4  # steps after which a plan is judged, not only tried
NEAR = 0.1  # of the objective, by which an exchange may look worse
BETTER = 2e-3  # of the score, by which a plan must be better to take another's place
BELIEVED = 0.5  # exponent on how much absorption counts by the surface it lies on


Proposed = dict[frozenset[Candidate], Selection]  # by what they hang


@dataclass(frozen=True)
class Step:
    """A plan that the search went to: the selection, of whose candidates, and as it was tried."""

    maker: RoundMaker
    selection: Selection
    limited: Effects
    trial: Trial

    @property
    def hung(self) -> list[Candidate]:
        """What it hangs, in the order of the selection."""
        return [self.maker.candidates[c] for c in self.selection.chosen.tolist()]

    @property
    def plan(self) -> frozenset[Candidate]:
        """What it hangs."""
        return frozenset(self.hung)


@dataclass
class JudgedSearch:
    """A search from a round's plan: the last plan judged and as it was tried, where the search
    stands, and all that was judged and tried."""

    made: RoundMaker
    offer: Offer
    best: Round
    held: Step
    weights: tuple[Floats, Floats]
    tell: Told
    judged: dict[frozenset[Candidate], Judged]
    trials: dict[frozenset[Candidate], Trial]
    known: dict[frozenset[Candidate], Floats] = field(default_factory=dict)  # as told from `best`
    steps: list[Step] = field(default_factory=list)
    failed: int = 0

    @property
    def now(self) -> Step:
        """Where the search stands."""
        return self.steps[-1] if self.steps else self.held

    def run(self) -> None:
        """Until nothing new is proposed, too many failed, or the time is over."""
        while self._on():
            made, corrected = self.made, self.best.judged.corrected
            here = around(self.offer, made.candidates, made.effects, self.now.hung, corrected)
            maker = made.among(here.candidates, here.effects)
            moved = self._moved(here, self.at_the_plan(here, maker), maker)
            if not moved and not self.steps:
                break
            if not moved or len(self.steps) == FAR:
                self._judge()
        if self.steps:
            self._judge()

    def _on(self) -> bool:
        over = self.made.effort.guard.over()
        return self.failed < FAILED and len(self.trials) < MOST and not over

    def told(self, trial: Trial) -> Floats:
        """Quantities (K,) of a plan tried, with the corrections of the last one judged."""
        return trial.told_from(self.best.judged, self.held.trial)

    def at_the_plan(self, here: Around, maker: RoundMaker) -> Effects:
        """The effects of some candidates with the limits of the last plan judged, taken where the
        search stands."""
        judged, now, modes = self.best.judged, self.now.trial, self.now.trial.said.modes
        criteria = maker.criteria(judged.factors, judged, here.chosen)
        weights, worth = self.weights
        effects = counted(
            replace(here.effects, criteria=criteria), maker.shares, weights, here.chosen,
            worth * maker.scattering, BELIEVED,
        )  # fmt: skip
        if modes is not None:
            effects = at_the_plan(self.offer, replace(here, effects=effects), modes)
        off = self.told(now) - effects.quantities(here.chosen)
        return replace(effects, base=effects.base + off)

    def learned(self, effects: Effects, here: Around) -> Effects:
        """The effects corrected for what was judged and tried so far."""
        now = effects.quantities(here.chosen)
        for plan in self.trials.keys() - self.known.keys():
            self.known[plan] = self._known(plan)
        lessons = [Lesson(plan, self.known[plan]) for plan in self.trials]
        change = corrected_change(effects.change, here.candidates, here.chosen, now, lessons)
        return about(effects, change, here.chosen)

    def _known(self, plan: frozenset[Candidate]) -> Floats:
        """Quantities (K,) of a plan, as it was judged or else tried, with the corrections of the
        last one judged."""
        best, judged = self.best.judged, self.judged.get(plan)
        if judged is None:
            return self.told(self.trials[plan])
        return read_alike(best.criteria, judged.quantities, judged.factors, best.factors)

    def _moved(self, here: Around, effects: Effects, maker: RoundMaker) -> bool:
        """Whether a plan around this one looked better when tried, and the search went there."""
        least = (1.0 - BETTER) * objective(effects, here.chosen)
        passed: set[int] = set()
        while self._on():
            learned = self.learned(effects, here)
            solved = self._solved(here, learned, maker)
            proposed = [*solved.values(), *self._exchanged(here, learned, maker, solved, passed)]
            found = self._tried(proposed, learned, maker)
            if not found:
                return False
            value, step = min(found, key=lambda one: one[0])
            self.failed += len(found)
            if value < least:
                self.steps.append(step)
                self.failed = 0
                return True
        return False

    def _tried(
        self, proposed: Sequence[Selection], learned: Effects, maker: RoundMaker
    ) -> list[tuple[float, Step]]:
        """Objectives of selections, tried side by side."""
        like, models = self.best.judged, coarser(maker.judges)
        scenes = [maker.scene(selection.chosen) for selection in proposed]
        with ThreadPoolExecutor(max(len(scenes), 1)) as pool:
            trying = [pool.submit(tried, scene, like, models) for scene in scenes]
        found = []
        for selection, job in zip(proposed, trying, strict=True):
            step = Step(maker, selection, learned, job.result())
            self.trials[step.plan] = step.trial
            looked = learned.score(selection.chosen)
            value = learned.criteria.score(self.told(step.trial)) + selection.objective - looked
            found.append((value, step))
        return found

    def _judge(self) -> None:
        """Judge where the search stands; if that is no better than the last plan judged, it goes
        back there."""
        now = self.now
        found = now.maker.as_round(now.selection, self.best.judged.factors, now.limited)
        self.judged[now.plan] = found.judged
        self.known.clear()  # what is known of plans is told otherwise now
        self.steps = []
        if found.value < self.best.value:
            self.best, self.held = found, now
            self.tell(f"tried {len(self.trials)} plans; best so far {found.judged.score:.3f}")
        else:
            self.failed = 0

    def _solved(self, here: Around, learned: Effects, maker: RoundMaker) -> Proposed:
        """The best plans by the quick models that change some places, of those not tried yet."""
        found: Proposed = {}
        for most in STEPS:
            near = few_changes(learned, here.chosen, most)
            selection = maker.proposed(near, here.chosen, CLOSELY * maker.gap)
            found.setdefault(maker.plan(selection.chosen), selection)
        return {plan: one for plan, one in found.items() if plan not in self.trials}

    def _exchanged(
        self, here: Around, learned: Effects, maker: RoundMaker, beside: Proposed, passed: set[int]
    ) -> list[Selection]:
        """Plans that one exchange makes better or little worse, neither tried yet nor `beside`
        them, that put in other kinds than those `passed`, which grow by theirs."""

        def known(chosen: Ints) -> bool:
            plan = maker.plan(chosen)
            return plan in beside or plan in self.trials

        kinds = kinds_of(here.candidates)
        moves = Neighbours(learned)
        alike = moves.alike(here.chosen, kinds, NEAR, EXCHANGES, known, passed)
        if not alike:  # every kind had its turn
            passed.clear()
            alike = moves.alike(here.chosen, kinds, NEAR, EXCHANGES, known)
        passed.update(kind for kind, _ in alike)
        return [against_bound(learned, chosen, 0.0, maker.gap, 0.0) for _, chosen in alike]


def search(made: RoundMaker, offer: Offer, ended: Rounds, tell: Told) -> Rounds:
    """The best plan that the judges find near that of rounds, and how good it is proven to be.

    The bound is one of the whole decision with the plan's own places, with the effects as they are
    at the plan and as the search corrected them; without time left there is none.
    """
    begun = ended.best
    chosen = begun.selection.chosen
    trial = tried(begun.judged.scene, begun.judged, coarser(made.judges))
    held, plan = Step(made, begun.selection, begun.limited, trial), made.plan(chosen)
    weights = made.weights(ended.rounds[0])
    going = JudgedSearch(
        made, offer, begun, held, weights, tell, {plan: begun.judged}, {plan: trial}
    )
    going.run()
    tell("proving how good the plan kept is")
    known = set(made.candidates)
    kept = going.held.hung
    everything = (*made.candidates, *(c for c in kept if c not in known))
    table = made.effects
    if len(everything) > table.count:
        table = with_places(offer, table, everything, table.count)
    here = Around(everything, table, placed(kept, everything))
    rounds, old = _proven(going, here, ended.earlier)
    return replace(
        ended, candidates=everything, effects=table, searched=rounds, earlier=old,
        tried=len(going.trials) - 1, confirmed=len(going.judged) - 1,
    )  # fmt: skip


def _proven(
    going: JudgedSearch, here: Around, earlier: Sequence[Round]
) -> tuple[tuple[Round, ...], tuple[Round, ...]]:
    """Rounds of the plan kept and of one that proves it, and of earlier plans against its bound."""
    maker, factors = going.made.among(here.candidates, here.effects), going.best.judged.factors
    limited = going.learned(going.at_the_plan(here, maker), here)
    proofs: list[Round] = []
    bound, seconds = 0.0, 0.0
    if not maker.effort.guard.over():
        selection = maker.solved(limited, here.chosen, CLOSE * maker.gap)
        proofs, bound = [maker.as_round(selection, factors, limited)], selection.bound
        seconds = selection.seconds
        going.judged[maker.plan(selection.chosen)] = proofs[0].judged
    held = [
        maker.as_round(against_bound(limited, c, bound, maker.gap, seconds), factors, limited)
        for c in (here.chosen, *(old.selection.chosen for old in earlier))
    ]
    return (held[0], *proofs), tuple(held[1:])
