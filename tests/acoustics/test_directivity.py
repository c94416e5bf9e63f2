"""Loudspeaker directivity against limits and other solutions of the same wave problem."""

import numpy as np
import pytest
from scipy.special import eval_legendre, j1, spherical_jn, spherical_yn

from optimizer.acoustics.directivity import (
    arriving_energy,
    cap_pressure,
    cap_velocity,
    loudspeaker,
    off_axis,
    omnidirectional,
)
from optimizer.acoustics.images import first_reflections, make_reflectors
from optimizer.bands import EXACT_HZ, N_BANDS

ANGLES = np.linspace(0, np.pi, 91)


def test_small_sphere_radiates_alike_all_round():
    # ka -> 0: a monopole; the deviation falls with (ka)^2.
    wide = np.abs(cap_pressure([0.02, 0.002], 0.9, np.cos(ANGLES)))
    off = np.abs(wide / wide[:, :1] - 1).max(axis=1)
    assert off[0] < 1e-3
    assert off[0] / off[1] == pytest.approx(100, rel=0.01)


def test_large_sphere_is_a_piston_in_a_baffle():
    # Rayleigh: 2 J1(x)/x, x = k r sin(theta), in the main lobe, where the sphere is flat
    # against the wavelength (ka = 120, cap of a twentieth of the sphere; x up to 3).
    ka, ratio = 120.0, 0.05
    theta = np.linspace(1e-6, 0.52, 40)
    pressure = np.abs(cap_pressure([ka], np.sqrt(1 - ratio**2), np.cos(theta))[0])
    x = ka * ratio * np.sin(theta)
    np.testing.assert_allclose(pressure / pressure[0], 2 * j1(x) / x, rtol=0, atol=0.01)


@pytest.mark.parametrize("ka", [0.5, 3.0, 20.0])
def test_reciprocity_with_a_plane_wave_on_the_sphere(ka):
    # A tiny cap heard far away at an angle = a far source heard at a point of the rigid sphere
    # (Rayleigh scattering sum: incident wave plus scattered wave, exp(-i w t)).
    m = np.arange(int(ka) + 40)[:, None]
    j, dj = spherical_jn(m, ka), spherical_jn(m, ka, derivative=True)
    h = j + 1j * spherical_yn(m, ka)
    dh = dj + 1j * spherical_yn(m, ka, derivative=True)
    terms = (2 * m + 1) * 1j**m * (j - dj / dh * h)
    heard = np.abs((terms * eval_legendre(m, -np.cos(ANGLES))).sum(axis=0))
    sent = np.abs(cap_pressure([ka], np.cos(1e-3), np.cos(ANGLES))[0])
    np.testing.assert_allclose(sent / sent[0], heard / heard[0], rtol=1e-3)


@pytest.mark.parametrize("ka", [0.16, 2.0, 29.0])
@pytest.mark.parametrize("ratio", [0.09, 0.5])
def test_far_power_is_the_power_that_leaves_the_cap(ka, ratio):
    # Energy: the integral of |p|^2 far away equals Re(p v*) over the moving surface, where
    # p = i sum U_m h_m / h_m' P_m (rho c = 1, unit radius).
    cos_cap = float(np.sqrt(1 - ratio**2))
    node, weight = np.polynomial.legendre.leggauss(200)
    far = weight @ np.abs(cap_pressure([ka], cos_cap, node)[0]) ** 2
    m = np.arange(int(ka) + 40)
    h = spherical_jn(m, ka) + 1j * spherical_yn(m, ka)
    dh = spherical_jn(m, ka, True) + 1j * spherical_yn(m, ka, True)
    near = np.real(1j * h / dh) @ (cap_velocity(m, cos_cap) ** 2 * 2 / (2 * m + 1))
    assert far == pytest.approx(near, rel=1e-9)


def test_velocity_series_is_that_of_the_cap():
    # Parseval: sum U_m^2 2/(2m+1) tends to the integral of 1 over the cap, 1 - cos(cap).
    m = np.arange(4000)
    total = (cap_velocity(m, 0.866) ** 2 * 2 / (2 * m + 1)).sum()
    assert total == pytest.approx(1 - 0.866, rel=2e-3)
    # The first term is the mean velocity: the cap's share of the sphere.
    assert cap_velocity(0, 0.866) == pytest.approx((1 - 0.866) / 2, rel=1e-12)


def test_default_loudspeaker():
    table = loudspeaker().table
    assert table.shape == (181, N_BANDS)
    np.testing.assert_allclose(table[0], 1.0, rtol=1e-12)
    assert table.min() > 0
    assert table.max() <= 1.05
    # To the side and the rear it falls with frequency while one driver plays: the woofer
    # up to the 1 kHz octave, the tweeter from 4 kHz on.
    for degrees in (90, 180):
        assert np.all(np.diff(table[degrees, :5]) < 0)
        assert table[degrees, 7] < table[degrees, 6] < table[degrees, 3]
    assert table[90, 0] == pytest.approx(1.0, abs=0.03)  # 63 Hz: ka = 0.16
    assert table[90, 7] < 10**-0.6


