"""What walls, floors, ceilings and openings are, in plain words, and the table's rows for them."""

from optimizer.wizard.talk import Choice

WALLS = (
    Choice("plasterboard on studs", "gypsum_board_studs"),
    Choice("plaster on brick, block or concrete", "plaster_on_masonry"),
    Choice("bare brick", "brick_bare"),
    Choice("painted brick", "brick_painted"),
    Choice("painted concrete block", "concrete_block_painted"),
    Choice("bare concrete block", "concrete_block_bare"),
    Choice("smooth concrete, painted", "concrete_painted"),
    Choice("old plaster on wooden laths", "plaster_on_lath_studs"),
    Choice("wood panelling on battens", "wood_panel_cavity"),
)
FLOORS = (
    Choice("laminate or floating boards", "laminate_floating"),
    Choice("parquet on battens", "parquet_on_battens"),
    Choice("parquet glued to concrete", "parquet_on_concrete"),
    Choice("floorboards on joists", "wood_floor_joists"),
    Choice("carpet, no underlay", "carpet_10_on_concrete"),
    Choice("thick carpet on underlay", "carpet_heavy_underlay"),
    Choice("vinyl or linoleum on concrete", "lino_on_concrete"),
    Choice("tiles or stone", "tile_or_marble"),
    Choice("bare concrete", "concrete_floor"),
)
CEILINGS = (
    Choice("plasterboard below a deep void", "ceiling_plasterboard_void"),
    Choice("plaster on concrete", "plaster_on_masonry"),
    Choice("painted concrete", "concrete_painted"),
    Choice("old plaster on laths below joists", "ceiling_lath_plaster"),
    Choice("hung ceiling of mineral tiles", "ceiling_tile_suspended"),
    Choice("open joists with boards above", "ceiling_exposed_joists"),
    Choice("wood panelling on battens", "wood_panel_cavity"),
)
WINDOWS = (
    Choice("double glazing", "double_glazing_10"),
    Choice("double glazing with a wide gap (over 30 mm)", "double_glazing_30"),
    Choice("one thin pane", "glass_3_4"),
    Choice("one heavy pane (5 mm or more)", "glass_heavy"),
)
DOORS = (
    Choice("light inside door", "door_hollow"),
    Choice("solid wooden door", "door_solid_wood"),
    Choice("opening without a door", "doorway_open"),
)
COUCHES = (
    Choice("cloth, two seats", "sofa_2_seat"),
    Choice("cloth, three seats", "sofa_3_seat"),
    Choice("leather, two seats", "sofa_2_seat_leather"),
)
SIDES = tuple(
    Choice(words, value)
    for words, value in (
        ("front wall (behind the loudspeakers)", "front"),
        ("back wall", "back"),
        ("left wall (as you face the loudspeakers)", "left"),
        ("right wall", "right"),
    )
)
FACING = (
    Choice("along the longer side (usual: the back wall is then far behind you)", "long"),
    Choice("along the shorter side", "short"),
)
UNITS = (Choice("metres", "m"), Choice("feet", "ft"))
FIXING = (
    Choice("yes, walls and ceiling", "both"),
    Choice("walls only, nothing overhead", "walls"),
    Choice("no holes: only what stands, leans, lies, clamps or sticks by itself", "none"),
)
EARLY = (
    Choice("10 dB within 15 ms: the least that listening rooms are held to", "controlled"),
    Choice("20 dB within 20 ms: where the stereo image is judged; takes more", "reflection-free"),
)
