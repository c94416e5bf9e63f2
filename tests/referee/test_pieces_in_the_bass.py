"""Damping of room modes by porous pieces against finite elements (cases.csv, of make_cases.py).

There the wool is a volume of equivalent fluid in a box of 5.1 x 3.9 x 2.7 m, here it is what the
product's make shows at the wall, or a stack of wool in a corner. Square fills are in cases.csv too;
no product is one, so they are not tested here.
"""

import numpy as np
import pytest
from project_cases import boards, box_of, geometry, level_differences, modes_of, reference

PIECES, WANTED = geometry(), reference()


def cases(number: str) -> list[str]:
    return [name for name in WANTED if name.startswith(number) and "square" not in name]


@pytest.mark.parametrize("case", cases("1"))
def test_corner_fills_from_floor_to_ceiling(case: str) -> None:
    """Two fills in the rear corners, six modes of the plan from 34 to 88 Hz."""
    found = modes_of(PIECES[case])
    for mode, delta in WANTED[case].items():
        assert found[mode][1] == pytest.approx(delta, rel=0.15), mode


@pytest.mark.parametrize("case", cases("3"))
def test_wool_on_a_whole_wall_and_off_it(case: str) -> None:
    """Modes that run straight at it, along it and aslant, up to 120 Hz."""
    found = modes_of(PIECES[case])
    low = {mode: delta for mode, delta in WANTED[case].items() if found[mode][0] < 120.0}
    assert len(low) >= 5
    for mode, delta in low.items():
        assert found[mode][1] == pytest.approx(delta, rel=0.2, abs=0.05), mode


@pytest.mark.parametrize("case", cases("4"))
def test_pieces_with_open_sides(case: str) -> None:
    """Clouds 100 mm below the ceiling, a panel on the wall and one 100 mm off it."""
    found = modes_of(PIECES[case])
    for mode, delta in WANTED[case].items():
        assert found[mode][1] == pytest.approx(delta, rel=0.2, abs=0.05), mode


@pytest.mark.parametrize("case", cases("2"))
def test_stacks_of_fills_on_the_floor(case: str) -> None:
    """1.2 m high with an open top, modes of every vertical order up to 120 Hz."""
    found = modes_of(PIECES[case])
    low = {mode: delta for mode, delta in WANTED[case].items() if found[mode][0] < 120.0}
    assert len(low) == 19
    for mode, delta in low.items():
        assert found[mode][1] == pytest.approx(delta, rel=0.25), mode


def test_a_furnished_room() -> None:
    """Boards, door, window, two stacks of fills, four panels, a cloud: 19 modes below 120 Hz. Two
    meshes of the referee agree within half a per cent."""
    pieces = PIECES["5 furnished"]
    found, wanted = modes_of(pieces, boards(pieces)), WANTED["5 furnished"]
    off = np.array([found[mode][1] / delta - 1.0 for mode, delta in wanted.items()])
    assert len(off) == 19
    assert np.abs(off).max() < 0.12
    assert np.abs(off).mean() < 0.05


def test_its_response_at_two_seats() -> None:
    """Level of a monopole in decibels, 20 to 125 Hz in twelfth-octaves."""
    pieces = PIECES["5 furnished"]
    off = level_differences(box_of(pieces, boards(pieces)))
    assert len(off) == 2
    for difference in off:
        assert np.abs(difference).mean() < 1.0
