"""The report in a real browser: nothing too wide, nothing asked from outside, right on paper.

Rules for access are those of axe-core, a general-purpose checker of WCAG. Paper: A4 is
210 x 297 mm (ISO 216), Letter 8.5 x 11 in.
"""

import os
import re
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from unicodedata import normalize

import pytest
from axe_playwright_python.sync_playwright import Axe
from plans import ROOMS, Place, demo_project, edited_project, plan_of
from playwright.sync_api import Browser, Page, sync_playwright
from pypdf import PdfReader

from optimizer.report.page import report_html

NAMES = ("chromium", "chromium-browser", "google-chrome")
ARGUMENTS = [
    "--headless", "--no-sandbox", "--disable-gpu", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
]  # fmt: skip
PAPERS = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}  # mm
MARGINS = (26.0, 24.0)  # mm of report.css, both sides together
SHEET = "Each piece is measured from the nearest"
POINT = 25.4 / 72  # mm
PIXEL = 25.4 / 96  # mm
TOO_WIDE = """() => [...document.querySelectorAll("body *")].filter(e => {
    const box = e.getBoundingClientRect(), wide = document.documentElement.clientWidth;
    return box.width > 0 && (box.right > wide + 0.5 || box.left < -0.5)
        && !e.closest(".skip") && !e.closest(".drawn .card > *")
        && getComputedStyle(e).clipPath === "none"
        && !e.parentElement.closest("thead");
}).map(e => e.outerHTML.slice(0, 120))"""


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    found = next(filter(None, map(shutil.which, NAMES)), None)
    if found is None:
        reason = "no Chromium on this machine: the report was not looked at in a browser"
        if os.environ.get("TREATMENT_BROWSER") == "required":
            pytest.fail(reason)
        pytest.skip(reason)
    with sync_playwright() as playwright:
        opened = playwright.chromium.launch(executable_path=found, args=ARGUMENTS)
        yield opened
        opened.close()


UNFOLD = "all => all.forEach(e => { e.open = %s; })"
PAGES = 10  # of a plan on five surfaces: half of what it took with everything printed (19 to 21)
ALL_PAGES = 22


class Look:
    """A report on a page of the browser, and all that the browser had to say."""

    def __init__(self, browser: Browser, path: Path) -> None:
        self.walls = 0  # that carry pieces
        self.said: list[str] = []
        self.asked: list[str] = []
        self.page: Page = browser.new_page()
        self.page.on("console", lambda message: self.said.append(message.text))
        self.page.on("pageerror", lambda error: self.said.append(str(error)))
        self.page.on("request", lambda request: self.asked.append(request.url))
        self.page.goto(path.as_uri())

    def unfold(self, unfolded: bool = True) -> None:
        """Open what stands behind the plan, or fold it away again."""
        self.page.eval_on_selector_all(".behind", UNFOLD % str(unfolded).lower())


