"""Runs stopped at 50 moments each by Ctrl-C, SIGTERM and a kill, full disks, two runs at once: what
the folder holds that held an older report and a person's own file.

Run: python tests/evidence/interrupted_runs.py  (writes the .md beside it; Linux, some minutes; as
root the full disk is a small file system in memory, else a limit to the size of files)
"""

import json
import os
import resource
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path

HERE = Path(__file__).resolve()
sys.path[:0] = [str(HERE.parents[2]), str(HERE.parents[1] / "bad_input")]
from cases import GOOD_FILES  # noqa: E402 - after the path

from optimizer.cli import main  # noqa: E402
from optimizer.commands import plan as plan_command  # noqa: E402
from optimizer.commands.plan import FILES  # noqa: E402
from optimizer.faults import ScenarioError  # noqa: E402
from optimizer.project import Project  # noqa: E402
from optimizer.report.page import report_html  # noqa: E402
from optimizer.results.output import check_writable, write_folder  # noqa: E402

SIGNALS = (signal.SIGINT, signal.SIGTERM, signal.SIGKILL)
LOADING = (0.1, 0.5, 1.5)  # s after the start of the program
PLANNING, WRITING = 5, 42  # moments of each signal
FREE = 40  # sizes of what is left on the disk
OLD, OWN = "of an older report", "a person's own"


@dataclass
class Row:
    """What a number of stopped runs left."""

    stopped_by: str
    where: str
    runs: int = 0
    sets: Counter[str] = field(default_factory=Counter)
    codes: Counter[int] = field(default_factory=Counter)
    untrue: int = 0
    left: int = 0
    left_after: int = 0
    own_lost: int = 0

    def add(self, folder: Path, code: int, said: str) -> None:
        """One run's end."""
        self.runs += 1
        kind = held(folder)
        self.sets[kind] += 1
        self.codes[code] += 1
        lines = [line for line in said.splitlines() if not line.endswith(" ...")]
        lines = [line for line in lines if "best so far" not in line]
        silent = code in (0, -signal.SIGKILL, -signal.SIGINT, -signal.SIGTERM)
        claims_none = "nothing was written" in said
        self.untrue += len(lines) != (0 if silent else 1) or (claims_none and kind != "old")
        self.left += bool(hidden(folder))
        check_writable(folder, FILES)  # what the next run does first
        self.left_after += bool(hidden(folder)) or held(folder) != kind
        self.own_lost += (folder / "mine.txt").read_text() != OWN


def hidden(folder: Path) -> list[Path]:
    return [p for top in (folder, folder.parent) for p in top.iterdir() if p.name[0] == "."]


def held(folder: Path) -> str:
    """Whether the folder holds the old set, a new one, or something else."""
    texts = [(folder / name).read_text() if (folder / name).exists() else "" for name in FILES]
    if all(text == OLD for text in texts):
        return "old"
    table, notes, plan, page = texts
    whole = plan.endswith("}\n") and page.rstrip().endswith("</html>") and table and notes
    return "new" if whole and OLD not in texts and json.loads(plan)["pieces"] else "mix"


def lay_out(top: Path) -> Path:
    """A room that is planned in a second or two, and a folder with an older report."""
    shutil.rmtree(top, ignore_errors=True)
    folder = top / "out"
    folder.mkdir(parents=True)
    for name, text in GOOD_FILES.items():
        (top / name).write_text(text)
    fill(folder)
    return folder


def fill(folder: Path) -> None:
    for name in FILES:
        (folder / name).write_text(OLD)
    (folder / "mine.txt").write_text(OWN)


def words(folder: Path) -> list[str]:
    room = str(folder.parent / "room.toml")
    return ["plan", room, "--out", str(folder), "--fast", "--gap", "0.5"]


def forked(work: Callable[[], int], said: Path) -> int:
    """Process of a copy of this program, everything loaded, whose standard error is a file."""
    child = os.fork()
    if child:
        return child
    code = 1
    try:
        target = os.open(said, os.O_CREAT | os.O_WRONLY | os.O_TRUNC)
        os.dup2(target, 2)
        os.dup2(os.open(os.devnull, os.O_WRONLY), 1)
        code = work()
    finally:
        os._exit(code)


def ended(child: int) -> int:
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])


def in_place_of(name: str, function: Callable[..., object]) -> None:
    """From now on the command calls this function by that name."""
    setattr(plan_command, name, function)


