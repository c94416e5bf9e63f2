"""Standard streams that are closed, full or empty: one line, an exit code, no traceback.

What a shell does with `>&-` is in POSIX.1-2017, Shell Command Language 2.7.6; /dev/full is a
device of Linux that is always full.
"""

import shlex
import subprocess
import sys
from pathlib import Path

import pytest

FULL = Path("/dev/full")
NO_SPACE = "standard output cannot be written (No space left on device)"
CLOSED = "standard output is closed; let it go to a file, or to /dev/null"
needs_full = pytest.mark.skipif(not FULL.exists(), reason="no /dev/full on this system")


def shell(words: str, tmp_path: Path) -> "subprocess.CompletedProcess[str]":
    """A command line as typed in an empty folder, where `treatment` is this checkout's."""
    program = f"{shlex.quote(sys.executable)} -m optimizer"
    done = subprocess.run(
        ["sh", "-c", f"{program} {words}"],
        cwd=tmp_path, capture_output=True, text=True, timeout=600, stdin=subprocess.DEVNULL,
    )  # fmt: skip
    assert "Traceback" not in done.stderr
    assert "Exception ignored" not in done.stderr
    assert not list(tmp_path.iterdir())
    return done


@needs_full
@pytest.mark.parametrize("words", ["materials wool", "--help", "materials --help", "new x.toml"])
def test_a_full_disk(words: str, tmp_path: Path) -> None:
    done = shell(f"{words} > /dev/full", tmp_path)
    assert (done.returncode, done.stderr) == (1, NO_SPACE + "\n")


@pytest.mark.parametrize("words", ["materials wool", "--help", "materials --help", "new x.toml"])
def test_standard_output_is_closed(words: str, tmp_path: Path) -> None:
    done = shell(f"{words} >&-", tmp_path)
    assert (done.returncode, done.stderr) == (1, CLOSED + "\n")


@pytest.mark.parametrize("closed", ["<&-", "< /dev/null"])
def test_nobody_answers(closed: str, tmp_path: Path) -> None:
    done = shell(f"new x.toml {closed}", tmp_path)
    assert (done.returncode, done.stderr) == (130, "stopped; nothing was written\n")


@pytest.mark.parametrize("lost", ["2>&-", pytest.param("2>/dev/full", marks=needs_full)])
def test_nobody_to_tell(lost: str, tmp_path: Path) -> None:
    """The exit code still says it; nothing meant for standard error goes elsewhere."""
    for words, code in (("predict gone.toml", 2), ("nonsense", 2), ("new x.toml <&-", 130)):
        done = shell(f"{words} {lost}", tmp_path)
        assert (done.returncode, done.stderr) == (code, "")
        assert "gone" not in done.stdout
        assert "stopped" not in done.stdout
    assert shell(f"materials wool {lost}", tmp_path).returncode == 0


def test_all_three_are_closed(tmp_path: Path) -> None:
    assert shell("materials wool <&- >&- 2>&-", tmp_path).returncode == 1


@pytest.mark.parametrize(
    ("words", "option"),
    [("plan x.toml --out=--", "--out"), ("predict x.toml --with=--", "--with"),
     ("plan x.toml --out o --budget=--", "--budget")],
)  # fmt: skip
def test_an_option_without_its_value(words: str, option: str, tmp_path: Path) -> None:
    done = shell(words, tmp_path)
    assert done.returncode == 2
    assert done.stderr.splitlines()[-1] == (
        f"treatment: error: argument {option}: expected a value, not --"
    )
