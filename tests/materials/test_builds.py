"""The shipped builds, the build file and its faults."""

import dataclasses
from pathlib import Path

import numpy as np
import pytest

from materials.bands import BANDS
from materials.build import Build
from materials.build_file import BuildFileError, load_builds, parse_builds
from materials.corner import CornerFill
from materials.finite import patch_area
from materials.layers import AirGap, Membrane, Porous
from materials.medium import AIR, Complexes
from materials.resonators import SealedResonator

BUILDS = load_builds()
LAYERED = [b for b in BUILDS.values() if isinstance(b, Build)]
CORNERS = [b for b in BUILDS.values() if isinstance(b, CornerFill)]
BASS = np.geomspace(20.0, 300.0, 40)


def _key(build: Build | CornerFill | SealedResonator) -> str:
    return build.key


def test_shipped_builds_cover_every_kind() -> None:
    assert len(LAYERED) >= 15
    assert {c.leg for c in CORNERS} == {0.3, 0.4, 0.6}
    assert any(isinstance(b, SealedResonator) for b in BUILDS.values())
    kinds = {layer.kind for b in LAYERED for layer in b.layers}
    assert kinds == {"porous", "air", "membrane", "cloth", "perforated", "slotted"}
    assert all(b.source for b in BUILDS.values())


@pytest.mark.parametrize("build", LAYERED, ids=_key)
def test_endless_builds_absorb_between_nothing_and_all(build: Build) -> None:
    alpha = build.absorption()
    assert alpha.shape == (len(BANDS),)
    assert (alpha >= 0).all()
    assert (alpha <= 1).all()
    low, high = build.absorption_range()
    assert (low <= alpha + 1e-12).all()
    assert (alpha <= high + 1e-12).all()
    f = np.geomspace(20, 8000, 50)
    for incidence in ("normal", "random"):
        assert (build.admittance(f, incidence).real >= 0).all()


@pytest.mark.parametrize("build", LAYERED, ids=_key)
def test_moving_the_plane_to_the_wall_loses_no_energy(build: Build) -> None:
    f = BASS[AIR.wavenumber(BASS) * build.depth < 1.0]
    face, wall = build.admittance(f), build.admittance(f, at="wall")
    assert (wall.real >= 0).all()

    def reflected(beta: Complexes) -> Complexes:
        return np.asarray((1 - beta) / (1 + beta), dtype=np.complex128)

    # Same reflection, seen through the depth of air and back: R_face = R_wall e^{-2 j k d}.
    phase = np.exp(-2j * AIR.wavenumber(f) * build.depth)
    np.testing.assert_allclose(reflected(face), reflected(wall) * phase, rtol=1e-9)


def test_random_admittance_gives_sabine_for_a_hard_build() -> None:
    # 8 times the solid-angle mean is the random-incidence coefficient while beta is small.
    # The next term is of the order |beta| ln(1/|beta|): thinner layers come closer.
    f = np.array([31.5, 63.0])
    ratios = []
    for thickness in (0.01, 0.001):
        thin = Build("k", "n", (Porous(thickness, 5000),))
        ratios.append(thin.alpha_random(f) / (8 * thin.admittance(f, "random").real))
    np.testing.assert_allclose(ratios[1], 1.0, rtol=0.01)
    assert (np.abs(ratios[1] - 1) < np.abs(ratios[0] - 1)).all()


def test_air_cannot_be_told_from_the_wall_behind_it() -> None:
    beta = Build("k", "n", (AirGap(0.2),)).admittance(BASS, at="wall")
    np.testing.assert_allclose(beta, 0.0, atol=1e-12)


def test_thicker_and_gapped_boards_reach_lower() -> None:
    at_125 = [
        BUILDS[key].absorption()[1]
        for key in ("board_25", "board_50", "board_75", "board_100", "board_200")
    ]
    assert (np.diff(at_125) > 0).all()
    gap = BUILDS["board_100_gap_100"].absorption()
    plain = BUILDS["board_100"].absorption()
    assert (gap[:3] > 1.1 * plain[:3]).all()


