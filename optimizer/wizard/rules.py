"""Where things usually go in a room of given sizes: the defaults that the questions offer.

Rules: loudspeakers at one end, a near-equilateral triangle with the ears, the ears neither in the
middle of the length nor at the back wall and 1.2 m above the floor, everything on the middle line;
a desk between, a couch at the back. Common practice, no source. Lengths in metres, rounded to
centimetres; axes as in the room file.
"""

import math
from collections.abc import Iterable
from dataclasses import dataclass

Box = tuple[list[float], list[float]]  # lower front-left corner, sizes
Span = tuple[float, float]

EARS = 1.2
TRIANGLE = math.sqrt(3) / 2  # height of an equilateral triangle of side 1
MIDDLE = (0.45, 0.55)  # share of the length that a seat keeps out of
FARTHEST_SEAT = 0.44
WALL_TO_SEAT = 1.8  # room behind the seat that leaves space for a couch


@dataclass(frozen=True)
class Setup:
    """Loudspeakers and ears: distance from the front wall, between the speakers, heights."""

    speakers_x: float
    apart: float
    ears_x: float
    height: float


def listening_setup(length: float, width: float, height: float) -> Setup:
    """Loudspeakers and ears of a room by the rules above."""
    x = _clamp(0.14 * length, 0.35, 0.9)
    longest = (FARTHEST_SEAT * length - x) / TRIANGLE  # keeps the seat before the middle
    apart = max(min(_clamp(0.42 * width, 0.5, 2.4), longest), 0.5)
    ears = x + TRIANGLE * apart
    if MIDDLE[0] < ears / length < MIDDLE[1]:
        ears = 0.56 * length
    return Setup(_cm(x), _cm(apart), _cm(ears), _cm(min(EARS, height - 0.2)))


def window_place(wall: float, height: float, taken: Iterable[Span]) -> Box:
    """A window in the middle of the longest free stretch of a wall: where and how large."""
    start, end = longest_free(wall, taken)
    wide = min(1.2, 0.6 * (end - start))
    high = min(1.1, 0.5 * height)
    sill = min(0.9, height - high - 0.1)
    return _cms([(start + end - wide) / 2, sill]), _cms([wide, high])


def door_place(wall: float, height: float, taken: Iterable[Span]) -> Box:
    """A door near the far end of the longest free stretch of a wall."""
    start, end = longest_free(wall, taken)
    wide = min(0.8, 0.8 * (end - start))
    at = end - wide - min(0.1, 0.1 * (end - start))
    return _cms([at, 0.0]), _cms([wide, min(2.0, height - 0.1)])


def desk_place(setup: Setup, centre: float, width: float) -> Box:
    """A desk top on the middle line between loudspeakers and ears."""
    deep = _clamp(setup.ears_x - 0.5, 0.2, 0.7)
    wide = min(1.4, 1.8 * min(centre, width - centre))
    at = [max(setup.ears_x - 0.4 - deep, 0.05), centre - wide / 2, 0.72]
    return _cms(at), _cms([deep, wide, 0.04])


def person_place(ears: list[float], length: float, width: float, height: float) -> Box:
    """A seated person around the ears, kept inside the room."""
    size = [0.4, 0.5, min(0.85, height)]
    wanted = [ears[0] - 0.1, ears[1] - 0.25, ears[2] - 0.8]
    inside = [length, width, height]
    at = [_clamp(w, 0.0, i - s) for w, i, s in zip(wanted, inside, size, strict=True)]
    return [round(a, 3) for a in at], size


def couch_place(length: float, width: float, taken: Iterable[Span]) -> Box:
    """A couch at the back wall, in the middle where doors leave that free."""
    start, end = longest_free(width, taken)
    wide = min(1.7, end - start)
    middle = (width - wide) / 2
    y = middle if start <= middle and middle + wide <= end else _clamp(middle, start, end - wide)
    return _cms([length - 0.95, y, 0.0]), _cms([0.9, wide, 0.8])


def has_space_for_couch(length: float, ears_x: float, width: float, taken: Iterable[Span]) -> bool:
    """Whether a couch would usually be there."""
    start, end = longest_free(width, taken)
    return length - ears_x >= WALL_TO_SEAT and end - start >= 1.75


def longest_free(total: float, taken: Iterable[Span]) -> Span:
    """The longest stretch of 0 to `total` that none of the spans takes."""
    best, start = (0.0, 0.0), 0.0
    for low, high in [*sorted(taken), (total, total)]:
        if low - start > best[1] - best[0]:
            best = (start, low)
        start = max(start, high)
    return best


def _clamp(value: float, low: float, high: float) -> float:
    return max(min(value, high), low)


def _cm(value: float) -> float:
    return round(value, 2)


def _cms(values: Iterable[float]) -> list[float]:
    return [_cm(value) for value in values]
