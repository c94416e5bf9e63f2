"""A plan as results see it: numbered pieces, score card, shopping list."""

from dataclasses import dataclass

from optimizer.acoustics.low_response import LowResponse
from optimizer.placement.lifting import InTheWay
from optimizer.placement.pieces import Piece
from optimizer.placement.plan import Selection
from optimizer.project import Project
from optimizer.results.scorecard import ScoreCard
from optimizer.results.shopping import ShoppingLine, total_cents


@dataclass(frozen=True)
class PlannedPiece:
    """One piece of a plan: its number, the number of its mirror image, and why it is there."""

    id: str
    piece: Piece
    pair: str | None
    why: str


def hung_already(project: Project) -> tuple[PlannedPiece, ...]:
    """Pieces that hang already and stay, numbered h1, h2, ... in the order of the room file."""
    return tuple(
        PlannedPiece(f"h{number}", piece, None, "hangs already")
        for number, piece in enumerate(project.hung, 1)
    )


@dataclass(frozen=True)
class OtherOrder:
    """The weighted excess that a plan of another order would leave: "without order", 0.85.

    A plan keeps to every order that is not `stricter` than its own, so that a rough search that
    finds no less without has found nothing.
    """

    name: str
    score: float
    stricter: bool = False


@dataclass(frozen=True)
class Plan:
    """A plan for a project: what to buy, where it goes, what it does, how good it is proven."""

    project: Project
    selection: Selection
    candidates: int
    pairs: int
    pieces: tuple[PlannedPiece, ...]
    card: ScoreCard
    shopping: tuple[ShoppingLine, ...]
    judged: int | None = None  # plans that the fuller models judged on the way; None: not known
    rounds: str = ""  # how the rounds of choosing and judging went
    proof_of: str | None = None  # the file that status, objective and bound are taken from, if any
    cut_off: bool = False  # a time limit ended the work before the search was through
    low: tuple[LowResponse | None, LowResponse | None] = (None, None)  # before and after
    in_the_way: tuple[InTheWay, ...] = ()  # rules that cost the plan, as far as was looked
    orders: tuple[OtherOrder, ...] = ()  # what other orders would leave, where that was asked
    corrected: bool = False  # whether its bound is that of quick models corrected by fuller ones

    @property
    def cost_cents(self) -> int:
        """Price of the shopping list in cents."""
        return total_cents(self.shopping)
