"""Where a piece comes to lie when its blocks are out of place, and how far it can go where it is loose.

Small motions of rigid bodies, to first order. An error belongs to a block, not to a point: all points of a patch
share it. Contacts push one way only, so a patch that is tilted or raised is touched at its corner or edge, and which
one it is decides the lever; least squares over the points, or a choice of six of them, gets that wrong.

A twist is (vx, vy, vz, wx, wy, wz) about the world origin, mm and rad: a point P moves by v + w x P.
Source: Asada and By 1985 for six locators; the linear programme is their one-sided case.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fixture3d.locating.closure import Scaling, scaling, two_way_motions
from fixture3d.locating.contact import Contact, locators

__all__ = ["Settled", "moved", "reach", "settle"]

Array = NDArray[np.float64]

_SAME = 1e-9  # share by which two figures of one programme may differ and be one
_TOUCHED = 1e-6  # a gap that is this share of the error is none
_DEAR = 1e3  # what overlap costs, in multiples of the push: it is taken only where nothing else goes
_FREE = 1e6  # box round the unknowns, in multiples of the looseness, so that every programme has an end
_FAR = 1e3  # a point that goes this many times the looseness is not stopped by it


@dataclass(frozen=True, eq=False)
class Settled:
    """How a piece lies against its contacts in each of some cases.

    Attributes:
        twists: (k, 6) its move from the nominal place.
        rocks: (k, m, 6) what it can rock beside that, plus or minus, where more bodies carry it than it can touch at
            once; zero elsewhere.
        free: (f, 6) unit twists that no contact fixes; along these the piece is taken to stay.
        squeeze: (k,) mm by which it overlaps its blocks at the least where it does not go in between; 0 elsewhere.
    """

    twists: Array
    rocks: Array
    free: Array
    squeeze: Array


def moved(twists: ArrayLike, points: ArrayLike) -> Array:
    """How points move: twists (k, 6) and points (n, 3) give (k, n, 3)."""
    t = np.asarray(twists, dtype=np.float64).reshape(-1, 6)
    p = np.asarray(points, dtype=np.float64).reshape(-1, 3)
    x, y, z = p.T
    o, i = np.zeros(len(p)), np.ones(len(p))
    # w x p, component by component: one matrix product, some thirty times faster than a broadcast cross product.
    rows = [[i, o, o], [o, i, o], [o, o, i], [o, -z, y], [z, o, -x], [-y, x, o]]
    result: Array = (t @ np.array(rows).transpose(0, 2, 1).reshape(6, -1)).reshape(len(t), len(p), 3)
    return result


def settle(
    contacts: Sequence[Contact],
    offsets: ArrayLike,
    *,
    pressed: ArrayLike | None = None,
    size: float | None = None,
) -> Settled:
    """Where a piece that is pressed onto its contacts comes to lie when their faces are out of place.

    The piece goes as far along the push as the faces let it (a linear programme a case): least work of the push under
    ``n_i . u(p_i) >= offset_i``.

    Args:
        contacts: of the piece.
        offsets: (k, n) mm, in k cases, by how much the face at each locator point (`locators`, in that order)
            stands further into the piece than it should.
        pressed: (n,) N with which each locator point is pressed, as `Held` and the preload have it; when not given
            each contact is pressed equally.
        size: of the part, mm; the contacts' box when not given.
    """
    points, normals, owner = locators(list(contacts))
    cases = np.asarray(offsets, dtype=np.float64)
    cases = cases[None] if cases.ndim == 1 else cases
    scale = scaling(points, size)
    rows = scale.rows(points, normals)
    free = two_way_motions(rows)
    force = _shared(owner) if pressed is None else np.asarray(pressed, dtype=np.float64)
    push = -(force @ rows)
    directions, back = _patterns(cases)
    lying, rocks, squeezed = _programme(rows, push, free, directions)
    size_of = np.abs(cases).max(axis=1, initial=0.0)
    moving = np.flatnonzero(back >= 0)
    twists, rocking = np.zeros((len(cases), 6)), np.zeros((len(cases), rocks.shape[1], 6))
    twists[moving] = scale.world(lying)[back[moving]] * size_of[moving, None]
    world = scale.world(rocks.reshape(-1, 6)).reshape(rocks.shape)
    rocking[moving] = world[back[moving]] * size_of[moving, None, None]
    squeeze = np.zeros(len(cases))
    squeeze[moving] = squeezed[back[moving]] * size_of[moving]
    return Settled(twists, rocking, _unit_free(scale, free), squeeze)


def reach(
    contacts: Sequence[Contact],
    gaps: ArrayLike,
    at: ArrayLike,
    ways: ArrayLike,
    *,
    modes: ArrayLike | None = None,
    play: ArrayLike | None = None,
    size: float | None = None,
) -> Array:
    """The most that points of a loose piece can move each way, with the gaps and the looseness of its blocks.

    One programme a point: the piece's move and the blocks' are unknown together, ``n_i . u(p_i) + gap_i`` is not less
    than the block's own move into the piece, and each block moves within its play.

    Args:
        contacts: of the piece.
        gaps: (n,) mm between piece and face at each locator point.
        at: (m, 3) mm, points of the piece.
        ways: (m, 3) unit, the direction looked at for each.
        modes: (n, b) by how much one mm (or rad) of each looseness moves the face at each point into the piece.
        play: (b,) mm (or rad), how far each goes either way.
        size: of the part, mm.

    Returns:
        (m,) mm; infinite where nothing stops it.
    """
    from scipy.optimize import linprog

    points, normals, _ = locators(list(contacts))
    p, u = (np.asarray(a, dtype=np.float64).reshape(-1, 3) for a in (at, ways))
    slack = np.asarray(gaps, dtype=np.float64)
    block = np.zeros((len(points), 0)) if modes is None else np.asarray(modes, dtype=np.float64)
    loose = np.zeros(0) if play is None else np.asarray(play, dtype=np.float64)
    scale = scaling(points, size)
    aims = scale.rows(p, u)
    unit = float(np.abs(slack).max(initial=0.0) + (np.abs(block) @ loose).max(initial=0.0)) or 1.0
    most = _FREE * unit
    limits = [(-most, most)] * 6 + [(-t, t) for t in loose]
    case = np.hstack([-scale.rows(points, normals), block])
    k = len(p)
    found = linprog(
        -np.hstack([aims, np.zeros((k, len(loose)))]).ravel(),
        A_ub=_repeated(case, k),
        b_ub=np.tile(slack, k),
        bounds=limits * k,
        method="highs",
    )
    if found.status == 2:
        return np.full(k, np.nan)
    _solved(found.status, found.message)
    moves = found.x.reshape(k, -1)[:, :6]
    way = np.einsum("ij,ij->i", moves, aims)
    return np.where(way > _FAR * unit, np.inf, way)


def _shared(owner: NDArray[np.int64]) -> Array:
    """One force a contact, the same at all of its points."""
    count = np.bincount(owner) if len(owner) else np.zeros(0, dtype=np.int64)
    return 1.0 / count[owner] if len(owner) else np.zeros(0)


def _patterns(cases: Array) -> tuple[Array, NDArray[np.int64]]:
    """Distinct directions (j, n) among the cases, each with its greatest offset 1, and which each case is, -1 for none.

    Twice the error is twice the move, so cases that differ in size only are solved once.
    """
    seen: dict[tuple[float, ...], int] = {}
    out: list[Array] = []
    back: list[int] = []
    for offsets in cases:
        largest = float(np.abs(offsets).max(initial=0.0))
        if largest == 0.0:
            back.append(-1)
            continue
        key = tuple(np.round(offsets / largest, 12) + 0.0)
        if key not in seen:
            seen[key] = len(out)
            out.append(offsets / largest)
        back.append(seen[key])
    return np.array(out).reshape(len(out), cases.shape[1]), np.array(back, dtype=np.int64)


def _programme(rows: Array, push: Array, free: Array, offsets: Array) -> tuple[Array, Array, Array]:
    """Scaled twists (j, 6), what is left to rock in each (j, m, 6), and by how much each is squeezed (j,)."""
    from scipy.optimize import linprog

    j = len(offsets)
    if not j:
        return np.zeros((0, 6)), np.zeros((0, 0, 6)), np.zeros(0)
    dear = _DEAR * float(np.abs(push).sum() + len(rows))
    found = linprog(
        np.tile(np.append(-push, dear), j),
        A_ub=_repeated(np.hstack([-rows, -np.ones((len(rows), 1))]), j),
        b_ub=-offsets.ravel(),
        A_eq=_repeated(np.hstack([free, np.zeros((len(free), 1))]), j) if len(free) else None,
        b_eq=np.zeros(j * len(free)) if len(free) else None,
        bounds=([(None, None)] * 6 + [(0.0, None)]) * j,
        method="highs",
    )
    _solved(found.status, found.message)
    lying, squeezed = found.x.reshape(j, 7)[:, :6].copy(), found.x.reshape(j, 7)[:, 6]
    squeezed = np.where(squeezed > _TOUCHED, squeezed, 0.0)
    offsets = offsets - squeezed[:, None]
    carried = np.abs(found.ineqlin.marginals.reshape(j, -1)) > _SAME * float(np.abs(push).max())
    touched = lying @ rows.T - offsets < _TOUCHED
    known: dict[bytes, Array] = {}
    ways = []
    for on, at in zip(carried, touched, strict=True):
        key = np.packbits(np.concatenate([on, at])).tobytes()  # most cases are carried alike
        if key not in known:
            known[key] = _loose(rows[on], rows[at], free)
        ways.append(known[key])
    rocks = np.zeros((j, max(len(way) for way in ways), 6))
    tries = [(case, n, way) for case, loose in enumerate(ways) for n, way in enumerate(loose)]
    if tries:
        cases = [case for case, _, _ in tries for _ in (-1.0, 1.0)]
        aims = np.array([sign * way for _, _, way in tries for sign in (-1.0, 1.0)])
        ends = _furthest(rows, push, free, offsets[cases], lying[cases], aims)
        for (case, n, _), low, high in zip(tries, ends[::2], ends[1::2], strict=True):
            lying[case] += ((high + low) / 2.0 - lying[case]) / len(ways[case])
            rocks[case, n] = (high - low) / 2.0
    return lying, rocks, squeezed


def _loose(carried: Array, touched: Array, free: Array) -> Array:
    """Directions (m, 6) in which a piece can move that is carried at some rows and touches at others.

    The push does no work along what the carrying rows leave. Of these directions none is open when the touching rows
    press on it from all sides: forces on them, all above zero, balance.
    """
    from scipy.optimize import nnls

    ways = two_way_motions(np.vstack([carried, free]))
    if not len(ways):
        return ways
    columns = ways @ touched.T
    columns[np.abs(columns) < _TOUCHED] = 0.0
    rest = -columns.sum(axis=1)
    x, _ = nnls(columns, rest)
    closed = float(np.linalg.norm(columns @ x - rest)) <= _TOUCHED * len(touched)
    spans = np.linalg.matrix_rank(columns, tol=_TOUCHED) == len(ways)
    return ways[:0] if closed and spans else ways


def _furthest(rows: Array, push: Array, free: Array, offsets: Array, lying: Array, ways: Array) -> Array:
    """The poses (k, 6) furthest along directions (k, 6) among those that the push likes as well as ``lying`` (k, 6)."""
    from scipy.optimize import linprog

    k, work = len(ways), lying @ push
    room = _SAME * (np.abs(work) + float(np.abs(push).max()))
    found = linprog(
        -ways.ravel(),
        A_ub=_repeated(np.vstack([-rows, -push]), k),
        b_ub=np.hstack([-offsets, (room - work)[:, None]]).ravel(),
        A_eq=_repeated(free, k) if len(free) else None,
        b_eq=np.zeros(k * len(free)) if len(free) else None,
        bounds=(-_FREE, _FREE),
        method="highs",
    )
    _solved(found.status, found.message)
    poses: Array = found.x.reshape(k, 6)
    return poses


def _repeated(block: Array, times: int) -> object:
    """One block down the diagonal, that many times, sparse."""
    from scipy.sparse import csr_matrix, identity, kron

    return kron(identity(times, format="csr"), csr_matrix(block), format="csr")


def _unit_free(scale: Scaling, free: Array) -> Array:
    world = scale.world(free)
    turn = np.linalg.norm(world[:, 3:], axis=1)
    length = np.where(turn > _SAME, turn, np.linalg.norm(world[:, :3], axis=1))
    result: Array = world / np.maximum(length, 1e-300)[:, None]
    return result


def _solved(status: int, message: str) -> None:
    if status != 0:
        raise RuntimeError(f"linear programme of a pose: {message}")
