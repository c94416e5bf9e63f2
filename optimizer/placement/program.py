"""The mixed-integer program of a plan, as a Pyomo model; the only file that imports Pyomo.

Symbols: x_c = 1 where candidate c is placed; n_p packs of product p bought; q_k linear quantity
of criterion k; e_k its excess beyond the limit, in units of the limit.

    minimise   sum_k w_k e_k + TIE * (cost / budget)

Each `define_*` function adds one family of constraints; FAMILIES lists those of a plan (those of
ORDER add the rows of a rule of order, whose own columns are y),
STAGE_FAMILIES those that join the plans of a purchase in stages (one block each), APART_FAMILIES
those that keep a plan apart from others. `cost` is in cents.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import pyomo.environ as pyo
from numpy.typing import NDArray
from pyomo.common.gc_manager import PauseGC
from pyomo.core.expr.numeric_expr import LinearExpression
from pyomo.repn.plugins.standard_form import LinearStandardFormCompiler
from scipy import sparse

from optimizer.placement.effects import Effects
from optimizer.room.geometry import Floats

TIE = 1e-3  # what the whole budget is worth in units of the score: decides among equals only
ROUNDING = 1e-12  # coefficients below this are left out


@dataclass(frozen=True)
class Matrices:
    """minimise cost @ z + offset with row_low <= A z <= row_high, low <= z <= high; z (N,).

    `integer` (N,) marks whole-number columns; the first C columns are the candidates.
    """

    cost: Floats
    offset: float
    A: sparse.csc_matrix
    row_low: Floats
    row_high: Floats
    low: Floats
    high: Floats
    integer: NDArray[np.bool_]
    names: tuple[str, ...]


def build_program(effects: Effects) -> pyo.ConcreteModel:
    """The model of a plan, constraint family by family."""
    model = pyo.ConcreteModel()
    with PauseGC():  # it makes many small things that all stay; looking for waste took four fifths
        define_variables(model, effects)
        define_objective(model, effects)
        for define in FAMILIES.values():
            define(model, effects)
    return model


def build_staged(stages: Sequence[Effects], weights: Sequence[float]) -> pyo.ConcreteModel:
    """The model of one plan per stage, `stage[s]` each, that keeps what the stage before has.

    Stages differ in budget only; `weights` (S,) count them in the objective. What the last stage
    keeps apart is apart in all, so earlier ones need no rows of cover.
    """
    model = pyo.ConcreteModel()
    model.stage = pyo.Block(range(len(stages)))
    coefs, variables = [], []
    with PauseGC():
        for s, (effects, weight) in enumerate(zip(stages, weights, strict=True)):
            block = model.stage[s]
            define_variables(block, effects)
            terms, counted = _score(block, effects)
            coefs += [weight * term for term in terms]
            variables += counted
            for name, define in FAMILIES.items():
                if name != "cover" or s == len(stages) - 1:
                    define(block, effects)
        model.score = pyo.Objective(expr=_linear(coefs, variables))
        for join in STAGE_FAMILIES.values():
            join(model, stages)
    return model


def build_apart(effects: Effects, others: Sequence["Other"]) -> pyo.ConcreteModel:
    """The model of a plan that stays apart from others."""
    model = build_program(effects)
    for define in APART_FAMILIES.values():
        define(model, others)
    return model


def define_variables(model: pyo.ConcreteModel, effects: Effects) -> None:
    """x_c in {0, 1}; n_p whole, at most what the budget buys; q_k free; e_k >= 0."""
    criteria = range(len(effects.base))
    most = [_most_packs(effects, p) for p in range(len(effects.pack))]
    model.x = pyo.Var(range(effects.count), domain=pyo.Binary)
    model.n = pyo.Var(
        range(len(effects.pack)),
        domain=pyo.NonNegativeIntegers,
        bounds=lambda _, p: (0, most[p]),
    )
    model.q = pyo.Var(criteria)
    model.e = pyo.Var(criteria, domain=pyo.NonNegativeReals)


def _most_packs(effects: Effects, product: int) -> int:
    usable = int(effects.pieces[effects.product == product].sum())
    useful = -(-usable // int(effects.pack[product]))
    price = int(effects.price_cents[product])
    return min(useful, effects.budget_cents // price) if price > 0 else useful


def define_objective(model: pyo.ConcreteModel, effects: Effects) -> None:
    """Weighted excess, then money: sum_k w_k e_k + TIE * sum_p price_p n_p / budget."""
    model.score = pyo.Objective(expr=_linear(*_score(model, effects)))


def _score(model: pyo.ConcreteModel, effects: Effects) -> tuple[list[float], list[object]]:
    money = TIE * (effects.price_cents / max(effects.budget_cents, 1))
    coefs = [*effects.criteria.weights.tolist(), *money.tolist()]
    return coefs, [*model.e.values(), *model.n.values()]


def define_quantity(model: pyo.ConcreteModel, effects: Effects) -> None:
    """q_k = base_k + sum_c change_kc x_c. A row that counts for nothing is left free."""

    def rule(_: pyo.ConcreteModel, k: int) -> object:
        if effects.criteria.weights[k] <= 0:
            return pyo.Constraint.Skip
        places = np.flatnonzero(np.abs(effects.change[k]) > ROUNDING)
        coefs = [-1.0, *effects.change[k, places].tolist()]
        return _linear(coefs, [model.q[k], *(x[c] for c in places.tolist())]) == -effects.base[k]

    x = list(model.x.values())  # a list is looked up in sooner
    model.quantity = pyo.Constraint(range(len(effects.base)), rule=rule)


def define_excess(model: pyo.ConcreteModel, effects: Effects) -> None:
    """e_k >= slope_kt q_k + intercept_kt, tangents to the convex excess over its reach.

    Does nothing for a row of weight zero.
    """
    model.excess = pyo.ConstraintList()
    reach_low, reach_high = reachable(effects)
    for k, weight in enumerate(effects.criteria.weights):
        if weight <= 0:
            continue
        for slope, intercept in effects.criteria.tangents(k, reach_low[k], reach_high[k]):
            model.excess.add(_linear([1.0, -slope], [model.e[k], model.q[k]]) >= intercept)


def reachable(effects: Effects) -> tuple[Floats, Floats]:
    """Least and greatest quantity (K,) that any selection could reach, overlaps ignored."""
    low = effects.base + np.minimum(effects.change, 0.0).sum(axis=1)
    high = effects.base + np.maximum(effects.change, 0.0).sum(axis=1)
    return low, high


def define_cover(model: pyo.ConcreteModel, effects: Effects) -> None:
    """sum of x_c over the candidates that cover a cell <= 1. Does nothing without overlaps."""
    x = list(model.x.values())
    sets = [row.tolist() for row in effects.cover]
    model.cover = pyo.Constraint(
        range(len(sets)),
        rule=lambda _, j: _linear([1.0] * len(sets[j]), [x[c] for c in sets[j]]) <= 1,
    )


def define_packs(model: pyo.ConcreteModel, effects: Effects) -> None:
    """sum_c pieces_c x_c <= owned_p + pack_p n_p for each product that has candidates."""

    def rule(_: pyo.ConcreteModel, p: int) -> object:
        places = np.flatnonzero(effects.product == p)
        if not len(places):
            return pyo.Constraint.Skip
        coefs = [*effects.pieces[places].astype(float).tolist(), -float(effects.pack[p])]
        variables = [*(model.x[c] for c in places), model.n[p]]
        return _linear(coefs, variables) <= float(effects.owned[p])

    model.packs = pyo.Constraint(range(len(effects.pack)), rule=rule)


def define_budget(model: pyo.ConcreteModel, effects: Effects) -> None:
    """sum_p price_p n_p <= budget, in cents over their common divisor.

    The divisor keeps the program, and so the plan, the same whatever the currency's scale.
    """
    unit = max(int(np.gcd.reduce([*effects.price_cents, effects.budget_cents])), 1)
    prices = (effects.price_cents // unit).astype(float).tolist()
    model.budget = pyo.Constraint(
        expr=_linear(prices, list(model.n.values())) <= float(effects.budget_cents // unit)
    )


def define_wished(model: pyo.ConcreteModel, effects: Effects) -> None:
    """sum of x_c over the candidates of a wish >= 1. Does nothing without wishes."""
    model.wished = pyo.Constraint(
        range(len(effects.wished)),
        rule=lambda _, j: (
            _linear([1.0] * len(effects.wished[j]), [model.x[c] for c in effects.wished[j]]) >= 1
        ),
    )


@dataclass(frozen=True)
class Other:
    """A plan to stay apart from, by where its area lies over groups of candidates.

    `area` (C,) and `group` (C,) of every candidate, `share` (G,) of the plan's area in each group
    (adding up to one), `most` (G,) area that any plan could have in a group, `least` share of the
    area that must lie elsewhere (0 to 1).
    """

    area: Floats
    group: NDArray[np.int64]
    share: Floats
    most: Floats
    least: float


def define_kept(model: pyo.ConcreteModel, stages: Sequence[Effects]) -> None:
    """x_cs <= x_c,s+1 and n_ps <= n_p,s+1: what hangs stays, what is bought stays bought.

    Does nothing for one stage.
    """
    model.kept = pyo.ConstraintList()
    for s in range(len(stages) - 1):
        early, late = model.stage[s], model.stage[s + 1]
        for first, second in ((early.x, late.x), (early.n, late.n)):
            for i in first:
                model.kept.add(_linear([1.0, -1.0], [first[i], second[i]]) <= 0.0)


def define_apart(model: pyo.ConcreteModel, others: Sequence[Other]) -> None:
    """sum_g min(a_g, share_jg a) <= (1 - least_j) a for each other plan j, a_g area in group g.

    a = sum_g a_g. The left side is the area that lies as plan j's does. Each minimum m_jg is held
    from below by a_g where b_jg = 0 and by share_jg a where b_jg = 1. Does nothing without others.
    """
    used = sorted({int(g) for other in others for g in np.flatnonzero(other.share > 0)})
    pairs = [(j, int(g)) for j, o in enumerate(others) for g in np.flatnonzero(o.share > 0)]
    model.a = pyo.Var(used, domain=pyo.NonNegativeReals)
    model.total = pyo.Var(domain=pyo.NonNegativeReals)
    model.m = pyo.Var(pairs, domain=pyo.NonNegativeReals)
    model.b = pyo.Var(pairs, domain=pyo.Binary)
    model.apart = pyo.ConstraintList()
    for g in used:
        _define_area(model, model.a[g], others[0].area * (others[0].group == g))
    if others:
        _define_area(model, model.total, others[0].area)
    for j, g in pairs:
        share, most = float(others[j].share[g]), float(others[j].most[g])
        whole = share * float(others[j].most.sum())
        low, choice = model.m[j, g], model.b[j, g]
        model.apart.add(_linear([1.0, -1.0, most], [low, model.a[g], choice]) >= 0.0)
        model.apart.add(_linear([1.0, -share, -whole], [low, model.total, choice]) >= -whole)
    for j, other in enumerate(others):
        alike = [model.m[i, g] for i, g in pairs if i == j]
        coefs = [*[1.0] * len(alike), other.least - 1.0]
        model.apart.add(_linear(coefs, [*alike, model.total]) <= 0.0)


def _define_area(model: pyo.ConcreteModel, variable: object, area: Floats) -> None:
    places = np.flatnonzero(area > 0)
    coefs = [-1.0, *area[places].tolist()]
    model.apart.add(_linear(coefs, [variable, *(model.x[c] for c in places)]) == 0.0)


def order_family(name: str) -> Callable[[pyo.ConcreteModel, Effects], None]:
    """The family of a rule of order: A x + B y <= high, its rows (optimizer.placement.order).

    Does nothing for effects without that rule.
    """

    def define(model: pyo.ConcreteModel, effects: Effects) -> None:
        rows = effects.order.rows(name)
        if rows is None:
            return
        A, B, x = rows.A.tocsr(), rows.B.tocsr(), list(model.x.values())
        kinds = (pyo.UnitInterval, pyo.Binary)
        y = pyo.Var(range(B.shape[1]), domain=lambda _, i: kinds[int(i < rows.whole)])
        model.add_component(f"{name}_y", y)

        def rule(_: pyo.ConcreteModel, j: int) -> object:
            coefs, variables = [], []
            for table, group in ((A, x), (B, y)):
                part = slice(table.indptr[j], table.indptr[j + 1])
                coefs += table.data[part].tolist()
                variables += [group[i] for i in table.indices[part].tolist()]
            if not variables:
                return pyo.Constraint.Skip
            return _linear(coefs, variables) <= float(rows.high[j])

        model.add_component(name, pyo.Constraint(range(A.shape[0]), rule=rule))

    return define


ORDER = ("lines", "rail", "stacks", "clouds", "kinds", "pieces", "company", "changes")
FAMILIES: dict[str, Callable[[pyo.ConcreteModel, Effects], None]] = {
    "quantity": define_quantity,
    "excess": define_excess,
    "cover": define_cover,
    "packs": define_packs,
    "budget": define_budget,
    "wished": define_wished,
    **{name: order_family(name) for name in ORDER},
}
STAGE_FAMILIES: dict[str, Callable[[pyo.ConcreteModel, Sequence[Effects]], None]] = {
    "kept": define_kept,
}
APART_FAMILIES: dict[str, Callable[[pyo.ConcreteModel, Sequence[Other]], None]] = {
    "apart": define_apart,
}


def matrices(model: pyo.ConcreteModel) -> Matrices:
    """The model's arrays, candidates first, as the solver wants them."""
    form = LinearStandardFormCompiler().write(model, mixed_form=True, set_sense=pyo.minimize)
    columns = list(form.columns)
    place = {id(v): i for i, v in enumerate(columns)}
    named = [v for v in model.component_objects(pyo.Var) if v.local_name == "x"]
    ordered = [v for group in named for v in group.values() if id(v) in place]
    first = [place[id(v)] for v in ordered]
    order = first + sorted(set(range(len(columns))) - set(first))
    chosen = [columns[i] for i in order]
    kinds = np.array([row.bound_type for row in form.rows])
    rhs = np.asarray(form.rhs, dtype=float)
    return Matrices(
        cost=np.asarray(form.c.todense()).ravel()[order],
        offset=float(np.asarray(form.c_offset).ravel()[0]),
        A=form.A.tocsc()[:, order],
        row_low=np.where(kinds <= 0, rhs, -np.inf),
        row_high=np.where(kinds >= 0, rhs, np.inf),
        low=np.array([-np.inf if v.lb is None else float(v.lb) for v in chosen]),
        high=np.array([np.inf if v.ub is None else float(v.ub) for v in chosen]),
        integer=np.array([v.is_integer() or v.is_binary() for v in chosen]),
        names=tuple(v.name for v in chosen),
    )


def _linear(coefs: list[float], variables: list[object]) -> LinearExpression:
    return LinearExpression(constant=0.0, linear_coefs=coefs, linear_vars=variables)
