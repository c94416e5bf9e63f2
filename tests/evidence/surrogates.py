"""Which decay formula ranks plans as the ray tracer does: random plans in the demo rooms.

Run: OPENBLAS_NUM_THREADS=1 python tests/evidence/surrogates.py [PLANS PER ROOM]
Writes the .md beside it; about three minutes for 120 plans in each of three rooms.

A plan is a random selection of candidates that neither overlap nor exceed the budget. Its size is
drawn (a share of the budget from 5 to 100 %), and so is its unevenness: how many of the room's
surfaces (one to all) pieces may hang on. It uses one to six products of the price list. Every other
plan spends at least 80 % of the money: the optimiser compares such plans with each other.
"""

import sys
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy.stats import spearmanr

from optimizer.acoustics.absorption import absorption_area, added_area
from optimizer.acoustics.decay import FORMULAS, arau, axis_weights
from optimizer.acoustics.decay_criteria import decay_family
from optimizer.acoustics.scene import Scene
from optimizer.acoustics.trace import trace
from optimizer.acoustics.trace_room import traced_room
from optimizer.bands import BANDS, N_BANDS, band_label
from optimizer.placement.pieces import piece_patches
from optimizer.planning import Decision, build_decision
from optimizer.project import load_project
from optimizer.results.tellings import decay_times

ROOT = Path(__file__).parents[2]
ROOMS = ("small_bedroom", "spare_room", "garage")
PLANS = 120  # in each room
RAYS = 20000
SEED = 11
FULL = 0.8  # of the budget: plans among which the optimiser has to choose
USED = [i for i, band in enumerate(BANDS) if band >= 250]
PROGRAM = "in the program"
ARAU_CUT = "Arau-Puchades, cut"
NAMES = (*FORMULAS, PROGRAM, ARAU_CUT)
Array = NDArray[np.float64]
Ints = NDArray[np.int64]


@dataclass(frozen=True)
class Sample:
    """Plans of one room: `share` (P,) of the budget spent, `area` (P,) mean coefficient at 1 kHz,
    `traced` and `error` (P, 8) in s, `formula` (F, P, 8) in s in the order of NAMES."""

    room: str
    share: Array
    area: Array
    traced: Array
    error: Array
    formula: Array


def some(rng: np.random.Generator, names: list[str], most: int) -> set[str]:
    """One to `most` of the names (all at most)."""
    count = rng.integers(1, min(most, len(names)) + 1)
    return set(rng.choice(names, size=count, replace=False).tolist())


def random_selection(decision: Decision, rng: np.random.Generator, least: float) -> Ints:
    """Candidates that fit each other and a random share of the budget from `least` up."""
    effects = decision.effects
    blocked: list[set[int]] = [set() for _ in range(effects.count)]
    for row in effects.cover:
        for c in row.tolist():
            blocked[c].update(row.tolist())
    allowed = some(rng, [surface.name for surface in decision.project.room.surfaces], 100)
    products = some(rng, sorted({c.product.id for c in decision.candidates}), 6)
    most = rng.uniform(least, 1.0) * effects.budget_cents
    chosen: list[int] = []
    barred: set[int] = set()
    for c in rng.permutation(effects.count).tolist():
        on = {name for piece in decision.candidates[c].pieces for name, _ in piece.rects}
        if c in barred or not on <= allowed or decision.candidates[c].product.id not in products:
            continue
        if effects.cost_cents(np.array([*chosen, c], dtype=np.int64)) > most:
            barred.add(c)
            continue
        chosen.append(c)
        barred |= blocked[c] | {c}
    return np.array(sorted(chosen), dtype=np.int64)


def scene_of_selection(decision: Decision, chosen: Ints) -> Scene:
    """The room with a selection in it."""
    pieces = [piece for c in chosen for piece in decision.candidates[c].pieces]
    room = decision.project.room
    return decision.project.scene.with_pieces(piece_patches(room, pieces)[0])


