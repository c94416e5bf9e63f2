"""The command: files in, files out, refusals. Rooms, prices and decays are invented."""

import argparse
import csv
import json
import re
import tomllib
from pathlib import Path

import numpy as np
import pytest
from hostile import IN_ONE, NAMES
from markdown_it import MarkdownIt
from recovery import PRICES, draw
from scipy.io import wavfile

from materials import load_table
from materials.cells import csv_text
from optimizer.acoustics.scene import Patches
from optimizer.bands import BANDS
from optimizer.calibration.measured import Measured, decay_error, mean_decay, read_any, read_decay
from optimizer.calibration.model import State
from optimizer.commands import calibrate
from optimizer.faults import ScenarioError
from optimizer.planning import build_decision
from optimizer.project import Project, load_project
from optimizer.room.geometry import boxes_overlap

Capture = pytest.CaptureFixture[str]
OWN = (
    "id,name,unit,a125,a250,a500,a1000,a2000,a4000\n"
    "my_wall,my wall,alpha,0.1,0.1,0.1,0.1,0.1,0.1\nunused,unused,alpha,0.2,0.2,0.2,0.2,0.2,0.2\n"
)
PANEL = (
    '[[hung]]\nproduct = "thin"\nsurface = "right"\nat = [1.2, 0.9]\n'
    '[[hung]]\nproduct = "corner"\nsurface = "front-left"\nat = [0.0, 0.0]\n'
)


def run(*arguments: object) -> int:
    """The command as from the command line."""
    parser = argparse.ArgumentParser()
    calibrate.add_parser(parser.add_subparsers())
    parsed = parser.parse_args(["calibrate", *map(str, arguments)])
    code = parsed.run(parsed)
    assert isinstance(code, int)
    return code


@pytest.fixture
def quick(monkeypatch: pytest.MonkeyPatch) -> None:
    """Judges left out, so that these tests of files stay short."""
    monkeypatch.setattr(Project, "judges", lambda self, judging="full": ())


@pytest.fixture
def room(tmp_path: Path) -> Path:
    """A room file, and beside it decay.csv: its own prediction with a tenth more time."""
    project = draw(tmp_path, 4).project
    write_decay(tmp_path / "decay.csv", project, 1.1)
    return tmp_path / "room.toml"


def write_decay(path: Path, project: Project, factor: float) -> None:
    unmeasured = Measured((), np.full(8, np.nan), np.full(8, np.nan), np.full(8, np.nan))
    t20 = State("now", project.room, project.hung, unmeasured).decay({}).t20 * factor
    rows = [f"{band},{t:.4f},0.02,6" for band, t in zip(BANDS, t20, strict=True)]
    path.write_text("band_hz,t20_s,spread_s,positions\n" + "\n".join(rows) + "\n")


@pytest.mark.usefixtures("quick")
def test_a_room_file_and_its_materials_are_written_beside(room: Path, capsys: Capture) -> None:
    before = room.read_bytes()
    out = room.with_name("better.toml")
    assert run(room, "--measured", room.with_name("decay.csv"), "--out", out) == 0
    assert room.read_bytes() == before
    names = {p.name for p in room.parent.iterdir()}
    assert names >= {"better.toml", "better_materials.csv", "better_report.md"}
    printed = capsys.readouterr().out
    assert "predicted before" in printed
    assert "1 kHz" in printed
    better, plain = load_project(out), load_project(room)
    measured = read_decay(room.with_name("decay.csv"))
    off = [State("now", p.room, (), measured).decay({}).t20 / measured.t20 - 1
           for p in (plain, better)]  # fmt: skip
    assert np.abs(off[1]).max() < 0.5 * np.abs(off[0]).max()
    # The posterior sigma comes back as the material's spread, and is narrower than the table's.
    old, new = (p.room.surfaces[0].material.spread for p in (plain, better))
    assert np.all(np.array(new) <= np.array(old) + 1e-4)
    assert new != old


