"""What a porous product takes of the bass that meets it, in plain words.

Thin foam and thin wool are often bought for the bass. What they take at 63 and 125 Hz is computed
from what they are made of, as a laboratory would measure it (edges.laboratory_alpha), or read from
the table where that is not known. Where a source measured 125 Hz and the make says more, the
measured figure decides what the product is worth.
"""

from dataclasses import dataclass
from functools import lru_cache

from materials.corner import CornerFill
from materials.edges import laboratory_alpha
from materials.layers import AirGap, Cloth, Porous
from materials.made import make_strength, matter_of
from materials.resonators import SealedResonator
from materials.table import Material

BASS = (63, 125)
# Shares at 125 Hz below which a product is said to do nothing, or little, for the bass. Own choice,
# no source: a tenth is less than what two laboratories differ by.
NOTHING, LITTLE = 0.10, 0.30
POROUS = frozenset({"porous", "foam", "curtain", "carpet", "corner fill", "screen"})


@dataclass(frozen=True)
class BassTake:
    """Shares of what meets it that a product takes at 63 and 125 Hz, by its make or as the table
    says; `extrapolated` where that is the table and no source gives 63 Hz; `measured` at 125 Hz,
    of a product computed from its make."""

    at_63: float
    at_125: float
    extrapolated: bool = False
    measured: float | None = None

    @property
    def verdict(self) -> str:
        """What that is worth, in words."""
        if self.least < NOTHING:
            return "it does nothing for the bass"
        return "it does little for the bass" if self.weak else "it works in the bass"

    @property
    def least(self) -> float:
        """The lower of what is computed and what was measured at 125 Hz."""
        return self.at_125 if self.measured is None else min(self.at_125, self.measured)

    @property
    def weak(self) -> bool:
        """Whether it does little or nothing for the bass."""
        return self.least < LITTLE

    def in_words(self) -> str:
        """One sentence, without a full stop."""
        unsure = " (less sure: no source gives it)" if self.extrapolated else ""
        return (
            f"at 63 Hz it takes {_percent(self.at_63)} of what meets it{unsure}, at 125 Hz "
            f"{_percent(self.at_125)}{self._measured()}; {self.verdict}"
        )

    def _measured(self) -> str:
        if self.measured is None or _percent(self.measured) == _percent(self.at_125):
            return ""
        return f" (measured: {_percent(self.measured)})"


@lru_cache(maxsize=512)
def bass_take(material: Material) -> BassTake | None:
    """What a porous material takes; None for anything else, and for items known by their area.

    Of a corner fill per area of its face.
    """
    make = material.build or matter_of(material)
    if isinstance(make, SealedResonator):
        return None
    if isinstance(make, CornerFill) and make.facing is None:
        low, high = make.absorption_per_metre(BASS) / make.face_width
        return BassTake(float(low), float(high), measured=_measured(material))
    if make is not None and not isinstance(make, CornerFill):
        if not all(isinstance(layer, Porous | AirGap | Cloth) for layer in make.layers):
            return None
        share = 1.0 if material.build else make_strength(material)
        low, high = share * laboratory_alpha(make, BASS)
        return BassTake(float(low), float(high), measured=_measured(material))
    if material.unit != "alpha" or material.category not in POROUS:
        return None
    low, high = material.absorption[:2]
    return BassTake(low, high, extrapolated=63 in material.extrapolated)


def _measured(material: Material) -> float | None:
    """What sources give for 125 Hz; None for a build, an estimate, or where it is extrapolated."""
    given = material.status == "sourced" and 125 not in material.extrapolated
    return material.absorption[1] if given else None


def _percent(share: float) -> str:
    """A share as people say it: whole per cent, never more than all."""
    if share < 0.005:
        return "less than 1 %"
    return f"{100 * min(share, 1.0):.0f} %"
