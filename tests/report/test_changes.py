"""One input changed: every part of the report that hangs on it changes, and no other does.

What hangs on what is reasoned beside each case, not read from the program.
"""

import re
from dataclasses import replace
from pathlib import Path

import pytest
from pages import sections, words_of
from plans import PLACES, demo_project, edited_project, plan_of

from optimizer.report.page import report_html
from optimizer.results.model import Plan

ROOM = "small_bedroom"
_SVG = re.compile(r"<svg.*?</svg>", re.DOTALL)
_H3 = re.compile(r"<h3[^>]*>(.*?)</h3>", re.DOTALL)
WALLS = {f"hanging/{wall}" for wall in ("Front wall", "Back wall", "Left wall", "Right wall")}
ROOMS_DRAWINGS = {"drawings/Plan view", "drawings/Long section, seen towards the right"}
CHARTS = {
    "decay": "score/How fast sound dies away",
    "modes": "score/How long single bass notes ring",
    "early": "score/First reflections",
    "sides": "score/Absorption left against right",
}
FORMULA = "score/Decay by the formula, in the bass"
FLUTTER = "score/Flutter between facing surfaces"
PAIR = "score/Reflections left against right"
DELAY = "score/Arrival of reflections left against right"
POINTS = "score/Reflection points that are quiet enough"
LATE = "score/Later single reflections"
GIVEN = "sources/What was taken as given"
DRAWN = " (drawn)"
UNFOLDED = f"room{DRAWN}"  # the picture of the whole room: all that is in it, where it is


def parts(plan: Plan, units: str = "m") -> dict[str, str]:
    """The report by section and heading: words and, by themselves, pictures."""
    told: dict[str, str] = {}
    for key, text in sections(report_html(plan, units)).items():
        if key == "short":
            told[key] = words_of(text)
            continue
        pieces = _H3.split(text)
        named = [(key, pieces[0])]
        named += [(f"{key}/{words_of(h)}", t)
                  for h, t in zip(pieces[1::2], pieces[2::2], strict=True)]  # fmt: skip
        for name, html in named:
            told[name] = words_of(_SVG.sub("", html))
            pictures = "".join(_SVG.findall(html))
            if pictures:
                told[f"{name}{DRAWN}"] = pictures
    return told


@pytest.fixture(scope="module")
def base(tmp_path_factory: pytest.TempPathFactory) -> dict[str, str]:
    told = parts(plan_of(edited_project(tmp_path_factory.mktemp("base") / "room", ROOM)))
    assert {*CHARTS.values(), FORMULA, FLUTTER, PAIR, DELAY, POINTS, *WALLS} <= set(told)
    return told


def changed(base: dict[str, str], after: dict[str, str]) -> set[str]:
    assert base.keys() == after.keys()
    return {key for key in base if base[key] != after[key]}


def with_drawing(*names: str) -> set[str]:
    return {*names, *(f"{name}{DRAWN}" for name in names)}


def test_a_price(base: dict[str, str], tmp_path: Path) -> None:
    """It is paid, and nothing else."""
    project = edited_project(tmp_path / "room", ROOM, prices=(",44.90,1,0", ",47.30,1,0"))
    after = parts(plan_of(project))
    assert changed(base, after) == {"short", "shopping"}
    assert "47.30 EUR" in after["shopping"]
    assert "47.30 EUR" not in base["shopping"]


def test_the_budget(base: dict[str, str], tmp_path: Path) -> None:
    """What is left of it, and what the summary says of it."""
    project = edited_project(tmp_path / "room", ROOM, toml=("amount = 320", "amount = 777"))
    after = parts(plan_of(project))
    assert changed(base, after) == {"short", "shopping"}
    assert "777.00 EUR" in after["short"]


def test_the_title(base: dict[str, str], tmp_path: Path) -> None:
    """Only the words for those who listen name the room besides the page's own heading."""
    project = edited_project(tmp_path / "room", ROOM, toml=('title = "Small', 'title = "Large'))
    told = {key.removesuffix(DRAWN) for key in changed(base, parts(plan_of(project)))}
    assert told == ROOMS_DRAWINGS | {"hanging/Ceiling", "room"}
    assert "Treatment plan: Large bedroom" in report_html(plan_of(project))