@pytest.mark.usefixtures("quick")
def test_what_was_measured_is_written_down_once(room: Path) -> None:
    """For the report; calibrating the calibrated file takes the place of the first."""
    decay = room.with_name("decay.csv")
    first, second = room.with_name("first.toml"), room.with_name("second.toml")
    assert run(room, "--measured", decay, "--out", first) == 0
    assert run(first, "--measured", decay, "--measured", decay, "--out", second) == 0
    measured = read_decay(decay)
    once, twice = (load_project(path).scenario.measured for path in (first, second))
    assert [len(once), len(twice)] == [1, 2]
    assert once[0].t20 == pytest.approx(measured.t20, abs=1e-4)
    assert once[0].error == pytest.approx(measured.error, abs=1e-4)
    known = measured.known
    off = [np.abs(np.array(v) / measured.t20 - 1)[known].mean()
           for v in (once[0].before, once[0].after, twice[0].before)]  # fmt: skip
    assert off[1] < off[0]
    assert twice[0].before == pytest.approx(once[0].after, rel=0.01)


@pytest.mark.usefixtures("quick")
def test_own_materials_are_kept_and_the_key_replaced(room: Path) -> None:
    room.with_name("mine.csv").write_text(OWN)
    text = room.read_text().replace('title = "drawn"', 'title = "drawn"\nmaterials = "mine.csv"')
    room.write_text(text.replace('left = "', 'left = "my_wall" # was "', 1))
    write_decay(room.with_name("decay.csv"), load_project(room), 1.1)
    out = room.with_name("better.toml")
    run(room, "--measured", room.with_name("decay.csv"), "--out", out)
    data = tomllib.loads(out.read_text())
    assert data["materials"] == "better_materials.csv"
    assert data["surfaces"] == tomllib.loads(room.read_text())["surfaces"]
    rows = out.with_name("better_materials.csv").read_text()
    assert "unused,unused" in rows
    assert "my_wall,my wall" in rows
    assert load_project(out).room.surface("left").material.absorption[4] != 0.1
    # Calibrating again writes over its own files only.
    run(room, "--measured", room.with_name("decay.csv"), "--out", out)


def named(room: Path, name: str) -> Path:
    """The drawn room in files of this name: so are its title, variant, sofa, a product and the
    material of a wall; and beside it a plan of that product, and its decay."""
    stem, quoted = name.replace("/", " "), json.dumps(name, ensure_ascii=False)
    table, wall = (json.dumps(f"{text} w", ensure_ascii=False) for text in (stem, name))
    rows = [[cell.replace("my_wall", f"{name} w").replace("my wall", name)
             for cell in line.split(",")] for line in OWN.splitlines()]  # fmt: skip
    room.with_name(f"{stem} w").write_text(csv_text(rows), encoding="utf-8")
    thin = PRICES.splitlines()[1].split(",")
    with room.with_name("prices.csv").open("a", encoding="utf-8", newline="") as file:
        csv.writer(file).writerow([name, name, *thin[2:]])
    text = room.read_text().replace("drawn", "!").replace('"!"', f"{quoted}\nmaterials = {table}")
    text = re.sub('left = ".*"', lambda _: f"left = {wall}", text, count=1)
    text = text.replace('kind = "sofa"', f'kind = "sofa"\nname = {quoted}')
    path = room.with_name(f"{stem} r.toml")
    path.write_text(f"{text}[variants.louder]\nsays = {quoted}\n", encoding="utf-8")
    write_decay(path.with_suffix(".csv"), load_project(path), 0.95)
    piece = {"product": name, "surface": "right", "mounting": "wall", "turned": False, "gap_m": 0.0,
             "u_m": 1.2, "v_m": 0.9, "width_m": 0.6, "height_m": 1.2}  # fmt: skip
    path.with_suffix(".json").write_text(json.dumps({"pieces": [piece]}), encoding="utf-8")
    return path


