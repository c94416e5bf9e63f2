"""One sheet per surface: its pieces with the distances a person measures, to take to the wall."""

import re
from collections.abc import Sequence
from dataclasses import dataclass

from optimizer.drawings.lettering import dimension
from optimizer.placement.holding import HOLDING
from optimizer.placement.pieces import Piece
from optimizer.placement.sundries import uses_for
from optimizer.report.wording import ABSENT, Table, figure, near_note, span
from optimizer.results.model import Plan, PlannedPiece, hung_already
from optimizer.results.shopping_overhead import load_in_words, overhead_products
from optimizer.results.words import surface_in_words, where_in_words
from optimizer.room.geometry import Rect
from optimizer.room.model import Surface
from optimizer.room.schema import OVERHEAD

OVERHEAD_NOTE = (
    "Overhead: fix into structure (joists or slab), never into plasterboard alone. At least two "
    "independent fixings that each carry the whole piece with a good margin, and a secondary "
    "safety line (common practice, no source). Ask a licensed person before you start."
)
HUNG = "hangs already, stays"
HUNG_CAPTION = "Hangs already and stays where it is"


@dataclass(frozen=True)
class Sheet:
    """The sheet of one surface: its name, how to stand, its table, and a note if one applies."""

    surface: str
    title: str
    stand: str
    table: Table
    overhead: str


def hanging_sheets(plan: Plan, units: str = "m") -> list[Sheet]:
    """A sheet for each surface that carries pieces, in the order of the room's surfaces."""
    sheets = []
    for surface in plan.project.room.surfaces:
        here = pieces_on(plan, surface.name)
        if here:
            there = _on(hung_already(plan.project), surface.name)
            sheets.append(_sheet(surface, here, there, units))
    return sheets


def pieces_on(plan: Plan, surface: str) -> list[tuple[PlannedPiece, Rect]]:
    """Pieces on a surface with the rectangle each covers there, in reading order."""
    return _on(plan.pieces, surface)


def _on(pieces: Sequence[PlannedPiece], surface: str) -> list[tuple[PlannedPiece, Rect]]:
    here = [(p, rect) for p in pieces for name, rect in p.piece.rects if name == surface]
    return sorted(here, key=lambda item: (item[1][0], item[1][1]))


def hung_table(plan: Plan, units: str = "m") -> Table | None:
    """What hangs already and stays, with its place; None where nothing does."""
    hung = hung_already(plan.project)
    if not hung:
        return None
    surfaces = {s.name: s for s in plan.project.room.surfaces}
    unit = " (mm)" if units == "m" else ""
    header = ("no.", "product", "on", f"its edges one way{unit}",
              f"its edges the other way{unit}",
              f"stands off{unit}")  # fmt: skip
    rows = []
    for planned in hung:
        name, rect = planned.piece.rects[0]
        first, second = edges(surfaces[name])
        number, product, across, up, off = _row(planned, rect, units)
        rows.append([number, product, surface_name(plan, planned), f"{across} from {first}",
                     f"{up} from {second}", off])  # fmt: skip
    return Table(HUNG_CAPTION, header, rows, kind="places")


def bare_surfaces(plan: Plan) -> list[str]:
    """Names of surfaces that stay as they are."""
    return [surface_in_words(s) for s in plan.project.room.surfaces if not pieces_on(plan, s.name)]


_Placed = list[tuple[PlannedPiece, Rect]]


def _sheet(surface: Surface, here: _Placed, there: _Placed, units: str) -> Sheet:
    """The sheet of the pieces `here`, and of those `there` already."""
    first, second = edges(surface)
    title = surface_in_words(surface)
    title = title[:1].upper() + title[1:]
    unit = " (mm)" if units == "m" else ""
    header = ("no.", "product", f"edges from {first}{unit}", f"edges from {second}{unit}",
              f"stands off{unit}")  # fmt: skip
    rows = [_row(planned, rect, units) for planned, rect in here]
    for planned, rect in there:
        number, product, *rest = _row(planned, rect, units)
        rows.append([number, f"{product} ({HUNG})", *rest])
    caption = f"{title}: where each piece goes"
    heavy = any(p.piece.mounting in OVERHEAD for p, _ in here)
    table = Table(caption, header, rows, kind="places")
    note = f"{OVERHEAD_NOTE} {_loads(here)}" if heavy else ""
    return Sheet(surface.name, title, f"{_stand(surface)} {_held(here)}", table, note)


def _held(here: _Placed) -> str:
    """How the pieces of each product are held, and whether that takes holes."""
    pieces = [planned.piece for planned, _ in here]
    ways = dict.fromkeys((p.product.name, p.mounting, _drilled(p)) for p in pieces)
    told = [
        f"{name} {HOLDING[mounting].how} ({'takes holes' if drilled else 'no hole'})"
        for name, mounting, drilled in ways
    ]
    return f"{'; '.join(told)}."


