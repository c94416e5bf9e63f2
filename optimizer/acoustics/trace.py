"""Decay of a room by energy tracing: absorption, scattering and shape as they are placed.

Rays carry one energy per octave band. At each hit a band loses its absorbed share and is then
scattered by Lambert's cosine law with the probability of its scattering coefficient, else
reflected specularly (Vorlaender, Auralization, Springer 2008, section 11.4; Schroeder, JASA 47
(1970) 424 for the method). One random number serves all bands: bands that decide alike share the
path, and where they differ the path forks, so every band is sampled exactly and equal bands cost
one path (evidence/trace_scattering_method.md compares this with likelihood-ratio weights).

The energy of the whole room is recorded, not that at one point, so the decay is the average over
all receiver positions. Air only depends on the path length and is applied as exp(-m c t). What
rays cannot do: interference, modes, diffraction; use the result above the Schroeder frequency.
"""

from __future__ import annotations

import os
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from optimizer.acoustics.decay_curve import (
    CURVATURE_LIMIT,
    EARLY_LIMIT,
    DecayTimes,
    backward_integral,
    decay_times,
)
from optimizer.acoustics.trace_kernel import LANES, Tally, is_inside, trace_rays
from optimizer.acoustics.trace_pack import Packed, alike, pack, side_by_side
from optimizer.acoustics.trace_scene import Scene
from optimizer.bands import N_BANDS

Array = NDArray[np.float64]

MAX_BINS = 4096
BIN_S = 0.001
LEAK_LIMIT = 1e-3
"""Share of rays that may find no surface before the room is called open."""
TAIL_LIMIT = 1e-5
"""Energy left at the end of the record (-50 dB) above which it is made longer."""
MAX_SECONDS = 60.0
SURE = 2.0
"""Standard errors by which a bend must exceed its limit to be told: by chance one in forty does."""


@dataclass(frozen=True)
class Echogram:
    """Energy arriving in spheres at the receivers.

    times (bins,): start of each 1 ms bin, s. energy (receivers, bins, bands): energy density
    times duration, s/m3, for a source of unit energy, so that 4 pi c times it is the exposure re
    1 m free field. direct (receivers, bands): the direct sound alone, exp(-m r)/(4 pi c r^2).
    """

    times: Array
    energy: Array
    direct: Array


class DecayErrors(NamedTuple):
    """Standard errors (bands,) of figures of `DecayTimes`: s, and per cent for the curvature and
    for how far T20 exceeds EDT."""

    edt: Array
    t20: Array
    t30: Array
    curvature: Array
    knee: Array


@dataclass(frozen=True)
class Traced:
    """Decay of a room with its statistical error.

    times (n,) s and energy (n, bands): room energy re the start; parts (batches, n, bands): of each
    batch. decay: EDT, T20, T30, curvature, double slope.
    mean_free_path m and path_variance (variance / mean^2, the gamma^2 of Kuttruff's formula):
    of the traced paths. rays: number started. leaked: branches that found no surface.
    echogram: only when receivers were given.
    """

    times: Array
    energy: Array
    parts: Array
    decay: DecayTimes
    mean_free_path: float
    path_variance: float
    rays: int
    leaked: int
    echogram: Echogram | None

    @cached_property
    def errors(self) -> DecayErrors:
        """One standard error of each figure, by leaving out one batch after another (the jackknife:
        Efron and Tibshirani, An Introduction to the Bootstrap, 1993, equation 11.5)."""
        dt = float(self.times[1] - self.times[0])
        count = len(self.parts)
        rest = (self.parts.sum(axis=0) - self.parts) / (count - 1)
        found = [decay_times(backward_integral(energy, dt), dt) for energy in rest]
        each = [np.array([getattr(one, name) for one in found]) for name in DecayErrors._fields]
        return DecayErrors(*(np.sqrt((count - 1) * np.var(x, axis=0)) for x in each))

    @cached_property
    def bends(self) -> NDArray[np.bool_]:
        """Where (bands,) the decay is bent, and by more than the chance of the rays explains."""
        curvature = self.decay.curvature - SURE * self.errors.curvature
        knee = self.decay.knee - SURE * self.errors.knee
        return np.asarray((curvature > CURVATURE_LIMIT) | (knee > EARLY_LIMIT))


@dataclass(frozen=True)
class _Run:
    packed: Packed
    air: Array
    source: Array
    receivers: Array  # (n, 4) with radius
    rays: int
    batches: int
    seed: int
    c: float
    echo_bins: int
    threads: int


