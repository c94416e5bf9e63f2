"""`treatment report`: reads a plan back, keeps its figures while they hold, tells what is amiss."""

import argparse
import json
import os
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from pages import sections, words_of
from plans import edited_project, plan_of

from optimizer.acoustics.assessment import Assessment
from optimizer.acoustics.scene import Scene
from optimizer.commands import report
from optimizer.faults import ScenarioError
from optimizer.project import Project, load_project
from optimizer.report import rebuild as rebuilding
from optimizer.report.rebuild import rebuild
from optimizer.results.planfile import plan_as_json
from optimizer.results.proof import proof_in_words

ROOM = "small_bedroom"


@pytest.fixture
def plan_file(tmp_path: Path) -> Path:
    """A plan.json in a folder beside the folder of its room file."""
    plan = plan_of(edited_project(tmp_path / "rooms", ROOM), status="optimal", gap=0.01)
    path = tmp_path / "plan" / "plan.json"
    path.parent.mkdir()
    path.write_text(plan_as_json(plan, path.parent), encoding="utf-8")
    return path


@pytest.fixture
def quick(monkeypatch: pytest.MonkeyPatch) -> Iterator[list[Scene]]:
    """Judges that answer nothing, and the scenes they were asked about."""
    asked: list[Scene] = []

    def judge(scene: Scene) -> Assessment:
        asked.append(scene)
        return Assessment()

    monkeypatch.setattr(Project, "judges", lambda self, judging="full": (judge,))
    monkeypatch.setattr(Project, "informers", lambda self, judging="full": ())
    monkeypatch.setattr(rebuilding, "how_sure", lambda *given: None)
    return asked


def run(*words: str) -> int:
    parser = argparse.ArgumentParser()
    report.add_parser(parser.add_subparsers(dest="command"))
    arguments = parser.parse_args(["report", *words])
    return int(arguments.run(arguments))


def faults(*words: str) -> list[str]:
    with pytest.raises(ScenarioError) as caught:
        run(*words)
    return [str(fault) for fault in caught.value.faults]


def test_report_beside_the_plan(
    plan_file: Path, quick: list[Scene], capsys: pytest.CaptureFixture[str]
) -> None:
    assert json.loads(plan_file.read_text())["room_file"] == f"../rooms/{ROOM}.toml"
    assert run(str(plan_file), "--out", str(plan_file.parent)) == 0
    page = plan_file.parent / "report.html"
    assert str(page) in capsys.readouterr().out
    assert "Proven within 1.0 %" in words_of(page.read_text(encoding="utf-8"))
    assert len(quick) == 2  # figures are always judged anew, never taken from the file
    assert sorted(p.name for p in plan_file.parent.iterdir()) == ["plan.json", "report.html"]


def test_only_the_hanging_sheets(plan_file: Path, quick: list[Scene]) -> None:
    out = plan_file.parent / "sheets"
    assert run(str(plan_file), "--out", str(out), "--only", "hanging", "--units", "ft") == 0
    assert [p.name for p in out.iterdir()] == ["hanging.html"]
    html = (out / "hanging.html").read_text(encoding="utf-8")
    assert list(sections(html)) == []
    assert "Left wall: where each piece goes" in words_of(html)


def test_only_the_picture_of_the_room(
    plan_file: Path, quick: list[Scene], capsys: pytest.CaptureFixture[str]
) -> None:
    out = plan_file.parent / "picture"
    assert run(str(plan_file), "--out", str(out), "--only", "picture") == 0
    assert [p.name for p in out.iterdir()] == ["unfolded.svg"]
    svg = (out / "unfolded.svg").read_text(encoding="utf-8")
    for piece in json.loads(plan_file.read_text())["pieces"]:
        assert f'id="number-{piece["id"]}"' in svg
    assert f"Written: {out / 'unfolded.svg'}" in capsys.readouterr().out


def test_the_whole_report_is_unfolded(plan_file: Path, quick: list[Scene]) -> None:
    pages = []
    for words in ((), ("--whole",)):
        assert run(str(plan_file), "--out", str(plan_file.parent), *words) == 0
        pages.append((plan_file.parent / "report.html").read_text(encoding="utf-8"))
    assert [page.count('class="behind" open') for page in pages] == [0, 5]


