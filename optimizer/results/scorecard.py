"""The score card: every criterion before and after, recomputed from scratch with the full model."""

from collections.abc import Sequence
from dataclasses import asdict, dataclass

import numpy as np

from optimizer.acoustics.criteria import Criteria, Criterion
from optimizer.acoustics.early_criteria import MODEL as EARLY_MODEL
from optimizer.acoustics.early_criteria import EarlyFamily
from optimizer.acoustics.scene import Scene
from optimizer.placement.pieces import Piece, piece_patches
from optimizer.room.geometry import Floats
from optimizer.room.model import Room


@dataclass(frozen=True)
class ScoreRow:
    """One criterion before and after. `low` and `high` are None where open."""

    criterion: str
    where: str
    unit: str
    low: float | None
    high: float | None
    before: float
    after: float
    ok_before: bool
    ok_after: bool
    weight: float
    model: str
    note: str

    def as_dict(self) -> dict[str, object]:
        """The row as plain values."""
        return asdict(self)

    @property
    def verdict(self) -> str:
        """ "met", "now met", "better", "worse", "no longer met", "unchanged"."""
        if self.ok_after:
            return "met" if self.ok_before else "now met"
        if self.ok_before:
            return "no longer met"
        change = self._distance(self.after) - self._distance(self.before)
        if abs(change) < 1e-9:
            return "unchanged"
        return "better" if change < 0 else "worse"

    def _distance(self, value: float) -> float:
        over = value - self.high if self.high is not None else -np.inf
        under = self.low - value if self.low is not None else -np.inf
        return float(max(over, under))


@dataclass(frozen=True)
class ScoreCard:
    """All rows, and the weighted excess (0 = every criterion that counts is met)."""

    rows: tuple[ScoreRow, ...]
    score_before: float
    score_after: float


def score_card(room: Room, scene: Scene, criteria: Criteria, pieces: Sequence[Piece]) -> ScoreCard:
    """Score card of a room with pieces, both columns computed from the scene itself."""
    before = criteria.quantities(scene)
    after = criteria.quantities(treated(room, scene, pieces))
    met = (criteria.met(before), criteria.met(after))
    values = (criteria.values(before), criteria.values(after))
    rows = tuple(
        _row(row, (values[0][i], values[1][i]), (met[0][i], met[1][i]))
        for i, row in enumerate(criteria.rows)
    )
    rows += _coverage(scene, treated(room, scene, pieces), criteria)
    return ScoreCard(rows, criteria.score(before), criteria.score(after))


def _coverage(before: Scene, after: Scene, criteria: Criteria) -> tuple[ScoreRow, ...]:
    """Per seat, how many of the early reflection points are quiet enough; informs only."""
    rows = []
    for family in criteria.families:
        if not isinstance(family, EarlyFamily):
            continue
        shares = zip(
            before.seat_names,
            family.coverage_percent(before),
            family.coverage_percent(after),
            strict=True,
        )
        rows += [
            _row(
                Criterion("reflection points", f"at {name}, quiet enough", "%", 100.0, np.nan, 0.0,
                          EARLY_MODEL, "share of paths to places around the head within the limit"),
                (first, second), (first >= 100 - 1e-9, second >= 100 - 1e-9),
            )
            for name, first, second in shares
        ]  # fmt: skip
    return tuple(rows)


def treated(room: Room, scene: Scene, pieces: Sequence[Piece]) -> Scene:
    """The scene with the pieces in it."""
    return scene.with_pieces(piece_patches(room, list(pieces))[0])


def _row(row: Criterion, values: tuple[float, float], met: tuple[bool, bool]) -> ScoreRow:
    return ScoreRow(
        criterion=row.group,
        where=row.where,
        unit=row.unit,
        low=_open(row.low),
        high=_open(row.high),
        before=float(values[0]),
        after=float(values[1]),
        ok_before=bool(met[0]),
        ok_after=bool(met[1]),
        weight=row.weight,
        model=row.model,
        note=row.note,
    )


def _open(limit: float) -> float | None:
    return None if np.isnan(limit) else float(limit)


def reasons(room: Room, scene: Scene, criteria: Criteria, groups: list[list[Piece]]) -> list[str]:
    """Why each group of pieces (a pair, a single) is there: what gets worse without it.

    Every figure is re-evaluated without the group, not read from the optimiser's table.
    """
    everything = [piece for group in groups for piece in group]
    full = criteria.quantities(treated(room, scene, everything))
    texts = []
    for group in groups:
        rest = [p for p in everything if not any(p is mine for mine in group)]
        without = criteria.quantities(treated(room, scene, rest))
        texts.append(_reason(criteria, full, without))
    return texts


def _reason(criteria: Criteria, full: Floats, without: Floats) -> str:
    loss = criteria.weights * (criteria.excess(without) - criteria.excess(full))
    order = np.argsort(-loss, kind="stable")[:2]
    values = (criteria.values(full), criteria.values(without))
    parts = [
        f"{criteria.rows[k].key} {_show(values[0][k])} instead of {_show(values[1][k])} "
        f"{criteria.rows[k].unit}"
        for k in order
        if loss[k] > 1e-9
    ]
    return "; ".join(parts) if parts else "keeps the balance of the others"


def _show(value: float) -> str:
    return f"{value:.2f}"
