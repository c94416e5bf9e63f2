"""While the program loads, and when its work is done, Ctrl-C ends it at once and without a
traceback. Imported first.
"""

import signal

_before = signal.getsignal(signal.SIGINT)


def again() -> None:
    """Ctrl-C ends the program at once."""
    if _before is signal.default_int_handler:  # else it is ignored, as in the background
        signal.signal(signal.SIGINT, signal.SIG_DFL)


def over() -> None:
    """Ctrl-C is an exception again."""
    signal.signal(signal.SIGINT, _before)


again()
