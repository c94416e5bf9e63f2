"""Integrals between in-plane orders of a wall against Gauss quadrature (numpy)."""

import numpy as np
import pytest

from optimizer.acoustics.wall_runs import Runs, WallTerms, pair_integrals

WALL = (3.4, 2.5)
ORDERS = (3, 4)  # along each direction, from 0
RECTS = np.array([[0.2, 0.1, 1.1, 2.0], [1.5, 0.3, 2.1, 1.2], [0.0, 0.0, 3.4, 2.5]])
NODES = np.array([0.0, 1.0, 2.5, 6.0])


def spread(even: bool) -> np.ndarray:
    """Two spectra at the nodes and for slopes, (3, 5, 2): the first two rows are alike."""
    table = np.random.default_rng(2).uniform(0.1, 1.0, (3, 5, 2))
    table[1] = table[0]
    table[2, :-1], table[2, -1] = table[2, 0], 0.0
    if even:
        table[:, :-1], table[:, -1] = table[:, :1], 0.0
    return table


def terms(table: np.ndarray, only: np.ndarray) -> WallTerms:
    pairs = tuple(
        pair_integrals(ORDERS[i] - 1, RECTS[:, i], RECTS[:, i + 2], WALL[i]) for i in (0, 1)
    )
    squares = [(np.pi * np.arange(ORDERS[i]) / WALL[i]) ** 2 for i in (0, 1)]
    return Runs(NODES, only).terms(pairs, table, only, squares, (0, 1))


def by_quadrature(table: np.ndarray, only: np.ndarray) -> np.ndarray:
    """(A, A, 2) by 40 Gauss points along each side of every rectangle."""
    x, w = np.polynomial.legendre.leggauss(40)
    k = [np.pi * np.arange(n) / size for n, size in zip(ORDERS, WALL, strict=True)]
    out = np.zeros((12, 12, 2))
    for rect, rows, way in zip(RECTS, table, only, strict=True):
        at = [rect[i] + (x + 1.0) / 2.0 * (rect[i + 2] - rect[i]) for i in (0, 1)]
        weight = np.outer(w * (rect[2] - rect[0]) / 2.0, w * (rect[3] - rect[1]) / 2.0).ravel()
        cos = [np.cos(np.outer(k[i], at[i])) for i in (0, 1)]
        sin = [k[i][:, None] * np.sin(np.outer(k[i], at[i])) for i in (0, 1)]
        value, first, second = (
            np.einsum("ap,bq->abpq", a, b).reshape(12, -1)
            for a, b in ((cos[0], cos[1]), (sin[0], cos[1]), (cos[0], sin[1]))
        )
        counts = [way in (-1, i) for i in (0, 1)]
        run2 = np.add.outer(k[0] ** 2 * counts[0], k[1] ** 2 * counts[1]).ravel()
        slopes = counts[0] * (first * weight) @ first.T + counts[1] * (second * weight) @ second.T
        for r in (0, 1):
            met = np.interp(run2, NODES**2, rows[:-1, r])
            out[..., r] += 0.5 * np.add.outer(met, met) * ((value * weight) @ value.T)
            out[..., r] += rows[-1, r] * slopes
    return out


@pytest.mark.parametrize("even", [False, True])
@pytest.mark.parametrize("way", [-1, 0, 1])
def test_matrices_are_the_integrals(even: bool, way: int) -> None:
    table, only = spread(even), np.array([way, way, -1])
    found, expected = terms(table, only), by_quadrature(table, only)
    np.testing.assert_allclose(found.columns(np.arange(12)), expected, rtol=1e-10, atol=1e-12)
    some = np.array([7, 2])
    np.testing.assert_allclose(found.columns(some), expected[:, some], rtol=1e-10, atol=1e-12)


@pytest.mark.parametrize("even", [False, True])
def test_products_with_shapes_are_made_symmetric(even: bool) -> None:
    """More shapes than are multiplied at a time; against the integrals by quadrature."""
    table, only = spread(even), np.array([-1, -1, -1])
    shapes = np.random.default_rng(5).standard_normal((12, 70))
    expected = np.einsum("aw,abr,bv->wvr", shapes, by_quadrature(table, only), shapes)
    own, mix = terms(table, only).own_spectra()
    half = own.among(shapes) if mix is None else own.among(shapes) @ mix
    np.testing.assert_allclose(0.5 * (half + half.transpose(1, 0, 2)), expected, atol=1e-9)
    assert (mix is None) or len(mix) < 3


def test_a_wall_of_one_kind_has_one_spectrum_of_its_own() -> None:
    """Two spectra of the room are shares of it, where nothing depends on the run of sound."""
    table, only = spread(True), np.array([-1, -1, -1])
    table[:] = table[0]
    own, mix = terms(table, only).own_spectra()
    assert mix is not None
    assert mix.shape == (1, 2)
    found = own.columns(np.arange(12)) @ mix
    np.testing.assert_allclose(found, by_quadrature(table, only), rtol=1e-10, atol=1e-12)
