"""A room file as text that a person can read and edit: tables with comments on what they mean."""

from collections.abc import Sequence
from typing import Any

from optimizer.tomlfile import MICROMETRE, lines
from optimizer.units import format_length
from optimizer.wizard.draft import Tables

HEAD = """\
# A room file, written by `treatment new`. Change what you like; mistakes are told line by line.
# Lengths are metres, or text with a unit ("7 ft 2 in", "85 cm").
# Axes: x from the front wall (behind the loudspeakers) to the back, y from left to right, z up.
"""
SURFACES = "# What each surface is; other materials: `treatment materials WORDS`."
AREAS = """\
# Windows, doors, rugs, curtains. `at` is the nearest corner on the surface: along the wall (from
# the front wall, or from the left wall on the front and back walls), then up from the floor."""
FURNITURE = """\
# Furniture and people as boxes: `at` is the lower front-left corner, `size` the extent."""
SPEAKERS = "# The two loudspeakers: `at` is the middle of the cabinet's front."
SEATS = "# The first seat is the mix position; `at` is where the ears are."
GENERIC = """\
# The price list was copied from the generic one: its prices are invented, orders of magnitude only.
# Put in what your shop asks before you buy."""
OWN = "# The price list lies beside this file."
BUDGET_HINTS = (
    "# Delivery by each supplier of the price list, and a note for below the shopping list:",
    '# delivery = {}            # such as {"name in column supplier" = 25.0}',
    '# tax_note = "Prices with tax."',
)
LIMIT_HINTS = (
    "# max_depth = 0.30         # how far a piece below 2 m may stand out from a wall",
    "# head_depth = 0.10        # how far one above knee height may, where people walk",
    '# fire_class = "E"         # the least class of EN 13501-1 you accept',
    "# banned_products = []     # names from the price list",
)
TARGETS = """\
# What counts as good: first reflections "controlled" (10 dB below direct, the least) or
# "reflection-free" (20 dB). Decay is held to the standard limits for listening rooms."""


def room_file(tables: Tables, unit: str = "m", generic_prices: bool = False) -> str:
    """The text of a room file. `unit` "ft" adds the sizes of the room in feet as a comment."""
    room, limits = tables["room"], tables["limits"]
    told = ", ".join(f"{key} {format_length(value, 'ft')}" for key, value in room.items())
    parts = [
        HEAD,
        _lines({"title": tables["title"]}),
        _table("room", room, [f"# {told}"] if unit == "ft" else []),
        f"{SURFACES}\n" + _table("surfaces", tables["surfaces"]),
        *_list("areas", tables.get("areas", []), AREAS),
        *_list("furniture", tables.get("furniture", []), FURNITURE),
        *_list("speakers", tables["speakers"], SPEAKERS),
        *_list("seats", tables["seats"], SEATS),
        f"{GENERIC if generic_prices else OWN}\n"
        + _table("budget", tables["budget"], BUDGET_HINTS),
        "# What you, the landlord or the rules do not allow.\n"
        + _table("limits", limits, LIMIT_HINTS),
        f"{TARGETS}\n" + _table("targets", tables["targets"]),
    ]
    return "\n\n".join(part.rstrip("\n") for part in parts) + "\n"


def _table(name: str, values: Tables, hints: Sequence[str] = ()) -> str:
    return "\n".join([f"[{name}]", _lines(values), *hints])


def _list(name: str, entries: Sequence[Tables], comment: str) -> list[str]:
    """Each entry as its own table, the first below the comment."""
    texts = [f"[[{name}]]\n{_lines(entry)}" for entry in entries]
    return [f"{comment}\n{texts[0]}", *texts[1:]] if texts else []


def _lines(values: Tables) -> str:
    return lines({key: _rounded(value) for key, value in values.items()})


def _rounded(value: Any) -> Any:
    """Numbers as floats to the micrometre."""
    if isinstance(value, list):
        return [_rounded(item) for item in value]
    if isinstance(value, (bool, str)):
        return value
    return round(float(value), MICROMETRE) + 0.0
