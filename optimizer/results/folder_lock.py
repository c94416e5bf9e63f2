"""One writer at a time in a folder, by a lock that ends with its process, and undisturbed."""

import errno
import os
import signal
import socket
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from optimizer.faults import Fault, ScenarioError

if sys.platform != "win32":
    import fcntl

LOCK_FILE = ".treatment-lock"  # only where a folder itself cannot be locked
LONGEST_WAIT = 60.0  # s; writing takes a fraction of a second
_PAUSE = 0.02  # s between two tries


@contextmanager
def locked(folder: Path, longest_wait: float | None = None) -> Iterator[None]:
    """No other run writes into the folder, which is there, until the end.

    Waits at most so many seconds (LONGEST_WAIT) for another run; then ScenarioError. OSError when
    the folder cannot be opened and no file made in it.
    """
    until = time.monotonic() + (LONGEST_WAIT if longest_wait is None else longest_wait)
    take = _take_folder
    while True:
        try:
            held = take(folder)
        except OSError:
            if take is _take_file:
                raise
            take = _take_file
            continue
        if held is not None:
            break
        if time.monotonic() >= until:
            remedy = "is being written by another run; wait for its end or choose another folder"
            raise ScenarioError([Fault(str(folder), "", None, remedy)])
        time.sleep(_PAUSE)
    try:
        yield
    finally:
        if take is _take_file:
            with suppress(OSError):  # where the system has removed it already
                os.unlink(folder / LOCK_FILE)
        os.close(held)


def _take_folder(folder: Path) -> int | None:
    """The folder open and locked; None while another holds it; OSError where that cannot be."""
    if sys.platform == "win32":
        raise OSError(errno.ENOTSUP, os.strerror(errno.ENOTSUP))
    held = os.open(folder, os.O_RDONLY)
    try:
        fcntl.flock(held, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError as error:
        os.close(held)
        if isinstance(error, BlockingIOError):
            return None
        raise
    return held


def _take_file(folder: Path) -> int | None:
    """A file that only one can make; None while another holds it.

    Windows removes it with its process; elsewhere the process named in it tells whether it counts.
    """
    path = folder / LOCK_FILE
    ends_with_process = getattr(os, "O_TEMPORARY", 0)
    try:
        held = os.open(path, os.O_CREAT | os.O_EXCL | os.O_RDWR | ends_with_process, 0o644)
    except FileExistsError:
        if not ends_with_process and _left_behind(path):
            with suppress(FileNotFoundError):
                os.unlink(path)
        return None
    os.write(held, f"{os.getpid()} {socket.gethostname()}".encode())
    return held


def _left_behind(path: Path) -> bool:
    """Whether the process that made a lock file ran on this computer and is gone."""
    try:
        process, host = path.read_text(encoding="utf-8").split(maxsplit=1)
        if host != socket.gethostname():
            return False
        os.kill(int(process), 0)
    except ProcessLookupError:
        return True
    except (OSError, ValueError):
        return False
    return False


@contextmanager
def undisturbed() -> Iterator[None]:
    """Ctrl-C and a request to end are heeded after the block only; for moments, not for work."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    caught: list[int] = []
    kept = {
        number: signal.signal(number, lambda which, _: caught.append(which))
        for number in (signal.SIGINT, signal.SIGTERM)
    }
    try:
        yield
    finally:
        for number, handler in kept.items():
            signal.signal(number, handler)
        for which in caught[:1]:
            signal.raise_signal(which)
