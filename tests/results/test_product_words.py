"""What products do in the bass: each once, as it hangs, the others as not bought."""

from functools import cache
from pathlib import Path

from optimizer.placement.candidates import find_candidates
from optimizer.project import Project, load_project
from optimizer.results.product_words import bass_sentences

ROOM = Path(__file__).parents[2] / "scenarios" / "spare_room.toml"


@cache
def project() -> Project:
    return load_project(ROOM)


def test_each_product_is_said_once_bought_ones_first() -> None:
    room = project()
    products = room.usable_products
    found = find_candidates(room.room, products, room.scenario.limits, {})
    thin = next(c.pieces[0] for c in found if c.product.id.startswith("panel_25"))
    said = bass_sentences([thin, thin], products)
    names = [text.removeprefix("Not bought: ").split(": at 63")[0] for text in said]
    assert len(names) == len(set(names))
    assert said[0].startswith(f"{thin.product.name}: at 63 Hz it takes ")
    assert said[0].endswith("it does nothing for the bass.")
    assert all(text.startswith("Not bought: ") for text in said[1:])
    assert not any("diffuser" in text for text in said)


def test_a_piece_is_told_as_it_hangs_and_what_works_is_not_listed() -> None:
    room = project()
    product = next(p for p in room.usable_products if p.id == "panel_50_1200")
    found = find_candidates(room.room, (product,), room.scenario.limits, {})
    pieces = [c.pieces[0] for c in found]
    flush = next(piece for piece in pieces if product.fittings[piece.fitting].gap == 0.0)
    off = next(piece for piece in pieces if product.fittings[piece.fitting].gap > 0.0)
    assert "off its surface" not in bass_sentences([flush], (product,))[0]
    assert "0.05 m off its surface" in bass_sentences([off], (product,))[0]
    assert "2 in off its surface" in bass_sentences([off], (product,), "ft")[0]
    assert bass_sentences([], (product,)) == []


def test_resonators_say_their_tuning() -> None:
    said = bass_sentences([], project().products)
    tuned = [text for text in said if "measure before you close the box" in text]
    assert any("plywood" in text for text in tuned)
    assert not any("takes" in text and "wool" in text for text in tuned)
