"""Level of the bass at each seat, now and with a plan."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike

from optimizer.drawings.chart_axes import (
    NOW,
    NOW_WORD,
    PLANNED,
    PLANNED_WORD,
    Floats,
    as_floats,
    chart_axes,
    frequency_axis,
    legend_above,
)
from optimizer.drawings.style import TEXT, Picture, clean, drawing, picture

TITLE = "Bass at the seats"
RANGE_HZ = (20.0, 300.0)
_SPAN_DB = 45.0  # below the highest peak that is drawn
_PANEL_MM = 46.0


def response_chart(
    f_hz: ArrayLike, before_db: ArrayLike, after_db: ArrayLike, seats: Sequence[str]
) -> Picture:
    """Level (R, F) in dB at R seats over frequency (F,) in Hz, now and with the plan.

    Drawn from 20 to 300 Hz, one panel per seat, relative to the mean level of the first seat now.
    """
    f, now, planned = as_floats(f_hz, before_db, after_db)
    now, planned = np.atleast_2d(now), np.atleast_2d(planned)
    used = (f >= RANGE_HZ[0]) & (f <= RANGE_HZ[1])
    f, now, planned = f[used], now[:, used], planned[:, used]
    if not len(f):
        raise ValueError("no frequency from 20 to 300 Hz")
    zero = mean_level(now[0])
    now, planned = now - zero, planned - zero
    with drawing():
        height = 14.0 + _PANEL_MM * len(seats)
        figure, axes = chart_axes("frequency in Hz", "level in dB", height, len(seats))
        top = 5.0 * np.ceil(max(now.max(), planned.max()) / 5.0)
        for ax, first, second, name in zip(axes, now, planned, seats, strict=True):
            ax.plot(f, first, color=NOW.colour, linestyle=NOW.dash, label=NOW_WORD)
            ax.plot(f, second, color=PLANNED.colour, label=PLANNED_WORD)
            frequency_axis(ax, *RANGE_HZ)
            ax.set_ylim(top - _SPAN_DB, top)
            ax.text(0.99, 0.04, clean(name)[:40], transform=ax.transAxes, ha="right",
                    fontsize=TEXT, fontweight="bold")  # fmt: skip
        legend_above(axes[0])
    return picture(figure, "response", TITLE, _alt(f, now, planned, seats))


def mean_level(levels: Floats) -> float:
    """Level in dB of the mean energy of levels in dB."""
    return float(10 * np.log10(np.mean(10 ** (levels / 10))))


def _alt(f: Floats, now: Floats, planned: Floats, seats: Sequence[str]) -> str:
    parts = []
    for name, first, second in zip(seats, now, planned, strict=True):
        dip = int(second.argmin())
        parts.append(
            f"At {clean(name)} the level strays from its mean by {first.std():.1f} dB now and "
            f"{second.std():.1f} dB with the plan (standard deviation, 20 to 300 Hz); the deepest "
            f"dip left is at {f[dip]:.0f} Hz."
        )
    return " ".join(parts)
