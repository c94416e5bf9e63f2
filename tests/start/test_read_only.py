"""An install that cannot be written, and a person without a home: every command still starts.

A file stands where the folder for compiled parts would, and another one as the home, which stops
root too. That compiled code is only taken from a folder of one's own is common practice, no source.
"""

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
SMALL = """
from optimizer.compiled import compiled

@compiled()
def twice(x):
    return x + x

print(twice(21), sum(twice.stats.cache_hits.values()))
"""


@pytest.fixture
def installed(tmp_path: Path) -> Path:
    """A copy of the program with a file in place of each folder for compiled parts."""
    place = tmp_path / "installed"
    for package in ("optimizer", "materials"):
        shutil.copytree(
            ROOT / package, place / package, ignore=shutil.ignore_patterns("__pycache__")
        )
    (place / "small.py").write_text(SMALL)
    for folder in {path.parent for path in place.rglob("*.py")}:
        (folder / "__pycache__").write_text("")
    (tmp_path / "home").write_text("")
    (tmp_path / "temporary").mkdir()
    return place


def start(
    installed: Path, *words: str, temporary: str = "temporary"
) -> "subprocess.CompletedProcess[str]":
    top = installed.parent
    none = {"XDG_CACHE_HOME", "NUMBA_CACHE_DIR", "PYTHONPYCACHEPREFIX", "LOCALAPPDATA"}
    done = subprocess.run(
        [sys.executable, *words],
        cwd=installed, capture_output=True, text=True, timeout=600,
        env={
            **{key: value for key, value in os.environ.items() if key not in none},
            "HOME": str(top / "home"), "TMPDIR": str(top / temporary),
            "PYTHONPATH": str(installed), "MPLCONFIGDIR": str(top),
        },
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert len(done.stderr.splitlines()) == 1, done.stderr
    return done


def folder_of(installed: Path) -> Path:
    return installed.parent / "temporary" / f"treatment-compiled-{os.getuid()}"


def test_a_command_starts_with_one_line_of_warning(installed: Path) -> None:
    done = start(installed, "-m", "optimizer", "predict", "--help")
    assert "example" in done.stdout
    assert f"kept in {folder_of(installed)}" in done.stderr


def test_what_was_compiled_is_kept_for_the_next_start(installed: Path) -> None:
    assert start(installed, "small.py").stdout.split() == ["42", "0"]
    assert start(installed, "small.py").stdout.split() == ["42", "1"]
    assert folder_of(installed).stat().st_mode & 0o777 == 0o700


def test_nothing_is_taken_from_a_folder_that_others_can_write(installed: Path) -> None:
    folder_of(installed).mkdir()
    folder_of(installed).chmod(0o777)
    for _ in range(2):
        done = start(installed, "small.py")
        assert done.stdout.split() == ["42", "0"]
        assert "cannot be kept" in done.stderr
    assert not list(folder_of(installed).iterdir())


def test_nothing_is_taken_from_where_a_link_leads(installed: Path) -> None:
    (installed.parent / "elsewhere").mkdir(mode=0o700)
    folder_of(installed).symlink_to(installed.parent / "elsewhere")
    assert "cannot be kept" in start(installed, "small.py").stderr
    assert not list((installed.parent / "elsewhere").iterdir())
