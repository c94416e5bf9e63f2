"""`treatment plan` tells in its report what it made beside the plan: stages, alternatives."""

import argparse
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from pages import Page, sections, words_of
from plans import PLACES, SCENARIOS, demo_project, plan_of

from optimizer.commands import plan as command
from optimizer.more_plans import OtherPlans, StagedPlans
from optimizer.placement.alternatives import Alternatives
from optimizer.placement.plan import Selection
from optimizer.placement.stages import StagedSelection
from optimizer.results.model import Plan

NOTHING = Selection("optimal", np.zeros(0, dtype=np.int64), 1.0, 0.9, 0.1, 1.0)


@pytest.fixture(scope="module")
def two() -> tuple[Plan, Plan]:
    """A plan and one that holds it."""
    project = demo_project("spare_room")
    return plan_of(project.with_budget(30000), PLACES[:2]), plan_of(project, PLACES[:4])


def written(words: str, instead: str, made: Any, out: Path) -> str:
    """The report that the command writes when `instead` of planning gives what was made."""
    parser = argparse.ArgumentParser()
    command.add_parser(parser.add_subparsers())
    room = SCENARIOS / "spare_room.toml"
    asked = parser.parse_args(["plan", str(room), "--out", str(out), "--fast", *words.split()])
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(command, instead, lambda *_: made)
        patch.setattr(command, "say", lambda text: None)
        assert asked.run(asked) == 0
    return (out / "report.html").read_text(encoding="utf-8")


def test_stages_stand_in_the_report(two: tuple[Plan, Plan], tmp_path: Path) -> None:
    held = StagedSelection("optimal", (NOTHING,) * 2, (NOTHING,) * 2, (0.0, 0.0123), (0.5, 0.5),
                           1.0, 0.9, 0.1, 1.0)  # fmt: skip
    html = written("--stages 300,900", "staged", StagedPlans(two, held), tmp_path / "out")
    assert Page(html).faults == []
    told = words_of(sections(html)["more"])
    assert "Bought in stages" in told
    assert "stage 2" in told
    assert "0.012" in told
    assert sections(html)["more"].count("<svg") == 1  # the chart once
    assert (tmp_path / "out" / "stage_1.json").is_file()


def test_alternatives_stand_in_the_report(two: tuple[Plan, Plan], tmp_path: Path) -> None:
    found = Alternatives((NOTHING,), np.array([[0.0, 0.42], [0.42, 0.0]]), True, 1.0)
    made = OtherPlans(two[1], two[:1], found)
    html = written("--alternatives 1", "others", made, tmp_path / "out")
    told = words_of(sections(html)["more"])
    assert "alternative 1" in told
    assert "42 %" in told
    assert (tmp_path / "out" / "alternative_1.json").is_file()
