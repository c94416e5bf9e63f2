"""What the program knows of the candidates: small effects, its reach, and the dearer of a pair.

Reaches are enumerated here, and the excess compared with the program's lines over all of them.
"""

from types import SimpleNamespace

import numpy as np
import pytest
from test_optimum import every_subset
from test_program import toy
from tiny_rooms import some_candidates, tiny_project

from optimizer.acoustics.criteria import Criteria, Tangent
from optimizer.placement.candidates import Candidate
from optimizer.placement.effects import Effects, _purchase_of
from optimizer.placement.program import Matrices, build_program, matrices, reachable
from optimizer.placement.spending import Purchase
from optimizer.planning import build_decision


@pytest.fixture(scope="module")
def small(tmp_path_factory: pytest.TempPathFactory) -> Effects:
    """Ten candidates of a tiny room."""
    project = tiny_project(tmp_path_factory.mktemp("room"), 4, budget=600.0, products=3)
    return some_candidates(build_decision(project), np.random.default_rng(4), 10)


def all_quantities(effects: Effects) -> np.ndarray:
    """Quantities (K, 2^C) of every subset of the candidates."""
    return effects.base[:, None] + effects.change @ every_subset(effects.count).T


def test_reach_is_that_of_all_subsets(small: Effects) -> None:
    for effects in (toy(), small):
        low, high = reachable(effects)
        every = all_quantities(effects)
        np.testing.assert_allclose(low, every.min(axis=1), rtol=1e-9, atol=1e-12)
        np.testing.assert_allclose(high, every.max(axis=1), rtol=1e-9, atol=1e-12)


def lines_of(program: Matrices, k: int) -> np.ndarray:
    """Slope and intercept (N, 2) of the lines that hold the excess of a row."""
    own, quantity = (
        program.A[:, [program.names.index(f"{kind}[{k}]")]].toarray().ravel() for kind in "eq"
    )
    held = np.flatnonzero(own)
    return np.stack([-quantity[held] / own[held], program.row_low[held] / own[held]], axis=1)


def test_lines_to_begin_with_are_close_over_the_whole_reach(small: Effects) -> None:
    """Not above, and within 1 % of one plus the excess: as near as the tangents are set."""
    program, every = matrices(build_program(small)), all_quantities(small)
    exact = small.criteria.excess(every)
    for k in np.flatnonzero(small.criteria.weights > 0):
        lines = lines_of(program, int(k))
        said = np.maximum(0.0, lines[:, :1] * every[k] + lines[:, 1:]).max(axis=0)
        key = small.criteria.rows[k].key
        assert (said <= exact[k] + 1e-6 * (1.0 + exact[k])).all(), key
        assert (said >= exact[k] - 0.01 * (1.0 + exact[k])).all(), key


def test_lines_are_asked_for_over_the_whole_reach(monkeypatch: pytest.MonkeyPatch) -> None:
    """Also where a candidate takes away from a quantity, as one on an absorbing surface does."""
    asked: dict[int, tuple[float, float]] = {}
    sound = Criteria.tangents

    def noted(self: Criteria, row: int, low: float, high: float) -> list[Tangent]:
        asked[row] = (low, high)
        return sound(self, row, low, high)

    monkeypatch.setattr(Criteria, "tangents", noted)
    build_program(toy())
    every = all_quantities(toy())
    assert asked == {k: (every[k].min(), every[k].max()) for k in (0, 1)}  # row 2 counts nothing


def test_small_effects_are_kept() -> None:
    """Many small ones add up: only what is nothing beside the rounding of numbers is left out."""
    effects = toy()
    change = effects.change.copy()
    change[0, 2], change[1, 0] = -4e-4, 1e-9
    change[1, 3] = 1e-13
    from_toy = Effects(**{**vars(effects), "change": change})
    program = matrices(build_program(from_toy))
    rows = [
        np.flatnonzero(program.A[:, [program.names.index(f"q[{k}]")]].toarray().ravel())
        for k in (0, 1)
    ]
    dense = program.A.toarray()
    found = np.array([next(dense[r, :4] for r in mine if dense[r, :4].any()) for mine in rows])
    expected = np.where(np.abs(change[:2]) > 1e-12, change[:2], 0.0)
    np.testing.assert_allclose(np.abs(found), np.abs(expected), rtol=1e-12)


def test_a_pair_counts_as_its_dearer_piece() -> None:
    """A curtain before a window and its like on the wall opposite, hung by dearer means."""
    curtain, panel = SimpleNamespace(id="curtain"), SimpleNamespace(id="panel")
    bought = (
        SimpleNamespace(product=curtain, mountings=("window",), outlay_cents=5000),
        SimpleNamespace(product=panel, mountings=("wall", "ceiling"), outlay_cents=9000),
        SimpleNamespace(product=curtain, mountings=("wall",), outlay_cents=6500),
    )

    def placed(product: SimpleNamespace, *mountings: str) -> SimpleNamespace:
        return SimpleNamespace(
            product=product, pieces=tuple(SimpleNamespace(mounting=m) for m in mountings)
        )

    candidates = (
        placed(curtain, "window", "wall"), placed(curtain, "wall", "window"),
        placed(curtain, "window", "window"), placed(panel, "ceiling"), placed(curtain, "wall"),
    )  # fmt: skip
    found = _purchase_of(as_candidates(candidates), as_purchases(bought))
    assert found.tolist() == [2, 2, 0, 1, 2]


def as_candidates(found: tuple[SimpleNamespace, ...]) -> tuple[Candidate, ...]:
    """As much of candidates as is looked at."""
    return found  # type: ignore[return-value]  # stand-ins with the fields that are read


def as_purchases(found: tuple[SimpleNamespace, ...]) -> tuple[Purchase, ...]:
    """As much of purchases as is looked at."""
    return found  # type: ignore[return-value]  # stand-ins with the fields that are read
