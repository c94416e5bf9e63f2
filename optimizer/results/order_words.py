"""How orderly a plan is, and what that costs, in a few sentences."""

from collections.abc import Iterator

from optimizer.placement.neat import NEAR, Neatness, neatness
from optimizer.results.model import OtherOrder, Plan
from optimizer.units import format_length

NOTHING = 5e-4  # of the excess that shows as nothing


def order_in_words(plan: Plan, units: str = "m") -> str:
    """What the plan looks like, and the score without order and with a stricter one."""
    level = plan.project.scenario.layout.level
    look = neatness(plan.project.room, [p.piece for p in plan.pieces])
    if not look.pieces:
        return ""
    told = f"Order ({level}): {', '.join(_parts(look, units))}."
    if not plan.orders:
        return told
    now = plan.card.score_after
    prices = " and ".join(f"{price_in_words(other, now)} {other.name}" for other in plan.orders)
    return (
        f"{told}\nInstead of a weighted excess of {now:.3f} it would be {prices} (a rough search, "
        "by the quick models as corrected for this plan)."
    )


def price_in_words(other: OtherOrder, now: float) -> str:
    """What another order leaves, beside the weighted excess `now`."""
    told = other.stricter or other.score < now - NOTHING
    return f"about {other.score:.3f}" if told else "no less"


def _parts(look: Neatness, units: str) -> Iterator[str]:
    if look.lines:
        lines = f"{look.most_lines} line{'' if look.most_lines == 1 else 's'}"
        yield f"at most {lines} on a wall"
    if look.lowest_edge is not None:
        yield f"nothing on a wall below {format_length(look.lowest_edge, units)}"
    groups = max(look.clouds.values(), default=0)
    if groups:
        yield f"{groups} group{'' if groups == 1 else 's'} overhead"
    if look.floating:
        yield f"{look.floating} in corners that stand on nothing"
    yield f"{look.kinds} kind{'' if look.kinds == 1 else 's'} of product"
    if look.counted:
        near = format_length(NEAR, units)
        yield f"{look.company_percent:.0f} % of the pieces within {near} of another"
