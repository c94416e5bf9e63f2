"""Bad rooms, price lists, material tables and plans: each a small change to a good one.

A case replaces or adds text in one or more of the good files and names what every line of the
complaint must hold: the file, the key, and a word of the remedy. The number of faults is exact.
"""

from dataclasses import dataclass
from typing import Any

from optimizer.room.schema import WeightsSection

ROOM = """\
title = "Box"
materials = "own.csv"
[room]
length = 4.0
width = 3.2
height = 2.5
[surfaces]
front = "brick_bare"
back = "brick_bare"
left = "brick_bare"
right = "brick_bare"
floor = "my_floor"
ceiling = "brick_bare"
[[areas]]
surface = "left"
kind = "window"
material = "double_glazing_10"
at = [1.0, 0.9]
size = [1.2, 1.2]
[[furniture]]
kind = "desk"
at = [0.4, 0.9, 0.70]
size = [0.6, 1.4, 0.04]
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
[limits]
max_depth = 0.2
[weights]
decay = 1.0
[targets]
early = "controlled"
"""
HEADER = "id,name,kind,width,height,depth,turn,mountings,gaps,materials,price,pack,fire_class"
WOOL = "wool,wool panel,panel,0.6,1.2,50 mm,yes,wall ceiling,0,mineral_wool_50_wall,50.00,1,A1"
FILL = "fill,corner fill,corner,0.3,0.6,300 mm,no,corner,0,corner_fill_300,40.00,1,A1"
PRICES = f"{HEADER}\n{WOOL}\n{FILL}\n"
HELD = (  # mounting, weight, uses, load of a strip
    f"{HEADER},weight_kg,sundries,hole,load_kg\n"
    "wool,wool panel,panel,0.6,1.2,50 mm,yes,{},0,mineral_wool_50_wall,50.00,1,A1,{},{},,\n"
    f"{FILL},,,,\nstrip,strips,sundry,,,,,,,,5.00,1,,,,no,{{}}\n"
)
OWN = "id,name,unit,a125,a250,a500,a1000,a2000,a4000\nmy_floor,floor,alpha,.1,.1,.1,.1,.1,.1\n"
GOOD_FILES = {"room.toml": ROOM, "prices.csv": PRICES, "own.csv": OWN}

PIECE: dict[str, Any] = {
    "product": "wool", "surface": "front", "u_m": 1.0, "v_m": 0.5, "width_m": 0.6,
    "height_m": 1.2, "gap_m": 0.0, "turned": False, "mounting": "wall",
}  # fmt: skip

Expected = tuple[str, str, str]  # file, key, a word of the remedy


@dataclass(frozen=True)
class Case:
    """Changes (file, old text, new text) to the good files, and the faults they must give.

    Without old text the new text is the whole file; "+" as old text adds it at the end.
    """

    name: str
    changes: tuple[tuple[str, str, str], ...]
    faults: tuple[Expected, ...]


def room(name: str, old: str, new: str, *faults: tuple[str, str]) -> Case:
    """A change to the room file whose faults (key, remedy) are all of the room file."""
    return Case(name, (("room.toml", old, new),), tuple(("room.toml", *f) for f in faults))


def prices(name: str, old: str, new: str, *faults: tuple[str, str]) -> Case:
    """A change to the price list whose faults are all of the price list."""
    return Case(name, (("prices.csv", old, new),), tuple(("prices.csv", *f) for f in faults))


def own(name: str, old: str, new: str, *faults: tuple[str, str]) -> Case:
    """A change to the person's own materials whose faults are all of that table."""
    return Case(name, (("own.csv", old, new),), tuple(("own.csv", *f) for f in faults))


