"""Bad input is refused: exit code 2, one line per fault with file, key and remedy, all at once.

What counts as bad is the project's own requirement; no outside source.
"""

import json
import os
import random
import re
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import soundfile
from cases import (
    FILE_CASES,
    GOOD_FILES,
    OPTION_CASES,
    PIECE,
    PIECE_CASES,
    PLAN_CASES,
    ROOM,
    Case,
    Expected,
)
from command_cases import COMMAND_CASES, MORE
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from variant_cases import COUCH

from optimizer.cli import main
from optimizer.faults import Fault, ScenarioError
from optimizer.project import load_project

Capture = pytest.CaptureFixture[str]
OLD_PLAN = '{"kept": true}'


def lay_out(folder: Path, case: Case | None = None) -> Path:
    """The good files with the changes of a case; returns the room file."""
    texts = dict(GOOD_FILES)
    for name, old, new in case.changes if case else ():
        if old == "+":
            texts[name] += new
        elif old == "":
            texts[name] = new
        else:
            assert old in texts[name], f"{old!r} is not in the good {name}"
            texts[name] = texts[name].replace(old, new, 1)
    for name, text in texts.items():
        (folder / name).write_text(text, encoding="utf-8")
    return folder / "room.toml"


def snapshot(folder: Path) -> dict[str, bytes]:
    """Every file below a folder."""
    return {str(p): p.read_bytes() if p.is_file() else b"" for p in folder.rglob("*")}


def refused(
    arguments: list[str], folder: Path, capsys: Capture, expected: tuple[Expected, ...]
) -> None:
    """The command refuses its input with exactly these faults, and leaves the folder alone."""
    before = snapshot(folder)
    code = main(arguments)
    out, err = capsys.readouterr()
    assert code == 2
    assert out == ""
    assert "Traceback" not in err
    assert snapshot(folder) == before
    lines = err.splitlines()
    assert len(lines) == len(expected), err
    left = list(lines)
    for file, key, remedy in expected:
        pattern = place(file, key)
        fitting = [li for li in left if re.search(pattern, li) and remedy in li]
        assert fitting, f"no line for {file}: {key}: {remedy} in\n{err}"
        left.remove(fitting[0])


def place(file: str, key: str) -> str:
    """Pattern of the start of a complaint: the file, then the key whole."""
    if not key:
        return rf"{re.escape(file)}: "
    return rf"{re.escape(file)}: {re.escape(key)}( = .*)?: "


def test_the_good_files_are_good(tmp_path: Path, capsys: Capture) -> None:
    """Every case below is bad by its change alone."""
    room = lay_out(tmp_path)
    plan = tmp_path / "plan.json"
    plan.write_text(json.dumps({"format": 1, "pieces": [PIECE]}))
    assert main(["predict", str(room), "--with", str(plan)]) == 0
    out, err = capsys.readouterr()
    assert "1 pieces" in out
    assert all(line.endswith(" ...") for line in err.splitlines())  # progress, no complaint


@pytest.mark.parametrize("case", FILE_CASES, ids=lambda case: case.name)
def test_bad_file(case: Case, tmp_path: Path, capsys: Capture) -> None:
    """A small change to a good room, price list or materials table."""
    room = lay_out(tmp_path, case)
    refused(["predict", str(room)], tmp_path, capsys, case.faults)


@pytest.mark.parametrize("name", PLAN_CASES)
def test_bad_plan(name: str, tmp_path: Path, capsys: Capture) -> None:
    """A plan.json that is none."""
    content, faults = PLAN_CASES[name]
    room, plan = lay_out(tmp_path), tmp_path / "plan.json"
    plan.write_text(content if isinstance(content, str) else json.dumps(content))
    expected = tuple(("plan.json", *fault) for fault in faults)
    refused(["predict", str(room), "--with", str(plan)], tmp_path, capsys, expected)