def test_read_back_as_it_was(plan_file: Path, quick: list[Scene]) -> None:
    project = load_project(plan_file.parents[1] / "rooms" / f"{ROOM}.toml")
    plan, rebuilt = plan_of(project, status="optimal", gap=0.01), rebuild(plan_file, project)
    assert not rebuilt.changed
    assert rebuilt.plan.card == plan.card
    assert rebuilt.plan.shopping == plan.shopping
    assert rebuilt.replaced == ""
    assert [replace(p, why="") for p in rebuilt.plan.pieces] == [
        replace(p, why="") for p in plan.pieces
    ]
    assert rebuilt.plan.selection.bound == plan.selection.bound


def test_a_price_changes_money_and_proof_but_not_figures(
    plan_file: Path, quick: list[Scene]
) -> None:
    prices = plan_file.parents[1] / "rooms" / f"{ROOM}_prices.csv"
    prices.write_text(prices.read_text().replace(",44.90,1,0", ",47.30,1,0"))
    rebuilt = rebuild(plan_file, load_project(prices.parent / f"{ROOM}.toml"))
    assert rebuilt.changed
    assert len(quick) == 2
    assert rebuilt.replaced.startswith(
        "Figures of the file were replaced by those computed now: cost"
    )
    assert any(line.total_cents == 3 * 4730 for line in rebuilt.plan.shopping)


@pytest.mark.parametrize(
    ("old", "new"),
    [("height = 2.45", "height = 2.55"), ("1.55, 1.5, 1.15", "1.65, 1.5, 1.15"),
     ('right = "gypsum_board_studs"', 'right = "plaster_on_masonry"')],
)  # fmt: skip
def test_a_changed_room_is_judged_anew(
    plan_file: Path, quick: list[Scene], old: str, new: str
) -> None:
    room = plan_file.parents[1] / "rooms" / f"{ROOM}.toml"
    before = rebuild(plan_file, load_project(room)).plan
    assert old in room.read_text()
    quick.clear()
    room.write_text(room.read_text().replace(old, new))
    after = rebuild(plan_file, load_project(room))
    assert after.changed
    assert len(quick) == 2  # the room as it is, and with the plan
    assert after.plan.card != before.card
    wanted = plan_of(load_project(room))
    assert after.plan.card == wanted.card


def test_a_moved_piece_is_judged_anew_with_its_reason(plan_file: Path, quick: list[Scene]) -> None:
    content = json.loads(plan_file.read_text())
    content["pieces"][0]["u_m"] = 0.2
    plan_file.write_text(json.dumps(content))
    project = load_project(plan_file.parents[1] / "rooms" / f"{ROOM}.toml")
    rebuilt = rebuild(plan_file, project)
    assert rebuilt.changed
    assert rebuilt.plan.pieces[0].piece.rect[0] == 0.2
    assert rebuilt.plan.pieces[4].why == rebuilt.plan.pieces[5].why  # one pair, one reason


def test_an_edited_figure_is_replaced(plan_file: Path, quick: list[Scene]) -> None:
    content = json.loads(plan_file.read_text())
    true = content["score_after"]
    content["score_after"] = content["score"][3]["after"] = 0.0
    plan_file.write_text(json.dumps(content))
    project = load_project(plan_file.parents[1] / "rooms" / f"{ROOM}.toml")
    rebuilt = rebuild(plan_file, project)
    assert rebuilt.plan.card.score_after == pytest.approx(true)
    assert "score_after 0 is" in rebuilt.replaced
    assert "and 1 more" in rebuilt.replaced


def test_an_edited_proof_is_told_as_the_files_with_its_own_gap(
    plan_file: Path, quick: list[Scene]
) -> None:
    """Objective and bound cannot be computed anew; the gap between them can."""
    content = json.loads(plan_file.read_text())
    content["bound"], content["gap"] = 0.9 * content["objective"], 0.0001
    plan_file.write_text(json.dumps(content))
    project = load_project(plan_file.parents[1] / "rooms" / f"{ROOM}.toml")
    rebuilt = rebuild(plan_file, project)
    assert rebuilt.plan.selection.gap == pytest.approx(0.1, rel=1e-6)
    assert "gap 0.0001 is 0.1" in rebuilt.replaced
    told = proof_in_words(rebuilt.plan)
    assert told.startswith("As plan.json says, and only solving anew could check: 100 placements")
    assert "Proven within 10.0 %" in told
    assert "need not hold now. Then, as plan.json says" in proof_in_words(rebuilt.plan, True)


