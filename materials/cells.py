"""Cells of tables of comma-separated values that no spreadsheet takes for a formula.

Source: OWASP, "CSV Injection" (owasp.org/www-community/attacks/CSV_Injection): a cell that begins
with = + - @, a tab, a carriage return or a line feed, or with the full-width forms of the four
signs, gets a single quote before it. A number stays a number, also a negative one. A cell that has
such a quote of its own gets one more, so that each comes back as it was.

csv_text(rows)           the text of a table, RFC 4180
harmless(cell)           a cell as it is written
as_meant(cell)           the same cell as it was before it was made harmless
"""

import csv
import io
import re
from collections.abc import Iterable, Sequence

QUOTE = "'"
STARTS = "=+-@\t\r\n\uff1d\uff0b\uff0d\uff20"
_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?", re.ASCII)


def harmless(cell: object) -> object:
    """A cell that is text and could be taken for a formula, with a quote before it."""
    if not isinstance(cell, str) or _NUMBER.fullmatch(cell):
        return cell
    return QUOTE + cell if _could_be_formula(cell) else cell


def as_meant(cell: str) -> str:
    """A cell without the quote that `harmless` put before it."""
    guarded = cell.startswith(QUOTE) and _could_be_formula(cell[1:])
    return cell[1:] if guarded else cell


def csv_text(rows: Iterable[Sequence[object]], lineterminator: str = "\r\n") -> str:
    """Rows as comma-separated values (RFC 4180), every cell harmless."""
    text = io.StringIO(newline="")
    writer = csv.writer(text, lineterminator=lineterminator)
    writer.writerows([harmless(cell) for cell in row] for row in rows)
    return text.getvalue()


def _could_be_formula(cell: str) -> bool:
    """Spreadsheets pass over spaces before a formula; quotes are passed over for `as_meant`."""
    return cell.lstrip(f"{QUOTE} \u00a0\u3000").startswith(tuple(STARTS))
