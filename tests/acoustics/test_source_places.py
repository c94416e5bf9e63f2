"""Fixed places of sound for the decay: where they are, and that nothing else decides it.

ISO 3382-2:2008, 4.3 and table 1: two source positions or more for the engineering method.
"""

from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from optimizer.acoustics.judge_waves import WaveJudge, band_decays, nearest, spread_points
from optimizer.acoustics.low_decay_criteria import fixed_weights
from optimizer.acoustics.modes import box_modes, mode_weights, room_weights
from optimizer.acoustics.quadrature import quarter_apart
from optimizer.acoustics.scene import Scene
from optimizer.acoustics.source_places import CLEAR, clearance, source_places
from optimizer.bands import BANDS
from optimizer.project import Project, load_project
from optimizer.room.geometry import Floats, Plane
from optimizer.room.shell import facing_inwards

SCENARIOS = Path(__file__).parents[2] / "scenarios"
DEMOS = ("garage", "living_room", "small_bedroom", "spare_room")
C = 343.0


@cache
def project(name: str = "small_bedroom") -> Project:
    return load_project(SCENARIOS / f"{name}.toml")


def prism(plan: list[tuple[float, float]], low_end: float, high_end: float) -> tuple[Plane, ...]:
    """A room over a floor plan whose ceiling falls or rises evenly along x."""
    length = max(x for x, _ in plan)

    def top(x: float) -> float:
        return low_end + (high_end - low_end) * x / length

    corners = {
        "floor": np.array([(x, y, 0.0) for x, y in plan]),
        "roof": np.array([(x, y, top(x)) for x, y in plan]),
    }
    for i, (a, b) in enumerate(zip(plan, [*plan[1:], plan[0]], strict=True)):
        corners[f"wall {i}"] = np.array([(*a, 0.0), (*b, 0.0), (*b, top(b[0])), (*a, top(a[0]))])
    return tuple(facing_inwards(corners).values())


BOX = [(0.0, 0.0), (4.6, 0.0), (4.6, 3.4), (0.0, 3.4)]
L_SHAPE = [(0.0, 0.0), (5.0, 0.0), (5.0, 2.2), (3.0, 2.2), (3.0, 4.0), (0.0, 4.0)]
NOTCHED = [(1.5, 0.0), (5.0, 0.0), (5.0, 4.0), (0.0, 4.0), (0.0, 1.5), (1.5, 1.5)]
ROOMS = {
    "box": prism(BOX, 2.5, 2.5),
    "L": prism(L_SHAPE, 2.4, 2.4),
    "corner cut out": prism(NOTCHED, 2.4, 2.4),
    "sloped": prism(BOX, 1.2, 2.8),
    "sloped L": prism(L_SHAPE, 2.8, 1.0),
}


def empty(planes: tuple[Plane, ...], boxes: Floats | None = None) -> Scene:
    boxes = np.zeros((0, 2, 3)) if boxes is None else boxes
    return replace(project().scene, planes=planes, object_box=boxes)


def mirrored(planes: tuple[Plane, ...]) -> tuple[Plane, ...]:
    points = {str(i): p.to_xyz(p.polygon) * [1, -1, 1] for i, p in enumerate(planes)}
    width = max(p.to_xyz(p.polygon)[:, 1].max() for p in planes)
    return tuple(facing_inwards({k: p + [0, width, 0] for k, p in points.items()}).values())


@pytest.mark.parametrize("name", ROOMS)
def test_places_are_inside_and_off_every_surface(name: str) -> None:
    planes = ROOMS[name]
    places = source_places(empty(planes)).reshape(-1, 3)
    for plane in planes:  # height by hand
        height = plane.height_over(places)
        if len(planes) == 6:  # convex: inside and clear of a plane is inside and clear of the room
            assert height.min() >= CLEAR
    assert clearance(empty(planes), places).min() >= CLEAR - 1e-6
    gaps = np.linalg.norm(places[:, None] - places, axis=-1)[np.triu_indices(4, 1)]
    assert gaps.min() > 0.5


@pytest.mark.parametrize("name", ROOMS)
def test_places_of_the_mirrored_room_are_the_mirrored_places(name: str) -> None:
    planes = ROOMS[name]
    width = max(p.to_xyz(p.polygon)[:, 1].max() for p in planes)
    image = source_places(empty(mirrored(planes)))[::-1]
    expected = source_places(empty(planes)) * [1, -1, 1] + [0, width, 0]
    np.testing.assert_allclose(image, expected, atol=1e-6)


def test_clearance_by_hand() -> None:
    """4.6 x 3.4 x 2.5 m; a box of 1 m in a corner; L-shape: the inner edge is 0.5 m away."""
    scene = empty(ROOMS["box"], np.array([[[0.0, 0.0, 0.0], [1.0, 1.0, 1.0]]]))
    points = np.array([[2.0, 1.7, 1.0], [1.3, 0.5, 1.4], [0.9, 0.5, 0.5], [2.0, 1.7, 3.0]])
    np.testing.assert_allclose(clearance(scene, points), [1.0, 0.5, -0.1, -0.5], atol=1e-9)
    inner = np.array([[2.7, 1.8, 1.2]])  # 0.3 and 0.4 m from the edge at (3.0, 2.2)
    np.testing.assert_allclose(clearance(empty(ROOMS["L"]), inner), [0.5], atol=1e-9)


