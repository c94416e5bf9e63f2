"""From a project to a plan: candidates, effects, the proven selection, and the score card."""

from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace

import numpy as np

from optimizer.acoustics.early_criteria import EarlyFamily
from optimizer.acoustics.judged import Judged, judge_scene
from optimizer.placement.candidates import CENTRED, Candidate, find_candidates
from optimizer.placement.effects import Effects, effects_table
from optimizer.placement.effort import Effort, Guard
from optimizer.placement.lifting import Choice, InTheWay, in_the_way
from optimizer.placement.order import Ints
from optimizer.placement.orderly import order_of
from optimizer.placement.pieces import Piece, mirrored_piece, treated
from optimizer.placement.plan import Selection
from optimizer.placement.proof import Report
from optimizer.project import Judging, Project, load_project
from optimizer.results.model import Plan, PlannedPiece
from optimizer.results.scorecard import card_of, how_sure, reasons
from optimizer.results.shopping import shopping_list
from optimizer.room.geometry import DIGITS, Floats
from optimizer.room.model import Room, mirror_box
from optimizer.round_record import Rounds, Told, rounds_in_words
from optimizer.rounds import plan_in_rounds
from optimizer.together import one_thread_each

__all__ = [
    "Decision", "Plan", "Planned", "build_decision", "load_project", "make_plan", "plan_decision",
    "planned",
]  # fmt: skip

DEFAULT_GAP = 0.01
DEFAULT_TIME_LIMIT = 3600.0  # s; a guard, far more than the effort of a search takes


@dataclass(frozen=True)
class Decision:
    """A project's decision as arrays, in the handedness in which it is solved."""

    project: Project
    flipped: bool  # True when left and right are exchanged against the person's room
    candidates: tuple[Candidate, ...]
    effects: Effects
    refused: Callable[[Candidate], bool] = lambda _: False  # what a person wants in no plan


def build_decision(project: Project) -> Decision:
    """Candidates and effects of a project.

    A room and its mirror image are solved in one and the same handedness, so that the plan of
    the mirrored room is the mirrored plan whatever the gap.
    """
    return decision_of(*_in_one_handedness(project))


def decision_of(flipped: bool, solved: Project) -> Decision:
    """Candidates and effects of a project in the handedness in which it is solved."""
    products = solved.usable_products
    limits = solved.scenario.limits
    rules = solved.scenario.layout.rules
    found = find_candidates(solved.room, products, limits, bounce_points(solved), rules)
    effects = effects_table(
        solved.room, solved.scene, solved.criteria, found, products, solved.spendable_cents
    )
    effects = replace(effects, order=order_of(solved.room, found, rules))
    return Decision(solved, flipped, found, effects)


def _in_one_handedness(project: Project) -> tuple[bool, Project]:
    """Whether a project is solved mirrored, and as what."""
    image = project.mirrored()
    flipped = signature(image.room) < signature(project.room)
    return flipped, image if flipped else project


def make_plan(
    project: Project,
    gap: float = DEFAULT_GAP,
    time_limit: float | Effort = DEFAULT_TIME_LIMIT,
    report: Report | None = None,
    judging: Judging = "full",
    tell: Told = lambda text: None,
    confidence: float | None = None,
    earlier: "Callable[[Decision], Sequence[Ints]]" = lambda _: (),
) -> Plan:
    """The best plan for a project within its budget, to a relative gap or with an effort.

    A time limit in s guards the whole: when it binds, the plan is the best so far and says so (its
    `cut_off`); otherwise the same project has the same plan on every machine.

    Planned in rounds with the judges of Project.judges(judging); with a `confidence` from 0.5 to
    1 so that each criterion holds with that probability, as far as the money goes. Selections found
    by `earlier` are begun from, and kept when nothing better is found.
    """
    effort = Effort.of(time_limit)
    made = plan_decision(project, gap, effort, report, judging, tell, confidence, earlier)
    return made.plan(made.rounds.best.selection, judging, tell)


