"""Decay formulas against worked examples, each named; printed figures are met to the digit.

Examples in feet run in feet: a speed of sound of 24 ln 10 / 0.049 ft/s makes k = 0.049 s/ft.
"""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from optimizer.acoustics.air import en12354_air
from optimizer.acoustics.decay import (
    FORMULAS,
    LOG_CAP,
    arau,
    axis_weights,
    en12354_absorption,
    en12354_decay,
    eyring,
    fitzroy,
    hard_object_area,
    kuttruff,
    millington,
    sabine,
    schroeder_frequency,
)

BOX_AXIS = np.array([0, 0, 1, 1, 2, 2])


def speed(k: float) -> float:
    """Speed of sound at which 24 ln 10 / c is the constant k an example used."""
    return 24 * math.log(10) / k


def box(lx, ly, lz):
    """Volume and wall areas of a box, in the order of BOX_AXIS."""
    return lx * ly * lz, np.repeat([ly * lz, lx * lz, lx * ly], 2)


def pairs(ax, ay, az):
    """Coefficients (6, bands) from those of the three wall pairs."""
    return np.repeat(np.array([ax, ay, az], dtype=float).reshape(3, -1), 2, axis=0)


def assert_printed(got, printed):
    """Each value agrees with a printed figure within half a unit of its last digit."""
    got = np.atleast_1d(got)
    for value, text in zip(got, printed.split(), strict=True):
        half = 0.501 * 10.0 ** -len(text.partition(".")[2])
        assert value == pytest.approx(float(text), abs=half, rel=0)


CONCRETE = [0.01, 0.01, 0.015, 0.02, 0.02, 0.02]
GYPSUM = [0.29, 0.10, 0.05, 0.04, 0.07, 0.09]
TILE = [0.09, 0.28, 0.78, 0.84, 0.73, 0.64]


def test_handbook_room_bare():
    # Everest, Master Handbook of Acoustics 4th ed., Fig. 7-22: 23.3 x 16 x 10 ft, V 3728 ft3.
    areas, alpha = [373, 1159], [CONCRETE, GYPSUM]
    times = sabine(3728, areas, alpha, c=speed(0.049))
    # 53.9 sabins at 1 kHz is the book's sum of rounded products (7.5 + 46.4); exactly 53.8.
    np.testing.assert_allclose(0.049 * 3728 / times[[0, 3]], [339.8, 53.9], rtol=0, atol=0.1)
    assert_printed(times, "0.54 1.53 2.87 3.39 2.06 1.63")


def test_handbook_room_with_tile():
    # The same book, p. 163: 340 ft2 of 3/4 in acoustic tile added on top of the gypsum.
    areas, alpha = [373, 1159, 340], [CONCRETE, GYPSUM, TILE]
    times = sabine(3728, areas, alpha, c=speed(0.049))
    assert_printed(times, "0.49 0.85 0.56 0.54 0.54 0.55")
    np.testing.assert_allclose(
        0.049 * 3728 / times, [370.4, 214.8, 328.8, 339.5, 336.8, 329.4], rtol=5e-4
    )


def test_handbook_room_split_by_axis():
    # The same page: walls 320, 466, 746 ft2 facing x, y, z, i.e. 21, 30, 49 % of the surface.
    volume, areas = box(23.3, 16, 10)
    low, high = 1 - math.exp(-1), 1 - math.exp(-2)  # ln terms of 1 and 2: T S/kV = share + ...
    shares = []
    for lively in range(3):
        means = [low if i == lively else high for i in range(3)]
        time = fitzroy(volume, areas, pairs(*means), axis=BOX_AXIS, c=speed(0.049))
        shares.append(2 * (float(time[0]) * areas.sum() / (0.049 * volume) - 0.5))
    assert_printed(100 * np.array(shares), "21 30 49")
    assert_printed(np.array(shares) * areas.sum(), "320 466 746")


