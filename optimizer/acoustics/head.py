"""Where ears may be: a small region around a seat instead of a single point."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]

HEAD_POINTS = 27
HEAD_CENTRE = 13  # index of the seat itself within the 27 points


def head_region(seat: ArrayLike, half: float = 0.2) -> FloatArray:
    """The 3 x 3 x 3 grid of points within +/-half metres of a seat's ear position.

    seat (..., 3) in metres -> (..., 27, 3); x varies slowest, z fastest, and point
    HEAD_CENTRE is the seat. half >= 0. The default 0.2 m is a choice, not a standard's figure.
    """
    centre = np.asarray(seat, dtype=np.float64)
    if centre.shape[-1:] != (3,):
        raise ValueError("a seat needs three coordinates")
    if not half >= 0:
        raise ValueError("the half width of the head region must not be negative")
    step = np.array([-half, 0.0, half])
    grid = np.stack(np.meshgrid(step, step, step, indexing="ij"), axis=-1).reshape(-1, 3)
    return np.asarray(centre[..., None, :] + grid)
