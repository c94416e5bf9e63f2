"""What porous products take of the bass: against normal theory of a thin layer, and the table."""

from dataclasses import replace

import numpy as np
import pytest

from materials import load_table
from materials.bass import LITTLE, NOTHING, BassTake, bass_take
from materials.build import Build
from materials.edges import laboratory_alpha
from materials.made import made_material, matter_of, packaged_builds


def test_thin_wool_does_nothing_and_the_figures_are_those_of_its_make() -> None:
    """A thin layer's coefficient goes as the square of frequency (Kuttruff, Room Acoustics: porous
    layer well below its quarter wavelength): 63 Hz has a quarter of 125 Hz, within a third."""
    material = load_table()["mineral_wool_25_wall"]
    found = bass_take(material)
    assert found is not None
    matter = matter_of(material)
    assert isinstance(matter, Build)
    low, high = laboratory_alpha(matter, (63, 125))
    assert (found.at_63, found.at_125) == pytest.approx((low, high))
    assert found.at_63 / found.at_125 == pytest.approx(0.25, rel=0.33)
    assert "at 63 Hz it takes 2 % of what meets it, at 125 Hz 7 %" in found.in_words()
    assert "does nothing for the bass" in found.in_words()


def test_a_measured_figure_goes_before_a_make_that_says_more() -> None:
    """Foam of 50 mm: its source gives 0.16 at 125 Hz, twice less than the matter fitted to it."""
    material = load_table()["foam_50_wall"]
    found = bass_take(material)
    assert found is not None
    assert material.status == "sourced"
    assert found.measured == material.absorption[1]
    assert "little" in replace(found, at_125=0.5, measured=0.2).verdict
    assert "works" in replace(found, at_125=0.5, measured=None).verdict


def test_verdicts_change_at_the_limits() -> None:
    def said(at: float) -> str:
        return BassTake(0.0, at).verdict

    assert "nothing" in said(NOTHING - 0.001)
    assert "little" in said(NOTHING)
    assert "little" in said(LITTLE - 0.001)
    assert "works" in said(LITTLE)


def test_a_row_of_no_known_make_is_read_and_its_guess_marked() -> None:
    material = load_table()["rug_on_hard_floor"]
    found = bass_take(material)
    assert found is not None
    assert (found.at_63, found.at_125) == material.absorption[:2]
    assert "(less sure: no source gives it)" in found.in_words()
    known = bass_take(replace(material, extrapolated=frozenset()))
    assert known is not None
    assert "less sure" not in known.in_words()


def test_deep_wool_works_and_what_is_not_porous_is_left_out() -> None:
    builds = packaged_builds()
    deep = made_material(builds["board_200"], "panel", (0.6, 1.2), 0.2, 0.0)
    found = bass_take(deep)
    assert found is not None
    assert "works in the bass" in found.in_words()
    assert "100 %" in replace(found, at_125=1.2).in_words()
    assert "less than 1 %" in BassTake(0.004, 0.02).in_words()
    for build, size, depth in (
        ("panel_ply_6", (0.6, 1.2), 0.09),
        ("sealed_box_56", (0.5, 0.6), 0.28),
    ):
        assert bass_take(made_material(builds[build], "panel", size, depth, 0.0)) is None
    table = load_table()
    assert bass_take(table["membrane_plywood_6"]) is None
    assert bass_take(table["diffuser_qrd_7"]) is None


def test_a_corner_fill_takes_by_its_face() -> None:
    fill = packaged_builds()["corner_triangle_400"]
    found = bass_take(made_material(fill, "corner", (0.4, 0.6), 0.4, 0.0))
    assert found is not None
    per_metre = fill.absorption_per_metre((63, 125))  # type: ignore[union-attr]
    both = np.array([found.at_63, found.at_125])
    np.testing.assert_allclose(both, per_metre / (np.sqrt(2.0) * 0.4), rtol=1e-9)
