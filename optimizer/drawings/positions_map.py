"""Map of set-ups: quality over the floor and along the axis, and the bass by place."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from matplotlib.patches import Polygon

from optimizer.drawings.chart_axes import chart_axes, fixed_ticks, no_data
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
from optimizer.units import FOOT

TITLE = "Where to sit"
SHADES = "cividis"  # even in lightness, for any colour vision
SPAN_DB = 36.0  # below the highest level that is drawn
CELL = 0.2  # m, of the floor that share a shade
HEIGHTS = (3.0, 1.5, 1.7)
HEIGHT_MM = 225.0
DASHED = (0, (2, 2))


@dataclass(frozen=True)
class Place:
    """A set-up on the floor of the room file's axes: loudspeakers (2, 3) and ears (3,)."""

    label: str
    speakers: Floats
    ears: Floats


@dataclass(frozen=True)
class Levels:
    """Level (X, F) in dB at distances (X,) in m from the wall faced, at frequencies (F,); `length`
    of the room along that axis and the ears of the set-up on it, m."""

    label: str
    wall: str
    length: float
    ears: float
    distance: Floats
    f_hz: Floats
    level_db: Floats


@dataclass(frozen=True)
class Mapped:
    """What is drawn: `floor` places (M, 2) and scores (M,); `along` distances from the wall faced
    as shares of the length, and scores, by wall; `marks` names and shares of rules of thumb;
    set-ups; levels (box rooms)."""

    room: Room
    floor: tuple[Floats, Floats]
    along: Mapping[str, tuple[Floats, Floats]]
    marks: Mapping[str, float]
    places: Sequence[Place]
    levels: Levels | None


@drawing()
def positions_map(shown: Mapped, units: str = "m") -> Picture:
    """Best score over the floor with the set-ups on it, best score along the axis of each wall
    faced, and the level of the bass along the axis of the best set-up; lengths in m or ft."""
    figure, axes = chart_axes("", "", HEIGHT_MM, 3)
    for ax in axes:
        ax.remove()
    grid = figure.add_gridspec(3, 1, height_ratios=HEIGHTS)
    floor, along, bass = (figure.add_subplot(grid[i]) for i in range(3))
    _draw_floor(figure, floor, shown, units)
    _draw_along(along, shown)
    _draw_levels(figure, bass, shown, units)
    return picture(figure, "positions", TITLE, _alt(shown, units))


def _draw_floor(figure: Any, ax: Any, shown: Mapped, units: str) -> None:
    """The room from above, front wall at the top, a shade for each place that can be sat at."""
    unit = _unit(units)
    places, scores = shown.floor
    if len(scores):
        across, down, best = _cells(places, scores)
        mesh = ax.pcolormesh(across / unit, down / unit, best, cmap=f"{SHADES}_r", rasterized=True)
        bar = figure.colorbar(mesh, ax=ax, shrink=0.6, anchor=(0.0, 0.0))
        bar.set_label("best score there (0 is best)")
    for surface in shown.room.surfaces:
        if surface.is_floor:
            corners = surface.plane.to_xyz(surface.plane.polygon)[:, [1, 0]] / unit
            ax.add_patch(Polygon(corners, fill=False, edgecolor=INK, linewidth=1.4))
    for item in shown.room.furniture:
        x0, y0, x1, y1 = (item.box[:, :2] / unit).ravel().tolist()
        ax.add_patch(Polygon([(y0, x0), (y1, x0), (y1, x1), (y0, x1)], fill=False,
                             edgecolor=MUTED, linewidth=THIN, linestyle=(0, (4, 2))))  # fmt: skip
    for place, look in zip(shown.places, SERIES, strict=False):
        _draw_place(ax, place, look, unit)
    ax.set_aspect("equal")
    ax.invert_yaxis()
    ax.set_xlabel(f"from the left wall in {units}")
    ax.set_ylabel(f"from the front wall in {units}")
    ax.legend(loc="upper left", bbox_to_anchor=(1.02, 1.0), title="set-up", handlelength=1.2,
              borderaxespad=0.0)  # fmt: skip
    ax.set_title("Open: ears. Filled: loudspeakers. Dashed: furniture now.", fontsize=TEXT,
                 loc="left")  # fmt: skip


def _draw_place(ax: Any, place: Place, look: Any, unit: float) -> None:
    """Loudspeakers filled, ears open, thin lines from one to the other."""
    ears, speakers = place.ears / unit, place.speakers / unit
    for speaker in speakers:
        ax.plot([speaker[1], ears[1]], [speaker[0], ears[0]], color=look.colour, linewidth=THIN)
    ax.plot(speakers[:, 1], speakers[:, 0], look.marker, color=look.colour,
            markeredgecolor=PAPER, markersize=6, linestyle="none")  # fmt: skip
    ax.plot([ears[1]], [ears[0]], look.marker, color=PAPER, markersize=6.5,
            markeredgecolor=look.colour, markeredgewidth=1.6, linestyle="none",
            label=place.label)  # fmt: skip


