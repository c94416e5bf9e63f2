"""All criteria of a scene, put together from its targets and weights."""

import numpy as np

from optimizer.acoustics.criteria import Criteria, Family, share_weights
from optimizer.acoustics.decay import sabine
from optimizer.acoustics.decay_criteria import decay_family
from optimizer.acoustics.directivity import Directivity, loudspeaker, omnidirectional
from optimizer.acoustics.early import early_paths
from optimizer.acoustics.early_criteria import early_family, pair_families
from optimizer.acoustics.mode_criteria import highest_mode, mode_family
from optimizer.acoustics.scene import Scene
from optimizer.acoustics.side_criteria import side_family
from optimizer.acoustics.targets import nominal_decay, standard_mask
from optimizer.bands import EXACT_HZ, N_BANDS
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
    judged one by one below the Schroeder frequency, and the decay formula there only informs.
    """
    low, high = decay_limits(scene.volume, targets)
    paths = early_paths(scene, directivity_of(speaker))
    side_limit = targets.side_balance_percent / 100 * target_area(scene.volume) / 2
    pair, delay = pair_families(scene, paths, targets.early, targets.pair_balance_percent)
    families: tuple[tuple[Family, float], ...] = (
        (decay_family(scene, low, high, formula_counts(scene.volume, dimensions)), weights.decay),
        (early_family(scene, paths, targets.early), weights.early),
        (side_family(side_limit), weights.side_balance),
        (pair, weights.pair_balance),
        (delay, 0.0),
    )
    if dimensions is not None:
        families = (families[0], (mode_family(scene, dimensions), weights.modes), *families[1:])
    return Criteria(tuple(weighted(family, total) for family, total in families))


def formula_counts(volume: float, dimensions: tuple[float, float, float] | None) -> Floats:
    """1 for each octave band (8,) that the decay formula is to decide, 0 where modes do."""
    if dimensions is None:
        return np.ones(N_BANDS)
    return np.asarray(highest_mode(volume) < EXACT_HZ, dtype=np.float64)


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
