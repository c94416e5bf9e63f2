"""What planning in rounds gains over planning with the quick models alone, in random small rooms.

Run: OPENBLAS_NUM_THREADS=1 python tests/evidence/correction_gain.py [rays | waves | low]
Writes the .md beside it (all parts without an argument); about three, six and five minutes.

Each room is planned twice for the same money: in rounds corrected by fuller models, and once with
the criteria alone, which is also the first of the rounds. Then both plans are judged alike, by
models that had no part in the uncorrected plan: the score is the weighted excess over all limits,
0 when all is met.

Part 1, ten rooms of 18 to 45 m3: rounds with the ray tracer and, below the Schroeder frequency, the
coupled modes; both plans judged by the same two with another seed and five times the rays.
Part 2, ten rooms of 14 to 20 m3: rounds with the wave equation besides, up to 500 Hz; both plans
judged with the wave equation on a grid of half the spacing. "Waves' share" is what the rows from 63
to 500 Hz make of either score.
Part 3, the same rooms and judges: planned for the decay from 63 to 500 Hz alone (all other weights
0), so that nothing else is traded for it.

Rooms, materials, prices and budgets are drawn at random and mean nothing. How far the tracer's
weights of the surfaces are believed was chosen with other rooms (seeds 20 to 27). "Rounds" include
the search from the better of their plans.
"""

import sys
import tempfile
import time
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from optimizer.acoustics.assessment import Judge
from optimizer.acoustics.criteria import Criteria
from optimizer.acoustics.judge_trace import RAYS, TraceJudge
from optimizer.acoustics.judge_waves import MODEL, TOLERANCE, WaveJudge
from optimizer.acoustics.judged import Judged, judge_scene
from optimizer.acoustics.modes import octave_edges
from optimizer.acoustics.wave_budget import spacing_for
from optimizer.bands import BANDS, band_label
from optimizer.placement.order import Ints
from optimizer.placement.pieces import piece_patches
from optimizer.planning import Decision, build_decision
from optimizer.project import load_project
from optimizer.round_record import Rounds
from optimizer.rounds import plan_in_rounds

ROOMS = 10
GAP = 0.02
SECONDS = 3600.0  # never needed; so results do not depend on the machine
TOP = 500  # highest octave of the wave equation in parts 2 and 3
BETTER = 1e-9
HEADER = "id,name,kind,width,height,depth,turn,mountings,gaps,materials,faces,price,pack,owned\n"
PRODUCTS = """\
wool50,wool panel 50,panel,0.6,1.2,0.05,yes,wall ceiling,0,mineral_wool_50_wall,1,47,1,0
wool100,wool panel 100,panel,0.6,1.2,0.1,yes,wall ceiling,0,mineral_wool_100_wall,1,84,1,0
corner,corner fill,corner,0.3,0.6,0.3,no,corner,0,corner_fill_300,1,55,1,0
block,stepped-block diffuser,diffuser,0.6,0.6,0.15,no,wall,0,diffuser_skyline,1,95,1,0
foil,foil-faced panel,panel,0.6,1.2,0.1,yes,wall,0,membrane_foil_wool_100,1,94,1,0
rug,rug,rug,1.6,2.3,0.01,yes,floor,0,rug_on_hard_floor,1,115,1,0
"""
WALLS = ("plaster_on_masonry", "gypsum_board_studs", "concrete_block_painted")
FLOORS = ("laminate_floating", "concrete_floor", "parquet_on_battens", "carpet_6_foam_underlay")
CEILINGS = ("ceiling_plasterboard_void", "plaster_on_masonry")


def room_text(rng: np.random.Generator, smallest: float, largest: float) -> str:
    """A room file of a random box with a volume between two, perhaps a window and a door."""
    while True:
        length, width, height = rng.uniform([2.5, 2.2, 2.2], [5.0, 3.9, 2.8]).round(2)
        volume = length * width * height
        if smallest <= volume <= largest and width < length:
            break
    walls = "".join(f'{n} = "{rng.choice(WALLS)}"\n' for n in ("front", "back", "left", "right"))
    middle, apart = 0.5 * width, rng.uniform(0.28, 0.34) * width
    ear = round(float(rng.uniform(0.45, 0.6) * length), 2)
    more = ""
    if rng.random() < 0.6:
        more += (
            f'[[areas]]\nsurface = "{rng.choice(["left", "right"])}"\nkind = "window"\n'
            f'material = "glass_3_4"\nat = [{0.3 * length:.2f}, 0.9]\nsize = [0.9, 1.0]\n'
        )
    if rng.random() < 0.6:
        more += (
            f'[[areas]]\nsurface = "back"\nkind = "door"\nmaterial = "door_hollow"\n'
            f"at = [{0.6 * width:.2f}, 0.0]\nsize = [0.8, 2.0]\n"
        )
    speakers = "".join(
        f'[[speakers]]\nname = "{name} speaker"\nat = [0.5, {middle + side * apart:.3f}, 1.15]\n'
        for name, side in (("left", -1), ("right", 1))
    )
    return (
        f'title = "random"\n[room]\nlength = {length}\nwidth = {width}\nheight = {height}\n'
        f'[surfaces]\n{walls}floor = "{rng.choice(FLOORS)}"\nceiling = "{rng.choice(CEILINGS)}"\n'
        f'{more}{speakers}[[seats]]\nname = "mix"\nat = [{ear}, {middle:.3f}, 1.15]\n'
        f'[budget]\namount = {rng.uniform(15, 45) * volume:.0f}\ncatalogue = "prices.csv"\n'
        "[limits]\ngrid = 0.6\nmax_depth = 0.3\n"
    )


