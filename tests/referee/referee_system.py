"""Finite-element matrices of a room: scikit-fem in the section (x, y), times elements along z.

Form (time factor exp(+j w t), q the test function, beta the specific admittance of a wall):
int 1/rho grad p . grad q - w^2 int 1/K p q + j w int beta / (rho0 c) p q = 0.

Every piece is upright, so each matrix is a sum of Kronecker products of a matrix of the section and
one along z: quadratic hexahedra on a tensor grid, or prisms if a piece is triangular. With a fixed
number of half waves along z the line shrinks to one function, cos(n pi z / H).
"""

from collections import defaultdict
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from referee_matter import DENSITY, SPEED, Admittance, fluid
from referee_room import Face, Fineness, Floats, Piece, Room, Wedge, graded, section_breaks
from scipy import sparse
from scipy.sparse.linalg import SuperLU, splu
from skfem import (
    Basis,
    ElementLineP2,
    ElementQuad2,
    ElementTriP2,
    FacetBasis,
    LinearForm,
    MeshLine,
    MeshQuad,
    MeshTri,
    asm,
)
from skfem.models.poisson import laplace, mass

Sparse = sparse.csc_matrix


def triangles(x: Floats, y: Floats, wedges: list[Wedge]) -> MeshTri:
    """Each cell of the grid cut in two, along the hypotenuse of the wedge that it lies in."""
    nx, ny = len(x), len(y)
    number = np.arange(nx * ny).reshape(nx, ny)
    corners = [number[:-1, :-1], number[1:, :-1], number[1:, 1:], number[:-1, 1:]]
    a, b, c, d = (k.ravel() for k in corners)
    mid_x, mid_y = (m.ravel() for m in np.meshgrid(x[:-1] + x[1:], y[:-1] + y[1:], indexing="ij"))
    falling = np.zeros(a.shape, dtype=bool)
    for wedge in wedges:
        u, v = wedge.along(0.5 * mid_x, 0), wedge.along(0.5 * mid_y, 1)
        within = (u > 0) & (u < 1) & (v > 0) & (v < 1)
        falling |= within & (wedge.toward[0] == wedge.toward[1])
    first = np.where(falling, [a, b, d], [a, b, c])
    second = np.where(falling, [b, c, d], [a, c, d])
    points = np.array(np.meshgrid(x, y, indexing="ij")).reshape(2, -1)
    return MeshTri(points, np.concatenate([first, second], axis=1))


def by_dissection(places: Floats, planes: list[Floats]) -> NDArray[np.int64]:
    """Order of unknowns for elimination: halves split by a plane of cell boundaries come last.

    places: [3 x n], planes: the cell boundaries along each axis.
    """
    order: list[NDArray[np.int64]] = []

    def split(which: NDArray[np.int64]) -> None:
        best = None
        for axis, plane in enumerate(planes):
            here = places[axis, which]
            middle = np.median(here)
            inside = plane[(plane > here.min() + 1e-9) & (plane < here.max() - 1e-9)]
            if len(inside) == 0 or len(which) < 40:
                continue
            cut = inside[np.abs(inside - middle).argmin()]
            low, high = here < cut - 1e-9, here > cut + 1e-9
            cost = (
                len(which) - low.sum() - high.sum() + 0.05 * abs(int(low.sum()) - int(high.sum()))
            )
            if best is None or cost < best[0]:
                best = (cost, low, high)
        if best is None:
            order.append(which)
            return
        _, low, high = best
        split(which[low])
        split(which[high])
        order.append(which[~low & ~high])

    split(np.arange(places.shape[1]))
    return np.concatenate(order)


class _Line:
    """Functions along z: quadratic elements, or one cosine of `halves` half waves."""

    def __init__(self, room: Room, fine: Fineness, halves: int | None) -> None:
        self.height = room.size[2]
        self.halves = halves
        breaks = room.breaks(2)
        self.nodes = np.array([0.0, self.height]) if halves is not None else graded(breaks, fine)
        self.slabs = list(pairwise(breaks))
        if halves is not None:
            if len(self.slabs) > 1:
                raise ValueError(
                    "pieces or faces end between floor and ceiling: use three dimensions"
                )
            return
        self.mesh = MeshLine(self.nodes)
        self.basis = Basis(self.mesh, ElementLineP2(), intorder=6)

    @property
    def places(self) -> Floats:
        return np.zeros(1) if self.halves is not None else self.basis.doflocs[0]

    def matrices(self, slab: tuple[float, float]) -> tuple[Sparse, Sparse]:
        """Stiffness and mass over one slab; the cosine's are scaled to a mass of one."""
        if self.halves is not None:
            k = self.halves * np.pi / self.height
            return sparse.csc_matrix([[k**2]]), sparse.csc_matrix([[1.0]])
        middle = self.mesh.p[0, self.mesh.t].mean(axis=0)
        cells = np.flatnonzero((middle > slab[0]) & (middle < slab[1]))
        part = Basis(self.mesh, ElementLineP2(), elements=cells, intorder=6)
        return asm(laplace, part), asm(mass, part)

    def end(self, end: int) -> Sparse:
        if self.halves is not None:
            raise ValueError("a floor or ceiling with an admittance needs three dimensions")
        at = np.flatnonzero(np.abs(self.places - end * self.height) < 1e-9)
        n = len(self.places)
        return sparse.csc_matrix(([1.0], (at, at)), shape=(n, n))

    def cosine(self, n: int) -> Floats:
        if self.halves is not None:
            return np.array([1.0 if n == self.halves else 0.0])
        wave = LinearForm(lambda v, g: np.cos(n * np.pi * g.x[0] / self.height) * v)
        return splu(asm(mass, self.basis).tocsc()).solve(asm(wave, self.basis))

    def at(self, z: float) -> Floats:
        if self.halves is not None:
            return np.array([np.cos(self.halves * np.pi * z / self.height)])
        return self.basis.probes(np.array([[z]])).toarray()[0]


