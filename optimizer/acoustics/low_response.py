"""Low-frequency response of a box room from its coupled modes: what the seats hear, 20-300 Hz."""

from dataclasses import dataclass, replace

import numpy as np

from optimizer.acoustics.admittance import LOW_HZ, bare_fills, low_patches
from optimizer.acoustics.corner_volumes import TOUCHING, Standing
from optimizer.acoustics.coupled import CoupledModes, coupled_modes, log_frequencies, response
from optimizer.acoustics.coupled_build import FINE, CoupledBox, Detail, couple_box, with_objects
from optimizer.acoustics.coupled_objects import LossyObjects
from optimizer.acoustics.evenness import pressure_level
from optimizer.acoustics.make_admittance import ALONG, make_share
from optimizer.acoustics.mode_criteria import ON_FLOOR, on_walls
from optimizer.acoustics.modes import IN_PLANE
from optimizer.acoustics.scene import Scene
from optimizer.bands import BANDS
from optimizer.room.geometry import Floats

Dimensions = tuple[float, float, float]
HIGHEST_HZ = 300.0
ABOVE = 1.1  # of the highest frequency asked for, up to which modes are followed (coupled.py)


@dataclass(frozen=True)
class LowResponse:
    """Level (S, R, F) in dB re free field at 1 m of each loudspeaker at each seat, at f_hz (F,)."""

    f_hz: Floats
    level_db: Floats

    @property
    def both_db(self) -> Floats:
        """Mean energy of the loudspeakers at each seat (R, F), in dB."""
        return np.asarray(10 * np.log10(np.mean(10 ** (self.level_db / 10), axis=0)))


def low_response(scene: Scene, dimensions: Dimensions, per_octave: int = 24) -> LowResponse:
    """Steady response of each loudspeaker at each seat, 20 to 300 Hz.

    A locally reacting wall admittance from builds where known, else real and from the octave
    coefficients; furniture as a loss spread over its box. Closets and open doors count with the
    material their area names. Loudspeakers are points with a flat free-field response.
    """
    f_hz = log_frequencies(20.0, HIGHEST_HZ, per_octave)
    box = coupled_box(scene, dimensions, HIGHEST_HZ)
    pressure = response(box, f_hz, scene.speakers, scene.seats)
    return LowResponse(f_hz, pressure_level(pressure))


def damped_modes(
    scene: Scene, dimensions: Dimensions, top_hz: float, detail: Detail = FINE
) -> CoupledModes:
    """Frequency and damping of every mode of the treated room up to top_hz."""
    return coupled_modes(coupled_box(scene, dimensions, 1.15 * top_hz, detail), top_hz)


def coupled_box(
    scene: Scene, dimensions: Dimensions, top_hz: float, detail: Detail = FINE
) -> CoupledBox:
    """The scene as a coupled modal problem up to top_hz."""
    return _box(scene, dimensions, top_hz, True, detail)


def unfurnished_box(scene: Scene, dimensions: Dimensions, top_hz: float) -> CoupledBox:
    """The same without furniture, to be `furnished` in several ways."""
    return _box(scene, dimensions, top_hz, False, FINE)


def _box(
    scene: Scene, dimensions: Dimensions, top_hz: float, furniture: bool, detail: Detail
) -> CoupledBox:
    """The scene up to top_hz; admittances are given up to a little above it, since the fewer
    frequencies, the fewer matrices."""
    surface, rect, beta, axes, volume = low_patches(scene)
    f_hz = LOW_HZ[: int(np.searchsorted(LOW_HZ, ABOVE * top_hz)) + 1]
    return couple_box(
        dimensions,
        on_walls(dimensions, scene, surface, rect),
        f_hz,
        beta[..., : len(f_hz)],
        top_hz,
        _objects(scene, dimensions, f_hz) if furniture else None,
        air=_at(scene.air[None], f_hz)[0],
        along=ALONG,
        only=axes,
        stacks=[replace(s, share=s.share[: len(f_hz)]) for s in standing(scene, dimensions)],
        instead=volume,
        detail=detail,
    )


def standing(scene: Scene, dimensions: Dimensions) -> list[Standing]:
    """Bare fills of corners as stacks or runs of wool; those that touch are one, open only at its
    ends."""
    pieces = scene.pieces.take(bare_fills(scene.pieces))
    walls = on_walls(dimensions, scene, pieces.surface, pieces.rect)
    kinds: dict[tuple[int, tuple[int, int], object], list[tuple[float, float, int]]] = {}
    for i, make in enumerate(pieces.make):
        rect, lengthways = walls.rect[i], int(pieces.fill_axis[i])
        sides = _corner_of(dimensions, int(walls.axis[i]), int(walls.side[i]), rect, lengthways)
        first = IN_PLANE[walls.axis[i]].index(lengthways)
        fill = make.build
        matter = (fill.shape, fill.leg, fill.flow_resistivity, fill.model, make.from_table)
        ends = float(rect[first]), float(rect[first + 2])
        kinds.setdefault((lengthways, sides, matter), []).append((*ends, i))
    stacks = []
    for (lengthways, sides, _), places in kinds.items():
        for low, high, members in _runs(places):
            make = pieces.make[members[0]]
            share = pieces.strength[members].mean() * make_share(make)
            stacks.append(Standing(make.build, sides, low, high, share, lengthways))
    return stacks


def _corner_of(
    dimensions: Dimensions, axis: int, side: int, rect: Floats, lengthways: int
) -> tuple[int, int]:
    """The ends (0 or 1) of the other two axes at which a fill lies, from its rectangle (4,) on the
    wall at the end `side` of an axis."""
    across = next(a for a in IN_PLANE[axis] if a != lengthways)
    at = IN_PLANE[axis].index(across)
    ends = {axis: side, across: int(rect[at] > dimensions[across] - rect[at + 2])}
    first, second = IN_PLANE[lengthways]
    return ends[first], ends[second]


def _runs(places: list[tuple[float, float, int]]) -> list[tuple[float, float, list[int]]]:
    """Unbroken stretches of (low, high, index): ends, and the indices in each."""
    out: list[tuple[float, float, list[int]]] = []
    for low, high, index in sorted(places):
        if out and low <= out[-1][1] + TOUCHING:
            start, end, members = out[-1]
            out[-1] = (start, max(end, high), [*members, index])
        else:
            out.append((low, high, [index]))
    return out


def furnished(box: CoupledBox, scene: Scene, dimensions: Dimensions) -> CoupledBox:
    """An unfurnished box with the furniture of the scene."""
    objects = _objects(scene, dimensions, box.f)
    return box if objects is None else with_objects(box, objects)


def _objects(scene: Scene, dimensions: Dimensions, f_hz: Floats) -> LossyObjects | None:
    if not len(scene.object_box):
        return None
    boxes = np.clip(scene.object_box, 0.0, dimensions).reshape(-1, 6)
    return LossyObjects(boxes, _at(scene.object_area, f_hz) / ON_FLOOR)


def _at(bands: Floats, f_hz: Floats) -> Floats:
    """Octave-band values (N, 8) at frequencies (F,), linear in log frequency."""
    known = np.log(np.array(BANDS, dtype=float))
    return np.array([np.interp(np.log(f_hz), known, row) for row in bands])
