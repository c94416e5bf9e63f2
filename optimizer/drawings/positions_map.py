"""Map of set-ups: quality over the floor and along the axis, and the bass by place."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from matplotlib.patches import Polygon

from optimizer.drawings.chart_axes import WIDTH_MM, chart_axes, fixed_ticks, no_data, note
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
    THIN,
    Picture,
    clean,
    drawing,
    picture,
)
from optimizer.room.geometry import Floats
from optimizer.room.model import Room

TITLE = "Where to sit"
SHADES = "cividis"  # even in lightness, for any colour vision
SPAN_DB = 36.0  # below the highest level that is drawn
HEIGHTS = (3.2, 1.5, 1.7)
HEIGHT_MM = 236.0


@dataclass(frozen=True)
class Place:
    """A set-up on the floor of the room file's axes: loudspeakers (2, 3) and ears (3,)."""

    label: str
    speakers: Floats
    ears: Floats


@dataclass(frozen=True)
class Levels:
    """Level (X, F) in dB at distances (X,) in m from the wall faced, at frequencies (F,)."""

    label: str
    distance: Floats
    f_hz: Floats
    level_db: Floats


@dataclass(frozen=True)
class Mapped:
    """What is drawn: `floor` places (M, 2) and scores (M,), `along` distances and scores by wall
    faced, `marks` names and distances of rules of thumb by wall, set-ups, levels (box rooms)."""

    room: Room
    floor: tuple[Floats, Floats]
    along: Mapping[str, tuple[Floats, Floats]]
    marks: Mapping[str, float]
    marked_wall: str
    places: Sequence[Place]
    levels: Levels | None


@drawing()
def positions_map(shown: Mapped) -> Picture:
    """Best score over the floor with the set-ups on it, best score along the axis of each wall
    faced, and the level of the bass along the axis of the best set-up."""
    figure, axes = chart_axes("", "", HEIGHT_MM, 3)
    for ax in axes:
        ax.remove()
    grid = figure.add_gridspec(3, 1, height_ratios=HEIGHTS)
    floor, along, bass = (figure.add_subplot(grid[i]) for i in range(3))
    _draw_floor(figure, floor, shown)
    _draw_along(along, shown)
    _draw_levels(figure, bass, shown)
    return picture(figure, "positions", TITLE, _alt(shown))


def _draw_floor(figure: Any, ax: Any, shown: Mapped) -> None:
    """The room from above, front wall at the top, a square for each place that can be sat at."""
    places, scores = shown.floor
    if len(scores):
        across = 0.9 * (WIDTH_MM - 45) / max(_width(shown.room), 1e-6)
        size = across * _step(places) * 72 / 25.4
        dots = ax.scatter(places[:, 1], places[:, 0], c=scores, s=min(size, 40.0) ** 2 / 4,
                          marker="s", cmap=f"{SHADES}_r", linewidths=0)  # fmt: skip
        bar = figure.colorbar(dots, ax=ax, shrink=0.7)
        bar.set_label("best score of a seat there (0 is best)")
    for surface in shown.room.surfaces:
        if surface.is_floor:
            corners = surface.plane.to_xyz(surface.plane.polygon)[:, [1, 0]]
            ax.add_patch(Polygon(corners, fill=False, edgecolor=INK, linewidth=1.4))
    for item in shown.room.furniture:
        x0, y0, x1, y1 = item.box[:, :2].ravel().tolist()
        ax.add_patch(Polygon([(y0, x0), (y1, x0), (y1, x1), (y0, x1)], fill=False,
                             edgecolor=MUTED, linewidth=THIN, linestyle=(0, (4, 2))))  # fmt: skip
    for place, look in zip(shown.places, _looks(), strict=False):
        ax.plot(place.speakers[:, 1], place.speakers[:, 0], look.marker, color=look.colour,
                markeredgecolor=PAPER, markersize=6, linestyle="none")  # fmt: skip
        ax.plot([place.ears[1]], [place.ears[0]], look.marker, color=PAPER, markersize=6,
                markeredgecolor=look.colour, markeredgewidth=1.4, linestyle="none",
                label=place.label)  # fmt: skip
        note(ax, float(place.ears[1]), float(place.ears[0]), place.label, fontweight="bold")
    ax.set_aspect("equal")
    ax.invert_yaxis()
    ax.set_xlabel("from the left wall in m")
    ax.set_ylabel("from the front wall in m")
    ax.set_title("Filled: loudspeakers; open: ears; dashed: furniture as it is", fontsize=TEXT,
                 loc="left")  # fmt: skip


