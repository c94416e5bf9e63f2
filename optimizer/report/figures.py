"""The charts of a report, from the score card and the criteria behind it."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Protocol, TypeVar

import numpy as np
from numpy.typing import NDArray

from optimizer.acoustics.criteria import Criterion
from optimizer.acoustics.early_criteria import PROFILES, EarlyFamily
from optimizer.acoustics.mode_criteria import ModeFamily
from optimizer.bands import BAND_LABELS
from optimizer.drawings import charts
from optimizer.drawings.style import Picture
from optimizer.report.wording import unit_word
from optimizer.results.model import Plan
from optimizer.results.scorecard import ScoreRow
from optimizer.room.geometry import Floats
from optimizer.units import FOOT

_Kind = TypeVar("_Kind")
NO_RESPONSE = (
    "The bass at the seats is not drawn as a curve: it was not computed for this report "
    "(treatment report with --bass does, and takes longer)."
)
NO_BOX = "Room modes are not drawn one by one: this room is no box."


class Response(Protocol):
    """Level (S, R, F) in dB of each loudspeaker at each seat over f_hz (F,)."""

    @property
    def f_hz(self) -> Floats: ...
    @property
    def level_db(self) -> Floats: ...


Responses = tuple[Response, Response]  # of the room now, and with the plan


@dataclass(frozen=True)
class Charts:
    """Pictures, and a line for each that is left out."""

    pictures: tuple[Picture, ...]
    left_out: tuple[str, ...]


def report_charts(plan: Plan, units: str = "m", response: Responses | None = None) -> Charts:
    """All charts that the plan has data for."""
    pictures = [_decay(plan), _early(plan), _modes(plan), _sides(plan, units)]
    left_out = [NO_BOX] if pictures[2] is None else []
    if response is None:
        left_out.append(NO_RESPONSE)
    else:
        pictures.insert(3, response_picture(plan, response))
    return Charts(tuple(p for p in pictures if p is not None), tuple(left_out))


def card_rows(plan: Plan, rows: Iterable[Criterion]) -> list[ScoreRow | None]:
    """The row of the score card for each criterion; None where the card has none."""
    known = {(row.criterion, row.where): row for row in plan.card.rows}
    return [known.get((row.group, row.where)) for row in rows]


def _family(plan: Plan, kind: type[_Kind]) -> _Kind | None:
    return next((f for f in plan.project.criteria.families if isinstance(f, kind)), None)


def column(rows: Sequence[ScoreRow | None], name: str) -> Floats:
    """An attribute of rows as floats, nan where there is none."""
    values = [getattr(row, name, None) for row in rows]
    return np.array([np.nan if v is None else v for v in values], dtype=np.float64)


def _decay(plan: Plan) -> Picture | None:
    known = {row.where: row for row in plan.card.rows if row.criterion == "decay"}
    rows = [known.get(label) for label in BAND_LABELS]
    if not known:
        return None
    ends = (column(rows, "after_low"), column(rows, "after_high"))
    interval = ends if np.isfinite(ends).any() else None
    before, after, low, high = (column(rows, n) for n in ("before", "after", "low", "high"))
    return charts.decay_chart(before, after, low, high, interval)


def _early(plan: Plan) -> Picture | None:
    families = plan.project.criteria.families
    found = [f for f in families if isinstance(f, EarlyFamily) and f.rows]
    family = next((f for f in found if f.rows[0].group == "early"), None)
    if family is None:
        return None
    rows = card_rows(plan, family.rows)
    delay = family.paths.delay_ms[tuple(family.index.T)]
    level, window = PROFILES[plan.project.scenario.targets.early]
    names = [row.where for row in family.rows]
    scene = plan.project.scene
    labels = [f"{scene.seat_names[r]} via {family.paths.names[p]}" for _, r, p in family.index]
    before, after = column(rows, "before"), column(rows, "after")
    return charts.early_chart(delay, before, after, names, level, window, labels)


def _modes(plan: Plan) -> Picture | None:
    family = _family(plan, ModeFamily)
    if family is None:
        return None
    rows = card_rows(plan, family.rows)
    counts: NDArray[np.bool_] = column(rows, "weight") > 0
    before, after, limit = (column(rows, n) for n in ("before", "after", "high"))
    return charts.modes_chart(family.modes.f_hz, before, after, limit, counts)


def _sides(plan: Plan, units: str) -> Picture | None:
    rows = [row for row in plan.card.rows if row.criterion == "side balance"]
    if not rows or rows[0].high is None:
        return None
    factor = 1 / FOOT**2 if units == "ft" else 1.0
    before, after = (factor * column(rows, name) for name in ("before", "after"))
    names = [row.where for row in rows]
    limit = factor * rows[0].high
    return charts.sides_chart(before, after, limit, names, unit_word("m2", units))


def response_picture(plan: Plan, response: Responses) -> Picture:
    """The bass at each seat: mean energy of the loudspeakers, now and with the plan."""
    now, planned = (10 * np.log10(np.mean(10 ** (r.level_db / 10), axis=0)) for r in response)
    names = [seat.name for seat in plan.project.room.seats]
    return charts.response_chart(response[0].f_hz, now, planned, names)
