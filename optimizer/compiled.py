"""The compiler of hot loops, with the types that its library has none of."""

from collections.abc import Callable
from typing import TypeVar

from numba import njit

F = TypeVar("F", bound=Callable[..., object])


def compiled(**options: object) -> Callable[[F], F]:
    """A decorator that compiles a function, kept on disk and run without the interpreter's lock.

    `options` are those of numba.njit besides. What is kept is renewed by the time stamp of the
    function's own file, so compiled functions that call each other live in one file.
    """
    decorate: Callable[[F], F] = njit(cache=True, nogil=True, **options)
    return decorate
