"""Edge effect of pieces: what butted neighbours lose, and how far to believe the gain.

A piece alone absorbs alpha_endless * S plus a share that grows with its free edge. Where two
pieces touch, the joint edge is no longer free. For two pieces side by side the loss is known
exactly, because butted pieces are one patch:

    loss = A(w1, h) + A(w2, h) - A(w1 + w2, h).

Booked per touching pair this is linear in placements, and right for any row as far as absorption
is linear in the length of the row (a row of n: n A(w) - (n - 1) loss).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from materials.bands import BANDS
from materials.finite import PATCH_ANGLES, Face, endless_area, group_area, patch_area
from materials.incidence import incidence_angles
from materials.medium import AIR, Complexes, Floats, Medium
from materials.radiation import radiation_impedance

LAB_SAMPLE = (3.0, 3.6)  # m; 10.8 m2, within the 10-12 m2 of ISO 354
# Gain to be believed at most: real rooms showed 5-10 % of the added area (common practice).
GAIN_LIMIT = 0.10
_HARDEST, _SOFTEST = 1e-4, 0.638


def butt_loss(
    face: Face,
    one: tuple[float, float],
    two: tuple[float, float],
    shared: float | None = None,
    bands: Sequence[float] = BANDS,
    medium: Medium = AIR,
) -> Floats:
    """Absorption area in m2 per band that two touching pieces lose, shape (bands,).

    `one` and `two` are (across, along) in m: the size across the joint and the size along it;
    `shared` is the length of the joint, all of the shorter side if left out. Exact for equal
    `along` and a full joint. Otherwise the losses of the two full joints, at the length along of
    either piece, are each scaled by the share of that side which is covered, and averaged.
    """
    longest = min(one[1], two[1])
    length = longest if shared is None else shared
    if not 0.0 <= length <= longest + 1e-9:
        raise ValueError("the shared edge cannot be longer than the shorter side")
    loss = np.zeros(len(bands))
    for along in (one[1], two[1]):
        apart = patch_area(face, one[0], along, bands, medium) + patch_area(
            face, two[0], along, bands, medium
        )
        together = patch_area(face, one[0] + two[0], along, bands, medium)
        loss += 0.5 * length / along * (apart - together)
    return loss


def gap_loss(
    face: Face,
    one: tuple[float, float],
    two: tuple[float, float],
    offset: tuple[float, float],
    bands: Sequence[float] = BANDS,
    medium: Medium = AIR,
) -> Floats:
    """Absorption area in m2 per band that two pieces on one wall lose by shading each other.

    `one` and `two` are (width, height) in m; `offset` is the lower left corner of the second from
    that of the first. Equals `butt_loss` for equal pieces that touch, falls off with distance
    (and may swing slightly below zero). ValueError when the pieces overlap.
    """
    rects = [(0.0, 0.0, *one), (*offset, *two)]
    apart = patch_area(face, *one, bands, medium) + patch_area(face, *two, bands, medium)
    return apart - group_area(face, rects, bands, medium)


def butted_area(
    face: Face,
    width: float,
    height: float,
    covered: tuple[float, float, float, float],
    bands: Sequence[float] = BANDS,
    medium: Medium = AIR,
) -> Floats:
    """Absorption area in m2 per band of one piece whose edges are partly butted by equal ones.

    `covered` is the share 0-1 of the left, right, bottom and top edge that a neighbour covers.
    Each covered edge takes half of the pair's loss; never below the endless layer. A pair of
    equal pieces comes out exactly as one piece of the joint size.
    """
    if any(not 0.0 <= share <= 1.0 for share in covered):
        raise ValueError("covered shares must be between 0 and 1")
    left, right, bottom, top = covered
    alone = patch_area(face, width, height, bands, medium)
    beside = butt_loss(face, (width, height), (width, height), None, bands, medium)
    above = butt_loss(face, (height, width), (height, width), None, bands, medium)
    area = alone - 0.5 * (left + right) * beside - 0.5 * (bottom + top) * above
    floor = np.minimum(alone, endless_area(face, width * height, bands, medium))
    return np.maximum(area, floor)


def bounded_area(modelled: Floats, reference: Floats, limit: float = GAIN_LIMIT) -> Floats:
    """Absorption area with the gain over `reference` kept below `limit`, same shape.

    With g = modelled/reference - 1 the result is reference * (1 + g/(1 + |g|/limit)): small
    gains pass, none exceeds the limit, order is kept. `reference` is the area without edge
    effect (laboratory coefficient times area); `limit` 0 switches the effect off.
    """
    if limit < 0.0:
        raise ValueError("the gain limit must be zero or above")
    base = np.asarray(reference, dtype=np.float64)
    if limit == 0.0:
        return base.copy()
    gain = np.divide(modelled, base, out=np.ones_like(base), where=base > 0.0) - 1.0
    return np.asarray(base * (1.0 + gain / (1.0 + np.abs(gain) / limit)), dtype=np.float64)


def laboratory_alpha(face: Face, bands: Sequence[float] = BANDS, medium: Medium = AIR) -> Floats:
    """Coefficient a reverberation room would give on a 3.0 x 3.6 m sample; may exceed 1."""
    return patch_area(face, *LAB_SAMPLE, bands, medium) / (LAB_SAMPLE[0] * LAB_SAMPLE[1])


def piece_area(
    face: Face,
    width: float,
    height: float,
    limit: float = GAIN_LIMIT,
    bands: Sequence[float] = BANDS,
    medium: Medium = AIR,
) -> Floats:
    """Absorption area in m2 per band to book for one piece alone, shape (bands,).

    Its modelled area, with the gain over the laboratory coefficient bounded by `bounded_area`.
    `limit` 0 switches the edge effect off: every piece has the laboratory coefficient. The loss
    of a joint is then the area of the two pieces less that of one piece of the joint size.
    """
    reference = width * height * laboratory_alpha(face, bands, medium)
    return bounded_area(patch_area(face, width, height, bands, medium), reference, limit)


def piece_factor(
    face: Face,
    width: float,
    height: float,
    lost: Floats | float = 0.0,
    limit: float = GAIN_LIMIT,
    bands: Sequence[float] = BANDS,
    medium: Medium = AIR,
) -> Floats:
    """How much more than its laboratory coefficient a piece absorbs, shape (bands,), 1 or above.

    `lost` is the part in m2 of its modelled area that touching neighbours take (half of the
    `butt_loss` of each joint); what is left is never below that of an endless layer. The gain is
    bounded by `bounded_area`; a piece that would absorb less than the laboratory's sample (one
    larger than that) keeps the coefficient. `limit` 0 gives 1.
    """
    size = width * height
    alone = patch_area(face, width, height, bands, medium)
    floor = np.minimum(alone, endless_area(face, size, bands, medium))
    reference = size * laboratory_alpha(face, bands, medium)
    area = bounded_area(np.maximum(alone - lost, floor), reference, limit)
    factor = np.divide(area, reference, out=np.ones_like(reference), where=reference > 0.0)
    return np.maximum(factor, 1.0)


@dataclass(frozen=True)
class TableFace:
    """Face of a material known only by its coefficients: real admittance per octave band."""

    bands: tuple[float, ...]
    betas: tuple[float, ...]

    def admittance_at(self, freqs: Floats, theta: Floats, medium: Medium) -> Complexes:
        """Real admittance of the nearest band (on a log axis) at every angle."""
        distance = np.abs(np.log(freqs[:, None] / np.array(self.bands)))
        beta = np.array(self.betas)[distance.argmin(axis=1)]
        return np.repeat(beta[:, None], theta.size, axis=1).astype(np.complex128)


def table_face(
    alpha: npt.ArrayLike,
    bands: Sequence[float] = BANDS,
    medium: Medium = AIR,
    reactance: npt.ArrayLike = 0.0,
) -> TableFace:
    """Face whose 3.0 x 3.6 m sample would have the tabulated coefficients, for patch areas.

    The real admittance is found at each mid-band frequency on its hard side, up to 0.638; a
    coefficient beyond what that sample can show (about 0.95 at high, above 1 at low frequencies)
    is clipped to it. The phase of the impedance is unknown to a table, so edge gains from it are
    rough: a porous layer, springy in the bass, gains differently. `reactance` (bands,) is an
    imaginary part assumed in finding the real one; the face returned is real all the same.
    Raises ValueError below zero.
    """
    target = np.asarray(alpha, dtype=np.float64)
    if target.shape != (len(bands),) or np.any(~np.isfinite(target)) or np.any(target < 0.0):
        raise ValueError("one coefficient of zero or above is needed per band")
    grid = np.geomspace(_HARDEST, _SOFTEST, 60)
    zr, weights = _sample(tuple(bands), medium)
    imaginary = 1j * np.broadcast_to(np.asarray(reactance, dtype=np.float64), target.shape)
    reduced = np.abs(1.0 + (grid[:, None, None] + imaginary[:, None]) * zr) ** 2
    shown = (8.0 * grid[:, None, None] / reduced) @ weights
    rising = np.maximum.accumulate(shown, axis=0)
    betas = [
        float(np.interp(a, np.append(0.0, rising[:, i]), np.append(0.0, grid)))
        for i, a in enumerate(target)
    ]
    return TableFace(tuple(bands), tuple(betas))


@lru_cache(maxsize=16)
def _sample(bands: tuple[float, ...], medium: Medium) -> tuple[Complexes, Floats]:
    """Radiation impedance (bands, angles) of the laboratory's sample, and weights of the angles."""
    theta, weights = incidence_angles(PATCH_ANGLES)
    return radiation_impedance(
        np.array(bands, dtype=np.float64), *LAB_SAMPLE, theta, medium
    ), weights
