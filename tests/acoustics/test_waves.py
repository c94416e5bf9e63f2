"""Wave solver against its own dispersion relation, plane-wave theory, coupled modes and elements.

Sources: standing waves and reflection factor (1 - beta) / (1 + beta) of a locally reacting wall,
Kuttruff, Room Acoustics, ch. 2; leapfrog dispersion, Trefethen, SIAM Review 24(2), 1982; energy of
the scheme, Bilbao et al., IEEE/ACM TASLP 24(1), 2016; finite elements by scikit-fem.
"""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.linalg import eigh
from scipy.sparse.linalg import eigsh
from skfem import Basis, ElementTriP2, FacetBasis, MeshTri
from skfem.models.poisson import laplace, mass

from materials.layers import AirGap, Layer, Porous, face_admittance
from optimizer.acoustics import wave_run
from optimizer.acoustics.coupled import coupled_modes, response
from optimizer.acoustics.coupled_build import couple_box
from optimizer.acoustics.modes import Patches
from optimizer.acoustics.voxel import WaveRoom, voxelise, voxelise_box
from optimizer.acoustics.wave_admittance import (
    RIGID,
    Admittance,
    constant_admittance,
    fit_admittance,
)
from optimizer.acoustics.wave_budget import (
    GridTooLargeError,
    affordable_frequency,
    damping_factor,
    dispersion_error,
    scheme_frequency,
    spacing_for,
    time_step,
    wave_cost,
)
from optimizer.acoustics.wave_kernel import advance
from optimizer.acoustics.wave_layout import lay_out, lay_ports, lay_walls, silent, stencil
from optimizer.acoustics.waves import Responses, RollOff, simulate
from optimizer.room.geometry import Plane, plane_from_corners

Floats = NDArray[np.float64]
C = 343.0
TREATED = np.array([3.3, 2.6, 2.2])
PIECES = [  # axis, side, lo1, lo2, hi1, hi2: corners, first reflections, cloud
    [0, 0, 0.0, 0.0, 0.5, 2.1],
    [0, 0, 2.1, 0.0, 2.6, 2.1],
    [1, 0, 0.0, 0.0, 0.5, 2.1],
    [1, 1, 0.0, 0.0, 0.5, 2.1],
    [1, 0, 0.9, 0.5, 1.9, 1.7],
    [1, 1, 0.9, 0.5, 1.9, 1.7],
    [2, 1, 0.9, 0.6, 2.1, 2.0],
]
BARE_WALLS = [
    [axis, side, 0.0, 0.0, *np.delete(TREATED, axis)] for axis in range(3) for side in range(2)
]


def patches(rows: list[list[float]]) -> Patches:
    table = np.array(rows)
    return Patches(table[:, 0].astype(np.int64), table[:, 1].astype(np.int64), table[:, 2:])


