"""Bad requests to the commands beside `plan`: the words typed, and every fault they must give.

They are typed in a folder that holds the good files, the room file with the variant "couch", and
the files of `MORE`. "ok.wav" is half a second of falling noise.
"""

import json

from cases import PIECE, ROOM, Expected

LINE = "command line"
ROOM_LENGTH: Expected = ("no_length.toml", "room.length", "finite")
OUT: Expected = ("decay.csv", "", "is a file")
LONG = 300 * "n"


def plan(room_file: object = None, **changes: object) -> str:
    """A plan.json with one piece."""
    named = {} if room_file is None else {"room_file": room_file}
    return json.dumps({"pieces": [{**PIECE, **changes}], **named})


MORE = {
    "no_length.toml": ROOM.replace("length = 4.0", "length = nan"),
    "plan.json": plan(),
    "plan_of_gone.json": plan("gone.toml"),
    "plan_of_number.json": plan(3),
    "plan_of_foam.json": plan("room.toml", product="foam"),
    "plan_outside.json": plan("room.toml", u_m=9.0),
    "plan_over_window.json": plan(surface="left"),
    "plan_of_nothing.json": json.dumps({"pieces": []}),
    "plan_of_two.json": json.dumps({"pieces": [PIECE, {**PIECE, "u_m": 1.6}]}),
    "decay.csv": "band_hz,t20_s\n125,0.5\n250,0.6\n500,0.8\n1000,0.7\n2000,0.7\n4000,0.6\n",
    "decay_bad.csv": "band_hz,t20_s\n125,-0.5\n250,x\n",
    "decay_columns.csv": "hz,t20_s\n125,0.5\n",
    "broken.wav": "RIFF....WAVE",
}

