"""Diffuser or absorber on the back wall: what a room that is soft already wants, and a hard one.

Run: OPENBLAS_NUM_THREADS=1 python tests/evidence/rear_wall.py
Writes the .md beside it; about three minutes.

Each room is planned with its whole price list and budget. Then the diffusers and absorbers that the
plan hangs on the back wall are taken down, the rest of the plan stays, and the money they cost buys
the best selection of absorbers alone, and of diffusers alone, for the same wall: proven by the same
program, not chosen by hand. Where that money does not buy two pieces of either sort, both get as
much as two cost. All are judged anew by the tracer and the coupled modes.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from optimizer.acoustics.assessment import Judge
from optimizer.acoustics.judged import Judged, judge_scene
from optimizer.placement.effects import Effects
from optimizer.placement.order import Ints
from optimizer.placement.pieces import Piece, piece_patches
from optimizer.placement.plan import select
from optimizer.placement.stages import remaining
from optimizer.planning import Decision, build_decision
from optimizer.project import load_project
from optimizer.results.scorecard import reasons
from optimizer.round_record import Round
from optimizer.rounds import plan_in_rounds

ROOT = Path(__file__).parents[2]
ROOMS = ("living_room", "spare_room", "garage")
WALL = "back"
GAP = 0.02
SECONDS = 3600.0  # a guard that does not bind
SOFT = ("porous", "foam", "curtain")


SORTS = ("absorber", "diffuser")


@dataclass(frozen=True)
class Swap:
    """A planned room, and with nothing or one sort of pieces on the back wall."""

    room: str
    spent: float  # by the plan on the back wall
    money: float  # what each sort may spend
    planned: Judged
    without: Judged
    own: tuple[Piece, ...]
    only: dict[str, Judged]  # by sort
    hung: dict[str, tuple[Piece, ...]]
    why: tuple[str, ...]


def sort_of(piece: Piece) -> str:
    """ "diffuser", "absorber", or "" for what is neither (tuned panels, corner fills)."""
    if piece.product.kind == "diffuser":
        return "diffuser"
    return "absorber" if piece.material.category in SOFT else ""


def on_wall(decision: Decision, sort: str = "") -> NDArray[np.bool_]:
    """Which candidates (C,) hang flat on the back wall and are of a sort (any of the two)."""
    return np.array(
        [
            all(p.surface == WALL and sort_of(p) and sort in ("", sort_of(p)) for p in c.pieces)
            for c in decision.candidates
        ]
    )


def beside(
    effects: Effects, rest: Ints, kept: NDArray[np.bool_], budget: int
) -> tuple[Effects, Ints]:
    """What may be hung beside the rest, for other money and with what its packs leave over."""
    left, index = remaining(effects, rest, kept)
    return replace(left, budget_cents=budget), index


def judged(decision: Decision, chosen: Iterable[int], judges: Sequence[Judge]) -> Judged:
    """A selection in its room, judged."""
    project = decision.project
    pieces = pieces_of(decision, chosen)
    scene = project.scene.with_pieces(piece_patches(project.room, pieces)[0])
    return judge_scene(scene, project.criteria, judges)


def pieces_of(decision: Decision, chosen: Iterable[int]) -> list[Piece]:
    """The pieces of a selection."""
    return [piece for c in chosen for piece in decision.candidates[c].pieces]


def two_pieces(effects: Effects, kinds: Ints) -> int:
    """The least that two pieces of one of these products cost, in cents."""
    packs = np.ceil(2 / effects.pack[kinds]).astype(np.int64)
    return int((packs * effects.price_cents[kinds]).min())


def swap(room: str, decision: Decision, best: Round, judges: Sequence[Judge]) -> Swap:
    """Each sort by itself on the back wall, for the same money."""
    effects, chosen = best.limited, best.selection.chosen
    mine = on_wall(decision)[chosen]
    own, rest = chosen[mine], chosen[~mine]
    freed = effects.cost_cents(chosen) - effects.cost_cents(rest)
    listed_ = (np.unique(effects.product[on_wall(decision, sort)]) for sort in SORTS)
    money = max(freed, *(two_pieces(effects, kinds) for kinds in listed_))
    found = {}
    for sort in SORTS:
        allowed, index = beside(effects, rest, on_wall(decision, sort), money)
        found[sort] = index[select(allowed, GAP, SECONDS).chosen]
    project = decision.project
    groups = [list(decision.candidates[c].pieces) for c in chosen]
    why = reasons(project.room, project.scene, best.judged, groups)
    return Swap(
        room, freed / 100, money / 100, judged(decision, chosen, judges),
        judged(decision, rest, judges), tuple(pieces_of(decision, own)),
        {s: judged(decision, np.concatenate([rest, c]), judges) for s, c in found.items()},
        {s: tuple(pieces_of(decision, c)) for s, c in found.items()},
        tuple(text for text, here in zip(why, mine, strict=True) if here),
    )  # fmt: skip


def parts(found: Judged) -> dict[str, float]:
    """Weighted excess by group; decay split into too long and too short."""
    criteria = found.corrected
    each = criteria.weights * criteria.excess(found.quantities)
    made: dict[str, float] = {}
    for row, value, read in zip(criteria.rows, each, found.criteria.values(found.quantities),
                                strict=True):  # fmt: skip
        short = row.group == "decay" and read < row.low
        name = f"{row.group}, too short" if short else row.group
        made[name] = made.get(name, 0.0) + float(value)
    return {name: value for name, value in made.items() if value > 5e-4}


def listed(pieces: Sequence[Piece]) -> str:
    """Products with their counts."""
    names = [piece.product.id for piece in pieces]
    return ", ".join(f"{names.count(n)} {n}" for n in dict.fromkeys(names)) or "nothing"


def section(s: Swap) -> str:
    """One room as text."""
    found = {"the plan": s.planned, **{f"{sort}s": j for sort, j in s.only.items()},
             "nothing": s.without}  # fmt: skip
    groups = list(dict.fromkeys(g for j in found.values() for g in parts(j)))
    header = ["back wall", "hung there", "score", *groups]
    hung = (listed(s.own), *(listed(s.hung[sort]) for sort in SORTS), "nothing")
    rows = [
        [name, what, f"{j.score:.3f}", *(f"{parts(j).get(g, 0.0):.3f}" for g in groups)]
        for (name, j), what in zip(found.items(), hung, strict=True)
    ]
    lines = [header, ["---"] * len(header), *rows]
    text = "\n".join("| " + " | ".join(line) + " |" for line in lines)
    said = "\n".join(f"- {why}" for why in dict.fromkeys(s.why))
    told = f"\n\nWhat the report says of the pieces there:\n\n{said}" if said else ""
    return (
        f"## {s.room}\n\nThe plan spends {s.spent:.2f} on the back wall; each sort may spend "
        f"{s.money:.2f}.\n\n{text}{told}"
    )


def planned(name: str) -> Swap:
    """A room planned, and swapped."""
    decision = build_decision(load_project(ROOT / "scenarios" / f"{name}.toml"))
    judges = decision.project.judges("fast")
    found = plan_in_rounds(
        decision.project, decision.candidates, decision.effects, judges, GAP, SECONDS
    )
    decision = replace(decision, candidates=found.candidates, effects=found.effects)
    made = swap(name, decision, found.best, judges)
    scores = {sort: f"{j.score:.4f}" for sort, j in made.only.items()}
    print(name, f"{made.planned.score:.4f}", scores, flush=True)
    return made


def main() -> None:
    swaps = [planned(name) for name in ROOMS]
    text = [
        "# Diffuser or absorber on the back wall",
        "Written by rear_wall.py. Demo rooms, prices and budgets are invented.",
        (__doc__ or "").strip().split("\n\n")[2],
        "Score: weighted excess over the limits, 0 when all is met; the columns beside it are what "
        "each group of criteria adds.",
        *(section(s) for s in swaps),
    ]
    Path(__file__).with_suffix(".md").write_text("\n\n".join(text) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