SPEAKERS = ROOM[ROOM.index("[[speakers]]") : ROOM.index("[[seats]]")]
SEATS = ROOM[ROOM.index("[[seats]]") : ROOM.index("[budget]")]
BUDGET = ROOM[ROOM.index("[budget]") : ROOM.index("[limits]")]
BOX = "length = 4.0\nwidth = 3.2\nheight = 2.5\n"
WINDOW_2 = """
[[areas]]
surface = "left"
kind = "window"
material = "double_glazing_10"
at = [2.0, 1.0]
size = [0.8, 0.8]
"""
EIGHT = "[0.2, 0.2, 0.2, 0.2, 0.2, 0.2, 0.2, {}]"


def planes(*outlines: str) -> str:
    """The planes of [room], one by one."""
    listed = (f'{{ name = "p{i}", corners = {o} }}' for i, o in enumerate(outlines))
    return f"planes = [{', '.join(listed)}]\n"


def prism(*outline: tuple[float, float]) -> str:
    """Planes of an upright prism 2.5 m high over a floor outline."""
    ring = [*outline, outline[0]]
    level = [str([[x, y, z] for x, y in outline]) for z in (0.0, 2.5)]
    walls = [
        str([[*a, 0.0], [*b, 0.0], [*b, 2.5], [*a, 2.5]])
        for a, b in zip(ring, ring[1:], strict=False)
    ]
    return planes(*level, *walls)


TOML_CASES = (
    room("not_toml", "[room]", "[room", ("", "not valid TOML")),
    room("key_twice", "width = 3.2", "width = 3.2\nwidth = 3.3", ("", "not valid TOML")),
    room("empty_file", "", "", ("room", "missing"), ("surfaces", "give a material"),
         ("budget", "missing")),
    room("nested_deeply", "", "a = " + "[" * 5000, ("", "room.toml")),
    room("number_of_5000_digits", "length = 4.0", "length = " + "9" * 5000, ("", "not valid")),
    room("unknown_section", "[targets]", "[target]", ("target", 'did you mean "targets"?')),
    room("unknown_key", "max_depth = 0.2", "max_dept = 0.2",
         ("limits.max_dept", 'did you mean "max_depth"?')),
    room("key_with_line_break", "[room]", '"a\\nb" = 1\n[room]', ("a b", "unknown key")),
    room("title_is_a_number", 'title = "Box"', "title = 3", ("title", "write a text")),
    room("room_is_a_number", "[room]\n" + BOX, "room = 3\n", ("room", "table with keys")),
    room("speakers_as_text", SPEAKERS, "[speakers]\n", ("speakers", "[[speakers]]"),
         ("speakers", "exactly two")),
    room("surfaces_material_number", 'back = "brick_bare"', "back = 3",
         ("surfaces.back", "name a material"),),
)  # fmt: skip

