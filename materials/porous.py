"""Porous material as an equivalent fluid: characteristic impedance and wavenumber.

Time convention e^{+jwt}: a wave runs as e^{-jkx} and a passive material has Im k < 0.
All three models need one property, the static air-flow resistivity sigma in Pa s/m2.

Sources
    Miki, J. Acoust. Soc. Jpn (E) 11 (1990) 19, Eqs 30-34
    Delany and Bazley, Applied Acoustics 3 (1970) 105
    Komatsu, Acoust. Sci. Tech. 29 (2008) 102 (the impedance constants are from memory)
"""

from collections.abc import Callable

import numpy as np
import numpy.typing as npt

from materials.medium import AIR, Complexes, Floats, Medium, positive_frequencies

RESISTIVITIES = (500.0, 500_000.0)  # Pa s/m2

_Fit = Callable[[Floats, float, Medium], tuple[Complexes, Complexes]]


def _miki(freqs: Floats, sigma: float, medium: Medium) -> tuple[Complexes, Complexes]:
    x = freqs / sigma
    zc = medium.impedance * (1.0 + (0.070 - 0.107j) * x**-0.632)
    k = medium.wavenumber(freqs) * (1.0 + (0.109 - 0.160j) * x**-0.618)
    # Far below the fit (f/sigma < 0.0008) the compressibility k/Zc would give energy back:
    # keep its size and drop the gain.
    ratio = k / zc
    passive = np.where(ratio.imag > 0.0, np.abs(ratio), ratio)
    density = zc * k
    return np.sqrt(density / passive), np.sqrt(density * passive)


def _delany_bazley(freqs: Floats, sigma: float, medium: Medium) -> tuple[Complexes, Complexes]:
    x = medium.rho * freqs / sigma
    zc = medium.impedance * (1.0 + 0.0571 * x**-0.754 - 0.087j * x**-0.732)
    k = medium.wavenumber(freqs) * (1.0 + 0.0978 * x**-0.700 - 0.189j * x**-0.595)
    return zc.astype(np.complex128), k.astype(np.complex128)


def _komatsu(freqs: Floats, sigma: float, medium: Medium) -> tuple[Complexes, Complexes]:
    x = 2.0 - np.log10(freqs / sigma)
    if np.any(x <= 0.0):
        raise ValueError("the Komatsu model needs frequency / flow resistivity below 100")
    zc = medium.impedance * (1.0 + 0.00027 * x**6.2 - 0.0047j * x**4.1)
    k = medium.wavenumber(freqs) * (1.0 + 0.0004 * x**6.2 - 0.0069j * x**4.1)
    return zc.astype(np.complex128), k.astype(np.complex128)


_FITS: dict[str, _Fit] = {"miki": _miki, "delany-bazley": _delany_bazley, "komatsu": _komatsu}
MODELS: tuple[str, ...] = tuple(_FITS)


def characteristic(
    freqs: npt.ArrayLike, flow_resistivity: float, model: str = "miki", medium: Medium = AIR
) -> tuple[Complexes, Complexes]:
    """Characteristic impedance Zc (Pa s/m) and wavenumber k (1/m), each shape (freqs,).

    Extrapolates outside `fit_range`. Miki is kept passive at every frequency; Delany-Bazley is
    left as printed and gives energy back in thin layers below f/sigma = 0.012 (140 Hz at
    12 000 Pa s/m2), so it is for comparison only. Raises ValueError for an
    unknown model, a frequency at or below zero or a flow resistivity out of range.
    """
    f = positive_frequencies(freqs)
    check_flow_resistivity(flow_resistivity)
    if model not in _FITS:
        raise ValueError(f"unknown porous model {model!r}; known: {', '.join(MODELS)}")
    return _FITS[model](f, flow_resistivity, medium)


def check_flow_resistivity(flow_resistivity: float) -> None:
    """ValueError unless the flow resistivity lies between 500 and 500 000 Pa s/m2.

    The range is that of fibrous and open-cell absorbers for rooms with a wide margin (declared
    values run from about 3 000 to 70 000); it catches a value written in kPa s/m2.
    """
    if not RESISTIVITIES[0] <= flow_resistivity <= RESISTIVITIES[1]:
        raise ValueError("flow resistivity must be between 500 and 500000 Pa s/m2")


def fit_range(
    flow_resistivity: float, model: str = "miki", medium: Medium = AIR
) -> tuple[float, float]:
    """Lowest and highest frequency in hertz of the measurements behind the fit.

    0.01 < f/sigma < 1 for Miki and Komatsu, 0.01 < rho0 f/sigma < 1 for Delany-Bazley. For
    12 000 Pa s/m2 the lower end is 120 Hz: bass values are extrapolated in every model.
    """
    check_flow_resistivity(flow_resistivity)
    if model not in _FITS:
        raise ValueError(f"unknown porous model {model!r}; known: {', '.join(MODELS)}")
    scale = flow_resistivity / (medium.rho if model == "delany-bazley" else 1.0)
    return 0.01 * scale, 1.0 * scale


def resistivity_range(flow_resistivity: float, uncertainty: float) -> tuple[float, ...]:
    """Flow resistivities to try: one sigma low and high, and half way, in Pa s/m2.

    The spread is taken as a factor 1 + uncertainty either way, because flow resistivity spreads
    evenly on a log scale; kept within the range of `check_flow_resistivity`.
    """
    factors = (1.0 + uncertainty) ** np.array([-1.0, -0.5, 0.5, 1.0])
    return tuple(float(s) for s in np.clip(flow_resistivity * factors, *RESISTIVITIES))
