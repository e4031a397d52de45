"""Form closure: do contacts alone, or with gravity and clamps, leave a rigid piece no motion at all.

A small motion is a twist (vx, vy, vz, wx, wy, wz): the velocity of the body's point at the world origin and its turn;
a point P moves by v + w x P. A contact with inward normal n at p allows it when n . u(p) >= 0. Inside, lengths are
taken from the middle of the contacts and divided by the part's size, so that turns and shifts compare.

Sources: Lynch and Park, Modern Robotics, 12.1.7 (linear programme); Asada and By 1985 (rank of the locators).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fixture3d.tolerance import HOLDING

__all__ = ["Closure", "Scaling", "force_closure", "form_closure", "one_way_motions", "scaling", "two_way_motions"]

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Scaling:
    """Where lengths are taken from, and in what unit, while forces and turns are weighed against each other.

    Attributes:
        centre: (3,) mm, world.
        size: mm.
    """

    centre: Array
    size: float

    def rows(self, points: Array, normals: Array) -> Array:
        """The contacts' rows (n, 6) without units: n, and (p - centre) x n over the size."""
        return np.hstack([normals, np.cross(points - self.centre, normals) / self.size])

    def wrench(self, forces: Array, moments: Array) -> Array:
        """Forces (n, 3) N and moments about the world origin (n, 3) N mm, as rows (n, 6) in N."""
        return np.hstack([forces, (moments - np.cross(self.centre, forces)) / self.size])

    def world(self, twists: Array) -> Array:
        """Scaled twists (n, 6) as twists about the world origin: mm and rad, or mm/s and rad/s."""
        turns = twists[:, 3:] / self.size
        return np.hstack([twists[:, :3] - np.cross(turns, self.centre), turns])

    def local(self, twists: Array) -> Array:
        """Twists about the world origin (n, 6), scaled: the inverse of :meth:`world`."""
        return np.hstack([twists[:, :3] + np.cross(twists[:, 3:], self.centre), twists[:, 3:] * self.size])


@dataclass(frozen=True, eq=False)
class Closure:
    """What a set of contacts and loads leaves free.

    Attributes:
        rank: of the contacts (loads do not count): 6 when no motion is free both ways.
        closed: no motion at all is left, to first order.
        forces: (n + k,) the least forces, all >= 1, that balance: contacts, then loads; empty when not closed.
        both_ways: (6 - rank, 6) unit twists that are free both ways, about the world origin.
        one_way: (m, 6) twists that are open one way at least. Of a piece that is not closed there is at least one,
            unless it would be closed by forces more unlike than `HOLDING.spread`.
    """

    rank: int
    closed: bool
    forces: Array
    both_ways: Array
    one_way: Array


def scaling(points: ArrayLike, size: float | None = None) -> Scaling:
    """The scaling of some contacts: the middle of their box, and half its diagonal or half of ``size``, mm."""
    p = np.asarray(points, dtype=np.float64).reshape(-1, 3)
    if not len(p):
        return Scaling(np.zeros(3), 1.0 if size is None else size / 2.0)
    low, high = p.min(axis=0), p.max(axis=0)
    reach = float(np.linalg.norm(high - low)) if size is None else size
    return Scaling((low + high) / 2.0, reach / 2.0 if reach > 0.0 else 1.0)


def form_closure(
    points: ArrayLike,
    normals: ArrayLike,
    loads: ArrayLike | None = None,
    *,
    size: float | None = None,
    axes: ArrayLike | None = None,
) -> Closure:
    """Whether contacts, with loads if given, hold a piece without friction, and what stays open.

    Closed means: rank 6, and forces exist that balance with each of them pressing (``min sum k``, ``F k = 0``,
    ``1 <= k_i <= spread``). A load is a column of known direction and free size, as gravity and clamps are. What is
    free to first order and stopped only to second order counts as free.

    Args:
        points: (n, 3) mm, world; a patch by its hull corners.
        normals: (n, 3) unit, pointing into the piece.
        loads: (k, 6) force and moment about the world origin (N, N mm), any size.
        size: the part's size, mm; the contacts' own box when not given.
        axes: (3, 3) rows are the directions in which one-way motions are looked for; the world's when not given.
    """
    p, n = (np.asarray(a, dtype=np.float64).reshape(-1, 3) for a in (points, normals))
    scale = scaling(p, size)
    rows = scale.rows(p, n)
    free = two_way_motions(rows)
    pushes = _load_rows(scale, loads)
    columns = np.vstack([rows, pushes])
    forces = _balance(columns) if len(free) == 0 and len(columns) > 6 else np.zeros(0)
    closed = len(forces) > 0
    open_ways = np.zeros((0, 6)) if closed else one_way_motions(columns, axes)
    if not closed and not len(open_ways):
        open_ways = _one_open(columns, free)
    return Closure(6 - len(free), closed, forces, _unit(scale.world(free)), _unit(scale.world(open_ways)))