SIZE_CASES = (
    room("wrong_unit", "length = 4.0", 'length = "4 yards"', ("room.length", "4 ft 2 in")),
    room("centimetres_without_unit", "length = 4.0", "length = 400",
         ("room.length", "from 1.5 to 30 m")),
    room("negative_width", "width = 3.2", "width = -3.2", ("room.width", "from 1.5 to 30 m")),
    room("nan_height", "height = 2.5", "height = nan", ("room.height", "finite length")),
    room("infinite_height", "height = 2.5", "height = inf", ("room.height", "finite length")),
    room("length_true", "length = 4.0", "length = true", ("room.length", "not a length")),
    room("length_of_400_digits", "length = 4.0", "length = " + "9" * 400,
         ("room.length", "not a usable length")),
    room("length_missing", "length = 4.0\n", "", ("room", "length missing")),
    room("box_and_planes", BOX, BOX + prism((0, 0), (4, 0), (4, 3), (0, 3)), ("room", "not both")),
    room("temperature_text", "[room]", '[room]\ntemperature_c = "68 F"',
         ("room.temperature_c", "number")),
    room("humidity_above_100", "[room]", "[room]\nhumidity_percent = 140",
         ("room.humidity_percent", "from 5 to 100")),
    room("open_shell", BOX, planes("[[0,0,0],[4,0,0],[4,3,0],[0,3,0]]"),
         *[("room.planes", "close the room")] * 3),
    room("plane_without_area", BOX, planes(*["[[0,0,0],[4,0,0],[8,0,0]]"] * 2),
         ("room.planes", "span no area")),
    room("plane_that_is_bent", BOX, planes(*["[[0,0,0],[4,0,0],[4,3,0.3],[0,3,0]]"] * 2),
         ("room.planes", "do not lie in one plane")),
    room("flat_room", BOX, planes(*["[[0,0,0],[4,0,0],[4,3,0],[0,3,0]]"] * 2),
         ("room.planes", "enclose")),
    room("outline_crosses_itself", BOX, prism((0, 0), (4, 3), (4, 0), (0, 2)),
         ("room.planes", "crosses itself")),
    room("plane_of_two_corners", BOX, planes("[[0,0,0],[4,0,0]]"),
         ("room.planes[0].corners", "at least 3")),
    room("planes_of_one_name", BOX,
         prism((0, 0), (4, 0), (4, 3), (0, 3)).replace('"p1"', '"p0"'),
         ("room.planes", "share a name")),
    room("surface_not_there", 'front = "brick_bare"', 'front = "brick_bare"\nroof = "brick_bare"',
         ("surfaces.roof", "this room has")),
    room("surface_missing", 'back = "brick_bare"\n', "", ("surfaces.back", "name its material")),
    room("material_unknown", 'back = "brick_bare"', 'back = "brick_bear"',
         ("surfaces.back", "brick_bare")),
    room("material_of_an_object", 'back = "brick_bare"', 'back = "bed_single"',
         ("surfaces.back", "surface material")),
)  # fmt: skip

CONTENT_CASES = (
    room("speaker_outside", "[0.6, 1.0, 1.2]", "[0.6, -1.0, 1.2]", ("speakers[0].at", "inside")),
    room("speaker_far_away", "[0.6, 1.0, 1.2]", "[0.6, 1e300, 1.2]",
         ("speakers[0].at[1]", "to 1000 m"), ("speakers", "exactly two")),
    room("speaker_nan", "[0.6, 1.0, 1.2]", "[0.6, nan, 1.2]", ("speakers[0].at[1]", "finite"),
         ("speakers", "exactly two")),
    room("speaker_in_two_numbers", "[0.6, 1.0, 1.2]", "[0.6, 1.0]",
         ("speakers[0].at[2]", "missing"), ("speakers", "exactly two")),
    room("one_speaker", SPEAKERS, SPEAKERS[: SPEAKERS.rindex("[[")], ("speakers", "exactly two")),
    room("speakers_in_one_place", "[0.6, 2.2, 1.2]", "[0.6, 1.05, 1.2]", ("speakers", "apart")),
    room("speakers_of_one_name", 'name = "R"', 'name = "L"', ("speakers[1].name", "rename")),
    room("speaker_aimed_at_itself", 'name = "R"', 'name = "R"\naim = [0.6, 2.2, 1.2]',
         ("speakers[1].aim", "aim")),
    room("speaker_name_with_line_break", 'name = "L"', 'name = "L\\nM"',
         ("speakers[0].name", "line break"), ("speakers", "exactly two")),
    room("no_seat", SEATS, "", ("seats", "at least one")),
    room("seat_at_a_speaker", "[1.7, 1.6, 1.2]", "[0.6, 1.1, 1.2]", ("seats[0].at", "move")),
    room("seat_in_furniture", "size = [0.6, 1.4, 0.04]", "size = [1.6, 1.4, 0.9]",
         *[(f"{who}.at", "inside the furniture") for who in ("speakers[0]", "speakers[1]",
           "seats[0]")]),
    room("seat_weight_nan", 'name = "mix"', 'name = "mix"\nweight = nan',
         ("seats[0].weight", "finite")),
    room("every_seat_weightless", 'name = "mix"', 'name = "mix"\nweight = 0',
         ("seats", "above zero")),
    room("windows_overlap", "+", WINDOW_2, ("areas[1].at", "overlaps areas[0]")),
    room("window_outside_wall", "at = [1.0, 0.9]", "at = [3.5, 0.9]", ("areas[0].at", "outside")),
    room("window_without_size", "size = [1.2, 1.2]", "size = [1.2, 0]",
         ("areas[0].size[1]", "above 0")),
    room("area_kind_unknown", 'kind = "window"', 'kind = "skylight"', ("areas[0].kind", "window")),
    room("area_on_no_surface", 'surface = "left"', 'surface = "east"',
         ("areas[0].surface", "this room has")),
    room("area_of_unknown_material", "double_glazing_10", "double_glazing_11",
         ("areas[0].material", "double_glazing_10")),
    room("furniture_of_unknown_material", 'kind = "desk"', 'kind = "desk"\nmaterial = "oack"',
         ("furniture[0].material", "no such material")),
    room("too_many_areas", "+", WINDOW_2 * 200, ("areas", "201 entries; at most 200")),
    room("name_of_a_steering_character", "[weights]", '[weights]\n"d\\u001b" = 1',
         ("weights.dU+001B", "control character")),
    room("furniture_through_wall", "at = [0.4, 0.9, 0.70]", "at = [0.4, 2.5, 0.70]",
         ("furniture[0].at", "outside")),
    room("furniture_kind_unknown", 'kind = "desk"', 'kind = "piano"', ("furniture[0].kind", "use")),
    room("keep_clear_outside", "max_depth = 0.2",
         "keep_clear = [{ at = [9, 0, 0], size = [1, 1, 1] }]",
         ("limits.keep_clear[0].at", "outside")),
)  # fmt: skip