Row = tuple[str, tuple[Expected, ...]]
W = "room.toml --out out --wishes "
WISHES: dict[str, tuple[str, tuple[tuple[str, str], ...]]] = {  # text of wishes, key, remedy
    "no_toml": ("keep = [", (("", "not valid TOML"),)),
    "nothing": ("", (("", "holds no wish"),)),
    "unknown_key": ('plan = "plan.json"\nkeeps = [1]', (("keeps", "keep"),)),
    "no_plan": ("keep = [1]", (("plan", "is missing"),)),
    "number_unknown": ('plan = "plan.json"\nkeep = [7]', (("keep[0]", "no piece of that plan"),)),
    "refused_number_unknown": (
        'plan = "plan.json"\nrefuse = ["x"]',
        (("refuse[0]", "no piece of that plan"),),
    ),
    "number_as_table": ('plan = "plan.json"\nkeep = [{}]', (("keep[0]", "text in quotes"),)),
    "kept_and_refused": (
        'plan = "plan.json"\nkeep = [1]\nrefuse = [1]',
        (("keep[0]", "refused as well"),),
    ),
    "kept_on_a_refused_wall": (
        'plan = "plan.json"\nkeep = [1]\nrefuse_surfaces = ["front"]',
        (("keep", "refused by its surface"),),
    ),
    "kept_over_the_window": (
        'plan = "plan_over_window.json"\nkeep = [1]',
        (("keep[0]", "covers the window"),),
    ),
    "surface_unknown": ('refuse_surfaces = ["roof"]', (("refuse_surfaces[0]", "no such surface"),)),
    "product_unknown": ('refuse_products = ["wol"]', (("refuse_products[0]", "did you mean"),)),
    "liked_nowhere": (
        '[[like]]\nsurface = "roof"\nat = [0, 0]\nsize = [1, 1]',
        (("like[0].surface", "no such surface"),),
    ),
    "liked_outside": (
        '[[like]]\nsurface = "left"\nat = [3.5, 0]\nsize = [1, 1]',
        (("like[0].at", "reaches outside"),),
    ),
    "liked_of_no_size": (
        '[[like]]\nsurface = "left"\nat = [0, 0]\nsize = [0, 1]',
        (("like[0].size[0]", "above 0"),),
    ),
    "liked_of_no_product": (
        '[[like]]\nsurface = "left"\nat = [0, 0]\nsize = [1, 1]\nproduct = "foam"',
        (("like[0].product", "no product"),),
    ),
    "liked_in_the_window": (
        '[[like]]\nsurface = "left"\nat = [1.5, 1.4]\nsize = [0.2, 0.2]',
        (("like[0]", "no allowed piece fits"),),
    ),
    "liked_and_refused": (
        'refuse_surfaces = ["back"]\n[[like]]\nsurface = "back"\nat = [1, 1]\nsize = [1, 1]',
        (("like[0]", "is refused"),),
    ),
    "three_faults": (
        'keep = [1]\nrefuse_surfaces = ["roof"]\nrefuse_products = ["x"]',
        (
            ("plan", "is missing"),
            ("refuse_surfaces[0]", "no such surface"),
            ("refuse_products[0]", "no such product"),
        ),
    ),
}
MORE |= {f"wish_{name}.toml": text for name, (text, _) in WISHES.items()}
MORE |= {
    "wish_gone.toml": 'plan = "gone.json"\nkeep = [1]',
    "wish_two_here.toml": 'plan = "plan.json"\nkeep = [1]',
    "wish_two.toml": 'plan = "plan_of_two.json"\nkeep = [1, 2]',
    "wish_clash.toml": 'plan = "plan_clash.json"\nkeep = [1, 2]',
    "plan_clash.json": json.dumps({"pieces": [PIECE, {**PIECE, "u_m": 1.2}]}),
}
WISH_CASES: dict[str, Row] = {
    **{
        f"wish_{name}": (
            f"{W}wish_{name}.toml",
            tuple((f"wish_{name}.toml", *fault) for fault in faults),
        )
        for name, (_, faults) in WISHES.items()
    },
    "wish_of_the_plan_written": (
        "room.toml --out . --wishes wish_two_here.toml",
        (("wish_two_here.toml", "plan", "written over"),),
    ),
    "wish_plan_gone": (f"{W}wish_gone.toml", (("gone.json", "", "read"),)),
    "wish_file_gone": (f"{W}gone.toml", (("gone.toml", "", "read"),)),
    "wish_file_gone_and_bad_room": (
        "no_length.toml --out out --wishes gone.toml",
        (ROOM_LENGTH, ("gone.toml", "", "read")),
    ),
    "wish_unknown_key_and_bad_room": (
        "no_length.toml --out out --wishes wish_unknown_key.toml",
        (ROOM_LENGTH, ("wish_unknown_key.toml", "keeps", "keep")),
    ),
    "wish_of_too_much": (
        f"{W}wish_two.toml --budget 60",
        (("wish_two.toml", "keep", "keep less"),),
    ),
    "wish_of_one_place_twice": (
        f"{W}wish_clash.toml",
        (("wish_clash.toml", "keep", "same space"),),
    ),
    "wish_with_stages": (
        f"{W}wish_two.toml --stages 300,600",
        ((LINE, "--wishes", "not together with --stages"),),
    ),
    "wish_with_alternatives": (
        f"{W}wish_two.toml --alternatives 2",
        ((LINE, "--wishes", "not together with --alternatives"),),
    ),
}
COMPARE_CASES: dict[str, Row] = {
    "compare_nothing": ("room.toml", ((LINE, "VARIANT", "at least one variant"),)),
    "compare_unknown_variant": ("room.toml coach", ((LINE, "VARIANT", 'did you mean "couch"?'),)),
    "compare_combination_with_unknown": (
        "room.toml couch+rug", ((LINE, "VARIANT", "no such variant"),)),
    "compare_combination_with_nothing": (
        "room.toml couch+", ((LINE, "VARIANT", "no such variant"),)),
    "compare_variant_twice": ("room.toml couch couch", ((LINE, "VARIANT", "twice"),)),
    "compare_variant_with_itself": ("room.toml couch+couch", ((LINE, "VARIANT", "twice"),)),
    "compare_replan_and_bare": (
        "room.toml couch --replan --bare",
        ((LINE, "--replan and --bare", "exclude each other"),)),
    "compare_replan_and_plan": (
        "room.toml couch --replan --with plan.json",
        ((LINE, "--replan and --with", "exclude each other"),)),
    "compare_plan_not_there": (
        "room.toml couch --with gone.json", (("gone.json", "", "read"),)),
    "compare_plan_twice": (
        "room.toml couch --with plan.json --with ./plan.json", ((LINE, "--with", "twice"),)),
    "compare_two_bad_plans": (
        "room.toml couch --with plan_of_foam.json --with gone.json",
        (("plan_of_foam.json", "pieces[0].product", "price list"), ("gone.json", "", "read"))),
    "compare_bad_room_and_bad_plan": (
        "no_length.toml base --with decay.csv --with gone.json",
        (ROOM_LENGTH, ("decay.csv", "", "is no plan"), ("gone.json", "", "read"))),
    "compare_gap_and_time": (
        "room.toml couch --gap 7 --time-limit nan",
        ((LINE, "--gap", "0 to 1"), (LINE, "--time-limit", "above 0"))),
    "compare_out_below_nothing": (
        "room.toml couch --bare --out gone/out", (("gone/out", "", "make it first"),)),
    "compare_too_many_columns": (
        "room.toml couch " + " ".join(f"couch+{n}" for n in range(9)),
        ((LINE, "VARIANT", "side by side"), *((LINE, "VARIANT", "no such variant"),) * 9)),
}  # fmt: skip

