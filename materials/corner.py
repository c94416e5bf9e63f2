"""Porous fill of a right-angled room corner: wall to wall, or wall to ceiling, per metre.

Derivation
    Let the pressure over the exposed face be uniform, p0, as it is while the legs are short
    against the wavelength. Inside the fill, an equivalent fluid (Zc, k), the pressure obeys
    p'' + k^2 p = 0 in the cross-section, with no flow through the two walls. Mirrored in both
    walls, a triangle of legs L becomes a square of side sqrt(2) L and a square fill becomes one
    of side 2 L, each with p0 all round: a textbook series. With a the side, A the area of one
    fill's cross-section and kappa_m^2 = (m pi/a)^2 - k^2,

        <p>/p0 = 1 + sum_{m odd} 8/(m pi)^2 (k/kappa_m)^2 (1 - tanh(kappa_m a/2)/(kappa_m a/2))
        Y' = j k A <p>/(Zc p0)      volume flow into the face per metre and pascal

    which replaces the layer's Y = j tan(k d)/Zc. Divided by the face width it is the face's mean
    admittance; a thin facing adds its series impedance there.

Modal use
    Only the flow per metre counts, so it is spread evenly over the two wall legs (2 L per metre
    of corner): beta = rho c Y'/(2 L). Pressure gain in the corner belongs to the mode shape
    and is not in beta. At the wall (`at="wall"`) the springiness of the room air that the fill
    displaces, j k0 A per metre, is taken off, because a mode of the whole box still counts it.

Random incidence
    The face is treated as a locally reacting strip of that mean admittance:
    A' = face width * Paris integral. At low frequencies this is 8 rho c Re(Y') with no gain for
    the corner; at high frequencies the face is a deep layer. With `edge_gain` the diffuse-field
    pressure-squared along the edge is added: 1 + Si(2 k0 L)/(2 k0 L), from 1 + sin(2 k0 x)/
    (2 k0 x) at distance x along a wall (Waterhouse, J. Acoust. Soc. Am. 27 (1955) 247, from
    memory). Leave it off where a mode shape accounts for the corner.

Limits: uniform pressure needs L below a quarter wavelength (0.3 m: 286 Hz; 0.6 m: 143 Hz); above,
the values pass over to those of a thick layer of the face's width and are good to a fifth at best.
No edge effect along the face's two ends. Flow along the corner is neglected.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
import numpy.typing as npt
from scipy.special import sici

from materials.bands import BANDS
from materials.incidence import paris
from materials.layers import Facing, facing_impedance
from materials.medium import AIR, Complexes, Floats, Medium, positive_frequencies
from materials.octaves import octave_frequencies, octave_mean
from materials.porous import (
    MODELS,
    characteristic,
    check_flow_resistivity,
    resistivity_range,
)

SHAPES = ("triangle", "square")
_TERMS = 400
_ORDERS, _ON_LEG = 20, 24  # of the double series at places on the legs


@dataclass(frozen=True)
class CornerFill:
    """Fill of a corner between two walls: `shape` "triangle" or "square", `leg` m along each wall.

    flow_resistivity in Pa s/m2; `uncertainty` its relative one-sigma; `facing` a thin sheet on
    the exposed face. Made for legs of 0.1 to 1.2 m.
    """

    key: str
    name: str
    shape: str
    leg: float
    flow_resistivity: float
    model: str = "miki"
    facing: Facing | None = None
    uncertainty: float = 0.3
    source: str = ""

    def __post_init__(self) -> None:
        if self.shape not in SHAPES:
            raise ValueError(f"unknown corner shape {self.shape!r}; known: {', '.join(SHAPES)}")
        if not 0.1 <= self.leg <= 1.2:
            raise ValueError("leg must be between 0.1 and 1.2 m")
        check_flow_resistivity(self.flow_resistivity)
        if self.model not in MODELS:
            raise ValueError(f"unknown porous model {self.model!r}; known: {', '.join(MODELS)}")
        if not 0.0 <= self.uncertainty < 1.0:
            raise ValueError("uncertainty must be a share from 0 to below 1")

    @property
    def section(self) -> float:
        """Area of the cross-section, m2 (m3 per metre of corner)."""
        return self.leg**2 * (0.5 if self.shape == "triangle" else 1.0)

    @property
    def mirrored_side(self) -> float:
        """Side in m of the square that the section is when mirrored in both walls."""
        return self.leg * (float(np.sqrt(2.0)) if self.shape == "triangle" else 2.0)

    @property
    def face_width(self) -> float:
        """Width of the exposed face, m: sqrt(2) legs of a triangle, two legs of a square."""
        return self.mirrored_side

    def face_admittance(self, freqs: npt.ArrayLike, medium: Medium = AIR) -> Complexes:
        """Mean normalised admittance beta of the exposed face, shape (freqs,)."""
        f = positive_frequencies(freqs)
        zc, k = characteristic(f, self.flow_resistivity, self.model, medium)
        y = 1j * k * self.section * mean_pressure(k, self.mirrored_side) / (zc * self.face_width)
        if self.facing is not None:
            y = y / (1.0 + y * facing_impedance(self.facing, f, medium))
        return np.asarray(y * medium.impedance, dtype=np.complex128)

    def admittance(
        self,
        freqs: npt.ArrayLike,
        at: Literal["face", "wall"] = "wall",
        medium: Medium = AIR,
    ) -> Complexes:
        """Normalised admittance beta of each wall leg strip (width `leg`), shape (freqs,).

        Use it on both legs, over the length of the corner. Re(beta) is the same for both `at`;
        "wall" takes off the displaced air (see the module), for modes of the whole box.
        """
        f = positive_frequencies(freqs)
        per_metre = self.face_admittance(f, medium) * self.face_width
        if at == "wall":
            per_metre = per_metre - 1j * medium.wavenumber(f) * self.section
        return np.asarray(per_metre / (2.0 * self.leg), dtype=np.complex128)

    def absorption_per_metre(
        self,
        bands: Sequence[float] = BANDS,
        edge_gain: bool = False,
        medium: Medium = AIR,
    ) -> Floats:
        """Random-incidence absorption area in m2 per metre of corner, shape (bands,)."""
        f = octave_frequencies(bands)
        area = self.face_width * paris(self.face_admittance(f, medium)[:, None])
        if edge_gain:
            x = 2.0 * medium.wavenumber(f) * self.leg
            area = area * (1.0 + sici(x)[0] / x)
        return octave_mean(area, len(bands))

    def absorption_range(
        self, bands: Sequence[float] = BANDS, medium: Medium = AIR
    ) -> tuple[Floats, Floats]:
        """Lowest and highest m2 per metre with the flow resistivity one sigma off either way."""
        values = [
            replace(self, flow_resistivity=sigma).absorption_per_metre(bands, medium=medium)
            for sigma in resistivity_range(self.flow_resistivity, self.uncertainty)
        ]
        values.append(self.absorption_per_metre(bands, medium=medium))
        return np.min(values, axis=0), np.max(values, axis=0)


def pressure_on_legs(k: Complexes, fill: CornerFill) -> Complexes:
    """p/p0 (F, _ON_LEG) at places evenly spread over the legs of a fill whose fluid has k (F,)."""
    place = (np.arange(_ON_LEG) + 0.5) / _ON_LEG  # share of the leg, from the corner
    odd = np.arange(1, 2 * _ORDERS, 2)
    size = 4.0 / (odd * np.pi) * (-1.0) ** (odd // 2)
    wave = size[:, None] * np.cos(0.5 * np.pi * odd[:, None] * place)
    across = wave if fill.shape == "triangle" else np.repeat(size[:, None], _ON_LEG, axis=1)
    mu2 = (np.pi / fill.mirrored_side) ** 2 * np.add.outer(odd**2, odd**2)
    k2 = k[:, None, None] ** 2
    return np.asarray(1.0 + np.einsum("fmn,ms,ns->fs", k2 / (mu2 - k2), wave, across))


def mean_pressure(k: Complexes, side: float) -> Complexes:
    """<p>/p0 over a square of `side` m filled with a fluid of wavenumber k, p0 all round."""
    m = np.arange(1, 2 * _TERMS, 2)
    kappa = np.sqrt((m * np.pi / side) ** 2 - k[:, None] ** 2)
    half = 0.5 * kappa * side
    share = 8.0 / (m * np.pi) ** 2 * (k[:, None] / kappa) ** 2
    return np.asarray(1.0 + (share * (1.0 - np.tanh(half) / half)).sum(axis=1))
