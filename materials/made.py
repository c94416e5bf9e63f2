"""Builds as materials of products: what a self-made panel, corner fill or resonator is worth.

A price list names one as `build:KEY` where it would name a row of the table. What follows is a
`Material` like any other, with the build itself kept for its edges and its admittance.

Depth and gap of a layered build
    A build ends at a rigid wall. It must be as deep as the product, then the gap of the fitting is
    added behind it as air; or as deep as product and gap together, with that gap as its last layer
    of air. Otherwise list and build disagree, which is a fault. Sheets and cloth have no
    thickness in a build, so 10 mm are let pass. Behind a divided build (`locally_reacting`)
    nothing is added: a box has its own back.

Scattering follows the depth of the face's relief (materials.scattering.depth_rule): that of slats,
the whole depth of a box, none of a flat face.
"""

import difflib
import math
from collections.abc import Collection, Mapping
from dataclasses import replace
from functools import lru_cache

from materials.bands import BANDS
from materials.build import Build
from materials.build_file import AnyBuild, load_builds
from materials.corner import CornerFill
from materials.edges import laboratory_alpha
from materials.layers import AirGap, Cloth, Layer, Membrane, Porous, Slotted
from materials.medium import Floats
from materials.octaves import octave_frequencies, octave_mean
from materials.resonators import SealedResonator
from materials.scattering import DEPTH_RULE, depth_rule
from materials.spread import one_sigma
from materials.table import Material

PREFIX = "build:"
STATUS = "modelled"
SLACK = 0.010  # m that depth and build may differ by
RESONATOR_SIGMA = 0.3  # relative; the resistance of a neck is seldom known better (no source)
_LOWEST_FIT = 0.01  # f/flow resistivity below which the porous models are outside their fit
_MOST_NAMES = 8
HELD = BANDS.index(250)  # the octave by which makes are held to their rows


@lru_cache(maxsize=1)
def packaged_builds() -> Mapping[str, AnyBuild]:
    """The builds of materials/builds.toml by key."""
    return load_builds()


def build_named(wanted: str, builds: Mapping[str, AnyBuild]) -> AnyBuild:
    """The build of `build:KEY`; ValueError names the closest keys."""
    key = wanted.removeprefix(PREFIX).strip()
    if key in builds:
        return builds[key]
    near = difflib.get_close_matches(key, builds, 3, 0.4) or list(builds)[:_MOST_NAMES]
    raise ValueError(f"no such build; closest: {', '.join(PREFIX + name for name in near)}")


def made_material(
    build: AnyBuild, kind: str, size: tuple[float, float], depth: float, gap: float
) -> Material:
    """What a product of this build is, hung with this gap; lengths in m, `size` (width, height).

    `kind` is that of the price list: a corner fill goes with "corner", anything else with the
    other kinds. ValueError says what does not agree.
    """
    if isinstance(build, CornerFill) != (kind == "corner"):
        fitting = "a corner fill" if kind == "corner" else "no corner fill"
        raise ValueError(f"a product of kind {kind} needs {fitting}; name another build or kind")
    if isinstance(build, CornerFill):
        return _corner(build, size[0])
    if isinstance(build, SealedResonator):
        return _resonator(build, depth)
    return _layered(hung(build, depth, gap))


def hung(build: Build, depth: float, gap: float) -> Build:
    """The build in front of the wall, its air gap included; see the module for the rule."""
    air = _air_behind(build.layers)
    without, whole = abs(build.depth - depth), abs(build.depth - depth - gap)
    if gap > 0.0 and whole <= SLACK and abs(air - gap) <= SLACK and whole <= without:
        return build
    if without <= SLACK:
        if gap == 0.0 or build.locally_reacting:
            return build
        name = f"{build.name}, {1e3 * gap:.0f} mm off the wall"
        return replace(build, name=name, layers=(*build.layers, AirGap(gap)))
    raise ValueError(
        f"the build is {1e3 * build.depth:.0f} mm deep, {1e3 * air:.0f} mm of it air at the wall; "
        f"the product is {1e3 * depth:.0f} mm and hangs {1e3 * gap:.0f} mm off: make the depth of "
        "the product that of the build, or that of the build without the gap as its last layer"
    )


def _air_behind(layers: tuple[Layer, ...]) -> float:
    air = 0.0
    for layer in reversed(layers):
        if not isinstance(layer, AirGap):
            break
        air += layer.thickness
    return air


