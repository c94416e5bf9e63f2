"""Characters that steer a terminal or reorder a line, kept out of what is read and shown.

Unicode general category Cc (C0 and C1 controls, DELETE) but for tab and line breaks, and the
embeddings, overrides and isolates of the bidirectional algorithm (UAX #9, section 2), which can
make a line read otherwise than it is. Letters of right-to-left scripts are ordinary text.

steering(text)           the first such character, written out; None when there is none
shown(text)              the text with each of them written out
"""

import re

_STEERING = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069]")
REMEDY = "is a control character; write plain text without it"


def steering(text: str) -> str | None:
    """The first character that steers a terminal or the direction of text, as "U+001B"."""
    found = _STEERING.search(text)
    return None if found is None else _written(found)


def shown(text: str) -> str:
    """The text as it may stand on a terminal: tabs and line breaks stay, a lone return does not."""
    return _STEERING.sub(_written, text.replace("\r\n", "\n").replace("\r", "U+000D"))


def _written(found: re.Match[str]) -> str:
    return f"U+{ord(found[0]):04X}"
