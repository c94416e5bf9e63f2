"""Absorption left of the speakers' axis less that right of it, per octave band."""

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
    fixed_ticks,
    legend_above,
    limit_line,
    share_of,
)
from optimizer.drawings.style import INK, MEDIUM, PAPER, THIN, Picture, drawing, picture

TITLE = "Absorption left against right"
_BAR = 0.34


def sides_chart(
    before: ArrayLike,
    after: ArrayLike,
    limit: float,
    bands: Sequence[str],
    unit: str = "m²",
) -> Picture:
    """Differences (B,) of absorption area, left less right, in `unit`; bands (B,) by name.

    `limit` is allowed either way.
    """
    now, planned = as_floats(before, after)
    x = np.arange(len(bands), dtype=np.float64)
    with drawing():
        figure, (ax,) = chart_axes("octave band", f"left less right in {unit}")
        ax.bar(x - _BAR / 2, now, _BAR, facecolor=PAPER, edgecolor=NOW.colour, hatch="////",
               linewidth=MEDIUM, label=NOW_WORD)  # fmt: skip
        ax.bar(x + _BAR / 2, planned, _BAR, facecolor=PLANNED.colour, label=PLANNED_WORD)
        ends = np.array([-0.5, max(len(bands), 1) - 0.5])
        limit_line(ax, ends, np.full(2, limit), "limit either way")
        limit_line(ax, ends, np.full(2, -limit), "_limit")
        ax.axhline(0.0, color=INK, linewidth=THIN)
        fixed_ticks(ax.xaxis, x.tolist(), bands)
        reach = 1.15 * max(limit, *(float(np.abs(v).max(initial=0.0)) for v in (now, planned)))
        ax.set_ylim(-reach, reach)
        ax.set_xlim(*ends)
        legend_above(ax)
    return picture(figure, "sides", TITLE, _alt(now, planned, limit, bands, unit))


def _alt(now: Floats, planned: Floats, limit: float, bands: Sequence[str], unit: str) -> str:
    if not len(now):
        return "No band is compared."
    parts = []
    for word, values in (("Now", now), ("With the plan", planned)):
        worst = int(np.abs(values).argmax())
        side = "left" if values[worst] > 0 else "right"
        over = int((np.abs(values) > limit * (1 + 1e-9)).sum())
        parts.append(
            f"{word} the sides differ most at {bands[worst]}: {abs(values[worst]):.2f} {unit} more "
            f"on the {side}; {share_of(over, len(values), 'bands', 'is', 'are')} beyond the "
            f"limit of {limit:.2f} {unit}."
        )
    return " ".join(parts)
