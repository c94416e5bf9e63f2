"""The reactance that belongs to a wall known by its coefficients, and passive fits of it.

A table tells how much a material absorbs, not whether it is springy or heavy. But no wall has a
real admittance that changes with frequency: causality attaches an imaginary part to how the real
one runs. With x = ln(f) (Bode's form of the relation between the parts of a passive function, e.g.
H. W. Bode, Network Analysis and Feedback Amplifier Design, 1945, ch. 14; from memory)

    Im beta(x) = 1/pi integral (d Re beta / dx') ln coth(|x' - x| / 2) dx'.

Below and above LOW_HZ the real part is taken as level. Modes and wave equation both meet this wall.
"""

from functools import cache, lru_cache

import numpy as np
from scipy.special import spence

from materials.edges import table_face
from optimizer.acoustics.scene import LOW_HZ, Complexes
from optimizer.acoustics.wave_admittance import RIGID, Admittance, fit_admittance
from optimizer.bands import BANDS
from optimizer.room.geometry import Floats

BRANCHES, FIT = 5, 0.02  # most branches of a fit, and the rms relative error to be content with
DIGITS = 6  # of an admittance, for telling which cells are alike
KNOWN = np.log(np.array(BANDS, dtype=float))
# Fall of Re(beta) over the octave from 125 to 63 Hz from which a row is taken for porous matter, in
# powers of frequency: thin matter has 2, boards and hard walls 0 to 1. Own choice between them.
MATTER = 1.5


def fitted(beta: Complexes) -> list[Admittance]:
    """Passive admittances that follow rows (N, F) at LOW_HZ, each kind fitted once."""
    alike, kind = np.unique(np.round(beta, DIGITS), axis=0, return_inverse=True)
    fits = [_fit(tuple(row.tolist())) for row in alike]
    return [fits[k] for k in kind.ravel()]


def with_reactance(beta: Floats) -> Complexes:
    """Real admittances (N, F) at LOW_HZ with the reactance that causality attaches to them."""
    return np.asarray(beta + 1j * (np.diff(beta) @ _of_slopes().T), dtype=np.complex128)


@cache
def _of_slopes() -> Floats:
    """Reactance (F, F - 1) at each of LOW_HZ for a rise by 1 in each interval between them."""
    x = np.log(LOW_HZ)
    from_here = x[None, :] - x[:, None]
    q = np.exp(-np.abs(from_here))
    # The integral of ln coth(u/2) from 0 to u is pi^2/4 - 2 chi_2(e^-u), Legendre's chi function.
    within = np.sign(from_here) * (np.pi**2 / 4 - spence(1.0 - q) + spence(1.0 + q))
    return np.asarray(np.diff(within) / np.diff(x) / np.pi)


def fade(bands: Floats, hz: Floats) -> Floats:
    """Factor (N, F) on the admittance of rows (N, 8) held below the lowest octave, 63 Hz.

    Re(beta) of porous matter thin against the wavelength goes as frequency squared: a layer of
    depth d and flow resistivity s has (w d/c)^2 s d/(3 Z0), the low-frequency limit of
    j Z0 tan(k d)/Zc (derived here). Rows that fall so from 125 to 63 Hz (the table lets curtains,
    carpets and the like do that, where no source gives 63 Hz) go on falling; others stay level.
    """
    steep = bands[:, 0] < bands[:, 1] * (BANDS[0] / BANDS[1]) ** MATTER
    below = np.minimum(hz / BANDS[0], 1.0) ** 2
    return np.where(steep[:, None], below, 1.0)


def laboratory_admittance(alpha: Floats) -> Complexes:
    """Admittance (N, F) at LOW_HZ of flat pieces by their coefficients (N, 8).

    A coefficient was measured on a sample of 10 to 12 m2 whose own edges absorb. Modes and the
    wave equation add the edges of each piece by themselves, so the laboratory's are taken out
    first: the admittance is the one with which a sample of 3.0 x 3.6 m would show the coefficient
    (materials.edges). The real part is found once without and once more with the reactance that
    the first one has.
    """
    rows = [_of_laboratory(tuple(row)) for row in alpha.tolist()]
    return np.array(rows, dtype=np.complex128).reshape(len(alpha), len(LOW_HZ))


@lru_cache(maxsize=512)
def _of_laboratory(alpha: tuple[float, ...]) -> Complexes:
    first = with_reactance(_at_low(table_face(alpha).betas)[None])[0]
    spring = np.interp(KNOWN, np.log(LOW_HZ), first.imag, right=0.0)
    again = with_reactance(_at_low(table_face(alpha, reactance=spring).betas)[None])
    again.setflags(write=False)
    return np.asarray(again[0])


@lru_cache(maxsize=512)
def _fit(row: tuple[complex, ...]) -> Admittance:
    beta = np.array(row)
    if not np.any(np.abs(beta) > 0.0):
        return RIGID
    return fit_admittance(LOW_HZ, np.maximum(beta.real, 0.0) + 1j * beta.imag, BRANCHES, FIT)


def _at_low(bands: tuple[float, ...]) -> Floats:
    held = np.interp(np.log(LOW_HZ), KNOWN, bands)
    return np.asarray(held * fade(np.array([bands]), LOW_HZ)[0])
