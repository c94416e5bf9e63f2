"""Coupled modes against a finite-element solution, exact cases and identities.

The finite-element reference is scikit-fem (Gustafsson and McBain, JOSS 5 (2020) 2369), a
general-purpose library: quadratic hexahedra aligned with the patch edges, the quadratic eigenvalue
problem made linear and solved by shift-invert Arnoldi.
"""

from functools import cache, lru_cache

import numpy as np
import pytest
import skfem
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.linalg import lu_factor
from scipy.optimize import linear_sum_assignment
from scipy.sparse import csc_matrix
from scipy.sparse.linalg import LinearOperator, eigs, splu
from skfem.models.poisson import laplace, mass

from optimizer.acoustics import coupled, coupled_build
from optimizer.acoustics.coupled import CoupledModes, coupled_modes, log_frequencies, response
from optimizer.acoustics.coupled_build import CoupledBox, Detail, couple_box
from optimizer.acoustics.coupled_objects import LossyObjects
from optimizer.acoustics.evenness import pressure_level, response_evenness, seat_difference
from optimizer.acoustics.few_of_many import few_of_many
from optimizer.acoustics.modes import (
    IN_PLANE,
    Patches,
    box_modes,
    damping_first_order,
    object_damping,
)

ROOM = np.array([4.6, 3.4, 2.5])
STRIP = 0.6
C = 343.0


def whole_walls(size=ROOM, walls=((0, 0), (0, 1), (1, 0), (1, 1), (2, 0), (2, 1))):
    """One patch per named wall, covering it."""
    rect = [[0.0, 0.0, *np.asarray(size)[list(IN_PLANE[axis])]] for axis, _ in walls]
    return Patches(np.array([a for a, _ in walls]), np.array([s for _, s in walls]), np.array(rect))


def corner_strips():
    """Four vertical corners, both walls of each treated over STRIP, floor to ceiling."""
    rows = []
    for axis, width in ((0, ROOM[1]), (1, ROOM[0])):
        for side in (0, 1):
            rows += [(axis, side, 0.0, STRIP), (axis, side, width - STRIP, width)]
    rect = np.array([[lo, 0.0, hi, ROOM[2]] for _, _, lo, hi in rows])
    return Patches(np.array([r[0] for r in rows]), np.array([r[1] for r in rows]), rect)


LAYOUTS = {
    "bare": whole_walls(),
    "four corners": corner_strips(),
    "one wall": whole_walls(walls=((0, 1),)),
}


def flat(
    patches: Patches, beta: complex, f_max: float = 180.0, detail: Detail = coupled_build.FINE
) -> CoupledBox:
    """Coupled room with one admittance on every patch at every frequency."""
    every = np.full((len(patches), 1), beta)
    return couple_box(ROOM, patches, [100.0], every, f_max, detail=detail)


# --- finite-element reference -----------------------------------------------------------------


def graded_nodes(length: float, outer: int, middle: int) -> np.ndarray:
    """Nodes that close up towards the strip edges, where the field is least smooth."""
    ends = STRIP * (1.0 - (1.0 - np.linspace(0.0, 1.0, outer + 1)) ** 2)
    inner = np.sin(np.linspace(-0.5, 0.5, middle + 1) * np.pi) * (length / 2.0 - STRIP)
    return np.concatenate([ends[:-1], length / 2.0 + inner, length - ends[-2::-1]])


def axis_nodes(length: float, cells: int) -> np.ndarray:
    """Nodes with the strip edges among them."""
    outer = max(1, round(cells * STRIP / length))
    ends = np.linspace(0.0, STRIP, outer + 1)
    middle = np.linspace(STRIP, length - STRIP, max(2, cells - 2 * outer) + 1)
    return np.concatenate([ends[:-1], middle, length - ends[-2::-1]])


@cache
def elements(cells: tuple[int, int, int]):
    """Basis, stiffness and mass of the room on an even mesh."""
    return assembled(*(axis_nodes(ROOM[a], cells[a]) for a in (0, 1)), cells[2])


