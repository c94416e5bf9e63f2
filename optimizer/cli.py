"""The command line: `treatment COMMAND ...`. A command's module is loaded when it is asked for."""

import argparse
import re
import signal
import sys
import threading
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from importlib import import_module

from optimizer.faults import ScenarioError, UntrustedSolutionError
from optimizer.results import output
from optimizer.streams import OutputLost, tell
from optimizer.together import one_thread_each

DESCRIPTION = """\
From a room file, a price list and a budget: which acoustic treatment to buy, exactly where to put
it, and how much better the room will then be.
"""
# Each command and its line in the list; its module in optimizer.commands has the same name.
COMMANDS = {
    "new": "write a room file by answering questions",
    "positions": "where to sit, and where the loudspeakers go",
    "plan": "what to buy and where to put it, for a budget",
    "predict": "score card of a room as it is, or with a plan",
    "report": "a plan as one page to read and print",
    "compare": "variants of a room, or several plans, side by side",
    "why": "what each piece of a plan is for, and what stands in the way of more",
    "budget": "what more money would buy",
    "measure": "decay, clarity, early arrivals and bass from recorded impulse responses",
    "calibrate": "correct a room's materials by decay measured in it",
    "materials": "search the absorption table, with sources",
}
OWN_FAULT = 1
BAD_INPUT = 2
NOT_SHOWN = 1
INTERRUPTED = 130
TERMINATED = 143
_NO_VALUE = re.compile(r"(--[\w-]+)=--$")


class Terminated(KeyboardInterrupt):
    """Another program asked this one to end (SIGTERM); heeded like Ctrl-C."""


def build_parser(argv: Sequence[str]) -> argparse.ArgumentParser:
    """The parser of all commands; options are known of the one that `argv` asks for."""
    parser = argparse.ArgumentParser(
        prog="treatment",
        description=DESCRIPTION,
        epilog="`treatment COMMAND --help` explains each command with examples.",
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    commands = parser.add_subparsers(dest="command", required=True, metavar="COMMAND")
    asked = next((word for word in argv if not word.startswith("-")), "")
    for name, help_line in COMMANDS.items():
        if name == asked:
            import_module(f"optimizer.commands.{name}").add_parser(commands)
        else:
            commands.add_parser(name, help=help_line)
    return parser


def parsed(argv: Sequence[str] | None = None) -> argparse.Namespace:
    """What was asked for, with the function that does it; SystemExit after help or bad usage."""
    words = sys.argv[1:] if argv is None else argv
    parser = build_parser(words)
    for word in words:
        if empty := _NO_VALUE.match(word):  # a traceback in argparse before Python 3.13
            parser.error(f"argument {empty[1]}: expected a value, not --")
    return parser.parse_args(words)


def perform(arguments: argparse.Namespace) -> int:
    """Run a command; exit code 0, 2 when something a person wrote cannot be used, or 1 when what
    was solved cannot be trusted or what is to be shown cannot be."""
    before = len(output.written)
    try:
        with _ending_on_request(), one_thread_each():
            return int(arguments.run(arguments))
    except ScenarioError as error:
        for fault in error.faults:
            tell(f"{fault}\n")
        return BAD_INPUT
    except UntrustedSolutionError as error:
        said = "the solution cannot be trusted and nothing was written"
        tell(f"{said}; this is a fault of the program, not of your files: {error}\n")
        return OWN_FAULT
    except OutputLost as error:
        tell(f"{error}\n")
        return NOT_SHOWN
    except KeyboardInterrupt as stop:
        folders = ", ".join(str(folder) for folder in output.written[before:])
        done = (
            f"the files in {folders} had been written whole" if folders else "nothing was written"
        )
        tell(f"stopped; {done}\n")
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


def main(argv: Sequence[str] | None = None) -> int:
    """The command line as a function; SystemExit after help or bad usage."""
    return perform(parsed(argv))
