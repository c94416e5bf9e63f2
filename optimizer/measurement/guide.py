"""How to measure, in plain words."""

from importlib import resources


def measuring_guide() -> str:
    """The guide that `treatment measure --guide` prints."""
    return resources.files(__package__).joinpath("guide.md").read_text(encoding="utf-8").rstrip()
