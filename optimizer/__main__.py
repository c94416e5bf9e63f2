"""Where `treatment` starts: Ctrl-C ends it quietly from the first moment, imports included."""

import sys

from optimizer import until_ready
from optimizer.cli import INTERRUPTED, main


def run() -> int:
    """The command line, which handles Ctrl-C itself until all is done."""
    try:
        until_ready.over()
        return main()
    except KeyboardInterrupt:  # in the moment before, or once more after
        return INTERRUPTED
    finally:
        until_ready.again()


if __name__ == "__main__":
    sys.exit(run())
