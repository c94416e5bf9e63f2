"""What is drawn: a room, and the pieces of a plan if there is one."""

from dataclasses import dataclass

from optimizer.drawings.style import clean
from optimizer.project import Project
from optimizer.results.model import Plan, PlannedPiece
from optimizer.room.geometry import Rect
from optimizer.room.model import Room


@dataclass(frozen=True)
class Subject:
    """A project and the numbered pieces in it; `planned` is False where no plan was made."""

    project: Project
    pieces: tuple[PlannedPiece, ...]
    planned: bool

    @property
    def room(self) -> Room:
        """The room."""
        return self.project.room

    @property
    def title(self) -> str:
        """The person's name of the room."""
        return clean(self.project.scenario.title)

    def on(self, surface: str) -> list[tuple[PlannedPiece, Rect]]:
        """Pieces on a surface, each with the rectangle it covers there."""
        return [(p, rect) for p in self.pieces for name, rect in p.piece.rects if name == surface]

    def nothing(self, where: str) -> str:
        """What to say where there is no piece to draw."""
        if not self.planned:
            return "The room as it is, without a plan."
        if not self.pieces:
            return "The plan holds no piece: the room stays as it is."
        return f"No piece of the plan {where}."


def subject_of(shown: Plan | Project) -> Subject:
    """A plan with its pieces, or a project as it is."""
    if isinstance(shown, Plan):
        return Subject(shown.project, shown.pieces, True)
    return Subject(shown, (), False)
