"""Decay measured in the room per octave band, against what was predicted."""

import numpy as np
from numpy.typing import ArrayLike

from optimizer.bands import BAND_LABELS, BANDS
from optimizer.drawings.chart_axes import (
    Floats,
    as_floats,
    chart_axes,
    fixed_ticks,
    legend_above,
)
from optimizer.drawings.style import INK, PAPER, SERIES, Picture, drawing, picture

TITLE = "Decay measured and predicted"
MEASURED_WORD, BEFORE_WORD, AFTER_WORD = "measured", "by the tables", "calibrated"


def measured_chart(
    measured: ArrayLike, error: ArrayLike, before: ArrayLike, after: ArrayLike, state: str
) -> Picture:
    """Decay times (8,) in s of one state: measured with its standard error, predicted by the
    tables' coefficients and by the calibrated ones; nan where not measured."""
    times, off, first, second = as_floats(measured, error, before, after)
    x = np.arange(len(BANDS), dtype=np.float64)
    with drawing():
        figure, (ax,) = chart_axes("octave band", "decay time in s")
        for values, look, word in (
            (first, SERIES[1], BEFORE_WORD),
            (second, SERIES[2], AFTER_WORD),
        ):
            ax.plot(x, values, color=look.colour, linestyle=look.dash, marker=look.marker,
                    markerfacecolor=PAPER, label=word)  # fmt: skip
        ax.errorbar(x, times, yerr=np.nan_to_num(off), fmt="o", color=INK, capsize=2.5,
                    elinewidth=0.7, label=f"{MEASURED_WORD} (± standard error)")  # fmt: skip
        fixed_ticks(ax.xaxis, x.tolist(), BAND_LABELS)
        everything = np.concatenate([times + np.nan_to_num(off), first, second])
        ax.set_ylim(0.0, 1.08 * float(np.nanmax(everything)))
        legend_above(ax)
    return picture(figure, "measured", TITLE, _alt(times, first, second, state))


def _alt(measured: Floats, before: Floats, after: Floats, state: str) -> str:
    parts = [f"{state}."]
    for word, values in (("By the tables", before), ("Calibrated", after)):
        off = np.abs(values / measured - 1.0)
        worst = int(np.nanargmax(off))
        parts.append(
            f"{word}, the prediction is off by {100 * np.nanmean(off):.0f} % on average, at most "
            f"by {100 * off[worst]:.0f} % ({BAND_LABELS[worst]}: {values[worst]:.2f} s, "
            f"measured {measured[worst]:.2f} s)."
        )
    return " ".join(parts)
