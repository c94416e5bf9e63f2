"""Setting butted pieces apart: a search after the solver that knows what joints cost.

The program adds up what each piece does alone. Pieces that touch lose part of that
(optimizer.placement.butting), so its plan is looked at again with the losses counted: a butted
piece is moved to the free place of the same product that is best, for as long as that helps. Why
no pairs of candidates are put into the program itself: tests/evidence/edge_effect.md.
"""

from dataclasses import dataclass, replace

import numpy as np
from scipy import sparse

from materials.finite import Face
from optimizer.acoustics.absorption import side_sign
from optimizer.acoustics.criteria import Family
from optimizer.acoustics.scene import Ints, Patches, Scene
from optimizer.bands import N_BANDS
from optimizer.placement.butting import edge_factors, find_joints
from optimizer.placement.candidates import Candidate
from optimizer.placement.effects import Effects
from optimizer.placement.pieces import Piece, piece_patches
from optimizer.placement.plan import feasible
from optimizer.placement.proof import objective
from optimizer.room.geometry import Floats
from optimizer.room.model import Room

ENOUGH = 1e-9  # least gain in the objective worth a move
MOST_PASSES = 20
MOST_TRIALS = 60  # places tried with their joints for one piece, the best without first


def spread_out(
    room: Room,
    scene: Scene,
    effects: Effects,
    candidates: tuple[Candidate, ...],
    chosen: Ints,
    held: Ints | None = None,
) -> Ints:
    """The selection with butted candidates moved where the objective with losses is better.

    A move takes a candidate to another of the same product and number of pieces, so the packs stay
    the same; those in `held` stay where they are. Never worse than `chosen` by `exact_objective`,
    the same for the same input, and `chosen` itself where no edge counts or nothing touches.
    """
    order = np.sort(chosen)
    fixed = np.zeros(0, dtype=np.int64) if held is None else held
    if not _any_joint(room, scene, candidates, order):
        return order
    same = np.flatnonzero(np.isin(effects.product, effects.product[order]))
    search = _search(room, scene, effects, candidates, same)
    for _ in range(MOST_PASSES):
        before = order
        for c in np.setdiff1d(search.joints.butted(order), fixed).tolist():
            order = search.moved(order, c)
        if np.array_equal(order, before):
            break
    return order


def exact_quantities(
    room: Room, scene: Scene, effects: Effects, candidates: tuple[Candidate, ...], chosen: Ints
) -> Floats:
    """Quantities (K,) of a selection with what its joints lose: those of the treated scene."""
    plain = effects.quantities(chosen)
    if not _any_joint(room, scene, candidates, chosen):
        return plain
    return plain + _joint_costs(room, scene, effects, candidates, chosen).of(chosen)


def exact_objective(
    room: Room, scene: Scene, effects: Effects, candidates: tuple[Candidate, ...], chosen: Ints
) -> float:
    """Objective of a selection with what its joints lose: weighted excess, then money."""
    quantities = exact_quantities(room, scene, effects, candidates, chosen)
    return effects.criteria.score(quantities) + _money(effects, chosen)


def butt_losses(room: Room, scene: Scene, pieces: list[Piece]) -> Floats:
    """Absorption area (8,) in m2 that pieces lose because they touch."""
    if not pieces or not scene.edge_effect:
        return np.zeros(N_BANDS)
    alone, _ = piece_patches(room, pieces, together=np.arange(len(pieces)))
    joined, _ = piece_patches(room, pieces)
    own = alone.face[:, None] * np.minimum(alone.alpha, 1.0)
    return np.asarray((own * (alone.edge - joined.edge)).sum(axis=0))


def _any_joint(room: Room, scene: Scene, candidates: tuple[Candidate, ...], chosen: Ints) -> bool:
    pieces = [p for c in chosen.tolist() for p in candidates[c].pieces]
    return bool(np.any(butt_losses(room, scene, pieces) > 0.0))


def _money(effects: Effects, chosen: Ints) -> float:
    return objective(effects, chosen) - effects.score(chosen)


