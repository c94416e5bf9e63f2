"""The score card: every criterion before and after, recomputed from scratch with the full model."""

from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass, replace

import numpy as np

from optimizer.acoustics.assessment import Finding, Judge
from optimizer.acoustics.criteria import Criteria, Criterion
from optimizer.acoustics.early_criteria import MODEL as EARLY_MODEL
from optimizer.acoustics.early_criteria import EarlyFamily
from optimizer.acoustics.judged import Judged, judge_scene
from optimizer.acoustics.scene import Scene
from optimizer.acoustics.uncertainty import DRAWS, FEWER_DRAWS, Sampled
from optimizer.placement.pieces import Piece, treated
from optimizer.placement.sureness import plan_sample
from optimizer.project import Judging, Project
from optimizer.room.geometry import Floats
from optimizer.room.model import Room

SLIGHT = 0.01  # of the limit: a change by less reads the same as before


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
    after_low: float | None = None  # ends of the interval that holds `after` four times in five
    after_high: float | None = None
    chance: float | None = None  # of the limit being met, 0 to 1

    def as_dict(self) -> dict[str, object]:
        """The row as plain values."""
        return asdict(self)

    @property
    def verdict(self) -> str:
        """ "met", "now met", "better", "worse", "no longer met", "unchanged".

        A change by less than SLIGHT of the limit that is missed is none.
        """
        if self.ok_after:
            return "met" if self.ok_before else "now met"
        if self.ok_before:
            return "no longer met"
        change = self._distance(self.after) - self._distance(self.before)
        if abs(change) <= SLIGHT * self._missed():
            return "unchanged"
        return "better" if change < 0 else "worse"

    def _missed(self) -> float:
        """Size of the limit that the row misses after treatment."""
        over = self.high is not None and self.after > self.high
        limit = self.high if over else self.low
        return abs(limit) if limit is not None else 0.0

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


def score_card(
    room: Room,
    scene: Scene,
    criteria: Criteria,
    pieces: Sequence[Piece],
    judges: Sequence[Judge] = (),
) -> ScoreCard:
    """Score card of a room with pieces, both columns computed from the scene itself."""
    before = judge_scene(scene, criteria, judges)
    return card_of(before, judge_scene(treated(room, scene, pieces), criteria, judges))


def room_card(
    project: Project,
    pieces: Sequence[Piece],
    judging: Judging = "full",
    tell: Callable[[str], None] = lambda text: None,
) -> ScoreCard:
    """Score card of a project's room with pieces; without any the room is judged once."""

    def judged(scene: Scene) -> Judged:
        made = judge_scene(scene, project.criteria, project.judges(judging))
        return made.with_findings(project.informers(judging))

    tell("judging the room as it is")
    before = after = judged(project.scene)
    if pieces:
        tell("judging the room with the pieces")
        after = judged(treated(project.room, project.scene, pieces))
    tell("drawing how sure the figures are")
    return card_of(before, after, how_sure(project, after, pieces, judging))


def how_sure(
    project: Project, after: Judged, pieces: Sequence[Piece], judging: Judging
) -> Sampled | None:
    """A room judged with pieces, drawn at random, half as often where quick answers are wanted;
    None where the criteria alone judged it."""
    if judging == "none":
        return None
    draws = FEWER_DRAWS if judging == "fast" else DRAWS
    return plan_sample(project.room, after, project.hung, pieces, project.criteria_of, draws)


def card_of(before: Judged, after: Judged, sampled: Sampled | None = None) -> ScoreCard:
    """Score card of one scene judged before and after treatment, and how sure it is."""
    criteria = after.criteria
    first, last = before.told, after.told
    rows = tuple(
        _row(
            replace(row, model=after.said.models.get(row.key, row.model), note=last.notes[i]),
            (first.values[i], last.values[i]),
            (first.met[i], last.met[i]),
        )
        for i, row in enumerate(criteria.told_rows)
    )
    if sampled is not None:
        rows = _with_chances(rows, sampled)
    rows += _coverage(before.scene, after.scene, criteria)
    rows += _findings(before.said.findings, after.said.findings)
    return ScoreCard(rows, before.score, after.score)


def _with_chances(rows: tuple[ScoreRow, ...], sampled: Sampled) -> tuple[ScoreRow, ...]:
    low, high = sampled.told_interval()
    chance = sampled.told_probability()
    return tuple(
        replace(
            row,
            after_low=float(low[k]),
            after_high=float(high[k]),
            chance=None if np.isnan(chance[k]) else float(chance[k]),
        )
        for k, row in enumerate(rows)
    )


def _findings(before: Sequence[Finding], after: Sequence[Finding]) -> tuple[ScoreRow, ...]:
    """What fuller models found besides the criteria, where both scenes have it."""
    first = {finding.key: finding.value for finding in before}
    rows = []
    for last in (finding for finding in after if finding.key in first):
        values = (first[last.key], last.value)
        ok = tuple(not (v > last.high or v < last.low) for v in values)
        row = Criterion(last.group, last.where, last.unit, last.low, last.high, 0.0,
                        last.model, last.note)  # fmt: skip
        rows.append(_row(row, values, (ok[0], ok[1])))
    return tuple(rows)


def _coverage(before: Scene, after: Scene, criteria: Criteria) -> tuple[ScoreRow, ...]:
    """Per seat, how many of the early reflection points are quiet enough; informs only."""
    rows = []
    for family in criteria.families:
        if not (isinstance(family, EarlyFamily) and family.covers):
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


def reasons(room: Room, scene: Scene, after: Judged, groups: list[list[Piece]]) -> list[str]:
    """Why each group of pieces (a pair, a single) is there: what gets worse without it.

    Every figure is re-evaluated without the group, not read from the optimiser's table; the
    corrections of fuller models are those of the whole plan.
    """
    everything = [piece for group in groups for piece in group]
    texts = []
    for group in groups:
        rest = [p for p in everything if not any(p is mine for mine in group)]
        texts.append(_reason(after, after.criteria.quantities(treated(room, scene, rest))))
    return texts


def _reason(after: Judged, without: Floats) -> str:
    loss, row = after.lost(without)
    rows, values = after.criteria.rows, (after.values, after.read(without))
    parts = [
        f"{rows[k].key} {_show(values[0][k])} instead of {_show(values[1][k])} {rows[k].unit}"
        for k in row[np.argsort(-loss, kind="stable")[:2]]
        if loss[after.criteria.told_of[k]] > 1e-9
    ]
    return "; ".join(parts) if parts else "keeps the balance of the others"


def _show(value: float) -> str:
    return f"{value:.2f}"
