"""The score card as tables, one per group of criteria; columns that are new are shown as well."""

from collections.abc import Sequence
from dataclasses import dataclass, fields
from typing import Any

from optimizer.report.wording import ABSENT, Cell, Table, figure, limits, near_note
from optimizer.results.scorecard import ScoreCard, ScoreRow

# Title and one plain sentence per group; a group not listed here is shown under its own name.
GROUPS = {
    "decay": ("How fast sound dies away", "Seconds for a sound to fade by 60 dB. Long: the room "
              "blurs what you hear. Very short: it is tiring and dull."),
    "decay formula": ("Decay by the formula, in the bass", "Beside the figures above, for "
                      "comparison: a formula says little where single modes rule."),
    "decay from the loudspeakers": ("Decay time from where the loudspeakers stand", "As above, but "
                                    "with the loudspeakers as the only sources. The decay that "
                                    "counts is the room's own, from places that stay when they are "
                                    "moved."),
    "mode": ("How long single bass notes ring", "Each mode is one bass note that the room holds "
             "on to; the limit is what ears notice. In brackets: how many half waves fit along "
             "length, width and height. Notes for A = 440 Hz."),
    "early": ("First reflections", "Sound that reaches the ears by way of one surface, just after "
              "the direct sound. Loud ones smear the stereo picture and colour the tone."),
    "late": ("Later single reflections", "Sound that comes back off one surface after the first "
             "reflections. A loud one is heard as an echo, or as a second attack of a drum."),
    "flutter": ("Flutter between facing surfaces", "What sound loses on one trip to and fro "
                "between two surfaces that face each other, where loudspeakers and ears are. Too "
                "little: a clap rattles or twangs."),
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
_EXTRA_WORDS = {"after_low": "4 in 5 between", "chance": "chance"}
_SHARES = {"chance"}
_KNOWN = {
    "criterion", "where", "unit", "low", "high", "before", "after", "ok_before", "ok_after",
    "weight", "model", "note",
}  # fmt: skip


@dataclass(frozen=True)
class Group:
    """One group of the score card: its title and what it means, what all its rows share, its rows.

    `told` is limit, model and remark where they are one for all rows. `table` holds the rows that
    count, and `more` those that only inform; with none that count, `table` holds all.
    """

    key: str
    title: str
    meaning: str
    told: tuple[str, ...]
    table: Table
    more: Table | None


def score_groups(card: ScoreCard, units: str = "m") -> list[Group]:
    """The groups of a score card in its own order."""
    keys = list(dict.fromkeys(row.criterion for row in card.rows))
    return [_group(key, [r for r in card.rows if r.criterion == key], units) for key in keys]


@dataclass(frozen=True)
class _Shared:
    """What the rows of a group's first table have in common; None or blank where they differ."""

    limit: str | None
    model: str
    note: str

    def told(self) -> tuple[str, ...]:
        """One sentence for each."""
        return tuple(
            f"{word}: {text}."
            for word, text in (("Limit", self.limit), ("Model", self.model), ("Remark", self.note))
            if text
        )


def _group(key: str, rows: Sequence[ScoreRow], units: str) -> Group:
    title, meaning = GROUPS.get(key, (key[:1].upper() + key[1:], ""))
    counting = [row for row in rows if row.weight > 0]
    informing = [row for row in rows if not row.weight > 0]
    shown = counting or informing
    wanted = {limits(row.low, row.high, row.unit, units) for row in rows}
    models, notes = {row.model for row in shown}, {row.note for row in shown}
    shared = _Shared(
        wanted.pop() if len(wanted) == 1 else None,
        models.pop() if len(models) == 1 else "",
        notes.pop() if len(notes) == 1 else "",
    )
    told = shared.told() if counting else ("It only informs.", *shared.told())
    table = _table(title, shown, shared, units)
    more = _table(f"{title}: more that only inform", informing, shared, units)
    return Group(key, title, meaning, told, table, more if counting and informing else None)


def _table(title: str, rows: Sequence[ScoreRow], shared: _Shared, units: str) -> Table:
    extras = extra_columns(rows)
    wanted = () if shared.limit else ("limits",)
    header = ("what", *wanted, "now", "with the plan", *[_extra_word(n) for n in extras],
              "verdict")  # fmt: skip
    body = []
    for row in rows:
        asides = ["" if row.model == shared.model else row.model,
                  "" if row.note == shared.note else row.note]  # fmt: skip
        what = Cell(row_name(row), "; ".join(text for text in asides if text))
        more = [_extra(_value(row, name), name, row.unit, units) for name in extras]
        body.append([what, *[limits(row.low, row.high, row.unit, units) for _ in wanted],
                     figure(row.before, row.unit, units), figure(row.after, row.unit, units),
                     *more, verdict(row)])  # fmt: skip
    first = 1 + len(wanted)
    return Table(title, header, body, tuple(range(first, first + 2 + len(extras))), kind="named")


def row_name(row: ScoreRow) -> str:
    """What a row is about; a bass note with its name."""
    return near_note(row.where) if row.criterion == "mode" else row.where


def verdict(row: ScoreRow) -> str:
    """The verdict in words; none without a limit."""
    if row.low is None and row.high is None:
        return ABSENT
    missed = row.verdict in ("better", "worse", "unchanged")
    return f"not met, {row.verdict}" if missed else row.verdict


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