def assembled(x: np.ndarray, y: np.ndarray, cells_z: int):
    """Basis, stiffness and mass for the nodes along each axis."""
    mesh = skfem.MeshHex.init_tensor(x, y, np.linspace(0.0, ROOM[2], cells_z + 1))
    basis = skfem.Basis(mesh, skfem.ElementHex2())
    return basis, laplace.assemble(basis), mass.assemble(basis)


def factor(matrix):
    """Sparse LU ordered for a symmetric pattern."""
    return splu(csc_matrix(matrix), permc_spec="MMD_AT_PLUS_A", options={"SymmetricMode": True})


def boundary_mass(basis, patches: Patches):
    """Mass matrix over the patches."""

    def covered(x):
        found = np.zeros(x.shape[1], dtype=bool)
        for axis, side, rect in zip(patches.axis, patches.side, patches.rect, strict=True):
            i, j = IN_PLANE[axis]
            inside = (x[i] > rect[0]) & (x[i] < rect[2]) & (x[j] > rect[1]) & (x[j] < rect[3])
            found |= inside & (np.abs(x[axis] - side * ROOM[axis]) < 1e-9)
        return found

    facets = basis.mesh.facets_satisfying(covered, boundaries_only=True)
    return mass.assemble(skfem.FacetBasis(basis.mesh, basis.elem, facets=facets))


def reference_modes(cells, patches: Patches, beta: complex, count: int = 20) -> np.ndarray:
    """First complex wavenumbers of (K + j k beta C - k^2 M) p = 0, in order of real part."""
    basis, K, M = elements(cells)
    BC = beta * boundary_mass(basis, patches)
    n, shift = K.shape[0], 1.6
    lu = factor(K + 1j * shift * BC - shift**2 * M)

    def shift_invert(z):
        """(A - shift B)^-1 B z for A = [[0, I], [K, j BC]], B = diag(I, M), z = (p, k p)."""
        b1, b2 = z[:n], M @ z[n:]
        p = lu.solve(b2 - 1j * (BC @ b1) + shift * (M @ b1))
        return np.concatenate([p, b1 + shift * p])

    operator = LinearOperator((2 * n, 2 * n), matvec=shift_invert, dtype=complex)
    start = np.ones(2 * n, dtype=complex) + 1j * np.arange(2 * n) / n
    values = eigs(operator, k=count + 18, v0=start, return_eigenvectors=False)
    k = shift + 1.0 / values
    k = k[np.argsort(k.real)]
    first = k[k.real > 0.3][:count]
    # All modes out to this distance from the shift were found, so none below is missing.
    assert np.max(np.abs(first - shift)) < np.max(np.abs(k - shift))
    return first


def pairwise_errors(found: CoupledModes, reference: np.ndarray) -> tuple[float, float]:
    """Largest relative error in frequency and in decay, modes paired by nearest wavenumber."""
    k = (2.0 * np.pi * found.f_hz + 1j * found.delta) / C
    own, other = linear_sum_assignment(np.abs(k[:, None] - reference[None, :]))
    assert len(other) == len(reference)
    ratio_f = k[own].real / reference[other].real
    ratio_d = k[own].imag / reference[other].imag
    return float(np.max(np.abs(ratio_f - 1.0))), float(np.max(np.abs(ratio_d - 1.0)))


COARSE, FINE = (6, 6, 3), (10, 8, 5)
CASES = [
    ("bare", 0.02),
    ("bare", 0.02 + 0.04j),
    ("four corners", 0.3),
    ("four corners", 0.2 + 0.2j),
    ("one wall", 0.2),
    ("one wall", 0.15 - 0.15j),
]


