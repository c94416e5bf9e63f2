"""Rooms and price lists that were once accepted in silence, or crashed; one row per entry.

What counts as impossible or unlikely is the project's own choice; no outside source.
"""

import os
import re
from pathlib import Path

import pytest
from sane_cases import ACCEPTED, DECAY_CASES, REFUSED, TOLD, Case, Expected
from test_bad_input import lay_out, place, refused

from materials import load_table
from optimizer.calibration.measured import read_decay
from optimizer.cli import main
from optimizer.faults import ScenarioError
from optimizer.project import load_project
from optimizer.room.build import DEFAULT_MATERIAL
from optimizer.units import parse_length

Capture = pytest.CaptureFixture[str]
SCENARIOS = sorted((Path(__file__).parents[2] / "scenarios").glob("*.toml"))


@pytest.mark.parametrize("case", REFUSED, ids=lambda case: case.name)
def test_what_cannot_be_is_refused(case: Case, tmp_path: Path, capsys: Capture) -> None:
    """Exit code 2 and one line for each fault."""
    room = lay_out(tmp_path, case)
    refused(["predict", str(room)], tmp_path, capsys, case.faults)


@pytest.mark.parametrize("case", TOLD, ids=lambda case: case.name)
def test_what_is_unlikely_is_told(case: Case, tmp_path: Path) -> None:
    """The room is read and can be judged; exactly these notes go with it."""
    project = load_project(lay_out(tmp_path, case))
    assert project.criteria.families
    lines = [str(doubt) for doubt in project.doubts]
    assert len(lines) == len(case.faults), lines
    for line, (file, key, word) in zip(lines, case.faults, strict=True):
        assert re.search(place(file, key), line), line
        assert word in line, line


@pytest.mark.parametrize("case", ACCEPTED, ids=lambda case: case.name)
def test_what_is_usual_is_read(case: Case, tmp_path: Path) -> None:
    """Nothing to refuse and nothing to tell."""
    project = load_project(lay_out(tmp_path, case))
    assert project.criteria.families
    assert project.doubts == ()


@pytest.mark.parametrize("path", SCENARIOS, ids=lambda path: path.stem)
def test_demo_rooms_raise_no_doubt(path: Path) -> None:
    """A note on every run would be overlooked on the one that matters."""
    assert load_project(path).doubts == ()


@pytest.mark.parametrize("name", DECAY_CASES)
def test_bad_decay_table(name: str, tmp_path: Path) -> None:
    """Tables of measured decay that were read as something else."""
    text, expected = DECAY_CASES[name]
    path = tmp_path / "room.csv"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(ScenarioError) as refusal:
        read_decay(path)
    told(refusal.value, expected)


def told(error: ScenarioError, expected: tuple[Expected, ...]) -> None:
    """The faults are exactly these."""
    lines = [str(fault) for fault in error.faults]
    assert len(lines) == len(expected), lines
    for line, (file, key, word) in zip(lines, expected, strict=True):
        assert re.search(place(file, key), line), line
        assert word in line, line


@pytest.mark.parametrize("material", DEFAULT_MATERIAL.values())
def test_usual_furniture_has_a_material(material: str) -> None:
    """What furniture is made of when the file does not say is in the table."""
    assert material in load_table()


@pytest.mark.parametrize(
    ("text", "inches"),
    [
        ("11' 2 1/2\"", 134.5),
        ("11\u2019 2\u00bd\u201d", 134.5),
        ("11\u2032 2\u00bd\u2033", 134.5),
        ("11 ft 2 1/2 in", 134.5),
        ("11 ft 2-1/2 in", 134.5),
        ("1/2 in", 0.5),
        ("5 1/2 ft", 66.0),
        ("-4' 2\"", -50.0),
    ],
)
def test_feet_and_inches_as_people_type_them(text: str, inches: float) -> None:
    """An inch is 0.0254 m (international yard and pound agreement, 1959)."""
    assert parse_length(text) == pytest.approx(inches * 0.0254, rel=1e-12)


@pytest.mark.parametrize("text", ["1/0 in", "1/2", "2 1 m", "\u201d", "1//2 in"])
def test_no_length(text: str) -> None:
    """What looks like a fraction and is none is refused."""
    with pytest.raises(ValueError, match="write metres"):
        parse_length(text)


def test_dangling_link_as_folder(tmp_path: Path, capsys: Capture) -> None:
    """Found before the solve, not after it."""
    room, out = lay_out(tmp_path), tmp_path / "out"
    out.symlink_to(tmp_path / "gone")
    expected = (("out", "", "which is not there"),)
    refused(["plan", str(room), "--out", str(out)], tmp_path, capsys, expected)


def test_nothing_can_be_placed_and_a_name_that_is_no_utf8(tmp_path: Path, capsys: Capture) -> None:
    """The plan says why it is empty, on the terminal and in the report; the odd name is written."""
    case = next(case for case in TOLD if case.name == "keep_clear_everything")
    room = lay_out(tmp_path, case)
    odd = Path(os.fsdecode(os.fsencode(tmp_path) + b"/caf\xe9.toml"))
    room.rename(odd)
    out = tmp_path / "out"
    assert main(["plan", str(odd), "--out", str(out), "--fast"]) == 0
    why = "nothing can be placed: leaves no place for wool, fill"
    notes = [line for line in capsys.readouterr().err.splitlines() if line.startswith("note: ")]
    assert len(notes) == 1
    assert why in notes[0]
    for name in ("report.md", "report.html"):
        text = (out / name).read_text(encoding="utf-8")
        assert why in text
    assert "caf?.toml" in text
