"""Decay of a room in one state, by the models that plans are made and judged with.

The planner's quick models: above the Schroeder frequency the decay formula with air and objects, in
a box below it the damping of the modes. With a tracer among the judges its decay stands instead in
its bands, and it also says how much a decay bends. Slower judges (coupled modes, wave equation)
correct both by a factor per band, which is held while coefficients are sought and taken anew at
those found.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from materials import Material
from optimizer.acoustics.assessment import LARGEST, Judge, assess
from optimizer.acoustics.decay_criteria import decay_family
from optimizer.acoustics.judge_trace import TraceJudge
from optimizer.acoustics.low_decay_criteria import LowDecayFamily, low_decay_family
from optimizer.acoustics.mode_criteria import highest_mode
from optimizer.acoustics.scene import Scene, scene_of
from optimizer.acoustics.trace import trace
from optimizer.acoustics.trace_room import traced_room
from optimizer.bands import BAND_LABELS, EXACT_HZ, N_BANDS
from optimizer.calibration.measured import Measured
from optimizer.calibration.unknowns import Unknowns, made_of, with_materials
from optimizer.placement.pieces import Piece, piece_patches
from optimizer.room.geometry import Floats
from optimizer.room.model import Room

OPEN = np.full(N_BANDS, np.nan)
STEP = 1e-3  # of z, for derivatives of the quick models
TRACED_STEP = 0.5  # of z, for derivatives of the tracer, wide against its noise
TRACED_RAYS = 4000  # for derivatives; the same rays on both sides of the difference
COLOURS = 3  # a band's decay depends on its own coefficients and at most on those next to it

Table = dict[str, Material]


@dataclass(frozen=True)
class Decay:
    """Arrays (8,): `t20` in s, `bend` = ln(T30/T20), 0 where no model gives it."""

    t20: Floats
    bend: Floats

    @property
    def logs(self) -> Floats:
        """ln T20 and the bend (2, 8)."""
        return np.stack([np.log(self.t20), self.bend])


@dataclass(frozen=True)
class State:
    """The room as it was when it was measured: its areas, the pieces that hung in it, the judges
    that are to say how it decays (none: the quick models alone), whether edges of pieces count."""

    name: str
    room: Room
    pieces: tuple[Piece, ...]
    measured: Measured
    judges: tuple[Judge, ...] = ()
    edge_effect: bool = True

    @cached_property
    def by_modes(self) -> NDArray[np.bool_]:
        """Which bands (8,) the modes decide."""
        names = () if self._low is None else tuple(row.where for row in self._low.rows)
        return np.array([label in names for label in BAND_LABELS])

    @cached_property
    def traced(self) -> NDArray[np.bool_]:
        """Which bands (8,) the tracer decides."""
        above = np.inf if self._tracer is None else self._tracer.above_hz
        return np.asarray(above < EXACT_HZ)

    def scene(self, table: Table | None = None) -> Scene:
        """The room with its pieces, made of the materials of a table."""
        table = table or {}
        scene = scene_of(with_materials(self.room, table), self.edge_effect)
        if not self.pieces:
            return scene
        return scene.with_pieces(piece_patches(self.room, made_of(self.pieces, table))[0])

    def decay(self, table: Table) -> Decay:
        """Predicted decay with the materials of a table, without the slower judges."""
        scene = self.scene(table)
        t20, bend = self.quick(scene), np.zeros(N_BANDS)
        if self._tracer is not None:
            found = _traced(scene, self._tracer.rays, self._tracer.seed)
            t20 = np.where(self.traced & np.isfinite(found.t20), found.t20, t20)
            bend = np.where(self.traced, found.bend, bend)
        return Decay(t20, bend)

    def quick(self, scene: Scene) -> Floats:
        """Decay times (8,) in s of a scene of this room by the planner's quick models."""
        formula = decay_family(scene, OPEN, OPEN, np.ones(N_BANDS))
        times = formula.values(formula.quantities(scene))
        if self._low is not None:
            times[self.by_modes] = self._low.values(self._low.quantities(scene))
        return times

    def slopes(self, unknowns: Unknowns, z: Floats) -> Floats:
        """Derivatives (2, 8, M, 8) of ln T20 and of the bend by z (M, 8)."""
        table = np.zeros((2, N_BANDS, *z.shape))
        table[0] = self._quick_slopes(unknowns, z)
        if self._tracer is not None:
            own = np.flatnonzero(self.traced)
            table[0, own] = 0.0
            by_trace = self._traced_slopes(unknowns, z, self._tracer.seed)
            table[:, own, :, own] = by_trace[:, :, own].transpose(2, 0, 1)
        return table

    def _quick_slopes(self, unknowns: Unknowns, z: Floats) -> Floats:
        """(8, M, 8) by differences; bands moved together lie three apart, so that each decay
        answers to one of them at most."""
        bands = np.arange(N_BANDS)
        base = np.log(self.quick(self.scene(unknowns.table(z))))
        table = np.zeros((N_BANDS, *z.shape))
        for m in range(len(z)):
            for colour in range(COLOURS):
                moved = bands[bands % COLOURS == colour]
                step = z.copy()
                step[m, moved] += STEP
                logs = np.log(self.quick(self.scene(unknowns.table(step))))
                for b in moved:
                    near = bands[np.abs(bands - b) <= 1]
                    table[near, m, b] = (logs - base)[near] / STEP
        return table

    def _traced_slopes(self, unknowns: Unknowns, z: Floats, seed: int) -> Floats:
        """(2, M, 8): each band by its own coefficients, all bands moved at once."""

        def logs(z: Floats) -> Floats:
            return _traced(self.scene(unknowns.table(z)), TRACED_RAYS, seed).logs

        base = logs(z)
        table = np.zeros((2, *z.shape))
        for m in range(len(z)):
            step = z.copy()
            step[m] += TRACED_STEP
            table[:, m] = (logs(step) - base) / TRACED_STEP
        return np.nan_to_num(table)

    def corrections(self, table: Table) -> Floats:
        """What the slower judges' decay (8,) is of `decay` with these materials; 1 where none
        answers."""
        others = [judge for judge in self.judges if not isinstance(judge, TraceJudge)]
        if not others:
            return np.ones(N_BANDS)
        said = assess(self.scene(table), others).values
        answers = np.array([said.get(f"decay: {label}", np.nan) for label in BAND_LABELS])
        ratio = answers / self.decay(table).t20
        sound = np.isfinite(ratio) & (ratio > 1 / LARGEST) & (ratio < LARGEST)
        return np.where(sound, ratio, 1.0)

    @cached_property
    def _tracer(self) -> TraceJudge | None:
        return next((judge for judge in self.judges if isinstance(judge, TraceJudge)), None)

    @cached_property
    def _low(self) -> LowDecayFamily | None:
        dimensions = self.room.dimensions
        if dimensions is None:
            return None
        top = highest_mode(self.room.volume)
        return low_decay_family(scene_of(self.room), dimensions, top, OPEN, OPEN)


def _traced(scene: Scene, rays: int, seed: int) -> Decay:
    found = trace(traced_room(scene), rays=rays, seed=seed).decay
    return Decay(found.t20, np.log(found.t30 / found.t20))


def all_of(states: Sequence[State], table: Table) -> Floats:
    """ln T20 and bend (S, 2, 8) of several states."""
    return np.array([state.decay(table).logs for state in states])