@dataclass(frozen=True)
class Planned:
    """A project's decision and the rounds in which it was planned."""

    project: Project
    decision: Decision
    rounds: Rounds
    guard: Guard

    def plan(self, selection: Selection, judging: Judging, tell: Told = lambda text: None) -> Plan:
        """A selection of the decision as a plan, judged; when the time is over without ranges."""
        with one_thread_each():
            return self._plan(selection, judging, tell)

    def _plan(self, selection: Selection, judging: Judging, tell: Told) -> Plan:
        project, decision = self.project, self.decision
        picked = [decision.candidates[c] for c in selection.chosen]
        chosen = [candidate.pieces for candidate in picked]
        if decision.flipped:
            room, image = decision.project.room, project.room
            chosen = [tuple(mirrored_piece(p, room, image) for p in ps) for ps in chosen]
        pairs = [
            pair
            for pieces, candidate in zip(chosen, picked, strict=True)
            for pair in _pairs(project.room, pieces, candidate.is_pair)
        ]
        groups = _in_order(project, [_left_first(pair) for pair in pairs])
        pieces = [piece for group in groups for piece in group]
        before, after = self._judged(selection, pieces, judging)
        late = judging != "none" and self.guard.over()
        if not late:
            tell("drawing how sure the figures are")
        informers = project.informers(judging)
        with ThreadPoolExecutor(1) as pool:  # the low end is linear algebra, beside Python
            informed = pool.submit(after.with_findings, informers)
            sampled = None if late else how_sure(project, after, pieces, judging)
            after = informed.result()
        return Plan(
            project=project,
            selection=selection,
            candidates=len(decision.candidates),
            pairs=sum(c.is_pair for c in decision.candidates),
            pieces=_numbered(project, after, groups),
            card=card_of(before, after, sampled),
            shopping=shopping_list(pieces, project.products, project.scenario.budget.delivery),
            judged=self.rounds.judged,
            corrected=self.rounds.best.corrected,
            rounds=rounds_in_words(self.rounds),
            cut_off=self.guard.cut,
            low=(before.said.low, after.said.low),
            in_the_way=() if late else self._rules(selection),
        )

    def _rules(self, selection: Selection) -> tuple[InTheWay, ...]:
        """Rules that cost the best plan; nothing of others, which are told beside it."""
        best, solved = self.rounds.best, self.decision.project
        if selection is not best.selection:
            return ()
        effects = replace(self.decision.effects, criteria=best.judged.corrected)
        found = in_the_way(
            Choice(
                solved.room, solved.scene, solved.products, solved.scenario.limits,
                self.decision.candidates, effects, selection.chosen, bounce_points(solved),
                self.decision.refused, solved.scenario.layout.rules,
            )
        )  # fmt: skip
        if not self.decision.flipped:
            return found
        rooms = solved.room, self.project.room
        return tuple(
            replace(rule, pieces=tuple(mirrored_piece(p, *rooms) for p in rule.pieces))
            for rule in found
        )

    def _judged(
        self, selection: Selection, pieces: list[Piece], judging: Judging
    ) -> tuple[Judged, Judged]:
        """The room before, with findings, and after, in the person's handedness, judged once."""
        project, best = self.project, self.rounds.best
        judges = project.judges(judging)
        before, after = self.rounds.before, best.judged
        if self.decision.flipped:
            informers = project.informers(judging)
            before = judge_scene(project.scene, project.criteria, [*judges, *informers])
        if self.decision.flipped or selection is not best.selection:
            scene = treated(project.room, project.scene, pieces)
            after = judge_scene(scene, project.criteria, judges)
        return before, after


def plan_decision(
    project: Project,
    gap: float = DEFAULT_GAP,
    time_limit: float | Effort = DEFAULT_TIME_LIMIT,
    report: Report | None = None,
    judging: Judging = "full",
    tell: Told = lambda text: None,
    confidence: float | None = None,
    earlier: Callable[[Decision], Sequence[Ints]] = lambda _: (),
) -> Planned:
    """The rounds of planning of a project; arguments as for make_plan.

    `earlier` finds the selections of plans that there were before among the candidates.
    """
    effort = Effort.of(time_limit)
    flipped, solved = _in_one_handedness(project)
    judges, scene, criteria = solved.judges(judging), solved.scene, solved.criteria
    with one_thread_each(), ThreadPoolExecutor(1) as pool:
        bare = pool.submit(judge_scene, scene, criteria, judges)
        decision = decision_of(flipped, solved)
        return planned(
            project, decision, gap, effort, report, judging, tell, confidence,
            earlier(decision), bare.result,
        )  # fmt: skip


