"""What order costs: plans of the demo rooms without order and in the strictest one, judged alike.

    OPENBLAS_NUM_THREADS=1 python tests/evidence/order_price.py [ROOM ...]

writes order_price.md and a picture of both plans of each room (order_price_ROOM.svg) beside this
file. Rooms not named keep their rows. About 2 minutes for a room on two idle cores.
"""

import sys
from pathlib import Path

from optimizer.placement.neat import neatness
from optimizer.planning import Plan, load_project, make_plan
from optimizer.results.tables import markdown_table
from optimizer.room.layout import LayoutSection, Level

HERE = Path(__file__).parent
SCENARIOS = HERE.parents[1] / "scenarios"
ROOMS = ("spare_room", "small_bedroom", "garage", "living_room")
LEVELS: tuple[Level, ...] = ("free", "gallery")
HEADER = (
    "room", "order", "excess now", "with the plan", "of the gain lost", "pieces", "lines on a wall",
    "lowest edge", "groups overhead", "with a neighbour", "kinds", "gap",
)  # fmt: skip
SCALE = 60  # picture points for a metre


def main() -> None:
    """Plan the rooms asked for, write the table and the pictures."""
    asked = tuple(sys.argv[1:]) or ROOMS
    path = HERE / "order_price.md"
    kept = path.read_text().splitlines() if path.exists() else []
    rows = {name: [r for r in kept if r.startswith(f"| {name} ")] for name in ROOMS}
    for name in asked:
        project = load_project(SCENARIOS / f"{name}.toml")
        plans = [make_plan(project.with_layout(LayoutSection(level=level))) for level in LEVELS]
        table = markdown_table(HEADER, [_row(name, plan, plans[0]) for plan in plans])
        rows[name] = table.splitlines()[2:]
        (HERE / f"order_price_{name}.svg").write_text(_picture(plans))
    head = markdown_table(HEADER, []).splitlines()
    told = __doc__.split("\n\n")[0] if __doc__ else ""
    body = "\n".join([*head, *(row for name in ROOMS for row in rows[name])])
    path.write_text(f"{told}\n\n{body}\n")


def _row(name: str, plan: Plan, free: Plan) -> list[str]:
    card, look = plan.card, neatness(plan.project.room, [p.piece for p in plan.pieces])
    gain = free.card.score_before - free.card.score_after
    lost = (card.score_after - free.card.score_after) / gain
    low = "-" if look.lowest_edge is None else f"{look.lowest_edge:.2f} m"
    return [
        name, plan.project.scenario.layout.level, f"{card.score_before:.3f}",
        f"{card.score_after:.3f}", "-" if plan is free else f"{100 * lost:.1f} %",
        str(look.pieces), str(look.most_lines), low, str(max(look.clouds.values(), default=0)),
        f"{look.company_percent:.0f} %", str(look.kinds), f"{100 * plan.selection.gap:.1f} %",
    ]  # fmt: skip


def _picture(plans: list[Plan]) -> str:
    """The surfaces of a room side by side, one plan below the other."""
    parts, width, top = [], 0.0, 0.0
    for plan in plans:
        level = plan.project.scenario.layout.level
        parts.append(_text(0.1, top + 0.25, f"{level}: {plan.card.score_after:.3f}"))
        left = 0.1
        for surface in plan.project.room.surfaces:
            u0, v0, u1, v1 = surface.plane.bounds
            foot = top + 0.6 + 4.6
            parts.append(_text(left, top + 0.5, surface.name))
            parts.append(_rect(left, foot, (0, 0, u1 - u0, v1 - v0), "none"))
            parts += [_rect(left, foot, area.rect, "#dddddd") for area in surface.areas]
            laid = [rect for p in plan.pieces for rect in p.piece.rects if rect[0] == surface.name]
            parts += [_rect(left, foot, rect, "#7799bb") for _, rect in laid]
            left += u1 - u0 + 0.3
        width, top = max(width, left), top + 5.4
    size = f'width="{width * SCALE:.0f}" height="{top * SCALE:.0f}"'
    return f'<svg xmlns="http://www.w3.org/2000/svg" {size}>\n' + "\n".join(parts) + "\n</svg>\n"


def _rect(left: float, foot: float, rect: tuple[float, float, float, float], fill: str) -> str:
    u0, v0, u1, v1 = (SCALE * x for x in rect)
    at = f'x="{SCALE * left + u0:.1f}" y="{SCALE * foot - v1:.1f}"'
    size = f'width="{u1 - u0:.1f}" height="{v1 - v0:.1f}"'
    return f'<rect {at} {size} fill="{fill}" stroke="#333333"/>'


def _text(x: float, y: float, text: str) -> str:
    return f'<text x="{SCALE * x:.1f}" y="{SCALE * y:.1f}" font-size="12">{text}</text>'


if __name__ == "__main__":
    main()
