"""Which set-ups are worth a full plan: the best places, each with a rough plan of its own.

The score of a place knows nothing of treatment, and the best place is often not the one that is
best once treated. So more places than are planned in full get a rough plan by the criteria alone.
"""

from dataclasses import replace

from optimizer.planning import make_plan
from optimizer.positions.search import Found, Judged, Told

PLACES = 8  # that get a rough plan
GAP, SECONDS = 0.10, 5.0  # of a rough plan
ROUGH = (
    f"The {PLACES} best places at most got a rough plan each (by the criteria alone, to "
    f"{100 * GAP:.0f} %); those with the least excess left are planned in full."
)


def shortlisted(found: Found, top: int, tell: Told = lambda text: None) -> Found:
    """The search with the `top` set-ups that leave the least excess with a rough plan, the best
    place first."""
    if len(found.best) <= top:
        return found
    rough = []
    for number, judged in enumerate(found.best, 1):
        tell(f"planning roughly: place {number} of {len(found.best)}")
        rough.append(rough_excess(judged))
    order = sorted(range(len(rough)), key=lambda i: rough[i])[:top]
    return replace(found, best=tuple(found.best[i] for i in sorted(order)))


def rough_excess(judged: Judged) -> float:
    """Excess over the limits that a rough plan leaves at a set-up."""
    return make_plan(judged.project, GAP, SECONDS, None, "none").card.score_after
