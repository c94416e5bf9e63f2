"""The plan in plain words: what is wrong now, what to buy, what it will do and what not."""

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from optimizer.placement.catalogue import Product
from optimizer.report.score import row_name
from optimizer.report.wording import counted, figure, limits
from optimizer.results.by_moving import by_moving
from optimizer.results.model import Plan
from optimizer.results.nothing import counting, why_nothing
from optimizer.results.scorecard import ScoreRow
from optimizer.results.shopping import money, total_cents

_TELLING = ("decay", "mode", "early", "late", "flutter", "side balance", "pair balance")
_MOST = 4  # things named in one list
SURE = 0.8  # a chance from which a limit counts as met
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


def _wrong(plan: Plan, units: str) -> list[str]:
    rows = counting(plan)
    told = []
    for key in _TELLING:
        mine = [row for row in rows if row.criterion == key]
        bad = [row for row in mine if not row.ok_before]
        if bad:
            worst = max(bad, key=lambda row: excess(row, row.before))
            told.append(_FAULTS[key](worst, len(bad), len(mine), units))
    others = [r for r in rows if r.criterion not in _TELLING and not r.ok_before]
    told += [f"{_name(row.criterion)}: {_row(row, row.before, units)}."
             for row in others[:_MOST]]  # fmt: skip
    return told or ["Nothing that counts here: everything is within its limits already."]


def excess(row: ScoreRow, value: float) -> float:
    """How far a value lies beyond the row's limits, in units of the limit passed."""
    beyond = 0.0
    if row.high is not None:
        beyond = max(beyond, (value - row.high) / max(abs(row.high), 1e-9))
    if row.low is not None:
        beyond = max(beyond, (row.low - value) / max(abs(row.low), 1e-9))
    return beyond


def _decay(row: ScoreRow, bad: int, all_of_them: int, units: str) -> str:
    slow = row.high is not None and row.before > row.high
    many = f"All {bad}" if bad == all_of_them > 1 else f"{bad} of the {all_of_them}"
    word, what = ("slowly", "the room rings") if slow else ("fast", "the room is dull and tiring")
    return (
        f"Sound dies away too {word}: {what}. At {row.where} it takes "
        f"{figure(row.before, 's')} to fade by 60 dB; wanted is "
        f"{limits(row.low, row.high, 's')}. "
        f"{many} octave bands {'is' if bad == 1 else 'are'} out of bounds."
    )


def _mode(row: ScoreRow, bad: int, all_of_them: int, units: str) -> str:
    return (
        f"Some bass notes boom. {bad} of the {all_of_them} that count ring longer than ears let "
        f"pass; the worst, {plain_name(row)}, takes {figure(row.before, 's')} to die away; "
        f"wanted is {limits(row.low, row.high, 's')}."
    )


def _early(row: ScoreRow, bad: int, all_of_them: int, units: str) -> str:
    return (
        f"Reflections blur the stereo picture. {bad} of {all_of_them} arrive too loud just after "
        f"the direct sound; the loudest, {row.where}, has {figure(row.before, 'dB')} against the "
        f"direct sound (0 dB would be as loud; wanted: {limits(row.low, row.high, 'dB')})."
    )


def _late(row: ScoreRow, bad: int, all_of_them: int, units: str) -> str:
    return (
        f"{bad} of {all_of_them} later single reflections are loud enough to be heard as an echo; "
        f"the loudest, {_row(row, row.before, units)}."
    )


def _flutter(row: ScoreRow, bad: int, all_of_them: int, units: str) -> str:
    pairs = counted(all_of_them, "pair")
    return (
        f"A clap rattles: between {bad} of {pairs} of facing surfaces sound runs to and fro and "
        f"loses too little each time; least {_row(row, row.before, units)}."
    )


def _row(row: ScoreRow, value: float, units: str) -> str:
    """A row with one of its values and its limits."""
    wanted = limits(row.low, row.high, row.unit, units)
    return f"{plain_name(row)} with {figure(value, row.unit, units)} (wanted: {wanted})"


def plain_name(row: ScoreRow) -> str:
    """What a row is about; a bass note by frequency and name, without its numbers of waves."""
    return re.sub(r" \([\d-]+\)", "", row_name(row))


