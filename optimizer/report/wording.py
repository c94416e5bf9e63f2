"""Numbers with their units, and tables of text, as the report shows them."""

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass

from optimizer.drawings.lettering import dimension
from optimizer.units import FOOT, format_length

ABSENT = "–"
CONCERT_A = 440.0  # Hz (ISO 16)
_NOTES = ("A", "A♯", "B", "C", "C♯", "D", "D♯", "E", "F", "F♯", "G", "G♯")
_COARSE = ("dB", "%", "ms", "Hz")  # one digit after the point; the rest two


class Cell(str):
    """A cell with an aside that the page sets below it in small letters."""

    aside: str

    def __new__(cls, text: str, aside: str) -> "Cell":
        """`text` with an aside (may be blank)."""
        cell = super().__new__(cls, text)
        cell.aside = aside
        return cell


@dataclass(frozen=True)
class Table:
    """A table: caption, header cells, rows of text; `heading` is the column that names a row.

    Columns in `right` hold numbers. `foot` is a last row of totals.
    """

    caption: str
    header: tuple[str, ...]
    rows: Sequence[Sequence[str]]
    right: tuple[int, ...] = ()
    heading: int = 0
    foot: tuple[str, ...] = ()
    kind: str = ""  # a class of the style sheet


def figure(value: float | None, unit: str, units: str = "m") -> str:
    """A number of a criterion with its unit: "0.43 s", "-8.4 dB", "1.20 m²" or in ft²."""
    if value is None or math.isnan(value):
        return ABSENT
    if math.isinf(value):
        return "without end" if value > 0 else "without limit"
    word = unit_word(unit, units)
    if unit == "m2" and units == "ft":
        value = value / FOOT**2
    digits = 1 if unit in _COARSE or word == "ft²" else 2
    return f"{round(value, digits) + 0.0:.{digits}f} {word}".strip()


def unit_word(unit: str, units: str = "m") -> str:
    """The unit of a criterion as people write it."""
    return {"m2": "ft²" if units == "ft" else "m²"}.get(unit, unit)


def limits(low: float | None, high: float | None, unit: str, units: str = "m") -> str:
    """The limits of a criterion in words."""
    if low is None and high is None:
        return "no limit"
    if low is None:
        return f"at most {figure(high, unit, units)}"
    if high is None:
        return f"at least {figure(low, unit, units)}"
    bottom, top = (figure(v, unit, units) for v in (low, high))
    return f"{bottom.rsplit(' ', 1)[0]} to {top}"


def volume(cubic_metres: float, units: str = "m") -> str:
    """A volume: "39.1 m³" or "1381 ft³"."""
    if units == "ft":
        return f"{cubic_metres / FOOT**3:.0f} ft³"
    return f"{cubic_metres:.1f} m³"


def span(first: float, last: float, units: str = "m") -> str:
    """Two lengths from the same start as drawings write them: "1200 and 1800", in mm."""
    return f"{dimension(first, units)} and {dimension(last, units)}"


def sizes(lengths: Sequence[float], units: str = "m") -> str:
    """Lengths that belong together: "4.60 m x 3.40 m x 2.50 m"."""
    return " x ".join(format_length(float(length), units) for length in lengths)


def listed(words: Sequence[str]) -> str:
    """ "a", "a and b", "a, b and c"."""
    if len(words) < 2:
        return "".join(words)
    return f"{', '.join(words[:-1])} and {words[-1]}"


def counted(number: int, one: str, more: str | None = None) -> str:
    """ "1 piece", "3 pieces"."""
    return f"{number} {one if number == 1 else more or one + 's'}"


def near_note(where: str) -> str:
    """A frequency with the nearest note: "137.2 Hz (0-0-2), near C♯3"; other text as it is.

    Equal temperament, octaves counted as in scientific pitch notation.
    """
    found = re.match(r"(\d+(?:\.\d+)?) Hz", where)
    return f"{where}, near {note_of(float(found[1]))}" if found else where


def note_of(f_hz: float) -> str:
    """The nearest note of a frequency above 0 Hz: A4 for 440 Hz."""
    steps = round(12 * math.log2(f_hz / CONCERT_A))
    return f"{_NOTES[steps % 12]}{4 + (steps + 9) // 12}"
