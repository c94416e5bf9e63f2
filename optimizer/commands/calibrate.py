"""`treatment calibrate`: correct a room's coefficients by decay measured in it."""

import argparse
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from optimizer.calibration import telling as tell
from optimizer.calibration.checks import doubts
from optimizer.calibration.fit import Calibration, calibrate
from optimizer.calibration.measured import Measured, mean_decay, read_any
from optimizer.calibration.model import State
from optimizer.calibration.writing import MARK, materials_csv, own_rows, room_toml
from optimizer.commands.printing import ProgressLine, say, tell_doubts
from optimizer.faults import Fault, ScenarioError, shown_name
from optimizer.placement.pieces import Piece
from optimizer.project import Project, load_project
from optimizer.results.output import check_writable, write_folder
from optimizer.results.planfile import read_pieces
from optimizer.results.tables import markdown_table, markdown_text, text_table
from optimizer.room.reading import read_text

MOST_CHANGES = 12
EPILOG = """\
examples:
  treatment calibrate room.toml --measured decay.csv --out room_calibrated.toml
  treatment calibrate room.toml --measured before.csv \\
      --measured after_1.wav after_2.wav --with plan/plan.json --out room_calibrated.toml

Each --measured is one state of the room: a table band_hz,t20_s[,t30_s][,spread_s][,positions], or
impulse responses, several of them averaged. The --with (pieces that hung then) and --as (a variant
of the room file, for other areas or furniture) after it belong to that state. States are fitted
together. Beside CALIBRATED.toml stand its materials table and a report; the room file itself stays
as it is. Pieces that hung in the last state are written down as [[hung]]: they stay in later plans.
"""


@dataclass
class Stated:
    """One state as named on the command line."""

    files: list[Path]
    plan: Path | None = None
    variant: str | None = None


@dataclass
class _Inputs:
    project: Project
    states: list[State] = field(default_factory=list)
    hung: tuple[Piece, ...] = ()


class _Measured(argparse.Action):
    def __call__(
        self,
        parser: argparse.ArgumentParser,
        namespace: argparse.Namespace,
        values: object,
        option_string: str | None = None,
    ) -> None:
        """Begin a state."""
        assert isinstance(values, list)
        namespace.states = [*(namespace.states or []), Stated(list(values))]


class _OfState(argparse.Action):
    def __call__(
        self,
        parser: argparse.ArgumentParser,
        namespace: argparse.Namespace,
        values: object,
        option_string: str | None = None,
    ) -> None:
        """Add to the state last begun."""
        if not namespace.states:
            parser.error(f"{option_string} comes after the --measured it belongs to")
        setattr(namespace.states[-1], self.dest, values)


