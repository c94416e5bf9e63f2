"""What the charts share: a figure with axes, scales of frequency, and words for numbers."""

from collections.abc import Sequence
from typing import Any

import numpy as np
from matplotlib.figure import Figure
from matplotlib.ticker import FixedFormatter, FixedLocator, NullLocator
from numpy.typing import NDArray

from optimizer.drawings.style import (
    FAINT,
    HAIR,
    INK,
    MEDIUM,
    MUTED,
    PAPER,
    SERIES,
    SMALL,
    TEXT,
    new_figure,
)

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

WIDTH_MM, HEIGHT_MM = 114.0, 72.0  # letters stay legible when a phone shrinks it
NOW, PLANNED = SERIES[1], SERIES[0]
NOW_WORD, PLANNED_WORD = "now", "with the plan"
ALLOWED = "#dcefe8"  # pale fill of what the limits allow; its edges are drawn as lines


def chart_axes(
    across: str, up: str, height_mm: float = HEIGHT_MM, rows: int = 1
) -> tuple[Figure, list[Any]]:
    """A figure with `rows` axes one above the other, with a light grid and labelled axes."""
    figure = new_figure(WIDTH_MM, height_mm)
    figure.set_layout_engine("constrained")
    axes = list(np.atleast_1d(figure.subplots(rows, 1, sharex=True)))
    for ax in axes:
        ax.grid(True, axis="y", color=FAINT, linewidth=HAIR)
        ax.spines[["top", "right"]].set_visible(False)
        ax.set_ylabel(up)
        ax.tick_params(labelsize=SMALL)
    axes[-1].set_xlabel(across)
    return figure, axes


def legend_above(ax: Any, columns: int = 4) -> None:
    """The legend in a row above the axes, where it hides no point."""
    ax.legend(loc="lower left", bbox_to_anchor=(0.0, 1.0), ncols=columns, borderaxespad=0.2,
              handlelength=2.4, columnspacing=1.1)  # fmt: skip


def fixed_ticks(axis: Any, places: Sequence[float], labels: Sequence[str]) -> None:
    """Ticks at these places with these labels, and no others."""
    axis.set_major_locator(FixedLocator(list(places)))
    axis.set_major_formatter(FixedFormatter(list(labels)))
    axis.set_minor_locator(NullLocator())


def frequency_axis(ax: Any, low: float, high: float) -> None:
    """A logarithmic scale of frequency in Hz with round ticks."""
    ax.set_xscale("log")
    ax.set_xlim(low, high)
    ticks = [f for f in (20, 30, 40, 50, 70, 100, 150, 200, 300, 500) if low <= f <= high]
    fixed_ticks(ax.xaxis, ticks, [f"{f:g}" for f in ticks])


def draw_now(ax: Any, x: Floats, y: Floats, line: bool = True, **more: Any) -> None:
    """Values as they are: dashes and open squares."""
    look = {"label": NOW_WORD, "markersize": 4.5, **more}
    ax.plot(x, y, color=NOW.colour, linestyle=NOW.dash if line else "none", marker=NOW.marker,
            markerfacecolor=PAPER, **look)  # fmt: skip


def draw_planned(ax: Any, x: Floats, y: Floats, line: bool = True, **more: Any) -> None:
    """Values with the plan: a full line and filled discs."""
    look = {"label": PLANNED_WORD, **more}
    ax.plot(x, y, color=PLANNED.colour, linestyle=PLANNED.dash if line else "none",
            marker=PLANNED.marker, **look)  # fmt: skip


def limit_line(ax: Any, x: Floats, y: Floats, label: str) -> None:
    """A limit: a full grey line."""
    ax.plot(x, y, color=MUTED, linewidth=MEDIUM, label=label)


def note(ax: Any, x: float, y: float, text: str, **more: Any) -> None:
    """A small text at a point of the chart, a little to its right."""
    ax.annotate(text, (x, y), xytext=(4, 2), textcoords="offset points", fontsize=SMALL,
                color=INK, **more)  # fmt: skip


def no_data(ax: Any, text: str) -> None:
    """A line of text in place of data."""
    ax.text(0.5, 0.5, text, transform=ax.transAxes, ha="center", fontsize=TEXT, color=MUTED)


def as_floats(*values: Any) -> list[Floats]:
    """Arrays of floats from whatever a caller has."""
    return [np.asarray(value, dtype=np.float64) for value in values]


def share_of(number: int, total: int, things: str, one: str, more: str) -> str:
    """ "none of the 8 bands is", "1 of the 8 bands is", "3 of the 8 bands are", "all 8 bands are".

    `one` and `more` are the verb for one thing and for several.
    """
    if number == total:
        return (
            f"all {total} {things} {more}" if total > 1 else f"the only one of the {things} {one}"
        )
    counted = "none" if number == 0 else str(number)
    return f"{counted} of the {total} {things} {one if number <= 1 else more}"
