"""The search for set-ups: every one of a grid judged, the best told apart and judged anew.

For the low end the search takes what moves along with the listener (desk, chair, person) as
standing where it is now. The set-ups shown are judged again with
everything in its place, so that `treatment predict` gives the same figures for them.
"""

import time
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field, replace

import numpy as np

from optimizer.acoustics.coupled_build import CoupledBox
from optimizer.acoustics.directivity import Directivity
from optimizer.acoustics.early_criteria import PROFILES
from optimizer.acoustics.judging import directivity_of
from optimizer.acoustics.low_response import HIGHEST_HZ, coupled_box, furnished, unfurnished_box
from optimizer.acoustics.scene import Scene
from optimizer.placement.pieces import Piece, treated
from optimizer.positions.early import EarlyRows, early_rows
from optimizer.positions.low_end import LowRows, exact_levels, rows_of, search_levels
from optimizer.positions.moving import movers, present, project_with, with_home_boxes
from optimizer.positions.places import admissible
from optimizer.positions.quality import Qualities, qualities
from optimizer.positions.set_ups import Reach, SetUp, SetUps, grid
from optimizer.positions.turning import FACINGS, turned
from optimizer.project import Project
from optimizer.room.geometry import Floats
from optimizer.room.model import Room

DISTINCT = 0.3  # m that a loudspeaker or the ears move at least from one set-up shown to the next
THREADS = 2
Told = Callable[[str], None]


@dataclass(frozen=True)
class Judged:
    """A set-up judged with everything in its place."""

    set_up: SetUp
    project: Project
    quality: Qualities  # of one

    @property
    def score(self) -> float:
        """The score; 0 is best."""
        return float(self.quality.scores[0])


@dataclass(frozen=True)
class Searched:
    """All admissible set-ups that face one wall."""

    set_ups: SetUps
    quality: Qualities
    tried: int

    def best(self) -> SetUp | None:
        """The best of them, None when there is none."""
        if not len(self.set_ups):
            return None
        return self.set_ups.one(int(self.quality.scores.argmin()))


@dataclass(frozen=True)
class Found:
    """What a search found: the set-up as it is, the best distinct ones, the best of each wall."""

    now: Judged
    best: tuple[Judged, ...]
    facing: dict[str, Judged]
    searched: tuple[Searched, ...]
    seconds: float

    @property
    def judged(self) -> int:
        """How many set-ups were judged."""
        return sum(len(s.set_ups) for s in self.searched)


@dataclass
class Bench:
    """A project made ready to judge set-ups; keeps the coupled boxes it has made."""

    project: Project
    _boxes: dict[str, CoupledBox] = field(default_factory=dict)

    @property
    def directivity(self) -> Directivity:
        """How the loudspeakers radiate."""
        return directivity_of(self.project.scenario.loudspeaker)

    @property
    def window_ms(self) -> float:
        """How long a reflection counts as early."""
        return PROFILES[self.project.scenario.targets.early][1]

    def judge(self, set_up: SetUp) -> Judged:
        """A set-up with everything in its place, by the models of `treatment predict`."""
        project = project_with(self.project, set_up)
        return Judged(set_up, project, self._judge(project, set_up.facing))

    def treated(self, project: Project, pieces: Sequence[Piece]) -> Qualities:
        """The same parts of a set-up's project with pieces in the room."""
        scene = treated(project.room, project.scene, pieces)
        box = None
        if project.room.dimensions is not None:
            box = coupled_box(scene, project.room.dimensions, HIGHEST_HZ)
        return self._rows(scene, box)

    def now(self) -> Judged:
        """The set-up as it is, aimed as it is."""
        found = self._judge(self.project, "front")
        return Judged(present(self.project.room), self.project, found)

    def _judge(self, project: Project, facing: str) -> Qualities:
        room, scene = project.room, project.scene
        if room.dimensions is None:
            return self._rows(scene, None)
        if facing not in self._boxes:
            self._boxes[facing] = unfurnished_box(scene, room.dimensions, HIGHEST_HZ)
        return self._rows(scene, furnished(self._boxes[facing], scene, room.dimensions))

    def _rows(self, scene: Scene, box: CoupledBox | None) -> Qualities:
        speakers, ears = scene.speakers[:2], scene.seats[0]
        early = early_rows(scene, speakers[None], ears[None], self.directivity, self.window_ms)
        if box is None:
            return qualities(early, None)
        return qualities(early, rows_of(exact_levels(box, speakers, ears, scene.seats[1:])))