def trace(
    scene: Scene,
    *,
    rays: int = 20000,
    seed: int = 1,
    source: ArrayLike | None = None,
    batches: int = 10,
    receivers: ArrayLike | None = None,
    receiver_radius: float = 0.25,
    echo_s: float = 0.1,
    c: float = 343.0,
    threads: int | None = None,
) -> Traced:
    """Trace the decay of a scene in all octave bands.

    source: (3,) point that radiates alike in all directions; None starts rays at random points of
    the room in random directions (a diffuse field at rest). receivers: (n, 3) centres of spheres
    of receiver_radius m for an echogram of echo_s seconds; needs a source. The same seed gives
    the same result whatever the number of threads.

    ValueError: no absorption at all in a band, source outside the room or inside an obstacle,
    fewer than ten rays a batch, or a room that leaks more than 1 ray in 1000.
    """
    threads = os.cpu_count() or 1 if threads is None else threads
    _check_numbers(rays, batches, seed, threads, min(c, echo_s, receiver_radius))
    packed = pack(scene)
    start = _check_source(packed, source)
    spheres = _spheres(receivers, receiver_radius, start)
    echo_bins = int(np.ceil(echo_s / BIN_S)) if len(spheres) else 0
    run = _Run(packed, scene.air, start, spheres, rays, batches, seed, c, echo_bins, threads)
    return _summary(run, *_trace_long_enough(run, _first_guess(scene, c)))


