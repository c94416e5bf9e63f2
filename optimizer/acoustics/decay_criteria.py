"""Decay time per octave band against its limits, from the absorption area of the surfaces."""

from dataclasses import dataclass

import numpy as np

from optimizer.acoustics.absorption import absorption_area, added_area
from optimizer.acoustics.criteria import Criterion, Rows, Tangent
from optimizer.acoustics.decay import LOG_CAP, eyring
from optimizer.acoustics.scene import Ints, Patches, Scene
from optimizer.bands import BANDS, N_BANDS, band_label
from optimizer.room.geometry import Floats

TANGENTS = 24  # lines per band and side; the solver adds more where it settles
FINE = 400  # areas looked at to find where a limit is passed
CONVEX_UP_TO = 0.85  # mean coefficient up to which the excess is convex
MODEL = "Norris-Eyring"


@dataclass(frozen=True)
class DecayFamily(Rows):
    """Rows per octave band. Quantity: absorption area of surfaces and treatment, m2 (alpha <= 1).

    Value: decay time in s by the Norris-Eyring formula with air and objects. Excess: T/high - 1
    when too long, low/T - 1 when too short; both convex in the area while the mean coefficient
    stays below 0.86.
    """

    volume: float
    surface: float
    air: Floats  # (8,)
    objects: Floats  # (8,) m2

    def quantities(self, scene: Scene) -> Floats:
        """Absorption area (8,) in m2."""
        return absorption_area(scene)

    def effects(self, scene: Scene, patches: Patches) -> Floats:
        """Added absorption area (8, N) in m2."""
        return added_area(scene, patches).T

    def values(self, quantities: Floats) -> Floats:
        """Decay times (8,) in s."""
        return self._decay(quantities, np.arange(N_BANDS))

    def excess(self, quantities: Floats) -> Floats:
        """Excess (8, ...) in units of the limit passed."""
        shape = (N_BANDS, *[1] * (quantities.ndim - 1))
        bands = np.broadcast_to(np.arange(N_BANDS).reshape(shape), quantities.shape)
        return self._excess(quantities.ravel(), bands.ravel()).reshape(quantities.shape)

    def tangents(self, row: int, low: float, high: float) -> list[Tangent]:
        """Tangents at areas in equal ratios over the part of [low, high] beyond each limit."""
        start = max(min(low, high), 1e-3 * self.surface)
        stop = max(min(high, CONVEX_UP_TO * self.surface), 1.001 * start)
        lines: list[Tangent] = []
        for side in ("high", "low"):
            if np.isnan(getattr(self.rows[row], side)):
                continue
            points = np.geomspace(start, stop, FINE)
            beyond = points[self._side(points, np.full(FINE, row), side) > 0]
            if len(beyond):
                lines += self._touching(beyond, row, side)
        return lines

    def convex(self, row: int) -> tuple[float, float]:
        """Areas in m2 up to a mean coefficient of CONVEX_UP_TO."""
        return 0.0, CONVEX_UP_TO * self.surface

    def _touching(self, beyond: Floats, row: int, side: str) -> list[Tangent]:
        """Tangents of one side at TANGENTS areas from the least to the greatest of `beyond`."""
        points = np.geomspace(beyond.min(), beyond.max(), TANGENTS)
        bands, step = np.full(TANGENTS, row), 1e-6 * self.surface
        value = self._side(points, bands, side)
        ahead, behind = (self._side(points + d, bands, side) for d in (step, -step))
        slope = (ahead - behind) / (2 * step)
        return list(zip(slope.tolist(), (value - slope * points).tolist(), strict=True))

    def _decay(self, area: Floats, bands: Ints) -> Floats:
        mean = np.clip(area / self.surface, 0.0, LOG_CAP)
        air, objects = self.air[bands], self.objects[bands]
        return eyring(self.volume, [self.surface], mean[None], air=air, object_area=objects)

    def _side(self, area: Floats, bands: Ints, side: str) -> Floats:
        limit = np.array([getattr(row, side) for row in self.rows])[bands]
        decay = self._decay(area, bands)
        return decay / limit - 1.0 if side == "high" else limit / decay - 1.0

    def _excess(self, area: Floats, bands: Ints) -> Floats:
        sides = np.stack([self._side(area, bands, side) for side in ("high", "low")])
        return np.asarray(np.maximum(np.where(np.isnan(sides), -np.inf, sides).max(axis=0), 0.0))


def decay_family(scene: Scene, low: Floats, high: Floats, weights: Floats) -> DecayFamily:
    """Decay criteria of a scene; `low`, `high` (8,) in s (nan = open), `weights` (8,)."""
    rows = tuple(
        Criterion("decay", band_label(band), "s", float(low[i]), float(high[i]),
                  float(weights[i]), MODEL)
        for i, band in enumerate(BANDS)
    )  # fmt: skip
    objects = scene.object_area.sum(axis=0)
    return DecayFamily(rows, scene.volume, scene.surface_area, scene.air, objects)
