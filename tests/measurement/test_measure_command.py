"""The command: tables, files, options, and refusals that write nothing."""

import argparse
import csv
import io
import json
import re
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import soundfile
from hostile import IN_ONE, NAMES
from made_decays import RATE, noise_decay

from materials.cells import as_meant
from optimizer.commands import measure as command
from optimizer.faults import ScenarioError
from optimizer.measurement.decay_evaluation import evaluate_decay
from optimizer.measurement.recording import read_impulse_response
from optimizer.measurement.session import Measurement, measure
from optimizer.measurement.tellings import HEADER, as_csv, as_json

DATA = Path(__file__).parents[1] / "data" / "r3vival"
LEFT, RIGHT = DATA / "state050_S030-200.wav", DATA / "state050_S330-200.wav"
Capture = pytest.CaptureFixture[str]


def run(words: Sequence[object]) -> int:
    parser = argparse.ArgumentParser()
    command.add_parser(parser.add_subparsers())
    arguments = parser.parse_args(["measure", *map(str, words)])
    return int(arguments.run(arguments))


def test_two_speakers_at_a_seat(tmp_path: Path, capsys: Capture) -> None:
    files = [tmp_path / "seat.json", tmp_path / "new" / "seat.csv"]
    assert run([LEFT, RIGHT, "--at", "mix", "--from", "left", "right",
                "--json", files[0], "--csv", files[1]]) == 0  # fmt: skip
    shown = capsys.readouterr().out
    for words in ("speaker left, at mix", "T20 s", "Early arrivals", "left less right, mix dB",
                  "Mean ± spread (of how many) of 2", "dips", "Written:"):  # fmt: skip
        assert words in shown
    found = json.loads(files[0].read_text(encoding="utf-8"))
    recording = read_impulse_response(LEFT)
    expected = evaluate_decay(recording.signal, recording.rate).t20
    given = np.array(found["recordings"][0]["figures"]["t20"]["values"], dtype=float)
    np.testing.assert_allclose(given, expected, rtol=1e-5)
    assert found["level_differences"][0]["first"] == "left"
    assert found["mean"]["t20"]["count"] == [2] * 8
    rows = list(csv.DictReader(files[1].read_text(encoding="utf-8").splitlines()))
    one = next(
        r for r in rows if r["file"] == str(LEFT) and (r["figure"], r["at"]) == ("t20", "1000")
    )
    assert float(one["value"]) == pytest.approx(expected[4], rel=1e-5)
    for row in rows:
        assert row["value"] or row["missing"] or not row["file"], row


@pytest.fixture(scope="module")
def measured() -> Measurement:
    return measure(read_impulse_response(LEFT))


@pytest.mark.parametrize("name", [*NAMES, IN_ONE])
def test_any_name_comes_back(name: str, measured: Measurement) -> None:
    """Of a recording, a seat and two loudspeakers, in JSON and in CSV, where none is a formula."""
    at = replace(measured.recording, path=Path(name.replace("/", " ")))
    both = [replace(measured, recording=at, seat=name, speaker=f"{name}{n}") for n in (1, 2)]
    found = json.loads(as_json(both))
    assert [(r["file"], r["seat"], r["speaker"]) for r in found["recordings"]] == [
        (at.path.name, name, f"{name}{n}") for n in (1, 2)
    ]
    assert [(d["seat"], d["first"]) for d in found["level_differences"]] == [(name, f"{name}1")]
    rows = list(csv.DictReader(io.StringIO(as_csv(both), newline="")))
    told = {tuple(as_meant(row[key]) for key in ("file", "seat", "speaker")) for row in rows}
    assert told == {
        *((at.path.name, name, f"{name}{n}") for n in (1, 2)), ("", "", ""),
        ("", name, f"{name}1 less {name}2"),
    }  # fmt: skip
    number = re.compile(r"[-+]?[\d.]+(e[-+]\d+)?")
    cells = {cell for row in rows for cell in row.values()}
    assert not [c for c in cells if c.startswith(("=", "+", "-", "@")) and not number.fullmatch(c)]


def test_every_missing_figure_has_a_word_in_the_table_and_a_reason_below(
    tmp_path: Path, capsys: Capture
) -> None:
    response = noise_decay(0.25, 1.0, 3)
    noisy = 0.3 * response / np.abs(response).max()
    noisy += 0.0006 * np.random.default_rng(4).standard_normal(noisy.size)
    path = tmp_path / "noisy.wav"
    soundfile.write(path, noisy, RATE, "PCM_24")
    run([path])
    lines = capsys.readouterr().out.splitlines()
    row = next(line for line in lines if line.startswith("125 Hz"))
    assert "noise" in row
    assert any("125 Hz" in line and "T30" in line and "needs 45 dB" in line for line in lines)


