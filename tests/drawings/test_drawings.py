"""Drawings as pictures: nothing overlaps, nothing crashes, the scale holds, the text is honest."""

import re
from functools import cache

import numpy as np
import pytest
from reading import A4, LETTER, overlaps, read
from rooms import (
    LONG,
    box_text,
    corner_at,
    ell_with_slope,
    empty_plan,
    people,
    piece_at,
    plan_with,
    project_of,
    scattered,
)

from optimizer.acoustics.early_criteria import EarlyFamily
from optimizer.drawings.ceiling import ceiling_plan
from optimizer.drawings.elevations import elevations, file_names
from optimizer.drawings.plan_view import plan_view
from optimizer.drawings.running import spread
from optimizer.drawings.section import section
from optimizer.drawings.style import Picture
from optimizer.project import Project
from optimizer.results.model import Plan

LONG_NAMES = (LONG[:80], LONG[1:81], LONG[2:82])
THINGS = "".join(
    f'[[areas]]\nsurface = "{wall}"\nkind = "{kind}"\nname = "{LONG[:80]}"\n'
    f'material = "door_hollow"\nat = [{at}]\nsize = [{size}]\n'
    for wall, kind, at, size in (
        ("back", "door", "0.2, 0.0", "0.7, 1.8"), ("left", "vent", "0.2, 1.0", "0.1, 0.1"),
        ("ceiling", "detector", "1.0, 1.4", "0.1, 0.1"),
        ("front", "window", "0.1, 1.2", "0.4, 0.4"),
        ("right", "closet", "1.2, 0.0", "0.5, 1.5"), ("left", "switch", "0.35, 1.0", "0.05, 0.08"),
    )
) + (
    f'[[furniture]]\nkind = "bookcase"\nname = "{LONG[:80]}"\nat = [1.2, 0.0, 0.0]\n'
    "size = [0.5, 0.3, 0.8]\n"
)  # fmt: skip
KEEP_CLEAR = (
    f'[[limits.keep_clear]]\nname = "{LONG[:80]}"\nat = [1.6, 1.7, 0.5]\nsize = [0.3, 0.3, 1]\n'
)
SMALL_ROOM = box_text(2, 2, 2, THINGS, LONG * 2, LONG_NAMES) + KEEP_CLEAR
BIG_ROOM = box_text(15, 10, 5)
BANDED = box_text(6, 4, 2.5)


