"""A sheet of paper in millimetres: lines, shapes and lettering on it, and what is taken.

The lower left corner of the sheet within its blank border, if it has one, is (0, 0), x to the
right and y upwards. Every text is remembered with the box it fills, so that later ones can be put
where none is yet.
"""

import re
from typing import Any

import numpy as np
from matplotlib.artist import Artist
from matplotlib.lines import Line2D
from matplotlib.patches import Circle, Polygon
from matplotlib.transforms import Affine2D

from optimizer.drawings.lettering import height_mm, width_mm
from optimizer.drawings.style import INK, PAPER, SMALL, THIN, clean, new_figure
from optimizer.room.geometry import Floats

Box = tuple[float, float, float, float]  # x0, y0, x1, y1 in mm
BORDER = 10.0  # mm left blank on all sides
_SHIFT = {"left": 0.0, "center": 0.5, "right": 1.0, "bottom": 0.0, "top": 1.0}


class Sheet:
    """Paper of a size in mm, with drawing verbs in mm; use within `drawing()`."""

    def __init__(self, width: float, height: float, border: float = BORDER) -> None:
        self.width, self.height = width, height
        self.taken: list[Box] = []
        self.filled: list[Box] = []
        self.figure = new_figure(width + 2 * border, height + 2 * border)
        inches = Affine2D().translate(border, border).scale(1 / 25.4)
        self.to_figure = inches + self.figure.dpi_scale_trans

    def _add(self, artist: Artist) -> None:
        artist.set_transform(self.to_figure)
        self.figure.add_artist(artist, clip=False)

    def line(
        self,
        points: Floats | list[tuple[float, float]],
        width: float = THIN,
        colour: str = INK,
        dash: Any = "-",
        layer: float = 3.0,
        name: str | None = None,
    ) -> None:
        """A line through points (N, 2)."""
        x, y = np.asarray(points, dtype=float).T
        self._add(Line2D(x, y, color=colour, linewidth=width, linestyle=dash, zorder=layer,
                         gid=_id(name), solid_capstyle="butt"))  # fmt: skip

    def shape(
        self,
        points: Floats | list[tuple[float, float]],
        fill: str | None = None,
        edge: str | None = INK,
        width: float = THIN,
        hatch: str | None = None,
        dash: Any = "-",
        layer: float = 2.0,
        name: str | None = None,
    ) -> None:
        """A closed outline (N, 2), filled and hatched if wanted."""
        self._add(
            Polygon(np.asarray(points, dtype=float), closed=True,
                    facecolor=fill or "none", edgecolor=edge or "none",
                    linewidth=width if edge else 0.0, hatch=hatch, linestyle=dash,
                    zorder=layer, gid=_id(name), joinstyle="miter")
        )  # fmt: skip

    def disc(
        self,
        at: tuple[float, float],
        radius: float,
        fill: str = PAPER,
        edge: str = INK,
        width: float = THIN,
        layer: float = 3.0,
        name: str | None = None,
    ) -> None:
        """A circle."""
        self._add(
            Circle(at, radius, facecolor=fill, edgecolor=edge, linewidth=width,
                   zorder=layer, gid=_id(name))
        )  # fmt: skip

    def text(
        self,
        x: float,
        y: float,
        text: str,
        size: float = SMALL,
        across: str = "left",
        up: str = "center",
        upright: bool = False,
        bold: bool = False,
        colour: str = INK,
        name: str | None = None,
        backed: bool = False,
    ) -> None:
        """One line of text; `upright` turns it to read from the right-hand side of the sheet and
        `backed` lays it on paper of its own, so that lines stop short of it."""
        text = clean(text)
        if not text:
            return
        box = text_box(x, y, text, size, across, up, upright, bold)
        self.taken.append(box)
        if backed:
            self.shape(corners(box), PAPER, None, layer=4.4)
        self.figure.text(x, y, text, fontsize=size, color=colour, gid=_id(name), zorder=5.0,
                         ha=across, va=up, rotation=90 if upright else 0,
                         fontweight="bold" if bold else "normal",
                         transform=self.to_figure)  # fmt: skip

    def is_free(self, box: Box, of_shapes: bool = False) -> bool:
        """True when it is on the sheet and no text (with `of_shapes`: no piece) lies there."""
        x0, y0, x1, y1 = box
        if x0 < 0 or y0 < 0 or x1 > self.width or y1 > self.height:
            return False
        others = self.taken + self.filled if of_shapes else self.taken
        return not any(x0 < c and x1 > a and y0 < d and y1 > b for a, b, c, d in others)

    def keep_off(self, box: Box) -> None:
        """Let no later label cover this place."""
        self.taken.append(box)

    def fill(self, points: Floats) -> None:
        """Let names, and numbers where they can, stay off the box around these points (N, 2)."""
        (x0, y0), (x1, y1) = points.min(axis=0).tolist(), points.max(axis=0).tolist()
        self.filled.append((x0, y0, x1, y1))


def _id(name: str | None) -> str | None:
    """An id of letters, digits, "-" and "_", as SVG files take them."""
    return None if name is None else re.sub(r"[^A-Za-z0-9_-]+", "-", name)


def text_box(
    x: float,
    y: float,
    text: str,
    size: float = SMALL,
    across: str = "left",
    up: str = "center",
    upright: bool = False,
    bold: bool = False,
) -> Box:
    """The box that a text fills."""
    wide, high = width_mm(text, size, bold), height_mm(size)
    if upright:
        wide, high = high, wide
    x0, y0 = x - _SHIFT[across] * wide, y - _SHIFT[up] * high
    return x0, y0, x0 + wide, y0 + high


def corners(box: Box) -> list[tuple[float, float]]:
    """The four corners of a box in order."""
    x0, y0, x1, y1 = box
    return [(x0, y0), (x1, y0), (x1, y1), (x0, y1)]