MONEY_CASES = (
    room("no_budget", BUDGET, "", ("budget", "missing")),
    room("budget_negative", "amount = 400", "amount = -400", ("budget.amount", "from 0")),
    room("budget_nan", "amount = 400", "amount = nan", ("budget.amount", "finite")),
    room("budget_with_currency", "amount = 400", 'amount = "400 EUR"', ("budget.amount", "number")),
    room("budget_true", "amount = 400", "amount = true", ("budget.amount", "number")),
    room("budget_below_cheapest", "amount = 400", "amount = 39.99", ("budget.amount", "40.00")),
    room("no_price_list_named", 'catalogue = "prices.csv"\n', "", ("budget.catalogue", "add it")),
    Case("price_list_not_there", (("room.toml", '"prices.csv"', '"gone.csv"'),),
         (("gone.csv", "", "cannot be read"),)),
    room("headroom_above_ceiling", "max_depth = 0.2", "headroom = 2.5",
         ("limits.headroom", "room's height")),
    room("no_mounting_left", "max_depth = 0.2",
         'no_mountings = ["wall", "ceiling", "corner", "edge", "floor", "window", "stand", "lean", '
         '"pole", "adhesive"]',
         ("limits.no_mountings", "allow"), ("limits", "relax one")),
    room("no_product_left", "max_depth = 0.2", 'banned_products = ["wool", "fill"]',
         ("limits", "relax one")),
    room("ban_of_nothing", "max_depth = 0.2", 'banned_products = ["wol"]',
         ("limits.banned_products", "no such product")),
    room("fire_class_unknown", "max_depth = 0.2", 'fire_class = "Z"',
         ("limits.fire_class", "EN 13501-1"), ("limits", "relax one")),
    room("no_holes_in_words", "max_depth = 0.2", 'no_holes = "yes"', ("limits.no_holes", "true")),
    room("no_holes_leave_nothing", "max_depth = 0.2",
         'no_holes = true\nbanned_products = ["fill"]', ("limits", "relax one")),
    room("head_depth_zero", "max_depth = 0.2", "head_depth = 0", ("limits.head_depth", "above 0")),
    room("grid_of_a_millimetre", "max_depth = 0.2", 'grid = "1 mm"', ("limits.grid", "0.02")),
    Case(
        "grid_of_more_places_than_are_looked_at",
        (("room.toml", "[limits]", '[layout]\nlevel = "free"\n[limits]\ngrid = 0.02'),
         ("room.toml", "length = 4.0", "length = 9.0")),
        (("room.toml", "limits.grid", "m or more"),),
    ),
    room("layout_level_unknown", "[limits]", '[layout]\nlevel = "neat"\n[limits]',
         ("layout.level", "gallery")),
    room("layout_rules_out_of_range", "[limits]",
         '[layout]\nlines = 4\nlowest_edge = "4 m"\nalone_percent = 101\nstack = true\n[limits]',
         ("layout.lines", "from 0 to 3"), ("layout.lowest_edge", "3 m"),
         ("layout.alone_percent", "100"), ("layout.stack", 'did you mean "stacks"?')),
    room("depth_zero", "max_depth = 0.2", "max_depth = 0", ("limits.max_depth", "above 0")),
    room("weights_all_zero", "decay = 1.0",
         "\n".join(f"{group} = 0" for group in WeightsSection.model_fields),
         ("weights", "above zero")),
    room("weight_huge", "decay = 1.0", "decay = 1e308", ("weights.decay", "1000")),
    room("early_target_unknown", '"controlled"', '"dead"', ("targets.early", "controlled")),
    room("decay_of_seven_bands", "[targets]",
         "[targets]\ndecay_high = [0.3, 0.3, 0.3, 0.3, 0.3, 0.3, 0.3]",
         ("targets.decay_high", "at least 8")),
    room("decay_negative", "[targets]", f"[targets]\ndecay_low = {EIGHT.format(-0.2)}",
         ("targets.decay_low[7]", "from 0")),
    room("decay_high_impossible", "[targets]", f"[targets]\ndecay_low = {EIGHT.format(0)}\n"
         f"decay_high = {EIGHT.format(0.01)}", ("targets.decay_high", "no room reaches"),
         ("targets.decay_low", "not below decay_high")),
    room("decay_low_above_mask", "[targets]", f"[targets]\ndecay_low = {EIGHT.format(2)}",
         ("targets.decay_low", "give both limits")),
)  # fmt: skip

