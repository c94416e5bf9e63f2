"""Is a demo room's plan the same on every machine? The same bytes of plan.json, "seconds" aside.

Run: nice python tests/evidence/same_plan_everywhere.py [ROOM ...]
Writes the .md beside it; takes about a minute of work for each of its rows.

Each plan is made by a process of its own, which believes to have one processor or two (and so many
threads for linear algebra and compiled loops), with one seed or another for the order of sets, by
itself or with a busy process beside it for each processor. Other kinds of processor may round the
last digits of a sum in another way; that is not shown here.
"""

import hashlib
import json
import os
import subprocess
import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory

ROOT = Path(__file__).parents[2]
ROOMS = ("small_bedroom", "spare_room", "garage", "living_room")
THREADS = ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "NUMBA_NUM_THREADS")
CHILD = """
import os, sys
os.cpu_count = lambda: int(sys.argv[1])  # before anything asks
from optimizer.cli import main
sys.exit(main(sys.argv[2:]))
"""
HEADER = ("room", "threads", "hash seed", "load", "digest of plan.json", "score")


@dataclass(frozen=True)
class Machine:
    """What may differ from one run to another."""

    threads: int
    hash_seed: int
    busy: bool = False


MACHINES = (Machine(1, 0), Machine(2, 1), Machine(2, 0, True))


def planned(room: Path, folder: Path, machine: Machine, options: Sequence[str] = ()) -> str:
    """plan.json of a room planned on a machine, without the one field that tells time.

    RuntimeError with what it printed when the command fails.
    """
    threads = dict.fromkeys(THREADS, str(machine.threads))
    python = [sys.executable, "-c", CHILD, str(machine.threads)]
    with company(machine.busy):
        ran = subprocess.run(
            [*python, "plan", str(room), "--out", str(folder), *options], cwd=ROOT, text=True,
            env=os.environ | threads | {"PYTHONHASHSEED": str(machine.hash_seed)},
            capture_output=True, check=False,
        )  # fmt: skip
    if ran.returncode:
        raise RuntimeError(ran.stderr)
    lines = (folder / "plan.json").read_text(encoding="utf-8").splitlines(keepends=True)
    return "".join(line for line in lines if not line.startswith(' "seconds": '))


@contextmanager
def company(wanted: bool) -> Iterator[None]:
    """A process for each processor that does nothing but keep it busy."""
    idle = [sys.executable, "-c", "while True: pass"]
    beside = [subprocess.Popen(idle) for _ in range(os.cpu_count() or 1)] if wanted else []
    try:
        yield
    finally:
        for process in beside:
            process.kill()
            process.wait()


def row(name: str, machine: Machine, text: str) -> list[str]:
    """A row of the table."""
    digest = hashlib.sha256(text.encode()).hexdigest()[:16]
    busy = "a busy process per processor" if machine.busy else "none"
    score = f"{json.loads(text)['score_after']:.3f}"
    return [name, str(machine.threads), str(machine.hash_seed), busy, digest, score]


def table(rows: Sequence[Sequence[str]]) -> str:
    """The rows as Markdown, and whether they agree."""
    lines = ["| " + " | ".join(cells) + " |" for cells in (HEADER, ["---"] * len(HEADER), *rows)]
    same = all(len({r[4] for r in rows if r[0] == name}) == 1 for name in {r[0] for r in rows})
    verdict = "all rows of a room are alike" if same else "NOT all rows of a room are alike"
    return "\n".join([
        "# The same plan on every machine", "",
        f'plan.json without "seconds", by threads, hash seed and load: {verdict}.', "", *lines, "",
    ])  # fmt: skip


def main(names: Sequence[str]) -> None:
    """Plan every room on every machine; the table is written anew after each row."""
    rows = []
    for name in names or ROOMS:
        for machine in MACHINES:
            with TemporaryDirectory() as folder:
                # one place for all: plan.json names the room file as seen from its own folder
                out = Path(folder) / "plan"
                text = planned(ROOT / "scenarios" / f"{name}.toml", out, machine)
            content = json.loads(text) | {"room_file": name}
            rows.append(row(name, machine, json.dumps(content)))
            Path(__file__).with_suffix(".md").write_text(table(rows), encoding="utf-8")


if __name__ == "__main__":
    main(sys.argv[1:])
