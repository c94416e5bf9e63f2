"""The questions about a room, in order; every answer is judged before the next one is asked."""

from collections.abc import Callable
from functools import partial
from typing import Any

from optimizer.room.schema import Name, NonNegativeLength, RoomSection, Size
from optimizer.wizard import choices, rules
from optimizer.wizard.draft import Draft, Tables
from optimizer.wizard.talk import Choice, Talk

MOST_OPENINGS = 4
USUAL_HEADROOM = 2.0  # m; less below low ceilings
WALLS = ("front", "back", "left", "right")
WINDOW_WALLS = ("front", "left", "right", "back")
DOOR_WALLS = ("back", "right", "left", "front")


def ask_about_room(talk: Talk, draft: Draft, title: str) -> None:
    """All questions about the room and what is in it; the answers are put into the draft."""
    draft.put({"title": talk.text("What do you call this room?", title, Name)})
    talk.unit = talk.choose("Plain numbers are", choices.UNITS)
    settle(talk, draft, lambda: _sizes(talk))
    settle(talk, draft, lambda: _surfaces(talk, draft))
    _openings(talk, draft, "window", WINDOW_WALLS)
    _openings(talk, draft, "door", DOOR_WALLS)
    settle(talk, draft, lambda: _listening(talk, draft))
    if talk.yes("Is there a desk between the loudspeakers and you?", True):
        settle(talk, draft, lambda: _desk(talk, draft))
    if talk.yes("Is there a couch?", _couch_is_likely(draft)):
        settle(talk, draft, lambda: _couch(talk, draft))
    settle(talk, draft, lambda: _limits(talk, draft))
    settle(talk, draft, lambda: _targets(talk))


def _openings(talk: Talk, draft: Draft, kind: str, walls: tuple[str, ...]) -> None:
    count = talk.count(f"How many {kind}s?", 1, MOST_OPENINGS)
    for number, side in enumerate(walls[:count], start=1):
        name = kind if count == 1 else f"{kind} {number}"
        settle(talk, draft, partial(_opening, talk, draft, kind, name, side))


def settle(talk: Talk, draft: Draft, ask: Callable[[], Tables]) -> None:
    """Ask until the answers keep the rules of a room file, then keep them."""
    while True:
        change = ask()
        misfit = draft.misfit(change)
        if misfit is None:
            draft.put(change)
            return
        talk.wrong(misfit)


def _sizes(talk: Talk) -> Tables:
    kinds = {k: _type_of(RoomSection, k) for k in ("length", "width", "height")}
    first = talk.length("One side of the floor", 4.2, kinds["length"])
    second = talk.length("The other side", 3.2, kinds["width"])
    height = talk.length("Height of the ceiling", 2.5, kinds["height"])
    sides = sorted((first, second), reverse=True)
    if first != second:
        way = talk.choose("The loudspeakers play", choices.FACING)
        sides = sides if way == "long" else sides[::-1]
    return {
        "room": {"length": sides[0], "width": sides[1], "height": height},
        "limits": {"headroom": round(min(USUAL_HEADROOM, height - 0.1), 3)},
    }


def _type_of(model: Any, name: str) -> Any:
    return model.model_fields[name].rebuild_annotation()


def _surfaces(talk: Talk, draft: Draft) -> Tables:
    wall = _material(talk, draft, "What are the walls?", choices.WALLS)
    walls = dict.fromkeys(WALLS, wall)
    if not talk.yes("Are all four walls like that?", True):
        usual = [c.value for c in choices.WALLS]
        default = usual.index(wall) if wall in usual else 0
        for name in WALLS:
            question = f"What is the {name} wall?"
            walls[name] = _material(talk, draft, question, choices.WALLS, default)
    floor = _material(talk, draft, "What is the floor?", choices.FLOORS)
    ceiling = _material(talk, draft, "What is the ceiling?", choices.CEILINGS)
    return {"surfaces": {**walls, "floor": floor, "ceiling": ceiling}}


def _material(
    talk: Talk, draft: Draft, question: str, menu: tuple[Choice, ...], default: int = 0
) -> str:
    """A material by its plain words, or by its name as `treatment materials` shows it."""

    def in_table(text: str) -> str | None:
        known = text in draft.table and draft.table[text].unit == "alpha"
        return text if known else None

    return talk.choose(question, menu, default, in_table)


def _opening(talk: Talk, draft: Draft, kind: str, name: str, side: str) -> Tables:
    """A window or a door: its wall, its place and size, what it is made of."""
    default = [c.value for c in choices.SIDES].index(side)
    wall = talk.choose(f"The {name} is in the", choices.SIDES, default)
    room, areas = draft.tables["room"], draft.tables.get("areas", [])
    span = room["width"] if wall in ("front", "back") else room["length"]
    place = rules.window_place if kind == "window" else rules.door_place
    at, size = place(span, room["height"], _taken(areas, wall))
    start = "left wall" if wall in ("front", "back") else "front wall"
    along = talk.length(f"From the {start} to its nearest edge", at[0], NonNegativeLength)
    up = at[1]
    if kind == "window":
        up = talk.length("From the floor to its lower edge", at[1], NonNegativeLength)
    wide = talk.length("Its width", size[0], Size)
    high = talk.length("Its height", size[1], Size)
    menu = choices.WINDOWS if kind == "window" else choices.DOORS
    material = _material(talk, draft, "It is", menu)
    is_open = material == "doorway_open"
    area = {
        "surface": wall, "kind": "opening" if is_open else kind, "name": name,
        "material": material, "at": [along, up], "size": [wide, high],
    }  # fmt: skip
    return {"areas": [*areas, area]}


