"""HiGHS at work on a program's matrices; the only file that imports it."""

import math
import os
import sys
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

import highspy
import numpy as np

from optimizer.placement.effort import NODES
from optimizer.placement.program import Matrices
from optimizer.room.geometry import Floats

FEASIBLE = 1e-6  # how far a row or a whole number may be off
NEGLIGIBLE = 0.01  # an objective below this counts as this when a relative gap is taken
SEARCHES = (
    "mip_heuristic_run_rins",
    "mip_heuristic_run_rens",
    "mip_heuristic_run_feasibility_jump",
)


@dataclass(frozen=True)
class Progress:
    """Where a running solve stands: seconds so far, best objective, proven bound (may be inf)."""

    seconds: float
    objective: float
    bound: float


@dataclass(frozen=True)
class Answer:
    """What the solver found: `status` optimal, feasible or infeasible; `z` the columns or None;
    `nodes` looked into; `late` when the time limit ended it."""

    status: str
    z: Floats | None
    objective: float
    bound: float
    nodes: int
    late: bool


Basis = tuple[list[Any], list[Any]]  # where columns and rows stand in a relaxation


@dataclass(frozen=True)
class Relaxed:
    """The relaxation of a program: a bound of its objective, columns z (N,), reduced costs (N,),
    what each row is worth (M,)."""

    bound: float
    z: Floats
    reduced: Floats
    worth: Floats
    basis: Basis


def relax(
    program: Matrices, time_limit: float = math.inf, basis: Basis | None = None
) -> Relaxed | None:
    """The program without whole numbers; None where it has no answer (within so many s).

    `basis`: of a program of its first columns and first rows, to begin from.
    """
    model = _model(program)
    model.integrality_ = []
    highs = _loaded(model, {"time_limit": max(time_limit, 0.0)})
    if basis is not None:
        begin = highspy.HighsBasis()
        columns, rows = basis
        new, more = len(program.cost) - len(columns), len(program.row_low) - len(rows)
        begin.col_status = [*columns, *[highspy.HighsBasisStatus.kLower] * new]
        begin.row_status = [*rows, *[highspy.HighsBasisStatus.kBasic] * more]
        highs.setBasis(begin)
    highs.run()
    if highs.getModelStatus() != highspy.HighsModelStatus.kOptimal:
        return None
    found, last = highs.getSolution(), highs.getBasis()
    bound = float(highs.getInfo().objective_function_value)
    return Relaxed(
        bound - FEASIBLE * max(1.0, abs(bound)),
        np.array(found.col_value),
        np.array(found.col_dual),
        np.array(found.row_dual),
        (list(last.col_status), list(last.row_status)),
    )


def solve(
    program: Matrices,
    gap: float,
    time_limit: float = math.inf,
    start: Floats | None = None,
    report: Callable[[Progress], None] | None = None,
    cutoff: float = math.inf,
    nodes: int = NODES,
    begun: bool = False,
) -> Answer:
    """Best columns within a relative gap (of objectives above NEGLIGIBLE) or so many nodes.

    `start` (N,) are columns to begin from (nan = unknown). At the limit of nodes or of time (s) the
    best plan found is returned with its bound and status "feasible". Objectives above `cutoff` are
    not looked for: "infeasible" then means that there is none below it. Begun well (with
    what another search found), a program is not searched at random for better columns. One thread
    and no clock but the time limit: the same program has the same answer on every machine.
    """
    options = {
        "mip_rel_gap": gap,
        "mip_abs_gap": gap * NEGLIGIBLE,
        "mip_max_nodes": nodes,
        "mip_feasibility_tolerance": FEASIBLE,
        "time_limit": max(time_limit, 0.0),
        "random_seed": 0,
        "objective_bound": cutoff,
        **dict.fromkeys(SEARCHES, not begun),
    }
    highs = _loaded(_model(program), options)
    if start is not None:
        known = np.flatnonzero(~np.isnan(start)).astype(np.int32)
        highs.setSolution(len(known), known, start[known])
    if report is not None:
        _subscribe(highs, report)
    highs.run()
    return _answer(highs)


def _loaded(model: Any, options: Mapping[str, object]) -> Any:
    """The library with a model to work on, silent, on one thread."""
    with _quiet():
        highs = highspy.Highs()
    # Presolve takes as long as the search and finds little that reduced costs do not fix.
    always = {"output_flag": False, "presolve": "off", "threads": 1}
    for option, value in {**always, **options}.items():
        highs.setOptionValue(option, value)
    highs.passModel(model)
    return highs


@contextmanager
def _quiet() -> Iterator[None]:
    """Hold back what the library prints from C when it starts (its banner)."""
    sys.stdout.flush()
    kept = os.dup(1)
    try:
        with open(os.devnull, "w") as nowhere:
            os.dup2(nowhere.fileno(), 1)
        yield
    finally:
        os.dup2(kept, 1)
        os.close(kept)


def _model(program: Matrices) -> Any:
    model = highspy.HighsLp()
    model.num_col_, model.num_row_ = len(program.cost), len(program.row_low)
    model.col_cost_, model.offset_ = program.cost, program.offset
    model.col_lower_, model.col_upper_ = program.low, program.high
    model.row_lower_, model.row_upper_ = program.row_low, program.row_high
    model.a_matrix_.format_ = highspy.MatrixFormat.kColwise
    model.a_matrix_.start_ = program.A.indptr
    model.a_matrix_.index_ = program.A.indices
    model.a_matrix_.value_ = program.A.data
    kinds = (highspy.HighsVarType.kContinuous, highspy.HighsVarType.kInteger)
    model.integrality_ = [kinds[int(whole)] for whole in program.integer]
    return model


def _subscribe(highs: Any, report: Callable[[Progress], None]) -> None:
    def tell(event: Any) -> None:
        out = event.data_out
        report(Progress(out.running_time, out.mip_primal_bound, out.mip_dual_bound))

    highs.cbMipInterrupt.subscribe(tell)


def _answer(highs: Any) -> Answer:
    status = highs.getModelStatus()
    info = highs.getInfo()
    late = status == highspy.HighsModelStatus.kTimeLimit
    nodes = max(int(info.mip_node_count), 0)
    found = info.primal_solution_status == highspy.SolutionStatus.kSolutionStatusFeasible
    if not found:
        stopped = status in (
            highspy.HighsModelStatus.kInfeasible,
            highspy.HighsModelStatus.kUnboundedOrInfeasible,
        )
        bound = math.inf if stopped else float(info.mip_dual_bound)
        return Answer("infeasible" if stopped else "feasible", None, math.inf, bound, nodes, late)
    z = np.array(highs.getSolution().col_value)
    objective, bound = float(info.objective_function_value), float(info.mip_dual_bound)
    proven = status == highspy.HighsModelStatus.kOptimal
    return Answer("optimal" if proven else "feasible", z, objective, bound, nodes, late)
