"""Decay times from decay curves: closed forms and the ranges of ISO 3382-1/-2."""

import numpy as np
import pytest

from optimizer.acoustics.decay_curve import (
    backward_integral,
    decay_times,
    fit_decay_time,
    level_db,
)

DT = 1e-3


def _exponential(T, seconds=3.0):
    t = DT * np.arange(int(seconds / DT))
    return np.exp(-6.0 * np.log(10.0) * t[:, None] / np.atleast_1d(T))


def test_an_exponential_gives_its_own_time_in_every_range():
    T = np.array([0.15, 0.4, 1.2])
    found = decay_times(_exponential(T), DT)
    for figure in (found.edt, found.t20, found.t30):
        np.testing.assert_allclose(figure, T, rtol=1e-9)
    assert np.all(np.abs(found.curvature) < 1e-6)
    assert not found.double_slope.any()


def test_backward_integral_of_an_exponential_is_the_exponential():
    T = np.array([0.3])
    energy = _exponential(T)
    curve = backward_integral(energy, DT)
    exact = energy * T / (6.0 * np.log(10.0))
    # trapezoid of an exponential is high by (k dt)^2 / 12 = 1.8e-4
    np.testing.assert_allclose(curve[:500], exact[:500], rtol=3e-4)


@pytest.mark.parametrize("limits", [(0.0, -10.0), (-5.0, -25.0), (-5.0, -35.0)])
def test_the_line_is_the_least_squares_line(limits):
    # numpy.polyfit is the reference for the regression of ISO 3382-2, 6.2
    curve = _exponential(0.25) + 10**-2.2 * _exponential(0.9)
    level = level_db(curve)[:, 0]
    inside = (level <= limits[0]) & (level >= limits[1])
    t = DT * np.arange(len(level))[inside]
    reference = -60.0 / np.polyfit(t, level[inside], 1)[0]
    assert fit_decay_time(level, DT, *limits) == pytest.approx(reference, rel=1e-9)


def test_a_late_knee_shows_in_the_curvature():
    found = decay_times(_exponential(0.3) + 10**-2.5 * _exponential(1.2), DT)
    assert found.curvature[0] > 10.0  # ISO 3382-2 Annex B.3
    assert found.double_slope[0]
    assert found.edt[0] < found.t20[0] < found.t30[0]


def test_an_early_knee_shows_in_the_early_slope():
    found = decay_times(_exponential(0.1) + 0.3 * _exponential(0.9), DT)
    assert abs(found.curvature[0]) < 10.0  # the curvature alone does not see it
    assert found.double_slope[0]


def test_a_curve_that_stops_early_has_no_t30():
    curve = _exponential(1.0, seconds=0.5)  # reaches -30 dB
    found = decay_times(curve, DT)
    assert np.isnan(found.t30[0])
    assert found.t20[0] == pytest.approx(1.0, rel=1e-9)
    assert not found.double_slope[0]


def test_input_out_of_range_is_refused():
    with pytest.raises(ValueError, match="shape"):
        backward_integral(np.ones(5), DT)
    with pytest.raises(ValueError, match="dt"):
        backward_integral(np.ones((5, 1)), 0.0)
    with pytest.raises(ValueError, match="energy at the start"):
        level_db(np.zeros((5, 1)))
    with pytest.raises(ValueError, match="above"):
        fit_decay_time(np.zeros(5), DT, -25.0, -5.0)
