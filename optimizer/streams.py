"""The standard streams when they are closed, full or left by their reader: no traceback.

OutputLost               standard output cannot be written; its text is one line that says why
"""

import os
import sys
from typing import Literal, TextIO

from optimizer.plain_text import shown


class OutputLost(Exception):  # noqa: N818 - reads as what went wrong
    """What was to be shown could not be."""


def open_missing() -> bool:
    """Put the null device in the place of closed streams; False when standard output was closed.

    Their numbers are taken too, lest a file that is opened later gets one of them.
    """
    for number in (0, 1, 2):
        try:
            os.fstat(number)
        except OSError:
            os.open(os.devnull, os.O_RDWR)  # takes the lowest free number
    # A closed stream is None, whatever the type checker's library says.
    if sys.stdin is None:
        sys.stdin = _nowhere("r")
    if sys.stderr is None:
        sys.stderr = _nowhere("w")
    if sys.stdout is not None:
        return True
    sys.stdout = _nowhere("w")
    return False


def _nowhere(mode: Literal["r", "w"]) -> TextIO:
    raw = os.open(os.devnull, os.O_RDONLY if mode == "r" else os.O_WRONLY)
    return open(raw, mode, encoding="utf-8")


def show(text: str) -> None:
    """Put text on standard output, with characters the terminal lacks, or that steer it, replaced.

    A reader that has gone away (`| head`) is no fault: the rest is dropped. OutputLost when it
    cannot be written for another reason (a full disk).
    """
    _write(text, sys.stdout)


def tell(text: str, start: str = "") -> None:
    """Put text on standard error, as `show`, after a `start` that may steer the terminal; where
    that fails there is nobody left to tell."""
    try:
        _write(text, sys.stderr, start)
    except OutputLost:
        return


def _write(text: str, stream: TextIO, start: str = "") -> None:
    encoding = stream.encoding or "utf-8"
    try:
        stream.write(start + shown(text).encode(encoding, errors="replace").decode(encoding))
        stream.flush()
    except OSError as error:
        # Python flushes once more at its end: let that go nowhere instead of failing.
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, stream.fileno())
        os.close(nowhere)
        if not isinstance(error, BrokenPipeError):
            raise OutputLost(f"standard output cannot be written ({error.strerror})") from None
