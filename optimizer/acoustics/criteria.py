"""Criteria: what is judged, in one definition for the optimiser and for the report.

A criterion has a quantity that is linear in the treatment (an absorption area, a reflected
energy, an area difference), a value that people read (seconds, decibels), limits in the unit of
the value, and an excess: how far the value lies beyond its limit, in units of that limit, 0 when
met. The excess is a convex function of the quantity, so an optimiser may use tangents to it.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Protocol, Self

import numpy as np
from numpy.typing import NDArray

from optimizer.acoustics.scene import Ints, Patches, Scene
from optimizer.room.geometry import Floats

Tangent = tuple[float, float]  # slope, intercept: excess >= slope * quantity + intercept


@dataclass(frozen=True)
class Criterion:
    """One row of the score card. `low` and `high` are nan where open; `weight` 0 informs only."""

    group: str
    where: str
    unit: str
    low: float
    high: float
    weight: float
    model: str
    note: str = ""

    @property
    def key(self) -> str:
        """Name of the row, unique within a room."""
        return f"{self.group}: {self.where}"

    def weighing(self, weight: float) -> "Criterion":
        """The same row with another weight."""
        return Criterion(
            self.group, self.where, self.unit, self.low, self.high, weight, self.model, self.note
        )


@dataclass(frozen=True)
class Told:
    """Rows as people read them (T,): values, whether the limits are met, remarks."""

    values: Floats
    met: NDArray[np.bool_]
    notes: tuple[str, ...]


class Family(Protocol):
    """Criteria of one kind. Arrays run over the family's K rows (and N patches)."""

    @property
    def rows(self) -> tuple[Criterion, ...]:
        """The family's K criteria."""

    def with_rows(self, rows: tuple[Criterion, ...]) -> Self:
        """The same family with other weights or limits."""

    def quantities(self, scene: Scene) -> Floats:
        """Linear quantities (K,) of the scene with its treatment, computed from scratch."""

    def effects(self, scene: Scene, patches: Patches) -> Floats:
        """Change (K, N) of the quantities that each patch alone makes."""

    def values(self, quantities: Floats) -> Floats:
        """What people read (K,), in the unit of each row."""

    def excess(self, quantities: Floats) -> Floats:
        """How far beyond its limit each row is, in units of the limit; 0 when met.

        Quantities may be (K,) or (K, ...) for many selections at once.
        """

    def tangents(self, row: int, low: float, high: float) -> list[Tangent]:
        """Lines below the convex excess of one row, touching it within [low, high]."""

    def convex(self, row: int) -> tuple[float, float]:
        """Least and greatest quantity of one row between which its excess is convex."""

    @property
    def told_rows(self) -> tuple[Criterion, ...]:
        """The T rows that people read: the K rows, or fewer that each stand for several."""

    @property
    def told_of(self) -> Ints:
        """Which of the rows that people read (K,) each row belongs to."""

    def told(self, scene: Scene, values: Floats, met: NDArray[np.bool_]) -> Told:
        """What people read (T,) of a scene whose rows have these values (K,)."""


