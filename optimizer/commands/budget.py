"""`treatment budget`: what more money would buy, from one budget to another."""

import argparse
import json
from collections import Counter
from collections.abc import Iterator
from dataclasses import asdict
from itertools import pairwise
from pathlib import Path

import numpy as np

from materials.cells import csv_text
from optimizer.commands.printing import ProgressLine, say, tell_doubts
from optimizer.commands.time_limit import add_time_limit, time_faults
from optimizer.drawings.charts import budget_chart
from optimizer.faults import Fault, ScenarioError
from optimizer.placement.budget_curve import GAP, Curve, Point, budget_curve
from optimizer.placement.effort import Effort
from optimizer.placement.order import Ints
from optimizer.placement.pieces import Piece, mirrored_piece
from optimizer.planning import Decision, build_decision
from optimizer.project import Project, load_project
from optimizer.results.money_curve import made_from, money_curve
from optimizer.results.output import check_writable, write_folder
from optimizer.results.shopping import money
from optimizer.results.tables import folded, text_table
from optimizer.results.tellings import CUT_OFF
from optimizer.results.words import place_in_words

FILES = ("budget.csv", "budget.json", "budget.svg")
MOST_STEPS = 100
EPILOG = f"""\
example:
  treatment budget scenarios/spare_room.toml --from 200 --to 2400 --steps 12 --out budget

Each budget gets its best plan to a gap of {100 * GAP:g} %, looser than in `treatment plan`, by the
quick models alone. A dearer budget never shows a worse plan than a cheaper one.
"""
RULE = (
    "money buys little past the first budget after which no later one gains, for its money, "
    "more than a quarter of what the money up to there gained on average."
)


