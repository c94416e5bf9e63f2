"""How good a plan is proven to be, in words that claim no more than is known."""

import math

from optimizer.report.wording import counted
from optimizer.results.model import Plan
from optimizer.results.tellings import CUT_OFF


def proof(plan: Plan, changed: bool = False) -> str:
    """A few sentences; `changed` when room, price list or pieces are not those solved for."""
    told = f"{_told(plan)} {CUT_OFF}" if plan.cut_off else _told(plan)
    if not changed:
        return told
    return (
        "Room, price list, budget or pieces are not those the plan was solved for, so what was "
        f"proven then need not hold now. Then: {told[:1].lower()}{told[1:]}"
    )


def _told(plan: Plan) -> str:
    selection = plan.selection
    considered = counted(plan.candidates, "placement") + " considered"
    if plan.pairs:
        considered += f", {plan.pairs} of them mirrored pairs"
    percent = f"{100 * selection.gap:.1f} %"
    if selection.status == "feasible" and 1 <= selection.gap < math.inf:
        return f"The best plan found. How much better another could be is not known ({considered})."
    if selection.status == "optimal" and math.isfinite(selection.gap):
        return f"Proven within {percent} of the best possible plan ({considered})."
    if selection.status == "feasible" and math.isfinite(selection.gap):
        return f"The best plan found, at most {percent} from the best possible ({considered})."
    if selection.status in ("optimal", "feasible", "unknown"):
        return f"How near the best possible this plan is, is not known ({considered})."
    return f"The search ended as “{selection.status}”: nothing is proven ({considered})."
