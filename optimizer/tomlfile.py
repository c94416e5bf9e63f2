"""TOML as it is written to room files: keys, values and tables, all spelled by tomlkit.

value_text(value)          a value; numbers to the full digits of a float
lines(values)              "key = value" lines
document(tables)           whole tables: values first, then tables, then lists of tables
edited(text, ...)          a file with a value set and keys left out, its comments kept
"""

import tomllib
from collections.abc import Iterable, Mapping
from typing import Any

import tomlkit
from tomlkit.exceptions import TOMLKitError
from tomlkit.items import Item

MICROMETRE = 6  # digits of a length in metres, at least


def key_text(key: str) -> str:
    """A key, quoted where TOML asks for it."""
    return str(tomlkit.key(key).as_string())


def value_text(value: Any) -> str:
    """A value in one line; tables within it as inline tables."""
    return str(_item(value).as_string())


def lines(values: Mapping[str, Any]) -> str:
    """A line for each key."""
    return "\n".join(f"{key_text(key)} = {value_text(value)}" for key, value in values.items())


def document(data: Mapping[str, Any]) -> str:
    """Tables as a file: values first, then tables, then lists of tables; anything deeper stands
    in one line."""
    plain = {k: v for k, v in data.items() if not isinstance(v, dict) and not _is_tables(v)}
    parts = [lines(plain)] if plain else []
    parts += [f"[{key_text(k)}]\n{lines(v)}" for k, v in data.items() if isinstance(v, dict)]
    parts += [
        f"[[{key_text(k)}]]\n{lines(item)}" for k, v in data.items() if _is_tables(v) for item in v
    ]
    return "\n\n".join(parts) + "\n"


def edited(text: str, changes: Mapping[str, Any], without: Iterable[str] = ()) -> str:
    """A file's text with top-level values set and other top-level keys left out.

    Comments stay. Where the parts of a key stand in so odd an order that the edit cannot be shown
    to say just that, the file is written anew without its comments.
    """
    wanted = {k: v for k, v in tomllib.loads(text).items() if k not in without} | dict(changes)
    try:
        kept = tomlkit.parse(text)
        for key in without:
            kept.pop(key, None)
        for key, value in changes.items():
            kept[key] = _item(value)
        told = str(tomlkit.dumps(kept))
        if tomllib.loads(told) == wanted:
            return told
    except (TOMLKitError, tomllib.TOMLDecodeError):
        pass
    return document(wanted)


def _item(value: Any) -> Item:
    if isinstance(value, Mapping):
        table = tomlkit.inline_table()
        for key, inner in value.items():
            table.append(key, _item(inner))
        return table
    if isinstance(value, (list, tuple)):
        array = tomlkit.array()
        for inner in value:
            array.append(_item(inner))
        return array
    plain: Item = tomlkit.item(value)
    return plain


def _is_tables(value: Any) -> bool:
    return isinstance(value, list) and bool(value) and all(isinstance(v, dict) for v in value)