def test_weight_and_reaction_to_fire(base: dict[str, str], tmp_path: Path) -> None:
    """Of the cloud: told in the shopping list, on the sheet of the ceiling and in the cautions."""
    prices = edited_project(tmp_path / "look", ROOM).scenario.catalogue_path.read_text()
    row = next(line for line in prices.splitlines() if line.startswith("cloud_50,"))
    heavy = re.sub(r',([\d.]+),"?A2-s1,d0"?,', ',17.5,"B-s3,d1",', row)
    assert heavy != row
    after = parts(plan_of(edited_project(tmp_path / "room", ROOM, prices=(row, heavy))))
    assert changed(base, after) == {
        "shopping", *with_drawing("hanging/Ceiling"), "cautions"
    }  # fmt: skip
    for key in ("shopping", "hanging/Ceiling", "cautions"):
        assert "17.5 kg" in after[key]
    assert "B-s3,d1" in after["shopping"]
    assert "35 kg" in after["shopping"]  # two of them


BASS = "why/What the products do in the bass"


def test_a_product_name(base: dict[str, str], tmp_path: Path) -> None:
    """Wherever the product is named: three walls carry it, and the drawings list it."""
    new = "felt board 50 mm, 0.6 x 1.2 m"
    project = edited_project(
        tmp_path / "room", ROOM,
        prices=('panel_50_1200,"wool panel 50 mm, 0.6 x 1.2 m"', f'panel_50_1200,"{new}"'),
    )  # fmt: skip
    after = parts(plan_of(project))
    mine = {f"hanging/{wall} wall" for wall in ("Front", "Left", "Right")}
    told = {"short", "shopping", *mine, "why", BASS, "sources/Coefficients"}
    assert changed(base, after) == told | {UNFOLDED, *(f"{key}{DRAWN}" for key in mine)}
    for key in told:
        assert new in after[key], key


def rest(told: set[str]) -> set[str]:
    """Parts that are not of the score card."""
    return {key for key in told if not key.startswith("score")}


def test_the_height_of_the_room(base: dict[str, str], tmp_path: Path) -> None:
    """All sound but the timing of left against right; every drawing, those from above by the small
    side view that tells the way they are seen; no place, since those are measured from the floor.
    """
    project = edited_project(tmp_path / "room", ROOM, toml=("height = 2.45", "height = 2.60"))
    after = parts(plan_of(project))
    told = changed(base, after)
    assert with_drawing(*CHARTS.values()) | {"score", FORMULA, FLUTTER, POINTS} <= told
    assert DELAY not in told
    drawn = ROOMS_DRAWINGS | WALLS | {"hanging/Ceiling"}
    assert rest(told) == {"short", "why", GIVEN, UNFOLDED, *(f"{name}{DRAWN}" for name in drawn)}
    assert "2.60 m" in after[GIVEN]
    assert "2600" in after[f"hanging/Left wall{DRAWN}"]


def test_a_seat(base: dict[str, str], tmp_path: Path) -> None:
    """What the ears hear, and drawings of them; not what the walls take, nor places of pieces."""
    project = edited_project(
        tmp_path / "room", ROOM, toml=("at = [1.55, 1.5, 1.15]", "at = [1.65, 1.5, 1.15]")
    )
    after = parts(plan_of(project))
    told = changed(base, after)
    assert with_drawing(CHARTS["early"], CHARTS["modes"]) | {"score", POINTS, FLUTTER} <= told
    assert not told & {FORMULA, *with_drawing(CHARTS["sides"])}
    # Decay is heard from fixed places, so what pieces do for it stays; what is early may change.
    drawn = {f"{name}{DRAWN}" for name in ROOMS_DRAWINGS}
    assert rest(told) - {"why"} == {"short", GIVEN, UNFOLDED, *drawn}
    assert "1.65 m from the front wall" in after[GIVEN]
    assert "1650" in after[f"drawings/Plan view{DRAWN}"]