def random_decision(seed: int, smallest: float, largest: float) -> Decision:
    """The decision of a random room, the same for the same seed."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "room.toml"
        (path.parent / "prices.csv").write_text(HEADER + PRODUCTS)
        path.write_text(room_text(np.random.default_rng(seed), smallest, largest))
        return build_decision(load_project(path))


@dataclass(frozen=True)
class Trial:
    """One room, planned both ways, each plan judged by the same models."""

    volume: float
    budget: float
    candidates: int
    bare: Judged  # by the models that judge the rounds
    uncorrected: Judged
    corrected: Judged
    rounds: Rounds
    same: bool
    seconds: float  # CPU of the corrected plan

    @property
    def scores(self) -> tuple[float, float]:
        """Judged score of the uncorrected and the corrected plan."""
        return self.uncorrected.score, self.corrected.score


def judged(decision: Decision, chosen: Ints, judges: Sequence[Judge]) -> Judged:
    """A selection in its room, judged."""
    project = decision.project
    pieces = [piece for c in chosen for piece in decision.candidates[c].pieces]
    scene = project.scene.with_pieces(piece_patches(project.room, pieces)[0])
    return judge_scene(scene, decision.effects.criteria, judges)


def for_low_decay(decision: Decision) -> Decision:
    """The same decision with no weight but that of the decay up to TOP."""
    effects = decision.effects
    wanted = {f"decay: {band_label(band)}" for band in BANDS if band <= TOP}
    families = tuple(
        family.with_rows(
            tuple(row if row.key in wanted else replace(row, weight=0.0) for row in family.rows)
        )
        for family in effects.criteria.families
    )
    return replace(decision, effects=replace(effects, criteria=Criteria(families)))


def tried(decision: Decision, inside: Sequence[Judge], last: Sequence[Judge]) -> Trial:
    """The room planned with judges and without, both plans judged by the last ones."""
    project, effects = decision.project, decision.effects
    began = time.process_time()
    made = [
        plan_in_rounds(project, decision.candidates, effects, judges, GAP, SECONDS)
        for judges in (inside, ())
    ]
    spent = time.process_time() - began
    plans = [m.best.selection.chosen for m in made]
    same = np.array_equal(plans[0], plans[1])
    corrected = judged(decision, plans[0], last)
    plain = corrected if same else judged(decision, plans[1], last)
    return Trial(
        project.room.volume, project.budget_cents / 100, effects.count, made[0].before, plain,
        corrected, made[0], same, spent,
    )  # fmt: skip


def part_one(seed: int) -> Trial:
    """Rays and coupled modes."""
    decision = random_decision(seed, 18, 45)
    inside = decision.project.judges("fast")
    last = tuple(
        TraceJudge(j.above_hz, 5 * RAYS, seed=77) if isinstance(j, TraceJudge) else j
        for j in inside
    )
    return tried(decision, inside, last)


def part_two(seed: int) -> Trial:
    """Waves up to TOP besides."""
    return with_waves(random_decision(100 + seed, 14, 20))


def part_three(seed: int) -> Trial:
    """The same for the decay up to TOP alone."""
    return with_waves(for_low_decay(random_decision(100 + seed, 14, 20)))


def with_waves(decision: Decision) -> Trial:
    """Planned with waves in the rounds, judged on a grid of half the spacing."""
    fast = decision.project.judges("fast")
    return tried(decision, (*fast, WaveJudge(TOP)), (*fast, WaveJudge(TOP, halving())))


def halving() -> float:
    """The tolerance that gives half the grid spacing of the wave judge's own."""
    f_max = octave_edges(TOP)[1]
    wanted = 0.5 * spacing_for(f_max, TOLERANCE)
    tolerances = np.geomspace(TOLERANCE / 20, TOLERANCE, 2000)
    spacing = np.array([spacing_for(f_max, t) for t in tolerances])
    return float(tolerances[int(np.abs(spacing - wanted).argmin())])


