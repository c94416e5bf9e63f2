"""What the commands print, and the line that shows long work going on."""

import math
import sys
from collections.abc import Iterable
from types import TracebackType
from typing import TYPE_CHECKING, Self

from optimizer.streams import show, tell

if TYPE_CHECKING:  # a command that only prints does not wait for the solver to load
    from optimizer.placement.solver import Progress
    from optimizer.project import Project


def say(text: str) -> None:
    """Print a text and a line's end to standard output; see optimizer.streams for its troubles."""
    show(f"{text}\n")


def tell_doubts(projects: "Iterable[Project]") -> None:
    """Print what is unlikely in rooms and price lists to standard error, each once."""
    doubts = dict.fromkeys(doubt for project in projects for doubt in project.doubts)
    for doubt in doubts:
        tell(f"note: {doubt}\n")


class ProgressLine:
    """One line on standard error, rewritten while work goes on; when it is not a terminal, a line
    for each step and one every few seconds of a search.
    """

    def __init__(self, first: str = "looking for places and building the program") -> None:
        self._live = sys.stderr.isatty()
        self._first = first
        self._last = -math.inf
        self._length = 0  # of what stands on the line
        self._pause = 0.5 if self._live else 5.0

    def __enter__(self) -> Self:
        self.tell(self._first)
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        if self._live:
            tell("\n")

    def report(self, progress: "Progress") -> None:
        """Show where the search stands."""
        if 0 <= progress.seconds - self._last < self._pause:
            return
        self._last = progress.seconds
        known = progress.bound > 0.0
        least = f"cannot be below {_figure(progress.bound)}" if known else "no bound proven yet"
        self._write(
            f"{progress.seconds:5.0f} s  best so far {_figure(progress.objective)}, {least}"
        )

    def tell(self, text: str) -> None:
        """Say what is going on."""
        self._write(f"{text} ...")

    def _write(self, text: str) -> None:
        if not self._live:
            tell(f"{text}\n")
            return
        tell(text.ljust(self._length), start="\r")
        self._length = len(text)


def _figure(value: float) -> str:
    return f"{value:.4f}" if math.isfinite(value) and abs(value) < 1e20 else "unknown"
