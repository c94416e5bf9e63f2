"""All criteria of a scene, put together from its targets and weights."""

from dataclasses import replace

import numpy as np

from optimizer.acoustics.criteria import Criteria, Family, share_weights
from optimizer.acoustics.decay import sabine
from optimizer.acoustics.decay_criteria import decay_family
from optimizer.acoustics.directivity import Directivity, loudspeaker, omnidirectional
from optimizer.acoustics.early import early_paths
from optimizer.acoustics.early_criteria import early_family, late_family, pair_families
from optimizer.acoustics.flutter_criteria import FLUTTER_BAND, flutter_family
from optimizer.acoustics.low_decay_criteria import beside, low_decay_family
from optimizer.acoustics.mode_criteria import highest_mode, mode_family
from optimizer.acoustics.scene import Scene
from optimizer.acoustics.side_criteria import side_family
from optimizer.acoustics.targets import nominal_decay, standard_mask
from optimizer.bands import N_BANDS
from optimizer.room.geometry import Floats
from optimizer.room.schema import LoudspeakerSection, TargetsSection, WeightsSection


def room_criteria(
    scene: Scene,
    targets: TargetsSection,
    weights: WeightsSection,
    speaker: LoudspeakerSection,
    dimensions: tuple[float, float, float] | None = None,
) -> Criteria:
    """Criteria of a scene: decay, modes, early reflections, balance of the sides and of the pair.

    Each group's weight is shared evenly among its rows (among seats by their own weight, among
    modes by how strongly each is driven and heard). In a box (`dimensions` given) the modes are
    judged one by one below the Schroeder frequency, and decide the decay of the bands there.
    """
    low, high = decay_limits(scene.volume, targets)
    paths = early_paths(scene, directivity_of(speaker))
    side_limit = targets.side_balance_percent / 100 * target_area(scene.volume) / 2
    pair, delay = pair_families(scene, paths, targets.early, targets.pair_balance_percent)
    families: tuple[tuple[Family, float], ...] = (
        (early_family(scene, paths, targets.early), weights.early),
        (late_family(scene, paths, targets.early), weights.late),
        (flutter_family(scene, float(high[FLUTTER_BAND])), weights.flutter),
        (side_family(side_limit), weights.side_balance),
        (pair, weights.pair_balance),
        (delay, 0.0),
    )
    if dimensions is not None:
        families = ((mode_family(scene, dimensions), weights.modes), *families)
    decay = decay_families(scene, low, high, dimensions, weights.decay)
    return Criteria((*decay, *(weighted(family, total) for family, total in families)))


def decay_families(
    scene: Scene,
    low: Floats,
    high: Floats,
    dimensions: tuple[float, float, float] | None,
    weight: float,
) -> tuple[Family, ...]:
    """Decay per octave band, each band with the same share of the weight: in a box from the modes
    up to the Schroeder frequency (the formula's rows then only inform), else from the formula."""
    formula = decay_family(scene, low, high, np.ones(N_BANDS))
    top = 0.0 if dimensions is None else highest_mode(scene.volume)
    modal = None if dimensions is None else low_decay_family(scene, dimensions, top, low, high)
    names = () if modal is None else tuple(row.where for row in modal.rows)
    each = weight / N_BANDS
    rows = tuple(
        beside(row) if row.where in names else replace(row, weight=each) for row in formula.rows
    )
    if modal is None:
        return (formula.with_rows(rows),)
    counted = modal.with_rows(tuple(replace(row, weight=each) for row in modal.rows))
    return counted, formula.with_rows(rows)


def weighted(family: Family, total: float) -> Family:
    """The family with the weights of its rows adding up to `total`."""
    return family.with_rows(share_weights(family.rows, total))


def decay_limits(volume: float, targets: TargetsSection) -> tuple[Floats, Floats]:
    """Shortest and longest decay time (8,) in s: the person's own, else the standard mask."""
    low, high = standard_mask(volume)
    if targets.decay_low is not None:
        low = np.array(targets.decay_low)
    if targets.decay_high is not None:
        high = np.array(targets.decay_high)
    return low, high


def target_area(volume: float) -> float:
    """Absorption area in m2 that gives the nominal decay time by Sabine."""
    one_square_metre = sabine(volume, [1.0], [[1.0]])
    return float(one_square_metre[0]) / nominal_decay(volume)


def directivity_of(speaker: LoudspeakerSection) -> Directivity:
    """How the loudspeakers of a room file radiate."""
    if speaker.directivity == "all-round":
        return omnidirectional()
    return loudspeaker(
        speaker.cabinet_radius,
        speaker.woofer_radius,
        speaker.tweeter_radius,
        speaker.crossover_hz,
    )