def decays(
    scenes: Sequence[Scene], *, rays: int = 20000, seed: int = 1, c: float = 343.0
) -> list[DecayTimes]:
    """`trace(scene).decay` of each of several scenes, from a diffuse start.

    Scenes that differ in their materials only are traced in one go: each goes by the paths that it
    would have alone, and those which several have in common are followed once. Raises as `trace`.
    """
    threads = os.cpu_count() or 1
    _check_numbers(rays, 10, seed, threads, c)
    packed = [pack(scene) for scene in scenes]
    found: dict[int, DecayTimes] = {}
    while len(found) < len(scenes):
        rest = [i for i in range(len(scenes)) if i not in found]
        same = [i for i in rest if alike(packed[rest[0]], packed[i])][: LANES // N_BANDS]
        air = np.concatenate([scenes[i].air for i in same])
        many = side_by_side([packed[i] for i in same])
        run = _Run(many, air, np.empty(0), np.empty((0, 4)), rays, 10, seed, c, 0, threads)
        longest = max(_first_guess(scenes[i], c) for i in same)
        dt, curves, _, _ = _trace_long_enough(run, longest)
        whole = decay_times(backward_integral(curves.mean(axis=0), dt), dt)
        found |= zip(same, _parted(whole, len(same)), strict=True)
    return [found[i] for i in range(len(scenes))]


def _parted(whole: DecayTimes, count: int) -> list[DecayTimes]:
    """The decay of each of `count` states from that of all lanes, (count * bands,) each."""
    parts = {name: np.split(values, count) for name, values in vars(whole).items()}
    return [DecayTimes(**{name: part[i] for name, part in parts.items()}) for i in range(count)]


def _trace_long_enough(run: _Run, seconds: float) -> tuple[float, Array, Array, Array]:
    """`_trace_once` with a record that holds the decay, from a first guess of its length."""
    while True:
        dt, curves, echo, path = _trace_once(run, seconds)
        tail = float(curves.mean(axis=0)[-1].max())
        if tail <= TAIL_LIMIT or seconds >= MAX_SECONDS:
            break
        seconds = min(2.0 * seconds, MAX_SECONDS)
    if path[3] > LEAK_LIMIT * run.rays:
        raise ValueError(f"the room is not closed: {int(path[3])} of {run.rays} rays left it")
    return dt, curves, echo, path


def _check_numbers(rays: int, batches: int, seed: int, threads: int, smallest: float) -> None:
    if batches < 2 or rays < 10 * batches:
        raise ValueError("at least two batches and ten rays in each are needed")
    if not 0 <= seed < 2**63:
        raise ValueError("seed must be a non-negative 63-bit integer")
    if threads < 1:
        raise ValueError("threads must be at least one")
    if smallest <= 0.0:
        raise ValueError("c, echo_s and receiver_radius must be positive")


def _check_source(packed: Packed, source: ArrayLike | None) -> Array:
    if source is None:
        return np.empty(0)
    point = np.array(source, dtype=np.float64)
    if point.shape != (3,) or not is_inside(packed, point):
        raise ValueError("source must be a point in the room's air, shape (3,)")
    return point


def _spheres(receivers: ArrayLike | None, radius: float, source: Array) -> Array:
    if receivers is None:
        return np.empty((0, 4))
    centres = np.array(receivers, dtype=np.float64)
    if centres.ndim != 2 or centres.shape[1] != 3:
        raise ValueError("receivers must have shape (n, 3)")
    if source.shape != (3,):
        raise ValueError("an echogram needs a source")
    if np.any(np.linalg.norm(centres - source, axis=1) <= radius):
        raise ValueError("a receiver sphere encloses the source")
    return np.column_stack([centres, np.full(len(centres), radius)])


def _first_guess(scene: Scene, c: float) -> float:
    """Record length: 1.5 times Sabine's decay of the most live band, doubled later if short."""
    area = np.array([s.area for s in scene.surfaces])
    total = area @ np.array([s.absorption for s in scene.surfaces])
    for p in scene.patches:
        under = scene.surfaces[p.surface].absorption
        total = total + (p.u1 - p.u0) * (p.v1 - p.v0) * (p.absorption - under)
    total = total + 4.0 * scene.air * scene.volume
    for o in scene.obstacles:
        a, b, h = o.upper - o.lower
        total = total + 2.0 * (a * b + b * h + h * a) * o.absorption
    if np.any(total <= 0.0):
        raise ValueError("the room absorbs nothing in at least one band")
    slowest = 24.0 * np.log(10.0) / c * scene.volume / float(np.min(total))
    return float(np.clip(1.5 * slowest, 0.1, MAX_SECONDS))


def _trace_once(run: _Run, seconds: float) -> tuple[float, Array, Array, Array]:
    """Bin width, room energy (batches, times, lanes), echo and path sums of one pass; a lane is a
    band of one state of the room."""
    dt = max(BIN_S, seconds / MAX_BINS)
    bins = int(np.ceil(seconds / dt))
    ends = np.linspace(0, run.rays, 2 * run.batches + 1).astype(np.int64)
    tasks = len(ends) - 1
    lanes = len(run.air)
    lost = np.zeros((tasks, bins + 1, lanes))
    echo = np.zeros((tasks, len(run.receivers), run.echo_bins, lanes))
    path = np.zeros((tasks, 4))
    air = np.exp(-run.air * run.c * dt * np.arange(bins + 1)[:, None])

    def task(t: int) -> None:
        trace_rays(
            run.packed, Tally(lost[t], echo[t], path[t]), run.source, run.seed, ends[t],
            ends[t + 1], run.c * dt, run.c * BIN_S, air, run.receivers,
        )  # fmt: skip

    with ThreadPoolExecutor(run.threads) as pool:
        list(pool.map(task, range(tasks)))
    batch = lost.reshape(run.batches, 2, bins + 1, lanes).sum(axis=1)
    started = np.diff(ends).reshape(run.batches, 2).sum(axis=1)
    left = np.cumsum(batch[:, ::-1], axis=1)[:, ::-1]  # what is still to be lost
    return dt, left / started[:, None, None] * air, echo.sum(axis=0), path.sum(axis=0)


def _summary(run: _Run, dt: float, curves: Array, echo: Array, path: Array) -> Traced:
    energy = curves.mean(axis=0)
    mean_path = path[0] / path[2]
    return Traced(
        times=np.arange(len(energy)) * np.float64(dt),
        energy=energy,
        parts=curves,
        decay=decay_times(backward_integral(energy, dt), dt),
        mean_free_path=float(mean_path),
        path_variance=float(path[1] / path[2] / mean_path**2 - 1.0),
        rays=run.rays,
        leaked=int(path[3]),
        echogram=_echogram(run, echo) if len(run.receivers) else None,
    )


def _echogram(run: _Run, echo: Array) -> Echogram:
    times = np.arange(run.echo_bins) * np.float64(BIN_S)
    air = np.exp(-run.air * run.c * (times[:, None] + 0.5 * BIN_S))
    sphere = 4.0 / 3.0 * np.pi * run.receivers[:, 3] ** 3
    density = echo / (run.rays * run.c * sphere[:, None, None]) * air
    r = np.linalg.norm(run.receivers[:, :3] - run.source, axis=1)[:, None]
    direct = np.exp(-run.air * r) / (4.0 * np.pi * run.c * r**2)
    return Echogram(times, density, direct)
