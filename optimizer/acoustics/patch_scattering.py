"""Surfaces of unlike patches scatter: how much, by coverage, size of the patches and frequency.

A flat surface whose pressure reflection factor r differs from place to place sends
|<r>|^2 / <|r|^2> of the energy that it reflects in the mirror direction, the rest leaves it
(correlation of the reflected sound with that of a plain plate: Mommertz, Applied Acoustics 60
(2000) 201, for a flat surface in the Fraunhofer limit; from memory). r is complex: a thin absorber
throws back in opposite phase what it does not absorb. Of the unevenness of r, told apart by its
wavenumber q along the surface (Fourier transform),

- only what leads to directions that there are can scatter: at random incidence, where the run of
  the sound along the surface is spread evenly over the disc of radius k, the share of that disc
  which overlaps itself moved by q, 2/pi (acos x - x sqrt(1 - x^2)), x = q/2k. So small patches do
  not scatter low sound;
- what is large against the Fresnel zone does not: there each patch mirrors by itself, as a ray
  that meets it knows anyway. A strip of width l mirrors with min(1, f/f_l) of its energy,
  f_l = c a*/(2 (l cos)^2), a* the harmonic mean of the distances (Rindel, Acustica 1986; from
  memory). Here l = pi/q, both distances are the mean free path 4V/S, and cos^2 = 1/2.

Nothing in this is fitted. Surfaces are taken as flat (a piece's thickness scatters besides) and
locally reacting. The exact field above endless strips of wool scatters 0.06 to 0.09 of the energy
more on average, 0.3 at worst (tests/acoustics/test_patch_scattering.py).

A table's coefficient has no phase: a row is taken as the layer of mineral wool on a hard wall that
shows it. Rows that differ little reflect alike then, whatever they are made of.
"""

from collections.abc import Sequence
from dataclasses import replace
from functools import lru_cache

import numpy as np
import shapely

from materials.incidence import incidence_angles, paris
from materials.layers import Porous, face_admittance
from materials.medium import AIR
from optimizer.acoustics.scene import Complexes
from optimizer.acoustics.trace_scene import Patch, Scene, Surface
from optimizer.bands import BANDS, EXACT_HZ, N_BANDS
from optimizer.room.geometry import Floats

CELL = 0.1  # m at most, of the raster on which r is laid out
COSINE = np.sqrt(0.5)  # of the mean angle of incidence of a diffuse field
WOOL = 12_000.0  # Pa s/m2, mineral wool of 40 to 50 kg/m3; what it is changes s by a few hundredths
_DEPTHS = np.geomspace(1e-3, 0.5, 240)  # m


def with_patch_scattering(scene: Scene) -> Scene:
    """The scene with surfaces, and patches on them, that scatter besides by how unlike they are.

    Scattering s becomes 1 - (1 - s)(1 - what the surface's patches scatter).
    """
    more = np.zeros((len(scene.surfaces), N_BANDS))
    free_path = 4.0 * scene.volume / scene.area
    for index, surface in enumerate(scene.surfaces):
        mine = [patch for patch in scene.patches if patch.surface == index]
        more[index] = surface_scattering(surface, mine, free_path)
    surfaces = (
        replace(s, scattering=_joined(s.scattering, more[i])) for i, s in enumerate(scene.surfaces)
    )
    patches = (replace(p, scattering=_joined(p.scattering, more[p.surface])) for p in scene.patches)
    return replace(scene, surfaces=tuple(surfaces), patches=tuple(patches))


def surface_scattering(surface: Surface, patches: Sequence[Patch], free_path: float) -> Floats:
    """Share (8,) of the reflected energy that patches on a surface send off the mirror direction.

    `free_path` in m, inf where no patch is large against the Fresnel zone.
    """
    if all(np.array_equal(patch.absorption, surface.absorption) for patch in patches):
        return np.zeros(N_BANDS)
    rects = np.array([[p.u0, p.v0, p.u1, p.v1] for p in patches])
    rows = np.array([surface.absorption, *(p.absorption for p in patches)])
    return _scattered(surface.vertices.tobytes(), rects.tobytes(), rows.tobytes(), free_path)


