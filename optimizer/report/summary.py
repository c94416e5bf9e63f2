"""The plan in plain words: what is wrong now, what to buy, what it will do and what not."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from optimizer.placement.catalogue import Product
from optimizer.report.wording import counted, figure, limits
from optimizer.results.model import Plan
from optimizer.results.scorecard import ScoreRow
from optimizer.results.shopping import money, total_cents

_TELLING = ("decay", "mode", "early", "late", "flutter", "side balance", "pair balance")
_MOST = 4  # things named in one list
_BETTER = 0.02  # share of its excess by which a row must change to be told


@dataclass(frozen=True)
class Summary:
    """Four short lists of sentences."""

    wrong: list[str]
    buy: list[str]
    will: list[str]
    wont: list[str]


def summary(plan: Plan, units: str = "m") -> Summary:
    """The plan in plain words; every figure is one of the score card or the shopping list."""
    return Summary(_wrong(plan, units), _buy(plan), _will(plan, units), _wont(plan, units))


def counting(plan: Plan) -> list[ScoreRow]:
    """Rows that count in the score."""
    return [row for row in plan.card.rows if row.weight > 0]


def _wrong(plan: Plan, units: str) -> list[str]:
    rows = counting(plan)
    told = []
    for key in _TELLING:
        mine = [row for row in rows if row.criterion == key]
        bad = [row for row in mine if not row.ok_before]
        if bad:
            worst = max(bad, key=lambda row: excess(row, row.before))
            how_many = f"{len(bad)} of {len(mine)}"
            told.append(_FAULTS[key](worst, how_many, units))
    others = [r for r in rows if r.criterion not in _TELLING and not r.ok_before]
    told += [f"{row.criterion[:1].upper()}{row.criterion[1:]}, {_row(row, row.before, units)}."
             for row in others[:_MOST]]  # fmt: skip
    return told or ["Nothing that counts here: every criterion is within its limits already."]


def excess(row: ScoreRow, value: float) -> float:
    """How far a value lies beyond the row's limits, in units of the limit passed."""
    beyond = 0.0
    if row.high is not None:
        beyond = max(beyond, (value - row.high) / max(abs(row.high), 1e-9))
    if row.low is not None:
        beyond = max(beyond, (row.low - value) / max(abs(row.low), 1e-9))
    return beyond


def _decay(row: ScoreRow, how_many: str, units: str) -> str:
    slow = row.high is not None and row.before > row.high
    word, what = ("slowly", "the room rings") if slow else ("fast", "the room is dull and tiring")
    return (
        f"Sound dies away too {word}: {what}. At {row.where} it takes "
        f"{figure(row.before, 's')}; wanted is {limits(row.low, row.high, 's')}. "
        f"{how_many} octave bands are out of bounds."
    )


def _mode(row: ScoreRow, how_many: str, units: str) -> str:
    return (
        f"Some bass notes boom. {how_many} of the bass notes that count ring longer than ears let "
        f"pass; the worst, {row.where}, takes {figure(row.before, 's')} to die away; wanted is "
        f"{limits(row.low, row.high, 's')}."
    )


def _early(row: ScoreRow, how_many: str, units: str) -> str:
    return (
        f"Reflections blur the stereo picture. {how_many} arrive too loud just after the direct "
        f"sound; the loudest, {row.where}, has {figure(row.before, 'dB')} against the direct sound "
        f"(wanted: {limits(row.low, row.high, 'dB')})."
    )


def _late(row: ScoreRow, how_many: str, units: str) -> str:
    return (
        f"{how_many} late reflections are loud enough to be heard as an echo; the loudest, "
        f"{_row(row, row.before, units)}."
    )


def _flutter(row: ScoreRow, how_many: str, units: str) -> str:
    return (
        f"A clap rattles: sound runs to and fro between {how_many} pairs of surfaces and loses too "
        f"little on its way; least {_row(row, row.before, units)}."
    )


def _row(row: ScoreRow, value: float, units: str) -> str:
    """A row with one of its values and its limits."""
    wanted = limits(row.low, row.high, row.unit, units)
    return f"{row.where} ({figure(value, row.unit, units)}; {wanted})"


def _side(row: ScoreRow, how_many: str, units: str) -> str:
    more = "left" if row.before > 0 else "right"
    return (
        f"The two sides of the room are unlike. At {row.where} the {more} side absorbs "
        f"{figure(abs(row.before), row.unit, units)} more (allowed: "
        f"{limits(row.low, row.high, row.unit, units)})."
    )


def _pair(row: ScoreRow, how_many: str, units: str) -> str:
    return (
        f"The two loudspeakers reflect unlike: {row.where}, {figure(row.before, row.unit)} of the "
        f"direct sound apart (allowed: {limits(row.low, row.high, row.unit)})."
    )


