"""Bad variants and bad pairs: each added to a good room or plan.

`VARIANT_CASES` add a variant to the good room; every command refuses them, whether or not the
variant is asked for.
"""

from cases import Case, room

COUCH = """
[variants.couch]
says = "a couch"
[[variants.couch.add_furniture]]
kind = "sofa"
name = "couch"
at = [3.1, 0.6, 0.0]
size = [0.9, 1.8, 0.8]
"""
FURNITURE = """
[[furniture]]
kind = "cabinet"
name = "{}"
at = [3.0, 0.2, 0.0]
size = [0.4, 0.4, 1.0]
"""
SAYS = '\n[variants.x]\nsays = "x"\n'


def variant(name: str, text: str, *faults: tuple[str, str]) -> Case:
    """A variant added to the good room file, whose faults (key, remedy) are all of that file."""
    return room(name, "+", text, *faults)


def couch(name: str, old: str, new: str, *faults: tuple[str, str]) -> Case:
    """A change to the good variant with a couch."""
    assert old in COUCH
    return variant(name, COUCH.replace(old, new, 1), *faults)


VARIANT_CASES = (
    couch("variant_removes_unknown_furniture", 'says = "a couch"',
          'says = "a couch"\nremove = ["dsk"]',
          ("variants.couch.remove", 'did you mean "desk"?')),
    couch("variant_with_unknown_key", 'says = "a couch"', 'says = "a couch"\nremov = ["desk"]',
          ("variants.couch.remov", 'did you mean "remove"?')),
    couch("variant_without_a_sentence", 'says = "a couch"\n', "",
          ("variants.couch.says", "in a sentence")),
    couch("variant_furniture_outside", "[3.1, 0.6, 0.0]", "[3.0, 2.6, 0.0]",
          ("variants.couch.add_furniture[0].at", "outside the room")),
    couch("variant_furniture_of_unknown_kind", '"sofa"', '"couch"',
          ("variants.couch.add_furniture[0].kind", "sofa")),
    couch("variant_furniture_in_other", "[3.1, 0.6, 0.0]", "[0.9, 1.0, 0.0]",
          ("variants.couch.add_furniture[0].at", "shares space with furniture[0] (desk)")),
    couch("variant_couch_around_a_seat", "size = [0.9, 1.8, 0.8]", "size = [0.9, 1.8, 1.5]\n"
          "[variants.couch.move]\nmix = [3.4, 1.6, 1.2]",
          ("variants.couch.move.mix", "inside the furniture")),
    variant("variant_moves_nobody", SAYS + "move = { mxi = [1.8, 1.6, 1.2] }\n",
            ("variants.x.move.mxi", 'did you mean "mix"?')),
    variant("variant_moves_a_speaker_out", SAYS + "move = { L = [0.6, -1.0, 1.2] }\n",
            ("variants.x.move.L", "move it inside")),
    variant("variant_budget_negative", SAYS + "budget = -5\n",
            ("variants.x.budget", "from 0")),
    variant("variant_budget_buys_nothing", SAYS + "budget = 3\n",
            ("variants.x.budget", "buys nothing")),
    variant("variant_material_unknown", SAYS + 'surfaces = { back = "brick_bear" }\n',
            ("variants.x.surfaces.back", "brick_bare")),
    variant("variant_surface_unknown", SAYS + 'surfaces = { roof = "brick_bare" }\n',
            ("variants.x.surfaces.roof", "this room has")),
    variant("variant_bans_unknown_product", SAYS + 'ban_products = ["wol"]\n',
            ("variants.x.ban_products", "no such product")),
    variant("variant_allows_what_is_allowed", SAYS + 'allow_products = ["wool"]\n',
            ("variants.x.allow_products", "is not banned")),
    variant("variant_allows_a_mounting_that_is", SAYS + 'allow_mountings = ["wall"]\n',
            ("variants.x.allow_mountings", "is not banned")),
    variant("variant_leaves_no_product", SAYS + 'only_mountings = ["floor"]\n',
            ("variants.x", "relax one")),
    variant("variant_mounting_unknown", SAYS + 'only_mountings = ["nail"]\n',
            ("variants.x.only_mountings[0]", "corner")),
    variant("variant_limit_unknown", SAYS + "limits = { max_dept = 0.3 }\n",
            ("variants.x.limits.max_dept", 'did you mean "max_depth"?')),
    variant("variant_weight_huge", SAYS + "weights = { modes = 1e9 }\n",
            ("variants.x.weights.modes", "1000")),
    variant("variant_named_base", '\n[variants.base]\nsays = "x"\n', ("variants", "another name")),
    variant("variant_name_with_plus", '\n[variants."a+b"]\nsays = "x"\n',
            ("variants", "another name")),
    variant("too_many_variants", "".join(f'\n[variants.v{i}]\nsays = "x"\n' for i in range(51)),
            ("variants", "51 variants; at most 50")),
    variant("variant_as_a_number", "\n[variants]\nx = 3\n", ("variants.x", "table")),
    variant("variant_removes_what_there_are_two_of",
            SAYS + 'remove = ["w"]\n' + FURNITURE.format("w") + FURNITURE.format("w").replace(
                "[3.0,", "[2.4,"), ("variants.x.remove", "is the name of 2 things")),
    variant("variants_as_a_list", '\n[[variants]]\nsays = "x"\n', ("variants", "[variants.NAME]")),
    variant("faults_of_two_variants_together",
            COUCH.replace("[3.1, 0.6, 0.0]", "[3.0, 2.6, 0.0]") + SAYS + "budget = nan\n",
            ("variants.couch.add_furniture[0].at", "outside"), ("variants.x.budget", "finite")),
    Case("base_list_at_fault_told_once_beside_a_variant_that_adds_to_it",
         (("room.toml", "[[areas]]", "[areas]"),
          ("room.toml", "+", SAYS + '[[variants.x.add_areas]]\nsurface = "right"\nkind = "window"\n'
           'material = "double_glazing_10"\nat = [1.0, 0.9]\nsize = [1.0, 1.0]\n')),
         (("room.toml", "areas", "its own [[areas]] table"),)),
    Case("base_limits_at_fault_told_once_beside_variants_that_ban",
         (("room.toml", "[limits]\nmax_depth = 0.2", "[limits]\nbanned_products = 3\n"
           "no_mountings = 4"),
          ("room.toml", "+", SAYS + 'ban_products = ["fill"]\nban_mountings = ["corner"]\n')),
         (("room.toml", "limits.banned_products", "list"),
          ("room.toml", "limits.no_mountings", "list"))),
    Case("base_fault_told_once_beside_a_variant",
         (("room.toml", "length = 4.0", "length = nan"), ("room.toml", "+", COUCH)),
         (("room.toml", "room.length", "finite"),)),
    Case("base_ban_of_nothing_told_once_beside_the_variants_own_ban",
         (("room.toml", "max_depth = 0.2", 'banned_products = ["wol"]'),
          ("room.toml", "+", SAYS + 'ban_products = ["fill"]\n')),
         (("room.toml", "limits.banned_products", "no such product"),)),
    Case("base_fault_of_shifted_furniture_told_once",
         (("room.toml", "[0.4, 0.9, 0.70]", "[0.4, 2.5, 0.70]"),
          ("room.toml", 'kind = "desk"', 'kind = "table"\nname = "t"\nat = [3.0, 0.2, 0.0]\n'
           'size = [0.5, 0.5, 0.5]\n[[furniture]]\nkind = "desk"'),
          ("room.toml", "+", SAYS + 'remove = ["t"]\n')),
         (("room.toml", "furniture[1].at", "outside"),)),
)  # fmt: skip

# Changes to the second of two pieces that name each other as a pair, and the fault.
PAIR_CASES: dict[str, tuple[dict[str, object], tuple[str, str]]] = {
    "pair_names_no_piece": ({"pair": "9"}, ("pieces[1].pair", "another piece")),
    "pair_names_itself": ({"pair": "2"}, ("pieces[1].pair", "another piece")),
    "pair_as_number": ({"pair": 1}, ("pieces[1].pair", "another piece")),
    "pair_one_sided": ({"pair": None}, ("pieces[0].pair", "name each other")),
    "id_twice": ({"id": "1", "pair": None}, ("pieces[1].id", "used twice")),
}
