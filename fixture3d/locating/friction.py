"""Linear programmes over friction pyramids: how much a piece stands, and what its clamps must give.

Arrays only; lengths are scaled (see `closure.Scaling`), so that every row of a wrench is in N.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from fixture3d.locating.closure import Scaling, around
from fixture3d.tolerance import HOLDING

if TYPE_CHECKING:
    from scipy.sparse import csr_matrix

Array = NDArray[np.float64]
Index = NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class Clamps:
    """Clamps as arrays.

    Attributes:
        pushes: (c, 6) scaled wrench for each N.
        forces: (c,) N that are counted.
        at: (c, 3) mm, their tips.
        ways: (c, 3) unit, the way each pushes.
        rubs: (c,) whose tip holds sideways by friction.
    """

    pushes: Array
    forces: Array
    at: Array
    ways: Array
    rubs: NDArray[np.bool_]


class Programme:
    """The balance of one piece as a linear programme.

    Unknown in each case: the normal force at each contact point, and the rub of each contact along ``edges`` directions
    at two places, half way from its middle to its corners furthest apart: there it stands a turn within a tenth as a
    square or a line does that is pressed evenly. Rub is bounded, contact by contact, by friction times the normal
    force, and by friction times what presses it before it is disturbed.
    """

    def __init__(
        self,
        scale: Scaling,
        located: tuple[Array, Array, Index],
        load: Array,
        clamps: Clamps,
        pressed: Array,
        *,
        friction: float,
        edges: int,
    ) -> None:
        self.points, self.normals, self.owner = points, normals, _ = located
        self.scale, self.load, self.pushes, self.forces = scale, load, clamps.pushes, clamps.forces
        self.friction, self.pressed = friction, pressed
        self.slack = 0.0
        self.rows = scale.rows(points, normals)
        self.rubs = np.flatnonzero(clamps.rubs)
        self.bodies = np.unique(self.owner[pressed > 1e-9 * float(pressed.sum())]) if len(points) else self.owner
        places, square, self.rubber = _rubbing(points, normals, self.owner, self.bodies)
        at = np.vstack([places, clamps.at[self.rubs]])
        square = np.vstack([square, clamps.ways[self.rubs]])
        rubs = scale.rows(np.repeat(at, edges, axis=0), around(square, edges).reshape(-1, 3))
        self.columns = np.vstack([self.rows, rubs])
        self.wide = len(self.columns)
        self.limits, self.right = self._limits(edges)

    def _limits(self, edges: int) -> tuple[Array, Array]:
        """The bounds on rub: rows (r, wide), and their right sides (r, c + 1) for each N of each clamp and for none.

        The contacts that press under the counted forces share other forces of the clamps as equally stiff ones do.
        """
        n, k, c, tips = len(self.rows), len(self.bodies), len(self.forces), len(self.rubs)
        rows, right = np.zeros((2 * k + tips, self.wide)), np.zeros((2 * k + tips, c + 1))
        share = self._shares()
        whose = np.repeat(self.rubber, edges)
        for j, body in enumerate(self.bodies):
            rows[2 * j, :n][self.owner == body] = -self.friction
            rows[2 * j : 2 * j + 2, n : n + len(whose)][:, whose == body] = 1.0
            right[2 * j + 1] = self.friction * share[self.owner == body].sum(axis=0)
        for j, clamp in enumerate(self.rubs):
            start = n + len(whose) + j * edges
            rows[2 * k + j, start : start + edges] = 1.0
            right[2 * k + j, clamp] = self.friction
        return rows, right

    def _shares(self) -> Array:
        """What presses each contact point, N for each N of each clamp, and without clamps: (n, c + 1)."""
        out = np.zeros((len(self.rows), len(self.forces) + 1))
        pressing = np.flatnonzero(self.pressed > 1e-6 * float(self.pressed.max(initial=0.0)))
        if len(pressing):
            loads = np.vstack([self.pushes, self.load]).T
            out[pressing] = -np.linalg.pinv(self.rows[pressing].T, rcond=HOLDING.rank) @ loads
        return out

    @property
    def _stated(self) -> Array:
        """The right sides of the bounds on rub under the counted forces of the clamps."""
        result: Array = np.maximum(0.0, self.right @ np.append(self.forces, 1.0))
        return result

    def out_of_balance(self) -> float:
        """By how much weight and clamps miss balance with friction, N, in the worst of the six rows; 0 if they do not.

        What is found is then allowed in every case, and no more: a slack that is not needed would hold pieces.
        """
        from scipy.optimize import linprog

        total = self.load + self.forces @ self.pushes
        above = np.hstack([np.zeros((6, self.wide)), np.eye(6), -np.ones((6, 1))])
        below = np.hstack([np.zeros((6, self.wide)), -np.eye(6), -np.ones((6, 1))])
        found = linprog(
            np.append(np.zeros(self.wide + 6), 1.0),
            A_ub=np.vstack([_beside(self.limits, 7), above, below]),
            b_ub=np.concatenate([self._stated, np.zeros(12)]),
            A_eq=np.hstack([self.columns.T, np.eye(6), np.zeros((6, 1))]),
            b_eq=-total,
            bounds=[(0.0, None)] * self.wide + [(None, None)] * 6 + [(0.0, None)],
            method="highs",
        )
        _solved(found)
        missing = float(found.x[-1])
        self.slack = 1.001 * missing + 1e-9 * float(np.abs(total).max(initial=0.0))
        return missing

    def most(self, wrenches: Array) -> tuple[Array, Array]:
        """How many times each disturbance is stood, and how the piece begins to move beyond.

        Args:
            wrenches: (k, 6), scaled.

        Returns:
            Factors (k,), and scaled motions (k, 6): zero where the factor is the most that is looked at.
        """
        from scipy.optimize import linprog

        k, wide = len(wrenches), self.wide + 7
        top = HOLDING.most_clamp / np.maximum(np.linalg.norm(wrenches, axis=1), 1e-300)
        fixed = np.hstack([self.columns.T, np.eye(6)])
        cases = np.concatenate([np.repeat(fixed[None], k, axis=0), wrenches[:, :, None]], axis=2)
        cost = np.zeros((k, wide))
        cost[:, -1] = -1.0 / top
        bounds = np.tile([0.0, np.inf], (k, wide, 1))
        bounds[:, -7:-1] = [-self.slack, self.slack]
        bounds[:, -1, 1] = top
        found = linprog(
            cost.ravel(),
            A_ub=_diagonal(np.repeat(_beside(self.limits, 7)[None], k, axis=0)),
            b_ub=np.tile(self._stated, k),
            A_eq=_diagonal(cases),
            b_eq=np.tile(-(self.load + self.forces @ self.pushes), k),
            bounds=bounds.reshape(-1, 2),
            method="highs",
            options={"presolve": False},  # many small independent cases: nothing to find, a third of the time
        )
        _solved(found)
        factors = found.x.reshape(k, wide)[:, -1]
        # The multiplier of a balance is the velocity that does the work: minus, as costs are what is given away.
        motions = -found.eqlin.marginals.reshape(k, 6) * top[:, None]
        return factors, np.where((factors < top * (1.0 - 1e-9))[:, None], motions, 0.0)

    def slides(self, motion: Array) -> Array:
        """Speed across the normal of each contact point (n,) under a scaled motion (6,)."""
        arms = (self.points - self.scale.centre) / self.scale.size
        speed = motion[:3] + np.cross(motion[3:], arms)
        result: Array = np.linalg.norm(speed - self.normals * (self.rows @ motion)[:, None], axis=1)
        return result

    def least_clamps(self, wrenches: Array, safety: float) -> tuple[Array, list[int]]:
        """The forces of the clamps, largest as small as can be, so that each disturbance is stood with the factor.

        Returns:
            Forces (c,) N, and the indices of the disturbances that no force stands. No forces when none balance the
            piece at all.
        """
        from scipy.optimize import linprog

        k, c = max(1, len(wrenches)), len(self.forces)
        wanted = np.zeros((1, 6)) if not len(wrenches) else safety * wrenches
        found = linprog(**self._clamp_programme(wanted), method="highs", options={"presolve": False})
        if found.status == 2:  # no forces of theirs balance the piece at all
            return np.zeros(0), list(range(len(wrenches)))
        _solved(found)
        missing = 1.0 - found.x[c + 1 : c + 1 + k]
        unmet = [i for i in range(len(wrenches)) if missing[i] > 1e-6]
        return found.x[:c], unmet

    def _clamp_programme(self, wanted: Array) -> dict[str, object]:
        """Unknown: forces (c), the largest, the share of each case that is stood (k), then each case's own."""
        from scipy.sparse import csr_matrix, hstack, vstack

        k, c, own = len(wanted), len(self.forces), self.wide + 6
        fixed = np.hstack([self.columns.T, np.eye(6)])
        equal = hstack(
            [
                csr_matrix(np.hstack([np.tile(self.pushes.T, (k, 1)), np.zeros((6 * k, 1))])),
                _diagonal(wanted[:, :, None]),
                _diagonal(np.repeat(fixed[None], k, axis=0)),
            ]
        )
        rub = hstack(
            [
                csr_matrix(np.hstack([np.tile(-self.right[:, :c], (k, 1)), np.zeros((len(self.limits) * k, 1 + k))])),
                _diagonal(np.repeat(_beside(self.limits, 6)[None], k, axis=0)),
            ]
        )
        largest = np.zeros((c, c + 1 + k + own * k))
        largest[:, :c], largest[:, c] = np.eye(c), -1.0
        cost = np.zeros(c + 1 + k + own * k)
        cost[:c], cost[c], cost[c + 1 : c + 1 + k] = 1e-3 / HOLDING.clamp, 1.0 / HOLDING.clamp, -1e3
        bounds = np.tile([0.0, np.inf], (len(cost), 1))
        bounds[: c + 1, 1], bounds[c + 1 : c + 1 + k, 1] = HOLDING.most_clamp, 1.0
        bounds[c + 1 + k :].reshape(k, own, 2)[:, -6:] = [-self.slack, self.slack]
        return {
            "c": cost,
            "A_ub": vstack([rub, csr_matrix(largest)], format="csc"),
            "b_ub": np.concatenate([np.tile(self.right[:, c], k), np.zeros(c)]),
            "A_eq": equal.tocsc(),
            "b_eq": np.tile(-self.load, k),
            "bounds": bounds,
        }


