"""`treatment plan --positions auto`: where to sit and what to buy, decided together."""

import argparse
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from optimizer.commands.exclusive import exclusive_faults
from optimizer.commands.printing import ProgressLine
from optimizer.drawings.positions_map import positions_map
from optimizer.faults import Fault
from optimizer.placement.effort import Effort
from optimizer.positions import telling
from optimizer.positions.joint import TOP, Joint, plan_positions, promising
from optimizer.positions.joint_words import (
    MEANING,
    best_label,
    joint_in_words,
    joint_parts,
    joint_table,
    judged_of,
    labels,
    turned_in_words,
)
from optimizer.positions.mapped import mapped
from optimizer.positions.search import Found
from optimizer.positions.set_up_file import kept, set_up_file, set_up_name
from optimizer.positions.shortlist import ROUGH
from optimizer.project import Judging, Project
from optimizer.report.more import Part
from optimizer.results.model import Plan
from optimizer.results.tables import folded

AUTO = "auto"
TOGETHER = ("stages", "alternatives")


@dataclass(frozen=True)
class MovedPlans:
    """The winning pair's plan; what to say; the other pairs' plans by file name; the room files of
    the set-ups by name; the report's parts about them."""

    plan: Plan
    told: str
    others: dict[str, Plan]
    rooms: dict[str, str]
    parts: list[Part]


def positions_faults(arguments: argparse.Namespace) -> Iterator[Fault]:
    """What is wrong with --positions."""
    asked = arguments.positions
    if asked is None:
        return
    if asked != AUTO:
        remedy = f"give {AUTO}, or leave it out to stay where you are"
        yield Fault("command line", "--positions", asked, remedy)
    remedy = "plan positions first, then its room file"
    yield from exclusive_faults(arguments, "positions", TOGETHER, remedy)


def positions_names(arguments: argparse.Namespace) -> Iterator[str]:
    """Files that may be written besides the usual ones."""
    if arguments.positions is not None:
        yield _file(telling.NOW)
        for number in range(1, TOP + 1):
            yield _file(str(number))
            yield set_up_name(arguments.room, number)


def with_positions(
    project: Project, arguments: argparse.Namespace, effort: Effort, progress: ProgressLine
) -> MovedPlans:
    """Plans for the room as it is and for the best few set-ups, and which of them wins."""
    judging: Judging = "fast" if arguments.fast else "full"
    found = promising(project, TOP, tell=progress.tell)
    joint = plan_positions(
        project, TOP, arguments.gap, effort, judging, found=found,
        report=progress.report, tell=progress.tell, confidence=arguments.confidence,
    )  # fmt: skip
    rooms = _rooms(project, joint, arguments)
    plans = {label: _own_plan(label, joint, rooms, arguments.out) for label in labels(joint)}
    best = best_label(joint)
    others = {_file(label): p for label, p in plans.items() if label != best}
    chart = positions_map(mapped(project, found, judged_of(joint)), arguments.units)
    parts = joint_parts(joint, found, chart, arguments.units)
    told = _told(joint, found, rooms, arguments)
    return MovedPlans(plans[best], told, others, dict(rooms.values()), parts)


def _rooms(
    project: Project, joint: Joint, arguments: argparse.Namespace
) -> dict[str, tuple[str, str]]:
    """Name and text of the room file of each set-up, by its label."""
    made = {}
    for number, pair in enumerate(joint.others, 1):
        text = set_up_file(project, pair.judged, number, arguments.out, arguments.variant)
        made[str(number)] = (set_up_name(arguments.room, number), text)
    return made


def _own_plan(label: str, joint: Joint, rooms: dict[str, tuple[str, str]], folder: Path) -> Plan:
    """The plan of a pair, as made from the room file of its set-up."""
    plan = labels(joint)[label].plan
    if label not in rooms:
        return plan
    name, text = rooms[label]
    return kept(plan, text, folder / name)


def _file(label: str) -> str:
    return f"set_up_{label}.json" if label.isdigit() else f"{label.replace(' ', '_')}.json"


def _told(
    joint: Joint, found: Found, rooms: dict[str, tuple[str, str]], arguments: argparse.Namespace
) -> str:
    """Pairs, which wins, what staying put costs, tape marks and how to go on from there."""
    best = best_label(joint)
    parts = [
        f"Positions, each with its own plan:\n\n{joint_table(joint)}",
        folded(joint_in_words(joint)),
        folded(turned_in_words(joint)),
        folded(f"{ROUGH} {MEANING}"),
        folded(telling.why_walls(found, arguments.units)),
    ]
    if best in rooms:
        tape = telling.tape_table({best: joint.best.judged}, arguments.units)
        parts += [
            f"Tape marks:\n\n{tape}",
            f"plan.json goes with the room file {arguments.out / rooms[best][0]}; keep it beside.",
        ]
    return "\n\n".join(part for part in parts if part)
