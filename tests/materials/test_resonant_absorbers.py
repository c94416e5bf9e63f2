"""Membranes, perforated and slotted panels, sealed boxes."""

import numpy as np
import pytest
from skfem import Basis, ElementTriP2, MeshTri, asm, condense, solve
from skfem.models.poisson import laplace

from materials.build import Build
from materials.finite import patch_alpha
from materials.layers import AirGap, Membrane, Perforated, Porous, Slotted, face_admittance
from materials.medium import AIR
from materials.resonators import (
    SealedResonator,
    hole_end_correction,
    membrane_resonance,
    perforated_resonance,
    slot_end_correction,
    slotted_resonance,
)


def _crossing(build: Build, low: float, high: float) -> float:
    """Frequency where the reactance of the face passes zero, Hz."""
    f = np.linspace(low, high, 4001)
    z = 1.0 / build.admittance(f)
    return float(np.interp(0.0, z.imag, f))


def test_membrane_formula_check_values() -> None:
    # Cox and D'Antonio 3rd ed. 7.9 and 7.10: 60 and 50 over sqrt(m d); 5 kg/m2, 50 mm.
    assert membrane_resonance(5.0, 0.05) == pytest.approx(120.0, rel=1e-9)
    assert membrane_resonance(5.0, 0.05, filled=True) == pytest.approx(100.0, rel=1e-9)
    # (1/2 pi) sqrt(rho c^2/(m d)) is the exact form of the rounded 60.
    exact = np.sqrt(AIR.rho * AIR.c**2 / 0.25) / (2 * np.pi)
    assert membrane_resonance(5.0, 0.05) == pytest.approx(exact, rel=2e-3)


@pytest.mark.parametrize(("mass", "depth"), [(5.0, 0.05), (3.3, 0.09), (10.0, 0.1)])
def test_membrane_build_resonates_where_the_formula_says(mass: float, depth: float) -> None:
    empty = Build("k", "n", (Membrane(mass, 20.0), AirGap(depth)), True)
    f0 = membrane_resonance(mass, depth)
    assert _crossing(empty, 0.5 * f0, 1.5 * f0) == pytest.approx(f0, rel=0.01)
    filled = Build("k", "n", (Membrane(mass, 20.0), Porous(depth, 12_000)), True)
    f50 = membrane_resonance(mass, depth, filled=True)
    # Miki's air is not quite isothermal here: 4 % above the formula.
    assert _crossing(filled, 0.5 * f50, 1.5 * f50) == pytest.approx(f50, rel=0.06)


def test_membrane_absorption_peaks_at_its_resonance() -> None:
    build = Build("k", "n", (Membrane(5.0, 100.0), AirGap(0.05)), True)
    f = np.linspace(60.0, 240.0, 721)
    peak = f[build.alpha_normal(f).argmax()]
    assert peak == pytest.approx(membrane_resonance(5.0, 0.05), rel=0.01)


def test_perforated_formula_check_values() -> None:
    # Cox and D'Antonio 3rd ed., Table 7.1 (Nesterov): 5 %, 6 mm, radius 2.5 mm, 44 mm deep;
    # computed to four digits. 574.8 Hz belongs to the plain 0.85.
    assert hole_end_correction(0.05) == pytest.approx(0.5751, abs=1e-4)
    assert perforated_resonance(0.05, 0.006, 0.0025, 0.044) == pytest.approx(617.7, abs=0.05)
    plain = 343 / (2 * np.pi) * np.sqrt(0.05 / ((0.006 + 1.7 * 0.0025) * 0.044))
    assert plain == pytest.approx(574.8, abs=0.05)
    assert hole_end_correction(1e-9) == pytest.approx(0.85, rel=1e-3)


@pytest.mark.parametrize(
    ("facing", "formula"),
    [
        (Perforated(0.006, 0.02, 0.02), perforated_resonance(0.02, 0.006, 0.01, 0.03)),
        (Slotted(0.018, 0.01, 0.02), slotted_resonance(0.02, 0.018, 0.01, 0.03)),
    ],
)
def test_facing_resonates_near_the_lumped_formula(
    facing: Perforated | Slotted, formula: float
) -> None:
    build = Build("k", "n", (facing, AirGap(0.03)), True)
    assert _crossing(build, 0.5 * formula, 1.5 * formula) == pytest.approx(formula, rel=0.04)


