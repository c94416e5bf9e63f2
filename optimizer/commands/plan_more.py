"""`treatment plan --stages` and `--alternatives`: what they print and write."""

import argparse
from collections.abc import Iterator, Sequence

from optimizer.commands.printing import ProgressLine
from optimizer.faults import Fault
from optimizer.more_plans import OtherPlans, StagedPlans, make_alternatives, make_stages
from optimizer.placement.effort import Effort
from optimizer.planning import Plan
from optimizer.project import Judging, Project
from optimizer.results.model import PlannedPiece
from optimizer.results.proof import BEST
from optimizer.results.shopping import money
from optimizer.results.tables import folded, text_table

STAGES_HEADER = ("stage", "budget", "cost", "pieces", "new", "excess", "price of nesting")
ALTERNATIVES_HEADER = ("plan", "cost", "pieces", "excess", "differs from the best", "made of")
MOST_STAGES = 6
MOST_ALTERNATIVES = 9


def option_faults(arguments: argparse.Namespace) -> Iterator[Fault]:
    """What is wrong with the options."""
    if arguments.stages is not None and stage_cents(arguments.stages) is None:
        remedy = f"give two to {MOST_STAGES} rising amounts, such as 600,1500,3000"
        yield Fault("command line", "--stages", arguments.stages, remedy)
    count = arguments.alternatives
    if count is not None and not 1 <= count <= MOST_ALTERNATIVES:
        remedy = f"give a number from 1 to {MOST_ALTERNATIVES}"
        yield Fault("command line", "--alternatives", count, remedy)
    if not 0 < arguments.within <= 1:
        remedy = "give a share above 0 and up to 1, such as 0.03 for 3 %"
        yield Fault("command line", "--within", arguments.within, remedy)
    if arguments.stages is not None and count is not None:
        yield Fault(
            "command line", "--alternatives", count, "not together with --stages; ask twice"
        )
    for option in ("stages", "alternatives"):
        if getattr(arguments, option) is not None and arguments.confidence is not None:
            remedy = f"not together with --{option}; leave one out"
            yield Fault("command line", "--confidence", arguments.confidence, remedy)
    if arguments.stages is not None and arguments.budget is not None:
        remedy = "not together with --stages, which names the money itself"
        yield Fault("command line", "--budget", arguments.budget, remedy)


def stage_cents(text: str) -> list[int] | None:
    """Rising amounts in cents from text; None when they are not that."""
    try:
        amounts = [float(part) for part in text.split(",")]
    except ValueError:
        return None
    if not all(0 < amount <= 1e9 for amount in amounts) or not 2 <= len(amounts) <= MOST_STAGES:
        return None
    cents = [round(100 * amount) for amount in amounts]
    return cents if all(a < b for a, b in zip(cents, cents[1:], strict=False)) else None


def stage_name(number: int) -> str:
    """File of a stage's plan."""
    return f"stage_{number}.json"


def alternative_name(number: int) -> str:
    """File of an alternative."""
    return f"alternative_{number}.json"


def more_names(arguments: argparse.Namespace) -> Iterator[str]:
    """Files that may be written besides the usual ones."""
    cents = None if arguments.stages is None else stage_cents(arguments.stages)
    yield from (stage_name(i) for i in range(1, len(cents or []) + 1))
    count = min(arguments.alternatives or 0, MOST_ALTERNATIVES)
    yield from (alternative_name(i) for i in range(1, count + 1))


def staged(
    project: Project, arguments: argparse.Namespace, effort: Effort, progress: ProgressLine
) -> StagedPlans:
    """The plans of --stages."""
    cents = stage_cents(arguments.stages) or []
    return make_stages(
        project, cents, arguments.gap, effort, progress.report, _judging(arguments),
        progress.tell,
    )  # fmt: skip


def others(
    project: Project, arguments: argparse.Namespace, effort: Effort, progress: ProgressLine
) -> OtherPlans:
    """The plans of --alternatives."""
    return make_alternatives(
        project, arguments.alternatives, arguments.within, arguments.gap, effort,
        progress.report, _judging(arguments), progress.tell,
    )  # fmt: skip


def _judging(arguments: argparse.Namespace) -> Judging:
    return "fast" if arguments.fast else "full"


def stages_in_words(made: StagedPlans) -> str:
    """Table of the stages, what is new in each, and what nesting costs."""
    rows, earlier = [], set[object]()
    lines = []
    for number, (plan, regret) in enumerate(
        zip(made.plans, made.found.regret, strict=True), start=1
    ):
        currency = plan.project.scenario.budget.currency
        new = [p for p in plan.pieces if _place(p) not in earlier]
        earlier |= {_place(p) for p in plan.pieces}
        rows.append([
            str(number), money(plan.project.budget_cents, currency),
            money(plan.cost_cents, currency), str(len(plan.pieces)), str(len(new)),
            f"{plan.card.score_after:.3f}", f"{regret:.3f}",
        ])  # fmt: skip
        lines.append(f"Stage {number} adds {_kinds(new)}.")
    proof = (
        "Each stage holds all pieces of the one before. The price of nesting is the excess that "
        "the best plan of a stage's money alone would not have (expected figures). "
        + _nested_proof(made.found.gap)
    )
    table = text_table(STAGES_HEADER, rows, (1, 2, 3, 4, 5, 6))
    return "\n\n".join([table, folded("\n".join(lines)), folded(proof)])


def _nested_proof(gap: float) -> str:
    if gap < 1:
        return f"All stages together are proven within {100 * gap:.1f} % of {BEST}."
    return "How good the stages are together was not proven."


def alternatives_in_words(made: OtherPlans, asked: int) -> str:
    """Table of the best plan and its alternatives."""
    plans = (made.best, *made.plans)
    rows = [
        [
            "best" if number == 0 else str(number),
            money(plan.cost_cents, plan.project.scenario.budget.currency),
            str(len(plan.pieces)), f"{plan.card.score_after:.3f}",
            f"{100 * made.found.difference[0, number]:.0f} %", _kinds(plan.pieces),
        ]
        for number, plan in enumerate(plans)
    ]  # fmt: skip
    table = text_table(ALTERNATIVES_HEADER, rows, (1, 2, 3, 4))
    missing = asked - len(made.plans)
    if not missing:
        return table
    reason = (
        "no other plan lies that near"
        if made.found.proven
        else "none found as far as the search went"
    )
    return f"{table}\n\n{missing} fewer than asked for: {reason}."


def _place(planned: PlannedPiece) -> object:
    piece = planned.piece
    return piece.product.id, piece.surface, piece.rect


def _kinds(pieces: Sequence[PlannedPiece]) -> str:
    """ "4 x corner fill, 2 x cloud" by product."""
    counts: dict[str, int] = {}
    for planned in pieces:
        name = planned.piece.product.name
        counts[name] = counts.get(name, 0) + 1
    return "; ".join(f"{n} x {name}" for name, n in counts.items()) or "nothing"


def first_plan(made: StagedPlans | OtherPlans) -> Plan:
    """The plan that is shown in full: the last stage, or the best."""
    return made.plans[-1] if isinstance(made, StagedPlans) else made.best
