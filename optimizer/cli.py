"""The command line: `treatment COMMAND ...`."""

import argparse
import sys
from collections.abc import Sequence

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
from optimizer.faults import ScenarioError, UntrustedSolutionError

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
OWN_FAULT = 1
BAD_INPUT = 2
INTERRUPTED = 130


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
    """Run a command; exit code 0, 2 when something a person wrote cannot be used, or 1 when what
    was solved cannot be trusted."""
    arguments = build_parser().parse_args(argv)
    try:
        # Models run side by side; linear algebra that spreads over all processors slows them down.
        with threadpool_limits(1, user_api="blas"):
            return int(arguments.run(arguments))
    except ScenarioError as error:
        for fault in error.faults:
            print(fault, file=sys.stderr)
        return BAD_INPUT
    except UntrustedSolutionError as error:
        said = "the solution cannot be trusted and nothing was written"
        print(
            f"{said}; this is a fault of the program, not of your files: {error}", file=sys.stderr
        )
        return OWN_FAULT
    except BrokenPipeError:
        return 0
    except KeyboardInterrupt:
        print("stopped; nothing was written", file=sys.stderr)
        return INTERRUPTED


if __name__ == "__main__":
    sys.exit(main())
