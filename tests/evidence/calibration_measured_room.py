"""A measured room in three states: how well the one left out of the fit is predicted, by model.

Run: python tests/evidence/calibration_measured_room.py  (a minute or two; writes the .md beside it)
"""

import runpy
import tempfile
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

import numpy as np
from scipy.optimize import brentq

from optimizer.acoustics import patch_scattering
from optimizer.acoustics.air import air_attenuation
from optimizer.acoustics.decay import FORMULAS
from optimizer.acoustics.judge_trace import TraceJudge
from optimizer.calibration.fit import calibrate
from optimizer.calibration.measured import read_decay
from optimizer.calibration.model import State
from optimizer.project import load_project

HERE = Path(__file__)
ROOM = runpy.run_path(str(HERE.parents[1] / "calibration" / "r3vival.py"))
MIDDLE = slice(2, 7)
SHARES = (0, 50, 100)
WIDE = np.array([(0.16, 0.16), (0.16, 0.16), (0.50, 0.50)])
OTHER = np.array([(0.20, 0.20), (0.10, 0.10), (0.60, 0.60)])


def states(folder, judges, scattering=0.05, t30=True):
    """The three states."""
    ROOM["lay_out"](folder, scattering)
    found = {}
    for share in SHARES:
        variant = ROOM["VARIANT"][share]
        project = load_project(folder / "room.toml", variants=(variant,) if variant else ())
        measured = read_decay(folder / f"decay_{share}.csv")
        if not t30:
            measured = replace(measured, t30=np.full(8, np.nan))
        found[share] = State(str(share), project.room, (), measured, judges)
    return found


@contextmanager
def patches(model):
    """Another model of how much the patches of a surface scatter."""
    own = patch_scattering.surface_scattering
    patch_scattering.surface_scattering = model
    try:
        yield
    finally:
        patch_scattering.surface_scattering = own


def nothing(surface, patches, free_path):
    return np.zeros(8)


def of_any_size(surface, patches, free_path, own=patch_scattering.surface_scattering):
    return own(surface, patches, np.inf)


def left_out(judges, prior=WIDE, **options):
    """Error in % (5,) at 50 %, 250 Hz to 4 kHz, of a calibration on 0 and 100 %."""
    names = ("shell_unknown", "panel_hard", "panel_soft")
    ROOM["MATERIALS"].update(zip(names, map(tuple, prior.tolist()), strict=True))
    with tempfile.TemporaryDirectory() as folder:
        three = states(Path(folder), judges, **options)
    found = calibrate([three[0], three[100]])
    table = found.unknowns.table(found.z)
    return 100 * (three[50].decay(table).t20 / three[50].measured.t20 - 1)[MIDDLE]


def by_formula(formula):
    """The same by a formula alone: all that is not turned soft alike, no prior."""
    size, air = ROOM["SIZE"], air_attenuation()
    areas = np.repeat(np.prod(size) / np.array(size), 2)
    axis = [0, 0, 1, 1, 2, 2]

    def time(shell, wall, band):
        alpha = np.array([wall] * 4 + [shell] * 2)[:, None]
        room = {"axis": axis, "air": [air[band]]}
        return float(formula(float(np.prod(size)), areas, alpha, **room)[0])

    off = []
    for band in range(*MIDDLE.indices(8)):
        wanted = {share: ROOM["T20"][share][band - 1] for share in SHARES}
        try:
            shell = brentq(lambda a, b=band, w=wanted: time(a, a, b) - w[0], 1e-3, 0.9)
            soft = brentq(lambda a, s=shell, b=band, w=wanted: time(s, a, b) - w[100], 1e-3, 0.98)
            off.append(100 * (time(shell, (shell + soft) / 2, band) / wanted[50] - 1))
        except ValueError:
            off.append(np.nan)
    return np.array(off)


def row(name, off):
    """A line of the table; nan where a formula cannot give what was measured."""
    whole = np.isfinite(off).all()
    cells = ["-" if np.isnan(x) else f"{x:+.1f}" for x in off]
    size = np.abs(off)
    cells += [f"{size.mean():.1f}", f"{size.max():.1f}"] if whole else ["-", "-"]
    return f"| {name} | " + " | ".join(cells) + " |"


def table():
    def tracer(seed=1):
        return (TraceJudge(90.0, seed=seed),)

    yield row("Norris-Eyring (quick models)", left_out(()))
    yield row("tracer, T20 only", left_out(tracer(), t30=False))
    for seed in (1, 2, 3):
        yield row(f"**tracer, T20 and T30**, rays {seed}", left_out(tracer(seed)))
    yield row("the same, other table values beforehand", left_out(tracer(), OTHER))
    yield row("the same, scattering 0.1 everywhere", left_out(tracer(), scattering=0.1))
    for name, model in (
        ("the same, patches scatter nothing", nothing),
        ("the same, patches of any size scatter", of_any_size),
    ):
        with patches(model):
            yield row(name, left_out(tracer()))
    for name, formula in FORMULAS.items():
        yield row(f"{name} alone", by_formula(formula))


HEAD = """\
# A measured room, calibrated on two states and judged on a third

R3VIVAL (tests/calibration/r3vival.py): fitted on the states 0 % and 100 % absorptive, error in % of
the T20 predicted for 50 %, which takes no part in any fit.

| model | 250 | 500 | 1k | 2k | 4k | mean | worst |
|---|---|---|---|---|---|---|---|
"""
TAIL = """
How the model was chosen. It is the one plans are judged with (tracer, every plain surface at the
table's 0.05, here "tracer, T20 and T30"), not one picked from this list. Two measured rooms that
are not this one speak for the tracer against any formula (trace_measured_rooms.md). T30 is fitted
beside T20 because two decay times leave open where the absorption lies: it shows in how far the
decay bends, and the bend of the two fitted states (T30/T20 1.01 to 1.05) is data of the fit. What
the surfaces are is not stated, so each is taken as known to a factor of two; other values
beforehand hardly change the outcome. The figures of the state left out were known when the fit was
written and when this list was made, so read the list as a comparison, not as a blind test.

A wall of alternating hard and absorbing panels scatters, one of equal panels does not
(optimizer/acoustics/patch_scattering.py). That model was written down from published parts and
checked against the exact field above strips before this table was made; nothing in it is set by
this room. Two things it takes are not known here: the panels' width (0.6 m, invented) and their
make (a layer of wool of the coefficient found). It leaves 2 kHz 8 % too long. Without the limit by
the Fresnel zone the mean error would be a little less; that limit stays, as strips much larger
than it mirror by themselves, which rays know.

So the limits of 5 % on average and 10 % at worst are kept with any rays; 3 % and 8 % are not.
"""


def main():
    lines = []
    for line in table():
        print(line, flush=True)
        lines.append(line)
    HERE.with_suffix(".md").write_text(HEAD + "\n".join(lines) + "\n" + TAIL)


if __name__ == "__main__":
    main()