MINUS_ZERO = re.compile(r"(?<![\w-])[-\u2212]0(\.0+)?(?![\w.-])")


def test_a_minus_zero_is_a_figure_and_no_part_of_a_name() -> None:
    assert all(MINUS_ZERO.search(text) for text in ("-0", "a  -0.00 dB", "(-0.0)", "\u22120.0,"))
    names = ("pytest-0/a.wav", "a-0.wav", "0-0-1", "-0.04", "--0", "2024-01-0", "-0.5 dB")
    assert not any(MINUS_ZERO.search(text) for text in names)


def test_nothing_is_printed_as_minus_zero(tmp_path: Path, capsys: Capture) -> None:
    """Two speakers 0.03 dB apart: every level difference rounds to zero."""
    signal, rate = soundfile.read(LEFT)
    paths = [tmp_path / "a.wav", tmp_path / "b.wav"]
    for path, gain_db in zip(paths, (0.0, 0.03), strict=True):
        soundfile.write(path, signal * 10 ** (gain_db / 20), rate, "FLOAT")
    run([*paths, "--at", "mix", "--from", "left", "right", "--csv", tmp_path / "found.csv"])
    shown = capsys.readouterr().out.replace(str(tmp_path), "")
    assert shown.count("+0.0") >= 8
    assert MINUS_ZERO.search(shown) is None
    assert re.search(r",-0(\.0+)?,", (tmp_path / "found.csv").read_text()) is None


def test_the_guide_explains_every_column_and_word(capsys: Capture) -> None:
    run([LEFT, RIGHT, "--third-octaves"])
    table = capsys.readouterr().out
    run(["--guide"])
    shown = capsys.readouterr().out
    columns = {word.rstrip(",") for head in HEADER[1:] for word in head.split()[:1]}
    words = {w for w in ("noise", "ends", "filter", "bent", "direct", "rate") if f" {w} " in table}
    assert {"filter", "direct"} <= words
    explained = {word.rstrip(",") for line in shown.splitlines() if line.startswith("    ")
                 for word in line.split()[:2]}  # fmt: skip
    assert columns | words <= explained


def test_thirds_are_named_as_thirds(capsys: Capture) -> None:
    run([LEFT, "--third-octaves"])
    shown = capsys.readouterr().out
    assert all(f"\n{band} " in shown for band in ("50 Hz", "1.25 kHz", "10 kHz"))


def test_the_guide_needs_no_files(capsys: Capture) -> None:
    assert run(["--guide"]) == 0
    shown = capsys.readouterr().out
    for words in ("Where the microphone goes", "One speaker at a time", "How loud", "noise"):
        assert words in shown


@pytest.mark.parametrize(
    ("words", "told"),
    [
        ([], ["FILE.wav"]),
        ([LEFT, "--from", "left", "right"], ["--from = 'left right': give one name"]),
        ([LEFT, RIGHT, "--at", "a", "b", "c"], ["--at"]),
        ([LEFT, "--json", "{tmp}/no/where/a.json"], ["cannot be made"]),
        ([LEFT, "--json", "{tmp}/a", "--csv", "{tmp}/a"], ["the same file"]),
        ([LEFT, "--csv", LEFT], ["would overwrite a recording"]),
        ([LEFT, "--csv", "{tmp}"], ["is a folder"]),
        (["{tmp}/none.wav", LEFT, "--from", "a", "b", "c"], ["--from", "none.wav"]),
        ([LEFT, "--channel", "2"], ["--channel = 2"]),
    ],
)
def test_bad_options_are_told_together_and_nothing_is_written(
    tmp_path: Path, words: list[object], told: list[str], capsys: Capture
) -> None:
    before = LEFT.read_bytes()
    with pytest.raises(ScenarioError) as refused:
        run([str(w).replace("{tmp}", str(tmp_path)) for w in words])
    lines = [str(fault) for fault in refused.value.faults]
    assert len(lines) == len(told)
    assert all(word in line for word, line in zip(told, lines, strict=True)), lines
    assert capsys.readouterr().out == ""
    assert list(tmp_path.iterdir()) == []
    assert LEFT.read_bytes() == before
