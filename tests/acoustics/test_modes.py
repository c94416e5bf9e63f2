"""Rigid-wall modes and first-order damping against printed figures, limits and identities."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad

from optimizer.acoustics import modes as modes_module
from optimizer.acoustics.modes import (
    IN_PLANE,
    LOG_60DB,
    Patches,
    band_decay_from_modes,
    beta_at,
    box_modes,
    damping_first_order,
    decay_time,
    mode_count_asymptotic,
    mode_drive,
    mode_limit,
    mode_shape,
    mode_weights,
    object_damping,
    octave_edges,
    patch_damping,
)

C_FEET = 1130.0  # ft/s, the figure both handbooks use
ROOM = np.array([5.0, 4.0, 3.0])


def whole_walls(size=ROOM):
    rect = np.array([[0.0, 0.0, *np.asarray(size)[list(plane)]] for plane in IN_PLANE])
    return Patches(np.array([0, 0, 1, 1, 2, 2]), np.array([0, 1] * 3), np.repeat(rect, 2, axis=0))


def frequency_of(modes, *orders):
    return float(modes.f_hz[(modes.n == orders).all(axis=1)][0])


# --- frequencies ------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("orders", "printed"),
    [
        ((1, 0, 0), 35.31),
        ((2, 0, 0), 70.63),
        ((3, 0, 0), 105.94),
        ((0, 1, 0), 47.08),
        ((0, 2, 0), 94.17),
        ((0, 3, 0), 141.25),
        ((0, 0, 1), 70.63),
        ((0, 0, 2), 141.25),
    ],
)
def test_handbook_table_of_axial_modes(orders, printed):
    """Handbook for Sound Engineers, ch. 6, Table 6-4: room 16 x 12 x 8 ft, 1130 ft/s."""
    modes = box_modes((16.0, 12.0, 8.0), 150.0, C_FEET)
    assert frequency_of(modes, *orders) == pytest.approx(printed, abs=0.0051)


def test_handbook_coincidences():
    """Same table: axial modes that fall together at 70, 141, 211 and 282 Hz."""
    modes = box_modes((16.0, 12.0, 8.0), 300.0, C_FEET)
    axial = modes.f_hz[modes.kind == 1]
    for printed in (70.0, 141.0, 211.0, 282.0):
        assert np.count_nonzero(np.abs(axial - printed) < 1.0) >= 2


def test_modes_of_five_by_four_by_three():
    """5 x 4 x 3 m, c = 343 m/s: f = (c/2) sqrt(sum (n/L)^2) (Rayleigh), worked by hand."""
    expected = "34.30 42.88 54.91 57.17 66.67 68.60 71.46 79.26 80.90 85.75 89.30 92.36 99.06"
    modes = box_modes(ROOM, 100.0)
    assert [f"{f:.2f}" for f in modes.f_hz[:5]] == expected.split()[:5]
    np.testing.assert_allclose(np.unique(np.round(modes.f_hz, 4)), np.unique(modes.f_hz.round(4)))
    listed = np.array([float(x) for x in expected.split()])
    assert np.max(np.min(np.abs(listed[:, None] - modes.f_hz), axis=1)) <= 0.0051
    assert np.max(np.min(np.abs(modes.f_hz[:, None] - listed), axis=1)) <= 0.0051


def test_contents_of_the_63_hz_octave():
    """Everest, Master Handbook of Acoustics, 4th ed., p. 166: 20.5 x 15 x 9.5 ft: 4 axial, 6
    tangential, 2 oblique in the 63 Hz octave. The second oblique mode lies between the strict
    edge at 89.1 and the wide one at 89.5 Hz, so the strict octave holds 4, 6, 1.
    """
    modes = box_modes((20.5, 15.0, 9.5), 120.0, C_FEET)

    def kinds(low, high):
        own = modes.kind[(modes.f_hz >= low) & (modes.f_hz < high)]
        return [int(np.count_nonzero(own == kind)) for kind in (1, 2, 3)]

    assert kinds(44.5, 89.5) == [4, 6, 2]
    assert kinds(*octave_edges(63.0)) == [4, 6, 1]


def test_octave_edges():
    """IEC 61260-1: octave 63 Hz runs from 44.7 to 89.1 Hz, 1 kHz from 708 to 1413 Hz."""
    assert octave_edges(63.0) == pytest.approx((44.67, 89.13), abs=0.005)
    assert octave_edges(1000.0) == pytest.approx((707.9, 1412.5), abs=0.05)


def test_brick_control_room():
    """Fazenda, PhD Salford: untreated brick control room 3.98 x 4.95 x 2.7 m, modes heard at 34,
    42, 54, 74, 90 Hz: each has a mode of the box within 4 %. (Higher up they lie too dense.)
    """
    modes = box_modes((3.98, 4.95, 2.7), 110.0)
    for heard in (34.0, 42.0, 54.0, 74.0, 90.0):
        assert np.min(np.abs(modes.f_hz / heard - 1.0)) < 0.04
    # The three lowest are one to one, so a wrong dimension would show.
    np.testing.assert_allclose(modes.f_hz[:3], [34.0, 42.0, 54.0], rtol=0.04)


@pytest.mark.parametrize("dimensions", [(5.1, 3.9, 2.6), (4.6, 3.4, 2.5), (6.3, 4.1, 2.7)])
def test_asymptotic_count(dimensions):
    """Averaged over frequency the true count, (0,0,0) included, exceeds the smooth one by 1/8, the
    constant the formula leaves out (product of three N = L k/pi + 1/2 lattices).

    A Hann window over 50 to 899 Hz: the count swings by several modes with periods of c/2L (66 Hz
    for the shortest edge) and less, which a plain mean of as many modes does not take away.
    """
    modes = box_modes(dimensions, 900.0)
    f = np.linspace(50.0, 899.0, 20001)
    true = 1.0 + np.searchsorted(modes.f_hz, f)
    gap = true - mode_count_asymptotic(modes.dimensions, f)
    window = np.hanning(len(f))
    assert window @ gap / window.sum() == pytest.approx(0.125, rel=0.02)
    assert np.max(np.abs(gap) / true, where=f > 300.0, initial=0.0) < 0.05


# --- damping ----------------------------------------------------------------------------------


def test_one_dimensional_first_order():
    """L = 5 m, beta = 0.01 at both ends: delta = 2 c beta / L (derived) = 1.37200 1/s."""
    modes = box_modes((5.0, 0.5, 0.5), 150.0)
    delta, shift = damping_first_order(modes, whole_walls(modes.dimensions), [0.01, 0.01, *[0] * 4])
    assert {f"{d:.5f}" for d in delta} == {"1.37200"}
    np.testing.assert_allclose(shift, 0.0)


def test_uniform_walls_by_the_closed_form():
    """(c/2) sum e_i (b_i0 + b_iL) / L_i, e = 1 for order zero, else 2 (Kuttruff, ch. 3)."""
    modes, beta = box_modes(ROOM, 200.0), np.array([0.01, 0.03, 0.02, 0.05, 0.04, 0.08])
    delta, _ = damping_first_order(modes, whole_walls(), beta)
    e = np.where(modes.n == 0, 1.0, 2.0)
    expected = 0.5 * modes.c * (e @ (beta.reshape(3, 2).sum(axis=1) / ROOM))
    np.testing.assert_allclose(delta, expected, rtol=1e-12)


def test_oblique_limit_is_sabine_with_eight_beta():
    """All-oblique, equal beta: delta = c beta S/V; Sabine T = 24 ln 10 V/(c A), A = 8 beta S."""
    modes, beta = box_modes(ROOM, 200.0), 0.02
    delta, _ = damping_first_order(modes, whole_walls(), np.full(6, beta))
    S, V = 94.0, 60.0
    sabine = 24.0 * np.log(10.0) * V / (modes.c * 8.0 * beta * S)
    np.testing.assert_allclose(decay_time(delta[modes.kind == 3]), sabine, rtol=1e-12)
    assert np.all(decay_time(delta[modes.kind < 3]) > sabine * 1.01)


@settings(max_examples=30)
@given(
    axis=st.integers(0, 2),
    side=st.integers(0, 1),
    u=st.tuples(*(st.floats(0.0, 1.0) for _ in range(4))),
    pick=st.integers(0, 60),
)
def test_table_against_numerical_integration(axis, side, u, pick):
    """One entry against adaptive quadrature (QUADPACK through SciPy)."""
    modes = box_modes(ROOM, 150.0)
    i, j = IN_PLANE[axis]
    lo = np.minimum(u[:2], u[2:]) * ROOM[[i, j]]
    hi = np.maximum(u[:2], u[2:]) * ROOM[[i, j]]
    patch = Patches(np.array([axis]), np.array([side]), np.array([[*lo, *hi]]))
    m = pick % len(modes.n)
    expected = 0.5 * modes.c / modes.norm[m]
    for q, a, b in ((i, lo[0], hi[0]), (j, lo[1], hi[1])):
        n, L = modes.n[m, q], ROOM[q]
        expected *= quad(lambda x, n=n, L=L: np.cos(n * np.pi * x / L) ** 2, a, b)[0]
    assert patch_damping(modes, patch)[m, 0] == pytest.approx(expected, rel=1e-7, abs=1e-12)


def test_shape_norms():
    """int psi^2 dV, by Gauss points, is the stated norm."""
    modes = box_modes(ROOM, 120.0)
    x, w = np.polynomial.legendre.leggauss(24)
    grid = np.stack([g.ravel() for g in np.meshgrid(x, x, x, indexing="ij")], axis=1)
    weight = np.prod(np.stack([g.ravel() for g in np.meshgrid(w, w, w, indexing="ij")]), axis=0)
    psi = mode_shape(modes, (grid / 2.0 + 0.5) * ROOM)
    np.testing.assert_allclose(psi**2 @ weight * 60.0 / 8.0, modes.norm, rtol=1e-10)


def test_pressure_is_highest_in_the_corner():
    """A small square on the front wall damps every mode at least as much in the corner as anywhere
    along the floor, and a mode hardly at all on its node.
    """
    modes, side = box_modes(ROOM, 110.0), 0.02
    places = np.array([[y, 0.0, y + side, side] for y in np.linspace(0.0, 4.0 - side, 399)])
    table = patch_damping(modes, Patches(np.zeros(399), np.zeros(399), places))
    assert np.all(table[:, 0] >= table.max(axis=1) * (1.0 - 1e-3))
    first = (modes.n == [0, 1, 0]).all(axis=1)
    assert table[first, 0] > 1000.0 * table[first, 199]


def test_spring_lowers_and_mass_raises_the_frequency():
    """1-D with Im beta on both ends, exact: k L = n pi - 2 atan(Im beta) (derived)."""
    modes = box_modes((5.0, 0.5, 0.5), 150.0)
    for im in (1e-3, -1e-3):
        beta = [1j * im, 1j * im, 0, 0, 0, 0]
        delta, shift = damping_first_order(modes, whole_walls(modes.dimensions), beta)
        exact = -2.0 * np.arctan(im) / 5.0 * modes.c / (2.0 * np.pi)
        np.testing.assert_allclose(shift, exact, rtol=1e-5)
        np.testing.assert_allclose(delta, 0.0, atol=1e-12)


def test_damping_is_linear_and_takes_a_base():
    modes, walls = box_modes(ROOM, 120.0), whole_walls()
    beta = np.array([0.02, 0.05, 0.01, 0.04, 0.03, 0.02]) * (1.0 + 0.5j)
    delta, shift = damping_first_order(modes, walls, beta, base=1.5)
    np.testing.assert_allclose(delta - 1.5, patch_damping(modes, walls) @ beta.real)
    np.testing.assert_allclose(shift, -delta_only(modes, walls, beta.imag) / (2.0 * np.pi))
    per_mode = np.repeat(beta[:, None], len(modes.n), axis=1)
    np.testing.assert_allclose(damping_first_order(modes, walls, per_mode, 1.5)[0], delta)


def delta_only(modes, walls, beta):
    return damping_first_order(modes, walls, beta)[0]


def test_large_table_takes_few_integrals(monkeypatch):
    """20000 patches by some 400 modes: integrals per order along an axis, not per mode.

    What it costs: benchmarks/tables.py.
    """
    taken, usual = [], modes_module.cosine_square_integral

    def counted(*given):
        found = usual(*given)
        taken.append(found.size)
        return found

    monkeypatch.setattr(modes_module, "cosine_square_integral", counted)
    rng = np.random.default_rng(2)
    size = np.array([6.2, 5.1, 3.0])
    axis = rng.integers(0, 3, 20000)
    span = np.array([size[list(p)] for p in IN_PLANE])[axis]
    low = rng.uniform(0.0, 0.8, (20000, 2)) * span
    patches = Patches(axis, rng.integers(0, 2, 20000), np.hstack([low, low + 0.1 * span]))
    modes = box_modes(size, 310.0)
    table = patch_damping(modes, patches)
    assert len(taken) == 6  # two directions of each of three walls, all patches at once
    orders = modes.n.max(axis=0) + 1
    assert sum(taken) == sum(np.sum(axis != k) * orders[k] for k in range(3))
    assert sum(taken) < table.size / 10
    assert table.shape == (len(modes.n), 20000)
    assert len(modes.n) > 350
    assert np.all(table >= 0.0)


def test_objects_average_to_sabine():
    """Over the whole room, or averaged over boxes that fill it, A damps by c A / (8 V)."""
    modes = box_modes(ROOM, 150.0)
    sabine = LOG_60DB / (24.0 * np.log(10.0) * 60.0 / modes.c)
    assert sabine == pytest.approx(modes.c / (8.0 * 60.0), rel=1e-12)
    np.testing.assert_allclose(object_damping(modes, [[0, 0, 0, *ROOM]])[:, 0], sabine)
    cuts = [np.linspace(0.0, length, 4) for length in ROOM]
    boxes = [
        [cuts[0][i], cuts[1][j], cuts[2][k], cuts[0][i + 1], cuts[1][j + 1], cuts[2][k + 1]]
        for i in range(3)
        for j in range(3)
        for k in range(3)
    ]
    np.testing.assert_allclose(object_damping(modes, boxes).mean(axis=1), sabine)


def test_object_in_a_corner_and_at_a_node():
    """A small object in the corner damps by 2^(non-zero orders), at a node not at all."""
    modes = box_modes(ROOM, 60.0)
    d = 1e-3
    corner, node = [0, 0, 0, d, d, d], [2.5 - d, 0, 0, 2.5 + d, d, d]
    table = object_damping(modes, [corner, node]) / (modes.c / 480.0)
    np.testing.assert_allclose(table[:, 0], 2.0**modes.kind, rtol=1e-5)
    np.testing.assert_allclose(table[modes.n[:, 0] == 1, 1], 0.0, atol=1e-5)


def test_admittance_between_given_frequencies():
    beta = np.array([[0.1, 0.3, 0.2j]])
    found = beta_at([50.0, 100.0, 200.0], beta, [20.0, 50.0, np.sqrt(5000.0), 200.0, 400.0])
    np.testing.assert_allclose(found, [[0.1, 0.1, 0.2, 0.2j, 0.2j]])


# --- limits, weights, band decay --------------------------------------------------------------


def test_mode_limit():
    """32/f between 0.2 and 0.85 s: 0.51 s at 63 Hz (Fazenda et al. 2015), 0.85 s at 32 Hz and 0.2 s
    high up (Stephenson 2012).
    """
    assert [f"{t:.2f}" for t in mode_limit([20.0, 32.0, 63.0, 160.0, 250.0])] == [
        "0.85",
        "0.85",
        "0.51",
        "0.20",
        "0.20",
    ]


@settings(max_examples=20)
@given(u=st.lists(st.tuples(*(st.floats(0.0, 1.0) for _ in range(3))), min_size=2, max_size=2))
def test_drive_is_reciprocal_and_bounded(u):
    modes = box_modes(ROOM, 100.0)
    a, b = np.array(u) * ROOM
    drive = mode_drive(modes, a, b)
    np.testing.assert_allclose(drive, mode_drive(modes, b, a))
    assert np.all(drive <= 2.0 ** modes.kind[:, None, None] * (1 + 1e-12))


def test_weights():
    """Corner to corner every mode is driven as hard as its kind allows; a seat on the node plane
    half-way between the side walls does not hear odd orders across.
    """
    modes = box_modes(ROOM, 100.0)
    weights = mode_weights(modes, [0, 0, 0], ROOM)
    np.testing.assert_allclose(weights, 2.0**modes.kind / np.max(2.0**modes.kind))
    centred = mode_weights(modes, [[0.5, 1.0, 1.0]], [[3.0, 2.0, 1.2]])
    np.testing.assert_allclose(centred[modes.n[:, 1] % 2 == 1], 0.0, atol=1e-12)


def test_band_decay_of_equal_modes_is_their_own():
    """One rate, any weights: T = 6.908 / delta for T20, T30 and EDT alike (ISO 3382-1)."""
    for fit in ((-5.0, -25.0), (-5.0, -35.0), (0.0, -10.0)):
        found = band_decay_from_modes([50.0, 60.0], [9.0, 9.0], [1.0, 0.3], (44.7, 89.1), fit)
        assert found == pytest.approx(LOG_60DB / 9.0, rel=1e-6)


def test_band_decay_of_two_rates_against_a_long_hand_fit():
    """Energies 100:1 at the start, rates 20 and 4 1/s: sampled curve fitted with numpy."""
    d, w = np.array([20.0, 4.0]), np.array([1.0, np.sqrt(0.01 * 4.0 / 20.0)])
    t = np.linspace(0.0, 2.0, 400001)
    level = 10.0 * np.log10((np.exp(-40.0 * t) + 0.01 * np.exp(-8.0 * t)) / 1.01)
    own = (level <= -5.0) & (level >= -25.0)
    expected = -60.0 / np.polyfit(t[own], level[own], 1)[0]
    found = band_decay_from_modes([50.0, 70.0], d, w, (44.7, 89.1))
    assert found == pytest.approx(expected, rel=2e-3)
    assert LOG_60DB / 20.0 < found < LOG_60DB / 4.0
    # Modes outside the band, or not driven, do not count.
    more = band_decay_from_modes(
        [50.0, 70.0, 100.0, 60.0], [*d, 0.5, 0.5], [*w, 9.0, 0.0], (44.7, 89.1)
    )
    assert more == pytest.approx(found)


def test_refusals():
    modes = box_modes(ROOM, 60.0)
    with pytest.raises(ValueError, match="must be positive"):
        box_modes((5.0, -1.0, 3.0))
    with pytest.raises(ValueError, match="lo1 <= hi1"):
        Patches(np.array([0]), np.array([0]), np.array([[1.0, 0.0, 0.5, 1.0]]))
    with pytest.raises(ValueError, match="axis must be"):
        Patches(np.array([3]), np.array([0]), np.array([[0.0, 0.0, 0.5, 1.0]]))
    with pytest.raises(ValueError, match="patches: outside the room"):
        patch_damping(modes, Patches(np.array([2]), np.array([0]), np.array([[0, 0, 5.1, 1]])))
    with pytest.raises(ValueError, match="points: outside"):
        mode_shape(modes, [5.5, 1.0, 1.0])
    with pytest.raises(ValueError, match="positive length"):
        object_damping(modes, [[1, 1, 1, 1, 2, 2]])
    with pytest.raises(ValueError, match="beta must be"):
        damping_first_order(modes, whole_walls(), [0.1, 0.1])
    with pytest.raises(ValueError, match="rising"):
        beta_at([100.0, 50.0], [[0.1, 0.2]], [60.0])
    with pytest.raises(ValueError, match="no driven mode"):
        band_decay_from_modes([50.0], [9.0], [1.0], (89.1, 178.0))
    with pytest.raises(ValueError, match="must be damped"):
        band_decay_from_modes([50.0], [0.0], [1.0], (44.7, 89.1))
    with pytest.raises(ValueError, match="frequency must be positive"):
        mode_limit(0.0)
