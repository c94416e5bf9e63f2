"""What is drawn: a room, and the pieces of a plan if there is one."""

from dataclasses import dataclass
from functools import cached_property

from optimizer.drawings.style import clean
from optimizer.placement.hung import without_hung
from optimizer.project import Project
from optimizer.results.model import Plan, PlannedPiece, hung_already
from optimizer.room.geometry import Rect
from optimizer.room.model import Room


@dataclass(frozen=True)
class Subject:
    """A project and the numbered pieces in it; `planned` is False where no plan was made."""

    project: Project
    pieces: tuple[PlannedPiece, ...]
    planned: bool

    @cached_property
    def room(self) -> Room:
        """The room; what hangs already is not among what is to be kept clear, but in `hung`."""
        return without_hung(self.project.room, self.project.hung)

    @cached_property
    def hung(self) -> tuple[PlannedPiece, ...]:
        """Pieces that hang already and stay."""
        return hung_already(self.project)

    @property
    def title(self) -> str:
        """The person's name of the room."""
        return clean(self.project.scenario.title)

    def on(self, surface: str) -> list[tuple[PlannedPiece, Rect]]:
        """Pieces on a surface, each with the rectangle it covers there."""
        return _on(surface, self.pieces)

    def hung_on(self, surface: str) -> list[tuple[PlannedPiece, Rect]]:
        """The same for pieces that hang already."""
        return _on(surface, self.hung)

    def nothing(self, where: str) -> str:
        """What to say where there is no piece to draw."""
        if not self.planned:
            return "The room as it is, without a plan."
        if not self.pieces:
            return "No new piece: the room stays as it is."
        return f"No piece of the plan {where}."


def _on(surface: str, pieces: tuple[PlannedPiece, ...]) -> list[tuple[PlannedPiece, Rect]]:
    return [(p, rect) for p in pieces for name, rect in p.piece.rects if name == surface]


def subject_of(shown: Plan | Project) -> Subject:
    """A plan with its pieces, or a project as it is."""
    if isinstance(shown, Plan):
        return Subject(shown.project, shown.pieces, True)
    return Subject(shown, (), False)
