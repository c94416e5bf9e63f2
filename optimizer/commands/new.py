"""`treatment new`: a room file from questions and answers."""

import argparse
from pathlib import Path

from optimizer.commands.printing import say
from optimizer.results.output import write_folder
from optimizer.streams import show
from optimizer.wizard.session import ask_everything
from optimizer.wizard.talk import Talk

EPILOG = """\
example:
  treatment new my_room.toml

Every question has a default (Enter). A wrong answer is asked again; Ctrl-C stops and writes
nothing. A file that is there is only written over when you say so. Without a price list of your
own the generic one is copied beside the room file; its prices are invented.
"""


def add_parser(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Register the command."""
    parser = commands.add_parser(
        "new",
        help="write a room file by answering questions",
        description="Ask about a room, one question at a time, and write its room file.",
        epilog=EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("file", type=Path, nargs="?", metavar="FILE.toml",
                        help="the room file to write (asked for when left out)")  # fmt: skip
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Ask, write, say what comes next."""
    try:
        new = ask_everything(Talk(read=_read, show=show), arguments.file)
    except EOFError:  # the answers ended: stopped like by Ctrl-C
        raise KeyboardInterrupt from None
    write_folder(new.path.parent, new.files)
    names = ", ".join(str(new.path.parent / name) for name in new.files)
    say(f"\nWritten: {names}\n\nNext:\n  treatment predict {new.path}\n"
        f"  treatment plan {new.path} --out plan")  # fmt: skip
    return 0


def _read() -> str:
    try:
        return input()
    except OSError as error:  # a stream that cannot be read holds no answers
        raise EOFError from error
