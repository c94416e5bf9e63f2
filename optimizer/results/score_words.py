"""The score card as rows of text."""

from collections.abc import Sequence
from itertools import groupby

from optimizer.results.scorecard import ScoreCard, ScoreRow

SCORE_HEADER = (
    "criterion", "where", "limits", "before", "after", "unit", "4 in 5 between", "chance",
    "verdict", "judged by",
)  # fmt: skip
SCORE_RIGHT = (3, 4, 7)
SHORT_HEADER = (
    "criterion", "where", "limits", "before", "after", "unit", "chance", "verdict",
)  # fmt: skip
SHORT_RIGHT = (3, 4, 6)
NOW_HEADER = ("criterion", "where", "limits", "now", "unit", "4 in 5 within", "chance", "verdict")
NOW_RIGHT = (3, 6)
LEGEND = (
    "chance: of the limit being met, materials and positions being a little other than stated. "
    "In brackets: only informs."
)
_SHORT_NAMES = {"early sound below 1 kHz": "early below 1 kHz"}
TOLD = ("low end", "reflection points", "early sound below 1 kHz")  # though they only inform
_SQUARE = {"m2": "m²"}


def score_rows(card: ScoreCard) -> list[list[str]]:
    """Rows of SCORE_HEADER: everything."""
    return [_told(row) for row in card.rows]


def short_rows(rows: Sequence[ScoreRow]) -> list[list[str]]:
    """Rows of SHORT_HEADER: before and after, narrow enough for a terminal."""
    return [
        [*_short_head(row), *c[3:6], c[7], _bracketed(row, _in_words(row))]
        for c, row in zip(map(_told, rows), rows, strict=True)
    ]


def now_rows(rows: Sequence[ScoreRow]) -> list[list[str]]:
    """Rows of NOW_HEADER: a room by itself."""
    met = ["met" if row.ok_after else "not met" for row in rows]
    return [
        [*_short_head(row), *c[4:6], c[6].replace(" and ", " to "), c[7], _bracketed(row, m)]
        for c, row, m in zip(map(_told, rows), rows, met, strict=True)
    ]


def _short_head(row: ScoreRow) -> tuple[str, str, str]:
    """Criterion, where and limits, with signs instead of words."""
    text = limits(row).replace("at most", "<=").replace("at least", ">=")
    name = _SHORT_NAMES.get(row.criterion, row.criterion)
    return name, row.where, "-" if text == "no limit" else text


def rows_worth_telling(card: ScoreCard) -> list[ScoreRow]:
    """The rows that count, and the few that people look at all the same."""
    return [row for row in card.rows if worth_telling(row)]


def rows_of_interest(card: ScoreCard) -> list[ScoreRow]:
    """Of those, decay and what is or was not met."""
    return [row for row in rows_worth_telling(card) if not _met_all_along(row)]


def _met_all_along(row: ScoreRow) -> bool:
    """A criterion that needs no look: met before and after."""
    return row.weight > 0 and row.criterion != "decay" and row.ok_before and row.ok_after


def worth_telling(row: ScoreRow) -> bool:
    """Whether a row counts, or is one of the few that people look at all the same."""
    return row.weight > 0 or row.criterion in TOLD


def left_out(card: ScoreCard, shown: Sequence[ScoreRow], where: str) -> str:
    """What a short table leaves out, in one sentence; empty when nothing. `where` it is."""
    missing = [row for row in card.rows if row not in shown]
    met = sum(row.weight > 0 for row in missing)
    parts = [
        f"{met} criteria that are met before and after" if met else "",
        f"{len(missing) - met} rows that only inform" if len(missing) > met else "",
    ]
    told = " and ".join(part for part in parts if part)
    return f"Not shown: {told}; {where}." if told else ""


def judged_by(card: ScoreCard) -> str:
    """Which model gave which figures, one line for each group of criteria that counts."""
    counted = [row for row in card.rows if row.weight > 0]
    groups = {row.criterion: [r for r in counted if r.criterion == row.criterion]
              for row in counted}  # fmt: skip
    return "\n".join(f"{name}: {_models(rows)}" for name, rows in groups.items())


def _models(rows: list[ScoreRow]) -> str:
    if len({row.model for row in rows}) == 1:
        return rows[0].model
    runs = [(model, list(run)) for model, run in groupby(rows, key=lambda row: row.model)]
    return ", ".join(
        f"{model} ({run[0].where}" + (f" to {run[-1].where})" if len(run) > 1 else ")")
        for model, run in runs
    )


def _told(row: ScoreRow) -> list[str]:
    before, after = (number(v, row.unit) for v in (row.before, row.after))
    limited = row.low is not None or row.high is not None
    verdict = _in_words(row) if limited else "informs only"
    if limited and row.weight <= 0:
        verdict += " (informs only)"
    unit = _SQUARE.get(row.unit, row.unit)
    between = ""
    if row.after_low is not None and row.after_high is not None:
        between = f"{number(row.after_low, row.unit)} and {number(row.after_high, row.unit)}"
    chance = "" if row.chance is None else f"{100 * row.chance:.0f} %"
    first = [row.criterion, row.where, limits(row), before, after, unit]
    return [*first, between, chance, verdict, row.model]


_WORDS = {"better": "better, not met", "worse": "worse, not met",
          "unchanged": "not met, unchanged"}  # fmt: skip


def _in_words(row: ScoreRow) -> str:
    return _WORDS.get(row.verdict, row.verdict)


def _bracketed(row: ScoreRow, verdict: str) -> str:
    """The verdict of a row that counts; in brackets where it only informs; none without limits."""
    if row.low is None and row.high is None:
        return "-"
    return verdict if row.weight > 0 else f"({verdict})"


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