def search(
    project: Project, top: int = 3, reach: Reach | None = None, tell: Told = lambda text: None
) -> Found:
    """The best `top` distinct set-ups of a project's room, and the best of each wall faced.

    `reach` says which heights may be tried; left out, the ears stay at their height.
    """
    start = time.perf_counter()
    tried = judge_all(project, reach, tell)
    seconds = time.perf_counter() - start
    tell("judging the best anew, with everything in its place")
    chosen = distinct(tried, top)
    firsts = [s for s in (part.best() for part in tried) if s is not None]
    same = [next((c for c in chosen if c.apart(s) < 1e-9), s) for s in firsts]
    wanted = {id(s): s for s in (*chosen, *same)}
    bench = Bench(project)
    with ThreadPoolExecutor(THREADS) as pool:  # most of it is linear algebra, beside Python
        now = pool.submit(bench.now)
        judged = dict(zip(wanted, pool.map(bench.judge, wanted.values()), strict=True))
    best = sorted((judged[id(s)] for s in chosen), key=lambda j: j.score)
    walls = {s.facing: judged[id(s)] for s in same}
    return Found(now.result(), tuple(best), walls, tuple(tried), seconds)


def judge_all(
    project: Project, reach: Reach | None = None, tell: Told = lambda text: None
) -> list[Searched]:
    """Every admissible set-up of the grid, judged; one entry per wall that can be faced."""
    room = project.room
    reach = reach or Reach((float(room.seats[0].at[2]),))
    bench = Bench(project)
    places: list[SetUps] = []
    counts: list[int] = []
    rooms = {facing: turned_room(room, facing) for facing in facings(project)}
    for facing, there in rooms.items():
        every = grid(facing, *bounds(there), reach)
        counts.append(len(every))
        places.append(every.take(admissible(there, room, every)))
    tell(f"judging {sum(len(p) for p in places)} set-ups")
    with ThreadPoolExecutor(1) as pool:  # the low end runs in compiled code, beside the rest
        bass = pool.submit(_low_rows, project, places)
        early = []
        for there, part in zip(rooms.values(), places, strict=True):
            early.append(_early_rows(bench, there, part))
        low = bass.result()
    return [
        Searched(part, qualities(first, second), count)
        for part, first, second, count in zip(places, early, low, counts, strict=True)
    ]


def _low_rows(project: Project, places: list[SetUps]) -> list[LowRows] | list[None]:
    """What the low end is like at set-ups of a box room; None for other rooms."""
    size, scene = project.room.dimensions, project.scene
    if size is None:
        return [None] * len(places)
    box = coupled_box(scene, size, HIGHEST_HZ)
    return [rows_of(x) for x in search_levels(box, size[:2], places, scene.seats[1:])]


def facings(project: Project) -> tuple[str, ...]:
    """Walls that can be faced: all of a box room, unless pieces hang in it already; else only the
    one that is faced now."""
    if project.room.dimensions is None or project.hung:
        return FACINGS[:1]
    return FACINGS


def turned_room(room: Room, facing: str) -> Room:
    """The room with that wall in front."""
    return room if facing == FACINGS[0] else turned(room, facing)


def distinct(searched: Sequence[Searched], top: int) -> list[SetUp]:
    """The best `top` set-ups that differ from each other by at least DISTINCT."""
    ranked = sorted(
        ((float(score), s, i) for s in searched for i, score in enumerate(s.quality.scores)),
        key=lambda item: item[0],
    )
    chosen: list[SetUp] = []
    for _, part, index in ranked:
        if len(chosen) == top:
            break
        one = part.set_ups.one(index)
        if all(one.apart(other) >= DISTINCT - 1e-9 for other in chosen):
            chosen.append(one)
    return chosen


def bounds(room: Room) -> tuple[Floats, Floats]:
    """Least and greatest corner (3,) of a room."""
    corners = np.concatenate([s.plane.to_xyz(s.plane.polygon) for s in room.surfaces])
    return corners.min(axis=0), corners.max(axis=0)


def _early_rows(bench: Bench, there: Room, set_ups: SetUps) -> EarlyRows:
    """Reflections of set-ups in a turned room, with what moves along in its place where the room
    is a box in which nothing hangs, else without it."""
    project, along = bench.project, movers(bench.project.room)
    common = (set_ups.speakers, set_ups.heads, bench.directivity, bench.window_ms)
    if there.dimensions is None or project.hung:
        stays = tuple(f for i, f in enumerate(there.furniture) if i not in along)
        return early_rows(replace(project, room=replace(there, furniture=stays)).scene, *common)
    home = project.room
    scene = replace(project, room=with_home_boxes(there, home)).scene
    steps = set_ups.heads - home.seats[0].at
    moves = np.zeros((len(set_ups), len(there.furniture), 3))
    for index in along:
        moves[:, index, :2] = steps[:, :2]
    return early_rows(scene, *common, moves)
