"""How things look on drawings: kinds of piece, openings, furniture, loudspeakers, seats."""

from typing import NamedTuple

import numpy as np

from optimizer.drawings import style
from optimizer.drawings.sheet import Sheet
from optimizer.room.geometry import Floats


class Look(NamedTuple):
    """Fill and hatch of one kind of piece; the hatch alone tells them apart in grey."""

    fill: str
    hatch: str


LOOKS = {
    "panel": Look("#cfe6f5", "////"),
    "corner": Look("#f6dca8", "\\\\\\\\"),
    "cloud": Look("#c5e8dd", "...."),
    "diffuser": Look("#f0d9e6", "xxxx"),
    "curtain": Look("#f9f4bd", "||||"),
    "rug": Look("#f3cdb2", "----"),
    "screen": Look("#d9d9d9", "++++"),
}
HUNG = "#bdbdbd"  # without a hatch, unlike every kind that is new


def draw_piece(
    sheet: Sheet, points: Floats, kind: str, name: str, overhead: bool = False, layer: float = 2.0
) -> None:
    """A piece of a kind of product; one that hangs overhead is only an outline in dashes."""
    look = LOOKS[kind]
    if not overhead:
        sheet.fill(points)
    if overhead:
        sheet.shape(points, dash=(0, (4, 2)), width=style.THIN, layer=layer, name=name)
        return
    sheet.shape(points, look.fill, None, layer=layer - 0.02)
    sheet.shape(points, None, style.MUTED, style.HAIR, look.hatch, layer=layer - 0.01)
    sheet.shape(points, width=style.MEDIUM, layer=layer, name=name)


def draw_hung(
    sheet: Sheet, points: Floats, name: str, overhead: bool = False, layer: float = 2.0
) -> None:
    """A piece that hangs already: plain grey whatever its kind; overhead a dotted outline."""
    if overhead:
        sheet.shape(points, dash=(0, (1, 1.5)), width=style.MEDIUM, layer=layer, name=name)
        return
    sheet.fill(points)
    sheet.shape(points, HUNG, width=style.MEDIUM, layer=layer, name=name)


def draw_hung_swatch(sheet: Sheet, x: float, y: float) -> None:
    """A small sample of a piece that hangs already, its middle left at (x, y)."""
    sheet.shape(_swatch(x, y), HUNG, width=style.THIN)


def draw_hung_overhead_swatch(sheet: Sheet, x: float, y: float) -> None:
    """The same for one that hangs overhead, as the plan view shows it."""
    sheet.shape(_swatch(x, y), dash=(0, (1, 1.5)), width=style.MEDIUM)


def _swatch(x: float, y: float) -> list[tuple[float, float]]:
    return [(x, y - 1.2), (x + 4.5, y - 1.2), (x + 4.5, y + 1.2), (x, y + 1.2)]


def draw_swatch(sheet: Sheet, x: float, y: float, kind: str) -> None:
    """A small sample of a kind of piece for keys, its middle left at (x, y)."""
    look = LOOKS[kind]
    points = _swatch(x, y)
    sheet.shape(points, look.fill, style.MUTED, style.HAIR, look.hatch)
    sheet.shape(points, width=style.THIN)


def draw_area(sheet: Sheet, points: Floats, kind: str, name: str) -> None:
    """A window, door, vent, detector or the like on a surface seen square-on, (4, 2) in order:
    along its lower edge, then back along its upper one."""
    (wide, high) = (float(np.linalg.norm(points[i] - points[0])) for i in (1, 3))

    def at(*shares: tuple[float, float]) -> Floats:
        across, up = points[1] - points[0], points[3] - points[0]
        return np.array([points[0] + s * across + t * up for s, t in shares])

    sheet.shape(points, style.PAPER if kind != "finish" else None, style.INK, style.THIN,
                dash=(0, (2, 2)) if kind in ("finish", "rug", "curtain") else "-", layer=1.4,
                name=name)  # fmt: skip
    inset = min(0.8, wide / 6, high / 6)
    s, t = inset / wide, inset / high
    if kind in ("window", "closet"):
        sheet.shape(at((s, t), (1 - s, t), (1 - s, 1 - t), (s, 1 - t)),
                    width=style.HAIR, layer=1.4)  # fmt: skip
    if kind == "closet":
        sheet.line(at((0.5, t), (0.5, 1 - t)), style.HAIR, layer=1.4)
        (x0, y0), (x1, y1) = (f(at((0.5, 0), (0.5, 1)), axis=0).tolist() for f in (np.min, np.max))
        sheet.keep_off((x0 - 0.2, y0, x1 + 0.2, y1))
    if kind in ("vent", "heater"):
        for share in (0.25, 0.5, 0.75):
            sheet.line(at((0, share), (1, share)), style.HAIR, layer=1.4)
    if kind in ("detector", "switch"):
        sheet.line(points[[0, 2]], style.HAIR, layer=1.4)
        sheet.line(points[[1, 3]], style.HAIR, layer=1.4)


def draw_thing(sheet: Sheet, points: Floats, clear: bool, layer: float = 1.45) -> None:
    """Furniture, or (crossed out) a box that is to be kept clear, (4, 2) in order."""
    fill = None if clear else style.PALE
    sheet.shape(points, fill, style.MUTED, style.HAIR, dash=(0, (4, 2)), layer=layer)
    if clear:
        for i in (0, 1):
            sheet.line(points[[i, i + 2]], style.HAIR, style.MUTED, (0, (4, 2)), layer)


def draw_speaker(sheet: Sheet, at: Floats, towards: Floats, name: str, radius: float) -> Floats:
    """A loudspeaker seen from above or the side: a dark box turned to where it is aimed.

    Gives back its corners (4, 2).
    """
    direction = towards - at
    length = float((direction @ direction) ** 0.5)
    ahead = direction / length if length > 1e-9 else direction * 0 + [0.0, 1.0]
    beside = ahead[::-1] * [-1.0, 1.0]
    corners = np.array([
        at + radius * (ahead * i + beside * j)
        for i, j in ((0, -0.8), (0, 0.8), (-1.4, 0.8), (-1.4, -0.8))
    ])  # fmt: skip
    sheet.shape(corners, style.INK, style.INK, style.THIN, layer=3.2, name=name)
    sheet.line(corners[:2], 1.6, style.ORANGE, layer=3.3)
    return corners


def draw_seat(sheet: Sheet, at: Floats, name: str, radius: float) -> None:
    """Where ears are: a ring with a cross."""
    x, y = (float(v) for v in at)
    sheet.disc((x, y), radius, layer=3.2, name=name)
    sheet.line([(x - radius, y), (x + radius, y)], style.THIN, layer=3.3)
    sheet.line([(x, y - radius), (x, y + radius)], style.THIN, layer=3.3)