@lru_cache(maxsize=512)
def matter_of(material: Material) -> Build | CornerFill | None:
    """What a row of the table is made of, where it is plain porous matter of known depth.

    The thickness of a corner fill is its mean depth, half the height of its triangle.
    """
    sigma, thickness = material.flow_resistivity, material.thickness_mm
    if sigma is None or thickness is None:
        return None
    key, name, depth = material.id, material.name, 1e-3 * thickness
    if material.category == "corner fill":
        return CornerFill(key, name, "triangle", round(math.sqrt(8.0) * depth, 2), sigma)
    layers: tuple[Layer, ...] = (Porous(depth, sigma),)
    gap = material.gap_mm
    return Build(key, name, (*layers, AirGap(1e-3 * gap)) if gap else layers)


@lru_cache(maxsize=512)
def make_strength(material: Material) -> float:
    """How much of what its matter would do in the bass a row of the table is believed to do, to 1.

    The matter of some rows shows more at 250 Hz, the lowest octave it is fitted to, than was
    measured. What goes beyond the row and one standard deviation of it, there is no reason to
    expect below.
    """
    matter = matter_of(material)
    if not isinstance(matter, Build):
        return 1.0
    shown = float(laboratory_alpha(matter, BANDS[HELD : HELD + 1])[0])
    return min(1.0, (material.absorption[HELD] + material.spread[HELD]) / shown)


@lru_cache(maxsize=512)
def _layered(build: Build) -> Material:
    alpha = laboratory_alpha(build)
    low, high = build.absorption_range()
    relief = build.layers[0].thickness if isinstance(build.layers[0], Slotted) else 0.0
    kinds = {type(layer) for layer in build.layers}
    if kinds <= {Porous, AirGap, Cloth}:
        category = "porous"
    else:
        category = "panel absorber" if Membrane in kinds else "perforated"
    sigmas = [x.flow_resistivity for x in build.layers if isinstance(x, Porous)]
    note = "coefficients as a sample of 3.0 x 3.6 m would show them"
    return _material(build, category, alpha, 0.5 * (high - low), sigmas, relief, note)


def _corner(build: CornerFill, leg: float) -> Material:
    if build.shape != "triangle":
        raise ValueError("corner pieces are triangles across the corner; name a triangular fill")
    if abs(build.leg - leg) > SLACK:
        raise ValueError(
            f"the fill has legs of {1e3 * build.leg:.0f} mm, the product is {1e3 * leg:.0f} mm "
            "wide; give both the same"
        )
    low, high = build.absorption_range()
    width = build.face_width
    alpha = build.absorption_per_metre() / width
    open_face = build.facing is None or isinstance(build.facing, Cloth)
    category = "corner fill" if open_face else "panel absorber"
    note = "per m2 of the diagonal face; no gain for the corner"
    spread = 0.5 * (high - low) / width
    return _material(build, category, alpha, spread, [build.flow_resistivity], 0.0, note)


def _resonator(build: SealedResonator, depth: float) -> Material:
    area = octave_mean(build.absorption_area(octave_frequencies(BANDS)), len(BANDS))
    note = f"tuned to {build.resonance():.0f} Hz; absorption area of one"
    return _material(build, "resonator", area, RESONATOR_SIGMA * area, [], depth, note, "m2")


def _material(
    build: AnyBuild,
    category: str,
    values: Floats,
    off: Floats,
    resistivities: Collection[float],
    relief: float,
    note: str,
    unit: str = "alpha",
) -> Material:
    absorption = tuple(float(v) for v in values)
    beyond = [band for band in BANDS if any(band < _LOWEST_FIT * s for s in resistivities)]
    return Material(
        id=PREFIX + build.key,
        name=build.name,
        category=category,
        mounting="",
        thickness_mm=None,
        gap_mm=None,
        density_kg_m3=None,
        unit=unit,
        absorption=absorption,
        spread=one_sigma(absorption, off.tolist(), unit),
        between_sources=(None,) * len(BANDS),
        extrapolated=frozenset(beyond),
        scattering=depth_rule(relief),
        scattering_status=DEPTH_RULE,
        sources=(build.source or "own build",),
        n_sources=0,
        status=STATUS,
        note=note,
        build=build,
    )
