"""What of the wall behind a piece goes on absorbing in the bass.

A wall of small admittance beta_w behind a piece adds beta_w T^2 to what the piece takes, T being
the pressure at the wall over that of the mode there if the piece were air (first order in beta_w;
by reciprocity the way out is as the way in). The piece hides 1 - T^2 of the wall. In the bass flush
wool hides next to nothing of it, as the pressure behind 100 mm is that in front; a deep corner fill
hides most. Behind a gap the air must come through the wool, or round the open sides.

Layers on a rigid wall: T = 1/A of their two-port (Allard, Atalla, Propagation of Sound in Porous
Media, 2009, ch. 11), over the cosine of the air instead. Open gap: by the series of
materials.modal. Corner fill: p^2 in the mean over its legs, by the series of materials.corner.
Boards, foils and boxes let nothing pass. Checked against finite elements in tests/referee.
"""

import numpy as np

from materials.build import Build
from materials.corner import CornerFill, pressure_on_legs
from materials.layers import AirGap
from materials.medium import AIR, Complexes, Floats, Medium
from materials.modal import OPEN, Make, gap_pressure, two_port
from materials.porous import characteristic

HIGHEST = 1.5  # of |T|^2; more is a resonance of an open gap, whose losses the series leaves out


def hidden(make: Make, freqs: Floats, medium: Medium = AIR) -> Complexes:
    """Share 1 - T^2 (F,) of the wall behind a piece that is lost to it; 1 behind a board.

    For a mode that runs straight at the wall; held where k0 times the depth is above 1. Its real
    part may fall below zero, where the pressure behind is higher than in air.
    """
    build = make.build
    if isinstance(build, CornerFill) and build.facing is None:
        _, k = characteristic(freqs, build.flow_resistivity, build.model, medium)
        return np.asarray(1.0 - np.mean(pressure_on_legs(k, build) ** 2, axis=1))
    if not isinstance(build, Build) or build.locally_reacting:
        return np.ones(len(freqs), dtype=np.complex128)
    if not all(isinstance(layer, OPEN) for layer in build.layers):
        return np.ones(len(freqs), dtype=np.complex128)
    freqs = np.minimum(freqs, medium.c / (2.0 * np.pi * build.depth))  # beyond, waves fit in
    straight, k0 = np.zeros((1, len(freqs))), medium.wavenumber(freqs)
    gapped = len(build.layers) > 1 and isinstance(build.layers[-1], AirGap)
    if make.size is not None and gapped:
        rest = gap_pressure(build.layers, freqs, straight, make.size, medium)[0]
        through = 1.0 + rest / np.cos(k0 * build.layers[-1].thickness)
    else:
        a = two_port(build.layers, freqs, straight, medium)[0][0]
        through = np.cos(k0 * build.depth) / a
    passed = through**2
    return np.asarray(1.0 - passed * np.minimum(1.0, HIGHEST / np.abs(passed)))