def oscillations(result: Responses, order: int, f_top: float) -> tuple[Floats, Floats]:
    """Frequencies (M,) and damping (M,) in the responses, by rotational invariance of their
    shifted samples (Roy & Kailath, IEEE Trans. ASSP 37(7), 1989), rising. Roots that carry less
    than a thousandth of the strongest one are rounding and are dropped."""
    start = int(2.2 * result.lead_s * result.fs)
    signals = result.pressure.reshape(-1, result.pressure.shape[-1])[:, start:]
    rows = min(signals.shape[1] // 3, 320)
    windows = np.lib.stride_tricks.sliding_window_view(signals, rows, axis=1).reshape(-1, rows)
    last = (rows - order, rows - 1)
    vectors = eigh(windows.T @ windows, subset_by_index=last)[1]
    z = np.linalg.eigvals(np.linalg.lstsq(vectors[:-1], vectors[1:], rcond=None)[0])
    f, delta = np.angle(z) * result.fs / (2 * np.pi), -np.log(np.abs(z)) * result.fs
    keep = (f > 0.0) & (f < 1.3 * f_top) & (np.abs(delta) < 80.0)
    z, f, delta = z[keep], f[keep], delta[keep]
    run = z[None, :] ** np.arange(signals.shape[1])[:, None]
    both = np.concatenate([run.real, run.imag], axis=1)
    parts = np.linalg.lstsq(both, signals.T, rcond=None)[0].reshape(2, len(z), -1)
    loud = np.linalg.norm(parts, axis=(0, 2))
    keep = (f > 15.0) & (f < f_top) & (delta < 40.0) & (loud > 1e-3 * loud.max())
    index = np.argsort(f[keep])
    return f[keep][index], delta[keep][index]


def ring(
    room: WaveRoom, walls: list[Admittance], f_max: float, seconds: float, double: bool = False
) -> Responses:
    """Responses between scattered points, so that every mode is heard."""
    size = room.spacing * room.air.shape
    spots = np.array([[0.04, 0.05, 0.06], [0.31, 0.11, 0.62], [0.08, 0.71, 0.43]])
    ears = np.array([[0.06, 0.07, 0.03], [0.17, 0.33, 0.91], [0.23, 0.93, 0.28]])
    return simulate(room, walls, size * spots, size * ears, seconds, f_max, double=double)


def box_wave_numbers(size: Floats, f_top: float) -> Floats:
    order = np.array([(i, j, k) for i in range(9) for j in range(9) for k in range(9)][1:])
    k = np.pi * order / size
    f = C * np.linalg.norm(k, axis=1) / (2 * np.pi)
    return np.asarray(k[f < f_top][np.argsort(f[f < f_top])])


# --- rigid box ---------------------------------------------------------------------------------


def test_modes_of_rigid_box_obey_the_dispersion_relation_and_converge() -> None:
    size = np.array([3.2, 2.2, 1.8])
    k = box_wave_numbers(size, 152.0)
    exact = C * np.linalg.norm(k, axis=1) / (2 * np.pi)
    errors = []
    for spacing in (0.2, 0.1):
        room = voxelise_box(size, spacing)
        np.testing.assert_allclose(room.spacing * room.air.shape, size, rtol=1e-12)
        scheme = np.sort(scheme_frequency(k, room.spacing))
        f, _ = oscillations(ring(room, [RIGID] * 6, 170.0, 2.0), 70, 154.0)
        assert len(f) == len(k)
        np.testing.assert_allclose(f, scheme, rtol=1e-4)
        index = np.argsort(scheme_frequency(k, room.spacing))
        errors.append((exact[index] - f)[np.argsort(index)] / room.spacing.max() ** 2)
    heard = np.abs(errors[1]) * 0.01 > 1e-3  # off the diagonal, where the grid errs at all
    assert heard.sum() >= 6
    np.testing.assert_allclose(errors[0][heard], errors[1][heard], rtol=0.1)


def furnished(mirror: bool = False, spacing: float = 0.1) -> WaveRoom:
    """A small room with a desk top thinner than a cell, a block and treatment, none symmetric."""
    size = np.array([1.7, 1.4, 1.2])
    boxes = np.array([[[0.5, 0.25, 0.62], [1.1, 0.75, 0.64]], [[1.3, 0.65, 0.0], [1.7, 1.15, 0.5]]])
    table = patches([[0, 0, 0.1, 0.2, 0.6, 0.95], [1, 1, 0.3, 0.3, 1.1, 0.9]])
    if mirror:
        boxes[:, :, 1] = size[1] - boxes[:, ::-1, 1]
        table = patches([[0, 0, 0.8, 0.2, 1.3, 0.95], [1, 0, 0.3, 0.3, 1.1, 0.9]])
    return voxelise_box(size, spacing, table, boxes)


RESONANT = Admittance(
    np.array([1e-3, 0.0, 2e-4]), np.array([2.0, 8.0, 30.0]), np.array([900.0, 0.0, 0.0])
)
FURNISHED_WALLS = [RIGID, *[constant_admittance(0.02)] * 5, RESONANT, RESONANT, RIGID, RESONANT]


def energy(room: WaveRoom, now: Floats, before: Floats, dt: float) -> float:
    """Kinetic and potential energy of the free scheme (Bilbao et al. 2016), per cell volume."""
    total = float(np.sum(((now - before) / dt) ** 2))
    for axis in range(3):
        shut = np.moveaxis((room.closed >> np.uint8(2 * axis + 1)) & 1, axis, 0)[:-1] == 1
        air = np.moveaxis(room.air, axis, 0)
        slopes = [np.diff(np.moveaxis(u, axis, 0), axis=0) for u in (now, before)]
        free = air[:-1] & air[1:] & ~shut
        total += C**2 / room.spacing[axis] ** 2 * float(np.sum(slopes[0] * slopes[1] * free))
    return total


def run_free(room: WaveRoom, walls: list[Admittance], seconds: float) -> Floats:
    """Energy (21,) over time after a random start at rest."""
    dt = time_step(room.spacing)
    layout = lay_out(room, (C * dt / room.spacing) ** 2, np.float64)
    laid = lay_walls(room, layout, walls, dt, C, np.float64)
    state, now, before = silent(layout, laid, np.float64)
    corner = stencil(room, room.origin + 0.5 * room.spacing)
    ports = lay_ports(layout, [corner], [corner], np.float64)
    now[layout.place] = np.random.default_rng(1).normal(size=room.air.size) * room.air.ravel()
    before[:] = now
    steps = int(seconds / dt / 20)
    out = np.zeros((1, 1))
    found = []
    for _ in range(21):
        fresh, past = (u[layout.place].reshape(room.air.shape) for u in (now, before))
        found.append(energy(room, fresh, past, dt))
        now, before = advance(
            layout.grid, laid, state, ports, now, before, np.zeros((steps, 1)), 1, 10**9, out
        )
    return np.array(found)


def test_energy_of_a_rigid_furnished_room_stays_for_two_seconds() -> None:
    found = run_free(furnished(), [RIGID] * 10, 2.0)
    np.testing.assert_allclose(found, found[0], rtol=1e-6)


@pytest.mark.parametrize("scale", [1e-3, 1.0, 1e3])
def test_any_passive_wall_only_takes_energy(scale: float) -> None:
    rng = np.random.default_rng(int(scale * 1000))
    walls = [Admittance(*(scale * 10 ** rng.uniform(-4, 4, (3, 3)))) for _ in range(10)]
    found = run_free(furnished(), walls, 1.0)
    assert found[-1] < found[0]
    assert np.all(found <= found[0] * (1 + 1e-9))


def test_a_run_that_goes_on_is_the_run_that_was_long_from_the_start() -> None:
    room = furnished()
    a, b = np.array([0.03, 1.35, 0.3]), np.array([[0.8, 0.5, 0.9], [0.4, 0.6, 0.9]])

    def to_the_end(found: Responses) -> float:
        return min(2.0 * found.duration_s, 0.2)

    whole = simulate(room, FURNISHED_WALLS, a, b, 0.2, 300.0)
    gone_on = simulate(room, FURNISHED_WALLS, a, b, 0.03, 300.0, longer=to_the_end)
    assert whole.duration_s == pytest.approx(0.2, abs=1.0 / whole.fs)
    np.testing.assert_array_equal(gone_on.pressure, whole.pressure)


def test_sound_takes_the_same_path_both_ways() -> None:
    room = furnished()
    a, b = np.array([0.03, 1.35, 0.3]), np.array([0.8, 0.5, 0.9])
    there = simulate(room, FURNISHED_WALLS, a, b, 0.2, 300.0, double=True).pressure
    back = simulate(room, FURNISHED_WALLS, b, a, 0.2, 300.0, double=True).pressure
    assert np.abs(there - back).max() <= 1e-9 * np.abs(there).max()


def test_two_sources_and_one_receiver_need_one_run_and_give_the_same() -> None:
    room = furnished()
    sources, ear = np.array([[0.3, 0.3, 0.3], [0.4, 1.1, 0.9]]), np.array([1.2, 0.4, 0.9])
    both = simulate(room, FURNISHED_WALLS, sources, ear, 0.1, 300.0, double=True).pressure
    for source, found in zip(sources, both, strict=True):
        alone = simulate(
            room, FURNISHED_WALLS, source, [ear, ear], 0.1, 300.0, double=True
        ).pressure
        np.testing.assert_allclose(found[0], alone[0, 1], atol=1e-9 * np.abs(alone).max())


def test_mirrored_room_gives_mirrored_response() -> None:
    # Cells of 0.1 m: sides of the furniture lie exactly on cell centres, patches on faces.
    a, b = np.array([[0.3, 0.3, 0.3]]), np.array([[1.2, 0.9, 0.9], [0.33, 0.41, 0.77]])
    walls = FURNISHED_WALLS
    room, other = furnished(), furnished(mirror=True)
    assert np.array_equal(room.air, other.air[:, ::-1])
    flip = np.array([1.0, -1.0, 1.0])
    shift = np.array([0.0, 1.4, 0.0])
    one = simulate(room, walls, a, b, 0.2, 300.0, double=True).pressure
    two = simulate(other, walls, a * flip + shift, b * flip + shift, 0.2, 300.0, double=True)
    assert np.abs(one - two.pressure).max() <= 1e-9 * np.abs(one).max()


def test_single_precision_holds() -> None:
    # Porous treatment does not damp static pressure, so any lean of the rounding would build up.
    room = voxelise_box(TREATED, 0.1, patches(PIECES))
    f = np.geomspace(40.0, 400.0, 40)
    porous = fit_admittance(f, face_admittance([Porous(0.1, 10_000.0)], f, 0.0, True)[:, 0])
    walls = [constant_admittance(0.01)] * 6 + [porous] * len(PIECES)
    at = np.array([[0.7, 0.8, 1.2]]), np.array([[2.1, 1.3, 1.2]])
    fine = simulate(room, walls, *at, 1.0, 300.0, double=True)
    quick = simulate(room, walls, *at, 1.0, 300.0)
    hertz = np.arange(20.0, 300.0)
    np.testing.assert_allclose(quick.level_db(hertz), fine.level_db(hertz), atol=0.02)
    drift = np.abs(quick.pressure - fine.pressure).max() / np.abs(fine.pressure).max()
    assert drift < 2e-4


# --- walls -------------------------------------------------------------------------------------


def tube_reflection(h: float, walls: list[Admittance], f: Floats) -> list[NDArray[np.complex128]]:
    """Reflection factor of an end wall, relative to the rigid end, from what comes back."""
    source, ear, length, seconds = 36.0, 39.0, 42.0, 0.2

    def arrive(reach: float, end: Admittance) -> NDArray[np.complex128]:
        room = voxelise_box([reach, h, h], h)
        ends = [RIGID, end, *[RIGID] * 4]
        at = [[x, h / 2, h / 2] for x in (source, ear)]
        result = simulate(room, ends, at[0], at[1], seconds, 700.0, double=True)
        return np.asarray(result.response(f)[0, 0])

    with ThreadPoolExecutor(2) as pool:
        sent = pool.submit(arrive, 2 * length, RIGID)
        back = list(pool.map(lambda wall: arrive(length, wall), [RIGID, *walls]))
    direct = sent.result()
    return [np.asarray((wave - direct) / (back[0] - direct), dtype=complex) for wave in back[1:]]


POROUS: list[list[Layer]] = [
    [Porous(0.1, 10_000.0)],
    [Porous(0.05, 10_000.0), AirGap(0.1)],
]


def test_tube_end_reflects_as_theory_says() -> None:
    f, sampled = np.arange(50.0, 701.0, 25.0), np.geomspace(40.0, 750.0, 60)
    builds = [[face_admittance(b, x, 0.0, True)[:, 0] for x in (sampled, f)] for b in POROUS]
    beta = [np.full(f.shape, b, dtype=np.complex128) for b in (0.05, 0.3)] + [
        known for _, known in builds
    ]
    walls = [constant_admittance(0.05), constant_admittance(0.3)]
    walls += [fit_admittance(sampled, known) for known, _ in builds]
    reflected = tube_reflection(0.01, walls, f)
    for found, b in zip(reflected[:2], beta[:2], strict=True):
        theory = (1.0 - b) / (1.0 + b)
        assert np.max(np.abs(found - theory) / np.abs(theory)) < 0.01
    # The porous ends reflect as little as 4 %: there 1 % is of the incident wave, phase included.
    for found, b in zip(reflected[2:], beta[2:], strict=True):
        assert np.max(np.abs(found - (1.0 - b) / (1.0 + b))) < 0.01


def test_reflection_converges_with_the_square_of_the_spacing() -> None:
    f = np.array([400.0, 550.0, 700.0])
    theory = 0.7 / 1.3
    wall = [constant_admittance(0.3)]
    coarse, fine = (np.abs(tube_reflection(h, wall, f)[0] - theory) for h in (0.06, 0.03))
    np.testing.assert_allclose(coarse / fine, 4.0, rtol=0.15)


def test_damping_of_a_tube_with_two_soft_ends() -> None:
    # 5 m, beta 0.01 at both ends: delta = -(c / L) ln((1 - b) / (1 + b)) = 1.37205 1/s, exact.
    exact = -(C / 5.0) * np.log(0.99 / 1.01)
    assert exact == pytest.approx(1.37205, abs=5e-6)
    h = 0.05
    room = voxelise_box([5.0, h, h], h)
    soft = constant_admittance(0.01)
    at = [[0.2, h / 2, h / 2], [4.6, h / 2, h / 2]]
    result = simulate(room, [soft, soft, *[RIGID] * 4], at[0], [at[0], at[1]], 3.0, 240.0)
    f, delta = oscillations(result, 24, 220.0)
    assert len(f) == 6
    np.testing.assert_allclose(delta, exact * damping_factor(f, h), rtol=1e-3)
    assert delta[0] == pytest.approx(1.37205, rel=1e-3)


def test_fitted_porous_walls_follow_the_samples() -> None:
    f = np.geomspace(25.0, 750.0, 60)
    for build in POROUS:
        beta = face_admittance(build, f, 0.0, True)[:, 0]
        fit = fit_admittance(f, beta)
        found = fit.at(f)
        assert np.all(found.real > 0.0)
        assert np.max(np.abs((1 - found) / (1 + found) - (1 - beta) / (1 + beta))) < 0.01
        assert len(fit.resistance) <= 6


def test_real_samples_are_met_in_their_real_part() -> None:
    f, beta = np.array([63.0, 125.0, 250.0, 500.0]), np.array([0.01, 0.03, 0.1, 0.2])
    np.testing.assert_allclose(fit_admittance(f, beta).at(f).real, beta, rtol=0.02)


@pytest.mark.parametrize("beta", [0.05, 0.125, 0.3])
def test_treated_box_agrees_with_coupled_modes(beta: float) -> None:
    # Weak, medium, strong; 0.01 on all walls; 0.1 % dispersion at 200 Hz.
    base, rows = 0.01, patches(BARE_WALLS + PIECES)
    source, ears = np.array([[0.7, 0.8, 1.2]]), np.array([[2.1, 1.3, 1.2], [2.9, 1.6, 1.0]])
    f = np.arange(25.0, 201.0)
    admittance = np.repeat([base, beta - base], [len(BARE_WALLS), len(PIECES)])
    coupled = couple_box(TREATED, rows, [20.0, 220.0], np.tile(admittance, (2, 1)).T, 210.0)
    expected = 20.0 * np.log10(np.abs(response(coupled, f, source, ears)))
    room = voxelise_box(TREATED, 0.05, patches(PIECES))
    walls = [constant_admittance(b) for b in np.repeat([base, beta], [6, len(PIECES)])]
    found = simulate(room, walls, source, ears, 0.6, 210.0)
    assert found.remaining_db().max() < -45.0
    miss = found.level_db(f) - expected
    assert np.sqrt(np.mean(miss**2)) < 0.5
    assert abs(np.mean(miss)) < 0.1


def test_decay_of_treated_modes_agrees_with_coupled_modes() -> None:
    beta, base, rows = 0.125, 0.01, patches(BARE_WALLS + PIECES)
    admittance = np.repeat([base, beta - base], [len(BARE_WALLS), len(PIECES)])
    coupled = couple_box(TREATED, rows, [20.0, 220.0], np.tile(admittance, (2, 1)).T, 150.0)
    known = coupled_modes(coupled, 95.0)
    room = voxelise_box(TREATED, 0.08, patches(PIECES))
    walls = [constant_admittance(b) for b in np.repeat([base, beta], [6, len(PIECES)])]
    f, delta = oscillations(ring(room, walls, 120.0, 0.7), 50, 130.0)
    near = np.argmin(np.abs(f[None, :] - known.f_hz[:, None]), axis=1)
    np.testing.assert_allclose(f[near], known.f_hz, rtol=0.004)
    np.testing.assert_allclose(delta[near], known.delta, rtol=0.05)


# --- rooms that are no box ---------------------------------------------------------------------


def prism(outline: Floats, axis: int, low: float, high: float) -> list[Plane]:
    """Planes of an outline (K, 2) in the two other axes, drawn out along `axis`."""
    first, second = (a for a in range(3) if a != axis)

    def lift(points: Floats, at: float | Floats) -> Floats:
        corners = np.zeros((len(points), 3))
        corners[:, first], corners[:, second] = points.T
        corners[:, axis] = at
        return corners

    shell = [lift(outline, low), lift(outline, high)]
    for start, end in zip(outline, np.roll(outline, -1, axis=0), strict=True):
        shell.append(lift(np.array([start, end, end, start]), np.array([low, low, high, high])))
    return [plane_from_corners(corners, np.ones(3)) for corners in shell]


L_SHAPE = np.array([[0, 0], [4.3, 0], [4.3, 2.05], [2.85, 2.05], [2.85, 3.55], [0, 3.55]])
SLOPED = np.array([[0, 0], [4.3, 0], [4.3, 1.55], [2.0, 2.7], [0, 2.7]])


def l_mesh() -> MeshTri:
    x, y = (
        np.concatenate([np.linspace(0, a, 25), np.linspace(a, b, 13)[1:]])
        for a, b in ((2.85, 4.3), (2.05, 3.55))
    )
    mesh = MeshTri.init_tensor(x, y)
    middle = mesh.p[:, mesh.t].mean(axis=1)
    return mesh.remove_elements(np.flatnonzero((middle[0] > 2.85) & (middle[1] > 2.05)))


def sloped_mesh() -> MeshTri:
    x = np.concatenate([np.linspace(0, 2.0, 21), np.linspace(2.0, 4.3, 24)[1:]])
    mesh = MeshTri.init_tensor(x, np.linspace(0, 1, 28))
    height = np.interp(mesh.p[0], [0, 2.0, 4.3], [2.7, 2.7, 1.55])
    return MeshTri(np.stack([mesh.p[0], mesh.p[1] * height]), mesh.t)


def plane_modes(mesh: MeshTri) -> tuple[Basis, Floats, Floats]:
    """Squared wave numbers and shapes of the rigid cross-section by quadratic elements."""
    basis = Basis(mesh, ElementTriP2())
    values, shapes = eigsh(laplace.assemble(basis), k=14, M=mass.assemble(basis), sigma=-0.01)
    return basis, np.maximum(values, 0.0), shapes


def prism_frequencies(mesh: MeshTri, depth: float) -> Floats:
    """First fifteen modes of the drawn-out cross-section: the third direction is exact."""
    plane = plane_modes(mesh)[1]
    square = plane[:, None] + (np.pi * np.arange(8) / depth) ** 2
    return np.sort(C * np.sqrt(square.ravel()) / (2 * np.pi))[1:16]


@pytest.mark.parametrize(
    ("outline", "axis", "depth", "mesh"),
    [(L_SHAPE, 2, 2.5, l_mesh()), (SLOPED, 1, 3.3, sloped_mesh())],
    ids=["L-shape", "sloped ceiling"],
)
def test_modes_of_other_shapes_agree_with_elements(
    outline: Floats, axis: int, depth: float, mesh: MeshTri
) -> None:
    expected = prism_frequencies(mesh, depth)
    room = voxelise(prism(outline, axis, 0.0, depth), 0.1)
    top = expected[-1] * 1.002
    walls = [RIGID] * room.surface_count
    f, _ = oscillations(ring(room, walls, top * 1.15, 2.5), 100, top * 1.2)
    near = f[: len(expected)]
    np.testing.assert_allclose(near, expected, rtol=0.01)


def test_slanted_wall_has_its_true_area_and_damping() -> None:
    planes = prism(SLOPED, 1, 0.0, 3.3)
    tilt = int(np.argmax([abs(p.normal[0] * p.normal[2]) for p in planes]))
    u, v = planes[tilt].bounds[2:]
    room = voxelise(planes, 0.1, [tilt], [[0.3 * u, 0.3 * v, 0.6 * u, 0.8 * v]])
    areas = np.array([p.area for p in planes])
    areas[tilt] -= 0.15 * u * v
    np.testing.assert_allclose(room.surface_area, [*areas, 0.15 * u * v], rtol=1e-9)

    # First order damping of the elements' modes by the slope alone; light, so first order holds.
    beta = 0.02
    mesh = sloped_mesh()
    basis, square, shapes = plane_modes(mesh)
    edge = mesh.facets_satisfying(lambda x: (x[0] > 2.0) & (x[1] > 1.56) & (x[0] < 4.29), True)
    line = mass.assemble(FacetBasis(mesh, ElementTriP2(), facets=edge))
    volume = mass.assemble(basis)
    share = [psi @ line @ psi / (psi @ volume @ psi) for psi in shapes.T[1:6]]
    walls = [RIGID] * (room.surface_count)
    walls[tilt] = walls[-1] = constant_admittance(beta)
    f, delta = oscillations(ring(room, walls, 110.0, 1.5), 90, 110.0)
    for k2, first_order in zip(square[1:6], 0.5 * C * beta * np.array(share), strict=True):
        near = np.argmin(np.abs(f - C * np.sqrt(k2) / (2 * np.pi)))
        assert delta[near] == pytest.approx(first_order, rel=0.05)


def test_open_door_joins_two_rooms_and_a_board_parts_them() -> None:
    # Plan: two rooms of 2 x 2 m and 1.5 x 2 m, a doorway 0.2 m deep and 0.8 m wide.
    plan = np.array(
        [[0, 0], [2, 0], [2, 0.6], [2.2, 0.6], [2.2, 0], [3.7, 0]]
        + [[3.7, 2], [2.2, 2], [2.2, 1.4], [2, 1.4], [2, 2], [0, 2]]
    ).astype(float)
    planes = prism(plan, 2, 0.0, 2.0)
    room = voxelise(planes, 0.1)
    assert room.volume == pytest.approx((4.0 + 3.0 + 0.16) * 2.0, rel=1e-6)
    shut = voxelise(planes, 0.1, boxes=[[[2.09, 0.0, 0.0], [2.11, 2.0, 2.0]]])
    at = [[0.5, 0.5, 0.5], [3.2, 1.4, 1.1]]
    heard, parted = (
        simulate(r, [RIGID] * r.surface_count, at[0], at[1], 0.1, 200.0).pressure
        for r in (room, shut)
    )
    assert np.abs(heard).max() > 1.0
    assert np.abs(parted).max() == 0.0


def test_gap_in_the_shell_is_refused() -> None:
    planes = prism(L_SHAPE, 2, 0.0, 2.5)
    with pytest.raises(ValueError, match="do not enclose"):
        voxelise(planes[:-1], 0.2)


# --- sources, air, cost ------------------------------------------------------------------------


def test_air_damps_each_mode_by_its_own_attenuation() -> None:
    room = voxelise_box([2.1, 1.1, 0.8], 0.1)
    at = np.array([[0.2, 0.2, 0.2]]), np.array([[1.8, 0.8, 0.6], [0.5, 0.9, 0.3]])
    table = (np.array([20.0, 400.0]), np.array([0.004, 0.024]))
    walls = [RIGID] * 6
    result = simulate(room, walls, *at, 1.0, 240.0, air=table)
    f, delta = oscillations(result, 30, 260.0)
    np.testing.assert_allclose(delta, 0.5 * C * np.interp(f, *table), rtol=0.01)
    still = simulate(room, walls, *at, 1.0, 240.0)
    flat = simulate(room, walls, *at, 1.0, 240.0, air=([20.0, 400.0], [0.01, 0.01])).pressure
    decay = np.exp(-0.005 * C * np.maximum(still.time_s, 0.0))
    np.testing.assert_allclose(flat, still.pressure * decay, atol=1e-6 * np.abs(flat).max())


@pytest.mark.parametrize("order", [2, 4])
def test_loudspeaker_roll_off_is_butterworth(order: int) -> None:
    room, f = furnished(), np.array([30.0, 45.0, 90.0, 200.0])
    at = np.array([[0.3, 0.3, 0.3]]), np.array([[1.2, 0.9, 0.9]])
    flat = simulate(room, FURNISHED_WALLS, *at, 1.0, 300.0)
    steep = simulate(room, FURNISHED_WALLS, *at, 1.0, 300.0, roll_off=[RollOff(45.0, order)])
    fall = -10.0 * np.log10(1.0 + (45.0 / f) ** (2 * order))
    np.testing.assert_allclose((steep.level_db(f) - flat.level_db(f))[0, 0], fall, atol=0.1)


def test_spacing_keeps_the_dispersion_asked_for() -> None:
    h = spacing_for(700.0)
    assert dispersion_error(700.0, h) == pytest.approx(-0.01, rel=1e-6)
    assert dispersion_error(350.0, h) == pytest.approx(-0.0025, rel=0.05)
    assert abs(dispersion_error(700.0, h, direction=[1, 1, 1])) < 2e-4
    assert spacing_for(350.0) == pytest.approx(2 * h, rel=1e-9)
    assert spacing_for(700.0, 0.1) == pytest.approx(343.0 / 700.0 / 4.0)  # coarse, yet four cells
    assert spacing_for(700.0, 0.1) == pytest.approx(343.0 / 700.0 / 4.0)  # coarse, yet four cells
    with pytest.raises(ValueError, match="too coarse"):
        simulate(voxelise_box([2.0, 2.0, 2.0], 0.2), [RIGID] * 6, [1, 1, 1], [1, 1.2, 1], 0.1, 540)


def test_time_step_above_the_limit_is_refused() -> None:
    with pytest.raises(ValueError, match="stability limit"):
        simulate(furnished(), [RIGID] * 10, [1, 1, 1], [0.5, 1, 1], 0.1, 300.0, courant=1.01)


def test_points_outside_the_air_and_wrong_walls_are_refused() -> None:
    room = furnished()
    with pytest.raises(ValueError, match="air of the room"):
        simulate(room, FURNISHED_WALLS, [1.5, 1.0, 0.2], [0.5, 1, 1], 0.1, 300.0)
    with pytest.raises(ValueError, match="admittance"):
        simulate(room, [RIGID], [0.3, 0.3, 0.3], [0.5, 1, 1], 0.1, 300.0)
    with pytest.raises(ValueError, match="not negative"):
        Admittance(np.array([-1.0]), np.array([1.0]), np.array([0.0]))
    with pytest.raises(ValueError, match="passive"):
        fit_admittance([100.0, 200.0], [-0.1, 0.1])


def test_large_room_is_refused_or_coarsened_with_a_message() -> None:
    assert affordable_frequency(40.0, 700.0) == (700.0, "")
    with pytest.raises(GridTooLargeError, match="750 m3 up to 700 Hz takes 7.7 million cells"):
        affordable_frequency(750.0, 700.0)
    reach, message = affordable_frequency(750.0, 700.0, coarsen=True)
    assert wave_cost(750.0, reach, 1.0).cells <= 4_000_000 < wave_cost(750.0, 1.01 * reach, 1).cells
    assert f"up to {reach:.0f} Hz instead" in message
    with pytest.raises(GridTooLargeError, match=r"grid of 7\.\d million"):
        voxelise_box([15.0, 10.0, 5.0], spacing_for(700.0))


def test_work_grows_with_the_fourth_power_of_frequency() -> None:
    one, two = wave_cost(40.0, 350.0, 1.0), wave_cost(40.0, 700.0, 1.0)
    assert two.memory_bytes / one.memory_bytes == pytest.approx(8.0, rel=1e-3)
    assert two.seconds / one.seconds == pytest.approx(16.0, rel=1e-3)


def test_forty_cubic_metres_to_700_hz_take_the_work_that_was_told(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Cells and steps are those of `wave_cost`, one run per speaker, for 0.05 s of sound.

    What they cost in seconds: evidence/wave_cost.py.
    """
    work: list[tuple[int, int]] = []

    def counted(grid: Any, walls: Any, state: Any, ports: Any, now: Any, before: Any, signal: Any,
                *rest: Any) -> Any:  # fmt: skip
        work.append((now.size, len(signal)))
        return advance(grid, walls, state, ports, now, before, signal, *rest)

    monkeypatch.setattr(wave_run, "advance", counted)
    room = voxelise_box([4.7, 3.4, 2.5], spacing_for(700.0), patches(PIECES))
    f = np.geomspace(40.0, 750.0, 30)
    porous = fit_admittance(f, face_admittance(POROUS[0], f, 0.0, True)[:, 0])
    walls = [constant_admittance(0.01)] * 6 + [porous] * len(PIECES)
    ears = np.array([2.9, 1.7, 1.2]) + np.array(
        [[0, 0, 0], [0.1, 0, 0], [0, 0.1, 0], [0, -0.1, 0], [1, 0, 0]]
    )
    speakers = [[0.7, 0.9, 1.2], [0.7, 2.5, 1.2]]
    result = simulate(room, walls, speakers, ears, 0.05, 700.0)
    assert result.pressure.shape[:2] == (2, 5)
    told = wave_cost(4.7 * 3.4 * 2.5, 700.0, 0.05 + result.lead_s)
    assert sum(steps for _, steps in work) == pytest.approx(2 * told.steps, rel=0.01)
    # The grid is that of the volume and one layer of walls around it.
    assert max(cells for cells, _ in work) == pytest.approx(told.cells, rel=0.15)
    assert wave_cost(40.0, 700.0, 1.0).seconds < 15.0
