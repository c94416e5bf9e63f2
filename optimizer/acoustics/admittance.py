"""Low-frequency wall admittance of a scene: what room modes and the wave equation meet.

A surface known by its coefficients has the admittance of a locally reacting wall that shows them
(materials.incidence), a flat piece that with which a laboratory's sample would show them; both with
the reactance that causality attaches (reactance). A piece of known make has its own complex one,
which depends on the run of the sound along the wall (make_admittance). All stand at the plane of
the wall.
Over a patch, as in the decay formula, the surface under a porous piece goes on with the share that
passes through it:

    beta = beta_piece + (1 - hides) beta_under,

where in the bass a piece of known make hides what it is made of says (materials.behind).

Admittances are normalised by rho c, time factor e^{+jwt}; Re(beta) >= 0 absorbs.
"""

from functools import lru_cache
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from materials.behind import hidden
from materials.corner import CornerFill
from materials.incidence import admittance_from_alpha
from materials.medium import AIR
from materials.modal import Make
from optimizer.acoustics.make_admittance import (
    ALONG,
    DIFFUSE,
    along,
    joined,
    kinds_of,
    level,
    make_share,
    make_table,
    makes_of,
)
from optimizer.acoustics.reactance import fade, laboratory_admittance, with_reactance
from optimizer.acoustics.scene import LOW_HZ, Complexes, Ints, Patches, Scene
from optimizer.bands import BANDS
from optimizer.room.geometry import Floats

__all__ = ["LOW_HZ", "at_frequencies", "bands_at", "bare_fills", "base_admittance", "hiding",
           "coefficient_admittance", "endless_admittance", "fill_axes", "low_cells", "low_patches",
           "over_tiles", "piece_admittance", "piece_kinds"]  # fmt: skip

Rows = tuple[Ints, Floats, Complexes]  # surface (N,), rect (N, 4), beta (N, F)
# tables (N, T + 1, F), fill_axes (N,), and which (N,) stand for the wool of corner fills
AlongRows = tuple[Ints, Floats, Complexes, Ints, NDArray[np.bool_]]


def bands_at(bands: Floats, hz: Floats) -> Floats:
    """Octave-band values (N, 8) at frequencies (F,): (N, F), linear in log frequency, ends held."""
    return _held(bands, np.log(hz), np.log(np.array(BANDS, dtype=float)))


def _held(rows: Floats, at: Floats, known: Floats) -> Floats:
    """Rows (N, K) given at `known` (K,), at other places (M,): (N, M), linear, ends held."""
    right = np.clip(np.searchsorted(known, at, side="right"), 1, len(known) - 1)
    left = right - 1
    step = np.clip(at, known[0], known[-1]) - known[left]
    slope = (rows[:, right] - rows[:, left]) / (known[right] - known[left])
    return np.asarray(slope * step + rows[:, left])


def coefficient_admittance(alpha: Floats, hz: Floats) -> Floats:
    """Real admittance (N, F) of materials with random-incidence coefficients (N, 8)."""
    kinds, kind = np.unique(alpha, axis=0, return_inverse=True)
    beta = admittance_from_alpha(np.minimum(bands_at(kinds, hz), 1.0))
    beta = beta * fade(admittance_from_alpha(np.minimum(kinds, 1.0)), hz)
    return np.asarray(beta[kind.ravel()])


def at_frequencies(beta: Complexes, hz: Floats) -> Complexes:
    """Admittances (N, F) given at LOW_HZ, at other frequencies (M,): (N, M), ends held.

    The impedance is interpolated, real and imaginary part linear in log frequency: for a resonant
    build it is smooth where the admittance has a narrow peak.
    """
    at, known = np.log(hz), np.log(LOW_HZ)
    z = 1.0 / np.where(np.abs(beta) > 1e-12, beta, 1e-12)
    real, imaginary = _held(z.real, at, known), _held(z.imag, at, known)
    return np.asarray(1.0 / (real + 1j * imaginary), dtype=np.complex128)


def hiding(patches: Patches, hz: Floats) -> Complexes:
    """Share (N, F) of the admittance under each piece that is lost, at frequencies (F,)."""
    hides = bands_at(patches.hides, hz).astype(np.complex128)
    for make, mine in makes_of(patches):
        if make is not None:
            own, rest = _made_to_hide(make, hz.tobytes())
            hides[mine] = own + rest * hides[mine]
    return hides


