"""The shopping list: pieces counted into packs, owned ones first, totals in whole cents."""

from collections.abc import Sequence
from dataclasses import dataclass

from optimizer.placement.catalogue import Product
from optimizer.placement.pieces import Piece


@dataclass(frozen=True)
class ShoppingLine:
    """One product to buy. Prices in cents; `needed` and `owned` in pieces."""

    product: Product
    needed: int
    owned: int
    packs: int

    @property
    def total_cents(self) -> int:
        """Price of the packs."""
        return self.packs * self.product.price_cents

    @property
    def left_over(self) -> int:
        """Pieces left when the plan is hung."""
        return self.owned + self.packs * self.product.pack - self.needed


def shopping_list(pieces: Sequence[Piece], products: Sequence[Product]) -> tuple[ShoppingLine, ...]:
    """Lines for every product the pieces use, in the order of the price list."""
    lines = []
    for product in products:
        needed = sum(piece.product.id == product.id for piece in pieces)
        if needed:
            owned = min(product.owned, needed)
            packs = -(-(needed - owned) // product.pack)
            lines.append(ShoppingLine(product, needed, owned, packs))
    return tuple(lines)


def total_cents(lines: Sequence[ShoppingLine]) -> int:
    """Price of the whole list in cents."""
    return sum(line.total_cents for line in lines)


def money(cents: int, currency: str) -> str:
    """ "1 234.50 EUR"."""
    return f"{cents / 100:,.2f}".replace(",", " ") + f" {currency}"
