"""Text on drawings: how wide it is, how it is cut to fit, and how lengths are written."""

import math
from contextlib import nullcontext
from fractions import Fraction
from functools import lru_cache

from matplotlib.font_manager import FontProperties
from matplotlib.textpath import text_to_path

from optimizer.drawings.style import MM, SMALL, clean, drawing
from optimizer.units import INCH

LINE = 1.2  # height of a line of text in sizes of its letters
MINUTE = 16  # parts of an inch that dimensions in feet and inches are rounded to


@lru_cache(maxsize=4096)
def width_mm(text: str, size: float = SMALL, bold: bool = False) -> float:
    """Width of one line of text on paper in mm."""
    font = FontProperties(family=["DejaVu Sans"], size=size, weight="bold" if bold else "normal")
    with nullcontext() if text.isascii() else drawing():
        wide, _, _ = text_to_path.get_text_width_height_descent(text, font, False)
    return float(wide) / MM


def height_mm(size: float = SMALL) -> float:
    """Height of one line of text on paper in mm, tall and low letters included."""
    return LINE * size / MM


def fit(text: str, width: float, size: float = SMALL, bold: bool = False) -> str:
    """The text in one line, its end replaced by an ellipsis where it is wider than `width` mm."""
    text = clean(text)
    if width_mm(text, size, bold) <= width:
        return text
    kept = len(text)
    while kept and width_mm(text[:kept].rstrip() + "…", size, bold) > width:
        kept -= 1
    return text[:kept].rstrip() + "…" if kept else ""


def wrap(text: str, width: float, lines: int, size: float = SMALL, bold: bool = False) -> list[str]:
    """The text in at most so many lines of `width` mm, the last one cut to fit."""
    words = clean(text).split(" ")
    made: list[str] = []
    while words and len(made) < lines - 1:
        taken = 1
        while taken < len(words) and width_mm(" ".join(words[: taken + 1]), size, bold) <= width:
            taken += 1
        made.append(fit(" ".join(words[:taken]), width, size, bold))
        words = words[taken:]
    if words:
        made.append(fit(" ".join(words), width, size, bold))
    return made


def dimension(metres: float, units: str) -> str:
    """A length as dimensions show it: whole millimetres, or feet and inches to 1/16 inch.

    >>> dimension(1.2049, "m"), dimension(1.2049, "ft")
    ('1205', '3\\' 11 7/16"')
    """
    metres = round(metres, 6)
    if units == "m":
        return f"{math.floor(round(metres * 1000, 3) + 0.5):d}"
    parts = round(abs(metres) / INCH * MINUTE)
    feet, rest = divmod(parts, 12 * MINUTE)
    inches, part = divmod(rest, MINUTE)
    fraction = f"{Fraction(part, MINUTE)}" if part else ""
    written = " ".join(filter(None, [f"{inches}" if inches or not part else "", fraction])) + '"'
    sign = "-" if metres < 0 and parts else ""
    return f"{sign}{feet}' {written}" if feet else f"{sign}{written}"


def unit_note(units: str) -> str:
    """What dimensions are written in."""
    return "dimensions in mm" if units == "m" else "dimensions to 1/16 inch"
