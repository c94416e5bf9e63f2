"""Reading drawings back: shapes and texts of an SVG by their ids, in mm of paper."""

import re
from dataclasses import dataclass
from xml.etree import ElementTree

import numpy as np
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.text import Text

from optimizer.drawings.style import Picture, drawing

SVG = "{http://www.w3.org/2000/svg}"
POINT = 25.4 / 72  # mm
A4, LETTER = (297.0, 210.0), (279.4, 215.9)


@dataclass
class Read:
    """An SVG in mm of paper, y upwards: page size, boxes of shapes and texts by id."""

    size: tuple[float, float]
    points: dict[str, np.ndarray]
    texts: dict[str, str]

    def box(self, name: str) -> np.ndarray:
        """x0, y0, x1, y1 of a shape."""
        found = self.points[name]
        return np.concatenate([found.min(axis=0), found.max(axis=0)])

    @property
    def denominator(self) -> int:
        """Of the scale that the drawing states."""
        match = re.search(r"1:(\d+)", self.texts["scale"])
        assert match
        return int(match[1])

    def metres(self, name: str) -> np.ndarray:
        """The box of a shape in metres, by the stated scale, from the outline's lower left."""
        inset = self.box(name).reshape(2, 2) - self.box("outline")[:2]
        return (inset * self.denominator / 1000).ravel()

    def extent(self) -> np.ndarray:
        """Width and height of the outline in metres by the stated scale."""
        return self.metres("outline")[2:]


def read(picture: Picture) -> Read:
    """What the SVG text of a picture holds."""
    root = ElementTree.fromstring(picture.svg)
    width, height = (float(v) for v in root.attrib["viewBox"].split()[2:])
    ids = [e.attrib["id"] for e in root.iter() if "id" in e.attrib]
    assert len(ids) == len(set(ids)), "an id comes twice"
    points, texts = {}, {}
    for group in root.iter(f"{SVG}g"):
        name = group.attrib.get("id", "")
        path = group.find(f"{SVG}path")
        if path is not None:
            numbers = re.findall(r"-?[\d.]+(?:e-?\d+)?", path.attrib["d"])
            xy = np.array(numbers, dtype=float).reshape(-1, 2)
            if len(xy):
                points[name] = np.stack([xy[:, 0], height - xy[:, 1]], axis=1) * POINT
        text = group.find(f"{SVG}text")
        if text is not None and text.text:
            texts[name] = text.text
    return Read((width * POINT, height * POINT), points, texts)


def length(text: str) -> float:
    """Metres of a dimension as written: whole mm, or feet and inches with a fraction."""
    if re.fullmatch(r"\d+", text):
        return int(text) / 1000
    match = re.fullmatch(r"(?:(\d+)' )?(?:(\d+))?(?: ?(\d+)/(\d+))?\"", text)
    assert match, text
    feet, inches, over, under = (float(g or 0) for g in match.groups())
    return 0.3048 * feet + 0.0254 * (inches + (over / under if under else 0))


def figures(drawn: Read, kind: str) -> dict[str, float]:
    """Running dimensions by the id of the piece they belong to: `kind` across or up."""
    found = {}
    for name, text in drawn.texts.items():
        if name.startswith(f"{kind}-") and not name.endswith("listed"):
            found.update(dict.fromkeys(name.split("-")[1:], length(text)))
    return found


def overlaps(picture: Picture, border: float = 9.0) -> list[tuple[str, str]]:
    """Pairs of texts whose boxes share more than 0.1 mm each way, as the renderer lays them.

    AssertionError for a text that reaches into the blank border (mm).
    """
    with drawing():
        picture.figure.set_dpi(72)
        renderer = FigureCanvasAgg(picture.figure).get_renderer()
        texts = [t for t in picture.figure.findobj(Text) if t.get_text()]
        boxes = np.array([t.get_window_extent(renderer).extents for t in texts]) * POINT
    wide, high = picture.figure.get_size_inches() * 25.4
    for text, (x0, y0, x1, y1) in zip(texts, boxes, strict=True):
        assert min(x0, y0, wide - x1, high - y1) > border, f"{text} reaches into the border"
    inner = boxes + np.array([0.05, 0.05, -0.05, -0.05])
    low = np.maximum(inner[:, None, :2], inner[None, :, :2])
    top = np.minimum(inner[:, None, 2:], inner[None, :, 2:])
    first, second = np.nonzero(np.triu((top > low).all(axis=-1), 1))
    return [(texts[i].get_text(), texts[j].get_text()) for i, j in zip(first, second, strict=True)]
