"""Image sources: a worked room, an independent image-source library, identities, obstacles."""

from dataclasses import replace

import numpy as np
import pyroomacoustics as pra
import pytest
from scipy.spatial.transform import Rotation

from optimizer.acoustics import images
from optimizer.acoustics.head import head_region
from optimizer.acoustics.images import (
    boundary_notch,
    comb_extremes,
    first_reflections,
    make_reflectors,
)

L_SHAPE = np.array([[0, 0], [6, 0], [6, 3], [3, 3], [3, 5], [0, 5]], dtype=float)


def prism(plan, height):
    """Reflectors of an upright room over a floor plan (K, 2) that runs anticlockwise."""
    edges = np.roll(plan, -1, axis=0) - plan
    lengths = np.linalg.norm(edges, axis=1)
    ahead = edges / lengths[:, None]
    zeros, ones = np.zeros(len(plan)), np.ones(len(plan))
    origin = np.vstack([np.column_stack([plan, zeros]), [[0, 0, 0], [0, 0, height]]])
    u = np.vstack([np.column_stack([ahead, zeros]), np.eye(3)[[0, 0]]])
    v = np.vstack([np.column_stack([zeros, zeros, ones]), np.eye(3)[[1, 1]]])
    normal = np.vstack(
        [np.column_stack([-ahead[:, 1], ahead[:, 0], zeros]), [[0, 0, 1], [0, 0, -1]]]
    )
    walls = [np.array([[0, 0], [w, 0], [w, height], [0, height]]) for w in lengths]
    return make_reflectors(origin, u, v, normal, [*walls, plan, plan])


def box_room(lx, ly, lz):
    """Six walls: near side y=0, rear x=L, far side y=W, front x=0, floor, ceiling."""
    return prism(np.array([[0, 0], [lx, 0], [lx, ly], [0, ly]], dtype=float), lz)


def with_desk(room, low, high):
    """The room with the top of a desk box [low, high] added, carried by obstacle 0."""
    size = np.subtract(high, low)[:2]
    top = np.array([[0, 0], [size[0], 0], size, [0, size[1]]])
    return make_reflectors(
        np.vstack([room.origin, [low[0], low[1], high[2]]]),
        np.vstack([room.u, [1, 0, 0]]),
        np.vstack([room.v, [0, 1, 0]]),
        np.vstack([room.normal, [0, 0, 1]]),
        [*room.outline, top],
        [*room.carrier, 0],
    )


NEAR, REAR, FAR, FRONT, FLOOR, CEILING = range(6)
SOURCE, EAR = np.array([[1.0, 1.2, 1.2]]), np.array([[2.5, 2.0, 1.2]])


# Room 5.0 x 4.0 x 2.6 m by hand (law of reflection), c = 343 m/s, direct path 1.700 m:
# path m, delay ms, spreading dB, bounce point, alpha that brings it to -10 dB.
BY_HAND = {
    FRONT: ("3.590", "5.511", "-6.49", (0, 1.429, 1.2), "0.554"),
    REAR: ("6.549", "14.137", "-11.71", (5, 1.692, 1.2), None),
    NEAR: ("3.534", "5.347", "-6.36", (1.5625, 0, 1.2), "0.568"),
    FAR: ("5.029", "9.705", "-9.42", (1.875, 4, 1.2), "0.125"),
    FLOOR: ("2.941", "3.618", "-4.76", (1.75, 1.6, 0), "0.701"),
    CEILING: ("3.276", "4.594", "-5.70", (1.75, 1.6, 2.6), "0.629"),
}


@pytest.mark.parametrize("wall", BY_HAND)
def test_reflections_of_a_worked_room(wall):
    length, delay, spreading, bounce, alpha = BY_HAND[wall]
    paths = first_reflections(SOURCE, EAR, box_room(5.0, 4.0, 2.6))
    assert paths.valid.all()
    assert paths.direct_m[0, 0] == pytest.approx(1.7, rel=1e-12)
    assert paths.length_m[0, 0, wall] == pytest.approx(float(length), abs=5.01e-4, rel=0)
    assert paths.delay_ms[0, 0, wall] == pytest.approx(float(delay), abs=5.01e-4, rel=0)
    assert paths.spreading_db[0, 0, wall] == pytest.approx(float(spreading), abs=5.01e-3, rel=0)
    np.testing.assert_allclose(paths.bounce[0, 0, wall], bounce, rtol=0, atol=5.01e-4)
    if alpha is None:
        assert paths.spreading_db[0, 0, wall] < -10
    else:
        needed = 1 - 10 ** ((-10 - paths.spreading_db[0, 0, wall]) / 10)
        assert needed == pytest.approx(float(alpha), abs=5.01e-4, rel=0)


