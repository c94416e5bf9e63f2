"""Work that runs at the same time: most of it is compiled and leaves Python free meanwhile."""

from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from os import cpu_count
from typing import TypeVar

from threadpoolctl import threadpool_limits

Answer = TypeVar("Answer")


def together(calls: Sequence[Callable[[], Answer]]) -> list[Answer]:
    """Answers of all calls, in their order, run on as many threads as there are processors."""
    workers = min(len(calls), cpu_count() or 1)
    if workers < 2:
        return [call() for call in calls]
    with ThreadPoolExecutor(workers) as pool:
        return [future.result() for future in [pool.submit(call) for call in calls]]


@contextmanager
def one_thread_each() -> Iterator[None]:
    """Linear algebra keeps to the thread that calls it: spread over all processors it would slow
    models down that run side by side, and its last digits would depend on how many there are."""
    with threadpool_limits(1, user_api="blas"):
        yield
