"""Names and notes that a person may write come back from every file as they were, harm nothing."""

import csv
import io
import json
import os
import tomllib
from dataclasses import replace
from pathlib import Path

import pytest
from hostile import NAMES
from markdown_it import MarkdownIt
from plans import demo_project, plan_of

from materials.cells import as_meant, csv_text, harmless
from optimizer.faults import Fault, ScenarioError
from optimizer.placement.catalogue import Product
from optimizer.plain_text import shown
from optimizer.report.page import report_html
from optimizer.results.model import Plan
from optimizer.results.plan_model import PlanFile, read_plan
from optimizer.results.planfile import figures_replaced, plan_as_dict, plan_as_json
from optimizer.results.report_md import report_markdown
from optimizer.results.tables import markdown_table, markdown_text
from optimizer.results.tellings import shopping_csv
from optimizer.room.reading import read_toml
from optimizer.tomlfile import document, edited


@pytest.mark.parametrize("name", NAMES)
def test_toml_comes_back(name: str) -> None:
    """Read by the standard library's tomllib, another implementation than the one that writes."""
    data = {"title": name, "room": {name: [1.234567, 1e-6]}, "hung": [{"product": name}]}
    assert tomllib.loads(document(data)) == data
    text = "# mine\n" + document(data)
    told = edited(text, {"materials": name}, ("hung",))
    assert told.startswith("# mine\n")
    assert tomllib.loads(told) == {"title": name, "room": data["room"], "materials": name}


# OWASP, "CSV Injection": cells that begin with these; the last four are their full-width forms.
@pytest.mark.parametrize(
    "start", ["=", "+", "-", "@", "\t", "\r", "\n", *"\uff1d\uff0b\uff0d\uff20"]
)
def test_no_cell_is_a_formula(start: str) -> None:
    cell = f"{start}HYPERLINK(1)"
    assert harmless(cell) == f"'{cell}"
    assert as_meant(f"'{cell}") == cell
    assert next(csv.reader(io.StringIO(csv_text([[cell]]), newline="")))[0] == f"'{cell}"


@pytest.mark.parametrize("cell", ["'=1", "''=1", " '+x", "'-5", "' @", "'", "it's =1", " =1"])
def test_quotes_of_its_own_come_back(cell: str) -> None:
    assert as_meant(str(harmless(cell))) == cell


@pytest.mark.parametrize("cell", ["-5.25", "+1", "1e-3", "-.5", -3, "plain", "'quoted'"])
def test_numbers_and_plain_cells_stay(cell: object) -> None:
    assert harmless(cell) == cell
    assert as_meant(str(cell)) == str(cell)


@pytest.mark.parametrize("name", NAMES)
def test_markdown_shows_names_as_text(name: str) -> None:
    """CommonMark as markdown-it-py reads it, with tables and raw HTML allowed."""
    parser = MarkdownIt("commonmark", {"html": True}).enable("table")
    tokens = parser.parse(f"# {markdown_text(name)}\n\n- {markdown_text(name)}\n\n"
                          + markdown_table(("a", "b"), [[name, "1"]]))  # fmt: skip
    inline = [token for token in tokens if token.type == "inline"]
    assert [t.content for t in inline].count("1") == 1  # the row still has two cells
    told = ["".join(part.content for part in t.children or []) for t in inline]
    assert [told[0], told[1], told[4]] == [name] * 3
    kinds = {part.type for t in inline for part in t.children or []}
    assert kinds <= {"text", "text_special"}
    assert not any(token.type.startswith("html") for token in tokens)


@pytest.fixture(scope="module")
def plan() -> Plan:
    return plan_of(demo_project("spare_room"))


def named(plan: Plan, name: str) -> Plan:
    """The plan with a name a person chose as title, note, and name of every product bought."""
    scenario = replace(plan.project.scenario, title=name, note=f"{name}\n# no heading")
    shopping = tuple(
        replace(line, product=replace(line.product, name=name))
        if isinstance(line.product, Product)
        else line
        for line in plan.shopping
    )
    return replace(plan, project=replace(plan.project, scenario=scenario), shopping=shopping)


