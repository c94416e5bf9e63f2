"""Set-ups: which wall is faced, where the loudspeakers stand and where the ears are.

A set-up lies on a listening axis square to the wall that is faced: two loudspeakers as far from
that wall as each other, the listener on the axis between them. Coordinates are those of the room
with that wall in front.
"""

from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from optimizer.room.geometry import DIGITS, Floats

Bools = NDArray[np.bool_]
Ints = NDArray[np.int64]

# What is tried. All of it is our choice; the angle is common practice, no source.
STEP = 0.1  # m, between places along the axis
NEAREST_WALL, FARTHEST_WALL = 0.3, 1.5  # m, loudspeaker to the wall that is faced
SHARE_OF_LENGTH = 0.35  # and at most this share of the length
NARROWEST, WIDEST, BASE_STEP = 1.0, 2.4, 0.2  # m between the loudspeakers
SMALLEST_ANGLE, LARGEST_ANGLE = 45.0, 75.0  # degrees that they take up at the ears; 60 is the
# equilateral triangle
OFFSETS = (0.0, -0.2, 0.2, -0.4, 0.4)  # m, axis from the middle between the side walls
ABOVE_EARS = (0.0, 0.15)  # m, loudspeakers above the ears
STANDS = (0.7, 1.5)  # m, least and greatest height of a loudspeaker


@dataclass(frozen=True)
class SetUps:
    """N set-ups that face one wall; all lengths in m, arrays (N,).

    wall: x of the loudspeakers; axis: y of the listening axis; base: between the loudspeakers;
    seat: x of the ears; high, ears: height of loudspeakers and ears.
    """

    facing: str
    wall: Floats
    axis: Floats
    base: Floats
    seat: Floats
    high: Floats
    ears: Floats

    def __len__(self) -> int:
        return len(self.wall)

    def take(self, index: Ints | Bools) -> "SetUps":
        """The set-ups of an index or mask, in that order."""
        values = [getattr(self, f.name)[index] for f in fields(self)[1:]]
        return SetUps(self.facing, *values)

    def one(self, index: int) -> "SetUp":
        """One of them."""
        values = [float(getattr(self, f.name)[index]) for f in fields(self)[1:]]
        wall, axis, base, seat, high, ears = values
        half = base / 2
        return SetUp(
            self.facing,
            _point(wall, axis - half, high),
            _point(wall, axis + half, high),
            _point(seat, axis, ears),
        )

    @property
    def speakers(self) -> Floats:
        """Left and right loudspeaker (N, 2, 3)."""
        half = self.base / 2
        sides = [np.stack([self.wall, self.axis + side, self.high], axis=-1)
                 for side in (-half, half)]  # fmt: skip
        return np.asarray(np.round(np.stack(sides, axis=1), DIGITS))

    @property
    def heads(self) -> Floats:
        """Ears (N, 3)."""
        return np.asarray(np.round(np.stack([self.seat, self.axis, self.ears], axis=-1), DIGITS))


@dataclass(frozen=True, eq=False)
class SetUp:
    """One set-up as points (3,) of the room with the wall `facing` in front; it need not be
    symmetric (the one a person has may not be)."""

    facing: str
    left: Floats
    right: Floats
    ears: Floats

    @property
    def base(self) -> float:
        """Distance between the loudspeakers, m."""
        return float(np.linalg.norm(self.right - self.left))

    @property
    def angle(self) -> float:
        """Angle in degrees that the loudspeakers take up at the ears, seen from above."""
        a, b = (p[:2] - self.ears[:2] for p in (self.left, self.right))
        cosine = float(a @ b / (np.linalg.norm(a) * np.linalg.norm(b)))
        return float(np.degrees(np.arccos(np.clip(cosine, -1, 1))))

    def apart(self, other: "SetUp") -> float:
        """Largest move in m from one to the other; infinite when they face different walls."""
        if self.facing != other.facing:
            return np.inf
        pairs = ((self.left, other.left), (self.right, other.right), (self.ears, other.ears))
        return max(float(np.linalg.norm(a - b)) for a, b in pairs)


@dataclass(frozen=True)
class Reach:
    """What a search may try: heights of ears, least and greatest height of a loudspeaker; step
    along the axis, and how far the axis may be from the middle between the side walls."""

    ears: tuple[float, ...]
    stands: tuple[float, float] = STANDS
    step: float = STEP
    offsets: tuple[float, ...] = OFFSETS


def grid(facing: str, low: Floats, high: Floats, reach: Reach) -> SetUps:
    """Every set-up to be tried in a room that lies between two corners (3,)."""
    length, width = (high - low)[:2].tolist()
    farthest = min(FARTHEST_WALL, SHARE_OF_LENGTH * length)
    wall = np.arange(NEAREST_WALL, farthest + 1e-9, reach.step)
    base = np.arange(NARROWEST, min(WIDEST, width) + 1e-9, BASE_STEP)
    seat = np.arange(reach.step, length, reach.step)
    axis = width / 2 + np.array(reach.offsets)
    heights = [(h, e) for e in reach.ears for h in _heights(e, reach.stands)]
    mesh = np.meshgrid(axis, np.arange(len(heights)), wall, base, seat, indexing="ij")
    a, h, w, b, s = (m.ravel() for m in mesh)
    angle = 2 * np.degrees(np.arctan2(b / 2, s - w))
    kept = (s > w) & (angle >= SMALLEST_ANGLE - 1e-9) & (angle <= LARGEST_ANGLE + 1e-9)
    pairs = np.array(heights).reshape(-1, 2)[h[kept]]
    places = (w + low[0], a + low[1], b, s + low[0])
    wall, axis, base, seat = (np.round(x[kept], DIGITS) for x in places)
    return SetUps(facing, wall, axis, base, seat, pairs[:, 0], pairs[:, 1])


def _heights(ears: float, stands: tuple[float, float]) -> list[float]:
    """Heights of loudspeakers that are tried for ears at that height."""
    tried = (min(max(ears + above, stands[0]), stands[1]) for above in ABOVE_EARS)
    return sorted({round(h, DIGITS) for h in tried})


def _point(x: float, y: float, z: float) -> Floats:
    return np.round(np.array([x, y, z]), DIGITS)
