"""What is said of a plan's diffusers: distance by the rule of 3 wavelengths, and estimates.

3 x 343 m/s / 1 kHz = 1.03 m (rule of thumb of Cox and D'Antonio, Acoustic Absorbers and Diffusers,
from memory). The skyline scatters 0.45 at 500 Hz and 0.82 at 1 kHz (materials/scattering.csv).
"""

from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from optimizer.placement.pieces import flat_piece
from optimizer.project import Project, load_project
from optimizer.results.diffuser_words import RULE, diffuser_sentences
from optimizer.results.model import PlannedPiece
from optimizer.room.model import Room

ROOM = Path(__file__).parents[2] / "scenarios" / "living_room.toml"


@cache
def project() -> Project:
    return load_project(ROOM)


def hung(product_id: str, away: float, side: float = 0.0) -> tuple[Room, PlannedPiece]:
    """A piece of 0.6 x 0.6 m in the middle of the back wall, and the room with all ears and
    loudspeakers far off but for one seat `away` from the middle of its face, `side` along it."""
    product = next(p for p in project().products if p.id == product_id)
    room = project().room
    plane = room.surface("back").plane
    u, v = np.array(plane.bounds).reshape(2, 2).mean(axis=0)
    half = (product.width / 2, product.height / 2)
    rect = (u - half[0], v - half[1], u + half[0], v + half[1])
    piece = flat_piece(room, product, 0, "wall", "back", rect, False)
    at = piece.face.mean(axis=0) + away * plane.normal + side * plane.u
    seats = (replace(room.seats[0], name="chair", at=tuple(at.tolist())),)
    return replace(room, seats=seats, speakers=()), PlannedPiece("4", piece, None, "")


def said(product_id: str, away: float, side: float = 0.0, units: str = "m") -> str:
    room, planned = hung(product_id, away, side)
    found = diffuser_sentences(room, [[planned]], units)
    assert found[1:] == [RULE]
    return found[0]


def test_one_too_near_is_told() -> None:
    text = said("diffuser_skyline_light", 1.0)
    assert text.startswith("4 (stepped-block diffuser")
    assert "1.00 m from chair, nearer than 1.03 m, 3 wavelengths at 1 kHz: too near" in text
    assert "3 ft 3.5 in from chair, nearer than 3 ft 4.5 in" in said(
        "diffuser_skyline_light", 1.0, units="ft"
    )


def test_one_far_enough_is_told_so() -> None:
    text = said("diffuser_skyline_light", 1.1)
    assert "1.10 m from chair, far enough (1.03 m, 3 wavelengths at 1 kHz)" in text


def test_the_nearest_point_of_the_face_counts() -> None:
    """0.3 + 0.4 m aside of the middle of a face 0.6 m wide and 0.3 m in front: 0.5 m."""
    assert "0.50 m from chair" in said("diffuser_skyline_light", 0.3, side=0.7)


@pytest.mark.parametrize(
    ("product", "estimate"),
    [
        ("diffuser_skyline_light", "Its absorption is an estimate: No absorption by band"),
        ("polycylinder", "Its scattering is estimated from its depth, not measured."),
    ],
)
def test_what_is_estimated_is_told(product: str, estimate: str) -> None:
    assert estimate in said(product, 2.0)


def test_absorbers_and_empty_plans_have_no_sentence() -> None:
    room, planned = hung("panel_100_600", 1.0)
    assert diffuser_sentences(room, [[planned]]) == []
    assert diffuser_sentences(room, []) == []
