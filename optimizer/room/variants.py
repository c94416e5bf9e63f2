"""Named variants of a room file: a couch more, a curtain less, corner traps only.

A variant is laid over the tables of the room file as they were written, and the result is read
like any room file. `Overlay.origin` remembers which key of the file every laid-in value came
from, so that its faults name the key that the person wrote.
"""

import copy
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, get_args

from optimizer.faults import Fault
from optimizer.room.reading import nearest, validate
from optimizer.room.schema import OVERHEAD, Mounting, VariantSection

BASE = "base"  # the room file itself, without a variant
MOST_VARIANTS = 50
_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9_.-]{0,39}$")
_ENTRY = re.compile(r"\b(?:furniture|areas|seats|speakers)\[\d+\]")
_LISTS = ("furniture", "areas", "speakers", "seats")
_REMOVABLE = ("furniture", "areas")
_MOVABLE = ("speakers", "seats", "furniture")


@dataclass
class Overlay:
    """Tables of a room file with variants laid over them, and where each value was written.

    `origin` maps keys of `data` to keys of the file where the two differ.
    """

    data: dict[str, Any]
    file: str
    name: str = ""
    origin: dict[str, str] = field(default_factory=dict)
    entries: dict[str, list[dict[str, str]]] = field(default_factory=dict)
    faults: list[Fault] = field(default_factory=list)

    def written(self, key: str) -> str:
        """The key of the file that a key of the laid-over tables was written at."""
        for length in range(len(key), 0, -1):
            if length == len(key) or key[length] in ".[":
                source = self.origin.get(key[:length])
                if source is not None:
                    return source + key[length:]
        return key


def read_variants(
    data: Mapping[str, Any], file: str, faults: list[Fault]
) -> dict[str, VariantSection]:
    """The variants of a room file by name; faults of their own shape are appended."""
    table = data.get("variants", {})
    if not isinstance(table, Mapping):
        faults.append(Fault(file, "variants", table, "write each one as a [variants.NAME] table"))
        return {}
    if len(table) > MOST_VARIANTS:
        remedy = f"{len(table)} variants; at most {MOST_VARIANTS} are read"
        faults.append(Fault(file, "variants", None, remedy))
        return {}
    found = {}
    for name, content in table.items():
        key = f"variants.{name}"
        if name == BASE or not _NAME.match(name):
            remedy = (
                f'choose another name: letters, digits, "_", "-" and "." (not "{BASE}", which is '
                "the room file itself)"
            )
            faults.append(Fault(file, "variants", name, remedy))
            continue
        section = validate(VariantSection, content, file, key, faults)
        if section is None:
            continue
        if section.says is None and "says" not in content:
            remedy = "is missing; say in a sentence what the variant changes"
            faults.append(Fault(file, f"{key}.says", None, remedy))
        found[name] = section
    return found


def split_name(name: str) -> tuple[str, ...]:
    """The variants that a name such as "couch+curtains" combines; none for "base"."""
    return () if name == BASE else tuple(name.split("+"))


def unknown_variants(
    names: Iterable[str], known: Mapping[str, VariantSection], file: str
) -> list[Fault]:
    """A fault for each name asked for that the room file does not have, or has twice in one."""
    faults = []
    for name in names:
        parts = split_name(name)
        for part in dict.fromkeys(parts):
            if part not in known:
                listed = nearest(part, list(known)) if known else "it has none; add [variants.NAME]"
                remedy = f"no such variant in {file}; {listed}"
                faults.append(Fault("command line", "VARIANT", part, remedy))
            elif parts.count(part) > 1:
                remedy = f'names "{part}" twice; leave one out'
                faults.append(Fault("command line", "VARIANT", name, remedy))
    return faults


def lay_over(data: Mapping[str, Any], file: str, sections: Mapping[str, VariantSection]) -> Overlay:
    """The tables with variants laid over them, the first one first; later ones win."""
    laid = Overlay(copy.deepcopy(dict(data)), file, "+".join(sections))
    laid.data.pop("variants", None)
    for name in _LISTS:
        items = laid.data.get(name, [])
        if isinstance(items, list):
            laid.entries[name] = [{"": f"{name}[{i}]"} for i in range(len(items))]
    for variant, section in sections.items():
        key = f"variants.{variant}"
        _remove(laid, key, section.remove)
        _add(laid, "furniture", f"{key}.add_furniture", section.add_furniture)
        _add(laid, "areas", f"{key}.add_areas", section.add_areas)
        _move(laid, key, section.move)
        for table in ("surfaces", "limits", "layout", "targets", "weights"):
            _override(laid, table, f"{key}.{table}", getattr(section, table))
        if section.budget is not None:
            _override(laid, "budget", f"{key}.budget", {"amount": section.budget}, whole=True)
        _ban_products(laid, key, section)
        _ban_mountings(laid, key, section)
    for name, entries in laid.entries.items():
        for index, entry in enumerate(entries):
            for part, source in entry.items():
                laid.origin[f"{name}[{index}]" + (f".{part}" if part else "")] = source
    return laid


def _remove(laid: Overlay, key: str, names: Sequence[str]) -> None:
    for name in names:
        place = _the_one(laid, _REMOVABLE, name, f"{key}.remove", "furniture or area")
        if place is not None:
            listed, index = place
            del laid.data[listed][index], laid.entries[listed][index]