PRICE_CASES = (
    prices("prices_empty_file", "", "", *[(f"column {c}", "missing") for c in
           HEADER.split(",")[:-1]]),
    prices("prices_without_product", "", HEADER + "\n", ("", "at least one row")),
    prices("price_missing", "50.00", "", ("row 2.price", "49.90")),
    prices("price_in_words", "50.00", "fifty", ("row 2.price", "49.90")),
    prices("price_negative", "50.00", "-50", ("row 2.price", "0 to 10000000")),
    prices("price_nan", "50.00", "NaN", ("row 2.price", "not a usable price")),
    prices("price_of_half_a_cent", "50.00", "50.005", ("row 2.price", "round")),
    prices("price_column_missing", "", PRICES.replace("price", "cost"),
           ("column cost", "unknown column"), ("column price", "add it")),
    prices("column_twice", HEADER, HEADER + ",price", ("column price", "twice")),
    prices("cell_too_many", "wool panel", "wool, panel", ("row 2", "quote")),
    prices("quote_not_closed", "wool panel", '"wool panel', ("", "comma-separated")),
    prices("product_size_in_mm_without_unit", "0.6,1.2", "600,1200",
           ("row 2.width", "10"), ("row 2.height", "10")),
    prices("product_depth_nan", "50 mm", "nan", ("row 2.depth", "finite length")),
    prices("product_gap_negative", "ceiling,0,", "ceiling,-0.1,", ("row 2.gaps[0]", "from 0")),
    prices("product_of_two_gaps", "ceiling,0,", "ceiling,0;0.05,", ("row 2.materials", "one each")),
    prices("product_material_unknown", "mineral_wool_50_wall", "wool_x",
           ("row 2.materials", "no such material")),
    prices("product_turned_perhaps", "50 mm,yes", "50 mm,perhaps", ("row 2.turn", "yes or no")),
    prices("product_of_no_fire_class", "50.00,1,A1", "50.00,1,A7",
           ("row 2.fire_class", "EN 13501-1")),
    prices("product_of_an_object", "mineral_wool_50_wall", "bed_single",
           ("row 2.materials", "is an object")),
    prices("products_501", "+", f"{FILL}\n" * 499, ("", "lists 501 products; at most 500")),
    prices("product_hung_on_nothing", "wall ceiling", "roof", ("row 2.mountings[0]", "wall")),
    prices("pack_of_none", "50.00,1,", "50.00,0,", ("row 2.pack", "from 1")),
    prices("strips_of_no_stated_load", "", HELD.format("adhesive", 1, "strip*4", ""),
           ("row 2.sundries", "load_kg")),
    prices("strips_of_a_piece_not_weighed", "", HELD.format("adhesive", "", "strip*4", 2),
           ("row 2.weight_kg", "missing")),
    prices("strips_too_few", "", HELD.format("adhesive", 3, "strip*2", 2),
           ("row 2.weight_kg", "above the 4 kg")),
    prices("strips_for_a_heavy_piece", "", HELD.format("adhesive", 5, "strip*9", 2),
           ("row 2.weight_kg", "strips are for")),
    prices("strips_for_a_deep_piece", "",
           HELD.format("adhesive", 1, "strip*4", 2).replace("50 mm", "80 mm"),
           ("row 2.depth", "levers")),
    prices("poles_too_weak", "", HELD.format("pole", 9, "strip*2", 8),
           ("row 2.weight_kg", "above the 16 kg")),
    prices("load_of_a_piece", "", HELD.format("adhesive", 1, "strip*4", 2).replace("*4,,", "*4,,3"),
           ("row 2.load_kg", "for sundries")),
    prices("hole_in_words", "",
           HELD.format("adhesive", 1, "strip*4", 2).replace(",no,2", ",some,2"),
           ("row 4.hole", "yes or no")),
    prices("product_id_twice", "fill,corner fill", "wool,corner fill", ("id", "rename")),
    prices("row_counted_after_blank_line", f"{WOOL}\n", f"\n{WOOL.replace('50.00', 'x')}\n",
           ("row 3.price", "49.90")),
)  # fmt: skip