def _drilled(piece: Piece) -> bool:
    """Whether a piece takes a hole; one in a corner where its fixings do."""
    uses = uses_for(piece.product.sundries, piece.mounting)
    return HOLDING[piece.mounting].hole or any(use.sundry.hole for use in uses)


def _loads(here: _Placed) -> str:
    """What each kind of piece overhead weighs and takes."""
    counts = overhead_products([planned.piece for planned, _ in here])
    told = (f"{p.name}: {load_in_words(p)} (of {n})" for p, n in counts.items())
    return "; ".join(told) + "."


def _row(planned: PlannedPiece, rect: Rect, units: str) -> list[str]:
    u0, v0, u1, v1 = rect
    across, up = span(u0, u1, units), span(v0, v1, units)
    return [planned.id, planned.piece.product.name, across, up, stand_off(planned.piece, units)]


def stand_off(piece: Piece, units: str = "m") -> str:
    """How far a piece stands out from its surface, and the gap behind it."""
    if len(piece.rects) == 2:
        return "across the edge" if piece.mounting == "edge" else "across the corner"
    gap = piece.product.fittings[piece.fitting].gap
    depth = dimension(piece.product.depth, units)
    return f"{depth} deep, gap of {dimension(gap, units)} behind" if gap else f"{depth} deep"


def edges(surface: Surface) -> tuple[str, str]:
    """What the two distances on a surface are measured from."""
    if surface.name in ("left", "right"):
        return "the front wall", "the floor"
    if surface.name in ("floor", "ceiling"):
        return "the front wall", "the left wall"
    if surface.name in ("front", "back"):
        return "the left wall", "the floor"
    end = "front" if abs(surface.plane.u[0]) >= abs(surface.plane.u[1]) else "left"
    up = surface.is_wall or bool(surface.plane.u[2])
    return f"its {end} end", "its lower edge" if up else "its left edge"


def _stand(surface: Surface) -> str:
    if surface.is_wall:
        return (
            "The drawing measures from the nearest corner, the table from one and the same: mark "
            "both edges of each piece, then the lower and the upper one."
        )
    drawn = "The plan view" if surface.is_floor else "The drawing"
    return (
        f"{drawn} measures from the nearest walls, the table from the front wall (the one "
        "behind the loudspeakers) and the left wall."
    )


_CRITERIA = {
    "decay": "ringing at", "mode": "bass note", "early": "reflection", "late": "later reflection",
    "side balance": "left against right at", "pair balance": "reflections left against right",
}  # fmt: skip
_ALIKE = re.compile(r": (\S+ \S+) instead of \1$")  # to the digits shown
_REASON = re.compile(r"(?P<key>[^:;]+): (?P<where>.+?) (?P<first>-?[\d.]+) instead of "
                     r"(?P<second>-?[\d.]+) (?P<unit>[^\s;]+)")  # fmt: skip


def why_in_words(why: str, units: str = "m") -> str:
    """A reason with plain words for its criteria and a unit at each figure; others as they are."""

    def told(part: re.Match[str]) -> str:
        key, where, unit = part["key"].strip(), part["where"], part["unit"]
        where = re.sub(r" \([\d-]+\)", "", near_note(where)) if key == "mode" else where
        first, second = (figure(float(part[n]), unit, units) for n in ("first", "second"))
        return f"{_CRITERIA.get(key, key)} {where}: {first} instead of {second}"

    parts = [_REASON.sub(told, part) for part in why.split("; ")]
    seen = [part for part in parts if not _ALIKE.search(part)]
    return "; ".join(seen or parts)


def reasons_table(plan: Plan, units: str = "m") -> Table:
    """Why each piece or mirrored pair is there."""
    rows, done = [], set[str]()
    for planned in plan.pieces:
        if planned.id in done:
            continue
        twin = next((p for p in plan.pieces if p.id == planned.pair), None)
        done |= {planned.id} | ({twin.id} if twin else set())
        numbers = planned.id if twin is None else f"{planned.id} and {twin.id}"
        where = surface_name(plan, planned)
        if twin is not None and surface_name(plan, twin) != where:
            where = f"{where}, {surface_name(plan, twin)}"
        rows.append([numbers, planned.piece.product.name, where,
                     why_in_words(planned.why, units) or ABSENT])  # fmt: skip
    caption = "Why each piece is there: with it, instead of without it"
    return Table(
        caption, ("no.", "product", "on", "with it, instead of without"), rows, kind="wordy"
    )


def surface_name(plan: Plan, planned: PlannedPiece) -> str:
    """The surface of a piece, its corner or its edge, in words."""
    return where_in_words(planned.piece, plan.project.room)
