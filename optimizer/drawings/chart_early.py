"""First reflections: level against delay, now and with a plan, against the limit."""

from collections.abc import Sequence
from itertools import product
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from optimizer.drawings.chart_axes import (
    Floats,
    as_floats,
    chart_axes,
    draw_now,
    draw_planned,
    legend_above,
    limit_line,
    no_data,
    share_of,
)
from optimizer.drawings.style import FAINT, MEDIUM, PAPER, SMALL, Picture, clean, drawing, picture

TITLE = "First reflections against the direct sound"
FLOOR_DB = -40.0  # quieter ones are drawn here
_LETTER = 0.016  # width of a letter as a share of the axis
_APART = 2.2  # dB between two labels that do not overlap
_GAP = 0.02  # between a point and its label, as a share of the axis
_LONGEST = 34  # letters of a label in the picture


def early_chart(
    delay_ms: ArrayLike,
    before_db: ArrayLike,
    after_db: ArrayLike,
    names: Sequence[str],
    limit_db: float,
    window_ms: float,
    labels: Sequence[str] | None = None,
) -> Picture:
    """Reflections (K,): delay in ms, level in dB re direct now and with the plan, and names.

    The limit holds up to `window_ms`. Reflections that stay above it are named in the picture,
    by `labels` if these are given (shorter than the names, which tell the finding in words).
    """
    delay, now, planned = as_floats(delay_ms, before_db, after_db)
    with drawing():
        figure, (ax,) = chart_axes("delay after the direct sound in ms", "level in dB re direct")
        ax.set_xlim(0.0, window_ms)
        shown = [np.maximum(level, FLOOR_DB) for level in (now, planned)]
        for x, first, second in zip(delay, *shown, strict=True):
            ax.plot([x, x], [first, second], color=FAINT, linewidth=MEDIUM, zorder=1)
        ends = np.array([0.0, window_ms])
        limit_line(ax, ends, np.full(2, limit_db), f"limit {limit_db:g} dB")
        if len(delay):
            draw_now(ax, delay, shown[0], line=False)
            draw_planned(ax, delay, shown[1], line=False)
            _name_loud(ax, delay, shown, labels or names, limit_db)
        else:
            no_data(ax, "no reflection in this time")
        ax.set_ylim(_bottom(shown), max(0.0, *(float(s.max(initial=-99.0)) + 2 for s in shown)))
        legend_above(ax)
    return picture(figure, "early", TITLE, _alt(now, planned, names, limit_db))


def _bottom(shown: Sequence[Floats]) -> float:
    """Where the axis begins: some way below the quietest, at the floor at the lowest."""
    least = min(float(level.min(initial=0.0)) for level in shown)
    return max(5.0 * float(np.floor(least / 5.0)) - 5.0, FLOOR_DB) - 1.0


def _name_loud(
    ax: Any, delay: Floats, shown: Sequence[Floats], names: Sequence[str], limit: float
) -> None:
    """Names beside the points above the limit, loudest first, where they cover the least."""
    level = shown[1]
    taken: list[tuple[float, float, float]] = []  # left end, right end, level
    named = set[tuple[float, float, str]]()
    for k in np.argsort(-level, kind="stable"):
        x, y, text = float(delay[k]), float(level[k]), _short(names[k])
        spot = (round(x, 2), round(y, 1), text)
        if y <= limit + 1e-9 or spot in named:
            continue
        found = _places(ax.get_xlim()[1], (x, y), text, delay, shown, taken)
        if found:
            _, _, minus, ends, at = min(found)
            named.add(spot)
            taken.append((*ends, at))
            hold = "right" if minus > 0 else "left"
            ax.annotate(text, (x, at), xytext=(-4 * minus, 0), textcoords="offset points",
                        fontsize=SMALL, va="center", ha=hold, zorder=2.5,
                        bbox={"facecolor": PAPER, "edgecolor": "none", "pad": 0.6})  # fmt: skip


def _places(
    span: float, point: tuple[float, float], text: str, delay: Floats, shown: Sequence[Floats],
    taken: Sequence[tuple[float, float, float]],
) -> list[tuple[int, float, int, tuple[float, float], float]]:  # fmt: skip
    """Free places for a name: how much it covers, how far off, side, its ends, its level."""
    x, y = point
    low, high = np.minimum(*shown), np.maximum(*shown)
    places = []
    for side, steps in product((1, -1), (0, 1, -1, 2, -2)):
        far, at = x + side * (len(text) * _LETTER + _GAP) * span, y + steps * _APART
        ends = (min(x, far), max(x, far))
        if ends[0] < 0 or ends[1] > span or any(_meets(ends, at, other) for other in taken):
            continue
        beside = (delay > ends[0]) & (delay < ends[1]) & (delay != x)
        marks = sum((beside & (np.abs(v - at) < _APART / 2)).sum() for v in shown)
        stems = (beside & (low < at) & (high > at)).sum()
        places.append((int(10 * marks + stems), abs(at - y), -side, ends, at))
    return places


def _meets(ends: tuple[float, float], level: float, other: tuple[float, float, float]) -> bool:
    """True when two names lie over each other."""
    left, right, at = other
    return ends[0] <= right and left <= ends[1] and abs(level - at) <= _APART


def _short(name: str) -> str:
    name = clean(name)
    return name if len(name) <= _LONGEST else name[: _LONGEST - 3] + "..."


def _alt(now: Floats, planned: Floats, names: Sequence[str], limit: float) -> str:
    if not len(now):
        return "No reflection arrives within the time looked at."
    parts = []
    for word, level in (("Now", now), ("With the plan", planned)):
        loud = int((level > limit + 1e-9).sum())
        text = f"{word} {share_of(loud, len(level), 'first reflections', 'is', 'are')}"
        text += f" above the limit of {limit:g} dB"
        top = int(level.argmax())
        parts.append(f"{text}; the strongest is {clean(names[top])} with {level[top]:.1f} dB.")
    return " ".join(parts)
