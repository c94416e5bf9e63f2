"""A file of wishes (TOML) read and judged against a room and the plan whose numbers it names.

read_wishes(path, project)   the wishes; ScenarioError lists every fault
wishes_file_faults(path)     what is wrong with the file whatever the room
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Annotated

from pydantic import BeforeValidator, Field

from optimizer.faults import Fault, ScenarioError
from optimizer.placement.pieces import Piece, mirrored_piece
from optimizer.project import Project
from optimizer.results.comparison_fit import misfit
from optimizer.results.comparison_plans import read_planned
from optimizer.results.model import PlannedPiece
from optimizer.results.words import surface_in_words
from optimizer.room.geometry import Rect
from optimizer.room.model import Room, mirror_name, mirror_rect
from optimizer.room.reading import nearest, read_toml, validate
from optimizer.room.schema import FileName, Name, NonNegativeLength, Section, Size
from optimizer.units import format_length

MOST = 200  # wishes of a kind


def _number(value: object) -> object:
    """A piece's number as plan.json writes it: 3 and "3" are one."""
    return str(value) if isinstance(value, int) and not isinstance(value, bool) else value


Number = Annotated[Name, BeforeValidator(_number)]
Numbers = Annotated[tuple[Number, ...], Field(max_length=MOST)]
Names = Annotated[tuple[Name, ...], Field(max_length=MOST)]


class LikeSection(Section):
    """A rectangle on a surface, measured like an area, in which a piece should have its middle."""

    surface: Name
    at: tuple[NonNegativeLength, NonNegativeLength]
    size: tuple[Size, Size]
    product: Name | None = None


class WishesSection(Section):
    """The whole file. `plan` is the plan.json whose numbers `keep` and `refuse` name."""

    plan: FileName | None = None
    keep: Numbers = ()
    refuse: Numbers = ()
    refuse_surfaces: Names = ()
    refuse_products: Names = ()
    like: Annotated[tuple[LikeSection, ...], Field(max_length=MOST)] = ()


@dataclass(frozen=True)
class Like:
    """Where a piece is wanted: a rectangle (u0, v0, u1, v1 in m) on a surface, of any product or
    one."""

    surface: str
    rect: Rect
    product: str | None


@dataclass(frozen=True)
class Wish:
    """One wish, with its key in the file and its words; one of the others says what is wished.

    `kept`: pieces that hang where they are; `refused`: pieces of whose product none is wanted at
    their place; `surface`, `product`: none is wanted there, or of it.
    """

    key: str
    said: str
    kept: tuple[Piece, ...] = ()
    refused: tuple[Piece, ...] = ()
    surface: str = ""
    product: str = ""
    like: Like | None = None

    def mirrored(self, room: Room, image: Room) -> "Wish":
        """The wish as it is in the mirrored room."""
        like, total = self.like, sum(room.width_span)
        if like is not None:
            planes = (
                room.surface(like.surface).plane,
                image.surface(mirror_name(like.surface)).plane,
            )
            rect = mirror_rect(like.rect, *planes, total)
            like = Like(mirror_name(like.surface), rect, like.product)
        return Wish(
            self.key, self.said,
            tuple(mirrored_piece(piece, room, image) for piece in self.kept),
            tuple(mirrored_piece(piece, room, image) for piece in self.refused),
            mirror_name(self.surface), self.product, like,
        )  # fmt: skip


@dataclass(frozen=True)
class Wishes:
    """All wishes of a file, as they are in the person's room, and the plan.json that it names."""

    file: str
    each: tuple[Wish, ...]
    plan: Path | None = None


def read_wishes(path: Path, project: Project, units: str = "m") -> Wishes:
    """The wishes of a file for a room; lengths in words in these units."""
    file = str(path)
    section, faults = _section(path)
    if section is None:
        raise ScenarioError(faults)
    planned = _planned(section, path, project, faults)
    found = [
        *_kept(section, planned, project, file, faults),
        *_refused(section, planned, project, file, faults),
        *_liked(section, project, file, faults, units),
    ]
    faults += _contradictions(section, found, file)
    if not found and not faults:
        remedy = "holds no wish; give keep, refuse, refuse_surfaces, refuse_products or [[like]]"
        faults.append(Fault(file, "", None, remedy))
    if faults:
        raise ScenarioError(faults)
    named = None if section.plan is None else path.parent / section.plan
    return Wishes(file, tuple(found), named)


def _section(path: Path) -> tuple[WishesSection | None, list[Fault]]:
    """The file by itself, as far as it can be used, and its faults."""
    faults: list[Fault] = []
    section = validate(WishesSection, read_toml(path), str(path), "", faults)
    return section, [replace(fault, key=fault.key.lstrip(".")) for fault in faults]


def wishes_file_faults(path: Path) -> tuple[Fault, ...]:
    """What is wrong with a wishes file whatever the room, to be told beside the room's faults."""
    try:
        return tuple(_section(path)[1])
    except ScenarioError as error:
        return error.faults


def _planned(
    section: WishesSection, path: Path, project: Project, faults: list[Fault]
) -> dict[str, PlannedPiece]:
    """The numbered pieces of the plan named, by number."""
    if section.plan is None:
        if section.keep or section.refuse:
            remedy = "is missing; name the plan.json whose numbers keep and refuse give"
            faults.append(Fault(str(path), "plan", None, remedy))
        return {}
    try:
        pieces = read_planned(path.parent / section.plan, project.room, project.products)
    except ScenarioError as error:
        faults += error.faults
        return {}
    return {piece.id: piece for piece in pieces}


