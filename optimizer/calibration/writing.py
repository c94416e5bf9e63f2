"""The calibrated room as files: own material rows, and the room file that names them.

The room file is copied as it was written; only the key `materials` is changed, pieces that hung
when it was last measured are added as [[hung]], and what was measured as [[measured]], in place of
what an earlier calibration wrote there. The original is never touched.
"""

import tomllib
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np

from materials import Material, load_table
from materials.cells import csv_text
from materials.table import ABSORPTION_COLUMNS, SIGMA_COLUMNS, SPREAD_COLUMNS
from optimizer.bands import BANDS
from optimizer.calibration.fit import Calibration
from optimizer.placement.pieces import Piece
from optimizer.plain_text import shown
from optimizer.room.geometry import Floats
from optimizer.tomlfile import MICROMETRE, edited, lines

MARK = "# Written by `treatment calibrate`"
SCATTERING = tuple(f"s{band}" for band in BANDS)
HEADING = (
    *("id", "name", "category", "mounting", "thickness_mm", "gap_mm", "density_kg_m3"),
    *("flow_resistivity", "fit_residual", "unit"),
    *ABSORPTION_COLUMNS, *SPREAD_COLUMNS, *SIGMA_COLUMNS, *SCATTERING,
    *("extrapolated", "n_sources", "sources", "status", "note"),
)  # fmt: skip


def own_rows(path: Path | None) -> list[Material]:
    """The rows that a person's own materials table adds to the packaged one or changes in it."""
    packaged = load_table()
    rows = packaged if path is None else load_table(path)
    return [m for m in rows if m.id not in packaged or m != packaged[m.id]]


def materials_csv(found: Calibration, own: Iterable[Material] = ()) -> str:
    """Rows of the calibrated materials, after those rows of the person's own that stay as they
    were; sigma columns hold one standard deviation after the calibration."""
    new = {m.id for m in found.unknowns.materials}
    rows = [_row(m, m.absorption, m.spread, m.note) for m in own if m.id not in new]
    values = found.unknowns.values(found.z)
    sigma = found.unknowns.sigma(found.z, found.z_sigma)
    rows += [
        _row(material, values[m], sigma[m], _note(found, m))
        for m, material in enumerate(found.unknowns.materials)
    ]
    return csv_text([HEADING, *rows], "\n")


def _row(
    material: Material, values: Sequence[float], sigma: Sequence[float], note: str
) -> list[str]:
    lengths = (material.thickness_mm, material.gap_mm, material.density_kg_m3)
    return [
        *(material.id, material.name, material.category, material.mounting),
        *("" if v is None else f"{v:g}" for v in lengths),
        *_matter(material),
        material.unit,
        *(f"{v:.4f}" for v in values),
        *("" if v is None else f"{v:g}" for v in material.between_sources),
        *(f"{v:.4f}" for v in sigma),
        *(f"{v:g}" for v in material.scattering),
        " ".join(str(band) for band in sorted(material.extrapolated)),
        str(material.n_sources),
        ";".join(material.sources),
        material.status,
        note,
    ]


def _matter(material: Material) -> tuple[str, str]:
    """Flow resistivity and residual of its fit, blank where it is no plain porous matter."""
    known = (material.flow_resistivity, material.fit_residual)
    first, second = ("" if value is None else f"{value:g}" for value in known)
    return first, second


def _note(found: Calibration, m: int) -> str:
    change = 100 * np.expm1(found.z[m] * found.unknowns.scale[m])
    told = " ".join(f"{c:+z.0f}" for c in change)
    return f"Calibrated on a measurement of the room; change in % from 63 Hz to 8 kHz: {told}."


def room_toml(
    text: str, materials: str, pieces: Sequence[Piece], note: str, found: Calibration
) -> str:
    """The room file's text with other material rows, with pieces that hang now and with what was
    measured.

    `note` says in a line what was done; it stands at the top.
    """
    hung = tomllib.loads(text).get("hung", [])
    tabled = "[[hung]]" in text  # else one list in a line, to which no table can be added
    body = edited(text, {"materials": materials}, ("measured",) if tabled else ("measured", "hung"))
    before = [] if tabled else [_hung(entry) for entry in hung]
    added = [*before, *(_hung(_entry(piece)) for piece in pieces)]
    top = f"{MARK}: {shown(' '.join(note.split()))}\n"
    return top + body.strip("\n") + "\n" + "".join(added) + measured_toml(found)


def measured_toml(found: Calibration) -> str:
    """A [[measured]] section for each state: decay measured and predicted, 0 where not known."""
    parts = []
    for s, state in enumerate(found.states):
        times = {
            "t20": state.measured.t20,
            "error": state.measured.error,
            "before": found.before[s],
            "after": found.after[s],
        }
        told: dict[str, Any] = {"state": " ".join(state.name.split())}
        told |= {key: _times(values) for key, values in times.items()}
        parts.append(f"\n[[measured]] # s, octaves from 63 Hz to 8 kHz\n{lines(told)}\n")
    return "".join(parts)


def _times(values: Floats) -> list[float]:
    return [round(float(v), 4) if np.isfinite(v) else 0.0 for v in values]


def _hung(entry: Mapping[str, Any]) -> str:
    return f"\n[[hung]]\n{lines(entry)}\n"


def _entry(piece: Piece) -> dict[str, Any]:
    u, v, _, _ = piece.rect
    return {
        "product": piece.product.id,
        "surface": piece.surface,
        "at": [round(float(u), MICROMETRE) + 0.0, round(float(v), MICROMETRE) + 0.0],
        "gap": float(piece.product.fittings[piece.fitting].gap),
        "turned": bool(piece.turned),
        "mounting": piece.mounting,
    }