def _potential_end_correction(open_share: float, refinements: int) -> float:
    """End correction of a thin slotted screen per side in slot widths, by finite elements.

    Half a period of unit half-pitch, potential 0 in the opening, flux 1 far away.
    """
    length = 3.0
    ys = np.unique(np.concatenate([np.linspace(0, open_share, 9), np.linspace(open_share, 1, 13)]))
    mesh = MeshTri.init_tensor(np.linspace(0, length, 37), ys)
    for step in range(refinements):
        mid = mesh.p[:, mesh.t].mean(axis=1)
        near = np.hypot(mid[0], mid[1] - open_share) < 0.4 / 2**step
        mesh = mesh.refined(np.flatnonzero(near))
    basis = Basis(mesh, ElementTriP2())
    opening = basis.get_dofs(lambda x: (x[0] < 1e-9) & (x[1] <= open_share + 1e-9))
    far = basis.get_dofs(lambda x: x[0] > length - 1e-9)
    x = basis.zeros()
    x[far.all()] = 1.0
    matrix = asm(laplace, basis)
    x = solve(*condense(matrix, x=x, D=np.union1d(opening.all(), far.all())))
    flux = float(x @ (matrix @ x))  # energy of unit drop = flux through the unit half-pitch
    # 1/flux - length is the extra length of duct, in half-pitches b/2. Per slot width w = eps b
    # and with the flow eps times faster in the slot that is (b/2) eps/w = 1/2 of it.
    return (1.0 / flux - length) / 2.0


@pytest.mark.parametrize("open_share", [0.1, 0.3, 0.6])
def test_slot_end_correction_against_potential_flow(open_share: float) -> None:
    expected = slot_end_correction(open_share)
    assert _potential_end_correction(open_share, 5) == pytest.approx(expected, rel=0.01)


def test_resonator_formula_and_peak() -> None:
    box = SealedResonator("k", "n", 0.06, 0.05, 0.04, resistance=5.0)
    f0 = 343 / (2 * np.pi) * np.sqrt(np.pi * 0.05**2 / ((0.04 + 1.7 * 0.05) * 0.06))
    assert box.resonance() == pytest.approx(f0, rel=1e-9)
    f = np.linspace(40, 75, 3501)
    assert f[box.absorption_area(f).argmax()] == pytest.approx(f0, rel=0.02)
    assert (box.point_admittance(f).real > 0).all()


def test_resonator_never_passes_the_matched_area() -> None:
    # Cross-section at most wavelength^2/(2 pi) on a wall (Kuttruff), Sabine area twice that.
    f = np.linspace(20, 200, 400)
    ceiling = (AIR.c / f) ** 2 / np.pi
    best = 0.0
    for resistance in np.geomspace(0.05, 50, 25):
        box = SealedResonator("k", "n", 0.06, 0.05, 0.04, resistance=float(resistance))
        share = box.absorption_area(f) / ceiling
        assert share.max() <= 1.0 + 1e-9
        best = max(best, float(share.max()))
    assert best > 0.9


def test_small_patch_and_point_resonator_agree() -> None:
    # A small locally reacting patch of impedance z is a source U = p/(Z + Zr): same area.
    build = Build("k", "n", (Membrane(5.0, 50.0), AirGap(0.05)), True)
    f = np.array([60.0])
    side = 0.05
    z = AIR.impedance / face_admittance(build.layers, f)[0, 0] / side**2
    k = AIR.wavenumber(f)[0]
    radiation = AIR.impedance * k**2 / (2 * np.pi)
    expected = 8 * AIR.impedance * z.real / abs(z + radiation) ** 2
    assert patch_alpha(build, f, side, side)[0] * side**2 == pytest.approx(expected, rel=0.02)


@pytest.mark.parametrize("share", [0.0, 1.0, 20.0])
def test_open_share_is_a_share(share: float) -> None:
    with pytest.raises(ValueError, match="not per cent"):
        Perforated(0.006, 0.005, share)