def test_boxes_agree_with_an_image_source_library():
    # pyroomacoustics, ShoeBox of first order. It stores images in single precision, so the
    # boxes lie on a grid of 1/64 m, where that is exact.
    rng = np.random.default_rng(20)
    for _ in range(50):
        size = rng.integers(2 * 64, 9 * 64, 3) / 64
        source, receiver = (np.round(size * rng.uniform(0.1, 0.9, 3) * 64) / 64 for _ in range(2))
        room = pra.ShoeBox(size, fs=16000, max_order=1, air_absorption=False)
        room.add_source(source)
        room.add_microphone(receiver)
        room.image_source_model()
        expected = room.sources[0].images.T[room.sources[0].orders == 1].astype(float)
        delays = np.linalg.norm(expected - receiver, axis=1) / 343.0
        delays -= np.linalg.norm(source - receiver) / 343.0
        paths = first_reflections([source], [receiver], box_room(*size))
        assert paths.valid.all()
        mine, theirs = np.lexsort(paths.image[0].round(6).T), np.lexsort(expected.round(6).T)
        np.testing.assert_allclose(paths.image[0][mine], expected[theirs], rtol=1e-9, atol=1e-12)
        np.testing.assert_allclose(paths.delay_ms[0, 0][mine], 1e3 * delays[theirs], rtol=1e-9)


def test_l_shaped_room_agrees_with_an_image_source_library():
    # pyroomacoustics drops images that cannot be seen; single precision, hence 1e-5 m.
    rng = np.random.default_rng(3)
    reflectors = prism(L_SHAPE, 2.5)
    hidden = 0
    for _ in range(60):
        source, receiver = _point_in_l(rng), _point_in_l(rng)
        room = pra.Room.from_corners(L_SHAPE.T, fs=16000, max_order=1, air_absorption=False)
        room.extrude(2.5)
        room.add_source(source)
        room.add_microphone(receiver)
        room.image_source_model()
        seen, order = room.sources[0].images.T, room.sources[0].orders
        paths = first_reflections([source], [receiver], reflectors)
        mine = paths.image[0][paths.valid[0, 0]]
        theirs = seen[order == 1].astype(float)
        assert len(mine) == len(theirs)
        apart = np.linalg.norm(mine[:, None] - theirs[None], axis=-1)
        assert apart.min(axis=1).max(initial=0) < 1e-5
        assert paths.direct_clear[0, 0] == bool(np.any(order == 0))
        hidden += len(reflectors) - len(mine)
    assert hidden > 60  # the comparison covers paths that do not exist


def _point_in_l(rng):
    while True:
        point = rng.uniform([0.1, 0.1, 0.1], [5.9, 4.9, 2.4])
        if point[0] < 2.9 or point[1] < 2.9:
            return point


def test_identities_of_reflection():
    rng = np.random.default_rng(7)
    room = box_room(5.3, 3.9, 2.6)
    sources, receivers = rng.uniform(0.2, 2.4, (4, 3)), rng.uniform(0.2, 2.4, (9, 3))
    paths = first_reflections(sources, receivers, room)
    to_wall = paths.bounce - sources[:, None, None]
    onward = receivers[None, :, None] - paths.bounce
    legs = np.linalg.norm(to_wall, axis=-1) + np.linalg.norm(onward, axis=-1)
    np.testing.assert_allclose(legs, paths.length_m, rtol=1e-12)
    # Mirrored at the wall: the angle in is the angle out.
    out = onward / np.linalg.norm(onward, axis=-1, keepdims=True)
    cos_in, cos_out = -(paths.leave * room.normal).sum(-1), (out * room.normal).sum(-1)
    np.testing.assert_allclose(cos_in, cos_out, rtol=1e-9)
    np.testing.assert_allclose(paths.incidence_cos, cos_in, rtol=1e-9)
    # The bounce point lies where its in-plane coordinates say.
    u, v = paths.bounce_uv[..., :1] * room.u, paths.bounce_uv[..., 1:] * room.v
    np.testing.assert_allclose(room.origin + u + v, paths.bounce, rtol=1e-9, atol=1e-12)
    # Fermat: any other point of the wall makes a longer path.
    moved = paths.bounce + 0.05 * room.u - 0.03 * room.v
    detour = np.linalg.norm(moved - sources[:, None, None], axis=-1)
    detour += np.linalg.norm(receivers[None, :, None] - moved, axis=-1)
    assert np.all(detour > paths.length_m)