@pytest.fixture(scope="module", params=ROOMS)
def opened(
    request: pytest.FixtureRequest, browser: Browser, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[Look]:
    path = tmp_path_factory.mktemp(request.param) / "report.html"
    path.write_text(report_html(plan_of(demo_project(request.param))), encoding="utf-8")
    seen = Look(browser, path)
    yield seen
    seen.page.close()


@pytest.fixture
def look(opened: Look) -> Look:
    """The report as it is when it is opened."""
    opened.unfold(False)
    return opened


@pytest.fixture(params=["folded", "unfolded"])
def either(request: pytest.FixtureRequest, opened: Look) -> Look:
    """The report with what stands behind the plan folded away, or unfolded."""
    opened.unfold(request.param == "unfolded")
    return opened


def test_no_error_and_no_request_beside_the_file_itself(look: Look) -> None:
    assert look.said == []
    assert [url for url in look.asked if not url.startswith("data:")] == [look.page.url]


@pytest.mark.parametrize("width", [375, 1280])
def test_nothing_is_wider_than_the_page(either: Look, width: int) -> None:
    either.page.set_viewport_size({"width": width, "height": 900})
    assert either.page.evaluate(TOO_WIDE) == []
    inner = either.page.evaluate("document.documentElement.scrollWidth")
    assert inner <= width


def serious(page: Page) -> list[tuple[str, str]]:
    """Findings of axe-core; the inside of a picture is one image to a reader and is left out."""
    found: dict[str, Any] = Axe().run(page, context={"exclude": [["figure svg > g"]]}).response
    return [
        (rule["id"], rule["nodes"][0]["html"][:150])
        for rule in found["violations"] if rule["impact"] in ("serious", "critical")
    ]  # fmt: skip


@pytest.mark.parametrize(("scheme", "width"), [("light", 375), ("dark", 1280)])
def test_access_in_light_and_dark_on_phone_and_desk(either: Look, scheme: Any, width: int) -> None:
    either.page.emulate_media(color_scheme=scheme)
    either.page.set_viewport_size({"width": width, "height": 900})
    assert serious(either.page) == []


def test_dark_is_dark_and_figures_keep_their_paper(look: Look) -> None:
    look.page.emulate_media(color_scheme="dark")
    colour = "e => getComputedStyle(e).backgroundColor"
    red, green, blue = (int(v) for v in look.page.eval_on_selector("body", colour)[4:-1].split(","))
    assert max(red, green, blue) < 60
    assert look.page.eval_on_selector("figure .card", colour) == "rgb(255, 255, 255)"


@pytest.mark.parametrize("paper", PAPERS)
def test_paper_takes_every_figure_whole(look: Look, paper: str, tmp_path: Path) -> None:
    across, high = (size - margin for size, margin in zip(PAPERS[paper], MARGINS, strict=True))
    look.page.emulate_media(media="print")
    look.page.set_viewport_size({"width": int(across / PIXEL), "height": 1000})
    look.unfold()
    sizes = look.page.eval_on_selector_all(
        "figure, .short section, tr", "all => all.map(e => e.getBoundingClientRect().height)"
    )
    assert max(sizes) * PIXEL < high
    look.page.emulate_media(media="null")


def printed(page: Page, target: Path, paper: str) -> list[str]:
    """The text of each printed page."""
    page.emulate_media(media="null")
    page.pdf(path=target, format=paper)
    pages = PdfReader(target).pages
    wide, high = (float(v) * POINT for v in pages[0].mediabox[2:])
    assert (wide, high) == pytest.approx(PAPERS[paper], abs=0.5)
    return [normalize("NFKC", " ".join(page.extract_text().split())) for page in pages]


@pytest.mark.parametrize("paper", PAPERS)
def test_one_printed_page_per_hanging_sheet(either: Look, paper: str, tmp_path: Path) -> None:
    texts = printed(either.page, tmp_path / "report.pdf", paper)
    sheets = [text for text in texts if SHEET in text]
    assert len(sheets) == 5  # walls and ceiling of a box; the floor has no drawing but a table
    for text in sheets:
        assert text.count(SHEET) == text.count("Scale 1:") == 1
    tables = [text for text in texts if "stands off" in text]
    assert len(tables) == 1  # that of the floor
    assert min(map(len, texts)) > 250  # letters: no page holds a few lines only


@pytest.mark.parametrize("paper", PAPERS)
def test_a_reader_prints_half_of_it_and_the_rest_on_demand(
    look: Look, paper: str, tmp_path: Path
) -> None:
    texts = printed(look.page, tmp_path / "report.pdf", paper)
    assert len(texts) <= PAGES
    assert "folded open" in texts[0]
    for told in ("What to buy", "What is wrong now", "Cautions"):
        assert any(told in text for text in texts), told
    behind = ("Who judged what", "Long section", "What was taken as given")
    assert not any(told in text for text in texts for told in behind)
    look.unfold()
    whole = printed(look.page, tmp_path / "whole.pdf", paper)
    assert len(texts) < 0.5 * len(whole)
    assert len(whole) <= ALL_PAGES
    for told in behind:
        assert any(told in text for text in whole), told


@pytest.mark.parametrize("paper", PAPERS)
def test_drawings_print_at_the_scale_they_state(look: Look, paper: str) -> None:
    """One CSS point is one point of the drawing, so letters are as large as they were drawn."""
    across = PAPERS[paper][0] - MARGINS[0]
    look.page.emulate_media(media="print")
    look.page.set_viewport_size({"width": int(across / PIXEL), "height": 1000})
    look.unfold()
    sizes = look.page.eval_on_selector_all(
        ".drawn svg",
        "all => all.map(e => e.getBoundingClientRect().width * 0.75 / e.viewBox.baseVal.width)",
    )
    assert len(sizes) >= 8
    assert sizes == pytest.approx([1.0] * len(sizes), rel=0.003)
    look.page.emulate_media(media="null")


def test_letters_of_pictures_are_large_enough_in_print(look: Look) -> None:
    """At least 6 pt (common practice for print, no source), by the sizes in the pictures."""
    content = look.page.content()
    sizes = [float(s) for s in re.findall(r"font: (?:bold |700 )?([\d.]+)px", content)]
    sizes += [float(s) for s in re.findall(r"font-size: ([\d.]+)px", content)]
    assert len(sizes) > 200
    assert min(sizes) >= 6.0


UNBROKEN = "Doppelrohrbassfallenwandhalterungsabdeckung" * 2  # no space to break it at
PANEL = "wool panel 25 mm, 0.6 x 0.6 m, pack of six"
CROWD = tuple(
    Place("panel_25_600", "wall", wall, round(0.05 + 0.62 * i, 2), round(0.05 + 0.61 * j, 2))
    for wall in ("left", "right", "front", "back")
    for i in range(4)
    for j in range(4)
)[:60]


@pytest.fixture(scope="module", params=["crowd", "nothing", "infeasible"])
def extreme(
    request: pytest.FixtureRequest, browser: Browser, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[Look]:
    """Sixty pieces and names of eighty letters; no piece; a search that found no plan."""
    folder = tmp_path_factory.mktemp(request.param)
    name = UNBROKEN[:80]
    project = edited_project(
        folder / "room", "small_bedroom", toml=('name = "mix"', f'name = "{name}"'),
        prices=(f'panel_25_600,"{PANEL}"', f"panel_25_600,{name}"),
    )  # fmt: skip
    places = CROWD if request.param == "crowd" else ()
    status = "infeasible" if request.param == "infeasible" else "feasible"
    path = folder / "report.html"
    path.write_text(report_html(plan_of(project, places, status)), encoding="utf-8")
    seen = Look(browser, path)
    seen.walls = len({place.surface for place in places})
    yield seen
    seen.page.close()


@pytest.mark.parametrize("width", [375, 1280])
def test_extremes_are_no_wider_than_the_page(extreme: Look, width: int) -> None:
    assert extreme.said == []
    extreme.page.set_viewport_size({"width": width, "height": 900})
    assert extreme.page.evaluate(TOO_WIDE) == []
    assert extreme.page.evaluate("document.documentElement.scrollWidth") <= width


def test_extremes_on_paper(extreme: Look, tmp_path: Path) -> None:
    """A page for each wall that carries pieces, no page with a few lines only."""
    target = tmp_path / "report.pdf"
    extreme.page.pdf(path=target, format="Letter")
    texts = [" ".join(page.extract_text().split()) for page in PdfReader(target).pages]
    sheets = [text for text in texts if SHEET in normalize("NFKC", text)]
    assert len(sheets) == extreme.walls
    assert min(map(len, texts)) > 250