@dataclass(frozen=True)
class _JointCosts:
    """What joints between candidates do to the quantities.

    `patches` of the candidates looked at, alone; `owner` (N,) candidate of each, `faces` (N,) what
    each shows, `response` (K, N, 8) change of each quantity per unit of its edge factor.
    """

    patches: Patches
    owner: Ints
    faces: tuple[Face | None, ...]
    response: Floats

    def of(self, chosen: Ints) -> Floats:
        """Change (K,) of the quantities by the joints within a selection."""
        mine = np.flatnonzero(np.isin(self.owner, chosen))
        own = self.patches.take(mine)
        together = np.zeros(len(mine), dtype=np.int64)
        faces = [self.faces[i] for i in mine.tolist()]
        change = edge_factors(faces, own.surface, own.rect, together) - own.edge
        hit = np.any(change != 0.0, axis=1)
        return np.asarray(np.einsum("knb,nb->k", self.response[:, mine[hit]], change[hit]))

    def butted(self, chosen: Ints) -> Ints:
        """Candidates of a selection that touch another piece."""
        edged = np.array([face is not None for face in self.faces], dtype=bool)
        mine = np.flatnonzero(np.isin(self.owner, chosen) & edged)
        together = np.zeros(len(mine), dtype=np.int64)
        joints = find_joints(self.patches.surface[mine], self.patches.rect[mine], together)
        return np.unique(self.owner[mine[np.concatenate([joints.first, joints.second])]])


def _joint_costs(
    room: Room, scene: Scene, effects: Effects, candidates: tuple[Candidate, ...], which: Ints
) -> _JointCosts:
    pieces = [p for c in which.tolist() for p in candidates[c].pieces]
    each = np.array([c for c in which.tolist() for _ in candidates[c].pieces], dtype=np.int64)
    patches, piece = piece_patches(room, pieces, together=each)
    response = [_response(family, scene, patches) for family in effects.criteria.families]
    faces = tuple(pieces[i].edge_face for i in piece.tolist())
    return _JointCosts(patches, each[piece], faces, np.concatenate(response))


def _response(family: Family, scene: Scene, patches: Patches) -> Floats:
    """Change (k, N, 8) of a family's quantities per unit of each patch's edge factor.

    Exact: absorption is linear in the factor. Families that know no edges are told by two patches,
    the first and the one farthest to a side (one on the axis would not show in a balance).
    """
    response = np.zeros((len(family.rows), len(patches), N_BANDS))
    if not len(patches):
        return response
    aside = int(np.abs(side_sign(scene, patches)).argmax())
    two = patches.take(np.array([0, aside]))
    if np.array_equal(
        family.effects(scene, two), family.effects(scene, replace(two, edge=two.edge + 1.0))
    ):
        return response
    alone = family.effects(scene, patches)
    for band in range(N_BANDS):
        edge = patches.edge.copy()
        edge[:, band] += 1.0
        response[:, :, band] = family.effects(scene, replace(patches, edge=edge)) - alone
    return response


@dataclass(frozen=True)
class _Search:
    """The moves of one decision; `rows` (J, C) says which candidates exclude each other."""

    effects: Effects
    joints: _JointCosts
    rows: sparse.csr_array

    def value(self, chosen: Ints) -> float:
        """Objective with losses."""
        effects = self.effects
        quantities = effects.quantities(chosen) + self.joints.of(chosen)
        return effects.criteria.score(quantities) + _money(effects, chosen)

    def moved(self, chosen: Ints, c: int) -> Ints:
        """The selection with candidate c at its best place, where that is a better one."""
        rest = np.setdiff1d(chosen, [c])
        best, value = chosen, self.value(chosen) - ENOUGH
        places = self._free(rest, c)
        effects, money = self.effects, _money(self.effects, chosen)
        start = effects.quantities(rest) + self.joints.of(rest)
        after = effects.criteria.excess(start[:, None] + effects.change[:, places])
        plain = effects.criteria.weights @ after + money
        for i in np.argsort(plain, kind="stable")[:MOST_TRIALS].tolist():
            if plain[i] >= value:
                break
            trial = np.sort(np.append(rest, places[i]))
            found = self.value(trial)
            if found < value and feasible(effects, trial):
                best, value = trial, found
        return best

    def _free(self, rest: Ints, c: int) -> Ints:
        """Other candidates of the same product and number of pieces that fit beside the rest."""
        effects = self.effects
        taken = np.zeros(effects.count)
        taken[rest] = 1.0
        barred = self.rows.T @ (self.rows @ taken) > 0
        alike = (effects.product == effects.product[c]) & (effects.pieces == effects.pieces[c])
        alike[[c, *rest]] = False
        return np.asarray(np.flatnonzero(alike & ~barred), dtype=np.int64)


def _search(
    room: Room, scene: Scene, effects: Effects, candidates: tuple[Candidate, ...], which: Ints
) -> _Search:
    size = np.array([len(row) for row in effects.cover], dtype=np.int64)
    place = np.repeat(np.arange(len(size)), size)
    member = np.array([c for row in effects.cover for c in row.tolist()], dtype=np.int64)
    shape = (len(size), effects.count)
    rows = sparse.csr_array((np.ones(len(member)), (place, member)), shape=shape)
    return _Search(effects, _joint_costs(room, scene, effects, candidates, which), rows)
