"""Measurements as rows of words: for tables on the terminal, and for CSV and JSON files."""

from __future__ import annotations

import json
import math
from collections.abc import Iterator, Sequence

import numpy as np
from numpy.typing import NDArray

from materials.cells import csv_text
from optimizer.acoustics.early_criteria import PROFILES
from optimizer.bands import band_label
from optimizer.measurement.session import (
    FIGURES,
    Difference,
    Measurement,
    level_differences,
    mean_of,
)

FORMAT = 1
HEADER = ("band", "EDT s", "T20 s", "T30 s", "C50 dB", "C80 dB", "D50 %", "seen dB")
MEAN_HEADER = HEADER[:-1]
ARRIVAL_HEADER = ("after ms", "longer by m", "level dB", "")
CSV_HEADER = ("file", "seat", "speaker", "figure", "at", "at_unit", "value", "unit", "missing")
UNITS = {"edt": "s", "t20": "s", "t30": "s", "c50": "dB", "c80": "dB", "d50": "1"}
LOW_THIRDS = (20, 25, 31.5, 40, 50, 63, 80, 100, 125, 160, 200, 250, 300)
SPEED_OF_SOUND = 343.0


def title(m: Measurement) -> str:
    """The recording in one line."""
    seconds = m.recording.signal.size / m.recording.rate
    parts = [f"{m.recording.path}: {m.recording.rate} Hz, {seconds:.2f} s"]
    parts += ["from a sweep"] * m.recording.from_sweep
    parts += [f"speaker {m.speaker}"] * bool(m.speaker) + [f"at {m.seat}"] * bool(m.seat)
    return ", ".join(parts)


def figure_rows(m: Measurement) -> list[list[str]]:
    """One row per band: a number, or one word for why there is none."""
    rows = []
    for band, nominal in enumerate(m.decay.bands.nominal):
        cells = [_cell(m, name, band) for name in FIGURES]
        seen = m.decay.range_db[band]
        rows.append([band_label_of(nominal), *cells, "-" if math.isnan(seen) else f"{int(seen)}"])
    return rows


def _cell(m: Measurement, name: str, band: int) -> str:
    value = float(m.figure(name)[band])
    if math.isfinite(value):
        return _number(name, value)
    reason = m.reason(name, band)
    return reason.word if reason else "-"


def _number(name: str, value: float) -> str:
    if name == "d50":
        return f"{100 * value:.0f}"
    return f"{value:.2f}" if UNITS[name] == "s" else f"{value:z.1f}"


def remarks(m: Measurement) -> list[str]:
    """Why figures are missing, and what to know about those given: one line per cause."""
    bands: dict[tuple[str, str], list[int]] = {}
    for band, nominal in enumerate(m.decay.bands.nominal):
        causes: dict[str, list[str]] = {}
        for name in FIGURES:
            reason = m.reason(name, band)
            if reason:
                causes.setdefault(reason.text, []).append(name.upper())
        for text, names in causes.items():
            bands.setdefault((f"no {', '.join(names)}: ", text), []).append(nominal)
        for note in m.decay.notes[band]:
            bands.setdefault(("", note), []).append(nominal)
    return [
        f"{', '.join(map(band_label_of, nominals))}: {what}{text}"
        for (what, text), nominals in bands.items()
    ]


def arrival_rows(m: Measurement) -> list[list[str]]:
    """Early arrivals in order of delay, marked where they exceed the limit for first reflections.

    The limit is that of the predictions: 10 dB below direct within 15 ms.
    """
    limit, window = PROFILES["controlled"]
    rows = []
    for delay, level in zip(m.arrivals.delay_ms, m.arrivals.level_db, strict=True):
        mark = "above limit" if delay <= window and level > limit else ""
        longer = SPEED_OF_SOUND * delay / 1000.0
        rows.append([f"{delay:.1f}", f"{longer:.2f}", f"{level:z.1f}", mark])
    return rows


def arrival_limit() -> str:
    """The limit in words."""
    limit, window = PROFILES["controlled"]
    return f"limit: {limit:.0f} dB re the direct sound within {window:.0f} ms, 1 to 8 kHz"


def low_rows(measurements: Sequence[Measurement]) -> tuple[list[str], list[list[str]]]:
    """Header and rows of the low-frequency levels, one column per recording."""
    header = ["Hz", *[m.recording.path.name for m in measurements]]
    rows = []
    for hertz in LOW_THIRDS:
        cells = [_signed(m.low.around(hertz), "noise") for m in measurements]
        rows.append([f"{hertz:g}", *cells])
    return header, rows


def low_extremes(m: Measurement) -> str:
    """Where the low end peaks and dips, in one line."""
    if m.low.reason:
        return m.low.reason.text
    peaks, dips = (
        ", ".join(f"{hertz:.0f} Hz {level:+z.0f}" for hertz, level in found) or "none"
        for found in m.low.extremes()
    )
    return f"peaks {peaks}; dips {dips}"


def mean_rows(measurements: Sequence[Measurement]) -> list[list[str]]:
    """Mean, spread and number of recordings per band and figure."""
    means = {name: mean_of(measurements, name) for name in FIGURES}
    rows = []
    for band, nominal in enumerate(measurements[0].decay.bands.nominal):
        cells = []
        for name in FIGURES:
            mean = means[name]
            if not mean.count[band]:
                cells.append("-")
                continue
            spread = float(mean.spread[band])
            around = f" ±{_number(name, spread)}" if math.isfinite(spread) else ""
            cells.append(f"{_number(name, float(mean.mean[band]))}{around} ({mean.count[band]})")
        rows.append([band_label_of(nominal), *cells])
    return rows