def row_of(surface: str, count: int) -> list:
    """Equal pieces side by side in rows, 0.05 m apart."""
    return [
        piece_at(BANDED, "wool", surface, round(0.05 + 0.35 * (i % 16), 6),
                 round(0.05 + 0.45 * (i // 16), 6))
        for i in range(count)
    ]  # fmt: skip


def on_every_plane() -> Plan:
    text = ell_with_slope()
    pieces = [
        piece_at(text, "wool", name, 0.3, 0.4)
        for name in ("left", "right", "front", "back", "notch side", "notch back", "slope")
    ]
    return plan_with(text, [*pieces, corner_at(text, "left", "front", 0.0),
                            piece_at(text, "rug", "floor", 3.4, 1.5),
                            piece_at(text, "wool", "ceiling", 0.5, 0.5)])  # fmt: skip


CASES = {
    "30 pieces in 2 x 2 x 2 m, long names": lambda: plan_with(
        SMALL_ROOM,
        [p for i, s in enumerate(("right", "left", "front", "ceiling", "back"))
         for p in scattered(SMALL_ROOM, s, 6, i)],
    ),
    "60 pieces on a wall of 15 x 5 m": lambda: plan_with(
        BIG_ROOM, scattered(BIG_ROOM, "left", 60, 1)
    ),
    "60 pieces on a ceiling of 15 x 10 m": lambda: plan_with(
        BIG_ROOM, scattered(BIG_ROOM, "ceiling", 60, 1)
    ),
    "60 equal pieces in rows": lambda: plan_with(BANDED, row_of("right", 60)),
    "a room of planes": on_every_plane,
    "no piece": lambda: empty_plan(SMALL_ROOM),
    "no plan": lambda: project_of(BIG_ROOM),
}  # fmt: skip


@cache
def shown(case: str) -> Plan | Project:
    return CASES[case]()


@cache
def pictures(case: str, units: str) -> tuple[Picture, ...]:
    what = shown(case)
    return (plan_view(what, units), section(what, units), ceiling_plan(what, units),
            *elevations(what, units))  # fmt: skip


EVERY = [(case, "ft" if i % 2 else "m") for i, case in enumerate(CASES)]
FIGURES = ("30 pieces in 2 x 2 x 2 m, long names", "60 equal pieces in rows", "a room of planes")


@pytest.mark.parametrize(("case", "units"), EVERY)
def test_no_text_covers_another_or_leaves_the_sheet(case: str, units: str) -> None:
    for picture in pictures(case, units):
        assert overlaps(picture) == [], picture.name


@pytest.mark.parametrize("case", FIGURES)
def test_a_figure_of_a_page_is_no_wider_and_no_higher_than_it_may_be(case: str) -> None:
    """Text on A4 and Letter within the margins of the report's style sheet."""
    what = shown(case)
    for picture in (ceiling_plan(what, as_figure=True), *elevations(what, as_figure=True)):
        drawn = read(picture)
        assert overlaps(picture, -0.3) == [], picture.name
        assert drawn.size[0] == pytest.approx(184.0, abs=0.01)
        assert drawn.size[1] <= 222.01
        assert "title" not in drawn.texts
        full = {n for n in drawn.points if n.startswith("piece-")}
        assert all(f"row-{n.removeprefix('piece-')}-number" in drawn.texts for n in full
                   if picture.name != "ceiling_plan" or case != "a room of planes")  # fmt: skip


@pytest.mark.parametrize(("case", "units"), EVERY)
def test_every_piece_is_on_a_drawing_with_its_number(case: str, units: str) -> None:
    what = shown(case)
    planned = what.pieces if isinstance(what, Plan) else ()
    drawn = [read(p) for p in pictures(case, units) if p.name != "section"]
    for piece in planned:
        with_number = [
            d for d in drawn
            if f"piece-{piece.id}" in d.points and d.texts.get(f"number-{piece.id}") == piece.id
        ]  # fmt: skip
        listed = [d for d in drawn if d.texts.get(f"row-{piece.id}-number") == piece.id]
        assert with_number, piece.id
        assert listed, piece.id


@pytest.mark.parametrize(("case", "units"), EVERY)
def test_scale_and_scale_bar_hold_and_the_sheet_fits_the_printer(case: str, units: str) -> None:
    for picture in pictures(case, units):
        drawn = read(picture)
        long, short = max(drawn.size), min(drawn.size)
        assert short <= min(A4[1], LETTER[1]) + 0.1
        assert long <= min(A4[0], LETTER[0]) + 0.1
        text = drawn.texts["scale-bar"]
        unit = {"m": 1.0, "ft": 0.3048}[text.split()[1]]
        said = float(text.split()[0]) * unit
        bar = drawn.box("scale-bar-ends")
        assert (bar[2] - bar[0]) / 1000 * drawn.denominator == pytest.approx(said, rel=1e-4)
        assert ("mm" in drawn.texts["units"]) == (units == "m")


@pytest.mark.parametrize(("case", "units"), EVERY)
def test_every_drawing_has_an_orientation_mark_and_words(case: str, units: str) -> None:
    for picture in pictures(case, units):
        drawn = read(picture)
        assert "mark-seen" in drawn.points
        assert "mark-viewer" in drawn.points
        assert picture.title in drawn.texts["title"] or drawn.texts["title"].endswith("…")
        assert f"<title>{picture.title}</title>" in picture.svg
        assert len(picture.alt) > 40


def test_a_plan_without_pieces_and_a_room_without_a_plan_say_so() -> None:
    for picture in pictures("no piece", "ft"):
        assert "No new piece: the room stays as it is." in picture.svg
    for picture in pictures("no plan", "m"):
        assert "The room as it is, without a plan." in picture.svg
    bare = [p for p in elevations(shown("60 equal pieces in rows")) if p.name == "elevation_back"]
    assert "No piece of the plan hangs on the back wall." in bare[0].svg


def test_figures_that_would_crowd_are_left_to_the_list() -> None:
    left = read(next(p for p in pictures(list(CASES)[1], "ft") if p.name == "elevation_left"))
    assert left.texts["up-listed"] == "heights: see the list"
    assert len([n for n in left.texts if re.fullmatch(r"row-\d+-up", n)]) == 60


def test_a_row_of_equal_pieces_shares_its_figures() -> None:
    drawn = read(next(p for p in elevations(shown("60 equal pieces in rows"))
                      if p.name == "elevation_right"))  # fmt: skip
    up = [n for n in drawn.texts if n.startswith("up-")]
    assert len(up) == 4  # four rows of pieces, four heights


def test_same_plan_same_bytes() -> None:
    what = plan_with(BANDED, row_of("right", 5))
    first, second = plan_view(what), plan_view(what)
    assert first.svg == second.svg
    assert first.png() == second.png()
    assert first.png()[:8] == b"\x89PNG\r\n\x1a\n"
    assert "Date" not in first.svg


def test_letters_no_font_has_and_signs_with_a_meaning_stay_as_they_are() -> None:
    text = box_text(3, 3, 2.4, title="Ö & <b> $x$ 日本", names=("a<b", "&amp;", "日本"))
    picture = plan_view(project_of(text))
    texts = read(picture).texts
    assert texts["room"] == "Ö & <b> $x$ 日本"
    assert {"a<b", "&amp;", "日本"} <= set(texts.values())
    assert len(picture.png()) > 1000


def test_files_of_surfaces_with_like_names_differ() -> None:
    assert file_names(["Left", "left", "日本", "本日"]) == [
        "elevation_left", "elevation_left_2", "elevation_surface", "elevation_surface_2"
    ]  # fmt: skip


def early(project: Project) -> EarlyFamily:
    return next(f for f in project.criteria.families if isinstance(f, EarlyFamily) and f.covers)


def test_reflections_bounce_where_the_mirror_law_says() -> None:
    """Angle of incidence = angle of reflection (the image source of Allen and Berkley 1979):
    by the left wall from (xs, ys) to (xr, yr) at x = xs + (xr - xs) ys / (ys + yr)."""
    project = project_of(BANDED)
    drawn = read(plan_view(project))
    (xs, ys, _), (xr, yr, _) = (t.at for t in (project.room.speakers[0], project.room.seats[0]))
    box = drawn.box("outline")
    metres = (drawn.points["path-1-1-left"] - box[:2]) * drawn.denominator / 1000
    bounce = xs + (xr - xs) * ys / (ys + yr)
    assert metres == pytest.approx(
        np.array([[ys, 6 - xs], [0, 6 - bounce], [yr, 6 - xr]]), abs=1e-3
    )
    assert "path-1-1-ceiling" not in drawn.points
    side = read(section(project))
    assert {"path-1-1-ceiling", "path-1-1-floor"} <= set(side.points)
    assert "path-1-1-left" not in side.points


def test_only_reflections_above_their_limit_are_drawn_heavy() -> None:
    """Panels where the left speaker's sound meets the left wall quiet it and leave the right."""
    text = BANDED + '[loudspeaker]\ndirectivity = "all-round"\n'
    bare = project_of(text)
    family = early(bare)
    over = family.excess(family.quantities(bare.scene)) > 0
    names = [row.where for row, loud in zip(family.rows, over, strict=True) if loud]
    assert any("via left" in n for n in names)
    loud = r'id="path-1-1-left">\s*<path[^>]*stroke-width: 1.3'
    assert re.search(loud, plan_view(bare).svg)
    paths = family.paths
    row = paths.names.index("left")
    u, _, v = paths.bounce[0, 0, row]
    starts = [(u - 0.45 + 0.3 * i, v - 0.4 + 0.4 * j) for i in range(3) for j in range(2)]
    pieces = [piece_at(text, "wool", "left", round(a, 3), round(b, 3)) for a, b in starts]
    treated = plan_view(plan_with(text, pieces)).svg
    assert not re.search(loud, treated)
    assert re.search(loud.replace("left", "right").replace("path-1", "path-2"), treated)


def test_nothing_later_than_15_ms_is_drawn() -> None:
    """Sound by the back wall of a room of 15 m comes later; the strict profile looks to 20 ms."""
    text = BIG_ROOM + '[targets]\nearly = "reflection-free"\n'
    family = early(project_of(text))
    late = {
        f"path-{s + 1}-{r + 1}-{family.paths.names[p]}"
        for s, r, p in family.index.tolist()
        if family.paths.delay_ms[s, r, p] > 15
    }
    assert late
    points = read(plan_view(project_of(text))).points | read(section(project_of(text))).points
    assert not late & set(points)
    assert "path-1-1-floor" in points


def test_other_seats_show_only_what_is_too_loud() -> None:
    extra = '[[seats]]\nname = "guest"\nat = [3.4, 2.0, 1.1]\n'
    text = BANDED.replace("\n[budget]", "\n" + extra + "[budget]")
    project = project_of(text)
    family = early(project)
    over = family.excess(family.quantities(project.scene)) > 0
    points = read(plan_view(project)).points
    for (s, r, p), loud in zip(family.index.tolist(), over, strict=True):
        name = f"path-{s + 1}-{r + 1}-{family.paths.names[p]}"
        if (
            r == 1
            and family.paths.names[p] in ("left", "right")
            and family.paths.delay_ms[s, r, p] < 15
        ):
            assert (name in points) == bool(loud)


def test_spread_keeps_order_and_distance_and_moves_no_more_than_it_must() -> None:
    wanted = np.array([1.0, 1.1, 1.2, 9.0])
    places = spread(wanted, 1.0, -10.0, 20.0)
    assert np.diff(places).min() == pytest.approx(1.0)
    assert places == pytest.approx([0.1, 1.1, 2.1, 9.0])
    assert spread(wanted, 1.0, 1.0, 20.0)[0] == pytest.approx(1.0)


def test_seats_and_loudspeakers_are_where_the_room_file_has_them() -> None:
    drawn = read(plan_view(project_of(BANDED)))
    assert "[[seats]]" in people(0.5, 2.0, 2.0, 1.4, ("a", "b", "c"))
    x0, y0, x1, y1 = drawn.metres("seat-1")
    assert [(x0 + x1) / 2, (y0 + y1) / 2] == pytest.approx([2.0, 6 - 2.0], abs=2e-3)
    assert drawn.texts["across-speaker1"] == "1300"
    assert drawn.texts["up-speaker1-speaker2"] == "500"
