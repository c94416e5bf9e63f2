"""Work that runs at the same time: most of it is compiled and leaves Python free meanwhile."""

from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from os import cpu_count
from typing import TypeVar

Answer = TypeVar("Answer")


def together(calls: Sequence[Callable[[], Answer]]) -> list[Answer]:
    """Answers of all calls, in their order, run on as many threads as there are processors."""
    workers = min(len(calls), cpu_count() or 1)
    if workers < 2:
        return [call() for call in calls]
    with ThreadPoolExecutor(workers) as pool:
        return [future.result() for future in [pool.submit(call) for call in calls]]
