"""Corner fills: the cross-section solution against finite elements, limits, energy."""

import numpy as np
import pytest
from skfem import (
    Basis,
    BilinearForm,
    ElementTriP2,
    LinearForm,
    MeshQuad,
    MeshTri,
    asm,
    condense,
    solve,
)
from skfem.helpers import dot, grad

from materials.corner import SHAPES, CornerFill
from materials.layers import Membrane
from materials.medium import AIR
from materials.porous import characteristic

BANDS = (63, 125, 250, 500, 1000, 2000, 4000, 8000)


def _fill(shape: str = "triangle", leg: float = 0.4, sigma: float = 7000.0) -> CornerFill:
    return CornerFill("k", "n", shape, leg, sigma)


def _flow_by_finite_elements(fill: CornerFill, freq: float) -> complex:
    """Volume flow per metre and pascal into the face, from p'' + k^2 p = 0 in the section."""
    n = 24
    if fill.shape == "triangle":
        mesh = MeshTri.init_refdom().refined(5)  # the triangle (0, 0), (1, 0), (0, 1)
    else:
        mesh = MeshQuad.init_tensor(np.linspace(0, 1, n), np.linspace(0, 1, n)).to_meshtri()
    mesh = mesh.scaled(fill.leg)
    basis = Basis(mesh, ElementTriP2())
    zc, k = (v[0] for v in characteristic([freq], fill.flow_resistivity))

    @BilinearForm(dtype=np.complex128)
    def helmholtz(u, v, _):
        return dot(grad(u), grad(v)) - k**2 * u * v

    @LinearForm
    def unit(v, _):
        return v

    if fill.shape == "triangle":
        face = basis.get_dofs(lambda x: np.abs(x.sum(axis=0) - fill.leg) < 1e-9).all()
    else:
        face = basis.get_dofs(lambda x: np.maximum(x[0], x[1]) > fill.leg - 1e-9).all()
    p = basis.zeros(dtype=np.complex128)
    p[face] = 1.0
    p = solve(*condense(asm(helmholtz, basis), x=p, D=face))
    # Continuity: flow in = j k/Zc times the integral of p over the section.
    return complex(1j * k / zc * (asm(unit, basis) @ p))


@pytest.mark.parametrize("shape", SHAPES)
@pytest.mark.parametrize("freq", [50.0, 125.0, 500.0])
def test_flow_into_the_face_against_finite_elements(shape: str, freq: float) -> None:
    fill = _fill(shape)
    flow = fill.face_admittance([freq])[0] * fill.face_width / AIR.impedance
    assert flow == pytest.approx(_flow_by_finite_elements(fill, freq), rel=2e-3)


@pytest.mark.parametrize("shape", SHAPES)
def test_springiness_of_the_trapped_air_at_very_low_frequency(shape: str) -> None:
    # A light fill, low frequency: the whole section is compressed, Y' -> j w section/K.
    fill = _fill(shape, leg=0.1, sigma=1000.0)
    f = np.array([20.0])
    zc, k = characteristic(f, 1000.0)
    expected = 1j * k * fill.section / zc * AIR.impedance / (2 * fill.leg)
    np.testing.assert_allclose(fill.admittance(f, at="face"), expected, rtol=0.02)


@pytest.mark.parametrize("shape", SHAPES)
@pytest.mark.parametrize("sigma", [3000.0, 7000.0, 20_000.0])
def test_corner_is_passive_and_absorbs_at_most_its_face(shape: str, sigma: float) -> None:
    fill = _fill(shape, sigma=sigma)
    f = np.geomspace(20, 8000, 60)
    assert (fill.admittance(f).real > 0).all()
    area = fill.absorption_per_metre(BANDS)
    assert (area > 0).all()
    # No locally reacting face passes 0.951 of its width (Mechel D.5).
    assert (area <= 0.9513 * fill.face_width).all()


def test_deep_fill_ends_as_a_deep_layer() -> None:
    f = np.array([8000.0])
    zc, _ = characteristic(f, 20_000.0)
    beta = _fill("triangle", 1.2, 20_000.0).face_admittance(f)
    np.testing.assert_allclose(beta, AIR.impedance / zc, rtol=0.01)


def test_flow_of_the_legs_and_displaced_air() -> None:
    fill = _fill("square", 0.3)
    f = np.array([40.0, 80.0, 160.0])
    face, wall = fill.admittance(f, at="face"), fill.admittance(f)
    np.testing.assert_allclose(2 * fill.leg * face, fill.face_width * fill.face_admittance(f))
    np.testing.assert_allclose(wall.real, face.real, rtol=1e-12)
    air = AIR.wavenumber(f) * fill.section / (2 * fill.leg)
    np.testing.assert_allclose((face - wall).imag, air, rtol=1e-12)


def test_bass_grows_with_the_leg_and_low_band_limit() -> None:
    areas = [_fill(leg=leg).absorption_per_metre(BANDS)[0] for leg in (0.3, 0.4, 0.6)]
    assert areas[0] < areas[1] < areas[2]
    # For small beta the strip is 8 Re(beta) times both legs: no gain for the corner in it. The
    # next term takes off some per cent, less for a smaller fill.
    f = np.geomspace(44.7, 89.1, 200)
    ratios = []
    for leg in (0.2, 0.1):
        fill = _fill(leg=leg, sigma=3000.0)
        small = 8 * 2 * leg * fill.admittance(f).real.mean()
        ratios.append(fill.absorption_per_metre((63,))[0] / small)
    assert 0.7 < ratios[0] < ratios[1] < 1.0
    assert ratios[1] > 0.87


def test_edge_gain_is_two_at_low_and_one_at_high_frequency() -> None:
    # Waterhouse: pressure squared along an edge is twice that on a wall.
    fill = _fill(leg=0.1)
    gain = fill.absorption_per_metre(BANDS, edge_gain=True) / fill.absorption_per_metre(BANDS)
    assert gain[0] == pytest.approx(2.0, rel=0.01)
    assert gain[-1] == pytest.approx(1.0, abs=0.07)
    assert (np.diff(gain) < 0.02).all()


def test_foil_face_keeps_the_bass_and_drops_the_treble() -> None:
    plain = _fill(leg=0.6).absorption_per_metre(BANDS)
    foil = CornerFill("k", "n", "triangle", 0.6, 7000.0, facing=Membrane(0.1, 20.0))
    faced = foil.absorption_per_metre(BANDS)
    assert faced[0] > 0.95 * plain[0]
    assert faced[-1] < 0.15 * plain[-1]


def test_range_holds_the_nominal_value() -> None:
    fill = _fill()
    low, high = fill.absorption_range()
    nominal = fill.absorption_per_metre()
    assert (low <= nominal).all()
    assert (nominal <= high).all()
    assert (high[:3] > low[:3]).all()


def test_corner_input_out_of_range() -> None:
    with pytest.raises(ValueError, match="unknown corner shape"):
        _fill("round")
    with pytest.raises(ValueError, match="leg"):
        _fill(leg=30.0)
    with pytest.raises(ValueError, match="Pa s/m2"):
        _fill(sigma=7.0)
