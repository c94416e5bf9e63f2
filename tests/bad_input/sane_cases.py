"""What was once accepted in silence or crashed: what cannot be is refused, what is unlikely told.

Refused: as in cases.py. Told: the change to the good files, and for each note its file, key and a
word. Thresholds are the project's own choice (optimizer/room/sane.py).
"""

from cases import WOOL, Case, Expected, own, prices, room

AREA = '[[areas]]\nsurface = "{}"\nkind = "{}"\nmaterial = "{}"\nat = {}\nsize = {}\n'
RUG = AREA.format("floor", "rug", "rug_on_felt_pad", "[1.0, 1.0]", "[1.0, 1.0]")
DOOR = AREA.format("back", "door", "door_hollow", "[2.0, 0.0]", "[0.8, 2.0]")
DETECTOR = AREA.format("right", "detector", "plaster_on_masonry", "[2.0, 2.0]", "[0.1, 0.1]")
RUG_SOLD = "rug,rug,rug,1.6,2.4,10 mm,no,floor,0,rug_on_felt_pad,30.00,1,A1"
FURNITURE = '[[furniture]]\nkind = "{}"\nat = {}\nsize = {}\n'
HUNG = '[[hung]]\nproduct = "wool"\nsurface = "{}"\nat = {}\n'
LIST = "[[speakers]]\nname = "  # something else of the room file is put before its first list
LOUDSPEAKER = "[loudspeaker]\n{}\n[targets]"


def more(name: str, text: str, *faults: tuple[str, str]) -> Case:
    """Text put into the room file before its loudspeakers."""
    return room(name, LIST, text + LIST, *faults)


EIGHT = "[{}]".format(", ".join(["{0}"] * 8))

REFUSED = (
    # Crashes.
    room("ears_in_the_back_wall", "[1.7, 1.6, 1.2]", "[3.995, 1.6, 1.2]",
         ("seats[0].at", "less than 5 cm from back")),
    room("ears_on_the_floor", "[1.7, 1.6, 1.2]", "[1.7, 1.6, 0.0]",
         ("seats[0].at", "less than 5 cm from floor")),
    prices("cell_of_140000_letters", "wool panel", "x" * 140_000, ("", "field larger than")),
    own("material_name_of_5000_letters", "my_floor,floor", "my_floor," + "n" * 5000,
        ("row 2.name", "at most 80")),
    prices("product_name_of_5000_letters", "wool panel", "n" * 5000, ("row 2.name", "at most 80")),
    prices("product_id_of_5000_letters", "wool,wool", "n" * 5000 + ",wool",
           ("row 2.id", "at most 80")),
    room("surface_name_of_5000_letters", 'front = ', "n" * 5000 + ' = "brick_bare"\nfront = ',
         ("", "this room has")),
    # Misread.
    prices("surplus_cell_of_a_product", "A1\n", "A1,7\n", ("row 2", "a cell for each column")),
    own("surplus_cell_of_a_material", ".1,.1\n", ".1,.1,.3\n", ("row 2", "cells")),
    own("band_of_125_9", "a125", "a125.9", ("row 1.a125.9", "unknown column"),
        ("row 1.a125", "missing")),
    # Hung pieces.
    more("hung_across_a_door_s_edge", DOOR + HUNG.format("back", "[1.8, 0.3]"),
         ("hung[0].at", "across the edge of the door")),
    more("hung_in_furniture", FURNITURE.format("cabinet", "[2.0, 2.6, 0.0]", "[0.8, 0.6, 1.8]")
         + HUNG.format("right", "[2.1, 0.2]"), ("hung[0].at", "inside the furniture")),
    more("hung_twice", HUNG.format("right", "[2.0, 0.5]") * 2,
         ("hung[1].at", "takes the space of hung piece 1")),
    more("hung_in_an_opening", DOOR.replace("door_hollow", "mineral_wool_50_wall").replace(
         'kind = "door"', 'kind = "opening"') + HUNG.format("back", "[2.1, 0.3]"),
         ("hung[0].at", "hangs in the opening")),
    # Areas.
    more("rug_on_the_ceiling", RUG.replace("floor", "ceiling"),
         ("areas[1].surface", "put it on the floor")),
    more("curtain_on_the_floor", RUG.replace('"rug"', '"curtain"'),
         ("areas[1].surface", "put it on a wall")),
    more("same_rug_20_times", RUG * 20,
         *[(f"areas[{i}].at", "areas[1] (rug) once more") for i in range(2, 21)]),
    # Sizes.
    more("person_of_24_m3", FURNITURE.format("person", "[0.5, 0.5, 0]", "[3, 2.5, 2.4]"),
         ("furniture[1].size", "one person")),
    more("person_twice", FURNITURE.format("person", "[3.0, 0.5, 0]", "[0.5, 0.5, 1.2]") * 2,
         ("furniture[2].at", "furniture[1] (person) once more")),
    prices("panel_10_mm_of_50_mm_wool", "50 mm,yes", "10 mm,yes",
           ("row 2.depth", "far thinner than")),
    room("skirting_of_900_m", "[surfaces]", "skirting = 900\n[surfaces]",
         ("room.skirting", "from 0 to 1 m")),
    room("cabinet_of_1000_m", "[targets]", LOUDSPEAKER.format("cabinet_radius = 1000"),
         ("loudspeaker.cabinet_radius", "from 0.03 to 1 m")),
    room("woofer_beyond_the_cabinet", "[targets]", LOUDSPEAKER.format("woofer_radius = 0.2"),
         ("loudspeaker.woofer_radius", "not below cabinet_radius")),
    room("decay_targets_of_60_s", "[targets]", "[targets]\ndecay_high = " + EIGHT.format(60),
         *[(f"targets.decay_high[{i}]", "from 0 to 10 s") for i in range(8)]),
    room("balance_of_nothing", "[targets]", "[targets]\nside_balance_percent = 1e-300",
         ("targets.side_balance_percent", "from 0.1 to 100 percent")),
    prices("product_of_11_m", "0.6,1.2", "11,1.2", ("row 2.width", "above 0 and up to 10 m")),
)  # fmt: skip

