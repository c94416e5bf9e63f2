"""What a person sees in a terminal: stopping, pipes, plain encodings, width. No outside source."""

import os
import re
import signal
import subprocess
import sys
from pathlib import Path

import pytest
from cases import GOOD_FILES
from variant_cases import COUCH

from materials import load_table
from optimizer.cli import main
from optimizer.results.tables import WIDTH, folded, text_table

PROGRAM = Path(sys.executable).with_name("treatment")
SEARCHING = "round 1"
LOADED = "import time:"  # how lines about loaded modules begin


@pytest.fixture
def room(tmp_path: Path) -> Path:
    for name, text in GOOD_FILES.items():
        (tmp_path / name).write_text(text, encoding="utf-8")
    return tmp_path / "room.toml"


@pytest.mark.parametrize(("number", "code"), [(signal.SIGINT, 130), (signal.SIGTERM, 143)])
def test_stopped_while_it_searches(room: Path, number: signal.Signals, code: int) -> None:
    """Ctrl-C, or a request to end: one line, its usual exit code, no traceback, nothing written."""
    before = sorted(room.parent.iterdir())
    words = [PROGRAM, "plan", room, "--out", room.parent / "out", "--fast", "--gap", "0"]
    with subprocess.Popen(
        words, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    ) as running:
        assert running.stderr is not None
        told = [next(line for line in running.stderr if SEARCHING in line)]
        running.send_signal(number)
        out, err = running.communicate(timeout=600)
    assert running.returncode == code
    assert "Traceback" not in "".join(told) + err
    assert "nothing was written" in out + err
    assert sorted(room.parent.iterdir()) == before


def test_stopped_while_it_loads(room: Path) -> None:
    """Ctrl-C in the first moments: nothing is said, and nothing written.

    Python tells of each module it has loaded, into a pipe that holds fewer lines than there are.
    """
    before = sorted(room.parent.iterdir())
    words = [sys.executable, "-X", "importtime", "-m", "optimizer"]
    with subprocess.Popen(
        [*words, "plan", room, "--out", room.parent / "out"],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
    ) as running:  # fmt: skip
        assert running.stderr is not None
        next(line for line in running.stderr if line.endswith(" optimizer.until_ready\n"))
        running.send_signal(signal.SIGINT)
        out, err = running.communicate(timeout=600)
    assert running.returncode in (-signal.SIGINT, 130)
    said = [line for line in err.splitlines() if not line.startswith(LOADED)]
    assert (out, said) == ("", [])
    assert sorted(room.parent.iterdir()) == before


def test_a_reader_that_goes_away(room: Path) -> None:
    """`treatment materials | head -1`: no complaint."""
    with subprocess.Popen(
        [PROGRAM, "materials"], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    ) as running:
        assert running.stdout is not None
        assert running.stderr is not None
        running.stdout.close()
        err = running.stderr.read()
        assert running.wait(timeout=600) == 0
    assert err == ""


def test_a_terminal_that_knows_ascii_only(room: Path) -> None:
    """Characters it lacks become "?"; no escape codes anywhere."""
    room.write_text(GOOD_FILES["room.toml"] + COUCH, encoding="utf-8")
    done = subprocess.run(
        [PROGRAM, "compare", room, "couch", "--bare"],
        capture_output=True,
        env={**os.environ, "PYTHONIOENCODING": "ascii"},
        timeout=600,
    )
    assert done.returncode == 0, done.stderr
    told = (done.stdout + done.stderr).decode("ascii")
    assert "m?" in told  # m²
    assert "\x1b" not in told


def test_lines_fit_a_terminal(room: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A plan in feet: narrow enough, no length in metres but in names of products."""
    out = str(room.parent / "out")
    quick = ["--fast", "--gap", "0.5", "--units", "ft"]
    assert main(["plan", str(room), "--out", out, *quick]) == 0
    told = capsys.readouterr().out
    assert max(len(line) for line in told.splitlines() if out not in line) <= WIDTH
    assert re.search(r"\d ft \d", told)
    assert not re.search(r"\d m\b", told)


def test_no_words_list_every_material(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["materials"]) == 0
    told = capsys.readouterr().out
    assert all(material.id in told for material in load_table())


def test_wide_tables_are_broken_between_words() -> None:
    rows = [["word " * 30, "7", "short"], ["x", "12345", "long " * 20]]
    lines = text_table(("a", "figure", "b"), rows, (1,)).splitlines()
    assert max(map(len, lines)) <= WIDTH
    assert sum(line.count("word") for line in lines) == 30
    assert sum(line.count("long") for line in lines) == 20
    column = lines[1].index("  ") + 2
    assert {line[column : column + 6].strip() for line in lines[2:]} == {"7", "", "12345"}


def test_a_word_that_cannot_be_broken_stays_whole() -> None:
    assert "y" * 200 in text_table(("a", "b"), [["y" * 200, "z " * 20]])


def test_folded_text() -> None:
    text = folded("! " + "word " * 50 + "\n\nshort")
    lines = text.splitlines()
    assert max(map(len, lines)) <= WIDTH
    assert lines[0].startswith("! word")
    assert lines[1].startswith("  word")
    assert lines[-2:] == ["", "short"]
