"""`treatment predict`: the score card of a room as it is, or with a plan."""

import argparse
from pathlib import Path

from optimizer.commands.printing import ProgressLine, say, tell_doubts
from optimizer.faults import ScenarioError
from optimizer.placement.pieces import treated
from optimizer.project import load_project
from optimizer.results import tellings as tell
from optimizer.results.by_moving import by_moving
from optimizer.results.plan_model import read_plan
from optimizer.results.planfile import figures_replaced, plan_faults, read_pieces
from optimizer.results.score_words import (
    LEGEND,
    NOW_HEADER,
    NOW_RIGHT,
    SHORT_HEADER,
    SHORT_RIGHT,
    judged_by,
    left_out,
    now_rows,
    rows_worth_telling,
    short_rows,
)
from optimizer.results.scorecard import room_card
from optimizer.results.tables import folded, text_table

EPILOG = """\
examples:
  treatment predict scenarios/spare_room.toml
  treatment predict scenarios/spare_room.toml --with plan/plan.json
"""


def add_parser(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Register the command."""
    parser = commands.add_parser(
        "predict",
        help="score card of a room as it is, or with a plan",
        description="Predict what a room does to sound, as it is or with a plan in it.",
        epilog=EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("room", type=Path, metavar="ROOM.toml", help="the room file")
    parser.add_argument("--with", dest="plan", type=Path, metavar="plan.json",
                        help="a plan to put into the room")  # fmt: skip
    parser.add_argument(
        "--fast",
        action="store_true",
        help="leave the wave equation out, and draw half as often how sure the figures are: "
        "quicker, less sure under 1 kHz",
    )
    parser.add_argument("--all", action="store_true", help="also the rows that only inform")
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Load, judge, print."""
    try:
        project = load_project(arguments.room)
    except ScenarioError as error:
        more = plan_faults(arguments.plan) if arguments.plan is not None else ()
        raise ScenarioError([*error.faults, *more]) from None
    pieces = []
    if arguments.plan is not None:
        pieces = read_pieces(arguments.plan, project.room, project.products)
    tell_doubts([project])
    with ProgressLine("reading the room") as progress:
        card = room_card(project, pieces, "fast" if arguments.fast else "full", progress.tell)
    rows = list(card.rows) if arguments.all else rows_worth_telling(card)
    if pieces:
        table = text_table(SHORT_HEADER, short_rows(rows), SHORT_RIGHT)
    else:  # one column of figures instead of two
        table = text_table(NOW_HEADER, now_rows(rows), NOW_RIGHT)
    scene = treated(project.room, project.scene, pieces)
    replaced = ""
    if arguments.plan is not None:
        replaced = figures_replaced(read_plan(arguments.plan), card)
    parts = [
        f"{project.scenario.title}: {project.room.volume:.1f} m³, {len(pieces)} pieces",
        table,
        "\n".join(filter(None, [left_out(card, rows, "--all shows them"), LEGEND])),
        folded(tell.wrapped(by_moving(card))),
        f"Judged by\n{judged_by(card)}",
        text_table(tell.decay_header(), tell.decay_rows(scene), tuple(range(1, 9))),
        f"Weighted excess over the limits: {card.score_after:.3f} (0 = all met)",
        replaced,
    ]
    say("\n\n".join(filter(None, parts)))
    return 0
