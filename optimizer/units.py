"""Lengths as people write them, turned into metres and back."""

import math
import re

FOOT = 0.3048  # metres, exact (international yard and pound agreement, 1959)
INCH = 0.0254
_METRES = {"m": 1.0, "cm": 0.01, "mm": 0.001, "ft": FOOT, "'": FOOT, "in": INCH, '"': INCH}
_PART = re.compile(r"\s*([+-]?\d+(?:[.,]\d+)?)\s*(mm|cm|m|ft|in|'|\")")
HOW_TO_WRITE = 'write metres as a number or text with a unit, such as "1.2 m", "85 cm", "4 ft 2 in"'


def parse_length(value: object) -> float:
    """Metres from a number (metres) or text with a unit; ValueError says how to write it.

    Feet may be followed by inches ("4 ft 2 in"); a decimal comma is read as a point.
    """
    if isinstance(value, bool) or not isinstance(value, (int, float, str)):
        raise ValueError(f"not a length; {HOW_TO_WRITE}")
    metres = _parse_text(value) if isinstance(value, str) else float(value)
    if not math.isfinite(metres):
        raise ValueError(f"not a finite length; {HOW_TO_WRITE}")
    return metres


def _parse_text(text: str) -> float:
    parts: list[tuple[float, str]] = []
    position = 0
    stripped = text.strip()
    while position < len(stripped):
        match = _PART.match(stripped, position)
        if match is None:
            raise ValueError(f"not a length; {HOW_TO_WRITE}")
        parts.append((float(match.group(1).replace(",", ".")), match.group(2)))
        position = match.end()
    units = [unit.replace("'", "ft").replace('"', "in") for _, unit in parts]
    if not parts or (len(parts) > 1 and units != ["ft", "in"]):
        raise ValueError(f"not a length; {HOW_TO_WRITE}")
    if len(parts) == 2 and parts[0][0] < 0:
        return -(-parts[0][0] * FOOT + parts[1][0] * INCH)
    return sum(number * _METRES[unit] for number, unit in parts)


def format_length(metres: float, units: str = "m") -> str:
    """A length for a person: "1.20 m", or feet and inches to the nearest half inch."""
    if units == "m":
        return f"{metres:.2f} m"
    half_inches = round(abs(metres) / INCH * 2)
    feet, rest = divmod(half_inches, 24)
    inches = f"{rest / 2:g}"
    sign = "-" if metres < 0 and half_inches else ""
    return f"{sign}{feet} ft {inches} in" if feet else f"{sign}{inches} in"
