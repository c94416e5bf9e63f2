"""How much absorption counts on each surface, against what is known of simple rooms.

In a diffuse field a square metre counts alike wherever it lies (what Norris-Eyring's formula says;
Kuttruff, Room Acoustics, ch. 5). With absorption on one pair of surfaces only and hardly any
scattering the sound that stays goes to and fro between the others (Fitzroy, JASA 31 (1959) 893),
so there it must count more.
"""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from optimizer.acoustics.absorption import absorption_area
from optimizer.acoustics.scene import Patches, Scene
from optimizer.acoustics.surface_weights import scattering_worth, surface_weights
from optimizer.acoustics.trace import trace
from optimizer.acoustics.trace_room import traced_room
from optimizer.project import load_project

ROOM = """\
title = "bare"
[room]
length = {length}
width = {width}
height = {height}
[surfaces]
front = "plaster_on_masonry"
back = "plaster_on_masonry"
left = "plaster_on_masonry"
right = "plaster_on_masonry"
floor = "concrete_floor"
ceiling = "plaster_on_masonry"
[[speakers]]
name = "left speaker"
at = [0.6, 0.8, 1.2]
[[speakers]]
name = "right speaker"
at = [0.6, 2.0, 1.2]
[[seats]]
name = "seat"
at = [1.8, 1.4, 1.2]
[budget]
amount = 100
catalogue = "prices.csv"
"""
PRICES = """\
id,name,kind,width,height,depth,turn,mountings,gaps,materials,faces,price,pack,owned
wool,wool panel,panel,0.6,1.2,0.05,yes,wall,0,mineral_wool_50_wall,1,47,1,0
"""


def bare(folder: Path, size: tuple[float, float, float], alpha: list[float], s: float) -> Scene:
    """A box of six materials, the same in all bands, all with one scattering coefficient."""
    (folder / "prices.csv").write_text(PRICES)
    length, width, height = size
    (folder / "room.toml").write_text(ROOM.format(length=length, width=width, height=height))
    scene = load_project(folder / "room.toml").scene
    names = [surface.name for surface in load_project(folder / "room.toml").room.surfaces]
    assert names == ["front", "back", "left", "right", "floor", "ceiling"]
    rows = np.repeat(np.array(alpha)[:, None], 8, axis=1)
    return replace(
        scene, base_alpha=rows, base_scatter=np.full_like(rows, s), tiles=Patches.none(),
        air=np.zeros(8),
    )  # fmt: skip


def test_it_counts_alike_in_a_diffuse_field(tmp_path: Path) -> None:
    scene = bare(tmp_path, (2.9, 2.8, 2.7), [0.2] * 6, 0.9)
    weights = surface_weights(scene)
    assert weights == pytest.approx(np.ones((6, 8)), abs=0.10)
    areas = np.array([plane.area for plane in scene.planes])
    mean = areas @ weights / areas.sum()  # chance and unlike shapes of the walls cancel
    # A little below one, as free paths are not all alike: by 16 seeds 0.971, chance 0.002.
    spread = trace(traced_room(scene), rays=20000, seed=1).path_variance
    assert mean == pytest.approx(np.full(8, kuttruffs_weight(0.2, spread)), abs=0.02)


def kuttruffs_weight(alpha: float, variance: float) -> float:
    """Weight by which Norris-Eyring's absorption grows as in Kuttruff, Room Acoustics, Eq. 5.24:
    a'' = -ln(1-a) (1 + g2/2 ln(1-a)), a little more absorption on one of six like surfaces."""
    more = 0.05 / 6.0
    before, after = np.log1p(-alpha), np.log1p(-alpha - more)
    shorter = after * (1 + variance / 2 * after) / (before * (1 + variance / 2 * before))
    return float((-np.expm1(before * shorter) - alpha) / more)