TOLD = (
    room("speaker_in_the_wall", "[0.6, 1.0, 1.2]", "[0.0, 1.0, 1.2]",
         ("speakers[0].at", "built into front")),
    room("speaker_in_the_right_wall", "[0.6, 2.2, 1.2]", "[0.6, 3.2, 1.2]",
         ("speakers[1].at", "built into right")),
    room("speakers_behind", "[1.7, 1.6, 1.2]", "[0.2, 1.6, 1.2]",
         ("speakers[0].at", "behind seat"), ("speakers[1].at", "behind seat")),
    room("speakers_beside", "[1.7, 1.6, 1.2]", "[0.6, 1.6, 1.2]",
         ("speakers[0].at", "beside seat"), ("speakers[1].at", "beside seat")),
    Case("left_and_right_swapped",
         (("room.toml", 'name = "L"', 'name = "right"'),
          ("room.toml", 'name = "R"', 'name = "left one"')),
         (("room.toml", "speakers[0].name", "swap"),)),
    more("hung_on_a_door", DOOR + HUNG.format("back", "[2.1, 0.3]"),
         ("hung[0].at", "over the door")),
    more("hung_over_a_window", HUNG.format("left", "[1.2, 0.8]"),
         ("hung[0].at", "over the window")),
    more("hung_over_a_detector", DETECTOR + HUNG.format("right", "[1.8, 1.0]"),
         ("hung[0].at", "detector must not be covered")),
    more("door_on_the_ceiling", DOOR.replace('"back"', '"ceiling"').replace("2.0]", "1.0]"),
         ("areas[1].surface", "hatch")),
    more("door_1_m_up", DOOR.replace("[2.0, 0.0]", "[2.0, 1.0]").replace("2.0]", "1.4]"),
         ("areas[1].at", "above the floor")),
    more("bed_that_floats", FURNITURE.format("bed", "[2.5, 0.6, 1.0]", "[1.0, 2.0, 0.5]"),
         ("furniture[1].at", "nothing below it")),
    more("cabinet_that_floats", FURNITURE.format("cabinet", "[2.5, 0.6, 1.0]", "[0.5, 0.4, 0.5]"),
         ("furniture[1].at", "nothing below it")),
    more("cabinet_before_a_door",
         DOOR + FURNITURE.format("cabinet", "[3.4, 1.9, 0]", "[0.5, 1, 1]"),
         ("furniture[1].at", "in front of the door")),
    room("decay_targets_of_5_s", "[targets]", "[targets]\ndecay_high = " + EIGHT.format(5),
         ("targets.decay_high", "church")),
    room("skirting_of_half_a_metre", "[surfaces]", "skirting = 0.5\n[surfaces]",
         ("room.skirting", "as high as that")),
    Case("panel_of_10_by_10_m", (("prices.csv", "0.6,1.2", "10,10"),),
         (("prices.csv", "", "no board is sold"),
          ("room.toml", "room", "large enough for wool"))),
    prices("panel_35_mm_of_50_mm_wool", "50 mm,yes", "35 mm,yes", ("depth", "absorb less")),
    Case("deeper_than_the_limit",
         (("prices.csv", WOOL, WOOL.replace("50 mm", "400 mm").replace("wall ceiling", "wall")),),
         (("room.toml", "limits.max_depth", "which bars wool"),)),
    Case("furniture_all_over_the_floor",
         (("prices.csv", "+", f"{RUG_SOLD}\n"),
          ("room.toml", "size = [0.6, 1.4, 0.04]",
           'size = [0.6, 1.4, 0.04]\n' + FURNITURE.format("bed", "[2.0, 0.1, 0]", "[2.0, 3.0, 0.4]")
           + FURNITURE.format("cabinet", "[0.1, 0.1, 0]", "[1.4, 0.6, 0.6]")
           + FURNITURE.format("cabinet", "[0.1, 2.5, 0]", "[1.4, 0.6, 0.6]"))),
         (("room.toml", "room", "together leave no place for rug"),)),
    room("keep_clear_everything", "max_depth = 0.2",
         "keep_clear = [{ at = [0, 0, 0], size = [4, 3.2, 2.5] }]",
         ("limits.keep_clear", "nothing can be placed: leaves no place for wool, fill")),
)  # fmt: skip

