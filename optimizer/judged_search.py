"""The search by the judges: plans near the best one, proposed by the quick models, judged, learned.

Rounds end with a plan that the corrected quick models hold to be the best on a grid. Fuller models
tell plans near it apart better, and know nothing of a grid. So plans near it are proposed: the best
that changes a few of its places and the best that changes several, pieces slid by less than the
grid among them, by effects taken at the plan and corrected for what was judged so far
(placement.around, placement.lessons). They are judged side by side; a better one takes the plan's
place, and the search ends when nothing new is proposed or so many in a row were no better: a count
of judgements, never of seconds.
"""

from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace

from optimizer.acoustics.judged import Judged
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
from optimizer.placement.effects import Effects
from optimizer.placement.lessons import Lesson, corrected_change
from optimizer.placement.nearby import Neighbours
from optimizer.placement.plan import Selection
from optimizer.placement.plan import judged as against_bound
from optimizer.round_maker import RoundMaker
from optimizer.round_record import Round, Rounds, Told

STEPS = (2, 6)  # at most so many places of the plan are changed at once, in one proposal each
CLOSELY = 0.3  # of the gap, to which proposals are solved
CLOSE = 0.5  # of the gap, to which the plan kept is proven
FAILED, MOST = 6, 40  # plans in a row that are no better, and plans in all, after which it ends
NEAR = 0.02  # of the objective, by which an exchange may be worse that is judged for want of others
BETTER = 2e-3  # of the score, by which a plan must be better to take another's place


@dataclass
class JudgedSearch:
    """A search from a round's plan: the plan now, how it is judged, and all that was judged."""

    made: RoundMaker
    offer: Offer
    plan: tuple[Candidate, ...]
    best: Round
    tell: Told
    judged: dict[frozenset[Candidate], Judged]
    failed: int = 0

    def run(self) -> None:
        """Until nothing new is proposed, too many failed, or the time is over."""
        made = self.made
        while self._on():
            corrected = self.best.judged.corrected
            here = around(self.offer, made.candidates, made.effects, self.plan, corrected)
            maker = made.among(here.candidates, here.effects)
            if not self._moved(here, self.at_the_plan(here, maker), maker):
                break

    def _on(self) -> bool:
        over = self.made.effort.guard.over()
        return self.failed < FAILED and len(self.judged) <= MOST and not over

    def at_the_plan(self, here: Around, maker: RoundMaker) -> Effects:
        """The effects of some candidates with the limits of the plan, taken at the plan."""
        judged = self.best.judged
        criteria = maker.criteria(judged.factors, judged, here.chosen)
        limited = replace(here.effects, criteria=criteria)
        modes = judged.said.modes
        return (
            limited
            if modes is None
            else at_the_plan(self.offer, replace(here, effects=limited), modes)
        )

    def learned(self, effects: Effects, here: Around) -> Effects:
        """The effects corrected for what was judged so far."""
        now = effects.quantities(here.chosen)
        own = self.best.judged.factors
        lessons = [
            Lesson(plan, judged.quantities * own / judged.factors)
            for plan, judged in self.judged.items()
        ]
        change = corrected_change(effects.change, here.candidates, here.chosen, now, lessons)
        return about(effects, change, here.chosen)

    def _moved(self, here: Around, effects: Effects, maker: RoundMaker) -> bool:
        """Whether a plan around this one was judged better, and took its place."""
        while self._on():
            learned = self.learned(effects, here)
            proposed = self._proposed(here, learned, maker)
            if not proposed:
                return False
            factors = self.best.judged.factors
            with ThreadPoolExecutor(len(proposed)) as pool:
                judging = [pool.submit(maker.as_round, s, factors, learned) for s in proposed]
            rounds = [job.result() for job in judging]
            for found in rounds:
                self.judged[maker.plan(found.selection.chosen)] = found.judged
            best = min(rounds, key=lambda found: found.value)
            if best.value < (1.0 - BETTER) * self.best.value:
                chosen = best.selection.chosen.tolist()
                self.plan, self.best = tuple(here.candidates[c] for c in chosen), best
                self.failed = 0
                self.tell(f"judged {len(self.judged)} plans; best so far {best.judged.score:.3f}")
                return True
            self.failed += len(rounds)
        return False

    def _proposed(self, here: Around, learned: Effects, maker: RoundMaker) -> list[Selection]:
        """Plans not judged yet: the best by the quick models that change a few places; when there
        is no such plan, those that one exchange makes hardly worse."""
        found: dict[frozenset[Candidate], Selection] = {}
        for most in STEPS:
            near = few_changes(learned, here.chosen, most)
            selection = maker.proposed(near, here.chosen, CLOSELY * maker.gap)
            found.setdefault(maker.plan(selection.chosen), selection)
        new = [selection for plan, selection in found.items() if plan not in self.judged]
        return new or self._alike(here, learned, maker)

    def _alike(self, here: Around, learned: Effects, maker: RoundMaker) -> list[Selection]:
        kinds, most = kinds_of(here.candidates), len(self.judged) + len(STEPS)
        alike = Neighbours(learned).alike(here.chosen, kinds, NEAR, most)
        new = [chosen for chosen in alike if maker.plan(chosen) not in self.judged]
        return [against_bound(learned, chosen, 0.0, maker.gap, 0.0) for chosen in new[: len(STEPS)]]


def search(made: RoundMaker, offer: Offer, ended: Rounds, tell: Told) -> Rounds:
    """The best plan that the judges find near that of rounds, and how good it is proven to be.

    The bound is one of the whole decision with the plan's own places, with the effects as they are
    at the plan and as the search corrected them; without time left there is none.
    """
    begun = ended.best
    plan = tuple(made.candidates[c] for c in begun.selection.chosen.tolist())
    going = JudgedSearch(made, offer, plan, begun, tell, {frozenset(plan): begun.judged})
    going.run()
    tell("proving how good the plan kept is")
    known = set(made.candidates)
    everything = (*made.candidates, *(c for c in going.plan if c not in known))
    table = made.effects
    if len(everything) > table.count:
        table = with_places(offer, table, everything, table.count)
    here = Around(everything, table, placed(going.plan, everything))
    rounds, old = _proven(going, here, ended.earlier)
    tried = len(going.judged) - 1
    return replace(
        ended, candidates=everything, effects=table, searched=rounds, earlier=old, tried=tried
    )


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
