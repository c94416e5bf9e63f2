"""Where `treatment` starts: Ctrl-C ends it quietly from the first moment, imports included."""

import sys

from optimizer import until_ready
from optimizer.cli import INTERRUPTED, NOT_SHOWN, parsed, perform
from optimizer.streams import OutputLost, open_missing, show, tell


def run() -> int:
    """The command line; Ctrl-C is handled by it from when the command asked for is loaded."""
    try:
        return _run()
    except KeyboardInterrupt:  # in the moment before, or once more after
        return INTERRUPTED
    finally:
        until_ready.again()


def _run() -> int:
    if not open_missing():
        tell("standard output is closed; let it go to a file, or to /dev/null\n")
        return NOT_SHOWN
    try:
        arguments = parsed()
    except SystemExit:
        try:
            show("")  # what help has written
        except OutputLost as lost:
            tell(f"{lost}\n")
            return NOT_SHOWN
        raise
    until_ready.over()
    return perform(arguments)


if __name__ == "__main__":
    sys.exit(run())
