"""What a resonant absorber is tuned to, how wide it works, and how far off it may come out.

The peak of a build's own absorption curve, the frequencies at which it has fallen to half on either
side (the usual measure of a resonator's width), and the peaks of the same build with its measures
off: mass of the sheet, depth of the space, size of the holes, each by TOLERANCE, all of them the
way that lowers the peak and all the way that raises it. Closed forms for a check:

    sheet on an air space   60/sqrt(m d), 50/sqrt(m d) filled (resonators.membrane_resonance)
    holes, slots            (c/2 pi) sqrt(eps/(t' D))         (resonators.perforated_resonance)
    sealed box              (c/2 pi) sqrt(S/(l' V))           (resonators.SealedResonator)
"""

from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from materials.build import Build
from materials.build_file import AnyBuild
from materials.layers import AirGap, Layer, Membrane, Perforated, Porous, Slotted
from materials.medium import Floats
from materials.resonators import SealedResonator

TOLERANCE = 0.1  # relative, of depth, mass and hole size of what is hand-made; own choice
LOWEST, HIGHEST = 16.0, 2000.0  # Hz looked at
PER_OCTAVE = 96  # so that a peak is read within half a per cent
WIDEST = 8.0  # ratio of the half-peak frequencies beyond which nothing is tuned; own choice
FACINGS = Membrane | Perforated | Slotted


@dataclass(frozen=True)
class Tuning:
    """Frequencies in Hz: of the peak, of half the peak below and above, of the peak when the build
    comes out as low and as high as TOLERANCE lets it."""

    peak: float
    low: float
    high: float
    lowest_peak: float
    highest_peak: float

    def in_words(self) -> str:
        """One sentence, without a full stop."""
        return (
            f"tuned to {self.peak:.0f} Hz, works from {self.low:.0f} to {self.high:.0f} Hz (half "
            f"the peak); depth, mass or hole size {100 * TOLERANCE:.0f} % off put the peak "
            f"anywhere from {self.lowest_peak:.0f} to {self.highest_peak:.0f} Hz: measure before "
            "you close the box"
        )


@lru_cache(maxsize=256)
def tuning(build: AnyBuild) -> Tuning | None:
    """The tuning of a resonant build; None for what is no resonator or works over three octaves.

    A layered build is one with a sheet, holes or slots in front; a corner fill is none.
    """
    if not resonant(build):
        return None
    f = np.geomspace(LOWEST, HIGHEST, int(PER_OCTAVE * np.log2(HIGHEST / LOWEST)) + 1)
    curve = _curve(build, f)
    top = _first_peak(curve)
    below = np.flatnonzero(curve[:top] < 0.5 * curve[top])
    above = top + np.flatnonzero(curve[top:] < 0.5 * curve[top])
    if not len(below) or not len(above) or f[above[0]] > WIDEST * f[below[-1]]:
        return None
    peaks = [float(f[_first_peak(_curve(_off(build, way), f))]) for way in (-1.0, 1.0)]
    return Tuning(float(f[top]), float(f[below[-1]]), float(f[above[0]]), *peaks)


def resonant(build: AnyBuild) -> bool:
    """Whether a build has a sheet, holes or slots in front of a space, or a neck."""
    layered = isinstance(build, Build) and isinstance(build.layers[0], FACINGS)
    return layered or isinstance(build, SealedResonator)


def _first_peak(curve: Floats) -> int:
    """Where the lowest peak is that comes to half the highest: later ones are those of standing
    waves within the space behind."""
    inner = curve[1:-1]
    peaks = 1 + np.flatnonzero((inner > curve[:-2]) & (inner >= curve[2:]))
    tall = peaks[curve[peaks] >= 0.5 * curve.max()]
    return int(tall[0]) if len(tall) else int(curve.argmax())


def _curve(build: AnyBuild, f: Floats) -> Floats:
    """Absorption over frequency: coefficient, or area of a sealed box."""
    if isinstance(build, SealedResonator):
        return build.absorption_area(f)
    if not isinstance(build, Build):
        raise TypeError("a corner fill has no tuning")
    return build.alpha_random(f)


def _off(build: AnyBuild, way: float) -> AnyBuild:
    """The build with every measure off the way that lowers (-1) or raises (+1) the peak."""
    larger, smaller = 1.0 - way * TOLERANCE, 1.0 + way * TOLERANCE
    if isinstance(build, SealedResonator):
        volume, radius = larger * build.volume, smaller * build.neck_radius
        return replace(build, volume=volume, neck_radius=radius)
    if not isinstance(build, Build):
        raise TypeError("a corner fill has no tuning")
    layers = tuple(_layer_off(layer, larger, smaller) for layer in build.layers)
    return replace(build, layers=layers)


def _layer_off(layer: Layer, larger: float, smaller: float) -> Layer:
    """One layer: heavier and deeper, holes smaller at the same spacing; or the reverse."""
    if isinstance(layer, Membrane):
        return replace(layer, mass=larger * layer.mass)
    if isinstance(layer, AirGap | Porous):
        return replace(layer, thickness=larger * layer.thickness)
    if isinstance(layer, Perforated):
        hole, share = smaller * layer.hole_diameter, smaller**2 * layer.open_share
        return replace(layer, hole_diameter=hole, open_share=share)
    if isinstance(layer, Slotted):
        width, share = smaller * layer.slot_width, smaller * layer.open_share
        return replace(layer, slot_width=width, open_share=share)
    return layer
