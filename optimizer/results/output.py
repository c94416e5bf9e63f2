"""Files written whole or not at all, by one run at a time."""

import os
import stat
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager, suppress
from pathlib import Path

from optimizer.faults import Fault, ScenarioError
from optimizer.results.folder_lock import locked, undisturbed
from optimizer.results.whole_set import STAGE, make_folder, replace_set, settle

written: list[Path] = []  # the folders of the sets that this process has put in place, in order


def check_writable(folder: Path, names: Iterable[str] = ()) -> None:
    """ScenarioError when files of these names could not be written there; leaves nothing behind.

    Asked before a long solve, so that no plan is lost for want of a place to write it. What a
    killed run has left there is tidied up.
    """
    try:
        os.lstat(folder)
    except (FileNotFoundError, NotADirectoryError):
        pass  # made later, or told below
    except (OSError, ValueError) as error:
        reason = error.strerror if isinstance(error, OSError) else str(error)
        raise _fault(folder, f"cannot be written ({reason}); choose another folder") from None
    if folder.is_symlink() and not folder.exists():
        remedy = f"is a link to {os.readlink(folder)}, which is not there; make that folder first"
        raise _fault(folder, remedy)
    parent = _base(folder)
    if folder.exists() and not folder.is_dir():
        raise _fault(folder, "is a file; name a folder for the results")
    if not parent.is_dir():
        raise _fault(folder, f"cannot be made: folder {parent} does not exist; make it first")
    for name in names:
        _check_name(folder / name)
    if not os.access(parent, os.W_OK | os.X_OK):
        raise _fault(folder, "cannot be written; choose a folder of yours")
    try:
        with _alone(folder) as base, undisturbed():
            os.mkdir(base / STAGE)
            os.rmdir(base / STAGE)
    except OSError as error:
        raise _fault(folder, f"cannot be written ({error.strerror}); choose another") from None


def _check_name(path: Path) -> None:
    """ScenarioError when a file of this name cannot be."""
    try:
        there, folder = os.lstat(path), os.stat(path.parent)
    except (FileNotFoundError, NotADirectoryError):
        return
    except (OSError, ValueError) as error:
        reason = error.strerror if isinstance(error, OSError) else str(error)
        raise _fault(path, f"cannot be written ({reason}); choose another name") from None
    if stat.S_ISDIR(there.st_mode):
        raise _fault(path, "is a folder; move it away or choose another folder")
    kept = folder.st_mode & stat.S_ISVTX  # as /tmp: files may be replaced by their owners only
    if kept and os.geteuid() not in (0, there.st_uid, folder.st_uid):
        raise _fault(path, "belongs to somebody else; choose another folder")


def write_folder(folder: Path, files: Mapping[str, str]) -> None:
    """Write text files into a folder, all of them or none; other files in it stay.

    Also after a kill at any moment the folder holds all the old files or all the new ones
    (`whole_set`). ScenarioError when they cannot be written; then the old ones stand.
    """
    check_writable(folder, files)
    content = {name: text.encode() for name, text in files.items()}
    try:
        with _alone(folder) as base, undisturbed():
            if base == folder:
                replace_set(folder, content)
            else:
                make_folder(folder, content)
            written.append(folder)
    except OSError as error:
        raise _fault(folder, f"cannot be written ({error.strerror})") from None


def _base(folder: Path) -> Path:
    """The folder that a set for `folder` is first written into."""
    return folder if folder.is_dir() else folder.parent


@contextmanager
def _alone(folder: Path) -> Iterator[Path]:
    """The folder to write into first, tidied up, and no other run writing there meanwhile."""
    above = folder.absolute().parent
    while True:
        base = _base(folder)
        if base == folder and os.path.lexists(above / STAGE):  # from before the folder was there
            with suppress(OSError, ScenarioError), locked(above, 0.0):
                _tidy_up(above)
        with locked(base):
            if _base(folder) != base:  # another run has made it meanwhile
                continue
            _tidy_up(base)
            yield base
            return


def _tidy_up(folder: Path) -> None:
    """Finish or undo what a killed run left there; ScenarioError when that cannot be."""
    try:
        with undisturbed():
            settle(folder)
    except OSError as error:
        remedy = (
            f"is left of a stopped run and cannot be tidied up ({error.strerror}); move it away"
        )
        raise _fault(folder / STAGE, remedy) from None


def _fault(folder: Path, remedy: str) -> ScenarioError:
    return ScenarioError([Fault(str(folder), "", None, remedy)])
