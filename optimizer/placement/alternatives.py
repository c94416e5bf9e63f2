"""Other plans nearly as good as the best that differ really: in kinds of product or in places.

Candidates fall into groups by kind of product and part of the room. Two plans differ by the share
of their treated area that lies in other groups: half the sum over the groups of the difference of
their shares (the total variation distance of the two distributions), 0 for the same, 1 for nothing
in common. Moving a panel a little along its wall, or taking a thicker one, is no difference.
"""

import math
import time
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from optimizer.placement.candidates import Candidate
from optimizer.placement.effects import Effects
from optimizer.placement.effort import Effort
from optimizer.placement.order import Ints
from optimizer.placement.plan import Selection, greedy, judged, prune, select
from optimizer.placement.program import Other, build_apart, matrices
from optimizer.placement.proof import Held, Problem, Report, objective, prove
from optimizer.placement.solver import NEGLIGIBLE
from optimizer.placement.stages import ROUGH, remaining
from optimizer.room.geometry import Floats
from optimizer.room.model import Room, Surface

WITHIN = 0.03  # how much worse than the best an alternative may be
APART = 0.25  # share of the treated area that must lie in other groups
TOLERANCE = 1e-6  # of the solver, on shares of the area
FIRST_SHARE = 0.3  # of an alternative's effort: one to begin from
MIDDLE = 0.25  # a surface shorter than this share of the room's length is one part


@dataclass(frozen=True)
class Groups:
    """Candidates by kind of product and part of the room.

    `label` (C,) index of each candidate's group, `area` (C,) its faces in m2, `names` (G,).
    """

    label: Ints
    area: Floats
    names: tuple[str, ...]

    def areas(self, chosen: Ints) -> Floats:
        """Treated area (G,) of a selection in each group, m2."""
        areas = np.bincount(self.label[chosen], self.area[chosen], len(self.names))
        return np.asarray(areas, dtype=np.float64)

    def shares(self, chosen: Ints) -> Floats:
        """Share (G,) of a selection's treated area in each group; all zero for no area."""
        areas = self.areas(chosen)
        total = areas.sum()
        return np.asarray(areas / total if total > 0 else areas)

    def difference(self, first: Ints, second: Ints) -> float:
        """Share of the treated area, 0 to 1, that lies in other groups.

        A selection without area differs wholly from one that has some.
        """
        one, two = self.shares(first), self.shares(second)
        if (one.sum() > 0) != (two.sum() > 0):
            return 1.0
        return float(np.abs(one - two).sum() / 2)


@dataclass(frozen=True)
class Alternatives:
    """Selections found (K), best first, and why there are no more.

    `difference` (K + 1, K + 1) between the best plan (row 0) and the alternatives. `proven` is
    True where fewer than asked for were found because no other lies within the percentage.
    """

    plans: tuple[Selection, ...]
    difference: Floats
    proven: bool
    seconds: float


def groups_of(room: Room, candidates: Sequence[Candidate]) -> Groups:
    """Groups of candidates: kind of product, and surface, split in the middle of the room.

    A mirrored pair lies on both side walls; a piece that stands across a corner has both walls in
    its name. Surfaces that run along the room have a front and a back half.
    """
    names = [_group_name(room, candidate) for candidate in candidates]
    unique = tuple(sorted(set(names)))
    order = {name: i for i, name in enumerate(unique)}
    area = [sum(piece.face_area for piece in candidate.pieces) for candidate in candidates]
    label = np.array([order[name] for name in names], dtype=np.int64)
    return Groups(label, np.array(area, dtype=np.float64), unique)


def _group_name(room: Room, candidate: Candidate) -> str:
    walls = sorted({piece.surface for piece in candidate.pieces})
    name = f"{candidate.product.kind} on {' and '.join(walls)}"
    first = candidate.pieces[0]
    if len(first.rects) == 1 and _runs_along(room, room.surface(first.surface)):
        low, high = _span(room)
        half = "front" if float(first.box[:, 0].mean()) < (low + high) / 2 else "back"
        return f"{name}, {half} half"
    return name


def _runs_along(room: Room, surface: Surface) -> bool:
    low, high = _span(room)
    x = surface.plane.to_xyz(surface.plane.polygon)[:, 0]
    return bool(x.max() - x.min() > MIDDLE * (high - low))


def _span(room: Room) -> tuple[float, float]:
    """Where the room begins and ends along x."""
    x = np.concatenate([s.plane.to_xyz(s.plane.polygon)[:, 0] for s in room.surfaces])
    return float(x.min()), float(x.max())