def test_the_place_of_a_piece(base: dict[str, str], tmp_path: Path) -> None:
    """Its sheet, the plan view (it hangs on the left, behind the viewer of the section), the
    standing waves, reflections and flutter where it was and where it is; not what is bought."""
    moved = (PLACES[0]._replace(u=0.2), *PLACES[1:])
    after = parts(plan_of(edited_project(tmp_path / "room", ROOM), moved))
    told = changed(base, after)
    assert with_drawing(CHARTS["modes"]) | {"score", FLUTTER} <= told
    assert rest(told) == {
        "short", "why", *with_drawing("hanging/Left wall"), f"drawings/Plan view{DRAWN}", UNFOLDED
    }  # fmt: skip
    assert "200 and 800" in after["hanging/Left wall"]
    assert "200 and 800" not in base["hanging/Left wall"]


def test_a_material(base: dict[str, str], tmp_path: Path) -> None:
    """The floor: its row among the coefficients, all that it absorbs; nothing that is hung."""
    project = edited_project(
        tmp_path / "room", ROOM,
        toml=('floor = "laminate_floating"', 'floor = "carpet_heavy_underlay"'),
    )  # fmt: skip
    after = parts(plan_of(project))
    told = changed(base, after)
    assert with_drawing(CHARTS["decay"], CHARTS["modes"]) | {"score", FLUTTER} <= told
    assert rest(told) == {"sources/Coefficients", "short", "why"}
    assert "laminate" not in after["sources/Coefficients"]
    assert "carpet" in after["sources/Coefficients"]


def test_the_limits(base: dict[str, str], tmp_path: Path) -> None:
    """Wider limits of decay: the limits shown and how far they are missed; no predicted figure."""
    table = f"[targets]\ndecay_high = {[2.0] * 8}\ndecay_low = {[0.1] * 8}\n[budget]"
    after = parts(plan_of(edited_project(tmp_path / "room", ROOM, toml=("[budget]", table))))
    told = changed(base, after)
    assert {"short", "score", *with_drawing(CHARTS["decay"]), FORMULA, "why"} <= told
    assert "0.10 to 2.00 s" in after[CHARTS["decay"]]
    figures = re.compile(r"\d\.\d\d s \d\.\d\d s (?:not met|met|now met)")
    figures_of = [[m[0][:13] for m in figures.finditer(p[CHARTS["decay"]])] for p in (base, after)]
    assert len(figures_of[0]) == 8
    assert figures_of[0] == figures_of[1]
    assert not told & {CHARTS["modes"], CHARTS["early"], CHARTS["sides"]}
    assert rest(told) == {"short", "why", GIVEN}


def test_units(base: dict[str, str], tmp_path: Path) -> None:
    """Feet: every drawing of the room and every length and area, no time, level or price."""
    after = parts(plan_of(edited_project(tmp_path / "room", ROOM)), "ft")
    told = changed(base, after)
    drawn = {
        key for key in base if key.startswith(("drawings/", "hanging/", "room")) and DRAWN in key
    }
    lengths = WALLS | {"hanging/Ceiling", "hanging/Floor", GIVEN}
    assert told - {"short", "why", BASS} == drawn | lengths | with_drawing(CHARTS["sides"])


def test_every_figure_of_the_card_is_read_from_the_card(base: dict[str, str]) -> None:
    """Each row of the card in turn gets other figures, which must stand in its group alone."""
    plan = plan_of(demo_project(ROOM))
    groups: dict[str, int] = {}
    for index, row in enumerate(plan.card.rows):
        groups.setdefault(row.criterion, index)
    for index in groups.values():
        row = plan.card.rows[index]
        other = replace(row, after=row.after + 7.77)
        rows = [*plan.card.rows]
        rows[index] = other
        after = parts(replace(plan, card=replace(plan.card, rows=tuple(rows))))
        told = {key.removesuffix(DRAWN) for key in changed(base, after)}
        scored = {key for key in told if key.startswith("score")}
        assert len(scored) == 1, (row.criterion, scored)
        assert told - scored <= {"short"}, row.criterion
        digits = 2 if row.unit in ("s", "m2") else 1
        assert f"{other.after:.{digits}f}" in after[scored.pop()], row.criterion
