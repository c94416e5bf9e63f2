"""One input changed: every figure that hangs on it changes, and nothing else does."""

import re
from pathlib import Path

import pytest
from pages import sections, words_of
from plans import PLACES, edited_project, plan_of

from optimizer.report.page import report_html
from optimizer.results.model import Plan

ROOM = "small_bedroom"
_SVG = re.compile(r"<svg.*?</svg>", re.DOTALL)
_TABLE = re.compile(r"<table.*?</table>", re.DOTALL)


def parts(plan: Plan) -> dict[str, str]:
    """The report by section; charts, drawings and sheets' drawings on their own."""
    html = report_html(plan)
    by_section = sections(html)
    told = {key: words_of(_SVG.sub("", text)) for key, text in by_section.items()}
    told["rows"] = words_of(" ".join(_TABLE.findall(by_section["score"])))
    for key in ("score", "drawings", "hanging"):
        for number, svg in enumerate(_SVG.findall(by_section[key])):
            told[f"{key} picture {number}"] = svg
    return told


@pytest.fixture(scope="module")
def base(tmp_path_factory: pytest.TempPathFactory) -> dict[str, str]:
    return parts(plan_of(edited_project(tmp_path_factory.mktemp("base") / "room", ROOM)))


def changed(base: dict[str, str], after: dict[str, str]) -> set[str]:
    assert base.keys() == after.keys()
    return {key for key in base if base[key] != after[key]}


PRICED = {"short", "shopping"}
SCORED = {"score", "rows"}
CHARTS = {"score picture 0", "score picture 1", "score picture 2"}  # decay, modes, early


def test_a_price(base: dict[str, str], tmp_path: Path) -> None:
    project = edited_project(tmp_path / "room", ROOM, prices=(",44.90,1,0", ",47.30,1,0"))
    after = parts(plan_of(project))
    assert changed(base, after) == PRICED
    assert "47.30 EUR" in after["shopping"]
    assert "47.30 EUR" not in base["shopping"]


def test_a_product_name(base: dict[str, str], tmp_path: Path) -> None:
    new = "felt board 50 mm, 0.6 x 1.2 m"
    project = edited_project(
        tmp_path / "room", ROOM,
        prices=("panel_50_1200,\"wool panel 50 mm, 0.6 x 1.2 m\"", f'panel_50_1200,"{new}"'),
    )  # fmt: skip
    after = parts(plan_of(project))
    assert {"short", "shopping", "hanging", "why", "sources"} <= changed(base, after)
    for key in ("short", "shopping", "hanging", "why", "sources"):
        assert new in after[key], key
    assert not changed(base, after) & (SCORED | CHARTS)


def test_the_size_of_the_room(base: dict[str, str], tmp_path: Path) -> None:
    project = edited_project(tmp_path / "room", ROOM, toml=("height = 2.45", "height = 2.60"))
    after = parts(plan_of(project))
    told = changed(base, after)
    assert {"short", "sources", "drawings picture 1"} | SCORED | CHARTS <= told
    assert "2.60 m" in after["sources"]
    assert "shopping" not in told  # the same pieces are bought
    walls = {key for key in base if key.startswith("hanging picture")}
    assert len(walls & told) >= 4  # every wall is higher


def test_a_seat(base: dict[str, str], tmp_path: Path) -> None:
    project = edited_project(
        tmp_path / "room", ROOM, toml=("at = [1.55, 1.5, 1.15]", "at = [1.65, 1.5, 1.15]")
    )
    after = parts(plan_of(project))
    told = changed(base, after)
    assert {"sources", "score picture 2", "drawings picture 0"} | SCORED <= told
    assert "1.65 m from the front wall" in after["sources"]
    assert not told & {"shopping", "hanging"}


def test_the_place_of_a_piece(base: dict[str, str], tmp_path: Path) -> None:
    moved = (PLACES[0]._replace(u=0.2), *PLACES[1:])
    after = parts(plan_of(edited_project(tmp_path / "room", ROOM), moved))
    told = changed(base, after)
    assert {"hanging", "rows", "why"} <= told
    assert "200 and 800" in after["hanging"]
    assert "200 and 800" not in base["hanging"]
    assert any(key.startswith("hanging picture") for key in told)
    assert not told & {"shopping", "sources"}