EN_AREAS = [12.39, 12.39, 10.90, 10.90, 6.55, 6.55]
EN_ALPHA = [[0.05], [0.02], [0.04], [0.04], [0.04], [0.04]]
EN_VOLUME = 29.75


def test_en12354_annex_e_bare():
    # EN 12354-6:2003 Annex E, room 4.54 x 2.73 x 2.40 m at 1 kHz.
    assert_printed(en12354_absorption(EN_VOLUME, EN_AREAS, EN_ALPHA), "2.26")
    assert_printed(en12354_decay(EN_VOLUME, EN_AREAS, EN_ALPHA), "2.1")
    air = en12354_air()[3:4]
    assert_printed(4 * air * EN_VOLUME, "0.12")
    assert_printed(en12354_decay(EN_VOLUME, EN_AREAS, EN_ALPHA, air=air), "2.0")


def test_en12354_annex_e_with_objects():
    volumes = np.array([0.15, 0.60, 0.05, 0.05, 0.65, 0.65])
    area = hard_object_area(volumes).sum()
    assert_printed(area, "2.77")
    psi = volumes.sum() / EN_VOLUME
    assert_printed(psi, "0.072")
    room = {"object_area": [area], "psi": psi}
    assert_printed(en12354_absorption(EN_VOLUME, EN_AREAS, EN_ALPHA, **room), "5.03")
    assert_printed(en12354_decay(EN_VOLUME, EN_AREAS, EN_ALPHA, **room), "0.9")


def test_en12354_air_fills_what_objects_leave():
    # EN 12354-6:2003, formula (2): A_air = 4 m V (1 - psi), by hand.
    room = {"air": [0.001], "psi": 0.1}
    plain = en12354_absorption(EN_VOLUME, EN_AREAS, EN_ALPHA)
    got = en12354_absorption(EN_VOLUME, EN_AREAS, EN_ALPHA, **room) - plain
    np.testing.assert_allclose(got, 4 * 0.001 * 29.75 * 0.9, rtol=1e-9)


def test_en12354_decay_is_that_of_the_air_that_objects_leave():
    # EN 12354-6:2003, formula (5), Annex E's room with its objects, by hand: the volume is
    # 29.75 - 2.15 = 27.60 m3, A = 2.2575 + 2.7740 = 5.031 m2, T = 55.3/345.6 * 27.60 / 5.031.
    # To two digits, since the annex's "0.9" would hold for the whole volume (0.946 s) as well.
    volumes = np.array([0.15, 0.60, 0.05, 0.05, 0.65, 0.65])
    room = {"object_area": [hard_object_area(volumes).sum()], "psi": volumes.sum() / EN_VOLUME}
    assert_printed(en12354_decay(EN_VOLUME, EN_AREAS, EN_ALPHA, **room), "0.88")
    area = float(en12354_absorption(EN_VOLUME, EN_AREAS, EN_ALPHA, **room)[0])
    expected = 55.3 / 345.6 * (EN_VOLUME - volumes.sum()) / area
    np.testing.assert_allclose(
        en12354_decay(EN_VOLUME, EN_AREAS, EN_ALPHA, **room), expected, rtol=1e-12
    )
    slower = en12354_decay(EN_VOLUME, EN_AREAS, EN_ALPHA, **room, c0=172.8)
    np.testing.assert_allclose(slower, 2 * expected, rtol=1e-12)


@pytest.mark.parametrize("name", FORMULAS)
def test_decay_goes_with_the_speed_of_sound_of_the_medium(name):
    # Every formula is k V / A' with k = 24 ln 10 / c and A' without c (ISO 354:2003, 8.1.2:
    # 55.3/c), so that c T is the same in any medium: here air at 0 degrees C and helium, m/s.
    volume, areas = box(5, 4, 2.6)
    alpha = pairs([0.1, 0.4], [0.2, 0.3], [0.6, 0.7])
    spread = {"axis": BOX_AXIS, "air": [0.001, 0.005], "object_area": [1.0, 2.0]}
    times = [c * FORMULAS[name](volume, areas, alpha, **spread, c=c) for c in (331.0, 972.0)]
    np.testing.assert_allclose(times[0], times[1], rtol=1e-12)
    assert times[0] == pytest.approx(343.0 * FORMULAS[name](volume, areas, alpha, **spread))