def test_furniture_in_the_corner_moves_the_place_and_no_more_than_it_must() -> None:
    box = np.array([[[0.0, 0.0, 0.0], [0.9, 0.8, 0.7]]])
    bare, full = (source_places(empty(ROOMS["box"], b)) for b in (None, box))
    assert clearance(empty(ROOMS["box"], box), full.reshape(-1, 3)).min() >= CLEAR - 1e-6
    np.testing.assert_array_equal(full[1], bare[1])
    assert 0.0 < np.linalg.norm(full[0, 0] - bare[0, 0]) < 1.1


def test_a_room_with_no_clear_place_gets_the_clearest() -> None:
    """0.5 m high: the middle, 0.25 m from floor and ceiling, is as clear as it can be."""
    scene = empty(prism([(0.0, 0.0), (3.0, 0.0), (3.0, 2.0), (0.0, 2.0)], 0.5, 0.5))
    np.testing.assert_allclose(source_places(scene)[..., 2], 0.25, atol=1e-6)


@pytest.mark.parametrize("name", DEMOS)
def test_no_low_mode_is_silent(name: str) -> None:
    """Every mode of the octave of 63 Hz is driven; from two mirrored loudspeakers on the axis of
    a room, those with an uneven number of half waves across it would hardly be."""
    room = project(name)
    assert room.room.dimensions is not None
    modes = box_modes(room.room.dimensions, 89.0)
    weights = fixed_weights(modes, room.scene)
    assert weights.min() > 0.25


def test_room_weights_are_mode_weights_heard_all_over_the_room() -> None:
    """Mean over 20 x 20 x 20 places at the middles of equal cells: exact for these modes."""
    modes = box_modes((4.6, 3.4, 2.5), 150.0)
    steps = np.stack(np.meshgrid(*[(np.arange(20) + 0.5) / 20] * 3, indexing="ij"), axis=-1)
    heard = steps.reshape(-1, 3) * [4.6, 3.4, 2.5]
    sources = np.array([[0.4, 0.4, 0.4], [2.85, 2.41, 1.37]])
    np.testing.assert_allclose(
        room_weights(modes, sources), mode_weights(modes, sources, heard), rtol=1e-9
    )


# --- two places in one run -----------------------------------------------------------------------


@pytest.mark.parametrize("top", [177.0, 707.0, 1414.0])
def test_signals_are_a_quarter_of_a_period_apart(top: float) -> None:
    """By their Fourier integrals: equal magnitude, 90 degrees, within one degree."""
    fs = 9000.0
    pulse = np.zeros(4 * 9000)
    pulse[0] = 1.0
    spectra = np.fft.rfft(quarter_apart(pulse, fs, 40.0, top), axis=0)
    f = np.fft.rfftfreq(len(pulse), 1 / fs)
    band = (f >= 40.0) & (f <= top)
    np.testing.assert_allclose(np.abs(spectra), 1.0, rtol=1e-6)
    phase = np.degrees(np.angle(spectra[band, 1] / spectra[band, 0]))
    np.testing.assert_allclose(phase, 90.0, atol=1.0)
    with pytest.raises(ValueError, match="quarter_apart"):
        quarter_apart(pulse, fs, 40.0, 4500.0)


@pytest.mark.parametrize("soft", [0.0, 0.2])
def test_two_places_in_one_run_decay_as_in_two(soft: float) -> None:
    """Energies of runs apart added up are the reference. What is left is products of different
    modes, which many receivers average out: at most 2.0 % in four rooms tried, so 3 %."""
    scene = project().scene
    alpha = np.minimum(scene.base_alpha + soft, 0.95)
    judge = WaveJudge(top_band=500, tolerance=0.1)
    laid = judge.laid(replace(scene, base_alpha=alpha))
    places = source_places(scene).reshape(-1, 3)
    points = spread_points(laid.made.room, places, nearest(laid.scene))
    apart = judge.sounded(laid, places, points, slice(None))
    known = band_decays(apart, laid.bands)
    found = band_decays(judge.decaying(laid), laid.bands)
    np.testing.assert_allclose(found.t20, known.t20, rtol=0.03)


# --- what the decay rows hang on -----------------------------------------------------------------


def values_of(room: Project, scene: Scene) -> dict[str, float]:
    """Decay rows of all judges and of the criteria themselves, by their key."""
    made = room.criteria_of(scene)
    own = {row.key: value for row, value in zip(made.rows, made.values(made.quantities(scene)),
                                                strict=True)}  # fmt: skip
    found = {key: float(value) for key, value in own.items() if key.startswith("decay")}
    for judge in (*room.judges("fast"), WaveJudge(top_band=250, tolerance=0.1)):
        said = judge(scene)
        model = type(judge).__name__
        found |= {f"{model}: {k}": v for k, v in said.values.items() if k.startswith("decay")}
    return found


def test_moving_the_loudspeakers_and_seats_changes_no_decay_row() -> None:
    """Nothing at all: each model is given the same numbers. From the loudspeakers alone the same
    move changed 125 Hz by up to 13 %."""
    room = project()
    scene = room.scene
    moved = replace(
        scene, speakers=scene.speakers + [0.45, 0.1, -0.15], seats=scene.seats + [0.2, 0.0, 0.05]
    )
    before, after = values_of(room, scene), values_of(room, moved)
    assert {key.split(":")[0] for key in before} > {"TraceJudge", "ModesJudge", "WaveJudge"}
    assert len(before) > 2 * len(BANDS)
    assert before.keys() == after.keys()
    for key, value in before.items():
        assert after[key] == pytest.approx(value, rel=1e-9), key