def test_membrane_and_holes_work_in_one_band() -> None:
    membrane = BUILDS["panel_ply_6"].absorption()
    assert BANDS[int(membrane.argmax())] == 125
    # Everest, Master Handbook of Acoustics: 4 mm, 1.4 % open, 100 mm with 50 mm of glass wool
    # has its highest value (0.96) in the 250 Hz octave and 0.26 at 1 kHz.
    holes = BUILDS["perforated_1_4"].absorption()
    assert BANDS[int(holes.argmax())] == 250
    assert holes[4] < 0.3


def test_variants_move_only_the_porous_layers() -> None:
    build = Build("k", "n", (Membrane(3.0), Porous(0.05, 10_000)), uncertainty=0.5)
    sigmas = [v.layers[1].flow_resistivity for v in build.variants()]
    np.testing.assert_allclose([sigmas[0], sigmas[-1]], [10_000 / 1.5, 15_000])
    assert all(v.layers[0] == build.layers[0] for v in build.variants())
    assert Build("k", "n", (Membrane(3.0), AirGap(0.1))).variants() == ()


def test_builds_are_frozen_and_usable_as_keys() -> None:
    build = LAYERED[0]
    with pytest.raises(dataclasses.FrozenInstanceError):
        build.name = "other"
    again = load_builds()[build.key]
    assert isinstance(again, Build)
    assert patch_area(again, 0.6, 1.2) is patch_area(build, 0.6, 1.2)


GOOD = '[[layered]]\nkey = "a"\nname = "b"\nlayers = [{ kind = "air", thickness = 0.1 }]\n'


def test_a_minimal_file_is_read() -> None:
    assert parse_builds(GOOD)["a"] == Build("a", "b", (AirGap(0.1),))


@pytest.mark.parametrize(
    ("text", "fault"),
    [
        ("key = ", "not valid TOML"),
        ("[[layerd]]\n", "did you mean 'layered'"),
        ('layered = "x"\n', r"write it as \[\[layered\]\]"),
        (GOOD.replace("key =", "kee ="), "did you mean 'key'"),
        (GOOD.replace("key =", "kee ="), "key: missing"),
        (GOOD + GOOD, "already used"),
        (GOOD.replace("0.1", "0"), "thickness must be above zero"),
        (GOOD.replace("0.1", '"thick"'), "write a number"),
        (GOOD.replace("0.1", "true"), "write a number"),
        (GOOD.replace('"air"', '"airr"'), "did you mean 'air'"),
        (GOOD.replace('[{ kind = "air", thickness = 0.1 }]', "[]"), "list of layers"),
        (GOOD.replace("thickness = 0.1", "thickness = 0.1, depth = 1"), "depth: unknown key"),
        (GOOD + 'locally_reacting = "no"\n', "true or false"),
        (GOOD.replace('"b"', '""'), "text in quotes"),
        (GOOD + "uncertainty = 2.0\n", "uncertainty must be"),
        (
            '[[corner]]\nkey = "c"\nname = "n"\nshape = "round"\nleg = 0.3\n'
            "flow_resistivity = 7000\n",
            "unknown corner shape",
        ),
        (
            '[[corner]]\nkey = "c"\nname = "n"\nshape = "square"\nleg = 0.3\n'
            'flow_resistivity = 7000\nfacing = { kind = "air", thickness = 0.1 }\n',
            "thin facing",
        ),
        (
            '[[resonator]]\nkey = "r"\nname = "n"\nvolume = 0.0\nneck_radius = 0.05\n'
            "neck_length = 0.04\n",
            "volume must be above zero",
        ),
    ],
)
def test_each_fault_is_told(text: str, fault: str) -> None:
    with pytest.raises(BuildFileError, match=fault):
        parse_builds(text)


def test_all_faults_are_told_at_once() -> None:
    text = GOOD.replace("0.1", "-1") + GOOD.replace("name", "nmae").replace('"a"', '"z"')
    with pytest.raises(BuildFileError) as caught:
        parse_builds(text)
    assert len(caught.value.faults) == 3  # thickness; unknown nmae; name missing


def test_a_missing_file_is_one_fault(tmp_path: Path) -> None:
    with pytest.raises(BuildFileError, match="cannot be read"):
        load_builds(tmp_path / "none.toml")