@pytest.mark.parametrize(("layout", "beta"), CASES)
def test_twenty_modes_agree_with_finite_elements(layout, beta):
    """Frequency within 1 %, decay within 5 %: bare, four corners, one wall; real and complex."""
    reference = reference_modes(FINE, LAYOUTS[layout], beta)
    error_f, error_decay = pairwise_errors(
        coupled_modes(flat(LAYOUTS[layout], beta), 150.0), reference
    )
    assert error_f < 0.01
    assert error_decay < 0.05


def test_finite_element_reference_converges():
    """Rigid box: error of the k of the first modes falls as h^4 (quadratic elements, Strang and
    Fix); treated box: the change from middle to fine mesh is well below that from coarse to middle.
    """
    exact = 2.0 * np.pi * box_modes(ROOM, 150.0).f_hz[:10] / C
    meshes = [(4, 4, 2), (8, 8, 4)]
    rigid = [reference_modes(m, whole_walls(), 0.0, 10) for m in meshes]
    errors = [np.max(np.abs(k.real / exact - 1.0)) for k in rigid]
    assert errors[1] < 2e-3
    assert errors[0] / errors[1] > 8.0
    treated = [reference_modes(m, corner_strips(), 0.2, 10) for m in (COARSE, (8, 8, 4), FINE)]
    steps = [np.max(np.abs(b - a)) for a, b in zip(treated, treated[1:], strict=False)]
    assert steps[1] < 0.5 * steps[0]
    assert steps[1] < 0.01 * np.min(treated[-1].real)


def test_response_agrees_with_finite_elements():
    """Point source to two seats at three frequencies, four corners treated, within 0.3 dB."""
    patches, beta = corner_strips(), 0.3 + 0.1j
    source = np.array([0.9, 1.0, 1.1])
    seats = np.array([[2.9, 1.7, 1.2], [3.8, 2.5, 0.9]])
    f = np.array([31.0, 84.0, 118.0])
    found = response(flat(patches, beta), f, source, seats)[0].T
    gaps = []
    for outer, middle, cells_z in ((1, 5, 4), (2, 8, 6)):
        basis, K, M = assembled(*(graded_nodes(ROOM[a], outer, middle) for a in (0, 1)), cells_z)
        BC = beta * boundary_mass(basis, patches)
        load, probe = basis.point_source(source).astype(complex), basis.probes(seats.T)
        k = 2.0 * np.pi * f / C
        p = [probe @ factor(K + 1j * q * BC - q**2 * M).solve(load) for q in k]
        gaps.append(np.max(np.abs(found / (4.0 * np.pi * np.array(p)) - 1.0)))
    assert gaps[1] < 0.035  # 0.3 dB
    assert gaps[1] < 0.6 * gaps[0]  # the reference closes in as its mesh is refined


# --- exact cases ------------------------------------------------------------------------------


def test_one_dimensional_damping_is_exact():
    """delta = -(c/L) ln((1-b)/(1+b)) = 1.37205 1/s for L = 5 m, b = 0.01 at both ends (plane waves
    between two impedances, derived); first order 1.37200.
    """
    size = (5.0, 0.6, 0.6)
    ends = whole_walls(size, ((0, 0), (0, 1)))
    found = coupled_modes(couple_box(size, ends, [100.0], np.full((2, 1), 0.01), 180.0), 150.0)
    exact = -(C / 5.0) * np.log(0.99 / 1.01)
    assert f"{exact:.5f}" == "1.37205"
    np.testing.assert_array_equal(found.n[:, 0], [1, 2, 3, 4])
    np.testing.assert_allclose(found.delta, exact, rtol=2e-7)
    np.testing.assert_allclose(found.f_hz, C / 10.0 * np.arange(1, 5), rtol=1e-7)
    first, _ = damping_first_order(box_modes(size, 150.0), ends, [0.01, 0.01])
    assert {f"{d:.5f}" for d in first} == {"1.37200"}


