"""`treatment new`: what it asks, what it refuses, what it writes.

What a room file must be is the project's own; that a seat is kept out of the middle and the
triangle near equilateral is common practice, no source.
"""

import math
import re
import sys
import tomllib
from collections.abc import Callable, Iterator
from pathlib import Path

import pexpect
import pytest
from hostile import IN_ONE, NAMES
from hypothesis import given, settings
from hypothesis import strategies as st
from wizard_cases import ANSWER_CASES, FILE_CASES, GOOD_FILES, Case

from materials import load_table
from optimizer.cli import main
from optimizer.faults import ScenarioError
from optimizer.project import Project, load_project
from optimizer.results.output import write_folder
from optimizer.results.scorecard import score_card
from optimizer.wizard import choices
from optimizer.wizard.rules import listening_setup, longest_free
from optimizer.wizard.session import NewRoom, ask_everything, title_of, with_ending
from optimizer.wizard.talk import MOST_WRONG, Talk

FEET = 0.3048


class Person:
    """Answers questions by the words they hold, each listed answer once; Enter to all others."""

    def __init__(self, *answers: tuple[str, str]) -> None:
        self.left = list(answers)
        self.told = ""
        self.asked: list[str] = []

    def show(self, text: str) -> None:
        self.told += text

    def read(self) -> str:
        question = self.told.splitlines()[-1]
        self.asked.append(question)
        self.told += "\n"
        for index, (words, answer) in enumerate(self.left):
            if words in question:
                del self.left[index]
                return answer
        return ""

    def talk(self) -> Talk:
        return Talk(self.read, self.show)


def written(new: NewRoom) -> Project:
    """The room file and price list written, and loaded as any other."""
    write_folder(new.path.parent, new.files)
    return load_project(new.path)


def test_enter_to_everything_makes_a_room_that_can_be_judged(tmp_path: Path) -> None:
    person = Person()
    project = written(ask_everything(person.talk(), tmp_path / "den.toml"))
    assert project.room.dimensions == (4.2, 3.2, 2.5)
    assert "!" not in person.told
    card = score_card(project.room, project.scene, project.criteria, [])
    assert card.score_before > 0
    assert len(project.usable_products) > 20


def test_answers_end_up_in_the_room(tmp_path: Path) -> None:
    """Feet as plain numbers, units of their own, words of a menu, no couch, two windows."""
    person = Person(
        ("What do you call", 'My "den" \\ ü'), ("number [1]", "feet"),
        ("One side", "12"), ("The other side", "15 ft 6 in"), ("Height", "2.6 m"),
        ("number [1]", "bare brick"), ("four walls", "n"), ("number [3]", "concrete_rough"),
        ("How many windows", "2"), ("How many doors", "0"), ("Is there a couch", "no"),
        ("Currency", "USD"), ("Budget", "1 500,50"),
    )  # fmt: skip
    # The menu of units takes "feet", that of directions Enter, that of walls "bare brick".
    person.left.insert(5, ("number [1]", ""))
    new = ask_everything(person.talk(), tmp_path / "den")
    assert new.path.name == "den.toml"
    project = written(new)
    scenario, room = project.scenario, project.room
    assert room.dimensions == pytest.approx((15.5 * FEET, 12 * FEET, 2.6), abs=1e-3)
    assert scenario.title == 'My "den" \\ ü'
    assert scenario.surfaces["front"] == "concrete_rough"
    assert scenario.surfaces["back"] == "brick_bare"
    assert [area.kind for area in scenario.areas] == ["window", "window"]
    assert [seat.name for seat in room.seats] == ["mix"]
    assert (scenario.budget.currency, project.budget_cents) == ("USD", 150050)
    assert person.left == []