@pytest.mark.usefixtures("quick")
@pytest.mark.parametrize("name", [*NAMES, IN_ONE])
def test_any_name_comes_back(name: str, room: Path) -> None:
    """From the room file, the materials table and the report of a calibration."""
    before = named(room, name)
    plan, out = before.with_suffix(".json"), before.with_name(f"{name.replace('/', ' ')}.toml")
    run(before, "--measured", before.with_suffix(".csv"), "--with", plan, "--out", out)
    wanted, found = (tomllib.loads(path.read_text(encoding="utf-8")) for path in (before, out))
    assert found.pop("materials") == f"{out.stem}_materials.csv"
    assert found.pop("measured")[0]["state"] == f"with {' '.join(str(plan).split())}"
    assert found.pop("hung")[0]["product"] == name
    assert found == {key: value for key, value in wanted.items() if key != "materials"}
    rows = load_table(out.with_name(f"{out.stem}_materials.csv"))
    assert (rows[f"{name} w"].name, rows["unused"].name) == (name, "unused")
    better = load_project(out)
    assert [piece.product.id for piece in better.hung] == [name]
    assert better.room.surface("left").material.id == f"{name} w"
    text = out.with_name(f"{out.stem}_report.md").read_text(encoding="utf-8")
    report = MarkdownIt("commonmark", {"html": True}).enable("table").parse(text)
    heading = "".join(part.content for part in report[1].children or [])
    assert heading == f"Calibration of {name}"
    assert not any(token.type.startswith("html") for token in report)


@pytest.mark.usefixtures("quick")
def test_hung_pieces_of_the_last_state_stay(room: Path) -> None:
    with_panel = room.with_name("hung.toml")
    with_panel.write_text(room.read_text() + PANEL)
    project = load_project(with_panel)
    write_decay(room.with_name("after.csv"), project, 1.05)
    entries = [
        {"product": p.product.id, "surface": p.surface, "mounting": p.mounting,
         "turned": p.turned, "gap_m": 0.0, "u_m": p.rect[0], "v_m": p.rect[1],
         "width_m": p.rect[2] - p.rect[0], "height_m": p.rect[3] - p.rect[1]}
        for p in project.hung
    ]  # fmt: skip
    plan = room.with_name("plan.json")
    plan.write_text(json.dumps({"pieces": entries}))
    out = room.with_name("better.toml")
    run(room, "--measured", room.with_name("decay.csv"), "--measured",
        room.with_name("after.csv"), "--with", plan, "--out", out)  # fmt: skip
    better = load_project(out)
    assert [(p.product.id, p.rects) for p in better.hung] == [
        (p.product.id, p.rects) for p in project.hung
    ]


def refused(room: Path, *arguments: object) -> list[str]:
    with pytest.raises(ScenarioError) as told:
        run(room, *arguments)
    return [str(fault) for fault in told.value.faults]


@pytest.mark.usefixtures("quick")
def test_refusals_write_nothing(room: Path) -> None:
    decay, out = room.with_name("decay.csv"), room.with_name("better.toml")
    write_decay(decay, load_project(room), 3.0)
    names = {p.name for p in room.parent.iterdir()}
    assert any("m3 can be" in line for line in refused(room, "--measured", decay, "--out", out))
    assert {p.name for p in room.parent.iterdir()} == names


@pytest.mark.usefixtures("quick")
def test_the_original_and_strange_files_are_not_written_over(room: Path, tmp_path: Path) -> None:
    decay = room.with_name("decay.csv")
    assert "not from a calibration" in refused(room, "--measured", decay, "--out", room)[0]
    other = tmp_path / "deeper"
    other.mkdir()
    lines = refused(room, "--measured", decay, "--out", other / "x.toml")
    assert "beside the room file" in lines[0]
    assert "ending in .toml" in refused(room, "--measured", decay, "--out", tmp_path / "x")[0]


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("", "is empty"),
        ("band_hz,t20_s\n", "fewer than 3 octave bands"),
        ("band,t20_s\n125,0.4\n", "column band: unknown column"),
        ("band_hz,t20_s\n130,0.4\n", "row 2.band_hz = '130': is no octave band"),
        ("band_hz,t20_s\n125,soon\n", "write a number"),
        ("band_hz,t20_s\n125,0.4\n125,0.4\n", "is there twice"),
        ("band_hz,t20_s\n125,400\n", "must be 0.02 to 30"),
    ],
)
def test_decay_tables_at_fault(tmp_path: Path, text: str, told: str) -> None:
    path = tmp_path / "decay.csv"
    path.write_text(text)
    with pytest.raises(ScenarioError, match=re.escape(told)):
        read_decay(path)


