"""How a program's answer is proven: a relaxation, a search among few candidates, then the rest.

Most candidates are out of the question, and the relaxation of a program shows which: none whose
reduced cost is more than what still lies between the relaxation and the gap can be in a selection
that is not proven already. So the candidates of least reduced cost are decided first, to have a
good selection soon. What that leaves in question is then searched for any selection below the bound
aimed at, first without the rules of order that help a proof least.
"""

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass

import numpy as np

from optimizer.faults import UntrustedSolutionError
from optimizer.placement.cuts import check_lines, with_tangents
from optimizer.placement.effects import Effects
from optimizer.placement.effort import Effort
from optimizer.placement.order import Ints
from optimizer.placement.program import TIE, Matrices
from optimizer.placement.root import FEW, at_the_root, without_rules
from optimizer.placement.solver import FEASIBLE, NEGLIGIBLE, Progress, solve
from optimizer.room.geometry import Floats

AGAIN = 0.8  # of the gap to which a program is solved again whose tangents understated it
WEAK = ("kinds", "company")  # rules that cost a solver much and lift a bound little
FINER = 0.5  # gap of the search among few candidates, which is to find a good selection
FIRST_SHARE = 0.2  # of the effort: the search among few candidates

Report = Callable[[Progress], None]

Held = tuple[Ints, ...]  # a selection per block of the program, one for a plain plan


@dataclass(frozen=True)
class Problem:
    """A program, and how its answers are judged and made better.

    `blocks`: what the names of a block's columns begin with, and the effects decided there, each
    counted with its weight. `polish` drops what is superfluous; `extra` gives columns besides
    candidates and packs; `known_bound` lies below every objective; above `cutoff` none is wanted.
    UntrustedSolutionError when the program holds an excess above the exact one.
    """

    program: Matrices
    blocks: dict[str, Effects]
    weights: tuple[float, ...]
    polish: Callable[[Held], Held]
    extra: Callable[[Held], dict[str, float]] = lambda _: {}
    known_bound: float = 0.0
    cutoff: float = math.inf

    def __post_init__(self) -> None:
        for block, effects in self.blocks.items():
            check_lines(self.program, effects, block)

    def value(self, held: Held) -> float:
        """Exact objective of selections (one per block)."""
        each = zip(self.weights, self.blocks.values(), held, strict=True)
        return sum(weight * objective(effects, chosen) for weight, effects, chosen in each)

    def held_by(self, bound: float, held: Held) -> float:
        """A bound, no higher than the objective of selections (`held_by`)."""
        value = self.value(held)
        return held_by(bound, value, slack(self.blocks.values(), self.weights, value))

    def named(self, held: Held) -> set[str]:
        """The columns of the candidates of selections."""
        each = zip(self.blocks, held, strict=True)
        return {f"{block}x[{c}]" for block, chosen in each for c in chosen}


def held_by(bound: float, value: float, slack: float) -> float:
    """A bound, no higher than the objective it holds for: rounding may lift it by the slack.

    UntrustedSolutionError when it lies higher than that.
    """
    if bound > value + slack or math.isnan(bound):
        raise UntrustedSolutionError(
            f"an objective of {value:.9g} lies below its bound {bound:.9g}"
        )
    return min(bound, value)


def slack(blocks: Iterable[Effects], weights: tuple[float, ...], value: float) -> float:
    """How far rounding may lift a bound: the solver's tolerance in each excess, and of the value.

    `weights` count the blocks.
    """
    counted = (
        w * effects.criteria.weights.sum() for w, effects in zip(weights, blocks, strict=True)
    )
    return float(FEASIBLE * (sum(counted) + max(1.0, value)))


def prove(
    problem: Problem, first: Held, gap: float, effort: Effort, report: Report | None = None
) -> tuple[Held, float]:
    """The best selections found from first ones with an effort, and the bound proven.

    UntrustedSolutionError when a bound lies above what was found.
    """
    best, known = problem.polish(first), problem.known_bound
    root = at_the_root(problem.program, problem.blocks, effort.guard.left())
    if root is None:
        return _searched(problem, problem.program, best, (known, math.inf), gap, effort, report)
    few = root.least(problem.named(best))
    first_effort = effort.share(FIRST_SHARE)
    best, _ = _searched(problem, few, best, (known, math.inf), FINER * gap, first_effort, report)
    aim = _aim(problem, best, gap)
    known = max(known, min(root.bound, aim))
    if known >= aim:
        return best, problem.held_by(known, best)
    program = _touching(problem, root.program, best)
    left, beyond = root.below(program, aim, problem.named(best))
    loose = without_rules(left, WEAK)
    bound, exhausted = _none_below(problem, loose, aim, gap, effort, report)
    known = max(known, min(bound, beyond))
    if exhausted:
        return best, problem.held_by(known, best)
    return _searched(problem, left, best, (known, beyond), gap, effort, report, begun=True)


