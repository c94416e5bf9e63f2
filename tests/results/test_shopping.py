"""The shopping list: packs, pieces at hand, what hangs them, deliveries; never above the budget.

Counts are worked out by hand beside each check; prices are invented. That an overhead piece wants
at least two fixings and a secondary line is common practice, no source.
"""

import csv
import io
import json
from dataclasses import dataclass, replace
from decimal import Decimal
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from materials import load_table
from optimizer.placement.catalogue import Product, read_catalogue
from optimizer.placement.spending import purchases, set_aside
from optimizer.placement.sundries import Sundry, SundryUse
from optimizer.planning import Plan, load_project, make_plan
from optimizer.results import tellings as tell
from optimizer.results.planfile import plan_as_dict
from optimizer.results.report_md import report_markdown
from optimizer.results.shopping import ShoppingLine, shopping_list, total_cents
from optimizer.results.shopping_overhead import overhead_gaps, overhead_rows

GENERIC = Path(__file__).parents[2] / "materials" / "catalogue.csv"
HEADER = (
    "id,name,kind,width,height,depth,turn,mountings,gaps,materials,price,pack,owned,weight_kg,"
    "supplier,sundries"
)
PRICES = f"""{HEADER}
wool,wool panel,panel,0.6,1.2,0.1,no,wall ceiling,0,mineral_wool_100_wall,50.00,4,0,6.5,Shop A,\
wall: hook*2; ceiling: anchor*4 line*1
fill,corner fill,corner,0.3,0.6,0.3,no,corner,0,corner_fill_300,40.00,1,3,1.6,Shop A,hook*1
rug,rug,rug,1.6,2.3,0.01,no,floor,0,rug_on_hard_floor,90.00,1,0,8,Shop C,
hook,hook,fixing,,,,,,,,7.00,10,1,,Shop B,
anchor,anchor,fixing,,,,,,,,3.10,1,0,,Shop B,
line,safety line,safety_line,,,,,,,,4.45,1,0,,Shop B,
"""
OLD = f"""{HEADER.removesuffix(",weight_kg,supplier,sundries")}
wool,wool panel,panel,0.6,1.2,0.1,no,wall ceiling,0,mineral_wool_100_wall,50.00,4,0
"""
ROOM = """\
title = "Box"
[room]
length = 4.0
width = 3.2
height = 2.5
[surfaces]
front = "brick_bare"
back = "brick_bare"
left = "brick_bare"
right = "brick_bare"
floor = "concrete_floor"
ceiling = "brick_bare"
[[speakers]]
name = "L"
at = [0.6, 1.0, 1.2]
[[speakers]]
name = "R"
at = [0.6, 2.2, 1.2]
[[seats]]
name = "mix"
at = [1.7, 1.6, 1.2]
[budget]
amount = 500
catalogue = "prices.csv"
delivery = {"Shop A" = 12.50, "Shop B" = 4.95, "Shop C" = 60}
tax_note = "All prices with 25 % tax | §5"
[limits]
grid = 0.6
"""


@dataclass(frozen=True)
class Hung:
    """As much of a piece as the list looks at."""

    product: Product
    mounting: str


def products_of(folder: Path, text: str = PRICES) -> dict[str, Product]:
    (folder / "prices.csv").write_text(text, encoding="utf-8")
    faults: list[object] = []
    products = read_catalogue(folder / "prices.csv", load_table(), faults)  # type: ignore[arg-type]
    assert faults == []
    return {product.id: product for product in products}


def lines_of(pieces: list[Hung], products: list[Product], **kw: object) -> dict[str, ShoppingLine]:
    found = shopping_list(pieces, products, **kw)  # type: ignore[arg-type]
    return {line.product.id: line for line in found}


def test_packs_pieces_at_hand_and_what_is_left(tmp_path: Path) -> None:
    known = products_of(tmp_path)
    wool, fill = known["wool"], known["fill"]
    pieces = [Hung(wool, "wall")] * 3 + [Hung(wool, "ceiling")] * 2 + [Hung(fill, "corner")] * 5
    lines = lines_of(pieces, list(known.values()))
    assert list(lines) == ["wool", "fill", "hook", "anchor", "line"]
    # 5 panels in packs of 4: 2 packs, 3 left. 5 fills of which 3 at hand: 2 to buy.
    assert (lines["wool"].packs, lines["wool"].left_over) == (2, 3)
    assert (lines["fill"].owned, lines["fill"].packs, lines["fill"].left_over) == (3, 2, 0)
    # Hooks: 3 panels x 2 + 5 fills = 11; 3 come with the fills at hand, 1 is at hand: 7 to buy,
    # one pack of 10, 3 left. Anchors: 2 panels x 4.
    hook = lines["hook"]
    assert (hook.needed, hook.owned, hook.packs, hook.left_over) == (11, 4, 1, 3)
    assert (lines["anchor"].needed, lines["anchor"].packs) == (8, 8)
    assert (lines["line"].needed, lines["line"].packs) == (2, 2)
    # In cents: 2 x 5000 + 2 x 4000 + 700 + 8 x 310 + 2 x 445.
    assert total_cents(tuple(lines.values())) == 10000 + 8000 + 700 + 2480 + 890


