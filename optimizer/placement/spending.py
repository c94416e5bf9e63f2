"""What of a budget is kept back before the plan, so that the shopping list never exceeds it.

The program counts packs, each at its price and the sundries to hang all its pieces. A product that
takes dearer sundries in one mounting than in another is counted apart for each (`Purchase`), as if
packs were not shared between them. Two costs come once and not per pack, and are set aside at
their most: the delivery of every supplier a product or its sundries may come from, and a part-used
last pack of every sundry. The shopping list then charges only what is truly bought, which is never
more.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from optimizer.faults import Fault
from optimizer.placement.catalogue import Product
from optimizer.placement.sundries import Sundry, hanging_cents, uses_for
from optimizer.room.reading import nearest
from optimizer.room.scenario import Scenario


@dataclass(frozen=True)
class Purchase:
    """Pieces of one product whose packs are counted together, whichever of `mountings` they use."""

    product: Product
    mountings: tuple[str, ...]

    @property
    def outlay_cents(self) -> int:
        """Most that a pack costs with the sundries to hang its pieces."""
        product = self.product
        ways = (hanging_cents(product.sundries, m, product.pack) for m in self.mountings)
        return product.price_cents + max(ways, default=0)


def purchases(products: Iterable[Product]) -> tuple[Purchase, ...]:
    """Products as the program counts them, in their order.

    Mountings that cost the same stay together, and so do all mountings of a product of which some
    pieces are at hand, at the dearest.
    """
    found: list[Purchase] = []
    for product in products:
        alike: dict[int, list[str]] = {}
        for mounting in product.mountings:
            cost = hanging_cents(product.sundries, mounting, product.pack)
            alike.setdefault(0 if product.owned else cost, []).append(mounting)
        found += (Purchase(product, tuple(mountings)) for mountings in alike.values())
    return tuple(found)


@dataclass(frozen=True)
class SetAside:
    """Cents kept back from the budget."""

    deliveries: int
    part_packs: int

    @property
    def total(self) -> int:
        """Both together."""
        return self.deliveries + self.part_packs


def delivery_cents(delivery: Mapping[str, float]) -> dict[str, int]:
    """Cents of one delivery by each supplier."""
    return {supplier: int(round(amount * 100)) for supplier, amount in delivery.items()}


def sundries_of(product: Product) -> frozenset[Sundry]:
    """Sundries that a product may take, mounted in any way it still may be."""
    uses = (use for mounting in product.mountings for use in uses_for(product.sundries, mounting))
    return frozenset(use.sundry for use in uses)


def suppliers_of(product: Product) -> frozenset[str]:
    """Suppliers that a product and its sundries come from; a blank label is no supplier."""
    named = {product.supplier, *(sundry.supplier for sundry in sundries_of(product))}
    return frozenset(named - {""})


def set_aside(products: Iterable[Product], delivery: Mapping[str, float]) -> SetAside:
    """What is kept back when any of these products may be bought."""
    listed = tuple(products)
    costs = delivery_cents(delivery)
    suppliers = {supplier for product in listed for supplier in suppliers_of(product)}
    sundries = {sundry for product in listed for sundry in sundries_of(product)}
    return SetAside(
        deliveries=sum(costs.get(supplier, 0) for supplier in suppliers),
        part_packs=sum(sundry.part_pack_cents for sundry in sundries),
    )


def budget_faults(
    scenario: Scenario, products: Sequence[Product], usable: Sequence[Product]
) -> Iterator[Fault]:
    """Deliveries by suppliers that the price list names, and a budget that buys something.

    `products` is the whole price list, `usable` what the limits leave of it (not empty).
    """
    budget, file = scenario.budget, scenario.file
    known = sorted({supplier for product in products for supplier in suppliers_of(product)})
    for supplier, amount in budget.delivery.items():
        if supplier not in known:
            hint = nearest(supplier, known) if known else "it names none in a column supplier"
            remedy = f"no piece of the price list, nor its sundries, comes from there; {hint}"
            yield Fault(file, f"budget.delivery.{supplier}", amount, remedy)
    for purchase in purchases(usable):
        product = purchase.product
        if purchase.outlay_cents == 0 and set_aside([product], budget.delivery).deliveries:
            remedy = "is free, but its delivery is not: give it a price of at least 0.01"
            yield Fault(str(scenario.catalogue_path), "price", product.id, remedy)
    yield from _buys_nothing(scenario, usable)


def _buys_nothing(scenario: Scenario, usable: Sequence[Product]) -> Iterator[Fault]:
    """A budget above zero buys the cheapest pack, unless pieces are at hand."""
    budget = scenario.budget
    kept = set_aside(usable, budget.delivery).total
    cheapest = min(purchases(usable), key=lambda p: 0 if p.product.owned else p.outlay_cents)
    cents = round(budget.amount * 100)
    if cheapest.product.owned or not 0 < cents < kept + cheapest.outlay_cents:
        return
    price = f'"{cheapest.product.name}" at {cheapest.outlay_cents / 100:.2f} {budget.currency}'
    if cheapest.outlay_cents > cheapest.product.price_cents:
        price += " with what hangs it"
    if kept:
        price += f", and {kept / 100:.2f} is kept back for deliveries and part-used packs"
    remedy = f"buys nothing: the cheapest pack is {price}; raise it or set 0"
    yield Fault(scenario.file, "budget.amount", budget.amount, remedy)