WHY_CASES: dict[str, Row] = {
    "why_time_zero": (
        "plan.json --room room.toml --time-limit 0", ((LINE, "--time-limit", "above 0"),)),
    "why_unknown_variant": (
        "plan.json --room room.toml --variant coach", ((LINE, "VARIANT", "couch"),)),
    "why_plan_that_does_not_fit": (
        "plan_of_foam.json --room room.toml",
        (("plan_of_foam.json", "pieces[0].product", "price list"),)),
    "why_everything_at_once": (
        "gone.json --room no_length.toml --time-limit=-1",
        ((LINE, "--time-limit", "above 0"), ROOM_LENGTH, ("gone.json", "", "read"))),
}  # fmt: skip

BUDGET_CASES: dict[str, Row] = {
    "budget_below_zero": (
        "room.toml --from=-5 --to 900", ((LINE, "--from", "0 to 1e9"),)),
    "budget_no_numbers": (
        "room.toml --from nan --to inf", ((LINE, "--from", "0 to 1e9"), (LINE, "--to", "above"))),
    "budget_downwards": ("room.toml --from 900 --to 200", ((LINE, "--to", "above --from"),)),
    "budget_one_step": (
        "room.toml --from 100 --to 900 --steps 1", ((LINE, "--steps", "2 to 100"),)),
    "budget_many_steps": (
        "room.toml --from 100 --to 900 --steps 5000", ((LINE, "--steps", "2 to 100"),)),
    "budget_steps_below_a_cent": (
        "room.toml --from 100 --to 100.05 --steps 50", ((LINE, "--from", "too close"),)),
    "budget_unknown_variant": (
        "room.toml --from 1 --to 9 --variant coach", ((LINE, "VARIANT", "couch"),)),
    "budget_everything_at_once": (
        "no_length.toml --from 1 --to 9 --gap 5 --time-limit 0 --out decay.csv",
        ((LINE, "--gap", "0 to 1"), (LINE, "--time-limit", "above 0"), OUT, ROOM_LENGTH)),
}  # fmt: skip

REPORT_CASES: dict[str, Row] = {
    "report_plan_without_room": (
        "plan.json --out out", (("plan.json", "room_file", "--room"),)),
    "report_plan_of_a_room_that_is_gone": (
        "plan_of_gone.json --out out", (("plan_of_gone.json", "room_file", "not there"),)),
    "report_plan_of_a_number": (
        "plan_of_number.json --out out", (("plan_of_number.json", "room_file", "valid string"),)),
    "report_no_plan_and_no_folder": (
        "gone.json --out decay.csv", (OUT, ("gone.json", "", "read"))),
    "report_pieces_and_folder": (
        "plan_of_foam.json --out gone/out",
        (("gone/out", "", "make it first"),
         ("plan_of_foam.json", "pieces[0].product", "price list"))),
    "report_room_and_plan": (
        "decay.csv --room no_length.toml --out out",
        (("decay.csv", "", "is no plan"), ROOM_LENGTH)),
}  # fmt: skip