MATERIAL_CASES = (
    own("absorption_negative", "alpha,.1", "alpha,-.1", ("row 2.a125", "must be 0 to")),
    own("absorption_nan", "alpha,.1", "alpha,nan", ("row 2.a125", "finite")),
    own("absorption_in_percent", "alpha,.1", "alpha,10", ("row 2.a125", "must be 0 to")),
    own("absorption_blank", "alpha,.1", "alpha,", ("row 2.a125", "blank")),
    own("material_unit_unknown", "alpha,", "percent,", ("row 2.unit", "alpha")),
    own("material_column_unknown", "a4000\n", "a4001\n", ("row 1.a4001", "a4000"),
        ("row 1.a4000", "missing")),
    own("material_twice", "+", OWN.splitlines()[1] + "\n", ("row 3.id", "already used")),
    Case("materials_not_there", (("room.toml", '"own.csv"', '"gone.csv"'),),
         (("gone.csv", "", "cannot be read"), ("room.toml", "surfaces.floor", "no such"))),
    Case("materials_path_with_nul", (("room.toml", '"own.csv"', '"o\\u0000.csv"'),),
         (("room.toml", "materials", "control character"),)),
)  # fmt: skip

SEVERAL = (
    Case(
        "faults_of_three_files_together",
        (
            ("room.toml", "length = 4.0", 'length = "4 yards"'),
            ("room.toml", "amount = 400", "amount = -1"),
            ("room.toml", 'back = "brick_bare"', 'back = "brick_bear"'),
            ("room.toml", 'kind = "desk"', 'kind = "piano"'),
            ("prices.csv", "50.00", ""),
            ("prices.csv", "40.00", "-1"),
            ("own.csv", "alpha,.1,.1", "alpha,-.1,nan"),
        ),
        (
            ("room.toml", "room.length", "4 ft 2 in"),
            ("room.toml", "budget.amount", "from 0"),
            ("room.toml", "furniture[0].kind", "sofa"),
            ("own.csv", "row 2.a125", "must be"),
            ("own.csv", "row 2.a250", "finite"),
            ("room.toml", "surfaces.back", "brick_bare"),
            ("prices.csv", "row 2.price", "no price"),
            ("prices.csv", "row 3.price", "0 to"),
        ),
    ),
    Case(
        "geometry_told_beside_a_missing_budget_and_an_unknown_material",
        (
            ("room.toml", BUDGET, ""),
            ("room.toml", 'back = "brick_bare"', 'back = "brick_bear"'),
            ("room.toml", "[0.6, 1.0, 1.2]", "[0.6, -1.0, 1.2]"),
            ("room.toml", "at = [1.0, 0.9]", "at = [3.5, 0.9]"),
        ),
        (
            ("room.toml", "budget", "missing"),
            ("room.toml", "surfaces.back", "brick_bare"),
            ("room.toml", "speakers[0].at", "inside"),
            ("room.toml", "areas[0].at", "outside"),
        ),
    ),
    Case(
        "many_faults_in_one_section",
        (("room.toml", "max_depth = 0.2", 'max_depth = -1\ngrid = nan\nheadrom = 2\nb = "x"'),),
        (
            ("room.toml", "limits.max_depth", "above 0"),
            ("room.toml", "limits.grid", "finite"),
            ("room.toml", "limits.headrom", "headroom"),
            ("room.toml", "limits.b", "unknown key"),
        ),
    ),
)

