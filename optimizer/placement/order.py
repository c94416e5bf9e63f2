"""Rules of order as arrays: what a selection must keep to, and the linear rows that say so.

Each rule is worked out from the candidates once. A plan is held to them in the program (`rows`), by
every search beside it (`open`, `holds`), and after it (optimizer.placement.neat, on whose
definitions the arrays are built in optimizer.placement.orderly).
"""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from itertools import combinations_with_replacement, pairwise
from typing import Protocol

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from optimizer.room.geometry import Floats

Ints = NDArray[np.int64]
Mask = NDArray[np.bool_]
NONE = np.zeros(0, dtype=np.int64)


@dataclass(frozen=True)
class Rows:
    """A x + B y <= high: A (J, C) on the candidates, B (J, Y) on columns of the rule from 0 to 1,
    of which the first `whole` are yes or no."""

    A: sparse.csr_array
    B: sparse.csr_array
    high: Floats
    whole: int


class Rule(Protocol):
    """One rule over C candidates."""

    @property
    def name(self) -> str:
        """The family of constraints in the program."""

    @property
    def rows(self) -> Rows:
        """The rule as linear rows: x fits exactly when some y does."""

    def holds(self, chosen: Ints) -> bool:
        """Whether a selection keeps to it."""

    def open(self, chosen: Ints) -> Mask:
        """Candidates (C,) with which the selection keeps to it, one at a time."""

    def columns(self, chosen: Ints) -> Floats:
        """Values of y (Y,) for a selection that keeps to it."""


@dataclass(frozen=True)
class Lines:
    """Pieces of each group lie on at most so many lines; a group is a wall, or what it mirrors.

    `on[g]` (S, L): which lines of group g a height lies on; `heights[g]` (C, S): which heights of
    it a candidate takes; `cliques[g]`: heights, and candidates that take them of which at most one
    can be chosen.
    """

    name: str
    most: int
    on: tuple[Mask, ...]
    heights: tuple[sparse.csr_array, ...]
    cliques: tuple[tuple[tuple[int, Ints], ...], ...]

    @cached_property
    def rows(self) -> Rows:
        """sum of x over a clique at height s <= sum of y over the lines of s; sum of y <= most."""
        count = self.heights[0].shape[0] if self.heights else 0
        place = np.cumsum([0, *(on.shape[1] for on in self.on)])
        at, through, high = [], [], []
        for g, on in enumerate(self.on):
            for height, members in self.cliques[g]:
                at.append(members)
                through.append((place[g] + np.flatnonzero(on[height]), -1.0))
                high.append(0.0)
            at.append(NONE)
            through.append((np.arange(place[g], place[g + 1]), 1.0))
            high.append(float(self.most))
        A = filled([(members, 1.0) for members in at], count)
        lines = int(place[-1])
        return Rows(A, filled(through, lines), np.array(high), lines)

    @cached_property
    def _held(self) -> tuple[tuple[Ints, Mask, Ints], ...]:
        """For each group: sets of lines (N, most), which heights together (N, H) each set holds,
        and which of these (C,) a candidate takes."""
        return tuple(
            self._sets(on, heights) for on, heights in zip(self.on, self.heights, strict=True)
        )

    def _sets(self, on: Mask, heights: sparse.csr_array) -> tuple[Ints, Mask, Ints]:
        sets = np.array(list(combinations_with_replacement(range(on.shape[1]), self.most)))
        missed = ~on[:, sets].any(axis=2)  # (S, N)
        taken: dict[bytes, int] = {}  # candidates at the same heights are held by the same sets
        ends = heights.indptr.tolist()
        each = (heights.indices[a:b].tobytes() for a, b in pairwise(ends))
        which = np.array([taken.setdefault(key, len(taken)) for key in each], dtype=np.int64)
        first = np.unique(which, return_index=True)[1]
        beside = np.asarray(heights[first] @ missed.astype(np.float64).reshape(len(on), -1))
        return sets, np.asarray(beside == 0).T, which

    def holds(self, chosen: Ints) -> bool:
        """Whether in each group some set of lines holds all of the selection."""
        return all(
            bool(held[:, np.unique(which[chosen])].all(axis=1).any())
            for _, held, which in self._held
        )

    def open(self, chosen: Ints) -> Mask:
        """Candidates that some set of lines holds together with the selection."""
        count = self.heights[0].shape[0] if self.heights else 0
        free = np.ones(count, dtype=bool)
        for _, held, which in self._held:
            fits = held[:, np.unique(which[chosen])].all(axis=1)
            free &= np.asarray(held[fits].any(axis=0))[which]
        return free

    def columns(self, chosen: Ints) -> Floats:
        """One for the lines of the first set that holds the selection, in each group."""
        parts = []
        for on, (sets, held, which) in zip(self.on, self._held, strict=True):
            used = np.zeros(on.shape[1])
            fits = np.flatnonzero(held[:, which[chosen]].all(axis=1))
            used[sets[fits[0]] if len(fits) else NONE] = 1.0
            parts.append(used)
        return np.concatenate(parts) if parts else np.zeros(0)


