"""What more money buys, and what each stage of buying brings."""

from collections.abc import Sequence
from typing import Any

from numpy.typing import ArrayLike

from optimizer.drawings.chart_axes import (
    PLANNED,
    Floats,
    as_floats,
    chart_axes,
    legend_above,
    note,
)
from optimizer.drawings.style import SERIES, Picture, clean, drawing, picture

CURVE_TITLE = "What more money would bring"
STAGES_TITLE = "Bought in stages"
_UP = "weighted excess (0 = all met)"
_LONGEST = 30


def budget_chart(
    amounts: ArrayLike, scores: ArrayLike, currency: str, chosen: float | None = None
) -> Picture:
    """Weighted excess over the limits (N,) of the best plan for each amount of money (N,).

    `chosen` marks the budget of the plan at hand where it lies among them.
    """
    money, score = as_floats(amounts, scores)
    if not len(money):
        raise ValueError("give at least one budget")
    with drawing():
        figure, (ax,) = chart_axes(f"budget in {clean(currency)}", _UP)
        _line(ax, money, score, "best plan for that budget")
        if chosen is not None and money[0] <= chosen <= money[-1]:
            ax.axvline(chosen, color=SERIES[1].colour, linestyle=SERIES[1].dash, label="this plan")
        ax.set_ylim(0.0, 1.08 * max(float(score.max()), 1e-6))
        legend_above(ax)
    alt = (
        f"The weighted excess falls from {score[0]:.2f} at {money[0]:,.0f} {clean(currency)} to "
        f"{score[-1]:.2f} at {money[-1]:,.0f} {clean(currency)}."
    )
    return picture(figure, "budget", CURVE_TITLE, alt)


def stages_chart(
    labels: Sequence[str], costs: ArrayLike, scores: ArrayLike, currency: str
) -> Picture:
    """Money spent so far (N,) and weighted excess left (N,) after each stage."""
    money, score = as_floats(costs, scores)
    if not len(money):
        raise ValueError("give at least one stage")
    with drawing():
        figure, (ax,) = chart_axes(f"money spent in {clean(currency)}", _UP)
        _line(ax, money, score, "after each stage", steps="steps-post")
        for label, x, y in zip(labels, money, score, strict=True):
            note(ax, float(x), float(y), clean(label)[:_LONGEST])
        ax.set_ylim(0.0, 1.15 * max(float(score.max()), 1e-6))
        ax.set_xlim(0.0, 1.25 * max(float(money.max()), 1.0))
        legend_above(ax)
    told = [
        f"{clean(label)}: {x:,.0f} {clean(currency)} spent, excess {y:.2f}"
        for label, x, y in zip(labels, money, score, strict=True)
    ]
    return picture(figure, "stages", STAGES_TITLE, "; ".join(told) + ".")


def _line(ax: Any, x: Floats, y: Floats, label: str, steps: str = "default") -> None:
    ax.plot(x, y, color=PLANNED.colour, marker=PLANNED.marker, drawstyle=steps, label=label)
