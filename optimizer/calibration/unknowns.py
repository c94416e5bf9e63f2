"""The coefficients that a calibration may change, and how well each is known beforehand.

A coefficient is written a = a0 exp(z s), a0 the table's value, s = ln(1 + sigma/a0): z = 0 is the
table, z = 1 the table plus one sigma of its own uncertainty (the larger of the spread between
sources and that between laboratories, materials.spread). On this scale every coefficient is as
likely to be off by z in either direction, stays positive, and has the same standard deviation.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from materials import Material
from optimizer.placement.catalogue import Product
from optimizer.placement.pieces import Piece
from optimizer.room.geometry import Floats
from optimizer.room.model import Room

SMALLEST = 1e-3  # coefficient or m2 below which a table value counts as this


@dataclass(frozen=True)
class Unknowns:
    """M materials by id. Arrays (M, 8) over octave bands."""

    materials: tuple[Material, ...]

    @property
    def prior(self) -> Floats:
        """The table's coefficients (M, 8), or areas in m2 per item."""
        values = np.array([m.absorption for m in self.materials], dtype=np.float64)
        return np.maximum(values, SMALLEST)

    @property
    def scale(self) -> Floats:
        """What one unit of z does to the logarithm of a coefficient (M, 8)."""
        spread = np.array([m.spread for m in self.materials], dtype=np.float64)
        return np.asarray(np.log1p(spread / self.prior))

    def values(self, z: Floats) -> Floats:
        """Coefficients (M, 8) at z (M, 8)."""
        return np.asarray(self.prior * np.exp(z * self.scale))

    def sigma(self, z: Floats, z_sigma: Floats) -> Floats:
        """One standard deviation (M, 8) of the coefficients, from that of z (M, 8)."""
        return np.asarray(self.values(z) * np.expm1(z_sigma * self.scale))

    def table(self, z: Floats) -> dict[str, Material]:
        """The materials at z, by id."""
        rows = zip(self.materials, self.values(z).tolist(), strict=True)
        return {m.id: replace(m, absorption=tuple(row)) for m, row in rows}


def unknowns_of(rooms: Iterable[tuple[Room, Sequence[Piece]]]) -> Unknowns:
    """Every material that the rooms and the pieces in them show, in a fixed order.

    What is computed from a build (materials.made) is left as it is.
    """
    found: dict[str, Material] = {}
    for room, pieces in rooms:
        for material in _materials(room, pieces):
            if material.build is None:
                found.setdefault(material.id, material)
    return Unknowns(tuple(found[key] for key in sorted(found)))


def _materials(room: Room, pieces: Sequence[Piece]) -> Iterable[Material]:
    for surface in room.surfaces:
        yield surface.material
        yield from (area.material for area in surface.areas)
    yield from (item.material for item in room.furniture)
    yield from (piece.product.fittings[piece.fitting].material for piece in pieces)


def with_materials(room: Room, table: dict[str, Material]) -> Room:
    """The room with the materials of a table in place of those of the same id."""

    def new(material: Material) -> Material:
        return table.get(material.id, material)

    surfaces = tuple(
        replace(
            s,
            material=new(s.material),
            areas=tuple(replace(a, material=new(a.material)) for a in s.areas),
        )
        for s in room.surfaces
    )
    furniture = tuple(replace(f, material=new(f.material)) for f in room.furniture)
    return replace(room, surfaces=surfaces, furniture=furniture)


def made_of(pieces: Sequence[Piece], table: dict[str, Material]) -> list[Piece]:
    """The pieces, made of the materials of a table."""
    return [replace(piece, product=product_of(piece.product, table)) for piece in pieces]


def product_of(product: Product, table: dict[str, Material]) -> Product:
    """The product, made of the materials of a table."""
    fittings = tuple(
        replace(f, material=table.get(f.material.id, f.material)) for f in product.fittings
    )
    return replace(product, fittings=fittings)
