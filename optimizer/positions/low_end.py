"""What the low end is like at set-ups of a box room: even, robust, alike from left and right.

By coupled modes, 20 to 300 Hz, as in `treatment predict`. The coupled matrices hold for any place,
so thousands of set-ups share them.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from optimizer.acoustics.coupled import log_frequencies, response
from optimizer.acoustics.coupled_build import CoupledBox
from optimizer.acoustics.coupled_pairs import Block, respond
from optimizer.acoustics.evenness import octave_deviation
from optimizer.acoustics.judge_response import EVEN_RANGE, mean_difference
from optimizer.acoustics.low_response import HIGHEST_HZ
from optimizer.acoustics.modes import Complexes
from optimizer.positions.set_ups import Ints, SetUps
from optimizer.positions.turning import turn_back
from optimizer.room.geometry import Floats

MOVE = 0.10  # m that a listener moves forward, back and to either side
MOVES = MOVE * np.array([[1, 0, 0], [-1, 0, 0], [0, 1, 0], [0, -1, 0]], dtype=float)
MOVED_RANGE = (20.0, 200.0)  # Hz
BALANCE_RANGE = (31.0, 201.0)  # Hz, third octaves from 31.5 to 200 Hz
LOWEST = (28.0, 56.0)  # Hz, the octave that the lowest mode along the room carries
HERE = slice(1, 1 + len(MOVES))  # of the receivers of a set-up: itself, moved, other seats
FAINT = 1e-20  # energy, -200 dB


@dataclass(frozen=True)
class LowLevels:
    """Energy of N set-ups at F frequencies, re the free field at 1 m: `both` (N, R, F) the mean of
    both loudspeakers at the ears, moved ears, other seats; `each` (N, 2, F) at the ears."""

    f_hz: Floats
    both: Floats
    each: Floats


@dataclass(frozen=True)
class LowRows:
    """Values (N,) in dB; `louder` is nan without other seats."""

    unevenness: Floats
    dip: Floats
    balance: Floats
    thin: Floats
    moved: Floats
    sides: Floats
    louder: Floats


def rows_of(levels: LowLevels) -> LowRows:
    """Unevenness and deepest dip at the ears, spread of the third octaves about their mean; lack
    of the lowest octave; rms change by moving 10 cm, the worst way; left against right; other seats
    over the ears."""
    f = levels.f_hz
    both = 10 * np.log10(np.maximum(levels.both, FAINT))
    each = 10 * np.log10(np.maximum(levels.each, FAINT))
    _, off = octave_deviation(both[:, 0], f, EVEN_RANGE)
    near = (f >= MOVED_RANGE[0]) & (f <= MOVED_RANGE[1])
    step = both[:, HERE][..., near] - both[:, :1][..., near]
    moved = np.sqrt(np.mean(step**2, axis=2)).max(axis=1)
    sides = np.sqrt(np.mean((each[:, 0] - each[:, 1]) ** 2, axis=1))
    others = both[:, HERE.stop :]
    louder = np.full(len(both), np.nan)
    if others.shape[1]:
        louder = mean_difference(f, others, both[:, :1]).max(axis=1)
    spread = _third_octaves(both[:, 0], f).std(axis=1)
    thin = -_lowest_over_rest(both[:, 0], f)
    return LowRows(np.std(off, axis=1), -off.min(axis=1), spread, thin, moved, sides, louder)


def _lowest_over_rest(level: Floats, f: Floats) -> Floats:
    """How much more energy levels (N, F) have in LOWEST than above it, up to 200 Hz, dB."""
    energy = 10 ** (level / 10)
    low = (f >= LOWEST[0]) & (f < LOWEST[1])
    rest = (f >= LOWEST[1]) & (f <= BALANCE_RANGE[1])
    return np.asarray(10 * np.log10(energy[:, low].mean(axis=1) / energy[:, rest].mean(axis=1)))


def _third_octaves(level: Floats, f: Floats) -> Floats:
    """Levels (N, B) of the third octaves of BALANCE_RANGE from levels (N, F), energy means.

    Base-ten thirds (IEC 61260-1)."""
    band = np.round(10.0 * np.log10(f / 1000.0)).astype(int)
    centre = 1000.0 * 10.0 ** (np.unique(band) / 10.0)
    kept = np.unique(band)[(centre >= BALANCE_RANGE[0]) & (centre <= BALANCE_RANGE[1])]
    energy = 10 ** (level / 10)
    means = np.stack([energy[:, band == b].mean(axis=1) for b in kept], axis=1)
    return np.asarray(10 * np.log10(means))


def search_levels(
    box: CoupledBox, size: tuple[float, float], set_ups: Sequence[SetUps], others: Floats
) -> list[LowLevels]:
    """Levels of set-ups facing any walls, by one coupled box of the room as its file has it.

    `size` is the room's length and width, `others` (O, 3) the seats that stay, both in the axes of
    the file.
    """
    f = log_frequencies(EVEN_RANGE[0], HIGHEST_HZ)
    count = 1 + len(MOVES) + len(others)
    found = [
        LowLevels(f, np.empty((len(s), count, len(f))), np.empty((len(s), 2, len(f))))
        for s in set_ups
    ]
    jobs = [
        _Job(levels, where, *_block(part.take(where), size, others))
        for levels, part in zip(found, set_ups, strict=True)
        for where in _by_axis(part)
    ]

    def use(index: int, number: int, p: Complexes) -> None:
        jobs[number].put(index, p)

    respond(box, f, [job.block for job in jobs], use)
    return found


def exact_levels(box: CoupledBox, speakers: Floats, ears: Floats, others: Floats) -> LowLevels:
    """The same of one set-up (speakers (2, 3), ears (3,)) in the box of its own room."""
    f = log_frequencies(EVEN_RANGE[0], HIGHEST_HZ)
    receivers = np.concatenate([ears[None], ears + MOVES, others])
    energy = np.abs(response(box, f, speakers, receivers)) ** 2
    return LowLevels(f, energy.mean(axis=0)[None], energy[:, 0][None])


@dataclass(frozen=True)
class _Job:
    """The set-ups `where` of one axis, and where among the pairs of a block their places are."""

    levels: LowLevels
    where: Ints
    block: Block
    source: Ints  # (n, 2)
    receiver: Ints  # (n, R)

    def put(self, index: int, p: Complexes) -> None:
        energy = p.real**2 + p.imag**2
        left, right = (energy[self.source[:, s, None], self.receiver] for s in (0, 1))
        self.levels.both[self.where, :, index] = 0.5 * (left + right)
        self.levels.each[self.where, 0, index] = left[:, 0]
        self.levels.each[self.where, 1, index] = right[:, 0]


def _by_axis(set_ups: SetUps) -> list[Ints]:
    return [np.flatnonzero(set_ups.axis == axis) for axis in np.unique(set_ups.axis)]


def _block(set_ups: SetUps, size: tuple[float, float], others: Floats) -> tuple[Block, Ints, Ints]:
    """Distinct places of set-ups, and which of them each set-up uses."""
    heads = set_ups.heads
    around = np.concatenate([heads[:, None], heads[:, None] + MOVES], axis=1)
    speakers, source = _distinct(set_ups.speakers)
    ears, receiver = _distinct(around)
    fixed = len(ears) + np.arange(len(others))
    receiver = np.concatenate([receiver, np.tile(fixed, (len(set_ups), 1))], axis=1)
    places = (turn_back(p, size, set_ups.facing) for p in (speakers, ears))
    sources, receivers = places
    return Block(sources, np.concatenate([receivers, others])), source, receiver


def _distinct(points: Floats) -> tuple[Floats, Ints]:
    """Distinct points (M, 3) of (N, R, 3), and the index (N, R) of each among them."""
    flat = np.round(points.reshape(-1, 3), 6)
    found, index = np.unique(flat, axis=0, return_inverse=True)
    return found, np.asarray(index.reshape(points.shape[:2]), dtype=np.int64)
