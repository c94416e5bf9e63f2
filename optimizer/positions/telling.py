"""Set-ups in words and tables: their score row by row, and where to put the tape marks."""

from collections.abc import Mapping, Sequence

import numpy as np

from optimizer.positions.axis import SHARE_RULE
from optimizer.positions.joint import Joint
from optimizer.positions.places import RULES
from optimizer.positions.quality import PARTS
from optimizer.positions.search import DISTINCT, Found, Judged, bounds
from optimizer.positions.turning import old_name
from optimizer.results.shopping import money
from optimizer.results.tables import text_table
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


def score_table(columns: Mapping[str, Judged]) -> str:
    """Every part of the score, one column a set-up, with its weight and what costs one point."""
    rows = []
    for index, part in enumerate(PARTS):
        values = [float(j.quality.values[0, index]) for j in columns.values()]
        if not np.isnan(values).all():
            span = f"{part.none:g} to {part.point:g} {part.unit}"
            rows.append([part.name, f"{part.weight:g}", span, *(_figure(v) for v in values)])
    rows.append(["score", "", "", *(f"{j.score:.3f}" for j in columns.values())])
    header = ("part", "weight", "0 to 1 point", *columns)
    return text_table(header, rows, tuple(range(3, len(header))))


def tape_table(columns: Mapping[str, Judged], units: str) -> str:
    """Where everything goes, measured from the wall faced, the wall to the left as one faces it,
    and the floor."""
    rows = []
    for label, judged in columns.items():
        room, facing = judged.project.room, judged.set_up.facing
        low = bounds(room)[0]
        things = [*((s.name, s.at) for s in room.speakers), (room.seats[0].name, room.seats[0].at)]
        for name, at in things:
            x, y, z = (format_length(float(v), units) for v in at - low)
            rows.append([label, name, f"{facing} wall", x, _side(facing), y, z])
    header = ("set-up", "what", "faces", "from it", "and from", "", "height")
    return text_table(header, rows, (3, 5, 6))


def _side(facing: str) -> str:
    """The wall to the left as one faces `facing`, by its name in the room file."""
    return f"{old_name('left', facing)} wall"


def columns_of(found: Found) -> dict[str, Judged]:
    """The set-up as it is, then the best."""
    return {NOW: found.now, **{str(n): j for n, j in enumerate(found.best, 1)}}


def walls_of(found: Found) -> dict[str, Judged]:
    """The best set-up of each wall that can be faced."""
    return {f"{wall} wall": judged for wall, judged in found.facing.items()}


def verdict(found: Found) -> str:
    """Whether to move, in a sentence."""
    if not found.best:
        return "No other set-up fits: the room as it is leaves no free place."
    best, now = found.best[0], found.now
    if best.score >= now.score:
        return f"Stay: no other set-up found scores better than {now.score:.3f}."
    gains = (now.quality.points - best.quality.points)[0]
    gains = np.nan_to_num(gains * np.array([part.weight for part in PARTS]))
    most, least = int(gains.argmax()), int(gains.argmin())
    text = f"Set-up 1 scores {best.score:.3f}, as it is {now.score:.3f}. Most gained: "
    text += f"{PARTS[most].name}"
    return text + (f"; most given up: {PARTS[least].name}." if gains[least] < -1e-9 else ".")


def why_wall(found: Found) -> str:
    """What decides between the best wall to face and the next best, in a sentence."""
    ranked = sorted(found.facing.items(), key=lambda item: item[1].score)
    if len(ranked) < 2:
        return ""
    (first, a), (second, b) = ranked[:2]
    lead = np.nan_to_num((b.quality.points - a.quality.points)[0])
    lead = lead * np.array([part.weight for part in PARTS])
    order = np.argsort(-lead)[:2]
    names = " and ".join(PARTS[i].name for i in order if lead[i] > 0)
    return f"The {first} wall is ahead of the {second} wall by {names}."


def searched_in_words(found: Found) -> str:
    """How many set-ups were judged, and what kept the others out."""
    tried = sum(s.tried for s in found.searched)
    walls = ", ".join(f"{s.set_ups.facing} {len(s.set_ups)}" for s in found.searched)
    return (
        f"{found.judged} of {tried} set-ups are possible and were judged in {found.seconds:.0f} s "
        f"(by wall faced: {walls}). Those shown differ by at least {DISTINCT:g} m. " + RULES
    )


def rules_of_thumb(found: Found) -> str:
    """Where the best set-ups stand against rules of thumb; these are shown, not asked for."""
    said = []
    for label, judged in columns_of(found).items():
        low, high = bounds(judged.project.room)
        share = float((judged.set_up.ears[0] - low[0]) / (high[0] - low[0]))
        said.append(
            f"{label}: {100 * share:.0f} % of the length, {judged.set_up.angle:.0f} degrees"
        )
    return (
        f"Rules of thumb (common practice, no source; marks, not limits): ears at "
        f"{100 * SHARE_RULE:.0f} % of the length, not in the middle, 60 degrees between the "
        "loudspeakers. Here " + "; ".join(said) + "."
    )


def notes(found: Found) -> Sequence[str]:
    """What was left out, and how the score is made."""
    project = found.now.project
    left = [LEFT_OUT] if project.room.dimensions is None else []
    left += [HUNG] if project.hung else []
    judged_by = [] if project.room.dimensions is None else [SEARCH]
    return [*left, *judged_by, WEIGHED]


def joint_table(joint: Joint) -> str:
    """Plans by set-up: what each costs and leaves."""
    currency = joint.now.plan.project.scenario.budget.currency
    pairs = [(NOW, joint.now), *((str(n), p) for n, p in enumerate(joint.others, 1))]
    rows = [
        [label, f"{p.judged.set_up.facing} wall", f"{p.judged.score:.3f}",
         f"{p.plan.card.score_before:.3f}", f"{p.excess:.3f}", money(p.plan.cost_cents, currency),
         "best" if p is joint.best else ""]
        for label, p in pairs
    ]  # fmt: skip
    header = ("set-up", "faces", "score of the place", "untreated", "treated", "spent", "")
    return text_table(header, rows, (2, 3, 4, 5))


def joint_in_words(joint: Joint) -> str:
    """What staying put costs."""
    if joint.best is joint.now:
        return "Staying put is best: no other set-up planned leaves less excess over the limits."
    return (
        f"Staying put leaves {joint.staying_costs:.3f} more excess over the limits than the best "
        "set-up with the same money."
    )


def _figure(value: float) -> str:
    return "" if np.isnan(value) else f"{round(value, 2) + 0.0:.2f}"
