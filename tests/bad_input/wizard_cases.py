"""Bad price lists, budgets and answers: each a small change to a good one.

A file case replaces text in one of the good files and names what every line of the complaint must
hold: the file, the key, and a word of the remedy. An answer case is typed at the first question
that holds its words, and must be asked again with its word in the complaint.
"""

from dataclasses import dataclass

HEADER = (
    "id,name,kind,width,height,depth,turn,mountings,gaps,materials,price,pack,owned,supplier,"
    "sundries"
)
WOOL = (
    "wool,wool panel,panel,0.6,1.2,50 mm,yes,wall ceiling,0,mineral_wool_50_wall,50.00,1,0,Shop A,"
    "wall: hook*2; ceiling: anchor*4 line*1"
)
HOOK = "hook,wall hook,fixing,,,,,,,,2.00,4,0,Shop B,"
ANCHOR = "anchor,ceiling anchor,fixing,,,,,,,,3.00,1,0,Shop B,"
LINE = "line,safety line,safety_line,,,,,,,,4.00,1,0,Shop B,"
PRICES = "\n".join([HEADER, WOOL, HOOK, ANCHOR, LINE]) + "\n"
ROOM = """\
title = "Box"
[room]
length = 4.0
width = 3.2
height = 2.5
[surfaces]
front = "brick_bare"
back = "brick_bare"
left = "brick_bare"
right = "brick_bare"
floor = "concrete_floor"
ceiling = "brick_bare"
[[speakers]]
name = "L"
at = [0.6, 1.0, 1.2]
[[speakers]]
name = "R"
at = [0.6, 2.2, 1.2]
[[seats]]
name = "mix"
at = [1.7, 1.6, 1.2]
[budget]
amount = 400
catalogue = "prices.csv"
tax_note = "with tax"
[budget.delivery]
"Shop A" = 20
"""
GOOD_FILES = {"room.toml": ROOM, "prices.csv": PRICES}

Expected = tuple[str, str, str]  # file, key, a word of the remedy


@dataclass(frozen=True)
class Case:
    """A change (file, old text, new text) to the good files, and the faults it must give."""

    name: str
    change: tuple[str, str, str]
    faults: tuple[Expected, ...]


def prices(name: str, old: str, new: str, *faults: tuple[str, str]) -> Case:
    """A case of the price list."""
    return Case(name, ("prices.csv", old, new), tuple(("prices.csv", *f) for f in faults))


def room(name: str, old: str, new: str, *faults: tuple[str, str]) -> Case:
    """A case of the room file."""
    return Case(name, ("room.toml", old, new), tuple(("room.toml", *f) for f in faults))


FILE_CASES = (
    prices("sundry_unknown", "anchor*4", "ancor*4", ("row 2.sundries", 'no row "ancor"')),
    prices("sundry_that_is_a_piece", "anchor*4", "wool*4", ("row 2.sundries", 'no row "wool"')),
    prices("sundry_count_negative", "hook*2", "hook*-2", ("row 2.sundries", "takes 1 to 100")),
    prices("sundry_count_zero", "hook*2", "hook*0", ("row 2.sundries", "takes 1 to 100")),
    prices("sundry_count_huge", "hook*2", "hook*" + "9" * 40, ("row 2.sundries", "takes 1 to")),
    prices("sundry_without_count", "hook*2", "hook", ("row 2.sundries", "write id*count")),
    prices("sundry_half", "hook*2", "hook*0.5", ("row 2.sundries", "write id*count")),
    prices("sundry_for_another_mounting", "wall: hook", "floor: hook",
           ("row 2.sundries", 'no mounting "floor"')),
    prices("sundry_after_colon_missing", "wall: hook*2;", "wall: ;", ("row 2.sundries", "colon")),
    prices("sundry_with_a_size", HOOK, HOOK.replace("fixing,,", "fixing,0.6,"),
           ("row 3.width", "leave it blank")),
    prices("sundry_price_negative", "2.00,4", "-2.00,4", ("row 3.price", "0 to 10000000")),
    prices("sundry_pack_of_none", "2.00,4", "2.00,0", ("row 3.pack", "from 1 to 1000")),
    prices("sundry_owned_negative", "4,0,Shop B", "4,-1,Shop B", ("row 3.owned", "from 0")),
    prices("sundry_named_twice", "anchor,ceiling", "hook,ceiling", ("id", "rename"),
           ("row 2.sundries", 'no row "anchor"')),
    prices("sundry_named_like_a_piece", LINE, f"{LINE}\n{LINE.replace('line', 'wool', 1)}",
           ("id", "rename")),
    prices("sundries_only", WOOL + "\n", "", ("", "can be placed")),
    prices("kind_of_sundry_misspelt", "fixing,,,,,,,,2.00", "fixings,,,,,,,,2.00",
           *[(f"row 3.{c}", "") for c in ("kind", "width", "height", "depth", "mountings", "gaps",
                                         "materials")],
           ("row 2.sundries", 'no row "hook"')),
    prices("piece_free_but_not_its_delivery", WOOL,
           WOOL.replace("50.00", "0.00").split("wall: ")[0],
           ("price", "delivery is not")),
    room("delivery_by_nobody", '"Shop A" = 20', '"Shop Z" = 20',
         ("budget.delivery.Shop Z", "no piece of the price list")),
    room("delivery_negative", "= 20\n", "= -20\n", ("budget.delivery.Shop A", "from 0")),
    room("delivery_nan", "= 20\n", "= nan\n", ("budget.delivery.Shop A", "finite")),
    room("delivery_as_text", "= 20\n", '= "20"\n', ("budget.delivery.Shop A", "number")),
    room("delivery_no_table", '[budget.delivery]\n"Shop A" = 20\n', "delivery = 20\n",
         ("budget.delivery", "table of keys")),
    room("delivery_eats_the_budget", "amount = 400", "amount = 60",
         ("budget.amount", "kept back for deliveries")),
    room("tax_note_of_two_lines", '"with tax"', '"with\\ntax"', ("budget.tax_note", "line break")),
    room("tax_note_as_number", '"with tax"', "25", ("budget.tax_note", "text in quotes")),
)  # fmt: skip