def exact_between_walls(k_start: complex, kt: float, order: int, L: float, beta_of) -> complex:
    """Newton on q tan(qL/2) = j k beta (even) or -q cot(qL/2) = j k beta (odd), k^2 = q^2 + kt^2.

    The two walls normal to x carry beta, the others are rigid: the wave equation separates.
    """

    def residual(k: complex) -> complex:
        q = np.sqrt(k * k - kt * kt + 0j)
        angle = q * L / 2.0
        left = q * np.tan(angle) if order % 2 == 0 else -q / np.tan(angle)
        return complex(left - 1j * k * beta_of(k.real * C / (2.0 * np.pi)))

    k = k_start
    for _ in range(50):
        h = 1e-6 * abs(k)
        step = residual(k) / ((residual(k + h) - residual(k - h)) / (2.0 * h))
        k -= step
        if abs(step) < 1e-12:
            return k
    raise AssertionError("the exact equation has no root nearby")


@pytest.mark.parametrize("strength", [0.05, 0.3, 0.15 + 0.2j])
def test_two_absorbing_walls_are_exact(strength):
    """All modes to 150 Hz with an admittance that varies with frequency, from the separated
    equation (derived above): both parts of k within 1e-4.
    """
    f = np.linspace(10.0, 200.0, 96)
    spectrum = strength * (f / 100.0) ** 0.5
    walls = whole_walls(walls=((0, 0), (0, 1)))
    found = coupled_modes(couple_box(ROOM, walls, f, np.array([spectrum, spectrum]), 180.0), 150.0)

    def beta_of(hz: float) -> complex:
        return complex(np.interp(hz, f, spectrum.real) + 1j * np.interp(hz, f, np.imag(spectrum)))

    k = (2.0 * np.pi * found.f_hz + 1j * found.delta) / C
    kt = np.pi * np.hypot(found.n[:, 1] / ROOM[1], found.n[:, 2] / ROOM[2])
    exact = np.array(
        [
            exact_between_walls(a, float(b), int(n), float(ROOM[0]), beta_of)
            for a, b, n in zip(k, kt, found.n[:, 0], strict=True)
        ]
    )
    assert len(k) >= 20
    np.testing.assert_allclose(k.real, exact.real, rtol=1e-4)
    np.testing.assert_allclose(k.imag, exact.imag, rtol=1e-3)


def test_tends_to_first_order_for_small_admittance():
    """One wall treated: the relative gap in decay falls with the square of the admittance."""
    wall, modes = LAYOUTS["one wall"], box_modes(ROOM, 100.0)
    gaps = []
    for beta in (0.02, 0.04):
        found = coupled_modes(flat(wall, beta), 99.0)
        first, _ = damping_first_order(modes, wall, [beta])
        rank = [next(i for i, n in enumerate(modes.n) if (n == m).all()) for m in found.n]
        gaps.append(np.abs(found.delta / first[rank] - 1.0))
    assert np.max(gaps[0]) < 0.005
    np.testing.assert_allclose(gaps[1] / gaps[0], 4.0, rtol=0.2)


def test_near_the_source_the_field_is_the_free_field():
    """At 4 cm the direct sound, 25 times that at 1 m (1/r), outweighs the damped room's."""
    found = response(flat(whole_walls(), 0.3), [90.0, 150.0], [2.0, 1.5, 1.2], [2.0, 1.54, 1.2])
    np.testing.assert_allclose(np.abs(found[0, 0]), 25.0, rtol=0.06)


def test_equal_modes_of_a_cube_are_all_found():
    """A cube with equal walls has threefold modes; each appears as often as in the rigid cube."""
    size = (3.0, 3.0, 3.0)
    cube = couple_box(size, whole_walls(size), [100.0], np.full((6, 1), 0.05 + 0.02j), 150.0)
    found = coupled_modes(cube, 115.0)
    assert [int(np.count_nonzero(n)) for n in found.n] == [1] * 3 + [2] * 3 + [3] + [1] * 3
    for group in (slice(0, 3), slice(3, 6), slice(7, 10)):
        np.testing.assert_allclose(found.delta[group], found.delta[group].mean(), rtol=1e-5)