def _taken(areas: list[Tables], wall: str) -> list[rules.Span]:
    return [(a["at"][0], a["at"][0] + a["size"][0]) for a in areas if a["surface"] == wall]


def _listening(talk: Talk, draft: Draft) -> Tables:
    """Two loudspeakers, the seat between them and the person on it."""
    room = draft.tables["room"]
    length, width, height = room["length"], room["width"], room["height"]
    usual = rules.listening_setup(length, width, height)
    talk.tell("The loudspeakers and you, measured at the middle of each cabinet and at your ears.")
    x = talk.length("Loudspeakers from the front wall", usual.speakers_x)
    apart = talk.length("From one loudspeaker to the other", usual.apart, Size)
    centre = talk.length("The middle between them from the left wall", width / 2)
    z = talk.length("Loudspeakers above the floor", usual.height)
    triangle = usual.ears_x - usual.speakers_x
    ears_x = talk.length("Your ears from the front wall", min(x + triangle, length - 0.3))
    ears_y = talk.length("Your ears from the left wall", centre)
    ears = [ears_x, ears_y, talk.length("Your ears above the floor", usual.height)]
    sides = (("left speaker", -1), ("right speaker", 1))
    at, size = rules.person_place(ears, length, width, height)
    return {
        "speakers": [
            {"name": name, "at": [x, round(centre + side * apart / 2, 4), z]}
            for name, side in sides
        ],
        "seats": [{"name": "mix", "at": ears}],
        "furniture": [{"kind": "person", "name": "person", "at": at, "size": size}],
    }


def _desk(talk: Talk, draft: Draft) -> Tables:
    at, size = rules.desk_place(_setup(draft), _centre(draft), draft.tables["room"]["width"])
    wide = talk.length("Width of the desk, left to right", size[1], Size)
    deep = talk.length("Its depth", size[0], Size)
    x = talk.length("Its edge at the front from the front wall", at[0])
    y = talk.length("Its left edge from the left wall", round(_centre(draft) - wide / 2, 3))
    z = talk.length("Its top above the floor", at[2])
    thick = size[2]
    desk = {"kind": "desk", "at": [x, y, round(z - thick, 3)], "size": [deep, wide, thick]}
    return {"furniture": [*draft.tables["furniture"], desk]}


def _setup(draft: Draft) -> rules.Setup:
    """The answers about loudspeakers and ears."""
    (left, right), ears = draft.tables["speakers"], draft.tables["seats"][0]["at"]
    return rules.Setup(left["at"][0], right["at"][1] - left["at"][1], ears[0], ears[2])


def _centre(draft: Draft) -> float:
    left, right = draft.tables["speakers"]
    return float(left["at"][1] + right["at"][1]) / 2


def _couch_is_likely(draft: Draft) -> bool:
    room, taken = draft.tables["room"], _taken(draft.tables.get("areas", []), "back")
    return rules.has_space_for_couch(room["length"], _setup(draft).ears_x, room["width"], taken)


def _couch(talk: Talk, draft: Draft) -> Tables:
    room, taken = draft.tables["room"], _taken(draft.tables.get("areas", []), "back")
    at, size = rules.couch_place(room["length"], room["width"], taken)
    material = talk.choose("The couch is", choices.COUCHES)
    wide = talk.length("Its width, left to right", size[1], Size)
    deep = talk.length("Its depth, front to back", size[0], Size)
    x = talk.length("Its edge at the front from the front wall", room["length"] - deep - 0.05)
    y = talk.length("Its left edge from the left wall", at[1])
    couch = {
        "kind": "sofa", "name": "couch", "material": material,
        "at": [x, y, 0.0], "size": [deep, wide, size[2]],
    }  # fmt: skip
    change: Tables = {"furniture": [*draft.tables["furniture"], couch]}
    if talk.yes("Does it count how it sounds on the couch?", True):
        ears = [x + deep / 2, y + wide / 2, min(1.1, room["height"] - 0.1)]
        seat = {"name": "couch", "at": [round(value, 3) for value in ears]}
        change["seats"] = [*draft.tables["seats"], seat]
    return change


def _limits(talk: Talk, draft: Draft) -> Tables:
    """What may be fixed where."""
    allowed = talk.choose("May pieces be fixed to the walls and the ceiling?", choices.FIXING)
    limits: Tables = dict(draft.tables["limits"])
    if allowed == "walls":
        limits["nothing_overhead"] = True
    if allowed == "none":
        limits["no_holes"] = True
    return {"limits": limits}


def _targets(talk: Talk) -> Tables:
    """How far first reflections are to be below the direct sound."""
    return {"targets": {"early": talk.choose("First reflections are to stay below", choices.EARLY)}}
