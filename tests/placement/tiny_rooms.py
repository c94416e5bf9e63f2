"""Small random rooms through the real reading, candidates and effects; shared by these tests.

Sizes, prices and materials are invented; nothing here is a figure from a source.
"""

from dataclasses import replace
from pathlib import Path

import numpy as np

from optimizer.placement.effects import Effects, effects_table
from optimizer.planning import Decision
from optimizer.project import Project, load_project

HEADER = "id,name,kind,width,height,depth,turn,mountings,gaps,materials,faces,price,pack,owned\n"
PRODUCTS = (
    "wool,wool panel,panel,0.6,1.2,0.1,yes,wall ceiling,0;0.1,"
    "mineral_wool_100_wall;mineral_wool_100_gap_100,1,84.90,1,0\n",
    "pair,thin panels by two,panel,0.6,0.6,0.05,no,wall ceiling,0,"
    "mineral_wool_50_wall,1,55.90,2,0\n",
    "own,foam at hand,panel,0.5,0.5,0.05,no,wall,0,foam_50_wall,1,19.90,4,1\n",
    "corner,corner fill,corner,0.3,0.6,0.3,no,corner,0,corner_fill_300,1,54.90,1,0\n",
    "cloud,cloud,cloud,0.6,1.2,0.1,no,ceiling,0.1,mineral_wool_100_gap_100,1,118.90,1,0\n",
)
WALLS = ("plaster_on_masonry", "gypsum_board_studs", "concrete_block_painted")
FLOORS = ("laminate_floating", "concrete_floor", "parquet_on_battens")
NAMES = ("front", "back", "left", "right")


def room_text(rng: np.random.Generator, budget: float, grid: float) -> str:
    """A room file of a random box with two loudspeakers, a seat and perhaps a window."""
    length, width, height = rng.uniform([2.6, 2.2, 2.2], [4.2, 3.4, 2.8]).round(2)
    speaker_y = float(rng.uniform(0.3, 0.4) * width)
    middle = float(width / 2 + rng.choice([0.0, 0.05]))
    walls = "".join(f'{name} = "{rng.choice(WALLS)}"\n' for name in NAMES)
    window = (
        f'[[areas]]\nsurface = "{rng.choice(["left", "right"])}"\nkind = "window"\n'
        'material = "glass_3_4"\nat = [0.7, 0.9]\nsize = [0.8, 0.9]\n'
        if rng.random() < 0.5
        else ""
    )
    speakers = "".join(
        f'[[speakers]]\nname = "{name}"\nat = [0.5, {middle + side * (width / 2 - speaker_y):.3f}'
        ", 1.15]\n"
        for name, side in (("first", -1), ("second", 1))
    )
    return (
        f'title = "tiny"\n[room]\nlength = {length}\nwidth = {width}\nheight = {height}\n'
        f'[surfaces]\n{walls}floor = "{rng.choice(FLOORS)}"\nceiling = "gypsum_board_studs"\n'
        f"{window}{speakers}"
        f'[[seats]]\nname = "mix"\nat = [{0.55 * length:.3f}, {middle:.3f}, 1.15]\n'
        f'[budget]\namount = {budget:.2f}\ncatalogue = "prices.csv"\n'
        f"[limits]\ngrid = {grid}\n"
    )


def tiny_project(
    folder: Path, seed: int, budget: float = 300.0, grid: float = 2.0, products: int = 2
) -> Project:
    """A random project, the same for the same seed."""
    rng = np.random.default_rng(seed)
    rows = rng.choice(len(PRODUCTS), size=products, replace=False)
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "prices.csv").write_text(HEADER + "".join(PRODUCTS[i] for i in sorted(rows)))
    (folder / "room.toml").write_text(room_text(rng, budget, grid))
    return load_project(folder / "room.toml")


def with_budget(project: Project, amount: float) -> Project:
    """The same project with another budget."""
    section = project.scenario.budget.model_copy(update={"amount": amount})
    return replace(project, scenario=replace(project.scenario, budget=section))


def some_candidates(decision: Decision, rng: np.random.Generator, count: int) -> Effects:
    """The effects of a random few of a decision's candidates, rows of exclusion worked out anew."""
    picked = np.sort(
        rng.choice(
            len(decision.candidates), size=min(count, len(decision.candidates)), replace=False
        )
    )
    project = decision.project
    return effects_table(
        project.room,
        project.scene,
        project.criteria,
        tuple(decision.candidates[i] for i in picked),
        project.usable_products,
        project.budget_cents,
    )