FILE_CASES = (
    *TOML_CASES, *SIZE_CASES, *CONTENT_CASES, *MONEY_CASES, *PRICE_CASES, *MATERIAL_CASES, *SEVERAL,
)  # fmt: skip

# Content of plan.json, and the faults (key, word of the remedy) it must give.
PLAN_CASES: dict[str, tuple[object, tuple[tuple[str, str], ...]]] = {
    "not_json": ("{", (("", "is no plan"),)),
    "empty": ("", (("", "is no plan"),)),
    "list_instead_of_object": ([], (("", "is no plan"),)),
    "number": (3, (("", "is no plan"),)),
    "no_pieces": ({"format": 1}, (("", "is no plan"),)),
    "pieces_as_object": ({"pieces": {}}, (("", "is no plan"),)),
    "nested_deeply": ("[" * 100_000, (("", "is no plan"),)),
    "other_format": ({"format": 99, "pieces": []}, (("format", "format 1"),)),
    "piece_as_text": ({"pieces": ["wool"]}, (("pieces[0]", "object"),)),
    "piece_as_list": ({"pieces": [[1]]}, (("pieces[0]", "object"),)),
}
PIECE_CASES: dict[str, tuple[str, object, str]] = {  # key, value there, word of the remedy
    "product_unknown": ("product", "foam", "price list"),
    "product_as_list": ("product", ["wool"], "valid string"),
    "surface_unknown": ("surface", "roof", "it has front"),
    "surface_as_number": ("surface", 3, "valid string"),
    "place_nan": ("u_m", float("nan"), "number of metres"),
    "place_infinite": ("v_m", float("inf"), "number of metres"),
    "place_as_text": ("u_m", "1 m", "number of metres"),
    "place_of_400_digits": ("u_m", 10**400, "number of metres"),
    "outside_across": ("u_m", 2.9, "outside surface"),
    "outside_up": ("v_m", 1.9, "outside surface"),
    "gap_nan": ("gap_m", float("nan"), "number of metres"),
    "gap_not_of_product": ("gap_m", 0.1, "hangs with a gap of 0 m"),
    "width_not_of_product": ("width_m", 1.6, "0.6 m"),
    "height_negative": ("height_m", -1.2, "1.2 m"),
    "mounting_not_of_product": ("mounting", "floor", "wall, ceiling"),
    "mounting_null": ("mounting", None, "valid string"),
    "turned_as_text": ("turned", "no", "true or false"),
}