def test_shares_of_an_inclined_surface():
    # Squared direction cosines of a plane at 30 degrees: 3/4 and 1/4 (they add to one, unlike the
    # cosines); of the diagonal of a cube a third each. By hand.
    third = [1 / 3, 1 / 3, 1 / 3]
    tilted = [math.cos(math.radians(30)), 0.0, -math.sin(math.radians(30))]
    shares = axis_weights([tilted, [-2.0, 2.0, 2.0], [0.0, -3.0, 0.0]])
    np.testing.assert_allclose(shares, [[0.75, 0.0, 0.25], third, [0.0, 1.0, 0.0]], atol=1e-15)


def test_en12354_annex_e_absorbent_wall():
    # 9.81 m2 of one long wall at 0.85, 1.09 m2 of it left bare.
    areas = [12.39, 12.39, 10.90, 1.09, 9.81, 6.55, 6.55]
    alpha = [*EN_ALPHA[:4], [0.85], *EN_ALPHA[4:]]
    assert_printed(en12354_absorption(EN_VOLUME, areas, alpha), "10.21")
    assert_printed(en12354_decay(EN_VOLUME, areas, alpha), "0.5")


def test_basement_room():
    # Small room of an acoustics demonstration (D. Russell, Penn State): 9.25 x 7.65 x 3.15 m,
    # calculated 2.6 s bare and 0.93 s carpeted at 1 kHz. The page's coefficients were not seen:
    # these were inferred from its two results, so this checks arithmetic, not an input.
    volume, areas = box(9.25, 7.65, 3.15)
    for floor, printed in ((0.02, "2.6"), (0.37, "0.93")):
        alpha = [[0.07]] * 5 + [[floor]]
        assert_printed(sabine(volume, areas, alpha, c=speed(0.161)), printed)


def test_hall_with_audience():
    # U. Mukherji, Engineering Physics, chapter 5: V 1450 m3, persons of 4.7 m2 (inputs from the
    # book, results by hand with k = 0.161).
    areas, alpha = [112, 130, 170, 20, 100], [[0.03], [0.06], [0.04], [0.06], [1.0]]
    for persons, printed in ((0, "1.96"), (60, "0.582"), (100, "0.396")):
        time = sabine(1450, areas, alpha, object_area=[4.7 * persons], c=speed(0.161))
        assert_printed(time, printed)


def test_auditorium():
    # M. Arumugam, Solid State Physics, chapter 14: 12 x 30 x 6 m, printed 0.8 s and 1.6 s.
    areas, alpha = [450, 360, 24, 600], [[0.03], [0.06], [0.25], [0.3]]
    full = sabine(2160, areas, alpha, object_area=[500 * 0.43], c=speed(0.16))
    empty = sabine(2160, areas, alpha, c=speed(0.16))
    assert_printed(full, "0.8")
    assert_printed(empty, "1.6")
    np.testing.assert_allclose(0.16 * 2160 / np.r_[full, empty], [436.1, 221.1], rtol=1e-9)


def test_exercise_sheet_sabine_and_eyring():
    # A university exercise sheet with printed answers (1library.net, "q57rvkwy").
    volume, areas = box(40, 30, 20)  # ft
    assert_printed(sabine(volume, areas, pairs(0.15, 0.15, 0.15), c=speed(0.05)), "1.54")
    volume, areas = box(15, 8, 3)  # m
    uniform = pairs(0.3, 0.3, 0.3)
    assert_printed(sabine(volume, areas, uniform, c=speed(0.162)), "0.51")
    assert_printed(eyring(volume, areas, uniform, c=speed(0.162)), "0.43")
    volume, areas = box(70, 40, 15)  # ft, a hundred persons of 4.7 ft2
    people = sabine(volume, areas, pairs(0.1, 0.1, 0.1), object_area=[470], c=speed(0.05))
    assert_printed(people, "1.54")


