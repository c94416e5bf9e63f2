"""The page as text: it needs nothing outside, is complete, and says what the plan says."""

import json
import re

import pytest
from pages import Page, sections, words_of
from plans import PLACES, ROOMS, demo_project, plan_of

from materials import load_table
from optimizer.acoustics import (
    decay_criteria,
    early_criteria,
    flutter_criteria,
    judge_modes,
    judge_response,
    judge_trace,
    judge_waves,
    low_decay_criteria,
    mode_criteria,
)
from optimizer.report.judges import MODELS
from optimizer.report.page import hanging_html, report_html
from optimizer.report.score import GROUPS
from optimizer.results.cautions import cautions
from optimizer.results.model import Plan
from optimizer.results.planfile import plan_as_json
from optimizer.results.shopping import money

LARGEST = 3_000_000  # bytes
READ = ["room", "shopping", "short", "hanging", "cautions"]  # what a reader needs, in order
BEHIND = ["drawings", "score", "why", "sources", "limits"]


@pytest.fixture(scope="module", params=ROOMS)
def plan(request: pytest.FixtureRequest) -> Plan:
    return plan_of(demo_project(request.param))


@pytest.fixture(scope="module")
def html(plan: Plan) -> str:
    return report_html(plan)


@pytest.fixture(scope="module")
def page(html: str) -> Page:
    return Page(html)


def test_one_small_file_that_needs_no_other(html: str, page: Page) -> None:
    assert len(html.encode()) < LARGEST
    assert not page.all("script")
    for _, attributes in page.tags:
        for key in ("src", "href", "xlink:href", "srcset", "data", "poster"):
            assert re.match(r"#|data:,$", attributes.get(key) or "#"), attributes
    style = "".join(re.findall(r"<style>(.*?)</style>", html, re.DOTALL))
    assert "@import" not in style
    assert "url(" not in style


def test_well_formed_with_landmarks_and_a_skip_link(page: Page) -> None:
    assert page.faults == []
    assert page.open == []
    assert [len(page.all(tag)) for tag in ("main", "header", "nav", "footer", "h1")] == [1] * 5
    first = page.all("a")[0]
    assert (first["class"], first["href"]) == ("skip", "#main")
    ids = [a["id"] for _, a in page.tags if "id" in a]
    assert len(ids) == len(set(ids))
    links = {a["href"] for a in page.all("a")}
    assert {str(link)[1:] for link in links} <= set(ids)
    levels = [int(tag[1]) for tag, _ in page.tags if re.fullmatch("h[1-6]", tag)]
    assert all(b - a <= 1 for a, b in zip(levels, levels[1:], strict=False))


def test_sections_in_reading_order_the_picture_first(html: str) -> None:
    assert list(sections(html)) == [*READ, *BEHIND]
    assert re.search(r'<svg role="img" aria-label="([^"]*)', html)[1].startswith(
        "The room unfolded"
    )


def test_what_stands_behind_the_plan_is_folded_away_and_unfolded_when_asked(
    plan: Plan, html: str
) -> None:
    folded = re.findall(r'<details class="behind"><summary><h2 id="(\w+)">', html)
    assert folded == BEHIND
    whole = report_html(plan, whole=True)
    assert re.findall(r'<details class="behind" open><summary><h2 id="(\w+)">', whole) == BEHIND
    unfold = html.replace('<details class="behind">', '<details class="behind" open>')
    assert sections(whole)["score"] == sections(unfold)["score"]


def test_every_picture_is_told_in_words(page: Page) -> None:
    pictures = page.all("svg")
    assert len(pictures) >= 9
    for attributes in pictures:
        assert attributes["role"] == "img"
        assert len(str(attributes["aria-label"])) > 20
    assert not page.all("img")


def test_every_table_has_a_caption_and_scopes(page: Page, html: str) -> None:
    tables = re.findall(r"<table.*?</table>", html, re.DOTALL)
    assert len(tables) > 8
    for table in tables:
        inner = Page(table)
        assert len(inner.all("caption")) == 1
        assert {a.get("scope") for a in inner.all("th")} == {"col", "row"}


def test_money_and_boxes_to_tick(plan: Plan, html: str) -> None:
    shopping = sections(html)["shopping"]
    currency = plan.project.scenario.budget.currency
    assert money(plan.cost_cents, currency) in words_of(shopping)
    ticks = [a for a in Page(shopping).all("input") if a["type"] == "checkbox"]
    assert len(ticks) == len(plan.shopping)
    assert all(str(tick["aria-label"]).startswith("bought: ") for tick in ticks)


def test_every_piece_on_the_sheet_of_its_surface(plan: Plan, html: str) -> None:
    sheets = re.findall(r"<section class=\"sheet.*?</section>", html, re.DOTALL)
    names = {name for p in plan.pieces for name, _ in p.piece.rects}
    assert len(sheets) == len(names)
    whole = words_of("".join(sheets))
    for planned in plan.pieces:
        u0, v0, u1, v1 = planned.piece.rect
        assert f"{1000 * u0:.0f} and {1000 * u1:.0f}" in whole
        assert f"{1000 * v0:.0f} and {1000 * v1:.0f}" in whole
    assert "secondary safety line" in whole
    assert hanging_html(plan).count('class="sheet') == len(sheets)