@pytest.mark.parametrize("name", NAMES)
def test_every_file_of_a_plan_comes_back(plan: Plan, name: str, tmp_path: Path) -> None:
    mine = named(plan, name)
    path = tmp_path / "plan.json"
    path.write_text(plan_as_json(mine), encoding="utf-8")
    assert read_plan(path).room == name
    rows = list(csv.DictReader(io.StringIO(shopping_csv(mine), newline="")))
    assert as_meant(rows[0]["name"]) == name
    tokens = MarkdownIt("commonmark", {"html": True}).enable("table").parse(report_markdown(mine))
    headings = [tokens[i + 1] for i, t in enumerate(tokens) if t.type == "heading_open"]
    shown_as = ["".join(part.content for part in t.children or []) for t in headings]
    assert shown_as[0] == f"Treatment plan: {name}"
    assert "no heading" not in shown_as
    children = [part.type for t in tokens for part in t.children or []]
    assert not {"html_inline", "link_open", "code_inline"} & {*children}
    assert not any(t.type.startswith("html") for t in tokens)


def test_a_script_stays_text_in_the_page(plan: Plan) -> None:
    page = report_html(named(plan, "<script>alert(1)</script>"))
    assert "<script>alert" not in page
    assert "&lt;script&gt;alert(1)" in page


def test_plan_is_written_as_its_model_has_it(plan: Plan) -> None:
    plain = json.dumps(plan_as_dict(plan), indent=1, allow_nan=False) + "\n"
    assert plan_as_json(plan) == plain


def test_a_room_file_on_another_drive_is_named_whole(
    plan: Plan, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Where no way leads from the plan's folder to it, as on Windows."""

    def no_way(path: object, start: object) -> str:
        raise ValueError("path is on mount 'C:', start on mount 'D:'")

    monkeypatch.setattr(os.path, "relpath", no_way)
    named = plan_as_dict(plan, tmp_path)["room_file"]
    assert named == plan.project.scenario.path.resolve().as_posix()


EDITS: dict[str, tuple[tuple[str | int, ...], object, str]] = {
    "nan": (("score_after",), float("nan"), "score_after = nan: "),
    "infinite": (("score", 0, "after"), float("inf"), "score[0].after = inf: "),
    "text": (("cost",), "893", "cost = '893': "),
    "empty_score": (("score",), [], "score = []: is empty"),
    "surplus": (("scores",), 1, "scores = 1: unknown key; did you mean"),
    "surplus_in_piece": (("pieces", 0, "colour"), "red", "pieces[0].colour = 'red': unknown key"),
    "missing": (("status",), None, "status: is missing"),
    "control": (("pieces", 0, "why"), "\x1b[2J", "pieces[0].why = "),
}


@pytest.mark.parametrize("case", EDITS)
def test_an_edited_plan_is_refused(plan: Plan, case: str, tmp_path: Path) -> None:
    keys, value, told = EDITS[case]
    content = json.loads(plan_as_json(plan))
    part = content
    for key in keys[:-1]:
        part = part[key]
    part[keys[-1]] = value
    path = tmp_path / "plan.json"
    path.write_text(json.dumps(content))
    with pytest.raises(ScenarioError) as refused:
        read_plan(path)
    assert [str(fault) for fault in refused.value.faults][0].startswith(f"{path}: {told}")
    assert len(refused.value.faults) == 1


def test_other_figures_are_told(plan: Plan) -> None:
    file = PlanFile.model_validate(plan_as_dict(plan))
    assert figures_replaced(file, plan.card, plan.cost_cents) == ""
    other = file.model_copy(update={"score_after": file.score_after - 0.1})
    assert "score_after" in figures_replaced(other, plan.card)


@pytest.mark.parametrize("code", ["\\u001b", "\\u0085", "\\u202e", "\\u0000"])
def test_steering_characters_are_refused(code: str, tmp_path: Path) -> None:
    path = tmp_path / "room.toml"
    path.write_text(f'title = "a{code}b"\n[[seats]]\nname = "{code}"\n')
    with pytest.raises(ScenarioError) as refused:
        read_toml(path)
    assert [fault.key for fault in refused.value.faults] == ["title", "seats[0].name"]


def test_nothing_printed_steers_the_terminal() -> None:
    assert shown("a\x1b[31m\x9b\u202eb\tc\n") == "aU+001B[31mU+009BU+202Eb\tc\n"
    assert "\x1b" not in str(Fault("a\x1b.toml", "k\x1b", "\x1b", "do"))