def _rubbing(points: Array, normals: Array, owner: Index, bodies: Index) -> tuple[Array, Array, Index]:
    """Where contacts rub (k, 3), with their normals (k, 3) and contacts (k,)."""
    out: list[Array] = []
    for body in bodies:
        own = np.flatnonzero(owner == body)
        apart = np.linalg.norm(points[own, None] - points[None, own], axis=2)
        pair = np.unravel_index(int(apart.argmax()), apart.shape)
        middle = points[own].mean(axis=0)
        ends = np.unique([own[pair[0]], own[pair[1]]])
        out += [np.concatenate([(points[end] + middle) / 2.0, normals[end], [body]]) for end in ends]
    table = np.array(out).reshape(-1, 7)
    return table[:, :3], table[:, 3:6], table[:, 6].astype(np.int64)


def _diagonal(blocks: Array) -> csr_matrix:
    """Blocks (k, r, c) down the diagonal of one sparse matrix."""
    from scipy.sparse import csr_matrix

    k, r, c = blocks.shape
    at, i, j = np.nonzero(blocks)
    return csr_matrix((blocks[at, i, j], (at * r + i, at * c + j)), shape=(k * r, k * c))


def _beside(matrix: Array, more: int) -> Array:
    """A matrix with that many columns of zeros after it."""
    return np.hstack([matrix, np.zeros((len(matrix), more))])


def _solved(found: object) -> None:
    if getattr(found, "status", 0) != 0:
        raise RuntimeError(f"linear programme of holding: {getattr(found, 'message', '')}")
