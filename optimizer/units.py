"""Lengths as people write them, turned into metres and back."""

import math
import re
import unicodedata

FOOT = 0.3048  # metres, exact (international yard and pound agreement, 1959)
INCH = 0.0254
_METRES = {"m": 1.0, "cm": 0.01, "mm": 0.001, "ft": FOOT, "'": FOOT, "in": INCH, '"': INCH}
_NUMBER = r"(?:\d+[ -]\d+/\d+|\d+/\d+|\d+(?:[.,]\d+)?)"  # 2 1/2, 2-1/2, 1/2, 2.5, 2,5
_PART = re.compile(rf"\s*([+-]?{_NUMBER})\s*(mm|cm|m|ft|in|'|\")")
# What text programs make of ' and " (typographic quotes, primes), and of simple fractions.
_ALIKE = str.maketrans(dict.fromkeys("\u2019\u2018\u2032\u02bc\u00b4", "'")
                       | dict.fromkeys("\u201d\u201c\u2033", '"')
                       | dict.fromkeys("\u00a0\u2009\u202f", " ")
                       | {"\u2044": "/", "\u2212": "-"})  # fmt: skip
_FRACTION = re.compile(r"(\d?)\s*([\u00bc-\u00be\u2150-\u215e])")
HOW_TO_WRITE = 'write metres as a number or text with a unit, such as "1.2 m", "85 cm", "4 ft 2 in"'


def parse_length(value: object) -> float:
    """Metres from a number (metres) or text with a unit; ValueError says how to write it.

    Feet may be followed by inches ("4 ft 2 in", with quotes or primes as well, straight or
    curly), numbers may end in a fraction ("2 1/2 in"); a decimal comma is read as a point.
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
    stripped = _plain(text)
    while position < len(stripped):
        match = _PART.match(stripped, position)
        if match is None:
            raise ValueError(f"not a length; {HOW_TO_WRITE}")
        parts.append((_number(match.group(1)), match.group(2)))
        position = match.end()
    units = [unit.replace("'", "ft").replace('"', "in") for _, unit in parts]
    if not parts or (len(parts) > 1 and units != ["ft", "in"]):
        raise ValueError(f"not a length; {HOW_TO_WRITE}")
    if len(parts) == 2 and parts[0][0] < 0:
        return -(-parts[0][0] * FOOT + parts[1][0] * INCH)
    return sum(number * _METRES[unit] for number, unit in parts)


def _plain(text: str) -> str:
    """The text with straight quotes and fractions spelled out: 2½” is 2 1/2"."""
    spelled = _FRACTION.sub(lambda m: f"{m[1]} {unicodedata.normalize('NFKC', m[2])}", text)
    return spelled.translate(_ALIKE).replace("''", '"').strip()


def _number(text: str) -> float:
    """A number that may end in a fraction; ValueError when it divides by nought."""
    sign = -1.0 if text.startswith("-") else 1.0
    whole = 0.0
    for part in re.split(r"[ -]", text.lstrip("+-")):
        above, slash, below = part.replace(",", ".").partition("/")
        if slash and not float(below):
            raise ValueError(f"not a length; {HOW_TO_WRITE}")
        whole += float(above) / float(below) if slash else float(above)
    return sign * whole


def format_length(metres: float, units: str = "m") -> str:
    """A length for a person: "1.20 m", or feet and inches to the nearest half inch."""
    if units == "m":
        return f"{metres:.2f} m"
    half_inches = round(abs(metres) / INCH * 2)
    feet, rest = divmod(half_inches, 24)
    inches = f"{rest / 2:g}"
    sign = "-" if metres < 0 and half_inches else ""
    return f"{sign}{feet} ft {inches} in" if feet else f"{sign}{inches} in"
