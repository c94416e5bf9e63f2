"""A picture put into a page: its SVG with names of its own, and words for those who listen."""

import re
from xml.sax.saxutils import quoteattr

from markupsafe import Markup

from optimizer.drawings.style import Picture

_PROLOGUE = re.compile(r"^.*?(?=<svg)", re.DOTALL)
_METADATA = re.compile(r"<metadata>.*?</metadata>", re.DOTALL)
_STYLE = re.compile(r"<style[^>]*>.*?</style>", re.DOTALL)
_ID = re.compile(r'\sid="([^"]+)"')
_LINK = re.compile(r'(href="#|url\(#)([^")]+)')
_OPENING = re.compile(r"<svg\b[^>]*>", re.DOTALL)
_TOLD = re.compile(r'\s(?:role|aria-label|aria-labelledby|width|height)="[^"]*"')
_POINTS = re.compile(r'\bviewBox="0 0 ([\d.]+) ([\d.]+)"')


def inline(picture: Picture, prefix: str) -> Markup:
    """The SVG of a picture for use inside HTML.

    Ids that something refers to get a prefix so that pictures do not borrow each other's parts,
    the rest are left out; the picture's title and what it shows become its label.
    """
    svg = _STYLE.sub("", _METADATA.sub("", _PROLOGUE.sub("", picture.svg)))
    wanted = {name for _, name in _LINK.findall(svg)}
    svg = _ID.sub(lambda m: f' id="{prefix}-{m[1]}"' if m[1] in wanted else "", svg)
    svg = _LINK.sub(rf"\1{prefix}-\2", svg)
    opening = _OPENING.match(svg)
    if opening is None:
        raise ValueError(f"picture {picture.name!r} is no SVG")
    size = _POINTS.search(opening.group())
    given = f' width="{size.group(1)}pt" height="{size.group(2)}pt"' if size else ""
    label = quoteattr(f"{picture.title}: {picture.alt}")
    start = _TOLD.sub("", opening.group())
    start = start.replace("<svg", f'<svg role="img" aria-label={label}{given}', 1)
    return Markup(start + svg[opening.end() :].rstrip())  # noqa: S704 - made here, texts escaped
