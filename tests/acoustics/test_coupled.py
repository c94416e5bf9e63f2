"""Coupled modes against a finite-element solution, exact cases and identities.

The finite-element reference is scikit-fem (Gustafsson and McBain, JOSS 5 (2020) 2369), a
general-purpose library: quadratic hexahedra aligned with the patch edges, the quadratic eigenvalue
problem made linear and solved by shift-invert Arnoldi.
"""

import time
from functools import lru_cache

import numpy as np
import pytest
import skfem
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import linear_sum_assignment
from scipy.sparse import csc_matrix
from scipy.sparse.linalg import LinearOperator, eigs, splu
from skfem.models.poisson import laplace, mass

from optimizer.acoustics.coupled import (
    CoupledBox,
    CoupledModes,
    LossyObjects,
    couple_box,
    coupled_modes,
    log_frequencies,
    pressure_level,
    response,
    response_evenness,
    seat_difference,
)
from optimizer.acoustics.modes import (
    IN_PLANE,
    Patches,
    box_modes,
    damping_first_order,
    object_damping,
)

ROOM = np.array([4.6, 3.4, 2.5])
STRIP = 0.6
C = 343.0


def whole_walls(size=ROOM, walls=((0, 0), (0, 1), (1, 0), (1, 1), (2, 0), (2, 1))):
    """One patch per named wall, covering it."""
    rect = [[0.0, 0.0, *np.asarray(size)[list(IN_PLANE[axis])]] for axis, _ in walls]
    return Patches(np.array([a for a, _ in walls]), np.array([s for _, s in walls]), np.array(rect))


def corner_strips():
    """Four vertical corners, both walls of each treated over STRIP, floor to ceiling."""
    rows = []
    for axis, width in ((0, ROOM[1]), (1, ROOM[0])):
        for side in (0, 1):
            rows += [(axis, side, 0.0, STRIP), (axis, side, width - STRIP, width)]
    rect = np.array([[lo, 0.0, hi, ROOM[2]] for _, _, lo, hi in rows])
    return Patches(np.array([r[0] for r in rows]), np.array([r[1] for r in rows]), rect)


LAYOUTS = {
    "bare": whole_walls(),
    "four corners": corner_strips(),
    "one wall": whole_walls(walls=((0, 1),)),
}


def flat(patches: Patches, beta: complex, f_max: float = 180.0) -> CoupledBox:
    """Coupled room with one admittance on every patch at every frequency."""
    return couple_box(ROOM, patches, [100.0], np.full((len(patches), 1), beta), f_max)


# --- finite-element reference -----------------------------------------------------------------


def axis_nodes(length: float, cells: int) -> np.ndarray:
    """Nodes with the strip edges among them."""
    outer = max(1, round(cells * STRIP / length))
    ends = np.linspace(0.0, STRIP, outer + 1)
    middle = np.linspace(STRIP, length - STRIP, max(2, cells - 2 * outer) + 1)
    return np.concatenate([ends[:-1], middle, length - ends[-2::-1]])


@lru_cache(maxsize=None)
def elements(cells: tuple[int, int, int]):
    """Basis, stiffness and mass of the room."""
    z = np.linspace(0.0, ROOM[2], cells[2] + 1)
    mesh = skfem.MeshHex.init_tensor(
        axis_nodes(ROOM[0], cells[0]), axis_nodes(ROOM[1], cells[1]), z
    )
    basis = skfem.Basis(mesh, skfem.ElementHex2())
    return basis, laplace.assemble(basis), mass.assemble(basis)


def boundary_mass(basis, patches: Patches):
    """Mass matrix over the patches."""

    def covered(x):
        found = np.zeros(x.shape[1], dtype=bool)
        for axis, side, rect in zip(patches.axis, patches.side, patches.rect, strict=True):
            i, j = IN_PLANE[axis]
            inside = (x[i] > rect[0]) & (x[i] < rect[2]) & (x[j] > rect[1]) & (x[j] < rect[3])
            found |= inside & (np.abs(x[axis] - side * ROOM[axis]) < 1e-9)
        return found

    facets = basis.mesh.facets_satisfying(covered, boundaries_only=True)
    return mass.assemble(skfem.FacetBasis(basis.mesh, basis.elem, facets=facets))


def reference_modes(cells, patches: Patches, beta: complex, count: int = 20) -> np.ndarray:
    """First complex wavenumbers of (K + j k beta C - k^2 M) p = 0, in order of real part."""
    basis, K, M = elements(cells)
    BC = beta * boundary_mass(basis, patches)
    n, shift = K.shape[0], 1.6
    lu = splu(csc_matrix(K + 1j * shift * BC - shift**2 * M))

    def shift_invert(z):
        """(A - shift B)^-1 B z for A = [[0, I], [K, j BC]], B = diag(I, M), z = (p, k p)."""
        b1, b2 = z[:n], M @ z[n:]
        p = lu.solve(b2 - 1j * (BC @ b1) + shift * (M @ b1))
        return np.concatenate([p, b1 + shift * p])

    operator = LinearOperator((2 * n, 2 * n), matvec=shift_invert, dtype=complex)
    start = np.ones(2 * n, dtype=complex) + 1j * np.arange(2 * n) / n
    values = eigs(operator, k=count + 18, v0=start, return_eigenvectors=False)
    k = shift + 1.0 / values
    k = k[np.argsort(k.real)]
    first = k[k.real > 0.3][:count]
    # All modes out to this distance from the shift were found, so none below is missing.
    assert np.max(np.abs(first - shift)) < np.max(np.abs(k - shift))
    return first


def pairwise_errors(found: CoupledModes, reference: np.ndarray) -> tuple[float, float]:
    """Largest relative error in frequency and in decay, modes paired by nearest wavenumber."""
    k = (2.0 * np.pi * found.f_hz + 1j * found.delta) / C
    own, other = linear_sum_assignment(np.abs(k[:, None] - reference[None, :]))
    assert len(other) == len(reference)
    ratio_f = k[own].real / reference[other].real
    ratio_d = k[own].imag / reference[other].imag
    return float(np.max(np.abs(ratio_f - 1.0))), float(np.max(np.abs(ratio_d - 1.0)))


COARSE, FINE = (6, 6, 3), (10, 8, 5)
CASES = [
    ("bare", 0.02),
    ("bare", 0.02 + 0.04j),
    ("four corners", 0.3),
    ("four corners", 0.2 + 0.2j),
    ("one wall", 0.2),
    ("one wall", 0.15 - 0.15j),
]
