"""A comparison as tables for people, and as JSON and CSV for programs."""

import json
from collections.abc import Iterator, Sequence
from typing import Any

from materials.cells import csv_text
from optimizer.placement.neat import neatness
from optimizer.results.comparison import Cell, Column, ComparedRow, Comparison, figure
from optimizer.results.model import PlannedPiece
from optimizer.results.order_words import price_in_words
from optimizer.results.scorecard import ScoreRow
from optimizer.results.shopping import money
from optimizer.results.tables import folded, text_table
from optimizer.results.words import place_in_words

FORMAT = 1
MARKS = {"": " ", "better": "+", "worse": "-", "differs": "~"}
UNMET = "!"
LEGEND = (
    'Against the first column: "+" nearer to its limit or now met, "-" farther or no longer met, '
    '"~" differs and is met in both. "!" is not met, "*" only informs.'
)
OTHER_LIMITS = (
    "Limits or weights differ between the columns: each is judged by its own (the limits shown are "
    "those of the first column), and the weighted excesses cannot be compared."
)
_SQUARE = {"m2": "m²"}


def comparison_table(comparison: Comparison, only_differences: bool = False) -> str:
    """What the columns hold, then every criterion side by side."""
    names = [column.name for column in comparison.columns]
    blank = ["", "", ""]
    head = [[label, *blank, *cells] for label, cells in _totals(comparison)]
    rows = [_cells(row) for row in comparison.rows if row.differs or not only_differences]
    header = ("criterion", "where", "limits", "unit", *names)
    right = tuple(range(4, 4 + len(names)))
    notes = [LEGEND, *([] if comparison.same_yardstick else [OTHER_LIMITS])]
    return "\n\n".join([text_table(header, [*head, *rows], right), *map(folded, notes)])


def _totals(comparison: Comparison) -> list[tuple[str, list[str]]]:
    columns = comparison.columns
    looks = [neatness(c.project.room, [p.piece for p in c.pieces]) for c in columns]
    return [
        ("pieces", [f"{len(c.pieces)}  " for c in columns]),
        ("left out", [f"{len(c.left_out)}  " for c in columns]),
        ("cost", [_amount(c) for c in columns]),
        ("lines on a wall", [f"{look.most_lines}  " for look in looks]),
        ("have a neighbour, %", [f"{look.company_percent:.0f}  " for look in looks]),
        ("not met", [f"{c.unmet}  " for c in columns]),
        ("weighted excess", [f"{c.card.score_after:.3f}  " for c in columns]),
        *_by_order(columns),
    ]


def _by_order(columns: Sequence[Column]) -> Iterator[tuple[str, list[str]]]:
    """What other orders would leave in the columns that have a plan of their own, a row each."""
    for label, stricter in (("- without order", False), ("- in stricter order", True)):
        each = [
            next((o for o in (c.plan.orders if c.plan else ()) if o.stricter == stricter), None)
            for c in columns
        ]
        if any(each):
            prices = zip(each, columns, strict=True)
            yield (
                label,
                [
                    "-  " if o is None else f"{price_in_words(o, c.card.score_after)}  "
                    for o, c in prices
                ],
            )


def _amount(column: Column) -> str:
    over = UNMET if column.cost_cents > column.project.budget_cents else " "
    return f"{column.cost_cents / 100:.2f}{over} "


def _cells(row: ComparedRow) -> list[str]:
    counts = "" if row.first.weight > 0 else " *"
    cells = ["-  " if cell is None else _marked(cell) for cell in row.cells]
    unit = _SQUARE.get(row.unit, row.unit)
    return [row.criterion, row.where + counts, _short(limits_in_words(row.first)), unit, *cells]


def _short(text: str) -> str:
    return text.replace("at most", "<=").replace("at least", ">=")


def _marked(cell: Cell) -> str:
    value = figure(cell.row.after, cell.row.unit)
    return f"{value}{' ' if cell.row.ok_after else UNMET}{MARKS[cell.change]}"