def test_bigger_woofer_beams_more():
    small, big = loudspeaker(woofer_radius=0.05), loudspeaker(woofer_radius=0.1)
    assert np.all(big.table[30:91, 4] < small.table[30:91, 4])
    np.testing.assert_array_equal(big.table[:, 6:], small.table[:, 6:])


def test_octave_mean_has_converged():
    # A four times finer frequency grid within the 1 kHz octave changes the mean by < 1 %.
    octave = 2.0 ** ((np.arange(64) + 0.5) / 64 - 0.5)
    ka = 2 * np.pi * EXACT_HZ[4] * octave / 343.0 * 0.14
    angles = np.radians([30.0, 60.0, 90.0, 120.0, 180.0])
    pressure = np.abs(cap_pressure(ka, np.sqrt(0.75), np.cos(np.r_[0.0, angles])))
    mean = ((pressure[:, 1:] / pressure[:, :1]) ** 2).mean(axis=0)
    np.testing.assert_allclose(loudspeaker().energy(angles)[:, 4], mean, rtol=0.01)


def test_energy_interpolates_between_degrees():
    speaker = loudspeaker()
    got = speaker.energy(np.radians([[0.0, 10.5], [180.0, 90.0]]))
    assert got.shape == (2, 2, N_BANDS)
    np.testing.assert_allclose(got[0, 1], (speaker.table[10] + speaker.table[11]) / 2, rtol=1e-9)
    np.testing.assert_allclose(got[1], speaker.table[[180, 90]], rtol=1e-9)
    assert np.all(omnidirectional().energy(ANGLES) == 1.0)
    assert loudspeaker() is speaker  # worked out once


def test_off_axis_angles():
    directions = np.array([[[1.0, 0, 0], [0, 1, 0], [-1, 0, 0], [0.5, 0.75**0.5, 0]]])
    got = np.degrees(off_axis(directions, [[3.0, 0, 0]]))
    np.testing.assert_allclose(got, [[0, 90, 180, 60]], atol=1e-6)


def _front_and_side():
    square = [[0, 0], [9, 0], [9, 9], [0, 9]]
    return make_reflectors(
        np.zeros((2, 3)),
        [[0, 1, 0], [1, 0, 0]],
        [[0, 0, 1], [0, 0, 1]],
        [[1, 0, 0], [0, 1, 0]],
        [square, square],
    )


def test_arriving_energy():
    source, ear = np.array([[1.0, 1.2, 1.2]]), np.array([[2.5, 2.0, 1.2]])
    paths = first_reflections(source, ear, _front_and_side())
    aim = ear - source
    plain = arriving_energy(paths, aim, omnidirectional())
    assert plain.shape == (1, 1, 2, N_BANDS)
    # An omnidirectional source leaves spreading alone: -6.49 and -6.36 dB (by hand).
    np.testing.assert_allclose(10 * np.log10(plain[0, 0, :, 4]), [-6.49, -6.36], atol=0.006)
    real = arriving_energy(paths, aim, loudspeaker())
    # The front wall is behind the loudspeaker: full bass, much less treble.
    assert real[0, 0, 0, 0] == pytest.approx(plain[0, 0, 0, 0], rel=0.03)
    assert np.all(real[0, 0, 0, 4:] < 0.35 * plain[0, 0, 0, 4:])
    assert np.all(real[0, 0, 1] < plain[0, 0, 1])
    # Turned away, the loudspeaker favours the wall over the listener.
    turned = arriving_energy(paths, -aim, loudspeaker())
    assert turned[0, 0, 0, 6] > plain[0, 0, 0, 6]


def test_absent_paths_bring_no_energy():
    behind = first_reflections([[-1.0, 1.2, 1.2]], [[2.5, 2.0, 1.2]], _front_and_side())
    assert not behind.valid[0, 0, 0]
    assert np.all(arriving_energy(behind, [[1.0, 0, 0]], loudspeaker())[0, 0, 0] == 0)


def test_bad_input_is_refused():
    with pytest.raises(ValueError, match="smaller than the cabinet"):
        loudspeaker(woofer_radius=0.2)
    with pytest.raises(ValueError, match="above zero"):
        loudspeaker(tweeter_radius=0.0)
    with pytest.raises(ValueError, match="0 to pi"):
        loudspeaker().energy(-0.1)
    with pytest.raises(ValueError, match="ka must be above zero"):
        cap_pressure([0.0], 0.9, [1.0])
    with pytest.raises(ValueError, match="aim"):
        off_axis([[[1.0, 0, 0]]], [[0.0, 0, 0]])