def test_all_faults_of_all_states_are_told_at_once(room: Path) -> None:
    for name in ("one.csv", "two.csv"):
        room.with_name(name).write_text("band_hz,t20_s\n130,0.4\n")
    lines = refused(room, "--measured", room.with_name("one.csv"), "--measured",
                    room.with_name("two.csv"), "--out", room)  # fmt: skip
    assert len(lines) == 3


def test_positions_narrow_the_mean(tmp_path: Path) -> None:
    """Error of the method: ISO 3382-2, 0.88 T sqrt(1.19 / (N B T)); 1 kHz, 0.5 s: 2.5 % for one."""
    error = decay_error(np.full(8, 0.5))
    assert error[4] / 0.5 == pytest.approx(0.88 * np.sqrt(1.19 / (710 * 0.5)), rel=1e-9)
    path = tmp_path / "decay.csv"
    rows = "".join(f"{band},0.5,0.05,25\n" for band in BANDS)
    path.write_text("band_hz,t20_s,spread_s,positions\n" + rows)
    assert read_decay(path).error[4] == pytest.approx(0.01, rel=1e-9)


def test_impulse_responses_are_averaged(tmp_path: Path) -> None:
    """Exponential decays of noise of 0.4 and 0.6 s give back their mean, to three times the error
    that ISO 3382-2 gives T20 of two impulse responses."""
    rate = 48_000
    rng = np.random.default_rng(5)
    parts = []
    for name, seconds in (("a.wav", 0.4), ("b.wav", 0.6)):
        t = np.arange(int(1.5 * rate)) / rate
        signal = rng.standard_normal(t.size) * 10 ** (-3 * t / seconds)
        wavfile.write(tmp_path / name, rate, (0.2 * signal).astype(np.float32))
        parts.append(read_any(tmp_path / name))
    mean = mean_decay(parts)
    chance = 3 * decay_error(np.full(8, 0.5), 2)
    assert np.all(np.abs(mean.t20 - 0.5)[3:] < chance[3:])
    assert np.all(mean.error[3:] >= 0.09)  # two positions 0.2 s apart do not tell much


def test_hung_pieces_fill_their_place_and_count(room: Path) -> None:
    bare = load_project(room)
    room.write_text(room.read_text() + PANEL)
    project = load_project(room)
    assert [p.product.id for p in project.hung] == ["thin", "corner"]
    areas = [p.criteria.quantities(p.scene) for p in (bare, project)]
    rows = [row.key for row in bare.criteria.rows]
    band = rows.index("decay: 1 kHz")
    assert areas[1][band] > areas[0][band]
    # Adding nothing leaves them; anything new is beside them.
    assert len(project.scene.with_pieces(Patches.none()).pieces) == len(project.scene.pieces)
    boxes = np.array([p.box for p in project.hung])
    for candidate in build_decision(project).candidates:
        for piece in candidate.pieces:
            assert not boxes_overlap(boxes, piece.box).any()
    twice = project.mirrored().mirrored()
    assert twice.hung == project.hung
    image = project.mirrored()
    assert image.criteria.quantities(image.scene)[band] == pytest.approx(areas[1][band], rel=1e-9)


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ('"thin"', '"thinn"', "hung[0].product = 'thinn': is not in this price list"),
        ('"right"', '"rigth"', "hung[0].surface = 'rigth': this room has no such surface"),
        ("at = [1.2", "at = [9.2", "hung[0].at = 9.2: reaches outside"),
        ("at = [1.2, 0.9]", "at = [1.2, 0.9]\ngap = 0.3", "hung[0].gap = 0.3: "),
        ("at = [1.2, 0.9]", 'at = [1.2, 0.9]\nmounting = "floor"', "hung[0].mounting = 'floor'"),
    ],
)
def test_hung_pieces_at_fault(room: Path, old: str, new: str, told: str) -> None:
    room.write_text(room.read_text() + PANEL.replace(old, new, 1))
    with pytest.raises(ScenarioError, match=re.escape(told)):
        load_project(room)