def limits_in_words(row: ScoreRow) -> str:
    """ "at most 0.50", "at least 100.0", "0.15 to 0.25"."""
    low, high = (None if v is None else figure(v, row.unit) for v in (row.low, row.high))
    if low is not None and high is not None:
        return f"{low} to {high}"
    if low is None and high is None:
        return "no limit"
    return f"at most {high}" if low is None else f"at least {low}"


def left_out_lines(comparison: Comparison, units: str = "m") -> list[str]:
    """One line for each piece that a column had to leave out."""
    return [
        f"{column.name}: piece {left.planned.id} ({_piece_in_words(left.planned, column, units)}) "
        f"is left out: {left.reason}"
        for column in comparison.columns
        for left in column.left_out
    ]


def _piece_in_words(planned: PlannedPiece, column: Column, units: str) -> str:
    piece = planned.piece
    return f"{piece.product.name}, {place_in_words(piece, column.project.room, units)}"


def money_lines(comparison: Comparison) -> list[str]:
    """One line for each column whose pieces cost more than its budget."""
    lines = []
    for column in comparison.columns:
        currency = column.project.scenario.budget.currency
        cost, budget = column.cost_cents, column.project.budget_cents
        if cost > budget:
            lines.append(
                f"{column.name}: what is hung costs {money(cost, currency)}, more than the budget "
                f"of {money(budget, currency)}; --replan fits it"
            )
    return lines


def comparison_json(comparison: Comparison) -> str:
    """Everything as JSON text; lengths in metres, money in the currency's units."""
    content = {
        "format": FORMAT,
        "room": comparison.columns[0].project.scenario.title,
        "columns": [_column(column) for column in comparison.columns],
        "rows": [_row(row, comparison) for row in comparison.rows],
    }
    return json.dumps(content, indent=1, allow_nan=False) + "\n"


def _column(column: Column) -> dict[str, Any]:
    budget = column.project.scenario.budget
    return {
        "name": column.name,
        "says": column.project.says,
        "planned_here": column.plan is not None,
        "gap": column.plan.selection.gap if column.plan is not None else None,
        "budget": budget.amount,
        "cost": column.cost_cents / 100,
        "currency": budget.currency,
        "pieces": [planned.id for planned in column.pieces],
        "left_out": [
            {
                "id": left.planned.id,
                "product": left.planned.piece.product.id,
                "place": place_in_words(left.planned.piece, column.project.room),
                "reason": left.reason,
            }
            for left in column.left_out
        ],
        "not_met": column.unmet,
        "score_bare": column.card.score_before,
        "score": column.card.score_after,
        "other_orders": {o.name: o.score for o in column.plan.orders} if column.plan else {},
    }


def _row(row: ComparedRow, comparison: Comparison) -> dict[str, Any]:
    named = zip(comparison.columns, row.cells, strict=True)
    return {
        "criterion": row.criterion,
        "where": row.where,
        "unit": row.unit,
        "values": {
            column.name: None
            if cell is None
            else {
                "low": cell.row.low,
                "high": cell.row.high,
                "weight": cell.row.weight,
                "bare": cell.row.before,
                "value": cell.row.after,
                "met": cell.row.ok_after,
                "change": cell.change,
            }
            for column, cell in named
        },
    }


def comparison_csv(comparison: Comparison) -> str:
    """The criteria side by side as CSV (RFC 4180): three cells a column."""
    names = [column.name for column in comparison.columns]
    told = ("value", "met", "change")
    rows = [
        ["criterion", "where", "unit", "low", "high", *(f"{n} {t}" for n in names for t in told)]
    ]
    for row in comparison.rows:
        first = row.first
        limits = ["" if limit is None else f"{limit:.6g}" for limit in (first.low, first.high)]
        cells = [value for cell in row.cells for value in _csv_cells(cell)]
        rows.append([row.criterion, row.where, row.unit, *limits, *cells])
    return csv_text(rows)


def _csv_cells(cell: Cell | None) -> tuple[str, str, str]:
    if cell is None:
        return "", "", ""
    return f"{cell.row.after:.6g}", "yes" if cell.row.ok_after else "no", cell.change