@dataclass(frozen=True)
class Stacks:
    """A candidate's pieces stand on others: for each of its `needs` (candidate, those that carry).

    `count` candidates C. One that nothing carries has a need with no carriers: it is never chosen.
    """

    name: str
    count: int
    needs: tuple[tuple[int, Ints], ...]

    @cached_property
    def rows(self) -> Rows:
        """x_upper <= sum of x over what carries it."""
        parts = [((np.array([c]), 1.0), (on, -1.0)) for c, on in self.needs]
        return Rows(_rows_of(parts, self.count), _no_columns(len(parts)), np.zeros(len(parts)), 0)

    @cached_property
    def _carries(self) -> tuple[Ints, sparse.csr_array]:
        """The candidate of each need (J,), and which candidates (J, C) meet it."""
        owner = np.array([c for c, _ in self.needs], dtype=np.int64)
        return owner, filled([(on, 1.0) for _, on in self.needs], self.count)

    def holds(self, chosen: Ints) -> bool:
        """Whether all needs of the selection are met."""
        return not len(self._unmet(chosen))

    def open(self, chosen: Ints) -> Mask:
        """Candidates whose needs are met and that meet what is unmet."""
        owner, carries = self._carries
        met = carries @ _taken(chosen, self.count) > 0
        free = np.ones(self.count, dtype=bool)
        free[owner[~met]] = False
        unmet = self._unmet(chosen)
        if len(unmet):
            free &= (carries[unmet].sum(axis=0) == len(unmet)).ravel()
        return free

    def _unmet(self, chosen: Ints) -> Ints:
        owner, carries = self._carries
        taken = _taken(chosen, self.count)
        return np.flatnonzero((taken[owner] > 0) & (carries @ taken == 0))

    def columns(self, chosen: Ints) -> Floats:
        """None."""
        return np.zeros(0)


@dataclass(frozen=True)
class AtMost:
    """For each group, sum of weight[g, c] over the selection <= most; `weight` (G, C)."""

    name: str
    weight: Floats
    most: float

    @cached_property
    def rows(self) -> Rows:
        """The sums themselves."""
        groups = len(self.weight)
        high = np.full(groups, self.most)
        return Rows(sparse.csr_array(self.weight), _no_columns(groups), high, 0)

    def holds(self, chosen: Ints) -> bool:
        """Whether no sum is above the most."""
        return bool(np.all(self.weight[:, chosen].sum(axis=1) <= self.most + 1e-9))

    def open(self, chosen: Ints) -> Mask:
        """Candidates that fit beside the selection."""
        have = self.weight[:, chosen].sum(axis=1)[:, None]
        return np.asarray(np.all(have + self.weight <= self.most + 1e-9, axis=0))

    def columns(self, chosen: Ints) -> Floats:
        """None."""
        return np.zeros(0)


