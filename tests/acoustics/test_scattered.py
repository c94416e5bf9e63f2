"""What a diffuser sends to the ears, against an integral of this test's own.

The integral: irradiance cos / (4 pi r^2) of a source of one watt on each small square of the panel,
sent on by Lambert's law, cos / (pi r^2), over the direct sound 1 / (4 pi d^2); squares of 5 mm,
plain sums. Lambert's law: Kuttruff, Room Acoustics, ch. 4 (from memory).
"""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from optimizer.acoustics.directivity import Directivity, omnidirectional
from optimizer.acoustics.early import EarlyPaths, early_paths, reflected_energy
from optimizer.acoustics.early_criteria import early_family, late_family
from optimizer.acoustics.scene import Patches, Scene
from optimizer.project import load_project

Floats = NDArray[np.float64]
LENGTH, WIDTH, EAR = 7.0, 5.0, 1.4
SOURCE = np.array([1.0, 2.3, 1.3])
ROOM = f"""\
title = "hard"
[room]
length = {LENGTH}
width = {WIDTH}
height = 2.8
[surfaces]
front = "concrete_painted"
back = "concrete_painted"
left = "concrete_painted"
right = "concrete_painted"
floor = "concrete_floor"
ceiling = "concrete_painted"
[[speakers]]
name = "left speaker"
at = {SOURCE.tolist()}
[[speakers]]
name = "right speaker"
at = [1.0, 2.7, 1.3]
[[seats]]
name = "seat"
at = [4.0, 2.5, {EAR}]
[budget]
amount = 100
catalogue = "prices.csv"
"""
PRICES = """\
id,name,kind,width,height,depth,turn,mountings,gaps,materials,faces,price,pack,owned
wool,wool panel,panel,0.6,1.2,0.05,yes,wall,0,mineral_wool_50_wall,1,47,1,0
"""


@pytest.fixture(scope="module")
def scene(tmp_path_factory: pytest.TempPathFactory) -> Scene:
    folder: Path = tmp_path_factory.mktemp("hard")
    (folder / "prices.csv").write_text(PRICES)
    (folder / "room.toml").write_text(ROOM)
    return load_project(folder / "room.toml").scene


def seated(scene: Scene, away: float) -> Scene:
    """The seat so many metres in front of the back wall."""
    return replace(scene, seats=np.array([[LENGTH - away, 2.5, EAR]]))


def panel(
    scene: Scene, width: float, height: float, scatter: float = 1.0, alpha: float = 0.0
) -> Patches:
    """One on the back wall, its middle behind the ears."""
    index = scene.names.index("back")
    plane = scene.planes[index]
    u, v = plane.to_uv(np.array([LENGTH, 2.5, EAR]))
    rect = np.array([[u - width / 2, v - height / 2, u + width / 2, v + height / 2]])
    bands = np.ones((1, 8))
    return Patches(
        np.array([index]), rect, alpha * bands, scatter * bands, np.array([width * height]),
        np.array([0.0]), bands,
    )  # fmt: skip


def own_integral(
    away: float, width: float, height: float, window: tuple[float, float] = (0.0, np.inf)
) -> float:
    """Energy re direct from SOURCE by a panel that scatters all, to the seat."""
    seat = np.array([LENGTH - away, 2.5, EAR])
    step = 0.005
    y = 2.5 - width / 2 + step * (np.arange(round(width / step)) + 0.5)
    z = EAR - height / 2 + step * (np.arange(round(height / step)) + 0.5)
    yy, zz = np.meshgrid(y, z)
    to_source = np.sqrt((LENGTH - SOURCE[0]) ** 2 + (yy - SOURCE[1]) ** 2 + (zz - SOURCE[2]) ** 2)
    to_seat = np.sqrt(away**2 + (yy - seat[1]) ** 2 + (zz - seat[2]) ** 2)
    direct = float(np.linalg.norm(seat - SOURCE))
    meets = (LENGTH - SOURCE[0]) / to_source / (4 * np.pi * to_source**2)
    total = meets * (away / to_seat) / (np.pi * to_seat**2) * step**2
    delay = 1000.0 * (to_source + to_seat - direct) / 343.0
    total[(delay <= window[0]) | (delay > window[1])] = 0.0
    return float(total.sum() * 4 * np.pi * direct**2)


def back_row(scene: Scene, paths: EarlyPaths, window: tuple[float, float]) -> float:
    energy = reflected_energy(scene, paths, window)
    return float(energy[0, 0, paths.names.index("back")])


def paths_of(scene: Scene, directivity: Directivity | None = None) -> EarlyPaths:
    return early_paths(scene, directivity or omnidirectional())


@pytest.mark.parametrize("away", [1.0, 2.0, 3.0])
@pytest.mark.parametrize("size", [(0.6, 0.6), (1.2, 1.2), (2.4, 1.2)])
def test_a_rear_diffuser_sends_what_an_integral_says(
    scene: Scene, size: tuple[float, float], away: float
) -> None:
    """Its mirror share is none, so all that the row has is scattered; 0.5 dB."""
    here = seated(scene, away)
    hung = here.with_pieces(panel(here, *size))
    found = 10 * np.log10(back_row(hung, paths_of(here), (0.0, np.inf)))
    assert found == pytest.approx(10 * np.log10(own_integral(away, *size)), abs=0.1)


def test_a_large_diffuser_close_by_is_no_silence(scene: Scene) -> None:
    """1.2 x 1.2 m of it, 1 m behind the ears: louder than 10 dB below direct, the early limit."""
    here = seated(scene, 1.0)
    hung = here.with_pieces(panel(here, 1.2, 1.2, scatter=0.9))
    assert 10 * np.log10(back_row(hung, paths_of(here), (0.0, np.inf))) > -10.0


