"""Absorption area left of the speakers' axis against right of it, per octave band."""

from dataclasses import dataclass

import numpy as np

from optimizer.acoustics.absorption import added_area, side_difference, side_sign
from optimizer.acoustics.criteria import Criterion, TwoSided
from optimizer.acoustics.scene import Patches, Scene
from optimizer.bands import BANDS, band_label
from optimizer.room.geometry import Floats

FIRST_BAND, LAST_BAND = 1, 6  # 125 Hz to 4 kHz; the outer bands are extrapolated in the table


@dataclass(frozen=True)
class SideFamily(TwoSided):
    """Rows per band 125 Hz - 4 kHz. Quantity and value: absorption area left minus right, m2."""

    def quantities(self, scene: Scene) -> Floats:
        """Differences (6,) in m2."""
        return side_difference(scene)[_used()]

    def effects(self, scene: Scene, patches: Patches) -> Floats:
        """Change (6, N) in m2."""
        added = added_area(scene, patches) * side_sign(scene, patches)[:, None]
        return np.asarray(added.T[_used()])


def side_family(limit_m2: float) -> SideFamily:
    """Side criteria with a limit in m2 either way; the limit is ours, no standard gives one."""
    rows = tuple(
        Criterion("side balance", band_label(band), "m2", -limit_m2, limit_m2, 1.0, "areas",
                  "limit is ours; no standard gives one")
        for band in BANDS[FIRST_BAND : LAST_BAND + 1]
    )  # fmt: skip
    return SideFamily(rows)


def _used() -> slice:
    return slice(FIRST_BAND, LAST_BAND + 1)
