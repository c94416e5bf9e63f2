"""What was once measured in the room, against what was and is predicted for it."""

import numpy as np

from optimizer.bands import BAND_LABELS
from optimizer.drawings.charts import measured_chart
from optimizer.report.more import Part
from optimizer.report.wording import ABSENT, Table, figure
from optimizer.results.model import Plan
from optimizer.room.geometry import Floats
from optimizer.room.schema import MeasuredSection

HEADER = (
    "octave band",
    "measured",
    "± standard error",
    "by the tables",
    "off",
    "calibrated",
    "off",
)
NOW = ("in this report, now", "off")
TOLD = (
    "Decay measured in this room, and what was predicted for it: by the coefficients of the tables "
    "as they stood then, and by those calibrated since, which this report uses."
)
LAST = (
    "The last columns are what this report predicts for the room as it is now: they belong to the "
    "measurement as long as the room has not changed since."
)


def measured_parts(plan: Plan) -> list[Part]:
    """A part for each state that the room file carries; the last is compared with the room now."""
    states = [s for s in plan.project.scenario.measured if max(s.t20) > 0]
    now = _now(plan)
    return [
        _part(section, now if number == len(states) else None, number == 1)
        for number, section in enumerate(states, 1)
    ]


def _now(plan: Plan) -> Floats:
    """Decay (8,) of the room as it is by the score card, nan where it has none."""
    known = {row.where: row.before for row in plan.card.rows if row.criterion == "decay"}
    return np.array([known.get(label, np.nan) for label in BAND_LABELS])


def _part(section: MeasuredSection, now: Floats | None, first: bool) -> Part:
    measured = np.array(section.t20)
    measured[measured <= 0] = np.nan
    error, before, after = (np.array(v) for v in (section.error, section.before, section.after))
    columns = [before, after] if now is None else [before, after, now]
    rows = []
    for b in np.flatnonzero(np.isfinite(measured)):
        cells = [BAND_LABELS[b], figure(measured[b], "s"), figure(error[b], "s")]
        for values in columns:
            cells += [figure(values[b], "s"), _off(values[b], measured[b])]
        rows.append(cells)
    header = HEADER if now is None else (*HEADER, *NOW)
    title = f"Measured: {section.state}"
    table = Table(title, header, rows, tuple(range(1, len(header))), kind="others")
    missing = np.where(np.isfinite(measured), 1.0, np.nan)
    chart = measured_chart(measured, error * missing, before * missing, after * missing, title)
    told = (*([TOLD] if first else []), *([LAST] if now is not None else []))
    return Part(title, told, table, chart)


def _off(predicted: float, measured: float) -> str:
    off = 100 * (predicted / measured - 1.0)
    return f"{round(off):+d} %" if np.isfinite(off) else ABSENT