ACCEPTED = (
    more("bed_without_material", FURNITURE.format("bed", "[2.5, 0.6, 0]", "[1.0, 2.0, 0.5]")),
    more("wide_bed_without_material",
         FURNITURE.format("bed", "[2.2, 0.6, 0]", "[1.6, 2.0, 0.5]")),
    more("cabinet_hung_on_a_wall", FURNITURE.format("cabinet", "[2.5, 0, 1.0]", "[0.5, 0.4, 0.5]")),
    more("chair_on_a_bed", FURNITURE.format("bed", "[2.5, 0.6, 0]", "[1.0, 2.0, 0.5]")
         + FURNITURE.format("chair", "[2.6, 0.7, 0.5]", "[0.4, 0.4, 0.8]")),
    prices("panel_of_8_mm", WOOL, WOOL.replace("50 mm", "8 mm").replace(
           "mineral_wool_50_wall", "gypsum_board_studs")),
    room("feet_and_inches_with_curly_quotes", "length = 4.0", 'length = "13\u2019 2\u00bd\u201d"'),
)  # fmt: skip

DECAY = "band_hz,t20_s\n125,0.5\n250,0.4\n500,0.4\n"
DECAY_CASES: dict[str, tuple[str, tuple[Expected, ...]]] = {
    "decimal_comma": (DECAY.replace("0.5", "1,05"),
                      (("room.csv", "row 2", "decimal points, not commas"),)),
    "decimal_comma_in_quotes": (DECAY.replace("0.5", '"1,05"'),
                                (("room.csv", "row 2.t20_s", "decimal point"),)),
    "surplus_cell": (DECAY.replace("0.5", "0.5,,"), (("room.csv", "row 2", "4 cells"),)),
    "band_of_125_9": (DECAY.replace("125", "125.9"),
                      (("room.csv", "row 2.band_hz", "no octave band"),)),
    "cell_of_140000_letters": (DECAY.replace("0.5", "5" * 140_000),
                               (("room.csv", "", "field larger than"),)),
}  # fmt: skip
