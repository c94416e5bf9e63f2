"""Pieces that hang already are drawn where the room file has them, unlike those that are new."""

import re

import pytest
from reading import overlaps, read
from rooms import box_text, piece_at, plan_with, project_of

from optimizer.drawings.ceiling import ceiling_plan
from optimizer.drawings.elevations import elevations
from optimizer.drawings.plan_view import plan_view
from optimizer.drawings.section import section
from optimizer.drawings.symbols import HUNG, LOOKS
from optimizer.results.model import Plan

MM = 1e-3
LENGTH, WIDTH, HEIGHT = 4.117, 3.233, 2.471
WOOL = (0.3, 0.4)  # m, width and height of the product "wool" of rooms.py
CORNER = (0.3, 0.6)  # leg and height


def hung(product: str, surface: str, u: float, v: float) -> str:
    return f'[[hung]]\nproduct = "{product}"\nsurface = "{surface}"\nat = [{u}, {v}]\n'


ROOM = box_text(
    LENGTH, WIDTH, HEIGHT,
    hung("wool", "left", 0.731, 0.857) + hung("wool", "right", 0.731, 0.857)
    + hung("wool", "back", 0.2, 1.1) + hung("rug", "floor", 2.9, 1.1)
    + hung("corner", "front-right", WIDTH - CORNER[0], 0.5) + hung("wool", "ceiling", 1.2, 0.5),
)  # fmt: skip


@pytest.fixture(scope="module")
def plan() -> Plan:
    """Two new pieces beside six that hang."""
    return plan_with(ROOM, [piece_at(ROOM, "wool", "left", 1.9, 0.857),
                            piece_at(ROOM, "wool", "ceiling", 2.2, 0.5)])  # fmt: skip


@pytest.fixture(scope="module")
def walls(plan: Plan) -> dict:
    return {p.name.removeprefix("elevation_"): p for p in elevations(plan, as_figure=True)}


def there(drawn: object) -> set[str]:
    return {n.removeprefix("hung-") for n in drawn.points if re.fullmatch(r"hung-h\d", n)}


def test_each_is_at_its_place_on_its_wall(walls: dict) -> None:
    """Places by hand: facing left, the wall is seen with its front end on the right."""
    wide, high = WOOL
    left, right, back = (read(walls[wall]) for wall in ("left", "right", "back"))
    assert [there(d) for d in (left, right, back)] == [{"h1"}, {"h2", "h5"}, {"h3"}]
    assert left.metres("hung-h1") == pytest.approx(
        [LENGTH - 0.731 - wide, 0.857, LENGTH - 0.731, 0.857 + high], abs=MM
    )
    assert right.metres("hung-h2") == pytest.approx(
        [0.731, 0.857, 0.731 + wide, 0.857 + high], abs=MM
    )
    assert back.metres("hung-h3") == pytest.approx(
        [WIDTH - 0.2 - wide, 1.1, WIDTH - 0.2, 1.1 + high], abs=MM
    )
    assert right.metres("hung-h5") == pytest.approx([0, 0.5, CORNER[0], 0.5 + CORNER[1]], abs=MM)
    front = read(walls["front"])
    assert front.metres("hung-h5") == pytest.approx(
        [WIDTH - CORNER[0], 0.5, WIDTH, 0.5 + CORNER[1]], abs=MM
    )


def test_the_list_tells_its_place_and_the_running_dimensions_leave_it_out(walls: dict) -> None:
    left = read(walls["left"])
    assert left.texts["number-h1"] == "h1"
    assert left.texts["row-h1-across"] == "front 731"
    assert left.texts["row-h1-up"] == "857"
    assert left.texts["row-1-across"] == "front 1900"
    measured = " ".join(n for n in left.texts if n.startswith(("across-", "up-")))
    assert "h1" not in measured


def test_on_plan_section_and_ceiling(plan: Plan) -> None:
    above, cut, ceiling = (read(draw(plan)) for draw in (plan_view, section, ceiling_plan))
    assert there(above) == {"h1", "h2", "h3", "h4", "h5", "h6"}
    assert there(ceiling) == {"h6"}
    # The cut lies midway between the loudspeakers; what is left of it is behind the viewer.
    assert there(cut) == {"h2", "h4", "h5"}
    wide, high = WOOL
    ceiling.points["outline"] = ceiling.points["outline-ceiling"]
    assert ceiling.metres("hung-h6") == pytest.approx(
        [0.5, LENGTH - 1.2 - wide, 0.5 + high, LENGTH - 1.2], abs=MM
    )


def test_own_style_and_a_key_to_it(plan: Plan, walls: dict) -> None:
    assert HUNG not in {look.fill for look in LOOKS.values()}
    shown = [*walls.values(), plan_view(plan), section(plan), ceiling_plan(plan)]
    for picture in shown:
        drawn = read(picture)
        assert bool(there(drawn)) == ("hangs already" in picture.svg), picture.name
        assert ("Hangs already: " in picture.alt) == bool(there(drawn))
    fill = rf'id="hung-h1">\s*<path[^>]*fill: {HUNG}'
    assert re.search(fill, walls["left"].svg)
    assert not re.search(fill.replace("hung-h1", "piece-1"), walls["left"].svg)
    assert "hangs already, overhead" in plan_view(plan).svg


def test_it_is_no_box_to_be_kept_clear_and_no_label_covers_another(plan: Plan) -> None:
    for picture in (*elevations(plan), plan_view(plan), section(plan), ceiling_plan(plan)):
        assert "keep clear" not in picture.svg
        assert overlaps(picture) == [], picture.name


def test_a_room_without_a_plan_shows_what_hangs() -> None:
    project = project_of(ROOM)
    assert there(read(plan_view(project))) == {"h1", "h2", "h3", "h4", "h5", "h6"}
    assert there(read(ceiling_plan(project))) == {"h6"}


def test_the_mirrored_room_shows_the_mirror_image(plan: Plan) -> None:
    before = read(plan_view(plan.project))
    after = read(plan_view(plan.project.mirrored()))
    assert there(after) == there(before)
    x0, y0, x1, y1 = before.metres("hung-h4")
    assert after.metres("hung-h4") == pytest.approx([WIDTH - x1, y0, WIDTH - x0, y1], abs=MM)
