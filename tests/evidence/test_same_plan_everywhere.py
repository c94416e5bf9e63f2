"""A small room's plan is the same to the last byte whatever runs it.

With --fast: the wave equation on top takes a minute more for each plan, and adds no search.
"""

import json
from pathlib import Path

import pytest
from same_plan_everywhere import Machine, planned, row, table

PRICES = """\
id,name,kind,width,height,depth,turn,mountings,gaps,materials,faces,price,pack,owned
wool,wool panel,panel,0.6,1.2,0.1,yes,wall ceiling,0,mineral_wool_100_wall,1,84.90,1,0
corner,corner fill,corner,0.3,0.6,0.3,no,corner,0,corner_fill_300,1,54.90,1,0
"""
ROOM = """\
title = "tiny (invented)"
[room]
length = 3.1
width = 2.5
height = 2.3
[surfaces]
front = "gypsum_board_studs"
back = "plaster_on_masonry"
left = "plaster_on_masonry"
right = "plaster_on_masonry"
floor = "laminate_floating"
ceiling = "gypsum_board_studs"
[[speakers]]
name = "first"
at = [0.5, 0.75, 1.15]
[[speakers]]
name = "second"
at = [0.5, 1.75, 1.15]
[[seats]]
name = "mix"
at = [1.7, 1.25, 1.15]
[budget]
amount = 600.0
catalogue = "prices.csv"
[limits]
grid = 0.6
"""


@pytest.fixture
def room(tmp_path: Path) -> Path:
    (tmp_path / "prices.csv").write_text(PRICES)
    path = tmp_path / "room.toml"
    path.write_text(ROOM)
    return path


def test_threads_and_hash_seed_change_no_byte(room: Path) -> None:
    """Sets come in another order and two threads share the work, or one does it all."""
    out = room.parent / "plan"
    one, other = (planned(room, out, m, ["--fast"]) for m in (Machine(1, 0), Machine(2, 1)))
    assert one == other
    assert json.loads(one)["pieces"]
    assert json.loads(one)["cut_off"] is False
    assert "seconds" not in json.loads(one)


def test_the_table_tells_rows_that_differ() -> None:
    alike = [row("den", Machine(n, 0), '{"score_after": 1.0}') for n in (1, 2)]
    assert "all rows of a room are alike" in table(alike)
    other = row("den", Machine(1, 0, True), '{"score_after": 1.1}')
    assert "NOT all rows" in table([*alike, other])
    assert "NOT" not in table([*alike, ["attic", *other[1:]]])
