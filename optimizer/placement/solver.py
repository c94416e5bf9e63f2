"""HiGHS at work on a program's matrices; the only file that imports it."""

import math
import os
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

import highspy
import numpy as np

from optimizer.placement.program import Matrices
from optimizer.room.geometry import Floats

FEASIBLE = 1e-6  # how far a row or a whole number may be off
NEGLIGIBLE = 0.01  # an objective below this counts as this when a relative gap is taken


@dataclass(frozen=True)
class Progress:
    """Where a running solve stands: seconds so far, best objective, proven bound (may be inf)."""

    seconds: float
    objective: float
    bound: float


@dataclass(frozen=True)
class Answer:
    """What the solver found: `status` optimal, feasible or infeasible; `z` the columns or None."""

    status: str
    z: Floats | None
    objective: float
    bound: float
    seconds: float


def solve(
    program: Matrices,
    gap: float,
    time_limit: float,
    start: Floats | None = None,
    report: Callable[[Progress], None] | None = None,
    threads: int = 0,
    cutoff: float = math.inf,
) -> Answer:
    """Best columns within a relative gap (of objectives above NEGLIGIBLE) or a time limit in s.

    `start` (N,) are columns to begin from (nan = unknown). At the time limit the best plan found
    is returned with its bound and status "feasible". Objectives above `cutoff` are not looked for:
    "infeasible" then means that there is none below it.
    """
    began = time.monotonic()
    with _quiet():
        highs = highspy.Highs()
    for option, value in {
        "output_flag": False,
        # Presolve takes as long as the search and finds little that reduced costs do not fix.
        "presolve": "off",
        "mip_rel_gap": gap,
        "mip_abs_gap": gap * NEGLIGIBLE,
        "mip_feasibility_tolerance": FEASIBLE,
        "time_limit": max(time_limit, 0.0),
        "random_seed": 0,
        "threads": threads,
        "objective_bound": cutoff,
    }.items():
        highs.setOptionValue(option, value)
    highs.passModel(_model(program))
    if start is not None:
        known = np.flatnonzero(~np.isnan(start)).astype(np.int32)
        highs.setSolution(len(known), known, start[known])
    if report is not None:
        _subscribe(highs, report)
    highs.run()
    return _answer(highs, time.monotonic() - began)


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


def _answer(highs: Any, seconds: float) -> Answer:
    status = highs.getModelStatus()
    info = highs.getInfo()
    found = info.primal_solution_status == highspy.SolutionStatus.kSolutionStatusFeasible
    if not found:
        stopped = status in (
            highspy.HighsModelStatus.kInfeasible,
            highspy.HighsModelStatus.kUnboundedOrInfeasible,
        )
        bound = math.inf if stopped else float(info.mip_dual_bound)
        return Answer("infeasible" if stopped else "feasible", None, math.inf, bound, seconds)
    z = np.array(highs.getSolution().col_value)
    objective, bound = float(info.objective_function_value), float(info.mip_dual_bound)
    proven = status == highspy.HighsModelStatus.kOptimal
    return Answer("optimal" if proven else "feasible", z, objective, bound, seconds)
