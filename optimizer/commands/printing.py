"""What the commands print, and the line that shows a long solve at work."""

import math
import sys
from types import TracebackType
from typing import Self

from optimizer.placement.solver import Progress


def say(text: str) -> None:
    """Print to standard output, with characters the terminal lacks replaced."""
    encoding = sys.stdout.encoding or "utf-8"
    print(text.encode(encoding, errors="replace").decode(encoding))


class ProgressLine:
    """One line on standard error, rewritten while the solver runs; silent when not a terminal
    except for a line every few seconds.
    """

    def __init__(self) -> None:
        self._live = sys.stderr.isatty()
        self._last = -math.inf
        self._pause = 0.5 if self._live else 5.0

    def __enter__(self) -> Self:
        self._write("looking for places and building the program ...")
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        if self._live:
            print(file=sys.stderr)

    def report(self, progress: Progress) -> None:
        """Show where the solve stands."""
        if progress.seconds - self._last < self._pause:
            return
        self._last = progress.seconds
        best = progress.objective
        text = f"{progress.seconds:5.0f} s  best so far {_figure(best)}, cannot be below "
        self._write(text + _figure(max(progress.bound, 0.0)))

    def tell(self, text: str) -> None:
        """Say what is going on."""
        self._write(f"{text} ...")

    def _write(self, text: str) -> None:
        end = "" if self._live else "\n"
        start = "\r\x1b[K" if self._live else ""
        print(start + text, end=end, file=sys.stderr, flush=True)


def _figure(value: float) -> str:
    return f"{value:.4f}" if math.isfinite(value) and abs(value) < 1e20 else "unknown"