def difference_rows(differences: Sequence[Difference], m: Measurement) -> list[list[str]]:
    """Level differences per band, one column per pair of speakers."""
    return [
        [band_label_of(nominal), *[_signed(float(d.level_db[band]), "noise") for d in differences]]
        for band, nominal in enumerate(m.decay.bands.nominal)
    ]


def difference_header(differences: Sequence[Difference]) -> list[str]:
    """Column heads of the level differences."""
    heads = [f"{d.first} less {d.second}" + f", {d.seat}" * bool(d.seat) for d in differences]
    return ["band", *[f"{head} dB" for head in heads]]


def _signed(value: float, missing: str) -> str:
    return f"{value:+z.1f}" if math.isfinite(value) else missing


def band_label_of(nominal: int) -> str:
    """Label of an octave or a third: "63 Hz", "1 kHz", "1.25 kHz"."""
    if nominal >= 1000 and nominal % 1000:
        return f"{nominal / 1000:g} kHz"
    return band_label(nominal)


def as_csv(measurements: Sequence[Measurement]) -> str:
    """Long table: one line per figure, band and recording; then means and differences."""
    rows: list[list[object]] = [[*CSV_HEADER]]
    for m in measurements:
        who = [str(m.recording.path), m.seat, m.speaker]
        rows += [[*who, *row] for row in _csv_rows(m)]
    bands = measurements[0].decay.bands.nominal
    for name in FIGURES if len(measurements) > 1 else ():
        mean = mean_of(measurements, name)
        for what, values in (("mean", mean.mean), ("spread", mean.spread)):
            for hertz, value in zip(bands, values, strict=True):
                row = [f"{name} {what}", hertz, "Hz", _plain(float(value)), UNITS[name], ""]
                rows.append(["", "", "", *row])
    for d in level_differences(measurements):
        for hertz, value in zip(bands, d.level_db, strict=True):
            row = ["level difference", hertz, "Hz", _plain(float(value)), "dB", ""]
            rows.append(["", d.seat, f"{d.first} less {d.second}", *row])
    return csv_text(rows, "\n")


def _csv_rows(m: Measurement) -> Iterator[list[object]]:
    for name in FIGURES:
        for band, hertz in enumerate(m.decay.bands.nominal):
            reason = m.reason(name, band)
            value = _plain(float(m.figure(name)[band]))
            yield [name, hertz, "Hz", value, UNITS[name], reason.text if reason else ""]
    for delay, level in zip(m.arrivals.delay_ms, m.arrivals.level_db, strict=True):
        yield ["arrival", f"{delay:.3f}", "ms", _plain(float(level)), "dB", ""]
    if m.arrivals.reason:
        yield ["arrival", "", "ms", "", "dB", m.arrivals.reason.text]
    for hertz, level in zip(m.low.frequency, m.low.level, strict=True):
        missing = "" if math.isfinite(level) else _low_missing(m)
        yield ["low level", f"{hertz:.2f}", "Hz", _plain(float(level)), "dB", missing]


def _low_missing(m: Measurement) -> str:
    return m.low.reason.text if m.low.reason else "lost in noise, or the file is too short for it"


def _plain(value: float) -> str:
    return f"{value:z.6g}" if math.isfinite(value) else ""


def as_json(measurements: Sequence[Measurement]) -> str:
    """Everything, with null and a reason where there is no figure."""
    document = {
        "format": FORMAT,
        "bands_hz": list(measurements[0].decay.bands.nominal),
        "recordings": [_document(m) for m in measurements],
        "mean": {name: _mean_document(measurements, name) for name in FIGURES},
        "level_differences": [
            {"seat": d.seat, "first": d.first, "second": d.second, "level_db": _list(d.level_db)}
            for d in level_differences(measurements)
        ],
    }
    return json.dumps(document, indent=1, allow_nan=False) + "\n"


def _document(m: Measurement) -> dict[str, object]:
    bands = range(len(m.decay.bands.nominal))
    figures = {
        name: {
            "values": _list(m.figure(name)),
            "missing": [r.text if (r := m.reason(name, band)) else None for band in bands],
        }
        for name in FIGURES
    }
    low, arrivals = m.low, m.arrivals
    return {
        "file": str(m.recording.path),
        "rate_hz": m.recording.rate,
        "seat": m.seat,
        "speaker": m.speaker,
        "figures": figures,
        "seen_db": _list(m.decay.range_db),
        "end_s": _list(m.decay.end_s),
        "curvature_percent": _list(m.decay.curvature),
        "nonlinearity_permille": _list(m.decay.nonlinearity),
        "double_slope": m.decay.double_slope.tolist(),
        "notes": [list(notes) for notes in m.decay.notes],
        "arrivals": {
            "delay_ms": _list(arrivals.delay_ms),
            "level_db": _list(arrivals.level_db),
            "missing": arrivals.reason.text if arrivals.reason else None,
        },
        "low_response": {
            "frequency_hz": _list(low.frequency),
            "level_db": _list(low.level),
            "missing": low.reason.text if low.reason else None,
        },
    }


def _mean_document(measurements: Sequence[Measurement], name: str) -> dict[str, object]:
    mean = mean_of(measurements, name)
    return {
        "mean": _list(mean.mean),
        "spread": _list(mean.spread),
        "count": mean.count.tolist(),
        "unit": UNITS[name],
    }


def _list(values: NDArray[np.float64]) -> list[float | None]:
    return [float(f"{value:z.6g}") if math.isfinite(value) else None for value in values]