def _the_one(
    laid: Overlay, lists: Sequence[str], name: str, key: str, what: str
) -> tuple[str, int] | None:
    """List and index of the one entry of that name (or kind, where it has no name)."""
    named = [
        (listed, index, str(item.get("name") or item.get("kind")))
        for listed in lists
        if listed in laid.entries
        for index, item in enumerate(laid.data.get(listed, []))
        if isinstance(item, dict)
    ]
    found = [(listed, index) for listed, index, known in named if known == name]
    if len(found) == 1:
        return found[0]
    if not found:
        known = list(dict.fromkeys(n for *_, n in named))
        listing = nearest(name, known) if known else "there is none"
        laid.faults.append(Fault(laid.file, key, name, f"no such {what}; {listing}"))
        return None
    places = ", ".join(laid.entries[listed][index][""] for listed, index in found)
    remedy = f"is the name of {len(found)} things ({places}); give them names of their own"
    laid.faults.append(Fault(laid.file, key, name, remedy))
    return None


def _add(laid: Overlay, listed: str, key: str, items: Sequence[dict[str, Any]]) -> None:
    if listed not in laid.entries:
        return  # the list itself is at fault and told
    for index, item in enumerate(items):
        laid.data.setdefault(listed, []).append(copy.deepcopy(item))
        laid.entries[listed].append({"": f"{key}[{index}]"})


def _move(laid: Overlay, key: str, moves: Mapping[str, Any]) -> None:
    for name, place in moves.items():
        what = "speaker, seat or furniture"
        found = _the_one(laid, _MOVABLE, name, f"{key}.move.{name}", what)
        if found is not None:
            listed, index = found
            laid.data[listed][index]["at"] = place
            laid.entries[listed][index]["at"] = f"{key}.move.{name}"


def _override(
    laid: Overlay, table: str, key: str, values: Mapping[str, Any], whole: bool = False
) -> None:
    """Values put into one table; `whole`: `key` itself holds the only value."""
    if not values or not isinstance(laid.data.setdefault(table, {}), dict):
        return
    for name, value in values.items():
        laid.data[table][name] = copy.deepcopy(value)
        laid.origin[f"{table}.{name}"] = key if whole else f"{key}.{name}"


def _ban_products(laid: Overlay, key: str, section: VariantSection) -> None:
    banned = _list_of_limits(laid, "banned_products")
    if banned is None:
        return
    for name in section.allow_products:
        if name in banned:
            banned[:] = [other for other in banned if other != name]
        else:
            laid.faults.append(_not_banned(laid, f"{key}.allow_products", name, banned))
    added = [name for name in section.ban_products if name not in banned]
    if section.allow_products or added:
        _set_limit(laid, "banned_products", [*banned, *added], f"{key}.ban_products")


def _ban_mountings(laid: Overlay, key: str, section: VariantSection) -> None:
    banned = _list_of_limits(laid, "no_mountings")
    if banned is None:
        return
    limits = laid.data.get("limits", {})
    overhead = isinstance(limits, dict) and limits.get("nothing_overhead") is True
    for name in section.allow_mountings:
        if name in OVERHEAD and overhead:
            _override(laid, "limits", f"{key}.allow_mountings", {"nothing_overhead": False})
        elif name not in banned:
            laid.faults.append(_not_banned(laid, f"{key}.allow_mountings", name, banned))
        banned[:] = [other for other in banned if other != name]
    source = "ban_mountings"
    added = list(section.ban_mountings)
    if section.only_mountings is not None:
        added += [m for m in get_args(Mounting) if m not in section.only_mountings]
        source = "only_mountings"
    if section.allow_mountings or added:
        _set_limit(laid, "no_mountings", list(dict.fromkeys([*banned, *added])), f"{key}.{source}")


def _list_of_limits(laid: Overlay, name: str) -> list[Any] | None:
    """A list of [limits] as it stands, or None where it is at fault and told."""
    limits = laid.data.get("limits", {})
    listed = limits.get(name, []) if isinstance(limits, dict) else None
    return list(listed) if isinstance(listed, list) else None


def _set_limit(laid: Overlay, name: str, values: list[Any], key: str) -> None:
    _override(laid, "limits", key, {name: values}, whole=False)
    laid.origin[f"limits.{name}"] = key


def _not_banned(laid: Overlay, key: str, name: str, banned: Sequence[Any]) -> Fault:
    listed = ", ".join(str(b) for b in banned) if banned else "nothing"
    return Fault(laid.file, key, name, f"is not banned in this room ({listed} is); leave it out")


def own_faults(laid: Overlay, found: Iterable[Fault], base: Iterable[Fault]) -> list[Fault]:
    """Faults of a laid-over room file that its variants cause, at the keys the person wrote.

    Those that the file has without them are left out; a fault that shows at a key no variant
    touched is told at the variant, with the key in the remedy.
    """
    known = {(f.file, f.key, repr(f.value), f.remedy) for f in base}
    faults = []
    for fault in found:
        if (fault.file, fault.key, repr(fault.value), fault.remedy) in known:
            continue
        told = replace(
            fault,
            key=laid.written(fault.key),
            remedy=_ENTRY.sub(lambda match: laid.written(match[0]), fault.remedy),
        )
        if (told.file, told.key, repr(told.value), told.remedy) in known:
            continue
        if fault.file == laid.file and not told.key.startswith("variants."):
            place = f"{told.key} = {told.value}" if told.value is not None else told.key
            told = Fault(told.file, f"variants.{laid.name}", None,
                         f"makes {place}: {told.remedy}")  # fmt: skip
        faults.append(told)
    return [*laid.faults, *faults]
