"""One sheet per surface: its pieces with the distances a person measures, to take to the wall."""

from dataclasses import dataclass

from optimizer.drawings.lettering import dimension
from optimizer.placement.pieces import Piece
from optimizer.report.wording import ABSENT, Table, span
from optimizer.results.model import Plan, PlannedPiece
from optimizer.results.words import surface_in_words
from optimizer.room.geometry import Rect
from optimizer.room.model import Surface

OVERHEAD_NOTE = (
    "Overhead: fix into structure (joists or slab), never into plasterboard alone. At least two "
    "independent fixings that each carry the whole piece with a good margin, and a secondary "
    "safety line (common practice, no source). Ask a licensed person before you start."
)


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
            sheets.append(_sheet(surface, here, units))
    return sheets


def pieces_on(plan: Plan, surface: str) -> list[tuple[PlannedPiece, Rect]]:
    """Pieces on a surface with the rectangle each covers there, in reading order."""
    here = [(p, rect) for p in plan.pieces for name, rect in p.piece.rects if name == surface]
    return sorted(here, key=lambda item: (item[1][0], item[1][1]))


def bare_surfaces(plan: Plan) -> list[str]:
    """Names of surfaces that stay as they are."""
    return [surface_in_words(s) for s in plan.project.room.surfaces if not pieces_on(plan, s.name)]


def _sheet(surface: Surface, here: list[tuple[PlannedPiece, Rect]], units: str) -> Sheet:
    first, second = edges(surface)
    title = surface_in_words(surface)
    title = title[:1].upper() + title[1:]
    unit = " (mm)" if units == "m" else ""
    header = ("no.", "product", f"edges from {first}{unit}", f"edges from {second}{unit}",
              f"stands off{unit}")  # fmt: skip
    rows = [_row(planned, rect, units) for planned, rect in here]
    caption = f"{title}: where each piece goes"
    heavy = any(p.piece.mounting == "ceiling" for p, _ in here)
    table = Table(caption, header, rows, kind="places")
    return Sheet(surface.name, title, _stand(surface), table, OVERHEAD_NOTE if heavy else "")


def _row(planned: PlannedPiece, rect: Rect, units: str) -> list[str]:
    u0, v0, u1, v1 = rect
    across, up = span(u0, u1, units), span(v0, v1, units)
    return [planned.id, planned.piece.product.name, across, up, stand_off(planned.piece, units)]


def stand_off(piece: Piece, units: str = "m") -> str:
    """How far a piece stands out from its surface, and the gap behind it."""
    if len(piece.rects) == 2:
        return "across the corner"
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
    return (
        "The drawing measures from the nearest walls, the table from the front wall (the one "
        "behind the loudspeakers) and the left wall."
    )


def reasons_table(plan: Plan) -> Table:
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
        rows.append([numbers, planned.piece.product.name, where, planned.why or ABSENT])
    caption = "Why each piece is there: with it, instead of without it"
    return Table(
        caption, ("no.", "product", "on", "with it, instead of without"), rows, kind="wordy"
    )


def surface_name(plan: Plan, planned: PlannedPiece) -> str:
    """The surface of a piece, or its corner, in words."""
    names = [name for name, _ in planned.piece.rects]
    if len(names) == 2:
        return f"{' '.join(names)} corner"
    return surface_in_words(plan.project.room.surface(names[0]))
