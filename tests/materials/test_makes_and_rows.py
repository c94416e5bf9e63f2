"""What makes show at the size of a laboratory's sample, against the rows they stand for.

A sample of 3.0 x 3.6 m (10.8 m2, within the 10 to 12 m2 of ISO 354) in a diffuse field. One sigma
is the larger of the reproducibility of ISO 12999-2:2020 and the spread between sources
(materials.spread).
"""

import numpy as np
import pytest

from materials import Material, load_table
from materials.build import Build
from materials.edges import laboratory_alpha
from materials.made import make_strength, matter_of
from optimizer.cli import main

OCTAVES = slice(1, 7)  # 125 Hz to 4 kHz
FITTED = slice(2, 7)  # 250 Hz to 4 kHz, of which the flow resistivity was found
MANY = 5  # independent sources
LAYERS = [row for row in load_table() if isinstance(matter_of(row), Build)]


def off(row: Material) -> np.ndarray:
    """Coefficients (8,) of the make less those of the row."""
    make = matter_of(row)
    assert isinstance(make, Build)
    return laboratory_alpha(make) - np.array(row.absorption)


MEASURED = [row for row in LAYERS if row.n_sources >= MANY]


@pytest.mark.parametrize("row", MEASURED, ids=lambda row: row.id)
def test_a_make_shows_what_laboratories_measured(row: Material) -> None:
    """Wool that many sources give, in each octave from 125 Hz, which no fit has seen, to 4 kHz:
    within two sigma."""
    assert (np.abs(off(row)) < 2.0 * np.array(row.spread))[OCTAVES].all()


def test_wool_of_the_usual_depths_is_among_them() -> None:
    assert {row.thickness_mm for row in MEASURED} >= {25.0, 50.0, 75.0, 100.0}


@pytest.mark.parametrize("row", LAYERS, ids=lambda row: row.id)
def test_the_table_tells_how_far_a_make_is_from_its_row(row: Material) -> None:
    """`fit_residual` is the root mean square over the octaves from 250 Hz, to its two digits. Rows
    of one source over 300 to 400 mm of air and of foam are up to 0.2 off."""
    told = row.fit_residual
    assert told is not None
    assert np.sqrt(np.mean(off(row)[FITTED] ** 2)) == pytest.approx(told, abs=0.006)
    assert told < 0.25


def test_the_command_shows_what_rows_are_made_of(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["materials", "mineral_wool_100_wall"]) == 0
    row = next(row for row in LAYERS if row.id == "mineral_wool_100_wall")
    assert row.flow_resistivity is not None
    told = capsys.readouterr().out
    assert f"{1e-3 * row.flow_resistivity:.1f} ({row.fit_residual:.2f})" in told
    assert "kPa s/m2: flow resistivity" in told


def test_a_make_that_shows_more_than_its_row_is_held_to_it() -> None:
    """At 250 Hz no row acts by more than it was measured with, its one sigma and rounding aside;
    one that shows less than its row is left as it is."""
    held = 0
    for row in load_table():
        matter = matter_of(row)
        if isinstance(matter, Build):
            shown = float(laboratory_alpha(matter, (250,))[0])
            strength = make_strength(row)
            assert strength * shown <= row.absorption[2] + row.spread[2] + 1e-9, row.id
            assert strength == 1.0 or strength * shown > row.absorption[2], row.id
            held += strength < 1.0
    assert 0 < held < 20
    assert make_strength(load_table()["foam_50_wall"]) == pytest.approx(0.56, abs=0.03)
    assert make_strength(load_table()["mineral_wool_25_wall"]) == 1.0