def test_lecture_examples():
    # Lecture slides (slideshare, 10 x 5 x 4 m; inputs from the slides, result by hand).
    volume, areas = box(10, 5, 4)
    alpha = [[0.35]] * 4 + [[0.60], [0.15]]
    assert_printed(sabine(volume, areas, alpha, c=speed(0.161)), "0.405")
    # School exercise solved backwards: 10 x 8 x 6 m and T = 3 s give A = 25.76 m2.
    volume, areas = box(10, 8, 6)
    mean = 25.76 / 376
    assert_printed(sabine(volume, areas, pairs(mean, mean, mean), c=speed(0.161)), "3.00")


def test_uniform_box():
    # Check value of the textbook formulas for 8 x 5 x 3 m, 0.2 all round, c = 343 m/s.
    volume, areas = box(8, 5, 3)
    alpha = pairs(0.2, 0.2, 0.2)
    assert_printed(sabine(volume, areas, alpha), "0.611825")
    for formula in (eyring, millington, fitzroy, arau):
        assert_printed(formula(volume, areas, alpha, axis=BOX_AXIS), "0.548369")


def test_box_with_one_absorbent_pair():
    # 8 x 5 x 3 m, pair means 0.5, 0.1, 0.1. Fitzroy (JASA 1959) and Arau-Puchades (Acustica
    # 1988) figures from a transcription; the others by hand.
    volume, areas = box(8, 5, 3)
    room = (volume, areas, pairs(0.5, 0.1, 0.1))
    assert_printed(fitzroy(*room, axis=BOX_AXIS), "0.9744")
    assert_printed(arau(*room, axis=BOX_AXIS), "0.812147")
    assert_printed(eyring(*room), "0.6323")
    assert_printed(sabine(*room), "0.6955")
    assert_printed(millington(*room), "0.5640")


def test_box_with_uneven_pairs_by_band():
    # 10 x 7 x 3.5 m, octaves 125 Hz to 4 kHz, no air: Sabine, Arau-Puchades and Fitzroy from a
    # transcribed worked example; Norris-Eyring and Millington-Sette by hand.
    volume, areas = box(10, 7, 3.5)
    alpha = pairs(
        [0.06, 0.07, 0.08, 0.09, 0.10, 0.10],
        [0.12, 0.14, 0.16, 0.18, 0.20, 0.20],
        [0.30, 0.50, 0.65, 0.78, 0.82, 0.80],
    )
    printed = {
        sabine: "0.74 0.47 0.37 0.31 0.30 0.30",
        arau: "0.79 0.51 0.38 0.29 0.26 0.27",
        fitzroy: "1.02 0.79 0.66 0.57 0.51 0.51",
        eyring: "0.661 0.393 0.289 0.228 0.210 0.216",
        millington: "0.638 0.355 0.242 0.171 0.151 0.160",
    }
    for formula, figures in printed.items():
        assert_printed(formula(volume, areas, alpha, axis=BOX_AXIS), figures)


def test_kuttruff_correction():
    # By hand from Kuttruff's second correction: 120 m3, 158 m2, mean 0.3, g2 = 0.4.
    assert_printed(kuttruff(120, [158], [[0.3]]), "0.3694")
    assert_printed(eyring(120, [158], [[0.3]]), "0.3431")
    assert kuttruff(120, [158], [[0.3]], path_variance=0.0) == eyring(120, [158], [[0.3]])