def _cells(places: Floats, scores: Floats) -> tuple[Floats, Floats, Floats]:
    """Edges across and down of square cells of the floor, and the best score (down, across) in
    each; nan where nobody can sit."""
    start = places.min(axis=0) - CELL / 2
    index = np.floor((places - start) / CELL + 1e-6).astype(int)
    rows, columns = index.max(axis=0) + 1
    best = np.full((rows, columns), np.inf)
    np.minimum.at(best, (index[:, 0], index[:, 1]), scores)
    down, across = (start[i] + CELL * np.arange(n + 1) for i, n in enumerate((rows, columns)))
    return across, down, np.where(np.isinf(best), np.nan, best)


def _draw_along(ax: Any, shown: Mapped) -> None:
    if not any(len(x) for x, _ in shown.along.values()):
        no_data(ax, "no free place")
    for (wall, (away, score)), look in zip(shown.along.items(), SERIES, strict=False):
        if len(away):
            ax.plot(100 * away, score, color=look.colour, linestyle=look.dash, label=f"{wall} wall")
    _mark(ax, {name: 100 * share for name, share in shown.marks.items()}, MUTED)
    ax.set_xlim(0, 100)
    ax.grid(True, axis="y", color=FAINT, linewidth=HAIR)
    ax.set_xlabel("ears from the wall faced in % of the length")
    ax.set_ylabel("best score there")
    ax.legend(loc="upper left", bbox_to_anchor=(1.01, 1.0), title="faces")


def _draw_levels(figure: Any, ax: Any, shown: Mapped, units: str) -> None:
    heard = shown.levels
    if heard is None:
        no_data(ax, "the low end by place is known for box rooms only")
        return
    unit = _unit(units)
    top = float(heard.level_db.max())
    mesh = ax.pcolormesh(heard.distance / unit, heard.f_hz, heard.level_db.T, cmap=SHADES,
                         vmin=top - SPAN_DB, vmax=top, shading="nearest",
                         rasterized=True)  # fmt: skip
    ax.set_yscale("log")
    fixed_ticks(ax.yaxis, (20, 30, 50, 70, 100, 150, 200, 300),
                ("20", "30", "50", "70", "100", "150", "200", "300"))  # fmt: skip
    length = heard.length / unit
    _mark(ax, {name: share * length for name, share in shown.marks.items()}, PAPER)
    ax.axvline(heard.ears / unit, color=PAPER, linewidth=MEDIUM)
    ax.text(heard.ears / unit, 0.02, " ears", transform=ax.get_xaxis_transform(), fontsize=SMALL,
            color=PAPER)  # fmt: skip
    ax.set_xlabel(f"along the axis from the {heard.wall} wall in {units}")
    ax.set_title(clean(heard.label), fontsize=TEXT, loc="left")
    ax.set_ylabel("frequency in Hz")
    figure.colorbar(mesh, ax=ax).set_label("level in dB")


def _mark(ax: Any, marks: Mapping[str, float], colour: str) -> None:
    """Rules of thumb as dashed lines across an axes, their names at the top."""
    for number, (name, at) in enumerate(marks.items()):
        ax.axvline(at, color=colour, linewidth=MEDIUM, linestyle=DASHED)
        ax.text(at, 0.98 - 0.09 * number, f" {name}", transform=ax.get_xaxis_transform(),
                fontsize=SMALL, color=colour, va="top")  # fmt: skip


def _unit(units: str) -> float:
    """Metres in the unit of the axes."""
    return FOOT if units == "ft" else 1.0


def _alt(shown: Mapped, units: str) -> str:
    places, scores = shown.floor
    if not len(scores):
        return "No place in the room is free for another set-up."
    unit = _unit(units)
    best = places[int(scores.argmin())] / unit
    said = (
        f"Of {len(scores)} places for the ears the best scores {scores.min():.2f}, "
        f"{best[0]:.2f} {units} from the front wall and {best[1]:.2f} {units} from the left wall; "
        f"the worst scores {scores.max():.2f}."
    )
    walls = [
        f"facing the {wall} wall {score.min():.2f} at {100 * away[int(score.argmin())]:.0f} %"
        for wall, (away, score) in shown.along.items()
        if len(away)
    ]
    return f"{said} Best by wall faced, ears in % of the length from it: {'; '.join(walls)}."
