"""Tables of text that line up, for the terminal and for Markdown."""

import re
import textwrap
from collections.abc import Sequence

Rows = Sequence[Sequence[str]]
WIDTH = 120  # characters that a table for the terminal takes at most, where its words allow
GUTTER = "  "
_MEANING = re.compile(
    r"[\\`*\[\]~|]"  # emphasis, code, links, cells
    r"|(?<!\w)_|_(?!\w)"  # emphasis, not within a word
    r"|<(?=[A-Za-z/!?])|&(?=[A-Za-z#])"  # tags and character references
    r"|:(?=//)|(?<=www)\.|@(?=\w)"  # addresses that become links by themselves
    r"|^[#>+=-](?=\s|[#>+=-]|$)|^[#>]|(?<=\d)[.)](?=\s)"  # headings, quotes and lists
)


def text_table(
    header: Sequence[str], rows: Rows, right: Sequence[int] = (), width: int = WIDTH
) -> str:
    """Columns padded to line up; columns in `right` are aligned to the right.

    Where the table would be wider than `width`, its widest other columns are broken between words.
    """
    table = [list(header), *[list(row) for row in rows]]
    widths = _narrowed(table, right, width)
    lines = [line for row in table[1:] for line in _lines(row, widths, right)]
    rule = GUTTER.join("-" * w for w in widths)
    return "\n".join([*_lines(table[0], widths, right), rule, *lines])


def _narrowed(table: Rows, right: Sequence[int], width: int) -> list[int]:
    """Widths of the columns: the widest give way, one character at a time, to their longest word.

    Columns of figures keep their width.
    """
    widths = [max(len(row[i]) for row in table) for i in range(len(table[0]))]
    least = [
        w if i in right else max(len(word) for row in table for word in row[i].split() or [""])
        for i, w in enumerate(widths)
    ]
    while sum(widths) + len(GUTTER) * (len(widths) - 1) > width:
        wide = [i for i, w in enumerate(widths) if w > least[i]]
        if not wide:
            break
        widths[max(wide, key=lambda i: widths[i])] -= 1
    return widths


def _lines(row: Sequence[str], widths: Sequence[int], right: Sequence[int]) -> list[str]:
    """A row as one line, or more where a cell is broken."""
    cells = [_broken(cell, w) for cell, w in zip(row, widths, strict=True)]
    height = max(len(cell) for cell in cells)
    return [
        GUTTER.join(
            _pad(cell[k] if k < len(cell) else "", widths[i], i in right)
            for i, cell in enumerate(cells)
        ).rstrip()
        for k in range(height)
    ]


def _broken(cell: str, width: int) -> list[str]:
    if len(cell) <= width:
        return [cell]
    return textwrap.wrap(cell, width, break_long_words=False, break_on_hyphens=False)


def folded(text: str, width: int = WIDTH) -> str:
    """Text for the terminal, each line longer than `width` folded between words; a mark at the
    start of a line ("- ", "! ") hangs out."""
    lines = []
    for line in text.splitlines():
        hang = "  " if line[:2] in ("- ", "! ") else ""
        lines += textwrap.wrap(
            line, width, subsequent_indent=hang, break_long_words=False, break_on_hyphens=False,
        ) or [""]  # fmt: skip
    return "\n".join(lines)


def markdown_table(header: Sequence[str], rows: Rows, right: Sequence[int] = ()) -> str:
    """The same as a Markdown table, padded so that it reads as text too."""
    table = [[markdown_text(cell) for cell in row] for row in [header, *rows]]
    widths = [max(3, *(len(row[i]) for row in table)) for i in range(len(header))]
    lines = [
        "| " + " | ".join(_pad(c, widths[i], i in right) for i, c in enumerate(row)) + " |"
        for row in table
    ]
    rule = ["-" * (w - 1) + (":" if i in right else "-") for i, w in enumerate(widths)]
    lines.insert(1, "| " + " | ".join(rule) + " |")
    return "\n".join(lines)


def markdown_list(texts: Sequence[str]) -> str:
    """A Markdown list, one item a line."""
    return "\n".join(f"- {markdown_text(text)}" for text in texts)


def _pad(cell: str, width: int, right: bool) -> str:
    return cell.rjust(width) if right else cell.ljust(width)


def markdown_text(text: str) -> str:
    """Text in one line that Markdown shows as it is: no markup, no HTML, no link, no heading.

    A backslash before ASCII punctuation makes it plain (CommonMark 0.31, section 2.4); only what
    could mean something gets one, so that figures and limits read well in the source too.
    """
    return _MEANING.sub(r"\\\g<0>", " ".join(text.split()))
