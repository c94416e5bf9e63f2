"""Decay times as measured in a room: read from tables, averaged, with their uncertainty.

A decay file is a CSV table of octave bands: `band_hz,t20_s[,t30_s][,spread_s][,positions]`.
`spread_s` is the standard deviation of T20 over positions; with `positions` given, the mean is
known to spread / sqrt(positions), else the spread itself is taken. T30 beside T20 tells how much
the decay bends, and so how unevenly the absorption lies.
"""

import csv
import io
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from optimizer.bands import BANDS, EXACT_HZ, N_BANDS
from optimizer.faults import Fault, ScenarioError
from optimizer.measurement.decay_evaluation import evaluate_decay
from optimizer.measurement.recording import read_impulse_response
from optimizer.room.geometry import Floats
from optimizer.room.reading import nearest, read_text

COLUMNS = ("band_hz", "t20_s", "t30_s", "spread_s", "positions")
MANDATORY = COLUMNS[:2]
SHORTEST, LONGEST = 0.02, 30.0  # s, decay times that a room can have
FEWEST_BANDS = 3
OCTAVE_WIDTH = 0.71  # bandwidth over centre frequency of an octave filter


@dataclass(frozen=True)
class Measured:
    """Decay of a room in one state. `t20`, `t30` (8,) s, nan where not measured; `error` (8,) s,
    one standard error of T20 as a mean over the room. `files` as they were named."""

    files: tuple[str, ...]
    t20: Floats
    t30: Floats
    error: Floats

    @property
    def known(self) -> Floats:
        """Which bands (8,) were measured."""
        return np.isfinite(self.t20)


def decay_error(t20: Floats, positions: float = 1.0) -> Floats:
    """Standard error of T20 (8,) in s that the method leaves with impulse responses.

    0.88 T sqrt((1 + 1.90/n)/(N B T)), n = 10 for impulse responses, B = 0.71 f the width of the
    octave, N pairs of source and receiver: ISO 3382-2:2008 section 7 (from memory).
    """
    width = OCTAVE_WIDTH * EXACT_HZ
    with np.errstate(invalid="ignore"):
        return np.asarray(0.88 * t20 * np.sqrt((1.0 + 1.90 / 10.0) / (positions * width * t20)))


def read_any(path: Path) -> Measured:
    """Decay of a table (.csv) or of an impulse response (.wav); ScenarioError on any fault."""
    if path.suffix.lower() != ".wav":
        return read_decay(path)
    recording = read_impulse_response(path)
    found = evaluate_decay(recording.signal, recording.rate)
    if np.isfinite(found.t20).sum() < FEWEST_BANDS:
        remedy = f"gives T20 in fewer than {FEWEST_BANDS} bands; `treatment measure` says why"
        raise ScenarioError([Fault(str(path), "", None, remedy)])
    return Measured((str(path),), found.t20, found.t30, decay_error(found.t20))


def read_decay(path: Path) -> Measured:
    """Decay of one file; ScenarioError lists every fault of it."""
    text = read_text(path, "decay table (CSV)")
    faults: list[Fault] = []
    rows = _rows(text, str(path))
    heading = [cell.strip() for cell in rows[0][1]] if rows else []
    _check_heading(heading, str(path), faults)
    t20, t30, spread, count = (np.full(N_BANDS, np.nan) for _ in range(4))
    for line, row in rows[1:] if not faults else ():
        if len(row) != len(heading):
            remedy = (
                f"has {len(row)} cells, the heading has {len(heading)}; write decimal points, not "
                "commas"
            )
            faults.append(Fault(str(path), f"row {line}", ",".join(row), remedy))
            continue
        cells = dict(zip(heading, row, strict=False))
        place = _Line(str(path), line, {k: v.strip() for k, v in cells.items()}, faults)
        band = place.band()
        if band is None:
            continue
        if np.isfinite(t20[band]):
            place.fault("band_hz", "is there twice; leave one out")
        t20[band] = place.number("t20_s", SHORTEST, LONGEST)
        t30[band] = place.number("t30_s", SHORTEST, LONGEST)
        spread[band] = place.number("spread_s", 0.0, LONGEST)
        count[band] = place.number("positions", 1.0, 1e4)
    if not faults and np.isfinite(t20).sum() < FEWEST_BANDS:
        remedy = f"holds fewer than {FEWEST_BANDS} octave bands; measure more of them"
        faults.append(Fault(str(path), "", None, remedy))
    if faults:
        raise ScenarioError(faults)
    pairs = np.where(np.isfinite(count), count, 1.0)
    least = decay_error(t20, 1.0) / np.sqrt(pairs)
    between = np.where(np.isfinite(spread), spread, 0.0) / np.sqrt(pairs)
    return Measured((str(path),), t20, t30, np.maximum(least, between))


