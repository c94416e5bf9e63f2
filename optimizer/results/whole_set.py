"""A set of files that takes the place of an older one in a folder, all files at the same moment.

The new files are written whole into a hidden folder beside the old ones. Then each old file is
replaced by a link that leads to the same old file through one common link, `CURRENT`; turning that
one over to the new files is the moment at which the set changes; then the links are replaced by the
new files. A process killed anywhere leaves the old set or the new one, and what is hidden is tidied
up by the next run (`settle`). Other files in the folder are never touched.

Where links cannot be made (Windows, memory cards) the files are replaced one by one after a mark
that the set is complete, and a run killed in between is finished by the next.
"""

import os
import shutil
import stat
from collections.abc import Iterable, Mapping
from contextlib import suppress
from pathlib import Path

STAGE = ".treatment-unfinished"
CURRENT = ".current"
NEW, OLD = "new", "old"


def settle(folder: Path) -> None:
    """Finish or undo what a killed run left in a folder. The caller holds the lock; OSError."""
    stage = folder / STAGE
    if not os.path.lexists(stage):
        return
    current = stage / CURRENT
    if os.path.lexists(current):  # else nothing has been replaced
        names = os.listdir(stage / NEW)
        linked = current.is_symlink()
        if linked and os.readlink(current) == OLD:
            _undo(folder, {*names, *os.listdir(stage / OLD)})
        else:  # where links were, what a person has put there since stays
            _finish(folder, [n for n in names if not linked or _is_ours(folder, n)])
    _remove(stage)


def make_folder(folder: Path, files: Mapping[str, bytes]) -> None:
    """A folder that is not there yet, with files. The caller holds the parent's lock; OSError."""
    stage = folder.parent / STAGE
    try:
        os.mkdir(stage)
        for name, content in files.items():
            _write(stage / name, content)
        flush(stage)
        os.rename(stage, folder)
        flush(folder.parent)
    except BaseException:
        _remove(stage)
        raise


def replace_set(folder: Path, files: Mapping[str, bytes]) -> None:
    """Files put into a folder that is there. The caller holds its lock; after OSError the old set
    stands.
    """
    stage = folder / STAGE
    try:
        for part in (stage, stage / NEW, stage / OLD):
            os.mkdir(part)
        for name, content in files.items():
            _write(stage / NEW / name, content)
            _take_over(folder, name)
        flush(stage / NEW)
        if len(files) > 1:
            _turn_over(folder, files)
        _finish(folder, files)
        flush(folder)
    except BaseException:
        _undo(folder, files)
        _remove(stage)
        raise
    with suppress(OSError):  # the set stands; what is left is for the next run
        _remove(stage)


def _write(path: Path, content: bytes) -> None:
    with open(path, "xb") as handle:
        handle.write(content)
        handle.flush()
        os.fsync(handle.fileno())


def _take_over(folder: Path, name: str) -> None:
    """Keep what stands under a name, and give the new file the same permissions."""
    there, kept = folder / name, folder / STAGE / OLD / name
    if there.is_symlink():
        os.symlink(os.path.join(os.path.realpath(folder), os.readlink(there)), kept)
        return
    try:
        mode = stat.S_IMODE(os.stat(there).st_mode)
    except FileNotFoundError:
        return
    os.chmod(folder / STAGE / NEW / name, mode)
    try:
        os.link(there, kept)
    except OSError:  # a file system without a second name for a file
        shutil.copy2(there, kept)


def _turn_over(folder: Path, names: Iterable[str]) -> None:
    """The moment at which the set changes."""
    stage = folder / STAGE
    turned = stage / ".turned"
    try:
        os.symlink(OLD, stage / CURRENT)
    except (OSError, NotImplementedError):  # a file system or Windows without links
        _write(turned, b"")  # a mark instead
    else:
        for name in names:
            os.symlink(_way(name), stage / ".link")
            os.replace(stage / ".link", folder / name)
        flush(folder)
        os.symlink(NEW, turned)
    os.replace(turned, stage / CURRENT)
    flush(stage)


def _finish(folder: Path, names: Iterable[str]) -> None:
    for name in names:
        os.replace(folder / STAGE / NEW / name, folder / name)


def _undo(folder: Path, names: Iterable[str]) -> None:
    """Put the old files back where they have been replaced."""
    stage = folder / STAGE
    if (stage / CURRENT).is_symlink() and os.readlink(stage / CURRENT) != OLD:
        os.symlink(OLD, stage / ".back")
        os.replace(stage / ".back", stage / CURRENT)
    for name in names:
        moved = os.path.lexists(stage / CURRENT) and not os.path.lexists(stage / NEW / name)
        if not (moved or _is_ours(folder, name)):
            continue
        if os.path.lexists(stage / OLD / name):
            os.replace(stage / OLD / name, folder / name)
        else:
            os.unlink(folder / name)


def _way(name: str) -> str:
    """From the folder to a file of the set that is current."""
    return os.path.join(STAGE, CURRENT, name)


def _is_ours(folder: Path, name: str) -> bool:
    """Whether a link of `_turn_over` stands under the name."""
    path = folder / name
    return path.is_symlink() and os.readlink(path) == _way(name)


def _remove(stage: Path) -> None:
    if stage.is_symlink() or not stage.is_dir():
        with suppress(FileNotFoundError):
            os.unlink(stage)
        return
    with suppress(FileNotFoundError):  # first, so that a kill in the midst asks for nothing more
        os.unlink(stage / CURRENT)
    shutil.rmtree(stage)


def flush(folder: Path) -> None:
    """Have the names in a folder on the disk itself, where the system can be asked to."""
    with suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
