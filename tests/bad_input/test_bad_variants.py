"""Bad variants and bad requests are refused with every fault named; no outside source."""

import argparse
import json
import re
from pathlib import Path
from types import ModuleType

import pytest
from cases import GOOD_FILES, PIECE, Case, Expected
from variant_cases import COUCH, PAIR_CASES, VARIANT_CASES

from optimizer.commands import compare, plan, predict, report, why
from optimizer.faults import Fault, ScenarioError
from optimizer.project import load_project

READERS = {  # commands that read a plan.json, and how they are asked to
    plan: "plan room.toml --out out --earlier plan.json",
    predict: "predict room.toml --with plan.json",
    compare: "compare room.toml couch --with plan.json",
    why: "why plan.json --room room.toml",
    report: "report plan.json --room room.toml --out out",
}


def lay_out(folder: Path, changes: tuple[tuple[str, str, str], ...] = ()) -> Path:
    """The good files with changes; returns the room file."""
    texts = dict(GOOD_FILES)
    for name, old, new in changes:
        assert old == "+" or old in texts[name]
        texts[name] = texts[name] + new if old == "+" else texts[name].replace(old, new, 1)
    for name, text in texts.items():
        (folder / name).write_text(text, encoding="utf-8")
    return folder / "room.toml"


def fits(fault: Fault, expected: Expected) -> bool:
    file, key, remedy = expected
    return fault.file.endswith(file) and fault.key == key and remedy in fault.remedy


def told(faults: tuple[Fault, ...], expected: tuple[Expected, ...]) -> None:
    """Exactly these faults, each in one line."""
    assert len(faults) == len(expected), [str(f) for f in faults]
    left = list(faults)
    for one in expected:
        found = [fault for fault in left if fits(fault, one)]
        assert found, (one, [str(f) for f in left])
        left.remove(found[0])
    assert all("\n" not in str(fault) for fault in faults)


def run(command: ModuleType, *arguments: str) -> tuple[Fault, ...]:
    """The faults a command tells."""
    parser = argparse.ArgumentParser()
    commands = parser.add_subparsers()
    command.add_parser(commands)
    parsed = parser.parse_args(arguments)
    with pytest.raises(ScenarioError) as refused:
        parsed.run(parsed)
    return refused.value.faults


@pytest.mark.parametrize("case", VARIANT_CASES, ids=lambda case: case.name)
def test_bad_variant_is_told_though_nobody_asked_for_it(case: Case, tmp_path: Path) -> None:
    with pytest.raises(ScenarioError) as refused:
        load_project(lay_out(tmp_path, case.changes))
    told(refused.value.faults, case.faults)


def test_the_good_variant_is_good(tmp_path: Path) -> None:
    """Every case is bad by its change alone."""
    path = lay_out(tmp_path, (("room.toml", "+", COUCH),))
    assert [f.name for f in load_project(path).room.furniture] == ["desk"]
    varied = load_project(path, variants=["couch"])
    assert [f.name for f in varied.room.furniture] == ["desk", "couch"]
    assert varied.says == "a couch"


BARRED = (
    'max_depth = 0.2\nbanned_products = ["fill"]\nno_mountings = ["corner"]\n'
    "nothing_overhead = true"
)


@pytest.mark.parametrize(
    ("changes", "usable"),
    [
        ("", {"wool": ("wall",)}),
        ('allow_products = ["fill"]', {"wool": ("wall",)}),  # whose one mounting is barred still
        ('allow_products = ["fill"]\nallow_mountings = ["corner"]',
         {"wool": ("wall",), "fill": ("corner",)}),
        ('allow_mountings = ["ceiling"]', {"wool": ("wall", "ceiling")}),
        ('ban_mountings = ["wall"]\nallow_mountings = ["ceiling"]', {"wool": ("ceiling",)}),
        ('allow_products = ["fill"]\nban_products = ["wool"]\nallow_mountings = ["corner"]',
         {"fill": ("corner",)}),
    ],
)  # fmt: skip
def test_variants_ban_and_allow(
    changes: str, usable: dict[str, tuple[str, ...]], tmp_path: Path
) -> None:
    """In a room that bars a product, a mounting, and all overhead."""
    text = f'\n[variants.x]\nsays = "x"\n{changes}\n'
    path = lay_out(tmp_path, (("room.toml", "max_depth = 0.2", BARRED), ("room.toml", "+", text)))
    project = load_project(path, variants=["x"])
    assert {p.id: p.mountings for p in project.usable_products} == usable


def pair(change: dict[str, object]) -> str:
    second = {**PIECE, "u_m": 2.0, "id": "2", "pair": "1", **change}
    return json.dumps({"pieces": [{**PIECE, "id": "1", "pair": "2", **_freed(change)}, second]})


def _freed(change: dict[str, object]) -> dict[str, object]:
    """The first piece names no pair where the fault is to be the second's alone."""
    return {} if change == {"pair": None} else {"pair": None}


@pytest.mark.parametrize("command", READERS, ids=lambda command: command.__name__[19:])
@pytest.mark.parametrize("name", PAIR_CASES)
def test_bad_pair(
    name: str, command: ModuleType, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """By every command that reads a plan."""
    change, (key, remedy) = PAIR_CASES[name]
    monkeypatch.chdir(tmp_path)
    lay_out(tmp_path, (("room.toml", "+", COUCH),))
    (tmp_path / "plan.json").write_text(pair(change))
    told(run(command, *READERS[command].split()), (("plan.json", key, remedy),))


def test_a_fault_that_only_a_combination_has(tmp_path: Path) -> None:
    """Two couches in one place: sound apart, told together at the later variant."""
    second = COUCH.replace("variants.couch", "variants.other").replace('"couch"', '"settee"')
    path = lay_out(tmp_path, (("room.toml", "+", COUCH + second),))
    load_project(path, variants=["couch"])
    with pytest.raises(ScenarioError) as refused:
        load_project(path, variants=["couch+other"])
    key = "variants.other.add_furniture[0].at"
    told(refused.value.faults, (("room.toml", key, "variants.couch.add_furniture[0]"),))


def test_remove_names_one_thing(tmp_path: Path) -> None:
    """Two desks without names: the variant must not guess which."""
    twin = '\n[[furniture]]\nkind = "desk"\nat = [2.6, 0.2, 0.7]\nsize = [0.6, 0.6, 0.04]\n'
    text = twin + '[variants.x]\nsays = "x"\nremove = ["desk"]\n'
    with pytest.raises(ScenarioError) as refused:
        load_project(lay_out(tmp_path, (("room.toml", "+", text),)))
    told(refused.value.faults, (("room.toml", "variants.x.remove", "furniture[0], furniture[1]"),))
    assert not re.search("Traceback", str(refused.value))
