"""Flow resistivity with which each porous row of the table would be measured as it was.

For every row of porous matter of known thickness and mounting the flow resistivity is sought with
which a sample of 3.0 x 3.6 m of it (materials.edges) has the row's coefficients from 250 Hz up to
4 kHz. Coefficients of thick layers hardly depend on it, so what is known of such matter counts too:
the most likely value with an error of LABORATORY common to all coefficients and a log-normal prior
(fibre boards 12 kPa s/m2, foams 4 kPa s/m2, ICA 2016 paper 490; a factor of two either way, own
choice). Run with --write to put the figures into materials/absorption.csv; without, a table is
printed that is kept beside this script.
"""

import csv
import sys
from pathlib import Path

import numpy as np
from scipy.optimize import minimize_scalar

from materials import MaterialTable, load_table
from materials.bands import BANDS
from materials.build import Build
from materials.edges import laboratory_alpha
from materials.layers import AirGap, Porous
from materials.table import DATA, Material

FITTED = slice(2, 7)  # 250 Hz to 4 kHz
LABORATORY = 0.07  # of a coefficient between laboratories, ISO 12999-2, about
PRIOR = {"porous": 12_000.0, "foam": 4_000.0}  # Pa s/m2
FACTOR = 2.0
LOWEST, HIGHEST = 2_000.0, 80_000.0  # Pa s/m2, of absorbers for rooms
CATEGORIES = ("porous", "foam")
FACED = ("perforated", "wood_wool")  # porous rows with another face, or with no such matter
CORNER = 7_000.0  # of light wool as corners are filled with, producer data; not fitted


def of_matter(row: Material) -> bool:
    """Whether a row is plain porous matter of known depth on or off a wall."""
    plain = row.category in CATEGORIES and not any(word in row.id for word in FACED)
    return plain and row.thickness_mm is not None and row.gap_mm is not None


def residual(row: Material, sigma: float) -> float:
    """Root mean square difference of the coefficients with this flow resistivity, Pa s/m2."""
    layers: tuple[Porous | AirGap, ...] = (Porous(1e-3 * (row.thickness_mm or 0.0), sigma),)
    if row.gap_mm:
        layers = (*layers, AirGap(1e-3 * row.gap_mm))
    found = laboratory_alpha(Build("fit", "fit", layers), BANDS[FITTED])
    return float(np.sqrt(np.mean((found - np.array(row.absorption)[FITTED]) ** 2)))


def fitted(row: Material) -> tuple[float, float]:
    """Flow resistivity in Pa s/m2, and the rms difference of the coefficients."""

    def unlikely(exponent: float) -> float:
        sigma = float(10.0**exponent)
        away = np.log(sigma / PRIOR[row.category]) / np.log(FACTOR)
        return float((residual(row, sigma) / LABORATORY) ** 2 + away**2)

    best = minimize_scalar(
        unlikely, bounds=(np.log10(LOWEST), np.log10(HIGHEST)), method="bounded",
        options={"xatol": 0.01},
    )  # fmt: skip
    sigma = float(10.0**best.x)
    return sigma, residual(row, sigma)


def figures_of(table: MaterialTable) -> dict[str, tuple[float, float]]:
    """Flow resistivity and residual of each row; a row that was modelled from the flush one of the
    same thickness (it has no source of its own) is of the same wool."""
    found: dict[str, tuple[float, float]] = {}
    for row in (row for row in table if of_matter(row)):
        flush = f"mineral_wool_{row.thickness_mm:.0f}_wall"
        own = row.n_sources > 0 or flush not in found
        sigma = fitted(row)[0] if own else found[flush][0]
        found[row.id] = (sigma, residual(row, sigma))
    return found


def main() -> None:
    figures = figures_of(load_table())
    print("| row | flow resistivity, kPa s/m2 | rms difference of coefficients |")
    print("| --- | --- | --- |")
    for name, (sigma, off) in figures.items():
        print(f"| {name} | {1e-3 * sigma:.1f} | {off:.2f} |")
    if "--write" in sys.argv:
        write({k: (f"{round(s, -2):.0f}", f"{o:.2f}") for k, (s, o) in figures.items()})


def write(figures: dict[str, tuple[str, str]]) -> None:
    """Put the two columns into the table."""
    path = Path(DATA) / "absorption.csv"
    with path.open(newline="", encoding="utf-8") as file:
        reader = csv.DictReader(file)
        names, rows = list(reader.fieldnames or ()), list(reader)
    for column in ("flow_resistivity", "fit_residual"):
        if column not in names:
            names.insert(names.index("unit"), column)
    for row in rows:
        corner = row["category"] == "corner fill"
        blank = (f"{CORNER:.0f}", "") if corner else ("", "")
        row["flow_resistivity"], row["fit_residual"] = figures.get(row["id"], blank)
    with path.open("w", newline="", encoding="utf-8") as file:
        writer = csv.DictWriter(file, names, lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)


if __name__ == "__main__":
    main()
