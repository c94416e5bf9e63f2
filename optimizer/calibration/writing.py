"""The calibrated room as files: own material rows, and the room file that names them.

The room file is copied as it was written; only the key `materials` is changed, pieces that hung
when it was last measured are added as [[hung]], and what was measured as [[measured]], in place of
what an earlier calibration wrote there. The original is never touched.
"""

import csv
import io
import json
import re
from collections.abc import Iterable, Sequence
from pathlib import Path

import numpy as np

from materials import Material, load_table
from materials.modal import resistivity
from materials.table import ABSORPTION_COLUMNS, SIGMA_COLUMNS, SPREAD_COLUMNS
from optimizer.bands import BANDS
from optimizer.calibration.fit import Calibration
from optimizer.placement.pieces import Piece
from optimizer.room.geometry import Floats

MARK = "# Written by `treatment calibrate`"
SCATTERING = tuple(f"s{band}" for band in BANDS)
HEADING = (
    *("id", "name", "category", "mounting", "thickness_mm", "gap_mm", "density_kg_m3"),
    *("flow_resistivity", "fit_residual", "unit"),
    *ABSORPTION_COLUMNS, *SPREAD_COLUMNS, *SIGMA_COLUMNS, *SCATTERING,
    *("extrapolated", "n_sources", "sources", "status", "note"),
)  # fmt: skip
_MATERIALS_KEY = re.compile(r"^[ \t]*materials[ \t]*=.*$", re.MULTILINE)
_MEASURED = re.compile(r"^[ \t]*\[\[measured\]\].*?(?=^[ \t]*\[|\Z)", re.MULTILINE | re.DOTALL)
_FIRST_TABLE = re.compile(r"^[ \t]*\[", re.MULTILINE)


def own_rows(path: Path | None) -> list[Material]:
    """The rows that a person's own materials table adds to the packaged one or changes in it."""
    packaged = load_table()
    rows = packaged if path is None else load_table(path)
    return [m for m in rows if m.id not in packaged or m != packaged[m.id]]


def materials_csv(found: Calibration, own: Iterable[Material] = ()) -> str:
    """Rows of the calibrated materials, after those rows of the person's own that stay as they
    were; sigma columns hold one standard deviation after the calibration."""
    text = io.StringIO(newline="")
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(HEADING)
    new = {m.id for m in found.unknowns.materials}
    writer.writerows(_row(m, m.absorption, m.spread, m.note) for m in own if m.id not in new)
    values = found.unknowns.values(found.z)
    sigma = found.unknowns.sigma(found.z, found.z_sigma)
    for m, material in enumerate(found.unknowns.materials):
        writer.writerow(_row(material, values[m], sigma[m], _note(found, m)))
    return text.getvalue()


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
    matter = material.matter
    if matter is None:
        return "", ""
    return (
        f"{resistivity(matter):g}",
        "" if material.fit_residual is None else f"{material.fit_residual:g}",
    )


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
    text = _MEASURED.sub("", text)
    table = _FIRST_TABLE.search(text)
    end = table.start() if table else len(text)
    head, rest = text[:end], text[end:]
    line = f'materials = "{materials}"'
    head = _MATERIALS_KEY.sub("", head).rstrip("\n")
    top = f"{MARK}: {note}\n"
    body = f"{top}{head}\n{line}\n\n{rest}".rstrip("\n") + "\n"
    return body + "".join(_hung(piece) for piece in pieces) + measured_toml(found)


def measured_toml(found: Calibration) -> str:
    """A [[measured]] section for each state: decay measured and predicted, 0 where not known."""
    parts = []
    for s, state in enumerate(found.states):
        rows = {
            "t20": state.measured.t20,
            "error": state.measured.error,
            "before": found.before[s],
            "after": found.after[s],
        }
        told = "".join(f"{key} = {_times(values)}\n" for key, values in rows.items())
        name = json.dumps(" ".join(state.name.split()), ensure_ascii=False)
        parts.append(f"\n[[measured]] # s, octaves from 63 Hz to 8 kHz\nstate = {name}\n{told}")
    return "".join(parts)


def _times(values: Floats) -> str:
    known = np.where(np.isfinite(values), values, 0.0)
    return f"[{', '.join(f'{value:.4f}' for value in known)}]"


def _hung(piece: Piece) -> str:
    u, v, _, _ = piece.rect
    return (
        f'\n[[hung]]\nproduct = "{piece.product.id}"\nsurface = "{piece.surface}"\n'
        f"at = [{u:g}, {v:g}]\ngap = {piece.product.fittings[piece.fitting].gap:g}\n"
        f'turned = {"true" if piece.turned else "false"}\nmounting = "{piece.mounting}"\n'
    )