@dataclass(frozen=True)
class Kinds:
    """At most so many kinds of product. `kind` (C,) of each candidate, `upto` (P,) how many
    candidates of a kind can be chosen together."""

    name: str
    kind: Ints
    upto: Ints
    most: int

    @cached_property
    def rows(self) -> Rows:
        """sum of x over kind p <= upto_p y_p, and sum of y <= most."""
        kinds = len(self.upto)
        each = [(np.flatnonzero(self.kind == p), 1.0) for p in range(kinds)]
        A = filled([*each, (NONE, 1.0)], len(self.kind))
        B = np.vstack([np.diag(-self.upto.astype(float)), np.ones((1, kinds))])
        return Rows(A, sparse.csr_array(B), np.append(np.zeros(kinds), float(self.most)), kinds)

    def holds(self, chosen: Ints) -> bool:
        """Whether there are few enough kinds."""
        return len(np.unique(self.kind[chosen])) <= self.most

    def open(self, chosen: Ints) -> Mask:
        """Candidates of kinds that are there, or of any where there may be one more."""
        there = np.unique(self.kind[chosen])
        if len(there) > self.most:
            return np.zeros(len(self.kind), dtype=bool)
        return np.isin(self.kind, there) | (len(there) < self.most)

    def columns(self, chosen: Ints) -> Floats:
        """One for each kind there."""
        return np.isin(np.arange(len(self.upto)), self.kind[chosen]).astype(float)


@dataclass(frozen=True)
class Company:
    """At most a share of the counted pieces hang alone, but in plans of few pieces all may.

    `counted` (C,) pieces of each candidate that are counted. A place is where one piece may hang
    by itself: `at` (P, C) which candidates have such a piece there, `near` (P, C) which have one
    beside it. `upto`: pieces that any plan can have.
    """

    name: str
    counted: Floats
    at: sparse.csr_array
    near: sparse.csr_array
    share: float
    few: int
    upto: int

    @cached_property
    def rows(self) -> Rows:
        """With y = 1 in plans of few pieces and a_p = 1 where a piece is alone: sum of x at p
        - sum of x near p <= a_p; sum of a - share counted <= few y; counted <= few + (upto - few)
        (1 - y)."""
        places, more = self.at.shape[0], float(max(self.upto - self.few, 0))
        sums = sparse.csr_array(np.stack([-self.share * self.counted, self.counted]))
        A = sparse.csr_array(sparse.vstack([sparse.csr_array(self.at - self.near), sums]))
        each = np.arange(places)
        values = np.concatenate([-np.ones(places), [-float(self.few)], np.ones(places), [more]])
        at = np.concatenate([each, np.full(places + 1, places), [places + 1]])
        columns = np.concatenate([each + 1, [0], each + 1, [0]])
        B = sparse.csr_array((values, (at, columns)), shape=(places + 2, places + 1))
        high = np.concatenate([np.zeros(places + 1), [self.few + more]])
        return Rows(A, B, high, 1)

    def holds(self, chosen: Ints) -> bool:
        """Whether enough have company, or there are few."""
        alone = self._alone(_taken(chosen, len(self.counted)))
        return bool(self._fits(np.array(float(alone.sum())), self.counted[chosen].sum()))

    def open(self, chosen: Ints) -> Mask:
        """Candidates that leave enough in company."""
        taken = _taken(chosen, len(self.counted))
        alone = self._alone(taken)
        left = alone.sum() - (self.near.T @ alone.astype(float))
        lonely = (self.near @ taken == 0).astype(float)
        left += self._at_without_itself.T @ lonely
        return self._fits(left, self.counted[chosen].sum() + self.counted)

    @cached_property
    def _at_without_itself(self) -> sparse.csr_array:
        """Which candidates (P, C) have a piece at a place and no other of their own beside it."""
        return sparse.csr_array(self.at - self.at.multiply(self.near))

    def _alone(self, taken: Floats) -> Mask:
        return np.asarray((self.at @ taken > 0) & (self.near @ taken == 0))

    def _fits(self, alone: Floats, counted: Floats) -> Mask:
        return np.asarray((alone <= self.share * counted + 1e-9) | (counted <= self.few))

    def columns(self, chosen: Ints) -> Floats:
        """One where the plan has few pieces, then one for each place where a piece is alone."""
        few = float(self.counted[chosen].sum() <= self.few)
        return np.append(few, self._alone(_taken(chosen, len(self.counted))).astype(float))


