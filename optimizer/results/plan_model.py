"""plan.json as one closed, frozen model, by which it is written and read.

A plan may be written by hand from pieces alone: what `treatment plan` adds (figures, shopping
list, score card) may then be left out, but all of it together. What contradicts itself is refused:
a bound above the objective, pairs that are none.

read_plan(path)          the plan of a file; ScenarioError lists every fault
PlanFile                 the plan as plain values
"""

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Annotated, Any

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Field, ValidationError

from optimizer.faults import Fault, ScenarioError
from optimizer.plain_text import REMEDY, steering
from optimizer.room.reading import nearest, read_text
from optimizer.room.schema import FARTHEST, Number

FORMAT = 1
AGAIN = "write the plan again or leave only pieces"


def _metres(value: Any) -> float:
    number = isinstance(value, (int, float)) and not isinstance(value, bool)
    if number and abs(value) <= FARTHEST:  # NaN compares as False
        return float(value)
    raise ValueError(f"write a number of metres within {FARTHEST:g}")


def _plain(text: str) -> str:
    if steering(text):
        raise ValueError(REMEDY)
    return text


def _yes_no(value: object) -> object:
    if not isinstance(value, bool):
        raise ValueError("write true or false")
    return value


Metres = Annotated[float, BeforeValidator(_metres)]
Text = Annotated[str, Field(strict=True), AfterValidator(_plain)]
Flag = Annotated[bool, BeforeValidator(_yes_no)]
Count = Annotated[int, Field(strict=True, ge=0)]
NotBelow0 = Annotated[Number, Field(ge=0)]
Chance = Annotated[Number, Field(ge=0, le=1)]


class _Part(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)


class MadeFrom(_Part):
    """Marks of the room and of all else that a plan was made from (results/fingerprint.py)."""

    figures: Text
    choice: Text


class PieceEntry(_Part):
    """A piece: lengths in metres on its surface, what one costs, the id of its mirror image."""

    id: Text | None = None
    product: Text
    kind: Text | None = None
    surface: Text
    u_m: Metres
    v_m: Metres
    width_m: Metres
    height_m: Metres
    depth_m: Metres | None = None
    gap_m: Metres
    turned: Flag
    corners_m: tuple[tuple[Metres, Metres, Metres], ...] | None = None
    mounting: Text
    price: NotBelow0 | None = None
    pair: Text | None = None
    place: Text | None = None
    why: Text | None = None


class LineEntry(_Part):
    """A line of the shopping list, money in the currency's units."""

    product: Text
    name: Text
    needed: Count
    owned: Count
    packs: Count
    pack_size: Count
    unit_price: NotBelow0
    total: NotBelow0


class RowEntry(_Part):
    """A row of the score card."""

    criterion: Text
    where: Text
    unit: Text
    low: Number | None
    high: Number | None
    before: Number
    after: Number
    ok_before: Flag
    ok_after: Flag
    weight: NotBelow0
    model: Text
    note: Text
    after_low: Number | None = None
    after_high: Number | None = None
    chance: Chance | None = None


class PlanFile(_Part):
    """A plan as plain values."""

    format: Count = FORMAT
    room: Text | None = None
    room_file: Text | None = None
    made_from: MadeFrom | None = None
    status: Text | None = None
    objective: NotBelow0 | None = None
    bound: Number | None = None
    gap: NotBelow0 | None = None
    seconds: NotBelow0 | None = None
    cut_off: bool = False
    budget: NotBelow0 | None = None
    cost: NotBelow0 | None = None
    currency: Text | None = None
    candidates: Count | None = None
    pairs: Count | None = None
    plans_judged: Count | None = None
    score_before: NotBelow0 | None = None
    score_after: NotBelow0 | None = None
    pieces: tuple[PieceEntry, ...]
    shopping: tuple[LineEntry, ...] | None = None
    score: Annotated[tuple[RowEntry, ...], Field(min_length=1)] | None = None

    @property
    def ids(self) -> tuple[str, ...]:
        """The number of each piece; those without one of their own are counted."""
        return tuple(piece.id or str(count) for count, piece in enumerate(self.pieces, 1))

    def as_json(self) -> str:
        """The text of the file."""
        return json.dumps(self.model_dump(mode="json"), indent=1, allow_nan=False) + "\n"


_PARTS: dict[str, type[_Part]] = {
    "pieces": PieceEntry, "shopping": LineEntry, "score": RowEntry, "made_from": MadeFrom,
}  # fmt: skip
_BY_HAND = {"format", "room", "room_file", "pieces"}
_UNKNOWN = {"bound", "plans_judged"}  # what stands there is null where it is not known
_IN_PIECE = set(PieceEntry.model_fields) - {"pair"}


