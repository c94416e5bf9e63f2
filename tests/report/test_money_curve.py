"""budget.json read back: the curve of the same room, and nothing else."""

import json
from pathlib import Path

import pytest

from optimizer.cli import main
from optimizer.faults import ScenarioError
from optimizer.planning import load_project
from optimizer.results.money_curve import read_money_curve

ROOM = Path(__file__).parents[2] / "scenarios" / "small_bedroom.toml"


@pytest.fixture(scope="module")
def written(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("curve")
    asked = ["--from", "60", "--to", "180", "--steps", "2", "--gap", "0.2"]
    assert main(["budget", str(ROOM), *asked, "--out", str(folder / "out")]) == 0
    return folder / "out" / "budget.json"


def test_what_was_written_is_read(written: Path) -> None:
    said = json.loads(written.read_text())
    curve = read_money_curve(written, load_project(ROOM, budget=77.0))  # whatever the budget
    assert [p.budget for p in curve.points] == [60.0, 180.0]
    assert [p.excess for p in curve.points] == [p["excess"] for p in said["points"]]
    assert curve.untreated == said["untreated"]["excess"]
    assert curve.points[1].excess < curve.points[0].excess < curve.untreated


@pytest.mark.parametrize(
    "text",
    ["", "[]", '{"points": []}', '{"points": [{"budget": "x"}], "untreated": {"excess": 1}}', "{"],
)
def test_what_is_no_curve_is_refused(tmp_path: Path, text: str) -> None:
    path = tmp_path / "budget.json"
    path.write_text(text)
    with pytest.raises(ScenarioError, match="is no budget curve") as error:
        read_money_curve(path, load_project(ROOM))
    assert len(error.value.faults) == 1


def test_a_curve_of_another_room_is_refused(written: Path) -> None:
    with pytest.raises(ScenarioError, match="made from another room"):
        read_money_curve(written, load_project(ROOM, variants=["no_bed"]))
    with pytest.raises(ScenarioError, match="made from another room"):
        read_money_curve(written, load_project(ROOM.with_name("spare_room.toml")))