@pytest.mark.parametrize("name", [*NAMES, IN_ONE])
def test_any_name_comes_back(name: str, tmp_path: Path) -> None:
    """Title, currency, and the files' own names, as tomllib and the program read them."""
    path = tmp_path / f"{name.replace('/', ' ')}.toml"
    person = Person(("What do you call", name), ("Currency", name[:8].strip()))
    new = ask_everything(person.talk(), path)
    assert person.left == []
    project = written(new)
    data = tomllib.loads(path.read_text(encoding="utf-8"))
    assert data["title"] == project.scenario.title == name
    assert data["budget"]["currency"] == name[:8].strip()
    assert data["budget"]["catalogue"] == f"{path.stem}_prices.csv"
    assert sorted(entry.name for entry in tmp_path.iterdir()) == sorted(
        [path.name, data["budget"]["catalogue"]]
    )


def test_a_name_too_long_for_the_price_list_beside_is_told_before_any_question(
    tmp_path: Path,
) -> None:
    person = Person()
    with pytest.raises(ScenarioError, match=r"n_prices_99\.csv: cannot be written \(.*choose"):
        ask_everything(person.talk(), tmp_path / f"{'n' * 249}.toml")
    assert person.asked == []


def test_short_way_and_no_drilling(tmp_path: Path) -> None:
    person = Person(("number [1]", ""), ("number [1]", "2"), ("walls and the ceiling", "3"))
    project = written(ask_everything(person.talk(), tmp_path / "den.toml"))
    assert project.room.dimensions == (3.2, 4.2, 2.5)

    no_drill = Person()
    number = len(choices.FIXING)
    answers: Callable[[], str] = lambda: (  # noqa: E731 - the last menu has no words on its line
        str(number) if "by itself" in no_drill.told.splitlines()[-2] else ""
    )
    talk = Talk(answers, no_drill.show)
    project = written(ask_everything(talk, tmp_path / "rented.toml"))
    hung = {m for product in project.usable_products for m in product.mountings}
    assert hung == {"corner", "floor", "stand", "lean", "pole", "adhesive"}


@pytest.mark.parametrize(("words", "typed", "complaint"), ANSWER_CASES)
def test_wrong_answer_is_asked_again(
    words: str, typed: str, complaint: str, tmp_path: Path
) -> None:
    person = Person((words, typed))
    new = ask_everything(person.talk(), tmp_path / "den.toml")
    assert person.left == [], "the question was never asked"
    complaints = [line for line in person.told.splitlines() if line.startswith("   ! ")]
    assert len(complaints) == 1
    assert complaint in complaints[0]
    assert complaints[0].isprintable()
    again = [question for question in person.asked if words in question]
    assert len(again) >= 2
    written(new)
    assert sorted(p.name for p in tmp_path.iterdir()) == ["den.toml", "den_prices.csv"]


def test_rubbish_without_end_stops(tmp_path: Path) -> None:
    person = Person()
    talk = Talk(lambda: "rubbish \x07", person.show)
    with pytest.raises(EOFError):
        ask_everything(talk, tmp_path / "den.toml")
    assert person.told.count("   ! ") == MOST_WRONG
    assert list(tmp_path.iterdir()) == []


def test_a_file_that_is_there_is_kept_unless_the_person_says_so(tmp_path: Path) -> None:
    there = tmp_path / "den.toml"
    there.write_text("kept")
    other = str(tmp_path / "other")
    person = Person(("Write the room file as", other))
    new = ask_everything(person.talk(), there)
    assert "den.toml is there. Write over it? [no]" in person.told
    assert new.path == tmp_path / "other.toml"
    assert there.read_text() == "kept"
    yes = Person(("Write over it", "yes"))
    assert written(ask_everything(yes.talk(), there)).scenario.path == there


def test_no_place_for_the_file_is_told_before_any_question(tmp_path: Path) -> None:
    (tmp_path / "den.toml").mkdir()
    person = Person()
    for path in (tmp_path / "den.toml", tmp_path / "gone" / "far" / "den.toml"):
        with pytest.raises(ScenarioError):
            ask_everything(person.talk(), path)
    assert person.asked == []