def test_kuttruff_is_nan_past_its_maximum():
    edge = 1 - math.exp(-1 / 0.4)  # L = 1/g2
    times = kuttruff(120, [158], [[edge - 0.10, edge - 0.01, edge + 0.01, 1.0]])
    assert times[0] > times[1] > 0
    assert np.isnan(times[2:]).all()


def test_schroeder_frequency():
    # Schroeder and Kuttruff 1962; 0.3 s in 60 m3, by hand.
    assert_printed(schroeder_frequency(0.3, 60), "141.4")
    assert schroeder_frequency([0.3, 1.2], 60).tolist() == pytest.approx([141.42, 282.84], rel=1e-4)


coefficient = st.floats(0.01, 0.95)
dimension = st.floats(2.0, 10.0)
sizes = st.tuples(dimension, dimension, dimension)


@given(sizes, coefficient, st.floats(0, 0.01), st.floats(0, 20))
def test_uniform_absorption_makes_log_formulas_agree(size, alpha, air, objects):
    volume, areas = box(*size)
    spread = {"axis": BOX_AXIS, "air": [air], "object_area": [objects]}
    expected = eyring(volume, areas, pairs(alpha, alpha, alpha), **spread)
    for formula in (millington, fitzroy, arau):
        got = formula(volume, areas, pairs(alpha, alpha, alpha), **spread)
        np.testing.assert_allclose(got, expected, rtol=1e-9)


@given(sizes, st.lists(coefficient, min_size=6, max_size=6))
def test_order_of_the_formulas(size, alphas):
    # -ln(1-a) >= a and it is convex: Sabine >= Eyring >= Millington; a weighted geometric mean
    # never exceeds the arithmetic one: Arau-Puchades <= Fitzroy.
    volume, areas = box(*size)
    alpha = np.array(alphas)[:, None]
    times = {n: f(volume, areas, alpha, axis=BOX_AXIS)[0] for n, f in FORMULAS.items()}
    slack = 1 + 1e-12
    assert times["Millington-Sette"] <= times["Norris-Eyring"] * slack
    assert times["Norris-Eyring"] <= times["Sabine"] * slack
    assert times["Arau-Puchades"] <= times["Fitzroy"] * slack


@settings(max_examples=60)
@given(sizes, st.lists(coefficient, min_size=6, max_size=6), st.integers(0, 5), st.floats(0, 0.3))
def test_more_absorption_never_lengthens(size, alphas, where, more):
    volume, areas = box(*size)
    before = np.array(alphas)[:, None]
    after = before.copy()
    after[where] += more
    for name, formula in FORMULAS.items():
        first = formula(volume, areas, before, axis=BOX_AXIS)[0]
        second = formula(volume, areas, after, axis=BOX_AXIS)[0]
        if name == "Kuttruff" and np.isnan(second):
            continue  # past its stated limit
        assert second <= first * (1 + 1e-12), name


@pytest.mark.parametrize("name", FORMULAS)
def test_small_absorption_is_sabine(name):
    # Every formula tends to Sabine's as uniform absorption tends to nought.
    volume, areas = box(5, 4, 2.6)
    alpha = np.full((6, 1), 1e-6)
    got = FORMULAS[name](volume, areas, alpha, axis=BOX_AXIS)
    np.testing.assert_allclose(got, sabine(volume, areas, alpha), rtol=2e-6)


@pytest.mark.parametrize("name", FORMULAS)
def test_splitting_a_surface_changes_nothing(name):
    volume, areas = box(5, 4, 2.6)
    alpha = pairs([0.1, 0.4], [0.2, 0.3], [0.6, 0.7])
    whole = FORMULAS[name](volume, areas, alpha, axis=BOX_AXIS)
    half = np.concatenate([areas / 2, areas / 2])
    split = FORMULAS[name](volume, half, np.vstack([alpha, alpha]), axis=np.tile(BOX_AXIS, 2))
    np.testing.assert_allclose(split, whole, rtol=1e-12)


