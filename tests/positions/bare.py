"""Rooms for tests of positions: a bare box, and the demo rooms."""

from pathlib import Path

from optimizer.project import Project, load_project

SCENARIOS = Path(__file__).parents[2] / "scenarios"
BARE = """
title = "Bare box (invented)"
[room]
length = {length}
width = {width}
height = {height}
[surfaces]
front = "{walls}"
back = "{walls}"
left = "{walls}"
right = "{walls}"
floor = "{walls}"
ceiling = "{walls}"
{more}
[[speakers]]
name = "left speaker"
at = [0.7, {left}, 1.2]
[[speakers]]
name = "right speaker"
at = [0.7, {right}, 1.2]
[[seats]]
name = "mix"
at = [1.75, {middle}, 1.2]
[budget]
amount = 300
catalogue = "{catalogue}"
"""


def bare_text(
    length: float = 4.4,
    width: float = 3.3,
    height: float = 2.5,
    walls: str = "plaster_on_masonry",
    more: str = "",
) -> str:
    """A room file of a box with all surfaces alike, loudspeakers and seat symmetric."""
    middle = round(width / 2, 6)
    return BARE.format(
        length=length, width=width, height=height, walls=walls, more=more, middle=middle,
        left=round(middle - 0.6, 6), right=round(middle + 0.6, 6),
        catalogue=SCENARIOS / "small_bedroom_prices.csv",
    )  # fmt: skip


def bare(folder: Path, **sizes: object) -> Project:
    """The project of a bare box."""
    path = folder / "bare.toml"
    path.write_text(bare_text(**sizes), encoding="utf-8")  # type: ignore[arg-type]
    return load_project(path)


def demo(name: str) -> Project:
    """One of the demo rooms."""
    return load_project(SCENARIOS / f"{name}.toml")
