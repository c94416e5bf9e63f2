"""How every picture looks, and how it becomes SVG text or PNG bytes that never vary.

All pictures are drawn through matplotlib's objects (no window, no global figure) inside
`drawing()`, which sets fonts and widths whatever a person's own settings are. Colours are those
of Okabe and Ito, "Color Universal Design" (2008), told apart by people with any common colour
vision; each also has a hatch, dash or marker of its own so that a grey print reads as well.
"""

import io
import re
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any, NamedTuple
from xml.sax.saxutils import escape

import matplotlib
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.backends.backend_svg import FigureCanvasSVG
from matplotlib.figure import Figure

MM = 72 / 25.4  # points in a millimetre of paper
DPI = 150  # of PNG files

INK, MUTED, FAINT, PALE, PAPER = "#1a1a1a", "#595959", "#b3b3b3", "#ececec", "#ffffff"
ORANGE, SKY, GREEN, YELLOW = "#e69f00", "#56b4e9", "#009e73", "#f0e442"
BLUE, RED, PINK = "#0072b2", "#d55e00", "#cc79a7"

TITLE, TEXT, SMALL = 11.0, 8.0, 7.0  # sizes of letters in points
HEAVY, MEDIUM, THIN, HAIR = 1.4, 0.8, 0.5, 0.35  # widths of lines in points


class Series(NamedTuple):
    """How one line of a chart looks: colour, dash pattern, marker."""

    colour: str
    dash: Any
    marker: str


# Dark and light, dash and marker all change from one to the next.
SERIES = (
    Series(INK, "-", "o"),
    Series(RED, (0, (5, 1.5)), "s"),
    Series(BLUE, (0, (1.2, 1.2)), "^"),
    Series(ORANGE, (0, (6, 1.5, 1.2, 1.5)), "D"),
    Series(GREEN, (0, (3, 1, 1, 1, 1, 1)), "v"),
    Series(SKY, (0, (8, 2)), "P"),
    Series(PINK, (0, (2, 3)), "X"),
)

_SETTINGS: dict[str, Any] = {
    "font.family": ["DejaVu Sans"],
    "font.size": TEXT,
    "text.hinting": "none",  # letters as wide on screen as on paper
    "text.parse_math": False,  # a "$" in a name is a "$"
    "axes.linewidth": THIN,
    "axes.edgecolor": INK,
    "axes.labelsize": TEXT,
    "axes.titlesize": TITLE,
    "axes.axisbelow": True,
    "axes.unicode_minus": False,
    "xtick.labelsize": SMALL,
    "ytick.labelsize": SMALL,
    "xtick.major.width": THIN,
    "ytick.major.width": THIN,
    "legend.fontsize": SMALL,
    "legend.frameon": False,
    "grid.color": FAINT,
    "grid.linewidth": HAIR,
    "lines.linewidth": 1.2,
    "lines.markersize": 4.0,
    "hatch.linewidth": HAIR,
    "path.simplify": False,  # corners stay where they are
    "savefig.dpi": DPI,
    "svg.fonttype": "none",  # text stays text: searchable, readable aloud
    "svg.hashsalt": "treatment",
}
_FONT = re.compile(r"(<text style=\"[^\"]*font-family: 'DejaVu Sans')")
_CONTROL = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f\ud800-\udfff\ufffe\uffff]")


@contextmanager
def drawing() -> Iterator[None]:
    """Settings of all pictures; those of the person return afterwards."""
    with matplotlib.rc_context(), warnings.catch_warnings():
        # A letter the font lacks stays a letter in the SVG and is a box in the PNG.
        warnings.filterwarnings("ignore", "Glyph .* missing from font")
        matplotlib.rcdefaults()
        matplotlib.rcParams.update(_SETTINGS)
        yield


def clean(text: str) -> str:
    """A person's text in one line, without characters that no XML file may hold."""
    return " ".join(_CONTROL.sub("", text).split())


def new_figure(width_mm: float, height_mm: float) -> Figure:
    """An empty figure of that size on paper; call inside `drawing()`."""
    figure = Figure(figsize=(width_mm / 25.4, height_mm / 25.4), facecolor=PAPER)
    FigureCanvasAgg(figure)
    return figure


@dataclass(frozen=True)
class Picture:
    """A finished picture: file name without ending, title, what it shows in words, and SVG."""

    name: str
    title: str
    alt: str
    svg: str = field(repr=False)
    figure: Figure = field(repr=False, compare=False)

    @cached_property
    def _png(self) -> bytes:
        target = io.BytesIO()
        with drawing():
            FigureCanvasAgg(self.figure)
            self.figure.savefig(target, format="png", dpi=DPI, metadata={"Software": None})
        return target.getvalue()

    def png(self) -> bytes:
        """The picture as a PNG file at 150 dots per inch."""
        return self._png


def picture(figure: Figure, name: str, title: str, alt: str) -> Picture:
    """Freeze a figure; same figure, same bytes. `alt` tells what it shows to those who listen."""
    target = io.StringIO()
    with drawing():
        FigureCanvasSVG(figure).print_svg(
            target, metadata={"Date": None, "Creator": None, "Format": None, "Type": None}
        )
    title, alt = clean(title), clean(alt)
    return Picture(name, title, alt, _told(target.getvalue(), title, alt), figure)


def _told(svg: str, title: str, alt: str) -> str:
    """The SVG with its title and description where screen readers look for them."""
    head, rest = svg.split("<svg ", 1)
    attributes, body = rest.split(">", 1)
    told = f"\n <title>{escape(title)}</title>\n <desc>{escape(alt)}</desc>"
    return f'{head}<svg role="img" {attributes}>{told}{_with_other_fonts(body)}'


def _with_other_fonts(svg: str) -> str:
    """Text falls back to fonts no wider than ours where that one is not at hand."""
    return _FONT.sub(r"\1, Verdana, Arial, sans-serif", svg)
