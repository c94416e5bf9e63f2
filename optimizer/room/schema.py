"""The room file's sections as closed, frozen models: lengths in metres once read.

Every model refuses unknown keys. Checks that need more than one section (a speaker outside the
room, two windows that overlap) are in checks.py.
"""

from typing import Annotated, Any, Literal, Self

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, PrivateAttr

from optimizer.bands import N_BANDS
from optimizer.room import sane
from optimizer.room.sane import between
from optimizer.units import HOW_TO_WRITE, parse_length

FARTHEST = 1000.0  # metres; no coordinate or size of a room is larger


def length_in_metres(value: object) -> float:
    """As parse_length; ValueError as well for whole numbers too large for a float."""
    try:
        return parse_length(value)
    except OverflowError:
        raise ValueError(f"not a usable length; {HOW_TO_WRITE}") from None


Metres = Annotated[float, BeforeValidator(length_in_metres)]
Length = Annotated[Metres, between(-FARTHEST, FARTHEST, "m")]
Size = Annotated[Metres, between(0, FARTHEST, "m", above=True)]
NonNegativeLength = Annotated[Metres, between(0, FARTHEST, "m")]
Number = Annotated[float, Field(strict=True)]  # a number of the file, not true or "5"
Point = tuple[Length, Length, Length]
Box3 = tuple[Size, Size, Size]
Share = Annotated[Number, between(0, 1000)]
Name = Annotated[str, Field(min_length=1, max_length=80, pattern=r"^[^\x00-\x1f\x7f]*$")]
FileName = Annotated[str, Field(min_length=1, max_length=1000, pattern=r"^[^\x00-\x1f\x7f]*$")]

AreaKind = Literal[
    "window", "door", "closet", "opening", "vent", "heater", "detector", "switch",
    "rug", "curtain", "finish",
]  # fmt: skip
FurnitureKind = Literal[
    "sofa", "armchair", "desk", "table", "bookcase", "cabinet", "bed", "chair", "person",
    "rack", "other",
]  # fmt: skip
Mounting = Literal[
    "wall", "ceiling", "corner", "edge", "floor", "window", "stand", "lean", "pole", "adhesive",
]  # fmt: skip
OVERHEAD: frozenset[str] = frozenset({"ceiling", "edge"})  # what can come down on a head


class Section(BaseModel):
    """Base of every section: unknown keys refused, values frozen, NaN and infinity refused."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)
    _key: str = PrivateAttr(default="")

    @property
    def key(self) -> str:
        """Where the section stands in its file ("areas[2]"), for faults found later."""
        return self._key

    def at_key(self, key: str) -> Self:
        """The same section, knowing where it stands in its file."""
        self._key = key
        return self


class PlaneSection(Section):
    """One flat surface given by its corners, in order around it."""

    name: Name
    corners: Annotated[tuple[Point, ...], Field(min_length=3, max_length=40)]


class RoomSection(Section):
    """The room: a box by its three sizes, or any closed shape by its planes."""

    length: Annotated[Metres, between(1.5, 30, "m")] | None = None
    width: Annotated[Metres, between(1.5, 30, "m")] | None = None
    height: Annotated[Metres, between(1.5, 12, "m")] | None = None
    planes: tuple[PlaneSection, ...] = ()
    temperature_c: Annotated[Number, between(-10, 45, "degrees Celsius")] = 20.0
    humidity_percent: Annotated[Number, between(5, 100, "percent")] = 50.0
    skirting: Annotated[Metres, between(0, sane.HIGHEST_SKIRTING, "m")] = 0.0


class AreaSection(Section):
    """A rectangle on a surface that differs from the rest of it: window, door, closet, rug...

    `at` is the corner nearest to the surface's origin and `size` the extent, both along the
    surface: walls are measured along the wall (from the front wall, or from the left wall on the
    front and back walls) and up from the floor; floor and ceiling from the front and left walls.
    """

    surface: Name
    kind: AreaKind
    material: Name
    at: tuple[NonNegativeLength, NonNegativeLength]
    size: tuple[Size, Size]
    name: Name | None = None


class FurnitureSection(Section):
    """A piece of furniture or a person, as a box: lower front-left corner and three sizes."""

    kind: FurnitureKind
    at: Point
    size: Box3
    material: Name | None = None
    name: Name | None = None


class HungSection(Section):
    """A piece of the price list that hangs already and stays: its product, and where it is.

    `at` is the corner of the rectangle it covers nearest to the surface's origin, measured like an
    area; a piece in a corner names both walls ("front-left") and is measured on the first.
    """

    product: Name
    surface: Name
    at: tuple[NonNegativeLength, NonNegativeLength]
    gap: NonNegativeLength = 0.0
    turned: bool = False
    mounting: Mounting | None = None


Times = Annotated[tuple[Annotated[Number, between(0, 30, "s")], ...],
                  Field(min_length=N_BANDS, max_length=N_BANDS)]  # fmt: skip


class MeasuredSection(Section):
    """Decay once measured in the room in one state, and what was predicted for it before and
    after the materials were corrected by it, as `treatment calibrate` writes it.

    Seconds per octave band from 63 Hz to 8 kHz; 0 where nothing was measured. `error` is one
    standard error. Told in the report; nothing is computed from it.
    """

    state: Annotated[str, Field(min_length=1, max_length=1000, pattern=r"^[^\x00-\x1f\x7f]*$")]
    t20: Times
    error: Times
    before: Times
    after: Times


class SpeakerSection(Section):
    """A loudspeaker: its acoustic centre, and the seat or point it is aimed at."""

    name: Name
    at: Point
    aim: Point | None = None


class LoudspeakerSection(Section):
    """What the loudspeakers are like, for how much they radiate to their sides and rear."""

    directivity: Literal["two-way", "all-round"] = "two-way"
    cabinet_radius: Annotated[Metres, between(*sane.CABINET_RADIUS, "m")] = 0.14
    woofer_radius: Annotated[Metres, between(*sane.WOOFER_RADIUS, "m")] = 0.07
    tweeter_radius: Annotated[Metres, between(*sane.TWEETER_RADIUS, "m")] = 0.0125
    crossover_hz: Annotated[Number, between(300, 8000, "Hz")] = 2500.0


class SeatSection(Section):
    """A listening place: where the ears are. The first seat is the mix position."""

    name: Name
    at: Point
    weight: Annotated[Number, between(0, 10)] | None = None


Seconds = Annotated[Number, between(0, sane.LONGEST_TARGET, "s")]
Bands = Annotated[tuple[Seconds, ...], Field(min_length=N_BANDS, max_length=N_BANDS)]


class TargetsSection(Section):
    """What counts as good: the standard mask, or the person's own limits per octave band."""

    decay_low: Bands | None = None
    decay_high: Bands | None = None
    early: Literal["controlled", "reflection-free"] = "controlled"
    side_balance_percent: Annotated[Number, between(sane.LEAST_BALANCE, 100, "percent")] = 10.0
    pair_balance_percent: Annotated[Number, between(sane.LEAST_BALANCE, 100, "percent")] = 3.0


