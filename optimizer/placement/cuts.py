"""Lines below the excess: more of them where the solver settles, and a check of every one.

A bound is a bound only while no line that the program holds an excess to lies above the exact one.
So each is compared with it, as it stands in the program's rows, at quantities over its whole reach.
"""

from dataclasses import replace

import numpy as np
from scipy import sparse

from optimizer.acoustics.criteria import Criteria
from optimizer.faults import UntrustedSolutionError
from optimizer.placement.effects import Effects
from optimizer.placement.program import Matrices, reachable
from optimizer.placement.solver import FEASIBLE
from optimizer.room.geometry import Floats

LOOKED_AT = 200  # quantities in equal steps, and as many in equal ratios, where lines are checked


def with_tangents(
    program: Matrices, effects: Effects, quantities: Floats, block: str = ""
) -> Matrices:
    """The program with one more line per criterion, touching its excess at quantities (K,).

    There the program then understates nothing; rows of weight zero and met rows need no line.
    `block` is what the names of a stage's columns begin with. UntrustedSolutionError for a line
    that lies above the excess, or does not touch it there.
    """
    place = {name: i for i, name in enumerate(program.names)}
    over = (effects.criteria.weights > 0) & (effects.criteria.excess(quantities) > 0)
    rows = np.flatnonzero(over)
    slopes, bounds = [], []
    for k in rows.tolist():
        lines = effects.criteria.tangents(k, quantities[k], quantities[k])
        slope, intercept = max(lines, key=lambda line: line[0] * quantities[k] + line[1])
        slopes.append(-slope)
        bounds.append(intercept)
    columns = [place[f"{block}{side}[{k}]"] for side in "eq" for k in rows.tolist()]
    values = np.concatenate([np.ones(len(rows)), slopes])
    at = np.tile(np.arange(len(rows)), 2)
    added = sparse.csc_matrix((values, (at, columns)), shape=(len(rows), len(program.cost)))
    more = replace(
        program,
        A=sparse.vstack([program.A, added], format="csc"),
        row_low=np.concatenate([program.row_low, bounds]),
        row_high=np.concatenate([program.row_high, np.full(len(bounds), np.inf)]),
    )
    check_lines(more, effects, block, len(program.row_low), quantities)
    return more


def check_lines(
    program: Matrices,
    effects: Effects,
    block: str = "",
    since: int = 0,
    touching: Floats | None = None,
) -> None:
    """UntrustedSolutionError when a row, from `since` on, holds an excess above the exact one.

    Looked at are quantities within reach where the excess is convex, and those (K,) at which these
    rows are to be `touching` it. The solver's own tolerance is allowed, of an excess above one in
    proportion.
    """
    place = {name: i for i, name in enumerate(program.names)}
    rows, low, high = program.A[since:].tocsc(), program.row_low[since:], program.row_high[since:]
    at = _looked_at(effects, touching)  # (K, N)
    exact = effects.criteria.excess(at)
    allowed = FEASIBLE * (1.0 + exact)

    def column(name: str) -> Floats:
        found, values = place.get(name), np.zeros(len(low))
        if found is not None:
            part = slice(rows.indptr[found], rows.indptr[found + 1])
            values[rows.indices[part]] = rows.data[part]
        return values

    for k, criterion in enumerate(effects.criteria.rows):
        own = column(f"{block}e[{k}]")
        held = np.flatnonzero(own)
        if not len(held):
            continue
        slope = column(f"{block}q[{k}]")[held]
        lines = (low[held, None] - slope[:, None] * at[k]) / own[held, None]
        above = bool(np.any(lines > exact[k] + allowed[k]) or np.any(np.isnan(lines)))
        if above or np.any(own[held] < 0) or not np.all(np.isposinf(high[held])):
            told = "a line of the program lies above the excess of"
            raise UntrustedSolutionError(f'{told} "{criterion.key}"')
        if touching is not None and lines[:, -1].max() < exact[k, -1] - allowed[k, -1]:
            told = "a line of the program does not touch the excess of"
            raise UntrustedSolutionError(f'{told} "{criterion.key}"')


def _looked_at(effects: Effects, touching: Floats | None) -> Floats:
    """Quantities (K, N) within reach and where the excess of their row is convex."""
    low, high = reachable(effects)
    first, last = convex_range(effects.criteria)
    low, high = np.clip(low, first, last), np.clip(high, first, last)
    steps = np.linspace(0.0, 1.0, LOOKED_AT)
    even = low[:, None] + (high - low)[:, None] * steps
    # And closer together towards the lower end, where an excess of the kind 1/q bends most.
    above = low[:, None] + (high - low)[:, None] * np.geomspace(1e-3, 1.0, LOOKED_AT)
    points = [even, above]
    if touching is not None:
        points.append(np.clip(touching, first, last)[:, None])
    return np.concatenate(points, axis=1)


def convex_range(criteria: Criteria) -> tuple[Floats, Floats]:
    """Least and greatest quantity (K,) between which the excess of each row is convex."""
    ranges = [family.convex(k) for family in criteria.families for k in range(len(family.rows))]
    low, high = (np.array(side, dtype=np.float64) for side in zip(*ranges, strict=True))
    return low, high
