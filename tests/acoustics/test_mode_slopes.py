"""What a patch does to the coupled modes of a room, by their slopes.

In a rigid room the slope is the damping of first order, (c/2) Re(beta) times the integral of psi^2
over the patch over that over the room (Morse and Ingard, Theoretical Acoustics, 9.4; Kuttruff, Room
Acoustics, 3.3), worked out here from its closed form. With treatment it is held against modes
solved anew with a little more on the wall.
"""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from optimizer.acoustics.admittance import piece_admittance
from optimizer.acoustics.coupled import CoupledModes, coupled_modes
from optimizer.acoustics.coupled_build import couple_box
from optimizer.acoustics.judge_modes import ModesJudge, places_of
from optimizer.acoustics.low_response import damped_modes
from optimizer.acoustics.mode_slopes import damping_slopes, quantity_slopes
from optimizer.acoustics.modes import Patches as WallPatches
from optimizer.acoustics.modes import decay_time
from optimizer.acoustics.scene import LOW_HZ, Patches, Scene
from optimizer.placement.pieces import piece_patches, treated
from optimizer.planning import Decision, build_decision
from optimizer.project import load_project

SPARE_ROOM = Path(__file__).parents[2] / "scenarios" / "spare_room.toml"
TOP_HZ = 110.0


@pytest.fixture(scope="module")
def decision() -> Decision:
    return build_decision(load_project(SPARE_ROOM))


def hard(scene: Scene) -> Scene:
    """The room with hardly anything that absorbs, and no furniture."""
    none = np.zeros((0, 8))
    return replace(
        scene, base_alpha=np.full_like(scene.base_alpha, 1e-4), tiles=Patches.none(),
        air=np.zeros(8), object_area=none, object_box=np.zeros((0, 2, 3)),
    )  # fmt: skip


def panel(scene: Scene, rect: tuple[float, float, float, float], alpha: float) -> Patches:
    """A patch of known coefficients, which covers the wall wholly, on the first wall."""
    area = np.array([(rect[2] - rect[0]) * (rect[3] - rect[1])])
    wall = np.array([scene.names.index("front")])
    return Patches(
        wall, np.array([rect]), np.full((1, 8), alpha), np.zeros((1, 8)), area, np.zeros(1),
        np.ones((1, 8)),
    )  # fmt: skip


def modes_of(decision: Decision, scene: Scene) -> CoupledModes:
    dimensions = decision.project.room.dimensions
    assert dimensions is not None
    return damped_modes(scene, dimensions, TOP_HZ)


def test_in_a_hard_room_the_slope_is_the_damping_of_first_order(decision: Decision) -> None:
    scene = hard(decision.project.scene)
    modes = modes_of(decision, scene)
    patch = panel(scene, (0.4, 0.3, 1.5, 1.9), 0.2)
    slopes = damping_slopes(modes, scene, patch)[:, 0]
    beta = np.interp(modes.f_hz, LOW_HZ, piece_admittance(patch)[0, 0].real)
    _, width, height = decision.project.room.dimensions or (0.0, 0.0, 0.0)
    for order, slope, real in zip(modes.n.tolist(), slopes, beta, strict=True):
        over = 1.0
        for n, size, low, high in ((order[1], width, 0.4, 1.5), (order[2], height, 0.3, 1.9)):
            u = np.linspace(low, high, 2001)
            over *= np.trapezoid(np.cos(n * np.pi * u / size) ** 2, u)
        volume = scene.volume / 2.0 ** np.count_nonzero(order)
        assert slope == pytest.approx(0.5 * modes.low.c * real * over / volume, rel=0.03)


@pytest.fixture(scope="module")
def covered(decision: Decision) -> Scene:
    """The room with a dozen absorbing pieces, some of which exclude each other or not."""
    room = decision.project.room
    some = [c for c in decision.candidates if c.product.id == "panel_50_1200"][::40][:12]
    return treated(room, decision.project.scene, [p for c in some for p in c.pieces])


def test_with_treatment_it_follows_modes_solved_anew(decision: Decision, covered: Scene) -> None:
    """A panel more in each of six places: the changes of all modes go together. The slopes fall
    short by what the high modes near a patch add: they rank places, and size them roughly."""
    room, before = decision.project.room, modes_of(decision, covered)
    some = [c for c in decision.candidates if c.product.id == "panel_50_1200"]
    for candidate in some[:: len(some) // 6][:6]:
        patches, _ = piece_patches(room, list(candidate.pieces[:1]))
        slopes = damping_slopes(before, decision.project.scene, patches)[:, 0]
        more = replace(covered, pieces=covered.pieces.beside(patches))
        after = modes_of(decision, more)
        nearest = np.abs(after.k[None] - before.k[:, None]).argmin(axis=1)
        change = after.delta[nearest] - before.delta
        assert np.corrcoef(slopes, change)[0, 1] > 0.85
        assert 0.9 < (slopes @ change) / (slopes @ slopes) < 3.5


def test_rows_change_as_their_decay_does(decision: Decision, covered: Scene) -> None:
    """The slope of a row, from the room where its mode is as damped as the judge says: a small
    change of every mode's damping changes the row's decay time as told."""
    project, modes = decision.project, modes_of(decision, covered)
    criteria = project.criteria
    judge = next(j for j in project.judges("fast") if isinstance(j, ModesJudge))
    quantities = criteria.quantities(covered)
    rng = np.random.default_rng(5)
    damping = 1e-4 * rng.uniform(0.5, 1.5, (len(modes.k), 1)) * modes.delta[:, None]
    slopes = quantity_slopes(criteria, quantities, modes, damping)[:, 0]
    moved = replace(modes, delta=modes.delta + damping[:, 0])
    at = places_of(modes.low.n)
    rows = {row.key: k for k, row in enumerate(criteria.rows)}
    checked = 0
    for row, order in zip(judge.modal.rows, judge.modal.modes.n.tolist(), strict=True):
        place, k = at[tuple(order)], rows[row.key]
        if modes.held[place] < 0.9:
            continue
        one, two = (decay_time(m.delta) @ m.shares[:, place] for m in (modes, moved))
        assert slopes[k] / quantities[k] == pytest.approx(-(two / one - 1.0), rel=1e-2)
        checked += 1
    assert checked > 5


def test_a_shape_rings_on_where_two_modes_meet() -> None:
    """In a plan that is nearly square the modes along and across join over unlike walls, and which
    of the two that come of it is called after which hangs on 10 cm: by name its decay would jump by
    a factor of e squared, by share it moves as far as the panel does."""
    shares, names = [], []
    for step in range(12):
        low = 0.1 * step
        rects = np.array([[low, 0.0, low + 1.2, 2.6], [0.0, 0.0, 2.0, 2.6]])
        walls = WallPatches(np.array([0, 1]), np.array([0, 0]), rects)
        beta = np.full((2, 1), 0.2)
        found = coupled_modes(couple_box((4.0, 4.05, 2.6), walls, [100.0], beta, 80.0), 60.0)
        at, times = places_of(found.low.n), decay_time(found.delta)
        np.testing.assert_allclose(found.shares[:, 1:3].sum(axis=0), 1.0)
        shares.append((times @ found.shares)[[at[1, 0, 0], at[0, 1, 0]]])
        named = dict(zip(map(tuple, found.n.tolist()), times.tolist(), strict=True))
        names.append([named[1, 0, 0], named[0, 1, 0]])
    by_share, by_name = (np.abs(np.diff(np.log(t), axis=0)).max() for t in (shares, names))
    assert by_name > 2.0
    assert by_share < 0.12
