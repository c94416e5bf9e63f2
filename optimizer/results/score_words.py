"""The score card as rows of text."""

from collections.abc import Callable

from optimizer.results.scorecard import ScoreCard, ScoreRow

SCORE_HEADER = (
    "criterion", "where", "limits", "before", "after", "unit", "4 in 5 between", "chance",
    "verdict", "judged by",
)  # fmt: skip
SCORE_RIGHT = (3, 4, 7)
NOW_HEADER = (*SCORE_HEADER[:3], "now", *SCORE_HEADER[5:])
NOW_RIGHT = (3, 6)
TOLD = ("low end", "reflection points", "early sound below 1 kHz")  # though they only inform
_SQUARE = {"m2": "m²"}


def score_rows(card: ScoreCard, everything: bool = True) -> list[list[str]]:
    """Rows of SCORE_HEADER; else without the rows that only inform, but for a few."""
    return [_told(row) for row in card.rows if everything or worth_telling(row)]


def now_rows(card: ScoreCard, everything: bool = True) -> list[list[str]]:
    """Rows of NOW_HEADER: a room by itself."""
    rows = [row for row in card.rows if everything or worth_telling(row)]
    cells = [_told(row) for row in rows]
    met = [_verdict(row, lambda r: "met" if r.ok_after else "not met") for row in rows]
    return [[*c[:3], *c[4:8], m, c[9]] for c, m in zip(cells, met, strict=True)]


def worth_telling(row: ScoreRow) -> bool:
    """Whether a row counts, or is one of the few that people look at all the same."""
    return row.weight > 0 or row.criterion in TOLD


def left_out(card: ScoreCard) -> str:
    """What a short table leaves out, in one sentence; empty when nothing."""
    count = sum(not worth_telling(row) for row in card.rows)
    return f"{count} more rows only inform; they are in the report and the plan file."


def _told(row: ScoreRow) -> list[str]:
    before, after = (number(v, row.unit) for v in (row.before, row.after))
    verdict = _verdict(row, lambda r: r.verdict)
    unit = _SQUARE.get(row.unit, row.unit)
    between = ""
    if row.after_low is not None and row.after_high is not None:
        between = f"{number(row.after_low, row.unit)} and {number(row.after_high, row.unit)}"
    chance = "" if row.chance is None else f"{100 * row.chance:.0f} %"
    first = [row.criterion, row.where, limits(row), before, after, unit]
    return [*first, between, chance, verdict, row.model]


def _verdict(row: ScoreRow, say: Callable[[ScoreRow], str]) -> str:
    if row.low is None and row.high is None:
        return "informs only"
    return say(row) if row.weight > 0 else f"{say(row)} (informs only)"


def limits(row: ScoreRow) -> str:
    """The limits of a row in words."""
    low, high = (None if v is None else number(v, row.unit) for v in (row.low, row.high))
    if low is None and high is None:
        return "no limit"
    if low is None:
        return f"at most {high}"
    if high is None:
        return f"at least {low}"
    return f"{low} to {high}"


def number(value: float, unit: str) -> str:
    """A figure with the digits that its unit deserves."""
    digits = 1 if unit in ("dB", "%", "ms", "Hz") else 2
    return f"{round(value, digits) + 0.0:.{digits}f}"
