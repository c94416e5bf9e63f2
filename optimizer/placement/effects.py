"""The table [criterion row x candidate]: what each placement does to each criterion."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property, partial

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from optimizer.acoustics.criteria import Criteria
from optimizer.acoustics.scene import Patches, Scene
from optimizer.placement.candidates import Candidate
from optimizer.placement.catalogue import Product
from optimizer.placement.cover import cover_rows
from optimizer.placement.order import NO_ORDER, Order
from optimizer.placement.pieces import Piece, piece_patches
from optimizer.placement.spending import Purchase, purchases
from optimizer.room.geometry import Floats
from optimizer.room.model import Room

Ints = NDArray[np.int64]


@dataclass(frozen=True)
class Effects:
    """All the program needs, as arrays: K criteria, C candidates, P products.

    A product counts once for each cost of hanging it (`spending.purchases`). `base` (K,) linear
    quantities of the room as it is, `change` (K, C), `product` (C,) index,
    `pieces` (C,) how many pieces a candidate uses, `cover` sets of candidates that exclude each
    other, `price_cents` of a pack with its sundries, `pack`, `owned` (P,), `budget_cents`,
    `wished` sets of candidates of each of which at least one is wanted (one alone: it is pinned),
    and the `order` that selections keep to.
    """

    criteria: Criteria
    base: Floats
    change: Floats
    product: Ints
    pieces: Ints
    cover: tuple[Ints, ...]
    price_cents: Ints
    pack: Ints
    owned: Ints
    budget_cents: int
    wished: tuple[Ints, ...] = ()
    order: Order = NO_ORDER

    @property
    def count(self) -> int:
        """Number of candidates C."""
        return len(self.product)

    @cached_property
    def _exclusions(self) -> sparse.csr_array:
        """Which candidates (J, C) each set of `cover` holds."""
        size = np.array([len(row) for row in self.cover], dtype=np.int64)
        place = np.repeat(np.arange(len(size)), size)
        member = np.array([c for row in self.cover for c in row.tolist()], dtype=np.int64)
        shape = (len(size), self.count)
        return sparse.csr_array((np.ones(len(member)), (place, member)), shape=shape)

    def excluded(self, chosen: Ints) -> NDArray[np.bool_]:
        """Candidates (C,) that cannot be hung beside a selection; it is among them."""
        taken = np.zeros(self.count)
        taken[chosen] = 1.0
        sets = self._exclusions
        return np.asarray((sets.T @ (sets @ taken) > 0) | (taken > 0))

    def quantities(self, chosen: Ints) -> Floats:
        """Linear quantities (K,) with the candidates of these indices."""
        return np.asarray(self.base + self.change[:, chosen].sum(axis=1))

    def score(self, chosen: Ints) -> float:
        """Weighted excess with the candidates of these indices."""
        return self.criteria.score(self.quantities(chosen))

    def granted(self, chosen: Ints) -> bool:
        """Whether a selection has one of every set that is wished for."""
        return all(bool(np.isin(row, chosen).any()) for row in self.wished)

    def packs(self, chosen: Ints) -> Ints:
        """Packs to buy (P,) for the candidates of these indices, owned pieces used first."""
        used = np.bincount(self.product[chosen], self.pieces[chosen], len(self.pack))
        missing = np.maximum(used - self.owned, 0)
        return np.asarray(np.ceil(missing / self.pack - 1e-9), dtype=np.int64)

    def cost_cents(self, chosen: Ints) -> int:
        """Price of the packs to buy, in cents."""
        return int(self.packs(chosen) @ self.price_cents)

    def with_more(
        self, added: "Effects", cover: Iterable[Ints], order: Order, first: int = 0
    ) -> "Effects":
        """The same decision with the candidates of another table of these criteria behind its own.

        `cover` and `order` are of all of them; a purchase of the other is `first` behind.
        """
        return replace(
            self,
            change=np.concatenate([self.change, added.change], axis=1),
            product=np.concatenate([self.product, added.product + first]),
            pieces=np.concatenate([self.pieces, added.pieces]),
            cover=tuple(cover),
            order=order,
        )


def effects_table(
    room: Room,
    scene: Scene,
    criteria: Criteria,
    candidates: tuple[Candidate, ...],
    products: tuple[Product, ...],
    budget_cents: int,
    cover: bool = True,
) -> Effects:
    """The effects of candidates in a room; without `cover` they are not asked which exclude each
    other, for where they join others (`Effects.with_more`)."""
    bought = purchases(products)
    return Effects(
        criteria=criteria,
        base=criteria.quantities(scene),
        change=by_candidate(room, candidates, len(criteria.rows), partial(criteria.effects, scene)),
        product=_purchase_of(candidates, bought),
        pieces=np.array([len(c.pieces) for c in candidates], dtype=np.int64),
        cover=tuple(cover_rows(room, candidates)) if cover else (),
        price_cents=np.array([p.outlay_cents for p in bought], dtype=np.int64),
        pack=np.array([p.product.pack for p in bought], dtype=np.int64),
        owned=np.array([p.product.owned for p in bought], dtype=np.int64),
        budget_cents=budget_cents,
    )


def _purchase_of(candidates: tuple[Candidate, ...], bought: tuple[Purchase, ...]) -> Ints:
    """Index (C,) of the purchase that each candidate's pieces belong to, the dearest of a pair."""
    order = {(b.product.id, mounting): i for i, b in enumerate(bought) for mounting in b.mountings}
    outlay = [b.outlay_cents for b in bought]
    ways = ([order[c.product.id, piece.mounting] for piece in c.pieces] for c in candidates)
    return np.array([max(w, key=lambda i: outlay[i]) for w in ways], dtype=np.int64)


def by_candidate(
    room: Room,
    candidates: Sequence[Candidate],
    rows: int,
    effects: Callable[[Patches], Floats],
) -> Floats:
    """What candidates do (rows, C), summed over their patches, of which `effects` gives what each
    does (rows, N)."""
    pieces: list[Piece] = [p for c in candidates for p in c.pieces]
    each = np.array([i for i, c in enumerate(candidates) for _ in c.pieces], dtype=np.int64)
    patches, piece = piece_patches(room, pieces, together=each)
    table = np.zeros((rows, len(candidates)))
    if len(patches):
        np.add.at(table.T, each[piece], effects(patches).T)
    return table
