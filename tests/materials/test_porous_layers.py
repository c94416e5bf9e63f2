"""Porous models, layer stacks, angles of incidence.

Check values "computed" below are an independent calculation of the published formulas (Miki 1990,
Delany and Bazley 1970, layer on a rigid wall and over an air gap) printed to three decimals;
agreement is asked to one unit of the last printed digit.
"""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from materials.build import Build
from materials.incidence import (
    admittance_from_alpha,
    alpha_from_admittance,
    alpha_oblique,
    incidence_angles,
    largest_local_alpha,
    paris,
)
from materials.layers import (
    AirGap,
    Cloth,
    Layer,
    Membrane,
    Perforated,
    Porous,
    Slotted,
    face_admittance,
    surface_impedance,
)
from materials.medium import AIR, Floats
from materials.octaves import octave_frequencies, octave_mean
from materials.porous import MODELS, characteristic, fit_range

FREQS = [63, 125, 250, 500, 1000, 2000, 4000]
LAST_DIGIT = 0.001


def _normal(*layers: Layer) -> np.ndarray:
    return Build("k", "n", tuple(layers)).alpha_normal(FREQS)


@pytest.mark.parametrize(
    ("model", "gap", "printed"),
    [
        ("miki", 0.0, [0.095, 0.285, 0.646, 0.925, 0.931, 0.977, 0.987]),
        ("delany-bazley", 0.0, [0.048, 0.245, 0.645, 0.932, 0.941, 0.982, 0.992]),
        ("miki", 0.1, [0.287, 0.613, 0.853, 0.858, 0.940, 0.974, 0.984]),
        ("delany-bazley", 0.1, [0.296, 0.625, 0.847, 0.857, 0.947, 0.982, 0.989]),
    ],
)
def test_normal_incidence_check_values(model: str, gap: float, printed: list[float]) -> None:
    layers: list[Layer] = [Porous(0.1, 12_000, model)]
    if gap:
        layers.append(AirGap(gap))
    np.testing.assert_allclose(_normal(*layers), printed, atol=LAST_DIGIT, rtol=0)


def test_paris_check_values_of_an_extended_layer() -> None:
    printed = [0.161, 0.393, 0.704, 0.903, 0.940, 0.949, 0.957]
    alpha = Build("k", "n", (Porous(0.1, 12_000),)).alpha_random(FREQS)
    np.testing.assert_allclose(alpha, printed, atol=LAST_DIGIT, rtol=0)


def test_miki_agrees_with_its_other_printed_form() -> None:
    # With 1e3 f/sigma the constants are printed as 5.50, 8.43, 7.81, 11.41 (two to three digits).
    f, sigma = np.array(FREQS, dtype=float), 12_000.0
    zc, k = characteristic(f, sigma)
    x = 1e3 * f / sigma
    np.testing.assert_allclose(zc / AIR.impedance, 1 + (5.50 - 8.43j) * x**-0.632, rtol=2e-3)
    k0 = AIR.wavenumber(f)
    np.testing.assert_allclose(k / k0, 1 + (7.81 - 11.41j) * x**-0.618, rtol=2e-3)


@pytest.mark.parametrize("model", MODELS)
@pytest.mark.parametrize("sigma", [3_000.0, 12_000.0, 40_000.0])
def test_models_are_passive_and_alike_inside_the_fit(model: str, sigma: float) -> None:
    low, high = fit_range(sigma, model)
    f = np.geomspace(low, min(high, 8000.0), 20)
    zc, k = characteristic(f, sigma, model)
    assert (k.imag < 0).all()
    assert (zc.real > 0).all()
    reference = characteristic(f, sigma, "miki")
    # The fits describe fibre data of the same kind; the widest gap is 20.2 %, at the low end.
    np.testing.assert_allclose(k, reference[1], rtol=0.25)
    np.testing.assert_allclose(zc, reference[0], rtol=0.25)


