"""`treatment measure`: figures of a room from recorded impulse responses."""

import argparse
from collections.abc import Iterator, Sequence
from pathlib import Path

from optimizer.commands.printing import ProgressLine, say
from optimizer.faults import Fault, ScenarioError
from optimizer.measurement import tellings as tell
from optimizer.measurement.filters import OCTAVES, THIRDS
from optimizer.measurement.guide import measuring_guide
from optimizer.measurement.recording import read_impulse_responses
from optimizer.measurement.session import Measurement, level_differences, measure
from optimizer.results.output import check_writable, write_folder
from optimizer.results.tables import folded, text_table

EPILOG = """\
examples:
  treatment measure seat.wav
  treatment measure left.wav right.wav --at seat --from left right --json seat.json
  treatment measure recorded.wav --reference sweep.wav --third-octaves
  treatment measure --guide

A word instead of a number says why there is none; the lines below the table say it in full.
--guide also says what each column means.
"""
MEANING = "What the columns and words mean: treatment measure --guide"


def add_parser(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Register the command."""
    parser = commands.add_parser(
        "measure",
        help="decay, clarity, early arrivals and bass from recorded impulse responses",
        description="Evaluate recorded impulse responses, or sweeps with their reference.",
        epilog=EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("files", type=Path, nargs="*", metavar="FILE.wav",
                        help="recordings, one per microphone place and speaker")  # fmt: skip
    parser.add_argument("--channel", type=int, metavar="N",
                        help="channel of the microphone, from 1")  # fmt: skip
    parser.add_argument("--reference", type=Path, metavar="SWEEP.wav",
                        help="the sweep played, if the files are recordings of it")  # fmt: skip
    parser.add_argument("--third-octaves", action="store_true", help="instead of octaves")
    parser.add_argument("--at", nargs="+", default=[], metavar="SEAT",
                        help="where the microphone was: one name, or one per file")  # fmt: skip
    parser.add_argument("--from", dest="speakers", nargs="+", default=[], metavar="SPEAKER",
                        help="which speaker played: one name, or one per file")  # fmt: skip
    parser.add_argument("--json", type=Path, metavar="FILE", help="write everything as JSON")
    parser.add_argument("--csv", type=Path, metavar="FILE", help="write every figure as CSV")
    parser.add_argument("--guide", action="store_true", help="print how to measure, and stop")
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Read, evaluate, write, print."""
    if arguments.guide:
        say(measuring_guide())
        return 0
    measurements = _measured(arguments)
    written, sets = [], dict[Path, dict[str, str]]()
    for path, write in ((arguments.json, tell.as_json), (arguments.csv, tell.as_csv)):
        if path is not None:
            sets.setdefault(path.parent, {})[path.name] = write(measurements)
            written.append(str(path))
    for folder, files in sets.items():
        write_folder(folder, files)
    parts = [*_each(measurements), *_together(measurements)]
    parts.append(MEANING)
    if written:
        parts.append(f"Written: {', '.join(written)}")
    say("\n\n".join(parts))
    return 0


def _measured(arguments: argparse.Namespace) -> list[Measurement]:
    """All recordings evaluated; ScenarioError tells faults of options and files together."""
    files: list[Path] = arguments.files
    faults = list(_option_faults(arguments))
    recordings = []
    try:
        recordings = read_impulse_responses(files, arguments.channel, arguments.reference)
    except ScenarioError as error:
        faults += error.faults
    if faults:
        raise ScenarioError(faults)
    bands = THIRDS if arguments.third_octaves else OCTAVES
    seats, speakers = (_spread(names, len(files)) for names in (arguments.at, arguments.speakers))
    measured = []
    with ProgressLine("reading the recordings") as progress:
        for recording, seat, speaker in zip(recordings, seats, speakers, strict=True):
            progress.tell(f"evaluating {recording.path.name}")
            measured.append(measure(recording, bands, seat, speaker))
    return measured


def _spread(names: Sequence[str], count: int) -> Sequence[str]:
    """One name for each file."""
    return names if len(names) == count else (list(names) or [""]) * count


def _option_faults(arguments: argparse.Namespace) -> Iterator[Fault]:
    files: list[Path] = arguments.files
    if not files:
        remedy = "name at least one recording, or ask for --guide"
        yield Fault("command line", "FILE.wav", None, remedy)
    for option, names in (("--at", arguments.at), ("--from", arguments.speakers)):
        if len(names) not in (0, 1, len(files)):
            remedy = f"give one name, or one for each file (here {len(files)})"
            yield Fault("command line", option, " ".join(names), remedy)
    outputs = [path for path in (arguments.json, arguments.csv) if path is not None]
    inputs = {path.resolve() for path in (*files, arguments.reference) if path is not None}
    for path in outputs:
        if path.resolve() in inputs:
            yield Fault("command line", str(path), None, "would overwrite a recording")
        try:
            check_writable(path.parent, [path.name])
        except ScenarioError as error:
            yield from error.faults
    if len({path.resolve() for path in outputs}) < len(outputs):
        yield Fault("command line", "--csv", str(outputs[1]), "is the same file as --json")


def _each(measurements: Sequence[Measurement]) -> Iterator[str]:
    for m in measurements:
        right = tuple(range(1, len(tell.HEADER)))
        yield f"{tell.title(m)}\n{text_table(tell.HEADER, tell.figure_rows(m), right)}"
        remarks = tell.remarks(m)
        if remarks:
            yield folded("\n".join(remarks))
        yield _arrivals(m)


def _arrivals(m: Measurement) -> str:
    head = "Early arrivals"
    if m.arrivals.reason:
        return f"{head}: not evaluated, {m.arrivals.reason.text}"
    rows = tell.arrival_rows(m)
    if not rows:
        return f"{head}: none above {m.arrivals.faintest_db:.0f} dB re the direct sound"
    return f"{head} ({tell.arrival_limit()})\n{text_table(tell.ARRIVAL_HEADER, rows, (0, 1, 2))}"


def _together(measurements: Sequence[Measurement]) -> Iterator[str]:
    """What is told of all recordings at once."""
    if len(measurements) > 1:
        right = tuple(range(1, len(tell.MEAN_HEADER)))
        table = text_table(tell.MEAN_HEADER, tell.mean_rows(measurements), right)
        yield f"Mean ± spread (of how many) of {len(measurements)} recordings\n{table}"
    differences = level_differences(measurements)
    if differences:
        rows = tell.difference_rows(differences, measurements[0])
        right = tuple(range(1, len(differences) + 1))
        table = text_table(tell.difference_header(differences), rows, right)
        yield f"Level between speakers (same gain assumed)\n{table}"
    header, rows = tell.low_rows(measurements)
    table = text_table(header, rows, tuple(range(len(header))))
    lines = [f"{m.recording.path.name}: {tell.low_extremes(m)}" for m in measurements]
    head = "Low frequencies, dB re the median of 20 to 300 Hz, speaker and room together"
    yield f"{head}\n{table}\n" + folded("\n".join(lines))
