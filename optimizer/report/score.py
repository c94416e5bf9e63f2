"""The score card as tables, one per group of criteria; columns that are new are shown as well."""

from collections.abc import Sequence
from dataclasses import dataclass, fields
from typing import Any

from optimizer.report.wording import ABSENT, Cell, Table, figure, limits
from optimizer.results.scorecard import ScoreCard, ScoreRow

# Title and one plain sentence per group; a group not listed here is shown under its own name.
GROUPS = {
    "decay": ("How fast sound dies away", "Seconds for a sound to fade by 60 dB. Long: the room "
              "blurs what you hear. Very short: it is tiring and dull."),
    "decay formula": ("Decay by the formula, in the bass", "Beside the figures above, for "
                      "comparison: a formula says little where single modes rule."),
    "mode": ("How long single bass notes ring", "Each mode is one bass note that the room holds "
             "on to; the limit is what ears notice."),
    "early": ("First reflections", "Sound that reaches the ears by way of one surface, just after "
              "the direct sound. Loud ones smear the stereo picture and colour the tone."),
    "late": ("Late reflections", "Single reflections after that; a loud one is heard as an echo "
             "or a second attack."),
    "flutter": ("Flutter between opposite surfaces", "How much a sound loses on its way to one "
                "surface and back. Little loss on one pair of surfaces: a clap rattles."),
    "early sound below 1 kHz": ("Early sound below 1 kHz", "What reaches the ears just after the "
                                "direct sound, in the octaves below the first reflections' range."),
    "reflection points": ("Reflection points that are quiet enough", "Share of all paths to places "
                          "around the head."),
    "side balance": ("Absorption left against right", "Left less right; a lopsided room pulls the "
                     "stereo picture to one side."),
    "pair balance": ("Reflections left against right", "How unlike the two loudspeakers reflect at "
                     "the mix seat."),
    "pair delay": ("Arrival of reflections left against right", "Only moving a loudspeaker or a "
                   "seat changes these."),
    "low end": ("Evenness of the bass at the seats", "How far the bass level strays between notes "
                "and between seats."),
}  # fmt: skip
_BETWEEN = ("after_low", "after_high")  # shown as one column
_EXTRA_WORDS = {"after_low": "4 in 5 between", "chance": "chance of being met"}
_SHARES = {"chance"}
_KNOWN = {
    "criterion", "where", "unit", "low", "high", "before", "after", "ok_before", "ok_after",
    "weight", "model", "note",
}  # fmt: skip


@dataclass(frozen=True)
class Group:
    """One group of the score card: title, what it means, model and remark shared by all rows."""

    key: str
    title: str
    meaning: str
    model: str
    remark: str
    table: Table


def score_groups(card: ScoreCard, units: str = "m") -> list[Group]:
    """The groups of a score card in its own order."""
    keys = list(dict.fromkeys(row.criterion for row in card.rows))
    return [_group(key, [r for r in card.rows if r.criterion == key], units) for key in keys]


def _group(key: str, rows: Sequence[ScoreRow], units: str) -> Group:
    title, meaning = GROUPS.get(key, (key[:1].upper() + key[1:], ""))
    shared_model = len({row.model for row in rows}) == 1
    shared_note = len({row.note for row in rows}) == 1
    extras = extra_columns(rows)
    header = ("what", "limits", "now", "with the plan", *[_extra_word(n) for n in extras],
              "verdict")  # fmt: skip
    body = []
    for row in rows:
        asides = ["" if shared_model else row.model, "" if shared_note else row.note]
        what = Cell(row.where, "; ".join(text for text in asides if text))
        more = [_extra(_value(row, name), name, row.unit, units) for name in extras]
        body.append([what, limits(row.low, row.high, row.unit, units),
                     figure(row.before, row.unit, units), figure(row.after, row.unit, units),
                     *more, verdict(row)])  # fmt: skip
    right = tuple(range(2, 4 + len(extras)))
    model = rows[0].model if shared_model else ""
    remark = rows[0].note if shared_note else ""
    return Group(
        key, title, meaning, model, remark, Table(title, header, body, right, kind="named")
    )


def verdict(row: ScoreRow) -> str:
    """The verdict in words, and whether the row counts in the score."""
    if row.low is None and row.high is None:
        return "informs only"
    return row.verdict + ("" if row.weight > 0 else " (informs only)")


def extra_columns(rows: Sequence[Any]) -> list[str]:
    """Names of attributes beyond the usual ones that at least one row fills in."""
    names = [f.name for row in rows for f in fields(row) if f.name not in _KNOWN]
    unique = list(dict.fromkeys(names))
    used = [n for n in unique if any(getattr(row, n, None) not in (None, "", ()) for row in rows)]
    return [n for n in used if n != _BETWEEN[1] or _BETWEEN[0] not in used]


def _value(row: Any, name: str) -> Any:
    """The value of a column; both ends of the interval for its first."""
    ends = [getattr(row, end, None) for end in _BETWEEN]
    return getattr(row, name, None) if name not in _BETWEEN or None in ends else ends


def _extra_word(name: str) -> str:
    return _EXTRA_WORDS.get(name, name.replace("_", " "))


def _extra(value: Any, name: str, unit: str, units: str) -> str:
    if value is None or isinstance(value, str):
        return value or ABSENT
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, (int, float)):
        return f"{100 * value:.0f} %" if name in _SHARES else figure(float(value), unit, units)
    if isinstance(value, Sequence) and len(value) == 2:
        low, high = (figure(float(v), unit, units) for v in value)
        return f"{low.rsplit(' ', 1)[0]} to {high}"
    return str(value)
