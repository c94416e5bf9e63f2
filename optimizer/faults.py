"""Faults found in what a person wrote, collected so that all are told at once.

ScenarioError            one or more faults in input files or options
    .faults              tuple[Fault, ...]
UntrustedSolutionError   a fault of this program: its answer contradicts its own proof
"""

from collections.abc import Iterable
from dataclasses import dataclass

_LONGEST_VALUE = 60


@dataclass(frozen=True)
class Fault:
    """One fault: which file, which key, the value as written, and what to do about it."""

    file: str
    key: str
    value: object
    remedy: str

    def __str__(self) -> str:
        place = f"{self.file}: {self.key}" if self.key else self.file
        if self.value is None:
            return f"{place}: {self.remedy}"
        return f"{place} = {_short(self.value)}: {self.remedy}"


class ScenarioError(Exception):
    """Input that cannot be used; carries every fault found, in the order of the file."""

    def __init__(self, faults: Iterable[Fault]) -> None:
        self.faults = tuple(faults)
        super().__init__("\n".join(str(fault) for fault in self.faults))


class UntrustedSolutionError(Exception):
    """What was solved contradicts its own proof: a fault of this program, not of any input."""


def _short(value: object) -> str:
    text = repr(value) if isinstance(value, str) else str(value)
    text = " ".join(text.split())
    return text if len(text) <= _LONGEST_VALUE else text[: _LONGEST_VALUE - 3] + "..."