def _known(
    numbers: Sequence[str], key: str, planned: dict[str, PlannedPiece], file: str,
    faults: list[Fault],
) -> list[PlannedPiece]:  # fmt: skip
    """The pieces of these numbers; those that the plan does not have are told."""
    for index, number in enumerate(numbers):
        if planned and number not in planned:
            remedy = f"is no piece of that plan; {nearest(number, sorted(planned, key=_by_number))}"
            faults.append(Fault(file, f"{key}[{index}]", number, remedy))
    return [planned[number] for number in dict.fromkeys(numbers) if number in planned]


def _by_number(name: str) -> tuple[int, str]:
    return int(name) if name.isdecimal() else 0, name


def _kept(
    section: WishesSection, planned: dict[str, PlannedPiece], project: Project, file: str,
    faults: list[Fault],
) -> Iterator[Wish]:  # fmt: skip
    usable = {product.id: product for product in project.usable_products}
    for group in _groups(_known(section.keep, "keep", planned, file, faults)):
        names = " and ".join(p.id for p in group)
        for one in group:
            reason = misfit(project, one.piece)
            if reason:
                index = section.keep.index(one.id)
                remedy = f"cannot stay in this room: {reason}; leave it out or lift that"
                faults.append(Fault(file, f"keep[{index}]", one.id, remedy))
        if all(p.piece.product.id in usable for p in group):
            said = f"keep {names} ({group[0].piece.product.name})"
            pieces = (replace(p.piece, product=usable[p.piece.product.id]) for p in group)
            yield Wish("keep", said, kept=tuple(pieces))


def _groups(pieces: list[PlannedPiece]) -> list[list[PlannedPiece]]:
    """Pieces of which both of a mirrored pair are there together, the others alone."""
    groups: list[list[PlannedPiece]] = []
    for piece in pieces:
        mate = next((g for g in groups if len(g) == 1 and g[0].pair == piece.id), None)
        if mate is None:
            groups.append([piece])
        else:
            mate.append(piece)
    return groups


def _refused(
    section: WishesSection, planned: dict[str, PlannedPiece], project: Project, file: str,
    faults: list[Fault],
) -> Iterator[Wish]:  # fmt: skip
    for one in _known(section.refuse, "refuse", planned, file, faults):
        said = f"not {one.id} ({one.piece.product.name})"
        yield Wish("refuse", said, refused=(one.piece,))
    surfaces = {surface.name: surface for surface in project.room.surfaces}
    for index, name in enumerate(section.refuse_surfaces):
        if name not in surfaces:
            remedy = f"this room has no such surface; {nearest(name, list(surfaces))}"
            faults.append(Fault(file, f"refuse_surfaces[{index}]", name, remedy))
        else:
            said = f"nothing on the {surface_in_words(surfaces[name])}"
            yield Wish("refuse_surfaces", said, surface=name)
    names = {product.id: product.name for product in project.products}
    for index, name in enumerate(section.refuse_products):
        if name not in names:
            remedy = f"the price list has no such product; {nearest(name, list(names))}"
            faults.append(Fault(file, f"refuse_products[{index}]", name, remedy))
        else:
            yield Wish("refuse_products", f"no {names[name]}", product=name)


def _liked(
    section: WishesSection, project: Project, file: str, faults: list[Fault], units: str
) -> Iterator[Wish]:
    surfaces = {surface.name: surface for surface in project.room.surfaces}
    usable = {product.id: product.name for product in project.usable_products}
    for index, like in enumerate(section.like):
        key = f"like[{index}]"
        before = len(faults)
        if like.product is not None and like.product not in usable:
            remedy = f"is no product that the limits allow; {nearest(like.product, list(usable))}"
            faults.append(Fault(file, f"{key}.product", like.product, remedy))
        if like.surface not in surfaces:
            remedy = f"this room has no such surface; {nearest(like.surface, list(surfaces))}"
            faults.append(Fault(file, f"{key}.surface", like.surface, remedy))
            continue
        (u, v), (wide, high) = like.at, like.size
        _, _, most_u, most_v = surfaces[like.surface].plane.bounds
        if u + wide > most_u + 5e-3 or v + high > most_v + 5e-3:
            remedy = (
                f'reaches outside surface "{like.surface}" ({most_u:g} x {most_v:g} m); move or '
                "shrink it"
            )
            faults.append(Fault(file, f"{key}.at", like.at, remedy))
        if len(faults) == before:
            what = usable[like.product] if like.product else "a piece"
            where = surface_in_words(surfaces[like.surface])
            ends = [format_length(x, units) for x in (u, u + wide, v, v + high)]
            said = f"{what} on the {where}, between {ends[0]} and {ends[1]} along it and "
            said += f"{ends[2]} and {ends[3]} up" if surfaces[like.surface].is_wall else (
                f"{ends[2]} and {ends[3]} across")  # fmt: skip
            rect = (u, v, u + wide, v + high)
            yield Wish(key, said, like=Like(like.surface, rect, like.product))


def _contradictions(section: WishesSection, found: list[Wish], file: str) -> Iterator[Fault]:
    """What is kept or liked, and refused as well."""
    for index, number in enumerate(section.keep):
        if number in section.refuse:
            yield Fault(file, f"keep[{index}]", number, "is refused as well; leave one of them out")
    surfaces = {wish.surface for wish in found} - {""}
    products = {wish.product for wish in found} - {""}
    for wish in found:
        for piece in wish.kept:
            if piece.product.id in products or surfaces & {name for name, _ in piece.rects}:
                remedy = f'"{wish.said}" is refused by its surface or product; leave one out'
                yield Fault(file, wish.key, None, remedy)
                break
        if wish.like and (wish.like.surface in surfaces or wish.like.product in products):
            remedy = "its surface or product is refused; leave one of them out"
            yield Fault(file, wish.key, None, remedy)
