"""`treatment predict`: the score card of a room as it is, or with a plan."""

import argparse
from pathlib import Path

from optimizer.commands.printing import say
from optimizer.project import load_project
from optimizer.results import tellings as tell
from optimizer.results.planfile import read_pieces
from optimizer.results.scorecard import room_card, treated
from optimizer.results.tables import text_table

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
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Load, judge, print."""
    project = load_project(arguments.room)
    pieces = []
    if arguments.plan is not None:
        pieces = read_pieces(arguments.plan, project.room, project.products)
    card = room_card(project, pieces)
    rows = tell.score_rows(card, with_before=bool(pieces))
    header = list(tell.SCORE_HEADER)
    if not pieces:  # one column of figures instead of two
        rows = [row[:3] + row[4:] for row in rows]
        header = [*header[:3], "now", *header[5:]]
    right: tuple[int, ...] = tell.SCORE_RIGHT if pieces else (3,)
    scene = treated(project.room, project.scene, pieces)
    parts = [
        f"{project.scenario.title}: {project.room.volume:.1f} m³, {len(pieces)} pieces",
        text_table(header, rows, right),
        text_table(tell.decay_header(), tell.decay_rows(scene), tuple(range(1, 9))),
        f"Weighted excess over the limits: {card.score_after:.3f} (0 = all met)",
    ]
    say("\n\n".join(parts))
    return 0
