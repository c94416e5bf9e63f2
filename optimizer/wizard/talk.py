"""One question after another: each has a default, and a wrong answer is asked again.

EOFError when the answers end; nothing else of what a person types raises.
"""

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Any, TypeVar

from pydantic import TypeAdapter, ValidationError

from optimizer.room.schema import Length
from optimizer.units import FOOT, format_length, parse_length

_Answer = TypeVar("_Answer")
_PLAIN = re.compile(r"[+-]?\d+(?:[.,]\d+)?$")
MOST_WRONG = 300  # answers; a pipe may bring rubbish for ever
DIGITS = 3  # lengths are kept to the millimetre
_YES = {"y": True, "yes": True, "n": False, "no": False}


@dataclass(frozen=True)
class Choice:
    """One line of a menu: what a person reads, and the value it stands for."""

    words: str
    value: str


@dataclass
class Talk:
    """Asks and shows through two functions, so that it works in any terminal or test.

    `read` gives the next line without its end, `show` prints a text as it is. `unit` is what a
    plain number means, "m" or "ft".
    """

    read: Callable[[], str]
    show: Callable[[str], None]
    unit: str = "m"
    wrongs: int = field(default=0, init=False)

    def tell(self, text: str) -> None:
        """A line of its own."""
        self.show(text + "\n")

    def wrong(self, reason: str) -> None:
        """Why an answer is asked for again; EOFError when that happens without end."""
        self.tell("   ! " + " ".join(reason.split()))
        self.wrongs += 1
        if self.wrongs >= MOST_WRONG:
            raise EOFError

    def ask(
        self, question: str, shown: str, default: _Answer, parse: Callable[[str], _Answer]
    ) -> _Answer:
        """The answer; an empty line is the default. `parse` raises ValueError on a wrong one."""
        while True:
            self.show(f"{question} [{shown}]: ")
            try:
                text = self.read().strip()
                if not text:
                    return default
                if not text.isprintable():
                    raise ValueError("holds characters that cannot be shown; type plain text")
                return parse(text)
            except UnicodeDecodeError:
                self.wrong("is not readable text; type it again")
            except ValueError as error:
                self.wrong(str(error))

    def length(self, question: str, default: float, kind: Any = Length) -> float:
        """Metres. `kind` is the schema's type of the value, with its range."""
        start = round(default, DIGITS)
        return self.ask(
            question, self.shown(start), start, lambda text: in_schema(kind, self.metres(text))
        )

    def shown(self, metres: float) -> str:
        """A length as it is told in the unit of plain numbers."""
        return format_length(metres, self.unit)

    def metres(self, text: str) -> float:
        """Metres of an answer; a plain number is in the unit of plain numbers."""
        if _PLAIN.match(text):
            scale = FOOT if self.unit == "ft" else 1.0
            return round(float(text.replace(",", ".")) * scale, DIGITS)
        try:
            return round(parse_length(text), DIGITS)
        except ValueError:
            raise ValueError(
                f"not a length; write a plain number ({self.unit}) or one with its unit, such as "
                "1.2 m, 85 cm, 4 ft 2 in"
            ) from None

    def yes(self, question: str, default: bool) -> bool:
        """Yes or no."""
        return self.ask(question, "yes" if default else "no", default, _yes_or_no)

    def count(self, question: str, default: int, most: int) -> int:
        """A whole number from 0 to `most`."""
        return self.ask(question, str(default), default, lambda text: _whole(text, most))

    def text(self, question: str, default: str, kind: Any) -> str:
        """A short text that the schema's type accepts."""
        return self.ask(question, default, default, lambda text: str(in_schema(kind, text)))

    def choose(
        self,
        question: str,
        choices: Sequence[Choice],
        default: int = 0,
        other: Callable[[str], str | None] = lambda text: None,
    ) -> str:
        """The value of one line of a menu, by its number or some of its words.

        `other` may accept a text that is no line of the menu.
        """
        self.tell(question)
        for number, choice in enumerate(choices, start=1):
            self.tell(f"  {number:2d}  {choice.words}")

        def parse(text: str) -> str:
            return _of_menu(text, choices) or other(text) or _no_line(len(choices))

        return self.ask("   number", str(default + 1), choices[default].value, parse)


def in_schema(kind: Any, value: Any) -> Any:
    """The value as the room file's own schema reads it; ValueError with its complaint."""
    try:
        return TypeAdapter(kind).validate_python(value)
    except ValidationError as error:
        detail = error.errors(include_url=False)[0]
    reason = str(detail.get("ctx", {}).get("error", detail["msg"]))
    reason = reason.replace("Input should be", "must be")
    raise ValueError(reason + (" (in metres)" if isinstance(value, float) else ""))


def _yes_or_no(text: str) -> bool:
    if text.lower() not in _YES:
        raise ValueError("answer yes or no")
    return _YES[text.lower()]


def _whole(text: str, most: int) -> int:
    if not (text.isascii() and text.isdigit() and len(text) < 5 and int(text) <= most):
        raise ValueError(f"give a whole number from 0 to {most}")
    return int(text)


def _of_menu(text: str, choices: Sequence[Choice]) -> str | None:
    if text.isascii() and text.isdigit() and len(text) < 4:
        return choices[int(text) - 1].value if 1 <= int(text) <= len(choices) else None
    fitting = [c for c in choices if text.lower() in c.words.lower()]
    return fitting[0].value if len(fitting) == 1 else None


def _no_line(count: int) -> str:
    raise ValueError(f"give the number of a line, 1 to {count}")
