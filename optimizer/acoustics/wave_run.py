"""Runs of the wave solver's time loop, one for each inlet, that can be gone on with."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from os import cpu_count
from threading import Lock

import numpy as np

from optimizer.acoustics.voxel import WaveRoom
from optimizer.acoustics.wave_admittance import Admittance
from optimizer.acoustics.wave_kernel import Ports, Real, State, Walls, advance
from optimizer.acoustics.wave_layout import (
    Floats,
    Layout,
    Stencil,
    lay_out,
    lay_ports,
    lay_walls,
    silent,
)

SHARE = 400  # steps between two reports of progress


@dataclass
class _Run:
    """One run: its places, and how far the sound in it has come."""

    ports: Ports
    state: State
    now: Real
    before: Real
    read: Real  # (samples, outlets) read so far


@dataclass
class Runs:
    """Runs with sound from one or more inlets each, read at some outlets, `every` so many steps of
    dt s."""

    layout: Layout
    walls: Walls
    runs: Sequence[_Run]
    gain: float  # source term of a unit of pressure at 1 m
    dt: float
    every: int
    done: int = 0  # steps
    loudest: float = 0.0  # of the signal, to which the fields are scaled

    @classmethod
    def at_rest(
        cls,
        room: WaveRoom,
        admittance: Sequence[Admittance],
        inlets: Sequence[Sequence[Stencil]],
        outlets: Sequence[Stencil],
        dt: float,
        c: float,
        every: int,
        double: bool,
    ) -> Runs:
        """Before anything sounds: inlets of each run, one admittance per surface of the room."""
        dtype = np.float64 if double else np.float32
        layout = lay_out(room, (c * dt / room.spacing) ** 2, dtype)
        walls = lay_walls(room, layout, admittance, dt, c, dtype)
        runs = [
            _Run(
                lay_ports(layout, own, outlets, dtype), *silent(layout, walls, dtype),
                np.zeros((0, len(outlets)), dtype=dtype),
            )
            for own in inlets
        ]  # fmt: skip
        # A unit of pressure at 1 m is a source term of 4 pi, spread over one cell, and per step.
        gain = 4.0 * np.pi * (c * dt) ** 2 / room.cell_volume
        return cls(layout, walls, runs, gain, dt, every)

    def until_end_of(
        self, signal: Floats, progress: Callable[[float], None] | None = None
    ) -> Floats:
        """Pressure (runs, outlets, samples) from the first step to the last of signals (N, K), one
        for each inlet of a run.

        The signals are those of the steps already done, and go on. Per second, re 1 m in free
        field; `progress` is called with the finished share of the steps that were left.
        """
        self.loudest = self.loudest or float(np.abs(signal).max())
        told = _Progress(len(self.runs) * (len(signal) - self.done), progress)
        rows = -(-len(signal) // self.every)

        def one(run: _Run) -> Real:
            more = np.zeros((rows - len(run.read), run.read.shape[1]), dtype=run.read.dtype)
            run.read = np.concatenate([run.read, more])
            for first in range(self.done, len(signal), SHARE):
                part = (signal[first : first + SHARE] / self.loudest).astype(run.read.dtype)
                run.now, run.before = advance(
                    self.layout.grid, self.walls, run.state, run.ports, run.now, run.before,
                    part, first, self.every, run.read,
                )  # fmt: skip
                told.add(len(part))
            return run.read

        # One thread per run: threads that share one field would have to wait for each other at
        # every step, which on a busy machine costs many times what the second core brings.
        with ThreadPoolExecutor(max_workers=min(len(self.runs), cpu_count() or 1)) as pool:
            read = np.array(list(pool.map(one, self.runs)), dtype=np.float64)
        if not np.all(np.isfinite(read)):
            raise FloatingPointError("the wave simulation blew up; this is a fault of the program")
        self.done = len(signal)
        return np.asarray(read.transpose(0, 2, 1) * (self.loudest * self.gain / self.dt))


class _Progress:
    """Share of all steps done, reported from several threads one at a time."""

    def __init__(self, steps: int, report: Callable[[float], None] | None) -> None:
        self._steps, self._report = steps, report
        self._done, self._lock = 0, Lock()

    def add(self, steps: int) -> None:
        """Count finished steps and report the share."""
        with self._lock:
            self._done += steps
            if self._report is not None:
                self._report(self._done / self._steps)