OPTION_CASES: dict[str, tuple[tuple[str, ...], tuple[Expected, ...]]] = {
    "budget_nan": (("--budget", "nan"), (("command line", "--budget", "0 to 1e9"),)),
    "budget_negative": (("--budget=-5",), (("command line", "--budget", "0 to 1e9"),)),
    "budget_infinite": (("--budget", "inf"), (("command line", "--budget", "0 to 1e9"),)),
    "budget_too_small": (("--budget", "3"), (("room.toml", "budget.amount", "buys nothing"),)),
    "gap_negative": (("--gap=-0.1",), (("command line", "--gap", "0 to 1"),)),
    "gap_nan": (("--gap", "nan"), (("command line", "--gap", "0 to 1"),)),
    "gap_in_percent": (("--gap", "5"), (("command line", "--gap", "0 to 1"),)),
    "time_zero": (("--time-limit", "0"), (("command line", "--time-limit", "above 0"),)),
    "time_negative": (("--time-limit=-1",), (("command line", "--time-limit", "above 0"),)),
    "time_nan": (("--time-limit", "nan"), (("command line", "--time-limit", "above 0"),)),
    "time_endless": (("--time-limit", "inf"), (("command line", "--time-limit", "above 0"),)),
    "confidence_one": (
        ("--confidence", "1"),
        (("command line", "--confidence", "0.5 to below 1"),),
    ),
    "confidence_low": (("--confidence", "0.3"), (("command line", "--confidence", "0.5"),)),
    "confidence_nan": (("--confidence", "nan"), (("command line", "--confidence", "0.5"),)),
    "stages_one": (("--stages", "600"), (("command line", "--stages", "rising amounts"),)),
    "stages_falling": (("--stages", "900,600"), (("command line", "--stages", "rising amounts"),)),
    "stages_words": (("--stages", "some,more"), (("command line", "--stages", "rising amounts"),)),
    "stages_nan": (("--stages", "nan,900"), (("command line", "--stages", "rising amounts"),)),
    "stages_zero": (("--stages", "0,900"), (("command line", "--stages", "rising amounts"),)),
    "stages_with_budget": (
        ("--stages", "300,600", "--budget", "900"),
        (("command line", "--budget", "not together with --stages"),),
    ),
    "stages_with_alternatives": (
        ("--stages", "300,600", "--alternatives", "2"),
        (("command line", "--alternatives", "not together with --stages"),),
    ),
    "alternatives_none": (("--alternatives", "0"), (("command line", "--alternatives", "1 to 9"),)),
    "alternatives_many": (
        ("--alternatives", "50"),
        (("command line", "--alternatives", "1 to 9"),),
    ),
    "alternatives_sure": (
        ("--alternatives", "2", "--confidence", "0.8"),
        (("command line", "--confidence", "not together with --alternatives"),),
    ),
    "within_zero": (("--within", "0"), (("command line", "--within", "above 0"),)),
    "within_percent": (("--within", "5"), (("command line", "--within", "above 0"),)),
    "within_nan": (("--within", "nan"), (("command line", "--within", "above 0"),)),
    "variant_unknown": (("--variant", "coach"), (("command line", "VARIANT", "no such variant"),)),
    "all_at_once": (
        ("--gap", "2", "--time-limit", "nan", "--budget", "nan"),
        (
            ("command line", "--gap", "0 to 1"),
            ("command line", "--time-limit", "above 0"),
            ("command line", "--budget", "0 to 1e9"),
        ),
    ),
}