@pytest.mark.parametrize("name", PIECE_CASES)
def test_bad_piece(name: str, tmp_path: Path, capsys: Capture) -> None:
    """A piece of a plan that does not fit the room or the price list."""
    key, value, remedy = PIECE_CASES[name]
    room, plan = lay_out(tmp_path), tmp_path / "plan.json"
    plan.write_text(json.dumps({"pieces": [PIECE, {**PIECE, key: value}]}))
    expected = (("plan.json", f"pieces[1].{key}", remedy),)
    refused(["predict", str(room), "--with", str(plan)], tmp_path, capsys, expected)


def test_piece_turned_that_may_not_be(tmp_path: Path, capsys: Capture) -> None:
    case = Case("", (("prices.csv", "50 mm,yes", "50 mm,no"),), ())
    room, plan = lay_out(tmp_path, case), tmp_path / "plan.json"
    turned = {"turned": True, "width_m": PIECE["height_m"], "height_m": PIECE["width_m"]}
    plan.write_text(json.dumps({"pieces": [{**PIECE, **turned}]}))
    expected = (("plan.json", "pieces[0].turned", "may not be turned"),)
    refused(["predict", str(room), "--with", str(plan)], tmp_path, capsys, expected)


@pytest.mark.parametrize("key", PIECE)
def test_piece_without_key(key: str, tmp_path: Path, capsys: Capture) -> None:
    """A piece that lacks one of its keys, twice: both are told."""
    room, plan = lay_out(tmp_path), tmp_path / "plan.json"
    short = {k: v for k, v in PIECE.items() if k != key}
    plan.write_text(json.dumps({"pieces": [short, PIECE, short]}))
    expected = tuple(("plan.json", f"pieces[{i}].{key}", "is missing; add it") for i in (0, 2))
    refused(["predict", str(room), "--with", str(plan)], tmp_path, capsys, expected)


def test_corner_that_is_none(tmp_path: Path, capsys: Capture) -> None:
    """A corner piece between walls that do not meet."""
    room, plan = lay_out(tmp_path), tmp_path / "plan.json"
    corner = {**PIECE, "product": "fill", "mounting": "corner", "width_m": 0.3, "height_m": 0.6}
    plan.write_text(json.dumps({"pieces": [{**corner, "surface": "front-back"}]}))
    expected = (("plan.json", "pieces[0].surface", "front-left"),)
    refused(["predict", str(room), "--with", str(plan)], tmp_path, capsys, expected)


@pytest.mark.parametrize("name", OPTION_CASES)
def test_bad_option(name: str, tmp_path: Path, capsys: Capture) -> None:
    """Options that are numbers but make no sense; a plan that is there stays."""
    options, faults = OPTION_CASES[name]
    room, out = lay_out(tmp_path), tmp_path / "out"
    out.mkdir()
    (out / "plan.json").write_text(OLD_PLAN)
    refused(["plan", str(room), "--out", str(out), *options], tmp_path, capsys, faults)