def test_resonant_absorbers_lose_no_mode():
    """Twelve patches tuned sharply inside the band: every mode is found once and solves the
    equations (smallest singular value of the system at its own complex frequency).
    """
    rng, f = np.random.default_rng(7), log_frequencies(20.0, 180.0, 24)
    axis = rng.integers(0, 3, 12)
    span = np.array([ROOM[list(IN_PLANE[a])] for a in axis])
    low = rng.uniform(0.0, 1.0, (12, 2)) * (span - 0.9)
    patches = Patches(axis, rng.integers(0, 2, 12), np.hstack([low, low + 0.9]))
    tuned = rng.uniform(40.0, 140.0, 12)[:, None]
    box = couple_box(ROOM, patches, f, 0.5 / (1.0 + 2j * (f / tuned - tuned / f)), 180.0)
    found = coupled_modes(box, 140.0)
    k = (2.0 * np.pi * found.f_hz + 1j * found.delta) / C
    assert np.min(np.abs(k[:, None] - k) + np.eye(len(k))) > 1e-4
    assert len({tuple(n) for n in found.n}) == len(found.n)
    for value, wall in zip(k, box.wall_matrices(found.f_hz), strict=True):
        system = np.diag(box.k2 - value**2) + 1j * value * wall
        assert np.linalg.svd(system, compute_uv=False)[-1] < 1e-11 * abs(value) ** 2


def test_modes_keep_their_names_however_finely_they_are_followed(monkeypatch):
    """Two dozen strong absorbers, some tuned inside the band: followed in a third of the step each
    mode has the same rigid one to come from, the same frequency and the same damping. (In three
    times the step two of them change places.)
    """
    rng, f = np.random.default_rng(1), log_frequencies(20.0, 130.0, 24)
    axis = rng.integers(0, 3, 24)
    span = np.array([ROOM[list(IN_PLANE[a])] for a in axis])
    low = rng.uniform(0.0, 1.0, (24, 2)) * (span - 0.9)
    patches = Patches(axis, rng.integers(0, 2, 24), np.hstack([low, low + 0.9]))
    tuned = rng.uniform(40.0, 100.0, 24)[:, None]
    box = couple_box(ROOM, patches, f, 1.0 / (1.0 + 1j * (f / tuned - tuned / f)), 130.0)
    usual = coupled_modes(box, 100.0)
    monkeypatch.setattr("optimizer.acoustics.coupled.TRACK_STEP_HZ", 8.0)
    finer = coupled_modes(box, 100.0)
    np.testing.assert_array_equal(usual.n, finer.n)
    np.testing.assert_allclose(usual.f_hz, finer.f_hz, rtol=1e-8)
    np.testing.assert_allclose(usual.delta, finer.delta, rtol=1e-6)


# --- identities -------------------------------------------------------------------------------


inside = st.tuples(*(st.floats(0.02, 0.98) for _ in range(3))).map(lambda u: np.array(u) * ROOM)


@settings(max_examples=15)
@given(a=inside, b=inside)
def test_reciprocity(a, b):
    """Swapping source and receiver changes nothing (Rayleigh)."""
    if np.linalg.norm(a - b) < 0.05:
        return
    box = uneven_box()
    f = [30.0, 63.0, 115.0]
    np.testing.assert_allclose(response(box, f, a, b), response(box, f, b, a), rtol=1e-9)


@lru_cache(maxsize=1)
def uneven_box() -> CoupledBox:
    """Three patches with different complex spectra, one of them on the left wall only."""
    f = np.array([20.0, 60.0, 150.0])
    patches = Patches(
        np.array([0, 1, 2]),
        np.array([1, 0, 1]),
        np.array([[0.2, 0.1, 1.4, 2.0], [0.0, 0.0, 0.9, 2.5], [1.0, 0.8, 2.7, 2.9]]),
    )
    beta = np.array([[0.05, 0.2 + 0.1j, 0.3], [0.3, 0.1, 0.2 - 0.1j], [0.1j, 0.2, 0.4 + 0.2j]])
    return couple_box(ROOM, patches, f, beta, 120.0)


