"""What a piece of porous matter shows a room mode: admittance by the mode's run along the wall.

A mode meets a wall with a wavenumber kt along it (rad/m): 0 for one that runs straight at it, k0
for one that runs along it. A table coefficient or a normal-incidence admittance does not know kt;
matter does. In all of what follows P is the mode's pressure on the piece's open faces, taken as
even across one piece but for its kt, k and Zc are those of the wool (equivalent fluid), and the
flow through every open face is counted, sides and ends included, per area of wall covered.

Block on a rigid wall, depth d, sides w and h open
    In p = P + q, q vanishes on the open faces and obeys q'' + lap q + k^2 q = -(k^2 - kt^2) P.
    With q in sines over the sides, mu^2 = (m pi/w)^2 + (n pi/h)^2, K^2 = mu^2 - k^2,

        <p>/P = 1 + sum_{m,n odd} 64/(pi^4 m^2 n^2) (k^2 - kt^2)/K^2 (1 - tanh(K d)/(K d))
        beta  = j Z0 (k^2 - kt^2) d <p> / (k Zc P)

    which for endless sides is the layer's j Z0 tan(kn d) kn/(k Zc), kn^2 = k^2 - kt^2.

Layers on a gap of depth g that is open at the sides
    Over the depth d of layers and gap the mode goes as cos(kn z) from the wall, kn^2 = k0^2 - kt^2:
    P1 = cos(kn d) at the face, P2 = cos(kn g) at the back. The layers are a two-port, p1 = A p2 +
    B v2, v1 = C p2 + D v2, with p1 = P1. The gap's air is pressed by what flows through them and
    moves sideways, p2 = P2 at its open sides. With p2 = P2 + r, r in sines, Y(q) = j q tan(q g)/
    (k0 Z0), q^2 = k0^2 - mu^2,

        r_mn = (P1 - (A + B Y(kn)) P2) / (A + B Y(q)),   <r> as above.

    What the piece takes more than the air in its place, weighed by the mode (Green's identity):

        P1 (v1 - air) - P2 (v2 - air) + Y(kn) P2 <r>.

    A cloud is the same: a porous sheet between two volumes of air. What flows through it goes with
    the motion of the air at its depth, which is greatest where the pressure has a node.

    An opening also carries the air about it, inside and out: r vanishes 2 g/pi (1 + ln(w/2g))
    beyond the sides (w the shorter; flow from a slit, own estimate, its factor set by two clouds of
    tests/referee).

Flow along the wall inside the wool
    Of beta the part kt^2 beta_f, beta_f = -j Z0 d/(k Zc) summed over porous layers, is flow along
    the wall. Where a piece lies at a node of the mode's pressure that flow is greatest, so it goes
    with the square of the pressure's slope along the wall, the rest with the square of the
    pressure. In a corner fill it is as much weaker as the mean pressure <p>/P in the fill.

Corner fill
    As in materials.corner, with k^2 - kt^2 for k^2 in what drives, kt along the corner.

Sources: these are series solutions derived here from the equation of motion of an equivalent fluid
(Allard, Atalla, Propagation of Sound in Porous Media, 2009, ch. 4-5, for the fluid; the series are
separation of variables). Checked against finite elements in tests/referee.

Sound that dies away along the wall (kt > k0, near edges and other pieces) is taken as running
along it, kt = k0.

Limits: a piece small against the wavelength (0.6 m: 140 Hz within a quarter). Clouds 300 mm deep
damp upright modes 5 to 40 % less than by finite elements and level ones up to half more: what they
do at their own depth is counted at the wall. Neighbours that touch close each other's sides; that
is left out. Corner fills stand as volumes where modes are coupled
(optimizer.acoustics.corner_volumes); what is here serves first-order effects and waves.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from materials.build import Build
from materials.build_file import AnyBuild
from materials.corner import CornerFill, mean_pressure
from materials.layers import AirGap, Cloth, Layer, Porous, facing_impedance
from materials.medium import AIR, Complexes, Floats, Medium
from materials.porous import characteristic
from materials.resonators import SealedResonator

_TERMS = 10  # odd orders of a series over a side
Size = tuple[float, float]
OPEN = Porous | AirGap | Cloth  # layers whose sides are open; boards stand in a closed frame


@dataclass(frozen=True)
class Make:
    """What one piece is: its build, `size` (width, height) in m with open sides (None: endless),
    `covered` m2 of wall, and whether the build was taken from a row of the table, whose
    coefficients hold above the cross-over."""

    build: AnyBuild
    size: Size | None
    covered: float
    from_table: bool = False

    def admittance(self, freqs: Floats, kt: Floats) -> Complexes:
        """Normalised admittance (T, F) at the wall it covers, for wavenumbers kt (T,) along it.

        Of a sealed resonator the flow of its neck over the area it covers, the same at any kt.
        """
        if isinstance(self.build, SealedResonator):
            flow = self.build.point_admittance(freqs) / self.covered
            return np.asarray(np.broadcast_to(flow, (len(kt), len(freqs))))
        return mode_admittance(self.build, freqs, kt, self.size)

    def flow_along(self, freqs: Floats) -> Complexes:
        """What flow along the wall inside it adds (F,) in m2; see `flow_along`."""
        if isinstance(self.build, SealedResonator):
            return np.zeros(len(freqs), dtype=np.complex128)
        return flow_along(self.build, freqs)


def mode_admittance(
    build: Build | CornerFill,
    freqs: Floats,
    kt: Floats,
    size: Size | None = None,
    medium: Medium = AIR,
) -> Complexes:
    """Normalised admittance (T, F) at the wall for wavenumbers kt (T,) rad/m along it.

    `size` (width, height) in m of the one piece, whose sides are open; None for an endless one or
    one that ends at walls. A build with a board, foil or slats is a closed frame and reacts as at
    kt = 0. Of a corner fill kt is that along the corner, and the admittance is spread over its two
    legs. Beyond k0 kt counts as k0. The air that the piece displaces is taken off, since a mode of
    the whole box still counts it. Re(beta) >= 0.
    """
    kt = np.minimum(kt[:, None], medium.wavenumber(freqs))
    if isinstance(build, CornerFill):
        return _corner(build, freqs, kt, medium)
    if build.locally_reacting or not all(isinstance(x, OPEN) for x in build.layers):
        kt, size = np.zeros_like(kt), None
    if size is not None and len(build.layers) > 1 and isinstance(build.layers[-1], AirGap):
        more = _on_open_gap(build.layers, freqs, kt, size, medium)
        return _at_the_wall(more, build.depth, freqs, kt, medium)
    beta = _layered(build.layers, freqs, kt, size, medium)
    return _without_air(beta, build.depth, freqs, kt, medium)


def flow_along(build: Build | CornerFill, freqs: Floats, medium: Medium = AIR) -> Complexes:
    """beta_f (F,) in m2: what the flow along the wall inside the wool adds per (rad/m)^2 of run.

    Of a corner fill that along the corner, over its two legs. The air displaced is taken off. Zero
    where depth is divided or closed.
    """
    k0 = medium.wavenumber(freqs)
    if isinstance(build, CornerFill):
        deep = build.section / (2.0 * build.leg)
        light, _, inside = _in_corner(build, freqs, np.zeros(len(freqs)), medium)
        return np.asarray(1j * deep * (1.0 / k0 - light * inside))
    if build.locally_reacting or not all(isinstance(x, OPEN) for x in build.layers):
        return np.zeros(len(freqs), dtype=np.complex128)
    total = np.zeros(len(freqs), dtype=np.complex128)
    for layer in build.layers:
        if isinstance(layer, Porous):
            zc, k = _fluid(layer, freqs, medium)
            total += 1j * layer.thickness * (1.0 / k0 - medium.impedance / (k * zc))
    return total


def _layered(
    layers: Sequence[Layer], freqs: Floats, kt: Floats, size: Size | None, medium: Medium
) -> Complexes:
    if size is not None and len(layers) == 1 and isinstance(layers[0], Porous):
        return _block(layers[0], freqs, kt, size, medium)
    a, b, c, d = two_port(layers, freqs, kt, medium)
    return np.asarray(c / a * medium.impedance)


def two_port(
    layers: Sequence[Layer], freqs: Floats, kt: Floats, medium: Medium
) -> tuple[Complexes, Complexes, Complexes, Complexes]:
    """A, B, C, D (T, F) of layers from the room inwards."""
    shape = (len(kt), len(freqs))
    a, d = np.ones(shape, dtype=np.complex128), np.ones(shape, dtype=np.complex128)
    b, c = np.zeros(shape, dtype=np.complex128), np.zeros(shape, dtype=np.complex128)
    for layer in layers:
        if isinstance(layer, Porous | AirGap):
            zc, k = _fluid(layer, freqs, medium)
            kn = _across(k, kt)
            zn, phase = zc * k / kn, kn * layer.thickness
            cos, sin = np.cos(phase), 1j * np.sin(phase)
            a, b = a * cos + b * sin / zn, a * zn * sin + b * cos
            c, d = c * cos + d * sin / zn, c * zn * sin + d * cos
        else:
            z = facing_impedance(layer, freqs, medium)
            b, d = a * z + b, c * z + d
    return a, b, c, d


def _across(k: Complexes | Floats, kt: Floats) -> Complexes:
    """Wavenumber (T, F) across a layer; never quite zero, where series and layers divide by it."""
    kn = np.sqrt(k**2 - kt**2 + 0j)
    return np.where(np.abs(kn) < 1e-6 * np.abs(k), 1e-6 * k, kn)


def _fluid(layer: Porous | AirGap, freqs: Floats, medium: Medium) -> tuple[Complexes, Complexes]:
    if isinstance(layer, Porous):
        return characteristic(freqs, layer.flow_resistivity, layer.model, medium)
    k0 = medium.wavenumber(freqs).astype(np.complex128)
    return np.full_like(k0, medium.impedance), k0


def _block(layer: Porous, freqs: Floats, kt: Floats, size: Size, medium: Medium) -> Complexes:
    zc, k = _fluid(layer, freqs, medium)
    drive = k**2 - kt**2
    mu2, share = _sides(size)
    kappa2 = mu2[:, None] - k**2
    depth = np.sqrt(kappa2) * layer.thickness
    inner = share @ ((1.0 - np.tanh(depth) / depth) / kappa2)
    mean = 1.0 + drive * inner
    return np.asarray(1j * medium.impedance * drive * layer.thickness * mean / (k * zc))


def _on_open_gap(
    layers: Sequence[Layer], freqs: Floats, kt: Floats, size: Size, medium: Medium
) -> Complexes:
    """Flow (T, F) that the piece takes more than the air in its place; see the module."""
    k0 = medium.wavenumber(freqs)
    gap, deep = layers[-1].thickness, sum(layer.thickness for layer in layers)
    a, b, c, d = two_port(layers[:-1], freqs, kt, medium)
    kn = _across(k0, kt)
    front, back = np.cos(kn * deep), np.cos(kn * gap)
    behind_air, front_air = (
        1j * kn * np.sin(kn * z) / (k0 * medium.impedance) for z in (gap, deep)
    )
    rest = gap_pressure(layers, freqs, kt, size, medium)
    behind = back + rest
    through = (front - a * behind) / b
    flow = front * (c * behind + d * through - front_air) - back * (through - behind_air)
    return np.asarray((flow + behind_air * rest) * medium.impedance)


def gap_pressure(
    layers: Sequence[Layer], freqs: Floats, kt: Floats, size: Size, medium: Medium = AIR
) -> Complexes:
    """<r> (T, F) at the back of layers whose last is a gap open at its sides; see the module."""
    k0 = medium.wavenumber(freqs)
    gap, deep = layers[-1].thickness, sum(layer.thickness for layer in layers)
    a, b, _, _ = two_port(layers[:-1], freqs, kt, medium)
    kn = _across(k0, kt)
    unit = 1j / (k0 * medium.impedance)
    drive = np.cos(kn * deep) - a * np.cos(kn * gap) - b * unit * kn * np.sin(kn * gap)
    mouth = 2.0 * gap / np.pi * (1.0 + max(np.log(min(size) / (2.0 * gap)), 0.0))
    mu2, share = _sides((size[0] + 2.0 * mouth, size[1] + 2.0 * mouth))
    across = _across(k0, np.sqrt(mu2)[:, None])
    stiff = unit * across * np.tan(across * gap)
    inner = np.empty_like(a)
    for row in range(len(kt)):
        inner[row] = share @ (1.0 / (a[row] + b[row] * stiff))
    return np.asarray(drive * inner)


@lru_cache(maxsize=256)
def _sides(size: Size) -> tuple[Floats, Floats]:
    """mu^2 (N,) and shares (N,) of the sine series over two open sides."""
    odd = np.arange(1, 2 * _TERMS, 2)
    share = 8.0 / (odd * np.pi) ** 2
    share[-1] += 1.0 - share.sum()  # all orders beyond
    mu2 = np.add.outer((odd * np.pi / size[0]) ** 2, (odd * np.pi / size[1]) ** 2)
    return mu2.ravel(), np.outer(share, share).ravel()


def _at_the_wall(
    more: Complexes, depth: float, freqs: Floats, kt: Floats, medium: Medium
) -> Complexes:
    """Admittance at the wall of what takes `more` flow than air `depth` m off it, whose own wave is
    counted there; at most k0 depth = 1."""
    k0 = medium.wavenumber(freqs)
    kn = _across(k0, kt)
    return np.asarray(more / (1.0 - 1j * more * k0 / kn * np.tan(kn * np.minimum(depth, 1 / k0))))


def _without_air(
    beta: Complexes, depth: float, freqs: Floats, kt: Floats, medium: Medium
) -> Complexes:
    """Seen from the wall behind `depth` m of air that the piece displaces, at most k0 depth = 1."""
    k0 = medium.wavenumber(freqs)
    kn = _across(k0, kt)
    tan = 1j * np.tan(kn * np.minimum(depth, 1.0 / k0))
    forward, back = tan * kn / k0, tan * k0 / kn
    return np.asarray((beta - forward) / (1.0 - beta * back))


def _in_corner(
    fill: CornerFill, freqs: Floats, along: Floats, medium: Medium
) -> tuple[Complexes, Complexes, Complexes]:
    """1/(k Zc) times Z0, k^2 - kt^2 and <p>/P (F,) in the fill for kt (F,) `along` the corner."""
    zc, k = characteristic(freqs, fill.flow_resistivity, fill.model, medium)
    drive = k**2 - along**2
    return medium.impedance / (k * zc), drive, mean_pressure(np.sqrt(drive), fill.mirrored_side)


def _corner(fill: CornerFill, freqs: Floats, kt: Floats, medium: Medium) -> Complexes:
    k0 = medium.wavenumber(freqs)
    out = np.empty((len(kt), len(freqs)), dtype=np.complex128)
    for row, along in enumerate(kt):
        light, drive, mean = _in_corner(fill, freqs, along, medium)
        y = 1j * drive * fill.section * mean * light / (medium.impedance * fill.face_width)
        if fill.facing is not None:
            y = y / (1.0 + y * facing_impedance(fill.facing, freqs, medium))
        flow = y * medium.impedance * fill.face_width
        out[row] = (flow - 1j * (k0**2 - along**2) / k0 * fill.section) / (2.0 * fill.leg)
    return out