def in_writing(heard: Callable[[], None]) -> None:
    """From now on, `heard` is called before each call about files made while a plan is written."""
    real, writing = write_folder, False

    def watched(folder: Path, files: dict[str, str]) -> None:
        nonlocal writing
        writing = True
        real(folder, files)
        writing = False

    def hook(event: str, _: object) -> None:
        if writing and (event == "open" or event.startswith(("os.", "shutil."))):
            heard()

    in_place_of("write_folder", watched)
    sys.addaudithook(hook)


def plan_once(folder: Path) -> None:
    """Plan and draw, and let every later run of this process find that done.

    What follows it, from the page to the files, is left as it is.
    """
    made: Callable[..., object] = plan_command._made
    page: Callable[..., object] = report_html
    kept: list[object] = []

    def keep_plan(*given: object) -> object:
        kept.append(made(*given))
        return kept[0]

    def keep_page(*given: object, **named: object) -> object:
        kept.append(page(*given, **named))
        return kept[1]

    in_place_of("_made", keep_plan)
    in_place_of("report_html", keep_page)
    assert main(words(folder)) == 0
    in_place_of("_made", lambda *_: kept[0])
    in_place_of("report_html", lambda *_, **__: kept[1])


def calls_in_writing(folder: Path, said: Path) -> int:
    """How many calls about files writing makes."""

    def work() -> int:
        count = [0]

        def heard() -> None:
            count[0] += 1

        in_writing(heard)
        code = main(words(folder))
        said.with_suffix(".count").write_text(str(count[0]))
        return code

    assert ended(forked(work, said)) == 0
    return int(said.with_suffix(".count").read_text())


def while_loading(top: Path, number: signal.Signals) -> Row:
    row = Row(number.name, "while it loads")
    for wait in LOADING:
        folder = lay_out(top)
        program = [sys.executable, "-m", "optimizer", *words(folder)]
        with subprocess.Popen(
            program, cwd=HERE.parents[2], stdout=subprocess.DEVNULL,
            stderr=subprocess.PIPE, text=True,
        ) as running:  # fmt: skip
            time.sleep(wait)
            running.send_signal(number)
            _, err = running.communicate()
        row.add(folder, running.returncode, err)
    return row


def while_planning(top: Path, number: signal.Signals, seconds: float) -> Row:
    row = Row(number.name, "while it plans")
    said = top.with_suffix(".said")
    for i in range(PLANNING):
        folder = lay_out(top)
        child = forked(partial(main, words(folder)), said)
        time.sleep(0.05 + seconds * i / PLANNING)
        os.kill(child, number)
        row.add(folder, ended(child), said.read_text())
    return row


def while_writing(top: Path, number: signal.Signals, calls: int) -> Row:
    row = Row(number.name, "while it writes")
    said = top.with_suffix(".said")
    for i in range(WRITING):
        folder, moment = lay_out(top), 1 + i * (calls - 1) // (WRITING - 1)

        def work(folder: Path = folder, moment: int = moment) -> int:
            count = [0]

            def heard() -> None:
                count[0] += 1
                if count[0] == moment:
                    os.kill(os.getpid(), number)

            in_writing(heard)
            return main(words(folder))

        row.add(folder, ended(forked(work, said)), said.read_text())
    return row


