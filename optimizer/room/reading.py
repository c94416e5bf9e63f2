"""A file's text read safely, and pydantic's complaints turned into faults a person can act on."""

import difflib
import tomllib
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any, TypeVar

from pydantic import ValidationError

from optimizer.faults import Fault, ScenarioError
from optimizer.plain_text import REMEDY, steering
from optimizer.room.schema import Section

LARGEST_FILE = 1_000_000  # bytes; a room file is a few kilobytes
_Model = TypeVar("_Model", bound=Section)
_REMEDIES = {  # by the kind of complaint; what is in braces comes with it
    "float_type": "write a number, without quotes",
    "float_parsing": "write a number with a decimal point",
    "int_parsing": "write a whole number",
    "finite_number": "write a finite number",
    "bool_type": "write true or false, without quotes",
    "string_type": "write text in quotes",
    "string_too_short": "write at least {min_length} character",
    "string_too_long": "write at most {max_length} characters",
    "string_pattern_mismatch": "holds a line break or another control character; leave it out",
    "too_short": "give at least {min_length} entries",
    "too_long": "give at most {max_length} entries",
    "tuple_type": "write a list in square brackets",
    "dict_type": "write a table of keys and values",
    "model_type": "write a table of keys and values",
}


def read_text(path: Path, what: str) -> str:
    """Text of a small UTF-8 file; ScenarioError with one fault when it cannot be read."""
    try:
        if path.is_dir():
            raise _fault(path, f"is a folder; name the {what} itself")
        with path.open("rb") as handle:
            content = handle.read(LARGEST_FILE + 1)  # a device has no size to ask for
        if len(content) > LARGEST_FILE:
            size = f"is {path.stat().st_size / 1e6:.1f} MB" if path.is_file() else "is endless"
            raise _fault(path, f"{size}; a {what} is a text file below 1 MB")
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise _fault(path, f"is not UTF-8 text; give a {what} as plain text") from None
    except (OSError, ValueError) as error:
        reason = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
        raise _fault(path, f"cannot be read ({reason}); check the path and its rights") from None
    if "\x00" in text:
        raise _fault(path, f"is not plain text; give a {what} as plain text")
    lines = [(number, steering(line)) for number, line in enumerate(text.split("\n"), 1)]
    faults = [Fault(str(path), f"line {n}", found, REMEDY) for n, found in lines if found]
    if faults:
        raise ScenarioError(faults)
    return text


def read_toml(path: Path) -> dict[str, Any]:
    """The tables of a TOML file; ScenarioError with one fault when it is not TOML."""
    text = read_text(path, "room file (TOML)")
    try:
        tables = tomllib.loads(text)
        faults = [Fault(str(path), key, found, REMEDY) for key, found in _steering(tables, "")]
    except ValueError as error:  # also a whole number of thousands of digits
        raise _fault(path, f"is not valid TOML: {error}; correct that line") from None
    except RecursionError:
        raise _fault(path, "is nested too deeply; a room file has two levels") from None
    if faults:
        raise ScenarioError(faults)
    return tables


def _steering(value: object, key: str) -> Iterator[tuple[str, str]]:
    """Keys whose text, written with TOML's escapes, holds a character that steers a terminal."""
    if isinstance(value, str) and (found := steering(value)):
        yield key, found
    if isinstance(value, dict):
        for name, inner in value.items():
            where = f"{key}.{name}" if key else name
            if found := steering(name):
                yield where, found
            yield from _steering(inner, where)
    if isinstance(value, list):
        for index, inner in enumerate(value):
            yield from _steering(inner, f"{key}[{index}]")


def _fault(path: Path, remedy: str) -> ScenarioError:
    return ScenarioError([Fault(str(path), "", None, remedy)])


def nearest(word: str, known: Sequence[str]) -> str:
    """ "; did you mean ...?" with the closest known word, or the list of all when it is short."""
    close = difflib.get_close_matches(word, known, n=1, cutoff=0.6)
    if close:
        return f'did you mean "{close[0]}"?'
    return "known: " + ", ".join(sorted(known)[:24])


def validate(
    model: type[_Model], data: object, file: str, key: str, faults: list[Fault]
) -> _Model | None:
    """The section as a frozen model, or None; faults found are appended.

    Keys at fault that have a default are dropped for a second reading, so that later checks can
    still look at the rest of the section and every fault is told at once.
    """
    if not isinstance(data, Mapping):
        faults.append(Fault(file, key, data, "write it as a table with keys"))
        return None
    section = _read(model, data, file, key, faults)
    return section.at_key(key) if section is not None else None


def _read(
    model: type[_Model], data: Mapping[str, Any], file: str, key: str, faults: list[Fault]
) -> _Model | None:
    try:
        return model.model_validate(data)
    except ValidationError as error:
        details = _own_faults(error.errors(include_url=False))
        faults.extend(_as_fault(model, file, key, detail) for detail in details)
        bad = {detail["loc"][0] for detail in details if detail["loc"]}
    try:
        return model.model_validate({k: v for k, v in data.items() if k not in bad})
    except ValidationError:
        return None


def _own_faults(details: Sequence[Any]) -> list[Any]:
    """Complaints without those that a list is too short because an entry of it is at fault."""
    places = [detail["loc"] for detail in details]
    return [
        detail
        for detail in details
        if detail["type"] != "too_short"
        or not any(p != detail["loc"] and p[: len(detail["loc"])] == detail["loc"] for p in places)
    ]


def _as_fault(model: type[Section], file: str, key: str, detail: Any) -> Fault:
    loc = [part for part in detail["loc"] if not str(part).startswith("function-")]
    where = key + "".join(f"[{p}]" if isinstance(p, int) else f".{p}" for p in loc)
    kind, context = detail["type"], detail.get("ctx", {})
    value = detail["input"]
    if kind == "missing":
        return Fault(file, where, None, "is missing; add it")
    if kind == "extra_forbidden":
        known = list(model.model_fields)
        return Fault(file, where, value, f"unknown key; {nearest(str(loc[-1]), known)}")
    if kind == "value_error":
        return Fault(file, where, value, str(context["error"]))
    if kind == "literal_error":
        return Fault(file, where, value, f"not one of the choices; use {context['expected']}")
    if kind in _REMEDIES:
        return Fault(file, where, value, _REMEDIES[kind].format(**context))
    return Fault(file, where, value, detail["msg"][0].lower() + detail["msg"][1:] + "; correct it")