@dataclass(frozen=True)
class Criteria:
    """All families of a room as one table of K rows."""

    families: tuple[Family, ...]
    rows: tuple[Criterion, ...] = field(init=False)

    def __post_init__(self) -> None:
        rows = tuple(row for family in self.families for row in family.rows)
        object.__setattr__(self, "rows", rows)

    @property
    def weights(self) -> Floats:
        """Weight (K,) of each row in the score."""
        return np.array([row.weight for row in self.rows])

    def quantities(self, scene: Scene) -> Floats:
        """Linear quantities (K,) of a scene."""
        return np.concatenate([family.quantities(scene) for family in self.families])

    def effects(self, scene: Scene, patches: Patches) -> Floats:
        """Change (K, N) of the quantities by each patch."""
        return np.concatenate([family.effects(scene, patches) for family in self.families])

    def values(self, quantities: Floats) -> Floats:
        """Values (K,) that people read."""
        return np.concatenate([f.values(quantities[part]) for f, part in self._parts()])

    def excess(self, quantities: Floats) -> Floats:
        """Excess (K, ...) beyond the limits, in units of each limit."""
        return np.concatenate([f.excess(quantities[part]) for f, part in self._parts()])

    def score(self, quantities: Floats) -> float:
        """Weighted sum of the excesses: 0 when every criterion that counts is met."""
        return float(self.weights @ self.excess(quantities))

    def met(self, quantities: Floats) -> NDArray[np.bool_]:
        """Which rows (K,) are within their limits."""
        return np.asarray(self.excess(quantities) <= 1e-9)

    def scaled(self, factors: Floats) -> "Criteria":
        """The criteria as they look when the true value of each row is factor (K,) times its own.

        Limits are divided by the factors, which leaves T * factor / limit - 1 as it is, so an
        optimiser may go on working with quantities while a fuller model says what they are worth.
        """
        low, high = self.limits
        return self.with_limits(low / factors, high / factors)

    @property
    def limits(self) -> tuple[Floats, Floats]:
        """Lower and upper limit (K,) of each row, nan where open."""
        low, high = (
            np.array([getattr(row, side) for row in self.rows]) for side in ("low", "high")
        )
        return low, high

    def with_limits(self, low: Floats, high: Floats) -> "Criteria":
        """The same criteria with other limits (K,), nan where open."""
        families = []
        for family, part in self._parts():
            limits = zip(low[part].tolist(), high[part].tolist(), strict=True)
            rows = tuple(
                replace(row, low=below, high=above)
                for row, (below, above) in zip(family.rows, limits, strict=True)
            )
            families.append(family.with_rows(rows))
        return Criteria(tuple(families))

    @property
    def told_rows(self) -> tuple[Criterion, ...]:
        """The T rows that people read."""
        return tuple(row for family in self.families for row in family.told_rows)

    @property
    def told_of(self) -> Ints:
        """Which of the rows that people read (K,) each row belongs to."""
        of, start = [], 0
        for family in self.families:
            of.append(family.told_of + start)
            start += len(family.told_rows)
        return np.concatenate(of)

    def told(self, scene: Scene, values: Floats, met: NDArray[np.bool_]) -> Told:
        """What people read (T,) of a scene whose rows have these values (K,)."""
        parts = [f.told(scene, values[part], met[part]) for f, part in self._parts()]
        return Told(
            np.concatenate([part.values for part in parts]),
            np.concatenate([part.met for part in parts]),
            tuple(note for part in parts for note in part.notes),
        )

    def tangents(self, row: int, low: float, high: float) -> list[Tangent]:
        """Lines below the excess of one row of the whole table."""
        for family, part in self._parts():
            if row < part.stop:
                return family.tangents(row - part.start, low, high)
        raise IndexError(f"no criterion {row}")

    def _parts(self) -> list[tuple[Family, slice]]:
        parts, start = [], 0
        for family in self.families:
            parts.append((family, slice(start, start + len(family.rows))))
            start += len(family.rows)
        return parts


def share_weights(rows: Sequence[Criterion], total: float) -> tuple[Criterion, ...]:
    """The rows with their weights scaled to add up to `total` (none when all are zero)."""
    present = sum(row.weight for row in rows)
    factor = total / present if present > 0 else 0.0
    return tuple(row.weighing(row.weight * factor) for row in rows)


@dataclass(frozen=True)
class Rows:
    """What every family is built on: its rows, and a copy with other rows."""

    rows: tuple[Criterion, ...]

    def with_rows(self, rows: tuple[Criterion, ...]) -> Self:
        """The same family with other weights or limits."""
        return replace(self, rows=rows)

    def convex(self, row: int) -> tuple[float, float]:
        """Everywhere."""
        return -np.inf, np.inf

    @property
    def told_rows(self) -> tuple[Criterion, ...]:
        """The rows themselves (K,)."""
        return self.rows

    @property
    def told_of(self) -> Ints:
        """Each row by itself (K,)."""
        return np.arange(len(self.rows), dtype=np.int64)

    def told(self, scene: Scene, values: Floats, met: NDArray[np.bool_]) -> Told:
        """The values themselves (K,)."""
        return Told(values, met, tuple(row.note for row in self.rows))


@dataclass(frozen=True)
class TwoSided(Rows):
    """Rows whose value is the quantity itself, held within limits either way.

    The excess is counted in units of the upper limit.
    """

    def values(self, quantities: Floats) -> Floats:
        """The quantities themselves (K,)."""
        return quantities

    def excess(self, quantities: Floats) -> Floats:
        """Beyond the limits (K, ...) in units of the upper limit."""
        shape = (len(self.rows), *[1] * (quantities.ndim - 1))
        low, high = (
            np.array([getattr(row, side) for row in self.rows]).reshape(shape)
            for side in ("low", "high")
        )
        beyond = np.maximum(quantities - high, low - quantities) / high
        return np.asarray(np.maximum(beyond, 0.0))

    def tangents(self, row: int, low: float, high: float) -> list[Tangent]:
        """The two lines of the excess."""
        bottom, top = self.rows[row].low, self.rows[row].high
        return [(1.0 / top, -1.0), (-1.0 / top, bottom / top)]
