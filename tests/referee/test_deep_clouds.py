"""Clouds of 100 mm of wool 200 mm below the ceiling, in a room 2.5 m high, against finite elements.

The mode 0-0-2 moves the air most a quarter of the height below the ceiling, close to where such a
cloud hangs. By finite elements it rings for 0.5 s under a cloud of 1.2 x 1.2 m and for 0.2 s under
one of 2.4 x 1.2 m, which leaves little of a mode. A quarter of the room is meshed; its middle
planes are walls then, as modes even about them have no flow through them.
"""

import numpy as np
import pytest
from project_cases import Hung, modes_of
from referee_modes import Order, find_mode
from referee_room import Block, Fineness, Room
from referee_system import System

from materials.build import Build
from materials.layers import AirGap, Porous
from materials.modal import Make

SIZE = np.array([3.6, 3.0, 2.5])
DEPTH, GAP, SIGMA = 0.1, 0.2, 12_000.0
CLOUDS = [(1.2, 1.2), (2.4, 1.2)]
FINE = Fineness(0.35, 0.06, 1.0)


def by_elements(cloud: tuple[float, float], orders: list[Order], fine: Fineness) -> np.ndarray:
    """Frequency in Hz and damping in 1/s (M, 2) of modes that are even about the room's middle."""
    quarter = (0.5 * SIZE[0], 0.5 * SIZE[1], SIZE[2])
    low = (0.5 * (SIZE[0] - cloud[0]), 0.5 * (SIZE[1] - cloud[1]), SIZE[2] - GAP - DEPTH)
    room = Room(quarter, (Block(low, (quarter[0], quarter[1], SIZE[2] - GAP), SIGMA),))
    system = System(room, fine)
    found = [find_mode(system, (a // 2, b // 2, c)) for a, b, c in orders]
    return np.array([[mode.frequency, mode.delta] for mode in found])


def by_this_project(cloud: tuple[float, float], orders: list[Order]) -> np.ndarray:
    """The same of a make on the ceiling."""
    x, y = 0.5 * (SIZE[0] - cloud[0]), 0.5 * (SIZE[1] - cloud[1])
    make = Make(Build("c", "c", (Porous(DEPTH, SIGMA), AirGap(GAP))), cloud, cloud[0] * cloud[1])
    place = (2, 1, (x, y, x + cloud[0], y + cloud[1]))
    found = modes_of([Hung(make, (place,))], top_hz=160.0, size=SIZE)
    return np.array([found["-".join(map(str, order))] for order in orders])


@pytest.mark.parametrize("cloud", CLOUDS)
def test_the_second_upright_mode_is_damped_as_strongly_as_finite_elements_say(
    cloud: tuple[float, float],
) -> None:
    """Frequencies within 1 %. Damping of the first upright mode within 25 %; the second, whose
    neighbours it is as wide as it is apart from, within 45 %, and rather too little than too
    much: in materials.modal a cloud acts at the ceiling, not at its own depth."""
    orders = [(0, 0, 1), (0, 0, 2)]
    wanted, found = by_elements(cloud, orders, FINE), by_this_project(cloud, orders)
    np.testing.assert_allclose(found[:, 0], wanted[:, 0], rtol=0.01)
    first, second = found[:, 1] / wanted[:, 1]
    assert first == pytest.approx(1.0, rel=0.25)
    assert 0.55 < second < 1.1
    assert wanted[1, 1] > 10.0  # 6.9 over it: rings for less than 0.7 s


def test_the_mesh_is_fine_enough() -> None:
    """Cells 1.6 times as large change damping by less than 2 %."""
    orders = [(0, 0, 1), (0, 0, 2)]
    fine, rough = (by_elements(CLOUDS[0], orders, f) for f in (FINE, FINE.finer(1.0 / 1.6)))
    np.testing.assert_allclose(rough[:, 1], fine[:, 1], rtol=0.02)
