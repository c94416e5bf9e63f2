"""Files written whole or not at all."""

import os
import shutil
import stat
import tempfile
from collections.abc import Iterable, Mapping
from pathlib import Path

from optimizer.faults import Fault, ScenarioError


def check_writable(folder: Path, names: Iterable[str] = ()) -> None:
    """ScenarioError when files of these names could not be written there; leaves nothing behind.

    Asked before a long solve, so that no plan is lost for want of a place to write it.
    """
    try:
        os.lstat(folder)
    except (FileNotFoundError, NotADirectoryError):
        pass  # made later, or told below
    except (OSError, ValueError) as error:
        reason = error.strerror if isinstance(error, OSError) else str(error)
        raise _fault(folder, f"cannot be written ({reason}); choose another folder") from None
    if folder.is_symlink() and not folder.exists():
        raise _fault(folder, "is a link to what is not there; remove it or name another folder")
    parent = folder if folder.is_dir() else folder.parent
    if folder.exists() and not folder.is_dir():
        raise _fault(folder, "is a file; name a folder for the results")
    if not parent.is_dir():
        raise _fault(folder, f"cannot be made: folder {parent} does not exist; make it first")
    for name in names:
        _check_name(folder / name)
    if not os.access(parent, os.W_OK | os.X_OK):
        raise _fault(folder, "cannot be written; choose a folder of yours")
    try:
        tempfile.TemporaryDirectory(prefix=f".{folder.name}-", dir=parent).cleanup()
    except OSError as error:
        raise _fault(folder, f"cannot be written ({error.strerror}); choose another") from None


def _check_name(path: Path) -> None:
    """ScenarioError when a file of this name cannot be."""
    try:
        mode = os.lstat(path).st_mode
    except (FileNotFoundError, NotADirectoryError):
        return
    except (OSError, ValueError) as error:
        reason = error.strerror if isinstance(error, OSError) else str(error)
        raise _fault(path, f"cannot be written ({reason}); choose another name") from None
    if stat.S_ISDIR(mode):
        raise _fault(path, "is a folder; move it away or choose another folder")


def write_folder(folder: Path, files: Mapping[str, str]) -> None:
    """Write text files into a folder, all of them or none; other files in it stay.

    Every file is first written beside its place; only when all are there do they take the names.
    """
    check_writable(folder, files)
    try:
        parent = folder if folder.is_dir() else folder.parent
        stage = Path(tempfile.mkdtemp(prefix=f".{folder.name}-", dir=parent))
    except OSError as error:
        raise _fault(folder, f"cannot be written ({error.strerror})") from None
    try:
        for name, text in files.items():
            (stage / name).write_text(text, encoding="utf-8", newline="")
        folder.mkdir(exist_ok=True)
        for name in files:
            os.replace(stage / name, folder / name)
    except OSError as error:
        raise _fault(folder, f"cannot be written ({error.strerror})") from None
    finally:
        shutil.rmtree(stage, ignore_errors=True)


def _fault(folder: Path, remedy: str) -> ScenarioError:
    return ScenarioError([Fault(str(folder), "", None, remedy)])
