"""What a wheel must hold besides code is named in pyproject.toml, and the licence is stated.

Keys of [project] as in PEP 639; package data as in the guide of setuptools.
"""

import re
import tomllib
from importlib.metadata import metadata
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
DATA = PROJECT["tool"]["setuptools"]["package-data"]
FREE = re.compile(r"\b(MIT|BSD|PSF|Python Software Foundation|matplotlib)\b", re.IGNORECASE)


def test_every_file_beside_the_code_is_packaged() -> None:
    beside = {
        path
        for top in ("optimizer", "materials")
        for path in (ROOT / top).rglob("*")
        if path.is_file() and path.suffix not in (".py", ".pyc", ".nbi", ".nbc")
    }
    named = {
        path
        for package, patterns in DATA.items()
        for pattern in patterns
        for path in ROOT.joinpath(*package.split(".")).glob(pattern)
    }
    assert beside <= named
    assert {"absorption.csv", "builds.toml", "guide.md", "report.css", "report.html.j2"} <= {
        path.name for path in beside
    }


def test_every_package_is_found() -> None:
    """setuptools finds a folder only with an __init__.py."""
    for top in ("optimizer", "materials"):
        for folder in {path.parent for path in (ROOT / top).rglob("*.py")}:
            assert (folder / "__init__.py").exists(), folder


def test_the_licence_is_stated_and_there() -> None:
    assert PROJECT["project"]["license"] == "MIT"
    (file,) = PROJECT["project"]["license-files"]
    text = (ROOT / file).read_text(encoding="utf-8")
    assert text.startswith("MIT License")
    assert "the authors of treatment-design-optimizer" in text


@pytest.mark.parametrize("need", PROJECT["project"]["dependencies"])
def test_the_libraries_let_the_code_be_under_mit(need: str) -> None:
    """What each library says of itself: permissive, so none asks for its own licence."""
    name = re.split(r"[<>=]", need)[0]
    told = metadata(name)
    stated = " ".join(
        [told.get("License-Expression") or "", (told.get("License") or "").split("\n")[0],
         *[line for line in told.get_all("Classifier") or [] if line.startswith("License")]]
    )  # fmt: skip
    assert FREE.search(stated), f"{name}: {stated}"
    assert "GPL" not in stated
