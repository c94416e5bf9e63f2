"""First reflections and direct sound on drawings, loudspeakers and seats, and their key."""

from collections.abc import Callable
from functools import partial

import numpy as np

from optimizer.drawings import labels
from optimizer.drawings.layout import View
from optimizer.drawings.lettering import dimension, width_mm
from optimizer.drawings.reflections import WINDOW_MS, Reflection
from optimizer.drawings.schedule import COLUMN, Group, Line
from optimizer.drawings.sheet import Sheet
from optimizer.drawings.style import BLUE, HAIR, INK, MUTED, PAPER, RED, THIN
from optimizer.drawings.symbols import draw_seat, draw_speaker
from optimizer.room.geometry import Floats
from optimizer.room.model import Room, Seat, Speaker

BOUNCE = 0.8  # mm, half the size of a bounce's mark
LOUD, QUIET, DIRECT = 1.3, 0.6, 0.5  # points
_QUIET_DASH, _DIRECT_DASH = (0, (5, 2)), (0, (1, 2))


def shown_paths(paths: list[Reflection]) -> list[Reflection]:
    """All paths to the first seat, and those that are too loud to the others."""
    return [path for path in paths if path.seat == 0 or path.too_loud]


def draw_paths(view: View, room: Room, paths: list[Reflection], axes: Floats) -> None:
    """Direct sound of the first seat and first reflections; `axes` (2, 3) turn room points."""
    for speaker in room.speakers:
        ends = np.stack([speaker.at, room.seats[0].at]) @ axes.T
        view.sheet.line(view.paper(ends), DIRECT, INK, _DIRECT_DASH, 2.4)
    for path in sorted(paths, key=lambda p: p.too_loud):
        points = view.paper(path.points @ axes.T)
        draw_path(view.sheet, points, path.too_loud, path.name)


def draw_path(sheet: Sheet, points: Floats, too_loud: bool, name: str | None) -> None:
    """One path (3, 2): heavy with a square at its bounce if too loud, else dashed with a ring."""
    if too_loud:
        sheet.line(points, LOUD, RED, layer=2.6, name=name)
    else:
        sheet.line(points, QUIET, BLUE, _QUIET_DASH, 2.5, name)
    draw_bounce(sheet, points[1], too_loud)


def draw_bounce(sheet: Sheet, at: Floats, too_loud: bool, name: str | None = None) -> None:
    """Where a path bounces, (2,): a square if it is too loud, else a ring."""
    x, y = (float(v) for v in at)
    if too_loud:
        r = BOUNCE
        sheet.shape([(x - r, y - r), (x + r, y - r), (x + r, y + r), (x - r, y + r)],
                    RED, INK, HAIR, layer=2.7, name=name)  # fmt: skip
        return
    sheet.disc((x, y), 0.7, PAPER, BLUE, THIN, 2.55, name)


def draw_people(view: View, room: Room, axes: Floats) -> None:
    """Loudspeakers and seats with their names."""
    radius = float(np.clip(0.12 * view.factor, 1.0, 4.0))
    for index, speaker in enumerate(room.speakers):
        at, aim = (view.paper(p @ axes.T) for p in (speaker.at, speaker.aim))
        _keep_off(view.sheet, draw_speaker(view.sheet, at, aim, f"speaker-{index + 1}", radius))
    for index, seat in enumerate(room.seats):
        at = view.paper(seat.at @ axes.T)
        draw_seat(view.sheet, at, f"seat-{index + 1}", radius)
        _keep_off(view.sheet, np.stack([at - 0.8 * radius, at + 0.8 * radius]))


def _keep_off(sheet: Sheet, points: Floats) -> None:
    (x0, y0), (x1, y1) = points.min(axis=0).tolist(), points.max(axis=0).tolist()
    sheet.keep_off((x0, y0, x1, y1))