@lru_cache(maxsize=64)
def _made_to_hide(make: Make, hz: bytes) -> tuple[Complexes, Floats]:
    """What a make hides by itself (F,), and the share (F,) left to its coefficients."""
    at = np.frombuffer(hz)
    share = np.interp(at, LOW_HZ, make_share(make))
    both = share * hidden(make, at), 1.0 - share
    for part in both:
        part.setflags(write=False)
    return both


def endless_admittance(patches: Patches, hz: Floats = LOW_HZ) -> Floats:
    """Real admittance (N, F) of areas, over what they cover, at frequencies (F,).

    By their coefficients, taken as those of an endless wall; what shows less face than it covers
    (a corner fill) spreads its face over what it covers.
    """
    return np.asarray(coefficient_admittance(patches.alpha, hz) * _spread(patches)[:, None])


def piece_kinds(patches: Patches) -> tuple[Complexes, Ints]:
    """Table (K, T + 1, F) of each kind of piece over the wall it covers, as make_table gives it,
    and the kind (N,) of each piece.

    Of a make its own (make_admittance). Else by coefficients, with the reactance that goes with
    them: those of a flat piece are taken as of a laboratory's sample, others as of areas.
    """
    spread = _spread(patches)
    first, kind = kinds_of(patches, spread)
    one = patches.take(first)
    beta = with_reactance(endless_admittance(one))
    flat = np.isclose(spread[first], 1.0)
    beta[flat] = laboratory_admittance(one.alpha[flat])
    tables = level(beta)
    for row, (make, strength) in enumerate(zip(one.make, one.strength, strict=True)):
        if make is not None:
            tables[row] = joined(make, strength, beta[row])
    return tables, kind


def piece_admittance(patches: Patches) -> Complexes:
    """Tables (N, T + 1, F) of pieces over the wall they cover."""
    beta, kind = piece_kinds(patches)
    return beta[kind]


def fill_axes(patches: Patches) -> Ints:
    """Axis of the room (N,) along which pieces of known make fill a corner, where only the
    wavenumber along it counts; -1 for all others."""
    builds = (None if make is None else make.build for make in patches.make)
    fills = np.array([isinstance(build, CornerFill) for build in builds], dtype=bool)
    return np.where(fills, patches.fill_axis, -1)


def bare_fills(patches: Patches) -> Ints:
    """Which pieces fill a corner without a facing: those that can act as volumes."""
    corner = np.flatnonzero(fill_axes(patches) >= 0)
    bare = [patches.make[i].build.facing is None for i in corner]
    return np.asarray(corner[np.array(bare, dtype=bool)])


def _wool(pieces: Patches, which: Ints) -> Complexes:
    """Tables (N, T + 1, F) of what those pieces show as their make."""
    rows = [pieces.strength[i] * make_share(pieces.make[i]) * make_table(pieces.make[i])
            for i in which]  # fmt: skip
    return np.array(rows).reshape(len(which), len(ALONG) + 1, len(LOW_HZ))


def _spread(patches: Patches) -> Floats:
    """Face per covered area (N,)."""
    size = np.prod(patches.rect[:, 2:] - patches.rect[:, :2], axis=1)
    return np.asarray(patches.face / np.maximum(size, 1e-12))


def base_admittance(scene: Scene) -> Complexes:
    """Admittance (P, F) at LOW_HZ of the bare surfaces."""
    return with_reactance(coefficient_admittance(scene.base_alpha, LOW_HZ))


def over_tiles(pieces: Patches, tiles: Patches) -> tuple[Ints, Ints, Floats]:
    """Pairs of a piece (N,) and a tile under it (N,), and the rectangle (N, 4) that both cover."""
    low = np.maximum(pieces.rect[:, None, :2], tiles.rect[None, :, :2])
    high = np.minimum(pieces.rect[:, None, 2:], tiles.rect[None, :, 2:])
    same = pieces.surface[:, None] == tiles.surface[None, :]
    piece, tile = np.nonzero(same & np.all(high > low, axis=-1))
    return piece, tile, np.concatenate([low, high], axis=-1)[piece, tile]


