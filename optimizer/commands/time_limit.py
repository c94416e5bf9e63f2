"""The option --time-limit: a guard over a whole command."""

import argparse
import math
from collections.abc import Iterator

from optimizer.faults import Fault
from optimizer.planning import DEFAULT_TIME_LIMIT


def add_time_limit(parser: argparse.ArgumentParser) -> None:
    """The option."""
    parser.add_argument("--time-limit", type=float, default=DEFAULT_TIME_LIMIT, metavar="S",
                        help="a guard: seconds for the whole command, which is said to be cut off "
                        "when they are over (default %(default)g)")  # fmt: skip


def time_faults(arguments: argparse.Namespace) -> Iterator[Fault]:
    """What is wrong with --time-limit."""
    seconds = arguments.time_limit
    if not (seconds > 0 and math.isfinite(seconds)):
        remedy = "give a number of seconds above 0, such as 600"
        yield Fault("command line", "--time-limit", seconds, remedy)