def by_formulas(scene: Scene) -> Array:
    """Decay times (F, 8) of a scene by NAMES."""
    times = decay_times(scene)
    open_ = np.full(N_BANDS, np.nan)
    family = decay_family(scene, open_, open_, np.ones(N_BANDS))
    program = family.values(family.quantities(scene))
    return np.array([*(times[name] for name in FORMULAS), program, arau_cut(scene)])


def arau_cut(scene: Scene) -> Array:
    """Arau-Puchades with the areas that the program uses: coefficients cut to one."""
    areas = np.array([plane.area for plane in scene.planes])
    total = areas[:, None] * scene.base_alpha
    for patches, over in ((scene.tiles, False), (scene.pieces, True)):
        np.add.at(total, patches.surface, added_area(scene, patches, over_tiles=over))
    axis = axis_weights([plane.normal for plane in scene.planes])
    objects = scene.object_area.sum(axis=0)
    alpha = total / areas[:, None]
    return arau(scene.volume, areas, alpha, axis=axis, air=scene.air, object_area=objects)


def sample_room(name: str, plans: int) -> Sample:
    """Random plans of a demo room, traced and by formula."""
    decision = build_decision(load_project(ROOT / "scenarios" / f"{name}.toml"))
    rng = np.random.default_rng([SEED, ROOMS.index(name)])
    share: list[float] = []
    area, traced, error, formula = [], [], [], []
    while len(share) < plans:
        chosen = random_selection(decision, rng, FULL if len(share) % 2 else 0.05)
        spent = decision.effects.cost_cents(chosen) / decision.effects.budget_cents
        if len(share) % 2 and spent < FULL:
            continue  # the surfaces drawn do not hold that much
        scene = scene_of_selection(decision, chosen)
        found = trace(traced_room(scene), rays=RAYS, seed=len(share))
        share.append(spent)
        area.append(absorption_area(scene)[BANDS.index(1000)] / scene.surface_area)
        traced.append(found.decay.t20)
        error.append(found.errors.t20)
        formula.append(by_formulas(scene))
    print(name, "done", flush=True)
    return Sample(
        name, np.array(share), np.array(area), np.array(traced), np.array(error),
        np.array(formula).transpose(1, 0, 2),
    )  # fmt: skip


def rank(first: Array, second: Array) -> float:
    """Spearman's rank correlation."""
    return float(spearmanr(first, second).statistic)


def spread(ratio: Array) -> float:
    """Standard deviation of ln(ratio) in %: what a correction by one factor leaves."""
    return float(100 * np.std(np.log(ratio)))


def rank_rows(samples: list[Sample], only_full: bool) -> list[list[str]]:
    """Rank correlation per formula and band, mean of the rooms; the last column of all bands."""
    rows = []
    for f, name in enumerate(NAMES):
        table = np.array(
            [
                [
                    rank(s.formula[f][_of(s, only_full), b], s.traced[_of(s, only_full), b])
                    for b in USED
                ]
                for s in samples
            ]
        )
        cells = [f"{v:.3f}" for v in table.mean(axis=0)]
        rows.append([name, *cells, f"{table.mean():.3f}", f"{table.min():.3f}"])
    return rows


def _of(sample: Sample, only_full: bool) -> NDArray[np.bool_]:
    return sample.share >= (FULL if only_full else 0.0)


def error_rows(samples: list[Sample]) -> list[list[str]]:
    """Per formula: mean deviation, spread left by one factor per room and band."""
    rows = []
    for f, name in enumerate(NAMES):
        ratios = [s.traced[:, USED] / s.formula[f][:, USED] for s in samples]
        full = [r[_of(s, True)] for r, s in zip(ratios, samples, strict=True)]
        mean = [100 * (np.mean(1 / r, axis=0) - 1) for r in ratios]
        left = [spread(r[:, b]) for r in ratios for b in range(len(USED))]
        left_full = [spread(r[:, b]) for r in full for b in range(len(USED))]
        cells = [f"{v:+.0f}" for v in np.mean(mean, axis=0)]
        rows.append([name, *cells, f"{np.mean(left):.1f}", f"{np.mean(left_full):.1f}"])
    return rows


