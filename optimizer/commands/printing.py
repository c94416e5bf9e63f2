"""What the commands print, and the line that shows long work going on."""

import math
import os
import sys
from collections.abc import Iterable
from types import TracebackType
from typing import Self, TextIO

from optimizer.placement.solver import Progress
from optimizer.plain_text import shown
from optimizer.project import Project


def say(text: str) -> None:
    """Print to standard output, with characters the terminal lacks, and those that would steer
    it, replaced.

    A reader that has gone away (`| head`) is no fault: the rest is dropped.
    """
    _print(text, sys.stdout, "\n")


def _print(text: str, stream: TextIO, end: str, start: str = "") -> None:
    encoding = stream.encoding or "utf-8"
    plain = shown(text).encode(encoding, errors="replace").decode(encoding)
    try:
        print(start + plain, end=end, file=stream, flush=True)
    except BrokenPipeError:
        # Python flushes once more at its end: let that go nowhere instead of failing.
        os.dup2(os.open(os.devnull, os.O_WRONLY), stream.fileno())


def tell_doubts(projects: Iterable[Project]) -> None:
    """Print what is unlikely in rooms and price lists to standard error, each once."""
    doubts = dict.fromkeys(doubt for project in projects for doubt in project.doubts)
    for doubt in doubts:
        _print(f"note: {doubt}", sys.stderr, "\n")


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
            _print("", sys.stderr, "\n")

    def report(self, progress: Progress) -> None:
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
            _print(text, sys.stderr, "\n")
            return
        _print(text.ljust(self._length), sys.stderr, "", "\r")
        self._length = len(text)


def _figure(value: float) -> str:
    return f"{value:.4f}" if math.isfinite(value) and abs(value) < 1e20 else "unknown"
