"""Absorption of patches of finite size: one piece, or a group of pieces on one wall.

Thomasson's result for a locally reacting patch in a hard wall, in a diffuse field

    alpha = 8 int_0^{pi/2} Re(zs) sin(theta) / |zs + zr(theta)|^2 d theta

(Acustica 44 (1980) 265; Jeong, J. Acoust. Soc. Am. 133 (2013) 3951; from memory, limits tested)
with zs the normalised surface impedance and zr the azimuth-averaged radiation impedance of
`materials.radiation`. zr -> 1/cos(theta) for a large patch, which is the Paris integral. For a
layer of extended reaction zs is taken at the same angle. A patch may absorb more than its area:
sound bends in over the edges, most where a piece is small against the wavelength.

A group is a set of rectangles. Pieces that touch move as one patch of their joint outline, so
two butted panels are one panel of the joint size. Patches apart each have their own amplitude,
coupled by their mutual radiation impedance; far apart they absorb as if alone.

Not in the model: the side faces of a thick piece, its back when it hangs free of the wall,
edges or corners of the room next to it. The field is taken as diffuse: real rooms gain less.
"""

from collections.abc import Sequence
from functools import lru_cache
from itertools import combinations_with_replacement
from typing import Protocol

import numpy as np
import numpy.typing as npt

from materials.bands import BANDS
from materials.incidence import incidence_angles
from materials.medium import AIR, Complexes, Floats, Medium, positive_frequencies
from materials.octaves import octave_frequencies, octave_mean
from materials.radiation import (
    Rect,
    corner_differences,
    radiation_impedance,
    radiation_table,
)

PATCH_ANGLES = 24
PATCH_POINTS_PER_OCTAVE = 12
TOUCHING = 0.002  # m; a joint narrower than this is closed


class Face(Protocol):
    """Anything with a normalised face admittance; must be hashable (a frozen dataclass is)."""

    def admittance_at(self, freqs: Floats, theta: Floats, medium: Medium) -> Complexes:
        """beta = rho c / Zs, shape (freqs, angles)."""

    def __hash__(self) -> int: ...


def patch_alpha(
    face: Face, freqs: npt.ArrayLike, width: float, height: float, medium: Medium = AIR
) -> Floats:
    """Random-incidence absorption per area of one patch at single frequencies, shape (freqs,).

    Width and height in m, 0.01 to 1000. Direct quadrature, for checks and large patches.
    """
    f = positive_frequencies(freqs)
    theta, weights = incidence_angles(PATCH_ANGLES)
    zr = radiation_impedance(f, width, height, theta, medium)
    return _alpha(face.admittance_at(f, theta, medium), zr, weights)


def patch_area(
    face: Face,
    width: float,
    height: float,
    bands: Sequence[float] = BANDS,
    medium: Medium = AIR,
) -> Floats:
    """Absorption area in m2 per octave band of one piece alone on a hard wall, shape (bands,).

    Octave value: mean over 12 frequencies per octave. Sizes in m (0.01 to 100), taken to the
    millimetre; results are cached per build and size, turned pieces share a result.
    """
    short, long = sorted((round(width, 3), round(height, 3)))
    return _patch_area(face, short, long, tuple(bands), medium)


def endless_area(
    face: Face, area: float, bands: Sequence[float] = BANDS, medium: Medium = AIR
) -> Floats:
    """What `area` m2 of an endless surface absorbs, m2 per band: the piece without its edges."""
    f = octave_frequencies(bands, PATCH_POINTS_PER_OCTAVE)
    theta, weights = incidence_angles(PATCH_ANGLES)
    beta = _samples(face, tuple(f.tolist()), medium)
    alpha = _alpha(beta, np.asarray(1.0 / np.cos(theta) + 0j)[None, :], weights)
    return area * octave_mean(alpha, len(bands))


def group_area(
    face: Face, rects: Sequence[Rect], bands: Sequence[float] = BANDS, medium: Medium = AIR
) -> Floats:
    """Absorption area in m2 per octave band of all pieces of one build on one wall together.

    `rects` are (x, y, width, height) in m with x, y the lower left corner; they may touch but
    not overlap (ValueError). Cost grows with the square of the number of pieces.
    """
    if not rects:
        raise ValueError("a group needs at least one piece")
    patches = joined(rects)
    areas = np.array([sum(w * h for _, _, w, h in patch) for patch in patches])
    f = octave_frequencies(bands, PATCH_POINTS_PER_OCTAVE)
    theta, weights = incidence_angles(PATCH_ANGLES)
    beta = _samples(face, tuple(f.tolist()), medium)
    z = _pair_integrals(patches, f, theta, medium)
    scale = 1j * medium.wavenumber(f)[:, None, None, None] / (2.0 * np.pi * areas[:, None])
    system = np.eye(len(patches)) + beta[:, :, None, None] * scale * z
    q = np.linalg.solve(system, np.ones((*beta.shape, len(patches), 1)))[..., 0]
    absorbed = 8.0 * beta.real * (np.abs(q) ** 2 @ areas)
    return octave_mean(absorbed @ weights, len(bands))


