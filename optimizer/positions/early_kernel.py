"""First reflections of very many set-ups in a box room at once, with what moves along in its place.

The same energies as `acoustics.early` gives for one scene after another (image sources, 27 points
around the head, octaves 1-8 kHz, tiles, furniture in the way, what is rough of the room), in one
compiled loop. For box rooms without pieces that hang already.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np

from optimizer.acoustics.directivity import Directivity
from optimizer.acoustics.head import head_region
from optimizer.acoustics.images import SPEED_OF_SOUND
from optimizer.acoustics.scattered import elements
from optimizer.acoustics.scene import Scene
from optimizer.bands import EARLY_INDEX
from optimizer.compiled import compiled
from optimizer.room.geometry import Floats

TOUCH = 1e-6  # m, as in acoustics.images
N_EARLY = len(EARLY_INDEX)


@dataclass(frozen=True)
class Mirrors:
    """P reflectors of a box room: its surfaces, then tops of furniture. `share` (P, 4) of the
    energy sent on, `item` (P,) the furniture it is the top of, -1 for a surface."""

    names: tuple[str, ...]
    origin: Floats
    u: Floats
    v: Floats
    normal: Floats
    extent: Floats  # (P, 2)
    share: Floats
    item: Any


def mirrors_of(scene: Scene) -> Mirrors:
    """Reflectors of a scene; tops stand where they are in it."""
    planes, tops = scene.planes, scene.mirrors
    boxes = scene.object_box[tops]
    corner = [np.array([*box[0, :2], box[1, 2]]) for box in boxes]
    x, y, up = np.eye(3)
    base = _sent(scene.base_alpha, scene.base_scatter)
    names = scene.names + tuple(f"top of {scene.object_names[i]}" for i in tops)
    return Mirrors(
        names,
        np.array([*(p.origin for p in planes), *corner]),
        np.array([*(p.u for p in planes), *([x] * len(tops))]),
        np.array([*(p.v for p in planes), *([y] * len(tops))]),
        np.array([*(p.normal for p in planes), *([up] * len(tops))]),
        np.array([*(p.polygon.max(axis=0) for p in planes), *(b[1, :2] - b[0, :2] for b in boxes)]),
        np.concatenate([base, np.ones((len(tops), N_EARLY))]),
        np.concatenate([np.full(len(planes), -1), tops]).astype(np.int64),
    )


def reflected(
    scene: Scene,
    speakers: Floats,
    ears: Floats,
    moves: Floats,
    directivity: Directivity,
    window_ms: float,
) -> tuple[Floats, Floats, tuple[str, ...]]:
    """Energy re direct (N, 2, P) and delay in ms (N, 2, P) of N set-ups, loudspeakers (N, 2, 3)
    aimed at ears (N, 3), and the names (P,) of the reflectors. What is scattered counts up to
    `window_ms` after the direct sound.

    `moves` (N, O, 3): how far each piece of furniture stands from where the scene has it.
    """
    made = mirrors_of(scene)
    tiles = scene.tiles
    count = len(ears)
    energy: Any = np.zeros((count, 2, len(made.names)))
    delay: Any = np.zeros((count, 2, len(made.names)))
    table = np.ascontiguousarray(directivity.table[:, EARLY_INDEX])
    _trace(
        np.ascontiguousarray(speakers), ears, head_region(np.zeros(3)), moves, scene.object_box,
        scene.object_solid, made.origin, made.u, made.v, made.normal, made.extent, made.share,
        made.item, tiles.surface, tiles.rect, _sent(tiles.alpha, tiles.scatter), table, energy,
        delay,
    )  # fmt: skip
    _scatter(
        np.ascontiguousarray(speakers), ears, moves, scene.object_box, scene.object_solid,
        *elements(scene), window_ms, table, energy,
    )  # fmt: skip
    return np.asarray(energy), np.asarray(delay), made.names


def _sent(alpha: Floats, scatter: Floats) -> Floats:
    """Share (N, 4) of the energy that goes on in the mirror direction."""
    early = (..., EARLY_INDEX)
    return np.asarray((1.0 - np.minimum(alpha[early], 1.0)) * (1.0 - scatter[early]))


@compiled(error_model="numpy")
def _trace(
    speakers: Any, ears: Any, around: Any, moves: Any, boxes: Any, solid: Any, origin: Any, u: Any,
    v: Any, normal: Any, extent: Any, share: Any, item: Any, tile_surface: Any, tile_rect: Any,
    tile_share: Any, table: Any, energy: Any, delay: Any,
) -> None:  # fmt: skip
    head, image, bounce = np.empty(3), np.empty(3), np.empty(3)
    for n in range(len(ears)):
        for s in range(2):
            source = speakers[n, s]
            aim = ears[n] - source
            for p in range(len(origin)):
                at = origin[p].copy()
                if item[p] >= 0:
                    at += moves[n, item[p]]
                for h in range(len(around)):
                    head[:] = ears[n] + around[h]
                    ds = np.dot(source - at, normal[p])
                    dr = np.dot(head - at, normal[p])
                    image[:] = source - 2.0 * ds * normal[p]
                    length = np.sqrt(np.sum((head - image) ** 2))
                    direct = np.sqrt(np.sum((head - source) ** 2))
                    if np.all(around[h] == 0.0):
                        delay[n, s, p] = 1e3 * (length - direct) / SPEED_OF_SOUND
                    if ds <= TOUCH or dr <= TOUCH:
                        continue
                    bounce[:] = image + ds / (ds + dr) * (head - image)
                    a, b = np.dot(bounce - at, u[p]), np.dot(bounce - at, v[p])
                    if a < 0 or b < 0 or a > extent[p, 0] or b > extent[p, 1]:
                        continue
                    if _blocked(source, bounce, n, moves, boxes, solid, item[p]):
                        continue
                    if _blocked(head, bounce, n, moves, boxes, solid, item[p]):
                        continue
                    tile = -1
                    if item[p] < 0:
                        for t in range(len(tile_surface)):
                            r = tile_rect[t]
                            if tile_surface[t] == p and r[0] <= a <= r[2] and r[1] <= b <= r[3]:
                                tile = t
                    spread = (direct / length) ** 2 / (len(around) * N_EARLY)
                    out, straight = _angle(bounce - source, aim), _angle(head - source, aim)
                    for band in range(N_EARLY):
                        sent = share[p, band] if tile < 0 else tile_share[tile, band]
                        ratio = _read(table, out, band) / _read(table, straight, band)
                        energy[n, s, p] += spread * sent * ratio


@compiled(error_model="numpy")
def _scatter(
    speakers: Any, ears: Any, moves: Any, boxes: Any, solid: Any, points: Any, normals: Any,
    surface: Any, area: Any, window_ms: float, table: Any, energy: Any,
) -> None:  # fmt: skip
    """Adds what elements of rough surfaces scatter (acoustics.scattered)."""
    for n in range(len(ears)):
        for s in range(2):
            source = speakers[n, s]
            aim = ears[n] - source
            direct = np.sqrt(np.sum(aim**2))
            for q in range(len(points)):
                there, back = source - points[q], ears[n] - points[q]
                near, far = np.sqrt(np.sum(there**2)), np.sqrt(np.sum(back**2))
                meets, leaves = np.dot(there, normals[q]) / near, np.dot(back, normals[q]) / far
                if meets <= 0.0 or leaves <= 0.0:
                    continue
                if 1e3 * (near + far - direct) / SPEED_OF_SOUND > window_ms:
                    continue
                if _blocked(source, points[q], n, moves, boxes, solid, -1):
                    continue
                if _blocked(ears[n], points[q], n, moves, boxes, solid, -1):
                    continue
                arrives = meets * leaves * (direct / (near * far)) ** 2 / (np.pi * N_EARLY)
                out, straight = _angle(-there, aim), 0.0
                for band in range(N_EARLY):
                    ratio = _read(table, out, band) / _read(table, straight, band)
                    energy[n, s, surface[q]] += arrives * area[q, band] * ratio


@compiled()
def _blocked(start: Any, end: Any, n: int, moves: Any, boxes: Any, solid: Any, own: int) -> bool:
    """Whether furniture other than `own`, and than what holds the start, is in the way."""
    for o in range(len(boxes)):
        if not solid[o] or o == own:
            continue
        enter, leave, holds = -np.inf, np.inf, True
        for axis in range(3):
            low = boxes[o, 0, axis] + moves[n, o, axis] + TOUCH
            high = boxes[o, 1, axis] + moves[n, o, axis] - TOUCH
            step = end[axis] - start[axis]
            if step == 0.0:
                step = 1e-300
            first, second = (low - start[axis]) / step, (high - start[axis]) / step
            enter, leave = max(enter, min(first, second)), min(leave, max(first, second))
            holds = holds and low < start[axis] < high
        if enter < leave and enter < 1.0 and leave > 0.0 and not holds:
            return True
    return False


@compiled()
def _angle(a: Any, b: Any) -> float:
    """Degrees between two vectors."""
    cosine = np.dot(a, b) / np.sqrt(np.dot(a, a) * np.dot(b, b))
    return float(np.degrees(np.arccos(min(max(cosine, -1.0), 1.0))))


@compiled()
def _read(table: Any, degrees: float, band: int) -> float:
    """The directivity table, one row a degree, read between its rows."""
    position = min(degrees, 180.0)
    row = min(int(position), 179)
    part = position - row
    return float((1.0 - part) * table[row, band] + part * table[row + 1, band])
