"""Tables of text that line up, for the terminal and for Markdown."""

from collections.abc import Sequence

Rows = Sequence[Sequence[str]]


def text_table(header: Sequence[str], rows: Rows, right: Sequence[int] = ()) -> str:
    """Columns padded to line up; columns in `right` are aligned to the right."""
    table = [list(header), *[list(row) for row in rows]]
    widths = [max(len(row[i]) for row in table) for i in range(len(header))]
    lines = ["  ".join(_pad(cell, widths[i], i in right) for i, cell in enumerate(row)).rstrip()
             for row in table]  # fmt: skip
    lines.insert(1, "  ".join("-" * width for width in widths))
    return "\n".join(lines)


def markdown_table(header: Sequence[str], rows: Rows, right: Sequence[int] = ()) -> str:
    """The same as a Markdown table, padded so that it reads as text too."""
    table = [[_escape(cell) for cell in row] for row in [header, *rows]]
    widths = [max(3, *(len(row[i]) for row in table)) for i in range(len(header))]
    lines = [
        "| " + " | ".join(_pad(c, widths[i], i in right) for i, c in enumerate(row)) + " |"
        for row in table
    ]
    rule = ["-" * (w - 1) + (":" if i in right else "-") for i, w in enumerate(widths)]
    lines.insert(1, "| " + " | ".join(rule) + " |")
    return "\n".join(lines)


def _pad(cell: str, width: int, right: bool) -> str:
    return cell.rjust(width) if right else cell.ljust(width)


def _escape(cell: str) -> str:
    return cell.replace("|", "\\|").replace("\n", " ")