def low_score(found: Judged) -> float:
    """Part of the score that rows judged by the wave equation make."""
    criteria = found.corrected
    mine = np.array([model == MODEL for model in found.models])
    return float((criteria.weights * criteria.excess(found.quantities))[mine].sum())


def rows_of(trials: Sequence[Trial], waves: bool) -> list[list[str]]:
    """One row per room."""
    rows = []
    for number, t in enumerate(trials, 1):
        plain, corrected = t.scores
        gain = plain - corrected
        verdict = "same plan" if t.same else "better" if gain > BETTER else "worse"
        share = 100 * gain / max(t.bare.score - plain, 1e-9)
        count, kept = len(t.rounds.rounds), t.rounds.best
        within = [r.value for r in t.rounds.rounds]
        found = kept.value < min(within)
        from_ = f"search, {t.rounds.tried} tried" if found else f"rounds, of {count}"
        cells = [
            str(number), f"{t.volume:.0f}", f"{t.budget:.0f}", str(t.candidates),
            f"{t.bare.score:.3f}", f"{plain:.3f}", f"{corrected:.3f}", f"{gain:+.3f}",
            f"{share:+.1f}", verdict,
        ]  # fmt: skip
        if waves:
            cells.append(" / ".join(f"{low_score(j):.3f}" for j in (t.uncorrected, t.corrected)))
        cells += [from_, f"{100 * kept.off:.0f}", f"{t.seconds:.0f}"]
        rows.append(cells)
    return rows


def summary(trials: Sequence[Trial]) -> str:
    """How often the corrected plan is better or equal, and by how much."""
    gains = np.array([t.scores[0] - t.scores[1] for t in trials])
    good = int((gains >= -BETTER).sum())
    won = np.array([t.bare.score - t.scores[0] for t in trials])
    better = int((gains > BETTER).sum())
    return (
        f"Better in {better}, better or equal in {good} of {len(trials)} rooms; mean gain "
        f"{gains.mean():+.3f} "
        f"({100 * gains.sum() / won.sum():+.1f} % of what the uncorrected plans gain over the "
        f"bare rooms), worst {gains.min():+.3f}, best {gains.max():+.3f}."
    )


def table(header: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
    """A markdown table."""
    lines = [header, ["---"] * len(header), *rows]
    return "\n".join("| " + " | ".join(line) + " |" for line in lines)


COLUMNS = (
    "room", "m3", "budget", "candidates", "bare", "uncorrected", "corrected", "gain", "gain %",
    "verdict",
)  # fmt: skip
LAST = ("plan of round", "off %", "CPU s")
TITLES = {
    "rays": "## Rays and coupled modes (as `--fast` plans)",
    "waves": f"## The wave equation besides, up to {TOP} Hz",
    "low": f"## The same, for the decay from 63 to {TOP} Hz alone",
}
PARTS = {"rays": part_one, "waves": part_two, "low": part_three}


def section(part: str) -> str:
    """One part of the evidence as text."""
    trials = []
    for seed in range(ROOMS):
        trials.append(PARTS[part](seed))
        print(part, seed, *(f"{s:.3f}" for s in trials[-1].scores), flush=True)
    waves = part == "waves"
    middle = ("waves' share",) if waves else ()
    return "\n\n".join(
        [TITLES[part], summary(trials), table((*COLUMNS, *middle, *LAST), rows_of(trials, waves))]
    )


def main() -> None:
    path = Path(__file__).with_suffix(".md")
    before = path.read_text(encoding="utf-8") if path.exists() else ""
    kept = {name: title + before.partition(title)[2].partition("\n## ")[0].rstrip()
            for name, title in TITLES.items() if title in before}  # fmt: skip
    for part in sys.argv[1:] or list(TITLES):
        kept[part] = section(part)
    text = [
        "# What planning in rounds gains over planning with the quick models alone",
        "Written by correction_gain.py.",
        *((__doc__ or "").strip().split("\n\n")[2:]),
        '"Gain": score of the uncorrected less that of the corrected plan, and in % of what the '
        'uncorrected plan gains over the bare room. "Off": largest relative difference, in the '
        "kept round, between the decay it was chosen for and the decay judged.",
        *(kept[name] for name in TITLES if name in kept),
    ]
    path.write_text("\n\n".join(text) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