def on_a_full_disk(top: Path, texts: dict[str, str]) -> list[Row]:
    """The set written where less and less is free, alone and by the whole command."""
    size = sum(len(text.encode()) for text in texts.values())
    said = top.with_suffix(".said")
    several, whole = Row("full disk", "its writing alone"), Row("full disk", "the whole command")
    for i in range(FREE + 3):
        folder = lay_out(top)
        free = (i if i < FREE else i - FREE) * size // FREE
        mounted = small_disk(folder, free)

        def work(folder: Path = folder, free: int = free, i: int = i, m: bool = mounted) -> int:
            if not m:
                resource.setrlimit(resource.RLIMIT_FSIZE, (free // 2, free // 2))
            if i >= FREE:
                return main(words(folder))
            return write_alone(folder, texts)

        code = ended(forked(work, said))
        (several if i < FREE else whole).add(folder, code, said.read_text())
        if mounted:
            subprocess.run(["umount", folder], check=True)
    return [several, whole]


def write_alone(folder: Path, texts: dict[str, str]) -> int:
    try:
        write_folder(folder, texts)
    except ScenarioError as error:
        print(error, file=sys.stderr)
        return 2
    return 0


def small_disk(folder: Path, free: int) -> bool:
    """A file system of its own in the folder, with the older report and little besides."""
    size = 64 * 1024 + free
    mount = ["mount", "-t", "tmpfs", "-o", f"size={size}", "none", str(folder)]
    if subprocess.run(mount, capture_output=True, check=False).returncode:
        return False
    fill(folder)
    (folder / "filler").write_bytes(bytes(64 * 1024 - 8 * 4096))
    return True


def two_at_once(top: Path, pairs: int = 20) -> Row:
    row = Row("another run", "two at once")
    for _ in range(pairs):
        folder = lay_out(top)
        said = [top.with_suffix(f".said{i}") for i in range(2)]
        children = [forked(partial(main, words(folder)), path) for path in said]
        for child, path in zip(children, said, strict=True):
            code = ended(child)
            row.codes[code] += 1
            row.untrue += code not in (0, 2) or "Traceback" in path.read_text()
        codes = row.codes.copy()
        row.add(folder, 0, "")
        row.codes = codes
    return row


def made_texts(top: Path) -> dict[str, str]:
    folder = lay_out(top)
    assert ended(forked(lambda: main(words(folder)), top.with_suffix(".said"))) == 0
    return {name: (folder / name).read_text() for name in FILES}


HEADER = ("stopped by", "where", "moments", "old set", "new set", "mix", "own file lost",
          "hidden left at once", "left after the next run", "line wrong", "exit codes")  # fmt: skip


def table(rows: list[Row]) -> str:
    lines = ["| " + " | ".join(HEADER) + " |", "|---" * len(HEADER) + "|"]
    for r in rows:
        codes = ", ".join(f"{code} ({n})" for code, n in sorted(r.codes.items()))
        cells = [r.stopped_by, r.where, r.runs, r.sets["old"], r.sets["new"], r.sets["mix"],
                 r.own_lost, r.left, r.left_after, r.untrue, codes]  # fmt: skip
        lines.append("| " + " | ".join(map(str, cells)) + " |")
    return "\n".join(lines) + "\n"


TEXT = """\
# Runs that are stopped

`tests/evidence/interrupted_runs.py` writes this. A small room (the good one of tests/bad_input,
`plan --fast --gap 0.5` without the fuller models, {seconds:.1f} s here) is planned into a folder
that holds an older report and a person's own file, and the run is stopped. "While it
loads" and "while it plans" are moments spread over the time; "while it writes" are {writing} of the
{calls} calls about files that writing makes, spread evenly, before each of which the run gets the
signal (there and for the lines below the plan and its page are taken from an earlier run; the rest
is the command itself). A full disk is {disk}, with {free} sizes of what
is free from nothing to the size of the files. Two at once are {pairs} pairs of runs into one
folder.

Old set: all files are those of the older report. New set: all are whole files of the new run.
Left: a hidden folder in the folder or beside it. The next run tidies up before it begins to plan;
"after" also counts a set that this changed. Line wrong: not exactly one line for a person (none
where the system itself ended the run), or one that says nothing was written when it was.
Exit codes below zero mean that the system ended the program.

{table}
tests/results/test_output.py kills the writer before each of its calls to the system, in a folder
that is there, is missing, is a link, is the current one, and where no links can be made: there
alone (Windows without the right to make links, memory cards) files change one by one after a
mark, and a run killed between leaves a mix until the next run has finished it.
"""


def evidence(top: Path) -> str:
    """All of it, in a folder for trials."""
    signal.signal(signal.SIGINT, signal.default_int_handler)  # also when run in the background
    setattr(Project, "judges", lambda *_: ())  # noqa: B010 - a method; a run takes seconds without the fuller models
    folder, said = lay_out(top), top.with_suffix(".said")
    assert ended(forked(lambda: main(words(folder)), said)) == 0  # compiles what is not yet
    began = time.monotonic()
    assert ended(forked(lambda: main(words(folder)), said)) == 0
    seconds = time.monotonic() - began
    rows = {}
    for number in SIGNALS:
        rows[number] = [while_loading(top, number), while_planning(top, number, seconds)]
        print(table(rows[number]), time.process_time(), flush=True)
    plan_once(lay_out(top))
    calls = calls_in_writing(lay_out(top), said)
    for number in SIGNALS:
        rows[number].append(while_writing(top, number, calls))
    every = [row for some in rows.values() for row in some]
    every += on_a_full_disk(top, made_texts(top))
    every.append(two_at_once(top))
    memory = os.geteuid() == 0
    disk = "a small file system in memory" if memory else "a limit to the size of files"
    return TEXT.format(
        seconds=seconds, writing=WRITING, calls=calls, disk=disk, free=FREE, pairs=every[-1].runs,
        table=table(every),
    )  # fmt: skip


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as trials:
        text = evidence(Path(trials) / "trial")
    HERE.with_suffix(".md").write_text(text, encoding="utf-8")
    print(text)
