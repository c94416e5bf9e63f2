"""Where `treatment` starts: Ctrl-C ends it quietly from the first moment, imports included."""

import sys

from optimizer import until_ready
from optimizer.cli import main


def run() -> int:
    """The command line, which from here on handles Ctrl-C itself."""
    until_ready.over()
    return main()


if __name__ == "__main__":
    sys.exit(run())