def test_source_and_receiver_may_change_places():
    rng = np.random.default_rng(11)
    room = prism(L_SHAPE, 2.5)
    boxes = np.array([[[1.0, 1.0, 0.0], [2.0, 2.5, 1.4]], [[4.0, 0.2, 0.5], [4.5, 1.0, 2.0]]])
    a = np.array([_point_in_l(rng) for _ in range(15)])
    b = np.array([_point_in_l(rng) for _ in range(15)])
    there, back = first_reflections(a, b, room, boxes), first_reflections(b, a, room, boxes)
    np.testing.assert_array_equal(there.valid, back.valid.swapaxes(0, 1))
    np.testing.assert_array_equal(there.direct_clear, back.direct_clear.T)
    np.testing.assert_allclose(there.length_m, back.length_m.swapaxes(0, 1), rtol=1e-12)
    same = there.valid
    np.testing.assert_allclose(there.bounce[same], back.bounce.swapaxes(0, 1)[same], atol=1e-9)
    assert 0 < same.sum() < same.size


def test_turning_the_whole_room_changes_nothing():
    rng = np.random.default_rng(5)
    room = prism(L_SHAPE, 2.5)
    a = np.array([_point_in_l(rng) for _ in range(8)])
    b = np.array([_point_in_l(rng) for _ in range(8)])
    turn, shift = Rotation.from_rotvec([0.4, -1.1, 0.7]), np.array([3.0, -2.0, 1.0])
    turned = replace(
        room,
        origin=turn.apply(room.origin) + shift,
        u=turn.apply(room.u),
        v=turn.apply(room.v),
        normal=turn.apply(room.normal),
    )
    before = first_reflections(a, b, room)
    after = first_reflections(turn.apply(a) + shift, turn.apply(b) + shift, turned)
    np.testing.assert_array_equal(after.valid, before.valid)
    np.testing.assert_allclose(after.delay_ms, before.delay_ms, rtol=1e-9)
    np.testing.assert_allclose(after.bounce_uv, before.bounce_uv, rtol=1e-9, atol=1e-9)


def test_obstacle_in_a_leg_blocks_that_reflection_only():
    room = box_room(5.0, 4.0, 2.6)
    # A low bench right across the floor bounce at (1.75, 1.6, 0).
    bench = [[[1.6, 1.4, 0.0], [1.9, 1.8, 0.4]]]
    valid = first_reflections(SOURCE, EAR, room, bench).valid[0, 0]
    assert not valid[FLOOR]
    assert valid[[NEAR, REAR, FAR, FRONT, CEILING]].all()
    aside = [[[1.6, 2.4, 0.0], [1.9, 2.8, 0.4]]]
    assert first_reflections(SOURCE, EAR, room, aside).valid.all()


def test_obstacle_between_blocks_the_direct_sound():
    column = [[[1.6, 1.4, 0.0], [1.9, 1.8, 2.6]]]
    paths = first_reflections(SOURCE, EAR, box_room(5.0, 4.0, 2.6), column)
    assert not paths.direct_clear[0, 0]
    assert not paths.valid[0, 0, [FLOOR, CEILING]].any()


def test_furniture_before_the_wall_hides_it():
    # A cupboard against the wall covers the bounce point (1.5625, 0, 1.2).
    cupboard = [[[1.2, 0.0, 0.0], [1.9, 0.4, 2.0]]]
    assert not first_reflections(SOURCE, EAR, box_room(5, 4, 2.6), cupboard).valid[0, 0, NEAR]


def test_grazing_contact_blocks_nothing():
    # The direct sound runs along the top of a bench at ear height.
    bench = [[[1.2, 1.3, 0.0], [2.2, 1.9, 1.2]]]
    paths = first_reflections(SOURCE, EAR, box_room(5.0, 4.0, 2.6), bench)
    assert paths.direct_clear[0, 0]
    assert paths.valid[0, 0, [NEAR, FAR, FRONT, REAR, CEILING]].all()
    assert not paths.valid[0, 0, FLOOR]
    lamp = [[[1.2, 1.3, 1.2], [2.2, 1.9, 1.5]]]  # and along the underside of one that hangs
    assert first_reflections(SOURCE, EAR, box_room(5.0, 4.0, 2.6), lamp).direct_clear[0, 0]
    raised = [[[1.2, 1.3, 0.0], [2.2, 1.9, 1.2001]]]
    assert not first_reflections(SOURCE, EAR, box_room(5.0, 4.0, 2.6), raised).direct_clear[0, 0]


