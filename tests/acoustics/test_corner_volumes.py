"""Corner fills as volumes of wool; damping against finite elements is in tests/referee."""

from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from materials.corner import CornerFill
from optimizer.acoustics.corner_volumes import Standing, volume_blocks
from optimizer.acoustics.low_response import damped_modes, standing
from optimizer.acoustics.modes import box_modes
from optimizer.acoustics.scene import Scene
from optimizer.placement.pieces import Piece, corner_piece, piece_patches
from optimizer.project import Project, load_project

ROOM = (4.6, 3.4, 2.5)
SCENARIO = Path(__file__).parents[2] / "scenarios" / "spare_room.toml"
HZ = np.geomspace(16.0, 400.0, 30)


@cache
def project() -> Project:
    return load_project(SCENARIO)


def stack(*places: tuple[float, float], leg: float = 0.6) -> list[Piece]:
    """Fills of the price list in the corner of the front and the left wall, by low and high end."""
    product = next(p for p in project().products if p.id == f"corner_{leg * 1e3:.0f}")
    width = ROOM[1]
    across = [(0.0, leg), (width - leg, width)]
    room = project().room
    front, left = (room.surface(name).plane for name in ("front", "left"))
    at_left = abs((front.to_xyz(np.array([0.0, 0.0])) - left.origin) @ left.normal) < 1e-6
    at_front = abs((left.to_xyz(np.array([0.0, 0.0])) - front.origin) @ front.normal) < 1e-6
    one = across[0] if at_left else across[1]
    two = (0.0, leg) if at_front else (ROOM[0] - leg, ROOM[0])
    return [
        corner_piece(
            room, product, 0,
            (("front", (one[0], low, one[1], high)), ("left", (two[0], low, two[1], high))),
        )
        for low, high in places
    ]  # fmt: skip


def with_pieces(pieces: list[Piece]) -> Scene:
    return project().scene.with_pieces(piece_patches(project().room, pieces)[0])


def test_pieces_that_touch_are_one_stack() -> None:
    """Its joints let no sound in; one a hand's breadth higher is another stack."""
    found = standing(with_pieces(stack((0.0, 0.6), (0.6, 1.2), (1.3, 1.9))), ROOM)
    assert [(s.sides, s.low, s.high) for s in found] == [
        (found[0].sides, 0.0, 1.2),
        (found[0].sides, 1.3, 1.9),
    ]
    assert all(s.fill.leg == pytest.approx(0.6) for s in found)


def test_a_stack_of_two_damps_as_one_piece_as_tall() -> None:
    parts, whole = (
        damped_modes(with_pieces(stack(*places)), ROOM, 90.0)
        for places in (((0.0, 0.6), (0.6, 1.2)), ((0.0, 1.2),))
    )
    np.testing.assert_allclose(parts.delta, whole.delta, rtol=2e-3)


def matrices(fill: CornerFill, ends: tuple[float, float]) -> tuple[np.ndarray, np.ndarray]:
    """C (F, N, N) of one stack over modes of a box, and their squared wavenumbers (N,)."""
    modes = box_modes(ROOM, 260.0)
    cut = int(np.searchsorted(modes.f_hz, 200.0))
    low = replace(modes, n=modes.n[:cut], f_hz=modes.f_hz[:cut], norm=modes.norm[:cut])
    high = replace(modes, n=modes.n[cut:], f_hz=modes.f_hz[cut:], norm=modes.norm[cut:])
    lift = np.eye(len(high.n), 5)
    one = Standing(fill, (0, 1), *ends, np.ones(len(HZ)))
    blocks, coef = volume_blocks([one], low, high, lift, HZ, 1e-7)
    return np.einsum("rmn,rf->fmn", blocks, coef), (2.0 * np.pi * low.f_hz / low.c) ** 2


ENDS = [(0.0, 1.2), (0.0, 2.5), (0.8, 2.5), (0.5, 1.7)]


@pytest.mark.parametrize("ends", ENDS)
@pytest.mark.parametrize("sigma", [3_000.0, 12_000.0, 30_000.0])
def test_a_stack_gives_no_energy_back(ends: tuple[float, float], sigma: float) -> None:
    """Re C is what the wool takes of any sum of modes: no eigenvalue below zero."""
    matrix, _ = matrices(CornerFill("c", "c", "triangle", 0.4, sigma), ends)
    np.testing.assert_allclose(matrix, np.swapaxes(matrix, 1, 2), atol=1e-9 * np.abs(matrix).max())
    for one in matrix:
        values = np.linalg.eigvalsh(one.real)
        assert values[0] > -1e-3 * values[-1]


def test_a_tall_fill_takes_of_an_even_pressure_what_the_series_of_the_prism_says() -> None:
    """For a pressure that is the same everywhere the flow into a fill from floor to ceiling is that
    of materials.corner, less the air it displaces: the box's modes of lowest order tend to it."""
    fill = CornerFill("c", "c", "triangle", 0.3, 9_000.0)
    long = (40.0, 40.0, 2.5)
    modes = box_modes(long, 10.0)
    low = replace(modes, n=modes.n[:1], f_hz=modes.f_hz[:1], norm=modes.norm[:1])
    high = replace(modes, n=modes.n[1:2], f_hz=modes.f_hz[1:2], norm=modes.norm[1:2])
    hz = np.array([30.0, 60.0, 120.0])
    one = Standing(fill, (0, 0), 0.0, 2.5, np.ones(3))
    blocks, coef = volume_blocks([one], low, high, np.zeros((1, 0)), hz, 1e-12)
    found = np.einsum("r,rf->f", blocks[:, 0, 0], coef) * modes.norm[0]
    np.testing.assert_allclose(found, 2.0 * 0.3 * 2.5 * fill.admittance(hz), rtol=0.01)
