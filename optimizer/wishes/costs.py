"""What each wish costs: the plan chosen again without it, by the quick models.

Each trial is solved roughly, begun from the plan itself, with the corrections of the fuller models
for that plan; so is the plan with all wishes, so that a wish is not charged for what a second look
finds anyway.
"""

from dataclasses import dataclass, replace

import numpy as np

from optimizer.acoustics.judged import Judged
from optimizer.placement.effects import Effects
from optimizer.placement.effort import Effort
from optimizer.placement.order import Ints
from optimizer.placement.plan import feasible, select
from optimizer.wishes.decision import Wished, keeping
from optimizer.wishes.file import Wish

ROUGH = 0.02  # gap of a trial
TRIAL_SHARE = 0.1  # of the effort of a plan, for each trial


@dataclass(frozen=True)
class WishCost:
    """A wish, the weighted excess with all wishes and without this one; None when the time was over
    before it was tried."""

    wish: Wish
    score: float
    without: float | None

    @property
    def cost(self) -> float:
        """What the excess would be less without the wish, 0 or more."""
        return 0.0 if self.without is None else max(self.score - self.without, 0.0)


def wish_costs(
    wished: Wished, chosen: Ints, judged: Judged, effort: Effort
) -> tuple[WishCost, ...]:
    """The cost of each wish of a plan of these candidates of the decision; `judged` in its room."""
    effects = replace(wished.everything.effects, criteria=judged.corrected)
    plan, effort = wished.index[chosen], effort.share(TRIAL_SHARE)
    score = _best(wished, effects, wished.here, plan, effort)
    costs = []
    for mine, shown in zip(wished.here, wished.wishes.each, strict=True):
        rest = tuple(wish for wish in wished.here if wish is not mine)
        without = None
        if not effort.guard.over():
            without = _best(wished, effects, rest, plan, effort)
        costs.append(WishCost(shown, score, without))
    return tuple(costs)


def _best(
    wished: Wished, effects: Effects, wishes: tuple[Wish, ...], plan: Ints, effort: Effort
) -> float:
    """The weighted excess of the best plan found that keeps to these wishes."""
    sub, index = keeping(wished.everything, effects, wishes)
    start = np.flatnonzero(np.isin(index, plan))
    begun = start if feasible(sub, start) else None
    return sub.score(select(sub, ROUGH, effort, start=begun).chosen)