class _Section:
    """Functions of x and y: quadratic quadrangles, or triangles where a piece is triangular."""

    def __init__(self, room: Room, fine: Fineness) -> None:
        self.room = room
        wedges = [p for p in room.pieces if isinstance(p, Wedge)]
        along_x, along_y = section_breaks(room)
        self.x = graded(along_x, fine, bool(wedges))
        self.y = graded(along_y, fine, bool(wedges))
        if wedges:
            self.mesh = triangles(self.x, self.y, wedges)
            self.element = ElementTriP2()
        else:
            self.mesh = MeshQuad.init_tensor(self.x, self.y)
            self.element = ElementQuad2()
        self.basis = Basis(self.mesh, self.element, intorder=6)
        self.middle = self.mesh.p[:, self.mesh.t].mean(axis=1)

    @property
    def places(self) -> Floats:
        return self.basis.doflocs

    def matter(self, pieces: tuple[Piece, ...], slab: tuple[float, float]) -> Floats:
        """Flow resistivity of each cell of the section in a slab (0 = air)."""
        sigma = np.zeros(self.middle.shape[1])
        for piece in pieces:
            bottom, top = piece.edges(2)
            if bottom < 0.5 * (slab[0] + slab[1]) < top:
                sigma[piece.covers(*self.middle)] = piece.sigma
        return sigma

    def matrices(self, cells: NDArray[np.bool_]) -> tuple[Sparse, Sparse]:
        part = Basis(self.mesh, self.element, elements=np.flatnonzero(cells), intorder=6)
        return asm(laplace, part), asm(mass, part)

    def wall(self, axis: int, end: int, chosen: list[tuple[float, float]]) -> Sparse:
        """Mass on the stretches of one wall between the given coordinates."""
        facets = self.mesh.boundary_facets()
        middle = self.mesh.p[:, self.mesh.facets[:, facets]].mean(axis=1)
        on = np.abs(middle[axis] - end * self.room.size[axis]) < 1e-9
        along = middle[1 - axis]
        on &= np.any([(along > a) & (along < b) for a, b in chosen], axis=0)
        return asm(mass, FacetBasis(self.mesh, self.element, facets=facets[on], intorder=6))

    def cosine(self, nx: int, ny: int) -> Floats:
        kx, ky = nx * np.pi / self.room.size[0], ny * np.pi / self.room.size[1]
        wave = LinearForm(lambda v, g: np.cos(kx * g.x[0]) * np.cos(ky * g.x[1]) * v)
        return splu(asm(mass, self.basis).tocsc()).solve(asm(wave, self.basis))

    def at(self, x: float, y: float) -> Floats:
        return self.basis.probes(np.array([[x], [y]])).toarray()[0]


def _lying(faces: list[tuple[int, Face]], u: float, v: float) -> int | None:
    """Number of the face that counts at a point of a wall: the last that holds it."""
    found = None
    for number, face in faces:
        if face.low[0] < u < face.high[0] and face.low[1] < v < face.high[1]:
            found = number
    return found


