"""The compiler of hot loops, with the types that its library has none of.

Compiled functions are kept beside the program, or else in the person's own cache folder. Where
neither can be written, they are kept in a folder of that person among the temporary files, or
compiled anew at each start.
"""

import os
import stat
import tempfile
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import TypeVar

from numba import config, njit

from optimizer.streams import tell

F = TypeVar("F", bound=Callable[..., object])


def compiled(**options: object) -> Callable[[F], F]:
    """A decorator that compiles a function, kept on disk and run without the interpreter's lock.

    `options` are those of numba.njit besides. What is kept is renewed by the time stamp of the
    function's own file, so compiled functions that call each other live in one file.
    """

    def decorate(function: F) -> F:
        result: F
        try:
            result = njit(cache=True, nogil=True, **options)(function)
        except RuntimeError:  # no place to keep it
            result = njit(cache=_kept_elsewhere(), nogil=True, **options)(function)
        return result

    return decorate


@cache
def _kept_elsewhere() -> bool:
    """Have compiled functions kept among the temporary files; False where that is not possible."""
    folder = _own_folder()
    if folder is None:
        tell("compiled parts cannot be kept (nowhere to write): every start takes longer\n")
        return False
    tell(f"compiled parts are kept in {folder}, since nothing else can be written\n")
    config.CACHE_DIR = str(folder)
    return True


def _own_folder() -> Path | None:
    """A folder that nobody else can write to, since what lies in it is run; None without one."""
    person = "" if os.name == "nt" else f"-{os.getuid()}"
    try:
        folder = Path(tempfile.gettempdir()) / f"treatment-compiled{person}"
        folder.mkdir(mode=0o700, exist_ok=True)
        if not _is_own(folder.lstat()):
            return None
        tempfile.TemporaryFile(dir=folder).close()
    except OSError:
        return None
    return folder


def _is_own(found: os.stat_result) -> bool:
    if os.name == "nt":  # temporary files are a person's own there
        return stat.S_ISDIR(found.st_mode)
    others = found.st_mode & (stat.S_IRWXG | stat.S_IRWXO)
    return stat.S_ISDIR(found.st_mode) and found.st_uid == os.getuid() and not others
