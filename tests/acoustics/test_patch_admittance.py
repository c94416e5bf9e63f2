"""Low-frequency admittance of patches: table rows by their coefficients, builds by their own."""

from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from materials.behind import hidden
from materials.build import Build
from materials.build_file import AnyBuild
from materials.corner import CornerFill
from materials.edges import laboratory_alpha
from materials.incidence import admittance_from_alpha
from materials.layers import AirGap, Membrane, Porous
from materials.made import packaged_builds
from materials.medium import AIR, Medium
from materials.modal import Make
from materials.resonators import SealedResonator
from optimizer.acoustics.admittance import (
    LOW_HZ,
    at_frequencies,
    base_admittance,
    coefficient_admittance,
    endless_admittance,
    low_cells,
    low_patches,
)
from optimizer.acoustics.mode_criteria import mode_family, on_walls
from optimizer.acoustics.modes import patch_damping
from optimizer.acoustics.reactance import laboratory_admittance, with_reactance
from optimizer.acoustics.scene import Patches, Scene, objects
from optimizer.bands import BANDS
from optimizer.placement.pieces import piece_patches
from optimizer.planning import build_decision
from optimizer.project import Project, load_project

SCENARIOS = Path(__file__).parents[2] / "scenarios"
SIZE = (4.6, 3.4, 2.5)
BUILDS = packaged_builds()
TUNED = Build("tuned", "panel", (Membrane(3.3, 100.0), AirGap(0.04), Porous(0.05, 12_000)), True)


@cache
def project() -> Project:
    return load_project(SCENARIOS / "spare_room.toml")


@cache
def table_patches() -> Patches:
    """Patches of a few hundred candidates of the spare room, as if only coefficients were known."""
    decision = build_decision(project())
    pieces = [p for c in decision.candidates[::11] for p in c.pieces]
    patches, _ = piece_patches(decision.project.room, pieces, together=np.arange(len(pieces)))
    return replace(patches, make=np.full(len(patches), None, dtype=object))


def wall_admittance(build: AnyBuild, freqs: np.ndarray, covered: float) -> np.ndarray:
    """Admittance (F,) of an endless build for sound that comes straight."""
    return Make(build, None, covered).admittance(freqs, np.zeros(1))[0]


def patch(scene: Scene, surface: str, rect: tuple[float, ...], build: Build | None) -> Patches:
    """One patch of a build (or of coefficients alone) that hides what is under it."""
    size = (rect[2] - rect[0]) * (rect[3] - rect[1])
    bands = np.full((1, 8), 0.6)
    flat = Patches(
        surface=np.array([scene.names.index(surface)]),
        rect=np.array([rect]),
        alpha=bands,
        scatter=0 * bands,
        face=np.array([size]),
        offset=np.zeros(1),
        hides=bands,
    )
    if build is None:
        return flat
    return replace(flat, make=objects([Make(build, None, size)]))


def test_table_materials_damp_modes_as_the_coefficients_say() -> None:
    """Damping of each mode by Re(beta) over the rectangle, less what is hidden of the wall.

    A corner fill by Kuttruff's relation for endless walls inverted at the mode's frequency, its
    face spread over what it covers: written out, so alike but for the reading between LOW_HZ, where
    the curve has corners at mid-bands and is steep towards the largest coefficient (10 %). Below
    63 Hz rows that fall by more than f^1.5 from 125 Hz fall as f^2, others stay level. A flat
    piece by the admittance of a laboratory's sample (tested below).
    """
    scene, patches = replace(project().scene, tiles=Patches.none()), table_patches()
    family = mode_family(scene, SIZE)
    modes = family.modes
    at, known = np.log(modes.f_hz), np.log(np.array(BANDS, dtype=float))

    def curve(rows: np.ndarray) -> np.ndarray:
        return np.array([np.interp(at, known, row) for row in rows])

    area = (patches.rect[:, 2] - patches.rect[:, 0]) * (patches.rect[:, 3] - patches.rect[:, 1])
    own = admittance_from_alpha(np.minimum(curve(patches.alpha), 1.0))
    own *= (patches.face / area)[:, None]
    ends = admittance_from_alpha(np.minimum(patches.alpha[:, :2], 1.0))
    steep = np.log2(ends[:, 1] / ends[:, 0]) / np.log2(125 / 63) > 1.5  # porous matter goes on so
    own *= np.where(steep[:, None], np.minimum(modes.f_hz / 63, 1.0) ** 2, 1.0)
    flat = np.isclose(patches.face, area)
    assert 0 < flat.sum() < len(flat)
    own[flat] = [
        np.interp(at, np.log(LOW_HZ), row.real)
        for row in laboratory_admittance(patches.alpha[flat])
    ]
    under = admittance_from_alpha(curve(scene.base_alpha[patches.surface]))
    walls = on_walls(SIZE, scene, patches.surface, patches.rect)
    expected = patch_damping(modes, walls) * (own - curve(patches.hides) * under).T
    found = family.effects(scene, patches)
    np.testing.assert_allclose(found, expected, rtol=0.1, atol=0.01 * np.abs(expected).max())


