"""A report taken apart with the standard library's parser, for tests."""

import re
from html.parser import HTMLParser

_HEADING = re.compile(r'<h2 id="([^"]+)">')
VOID = {"meta", "link", "input", "br"}


class Page(HTMLParser):
    """Tags with their attributes in order, text by section, and whether every tag is closed."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.html = html
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.open: list[str] = []
        self.faults: list[str] = []
        self.words: list[str] = []
        self.feed(html)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))

    def handle_endtag(self, tag: str) -> None:
        if not self.open or self.open.pop() != tag:
            self.faults.append(f"</{tag}> at {self.getpos()}")

    def handle_data(self, data: str) -> None:
        if "style" not in self.open:
            self.words.append(data)

    @property
    def text(self) -> str:
        """All words, spaces made single."""
        return " ".join(" ".join(self.words).split())

    def all(self, tag: str) -> list[dict[str, str | None]]:
        """Attributes of every element of a kind."""
        return [attributes for name, attributes in self.tags if name == tag]


def sections(html: str) -> dict[str, str]:
    """The HTML of each section by the id of its heading."""
    parts = _HEADING.split(html)
    return dict(zip(parts[1::2], parts[2::2], strict=True))


def words_of(html: str) -> str:
    """The words of a piece of HTML."""
    return Page(html).text
