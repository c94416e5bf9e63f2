"""What the bass of porous pieces buys: by table coefficients, and by what the pieces are made of.

Run: OPENBLAS_NUM_THREADS=1 python tests/evidence/bass_purchases.py [ROOM ...]
Writes the .md beside it; about eight minutes of work.

Each demo room is planned twice for the same money and with the same rules: as the program does, and
with a price list whose materials have only their coefficients, so that below 250 Hz they act by an
admittance inverted from the table, as every row did before. Both plans are then judged alike by the
program's own models, in which porous pieces act as matter.
"""

import sys
from collections import Counter
from dataclasses import replace
from pathlib import Path

from materials.table import Material
from optimizer.acoustics.judged import Judged, judge_scene
from optimizer.placement.catalogue import Product
from optimizer.placement.pieces import Piece, treated
from optimizer.planning import make_plan
from optimizer.project import Project, load_project
from optimizer.results.model import Plan

ROOT = Path(__file__).parents[2]
ROOMS = ("small_bedroom", "spare_room", "garage", "living_room")
HEADER = ("room", "planned with", "bought", "spent", "score", "modes", "decay", "63 Hz", "125 Hz")


def coefficients_only(material: Material) -> Material:
    """The material without what is known of its make."""
    return replace(material, flow_resistivity=None, build=None)


def unmade(product: Product) -> Product:
    """The product with materials of which only coefficients are known."""
    fittings = (replace(f, material=coefficients_only(f.material)) for f in product.fittings)
    return replace(product, fittings=tuple(fittings))


def as_sold(project: Project, plan: Plan) -> list[Piece]:
    """The pieces of a plan, made of what the price list says."""
    known = {product.id: product for product in project.products}
    return [replace(p.piece, product=known[p.piece.product.id]) for p in plan.pieces]


def judged(project: Project, pieces: list[Piece]) -> Judged:
    """The room with pieces, by the models that judge plans."""
    scene = treated(project.room, project.scene, pieces)
    return judge_scene(scene, project.criteria, project.judges())


def bought(pieces: list[Piece]) -> str:
    """How many of each product."""
    count = Counter(piece.product.id for piece in pieces)
    return ", ".join(f"{number} {name}" for name, number in sorted(count.items())) or "nothing"


def row(name: str, kind: str, plan: Plan | None, pieces: list[Piece], found: Judged) -> str:
    """One line of the table."""
    excess = found.criteria.weights * found.criteria.excess(found.quantities)
    of = {
        group: sum(e for e, r in zip(excess, found.criteria.rows, strict=True) if r.group == group)
        for group in ("mode", "decay")
    }
    values = [
        next(v for v, r in zip(found.values, found.criteria.rows, strict=True)
             if r.group == "decay" and r.where == band and r.weight > 0)
        for band in ("63 Hz", "125 Hz")
    ]  # fmt: skip
    spent = "0" if plan is None else f"{plan.cost_cents / 100:.0f}"
    cells = [name, kind, bought(pieces), spent, f"{found.score:.3f}", f"{of['mode']:.3f}",
             f"{of['decay']:.3f}", *(f"{value:.2f} s" for value in values)]  # fmt: skip
    return f"| {' | '.join(cells)} |"


def rows(name: str) -> list[str]:
    """A room as it is, and with either plan."""
    project = load_project(ROOT / "scenarios" / f"{name}.toml")
    plain = replace(project, products=tuple(unmade(p) for p in project.products))
    found = [row(name, "as it is", None, [], judged(project, []))]
    for kind, planned in (("coefficients", plain), ("makes", project)):
        plan = make_plan(planned)
        pieces = as_sold(project, plan)
        found.append(row(name, kind, plan, pieces, judged(project, pieces)))
        print(found[-1], flush=True)
    return found


def main(names: list[str]) -> None:
    told = [line for name in names or ROOMS for line in rows(name)]
    intro = [
        "# What the bass of porous pieces buys", "",
        "Written by bass_purchases.py. Demo rooms, prices and budgets are invented.", "",
        "Each room is planned for the same money with materials of which only table coefficients",
        "are known (the admittance below 250 Hz is inverted from them) and with what porous pieces",
        "are made of. Both plans are judged alike, with makes. Score: weighted excess over the",
        "limits, 0 when all is met; beside it what modes and decay make of it.", "",
        f"| {' | '.join(HEADER)} |", "|" + " --- |" * len(HEADER),
    ]  # fmt: skip
    text = "\n".join([*intro, *told]) + "\n"
    Path(__file__).with_suffix(".md").write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main(sys.argv[1:])