POROUS = [Build(f"wool{depth}", "wool", (Porous(depth, 12_000.0),)) for depth in (0.05, 0.1, 0.15)]


@dataclass(frozen=True)
class Sampled:
    """A locally reacting face by its admittance at LOW_HZ."""

    beta: tuple[complex, ...]

    def admittance_at(self, freqs: np.ndarray, theta: np.ndarray, medium: Medium) -> np.ndarray:
        beta = at_frequencies(np.array([self.beta]), np.asarray(freqs, dtype=float))[0]
        return np.repeat(beta[:, None], theta.size, axis=1)


@pytest.mark.parametrize("build", POROUS, ids=lambda build: build.name)
def test_a_laboratory_sample_of_it_shows_the_coefficients(build: Build) -> None:
    """The way back, through the radiation impedance of finite samples (Thomasson 1980).

    Where the coefficient is from 0.1 (below, its curve is steep within an octave) to what a locally
    reacting sample can show. A coefficient is read at the middle of its band, a laboratory averages
    the octave, and reactance is found in two passes: 25 %. As that of an endless wall it is off by
    more.
    """
    alpha = laboratory_alpha(build)
    low = np.flatnonzero((alpha[:3] > 0.1) & (alpha[:3] < 1.0))
    endless = with_reactance(coefficient_admittance(alpha[None], LOW_HZ))
    shown, other = (
        laboratory_alpha(Sampled(tuple(beta[0].tolist())))[low] / alpha[low]
        for beta in (laboratory_admittance(alpha[None]), endless)
    )
    assert len(low) >= 1
    np.testing.assert_allclose(shown, 1.0, rtol=0.25)
    assert (np.abs(shown - 1.0) < np.abs(other - 1.0)).all()


@pytest.mark.parametrize("build", POROUS, ids=lambda build: build.name)
def test_it_is_near_the_layer_whose_sample_was_measured(build: Build) -> None:
    """A porous layer's own admittance (Miki, normal incidence) behind its laboratory coefficients.

    The coefficients know nothing of the layer's inside, nor that it is not locally reacting, so
    only within a factor of 1.7 below 200 Hz. Taken as those of an endless wall, they are off by
    more at every one of these frequencies.
    """
    f = np.array([63.0, 125.0])
    own = wall_admittance(build, f, 1.0).real
    alpha = laboratory_alpha(build)
    found = at_frequencies(laboratory_admittance(alpha[None]), f)[0].real
    endless = coefficient_admittance(alpha[None], f)[0]
    assert (np.abs(np.log(found / own)) < np.log(1.7)).all()
    assert (np.abs(np.log(found / own)) < np.abs(np.log(endless / own))).all()


def test_rows_add_up_to_piece_and_what_passes_through_it() -> None:
    """At any point: beta_piece + (1 - hides) beta_under, tiles in place of the bare surface.
    A piece of known make hides what that says, whatever its coefficients do."""
    scene = project().scene
    pieces = patch(scene, "front", (0.9, 0.8, 1.9, 1.6), TUNED)  # half over the window
    scene = scene.with_pieces(pieces)
    surface, rect, tables, _, _ = low_patches(scene)
    beta = tables[:, 0]
    base = base_admittance(scene)
    tiles = with_reactance(endless_admittance(scene.tiles))
    window = int(np.flatnonzero(scene.tiles.surface == scene.names.index("front"))[0])
    front = scene.names.index("front")
    through = 1.0 - hidden(Make(TUNED, None, 0.8), LOW_HZ)
    own = wall_admittance(TUNED, LOW_HZ, 0.8)
    points = {
        (0.5, 0.3): base[front],
        (1.5, 1.8): tiles[window],
        (1.0, 0.9): own + through * base[front],
        (1.5, 1.4): own + through * tiles[window],
    }
    for rows in ((surface, rect, beta), low_cells(scene)):
        for (u, v), expected in points.items():
            over = (rows[0] == front) & (rows[1][:, 0] < u) & (u < rows[1][:, 2])
            over &= (rows[1][:, 1] < v) & (v < rows[1][:, 3])
            np.testing.assert_allclose(rows[2][over].sum(axis=0), expected, rtol=1e-9)


def test_wool_hides_little_of_a_board_in_the_bass() -> None:
    """What a piece of wool adds is its own, less what it hides of the wall (tests/referee)."""
    scene = project().scene
    pieces = patch(scene, "back", (0.9, 0.8, 1.9, 1.6), POROUS[1])
    bare, found = (low_patches(s)[2] for s in (scene, scene.with_pieces(pieces)))
    base = base_admittance(scene)[scene.names.index("back")]
    lost = wall_admittance(POROUS[1], LOW_HZ, 0.8) - found[len(bare), 0]
    np.testing.assert_allclose(lost, hidden(pieces.make[0], LOW_HZ) * base, rtol=1e-9)
    low = np.searchsorted(LOW_HZ, 70.0)
    assert (lost[:low].real < 0.25 * base[:low].real).all()


