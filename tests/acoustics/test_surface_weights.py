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
from optimizer.acoustics.surface_weights import surface_weights
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
    assert mean == pytest.approx(np.ones(8), abs=0.03)


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
