"""The low end by place: modes vanish where they must, the wall behind makes its dip, and moving the
head changes what is heard as the wave equation says."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from bare import bare, demo
from steps import step_errors

from optimizer.acoustics.coupled import log_frequencies, response
from optimizer.acoustics.coupled_build import couple_box
from optimizer.acoustics.coupled_pairs import Block, respond
from optimizer.acoustics.directivity import omnidirectional
from optimizer.acoustics.low_response import coupled_box
from optimizer.acoustics.modes import Patches
from optimizer.positions.axis import axis_levels, axis_places
from optimizer.positions.early import wall_dip
from optimizer.positions.low_end import exact_levels, rows_of

C = 343.0


def test_odd_axial_mode_vanishes_at_mid_length(tmp_path: Path) -> None:
    """The first mode along the length, c/(2 L) (Rayleigh; O'Reilly, ch. 8), has its node at L/2:
    at its frequency the map is far lower there than at both ends and at a third."""
    project = bare(tmp_path, width=2.6, height=2.2)
    assert project.room.dimensions is not None
    length = project.room.dimensions[0]
    places = axis_places(length)
    assert places[len(places) // 2] == pytest.approx(length / 2)
    box = coupled_box(project.scene, project.room.dimensions, 300.0)
    f, level = axis_levels(box, project.scene.speakers, project.scene.seats[0], places)
    at = int(np.argmin(np.abs(f - C / (2 * length))))
    middle, third = level[len(places) // 2, at], np.interp(length / 3, places, level[:, at])
    assert middle < third - 6
    assert middle < min(level[0, at], level[-1, at]) - 12
    even = int(np.argmin(np.abs(f - C / length)))  # the second one has an antinode there
    assert level[len(places) // 2, even] > np.interp(length / 4, places, level[:, even]) + 6


@pytest.mark.parametrize("away", [0.4, 0.7, 1.1])
def test_wall_behind_cancels_at_a_quarter_wave(tmp_path: Path, away: float) -> None:
    """A wall d behind a source cancels at c/(4 d) straight ahead (images; Allen and Berkley 1979):
    the row says so, and so does the coupled response in a room whose other walls absorb."""
    project = bare(tmp_path, length=12, width=9, height=7)
    scene = project.scene
    bare_front = scene.base_alpha.copy()
    bare_front[scene.names.index("front")] = 0.0
    scene = replace(scene, base_alpha=bare_front)
    speakers = np.array([[[away, 4.5, 3.5], [away, 4.5, 3.5]]])
    ears = np.array([[away + 4.0, 4.5, 3.5]])
    depth, hz = wall_dip(scene, speakers, ears, omnidirectional())
    assert hz[0] == pytest.approx(C / (4 * away), rel=1e-9)
    assert depth[0] == pytest.approx(-20 * np.log10(1 - 4 / (4 + 2 * away)), rel=1e-9)


def test_quarter_wave_dip_in_the_coupled_response() -> None:
    """In a duct that carries plane waves alone, closed behind the source and at its far end of the
    admittance of air, the wall behind cancels wholly at c/(4 d), and at three times that."""
    size, f = (8.0, 0.4, 0.4), np.arange(50.0, 300.0, 1.0)
    end = Patches(np.array([0]), np.array([1]), np.array([[0.0, 0.0, 0.4, 0.4]]))
    box = couple_box(size, end, [100.0], np.ones((1, 1)), 300.0)
    for away in (0.5, 0.8, 1.0):
        source, ear = np.array([[away, 0.2, 0.2]]), np.array([[4.0, 0.2, 0.2]])
        level = 20 * np.log10(np.abs(response(box, f, source, ear)[0, 0]))
        for times in (1, 3):
            expected = times * C / (4 * away)
            near = (f > expected - 30) & (f < expected + 30)
            if expected < 290:
                assert f[near][level[near].argmin()] == pytest.approx(expected, rel=0.01)
                assert level[near].min() < level[near].max() - 20


def test_many_places_at_once_are_heard_as_one_by_one() -> None:
    """The batch form agrees with `response` for every pair, to 1e-9."""
    project = demo("small_bedroom")
    assert project.room.dimensions is not None
    box = coupled_box(project.scene, project.room.dimensions, 300.0)
    random = np.random.default_rng(7)
    low, high = np.full(3, 0.2), np.array(project.room.dimensions) - 0.2
    sources, receivers = (random.uniform(low, high, (n, 3)) for n in (3, 4))
    f = log_frequencies()[::13]
    expected = response(box, f, sources, receivers)
    found = np.empty_like(expected)
    blocks = [Block(sources[:1], receivers), Block(sources[1:], receivers)]
    rows = (slice(0, 1), slice(1, 3))
    respond(box, f, blocks, lambda i, n, p: found.__setitem__((rows[n], slice(None), i), p))
    assert np.abs(found / expected - 1).max() < 1e-9
    with pytest.raises(ValueError, match="frequencies"):
        respond(box, [500.0], blocks, lambda i, n, p: None)
    with pytest.raises(ValueError, match="outside"):
        respond(box, f, [Block(sources + 9, receivers)], lambda i, n, p: None)


def test_moving_ten_centimetres_agrees_with_the_wave_equation(tmp_path: Path) -> None:
    """Level after a step of 10 cm, less that before it: coupled modes against finite differences
    in time, within 1 dB rms from 20 to 200 Hz for each of four directions. In a bare box of one
    coefficient, and in demo rooms emptied of furniture: furniture is a loss spread over its box to
    the coupled modes, a solid to the wave equation (tests/evidence/positions_demo.md)."""
    project = bare(tmp_path, length=3.2, width=2.6, height=2.2)
    even = replace(project.scene, base_alpha=np.full_like(project.scene.base_alpha, 0.1))
    assert project.room.dimensions is not None
    assert max(step_errors(even, project.room.dimensions)) < 1.0
    for name in ("small_bedroom", "living_room"):
        room = demo(name).room
        assert room.dimensions is not None
        empty = replace(demo(name), room=replace(room, furniture=())).scene
        assert max(step_errors(empty, room.dimensions)) < 1.0, name


def test_rows_are_those_of_the_response_judge() -> None:
    """Unevenness, dip and the level of the other seat as `predict` tells them, to 1e-9."""
    project = demo("spare_room")
    scene, size = project.scene, project.room.dimensions
    assert size is not None
    box = coupled_box(scene, size, 300.0)
    rows = rows_of(exact_levels(box, scene.speakers, scene.seats[0], scene.seats[1:]))
    told = {f.where: f.value for f in project.informers()[0](scene).findings}
    assert rows.unevenness[0] == pytest.approx(told["mix, unevenness"], rel=1e-9)
    assert -rows.dip[0] == pytest.approx(told["mix, deepest dip"], rel=1e-9)
    assert rows.louder[0] == pytest.approx(told["guest, louder than mix"], rel=1e-9)