def test_only_at_hand_costs_nothing(tmp_path: Path) -> None:
    known = products_of(tmp_path)
    delivery = {"Shop A": 12.5, "Shop B": 4.95}
    lines = lines_of([Hung(known["fill"], "corner")] * 3, list(known.values()), delivery=delivery)
    assert total_cents(tuple(lines.values())) == 0
    assert lines["hook"].owned == 3
    assert not any(id.startswith("delivery") for id in lines)


def test_delivery_is_charged_once_where_something_is_bought(tmp_path: Path) -> None:
    known = products_of(tmp_path)
    delivery = {"Shop A": 12.5, "Shop B": 4.95, "Shop C": 60.0}
    lines = lines_of([Hung(known["wool"], "wall")] * 9, list(known.values()), delivery=delivery)
    charged = {id: line.total_cents for id, line in lines.items() if id.startswith("delivery")}
    assert charged == {"delivery:Shop A": 1250, "delivery:Shop B": 495}
    rug = lines_of([Hung(known["rug"], "floor")], list(known.values()), delivery=delivery)
    assert [line.total_cents for line in rug.values()] == [9000, 6000]


def test_what_the_program_counts(tmp_path: Path) -> None:
    """A pack of 4 panels on the wall takes 8 hooks of 70 cents, overhead 16 anchors and 4 lines."""
    known = products_of(tmp_path)
    counted = {(p.product.id, p.mountings): p.outlay_cents for p in purchases(known.values())}
    assert counted == {
        ("wool", ("wall",)): 5000 + 8 * 70,
        ("wool", ("ceiling",)): 5000 + 16 * 310 + 4 * 445,
        ("fill", ("corner",)): 4000 + 70,
        ("rug", ("floor",)): 9000,
    }
    kept = set_aside(known.values(), {"Shop A": 12.5, "Shop B": 4.95})
    # A last pack of ten hooks may be used for one hook only: nine tenths of 7.00.
    assert (kept.deliveries, kept.part_packs) == (1745, 630)


def test_a_mounting_that_is_not_allowed_sets_nothing_aside(tmp_path: Path) -> None:
    wool = products_of(tmp_path)["wool"]
    overhead = replace(wool, mountings=("ceiling",))
    assert set_aside([overhead], {"Shop B": 4.95}).part_packs == 0  # no hooks, no packs of ten
    assert set_aside([wool], {"Shop B": 4.95}).part_packs == 630


def test_old_price_list_counts_as_before(tmp_path: Path) -> None:
    (wool,) = products_of(tmp_path, OLD).values()
    assert (wool.supplier, wool.sundries) == ("", ())
    (counted,) = purchases([wool])
    assert counted.outlay_cents == wool.price_cents
    assert set_aside([wool], {}).total == 0


sundry_prices = st.integers(0, 3000)


@st.composite
def bought(draw: st.DrawFn) -> tuple[list[Product], list[Hung], dict[str, float]]:
    """A price list, pieces of it and deliveries."""
    suppliers = st.sampled_from(["", "Shop A", "Shop B"])
    sundries = [
        Sundry(f"s{i}", "s", "fixing", draw(sundry_prices), draw(st.integers(1, 12)),
               draw(st.integers(0, 4)), None, draw(suppliers), "")
        for i in range(draw(st.integers(0, 3)))
    ]  # fmt: skip
    products, pieces = [], []
    for i in range(draw(st.integers(1, 3))):
        mountings = draw(st.sampled_from([("wall",), ("wall", "ceiling"), ("window", "wall")]))
        uses = tuple(
            SundryUse(s, draw(st.integers(1, 6)), draw(st.sampled_from([None, *mountings])))
            for s in sundries
            if draw(st.booleans())
        )
        product = Product(
            f"p{i}", "p", "panel", 0.6, 0.6, 0.05, False, mountings, (), 1,
            draw(st.integers(0, 9000)), draw(st.integers(1, 6)), draw(st.integers(0, 3)), None,
            "not stated", "", draw(suppliers), uses,
        )  # fmt: skip
        products.append(product)
        hung = draw(st.lists(st.sampled_from(mountings), max_size=9))
        pieces += [Hung(product, mounting) for mounting in hung]
    delivery = {s: draw(st.integers(0, 5000)) / 100 for s in ("Shop A", "Shop B")}
    return products, pieces, delivery


