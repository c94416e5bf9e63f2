"""Options of `plan` that do not go together."""

import argparse
from collections.abc import Iterator, Sequence

from optimizer.faults import Fault


def exclusive_faults(
    arguments: argparse.Namespace, option: str, others: Sequence[str], remedy: str = "ask twice"
) -> Iterator[Fault]:
    """A fault for each other option that was given beside one."""
    value = getattr(arguments, option)
    for other in others:
        if value is not None and getattr(arguments, other) is not None:
            said = f"not together with --{other}; {remedy}"
            yield Fault("command line", f"--{option}", str(value), said)
