"""Faults found in what a person wrote, collected so that all are told at once.

shown_name               a file's name as text that can be written
by_name                  a fault with its file's name alone, for reports
ScenarioError            one or more faults in input files or options
    .faults              tuple[Fault, ...]
UntrustedSolutionError   a fault of this program: its answer contradicts its own proof
"""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from pathlib import PurePath

from optimizer.plain_text import shown

_LONGEST_VALUE = 60  # letters of a key or value that are quoted


@dataclass(frozen=True)
class Fault:
    """One fault: which file, which key, the value as written, and what to do about it."""

    file: str
    key: str
    value: object
    remedy: str

    def __str__(self) -> str:
        place = f"{self.file}: {_cut(self.key)}" if self.key else self.file
        told = place if self.value is None else f"{place} = {_short(self.value)}"
        return shown(f"{told}: {self.remedy}")


def by_name(fault: Fault) -> str:
    """A fault as a report tells it: the file without the folders it happened to lie in."""
    return str(replace(fault, file=shown_name(PurePath(fault.file))))


def shown_name(path: PurePath) -> str:
    """A file's name as text for one line; bytes of it that are not UTF-8 become "?"."""
    return shown(path.name.encode("utf-8", "replace").decode()).replace("\n", " ")


class ScenarioError(Exception):
    """Input that cannot be used; carries every fault found, in the order of the file."""

    def __init__(self, faults: Iterable[Fault]) -> None:
        self.faults = tuple(faults)
        super().__init__("\n".join(str(fault) for fault in self.faults))


class UntrustedSolutionError(Exception):
    """What was solved contradicts its own proof: a fault of this program, not of any input."""


def _short(value: object) -> str:
    text = repr(value) if isinstance(value, str) else str(value)
    return _cut(" ".join(text.split()))


def _cut(text: str) -> str:
    return text if len(text) <= _LONGEST_VALUE else text[: _LONGEST_VALUE - 3] + "..."