def add_parser(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Register the command."""
    parser = commands.add_parser(
        "calibrate",
        help="correct a room's materials by decay measured in it",
        description="Find the coefficients that explain the decay measured in a room.",
        epilog=EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("room", type=Path, metavar="ROOM.toml", help="the room file")
    parser.add_argument("--measured", dest="states", action=_Measured, nargs="+", type=Path,
                        required=True, metavar="FILE",
                        help="decay table or impulse responses of one state")  # fmt: skip
    parser.add_argument("--with", dest="plan", action=_OfState, type=Path, metavar="plan.json",
                        default=argparse.SUPPRESS, help="what hung in that state")  # fmt: skip
    parser.add_argument("--as", dest="variant", action=_OfState, metavar="VARIANT",
                        default=argparse.SUPPRESS,
                        help="the variant of the room file it was")  # fmt: skip
    parser.add_argument("--out", type=Path, required=True, metavar="CALIBRATED.toml",
                        help="the calibrated room file, beside the room file")  # fmt: skip
    parser.add_argument("--fast", action="store_true",
                        help="leave the wave equation out, as in `plan --fast`")  # fmt: skip
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Load, fit, doubt, write, print."""
    inputs = _checked(arguments)
    tell_doubts([inputs.project])
    with ProgressLine("fitting the coefficients"):
        found = calibrate(inputs.states)
    reasons = doubts(found)
    if reasons:
        raise ScenarioError(reasons)
    names = _names(arguments.out)
    write_folder(arguments.out.parent, dict(zip(names, _texts(found, inputs, names), strict=True)))
    say(_printed(found, inputs, arguments.out.parent, names))
    return 0


def _names(out: Path) -> tuple[str, str, str]:
    return out.name, f"{out.stem}_materials.csv", f"{out.stem}_report.md"


def _checked(arguments: argparse.Namespace) -> _Inputs:
    """States as they were; ScenarioError tells the faults of options and files together."""
    faults = list(_out_faults(arguments.room, arguments.out))
    try:
        inputs = _Inputs(load_project(arguments.room))
    except ScenarioError as error:
        files = [path for stated in arguments.states for path in stated.files]
        raise ScenarioError([*faults, *error.faults, *_read(files)[1]]) from None
    for number, stated in enumerate(arguments.states, start=1):
        try:
            state = _state(arguments, inputs, stated, number)
        except ScenarioError as error:
            faults += error.faults
        else:
            inputs.states.append(state)
            inputs.hung = state.pieces[len(inputs.project.hung) :]
    if faults:
        raise ScenarioError(faults)
    return inputs


def _state(arguments: argparse.Namespace, inputs: _Inputs, stated: Stated, number: int) -> State:
    project = inputs.project
    if stated.variant is not None:
        project = load_project(arguments.room, variants=(stated.variant,))
    pieces: list[Piece] = []
    if stated.plan is not None:
        pieces = read_pieces(stated.plan, project.room, project.products)
    name = stated.variant or (f"with {stated.plan}" if stated.plan else f"state {number}")
    return State(
        name=name,
        room=project.room,
        pieces=(*project.hung, *pieces),
        measured=_measured(stated.files),
        judges=project.judges("fast" if arguments.fast else "full"),
        edge_effect=project.scenario.models.edge_effect,
    )


def _measured(files: Sequence[Path]) -> Measured:
    parts, faults = _read(files)
    if faults:
        raise ScenarioError(faults)
    return mean_decay(parts)


def _read(files: Sequence[Path]) -> tuple[list[Measured], list[Fault]]:
    """What was measured, and the faults of all files."""
    parts: list[Measured] = []
    faults: list[Fault] = []
    for path in files:
        try:
            parts.append(read_any(path))
        except ScenarioError as error:
            faults += error.faults
    return parts, faults


def _out_faults(room: Path, out: Path) -> Iterator[Fault]:
    if out.suffix != ".toml":
        yield Fault("command line", "--out", str(out), "name a room file, ending in .toml")
        return
    if out.resolve().parent != room.resolve().parent:
        remedy = "must lie beside the room file, whose price list it names; choose another place"
        yield Fault("command line", "--out", str(out), remedy)
        return
    for name in _names(out):
        path = out.parent / name
        if path.exists() and not _ours(path):
            remedy = "is there already and not from a calibration; choose another name"
            yield Fault("command line", "--out", str(path), remedy)
    try:
        check_writable(out.parent, _names(out))
    except ScenarioError as error:
        yield from error.faults


def _ours(path: Path) -> bool:
    """Whether a file was written here: of the three, the room file says so."""
    room = path.with_name(path.name.removesuffix("_materials.csv").removesuffix("_report.md"))
    try:
        return read_text(room.with_suffix(".toml"), "room file").startswith(MARK)
    except ScenarioError:
        return False


def _texts(found: Calibration, inputs: _Inputs, names: tuple[str, str, str]) -> tuple[str, ...]:
    path = inputs.project.scenario.path
    files = ", ".join(name for state in found.states for name in state.measured.files)
    note = f"materials of {shown_name(path)} corrected by {files}".replace("\n", " ")
    room = room_toml(read_text(path, "room file (TOML)"), names[1], inputs.hung, note, found)
    own = own_rows(inputs.project.scenario.materials_path)
    return room, materials_csv(found, own), _report(found, inputs)


def _report(found: Calibration, inputs: _Inputs) -> str:
    decay = markdown_table(tell.DECAY_HEADER, tell.decay_rows(found), tell.DECAY_RIGHT)
    changes = markdown_table(tell.CHANGE_HEADER, tell.change_rows(found), tell.CHANGE_RIGHT)
    return (
        f"# Calibration of {markdown_text(inputs.project.scenario.title)}\n\n"
        f"{tell.summary(found)}\n\n"
        f"## Decay\n\n{decay}\n\n## Coefficients that changed\n\n"
        f"By at least a quarter of their uncertainty; the rest is in the materials table.\n\n"
        f"{changes}\n"
    )


def _printed(found: Calibration, inputs: _Inputs, folder: Path, names: tuple[str, str, str]) -> str:
    changes = tell.change_rows(found, MOST_CHANGES)
    parts = [
        f"{inputs.project.scenario.title}: {len(found.states)} state(s) measured",
        text_table(tell.DECAY_HEADER, tell.decay_rows(found), tell.DECAY_RIGHT),
        text_table(tell.CHANGE_HEADER, changes, tell.CHANGE_RIGHT)
        if changes
        else "No coefficient moved by a quarter of its uncertainty.",
        tell.summary(found),
        f"Written: {folder / names[0]}, {names[1]}, {names[2]}",
        f"To plan with it: treatment plan {folder / names[0]} --out DIR; --earlier plan.json keeps "
        "a plan that is at hand unless a better one is found",
    ]
    return "\n\n".join(parts)