def mirrored(points: np.ndarray) -> np.ndarray:
    return points * [1.0, -1.0, 1.0] + [0.0, ROOM[1], 0.0]


@settings(max_examples=10)
@given(a=inside, b=inside)
def test_left_right_mirror_image(a, b):
    """A room equal to its mirror image answers alike left and right."""
    if np.linalg.norm(a - b) < 0.05:
        return
    box = corner_box()
    p, q = (response(box, [45.0, 110.0], *pair) for pair in ((a, b), (mirrored(a), mirrored(b))))
    np.testing.assert_allclose(p, q, rtol=1e-6)


@lru_cache(maxsize=1)
def corner_box() -> CoupledBox:
    return flat(corner_strips(), 0.2 + 0.1j, 120.0)


def test_cutting_a_patch_changes_nothing():
    whole = Patches(np.array([1]), np.array([0]), np.array([[0.4, 0.2, 2.0, 1.7]]))
    parts = Patches(
        np.array([1, 1]), np.array([0, 0]), np.array([[0.4, 0.2, 1.1, 1.7], [1.1, 0.2, 2.0, 1.7]])
    )
    f, pair = [40.0, 95.0], ([0.9, 1.0, 1.1], [2.9, 1.7, 1.2])
    np.testing.assert_allclose(
        response(flat(whole, 0.3), f, *pair), response(flat(parts, 0.3), f, *pair), rtol=1e-8
    )


def test_rigid_room_is_lossless_and_keeps_its_modes():
    none = Patches(np.empty(0), np.empty(0), np.empty((0, 4)))
    box = couple_box(ROOM, none, [100.0], np.empty((0, 1)), 120.0)
    assert np.max(np.abs(response(box, [33.0, 90.0], [1, 1, 1], [3, 2, 1.5]).imag)) == 0.0
    found, modes = coupled_modes(box, 100.0), box_modes(ROOM, 100.0)
    np.testing.assert_allclose(found.f_hz, modes.f_hz, rtol=1e-12)
    assert np.max(np.abs(found.delta)) < 1e-9


def test_direct_sound_does_not_depend_on_where_the_mode_sum_stops():
    """Rigid room: modes up to 180, 600 and 1200 Hz, each sum completed by image sources to second
    order. What is left out falls faster than (180/600)^4, below a hundredth.
    """
    none = Patches(np.empty(0), np.empty(0), np.empty((0, 4)))
    f, pair = [25.0, 45.0, 59.0], ([0.9, 1.0, 1.1], [1.3, 1.2, 1.0])
    found = []
    for stop in (180.0, 600.0, 1200.0):
        detail = coupled_build.FINE._replace(least_hz=stop)
        box = couple_box(ROOM, none, [100.0], np.empty((0, 1)), 60.0, detail=detail)
        found.append(response(box, f, *pair))
    gaps = [np.max(np.abs(p / found[2] - 1.0)) for p in found[:2]]
    assert gaps[0] < 0.005
    assert gaps[1] < 0.01 * gaps[0]


def test_air_adds_half_its_energy_attenuation():
    """delta + c m/2: a plane wave loses exp(-m x) of its energy (ISO 9613-1)."""
    wall = LAYOUTS["one wall"]
    damped = couple_box(ROOM, wall, [100.0], np.full((1, 1), 0.05), 120.0, air=2e-3)
    still = coupled_modes(flat(wall, 0.05, 120.0), 100.0)
    np.testing.assert_allclose(coupled_modes(damped, 100.0).delta - still.delta, C * 1e-3)


