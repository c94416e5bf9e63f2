"""Decay time per octave band, now and with a plan, against the limits."""

import numpy as np
from matplotlib.axes import Axes
from numpy.typing import ArrayLike

from optimizer.bands import BAND_LABELS, BANDS
from optimizer.drawings.chart_axes import (
    ALLOWED,
    PLANNED,
    Floats,
    as_floats,
    chart_axes,
    draw_now,
    draw_planned,
    fixed_ticks,
    legend_above,
    limit_line,
    share_of,
)
from optimizer.drawings.style import Picture, drawing, picture

TITLE = "Decay time per octave band"


def decay_chart(
    before: ArrayLike,
    after: ArrayLike,
    low: ArrayLike,
    high: ArrayLike,
    interval: tuple[ArrayLike, ArrayLike] | None = None,
) -> Picture:
    """Decay times (8,) in s of the octaves 63 Hz - 8 kHz, with limits (8,) (nan = open).

    `interval`: lower and upper end (8,) of what the time with the plan may be, drawn as bars.
    """
    now, planned, bottom, top = as_floats(before, after, low, high)
    x = np.arange(len(BANDS), dtype=np.float64)
    with drawing():
        figure, (ax,) = chart_axes("octave band", "decay time in s")
        floor = np.nan_to_num(bottom, nan=0.0)
        ceiling = np.where(np.isnan(top), _highest(now, planned, top), top)
        ax.fill_between(x, floor, ceiling, color=ALLOWED, linewidth=0, label="allowed")
        for edge in (bottom, top):
            limit_line(ax, x, edge, "_limit")
        if interval is not None:
            _bars(ax, x, planned, *as_floats(*interval))
        draw_now(ax, x, now)
        draw_planned(ax, x, planned)
        fixed_ticks(ax.xaxis, x.tolist(), BAND_LABELS)
        bars = as_floats(interval[1]) if interval is not None else []
        ax.set_ylim(0.0, 1.08 * _highest(now, planned, top, *bars))
        legend_above(ax)
    return picture(figure, "decay", TITLE, _alt(now, planned, bottom, top))


def _highest(*values: Floats) -> float:
    numbers = np.concatenate(values)
    numbers = numbers[np.isfinite(numbers)]
    return float(numbers.max()) if len(numbers) else 1.0


def _bars(ax: Axes, x: Floats, planned: Floats, low: Floats, high: Floats) -> None:
    reach = np.nan_to_num(np.stack([planned - low, high - planned]).clip(min=0.0))
    ax.errorbar(x, planned, yerr=reach, fmt="none", ecolor=PLANNED.colour, capsize=2.5,
                elinewidth=0.7, label="4 in 5 between")  # fmt: skip


def _alt(now: Floats, planned: Floats, low: Floats, high: Floats) -> str:
    parts = [f"Now {_outside(now, low, high)}", f"with the plan {_outside(planned, low, high)}"]
    return "; ".join(parts) + "."


def _outside(values: Floats, low: Floats, high: Floats) -> str:
    """How many bands lie outside the limits, and the farthest of them."""
    with np.errstate(divide="ignore", invalid="ignore"):
        over = np.nan_to_num(values / high - 1.0, nan=0.0, posinf=1e9)
        under = np.nan_to_num(low / values - 1.0, nan=0.0, posinf=1e9)
    excess = np.maximum(over, under)
    outside = int((excess > 1e-9).sum())
    text = share_of(outside, len(BANDS), "octave bands", "is", "are") + " outside the limits"
    if outside:
        worst = int(excess.argmax())
        side = "at most" if over[worst] >= under[worst] else "at least"
        limit = high[worst] if over[worst] >= under[worst] else low[worst]
        text += (
            f", the farthest {BAND_LABELS[worst]} with {values[worst]:.2f} s"
            f" (allowed {side} {limit:.2f} s)"
        )
    return text