def test_a_bound_that_is_not_known_is_no_proof(plan_file: Path, quick: list[Scene]) -> None:
    content = json.loads(plan_file.read_text())
    content["bound"] = None
    plan_file.write_text(json.dumps(content))
    project = load_project(plan_file.parents[1] / "rooms" / f"{ROOM}.toml")
    assert "is not known" in proof_in_words(rebuild(plan_file, project).plan)


@pytest.mark.parametrize(
    ("key", "value", "remedy"),
    [("bound", 1e3, "lies above the objective"), ("objective", -1.0, "greater than or equal to 0"),
     ("objective", "NaN", "finite"), ("bound", "-Infinity", "finite"),
     ("gap", "Infinity", "finite"), ("gap", -0.1, "greater than or equal to 0"),
     ("objective", '"1"', "number"),
     ("pairs", 101, "more than all candidates, 100"), ("score_after", "NaN", "finite"),
     ("score", [], "is empty")],
)  # fmt: skip
def test_what_no_solve_can_have_left_is_refused(
    plan_file: Path, key: str, value: object, remedy: str
) -> None:
    """One line each, though JSON as Python reads it knows NaN and infinity."""
    content = json.loads(plan_file.read_text())
    content[key] = "@"
    plan_file.write_text(json.dumps(content).replace('"@"', str(value)))
    told = faults(str(plan_file), "--out", str(plan_file.parent))
    assert len(told) == 1
    assert f"plan.json: {key} = " in told[0]
    assert remedy in told[0]


def test_a_score_card_that_is_not_whole_is_refused(plan_file: Path) -> None:
    content = json.loads(plan_file.read_text())
    del content["score"][3]["before"]
    plan_file.write_text(json.dumps(content))
    told = faults(str(plan_file), "--out", str(plan_file.parent))
    assert len(told) == 1
    assert "score[3].before: is missing" in told[0]


def test_plan_of_pieces_alone_names_no_room(plan_file: Path, quick: list[Scene]) -> None:
    content = json.loads(plan_file.read_text())
    plan_file.write_text(json.dumps({"pieces": content["pieces"]}))
    out = str(plan_file.parent)
    assert "give it with --room" in faults(str(plan_file), "--out", out)[0]
    room = plan_file.parents[1] / "rooms" / f"{ROOM}.toml"
    assert run(str(plan_file), "--room", str(room), "--out", out) == 0
    text = words_of((plan_file.parent / "report.html").read_text(encoding="utf-8"))
    assert "is not known" in text
    assert "need not hold now" in text


def test_faults_are_told_with_file_and_remedy(plan_file: Path, tmp_path: Path) -> None:
    out = str(plan_file.parent)
    (tmp_path / "rooms" / f"{ROOM}.toml").rename(tmp_path / "rooms" / "other.toml")
    assert "the room file is not there" in faults(str(plan_file), "--out", out)[0]
    broken = tmp_path / "broken.json"
    broken.write_text("[1, 2")
    assert "is no plan" in faults(str(broken), "--out", out)[0]
    assert str(tmp_path / "no.json") in faults(str(tmp_path / "no.json"), "--out", out)[0]
    if os.geteuid() != 0:
        tmp_path.chmod(0o500)
    file_in_the_way = str(tmp_path / "broken.json")
    assert "name a folder" in faults(str(plan_file), "--out", file_in_the_way)[0]
    tmp_path.chmod(0o700)


def test_nothing_is_written_when_the_pieces_do_not_fit(plan_file: Path) -> None:
    content = json.loads(plan_file.read_text())
    content["pieces"][0]["product"] = "no such thing"
    content["pieces"][1]["u_m"] = 99.0
    plan_file.write_text(json.dumps(content))
    told = faults(str(plan_file), "--out", str(plan_file.parent / "new"))
    assert len(told) == 2
    assert not (plan_file.parent / "new").exists()


def test_marks_do_not_hang_on_what_has_no_part_in_them(plan_file: Path, quick: list[Scene]) -> None:
    project = load_project(plan_file.parents[1] / "rooms" / f"{ROOM}.toml")
    renamed = replace(project, scenario=replace(project.scenario, title="another name"))
    assert not rebuild(plan_file, renamed).changed
