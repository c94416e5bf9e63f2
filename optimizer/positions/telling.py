"""Set-ups in words and tables: their score row by row, and where to put the tape marks."""

from collections.abc import Mapping, Sequence

import numpy as np

from optimizer.positions.axis import SHARE_RULE
from optimizer.positions.moving import SAT_ON, movers
from optimizer.positions.places import rules
from optimizer.positions.quality import PARTS
from optimizer.positions.search import DISTINCT, Found, Judged, bounds
from optimizer.positions.turning import old_name
from optimizer.results.tables import text_table
from optimizer.room.geometry import Floats
from optimizer.units import format_length

NOW = "as it is"
LEFT_OUT = (
    "This room is no box: the low end by place is not judged, and no other wall is tried. What "
    "follows rests on first reflections, symmetry and the wall behind the loudspeakers alone."
)
HUNG = "Pieces hang in this room already, so no other wall is tried."
SEARCH = (
    "The low end by coupled modes, 20-300 Hz; reflections by image sources; before treatment. What "
    "moves along with the seat (desk, chair, person) is in its place in these rows; for the low "
    "end the search took it as standing where it is. Loudspeakers radiate alike in all directions "
    "below 300 Hz."
)
WEIGHED = (
    "Score: mean by weight of value over the value that costs one point; 0 is best. Weights and "
    "points are our choice; no standard gives any."
)
Rows = list[list[str]]


def score_rows(columns: Mapping[str, Judged]) -> tuple[tuple[str, ...], Rows]:
    """Header and rows of every part of the score, one column a set-up, with its weight and what
    costs one point."""
    rows = []
    for index, part in enumerate(PARTS):
        values = [float(j.quality.values[0, index]) for j in columns.values()]
        if not np.isnan(values).all():
            span = f"{part.none:g} to {part.point:g} {part.unit}"
            rows.append([part.name, f"{part.weight:g}", span, *(_figure(v) for v in values)])
    rows.append(["score", "", "", *(f"{j.score:.3f}" for j in columns.values())])
    return ("part", "weight", "0 to 1 point", *columns), rows


def score_table(columns: Mapping[str, Judged]) -> str:
    """The same as text."""
    header, rows = score_rows(columns)
    return text_table(header, rows, tuple(range(3, len(header))))


def tape_rows(columns: Mapping[str, Judged], units: str) -> tuple[tuple[str, ...], Rows]:
    """Header and rows of where everything goes: from the wall faced, from the wall to the left as
    one faces it, above the floor; of a desk its corner nearest to both walls."""
    rows = []
    for label, judged in columns.items():
        room, facing = judged.project.room, judged.set_up.facing
        low = bounds(room)[0]
        things = [*((s.name, s.at) for s in room.speakers), (room.seats[0].name, room.seats[0].at)]
        desks = [room.furniture[i] for i in movers(judged.project.room)]
        things += [(f"{f.name}, near left corner", f.box[0])
                   for f in desks if f.kind not in SAT_ON]  # fmt: skip
        walls = (f"{facing} wall", f"{old_name('left', facing)} wall", "floor")
        rows += [[label, name, *_from_walls(at - low, walls, units)] for name, at in things]
    return ("set-up", "what", "ahead", "to the left", "below"), rows


def tape_table(columns: Mapping[str, Judged], units: str) -> str:
    """The same as text."""
    header, rows = tape_rows(columns, units)
    return text_table(header, rows, (2, 3, 4))


def _from_walls(place: Floats, walls: Sequence[str], units: str) -> list[str]:
    return [
        f"{format_length(float(length), units)} from {wall}"
        for length, wall in zip(place, walls, strict=True)
    ]


def columns_of(found: Found) -> dict[str, Judged]:
    """The set-up as it is, then the best."""
    return {NOW: found.now, **{str(n): j for n, j in enumerate(found.best, 1)}}


def walls_of(found: Found) -> dict[str, Judged]:
    """The best set-up of each wall that can be faced."""
    return {f"{wall} wall": judged for wall, judged in found.facing.items()}


def verdict(found: Found) -> str:
    """Whether to move, in a sentence or two."""
    if not found.best:
        return "No other set-up fits: the room as it is leaves no free place."
    best, now = found.best[0], found.now
    if best.score >= now.score:
        return f"Stay: no other set-up found scores better than {now.score:.3f}."
    text = f"Set-up 1 scores {best.score:.3f}, as it is {now.score:.3f} (0 is best). "
    gained, given = _leads(best, now), _leads(now, best)
    text += f"Most gained: {PARTS[gained[0]].name}"
    text += f"; most given up: {PARTS[given[0]].name}." if given else "."
    worse = [str(n) for n, j in enumerate(found.best, 1) if j.score >= now.score]
    if worse:
        text += f" Not better than as it is: set-up {', '.join(worse)}."
    return text


