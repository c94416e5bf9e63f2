"""What plans that were judged teach about others near them.

Fuller models judge a plan otherwise than the table of effects said. How much otherwise is put down
to where the plan differs from the one that the table is about: the least correction, spread over
the walls, that explains every plan judged. What lies on the same piece of wall shares it, pieces of
one kind wholly and others half.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from optimizer.placement.candidates import Candidate
from optimizer.placement.order import Ints
from optimizer.room.geometry import Floats

DOUBT = 0.1  # of each lesson: how far the wall alone does not explain it


@dataclass(frozen=True)
class Lesson:
    """A plan judged: its candidates, and its quantities (K,) as the models saw them."""

    plan: frozenset[Candidate]
    quantities: Floats


def corrected_change(
    change: Floats,
    candidates: Sequence[Candidate],
    about: Ints,
    now: Floats,
    lessons: Sequence[Lesson],
) -> Floats:
    """The table (K, C) with a correction that explains lessons about a selection (N,), whose
    quantities are `now` (K,).

    Of all corrections that are sums over the wall that a candidate covers, the one of least square
    (kriging with `alike` as covariance; each lesson with DOUBT of its own).
    """
    place = {candidate: index for index, candidate in enumerate(candidates)}
    told = [lesson for lesson in lessons if lesson.plan <= place.keys()]
    step = np.zeros((len(told), len(candidates)))
    for row, lesson in zip(step, told, strict=True):
        row[[place[c] for c in lesson.plan]] += 1.0
        row[about] -= 1.0
    differ = np.abs(step).sum(axis=1) > 0
    step, told = step[differ], [lesson for lesson, d in zip(told, differ, strict=True) if d]
    if not told:
        return change
    off = np.array([lesson.quantities - now for lesson in told]) - step @ change.T  # (S, K)
    used = np.flatnonzero(np.abs(step).sum(axis=0))
    over = step[:, used] @ alike([candidates[c] for c in used.tolist()], candidates)  # (S, C)
    among = over @ step.T
    among += DOUBT * np.diag(np.diag(among))
    return np.asarray(change + np.linalg.solve(among, off).T @ over)


def alike(some: Sequence[Candidate], everything: Sequence[Candidate]) -> Floats:
    """Area in m2 (S, C) of wall that two candidates both cover, half of it where what they hang
    there is not the same."""
    mine, all_ = (_footprints(candidates) for candidates in (some, everything))
    kinds = {kind: n for n, kind in enumerate(dict.fromkeys(map(_kind, (*some, *everything))))}
    one, two = (np.array([kinds[_kind(c)] for c in own]) for own in (some, everything))
    found = np.zeros((len(some), len(everything)))
    for name in mine.keys() & all_.keys():
        (own, a), (other, b) = mine[name], all_[name]
        low = np.maximum(a[:, None, :2], b[None, :, :2])
        high = np.minimum(a[:, None, 2:], b[None, :, 2:])
        np.add.at(found, (own[:, None], other), np.clip(high - low, 0.0, None).prod(axis=2))
    return np.where(one[:, None] == two, found, 0.5 * found)


def _kind(candidate: Candidate) -> tuple[str, int]:
    return candidate.product.id, candidate.pieces[0].fitting


def _footprints(candidates: Sequence[Candidate]) -> dict[str, tuple[Ints, Floats]]:
    """For each surface which candidate (N,) lies there, and where (N, 4)."""
    rows: dict[str, list[tuple[int, tuple[float, ...]]]] = {}
    for index, candidate in enumerate(candidates):
        for piece in candidate.pieces:
            for name, rect in piece.rects:
                rows.setdefault(name, []).append((index, rect))
    return {
        name: (np.array([i for i, _ in found], dtype=np.int64), np.array([r for _, r in found]))
        for name, found in rows.items()
    }
