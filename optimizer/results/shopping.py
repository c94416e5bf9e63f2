"""The shopping list: what to buy in whole packs, what is at hand, totals in whole cents.

Three kinds of line: the pieces themselves, the sundries to hang them, one delivery from each
supplier that something is bought from. What is at hand is used first. Pieces at hand are taken to
come with their sundries.
"""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from optimizer.placement.catalogue import Product
from optimizer.placement.pieces import Piece
from optimizer.placement.spending import delivery_cents
from optimizer.placement.sundries import Sundry, uses_for


@dataclass(frozen=True)
class Delivery:
    """What a supplier asks for bringing it all, once."""

    supplier: str
    price_cents: int
    pack: int = 1

    @property
    def id(self) -> str:
        """The line's name for programs."""
        return f"delivery:{self.supplier}"

    @property
    def name(self) -> str:
        """The line's name for people."""
        return f"delivery by {self.supplier}"


@dataclass(frozen=True)
class ShoppingLine:
    """One thing to buy or to take from what is at hand. `needed` and `owned` in single items."""

    product: Product | Sundry | Delivery
    needed: int
    owned: int
    packs: int

    @property
    def total_cents(self) -> int:
        """Price of the packs."""
        return self.packs * self.product.price_cents

    @property
    def left_over(self) -> int:
        """Items left when the plan is hung."""
        return self.owned + self.packs * self.product.pack - self.needed

    @property
    def supplier(self) -> str:
        """Where it is bought; blank when the price list does not say."""
        return self.product.supplier


def shopping_list(
    pieces: Sequence[Piece],
    products: Sequence[Product],
    delivery: Mapping[str, float] | None = None,
) -> tuple[ShoppingLine, ...]:
    """Lines of all that the pieces take: products in the order of the price list, sundries,
    deliveries by supplier.

    `products` as in the price list, with all that is owned; `delivery` an amount per supplier.
    """
    used: dict[str, list[Piece]] = {}
    for piece in pieces:
        used.setdefault(piece.product.id, []).append(piece)
    lines = [_line(p, len(used[p.id]), 0) for p in products if p.id in used]
    bought = [*lines, *_sundry_lines(products, used)]
    return (*bought, *_deliveries(bought, delivery or {}))


def _line(item: Product | Sundry, needed: int, at_hand: int) -> ShoppingLine:
    """A line of an item of which some are at hand besides those the price list says are owned."""
    owned = min(at_hand + item.owned, needed)
    return ShoppingLine(item, needed, owned, -(-(needed - owned) // item.pack))


def _sundry_lines(
    products: Sequence[Product], used: Mapping[str, Sequence[Piece]]
) -> list[ShoppingLine]:
    needed: Counter[Sundry] = Counter()
    at_hand: Counter[Sundry] = Counter()
    for product in products:
        for index, piece in enumerate(used.get(product.id, ())):
            for use in uses_for(product.sundries, piece.mounting):
                needed[use.sundry] += use.count
                at_hand[use.sundry] += use.count if index < product.owned else 0
    return [_line(sundry, count, at_hand[sundry]) for sundry, count in needed.items()]


def _deliveries(
    bought: Sequence[ShoppingLine], delivery: Mapping[str, float]
) -> list[ShoppingLine]:
    costs = delivery_cents(delivery)
    suppliers = {line.supplier for line in bought if line.packs}
    return [
        ShoppingLine(Delivery(supplier, costs[supplier]), 1, 0, 1)
        for supplier in sorted(suppliers & set(costs))
    ]


def total_cents(lines: Sequence[ShoppingLine]) -> int:
    """Price of the whole list in cents."""
    return sum(line.total_cents for line in lines)


def money(cents: int, currency: str) -> str:
    """ "1 234.50 EUR"."""
    return f"{cents / 100:,.2f}".replace(",", " ") + f" {currency}"