def test_price_list_that_is_there(tmp_path: Path) -> None:
    """Own prices are taken and never written over; one that cannot be read is left alone."""
    prices = tmp_path / "den_prices.csv"
    prices.write_text(GOOD_FILES["prices.csv"])
    person = Person()
    new = ask_everything(person.talk(), tmp_path / "den.toml")
    assert list(new.files) == ["den.toml"]
    assert [p.id for p in written(new).products] == ["wool"]
    prices.write_text("broken")
    new = ask_everything(Person().talk(), tmp_path / "den2.toml")
    new = ask_everything(Person(("Write over", "y")).talk(), tmp_path / "den.toml")
    assert list(new.files) == ["den.toml", "den_prices_2.csv"]
    assert prices.read_text() == "broken"


@given(
    st.floats(1.5, 30), st.floats(1.5, 30), st.floats(1.5, 12), st.integers(0, 4), st.integers(0, 4)
)
@settings(max_examples=25)
def test_defaults_fit_rooms_of_any_size(
    tmp_path_factory: pytest.TempPathFactory,
    length: float,
    width: float,
    height: float,
    windows: int,
    doors: int,
) -> None:
    person = Person(
        ("One side", f"{length:.3f}"), ("The other side", f"{width:.3f}"),
        ("Height of the ceiling", f"{height:.3f}"),
        ("How many windows", str(windows)), ("How many doors", str(doors)),
    )  # fmt: skip
    folder = tmp_path_factory.mktemp("room")
    project = written(ask_everything(person.talk(), folder / "den.toml"))
    assert "   ! " not in person.told, person.told
    assert len(project.scenario.areas) == windows + doors


@given(st.floats(1.5, 30), st.floats(1.5, 30))
def test_triangle_and_seat(length: float, width: float) -> None:
    """Within 5 % of equilateral where the length allows; never in the middle of the length."""
    setup = listening_setup(length, width, 2.5)
    share = setup.ears_x / length
    assert not 0.455 < share < 0.545
    assert width / 2 - setup.apart / 2 > 0
    if length >= 2.0:
        side = math.hypot(setup.ears_x - setup.speakers_x, setup.apart / 2)
        assert side == pytest.approx(setup.apart, rel=0.05)
        assert share < 0.5


def test_longest_free_stretch() -> None:
    assert longest_free(4.0, []) == (0.0, 4.0)
    assert longest_free(4.0, [(1.0, 2.0)]) == (2.0, 4.0)
    assert longest_free(4.0, [(3.0, 4.0), (0.0, 0.5)]) == (0.5, 3.0)


def test_every_choice_is_a_row_of_the_table() -> None:
    table = load_table()
    menus = (choices.WALLS, choices.FLOORS, choices.CEILINGS, choices.WINDOWS, choices.DOORS)
    for menu in menus:
        assert len({c.value for c in menu}) == len({c.words for c in menu}) == len(menu)
        assert all(table[c.value].unit == "alpha" for c in menu)
    assert all(table[c.value].unit == "m2" for c in choices.COUCHES)


def test_commented_hints_hold_when_the_comment_mark_goes(tmp_path: Path) -> None:
    new = ask_everything(Person().talk(), tmp_path / "den.toml")
    text = new.files["den.toml"]
    hints = re.findall(r"^# (\w+ = .*)$", text, flags=re.MULTILINE)
    assert len(hints) == 6
    write_folder(tmp_path, new.files)
    (tmp_path / "den.toml").write_text(re.sub(r"^# (\w+ = .*|\[\w+\])$", r"\1", text, flags=re.M))
    assert load_project(tmp_path / "den.toml").scenario.limits.fire_class == "E"


@pytest.mark.parametrize(("answer", "level"), [("", -10.0), ("2", -20.0), ("stereo image", -20.0)])
def test_who_asks_for_stricter_reflections_gets_them(
    answer: str, level: float, tmp_path: Path
) -> None:
    """10 dB within 15 ms is the least (EBU Tech 3276, section 2.2); stricter is asked for."""
    person = Person()
    answers: Callable[[], str] = lambda: (  # noqa: E731 - the menu has no words on its last line
        answer if "stereo image" in person.told.splitlines()[-2] else person.read()
    )
    project = written(ask_everything(Talk(answers, person.show), tmp_path / "den.toml"))
    assert {row.high for row in project.criteria.rows if row.group == "early"} == {level}


