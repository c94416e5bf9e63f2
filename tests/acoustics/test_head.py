import numpy as np
import pytest

from optimizer.acoustics.head import HEAD_CENTRE, HEAD_POINTS, head_region


def test_region_is_a_centred_grid():
    seat = np.array([2.5, 2.0, 1.2])
    region = head_region(seat, 0.2)
    assert region.shape == (HEAD_POINTS, 3)
    np.testing.assert_array_equal(region[HEAD_CENTRE], seat)
    np.testing.assert_allclose(region.mean(axis=0), seat, rtol=1e-12)
    np.testing.assert_allclose(np.ptp(region, axis=0), 0.4, rtol=1e-12)
    assert len(np.unique(region, axis=0)) == HEAD_POINTS


def test_region_of_many_seats():
    seats = np.array([[2.0, 1.0, 1.2], [3.0, 2.0, 1.1]])
    region = head_region(seats, 0.1)
    assert region.shape == (2, HEAD_POINTS, 3)
    np.testing.assert_array_equal(region[1], head_region(seats[1], 0.1))


def test_bad_region_is_refused():
    with pytest.raises(ValueError, match="three coordinates"):
        head_region([1.0, 2.0])
    with pytest.raises(ValueError, match="negative"):
        head_region([1.0, 2.0, 1.2], -0.1)
