"""What README shows is run: its Python block, its commands, its set-up lines."""

import re
from pathlib import Path

import pytest

from optimizer.cli import COMMANDS, main

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")


def blocks(language: str) -> list[str]:
    return re.findall(rf"```{language}\n(.*?)```", README, flags=re.DOTALL)


def test_the_first_paragraph_states_the_job() -> None:
    first = README.split("\n\n")[1]
    assert "what to buy, exactly where to put it" in first


def test_the_python_block_runs(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(ROOT)
    (code,) = blocks("python")
    names: dict[str, object] = {}
    # The same three lines, with a wider gap and no judges so that the test stays short.
    quick = code.replace("gap=0.05", 'gap=0.3, judging="none"')
    assert quick != code
    exec(compile(quick, "README.md", "exec"), names)
    assert names["plan"].cost_cents > 0


def test_every_command_named_is_there_and_explains_itself(
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert set(re.findall(r"`treatment (\w+)", README)) == set(COMMANDS)
    rows = re.findall(r"^\| `treatment (\w+)[^`]*` \| (.*) \|$", README, flags=re.MULTILINE)
    assert len(rows) == len(COMMANDS)
    assert dict(rows) == COMMANDS
    for name in COMMANDS:
        with pytest.raises(SystemExit) as stop:
            main([name, "--help"])
        assert stop.value.code == 0
        assert "example" in capsys.readouterr().out


def test_two_set_up_commands_with_nothing_but_python() -> None:
    shell = blocks("sh")
    assert len(shell) == 2
    assert all(block.startswith("python3 -m venv .venv && .venv/bin/pip") for block in shell)
    assert "treatment plan scenarios/spare_room.toml" in shell[0]
    assert "pytest" in shell[1]