@dataclass(frozen=True)
class Order:
    """Rules over all candidates of a room, of which `index` are decided (all where it is None) and
    `kept` are chosen already."""

    rules: tuple[Rule, ...] = ()
    index: Ints | None = None
    kept: Ints = field(default_factory=lambda: NONE)

    def holds(self, chosen: Ints) -> bool:
        """Whether a selection of the candidates decided keeps to every rule."""
        everything = self._full(chosen)
        return all(rule.holds(everything) for rule in self.rules)

    def open(self, chosen: Ints, count: int) -> Mask:
        """Candidates decided (of `count`) with which the selection keeps to every rule."""
        free = np.ones(count, dtype=bool)
        everything = self._full(chosen)
        for rule in self.rules:
            mask = rule.open(everything)
            free &= mask if self.index is None else mask[self.index]
        return free

    def columns(self, chosen: Ints) -> dict[str, float]:
        """Names and values of the rules' own columns for a selection that keeps to them."""
        everything = self._full(chosen)
        return {
            f"{rule.name}_y[{i}]": float(value)
            for rule in self.rules
            for i, value in enumerate(rule.columns(everything))
        }

    def rows(self, name: str) -> Rows | None:
        """Rows of a family over the candidates decided; None where there is no such rule."""
        rule = next((rule for rule in self.rules if rule.name == name), None)
        if rule is None:
            return None
        rows = rule.rows
        if self.index is None:
            return rows
        kept = np.asarray(rows.A[:, self.kept].sum(axis=1)).ravel()
        return Rows(rows.A[:, self.index], rows.B, rows.high - kept, rows.whole)

    def remaining(self, kept: Ints, index: Ints) -> "Order":
        """The order of what is left to decide (`index`) once more is `kept`."""
        if not self.rules:
            return self
        return replace(self, index=self._place(index), kept=self._full(kept))

    def without_broken(self, chosen: Ints) -> "Order":
        """The rules that a selection keeps to."""
        everything = self._full(chosen)
        return replace(self, rules=tuple(r for r in self.rules if r.holds(everything)))

    def _place(self, chosen: Ints) -> Ints:
        return chosen if self.index is None else self.index[chosen]

    def _full(self, chosen: Ints) -> Ints:
        return np.concatenate([self.kept, self._place(chosen)]).astype(np.int64)


NO_ORDER = Order()


def _taken(chosen: Ints, count: int) -> Floats:
    taken = np.zeros(count)
    taken[chosen] = 1.0
    return taken


def filled(parts: Sequence[tuple[Ints, float]], width: int) -> sparse.csr_array:
    """A row (width,) for each part, holding its value at its places."""
    return _rows_of([[part] for part in parts], width)


def _rows_of(rows: Sequence[Sequence[tuple[Ints, float]]], width: int) -> sparse.csr_array:
    """A row (width,) for each list of parts."""
    flat = [(row, places, value) for row, parts in enumerate(rows) for places, value in parts]
    at = np.concatenate([NONE, *(np.full(len(places), row) for row, places, _ in flat)])
    places = np.concatenate([NONE, *(places for _, places, _ in flat)])
    values = np.concatenate([np.zeros(0), *(np.full(len(p), value) for _, p, value in flat)])
    return sparse.csr_array((values, (at, places)), shape=(len(rows), width))


def _no_columns(rows: int) -> sparse.csr_array:
    return sparse.csr_array((rows, 0))
