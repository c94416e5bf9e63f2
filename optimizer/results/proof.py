"""How good a plan is proven to be, in words that claim no more than is known.

The one place that says it: terminal, report.md and report.html all print this.
"""

import math

from optimizer.results.model import Plan
from optimizer.results.tellings import CUT_OFF

BEST = "the best by the quick models that choose"


def proof_in_words(plan: Plan, changed: bool = False) -> str:
    """A few sentences; `changed` when room, price list or pieces are not those solved for."""
    told = f"{_considered(plan)}. {_proven(plan)} {_judged(plan)}"
    if plan.cut_off:
        told = f"{told} {CUT_OFF}"
    said = f"s {plan.proof_of} says, and only solving anew could check" if plan.proof_of else ""
    if not changed:
        return f"A{said}: {told}" if said else told
    then = f"Then, a{said}" if said else "Then"
    return (
        "Room, price list, budget or pieces are not those the plan was solved for, so what was "
        f"proven then need not hold now. {then}: {told}"
    )


def _considered(plan: Plan) -> str:
    counted = f"{plan.candidates} placement{'' if plan.candidates == 1 else 's'} considered"
    return f"{counted}, {plan.pairs} of them mirrored pairs" if plan.pairs else counted


def _proven(plan: Plan) -> str:
    selection = plan.selection
    percent = f"{100 * selection.gap:.1f} %"
    best = f"{BEST}, as the fuller ones corrected them" if plan.corrected else BEST
    figures = f"(objective {selection.objective:.4f}, bound {selection.bound:.4f})"
    if selection.status not in ("optimal", "feasible", "unknown"):
        return f"The search ended as “{selection.status}”: nothing is proven."
    if not math.isfinite(selection.gap) or selection.status == "unknown":
        return "How near the best possible this plan is, is not known."
    if selection.status == "optimal":
        return f"Proven within {percent} of {best} {figures}."
    if selection.gap < 1:
        return f"The best found, at most {percent} from {best} {figures}."
    return "The best found. How much better another could be is not known."


def _judged(plan: Plan) -> str:
    """What the fuller models looked at, and that they prove nothing of the rest."""
    if plan.judged is None:
        return "That no other plan is better by the fuller models is not proven."
    if plan.judged == 0:
        return "No fuller model judged it."
    plans = "one plan" if plan.judged == 1 else f"{plan.judged} plans"
    return f"The fuller models judged {plans}; that no other is better by them is not proven."
