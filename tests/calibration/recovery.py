"""Rooms whose true coefficients are known, because they are drawn; shared by tests and evidence.

A random small room is described with the table's coefficients. In truth each coefficient of what
is in the room is off by a normal draw in units of its own uncertainty (at most two of them); the
products are what the table says, as no measurement without them can tell. The true decay is that of
the tracer and of the coupled modes with the true coefficients, with other rays than calibration
uses.
Sizes, prices and furniture are invented; nothing here is a figure from a source.
"""

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from optimizer.acoustics.judge_trace import TraceJudge
from optimizer.acoustics.judged import judge_scene
from optimizer.calibration.fit import Calibration, calibrate
from optimizer.calibration.measured import Measured, decay_error
from optimizer.calibration.model import State, Table
from optimizer.calibration.unknowns import made_of, product_of, unknowns_of, with_materials
from optimizer.earlier_plan import Earlier, begin_from, make_plan_from
from optimizer.placement.pieces import Piece, flat_piece, treated
from optimizer.planning import make_plan
from optimizer.project import Project, load_project
from optimizer.room.geometry import Floats

MOST_OFF = 2.0  # sigmas
HARDEST, SOFTEST = 1e-3, 0.95
POSITIONS = 12  # pairs of source and receiver that the measurement is said to be the mean of
TRUE_RAYS, TRUE_SEED = 20_000, 77
MIDDLE = slice(2, 7)  # 250 Hz to 4 kHz
WALLS = ("plaster_on_masonry", "gypsum_board_studs", "brick_bare")
FLOORS = ("parquet_on_battens", "carpet_6_foam_underlay", "carpet_6_foam_underlay")
CEILINGS = ("ceiling_plasterboard_void", "plaster_on_masonry")
PRICES = """\
id,name,kind,width,height,depth,turn,mountings,gaps,materials,faces,price,pack,owned
thin,wool panel 50 mm,panel,0.6,1.2,0.05,yes,wall,0,mineral_wool_50_wall,1,45,1,0
thick,wool panel 100 mm,panel,0.6,1.2,0.1,yes,wall,0,mineral_wool_100_wall,1,85,1,0
cloud,cloud 100 mm,cloud,1.2,1.2,0.1,no,ceiling,0.1,mineral_wool_100_gap_100,1,150,1,0
corner,corner fill,corner,0.4,1.2,0.4,no,corner,0,corner_fill_400,1,120,1,0
"""


def room_toml(rng: np.random.Generator) -> str:
    """A random box with two loudspeakers, a seat, a window and some furniture."""
    length, width, height = rng.uniform([3.4, 2.8, 2.4], [5.0, 3.8, 2.8]).round(2)
    walls = "".join(f'{n} = "{rng.choice(WALLS)}"\n' for n in ("front", "back", "left", "right"))
    middle = width / 2
    sofa = (
        f'[[furniture]]\nkind = "sofa"\nat = [{length - 1.0:.2f}, 0.5, 0.0]\n'
        "size = [0.9, 1.6, 0.8]\n"
    )
    if rng.random() < 0.5:
        sofa += (
            f'[[furniture]]\nkind = "bookcase"\nat = [2.0, {width - 0.3:.2f}, 0.0]\n'
            "size = [0.9, 0.3, 1.8]\n"
        )
    return (
        f'title = "drawn"\n[room]\nlength = {length}\nwidth = {width}\nheight = {height}\n'
        f'[surfaces]\n{walls}floor = "{rng.choice(FLOORS)}"\nceiling = "{rng.choice(CEILINGS)}"\n'
        '[[areas]]\nsurface = "left"\nkind = "window"\nmaterial = "double_glazing_10"\n'
        f"at = [1.0, 0.9]\nsize = [1.2, 1.1]\n{sofa}"
        f'[[speakers]]\nname = "a"\nat = [0.6, {middle - 0.7:.3f}, 1.2]\n'
        f'[[speakers]]\nname = "b"\nat = [0.6, {middle + 0.7:.3f}, 1.2]\n'
        f'[[seats]]\nname = "mix"\nat = [{0.45 * length:.3f}, {middle:.3f}, 1.2]\n'
        f"[budget]\namount = {int(rng.integers(8, 16)) * 100}\n"
        'catalogue = "prices.csv"\n[limits]\ngrid = 0.6\n'
    )