def test_it_counts_most_where_the_sound_still_goes_to_and_fro(tmp_path: Path) -> None:
    scene = bare(tmp_path, (4.2, 2.8, 2.5), [0.05, 0.05, 0.05, 0.05, 0.5, 0.5], 0.05)
    weights = surface_weights(scene).mean(axis=1)
    walls, flat = weights[:4], weights[4:]
    assert walls.min() > 2 * flat.max()
    assert flat.max() < 1.0


def test_left_and_right_count_alike_in_a_symmetric_room(tmp_path: Path) -> None:
    scene = bare(tmp_path, (4.2, 2.8, 2.5), [0.05, 0.3, 0.1, 0.1, 0.3, 0.3], 0.1)
    weights = surface_weights(scene).mean(axis=1)
    assert weights[2] == pytest.approx(weights[3], rel=0.1)  # chance: 4 to 6 % between seeds


def test_a_step_twice_as_large_says_about_the_same(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    scene = bare(tmp_path, (4.2, 2.8, 2.5), [0.1, 0.1, 0.2, 0.2, 0.3, 0.3], 0.2)
    small = surface_weights(scene)
    monkeypatch.setattr("optimizer.acoustics.surface_weights.MORE", 0.1)
    assert surface_weights(scene) == pytest.approx(small, rel=0.15)


def test_an_absorbing_surface_that_takes_no_more_is_left_at_one(tmp_path: Path) -> None:
    scene = bare(tmp_path, (4.2, 2.8, 2.5), [1.0, 0.1, 0.1, 0.1, 0.2, 0.2], 0.2)
    assert np.all(surface_weights(scene)[0] == 1.0)
    assert np.all(absorption_area(scene) > 0)


# --- what scattering is worth -------------------------------------------------------------------


def test_scattering_is_worth_nothing_in_a_diffuse_field(tmp_path: Path) -> None:
    """There is nothing left to mix (Kuttruff, ch. 5): sound that is scattered anyway."""
    scene = bare(tmp_path, (2.9, 2.8, 2.7), [0.2] * 6, 0.9)
    worth = scattering_worth(scene, np.ones(6, dtype=bool))
    assert worth.max() < 0.05


def test_it_is_worth_most_where_sound_goes_to_and_fro_between_bare_walls(tmp_path: Path) -> None:
    """Absorption on floor and ceiling only, as in the hard room with a carpet (tests/evidence/
    trace_measured_rooms.md): from 0.05 to 0.15 of scattering takes a third of T20 there."""
    uneven = bare(tmp_path, (4.2, 2.8, 2.5), [0.05, 0.05, 0.05, 0.05, 0.5, 0.5], 0.05)
    even = bare(tmp_path, (4.2, 2.8, 2.5), [0.23] * 6, 0.05)
    walls = np.array([True] * 4 + [False] * 2)
    found, least = (scattering_worth(scene, walls).mean() for scene in (uneven, even))
    assert found > 0.2
    assert found > 3 * least
    # Read back: so much absorption shortens T20 by the formula as the scattering does by the rays.
    rougher = uneven.base_scatter + 0.1 * walls[:, None] * (1 - uneven.base_scatter)
    before, after = (
        trace(traced_room(replace(uneven, base_scatter=s)), rays=20000, seed=1).decay.t20
        for s in (uneven.base_scatter, rougher)
    )
    area = np.array([plane.area for plane in uneven.planes])
    added = found * (area[:4].sum() * 0.1 * 0.95 * 0.95)
    total, mean = area.sum(), area @ uneven.base_alpha[:, 0] / area.sum()
    shorter = np.log1p(-mean) / np.log1p(-(mean + added / total))
    assert (after / before).mean() == pytest.approx(shorter, rel=0.02)


def test_without_such_surfaces_it_is_worth_nothing(tmp_path: Path) -> None:
    scene = bare(tmp_path, (4.2, 2.8, 2.5), [0.2] * 6, 0.1)
    assert np.all(scattering_worth(scene, np.zeros(6, dtype=bool), rays=500) == 0.0)