def test_miki_stays_passive_far_below_its_fit() -> None:
    # Loss in compression: Im(k/Zc) <= 0; loss in flow: Im(k Zc) <= 0 (e^{+jwt}).
    zc, k = characteristic(np.geomspace(5.0, 200.0, 200), 70_000.0)
    assert (k / zc).imag.max() <= 1e-15
    assert (k * zc).imag.max() < 0
    steps = np.abs(np.diff(k / zc)) / np.abs(k / zc)[1:]
    assert steps.max() < 0.03  # no jump where the limit sets in


def test_fit_range_says_that_bass_is_extrapolated() -> None:
    assert fit_range(12_000, "miki") == pytest.approx((120.0, 12_000.0))
    assert fit_range(12_000, "delany-bazley")[0] == pytest.approx(99.6, rel=1e-3)


def test_porous_input_out_of_range() -> None:
    with pytest.raises(ValueError, match="Pa s/m2"):
        Porous(0.05, 12)
    with pytest.raises(ValueError, match="unknown porous model"):
        Porous(0.05, 12_000, "mikki")
    with pytest.raises(ValueError, match="above zero"):
        characteristic([0.0, 100.0], 12_000)
    with pytest.raises(ValueError, match="thickness"):
        AirGap(0.0)
    with pytest.raises(ValueError, match="90 degrees"):
        face_admittance([AirGap(0.1)], [100], np.pi / 2)


def test_rigid_backed_layer_has_the_closed_form() -> None:
    # Zs = -j Zc cot(k d) at normal incidence.
    f = np.array(FREQS, dtype=float)
    zc, k = characteristic(f, 15_000)
    expected = -1j * zc / np.tan(k * 0.05)
    zs = surface_impedance([Porous(0.05, 15_000)], f)[:, 0]
    np.testing.assert_allclose(zs, expected, rtol=1e-12)


def test_stack_equals_the_impedance_form_of_a_layer_over_a_gap() -> None:
    # Zs = Zx (Zb + j Zx tan kx d)/(Zx + j Zb tan kx d), Cox and D'Antonio 2.29-2.32.
    f, th, d, gap = np.array([200.0, 900.0]), 0.8, 0.06, 0.09
    zc, k = characteristic(f, 9_000)
    k0 = AIR.wavenumber(f)
    kx = np.sqrt(k**2 - (k0 * np.sin(th)) ** 2)
    zx = zc * k / kx
    zb = -1j * AIR.impedance / np.cos(th) / np.tan(k0 * np.cos(th) * gap)
    t = np.tan(kx * d)
    expected = zx * (zb + 1j * zx * t) / (zx + 1j * zb * t)
    zs = surface_impedance([Porous(d, 9_000), AirGap(gap)], f, th)[:, 0]
    np.testing.assert_allclose(zs, expected, rtol=1e-12)


def test_splitting_a_layer_changes_nothing() -> None:
    theta, _ = incidence_angles()
    whole = face_admittance([Porous(0.1, 12_000)], FREQS, theta)
    halves = face_admittance([Porous(0.04, 12_000), Porous(0.06, 12_000)], FREQS, theta)
    np.testing.assert_allclose(halves, whole, rtol=1e-10)


def test_divided_depth_reacts_locally() -> None:
    layers: list[Layer] = [Porous(0.05, 12_000), AirGap(0.1)]
    theta = np.array([0.0, 0.5, 1.2])
    local = face_admittance(layers, FREQS, theta, locally_reacting=True)
    extended = face_admittance(layers, FREQS, theta)
    assert np.ptp(np.abs(local), axis=1).max() == 0.0
    np.testing.assert_allclose(local[:, 0], extended[:, 0], rtol=1e-12)
    assert np.abs(local[:, 2] / extended[:, 2] - 1).max() > 0.1


