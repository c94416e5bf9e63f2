"""What starting costs: a command loads what it needs and no more. No outside source."""

import argparse
import json
import subprocess
import sys
from importlib import import_module

import pytest

from optimizer.cli import COMMANDS, main

# A list of rows or of commands needs none of these.
HEAVY = {"scipy", "pandas", "pydantic", "numba", "llvmlite", "matplotlib", "pyomo", "highspy",
         "shapely", "jinja2", "soundfile"}  # fmt: skip
LOADED = """
import json, sys
from optimizer.__main__ import run
sys.argv = ["treatment", *sys.argv[1:]]
try:
    run()
finally:
    print(json.dumps(sorted(sys.modules)), file=sys.stderr)
"""


def loaded(*words: str) -> set[str]:
    """Modules that stand loaded when a command has ended."""
    done = subprocess.run(
        [sys.executable, "-c", LOADED, *words], capture_output=True, text=True, timeout=600
    )
    return set(json.loads(done.stderr.splitlines()[0]))


def tops(modules: set[str]) -> set[str]:
    return {name.split(".")[0] for name in modules}


def test_the_list_of_commands_loads_no_command() -> None:
    found = loaded("--help")
    assert not tops(found) & {*HEAVY, "numpy", "materials"}
    assert not [name for name in found if name.startswith("optimizer.commands.")]


def test_a_search_of_the_table_loads_the_table() -> None:
    found = loaded("materials", "wool")
    assert "materials.table" in found
    assert not tops(found) & HEAVY
    assert {name for name in found if name.startswith("optimizer.commands.")} == {
        "optimizer.commands.materials", "optimizer.commands.printing",
    }  # fmt: skip


def test_a_plan_does_load_what_it_needs() -> None:
    """So the tests above can fail."""
    assert {"scipy", "pydantic", "numba", "highspy", "pyomo"} <= tops(loaded("plan", "--help"))


@pytest.mark.parametrize("name", COMMANDS)
def test_the_list_says_what_each_command_says(name: str) -> None:
    parser = argparse.ArgumentParser(prog="treatment")
    commands = parser.add_subparsers(metavar="COMMAND")
    import_module(f"optimizer.commands.{name}").add_parser(commands)
    assert list(commands.choices) == [name]
    told = " ".join(parser.format_help().split())
    assert f" {name} {COMMANDS[name]}" in told


@pytest.mark.parametrize("words", [["--help"], ["plan"], ["materials", "--nonsense"]])
def test_every_command_is_listed_whatever_is_asked(
    words: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(SystemExit):
        main(["--help", *words])
    told = " ".join(capsys.readouterr().out.split())
    assert all(f" {name} {line}" in told for name, line in COMMANDS.items())


def test_an_unknown_command(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as stop:
        main(["plann"])
    assert stop.value.code == 2
    told = capsys.readouterr().err
    assert "invalid choice: 'plann'" in told
    assert all(name in told for name in COMMANDS)
