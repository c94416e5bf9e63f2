"""Rules of the room file in words: what each stops, and what a plan would gain without it."""

from collections.abc import Sequence

from optimizer.placement.lifting import InTheWay
from optimizer.placement.pieces import Piece
from optimizer.results.model import Plan
from optimizer.results.words import surface_in_words
from optimizer.room.layout import OrderRules
from optimizer.room.model import Room
from optimizer.room.schema import LimitsSection
from optimizer.units import format_length

LIFT = "Lift a rule only where codes, the landlord and your head allow it."


def rule_in_words(key: str, limits: LimitsSection, units: str = "m") -> str:
    """A rule by its key in [limits], with its value."""
    said = {
        "no_holes": "no holes",
        "no_mountings": f"no mounting on {', '.join(limits.no_mountings)}",
        "nothing_overhead": "nothing overhead",
        "fire_class": f"fire class {limits.fire_class} at least",
        "banned_products": "banned products",
        "max_depth": f"pieces stand out at most {format_length(limits.max_depth, units)}",
        "headroom": f"headroom of {format_length(limits.headroom, units)} where people walk",
        "head_depth": "pieces at head height where people walk stand out at most "
        f"{format_length(limits.head_depth, units)}",
        "keep_clear": "boxes to keep clear",
    }
    return f"{said[key]} (limits.{key})"


def order_rule_in_words(name: str, rules: OrderRules) -> str:
    """A rule of order lifted, by the name of its rows in the program, with its key in [layout]."""
    said = {
        "lines": (f"more than {rules.lines} lines on a wall", "lines"),
        "rail": ("curtains over one window at several heights", "one_rail"),
        "stacks": ("corner pieces that stand on nothing", "stacks"),
        "clouds": (f"more than {rules.clouds} groups overhead", "clouds"),
        "kinds": (f"more than {rules.kinds} kinds of product", "kinds"),
        "pieces": (f"more than {rules.pieces} pieces", "pieces"),
        "company": (f"more than {rules.alone_percent:g} % of the pieces alone", "alone_percent"),
    }
    what, key = said[name]
    return f"{what} (layout.{key})"


def rules_in_words(plan: Plan, units: str = "m") -> list[str]:
    """One sentence per rule that costs the plan, the dearest first; none where none does."""
    project = plan.project
    return [_sentence(rule, project.room, project.scenario.limits, units)
            for rule in plan.in_the_way]  # fmt: skip


def _sentence(rule: InTheWay, room: Room, limits: LimitsSection, units: str) -> str:
    name = rule_in_words(rule.key, limits, units)
    stopped = pieces_in_words(rule.pieces, room)
    return (
        f"{name[:1].upper()}{name[1:]}: stops {stopped}. Without this rule the weighted excess "
        f"would be {rule.without:.3f} or less instead of {rule.score:.3f} (quick models)."
    )


def pieces_in_words(pieces: Sequence[Piece], room: Room) -> str:
    """Products by count with their surfaces: "2 x ceiling cloud (ceiling)"."""
    surfaces = {surface.name: surface for surface in room.surfaces}
    counts: dict[str, int] = {}
    for piece in pieces:
        where = " and ".join(surface_in_words(surfaces[n]) for n, _ in piece.rects)
        text = f"{piece.product.name} ({where})"
        counts[text] = counts.get(text, 0) + 1
    return "; ".join(f"{count} x {text}" for text, count in counts.items())