def test_names_and_titles() -> None:
    assert with_ending(Path("a/b")) == Path("a/b.toml")
    assert with_ending(Path("b.txt")) == Path("b.txt")
    assert title_of(Path("my_den.toml")) == "my den"
    assert title_of(Path("x" * 100 + ".toml")) == title_of(Path("a\x07.toml")) == "Room"


@pytest.mark.parametrize("case", FILE_CASES, ids=lambda case: case.name)
def test_bad_file(case: Case, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Sundries, deliveries and tax notes that are wrong: one line per fault, exit code 2."""
    name, old, new = case.change
    for file, text in GOOD_FILES.items():
        if file == name:
            assert old in text
            text = text.replace(old, new, 1)
        (tmp_path / file).write_text(text, encoding="utf-8")
    assert main(["predict", str(tmp_path / "room.toml")]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    lines = err.splitlines()
    assert len(lines) == len(case.faults), err
    for file, key, remedy in case.faults:
        pattern = rf"{re.escape(file)}: " + (rf"{re.escape(key)}( = .*)?: " if key else "")
        fitting = [line for line in lines if re.search(pattern, line) and remedy in line]
        assert fitting, f"no line for {file}: {key}: {remedy} in\n{err}"
        lines.remove(fitting[0])


def test_the_good_files_are_good(tmp_path: Path) -> None:
    for file, text in GOOD_FILES.items():
        (tmp_path / file).write_text(text, encoding="utf-8")
    # 20 for the delivery by Shop A, and three quarters of a pack of hooks.
    assert load_project(tmp_path / "room.toml").set_aside.total == 2000 + 150


@pytest.fixture
def terminal(tmp_path: Path) -> Iterator[Callable[..., "pexpect.spawn[str]"]]:
    """Starts the command in a terminal of its own, in an empty folder."""
    started = []

    def start(*arguments: str) -> "pexpect.spawn[str]":
        command = ["-m", "optimizer", "new", *arguments]
        child = pexpect.spawn(
            sys.executable, command, cwd=str(tmp_path), encoding="utf-8", timeout=600
        )
        started.append(child)
        return child

    yield start
    for child in started:
        child.close(force=True)


def test_in_a_terminal(terminal: Callable[..., "pexpect.spawn[str]"], tmp_path: Path) -> None:
    """A whole run with defaults, feet and wrong answers, as a person types it."""
    child = terminal()
    said = [
        ("Write the room file as", "attic"), ("What do you call", "Attic"), ("number", "2"),
        ("One side of the floor", "14"), ("The other side", "nan"),
        ("The other side", "11 ft 6 in"),
        ("Height of the ceiling", "1e999"), ("Height of the ceiling", "8"), ("number", ""),
    ]  # fmt: skip
    for question, answer in said:
        child.expect_exact(question)
        child.expect_exact("]: ")
        child.sendline(answer)
    while child.expect_exact(["]: ", "Next:"]) == 0:
        child.sendline("")
    child.expect(pexpect.EOF)
    child.wait()
    assert child.exitstatus == 0
    project = load_project(tmp_path / "attic.toml")
    assert project.room.dimensions == pytest.approx((14 * FEET, 11.5 * FEET, 8 * FEET), abs=1e-3)
    assert (tmp_path / "attic_prices.csv").exists()


@pytest.mark.parametrize("key", ["c", "d"])
def test_stopped_in_a_terminal(
    key: str, terminal: Callable[..., "pexpect.spawn[str]"], tmp_path: Path
) -> None:
    """Ctrl-C and Ctrl-D midway leave no file and no traceback."""
    child = terminal("attic.toml")
    for question in ("What do you call", "number", "One side"):
        child.expect_exact(question)
        child.expect_exact("]: ")
        if question != "One side":
            child.sendline("")
    child.sendcontrol(key)
    child.expect_exact("nothing was written")
    child.expect(pexpect.EOF)
    assert "Traceback" not in str(child.before)
    child.wait()
    assert child.exitstatus == 130
    assert list(tmp_path.iterdir()) == []