def room_rows(samples: list[Sample]) -> list[list[str]]:
    """What the samples are like, and the rank correlation of all formulas by room."""
    rows = []
    for s in samples:
        full = _of(s, True)
        noise = np.mean(s.error[:, USED] / s.traced[:, USED])
        each = [
            f"{np.mean([rank(s.formula[f][full, b], s.traced[full, b]) for b in USED]):.2f}"
            for f in range(len(NAMES))
        ]
        rows.append(
            [s.room, str(len(s.share)), str(int(full.sum())),
             f"{s.area.min():.2f} to {s.area.max():.2f}", f"{100 * noise:.1f} %", *each]
        )  # fmt: skip
    return rows


def conclusion(samples: list[Sample]) -> str:
    """What the tables say of the formula in the program, in numbers."""
    ranks = {row[0]: float(row[-2]) for row in rank_rows(samples, True)}
    left = {row[0]: float(row[-1]) for row in error_rows(samples)}
    best = max(ranks, key=lambda name: ranks[name])
    return (
        f"Result: among plans that spend the money, the formula in the program ranks like the "
        f"tracer with a correlation of {ranks[PROGRAM]:.3f}; the best of all is {best} with "
        f"{ranks[best]:.3f}. One factor per room and band leaves {left[PROGRAM]:.1f} % (standard "
        f"deviation) between it and the tracer, {left[best]:.1f} % with {best}; the factors are "
        "taken anew from round to round for this reason. Axis-wise formulas have three linear "
        "quantities per band in place of one, each row then a function of three variables."
    )


def table(header: list[str], rows: list[list[str]]) -> str:
    """A markdown table."""
    lines = [header, ["---"] * len(header), *rows]
    return "\n".join("| " + " | ".join(line) + " |" for line in lines)


def main() -> None:
    plans = int(sys.argv[1]) if len(sys.argv) > 1 else PLANS
    samples = [sample_room(name, plans) for name in ROOMS]
    labels = [band_label(BANDS[i]) for i in USED]
    count = sum(len(s.share) for s in samples)
    full = sum(int(_of(s, True).sum()) for s in samples)
    what = " ".join((__doc__ or "").split("\n\n")[2].split())
    text = [
        "# Decay formulas against the ray tracer on random plans",
        "",
        f"Written by surrogates.py: {count} plans in three invented demo rooms, {RAYS} rays each, "
        "T20 from a diffuse start, scattering of the materials table.",
        "",
        what,
        "",
        f'"{PROGRAM}" is Norris-Eyring as the program uses it: coefficients above one cut to one '
        f'before they are summed; "{ARAU_CUT}" the same areas in the other formula. The other '
        "rows are the formulas of the report, which sum them as they stand.",
        "",
        conclusion(samples),
        "",
        "## Rank correlation (Spearman) with the traced decay, mean of the rooms",
        "",
        f"All {count} plans:",
        "",
        table(["formula", *labels, "mean", "least"], rank_rows(samples, False)),
        "",
        f"Only the {full} plans that spend at least {100 * FULL:.0f} % of the budget:",
        "",
        table(["formula", *labels, "mean", "least"], rank_rows(samples, True)),
        "",
        "## Deviation from the traced decay in %, before and after a correction",
        "",
        "By band: mean deviation of the formula as it stands. Last columns: the standard "
        "deviation left when each band of each room is corrected by one factor, for all plans "
        f"and for those from {100 * FULL:.0f} % of the budget up.",
        "",
        table(["formula", *labels, "left", "left, full budget"], error_rows(samples)),
        "",
        "## By room",
        "",
        "Mean coefficient at 1 kHz, mean statistical error of the trace, and the mean rank "
        f"correlation over the bands for plans from {100 * FULL:.0f} % of the budget up.",
        "",
        table(["room", "plans", "full", "mean coefficient", "error", *NAMES], room_rows(samples)),
        "",
    ]
    Path(__file__).with_suffix(".md").write_text("\n".join(text), encoding="utf-8")


if __name__ == "__main__":
    main()
