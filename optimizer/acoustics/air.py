"""Sound attenuation in air: ISO 9613-1:1993, and the octave table of EN 12354-6:2003."""

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

from optimizer.bands import BANDS, EXACT_HZ

FloatArray = NDArray[np.float64]

_T0 = 293.15  # reference temperature, K
_T01 = 273.16  # triple point of water, K
_PRESSURE_REF = 101.325  # kPa
_NEPER_DB = 20.0 / math.log(10.0)  # 8.686 dB, amplitude
_DB_PER_ENERGY_NEPER = 10.0 / math.log(10.0)  # 4.343 dB, energy

# EN 12354-6:2003 Table 1, power attenuation m in 1e-3 1/m, octaves 125 Hz to 8 kHz, by air
# temperature in degrees Celsius and range of relative humidity in per cent.
EN12354_BANDS: tuple[int, ...] = BANDS[1:]
EN12354_AIR: dict[tuple[int, tuple[int, int]], tuple[float, ...]] = {
    (10, (30, 50)): (0.1, 0.2, 0.5, 1.1, 2.7, 9.4, 29.0),
    (10, (50, 70)): (0.1, 0.2, 0.5, 0.8, 1.8, 5.9, 21.1),
    (10, (70, 90)): (0.1, 0.2, 0.5, 0.7, 1.4, 4.4, 15.8),
    (20, (30, 50)): (0.1, 0.3, 0.6, 1.0, 1.9, 5.8, 20.3),
    (20, (50, 70)): (0.1, 0.3, 0.6, 1.0, 1.7, 4.1, 13.5),
    (20, (70, 90)): (0.1, 0.3, 0.6, 1.1, 1.7, 3.5, 10.6),
}


def air_attenuation_db(
    freq_hz: ArrayLike = EXACT_HZ,
    temp_c: float = 20.0,
    humidity: float = 50.0,
    pressure_kpa: float = 101.325,
) -> FloatArray:
    """Pure-tone attenuation coefficient of air in dB/m, same shape as freq_hz.

    freq_hz > 0 (default: the exact octave mid-bands, which the standard's tables use);
    temp_c -20 to 50; humidity 0 to 100 % relative; pressure_kpa above 0, up to 200.
    Source: ISO 9613-1:1993, Eqs. (3) to (5) and Annex B (water vapour); accuracy +/-10 %
    (clause 7.1). ValueError outside the ranges.
    """
    freq = np.asarray(freq_hz, dtype=np.float64)
    _check_air(freq, temp_c, humidity, pressure_kpa)
    kelvin = temp_c + 273.15
    pressure = pressure_kpa / _PRESSURE_REF
    ratio = kelvin / _T0
    saturation = 10.0 ** (-6.8346 * (_T01 / kelvin) ** 1.261 + 4.6151)
    vapour = humidity * saturation / pressure  # molar concentration h, per cent
    oxygen = pressure * (24.0 + 4.04e4 * vapour * (0.02 + vapour) / (0.391 + vapour))  # Eq. (3)
    nitrogen = (  # Eq. (4)
        pressure
        * ratio**-0.5
        * (9.0 + 280.0 * vapour * math.exp(-4.170 * (ratio ** (-1.0 / 3.0) - 1.0)))
    )
    classical = 1.84e-11 / pressure * ratio**0.5
    relaxation = ratio**-2.5 * (
        0.01275 * math.exp(-2239.1 / kelvin) / (oxygen + freq**2 / oxygen)
        + 0.1068 * math.exp(-3352.0 / kelvin) / (nitrogen + freq**2 / nitrogen)
    )
    return np.asarray(_NEPER_DB * freq**2 * (classical + relaxation))  # Eq. (5)


def air_attenuation(
    freq_hz: ArrayLike = EXACT_HZ,
    temp_c: float = 20.0,
    humidity: float = 50.0,
    pressure_kpa: float = 101.325,
) -> FloatArray:
    """Power attenuation coefficient m of air in 1/m, as 4 m V enters the decay formulas.

    m = attenuation in dB/m divided by 10 lg e. Arguments and errors: air_attenuation_db.
    """
    return air_attenuation_db(freq_hz, temp_c, humidity, pressure_kpa) / _DB_PER_ENERGY_NEPER


def en12354_air(temp_c: int = 20, humidity_range: tuple[int, int] = (50, 70)) -> FloatArray:
    """Power attenuation m in 1/m for EN12354_BANDS (125 Hz to 8 kHz), shape (7,).

    Source: EN 12354-6:2003 Table 1; the defaults are the standard's own. The table has no
    63 Hz column. ValueError when the table has no such row.
    """
    row = EN12354_AIR.get((temp_c, humidity_range))
    if row is None:
        raise ValueError(f"EN 12354-6 Table 1 has no row for {temp_c} C, {humidity_range} %")
    return 1e-3 * np.array(row)


def _check_air(freq: FloatArray, temp_c: float, humidity: float, pressure_kpa: float) -> None:
    if not np.all((freq > 0) & np.isfinite(freq)):
        raise ValueError("frequency must be above 0 Hz")
    if not -20.0 <= temp_c <= 50.0:
        raise ValueError(f"air temperature {temp_c} C is outside -20 to 50 C")
    if not 0.0 <= humidity <= 100.0:
        raise ValueError(f"relative humidity {humidity} % is outside 0 to 100 %")
    if not 0.0 < pressure_kpa <= 200.0:
        raise ValueError(f"air pressure {pressure_kpa} kPa is outside 0 to 200 kPa")