def test_lossy_object_damps_as_first_order_says():
    """2 m2 of absorption area in a sofa-sized space, bare modes: gap of second order only."""
    none = Patches(np.empty(0), np.empty(0), np.empty((0, 4)))
    sofa = np.array([[3.2, 0.6, 0.0, 4.2, 2.8, 0.8]])
    gaps = []
    for area in (0.1, 0.2):
        objects = LossyObjects(sofa, np.array([[area]]))
        box = couple_box(ROOM, none, [100.0], np.empty((0, 1)), 120.0, objects)
        expected = object_damping(box_modes(ROOM, 88.0), sofa)[:, 0] * area
        gaps.append(np.max(np.abs(coupled_modes(box, 88.0).delta / expected - 1.0)))
    assert gaps[0] < 0.01
    assert gaps[0] < 0.5 * gaps[1]


def test_response_has_converged(monkeypatch):
    """With twice as many high modes and more low ones the response moves less than 0.3 dB."""
    f, pair = log_frequencies(20.0, 180.0, 8), ([0.9, 1.0, 1.1], [2.9, 1.7, 1.2])
    usual = pressure_level(response(flat(corner_strips(), 0.3), f, *pair))
    monkeypatch.setattr("optimizer.acoustics.coupled_build.LOW_MARGIN_HZ", 160.0)
    finer = coupled_build.FINE._replace(factor=6.0)
    monkeypatch.setattr("optimizer.acoustics.coupled_high.COMBINED_TOL", 0.003)
    more = pressure_level(response(flat(corner_strips(), 0.3, detail=finer), f, *pair))
    assert np.max(np.abs(more - usual)) < 0.3


def test_coarse_modes_tell_what_a_strip_more_changes():
    """The decay of a mode moves by another strip in a corner as it does in detail: to a sixth of
    the change, and modes themselves to 5 %."""
    strips = corner_strips()
    fewer = Patches(strips.axis[:-1], strips.side[:-1], strips.rect[:-1])
    details = coupled_build.FINE, coupled_build.COARSE
    delta = {
        detail: [coupled_modes(flat(p, 0.2, 120.0, detail), 90.0).delta for p in (strips, fewer)]
        for detail in details
    }
    fine, coarse = (np.log(np.array(delta[detail])) for detail in details)
    change, told = fine[1] - fine[0], coarse[1] - coarse[0]
    assert np.max(np.abs(coarse - fine)) < 0.05
    assert np.sqrt(np.mean(change**2)) > 0.05
    assert np.sqrt(np.mean((told - change) ** 2)) < np.sqrt(np.mean(change**2)) / 6.0


def test_response_takes_one_small_factorisation_per_frequency(monkeypatch):
    """20-300 Hz at 1/24 octave, 46 patches of six spectra, two speakers and two seats.

    What it costs: benchmarks/judging.py.
    """
    rng, f = np.random.default_rng(4), log_frequencies()
    axis = np.concatenate([[0, 0, 1, 1, 2, 2], rng.integers(0, 3, 40)])
    side = np.concatenate([[0, 1] * 3, rng.integers(0, 2, 40)])
    span = np.array([ROOM[list(IN_PLANE[a])] for a in axis])
    low = rng.uniform(0.0, 1.0, (46, 2)) * (span - 0.6)
    low[:6] = 0.0
    high = np.where(np.arange(46)[:, None] < 6, span, low + 0.6)
    kinds = [0.01 + 0.1 * i / (1.0 + 1j * (f / (50.0 + 30.0 * i) - 1.0)) for i in range(6)]
    patches = Patches(axis, side, np.hstack([low, high]))
    box = couple_box(ROOM, patches, f, np.array([kinds[i % 6] for i in range(46)]))
    # Two real spectra from each complex one but the first, which is constant; never one per patch.
    assert len(box.coef) <= 2 * 6 - 1
    assert len(box.k2) < 0.2 * len(box_modes(ROOM, 900.0).n)
    sizes = []

    def counted(matrix, **how):
        assert matrix.dtype == np.complex64
        sizes.append(len(matrix))
        return lu_factor(matrix, **how)

    def never(*given):
        raise AssertionError("a frequency was solved again in double precision")

    monkeypatch.setattr(coupled, "lu_factor", counted)
    monkeypatch.setattr(np.linalg, "solve", never)
    p = response(box, f, [[0.9, 1.0, 1.1], [0.9, 2.4, 1.1]], [[2.9, 1.7, 1.2], [4.0, 1.7, 1.0]])
    assert p.shape == (2, 2, 94)
    assert np.all(np.isfinite(p))
    assert sizes == [len(box.k2)] * len(f)