def test_every_caution_and_every_source_is_there(plan: Plan, page: Page) -> None:
    for caution in cautions([p.piece for p in plan.pieces]):
        assert caution in page.text
    used = [p.piece.product.fittings[p.piece.fitting].material for p in plan.pieces]
    used += [s.material for s in plan.project.room.surfaces]
    used += [a.material for s in plan.project.room.surfaces for a in s.areas]
    used += [f.material for f in plan.project.room.furniture]
    cited = {source.key: source.citation for source in load_table().cited()}
    listed = re.search(r'<ol class="sources">(.*?)</ol>', page.html, re.DOTALL)
    assert listed
    sources = [words_of(item) for item in re.findall(r"<li>(.*?)</li>", listed[1], re.DOTALL)]
    for material in used:
        row = re.search(rf"{re.escape(as_written(material.name))}.*?</tr>", page.html, re.DOTALL)
        assert row
        numbers = re.search(r"Sources: ([\d, ]+)", row[0])
        assert numbers
        told = [sources[int(number) - 1] for number in numbers[1].split(", ")]
        assert len(told) == len(material.sources)
        for key in material.sources:
            assert any(as_written(cited[key]) in text for text in told), key


def as_written(text: str) -> str:
    """Units and powers as the page writes them."""
    for short, sign in (("m2", "m²"), ("m3", "m³"), ("V^(2/3)", "V to the power of 2/3")):
        text = text.replace(short, sign)
    return text


def test_no_name_of_a_program_or_a_file_stands_in_the_text(plan: Plan, page: Page) -> None:
    """Ids of materials, builds and products have an underscore; nothing else on the page has."""
    text = page.text.replace(plan.project.scenario.path.name, "")
    assert re.findall(r"\w*_\w+", text) == []
    assert "build:" not in text
    assert re.findall(r"(?i)\bpy[a-z]+acou\w*|\.json\b|\btranscription in \w+", text) == []


def test_every_word_of_the_trade_is_explained(page: Page, html: str) -> None:
    words = words_of(sections(html)["sources"].split('id="words"')[1])
    for term in ("Octave band", "Mode", "Schroeder frequency", "Flutter", "Absorption coefficient",
                 "Reaction to fire", "Decay time", "dB"):  # fmt: skip
        assert term in words
    assert page.text.index("What is wrong now") < page.text.index("Schroeder")


def test_a_reason_has_a_unit_at_each_figure(plan: Plan, html: str) -> None:
    told = re.findall(r'data-label="with it, instead of without">(.*?)</td>', html)
    assert told
    for text in told:
        for part in text.split("; "):
            assert re.search(r"-?[\d.]+ (s|dB|m²|%) instead of -?[\d.]+ (s|dB|m²|%)$", part), part


def test_every_row_of_the_score_card_is_shown(plan: Plan, html: str) -> None:
    score = sections(html)["score"].split("<h3>Who judged what")[0]
    rows = re.findall(r'<tr role="row"><th scope="row".*?</tr>', score, re.DOTALL)
    assert len(rows) == len(plan.card.rows)
    groups = list(dict.fromkeys(row.criterion for row in plan.card.rows))
    in_order = sorted(
        plan.card.rows, key=lambda row: (groups.index(row.criterion), not row.weight > 0)
    )
    for row, shown in zip(in_order, rows, strict=True):
        told = words_of(shown)
        assert row.where in told
        assert row.verdict in told
        missed = row.verdict in ("better", "worse", "unchanged") and row.high != row.low
        assert ("not met" in told) == missed
    folded = "".join(re.findall(r"<details>.*?</details>", score, re.DOTALL))
    assert all(row.where in folded for row in in_order
               if row.criterion == "mode" and not row.weight > 0)  # fmt: skip


def test_every_model_of_the_score_card_is_told_in_plain_words(plan: Plan, html: str) -> None:
    told = words_of(sections(html)["score"].split("<h3>Who judged what")[1])
    for row in plan.card.rows:
        assert row.model in told
    assert {row.criterion for row in plan.card.rows} <= set(GROUPS)


def test_every_model_that_a_judge_names_is_told() -> None:
    """Names as the modules of the models define them."""
    names = {m.MODEL for m in (decay_criteria, early_criteria, flutter_criteria, judge_modes,
                               judge_trace, judge_waves, low_decay_criteria, mode_criteria,
                               judge_response)}  # fmt: skip
    assert names <= set(MODELS)


FIGURE = re.compile(r'data-label="(now|with the plan)">(-?[\d.]+) ([^<]*)<')


def test_figures_are_those_of_the_plan_file(plan: Plan, html: str) -> None:
    """Every figure of the page is that of plan.json, to the digits shown."""
    stored = json.loads(plan_as_json(plan))
    score = sections(html)["score"]
    assert f"{stored['score_before']:.3f} now, {stored['score_after']:.3f} with the plan" in score
    shown = re.findall(r'<tr role="row"><th scope="row".*?</tr>', score, re.DOTALL)
    for row in stored["score"]:
        mine = [s for s in shown if f">{row['where']}" in s]
        pairs = [{k: (float(v), unit) for k, v, unit in FIGURE.findall(s)} for s in mine]
        digits = 2 if row["unit"] in ("s", "m2") else 1
        wanted = [round(row[key], digits) + 0.0 for key in ("before", "after")]
        unit = {"m2": "m²"}.get(row["unit"], row["unit"])
        assert any(
            p["now"] == (wanted[0], unit) and p["with the plan"] == (wanted[1], unit) for p in pairs
        ), row
    assert f"{stored['cost']:,.2f}".replace(",", " ") in words_of(sections(html)["short"])


def test_feet_everywhere(plan: Plan) -> None:
    sheets = hanging_html(plan, "ft")
    measured = re.findall(r'<td[^>]*data-label="(?:edges|stands)[^>]*>(.*?)</td>', sheets)
    assert len(measured) >= 3 * len(PLACES)
    for cell in measured:
        assert "&#34;" in cell or "across the corner" in cell
    assert not re.search(r"(?<!\d )\bmm\b", words_of(sheets))  # but in names of products