def alternatives(
    effects: Effects,
    groups: Groups,
    best: Ints,
    count: int,
    within: float = WITHIN,
    apart: float = APART,
    gap: float = 0.01,
    limit: float | Effort = math.inf,
    report: Report | None = None,
) -> Alternatives:
    """Up to `count` selections that differ from the best, and from each other, by `apart`.

    Each is the best of those that do, to the gap or as far as an effort for each or a time in s
    goes; its bound holds for those only. `within`: how much worse than the best its objective may
    be, as a share of it (objectives below 0.01 count as that). ValueError for shares out of range.
    """
    if count < 1 or not 0 <= within < math.inf or not 0 < apart <= 1:
        raise ValueError("give a count from 1, a percentage from 0, a difference in (0, 1]")
    began, effort = time.monotonic(), Effort.of(limit)
    value = objective(effects, best)
    most = value + within * max(value, NEGLIGIBLE) + 1e-9
    found: list[Selection] = []
    held, bound = [best], 0.0
    proven = groups.areas(best).sum() <= 0  # nothing hung: no share of it can lie elsewhere
    while len(found) < count and not proven and not effort.guard.over():
        other = _next(effects, groups, held, apart, bound, most, gap, effort, report)
        if other.objective > most:
            proven = other.bound >= most
            break
        found.append(other)
        held.append(other.chosen)
        bound = other.bound  # the next one keeps apart from more
    found.sort(key=lambda selection: selection.objective)
    rows = [best, *(selection.chosen for selection in found)]
    table = np.array([[groups.difference(a, b) for b in rows] for a in rows])
    return Alternatives(tuple(found), table, proven, time.monotonic() - began)


def _next(
    effects: Effects,
    groups: Groups,
    held: Sequence[Ints],
    apart: float,
    known_bound: float,
    worst: float,
    gap: float,
    effort: Effort,
    report: Report | None,
) -> Selection:
    """The best selection that differs from all these by enough."""
    began = time.monotonic()
    limits = _most_area(effects, groups)
    others = [Other(groups.area, groups.label, groups.shares(o), limits, apart) for o in held]

    def differs(chosen: Ints) -> bool:
        return all(groups.difference(chosen, o) >= apart - TOLERANCE for o in held)

    def polish(selections: Held) -> Held:
        return (prune(effects, selections[0], differs),)

    def extra(selections: Held) -> dict[str, float]:
        areas = groups.areas(selections[0])
        return {
            f"b[{j},{g}]": float(areas[g] > other.share[g] * areas.sum())
            for j, other in enumerate(others)
            for g in np.flatnonzero(other.share > 0)
        }

    first = _first(effects, groups, held, apart, effort.share(FIRST_SHARE))
    program = matrices(build_apart(effects, others))
    problem = Problem(program, {"": effects}, (1.0,), polish, extra, known_bound, worst)
    (chosen,), bound = prove(problem, (first,), gap, effort, report)
    return judged(effects, chosen, bound, gap, time.monotonic() - began)


def _most_area(effects: Effects, groups: Groups) -> Floats:
    """Area (G,) that a plan could have in each group at most, by pieces at hand and money."""
    each = groups.area / effects.pieces
    most = np.zeros(len(groups.names))
    for g in range(len(groups.names)):
        inside = groups.label == g
        owned, bought = 0.0, 0.0
        for p in np.unique(effects.product[inside]):
            largest = float(each[inside & (effects.product == p)].max())
            price, pack = int(effects.price_cents[p]), int(effects.pack[p])
            packs = effects.budget_cents / price if price else math.inf
            owned += largest * float(effects.owned[p])
            bought = max(bought, largest * pack * packs)
        most[g] = min(owned + bought, float(groups.area[inside].sum()))
    return most


def _first(
    effects: Effects, groups: Groups, held: Sequence[Ints], apart: float, effort: Effort
) -> Ints:
    """A selection that uses none of the groups where the others have their area.

    Leaving out groups that hold `apart` of a plan's area makes any selection differ by that much.
    The largest groups are left out, or the smallest; the more promising way is solved roughly.
    """
    ways = []
    for order in (-1, 1):
        allowed = _without(groups, held, apart, order)
        sub, index = remaining(effects, np.zeros(0, dtype=np.int64), allowed)
        ways.append((sub, index, greedy(sub)))
    sub, index, start = min(ways, key=lambda way: objective(effects, way[1][way[2]]))
    return np.asarray(index[select(sub, ROUGH, effort, start=start).chosen])


def _without(groups: Groups, held: Sequence[Ints], apart: float, order: int) -> NDArray[np.bool_]:
    """Candidates (C,) outside the groups left out for each of these plans."""
    allowed = np.ones(len(groups.label), dtype=bool)
    for chosen in held:
        shares = groups.shares(chosen)
        ranked = [g for g in np.argsort(order * shares, kind="stable") if shares[g] > 0]
        upto = int(np.searchsorted(np.cumsum(shares[ranked]), apart - TOLERANCE)) + 1
        allowed &= ~np.isin(groups.label, ranked[:upto])
    return allowed