class System:
    """The matrices of a room by matter and by admittance, in an order good for elimination.

    halves: number of half waves along z of a prismatic room, None for three dimensions.
    """

    def __init__(self, room: Room, fine: Fineness, halves: int | None = None) -> None:
        self.room = room
        self.line = _Line(room, fine, halves)
        self.section = _Section(room, fine)
        flat, upright = self.section.places, self.line.places
        places = np.array([
            np.repeat(flat[0], len(upright)),
            np.repeat(flat[1], len(upright)),
            np.tile(upright, flat.shape[1]),
        ])  # fmt: skip
        self.order = by_dissection(places, [self.section.x, self.section.y, self.line.nodes])
        self.stiffness: dict[float, Sparse] = {}
        self.mass: dict[float, Sparse] = {}
        self._fill()
        self.wall: dict[Admittance, Sparse] = {}
        self._cover()
        self.geometric_mass = sum(self.mass.values())

    @property
    def size(self) -> int:
        return len(self.order)

    def _ordered(self, matrix: Sparse) -> Sparse:
        return matrix.tocsr()[self.order][:, self.order].tocsc()

    def _fill(self) -> None:
        stiffness: dict[float, list[Sparse]] = defaultdict(list)
        masses: dict[float, list[Sparse]] = defaultdict(list)
        for slab in self.line.slabs:
            k1, m1 = self.line.matrices(slab)
            sigma = self.section.matter(self.room.pieces, slab)
            for value in np.unique(sigma):
                k2, m2 = self.section.matrices(sigma == value)
                stiffness[float(value)].append(sparse.kron(k2, m1) + sparse.kron(m2, k1))
                masses[float(value)].append(sparse.kron(m2, m1))
        self.stiffness = {s: self._ordered(sum(k)) for s, k in stiffness.items()}
        self.mass = {s: self._ordered(sum(m)) for s, m in masses.items()}

    def _cover(self) -> None:
        parts: dict[Admittance, list[Sparse]] = defaultdict(list)
        faces = list(enumerate(self.room.faces))
        for axis in (0, 1):
            for end in (0, 1):
                on_wall = [(n, f) for n, f in faces if (f.axis, f.end) == (axis, end)]
                if on_wall:
                    self._upright_wall(axis, end, on_wall, parts)
        for end in (0, 1):
            on_wall = [(n, f) for n, f in faces if (f.axis, f.end) == (2, end)]
            if on_wall:
                self._level_wall(end, on_wall, parts)
        self.wall = {beta: self._ordered(sum(b)) for beta, b in parts.items()}

    def _upright_wall(
        self,
        axis: int,
        end: int,
        faces: list[tuple[int, Face]],
        parts: dict[Admittance, list[Sparse]],
    ) -> None:
        grid = (self.section.x, self.section.y)[1 - axis]
        for slab in self.line.slabs:
            z = 0.5 * (slab[0] + slab[1])
            stretches: dict[int, list[tuple[float, float]]] = defaultdict(list)
            for a, b in pairwise(grid):
                number = _lying(faces, 0.5 * (a + b), z)
                if number is not None:
                    stretches[number].append((a, b))
            _, m1 = self.line.matrices(slab)
            for number, chosen in stretches.items():
                wall = self.section.wall(axis, end, chosen)
                parts[self.room.faces[number].admittance].append(sparse.kron(wall, m1))

    def _level_wall(
        self, end: int, faces: list[tuple[int, Face]], parts: dict[Admittance, list[Sparse]]
    ) -> None:
        which = np.array([
            -1 if (n := _lying(faces, x, y)) is None else n for x, y in self.section.middle.T
        ])  # fmt: skip
        for number in np.unique(which[which >= 0]):
            _, m2 = self.section.matrices(which == number)
            parts[self.room.faces[number].admittance].append(sparse.kron(m2, self.line.end(end)))

    def matrix(self, w: complex, matter_at: complex | None = None) -> Sparse:
        """The dynamic matrix at w, with matter and walls as they are at matter_at (or w)."""
        stiffness, wall, masses = self.coefficients(w if matter_at is None else matter_at)
        total = sum(a * k for a, k in zip(stiffness, self.stiffness.values(), strict=True))
        total = total + sum(
            -(w**2) * b * m for b, m in zip(masses, self.mass.values(), strict=True)
        )
        for g, b in zip(wall, self.wall.values(), strict=True):
            total = total + 1j * w * g * b
        return sparse.csc_matrix(total, dtype=complex)

    def coefficients(self, w: complex) -> tuple[list[complex], list[complex], list[complex]]:
        """1/rho per matter, beta/(rho0 c) per wall, 1/K per matter, at w."""
        matter = [fluid(w, sigma) for sigma in self.stiffness]
        wall = [beta(w) / (DENSITY * SPEED) for beta in self.wall]
        return [1.0 / rho for rho, _ in matter], wall, [1.0 / bulk for _, bulk in matter]

    def rigid_shape(self, nx: int, ny: int, nz: int) -> Floats:
        """The mode of the empty rigid room, projected."""
        return np.kron(self.section.cosine(nx, ny), self.line.cosine(nz))[self.order]

    def at(self, point: tuple[float, float, float]) -> Floats:
        """Values of all functions at a point."""
        return np.kron(self.section.at(*point[:2]), self.line.at(point[2]))[self.order]


def factored(matrix: Sparse) -> SuperLU:
    """Factors of a symmetric matrix already in a good order."""
    return splu(
        matrix, permc_spec="NATURAL", diag_pivot_thresh=0.0, options={"SymmetricMode": True}
    )