MEASURE_CASES: dict[str, Row] = {
    "measure_nothing": ("", ((LINE, "FILE.wav", "at least one"),)),
    "measure_not_there": ("gone.wav", (("gone.wav", "", "not found"),)),
    "measure_no_sound": ("room.toml broken.wav",
                         (("room.toml", "", "as sound"), ("broken.wav", "", "as sound"))),
    "measure_channel_zero": ("ok.wav --channel 0", (("ok.wav", "--channel", "channels 1"),)),
    "measure_channel_two_of_one": ("ok.wav --channel 2", (("ok.wav", "--channel", "channels 1"),)),
    "measure_names_for_other_files": (
        "ok.wav --at a b --from c d", ((LINE, "--at", "one name"), (LINE, "--from", "one name"))),
    "measure_written_over_itself": ("ok.wav --json ok.wav", ((LINE, "ok.wav", "overwrite"),)),
    "measure_two_outputs_of_one_name": (
        "ok.wav --json a --csv a", ((LINE, "--csv", "same file"),)),
    "measure_outputs_that_cannot_be": (
        f"ok.wav --json gone/sub/a.json --csv {LONG}",
        (("gone/sub", "", "make it first"), (LONG, "", "another name"))),
    "measure_same_recording_twice": ("ok.wav ok.wav", (("ok.wav", "sound", "copied"),)),
    "measure_reference_not_there": (
        "ok.wav --reference gone.wav", (("gone.wav", "", "not found"),)),
    "measure_reference_that_is_no_sweep": (
        "ok.wav --reference ok.wav", (("ok.wav", "sound", "rise steadily"),)),
}  # fmt: skip

CALIBRATE_CASES: dict[str, Row] = {
    "calibrate_out_is_no_room_file": (
        "room.toml --measured decay.csv --out out.csv", ((LINE, "--out", ".toml"),)),
    "calibrate_out_elsewhere": (
        "room.toml --measured decay.csv --out sub/out.toml", ((LINE, "--out", "beside"),)),
    "calibrate_over_the_room_file": (
        "room.toml --measured decay.csv --out room.toml", ((LINE, "--out", "there already"),)),
    "calibrate_bad_table": (
        "room.toml --measured decay_bad.csv --out out.toml",
        (("decay_bad.csv", "row 2.t20_s", "0.02 to 30"), ("decay_bad.csv", "row 3.t20_s", "num"))),
    "calibrate_table_of_other_columns": (
        "room.toml --measured decay_columns.csv --out out.toml",
        (("decay_columns.csv", "column hz", "unknown"),
         ("decay_columns.csv", "column band_hz", "missing"))),
    "calibrate_unknown_variant": (
        "room.toml --measured decay.csv --as coach --out out.toml",
        ((LINE, "VARIANT", "couch"),)),
    "calibrate_states_told_together": (
        "room.toml --measured gone.csv --measured decay.csv --with gone.json --out out.toml",
        (("gone.csv", "", "read"), ("gone.json", "", "read"))),
    "calibrate_everything_at_once": (
        "no_length.toml --measured gone.csv decay_columns.csv --out out.txt",
        ((LINE, "--out", ".toml"), ROOM_LENGTH, ("gone.csv", "", "read"),
         ("decay_columns.csv", "column hz", "unknown"),
         ("decay_columns.csv", "column band_hz", "missing"))),
}  # fmt: skip