def why_walls(found: Found, units: str = "m") -> str:
    """What decides between the walls that can be faced; where the short way of the room wins, what
    it has over the long way."""
    ranked = sorted(found.facing.items(), key=lambda item: item[1].score)
    if len(ranked) < 2:
        return ""
    (first, a), (second, b) = ranked[:2]
    text = (
        f"Facing the {first} wall is best ({a.score:.3f}), then the {second} wall "
        f"({b.score:.3f}): {_told_apart(a, b)}."
    )
    long_way = [(w, j) for w, j in ranked if not _short_way(j)]
    if not _short_way(a) or not long_way:
        return text
    across, along = sorted(_floor(a))
    text += (
        f" Facing the {first} wall is facing the short way ({format_length(across, units)} of "
        f"{format_length(along, units)})."
    )
    other, c = long_way[0]
    if other == second:
        return f"{text} That is why it wins over the long way."
    return f"{text} Over the best of the long way, the {other} wall: {_told_apart(a, c)}."


def _told_apart(a: Judged, b: Judged) -> str:
    """Where one set-up leads another and where it trails, with both values."""
    ahead, behind = _leads(a, b)[:2], _leads(b, a)[:1]
    text = "it leads in " + " and ".join(_both(i, a, b) for i in ahead) if ahead else "a tie"
    return text + (f", and trails most in {_both(behind[0], a, b)}" if behind else "")


def _both(index: int, a: Judged, b: Judged) -> str:
    part = PARTS[index]
    mine, other = (_figure(float(j.quality.values[0, index])) for j in (a, b))
    return f"{part.name} ({mine} against {other} {part.unit})"


def _leads(a: Judged, b: Judged) -> list[int]:
    """Parts in which one set-up is better than another, what brings most for the score first."""
    lead = np.nan_to_num((b.quality.points - a.quality.points)[0])
    lead = lead * np.array([part.weight for part in PARTS])
    return [int(i) for i in np.argsort(-lead) if lead[i] > 1e-9]


def _floor(judged: Judged) -> tuple[float, float]:
    low, high = bounds(judged.project.room)
    return float(high[0] - low[0]), float(high[1] - low[1])


def _short_way(judged: Judged) -> bool:
    along, across = _floor(judged)
    return along < across - 1e-6


def searched_in_words(found: Found, units: str = "m") -> str:
    """How many set-ups were judged, and what kept the others out."""
    tried = sum(s.tried for s in found.searched)
    walls = ", ".join(f"{s.set_ups.facing} {len(s.set_ups)}" for s in found.searched)
    return (
        f"{found.judged} of {tried} set-ups are possible and were judged in {found.seconds:.0f} s "
        f"(by wall faced: {walls}). Those shown differ by at least "
        f"{format_length(DISTINCT, units)}. {rules(units)}"
    )


def rules_of_thumb(found: Found, units: str = "m") -> str:
    """Where the best set-ups stand against rules of thumb; these are shown, not asked for."""
    said = []
    for label, judged in columns_of(found).items():
        low, high = bounds(judged.project.room)
        share = float((judged.set_up.ears[0] - low[0]) / (high[0] - low[0]))
        aside = abs(float(judged.set_up.ears[1] - (low[1] + high[1]) / 2))
        off = f", {format_length(aside, units)} off the middle axis" if aside > 5e-3 else ""
        said.append(
            f"{label}: {100 * share:.0f} % of the length{off}, {judged.set_up.angle:.0f} degrees"
        )
    return (
        f"Rules of thumb (common practice, no source; marks, not limits): ears at "
        f"{100 * SHARE_RULE:.0f} % of the length, not in its middle, on the middle axis between "
        "the side walls, 60 degrees between the loudspeakers. Here " + "; ".join(said) + "."
    )


def notes(found: Found) -> Sequence[str]:
    """What was left out, and how the score is made."""
    project = found.now.project
    left = [LEFT_OUT] if project.room.dimensions is None else []
    left += [HUNG] if project.hung else []
    judged_by = [] if project.room.dimensions is None else [SEARCH]
    return [*left, *judged_by, WEIGHED]


def _figure(value: float) -> str:
    return "" if np.isnan(value) else f"{round(value, 2) + 0.0:.2f}"
