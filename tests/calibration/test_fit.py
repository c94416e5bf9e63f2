"""The fit itself: what must hold whatever the room. Rooms and prices are invented."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from recovery import draw, made_with, measure

from optimizer.calibration.checks import doubts
from optimizer.calibration.fit import Calibration, calibrate
from optimizer.calibration.measured import Measured, decay_error
from optimizer.calibration.model import State
from optimizer.calibration.unknowns import Unknowns, unknowns_of
from optimizer.room.geometry import Floats

NONE = np.full(8, np.nan)


@pytest.fixture(scope="module")
def bare(tmp_path_factory: pytest.TempPathFactory) -> State:
    """A room measured exactly as its table says, by the quick models."""
    project = draw(tmp_path_factory.mktemp("room"), 3).project
    nothing = Measured(("decay.csv",), NONE, NONE, NONE)
    state = State("bare", project.room, (), nothing)
    return with_decay(state, state.decay({}).t20)


def with_decay(state: State, t20: Floats) -> State:
    measured = Measured(("decay.csv",), t20, NONE, decay_error(t20, 12))
    return replace(state, measured=measured)


def fitted(state: State, factor: Floats | float) -> Calibration:
    return calibrate([with_decay(state, state.measured.t20 * factor)])


def test_what_is_right_already_stays(bare: State) -> None:
    found = calibrate([bare])
    assert np.abs(found.z).max() < 1e-6
    assert found.after == pytest.approx(found.before, rel=1e-6)


def test_longer_decay_means_less_absorption(bare: State) -> None:
    found = fitted(bare, 1.15)
    assert np.all(found.z <= 1e-9)
    assert np.all(found.after > found.before)
    assert np.all(np.diff([found.before[0], found.after[0], found.measured[0]], axis=0) > 0)


def test_least_squares_agrees_with_a_general_minimiser(bare: State) -> None:
    """The z found is where the sum of squares is least: moving any coefficient raises it."""
    found = fitted(bare, np.array([1.1, 0.9, 1.2, 0.85, 1.1, 0.95, 1.05, 1.0]))

    def cost(z: Floats) -> float:
        logs = np.log(found.states[0].decay(found.unknowns.table(z)).t20)
        off = (logs - np.log(found.measured[0])) / found.error[0]
        return float(np.sum(z**2) + np.sum(off**2))

    least = cost(found.z)
    assert least == pytest.approx(found.cost, rel=1e-6)
    rng = np.random.default_rng(1)
    for _ in range(40):
        assert cost(found.z + 0.1 * rng.standard_normal(found.z.shape)) > least


def test_measuring_narrows_what_is_known(bare: State) -> None:
    found = calibrate([bare])
    assert np.all(found.z_sigma <= 1 + 1e-9)
    assert np.all(found.z_sigma.min(axis=0) < 0.9)  # in every band something is learnt
    prior = np.array([m.spread for m in found.unknowns.materials])
    sigma = found.unknowns.sigma(found.z, found.z_sigma)
    assert np.all(sigma <= prior * (1 + 1e-9) + 1e-12)


def test_one_sigma_is_the_tables(bare: State) -> None:
    unknowns = unknowns_of([(bare.room, ())])
    up = unknowns.values(np.ones(unknowns.prior.shape))
    wanted = unknowns.prior + np.array([m.spread for m in unknowns.materials])
    assert up == pytest.approx(wanted, rel=1e-9)


def test_bands_not_measured_take_no_part(bare: State) -> None:
    t20 = bare.measured.t20.copy()
    t20[4] *= 1.3
    t20[7] = np.nan
    found = calibrate([with_decay(bare, t20)])
    moved = np.abs(found.z).max(axis=0)
    assert moved[4] > 0.2
    assert moved[[3, 5, 6, 7]].max() < 1e-3


def test_no_state_is_refused() -> None:
    with pytest.raises(ValueError, match="at least one state"):
        calibrate([])


def test_another_room_is_doubted(bare: State) -> None:
    reasons = doubts(fitted(bare, 3.0))
    assert any(fault.key == "volume" and "longer" in fault.remedy for fault in reasons)


def test_one_absurd_band_is_doubted(bare: State) -> None:
    factor = np.ones(8)
    factor[4] = 0.2
    reasons = doubts(fitted(bare, factor))
    assert any("1 kHz" in str(fault) for fault in reasons)
    assert not any(fault.key == "volume" for fault in reasons)


def test_coefficients_far_off_are_doubted(bare: State) -> None:
    found = calibrate([bare])
    z = found.z.copy()
    z[0, 3] = 3.5
    reasons = doubts(replace(found, z=z))
    assert [fault.key for fault in reasons] == [found.unknowns.materials[0].id]
    assert "3.5 times its uncertainty" in reasons[0].remedy


def test_coefficients_above_what_exists_are_doubted(bare: State) -> None:
    found = calibrate([bare])
    one = replace(found.unknowns.materials[0], unit="alpha", absorption=(0.9,) * 8,
                  spread=(0.4,) * 8)  # fmt: skip
    unknowns = Unknowns((one, *found.unknowns.materials[1:]))
    z = found.z.copy()
    z[0, 2] = 1.0
    reasons = doubts(replace(found, z=z, unknowns=unknowns))
    assert any("no surface absorbs more than 1.2" in fault.remedy for fault in reasons)


def test_a_drawn_room_is_recovered(tmp_path: Path) -> None:
    """Decay simulated by tracer and coupled modes with coefficients drawn from their uncertainty
    is met within 3 %; the long run is tests/evidence/calibration_recovery.py."""
    drawn = draw(tmp_path, 1)
    project = drawn.project
    measured = measure(project, drawn.truth)
    found = calibrate([State("bare", project.room, (), measured, project.judges("fast"))])
    before, after = (np.abs(t[0] / measured.t20 - 1)[2:7] for t in (found.before, found.after))
    assert before.mean() > 0.03  # else the room shows nothing
    assert after.max() < 0.03
    assert doubts(found) == []
    made = made_with(project, found.unknowns.table(found.z))
    ids = {m.id for m in found.unknowns.materials}
    assert all(s.material.id in ids for s in made.room.surfaces)