@given(bought())
@settings(max_examples=300)
def test_the_list_never_costs_more_than_what_was_counted(
    case: tuple[list[Product], list[Hung], dict[str, float]],
) -> None:
    """What the program counts, plus what is set aside, covers the list; any price list."""
    products, pieces, delivery = case
    counted = set_aside(products, delivery).total
    for purchase in purchases(products):
        mine = [p for p in pieces if p.product.id == purchase.product.id]
        needed = sum(piece.mounting in purchase.mountings for piece in mine)
        packs = -(-max(needed - purchase.product.owned, 0) // purchase.product.pack)
        counted += packs * purchase.outlay_cents
    lines = shopping_list(pieces, products, delivery)  # type: ignore[arg-type]
    assert total_cents(lines) <= counted
    assert all(line.left_over >= 0 for line in lines)
    assert all(line.left_over < line.product.pack or not line.packs for line in lines)


@pytest.fixture(scope="module")
def plan(tmp_path_factory: pytest.TempPathFactory) -> Plan:
    folder = tmp_path_factory.mktemp("shop")
    products_of(folder)
    (folder / "room.toml").write_text(ROOM, encoding="utf-8")
    return make_plan(load_project(folder / "room.toml"), gap=0.3, judging="none")


def test_a_plan_with_sundries_and_deliveries_keeps_to_its_budget(plan: Plan) -> None:
    project = plan.project
    # All three deliveries and the part-used pack of hooks are set aside.
    assert project.set_aside.total == 1250 + 495 + 6000 + 630
    assert project.spendable_cents == 50000 - project.set_aside.total
    assert 0 < plan.cost_cents <= project.budget_cents
    kinds = {line.product.id for line in plan.shopping}
    assert "delivery:Shop A" in kinds
    assert kinds & {"hook", "anchor"}


def test_plan_file_lists_everything_bought(plan: Plan) -> None:
    data = json.loads(json.dumps(plan_as_dict(plan)))
    cents = [round(100 * line["total"]) for line in data["shopping"]]
    assert sum(cents) == round(100 * data["cost"]) == plan.cost_cents


def test_csv_adds_up_in_cents(plan: Plan) -> None:
    rows = list(csv.DictReader(io.StringIO(tell.shopping_csv(plan), newline="")))
    *lines, note, total = rows
    assert note["name"] == plan.project.scenario.budget.tax_note
    assert sum(Decimal(row["total"]) for row in lines) == Decimal(total["total"])
    assert Decimal(total["total"]) * 100 == plan.cost_cents
    for row in lines:
        assert Decimal(row["unit_price"]) * int(row["packs"]) == Decimal(row["total"])
    assert {row["supplier"] for row in lines} >= {"Shop A", "Shop B"}


def test_markdown_shows_total_what_hangs_overhead_and_the_tax_note(plan: Plan) -> None:
    text = report_markdown(plan)
    start, end = text.index("## Shopping list"), text.index("## Where each piece goes")
    part = text[start:end]
    assert "| total" in part
    assert f"{plan.cost_cents / 100:.2f} EUR" in part
    assert "- All prices with 25 % tax \\| §5\n" in part
    over = [p for p in plan.pieces if p.piece.mounting == "ceiling"]
    assert ("hung overhead" in part) == bool(over)


def test_overhead_rows_and_what_the_price_list_leaves_out(tmp_path: Path) -> None:
    wool = products_of(tmp_path)["wool"]
    over = [Hung(wool, "ceiling")] * 3
    (row,) = overhead_rows(over)  # type: ignore[arg-type]
    assert row == ["wool panel", "3", "6.5 kg", "19.5 kg", "4", "1"]
    assert overhead_gaps(over) == []  # type: ignore[arg-type]
    bare = replace(wool, sundries=(), weight_kg=None)
    (row,) = overhead_rows([Hung(bare, "ceiling")])  # type: ignore[list-item]
    assert row[2:] == ["not stated", "not stated", "at least 2 (none in the price list)",
                       "at least 1 (none in the price list)"]  # fmt: skip
    (gap,) = overhead_gaps([Hung(bare, "ceiling")])  # type: ignore[list-item]
    assert "at least 2 fixings and a secondary safety line" in gap
    assert overhead_rows([Hung(wool, "wall")]) == []  # type: ignore[list-item]


def test_generic_price_list_has_fixings_and_a_line_for_every_overhead_piece() -> None:
    faults: list[object] = []
    products = read_catalogue(GENERIC, load_table(), faults)  # type: ignore[arg-type]
    over = [Hung(product, "ceiling") for product in products if "ceiling" in product.mountings]
    assert len(over) > 5
    assert overhead_gaps(over) == []  # type: ignore[arg-type]
    assert all(p.product.weight_kg for p in over)
