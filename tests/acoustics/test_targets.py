"""Nominal decay time and tolerance mask: BS.1116-3 and EBU Tech 3276 (transcriptions)."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from optimizer.acoustics.targets import nominal_decay, standard_mask
from optimizer.bands import BANDS


@pytest.mark.parametrize(
    ("volume", "printed"),
    # 100 m3 -> 0.25 s is in the text of BS.1116-3; the others are its formula by hand.
    [(60, 0.211), (80, 0.232), (100, 0.250), (150, 0.286)],
)
def test_nominal_decay(volume, printed):
    assert nominal_decay(volume) == pytest.approx(printed, abs=0.0005, rel=0)


@pytest.mark.parametrize(
    ("volume", "clamped"),
    [(20, 0.2), (51.2, 0.2), (409.6, 0.4), (1000, 0.4)],  # EBU Tech 3276: 0.2 < Tm < 0.4 s
)
def test_nominal_decay_is_kept_within_the_ebu_range(volume, clamped):
    assert nominal_decay(volume) == pytest.approx(clamped, rel=1e-12)


def test_mask_corners_at_100_m3():
    # Corner values of the mask drawn for Tm = 0.25 s: upper .55 at 63 Hz, .30 from 200 Hz to
    # 4 kHz, .35 above; lower .20 from 100 Hz to 4 kHz, .15 above.
    low, high = standard_mask(100, [63, 99.9, 100, 200, 1000, 4000, 4000.1, 8000])
    np.testing.assert_allclose(high[[0, 3, 4, 5, 6, 7]], [0.55, 0.3, 0.3, 0.3, 0.35, 0.35])
    np.testing.assert_allclose(low[2:], [0.20, 0.20, 0.20, 0.20, 0.15, 0.15])
    assert np.isnan(low[:2]).all()


def test_mask_per_octave():
    low, high = standard_mask(100)
    assert low.shape == high.shape == (len(BANDS),)
    # 125 Hz: + 0.152 s on the logarithmic axis, by hand (the linear axis would give + 0.187).
    above = [0.3, 0.152, *[0.05] * 5, 0.1]
    np.testing.assert_allclose(high - 0.25, above, rtol=0, atol=5e-4)
    np.testing.assert_allclose(low - 0.25, [np.nan, *[-0.05] * 6, -0.1], rtol=1e-9)


@given(st.floats(5, 2000))
def test_nominal_time_always_meets_its_own_mask(volume):
    nominal = nominal_decay(volume)
    low, high = standard_mask(volume)
    assert np.all(high > nominal)
    assert np.all(low[1:] < nominal)
    assert np.all(low[1:] > 0)


@pytest.mark.parametrize("volume", [0, -5, np.nan, np.inf])
def test_bad_volume_is_refused(volume):
    with pytest.raises(ValueError, match="volume"):
        nominal_decay(volume)


@pytest.mark.parametrize("band", [62, 16000])
def test_mask_has_no_value_outside_its_range(band):
    with pytest.raises(ValueError, match="63 to 8000"):
        standard_mask(100, [band])