@lru_cache(maxsize=512)
def _scattered(outline: bytes, rects: bytes, alpha: bytes, free_path: float) -> Floats:
    """`surface_scattering` by value: vertices (n, 2), rectangles (N, 4), coefficients of the bare
    surface and of the patches (N + 1, 8). Most surfaces of a plan are those of an earlier one."""
    vertices = np.frombuffer(outline).reshape(-1, 2)
    spots = np.frombuffer(rects).reshape(-1, 4)
    factor, inside = _laid_out(vertices, spots, np.frombuffer(alpha).reshape(-1, N_BANDS))
    count = inside.sum()
    uneven = (factor - factor.sum(axis=(1, 2), keepdims=True) / count) * inside
    shape = (2 * inside.shape[0], 2 * inside.shape[1])
    power = np.abs(np.fft.fft2(uneven, s=shape)) ** 2
    spans = np.ptp(vertices, axis=0)
    cell = tuple(float(span / n) for span, n in zip(spans, inside.shape, strict=True))
    scattered = (power * _scattering_share(shape, cell, free_path)).sum(axis=(1, 2)) / power[0].size
    reflected = (np.abs(factor) ** 2).sum(axis=(1, 2))
    share = np.asarray(np.clip(scattered / np.maximum(reflected, 1e-12), 0.0, 1.0))
    share.setflags(write=False)
    return share


def _joined(first: Floats, second: Floats) -> Floats:
    return np.clip(first + (1.0 - first) * second, 0.0, 1.0)


def _laid_out(vertices: Floats, rects: Floats, alpha: Floats) -> tuple[Complexes, Floats]:
    """Reflection factors (8, N, M) on a raster over the surface's bounds, zero outside its outline,
    and which cells (N, M) lie within it. Cells that an edge cuts hold the mean."""
    low, high = vertices.min(axis=0), vertices.max(axis=0)
    u, v = (
        np.linspace(a, b, 1 + int(np.ceil((b - a) / CELL - 1e-9)))
        for a, b in zip(low, high, strict=True)
    )
    middle = np.meshgrid(0.5 * (u[1:] + u[:-1]), 0.5 * (v[1:] + v[:-1]), indexing="ij")
    inside = shapely.contains_xy(shapely.Polygon(vertices), *middle).astype(float)
    rows = _reflection_factors(alpha)
    factor = np.broadcast_to(rows[0][:, None, None], (N_BANDS, *inside.shape)).copy()
    for (u0, v0, u1, v1), row in zip(rects, rows[1:], strict=True):
        a, b = _covered(u, u0, u1), _covered(v, v0, v1)
        at = np.ix_(np.arange(N_BANDS), a.nonzero()[0], b.nonzero()[0])
        share = np.outer(a[a > 0], b[b > 0])
        factor[at] += share * (row[:, None, None] - factor[at])
    return factor * inside, inside


def _covered(edges: Floats, low: float, high: float) -> Floats:
    """Share (N,) of each interval between edges (N + 1,) that low to high covers."""
    common = np.minimum(edges[1:], high) - np.maximum(edges[:-1], low)
    return np.asarray(np.maximum(common, 0.0) / np.diff(edges))


@lru_cache(maxsize=256)
def _scattering_share(
    shape: tuple[int, int], cell: tuple[float, float], free_path: float
) -> Floats:
    """Share (8, N, M) of unevenness at each wavenumber of a transform that scatters."""
    along = [2.0 * np.pi * np.fft.fftfreq(n, d) for n, d in zip(shape, cell, strict=True)]
    q = np.hypot(along[0][:, None], along[1])
    k = (2.0 * np.pi * EXACT_HZ / AIR.c)[:, None, None]
    x = np.minimum(q / (2.0 * k), 1.0)
    leads_somewhere = 2.0 / np.pi * (np.arccos(x) - x * np.sqrt(1.0 - x**2))
    width = np.pi / np.maximum(q, 1e-9)
    mirrors = np.minimum(k * (width * COSINE) ** 2 / (np.pi * free_path), 1.0)
    share = np.asarray(leads_somewhere * (1.0 - mirrors))
    share.setflags(write=False)
    return share


def _reflection_factors(alpha: Floats) -> Complexes:
    """Pressure reflection factors (N, 8) at the mean angle, of rows with coefficients (N, 8)."""
    out = np.empty(alpha.shape, dtype=np.complex128)
    for band, (known, factor) in enumerate(_of_wool()):
        out[:, band] = np.interp(alpha[:, band], known, factor.real)
        out[:, band] += 1j * np.interp(alpha[:, band], known, factor.imag)
    return out


@lru_cache(maxsize=1)
def _of_wool() -> tuple[tuple[Floats, Complexes], ...]:
    """Per band: coefficients that layers of wool can have, up to the first peak over their depth,
    and the reflection factors that go with them. No depth has none; above the peak, that of the
    peak holds."""
    theta, _ = incidence_angles()
    angles = np.append(theta, np.arccos(COSINE))
    beta = np.array([face_admittance((Porous(d, WOOL),), EXACT_HZ, angles) for d in _DEPTHS])
    made = []
    for band in range(len(BANDS)):
        known = paris(beta[:, band, :-1])
        peak = 1 + int(np.argmax(np.diff(known) < 0.0))
        one = beta[:peak, band, -1]
        factor = (COSINE - one) / (COSINE + one)
        made.append((np.append(0.0, known[:peak]), np.append(1.0, factor)))
    return tuple(made)
