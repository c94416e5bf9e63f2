"""Plans with pieces laid by hand, so that reports can be looked at without solving anything."""

from collections.abc import Sequence
from pathlib import Path
from typing import NamedTuple

import numpy as np

from optimizer.acoustics.judged import judge_scene
from optimizer.placement.pieces import Piece, corner_piece, flat_piece, treated
from optimizer.placement.plan import Selection
from optimizer.project import Project, load_project
from optimizer.results.model import Plan, PlannedPiece
from optimizer.results.scorecard import card_of, reasons
from optimizer.results.shopping import shopping_list
from optimizer.room.geometry import DIGITS, Rect

SCENARIOS = Path(__file__).parents[2] / "scenarios"
ROOMS = ("small_bedroom", "spare_room", "garage", "living_room")


class Place(NamedTuple):
    """A product at a place: surface (or "front-left" for a corner), lower left corner in m."""

    product: str
    mounting: str
    surface: str
    u: float
    v: float
    fitting: int = 0


PLACES = (
    Place("panel_50_1200", "wall", "left", 2.6, 0.3),
    Place("panel_50_1200", "wall", "right", 1.2, 0.3),
    Place("panel_50_1200", "wall", "front", 0.4, 0.6, 1),
    Place("corner_300", "corner", "back-left", 0.0, 1.5),
    Place("cloud_50", "ceiling", "ceiling", 1.0, 0.8),
    Place("cloud_50", "ceiling", "ceiling", 2.0, 0.8),
    Place("rug_small", "floor", "floor", 1.2, 0.2),
)


def demo_project(room: str) -> Project:
    """A demo room of the repository."""
    return load_project(SCENARIOS / f"{room}.toml")


def edited_project(folder: Path, room: str, **changes: tuple[str, str]) -> Project:
    """A demo room copied into a folder with a text replaced in its room file or price list.

    `changes`: "toml" or "prices" -> (old text, new text); the old text must be there.
    """
    files = {"toml": f"{room}.toml", "prices": f"{room}_prices.csv"}
    for key, name in files.items():
        text = (SCENARIOS / name).read_text(encoding="utf-8")
        old, new = changes.get(key, ("", ""))
        assert old in text
        folder.mkdir(exist_ok=True)
        (folder / name).write_text(text.replace(old, new) if old else text, encoding="utf-8")
    return load_project(folder / files["toml"])


def plan_of(
    project: Project, places: Sequence[Place] = PLACES, status: str = "feasible", gap: float = 0.05
) -> Plan:
    """A plan with these pieces, judged by the quick models; the two clouds are a pair."""
    pieces = [_piece(project, place) for place in places]
    after = judge_scene(treated(project.room, project.scene, pieces), project.criteria)
    why = reasons(project.room, project.scene, after, [[piece] for piece in pieces])
    twins = {5: "6", 6: "5"} if len(pieces) == len(PLACES) else {}
    score = after.score
    return Plan(
        project=project,
        selection=Selection(
            status, np.zeros(0, dtype=np.int64), score, score * (1 - gap), gap, 1.0
        ),
        candidates=100,
        pairs=40,
        pieces=tuple(
            PlannedPiece(str(i), piece, twins.get(i), text)
            for i, (piece, text) in enumerate(zip(pieces, why, strict=True), 1)
        ),
        card=card_of(judge_scene(project.scene, project.criteria), after),
        shopping=shopping_list(pieces, project.products, project.scenario.budget.delivery),
    )


def _piece(project: Project, place: Place) -> Piece:
    room = project.room
    product = next(p for p in project.products if p.id == place.product)
    high = round(place.v + product.height, DIGITS)
    if place.mounting != "corner":
        rect = (place.u, place.v, round(place.u + product.width, DIGITS), high)
        return flat_piece(room, product, place.fitting, place.mounting, place.surface, rect, False)
    legs = [_leg(project, place, name, product.width, high) for name in place.surface.split("-")]
    return corner_piece(room, product, place.fitting, (legs[0], legs[1]))


def _leg(project: Project, place: Place, name: str, leg: float, high: float) -> tuple[str, Rect]:
    """One leg of a corner fill in the corner of the back and the left wall."""
    u0, _, u1, _ = project.room.surface(name).plane.bounds
    start = u0 if name == "back" else round(u1 - leg, DIGITS)
    return name, (start, place.v, round(start + leg, DIGITS), high)