def read_plan(path: Path) -> PlanFile:
    """The plan of a plan.json; ScenarioError with a fault for each key that cannot be used."""
    text, file = read_text(path, "plan.json"), str(path)
    try:
        content = json.loads(text)
    except (ValueError, RecursionError):
        content = None
    if not isinstance(content, dict) or not isinstance(content.get("pieces"), list):
        remedy = 'is no plan: it needs a list "pieces" as `treatment plan` writes it'
        raise ScenarioError([Fault(file, "", None, remedy)])
    if content.get("format", FORMAT) != FORMAT:
        remedy = f"is not a format read here; write the plan again in format {FORMAT}"
        raise ScenarioError([Fault(file, "format", content["format"], remedy)])
    faults = list(_left_out(content, file))
    try:
        plan = PlanFile.model_validate(content)
        faults += [*_pair_faults(plan, file), *_proof_faults(plan, file)]
    except ValidationError as error:
        faults += [_fault(file, detail) for detail in error.errors(include_url=False)]
    if faults:
        raise ScenarioError({str(fault): fault for fault in faults}.values())
    return plan


def _left_out(content: dict[str, Any], file: str) -> Iterator[Fault]:
    """Keys that are not there, or null, in a plan that is more than pieces laid by hand."""
    if not content.keys() - _BY_HAND:
        return
    for key in PlanFile.model_fields:
        if key not in content or (content[key] is None and key not in _UNKNOWN):
            yield Fault(file, key, None, f"is missing; {AGAIN}")
    for index, piece in enumerate(content["pieces"]):
        for key in PieceEntry.model_fields if isinstance(piece, dict) else ():
            if key not in piece or (piece[key] is None and key in _IN_PIECE):
                yield Fault(file, f"pieces[{index}].{key}", None, "is missing; add it")


def _pair_faults(plan: PlanFile, file: str) -> Iterator[Fault]:
    """Numbers used twice, and pairs of which not each names the other."""
    ids, pairs = plan.ids, [piece.pair for piece in plan.pieces]
    twins = dict(zip(ids, pairs, strict=True))
    for index, (name, pair) in enumerate(zip(ids, pairs, strict=True)):
        if name in ids[:index]:
            yield Fault(file, f"pieces[{index}].id", name, "is used twice; rename one")
        if pair is None:
            continue
        if pair not in twins or pair == name:
            remedy = "is not the id of another piece of this plan; correct it or write null"
            yield Fault(file, f"pieces[{index}].pair", pair, remedy)
        elif twins[pair] != name:
            remedy = f'piece "{pair}" does not name this one as its pair; let both name each other'
            yield Fault(file, f"pieces[{index}].pair", pair, remedy)


def _proof_faults(plan: PlanFile, file: str) -> Iterator[Fault]:
    """What no solve can have left."""
    value, bound = plan.objective, plan.bound
    if value is not None and bound is not None and bound > value:
        remedy = f"lies above the objective {value:g}, which no bound can; {AGAIN}"
        yield Fault(file, "bound", bound, remedy)
    pairs, candidates = plan.pairs, plan.candidates
    if pairs is not None and candidates is not None and pairs > candidates:
        remedy = f"is more than all candidates, {candidates}; {AGAIN}"
        yield Fault(file, "pairs", pairs, remedy)


def _fault(file: str, detail: Any) -> Fault:
    """One complaint of the model as a line that a person can act on."""
    loc, kind, value = detail["loc"], detail["type"], detail["input"]
    key = "".join(f"[{p}]" if isinstance(p, int) else f".{p}" for p in loc).lstrip(".")
    if kind == "missing":
        return Fault(file, key, None, "is missing; add it")
    if loc[-1] == "pair":
        return Fault(file, key, value, "give the id of another piece as text, or null")
    if kind == "extra_forbidden":
        known = [*(_PARTS[loc[0]] if len(loc) > 1 else PlanFile).model_fields]
        return Fault(file, key, value, f"unknown key; {nearest(str(loc[-1]), known)}")
    if kind == "value_error":
        return Fault(file, key, value, str(detail["ctx"]["error"]))
    if kind == "model_type":
        return Fault(file, key, value, "write it as an object with keys")
    if kind == "too_short":
        return Fault(file, key, value, f"is empty; {AGAIN}")
    return Fault(file, key, value, detail["msg"][0].lower() + detail["msg"][1:] + "; correct it")
