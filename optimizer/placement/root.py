"""The relaxation of a program, and which candidates its reduced costs leave in question."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from optimizer.placement.cuts import with_tangents
from optimizer.placement.effects import Effects
from optimizer.placement.program import Matrices
from optimizer.placement.solver import FEASIBLE, Basis, Relaxed, relax
from optimizer.room.geometry import Floats

MANY = 400  # candidates of a program from which on its relaxation comes first
FEW = 150  # candidates (of each block) that are decided first
SIFTED = 5000  # candidates from which on a relaxation begins with some of them
JOIN = 1000  # candidates it begins with, and at most that join at a time
ROUNDS = 8  # relaxations, each with lines touching where the one before settled
SETTLED = 1e-3  # rise of the relaxation, as a share, that is worth no other round


@dataclass(frozen=True)
class Root:
    """A program with lines where its relaxation settles, and what that says.

    `bound`: the relaxation's objective, which every selection has at least. `places` (C,) of the
    candidates among the program's columns, `reduced` (C,) their reduced costs: what a selection
    with that candidate has at least more than the bound. `blocks`: how many there are.
    """

    program: Matrices
    bound: float
    places: NDArray[np.int64]
    reduced: Floats
    blocks: int

    def least(self, held: set[str]) -> Matrices:
        """The program with the few candidates of least reduced cost, and those held by name."""
        ranked = np.argsort(self.reduced, kind="stable")
        return self._only(self.program, ranked[: FEW * self.blocks], held)

    def below(self, program: Matrices, aim: float, held: set[str]) -> tuple[Matrices, float]:
        """A program of the same columns with the candidates that a selection below `aim` may have,
        and those held; and what every selection with another one has at least."""
        outside = self.bound + self.reduced >= aim
        beyond = (self.bound + self.reduced)[outside].min(initial=np.inf)
        return self._only(program, np.flatnonzero(~outside), held), float(beyond)

    def _only(self, program: Matrices, which: NDArray[np.int64], held: set[str]) -> Matrices:
        stay = np.ones(len(program.cost), dtype=bool)
        stay[self.places] = False
        stay[self.places[which]] = True
        stay |= np.array([name in held for name in program.names])
        return _with_columns(program, np.flatnonzero(stay))


def at_the_root(
    program: Matrices,
    blocks: Mapping[str, Effects],
    seconds: float = np.inf,
    many: int | None = None,
) -> Root | None:
    """The relaxation of a program with these blocks of candidates.

    None where there are not `many` of them (MANY), or none can be had (in so many s).
    """
    column = {name: i for i, name in enumerate(program.names)}
    own = {
        block: np.array([column[f"{block}x[{c}]"] for c in range(effects.count)], dtype=np.int64)
        for block, effects in blocks.items()
    }
    places = np.sort(np.concatenate(list(own.values())))
    if len(places) <= (MANY if many is None else many):
        return None
    root: Root | None = None
    parts = Parts(places)
    for _ in range(ROUNDS):
        answer = parts.relax(program, seconds)
        if answer is None:
            return root
        last = -np.inf if root is None else root.bound
        root = Root(program, answer.bound, places, answer.reduced[places], len(blocks))
        if answer.bound - last <= SETTLED * abs(answer.bound):
            break
        for block, effects in blocks.items():
            q = effects.base + effects.change @ answer.z[own[block]]
            program = with_tangents(program, effects, q, block)
    return root


class Parts:
    """Relaxations of a growing program by part of its candidates, at `places` among its columns.

    A program of many candidates has its relaxation among few of them, and the worth of its rows
    there says which others would lower it: those join, until none is left. What rounding leaves of
    them is taken off the bound. Of up to SIFTED candidates all take part from the beginning.
    """

    def __init__(self, places: NDArray[np.int64]) -> None:
        self._places = places
        many = len(places) > SIFTED
        first = np.linspace(0, len(places) - 1, JOIN if many else len(places)).astype(np.int64)
        self._candidates = places[first]
        self._others: NDArray[np.int64] | None = None
        self._basis: Basis | None = None

    def relax(self, program: Matrices, seconds: float) -> Relaxed | None:
        """The relaxation of the whole program, begun from the last; it may have more rows now."""
        if len(self._candidates) == len(self._places):
            answer = relax(program, seconds, self._basis)
            self._basis = None if answer is None else answer.basis
            return answer
        if self._others is None:
            self._others = np.setdiff1d(np.arange(len(program.cost)), self._places)
        while True:
            part = np.concatenate([self._others, self._candidates])
            answer = relax(_columns_of(program, part), seconds, self._basis)
            if answer is None:  # such as a wish that none of these grants
                self._candidates, self._basis = self._places, None
                return self.relax(program, seconds)
            self._basis = answer.basis
            reduced = program.cost - program.A.T @ answer.worth
            outside = np.setdiff1d(self._places, self._candidates)
            short = np.minimum(reduced[outside], 0.0)
            if -short.sum() <= FEASIBLE * max(1.0, abs(answer.bound)):
                z = np.zeros(len(program.cost))
                z[part] = answer.z
                reduced[part] = answer.reduced
                return replace(answer, bound=answer.bound + short.sum(), z=z, reduced=reduced)
            lowest = np.argsort(short, kind="stable")[:JOIN]
            more = outside[lowest[short[lowest] < 0.0]]
            self._candidates = np.concatenate([self._candidates, more])


def without_rules(program: Matrices, rules: Sequence[str]) -> Matrices:
    """The program without some rules of order that have columns of their own."""
    own = tuple(f"{rule}_y[" for rule in rules)
    theirs = np.array([name.rpartition(".")[2].startswith(own) for name in program.names])
    rows = np.flatnonzero(np.diff(program.A[:, theirs].tocsr().indptr) == 0)
    kept = replace(
        program, A=program.A[rows], row_low=program.row_low[rows], row_high=program.row_high[rows]
    )
    return _with_columns(kept, np.flatnonzero(~theirs))


def _with_columns(program: Matrices, columns: NDArray[np.int64]) -> Matrices:
    """The program with some of its columns, the others at zero, less rows that hold none."""
    few = _columns_of(program, columns)
    A = few.A.tocsr()
    rows = np.flatnonzero(np.diff(A.indptr))
    return replace(few, A=A[rows].tocsc(), row_low=few.row_low[rows], row_high=few.row_high[rows])


def _columns_of(program: Matrices, columns: NDArray[np.int64]) -> Matrices:
    """The program with some of its columns, the others at zero."""
    return replace(
        program,
        cost=program.cost[columns],
        A=program.A[:, columns],
        low=program.low[columns],
        high=program.high[columns],
        integer=program.integer[columns],
        names=tuple(program.names[i] for i in columns.tolist()),
    )