OTHER_CASES: dict[str, tuple[str, Row]] = {
    "new_over_a_folder": ("new", (".", ((".", "", "is a folder"),))),
    "new_below_a_file": ("new", ("decay.csv/den.toml", (OUT,))),
    "new_of_a_long_name": ("new", (f"{LONG}.toml", ((f"{LONG}.toml", "", "another name"),))),
    "predict_room_and_plan": (
        "predict", ("no_length.toml --with gone.json", (ROOM_LENGTH, ("gone.json", "", "read")))),
    "positions_none": ("positions", ("room.toml --top 0", ((LINE, "--top", "1 to"),))),
    "positions_heights": (
        "positions", ("room.toml --stands 2 1 --ears nan",
                      ((LINE, "--ears", "not a length"), (LINE, "--stands", "lower height")))),
    "positions_unknown_variant": (
        "positions", ("room.toml --variant coach", ((LINE, "VARIANT", "couch"),))),
    "plan_positions_of_no_kind": (
        "plan", ("room.toml --out out --positions 3", ((LINE, "--positions", "give auto"),))),
    "plan_positions_and_stages": (
        "plan", ("room.toml --out out --positions auto --stages 100,200",
                 ((LINE, "--positions", "not together with --stages"),))),
    "plan_positions_and_alternatives": (
        "plan", ("room.toml --out out --positions auto --alternatives 2",
                 ((LINE, "--positions", "not together with --alternatives"),))),
    "plan_positions_everything_at_once": (
        "plan", ("no_length.toml --out decay.csv --positions maybe --gap 7",
                 ((LINE, "--gap", "0 to 1"), (LINE, "--positions", "give auto"), OUT,
                  ROOM_LENGTH))),
    "plan_earlier_not_there": (
        "plan", ("room.toml --out out --earlier gone.json", (("gone.json", "", "read"),))),
    "plan_earlier_of_other_prices": (
        "plan", ("room.toml --out out --earlier plan_of_foam.json",
                 (("plan_of_foam.json", "pieces[0].product", "price list"),))),
    "plan_earlier_of_other_room": (
        "plan", ("room.toml --out out --earlier plan_outside.json",
                 (("plan_outside.json", "pieces[0].u_m", "outside"),))),
    "plan_earlier_without_pieces": (
        "plan", ("room.toml --out out --earlier plan_of_nothing.json",
                 (("plan_of_nothing.json", "pieces", "still to hang"),))),
    "plan_earlier_over_the_window": (
        "plan", ("room.toml --out out --fast --earlier plan_over_window.json",
                 (("plan_over_window.json", "pieces", "none of its pieces can hang"),))),
    "plan_earlier_too_dear": (
        "plan", ("room.toml --out out --fast --budget 60 --earlier plan_of_two.json",
                 (("plan_of_two.json", "pieces", "higher --budget"),))),
    "plan_earlier_and_others": (
        "plan", ("no_length.toml --out out --alternatives 2 --earlier decay.csv",
                 ((LINE, "--earlier", "not together with --alternatives"), ROOM_LENGTH,
                  ("decay.csv", "", "is no plan")))),
    "plan_stages_that_buy_nothing": (
        "plan", ("room.toml --out out --stages 1,2",
                 (("room.toml", "budget.amount", "buys nothing"),))),
    "plan_stages_too_many": (
        "plan", ("room.toml --out out --stages 1,2,3,4,5,6,7", ((LINE, "--stages", "rising"),))),
    "plan_variant_twice": (
        "plan", ("room.toml --out out --variant couch --variant couch",
                 ((LINE, "VARIANT", "twice"),))),
    "plan_file_of_a_variant_and_option": (
        "plan", ("no_length.toml --out decay.csv --stages 2,1",
                 ((LINE, "--stages", "rising"), OUT, ROOM_LENGTH))),
}  # fmt: skip

COMMAND_CASES: dict[str, tuple[list[str], tuple[Expected, ...]]] = {
    name: ([command, *words.split()], faults)
    for command, table in (
        ("compare", COMPARE_CASES), ("why", WHY_CASES), ("budget", BUDGET_CASES),
        ("report", REPORT_CASES), ("plan", WISH_CASES), ("measure", MEASURE_CASES),
        ("calibrate", CALIBRATE_CASES),
    )
    for name, (words, faults) in table.items()
} | {
    name: ([command, *words.split()], faults)
    for name, (command, (words, faults)) in OTHER_CASES.items()
}  # fmt: skip
