"""From the first question to the files that are to be written; nothing is written here."""

import os
from dataclasses import dataclass
from pathlib import Path

from materials import load_table
from optimizer.faults import ScenarioError
from optimizer.results.output import check_writable
from optimizer.room.schema import FileName, Name
from optimizer.wizard.draft import Draft
from optimizer.wizard.money import ask_about_money, prices_name
from optimizer.wizard.questions import ask_about_room
from optimizer.wizard.roomfile import room_file
from optimizer.wizard.talk import Talk, in_schema

INTRO = """\
A room file, question by question. Enter takes what stands in brackets: what is usual in a room of
your sizes. A length may have a unit (3.2 m, 85 cm, 10 ft 6 in). Ctrl-C stops, nothing is then
written. Left and right are as you face the loudspeakers; the wall behind them is the front wall.
"""
DEFAULT_FILE = "room.toml"
MOST_LISTS = 99  # price lists that may be there under the names that would be taken


@dataclass(frozen=True)
class NewRoom:
    """A room file to be written at `path`, with the texts of all files to be written beside it."""

    path: Path
    files: dict[str, str]


def ask_everything(talk: Talk, path: Path | None) -> NewRoom:
    """The whole conversation. ScenarioError when `path` cannot be written; EOFError when the
    answers end.
    """
    if path is not None:
        path = with_ending(path)
        check_place(path)
    talk.tell(INTRO)
    path = _free_path(talk, path)
    draft = Draft(path, load_table())
    ask_about_room(talk, draft, title_of(path))
    prices = ask_about_money(talk, draft)
    files = {path.name: room_file(draft.tables, talk.unit, prices.text is not None)}
    if prices.text is not None:
        files[prices.name] = prices.text
    return NewRoom(path, files)


def _free_path(talk: Talk, path: Path | None) -> Path:
    """A path for the room file at which nothing is, or that may be written over."""
    while True:
        if path is None:
            path = talk.ask("Write the room file as", DEFAULT_FILE, Path(DEFAULT_FILE), _place)
        try:
            check_place(path)
        except ScenarioError as error:  # the default may be no place either
            talk.wrong(str(error.faults[0]))
        else:
            if not os.path.lexists(path) or talk.yes(f"{path} is there. Write over it?", False):
                return path
        path = None


def _place(text: str) -> Path:
    path = with_ending(Path(str(in_schema(FileName, text))))
    try:
        check_place(path)
    except ScenarioError as error:
        raise ValueError(str(error.faults[0])) from None
    return path


def check_place(path: Path) -> None:
    """ScenarioError when a room file, and a price list of its name, could not be written there."""
    check_writable(path.parent, [path.name, prices_name(path, MOST_LISTS)])


def with_ending(path: Path) -> Path:
    """The path, ending in .toml when it has no ending."""
    return path if path.suffix or not path.name else path.with_suffix(".toml")


def title_of(path: Path) -> str:
    """A title from the file's name, or a plain one where that would not do."""
    words = path.stem.replace("_", " ").strip()
    try:
        return str(in_schema(Name, words)) if words.isprintable() else "Room"
    except ValueError:
        return "Room"
