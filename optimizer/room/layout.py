"""How orderly a plan must be: three levels, each rule of which can also be set alone.

Levels and figures are ours; what they are built on is common practice in hanging pictures, no
source: one gap in a group, edges or centres that agree, groups hung as one.
"""

from dataclasses import dataclass, replace
from typing import Annotated, Literal

from pydantic import Field

from optimizer.room.sane import between
from optimizer.room.schema import Metres, Number, Section

Level = Literal["gallery", "tidy", "free"]
LEVELS: tuple[Level, ...] = ("gallery", "tidy", "free")  # the strictest first
Flag = Annotated[bool, Field(strict=True)]
Limit = Annotated[int, Field(strict=True), between(0, 1000)]  # 0: as many as one likes
FewLines = Annotated[int, Field(strict=True), between(0, 3)]


@dataclass(frozen=True)
class OrderRules:
    """The rules in force; 0 of a number of things and 100 percent alone mean no limit.

    `lines` on a wall, `blocks` whether pieces come as blocks with one gap, `clouds` blocks on a
    ceiling, `stacks` whether corner pieces stand on one another from the floor, `lowest_edge` in m,
    `kinds` of product, `pieces` in all, `alone_percent` of the pieces that hang by themselves,
    `one_rail` whether curtains over one window hang at one height.
    """

    lines: int = 0
    blocks: bool = False
    clouds: int = 0
    stacks: bool = False
    lowest_edge: float = 0.0
    kinds: int = 0
    pieces: int = 0
    alone_percent: float = 100.0
    one_rail: bool = False


FREE = OrderRules()
RULES: dict[Level, OrderRules] = {
    "gallery": OrderRules(2, True, 2, True, 0.3, 4, 30, 20.0, True),
    "tidy": OrderRules(3, True, 3, True, 0.3, 6, 0, 50.0, True),
    "free": FREE,
}


def stricter(rules: OrderRules) -> tuple[str, OrderRules]:
    """A stricter order than these rules, and its name."""
    gallery = RULES["gallery"]
    if rules == FREE:
        return 'in the order "gallery"', gallery
    one = replace(rules, lines=1, clouds=1, kinds=2, alone_percent=0.0)
    return "with one line on each wall, one block overhead, two kinds and no piece alone", one


def as_section(rules: OrderRules) -> "LayoutSection":
    """A section that sets just these rules."""
    return LayoutSection(level="free", **vars(rules))


class LayoutSection(Section):
    """How orderly the plan must be: a level, and rules that differ from those of the level."""

    level: Level = "gallery"
    lines: FewLines | None = None
    blocks: Flag | None = None
    clouds: Limit | None = None
    stacks: Flag | None = None
    lowest_edge: Annotated[Metres, between(0, 3, "m")] | None = None
    kinds: Limit | None = None
    pieces: Limit | None = None
    alone_percent: Annotated[Number, between(0, 100, "percent")] | None = None
    one_rail: Flag | None = None

    @property
    def rules(self) -> OrderRules:
        """The rules in force."""
        level = RULES[self.level]
        own = {key: getattr(self, key) for key in OrderRules.__dataclass_fields__}
        return OrderRules(
            **{key: getattr(level, key) if own[key] is None else own[key] for key in own}
        )
