"""Rooms side by side: the same plan in several variants, or several plans in one room."""

from collections.abc import Sequence
from dataclasses import dataclass

from optimizer.project import Judging, Project
from optimizer.results.comparison_fit import misfit
from optimizer.results.model import Plan, PlannedPiece
from optimizer.results.scorecard import ScoreCard, ScoreRow, room_card
from optimizer.results.shopping import shopping_list, total_cents

CHANGES = ("", "better", "worse", "differs")
DIGITS = {"dB": 1, "%": 1, "ms": 1, "Hz": 1}  # decimals that figures are compared and shown with
OTHER_DIGITS = 2


@dataclass(frozen=True)
class LeftOut:
    """A piece that does not fit a column's room, and why."""

    planned: PlannedPiece
    reason: str


@dataclass(frozen=True)
class Column:
    """One room with the pieces of one plan that fit it, judged.

    `plan` is the plan made for just this room, None where the pieces come from elsewhere.
    """

    name: str
    project: Project
    pieces: tuple[PlannedPiece, ...]
    left_out: tuple[LeftOut, ...]
    card: ScoreCard
    plan: Plan | None = None

    @property
    def cost_cents(self) -> int:
        """Price of what the pieces that fit need, in whole packs."""
        laid = [planned.piece for planned in self.pieces]
        delivery = self.project.scenario.budget.delivery
        return total_cents(shopping_list(laid, self.project.products, delivery))

    @property
    def unmet(self) -> int:
        """How many criteria that count are not met."""
        return sum(row.weight > 0 and not row.ok_after for row in self.card.rows)


@dataclass(frozen=True)
class Cell:
    """One criterion in one column; `change` of CHANGES is against the first column."""

    row: ScoreRow
    change: str


@dataclass(frozen=True)
class ComparedRow:
    """One criterion in every column; None where a column's room does not have it."""

    criterion: str
    where: str
    unit: str
    cells: tuple[Cell | None, ...]

    @property
    def differs(self) -> bool:
        """True when some column is not like the first."""
        return any(c is None or c.change for c in self.cells) and any(self.cells)

    @property
    def first(self) -> ScoreRow:
        """The row in the first column that has it."""
        return next(cell.row for cell in self.cells if cell is not None)


@dataclass(frozen=True)
class Comparison:
    """Columns, and their criteria row by row."""

    columns: tuple[Column, ...]
    rows: tuple[ComparedRow, ...]

    @property
    def same_yardstick(self) -> bool:
        """True when every column weighs its criteria and sets its limits alike."""
        first = self.columns[0].project.scenario
        others = [column.project.scenario for column in self.columns[1:]]
        return all((s.weights, s.targets) == (first.weights, first.targets) for s in others)


def judged_column(
    name: str,
    project: Project,
    planned: Sequence[PlannedPiece],
    judging: Judging = "none",
    plan: Plan | None = None,
) -> Column:
    """A column of the pieces that fit the project's room and limits; the others are left out."""
    fits, left_out = [], []
    for piece in planned:
        reason = misfit(project, piece.piece)
        if reason:
            left_out.append(LeftOut(piece, reason))
        else:
            fits.append(piece)
    laid = [piece.piece for piece in fits]
    card = room_card(project, laid, judging)
    return Column(name, project, tuple(fits), tuple(left_out), card, plan)


def compare(columns: Sequence[Column]) -> Comparison:
    """The columns' score cards row by row, each against the first."""
    found = [{(r.criterion, r.where): r for r in column.card.rows} for column in columns]
    rows = []
    for key in _in_order([list(rows) for rows in found]):
        present = [rows.get(key) for rows in found]
        first = present[0]
        cells = tuple(None if r is None else Cell(r, _change(first, r)) for r in present)
        unit = next(r.unit for r in present if r is not None)
        rows.append(ComparedRow(*key, unit, cells))
    return Comparison(tuple(columns), tuple(rows))


def _in_order(lists: list[list[tuple[str, str]]]) -> list[tuple[str, str]]:
    """All keys; one that earlier columns lack follows the key it follows in its own column."""
    keys = list(lists[0])
    for listed in lists[1:]:
        before: tuple[str, str] | None = None
        for key in listed:
            if key not in keys:
                keys.insert(0 if before is None else keys.index(before) + 1, key)
            before = key
    return keys


def _change(first: ScoreRow | None, row: ScoreRow) -> str:
    if first is None:
        return ""
    if figure(first.after, row.unit) == figure(row.after, row.unit):
        return "" if first.ok_after == row.ok_after else ("better" if row.ok_after else "worse")
    if first.ok_after and row.ok_after:
        return "differs"
    beyond, now = beyond_limit(first), beyond_limit(row)
    return "better" if now < beyond else "worse"


def beyond_limit(row: ScoreRow) -> float:
    """How far a row's value after treatment lies beyond its limit, in its unit; 0 when met."""
    over = row.after - row.high if row.high is not None else 0.0
    under = row.low - row.after if row.low is not None else 0.0
    return 0.0 if row.ok_after else max(over, under, 0.0)


def figure(value: float, unit: str) -> str:
    """A figure as shown, with the decimals of its unit."""
    digits = DIGITS.get(unit, OTHER_DIGITS)
    return f"{round(value, digits) + 0.0:.{digits}f}"
