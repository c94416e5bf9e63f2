"""The command line: `treatment COMMAND ...`."""

import argparse
import signal
import sys
import threading
from collections.abc import Iterator, Sequence
from contextlib import contextmanager

from threadpoolctl import threadpool_limits

from optimizer.commands import (
    budget,
    calibrate,
    compare,
    materials,
    measure,
    new,
    plan,
    positions,
    predict,
    report,
    why,
)
from optimizer.faults import ScenarioError
from optimizer.results import output

DESCRIPTION = """\
From a room file, a price list and a budget: which acoustic treatment to buy, exactly where to put
it, and how much better the room will then be.
"""
COMMANDS = (
    new,
    positions,
    plan,
    predict,
    report,
    compare,
    why,
    budget,
    measure,
    calibrate,
    materials,
)
BAD_INPUT = 2
INTERRUPTED = 130
TERMINATED = 143


class Terminated(KeyboardInterrupt):
    """Another program asked this one to end (SIGTERM); heeded like Ctrl-C."""


def build_parser() -> argparse.ArgumentParser:
    """The parser of all commands."""
    parser = argparse.ArgumentParser(
        prog="treatment",
        description=DESCRIPTION,
        epilog="`treatment COMMAND --help` explains each command with examples.",
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    commands = parser.add_subparsers(dest="command", required=True, metavar="COMMAND")
    for command in COMMANDS:
        command.add_parser(commands)
    return parser


def main(argv: Sequence[str] | None = None) -> int:
    """Run a command; exit code 0, or 2 when something a person wrote cannot be used."""
    before = len(output.written)
    try:
        with _ending_on_request():
            arguments = build_parser().parse_args(argv)
            # Models run side by side; linear algebra on all processors slows them down.
            with threadpool_limits(1, user_api="blas"):
                return int(arguments.run(arguments))
    except ScenarioError as error:
        for fault in error.faults:
            print(fault, file=sys.stderr)
        return BAD_INPUT
    except BrokenPipeError:
        return 0
    except KeyboardInterrupt as stop:
        folders = ", ".join(str(folder) for folder in output.written[before:])
        done = (
            f"the files in {folders} had been written whole" if folders else "nothing was written"
        )
        print(f"stopped; {done}", file=sys.stderr)
        return TERMINATED if isinstance(stop, Terminated) else INTERRUPTED


@contextmanager
def _ending_on_request() -> Iterator[None]:
    """SIGTERM is an exception like Ctrl-C within the block, unless it is ignored."""
    usual = signal.getsignal(signal.SIGTERM) is signal.SIG_DFL
    if not usual or threading.current_thread() is not threading.main_thread():
        yield
        return

    def end(number: int, frame: object) -> None:
        raise Terminated

    signal.signal(signal.SIGTERM, end)
    try:
        yield
    finally:
        signal.signal(signal.SIGTERM, signal.SIG_DFL)


if __name__ == "__main__":
    sys.exit(main())