@dataclass(frozen=True)
class Drawn:
    """A room as described, and the materials it is truly made of."""

    project: Project
    truth: Table

    @property
    def true_project(self) -> Project:
        """The room as it truly is."""
        return made_with(self.project, self.truth)


def made_with(project: Project, table: Table) -> Project:
    """The project with materials of a table in place of those of the same id."""
    return replace(
        project,
        room=with_materials(project.room, table),
        products=tuple(product_of(product, table) for product in project.products),
        hung=tuple(made_of(project.hung, table)),
    )


def draw(folder: Path, seed: int) -> Drawn:
    """A random room and its truth, the same for the same seed."""
    rng = np.random.default_rng(seed)
    (folder / "prices.csv").write_text(PRICES)
    (folder / "room.toml").write_text(room_toml(rng))
    project = load_project(folder / "room.toml")
    unknowns = unknowns_of([(project.room, ())])
    z = np.clip(rng.standard_normal(unknowns.prior.shape), -MOST_OFF, MOST_OFF)
    table = unknowns.table(z)
    soft = {"alpha": SOFTEST, "m2": np.inf}
    truth = {
        id: replace(
            m,
            absorption=tuple(np.clip(m.absorption, HARDEST, max(soft[m.unit], *p.absorption))),
        )
        for (id, m), p in zip(table.items(), unknowns.materials, strict=True)
    }
    return Drawn(project, truth)


def one_of_each(project: Project) -> list[Piece]:
    """A piece of every product, wherever; only its material matters."""
    return [
        flat_piece(project.room, p, 0, p.mountings[0], "front", (0, 0, 1, 1), False)
        for p in project.products
    ]


def measure(project: Project, truth: Table, pieces: tuple[Piece, ...] = ()) -> Measured:
    """The decay of the true room with pieces in it, as if measured."""
    true = made_with(project, truth)
    judges = tuple(
        replace(j, rays=TRUE_RAYS, seed=TRUE_SEED) if isinstance(j, TraceJudge) else j
        for j in true.judges("fast")
    )
    nothing = Measured((), np.full(8, np.nan), np.full(8, np.nan), np.full(8, np.nan))
    state = State("true", project.room, pieces, nothing, judges)
    found = state.decay(truth)
    t20 = found.t20 * state.corrections(truth)
    t30 = np.where(found.bend != 0, t20 * np.exp(found.bend), np.nan)
    return Measured(("simulated",), t20, t30, decay_error(t20, POSITIONS))


def calibrated(drawn: Drawn) -> Calibration:
    """The room calibrated on its true decay without treatment."""
    project = drawn.project
    measured = measure(project, drawn.truth)
    return calibrate([State("bare", project.room, (), measured, project.judges("fast"))])


def off_by(found: Calibration) -> tuple[Floats, Floats]:
    """Relative error of the predicted decay before and after (5,), 250 Hz to 4 kHz."""
    times = np.array([found.before[0], found.after[0]])
    before, after = np.abs(times / found.measured[0] - 1)[:, MIDDLE]
    return before, after


def planned(project: Project) -> list[Piece]:
    """The pieces of the plan made for a project."""
    return [p.piece for p in make_plan(project, 0.02, judging="fast").pieces]


def replanned(project: Project, pieces: list[Piece]) -> list[Piece]:
    """The pieces of the plan made for a project from an earlier plan, as with --earlier."""
    begun = begin_from(Earlier("plan.json", tuple(pieces)), project)
    return [p.piece for p in make_plan_from(begun, 0.02, judging="fast").plan.pieces]


def score(project: Project, pieces: list[Piece]) -> float:
    """Weighted excess of a room with pieces, judged by tracer and coupled modes."""
    scene = treated(project.room, project.scene, pieces)
    return judge_scene(scene, project.criteria, project.judges("fast")).score
