"""How much a search may do: counted in nodes, which are the same on every machine, not in seconds.

A node is one part of a program that the solver looks into by itself. The clock is only a guard over
a whole command: where it ends a search the plan is the best so far, and is said to be cut off.
"""

import math
import time
from dataclasses import dataclass, field, replace

NODES = 500  # of one solve; the demo rooms take less than ten


class Guard:
    """Counts down `seconds` from now and remembers whether anything was left undone for it.

    With endless seconds the clock is never read.
    """

    def __init__(self, seconds: float = math.inf) -> None:
        self.cut = False
        self._end = time.monotonic() + seconds if math.isfinite(seconds) else math.inf

    def left(self) -> float:
        """Seconds that are left, 0 or more."""
        if math.isinf(self._end):
            return math.inf
        return max(self._end - time.monotonic(), 0.0)

    def over(self) -> bool:
        """Whether the time is over; who asks leaves something undone then, which is remembered."""
        late = self.left() <= 0.0
        self.cut = self.cut or late
        return late


@dataclass(frozen=True)
class Effort:
    """Nodes that one solve may take, and the guard over all of them."""

    nodes: int = NODES
    guard: Guard = field(default_factory=Guard)

    def share(self, share: float) -> "Effort":
        """The same guard, and a share of the nodes for each solve."""
        return replace(self, nodes=max(round(share * self.nodes), 1))

    @classmethod
    def of(cls, limit: "float | Effort") -> "Effort":
        """The usual effort, guarded for so many seconds from now on; an effort as it is."""
        return limit if isinstance(limit, Effort) else cls(guard=Guard(limit))