Deliveries = Annotated[dict[Name, Annotated[Number, between(0, 1e6)]], Field(max_length=50)]


class BudgetSection(Section):
    """The money: an amount, its currency, and the price list it is spent on.

    `delivery` is what each supplier of the price list asks for one delivery, whatever is bought;
    `tax_note` is printed below the shopping list as it is written.
    """

    amount: Annotated[Number, between(0, 1e9)]
    currency: Annotated[Name, Field(max_length=8)] = "EUR"
    catalogue: FileName
    delivery: Deliveries = {}
    tax_note: Annotated[str, Field(max_length=300, pattern=r"^[^\x00-\x1f\x7f]*$")] = ""


class KeepClearSection(Section):
    """A box in the room where no piece may be."""

    at: Point
    size: Box3
    name: Name | None = None


class LimitsSection(Section):
    """What the person, the landlord or the rules do not allow.

    `no_holes`: nothing that takes a hook, screw, plug or anchor. Where people walk, nothing hangs
    below `headroom`, and no piece between knee and head sticks out more than `head_depth`; below
    2 m none stands out more than `max_depth` anywhere (all in metres).
    """

    no_mountings: tuple[Mounting, ...] = ()
    no_holes: Annotated[bool, Field(strict=True)] = False
    nothing_overhead: bool = False
    max_depth: Size = 0.30
    headroom: Size = 2.0
    head_depth: Size = 0.10
    fire_class: str | None = None
    banned_products: tuple[Name, ...] = ()
    keep_clear: tuple[KeepClearSection, ...] = ()
    grid: Annotated[Metres, between(0.02, 2.0, "m")] | None = None


class ModelsSection(Section):
    """Which effects the models reckon with, and the highest octave of the wave equation in Hz."""

    edge_effect: Annotated[bool, Field(strict=True)] = True
    waves_up_to: Literal[250, 500, 1000] = 500


class WeightsSection(Section):
    """How much each group of criteria counts; 0 leaves a group out of the decision."""

    decay: Share = 1.0
    modes: Share = 1.0
    early: Share = 1.0
    late: Share = 0.5
    flutter: Share = 0.5
    side_balance: Share = 0.5
    pair_balance: Share = 0.5


Tables = Annotated[tuple[dict[str, Any], ...], Field(max_length=50)]
Names = Annotated[tuple[Name, ...], Field(max_length=50)]


class VariantSection(Section):
    """What one named variant changes in the room file.

    The values themselves are read by the sections they change: a couch of `add_furniture` by
    `FurnitureSection`, and so on, once they are laid over the rest of the file.
    """

    says: Annotated[str, Field(min_length=1, max_length=300)] | None = None
    remove: Names = ()
    add_furniture: Tables = ()
    add_areas: Tables = ()
    move: dict[Name, Any] = {}
    surfaces: dict[Name, Any] = {}
    ban_products: Names = ()
    allow_products: Names = ()
    ban_mountings: tuple[Mounting, ...] = ()
    allow_mountings: tuple[Mounting, ...] = ()
    only_mountings: Annotated[tuple[Mounting, ...], Field(min_length=1)] | None = None
    budget: Any = None
    limits: dict[str, Any] = {}
    layout: dict[str, Any] = {}
    targets: dict[str, Any] = {}
    weights: dict[str, Any] = {}
