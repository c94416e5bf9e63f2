"""What holds a piece: no item that needs a tool to make a hole where holes are barred.

The room and its prices are invented. Strips chosen for twice the weight, flush and light pieces,
never over a bed: common practice, no source.
"""

from pathlib import Path

import numpy as np
import pytest

from optimizer.placement.candidates import find_candidates
from optimizer.placement.holding import HOLDING, STRIPS_DEEPEST
from optimizer.placement.pieces import Piece
from optimizer.placement.sundries import Sundry
from optimizer.planning import Plan, load_project, make_plan
from optimizer.project import Project
from optimizer.results.cautions import DRILLING, cautions
from optimizer.results.nothing import why_nothing

FLAT = Path(__file__).parents[2] / "scenarios" / "rented_flat.toml"
DRILLED = ("hook", "screw", "plug", "anchor", "bracket", "rail")  # words of what makes holes


def flat(folder: Path, old: str, new: str) -> Project:
    """The flat with a change."""
    text = FLAT.read_text(encoding="utf-8")
    assert old in text
    (folder / "flat.toml").write_text(text.replace(old, new, 1), encoding="utf-8")
    prices = FLAT.with_name("rented_flat_prices.csv")
    (folder / prices.name).write_text(prices.read_text(encoding="utf-8"), encoding="utf-8")
    return load_project(folder / "flat.toml")


@pytest.fixture(scope="module")
def project() -> Project:
    return load_project(FLAT)


@pytest.fixture(scope="module")
def plan(project: Project) -> Plan:
    return make_plan(project, judging="fast")


@pytest.fixture(scope="module")
def places(project: Project) -> list[Piece]:
    """Every piece of every place of the flat."""
    limits = project.scenario.limits
    found = find_candidates(project.room, project.usable_products, limits, {})
    return [piece for candidate in found for piece in candidate.pieces]


def test_no_item_needs_a_tool_to_make_a_hole(plan: Plan) -> None:
    assert plan.project.scenario.limits.no_holes
    for line in plan.shopping:
        assert not any(word in line.product.name for word in DRILLED), line.product.name
        assert not (isinstance(line.product, Sundry) and line.product.hole)
    assert not any(HOLDING[planned.piece.mounting].hole for planned in plan.pieces)
    assert DRILLING not in cautions([planned.piece for planned in plan.pieces])


def test_a_tenth_of_the_excess_goes_for_350_or_the_plan_says_that_nothing_is_worth_it(
    plan: Plan,
) -> None:
    assert 0 <= plan.cost_cents <= plan.project.budget_cents == 35000
    card = plan.card
    gone = card.score_after <= 0.9 * card.score_before
    assert gone or (not plan.pieces and "that takes no hole" in why_nothing(plan))


def test_each_way_that_takes_no_hole_has_places(project: Project, places: list[Piece]) -> None:
    mountings = {m for product in project.usable_products for m in product.mountings}
    assert mountings == {m for m, holding in HOLDING.items() if not holding.hole}
    assert {piece.mounting for piece in places} == mountings


def test_what_stands_leans_or_is_stacked_starts_on_the_floor(project: Project) -> None:
    limits = project.scenario.limits
    heights = set()
    for candidate in find_candidates(project.room, project.usable_products, limits, {}):
        for piece in candidate.pieces:
            if piece.mounting in ("stand", "lean"):
                assert piece.rect[1] == 0.0
        if candidate.pieces[0].mounting == "corner":
            corners: dict[str, list[Piece]] = {}
            for piece in candidate.pieces:
                corners.setdefault(piece.surface, []).append(piece)
            for stack in corners.values():
                low = [piece.rect[1] for piece in stack]
                np.testing.assert_allclose(low, np.arange(len(low)) * stack[0].product.height)
                heights.add(len(stack))
    assert heights >= {1, 2, 3, 4}


@pytest.mark.parametrize("taken", [False, True])
def test_a_stack_and_its_mirror_image_are_pairs(tmp_path: Path, taken: bool) -> None:
    """Singles only where something stands in the other corner."""
    cabinet = '\n[[furniture]]\nkind = "cabinet"\nat = [0, 0, 0]\nsize = [0.2, 0.2, 1.0]\n'
    project = flat(tmp_path, "\n[budget]", (cabinet if taken else "") + "\n[budget]")
    limits = project.scenario.limits
    found = find_candidates(project.room, project.usable_products, limits, {})
    corners = [c for c in found if c.pieces[0].mounting == "corner"]
    assert corners
    for candidate in corners:
        walls = [piece.surface for piece in candidate.pieces]
        assert candidate.is_pair == (len(set(walls)) == 2) != taken


def test_strips_hold_light_flush_pieces_off_the_bed(project: Project, places: list[Piece]) -> None:
    on_strips = [piece for piece in places if piece.mounting == "adhesive"]
    bed = next(f.box for f in project.room.furniture if f.kind == "bed")
    for piece in on_strips:
        uses = [u for u in piece.product.sundries if u.mounting == "adhesive"]
        carried = sum(u.count * (u.sundry.load_kg or 0.0) for u in uses)
        assert piece.product.weight_kg is not None
        assert carried >= 2.0 * piece.product.weight_kg
        assert piece.reach <= STRIPS_DEEPEST
        over = np.all((piece.box[0, :2] < bed[1, :2]) & (piece.box[1, :2] > bed[0, :2]))
        assert not over


def test_strips_want_a_smooth_wall(tmp_path: Path) -> None:
    project = flat(tmp_path, 'left = "plaster_on_masonry"', 'left = "brick_bare"')
    limits = project.scenario.limits
    found = find_candidates(project.room, project.usable_products, limits, {})
    walls = {p.surface for c in found for p in c.pieces if p.mounting == "adhesive"}
    assert walls == {"front", "back", "right"}


def test_with_holes_corner_pieces_hang_at_any_height_and_panels_on_hooks(tmp_path: Path) -> None:
    project = flat(tmp_path, "no_holes = true", "no_holes = false")
    limits = project.scenario.limits
    found = find_candidates(project.room, project.usable_products, limits, {})
    pieces = [piece for c in found for piece in c.pieces]
    assert {"wall", "ceiling"} <= {piece.mounting for piece in pieces}
    for piece in pieces:
        assert piece.mounting != "adhesive" or "wall" not in piece.product.mountings
    high = [c for c in found if c.pieces[0].mounting == "corner" and c.pieces[0].rect[1] > 1.0]
    assert high
    assert all(len(c.pieces) <= 2 for c in high)
