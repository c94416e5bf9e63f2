"""What a plan costs: processor seconds of each stage, and against one wave simulation of the room.

Run: OPENBLAS_NUM_THREADS=1 python tests/benchmarks/plan_cost.py [ROOM.toml ...]
The whole command is run in this process, one stage after another instead of side by side, so that
the processor's clock tells them apart. Seconds are of this machine; shares, and the ratio to one
simulation of the bare room by the wave equation in the same run, compare with other machines.
"""

import io
import os
import pkgutil
import sys
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack, contextmanager, redirect_stdout
from dataclasses import dataclass, field
from pathlib import Path
from tempfile import TemporaryDirectory
from unittest.mock import patch

from optimizer.acoustics.judge_waves import WaveJudge
from optimizer.cli import main as treatment
from optimizer.project import load_project
from optimizer.results.tables import text_table
from optimizer.together import one_thread_each

SCENARIOS = Path(__file__).parents[2] / "scenarios"
ROOMS = ("spare_room", "garage")
STAGES = (  # what it is, and where the call is named
    ("places", "optimizer.planning.find_candidates"),
    ("effects", "optimizer.planning.effects_table"),
    ("solves", "optimizer.round_maker.select"),
    ("proposals", "optimizer.round_maker.propose"),
    ("trials", "optimizer.judged_search.tried"),
    ("findings", "optimizer.acoustics.judged.Judged.with_findings"),
    ("moving pieces apart", "optimizer.round_maker.spread_out"),
    ("places around the plan", "optimizer.judged_search.around"),
    ("effects at the plan", "optimizer.judged_search.at_the_plan"),
    ("lessons", "optimizer.judged_search.corrected_change"),
    ("exchanges", "optimizer.judged_search.Neighbours.alike"),
    ("weights of surfaces", "optimizer.round_maker.surface_weights"),
    ("weights of surfaces", "optimizer.round_maker.scattering_worth"),
    ("judgements", "optimizer.round_maker.judge_scene"),
    ("judgements", "optimizer.rounds.judge_scene"),
    ("judgements", "optimizer.planning.judge_scene"),
    ("ranges", "optimizer.planning.how_sure"),
    ("reasons", "optimizer.planning.reasons"),
    ("rules in the way", "optimizer.planning.in_the_way"),
    ("price of order", "optimizer.commands.plan.order_prices"),
    ("report and drawings", "optimizer.commands.plan.report_html"),
)
POOLS = ("optimizer.rounds", "optimizer.judged_search", "optimizer.planning")
HEADER = ("stage", "calls", "CPU s", "share %", "wave simulations")


class Done:
    """The answer of a call that was made when it was asked for."""

    def __init__(self, answer: object) -> None:
        self._answer = answer

    def result(self) -> object:
        """The answer."""
        return self._answer


class InTurn:
    """A pool that does everything at once, in the thread that asks."""

    def __init__(self, *_: object) -> None: ...

    def __enter__(self) -> "InTurn":
        return self

    def __exit__(self, *_: object) -> None: ...

    def submit(self, call: Callable[..., object], *given: object, **named: object) -> Done:
        """The call, made."""
        return Done(call(*given, **named))


@dataclass
class Clock:
    """Processor seconds and calls by stage; of stages within each other the inner one counts."""

    seconds: dict[str, float] = field(default_factory=dict)
    calls: dict[str, int] = field(default_factory=dict)
    running: list[str] = field(default_factory=list)
    since: float = 0.0

    def turn(self) -> None:
        """Book what has passed on the stage that runs."""
        now = time.process_time()
        stage = self.running[-1] if self.running else "the rest"
        self.seconds[stage] = self.seconds.get(stage, 0.0) + now - self.since
        self.since = now

    def timed(self, stage: str, call: Callable[..., object]) -> Callable[..., object]:
        """The call, booked on a stage."""

        def run(*given: object, **named: object) -> object:
            self.turn()
            self.running.append(stage)
            self.calls[stage] = self.calls.get(stage, 0) + 1
            try:
                return call(*given, **named)
            finally:
                self.turn()
                self.running.pop()

        return run


@contextmanager
def booked(clock: Clock) -> Iterator[None]:
    """Every stage of the command is booked, and nothing runs side by side."""
    with ExitStack() as held:
        held.enter_context(patch("optimizer.together.cpu_count", lambda: 1))
        for module in POOLS:
            held.enter_context(patch(f"{module}.ThreadPoolExecutor", InTurn))
        for stage, where in STAGES:
            call = pkgutil.resolve_name(where)
            held.enter_context(patch(where, clock.timed(stage, call)))
        yield


def wave_seconds(room: Path) -> float:
    """Processor seconds of one simulation of the room as it is, compiled."""
    project = load_project(room)
    judge = next(j for j in project.judges() if isinstance(j, WaveJudge))
    with one_thread_each():
        judge(project.scene)
        began = time.process_time()
        judge(project.scene)
    return time.process_time() - began


def rows(room: Path) -> list[list[str]]:
    """The stages of a room's plan, dearest first, and all of it."""
    unit, clock = wave_seconds(room), Clock()
    with TemporaryDirectory() as folder, booked(clock), redirect_stdout(io.StringIO()):
        clock.since = time.process_time()
        if treatment(["plan", str(room), "--out", os.path.join(folder, "out")]) != 0:
            raise RuntimeError(f"{room} was not planned")
        clock.turn()
    total = sum(clock.seconds.values())
    table = [
        [stage, str(clock.calls.get(stage, "")), f"{s:.1f}", f"{100 * s / total:.0f}",
         f"{s / unit:.1f}"]
        for stage, s in sorted(clock.seconds.items(), key=lambda item: -item[1])
    ]  # fmt: skip
    return [*table, ["all", "", f"{total:.1f}", "100", f"{total / unit:.1f}"]]


def main(given: Sequence[str]) -> None:
    """Print the table of each room."""
    for room in [Path(p) for p in given] or [SCENARIOS / f"{name}.toml" for name in ROOMS]:
        print(room.stem)
        print(text_table(HEADER, rows(room), tuple(range(1, len(HEADER)))), flush=True)


if __name__ == "__main__":
    main(sys.argv[1:])
