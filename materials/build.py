"""A build: what a flat absorber is made of, and what follows from it.

One `Build` gives random-incidence coefficients for decay rows, areas of single pieces with their
edges, and the complex admittance for room modes. It is frozen and hashable, so results are cached.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
import numpy.typing as npt

from materials.bands import BANDS
from materials.incidence import alpha_oblique, incidence_angles, paris
from materials.layers import Layer, Porous, face_admittance
from materials.medium import AIR, Complexes, Floats, Medium, positive_frequencies
from materials.octaves import octave_frequencies, octave_mean
from materials.porous import resistivity_range


@dataclass(frozen=True)
class Build:
    """Layers from the room to the rigid wall, with a name, a source and an uncertainty.

    `locally_reacting`: the depth is divided (battens, cells, a frame), so sound cannot run
    sideways in it. `uncertainty`: relative one-sigma of the flow resistivity of its porous
    layers, the property a buyer knows least.
    """

    key: str
    name: str
    layers: tuple[Layer, ...]
    locally_reacting: bool = False
    uncertainty: float = 0.3
    source: str = ""

    def __post_init__(self) -> None:
        if not self.layers:
            raise ValueError("a build needs at least one layer")
        if not 0.0 <= self.uncertainty < 1.0:
            raise ValueError("uncertainty must be a share from 0 to below 1")

    @property
    def depth(self) -> float:
        """Distance from the face to the wall in m."""
        return float(sum(layer.thickness for layer in self.layers))

    def admittance_at(self, freqs: Floats, theta: Floats, medium: Medium = AIR) -> Complexes:
        """Normalised face admittance beta = rho c / Zs, shape (freqs, angles)."""
        return face_admittance(self.layers, freqs, theta, self.locally_reacting, medium)

    def alpha_normal(self, freqs: npt.ArrayLike, medium: Medium = AIR) -> Floats:
        """Absorption coefficient at normal incidence at single frequencies, shape (freqs,)."""
        beta = self.admittance_at(positive_frequencies(freqs), np.zeros(1), medium)
        return alpha_oblique(beta, np.zeros(1))[:, 0]

    def alpha_random(self, freqs: npt.ArrayLike, medium: Medium = AIR) -> Floats:
        """Paris coefficient of the endless build at single frequencies, shape (freqs,)."""
        theta, _ = incidence_angles()
        return paris(self.admittance_at(positive_frequencies(freqs), theta, medium))

    def absorption(self, bands: Sequence[float] = BANDS, medium: Medium = AIR) -> Floats:
        """Random-incidence coefficient of the endless build per octave, shape (bands,).

        Mean of the Paris integral over 12 frequencies per octave; never above 1. A laboratory
        value (`edges.laboratory_alpha`) or a single piece (`finite.patch_area`) absorbs more.
        """
        return octave_mean(self.alpha_random(octave_frequencies(bands), medium), len(bands))

    def absorption_range(
        self, bands: Sequence[float] = BANDS, medium: Medium = AIR
    ) -> tuple[Floats, Floats]:
        """Lowest and highest `absorption` with the flow resistivity one sigma off either way."""
        values = [other.absorption(bands, medium) for other in (self, *self.variants())]
        return np.min(values, axis=0), np.max(values, axis=0)

    def variants(self) -> tuple["Build", ...]:
        """The build with its flow resistivity one sigma low, half low, half high, one sigma high.

        Porous layers move together; a build without them has no variants.
        """
        if not any(isinstance(layer, Porous) for layer in self.layers):
            return ()
        return tuple(
            replace(
                self,
                layers=tuple(_with_resistivity(x, i, self.uncertainty) for x in self.layers),
            )
            for i in range(4)
        )

    def admittance(
        self,
        freqs: npt.ArrayLike,
        incidence: Literal["normal", "random"] = "normal",
        at: Literal["face", "wall"] = "face",
        medium: Medium = AIR,
    ) -> Complexes:
        """Complex normalised admittance for room modes, shape (freqs,); Re(beta) >= 0.

        "normal": a mode that runs straight at the surface. "random": mean over solid angle,
        which for small beta makes 8 Re(beta) the random-incidence coefficient.
        `at` "face" goes with a room whose wall is moved to the face; "wall" is the same build
        seen from the bare wall, for modes of the whole box: the air the build displaces is taken
        off by moving the reference plane back through its depth (normal incidence; meant for
        k0 depth below about 1).
        """
        f = positive_frequencies(freqs)
        if incidence == "normal":
            beta = self.admittance_at(f, np.zeros(1), medium)[:, 0]
        else:
            theta, weights = incidence_angles()
            beta = self.admittance_at(f, theta, medium) @ weights
        if at == "wall":
            beta = moved_back(beta, medium.wavenumber(f) * self.depth)
        return np.asarray(beta, dtype=np.complex128)


def _with_resistivity(layer: Layer, index: int, uncertainty: float) -> Layer:
    if not isinstance(layer, Porous):
        return layer
    sigma = resistivity_range(layer.flow_resistivity, uncertainty)[index]
    return replace(layer, flow_resistivity=sigma)


def moved_back(beta: Complexes, phase: Floats) -> Complexes:
    """Admittance behind an air layer of the given phase k0 d that shows `beta` at its front."""
    tangent = 1j * np.tan(phase)
    return np.asarray((beta - tangent) / (1.0 - beta * tangent), dtype=np.complex128)