def planned(
    project: Project,
    decision: Decision,
    gap: float,
    effort: Effort,
    report: Report | None,
    judging: Judging,
    tell: Told,
    confidence: float | None,
    earlier: Sequence[Ints],
    bare: Callable[[], Judged] | None = None,
) -> Planned:
    """The rounds of a project's decision; `bare` gives its room judged, when that is under way."""
    solved = decision.project
    with one_thread_each():
        rounds = plan_in_rounds(
            solved, decision.candidates, decision.effects, solved.judges(judging), gap, effort,
            report, tell, confidence, earlier, solved.informers(judging), bare, decision.refused,
        )  # fmt: skip
    decision = replace(decision, candidates=rounds.candidates, effects=rounds.effects)
    return Planned(project, decision, rounds, effort.guard)


def bounce_points(project: Project) -> dict[str, Floats]:
    """Points (N, 2) of each surface where early reflections above their limit bounce."""
    points: dict[str, list[Floats]] = {}
    for family in project.criteria.families:
        if isinstance(family, EarlyFamily):
            over = family.excess(family.quantities(project.scene)) > 0
            for s, r, p in family.index[over]:
                if p < len(project.room.surfaces):
                    surface = project.room.surfaces[p]
                    uv = surface.plane.to_uv(family.paths.bounce[s, r, p])
                    points.setdefault(surface.name, []).append(uv)
    return {name: np.unique(np.round(uv, DIGITS), axis=0) for name, uv in points.items()}


def signature(room: Room) -> tuple[object, ...]:
    """A sortable description of a room's geometry and materials."""
    surfaces = [
        (s.name, s.material.id, s.plane.origin.tolist(), s.plane.polygon.tolist(),
         [(a.kind, a.material.id, a.rect) for a in s.areas])
        for s in room.surfaces
    ]  # fmt: skip
    furniture = sorted((f.kind, f.material.id, f.box.tolist()) for f in room.furniture)
    points = [[s.at.tolist(), s.aim.tolist()] for s in room.speakers]
    points += [[s.at.tolist(), [s.weight]] for s in room.seats]
    clear = sorted(b.box.tolist() for b in room.keep_clear)
    return surfaces, furniture, points, clear


def _left_first(pieces: tuple[Piece, ...]) -> list[Piece]:
    return sorted(pieces, key=lambda p: float(p.box[:, 1].mean()))


def _in_order(project: Project, groups: list[list[Piece]]) -> list[list[Piece]]:
    """Groups in the order of the price list, then around the room."""
    place = {product.id: i for i, product in enumerate(project.products)}
    walls = {surface.name: i for i, surface in enumerate(project.room.surfaces)}
    return sorted(
        groups,
        key=lambda g: (place[g[0].product.id], walls[g[0].rects[0][0]], g[0].rect),
    )


def _pairs(room: Room, pieces: Sequence[Piece], is_pair: bool) -> Iterator[tuple[Piece, ...]]:
    """The mirrored pairs and single pieces of a candidate.

    Each piece of a pair of blocks has its twin in the other one (whose wall need not lie evenly
    about the axis), a piece of a block on the axis may have one in the same.
    """
    left = list(pieces)
    half = len(left) // 2
    others = left[half:] if is_pair else left
    while left:
        piece = left.pop(0)
        image = mirror_box(piece.box, 2 * room.axis_y)
        off = {id(p): float(np.abs(p.box - image).max()) for p in others if p is not piece}
        twin = min((p for p in left if id(p) in off), key=lambda p: off[id(p)], default=None)
        if twin is None or (not is_pair and off[id(twin)] >= CENTRED):
            yield (piece,)
            continue
        yield (piece, twin)
        left = [p for p in left if p is not twin]
        others = [p for p in others if p is not twin]


def _numbered(
    project: Project, after: Judged, groups: list[list[Piece]]
) -> tuple[PlannedPiece, ...]:
    why = reasons(project.room, project.scene, after, groups)
    numbered: list[PlannedPiece] = []
    for group, reason in zip(groups, why, strict=True):
        ids = [str(len(numbered) + 1 + i) for i in range(len(group))]
        twins = ids[::-1] if len(group) == 2 else [None]
        numbered += [
            PlannedPiece(i, piece, twin, reason)
            for i, piece, twin in zip(ids, group, twins, strict=True)
        ]
    return tuple(numbered)