# --- figures of merit -------------------------------------------------------------------------


def test_evenness_of_known_curves():
    f = log_frequencies(20.0, 300.0, 24)
    assert response_evenness(np.full(len(f), 71.0), f).sd_db == pytest.approx(0.0, abs=1e-9)
    notched = np.zeros(len(f))
    notched[40] = -30.0
    found = response_evenness(notched, f)
    # 24 of the 25 points in the window are at full energy, one nearly at none.
    expected = -30.0 - 10.0 * np.log10((24.0 + 1e-3) / 25.0)
    assert found.dip_db == pytest.approx(expected, rel=1e-9)
    assert found.dip_hz == pytest.approx(f[40])
    louder = response_evenness(notched + 12.0, f)
    assert (louder.sd_db, louder.dip_db) == pytest.approx((found.sd_db, found.dip_db))
    ripple = 3.0 * np.sin(2.0 * np.pi * np.log2(f / 20.0) * 6.0)
    assert response_evenness(ripple, f).sd_db == pytest.approx(3.0 / np.sqrt(2.0), rel=0.05)


def test_seat_difference_per_third():
    f = log_frequencies(20.0, 200.0, 24)
    level = 5.0 * np.cos(f / 9.0)
    bands, gap = seat_difference(level + 4.0, level, f)
    np.testing.assert_allclose(gap, 4.0, rtol=1e-9)
    np.testing.assert_allclose(bands, 1000.0 * 10.0 ** (np.arange(-17, -6) / 10.0))


def test_refusals():
    box = uneven_box()
    with pytest.raises(ValueError, match="frequencies must lie in"):
        response(box, [130.0], [1, 1, 1], [2, 2, 2])
    with pytest.raises(ValueError, match="closer than 1 cm"):
        response(box, [50.0], [1, 1, 1], [1, 1, 1.005])
    with pytest.raises(ValueError, match="outside the room"):
        response(box, [50.0], [1, 1, 9], [1, 1, 1.5])
    with pytest.raises(ValueError, match="f_max must lie in"):
        coupled_modes(box, 121.0)
    with pytest.raises(ValueError, match="one row per patch"):
        couple_box(ROOM, corner_strips(), [100.0], np.full((3, 1), 0.1))
    with pytest.raises(ValueError, match="patches: outside"):
        couple_box((3.0, 3.0, 2.0), corner_strips(), [100.0], np.full((8, 1), 0.1))
    with pytest.raises(ValueError, match="at least 12"):
        response_evenness(np.zeros(4), [20.0, 30.0, 40.0, 50.0])


def test_few_spectra_hold_weak_parts_as_well_as_strong_ones():
    """A loss a millionth of the reactance beside it, and low frequencies far below high ones."""
    rng, f = np.random.default_rng(3), np.geomspace(20.0, 300.0, 40)
    kinds = np.array([1e-6 * f**2 / 300.0**2 + 1j * f / 300.0, 1e-6 * (f / 300.0) ** 3 + 0.5j])
    many = rng.uniform(0.1, 1.0, (30, 2)) @ kinds
    weights, few = few_of_many(many, 1e-6)
    assert len(few) <= 4
    np.testing.assert_allclose((weights @ few).real, many.real, rtol=1e-4)
    np.testing.assert_allclose((weights @ few).imag, many.imag, rtol=1e-4)
    assert len(few_of_many(many, 0.9)[1]) < len(few)
