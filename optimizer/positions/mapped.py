"""A search as the map of set-ups shows it."""

from collections.abc import Mapping

import numpy as np

from optimizer.acoustics.low_response import HIGHEST_HZ, coupled_box
from optimizer.drawings.positions_map import Levels, Mapped, Place
from optimizer.positions.axis import (
    MIDDLE,
    SHARE_RULE,
    axis_levels,
    axis_places,
    best_along,
    over_floor,
)
from optimizer.positions.search import Found, Judged, bounds
from optimizer.positions.turning import FACINGS, turn_back
from optimizer.project import Project

MARKS = {f"{100 * SHARE_RULE:.0f} %": SHARE_RULE, "middle": MIDDLE}


def mapped(project: Project, found: Found, columns: Mapping[str, Judged]) -> Mapped:
    """The search in a project's room with the set-ups of `columns` on it, by their labels."""
    size = None if project.room.dimensions is None else project.room.dimensions[:2]
    spans = {f: _span(j) for f, j in found.facing.items()}
    along = {}
    for part in found.searched:
        start, length = spans.get(part.set_ups.facing, (0.0, 1.0))
        away, score = best_along(part, start)
        along[part.set_ups.facing] = (away / length, score)
    best, label = (found.best[0], "set-up 1") if found.best else (found.now, "now")
    places = [_place(name, judged, size) for name, judged in columns.items()]
    return Mapped(project.room, over_floor(found.searched, size), along, MARKS, places,
                  _levels(best, label))  # fmt: skip


def _span(judged: Judged) -> tuple[float, float]:
    """Where the axis of a set-up starts, and its length, m."""
    low, high = bounds(judged.project.room)
    return float(low[0]), float(high[0] - low[0])


def _levels(judged: Judged, label: str) -> Levels | None:
    """The bass along the axis of a set-up; None where the room is no box."""
    room, scene = judged.project.room, judged.project.scene
    if room.dimensions is None:
        return None
    length = room.dimensions[0]
    box = coupled_box(scene, room.dimensions, HIGHEST_HZ)
    places = axis_places(length)
    f, level = axis_levels(box, scene.speakers[:2], scene.seats[0], places)
    title = f"Bass by place on the axis of {label}, its loudspeakers fixed"
    ears = float(scene.seats[0][0])
    return Levels(title, judged.set_up.facing, length, ears, places, f, level)


def _place(label: str, judged: Judged, size: tuple[float, float] | None) -> Place:
    s = judged.set_up
    speakers, ears = np.stack([s.left, s.right]), s.ears
    if size is not None and s.facing != FACINGS[0]:
        speakers, ears = (turn_back(p, size, s.facing) for p in (speakers, ears))
    return Place(label, speakers, ears)