_layer = st.one_of(
    st.builds(Porous, st.floats(0.005, 0.5), st.floats(1e3, 1e5)),
    st.builds(AirGap, st.floats(0.005, 0.5)),
    st.builds(Membrane, st.floats(0.05, 20.0), st.floats(0.0, 500.0)),
    st.builds(Cloth, st.floats(0.0, 2000.0)),
    st.builds(Perforated, st.floats(0.001, 0.03), st.floats(0.001, 0.02), st.floats(0.002, 0.6)),
    st.builds(Slotted, st.floats(0.001, 0.03), st.floats(0.001, 0.02), st.floats(0.002, 0.6)),
)


@settings(max_examples=60)
@given(st.lists(_layer, min_size=1, max_size=4), st.booleans())
def test_no_stack_makes_sound_or_swallows_more_than_arrives(
    layers: list[Layer], local: bool
) -> None:
    theta, _ = incidence_angles()
    beta = face_admittance(layers, [25, 63, 200, 1000, 7000], theta, local)
    alpha = alpha_oblique(beta, theta)
    assert alpha.min() >= -1e-12
    assert alpha.max() <= 1.0 + 1e-9
    assert (paris(beta) <= 1.0 + 1e-9).all()


def test_air_alone_absorbs_nothing() -> None:
    theta, _ = incidence_angles()
    assert paris(face_admittance([AirGap(0.3)], FREQS, theta)).max() == pytest.approx(0, abs=1e-12)


@pytest.mark.parametrize(
    ("impedance", "alpha"),
    # 0.951 is the maximum of Mechel, Formulas of Acoustics, D.5; 0.9512, 0.9096 and 0.9389 are
    # computed from the integral to four digits.
    [(1.567, 0.9512), (1.0, 0.9096), (2.0, 0.9389)],
)
def test_random_incidence_of_a_real_impedance(impedance: float, alpha: float) -> None:
    beta = np.array([[1.0 / impedance + 0j]])
    assert paris(beta)[0] == pytest.approx(alpha, abs=1e-4)
    assert float(alpha_from_admittance(1.0 / impedance)) == pytest.approx(alpha, abs=1e-4)


def test_closed_form_equals_the_integral() -> None:
    beta: Floats = np.geomspace(1e-4, 5.0, 40).astype(np.float64)
    integral = paris(beta[:, None].astype(np.complex128))
    np.testing.assert_allclose(integral, alpha_from_admittance(beta), rtol=1e-6)


def test_maximum_of_a_local_reaction() -> None:
    beta, alpha = largest_local_alpha()
    assert alpha == pytest.approx(0.951, abs=5e-4)
    assert 1 / beta == pytest.approx(1.567, abs=1e-3)


@given(st.floats(0.0, 0.951))
def test_alpha_to_admittance_and_back(alpha: float) -> None:
    assert float(alpha_from_admittance(admittance_from_alpha(alpha))) == pytest.approx(
        alpha, rel=1e-9, abs=1e-15
    )


def test_alpha_to_admittance_limits() -> None:
    small, zero, high, higher = admittance_from_alpha([1e-4, 0.0, 0.96, 1.3])
    assert small == pytest.approx(1e-4 / 8, rel=1e-3)
    assert zero == 0.0
    assert high == higher == pytest.approx(largest_local_alpha()[0], rel=1e-6)
    with pytest.raises(ValueError, match="zero or above"):
        admittance_from_alpha([-0.1])


def test_octave_sampling() -> None:
    f = octave_frequencies([63, 125, 8000], 3)
    # Thirds of the 125 Hz octave are 100, 125, 160 Hz (IEC 61260-1, exact 100, 125.9, 158.5).
    np.testing.assert_allclose(f[3:6], [100.0, 125.89, 158.49], rtol=1e-4)
    np.testing.assert_allclose(octave_mean(f, 3)[1], f[3:6].mean())
    with pytest.raises(ValueError, match="nominal octave"):
        octave_frequencies([160])
    with pytest.raises(ValueError, match="at least 3"):
        octave_frequencies([125], 2)
