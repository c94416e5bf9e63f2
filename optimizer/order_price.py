"""What order costs: the plan that would be found without it, and with a stricter one.

Each is chosen roughly and told by the quick models, both with the corrections of the plan that
there is, so that it can be held against that plan's judged score. Full plans with and without order
are in tests/evidence/order_price.md.
"""

from dataclasses import replace

from optimizer.placement.effort import Effort
from optimizer.placement.layouts import FINEST
from optimizer.placement.pieces import treated
from optimizer.placement.plan import select
from optimizer.planning import Planned, decision_of
from optimizer.project import Project
from optimizer.results.model import OtherOrder
from optimizer.room.layout import FREE, OrderRules, as_section, stricter
from optimizer.round_record import Told

ROUGH = 0.03  # gap of each
SHARE = 0.1  # of the effort of a plan


def order_prices(made: Planned, tell: Told, all_orders: bool = False) -> tuple[OtherOrder, ...]:
    """The score without order and, where `all_orders` are asked for, with a stricter one; nothing
    once the time is over."""
    rules = made.project.scenario.layout.rules
    others = [("without order", FREE)] if rules != FREE else []
    name, more = stricter(rules)
    others += [(name, more)] if all_orders and more != rules else []
    found = []
    for name, other in others:
        if made.guard.over():
            break
        tell(f"what the plan would be {name}")
        found.append(OtherOrder(name, _score(made, other), stricter=other is more))
    return tuple(found)


def on_usual_grid(project: Project) -> Project:
    """The project without a grid of its own that is finer than the usual one: order leaves few
    places of a fine grid, and without it there would be very many."""
    limits = project.scenario.limits
    if limits.grid is None or limits.grid >= FINEST:
        return project
    limits = limits.model_copy(update={"grid": None})
    return replace(project, scenario=replace(project.scenario, limits=limits))


def _score(made: Planned, rules: OrderRules) -> float:
    solved: Project = on_usual_grid(made.decision.project.with_layout(as_section(rules)))
    decision, best = decision_of(made.decision.flipped, solved), made.rounds.best
    criteria, factors = decision.effects.criteria, best.judged.factors
    low, high = criteria.limits
    limited = replace(
        decision.effects, criteria=criteria.with_limits(low / factors, high / factors)
    )
    effort = Effort(guard=made.guard).share(SHARE)
    chosen = select(limited, ROUGH, effort).chosen
    pieces = [piece for c in chosen for piece in decision.candidates[c].pieces]
    scene = treated(solved.room, solved.scene, pieces)
    return best.judged.corrected.score(criteria.quantities(scene))