def test_what_it_absorbs_and_a_plain_share_do_not_arrive(scene: Scene) -> None:
    here = seated(scene, 1.0)
    half = here.with_pieces(panel(here, 1.2, 1.2, scatter=1.0, alpha=0.5))
    whole = own_integral(1.0, 1.2, 1.2)
    assert back_row(half, paths_of(here), (0.0, np.inf)) == pytest.approx(whole / 2, rel=0.02)
    plain = here.with_pieces(panel(here, 1.2, 1.2, scatter=0.05, alpha=0.0))
    bare = back_row(here, paths_of(here), (0.0, np.inf))
    alpha = float(here.base_alpha[here.names.index("back"), 4:].mean())
    assert back_row(plain, paths_of(here), (0.0, np.inf)) == pytest.approx(
        bare / (1 - alpha), rel=1e-3
    )


def test_it_counts_within_the_window_of_its_row(scene: Scene) -> None:
    """The seat 2.2 m away: the mirror path comes 12.6 ms late, the far ends of a wide panel later.
    What the window cuts is cut at the elements, so it is known as well as these are dense."""
    here = seated(scene, 2.2)
    hung, paths = here.with_pieces(panel(here, 2.4, 1.2)), paths_of(here)
    early, late = (back_row(hung, paths, w) for w in ((0.0, 13.5), (13.5, np.inf)))
    assert early + late == pytest.approx(own_integral(2.2, 2.4, 1.2), rel=0.02)
    assert 0 < late < early
    assert early == pytest.approx(own_integral(2.2, 2.4, 1.2, (0.0, 13.5)), rel=0.1)
    early_rows, late_rows = (
        make(here, paths, "controlled") for make in (early_family, late_family)
    )
    assert "left speaker to seat via back" in [row.where for row in early_rows.rows]
    assert "left speaker to seat via back" not in [row.where for row in late_rows.rows]


def test_furniture_in_the_way_hides_it(scene: Scene) -> None:
    """A cupboard between seat and wall that covers the lower half as the seat sees it."""
    here = seated(scene, 2.0)
    box = np.array([[[LENGTH - 1.0, 1.0, 0.0], [LENGTH - 0.9, 4.0, EAR]]])
    blocked = replace(
        here, object_box=box, object_solid=np.array([True]), object_names=("cupboard",),
        object_area=np.zeros((1, 8)), mirrors=np.zeros(0, dtype=np.int64),
    )  # fmt: skip
    found = [
        back_row(s.with_pieces(panel(s, 1.2, 1.2)), paths_of(s), (0.0, np.inf))
        for s in (here, blocked)
    ]
    assert found[1] == pytest.approx(found[0] / 2, rel=0.1)


# --- what is rough of the room itself ----------------------------------------------------------


def with_tile(scene: Scene, patch: Patches) -> Scene:
    return replace(scene, tiles=patch)


def test_a_rough_part_of_the_wall_sends_what_a_piece_there_does(scene: Scene) -> None:
    here = seated(scene, 2.0)
    rough = panel(here, 1.2, 1.2)
    built, hung = with_tile(here, rough), here.with_pieces(rough)
    paths = paths_of(here)
    assert back_row(built, paths, (0.0, np.inf)) == pytest.approx(
        back_row(hung, paths, (0.0, np.inf)), rel=1e-9
    )


def test_a_wall_rough_all_over_sends_what_an_integral_says(scene: Scene) -> None:
    """5 x 2.8 m of it, and half the height where a plain tile covers the rest."""
    here = seated(scene, 2.0)
    back = here.names.index("back")
    alpha, scatter = here.base_alpha.copy(), here.base_scatter.copy()
    alpha[back], scatter[back] = 0.0, 1.0
    rough = replace(here, base_alpha=alpha, base_scatter=scatter)
    paths = paths_of(here)
    centred = replace(rough, seats=np.array([[LENGTH - 2.0, 2.5, EAR]]))
    wall = 10 * np.log10(back_row(centred, paths, (0.0, np.inf)))
    assert wall == pytest.approx(10 * np.log10(own_integral(2.0, WIDTH, 2 * EAR)), abs=0.1)
    covered = with_tile(rough, panel(rough, WIDTH, 2 * EAR, scatter=0.05, alpha=1.0))
    assert back_row(covered, paths, (0.0, np.inf)) == pytest.approx(0.0, abs=1e-9)


@pytest.mark.parametrize("side", [0.0, 0.7, 1.3])
def test_a_piece_hides_what_is_rough_behind_it(scene: Scene, side: float) -> None:
    """An absorber over a rough tile, whole, in part, beside it; what it changes is what is left."""
    here = with_tile(seated(scene, 2.0), panel(seated(scene, 2.0), 1.2, 1.2))
    over = panel(here, 1.2, 1.2, scatter=0.05, alpha=1.0)
    over = replace(over, rect=over.rect + np.array([[side, 0.0, side, 0.0]]))
    paths = paths_of(here)
    family = early_family(here, paths, "controlled")
    changed = family.quantities(here.with_pieces(over)) - family.quantities(here)
    assert changed == pytest.approx(family.effects(here, over)[:, 0], rel=1e-9, abs=1e-12)
    left = back_row(here.with_pieces(over), paths, (0.0, np.inf))
    whole = own_integral(2.0, 1.2, 1.2)
    if side == 0.0:
        assert left == pytest.approx(0.0, abs=1e-9)
    elif side == 0.7:
        assert 0.3 * whole < left < 0.8 * whole
    else:
        assert left > 0.95 * whole
