"""Plans tried by coarser models, held against the judges themselves."""

from pathlib import Path

import numpy as np
import pytest

from optimizer.acoustics.judge_modes import ModesJudge
from optimizer.acoustics.judge_waves import WaveJudge
from optimizer.acoustics.judged import Judged, judge_scene
from optimizer.acoustics.scene import Scene
from optimizer.acoustics.trial import Trial, coarser, read_alike, tried
from optimizer.placement.candidates import Candidate
from optimizer.placement.pieces import treated
from optimizer.planning import build_decision
from optimizer.project import Project, load_project

ROOM = Path(__file__).parents[2] / "scenarios" / "small_bedroom.toml"


def pieces_of(candidates: tuple[Candidate, ...], count: int) -> list[Candidate]:
    """Candidates spread over the list."""
    return [candidates[i] for i in np.linspace(0, len(candidates) - 1, count).astype(int)]


@pytest.fixture(scope="module")
def project() -> Project:
    return build_decision(load_project(ROOM)).project


@pytest.fixture(scope="module")
def scenes(project: Project) -> list[Scene]:
    """A room with three pieces, with one of them elsewhere, and with one less."""
    candidates = build_decision(load_project(ROOM)).candidates
    first, second, third, other = pieces_of(candidates, 4)
    plans = [(first, second, third), (first, second, other), (first, third)]
    hung = [[piece for candidate in plan for piece in candidate.pieces] for plan in plans]
    return [treated(project.room, project.scene, pieces) for pieces in hung]


@pytest.fixture(scope="module")
def judged(project: Project, scenes: list[Scene]) -> list[Judged]:
    return [judge_scene(scene, project.criteria, project.judges()) for scene in scenes]


@pytest.fixture(scope="module")
def trials(project: Project, scenes: list[Scene], judged: list[Judged]) -> list[Trial]:
    models = coarser(project.judges())
    return [tried(scene, judged[0], models) for scene in scenes]


def test_the_models_of_trials_are_coarser_ones_of_the_same_kind(project: Project) -> None:
    for judge, model in zip(project.judges(), coarser(project.judges()), strict=True):
        assert type(judge) is type(model)
        if isinstance(judge, WaveJudge) and isinstance(model, WaveJudge):
            assert model.tolerance > judge.tolerance
        if isinstance(judge, ModesJudge) and isinstance(model, ModesJudge):
            assert model.detail.combined < judge.detail.combined


def test_a_scene_told_from_itself_is_as_it_was_judged(
    judged: list[Judged], trials: list[Trial]
) -> None:
    for one, trial in zip(judged, trials, strict=True):
        told = trial.told_from(one, trial)
        np.testing.assert_allclose(told, one.quantities, rtol=1e-12)


def test_scores_told_from_a_scene_near_are_those_judged(
    judged: list[Judged], trials: list[Trial]
) -> None:
    """To a fifth of what the scenes differ by, which are further apart than plans of a search."""
    base = judged[0]
    told = [base.corrected.score(trial.told_from(base, trials[0])) for trial in trials]
    scores = [one.score for one in judged]
    assert np.ptp(scores) > 0.02 * base.score
    assert told == pytest.approx(scores, abs=0.2 * float(np.ptp(scores)))


def test_quantities_read_alike_under_other_corrections(judged: list[Judged]) -> None:
    one, other = judged[0], judged[2]
    alike = read_alike(one.criteria, other.quantities, other.factors, one.factors)
    np.testing.assert_allclose(one.read(alike), other.values, rtol=1e-4)
    assert one.corrected.score(alike) == pytest.approx(other.score, rel=1e-4)


def test_rows_that_no_model_answers_are_the_criteria_by_themselves(
    judged: list[Judged], trials: list[Trial]
) -> None:
    base, trial = judged[0], trials[1]
    told = trial.told_from(base, trials[0])
    silent = [i for i, r in enumerate(base.criteria.rows) if r.key not in base.said.values]
    np.testing.assert_array_equal(told[silent], trial.quantities[silent])
