"""Whether a plan's diffusers stand far enough away, and what their coefficients are worth."""

from collections.abc import Sequence

import numpy as np

from materials import Material
from materials.scattering import DEPTH_RULE
from optimizer.acoustics.images import SPEED_OF_SOUND
from optimizer.bands import BANDS, band_label
from optimizer.results.model import PlannedPiece
from optimizer.room.geometry import Floats
from optimizer.room.model import Room
from optimizer.units import format_length

WAVELENGTHS = 3.0
WORKS = 0.5  # scattering coefficient from which a band counts as one it works in; own choice
RULE = (
    "The least distance from a diffuser to ears and loudspeakers is a rule of thumb: 3 wavelengths "
    "of the lowest octave in which it scatters half of the sound (Cox and D'Antonio, Acoustic "
    "Absorbers and Diffusers, from memory; no standard gives one). What it sends to the ears from "
    "where it hangs counts in the rows of reflections either way."
)


def diffuser_sentences(
    room: Room, groups: Sequence[Sequence[PlannedPiece]], units: str = "m"
) -> list[str]:
    """A sentence for each group of pieces (a mirrored pair or one) that are diffusers, with its
    numbers in the plan, and the rule they are held to; nothing when there are none."""
    said = [
        _sentence(room, group, units)
        for group in groups
        if group[0].piece.product.kind == "diffuser"
    ]
    return [*said, RULE] if said else []


def _sentence(room: Room, group: Sequence[PlannedPiece], units: str) -> str:
    product, material = group[0].piece.product, group[0].piece.material
    ids = ", ".join(piece.id for piece in group)
    return f"{ids} ({product.name}): {_distance(room, group, units)}{_worth(material)}"


def _distance(room: Room, group: Sequence[PlannedPiece], units: str) -> str:
    scatter = group[0].piece.material.scattering
    band = next((b for b, s in zip(BANDS, scatter, strict=True) if s >= WORKS), None)
    if band is None:
        return "scatters less than half of the sound in every octave."
    needed = WAVELENGTHS * SPEED_OF_SOUND / band
    places = [*((seat.name, seat.at) for seat in room.seats),
              *((speaker.name, speaker.at) for speaker in room.speakers)]  # fmt: skip
    near, name = min(
        (_away(planned.piece.face, np.array(at)), name) for planned in group for name, at in places
    )
    how_far = f"{format_length(near, units)} from {name}"
    rule = f"{format_length(needed, units)}, 3 wavelengths at {band_label(band)}"
    if near < needed:
        return f"{how_far}, nearer than {rule}: too near to work as a diffuser should."
    return f"{how_far}, far enough ({rule})."


def _away(face: Floats, point: Floats) -> float:
    """Distance in m of a point from a rectangle given by its corners (4, 3) in turn."""
    corner, sides = face[0], np.array([face[1] - face[0], face[3] - face[0]])
    share = np.clip((point - corner) @ sides.T / (sides**2).sum(axis=1), 0.0, 1.0)
    return float(np.linalg.norm(point - corner - share @ sides))


def _worth(material: Material) -> str:
    text = ""
    if material.status == "estimated":
        text += f" Its absorption is an estimate: {material.note.rstrip('.')}."
    if material.scattering_status == DEPTH_RULE:
        text += " Its scattering is estimated from its depth, not measured."
    return text
