"""What pieces show room modes: limits with closed forms, and no energy given back.

Against finite elements: tests/referee.
"""

from collections.abc import Iterator

import numpy as np
import pytest

from materials import load_table
from materials.behind import hidden
from materials.build import Build
from materials.corner import CornerFill
from materials.layers import AirGap, Layer, Porous
from materials.made import matter_of, packaged_builds
from materials.medium import AIR
from materials.modal import Make, mode_admittance
from materials.resonators import SealedResonator

HZ = np.geomspace(16.0, 1000.0, 120)
SIZES = ((0.3, 0.3), (0.6, 1.2), None)
RUNS = np.linspace(0.0, 20.0, 11)
WOOL = Porous(0.1, 12_000.0)


def build(*layers: Layer) -> Build:
    return Build("test", "test", layers)


def every_make() -> Iterator[tuple[str, Make]]:
    for size in SIZES:
        area = 0.72 if size is None else size[0] * size[1]
        for row in load_table():
            if matter_of(row) is not None:
                yield f"{row.id}-{size}", Make(matter_of(row), size, area, True)
        for key, made in packaged_builds().items():
            yield f"{key}-{size}", Make(made, size, area)


def test_nothing_gives_energy_back() -> None:
    """Re(beta) >= 0 for every row, build, size and run along the wall, up to 1 kHz."""
    for name, make in every_make():
        beta = make.admittance(HZ, RUNS)
        assert np.isfinite(beta).all(), name
        assert beta.real.min() >= -1e-9 * np.abs(beta).max(), name


def test_a_board_behind_a_piece_gives_no_energy_back() -> None:
    """Re(beta + (1 - hidden) beta_board) >= 0 to 350 Hz, for boards up to a coefficient of 0.3."""
    f, straight = HZ[HZ < 350.0], np.zeros(1)
    for name, make in every_make():
        for board in (0.01, 0.04, 0.04 + 0.02j, 0.04 - 0.02j):
            both = make.admittance(f, straight)[0] + (1.0 - hidden(make, f)) * board
            assert both.real.min() >= -1e-9, name


@pytest.mark.parametrize("layers", [(WOOL,), (WOOL, AirGap(0.1)), (Porous(0.05, 7e3), WOOL)])
def test_an_endless_build_is_the_layer_at_that_angle(layers: tuple[Layer, ...]) -> None:
    """sin(theta) = kt/k0, by the transfer matrices of materials.layers (Allard, Atalla 2009), seen
    through the air in front: a plane moved by d at that angle."""
    made = build(*layers)
    f = np.array([50.0, 100.0, 200.0])
    k0 = AIR.wavenumber(f)
    for theta in (0.0, 0.5, 1.2):
        face = np.diag(made.admittance_at(f, np.full(3, theta)))
        kn = k0 * np.cos(theta)
        tan = 1j * np.tan(kn * made.depth)
        cos = np.cos(theta)
        wall = (face - tan * cos) / (1.0 - face * tan / cos)
        found = np.array(
            [mode_admittance(made, f[i : i + 1], k0[i : i + 1] * np.sin(theta)) for i in range(3)]
        )
        np.testing.assert_allclose(found.ravel(), wall, rtol=1e-6)


@pytest.mark.parametrize("layers", [(WOOL,), (WOOL, AirGap(0.1))])
def test_a_very_large_piece_is_an_endless_one(layers: tuple[Layer, ...]) -> None:
    """Sides matter less the larger a piece is: from 1.2 to 40 m the difference falls twentyfold."""
    made, f, straight = build(*layers), np.array([63.0, 125.0]), np.zeros(1)
    endless = mode_admittance(made, f, straight)
    small, large = (
        np.abs(mode_admittance(made, f, straight, (side, side)) - endless).max()
        for side in (1.2, 40.0)
    )
    assert large < 0.05 * small


def test_sides_that_are_open_let_a_gap_breathe() -> None:
    """Air passes round a small cloud instead of through it: less is absorbed than by an endless one
    (common sense of a flow that has another way; no source)."""
    cloud, f = build(Porous(0.06, 12_000.0), AirGap(0.1)), np.array([40.0, 63.0, 80.0])
    endless = mode_admittance(cloud, f, np.zeros(1))[0].real
    widths = (2.4, 1.2, 0.6)
    rows = [mode_admittance(cloud, f, np.zeros(1), (w, w))[0].real for w in widths]
    for larger, smaller in zip([endless, *rows[:-1]], rows, strict=True):
        assert (smaller < larger).all()


@pytest.mark.parametrize("shape", ["triangle", "square"])
def test_a_corner_for_a_level_mode_is_the_series_of_the_prism(shape: str) -> None:
    fill = CornerFill("c", "c", shape, 0.4, 9_000.0)
    np.testing.assert_allclose(
        mode_admittance(fill, HZ, np.zeros(1))[0], fill.admittance(HZ), rtol=1e-9
    )


def test_air_alone_shows_nothing() -> None:
    low = HZ[AIR.wavenumber(HZ) * 0.2 < 1.0]
    runs = np.array([0.0, 0.3, 0.6])
    found = mode_admittance(build(AirGap(0.2)), low, runs)
    np.testing.assert_allclose(found, 0.0, atol=1e-9)


def test_a_gap_does_nothing_for_sound_that_runs_along_it() -> None:
    """Endless wool on a gap at grazing incidence has no flow across the gap, so it acts as wool on
    the wall does (kn = 0 in the gap's transfer matrix)."""
    f = np.array([60.0])
    along = AIR.wavenumber(f)
    gapped = mode_admittance(build(WOOL, AirGap(0.1)), f, along)[0, 0].real
    flush = mode_admittance(build(WOOL), f, along)[0, 0].real
    straight = mode_admittance(build(WOOL, AirGap(0.1)), f, np.zeros(1))[0, 0].real
    assert gapped == pytest.approx(flush, rel=0.05)
    assert straight > 2.5 * gapped


def test_thin_wool_does_next_to_nothing_in_the_bass() -> None:
    """Damping by a thin layer on a rigid wall grows as sigma d^3 w^2 / 3: eight times for twice the
    depth (low-frequency limit of the layer, Cox, D'Antonio, Acoustic Absorbers and Diffusers,
    ch. 6; from memory, derived again)."""
    f = np.array([32.0])
    one, two = (
        mode_admittance(build(Porous(d, 12_000.0)), f, np.zeros(1))[0, 0].real for d in (0.05, 0.1)
    )
    assert 3.0 < two / one < 8.0  # Miki's losses of compression add a part that grows as d


def test_resonators_show_the_flow_of_their_neck_at_any_run() -> None:
    box = next(b for b in packaged_builds().values() if isinstance(b, SealedResonator))
    beta = Make(box, (0.6, 0.5), 0.3).admittance(HZ, RUNS)
    np.testing.assert_allclose(0.3 * beta, np.tile(box.point_admittance(HZ), (len(RUNS), 1)))