def promising(problem: Problem, first: Held, gap: float, effort: Effort) -> Held:
    """Good selections, from first ones, among the FEW candidates of least reduced cost; nothing is
    proven of others."""
    best = problem.polish(first)
    root = at_the_root(problem.program, problem.blocks, effort.guard.left(), FEW)
    few = problem.program if root is None else root.least(problem.named(best))
    return _searched(problem, few, best, (problem.known_bound, math.inf), gap, effort, None)[0]


def _aim(problem: Problem, held: Held, gap: float) -> float:
    """The bound that proves selections to the gap, or that there are none below the cutoff."""
    value = problem.value(held)
    if value > problem.cutoff:
        return problem.cutoff
    return value - gap * max(value, NEGLIGIBLE)


def _none_below(
    problem: Problem, program: Matrices, aim: float, gap: float, effort: Effort,
    report: Report | None,
) -> tuple[float, bool]:  # fmt: skip
    """A bound, at most the one aimed at, of the selections in a program; and whether that is all
    to be had from it: none below the aim was found.

    The program may lack rules: what it has none of, a program with them has none of either.
    """
    touched: set[tuple[tuple[int, ...], ...]] = set()
    nodes, guard = effort.nodes, effort.guard
    while True:
        answer = solve(program, gap, guard.left(), None, report, aim, max(nodes, 0), begun=True)
        nodes -= answer.nodes
        guard.cut = guard.cut or answer.late
        bound = min(answer.bound, aim)
        if answer.z is None or answer.objective >= aim:
            return bound, bound >= aim
        found = _found(problem, program, answer.z)
        key = tuple(tuple(chosen.tolist()) for chosen in found)
        if problem.value(found) < aim or answer.status != "optimal" or key in touched:
            return bound, False
        touched.add(key)
        program = _touching(problem, program, found)


def _searched(
    problem: Problem,
    program: Matrices,
    best: Held,
    bounds: tuple[float, float],
    gap: float,
    effort: Effort,
    report: Report | None,
    begun: bool = False,
) -> tuple[Held, float]:
    """The best selections found among a program's candidates from some, and the bound proven.

    `bounds`: one known for all selections, and one for those with any candidate not in the program.
    `begun` with selections that another search has found.

    The program's tangents may understate the excess of what it finds by more than the gap asked
    for allows. Then lines touching the excess there are added and it is solved again, until the
    gap is proven or the same selections come back, which no line can change any more.
    UntrustedSolutionError when a bound lies above what was found.
    """
    bound, beyond = bounds
    touched: set[tuple[tuple[int, ...], ...]] = set()
    share, nodes, guard = 1.0, effort.nodes, effort.guard
    while True:
        start = _start(problem, program, best)
        answer = solve(
            program, share * gap, guard.left(), start, report, problem.cutoff, max(nodes, 0), begun
        )
        nodes -= answer.nodes
        guard.cut = guard.cut or answer.late
        found = best if answer.z is None else _found(problem, program, answer.z)
        best = min(best, problem.polish(found), key=problem.value)
        bound = max(bound, min(answer.bound, problem.cutoff, beyond))
        bound = problem.held_by(bound, best)
        proven = relative(problem.value(best), bound) <= gap
        key = tuple(tuple(chosen.tolist()) for chosen in found)
        if proven or answer.status != "optimal" or key in touched:
            return best, bound
        touched.add(key)
        share = AGAIN
        program = _touching(problem, program, found)


def _touching(problem: Problem, program: Matrices, held: Held) -> Matrices:
    """The program with lines that touch the excess of selections."""
    for (block, effects), chosen in zip(problem.blocks.items(), held, strict=True):
        program = with_tangents(program, effects, effects.quantities(chosen), block)
    return program


def relative(value: float, bound: float) -> float:
    """The gap between an objective and a bound, or another objective, in units of the first.

    Objectives below NEGLIGIBLE count as that.
    """
    return (value - bound) / max(value, NEGLIGIBLE)


def objective(effects: Effects, chosen: Ints) -> float:
    """Exact objective of a selection: weighted excess, then money."""
    cost = effects.cost_cents(chosen)
    return effects.score(chosen) + TIE * (cost / max(effects.budget_cents, 1))


def _start(problem: Problem, program: Matrices, held: Held) -> Floats:
    """Columns to begin from: the candidates of selections, the packs they need, and extras."""
    values = problem.extra(held)
    for (block, effects), chosen in zip(problem.blocks.items(), held, strict=True):
        values |= {f"{block}x[{c}]": 0.0 for c in range(effects.count)}
        values |= {f"{block}x[{c}]": 1.0 for c in chosen}
        values |= {f"{block}n[{p}]": float(n) for p, n in enumerate(effects.packs(chosen))}
        values |= {f"{block}{name}": y for name, y in effects.order.columns(chosen).items()}
    return np.array([values.get(name, math.nan) for name in program.names])


def _found(problem: Problem, program: Matrices, z: Floats) -> Held:
    """Candidate indices that the solver set to one, block by block."""
    picked = [name for name, value in zip(program.names, z, strict=True) if value > 0.5]
    return tuple(
        np.array(
            [int(n[len(block) + 2 : -1]) for n in picked if n.startswith(f"{block}x[")],
            dtype=np.int64,
        )
        for block in problem.blocks
    )