LENGTH = "not a length"
ANSWER_CASES = (  # words of the question, what is typed, a word of the complaint
    ("One side of the floor", "wide", LENGTH),
    ("One side of the floor", "-4", "from 1.5 to 30"),
    ("One side of the floor", "0", "from 1.5 to 30"),
    ("One side of the floor", "nan", LENGTH),
    ("One side of the floor", "inf", LENGTH),
    ("One side of the floor", "1e999", LENGTH),
    ("One side of the floor", "9" * 400, "finite"),
    ("One side of the floor", "4\x1b[2J", "cannot be shown"),
    ("One side of the floor", "\x00", "cannot be shown"),
    ("One side of the floor", "4 ₥", LENGTH),
    ("One side of the floor", "²", LENGTH),
    ("The other side", "100", "from 1.5 to 30"),
    ("Height of the ceiling", "3 feet 2", LENGTH),
    ("What do you call", "x" * 81, "at most 80"),
    ("What do you call", "a\u202eb", "cannot be shown"),
    ("What do you call", "a\ud800b", "cannot be shown"),
    ("number [1]", "0", "number of a line"),
    ("number [1]", "99", "number of a line"),
    ("number [1]", "١", "number of a line"),
    ("number [1]", "-1", "number of a line"),
    ("four walls", "maybe", "yes or no"),
    ("How many windows", "-1", "whole number from 0 to 4"),
    ("How many windows", "1.5", "whole number from 0 to 4"),
    ("How many windows", "³", "whole number from 0 to 4"),
    ("How many windows", "9" * 5000, "whole number from 0 to 4"),
    ("From the left wall to its nearest edge", "9 m", "outside surface"),
    ("Its width", "-1", "above 0"),
    ("Its height", "7 m", "outside surface"),
    ("Loudspeakers from the front wall", "12 m", "outside the room"),
    ("From one loudspeaker to the other", "10 cm", "move them apart"),
    ("Your ears from the front wall", "600", "outside the room"),
    ("Your ears above the floor", "-0.2", "outside the room"),
    ("Width of the desk", "50 m", "outside the room"),
    ("Currency", "doubloons", "at most 8"),
    ("file [", "gone.csv", "cannot be read"),
    ("file [", "../", "is a folder"),
    ("file [", "room.csv\x07", "cannot be shown"),
    ("Budget", "much", "no amount"),
    ("Budget", "-5", "no amount"),
    ("Budget", "1,200", "no amount"),
    ("Budget", "nan", "no amount"),
    ("Budget", "1e999", "no amount"),
    ("Budget", "9" * 400, "no amount"),
    ("Budget", "99999999999", "to 1000000000"),
    ("Budget", "3", "buys nothing"),
)