def low_patches(scene: Scene) -> AlongRows:
    """Additive rows: surface (N,), rect (N, 4) m and tables (N, T + 1, F) of admittance
    (make_admittance.make_table), along which axis those run that fill a corner (N,), -1 for others,
    and which of these (N,) are what the wool of a bare fill shows at the wall, where another model
    takes it as a volume.

    The admittance of a point is the sum over all rows that hold it. First one row per surface
    (its bounding rectangle), then for each tile what it differs by, for each piece its own less
    what it hides of the surface, and of each tile under it; rows may thus be negative, their sum
    never is. `low_cells` gives the same without overlap.
    """
    base = base_admittance(scene)
    tiles, pieces = scene.tiles, scene.pieces
    instead = with_reactance(endless_admittance(tiles)) - base[tiles.surface]
    hides = hiding(pieces, LOW_HZ)
    own = piece_admittance(pieces) - level(hides * base[pieces.surface])
    bare = bare_fills(pieces)
    wool = _wool(pieces, bare)
    own[bare] -= wool
    piece, tile, common = over_tiles(pieces, tiles)
    bounds = np.array([plane.bounds for plane in scene.planes])
    before = level(np.concatenate([base, instead]))
    after = level(-hides[piece] * instead[tile])
    tables = np.concatenate([before, own, after, wool])
    axes, volume = np.full(len(tables), -1), np.zeros(len(tables), dtype=bool)
    axes[len(before) : len(before) + len(own)] = fill_axes(pieces)
    axes[len(before) + bare] = -1
    axes[len(tables) - len(wool) :] = pieces.fill_axis[bare]
    volume[len(tables) - len(wool) :] = True
    surfaces = [np.arange(len(bounds)), tiles.surface, pieces.surface, tiles.surface[tile],
                pieces.surface[bare]]  # fmt: skip
    rects = [bounds, tiles.rect, pieces.rect, common, pieces.rect[bare]]
    return np.concatenate(surfaces), np.concatenate(rects), tables, axes, volume


def low_cells(scene: Scene) -> Rows:
    """The rows of `low_patches` added up: rectangles that do not overlap, tile and piece included.

    Admittances (N, F) are those at the mean angle of a diffuse field, since a wave equation in time
    meets a wall point by point.

    They cover each surface's bounding rectangle whole. Cells that are side by side and under the
    same rows are one.
    """
    surface, rect, tables, axes, _ = low_patches(scene)
    beta = diffuse(tables, axes >= 0)
    cells: list[tuple[int, tuple[float, ...], Complexes]] = []
    for index in range(len(scene.planes)):
        mine = np.flatnonzero(surface == index)
        for place, over in _cut(rect[mine]):
            cells.append((index, place, beta[mine[over]].sum(axis=0)))
    return (
        np.array([cell[0] for cell in cells], dtype=np.int64),
        np.array([cell[1] for cell in cells]).reshape(-1, 4),
        np.array([cell[2] for cell in cells]).reshape(-1, len(LOW_HZ)),
    )


def diffuse(tables: Complexes, corner: NDArray[np.bool_]) -> Complexes:
    """Admittance (N, F) of tables (N, T, F) as sound of a diffuse field meets it in the mean;
    half the square of its run along a wall is along one of the wall's directions."""
    run = np.sqrt(DIFFUSE) * AIR.wavenumber(LOW_HZ)
    flat, one = (along(tables, part) + part**2 * tables[:, -1] for part in (run, run / np.sqrt(2)))
    return np.asarray(np.where(corner[:, None], one, flat))


def _cut(rects: Floats) -> list[tuple[tuple[float, ...], Ints]]:
    """Rectangles without overlap and which of `rects` (N, 4) hold each, merged along u."""
    u, v = (np.unique(np.round(rects[:, [i, i + 2]], 6)) for i in (0, 1))
    made: list[tuple[tuple[float, ...], Ints]] = []
    for v0, v1 in pairwise(v.tolist()):
        row = np.flatnonzero((rects[:, 1] < 0.5 * (v0 + v1)) & (0.5 * (v0 + v1) < rects[:, 3]))
        start, held = u[0], None
        for u0, u1 in pairwise(u.tolist()):
            middle = 0.5 * (u0 + u1)
            over = row[(rects[row, 0] < middle) & (middle < rects[row, 2])]
            if held is not None and not np.array_equal(over, held):
                made.append(((start, v0, u0, v1), held))
                start = u0
            held = over
        if held is not None:
            made.append(((float(start), v0, float(u[-1]), v1), held))
    return made
