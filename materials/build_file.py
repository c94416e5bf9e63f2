"""Builds as a person writes them: a TOML file of [[layered]], [[corner]] and [[resonator]].

Keys are closed: an unknown key is a fault with the nearest known one. All faults of a file are
told at once in one `BuildFileError`. Lengths in m, flow resistivity in Pa s/m2, mass in kg/m2.
"""

import difflib
import tomllib
from collections.abc import Callable, Mapping
from dataclasses import MISSING, fields
from pathlib import Path
from typing import Any, TypeVar

from materials.build import Build
from materials.corner import CornerFill
from materials.layers import AirGap, Cloth, Layer, Membrane, Perforated, Porous, Slotted
from materials.resonators import SealedResonator

BUILDS_FILE = Path(__file__).with_name("builds.toml")

_T = TypeVar("_T")
AnyBuild = Build | CornerFill | SealedResonator

_LAYERS: dict[str, type[Layer]] = {
    cls.kind: cls for cls in (Porous, AirGap, Membrane, Cloth, Perforated, Slotted)
}
_TEXT_KEYS = ("key", "name", "source", "model", "shape", "kind")
_SECTIONS: dict[str, type[AnyBuild]] = {
    "layered": Build,
    "corner": CornerFill,
    "resonator": SealedResonator,
}


class BuildFileError(ValueError):
    """A build file that cannot be used; `faults` holds every fault in the order of the file."""

    def __init__(self, faults: list[str]) -> None:
        self.faults = tuple(faults)
        super().__init__("\n".join(faults))


def load_builds(path: Path = BUILDS_FILE) -> dict[str, AnyBuild]:
    """All builds of a file by key, in the order of the file; BuildFileError lists all faults."""
    try:
        text = path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise BuildFileError([f"{path}: cannot be read ({error})"]) from error
    return parse_builds(text, path.name)


def parse_builds(text: str, file: str = "builds.toml") -> dict[str, AnyBuild]:
    """All builds of a TOML text by key; `file` is the name shown in front of each fault."""
    try:
        data = tomllib.loads(text)
    except ValueError as error:  # also a whole number of thousands of digits
        raise BuildFileError([f"{file}: not valid TOML: {error}"]) from error
    except RecursionError:
        raise BuildFileError([f"{file}: nested too deeply; builds have three levels"]) from None
    faults: list[str] = []
    builds: dict[str, AnyBuild] = {}
    for section, entries in data.items():
        if section not in _SECTIONS:
            faults.append(f"{file}: {section}: unknown section{_nearest(section, _SECTIONS)}")
        elif not isinstance(entries, list):
            faults.append(f"{file}: {section}: write it as [[{section}]]")
        else:
            for number, entry in enumerate(entries, 1):
                place = f"{file}: {section} {_label(entry, number)}"
                build = _read_build(section, entry, place, faults)
                if build is not None and build.key in builds:
                    faults.append(f"{place}: key: already used above")
                elif build is not None:
                    builds[build.key] = build
    if faults:
        raise BuildFileError(faults)
    return builds


def _read_build(section: str, entry: object, place: str, faults: list[str]) -> AnyBuild | None:
    if not isinstance(entry, dict):
        faults.append(f"{place}: must be a table")
        return None
    values = dict(entry)
    before = len(faults)
    if "layers" in values and section == "layered":
        values["layers"] = _read_layers(values["layers"], f"{place}: layers", faults)
    if "facing" in values and section == "corner":
        values["facing"] = _read_layer(values["facing"], f"{place}: facing", faults)
        if isinstance(values["facing"], Porous | AirGap):
            faults.append(f"{place}: facing: must be a thin facing, not a porous layer or air")
    cls = _SECTIONS[section]
    _check_keys(values, cls, place, faults)
    if len(faults) > before:
        return None
    return _made(lambda: cls(**values), place, faults)


def _read_layers(value: object, place: str, faults: list[str]) -> tuple[Layer, ...]:
    if not isinstance(value, list) or not value:
        faults.append(f"{place}: write a list of layers, from the room to the wall")
        return ()
    read = [_read_layer(v, f"{place} {i}", faults) for i, v in enumerate(value, 1)]
    return tuple(layer for layer in read if layer is not None)


def _read_layer(value: object, place: str, faults: list[str]) -> Layer | None:
    if not isinstance(value, dict):
        faults.append(f"{place}: must be a table with a kind")
        return None
    kind = value.get("kind")
    if not isinstance(kind, str) or kind not in _LAYERS:
        faults.append(f"{place}: kind: unknown layer {kind!r}{_nearest(str(kind), _LAYERS)}")
        return None
    cls = _LAYERS[kind]
    values = {key: v for key, v in value.items() if key != "kind"}
    before = len(faults)
    _check_keys(values, cls, place, faults)
    if len(faults) > before:
        return None
    return _made(lambda: cls(**values), place, faults)


def _check_keys(values: Mapping[str, Any], cls: type, place: str, faults: list[str]) -> None:
    known = {field.name: field for field in fields(cls)}
    for key, value in values.items():
        if key not in known:
            faults.append(f"{place}: {key}: unknown key{_nearest(key, known)}")
        elif not _right_type(key, value):
            faults.append(f"{place}: {key} = {value!r}: {_wanted(key)}")
    for key, field in known.items():
        if field.default is MISSING and key not in values:
            faults.append(f"{place}: {key}: missing")


def _right_type(key: str, value: object) -> bool:
    if key in _TEXT_KEYS:
        return isinstance(value, str) and (bool(value.strip()) or key == "source")
    if key == "locally_reacting":
        return isinstance(value, bool)
    if key in ("layers", "facing"):
        return True
    return isinstance(value, int | float) and not isinstance(value, bool)


def _wanted(key: str) -> str:
    if key in _TEXT_KEYS:
        return "write text in quotes"
    return "write true or false" if key == "locally_reacting" else "write a number"


def _made(make: Callable[[], _T], place: str, faults: list[str]) -> _T | None:
    try:
        return make()
    except ValueError as error:
        faults.append(f"{place}: {error}")
    except (OverflowError, TypeError):  # whole numbers beyond any float
        faults.append(f"{place}: holds a number too large to use")
    return None


def _label(entry: object, number: int) -> str:
    key = entry.get("key") if isinstance(entry, dict) else None
    return f"{key!r}" if isinstance(key, str) else f"number {number}"


def _nearest(word: str, known: Mapping[str, object]) -> str:
    close = difflib.get_close_matches(word, list(known), n=1)
    if close:
        return f"; did you mean {close[0]!r}?"
    return f"; known: {', '.join(known)}"