def test_blocking_agrees_with_points_along_the_path():
    # Independent of the slab arithmetic: a path is blocked if any of 2,000 points on a leg
    # lies in a box. Paths that only clip a box (by less than 5 mm) are left out.
    rng = np.random.default_rng(12)
    room, size = box_room(5.0, 4.0, 2.6), np.array([5.0, 4.0, 2.6])
    share = np.linspace(0, 1, 2000)[:, None]
    blocked = clear = 0
    for _ in range(200):
        low = rng.uniform(0, 0.8, 3) * size
        box = np.array([low, np.minimum(low + rng.uniform(0.2, 1.5, 3), size)])
        ends = rng.uniform(0.05, 0.95, (2, 3)) * size
        if np.any(_within(ends, box, 0.0)):
            continue
        paths = first_reflections(ends[:1], ends[1:], room, [box])
        legs = [(ends[0], ends[1], paths.direct_clear[0, 0])]
        legs += [(None, paths.bounce[0, 0, p], paths.valid[0, 0, p]) for p in range(6)]
        for start, end, free in legs:
            starts = ends if start is None else [start]
            points = np.vstack([s + share * (end - s) for s in starts])
            loose, tight = _within(points, box, 0.005).any(), _within(points, box, -0.005).any()
            if loose == tight:
                assert free != tight
                blocked, clear = blocked + tight, clear + (not tight)
    assert min(blocked, clear) > 30


def _within(points, box, margin):
    return np.all((points > box[0] - margin) & (points < box[1] + margin), axis=-1)


def test_box_around_source_or_receiver_is_left_out():
    room = box_room(5.0, 4.0, 2.6)
    shelf = [[[0.8, 1.0, 1.0], [1.2, 1.4, 1.4]]]
    seat = [[[2.2, 1.7, 0.9], [2.8, 2.3, 1.3]]]
    for box in (shelf, seat):
        paths = first_reflections(SOURCE, EAR, room, box)
        assert paths.direct_clear.all()
        assert paths.valid.all()
    # Only the leg that starts in it is free: the front wall's second leg meets a wider shelf
    # (at x = 1.0 it is at y = 1.657).
    wide = [[[0.8, 1.0, 1.0], [1.2, 1.8, 1.4]]]
    valid = first_reflections(SOURCE, EAR, room, wide).valid[0, 0]
    assert not valid[FRONT]
    assert valid[[NEAR, REAR, FAR, FLOOR, CEILING]].all()


def test_desk_top_reflects_within_its_edges():
    room = box_room(5.0, 4.0, 2.6)
    low, high = (1.5, 1.2, 0.0), (2.0, 2.0, 0.75)
    paths = first_reflections(SOURCE, EAR, with_desk(room, low, high), [[low, high]])
    assert paths.valid[0, 0, 6]
    assert not paths.valid[0, 0, FLOOR]
    # By hand: equal heights, so the bounce is half-way, 0.45 m below both.
    np.testing.assert_allclose(paths.bounce[0, 0, 6], [1.75, 1.6, 0.75], rtol=1e-12)
    assert paths.length_m[0, 0, 6] == pytest.approx(np.hypot(1.7, 0.9), rel=1e-12)
    # Drawers under the desk lie beyond the bounce point and hide nothing.
    drawers = [[low, high], [[1.7, 1.5, 0.0], [2.3, 2.0, 0.6]]]
    assert first_reflections(SOURCE, EAR, with_desk(room, low, high), drawers).valid[0, 0, 6]
    low, high = (1.8, 1.2, 0.0), (2.3, 2.0, 0.75)
    moved = first_reflections(SOURCE, EAR, with_desk(room, low, high), [[low, high]])
    assert not moved.valid[0, 0, 6]
    under = first_reflections([[1.0, 1.2, 0.5]], EAR, with_desk(room, low, high), [[low, high]])
    assert not under.valid[0, 0, 6]


def test_carrier_is_exempt_even_when_it_stands_proud():
    # A desk box drawn 2 mm above its top surface would hide it, were it not the carrier.
    room = with_desk(box_room(5.0, 4.0, 2.6), (1.5, 1.2, 0.0), (2.0, 2.0, 0.75))
    proud = [[[1.5, 1.2, 0.0], [2.0, 2.0, 0.752]]]
    assert first_reflections(SOURCE, EAR, room, proud).valid[0, 0, 6]
    loose = replace(room, carrier=np.full(7, -1))
    assert not first_reflections(SOURCE, EAR, loose, proud).valid[0, 0, 6]