def force_closure(
    points: ArrayLike,
    normals: ArrayLike,
    friction: float,
    *,
    plane: ArrayLike | None = None,
    edges: int = HOLDING.edges,
    spread: float = HOLDING.spread,
) -> bool:
    """Whether contacts with friction could stand any wrench at all, if they squeezed hard enough.

    Args:
        points: (n, 3) mm.
        normals: (n, 3) unit, pointing into the piece.
        friction: coefficient.
        plane: (3,) normal of the plane in which the piece is judged as a flat thing; in space when not given.
        edges: of the pyramids inside the cones; in a plane a cone has its two edges, and is exact.
        spread: forces may differ by this ratio at most.
    """
    p, n = (np.asarray(a, dtype=np.float64).reshape(-1, 3) for a in (points, normals))
    if plane is None:
        rubs = around(n, edges)
    else:
        across = np.cross(np.asarray(plane, dtype=np.float64) / np.linalg.norm(plane), n)
        rubs = np.stack([across, -across], axis=1)
    ways = (n[:, None] + friction * rubs).reshape(-1, 3)
    columns = scaling(p).rows(np.repeat(p, rubs.shape[1], axis=0), ways)
    if plane is not None:
        columns = _flat(columns, plane)
    values = np.linalg.svd(columns, compute_uv=False)
    full = len(values) == columns.shape[1] and bool(values[-1] > HOLDING.rank * values[0])
    return full and len(_balance(columns, spread)) > 0


def around(normals: Array, edges: int) -> Array:
    """Unit directions (n, edges, 3) evenly round unit normals (n, 3)."""
    hint = np.eye(3)[np.where(np.abs(normals[:, 0]) < 0.9, 0, 1)] if len(normals) else np.zeros((0, 3))
    x = hint - normals * np.einsum("ij,ij->i", hint, normals)[:, None]
    x = x / np.maximum(np.linalg.norm(x, axis=1, keepdims=True), 1e-300)
    y = np.cross(normals, x)
    turns = 2.0 * np.pi * np.arange(edges) / edges
    result: Array = np.cos(turns)[:, None] * x[:, None] + np.sin(turns)[:, None] * y[:, None]
    return result


def _flat(columns: Array, plane: ArrayLike) -> Array:
    """Wrenches (n, 6) as flat ones (n, 3): two forces in the plane and the moment about its normal."""
    z = np.asarray(plane, dtype=np.float64) / np.linalg.norm(plane)
    x, y = around(z[None], 4)[0, :2]
    return np.stack([columns[:, :3] @ x, columns[:, :3] @ y, columns[:, 3:] @ z], axis=1)


def two_way_motions(rows: Array) -> Array:
    """Scaled twists (6 - rank, 6), orthonormal, that no contact hinders either way."""
    if not len(rows):
        return np.eye(6)
    _, values, basis = np.linalg.svd(rows, full_matrices=True)
    rank = int((values > HOLDING.rank * max(values[0], 1e-300)).sum())
    result: Array = basis[rank:]
    return result


def one_way_motions(rows: Array, axes: ArrayLike | None = None) -> Array:
    """Which of the twelve plain motions (shift and turn, each way) no row hinders, as scaled twists (m, 6).

    Turns are about the middle of the contacts. A slope of up to the rank's tolerance does not hinder.
    """
    basis = np.eye(3) if axes is None else np.asarray(axes, dtype=np.float64)
    zero = np.zeros((3, 3))
    shifts, turns = np.hstack([basis, zero]), np.hstack([zero, basis])
    ways: Array = np.vstack([shifts, -shifts, turns, -turns])
    worst = (rows @ ways.T).min(axis=0, initial=0.0)
    result: Array = ways[worst >= -HOLDING.rank]
    return result


def _load_rows(scale: Scaling, loads: ArrayLike | None) -> Array:
    w = np.zeros((0, 6)) if loads is None else np.asarray(loads, dtype=np.float64).reshape(-1, 6)
    rows = scale.wrench(w[:, :3], w[:, 3:])
    length = np.linalg.norm(rows[:, :3], axis=1)
    length = np.where(length > 0.0, length, np.linalg.norm(rows, axis=1))  # a pure couple by its own size
    unit: Array = rows[length > 0.0] / length[length > 0.0, None]
    return unit


def _balance(columns: Array, spread: float = HOLDING.spread) -> Array:
    """The least forces, all >= 1, that balance; empty when there are none."""
    from scipy.optimize import linprog

    size, zero = np.ones(len(columns)), np.zeros(columns.shape[1])
    found = linprog(size, A_eq=columns.T, b_eq=zero, bounds=(1.0, spread), method="highs")
    if found.status not in (0, 2):
        raise RuntimeError(f"linear programme of form closure: {found.message}")
    forces: Array = found.x if found.status == 0 else np.zeros(0)
    return forces


def _one_open(columns: Array, free: Array) -> Array:
    """One scaled twist that is open, (1, 6): a free one, or what is left when forces >= 1 balance as well as they can.

    With k = 1 + x the residual r of min |F x + F 1|, x >= 0, has r . f_i >= 0 for each column: a motion that none
    of the contacts hinders (Farkas' lemma). Forces that differ by more than `HOLDING.spread` may leave none: then
    nothing is told.
    """
    from scipy.optimize import nnls

    if len(free):
        return free[:1]
    rest = -columns.sum(axis=0)
    x, _ = nnls(columns.T, rest)
    motion: Array = columns.T @ x - rest
    length = float(np.linalg.norm(motion))
    if not length > 1e-9 * len(columns):
        return np.zeros((0, 6))
    way: Array = motion[None, :] / length
    return way


def _unit(twists: Array) -> Array:
    """Twists scaled to unit shift, or to unit turn where they turn."""
    if not len(twists):
        return twists
    turn = np.linalg.norm(twists[:, 3:], axis=1)
    shift = np.linalg.norm(twists[:, :3], axis=1)
    result: Array = twists / np.where(turn > 1e-9 * shift, turn, shift)[:, None]
    return result