_FAULTS: dict[str, Callable[[ScoreRow, str, str], str]] = {
    "decay": _decay,
    "mode": _mode,
    "early": _early,
    "late": _late,
    "flutter": _flutter,
    "side balance": _side,
    "pair balance": _pair,
}


def _buy(plan: Plan) -> list[str]:
    currency = plan.project.scenario.budget.currency
    budget = money(plan.project.budget_cents, currency)
    if not plan.shopping:
        return [_why_nothing(plan, budget)]
    told = []
    others = [line for line in plan.shopping if not isinstance(line.product, Product)]
    for line in plan.shopping:
        if line in others:
            continue
        text = f"{line.needed} × {line.product.name}"
        if line.packs == 0:
            told.append(f"{text}: you have them already.")
            continue
        packs = f"{counted(line.packs, 'pack')} of {line.product.pack}, " * (line.product.pack > 1)
        owned = f", {line.owned} of them you have already" * (line.owned > 0)
        told.append(f"{text}{owned}: {packs}{money(line.total_cents, currency)}.")
    if others:
        cost = money(total_cents(others), currency)
        told.append(f"Fixings, other small parts and delivery: {cost}.")
    over = plan.cost_cents - plan.project.budget_cents
    end = f"Together {money(plan.cost_cents, currency)} of {budget}."
    if over > 0:
        end += f" That is {money(over, currency)} over the budget."
    return [*told, end]


def _why_nothing(plan: Plan, budget: str) -> str:
    if all(row.ok_before for row in counting(plan)):
        return "Nothing: every criterion that counts is met already."
    if plan.project.budget_cents == 0:
        return "Nothing: the budget is 0."
    if plan.selection.status not in ("optimal", "feasible", "unknown"):
        return f"Nothing: the search ended as “{plan.selection.status}” without a plan."
    return f"Nothing: no piece on the list that {budget} buys and that fits makes the room better."


def _will(plan: Plan, units: str) -> list[str]:
    if not plan.pieces:
        return ["Nothing: the room stays as it is."]
    rows = counting(plan)
    before, after = (sum(not ok for ok in oks) for oks in
                     ([r.ok_before for r in rows], [r.ok_after for r in rows]))  # fmt: skip
    told = [
        f"Of {len(rows)} criteria that count, {before} fail now and {after} fail with the plan."
    ]
    for key in _TELLING:
        gained = [r for r in rows if r.criterion == key and _gain(r) > _BETTER]
        if gained:
            best = max(gained, key=_gain)
            told.append(
                f"{_NAMES[key]}: {len(gained)} get better or are mended; most of all "
                f"{best.where}, from {figure(best.before, best.unit, units)} to "
                f"{figure(best.after, best.unit, units)}."
            )
    return told


_NAMES = {
    "decay": "Ringing in octave bands",
    "mode": "Booming bass notes",
    "early": "Early reflections",
    "late": "Late reflections",
    "flutter": "Flutter",
    "side balance": "Left against right",
    "pair balance": "Reflections left against right",
}


def _gain(row: ScoreRow) -> float:
    """How much nearer its limits a row comes, in units of the limit."""
    return excess(row, row.before) - excess(row, row.after)


def _wont(plan: Plan, units: str) -> list[str]:
    rows = counting(plan)
    told = []
    left = [row for row in rows if not row.ok_after]
    stay = [row for row in left if row.verdict == "unchanged"]
    better = sorted((r for r in left if r.verdict == "better"), key=lambda r: -excess(r, r.after))
    if better:
        told.append(f"{counted(len(better), 'criterion', 'criteria')} get better without reaching "
                    f"the limit, {_named(better, units)}.")  # fmt: skip
    if stay:
        told.append(f"{counted(len(stay), 'criterion', 'criteria')} outside the limit stay as they "
                    f"are, {_named(stay, units)}.")  # fmt: skip
    worse = [row for row in rows if row.verdict in ("worse", "no longer met")]
    if worse:
        told.append(f"It makes worse: {_named(worse, units)}.")
    if not left:
        told.append("Nothing that counts is left outside its limits.")
    return [*told,
            "It does not keep sound in or out: pieces inside a room do little against neighbours.",
            "It does not move loudspeakers or seats. Trying other places first costs nothing and "
            "may help the bass more than money."]  # fmt: skip


def _named(rows: Sequence[ScoreRow], units: str) -> str:
    """The first few rows with their figures."""
    named = [
        f"{_SHORT.get(r.criterion, r.criterion)} {_row(r, r.after, units)}" for r in rows[:_MOST]
    ]
    more = len(rows) - len(named)
    return "; ".join(named) + (f"; and {more} more" if more else "")


_SHORT = {"early": "reflection", "late": "late reflection", "mode": "bass note"}