def add_parser(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Register the command."""
    parser = commands.add_parser(
        "budget",
        help="what more money would buy",
        description="The best plan for each of several budgets, and what each step brings.",
        epilog=EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("room", type=Path, metavar="ROOM.toml", help="the room file")
    parser.add_argument("--from", dest="low", type=float, required=True, metavar="A",
                        help="least budget")  # fmt: skip
    parser.add_argument("--to", dest="high", type=float, required=True, metavar="B",
                        help="greatest budget")  # fmt: skip
    parser.add_argument("--steps", type=int, default=12, metavar="N",
                        help="how many budgets, with both ends "
                        "(default %(default)d)")  # fmt: skip
    parser.add_argument("--gap", type=float, default=GAP, metavar="G",
                        help="how near the best possible is near enough, 0.02 = 2 %% "
                        "(default %(default)g)")  # fmt: skip
    add_time_limit(parser)
    parser.add_argument("--variant", action="append", default=[], metavar="NAME",
                        help="a variant of the room file; again for more")  # fmt: skip
    parser.add_argument("--out", type=Path, metavar="DIR",
                        help="folder for budget.csv, .json and .svg")  # fmt: skip
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Load, solve each budget, print, write."""
    effort = Effort.of(arguments.time_limit)
    project = _checked(arguments)
    tell_doubts([project])
    kept = project.set_aside.total
    with ProgressLine() as progress:
        decision = build_decision(project)
        progress.tell(f"planning {arguments.steps} budgets")
        curve = budget_curve(
            decision.effects,
            [max(cents - kept, 0) for cents in _budgets(arguments)],
            arguments.gap,
            effort,
            progress.report,
        )
    if arguments.out is not None:
        texts = (
            as_csv(project, curve, arguments),
            as_json(project, decision, curve, arguments),
            _picture(project, curve, _budgets(arguments)),
        )
        write_folder(arguments.out, dict(zip(FILES, texts, strict=True)))
    say(_printed(project, decision, curve, arguments, effort.guard.cut))
    return 0


def _picture(project: Project, curve: Curve, budgets: list[int]) -> str:
    """The curve as an SVG picture, with the room file's own budget marked where it lies on it."""
    points = money_curve(curve, budgets).points
    amounts, scores = [p.budget for p in points], [p.excess for p in points]
    currency, own = project.scenario.budget.currency, project.budget_cents / 100
    return budget_chart(amounts, scores, currency, own).svg


def _budgets(arguments: argparse.Namespace) -> list[int]:
    """The budgets in cents, evenly spaced."""
    low, high = 100 * arguments.low, 100 * arguments.high
    return [round(float(b)) for b in np.linspace(low, high, arguments.steps)]


def _checked(arguments: argparse.Namespace) -> Project:
    """The project; ScenarioError tells the faults of the options and of the files together."""
    faults = list(_option_faults(arguments))
    sound = not faults
    if arguments.out is not None:
        try:
            check_writable(arguments.out, FILES)
        except ScenarioError as error:
            faults += error.faults
    try:
        project = load_project(arguments.room, variants=arguments.variant)
    except ScenarioError as error:
        faults += error.faults
    else:
        if sound:
            faults += _step_faults(project, arguments)
    if faults:
        raise ScenarioError(faults)
    return project


def _option_faults(arguments: argparse.Namespace) -> Iterator[Fault]:
    low, high = arguments.low, arguments.high
    if not 0 <= low <= 1e9:
        yield Fault("command line", "--from", low, "give an amount from 0 to 1e9")
    if not (0 <= high <= 1e9 and not high <= low):
        yield Fault("command line", "--to", high, "give an amount above --from, up to 1e9")
    if not 2 <= arguments.steps <= MOST_STEPS:
        remedy = f"give a number of budgets from 2 to {MOST_STEPS}"
        yield Fault("command line", "--steps", arguments.steps, remedy)
    if not 0 <= arguments.gap <= 1:
        remedy = "give a share from 0 to 1, such as 0.02 for 2 %"
        yield Fault("command line", "--gap", arguments.gap, remedy)
    yield from time_faults(arguments)


def _step_faults(project: Project, arguments: argparse.Namespace) -> Iterator[Fault]:
    """Steps of at least a cent, above what is kept back from each budget."""
    kept = project.set_aside.total
    budgets = _budgets(arguments)
    second = budgets[1]
    if second <= kept or min(b - a for a, b in pairwise(budgets)) < 1:
        remedy = "the budgets are too close together; take fewer, or a wider range"
        if second <= kept:
            remedy = (
                f"{money(kept, project.scenario.budget.currency)} of each budget is kept back for "
                "deliveries and part-used packs; begin at that or above"
            )
        yield Fault("command line", "--from", arguments.low, remedy)


def _printed(
    project: Project, decision: Decision, curve: Curve, arguments: argparse.Namespace, cut: bool
) -> str:
    currency = project.scenario.budget.currency
    names = list(curve.untreated_groups)
    header = ["budget", "spent", "excess", "at least", "gain per 100", *names]
    first = ["-", "-", f"{curve.untreated:.3f}", "", "",
             *(f"{curve.untreated_groups[n]:.3f}" for n in names)]  # fmt: skip
    rows = [
        [money(budget, currency), money(p.cost_cents, currency), f"{p.score:.3f}",
         f"{p.floor:.3f}", f"{1e4 * p.gain:.3f}", *(f"{p.groups[n]:.3f}" for n in names)]
        for budget, p in zip(_budgets(arguments), curve.points, strict=True)
    ]  # fmt: skip
    changes = [
        [money(budget, currency), *_changes(decision, p)]
        for budget, p in zip(_budgets(arguments), curve.points, strict=True)
    ]
    written = f"Written: {arguments.out}/{', '.join(FILES)}" if arguments.out else ""
    parts = [
        f"{project.scenario.title}: {len(rows)} budgets, weighted excess over the limits "
        "(0 = all met), and its parts",
        text_table(header, [first, *rows], tuple(range(len(header)))),
        text_table(("budget", "comes in", "goes out", "hung elsewhere"), changes, (3,)),
        _kept_in_words(project),
        folded(_enough_in_words(curve, arguments, currency)),
        folded(_proof_in_words(curve, arguments)),
        folded(CUT_OFF) if cut else "",
        written,
    ]
    return "\n\n".join(part for part in parts if part)


def _changes(decision: Decision, point: Point) -> list[str]:
    """Pieces by product that come in and go out, and how many of the others hang elsewhere."""
    enter, leave = (_products(decision, o) for o in (point.enter, point.leave))
    moved = enter & leave
    return [_counted(enter - moved), _counted(leave - moved), str(moved.total() or "")]


def _products(decision: Decision, chosen: Ints) -> Counter[str]:
    return Counter(p.product.name for c in chosen for p in decision.candidates[c].pieces)


def _counted(pieces: Counter[str]) -> str:
    return "; ".join(f"{count} x {name}" for name, count in pieces.items())


def _kept_in_words(project: Project) -> str:
    kept = project.set_aside.total
    if not kept:
        return ""
    amount = money(kept, project.scenario.budget.currency)
    return f"{amount} of each budget is kept back for deliveries and part-used packs."


def _enough_in_words(curve: Curve, arguments: argparse.Namespace, currency: str) -> str:
    if curve.enough is None:
        return f"Rule: {RULE} Here that is past the last budget, if at all."
    return f"Rule: {RULE} Here: past {money(_budgets(arguments)[curve.enough], currency)}."


def _proof_in_words(curve: Curve, arguments: argparse.Namespace) -> str:
    """How many budgets are proven to the gap, and the loosest of the others."""
    late = [p.selection for p in curve.points if p.selection.status != "optimal"]
    proven = f"{len(curve.points) - len(late)} of {len(curve.points)} budgets"
    text = f"Proven within {100 * arguments.gap:g} % of the best possible: {proven}"
    if late:
        widest = 100 * max(s.gap for s in late)
        text += (
            f"; the others at most {widest:.1f} % from it"
            if widest < 100
            else "; nothing is proven of the others"
        )
    seconds = sum(p.selection.seconds for p in curve.points)
    return (
        f'{text} ({seconds:.0f} s). No plan of a budget can have less excess than "at least"; '
        "differences within the gap say nothing. By the quick models, without the fuller ones of "
        "`treatment plan`."
    )


def as_csv(project: Project, curve: Curve, arguments: argparse.Namespace) -> str:
    """One row per budget (RFC 4180), amounts with two decimals."""
    names = list(curve.untreated_groups)
    header = ["budget", "spent", "currency", "excess", "at_least", "gap", "status", "gain_per_100"]
    rows = [header + [f"excess_{name.replace(' ', '_')}" for name in names]]
    for budget, point in zip(_budgets(arguments), curve.points, strict=True):
        amounts = [f"{cents / 100:.2f}" for cents in (budget, point.cost_cents)]
        figures = [point.score, point.floor, point.selection.gap]
        parts = [1e4 * point.gain, *(point.groups[n] for n in names)]
        rows.append([*amounts, project.scenario.budget.currency,
                     *(f"{x:.6f}" for x in figures), point.selection.status,
                     *(f"{x:.6f}" for x in parts)])  # fmt: skip
    return csv_text(rows)


def as_json(
    project: Project, decision: Decision, curve: Curve, arguments: argparse.Namespace
) -> str:
    """Everything, with every piece that comes in or goes out and where it hangs."""
    read = money_curve(curve, _budgets(arguments))
    content = {
        "room": project.scenario.title,
        "made_from": made_from(project),
        "currency": project.scenario.budget.currency,
        "gap_asked": arguments.gap,
        "kept_back": project.set_aside.total / 100,
        "untreated": {"excess": curve.untreated, "parts": curve.untreated_groups},
        "rule": RULE,
        "little_past": read.little_past,
        "points": [
            asdict(figures) | _point(project, decision, point)
            for figures, point in zip(read.points, curve.points, strict=True)
        ],
    }
    return json.dumps(content, indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def _point(project: Project, decision: Decision, point: Point) -> dict[str, object]:
    """What a point has besides its figures."""
    selection = point.selection
    return {
        "objective": selection.objective,
        "bound": selection.bound,
        "gap": selection.gap,
        "status": selection.status,
        "parts": point.groups,
        "comes_in": _pieces(project, decision, point.enter),
        "goes_out": _pieces(project, decision, point.leave),
    }


def _pieces(project: Project, decision: Decision, chosen: Ints) -> list[dict[str, str]]:
    """Products and places of the pieces of candidates, in the person's own room."""
    pieces: list[Piece] = [p for c in chosen for p in decision.candidates[c].pieces]
    if decision.flipped:
        pieces = [mirrored_piece(p, decision.project.room, project.room) for p in pieces]
    return [{"product": p.product.id, "where": place_in_words(p, project.room)} for p in pieces]
