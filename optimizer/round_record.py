"""What planning in rounds leaves: each round, the plan judged best, and how it went in words."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from optimizer.acoustics.judged import Judged
from optimizer.placement.candidates import Candidate
from optimizer.placement.effects import Effects
from optimizer.placement.plan import Selection
from optimizer.room.geometry import Floats

Told = Callable[[str], None]  # what is done now, in words

AGREE = 0.05  # relative difference of expected and judged decay at which the rounds end
WORTH = 0.01  # share of its score by which a plan must be better than an earlier one to replace it


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
    def corrected(self) -> bool:
        """Whether it was solved with corrections: the first round has none."""
        return bool(np.any(self.factors != 1.0))

    @property
    def agrees(self) -> bool:
        """Whether the corrected surrogate and the fuller models agree."""
        return self.off <= AGREE


@dataclass(frozen=True)
class Rounds:
    """All rounds of a plan, and the room as it is, judged; what the search by the judges found.

    `candidates` and their `effects` are those of the decision and, behind them, places of the plan
    that the search found; selections are indices of these. `tried` plans were looked at in
    the search by coarser models, `confirmed` of them judged.
    """

    before: Judged
    candidates: tuple[Candidate, ...]
    effects: Effects
    rounds: tuple[Round, ...]
    searched: tuple[Round, ...] = ()  # the plan kept, and what proves it
    earlier: tuple[Round, ...] = ()  # plans that there were before, judged too
    tried: int = 0
    confirmed: int = 0

    @property
    def best(self) -> Round:
        """The plan that is judged best; of equals that of the last round, whose bound fits best.

        An earlier plan stays unless one is better by more than WORTH of its score.
        """
        found = self.searched or tuple(reversed(self.rounds))
        best = min(found, key=lambda r: (r.value, r.selection.gap))
        kept = min(self.earlier, key=lambda r: r.value, default=best)
        return kept if best.value > (1.0 - WORTH) * kept.value else best

    @property
    def judged(self) -> int:
        """How many plans fuller models judged: of the rounds, of the search and earlier ones."""
        if not self.before.said.values:
            return 0
        made = (*self.rounds, *self.earlier)
        return self.confirmed + len({tuple(np.sort(r.selection.chosen).tolist()) for r in made})


def rounds_in_words(rounds: Rounds) -> str:
    """How the rounds went, in a sentence or two."""
    best, said = rounds.best, _said(rounds)
    if not rounds.earlier:
        return f"{said}: none of them is better than this one" if rounds.searched else said
    if any(best is r for r in rounds.earlier):
        return f"{said}. The earlier plan stays: nothing better by more than {100 * WORTH:.0f} %"
    return f"{said}. It is better than the earlier plan by more than {100 * WORTH:.0f} %"


def _said(rounds: Rounds) -> str:
    if not rounds.judged:
        return "judged by the quick models alone"
    count = len(rounds.rounds)
    said = f"{count} round{'s' if count > 1 else ''} of choosing and judging"
    if not rounds.searched:
        return said
    plans = "one plan" if rounds.tried == 1 else f"{rounds.tried} plans"
    return f"{said}, then a search that tried {plans} near the best and judged {rounds.confirmed}"
