"""Files written whole or not at all."""

import os
import shutil
import tempfile
from collections.abc import Mapping
from pathlib import Path

from optimizer.faults import Fault, ScenarioError


def check_writable(folder: Path) -> None:
    """ScenarioError when a result folder could not be written; creates nothing."""
    parent = folder if folder.is_dir() else folder.parent
    if folder.exists() and not folder.is_dir():
        raise _fault(folder, "is a file; name a folder for the results")
    if not parent.is_dir():
        raise _fault(folder, f"cannot be made: folder {parent} does not exist; make it first")
    if not os.access(parent, os.W_OK | os.X_OK):
        raise _fault(folder, "cannot be written; choose a folder of yours")


def write_folder(folder: Path, files: Mapping[str, str]) -> None:
    """Write text files into a folder, all of them or none; other files in it stay.

    Every file is first written beside its place; only when all are there do they take the names.
    """
    check_writable(folder)
    try:
        stage = Path(tempfile.mkdtemp(prefix=f".{folder.name}-", dir=folder.parent))
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
