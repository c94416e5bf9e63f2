"""The reactance of walls known by their coefficients."""

import numpy as np
import pytest

from materials.layers import Porous, face_admittance
from optimizer.acoustics.admittance import coefficient_admittance
from optimizer.acoustics.reactance import (
    LOW_HZ,
    fade,
    fitted,
    laboratory_admittance,
    with_reactance,
)

INNER = slice(18, -18)  # off the ends, beyond which the real part is taken as level


@pytest.mark.parametrize("centre", [60.0, 120.0, 240.0])
def test_a_resistance_behind_a_spring(centre: float) -> None:
    """beta = j x / (1 + j x), x = f / f0: the reactance follows from the real part alone.

    A textbook pair of a causal function (first-order high pass). 3 % of the largest value, since
    the real part goes on changing below and above the range that is known.
    """
    x = LOW_HZ / centre
    beta = 1j * x / (1.0 + 1j * x)
    found = with_reactance(beta.real[None])[0]
    np.testing.assert_array_equal(found.real, beta.real)
    np.testing.assert_allclose(found.imag[INNER], beta.imag[INNER], atol=0.03)


def test_a_resonance() -> None:
    """beta = 1 / (1 + j Q (x - 1/x)), springy below and inert above; Q = 3 at 120 Hz."""
    x = LOW_HZ / 120.0
    beta = 1.0 / (1.0 + 3j * (x - 1.0 / x))
    found = with_reactance(beta.real[None])[0]
    # The real part is read in straight lines between the points, twelve to the octave.
    np.testing.assert_allclose(found.imag, -3 * (x - 1 / x) * beta.real, atol=0.03)


def test_level_and_twice() -> None:
    """No change, no reactance; and it is linear."""
    rows = np.array([np.full(len(LOW_HZ), 0.3), LOW_HZ / 1e3, 2 * LOW_HZ / 1e3])
    found = with_reactance(rows).imag
    np.testing.assert_array_equal(found[0], 0.0)
    np.testing.assert_allclose(found[2], 2 * found[1], rtol=1e-12)


def test_a_layer_of_wool_is_a_spring() -> None:
    """The reactance of 100 mm on a wall from the real part of its own theory (Miki, 12 kPa s/m2).

    From 63 to 250 Hz, 20 %: theory goes on above 800 Hz, where nothing is known here.
    """
    theory = face_admittance([Porous(0.1, 12_000.0)], LOW_HZ, 0.0, True)[:, 0]
    found = with_reactance(theory.real[None])[0]
    part = (LOW_HZ > 60.0) & (LOW_HZ < 260.0)
    np.testing.assert_allclose(found.imag[part], theory.imag[part], rtol=0.2)


def test_passive_branches_follow_it() -> None:
    """What the grid is given differs from what modes are given by a few per cent (rms)."""
    alpha = np.array(
        [[0.28, 0.85, 1.0, 1.0, 1.0, 1.0, 1.0, 1.0], [0.02, 0.1, 0.3, 0.6] + 4 * [0.8]]
    )
    beta = laboratory_admittance(alpha)
    for wall, wanted in zip(fitted(beta), beta, strict=True):
        off = np.abs(wall.at(LOW_HZ) - wanted) / np.abs(wanted)
        assert np.sqrt(np.mean(off[LOW_HZ > 30.0] ** 2)) < 0.06


def test_thin_wool_falls_as_frequency_squared_down_to_the_lowest_hz() -> None:
    """25 mm of wool by its own layer formula, below the octave of 63 Hz where a table ends: within
    10 % of the fade (the fitted wool of Miki is no pure resistance). Boards stay level."""
    layer = (Porous(0.025, 12000.0),)
    f = np.array([20.0, 31.5, 63.0, 125.0])
    beta = face_admittance(layer, f, np.zeros(1))[:, 0].real
    bands = np.full((1, 8), beta[3])
    bands[0, 0] = beta[2]
    np.testing.assert_allclose(fade(bands, f)[0, :3], beta[:3] / beta[2], rtol=0.1)
    board = np.array([[0.15, 0.29, 0.1, 0.05, 0.04, 0.07, 0.09, 0.09]])
    np.testing.assert_array_equal(fade(board, LOW_HZ), 1.0)


def test_a_carpet_fades_in_modes_and_waves_and_a_wall_does_not() -> None:
    """Both ways from coefficients to an admittance, at 31.5 Hz against 63 Hz: a quarter; 5 % where
    it is read between LOW_HZ, since 63 Hz lies between two of them."""
    carpet = np.array([[0.01, 0.04, 0.1, 0.2, 0.3, 0.4, 0.5, 0.5]])
    wall = np.array([[0.02, 0.02, 0.03, 0.03, 0.04, 0.05, 0.05, 0.05]])
    at = np.array([31.5, 63.0])
    low, high = coefficient_admittance(carpet, at)[0]
    assert low == pytest.approx(high / 4, rel=1e-6)
    low, high = coefficient_admittance(wall, at)[0]
    assert low == high
    found = np.interp(at, LOW_HZ, laboratory_admittance(carpet)[0].real)
    assert found[0] == pytest.approx(found[1] / 4, rel=0.05)