def _draw_along(ax: Any, shown: Mapped) -> None:
    if not any(len(x) for x, _ in shown.along.values()):
        no_data(ax, "no free place")
    for (wall, (away, score)), look in zip(shown.along.items(), SERIES, strict=False):
        if len(away):
            ax.plot(away, score, color=look.colour, linestyle=look.dash, label=f"{wall} wall")
    for name, distance in shown.marks.items():
        ax.axvline(distance, color=MUTED, linewidth=MEDIUM, linestyle=(0, (2, 2)))
        ax.text(distance, 1.0, f" {name}", transform=ax.get_xaxis_transform(), fontsize=SMALL,
                color=MUTED, va="top")  # fmt: skip
    ax.grid(True, axis="y", color=FAINT, linewidth=HAIR)
    ax.set_xlabel(f"ears from the wall faced in m (marks: {shown.marked_wall} wall)")
    ax.set_ylabel("best score there")
    ax.legend(loc="upper left", bbox_to_anchor=(1.01, 1.0), title="faces")


def _draw_levels(figure: Any, ax: Any, shown: Mapped) -> None:
    heard = shown.levels
    if heard is None:
        no_data(ax, "the low end by place is known for box rooms only")
        return
    top = float(heard.level_db.max())
    mesh = ax.pcolormesh(heard.distance, heard.f_hz, heard.level_db.T, cmap=SHADES, vmin=top
                         - SPAN_DB, vmax=top, shading="nearest", rasterized=True)  # fmt: skip
    ax.set_yscale("log")
    fixed_ticks(ax.yaxis, (20, 30, 50, 70, 100, 150, 200, 300),
                ("20", "30", "50", "70", "100", "150", "200", "300"))  # fmt: skip
    for name, distance in shown.marks.items():
        ax.axvline(distance, color=PAPER, linewidth=MEDIUM, linestyle=(0, (2, 2)))
        ax.text(distance, 0.98, f" {name}", transform=ax.get_xaxis_transform(), fontsize=SMALL,
                color=PAPER, va="top")  # fmt: skip
    ax.set_xlabel(f"along the axis from the {shown.marked_wall} wall in m")
    ax.set_title(clean(heard.label), fontsize=TEXT, loc="left")
    ax.set_ylabel("frequency in Hz")
    figure.colorbar(mesh, ax=ax).set_label("level in dB")


def _looks() -> list[Any]:
    """Ink for the set-up as it is, then the other colours."""
    return list(SERIES)


def _step(places: Floats) -> float:
    """Distance between neighbouring places, m."""
    gaps = np.diff(np.unique(np.round(places[:, 0], 2)))
    return float(gaps.min()) if len(gaps) else 0.1


def _width(room: Room) -> float:
    low, high = room.width_span
    return high - low


def _alt(shown: Mapped) -> str:
    places, scores = shown.floor
    if not len(scores):
        return "No place in the room is free for another set-up."
    best = places[int(scores.argmin())]
    said = (
        f"Of {len(scores)} places for the ears the best scores {scores.min():.2f}, "
        f"{best[0]:.2f} m from the front wall and {best[1]:.2f} m from the left wall; the worst "
        f"scores {scores.max():.2f}."
    )
    walls = [
        f"facing the {wall} wall {score.min():.2f} at {distance[int(score.argmin())]:.2f} m"
        for wall, (distance, score) in shown.along.items()
        if len(distance)
    ]
    return said + " Best by wall: " + "; ".join(walls) + "."