def name_people(view: View, room: Room, axes: Floats) -> None:
    """Names beside loudspeakers and seats, once where several lie on one spot."""
    radius = float(np.clip(0.12 * view.factor, 1.0, 4.0))
    spots: dict[tuple[float, ...], list[str]] = {}
    for thing in people(room):
        at = np.round(thing.at @ axes.T, 3)
        spots.setdefault(tuple(at.tolist()), []).append(thing.name)
    for spot in spots:
        middle = view.paper(np.array(spot))
        view.sheet.fill(np.stack([middle - radius, middle + radius]))
    for spot, names in spots.items():
        labels.beside(view.sheet, ", ".join(names), view.paper(np.array(spot)), radius)


def people(room: Room) -> tuple[Speaker | Seat, ...]:
    """Loudspeakers, then seats."""
    return (*room.speakers, *room.seats)


def people_ids(room: Room) -> list[str]:
    """Ids of loudspeakers and seats in the order of `people`."""
    count = len(room.speakers), len(room.seats)
    return [
        f"{kind}{i + 1}" for kind, n in zip(("speaker", "seat"), count, strict=True)
        for i in range(n)
    ]  # fmt: skip


def people_group(room: Room, units: str) -> Group:
    """Where loudspeakers and ears are, in a list."""
    lines: list[Line] = []
    for thing in people(room):
        x, y, z = (float(v) for v in thing.at)
        low, high = room.width_span
        side, away = ("left", y - low) if y - low <= high - y else ("right", high - y)
        measures = f"{side} {dimension(away, units)}, {dimension(x, units)}, {dimension(z, units)}"
        if width_mm(f"{thing.name} {measures}") > COLUMN - 1.5:
            lines += [Line((thing.name,)), Line(("", measures))]
        else:
            lines.append(Line((thing.name, measures)))
    head = Line(("loudspeakers and ears", "side, front, floor"), quiet=True)
    return Group((head,), tuple(lines))


def path_key(limit_db: float, seats: int, paths: list[Reflection]) -> Group:
    """What the lines mean."""
    loud = sum(p.too_loud for p in paths)
    words = f"{loud} of {len(paths)} drawn are above the limit"
    more = ["Other seats: only those above the limit."] if seats > 1 else []
    return Group(
        (Line((f"First reflections within {WINDOW_MS:g} ms",), quiet=True),),
        (
            Line((f"above {limit_db:g} dB re the direct sound",), sample=_sample(True)),
            Line((f"at or below {limit_db:g} dB",), sample=_sample(False)),
            Line(("direct sound",), sample=_direct),
            Line((words,), name="paths-count"),
            *(Line((text,)) for text in more),
        ),
    )


def bounce_key(limit_db: float, paths: list[Reflection]) -> Group:
    """What the marks of bounces mean where no paths are drawn."""
    loud = sum(p.too_loud for p in paths)
    return Group(
        (Line((f"Where first reflections bounce (within {WINDOW_MS:g} ms)",), quiet=True),),
        (
            Line((f"above {limit_db:g} dB re the direct sound: {loud}",), "bounces-loud",
                 partial(_bounce, too_loud=True)),
            Line((f"at or below {limit_db:g} dB: {len(paths) - loud}",), "bounces-quiet",
                 partial(_bounce, too_loud=False)),
        ),
    )  # fmt: skip


def _bounce(sheet: Sheet, x: float, y: float, too_loud: bool) -> None:
    draw_bounce(sheet, np.array([x + 2.5, y]), too_loud)


def _sample(too_loud: bool) -> Callable[[Sheet, float, float], None]:
    def draw(sheet: Sheet, x: float, y: float) -> None:
        draw_path(sheet, np.array([[x, y], [x + 2.5, y], [x + 5.0, y]]), too_loud, None)

    return draw


def _direct(sheet: Sheet, x: float, y: float) -> None:
    sheet.line([(x, y), (x + 5.0, y)], DIRECT, MUTED, _DIRECT_DASH)