@pytest.mark.parametrize("name", FORMULAS)
def test_air_and_objects_act_as_equal_areas(name):
    volume, areas = box(5, 4, 2.6)
    alpha = pairs([0.1, 0.4], [0.2, 0.3], [0.6, 0.7])
    air = np.array([0.001, 0.005])
    by_air = FORMULAS[name](volume, areas, alpha, axis=BOX_AXIS, air=air)
    by_object = FORMULAS[name](volume, areas, alpha, axis=BOX_AXIS, object_area=4 * volume * air)
    np.testing.assert_allclose(by_air, by_object, rtol=1e-12)
    assert np.all(by_air < FORMULAS[name](volume, areas, alpha, axis=BOX_AXIS))


def test_coefficients_above_one():
    # ISO 354 values above 1 (edge effect) count in full in sums; only logarithms are capped.
    volume, areas = box(5, 4, 2.6)
    alpha = pairs(0.1, 0.1, 1.15)
    area = float(areas @ alpha[:, 0])
    kv = 24 * math.log(10) / 343 * volume
    assert sabine(volume, areas, alpha)[0] == pytest.approx(kv / area, rel=1e-12)
    mean = area / areas.sum()
    expected = kv / (-areas.sum() * math.log(1 - mean))
    assert eyring(volume, areas, alpha)[0] == pytest.approx(expected, rel=1e-12)
    capped = pairs(0.1, 0.1, LOG_CAP)
    for formula in (millington, fitzroy, arau):
        got = formula(volume, areas, alpha, axis=BOX_AXIS)
        np.testing.assert_allclose(got, formula(volume, areas, capped, axis=BOX_AXIS), rtol=1e-12)
    everywhere = eyring(volume, areas, np.full((6, 1), 1.3))
    np.testing.assert_allclose(everywhere, kv / (areas.sum() * -math.log(0.01)), rtol=1e-12)


@pytest.mark.parametrize("name", FORMULAS)
def test_no_absorption_never_decays(name):
    volume, areas = box(5, 4, 2.6)
    assert FORMULAS[name](volume, areas, np.zeros((6, 1)), axis=BOX_AXIS)[0] == np.inf


def test_inclined_surfaces():
    # A ceiling at 45 degrees counts half for the axis across and half upwards.
    weights = axis_weights([[0, 1, 1], [0, 0, -2]])
    np.testing.assert_allclose(weights, [[0, 0.5, 0.5], [0, 0, 1]], rtol=1e-12)
    volume, areas = box(5, 4, 2.6)
    alpha = pairs(0.5, 0.1, 0.2)
    for formula in (fitzroy, arau):
        by_share = formula(volume, areas, alpha, axis=np.eye(3)[BOX_AXIS])
        np.testing.assert_array_equal(by_share, formula(volume, areas, alpha, axis=BOX_AXIS))


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"volume": 0}, "volume"),
        ({"areas": [1.0, 2.0]}, "shape"),
        ({"areas": [-1.0]}, "areas"),
        ({"alpha": [[-0.1]]}, "coefficients"),
        ({"alpha": [[np.nan]]}, "coefficients"),
        ({"air": [0.1, 0.1]}, "air"),
        ({"object_area": [-1.0]}, "objects"),
        ({"axis": [3]}, "0, 1 or 2"),
        ({"axis": [[0.5, 0.1, 0.1]]}, "add to one"),
        ({"axis": None}, "needs the axis"),
    ],
)
def test_bad_input_is_refused(change, message):
    room = {"volume": 30.0, "areas": [50.0], "alpha": [[0.2]], "axis": [0]} | change
    with pytest.raises(ValueError, match=message):
        arau(**room)


def test_en12354_refuses_a_full_room():
    with pytest.raises(ValueError, match="0.2"):
        en12354_decay(EN_VOLUME, EN_AREAS, EN_ALPHA, psi=0.3)