def test_cells_cover_every_surface_once_and_take_energy_only() -> None:
    scene = project().scene.with_pieces(table_patches().take(np.array([0, 60, 120, 200])))
    surface, rect, beta = low_cells(scene)
    area = (rect[:, 2] - rect[:, 0]) * (rect[:, 3] - rect[:, 1])
    for index, plane in enumerate(scene.planes):
        assert area[surface == index].sum() == pytest.approx(plane.area, rel=1e-9)
    assert (beta.real >= -1e-12).all()
    added = low_patches(scene)
    size = np.prod(added[1][:, 2:] - added[1][:, :2], axis=1)
    np.testing.assert_allclose(size @ added[2][:, 0], area @ beta, rtol=1e-9)


def test_a_room_without_tiles_or_pieces_is_its_walls() -> None:
    scene = replace(project().scene, tiles=Patches.none())
    surface, _, beta, _, _ = low_patches(scene)
    np.testing.assert_array_equal(surface, np.arange(6))
    np.testing.assert_allclose(beta[:, 0].real, coefficient_admittance(scene.base_alpha, LOW_HZ))
    assert len(low_cells(scene)[0]) == 6


@pytest.mark.parametrize("key", sorted(BUILDS))
def test_between_the_grid_points_builds_keep_their_admittance(key: str) -> None:
    """Re(beta) at 20-300 Hz from the grid against the build itself, tuned ones included."""
    build = BUILDS[key]
    f = np.geomspace(20.0, 300.0, 400)
    exact = wall_admittance(build, f, 0.3)
    found = at_frequencies(wall_admittance(build, LOW_HZ, 0.3)[None], f)[0]
    np.testing.assert_allclose(found.real, exact.real, rtol=0.02, atol=0.01 * exact.real.max())
    assert (exact.real >= 0).all()


def test_a_corner_fill_takes_the_flow_into_its_face() -> None:
    """Re(beta) times both legs is Re(beta) of the face times its width: no energy lost or won."""
    fill = BUILDS["corner_triangle_400"]
    assert isinstance(fill, CornerFill)
    legs = 2 * fill.leg * wall_admittance(fill, LOW_HZ, 0.48).real
    np.testing.assert_allclose(legs, fill.face_width * fill.face_admittance(LOW_HZ).real, rtol=1e-9)


def test_a_resonator_spreads_the_flow_of_its_neck() -> None:
    box = BUILDS["sealed_box_56"]
    assert isinstance(box, SealedResonator)
    beta = wall_admittance(box, LOW_HZ, 0.3)
    np.testing.assert_allclose(0.3 * beta, box.point_admittance(LOW_HZ), rtol=1e-12)
    assert LOW_HZ[int(beta.real.argmax())] == pytest.approx(box.resonance(), rel=0.06)


def test_a_build_on_a_whole_wall_damps_the_lengthwise_mode() -> None:
    """One end wall of admittance beta gives an axial mode delta = c Re(beta) / L.

    (c/2) beta S / (S L / 2), Kuttruff, Room Acoustics, ch. 3 (from memory).
    """
    scene = replace(project().scene, tiles=Patches.none())
    family = mode_family(scene, SIZE)
    added = family.effects(scene, patch(scene, "front", (0.0, 0.0, 3.4, 2.5), TUNED))[:, 0]
    first = int(np.flatnonzero((family.modes.n == [1, 0, 0]).all(axis=1))[0])
    f = family.modes.f_hz[first : first + 1]
    front = scene.names.index("front")
    under = coefficient_admittance(scene.base_alpha[front : front + 1], f)[0, 0]
    beta = wall_admittance(TUNED, f, 8.5)[0].real
    c = family.modes.c
    assert added[first] == pytest.approx(c * (beta - under) / SIZE[0], rel=0.02)


def test_a_build_is_seen_from_the_wall_it_hides() -> None:
    """The air a build displaces is not counted twice: an air layer alone shows nothing.

    Beyond k0 depth = 1 the plane stays there, so that no quarter wave turns the face over.
    """
    air = Build("air", "air", (AirGap(0.2),))
    low = LOW_HZ[AIR.wavenumber(LOW_HZ) * 0.2 < 1.0]
    np.testing.assert_allclose(wall_admittance(air, low, 1.0), 0.0, atol=1e-12)
    deep = Build("deep", "wool", (Porous(0.2, 12_000),))
    beta = wall_admittance(deep, LOW_HZ, 1.0)
    assert (np.abs(beta) < 2.5).all()
    assert (beta.real > 0).all()