def _side(row: ScoreRow, bad: int, all_of_them: int, units: str) -> str:
    more = "left" if row.before > 0 else "right"
    return (
        f"The two sides of the room are unlike. At {row.where} the {more} side has "
        f"{figure(abs(row.before), row.unit, units)} more absorbing area (allowed: "
        f"{limits(row.low, row.high, row.unit, units)})."
    )


def _pair(row: ScoreRow, bad: int, all_of_them: int, units: str) -> str:
    return (
        f"The two loudspeakers reflect unlike: {row.where}, {figure(row.before, row.unit)} of the "
        f"direct sound apart (allowed: {limits(row.low, row.high, row.unit)})."
    )


_FAULTS: dict[str, Callable[[ScoreRow, int, int, str], str]] = {
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
        return [why_nothing(plan)]
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


def _will(plan: Plan, units: str) -> list[str]:
    if not plan.pieces:
        return ["Nothing: the room stays as it is."]
    rows = counting(plan)
    before, after = (sum(not ok for ok in oks) for oks in
                     ([r.ok_before for r in rows], [r.ok_after for r in rows]))  # fmt: skip
    told = [f"Of {len(rows)} limits that count, {before} are missed now and {after} with the plan."]
    for key, mine in _grouped(rows).items():
        gained = [r for r in mine if _gain(r) > _BETTER]
        if gained:
            best = max(gained, key=_gain)
            mended = sum(r.ok_after and not r.ok_before for r in gained) or "none"
            told.append(
                f"{_name(key)}: {len(gained)} of {len(mine)} get better, {mended} of them so much "
                f"that the limit is met; most of all {plain_name(best)}, from "
                f"{figure(best.before, best.unit, units)} to "
                f"{figure(best.after, best.unit, units)}."
            )
    return [*told, *_sure(rows)]


def _grouped(rows: Sequence[ScoreRow]) -> dict[str, list[ScoreRow]]:
    """Rows by criterion, in the order of the score card."""
    groups: dict[str, list[ScoreRow]] = {}
    for row in rows:
        groups.setdefault(row.criterion, []).append(row)
    return groups


def _sure(rows: Sequence[ScoreRow]) -> list[str]:
    """How sure it is that the limits are met; nothing when that was not drawn."""
    chances = [row.chance for row in rows if row.chance is not None]
    if not chances:
        return []
    sure = sum(chance >= SURE for chance in chances)
    unlikely = sum(chance < 1 - SURE for chance in chances)
    return [
        f"How sure: {sure} of the {len(chances)} limits are met with a chance of "
        f"{100 * SURE:.0f} % or more, {len(chances) - sure - unlikely} may go either way, "
        f"{unlikely} have a chance below {100 * (1 - SURE):.0f} %."
    ]


_NAMES = {
    "decay": "Ringing in octave bands",
    "mode": "Booming bass notes",
    "early": "Early reflections",
    "late": "Later single reflections",
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
    for key, mine in _grouped(rows).items():
        out = [row for row in mine if not row.ok_after and row.verdict != "no longer met"]
        if out:
            worst = max(out, key=lambda row: excess(row, row.after))
            stay = all(row.verdict == "unchanged" for row in out)
            told.append(
                f"{_name(key)}: {len(out)} of {len(mine)} stay outside the limit"
                f"{', as they are now' if stay else ''}; farthest "
                f"{_row(worst, worst.after, units)}."
            )
    worse = [row for row in rows if row.verdict in ("worse", "no longer met")]
    if worse:
        told.append(f"It makes worse: {_named(worse, units)}.")
    if not left:
        told.append("Nothing that counts is left outside its limits.")
    return [*told, *by_moving(plan.card),
            "It does not keep sound in or out: pieces inside a room do little against neighbours.",
            "It does not move loudspeakers or seats. Trying other places first costs nothing and "
            "may help the bass more than money."]  # fmt: skip


def _name(key: str) -> str:
    return _NAMES.get(key, key[:1].upper() + key[1:])


def _named(rows: Sequence[ScoreRow], units: str) -> str:
    """The first few rows with their figures."""
    named = [
        f"{_SHORT.get(r.criterion, r.criterion)} {_row(r, r.after, units)}" for r in rows[:_MOST]
    ]
    more = len(rows) - len(named)
    return "; ".join(named) + (f"; and {more} more" if more else "")


_SHORT = {"decay": "ringing at", "early": "reflection", "late": "later reflection",
          "mode": "bass note", "side balance": "left against right at",
          "pair balance": "reflections left against right"}  # fmt: skip
