"""A writer killed before each of its calls to the system in turn, and what it leaves behind.

    python tests/results/killed_writers.py FOLDER

prints one JSON object per arrangement: how many moments, and how many of them left the old set, the
new set or a mix of both; how many did so after the next run; and what was left over then.
"""

import json
import os
import shutil
import signal
import sys
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))
from optimizer.results.output import check_writable, write_folder  # noqa: E402 - after the path

OLD = {"report.html": "old page", "plan.json": "old plan", "stage_2.json": "old stage"}
NEW = {"report.html": "new page", "plan.json": "new plan", "notes.md": "new notes"}
OWN = {"mine.txt": "my own", "deep/mine.txt": "my own below"}
MOST = 500  # moments; a writer has a fifth of that
Arrange = Callable[[Path], Path]


@dataclass
class Tally:
    """What moments of a kill led to."""

    moments: int = 0
    at_once: Counter[str] = field(default_factory=Counter)
    after: Counter[str] = field(default_factory=Counter)
    left_over: int = 0
    own_lost: int = 0


def laid(folder: Path, old: bool = True) -> Path:
    """A folder with an old set and a person's own files."""
    for name, text in {**(OLD if old else {}), **OWN}.items():
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_text(text)
    return folder


def existing(top: Path) -> Path:
    return laid(top / "out")


def empty_but_own(top: Path) -> Path:
    return laid(top / "out", old=False)


def missing(top: Path) -> Path:
    return top / "out"


def behind_link(top: Path) -> Path:
    laid(top / "real")
    (top / "out").symlink_to("real")
    return top / "out"


def where_we_are(top: Path) -> Path:
    os.chdir(laid(top / "out"))
    return Path(".")


def with_linked_page(top: Path) -> Path:
    """The old page is a person's link to a file elsewhere."""
    folder = laid(top / "out")
    (folder / "report.html").rename(top / "page.html")
    (folder / "report.html").symlink_to("../page.html")
    return folder


ARRANGEMENTS: tuple[Arrange, ...] = (
    existing, empty_but_own, missing, behind_link, where_we_are, with_linked_page,
)  # fmt: skip


def found(folder: Path) -> dict[str, str]:
    """The files of either set as a reader finds them."""
    paths = {name: folder / name for name in {**OLD, **NEW}}
    return {name: path.read_text() for name, path in paths.items() if path.exists()}


def verdict(folder: Path, before: dict[str, str]) -> str:
    now = found(folder)
    new = {**before, **NEW}  # a file of the old set that the new one lacks stays
    return "old" if now == before else "new" if now == new else "mix"


def hidden(top: Path) -> list[str]:
    return [path.name for path in top.rglob(".*")]


def die_at(moment: int) -> None:
    """From now on this process kills itself before its `moment`th call that concerns files."""
    seen = 0

    def count() -> None:
        nonlocal seen
        seen += 1
        if seen == moment:
            os.kill(os.getpid(), signal.SIGKILL)

    def heard(event: str, arguments: object) -> None:
        if event == "open" or event.startswith(("os.", "shutil.")):
            count()

    close = os.close

    def counted_close(fd: int) -> None:
        count()
        close(fd)

    # What a killed process wrote is not lost with it: only a power cut needs the disk itself.
    os.fsync, os.close = lambda fd: count(), counted_close
    sys.addaudithook(heard)


def killed(work: Callable[[], None], moment: int) -> bool:
    """Whether a process at this work was killed at this moment (it may have ended before)."""
    child = os.fork()
    if child == 0:
        die_at(moment)
        work()
        os._exit(0)
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) == -signal.SIGKILL


def tally(
    top: Path,
    arrange: Arrange,
    prepare: Callable[[], None] = lambda: None,
    twice: bool = False,
) -> Tally:
    """A kill at every moment of one arrangement."""
    found_out = Tally()
    for moment in range(1, MOST):
        os.chdir("/")
        shutil.rmtree(top, ignore_errors=True)
        top.mkdir(parents=True)
        folder = arrange(top)
        before = found(folder)

        def write(folder: Path = folder) -> None:
            prepare()
            write_folder(folder, NEW)

        if not killed(write, moment):
            return found_out
        found_out.moments += 1
        found_out.at_once[verdict(folder, before)] += 1
        if twice:  # the run that tidies up is killed as well
            killed(partial(check_writable, folder, NEW), 1 + moment % 11)
            found_out.at_once[verdict(folder, before)] += 1
        check_writable(folder, NEW)  # what the next run does first
        found_out.after[verdict(folder, before)] += 1
        found_out.left_over += bool(hidden(top))
        had_own = arrange is not missing
        found_out.own_lost += had_own and any(
            not (folder / name).exists() or (folder / name).read_text() != text
            for name, text in OWN.items()
        )
    raise RuntimeError("a writer that does not come to its end")


def without_links() -> None:
    """As on a file system that knows neither links nor second names."""

    def refuse(*_: object, **__: object) -> None:
        raise PermissionError(1, "not permitted")

    os.symlink = os.link = refuse


def tallies(top: Path) -> Iterator[tuple[str, Tally]]:
    """Of all arrangements; with a second kill; and on a file system without links."""
    for arrange in ARRANGEMENTS:
        yield arrange.__name__, tally(top / "kills", arrange)
    yield "killed_twice", tally(top / "kills", existing, twice=True)
    yield "without_links", tally(top / "kills", existing, without_links)


if __name__ == "__main__":
    print(json.dumps({name: vars(t) for name, t in tallies(Path(sys.argv[1]).resolve())}))