def test_behind_the_reflecting_side_there_is_no_reflection():
    outside = first_reflections([[-1.0, 1.2, 1.2]], EAR, box_room(5.0, 4.0, 2.6))
    assert not outside.valid[0, 0, FRONT]
    assert not outside.valid.any()  # every other path would pass the front wall


@pytest.mark.parametrize(
    ("delay_ms", "null_hz"),
    # Everest and Pohlmann, Master Handbook of Acoustics, pp. 188-201: first null of a copy.
    [(1.0, 500.0), (0.5, 1000.0), (0.1, 5000.0)],
)
def test_first_null_of_a_delayed_copy(delay_ms, null_hz):
    assert float(boundary_notch(343.0 * delay_ms / 1000)) == pytest.approx(null_hz, rel=1e-12)


def test_rear_boundary_cancellation():
    # f = c / (4 d), common practice; distance m -> Hz by hand.
    distance = np.array([0.25, 0.5, 0.6, 0.8, 1.0, 1.2, 1.5])
    expected = [343, 171.5, 142.9, 107.2, 85.8, 71.5, 57.2]
    np.testing.assert_allclose(boundary_notch(2 * distance), expected, rtol=0, atol=0.0501)


def test_comb_filter_depth():
    # Peak and null for a copy at 0, -3, -6, -10, -20 dB, by hand from 20 lg(1 +/- g).
    peak, null = comb_extremes([0, -3, -6, -10, -20])
    np.testing.assert_allclose(peak, [6.02, 4.65, 3.53, 2.39, 0.83], rtol=0, atol=0.00501)
    assert null[0] == -np.inf
    np.testing.assert_allclose(null[1:], [-10.69, -6.04, -3.30, -0.92], rtol=0, atol=0.00501)


def test_two_seats_of_head_points_take_few_looks(monkeypatch):
    """All paths at once, and outlines only where a leg passes through a plane.

    What it costs: benchmarks/tables.py.
    """
    looked, usual = [], images.inside_outline

    def counted(points, outline):
        looked.append(points[..., 0].size)
        return usual(points, outline)

    monkeypatch.setattr(images, "inside_outline", counted)
    room = with_desk(box_room(5.0, 4.0, 2.6), (1.5, 1.2, 0.0), (2.0, 2.8, 0.75))
    heads = head_region([[2.5, 2.0, 1.2], [4.2, 2.0, 1.1]]).reshape(-1, 3)
    low = np.array([[1.5, 1.2, 0], *[[0.2 + 0.5 * i, 3.2, 0] for i in range(7)]])
    boxes = np.stack([low, low + 0.4], axis=1)
    speakers = [[1.0, 1.2, 1.2], [1.0, 2.8, 1.2]]
    paths = first_reflections(speakers, heads, room, boxes)
    assert paths.valid.shape == (2, 54, 7)
    assert looked[0] == paths.valid.size
    assert len(looked) == 3  # bounce points, both legs, direct paths
    assert sum(looked[1:]) < 2 * paths.valid.size  # of 2 x 7 x as many, legs by planes


def test_bad_geometry_is_refused():
    room = box_room(5.0, 4.0, 2.6)
    with pytest.raises(ValueError, match="same place"):
        first_reflections(EAR, EAR, room)
    with pytest.raises(ValueError, match="sources"):
        first_reflections([1.0, 1.0, 1.0], EAR, room)
    with pytest.raises(ValueError, match="greatest corner"):
        first_reflections(SOURCE, EAR, room, [[[1, 1, 1], [1, 2, 2]]])
    with pytest.raises(ValueError, match="not among"):
        first_reflections(SOURCE, EAR, replace(room, carrier=np.zeros(6, dtype=int)))
    square = [[0, 0], [1, 0], [1, 1], [0, 1]]
    axes = np.eye(3)
    with pytest.raises(ValueError, match="square to each other"):
        make_reflectors([[0, 0, 0]], axes[:1], [[1, 1, 0]], axes[2:], [square])
    with pytest.raises(ValueError, match="no area"):
        make_reflectors([[0, 0, 0]], axes[:1], axes[1:2], axes[2:], [[[0, 0], [1, 1], [2, 2]]])
    with pytest.raises(ValueError, match="three"):
        make_reflectors([[0, 0, 0]], axes[:1], axes[1:2], axes[2:], [[[0, 0], [1, 1]]])
    with pytest.raises(ValueError, match="above zero"):
        boundary_notch(0.0)
    with pytest.raises(ValueError, match="louder"):
        comb_extremes(3.0)
