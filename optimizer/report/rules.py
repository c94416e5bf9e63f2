"""Rules of the room file that cost the plan, as a part of the page."""

from optimizer.report.more import Part
from optimizer.report.wording import Table
from optimizer.results.model import Plan
from optimizer.results.rule_words import LIFT, pieces_in_words, rule_in_words

TITLE = "Rules in the way"
HOW = (
    "Each rule of the room file was lifted by itself and a quick search made with the quick "
    "models; the weighted excess without it is at most what is shown."
)


def rules_parts(plan: Plan, units: str = "m") -> list[Part]:
    """The part, or none where no rule costs the plan much."""
    if not plan.in_the_way:
        return []
    limits, room = plan.project.scenario.limits, plan.project.room
    rows = [
        [rule_in_words(rule.key, limits, units), pieces_in_words(rule.pieces, room),
         f"{rule.score:.3f}", f"{rule.without:.3f}"]
        for rule in plan.in_the_way
    ]  # fmt: skip
    header = ("rule", "stops", "weighted excess with it", "without it")
    return [Part(TITLE, (HOW, LIFT), Table(TITLE, header, rows, kind="wordy"), None)]
