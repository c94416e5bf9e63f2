"""How long each room mode rings, now and with a plan, against the audible limit."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from optimizer.drawings.chart_axes import (
    Floats,
    as_floats,
    chart_axes,
    draw_now,
    draw_planned,
    frequency_axis,
    legend_above,
    limit_line,
    no_data,
    share_of,
)
from optimizer.drawings.style import FAINT, HAIR, Picture, drawing, picture

TITLE = "Ringing of the room modes"
_SMALL_MARK = 2.4  # points, for modes that only inform


def modes_chart(
    f_hz: ArrayLike,
    before: ArrayLike,
    after: ArrayLike,
    limit: ArrayLike,
    counts: NDArray[np.bool_],
) -> Picture:
    """Modes (M,): frequency in Hz, decay time in s now and with the plan, audible limit in s.

    Modes where `counts` (M,) is False only inform (hardly driven or heard); they are drawn small.
    """
    f, now, planned, longest = as_floats(f_hz, before, after, limit)
    order = np.argsort(f, kind="stable")
    f, now, planned, longest = (a[order] for a in (f, now, planned, longest))
    heard = np.asarray(counts, dtype=bool)[order]
    with drawing():
        figure, (ax,) = chart_axes("frequency in Hz", "decay time in s")
        if len(f):
            limit_line(ax, f, longest, "audible limit")
            ax.vlines(f, planned, now, color=FAINT, linewidth=2 * HAIR, zorder=1)
            for draw, times in ((draw_now, now), (draw_planned, planned)):
                draw(ax, f[~heard], times[~heard], line=False, label="_", markersize=_SMALL_MARK)
                draw(ax, f[heard], times[heard], line=False)
            frequency_axis(ax, 0.93 * float(f.min()), 1.07 * float(f.max()))
            ax.set_ylim(0.0, 1.08 * float(np.nanmax(np.concatenate([now, planned, longest]))))
            legend_above(ax)
        else:
            no_data(ax, "no mode below the Schroeder frequency")
    return picture(figure, "modes", TITLE, _alt(f, now, planned, longest, heard))


def _alt(f: Floats, now: Floats, planned: Floats, limit: Floats, heard: NDArray[np.bool_]) -> str:
    if not heard.any():
        return "No room mode counts here."
    parts = []
    for word, times in (("Now", now), ("With the plan", planned)):
        over = (times / limit)[heard] - 1.0
        long = int((over > 1e-9).sum())
        text = f"{word} {share_of(long, int(heard.sum()), 'modes that count', 'rings', 'ring')}"
        text += " longer than the audible limit"
        worst = int(np.flatnonzero(heard)[over.argmax()])
        which = "farthest from" if long else "nearest to"
        parts.append(
            f"{text}; the {which} it is {f[worst]:.1f} Hz with {times[worst]:.2f} s"
            f" (limit {limit[worst]:.2f} s)."
        )
    if not heard.all():
        parts.append("Small marks are modes that only inform.")
    return " ".join(parts)