def _rows(text: str, file: str) -> list[tuple[int, list[str]]]:
    """Rows with something in them, each with its line; ScenarioError when it is no table."""
    reader = csv.reader(io.StringIO(text, newline=""), strict=True)
    try:
        return [(reader.line_num, row) for row in reader if any(cell.strip() for cell in row)]
    except csv.Error as error:
        remedy = f"is not a table of comma-separated values: {error}"
        raise ScenarioError([Fault(file, "", None, remedy)]) from None


def mean_decay(parts: Sequence[Measured]) -> Measured:
    """Arithmetic mean over files of one state (ISO 3382-2 averages decay times), with the larger
    of their own error and their spread over the square root of their number."""
    if len(parts) == 1:
        return parts[0]
    t20, count, between = _mean([part.t20 for part in parts])
    t30, _, _ = _mean([part.t30 for part in parts])
    own = np.sqrt(np.nansum(np.array([part.error for part in parts]) ** 2, axis=0)) / count
    files = tuple(name for part in parts for name in part.files)
    return Measured(files, t20, t30, np.maximum(own, between))


def _mean(rows: Sequence[Floats]) -> tuple[Floats, Floats, Floats]:
    """Mean (8,) of what is known, how many that is (at least 1), standard error by their spread."""
    values = np.array(rows)
    known = np.isfinite(values)
    count = np.maximum(known.sum(axis=0), 1)
    mean = np.where(known.any(axis=0), np.where(known, values, 0.0).sum(axis=0) / count, np.nan)
    off = np.where(known, values - mean, 0.0)
    return mean, count, np.sqrt((off**2).sum(axis=0) / np.maximum(count - 1, 1) / count)


@dataclass(frozen=True)
class _Line:
    file: str
    row: int
    cells: dict[str, str]
    faults: list[Fault]

    def fault(self, column: str, remedy: str) -> None:
        value = self.cells.get(column)
        self.faults.append(Fault(self.file, f"row {self.row}.{column}", value, remedy))

    def band(self) -> int | None:
        try:
            return [float(band) for band in BANDS].index(float(self.cells.get("band_hz", "")))
        except (ValueError, OverflowError):
            bands = ", ".join(str(band) for band in BANDS)
            self.fault("band_hz", f"is no octave band; use one of {bands}")
            return None

    def number(self, column: str, low: float, high: float) -> float:
        cell = self.cells.get(column, "")
        if not cell and column not in MANDATORY:
            return np.nan
        try:
            value = float(cell)
        except ValueError:
            self.fault(column, "write a number with a decimal point")
            return np.nan
        if not low <= value <= high:
            self.fault(column, f"must be {low:g} to {high:g}")
            return np.nan
        return value


def _check_heading(heading: list[str], file: str, faults: list[Fault]) -> None:
    if not heading:
        faults.append(Fault(file, "", None, "is empty; write band_hz,t20_s and a row per band"))
        return
    for column in dict.fromkeys(heading):
        if column not in COLUMNS:
            faults.append(
                Fault(file, f"column {column}", None, f"unknown column; {nearest(column, COLUMNS)}")
            )
        elif heading.count(column) > 1:
            faults.append(Fault(file, f"column {column}", None, "is there twice; leave one out"))
    faults.extend(
        Fault(file, f"column {column}", None, "is missing; add it")
        for column in MANDATORY
        if column not in heading
    )
