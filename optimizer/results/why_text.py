"""The reasons of a plan as tables for people."""

from collections.abc import Sequence

import numpy as np

from optimizer.acoustics.judged import Judged
from optimizer.results.comparison import figure
from optimizer.results.rule_words import rule_in_words
from optimizer.results.shopping import money
from optimizer.results.tables import text_table
from optimizer.results.why import GroupWhy, Loss
from optimizer.results.why_bench import Bench, Ints
from optimizer.results.why_obstacles import Obstacle, Relaxation, cheapest_help
from optimizer.results.words import surface_in_words

MOST_LOSSES = 3
UNCHANGED = 1e-9
_WAY = {
    "other criteria": "other criteria: {cost} would meet it alone, but do more for them",
    "budget": "budget: meeting it alone takes {cost}",
    "bans": "bans: no allowed product or mounting meets it; what would act on it most is barred by "
    "{rules}",
    "space": "space: all that fits brings it to {nearest}",
    "no product acts on it": "no product acts on it: move a speaker, a seat or furniture",
}


def losses_table(table: Sequence[GroupWhy], currency: str) -> str:
    """Each group, what it saves to leave it out, and what the room then loses."""
    rows = []
    for entry in table:
        first = entry.pieces[0].piece
        heaviest = [loss for loss in entry.losses if loss.lost > 0][:MOST_LOSSES]
        texts = [_loss(loss) for loss in heaviest] or ["nothing that counts"]
        lost = f"{entry.score_without - entry.score:+z.3f}"
        walls = " and ".join(dict.fromkeys(p.piece.surface for p in entry.pieces))
        price, saved = (money(c, currency) for c in (entry.price_cents, entry.saved_cents))
        rows.append([entry.ids, first.product.name, walls, price, saved, lost, texts[0]])
        rows += [[""] * 6 + [text] for text in texts[1:]]
    header = ("no.", "product", "where", "price", "saves", "excess", "without it")
    return text_table(header, rows, (3, 4, 5))


def _loss(loss: Loss) -> str:
    kept, without = (figure(v, loss.unit) for v in (loss.kept, loss.without))
    mark = "" if loss.met_without or not loss.met_kept else ", no longer met"
    where = f"{loss.criterion}, {loss.where}"
    if abs(loss.kept - loss.without) < UNCHANGED:  # the worst of several, and not the one lost
        return f"{where}: {kept} {_unit(loss.unit)} still, less elsewhere"
    return f"{where}: {kept} -> {without} {_unit(loss.unit)}{mark}"


def _unit(unit: str) -> str:
    return "m²" if unit == "m2" else unit


def instead_table(bench: Bench, table: Sequence[GroupWhy], added: Sequence[Ints]) -> str:
    """What a greedy choice would buy with each group's money, and the excess then."""
    full = bench.effects.score(bench.plan)
    rows = []
    for index, (entry, chosen) in enumerate(zip(table, added, strict=True)):
        kept = np.delete(bench.plan, index)
        score = bench.effects.score(np.concatenate([kept, chosen]))
        spent = bench.effects.cost_cents(np.concatenate([kept, chosen]))
        spent -= bench.effects.cost_cents(kept)
        currency = bench.project.scenario.budget.currency
        bought = "; ".join(_bought(bench, chosen)) or "nothing that helps"
        rows.append([entry.ids, bought, money(spent, currency), f"{score - full:+z.3f}"])
    return text_table(("without no.", "bought instead", "for", "excess"), rows, (2, 3))


def _bought(bench: Bench, chosen: Ints) -> list[str]:
    counts: dict[str, int] = {}
    for c in chosen:
        candidate = bench.candidates[c]
        walls = sorted({name for p in candidate.pieces for name, _ in p.rects})
        where = " and ".join(surface_in_words(bench.project.room.surface(w)) for w in walls)
        text = f"{candidate.product.name} ({where})"
        counts[text] = counts.get(text, 0) + len(candidate.pieces)
    return [f"{count} x {text}" for text, count in counts.items()]


def obstacles_table(
    bench: Bench,
    judged: Judged,
    found: Sequence[Obstacle],
    tried: Sequence[Relaxation],
    units: str = "m",
) -> str:
    """Each unmet criterion, what stands in the way, and the cheapest relaxation that helps."""
    currency = bench.project.scenario.budget.currency
    limits = bench.project.scenario.limits
    rows = []
    for entry in found:
        row, helper = judged.criteria.rows[entry.row], cheapest_help(bench, entry.row, tried)
        cost = "" if entry.cost_cents is None else money(entry.cost_cents, currency)
        nearest = figure(entry.nearest * float(judged.factors[entry.row]), row.unit)
        way = _WAY[entry.kind].format(
            cost=cost, nearest=f"{nearest} {_unit(row.unit)}",
            rules=" and ".join(rule_in_words(key, limits, units) for key in entry.rules),
        )  # fmt: skip
        value = figure(float(judged.values[entry.row]), row.unit)
        limit = _limit(row.low, row.high, row.unit)
        helps = _help(entry.row, helper)
        rows.append([row.group, row.where, f"{value} {_unit(row.unit)}", limit, way, helps])
    header = ("not met", "where", "is", "limits", "in the way", "cheapest relaxation that helps")
    return text_table(header, rows)


def _limit(low: float, high: float, unit: str) -> str:
    if np.isnan(low):
        return f"<= {figure(high, unit)}"
    if np.isnan(high):
        return f">= {figure(low, unit)}"
    return f"{figure(low, unit)} to {figure(high, unit)}"


def _help(row: int, helper: Relaxation | None) -> str:
    if helper is None or helper.excess is None:
        return "none of those tried"
    return f"{helper.name}: {'met' if helper.excess[row] <= 1e-9 else 'nearer'}"


def relaxations_table(bench: Bench, tried: Sequence[Relaxation]) -> str:
    """Each relaxation tried: the money beyond the budget, the excess and what is then met."""
    effects, currency = bench.effects, bench.project.scenario.budget.currency
    now = effects.criteria.excess(effects.quantities(bench.plan))
    counts = effects.criteria.weights > 0
    rows = [["(the plan as it is)", "", f"{effects.score(bench.plan):.3f}",
             str(int((counts & (now > 1e-9)).sum()))]]  # fmt: skip
    for r in tried:
        if r.score is None or r.excess is None:
            rows.append([r.name, "", "not tried: out of time", ""])
            continue
        unmet = int((counts & (r.excess > 1e-9)).sum())
        rows.append([r.name, money(r.extra_cents, currency), f"{r.score:.3f}", str(unmet)])
    return text_table(("relaxed", "beyond the budget", "excess", "not met"), rows, (1, 2, 3))