def joined(rects: Sequence[Rect]) -> list[list[Rect]]:
    """Pieces that share an edge, gathered into patches; ValueError when two overlap."""
    patches: list[list[Rect]] = []
    for rect in rects:
        if rect[2] <= 0.0 or rect[3] <= 0.0:
            raise ValueError("a piece needs a width and a height above zero")
        near = [p for p in patches if any(_share_edge(rect, other) for other in p)]
        patches = [p for p in patches if p not in near]
        patches.append([rect, *(other for p in near for other in p)])
    return patches


def _share_edge(one: Rect, two: Rect) -> bool:
    x = min(one[0] + one[2], two[0] + two[2]) - max(one[0], two[0])
    y = min(one[1] + one[3], two[1] + two[3]) - max(one[1], two[1])
    if x > TOUCHING and y > TOUCHING:
        raise ValueError(f"pieces at {one[:2]} and {two[:2]} overlap")
    return min(x, y) >= -TOUCHING and max(x, y) > TOUCHING


def _pair_integrals(
    patches: list[list[Rect]], freqs: Floats, theta: Floats, medium: Medium
) -> Complexes:
    """I_ij of all patches, shape (freqs, angles, patches, patches)."""
    index: dict[tuple[float, float], int] = {}
    n = len(patches)
    rows: dict[tuple[int, int], list[tuple[int, int]]] = {}
    for i, j in combinations_with_replacement(range(n), 2):
        entry = rows.setdefault((i, j), [])
        for one in patches[i]:
            for two in patches[j]:
                terms, signs = corner_differences(one, two)
                entry += [
                    (index.setdefault(t, len(index)), s) for t, s in zip(terms, signs, strict=True)
                ]
    reach = max(float(np.hypot(*size)) for size in index)
    phi = radiation_table(freqs, theta, reach, medium).phi(list(index))
    out = np.empty((*phi.shape[1:], n, n), dtype=np.complex128)
    for (i, j), entry in rows.items():
        coefficients = np.bincount(
            [n for n, _ in entry], weights=[s for _, s in entry], minlength=len(index)
        )
        used = np.flatnonzero(coefficients)
        out[:, :, i, j] = out[:, :, j, i] = np.tensordot(coefficients[used], phi[used], axes=1)
    return out


@lru_cache(maxsize=8192)
def _patch_area(
    face: Face, width: float, height: float, bands: tuple[float, ...], medium: Medium
) -> Floats:
    f = octave_frequencies(bands, PATCH_POINTS_PER_OCTAVE)
    theta, weights = incidence_angles(PATCH_ANGLES)
    zr = _patch_impedance(width, height, tuple(f.tolist()), medium)
    alpha = _alpha(_samples(face, tuple(f.tolist()), medium), zr, weights)
    area = width * height * octave_mean(alpha, len(bands))
    area.setflags(write=False)
    return area


@lru_cache(maxsize=2048)
def _patch_impedance(
    width: float, height: float, freqs: tuple[float, ...], medium: Medium
) -> Complexes:
    if not (0.01 <= width <= 100.0 and 0.01 <= height <= 100.0):
        raise ValueError("width and height of a piece must be between 0.01 and 100 m")
    theta, _ = incidence_angles(PATCH_ANGLES)
    f = np.array(freqs)
    table = radiation_table(f, theta, float(np.hypot(width, height)), medium)
    return table.patch(width, height)


@lru_cache(maxsize=256)
def _samples(face: Face, freqs: tuple[float, ...], medium: Medium) -> Complexes:
    theta, _ = incidence_angles(PATCH_ANGLES)
    return face.admittance_at(np.array(freqs), theta, medium)


def _alpha(beta: Complexes, zr: Complexes, weights: Floats) -> Floats:
    return np.asarray((8.0 * beta.real / np.abs(1.0 + beta * zr) ** 2) @ weights)