@pytest.mark.parametrize("name", COMMAND_CASES)
def test_bad_request(
    name: str, tmp_path: Path, capsys: Capture, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Every other command, from a folder with good and bad files: all faults, nothing written."""
    arguments, faults = COMMAND_CASES[name]
    monkeypatch.chdir(tmp_path)
    lay_out(tmp_path, Case("", (("room.toml", "+", COUCH),), ()))
    for file, text in MORE.items():
        (tmp_path / file).write_text(text, encoding="utf-8")
    soundfile.write(tmp_path / "ok.wav", falling_noise(), 48_000)
    refused(arguments, tmp_path, capsys, faults)


def falling_noise() -> NDArray[np.float64]:
    """Half a second of noise that falls by 60 dB."""
    time = np.arange(24_000) / 48_000
    noise = np.random.default_rng(1).uniform(-0.5, 0.5, len(time))
    return np.asarray(noise * 10 ** (-3 * time / 0.5))


def test_bad_option_is_told_with_the_faults_of_the_room(tmp_path: Path, capsys: Capture) -> None:
    """Options, folder and room file in one go."""
    (tmp_path / "room").mkdir()
    case = Case("", (("room.toml", "length = 4.0", "length = nan"),), ())
    room, out = lay_out(tmp_path / "room", case), tmp_path / "gone" / "out"
    expected = (
        ("command line", "--gap", "0 to 1"),
        ("out", "", "make it first"),
        ("room.toml", "room.length", "finite"),
    )
    refused(["plan", str(room), "--out", str(out), "--gap", "7"], tmp_path, capsys, expected)


@pytest.mark.parametrize(
    "arguments",
    [
        [],
        ["plan"],
        ["prophesy", "room.toml"],
        ["plan", "room.toml"],
        ["plan", "room.toml", "--out", "out", "--budget", "much"],
        ["plan", "room.toml", "--out", "out", "--gap", ""],
        ["plan", "room.toml", "--out", "out", "--time-limit", "1 min"],
        ["plan", "room.toml", "--out", "out", "--units", "yard"],
        ["predict", "room.toml", "--wiht", "plan.json"],
    ],
)
def test_bad_command_line(arguments: list[str], capsys: Capture) -> None:
    """What the command line's own grammar refuses."""
    with pytest.raises(SystemExit) as stopped:
        main(arguments)
    assert stopped.value.code == 2
    assert capsys.readouterr().out == ""


def odd_path(folder: Path, kind: str) -> tuple[Path, str]:
    """A path that holds no text file, and a word of the remedy."""
    large, binary, latin, nul = (folder / name for name in ("large", "binary", "latin", "nul"))
    if kind == "large":
        large.write_bytes(b"# " + b"x" * 10_000_000)
    binary.write_bytes(random.Random(1).randbytes(2000))
    latin.write_bytes("title = 'caf\u00e9'".encode("latin-1"))
    nul.write_bytes(b"title = 'a\x00b'")
    return {
        "large": (large, "10.0 MB"),
        "binary": (binary, "plain text"),
        "latin": (latin, "UTF-8"),
        "nul": (nul, "plain text"),
        "missing": (folder / "gone", "check the path"),
        "folder": (folder, "is a folder"),
        "through_file": (nul / "below", "check the path"),
        "long_name": (folder / ("n" * 5000), "check the path"),
        "nul_in_name": (folder / "a\x00b", "check the path"),
        "endless": (Path("/dev/zero"), "below 1 MB"),
    }[kind]


ODD = ("large", "binary", "latin", "nul", "missing", "folder", "through_file", "long_name",
       "nul_in_name", "endless")  # fmt: skip


@pytest.mark.parametrize("kind", ODD)
@pytest.mark.parametrize("which", ["room", "plan", "prices", "own"])
def test_file_that_is_no_text(kind: str, which: str, tmp_path: Path, capsys: Capture) -> None:
    """Large, binary, missing or strange: as room, plan, price list and materials table."""
    odd, remedy = odd_path(tmp_path, kind)
    room = lay_out(tmp_path)
    arguments = ["predict", str(odd if which == "room" else room)]
    arguments += ["--with", str(odd)] if which == "plan" else []
    shown = odd.name.replace("\x00", "U+0000")  # nothing that steers a terminal is printed
    expected: tuple[Expected, ...] = ((shown, "", remedy),)
    if which in ("prices", "own"):
        # Named as a person would, beside the room file; over-long names are refused as text.
        name = str(odd).replace("\x00", "\\u0000")
        room.write_text(ROOM.replace(f'"{which}.csv"', f'"{name}"'))
        if which == "own":
            expected += (("room.toml", "surfaces.floor", "no such material"),)
    if (which, kind) == ("prices", "long_name"):
        expected = (("room.toml", "budget.catalogue", "characters"), *expected)
    if which in ("prices", "own") and kind == "nul_in_name":
        key = "materials" if which == "own" else "budget.catalogue"
        expected = (("room.toml", key, "control character"),)
    if (which, kind) == ("own", "long_name"):
        expected = (("room.toml", "materials", "2000 characters"), *expected[1:])
    refused(arguments, tmp_path, capsys, expected)


@pytest.mark.parametrize(
    ("name", "remedy"),
    [
        ("a_file", "is a file"),
        ("a_file/out", "make it first"),
        ("gone/out", "make it first"),
        ("n" * 300, "choose another folder"),
        ("a\x00b", "choose another folder"),
        ("taken", "move it away"),
    ],
)
def test_bad_out_folder(name: str, remedy: str, tmp_path: Path, capsys: Capture) -> None:
    """Folders for the results that cannot be made or written."""
    room = lay_out(tmp_path)
    (tmp_path / "a_file").write_text("x")
    (tmp_path / "taken" / "plan.json").mkdir(parents=True)
    out = str(tmp_path / name)
    last = "plan.json" if name == "taken" else os.path.basename(name).replace("\x00", "U+0000")
    refused(["plan", str(room), "--out", out], tmp_path, capsys, ((last, "", remedy),))


@pytest.mark.parametrize(
    ("words", "name"),
    [
        ("plan --stages 200,300,400", "stage_3.json"),
        ("plan --alternatives 2", "alternative_2.json"),
        ("plan --positions auto", "as_it_is.json"),
        ("plan --positions auto", "set_up_2.json"),
        ("plan --positions auto", "room_set_up_1.toml"),
        ("plan", "report.html"),
        ("positions", "positions.svg"),
        ("positions", "room_facing_left.toml"),
    ],
)
def test_every_file_is_known_before_the_search(
    words: str, name: str, tmp_path: Path, capsys: Capture
) -> None:
    """One of the files to be written cannot be: told at once, not after the search."""
    room, out = lay_out(tmp_path), tmp_path / "out"
    (out / name).mkdir(parents=True)
    command, *options = words.split()
    asked = [command, str(room), "--out", str(out), *options]
    refused(asked, tmp_path, capsys, ((f"{name}", "", "is a folder"),))


def test_the_program_itself(tmp_path: Path) -> None:
    """The installed program, in a process of its own: exit code, streams, no traceback."""
    case = next(c for c in FILE_CASES if c.name == "faults_of_three_files_together")
    room = lay_out(tmp_path, case)
    odd, _ = odd_path(tmp_path, "binary")
    program = Path(sys.executable).with_name("treatment")
    out = str(tmp_path / "out")
    for arguments, count in (
        (["predict", str(room)], len(case.faults)),
        (["plan", str(odd), "--out", out, "--gap", "nan"], 2),
    ):
        done = subprocess.run([program, *arguments], capture_output=True, text=True, timeout=600)
        assert done.returncode == 2
        assert done.stdout == ""
        assert "Traceback" not in done.stderr
        assert len(done.stderr.splitlines()) == count
    assert not (tmp_path / "out").exists()


TOKENS = re.findall(r'"[^"]*"|[\w.]+|[^\w\s]|\n', ROOM)
ODD_TOKENS = ("nan", "-1", "1e308", "true", '""', "[]", "{}", "=", "\n", "0", "inf", '"x"', "[[",
              '"1 ft"', "9" * 350, "1979-05-27", "-0.0", "1e-300", '"\\u0007"')  # fmt: skip


@settings(
    max_examples=60,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
@given(
    changes=st.lists(
        st.tuples(
            st.integers(0, len(TOKENS) - 1), st.sampled_from(["", "twice", "swap", *ODD_TOKENS])
        ),
        min_size=1,
        max_size=3,
    )
)
def test_any_change_is_read_or_refused(tmp_path: Path, changes: list[tuple[int, str]]) -> None:
    """Tokens of the good room dropped, doubled, swapped or replaced: read, or told as faults."""
    tokens = list(TOKENS)
    for index, change in changes:
        if change == "twice":
            tokens[index] *= 2
        elif change == "swap":
            other = (index + 7) % len(tokens)
            tokens[index], tokens[other] = tokens[other], tokens[index]
        else:
            tokens[index] = change
    room = lay_out(tmp_path)
    room.write_text(" ".join(tokens), encoding="utf-8")
    faults = faults_of(room)
    assert all(str(fault).splitlines() == [str(fault)] for fault in faults)


def faults_of(room: Path) -> tuple[Fault, ...]:
    """Faults of a room file; none when it is read and can be judged."""
    try:
        assert load_project(room).criteria.families
    except ScenarioError as error:
        return error.faults
    return ()
