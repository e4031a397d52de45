"""What contacts leave free: rank of the locating Jacobian and the motions it allows, with gravity.

A small motion is a twist (v, w): velocity of the body's point at the world origin, mm, and turn, rad. Contact i with
inward normal n at p opens by n . (v + w x p); rows [n, p x n] are the locating Jacobian (H. Asada and A. B. By, IEEE J.
Robotics and Automation RA-1(2), 1985). Rows are taken about the piece's middle, in its own axes, turns measured by how
far they move its outside, so that the singular values do not depend on units. What is free to first order and stopped
to second is free here: such contacts do not locate.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from fixture3d.frame import Array
from fixture3d.locating.carrying import carried, deepest
from fixture3d.locating.contact import Contact, locators
from fixture3d.locating.lie import Lie
from fixture3d.tolerance import LOCATING

__all__ = [
    "Free",
    "Freedom",
    "FreedomKind",
    "adjoint",
    "freedom",
    "jacobian",
    "moves_along",
    "rank_of",
    "turn_is_open",
]

FreedomKind = Literal["free", "away", "lift", "falls"]

_CANONICAL = float(np.cos(np.deg2rad(1.0)))
_NEW = 0.42  # cosine; a way within 65 degrees of one that is told already is not told again
_TURNS = 0.02  # share of a scaled motion; with less turn it is a slide


@dataclass(frozen=True, eq=False)
class Free:
    """One motion that is left.

    Attributes:
        kind: "free": no contact hinders it either way; "away": it leaves a contact and only a clamp would hold it;
            "lift": it raises the piece, so that gravity holds it; "falls": gravity drives it.
        twist: (6,) unit twist (vx, vy, vz, wx, wy, wz) about the world origin: |w| = 1 where it turns, else |v| = 1.
    """

    kind: FreedomKind
    twist: Array

    @property
    def turns(self) -> bool:
        """Whether it turns the piece."""
        return bool(np.linalg.norm(self.twist[3:]) > 0.5)

    def velocity(self, at: Array) -> Array:
        """Of points (n, 3) or (3,), mm a unit."""
        found: Array = self.twist[:3] + np.cross(self.twist[3:], at)
        return found


@dataclass(frozen=True, eq=False)
class Freedom:
    """What contacts leave free.

    Attributes:
        rank: of the locating Jacobian, 0 to 6.
        motions: what is left, slides first; both senses of a motion are two entries.
        rests: frictionless contact forces carry the weight.
        conditioning: least singular value of the scaled Jacobian that counts, as a share of the greatest; 0 at rank 0.
    """

    rank: int
    motions: tuple[Free, ...]
    rests: bool
    conditioning: float


def jacobian(points: Array, normals: Array) -> Array:
    """Rows [n, p x n] (k, 6) of points (k, 3) mm and unit inward normals (k, 3), about the world origin."""
    found: Array = np.hstack([normals, np.cross(points, normals)])
    return found


def adjoint(a_to_b: Array) -> Array:
    """(6, 6): takes twists (v, w) about a's origin and axes to b's (Lynch and Park, Modern Robotics, 3.3.1)."""
    turn, (x, y, z) = a_to_b[:3, :3], a_to_b[:3, 3]
    cross = np.array([[0.0, -z, y], [z, 0.0, -x], [-y, x, 0.0]])
    out = np.zeros((6, 6))
    out[:3, :3] = turn
    out[3:, 3:] = turn
    out[:3, 3:] = cross @ turn
    return out


def freedom(contacts: Sequence[Contact], lie: Lie, gravity: Array, angle: float = LOCATING.angle) -> Freedom:
    """Rank, rest and free motions of a piece under one-sided contacts.

    Args:
        contacts: what touches it.
        lie: the piece's own frame.
        gravity: (3,) the way things fall, any length but 0.
        angle: degrees by which normals may be out.

    Raises:
        ValueError: gravity has no length or is not finite.
    """
    return _Search(contacts, lie, gravity, angle).freedom()


def turn_is_open(
    contacts: Sequence[Contact], lie: Lie, gravity: Array, angle: float = LOCATING.angle, about: Array | None = None
) -> bool:
    """Whether contacts leave a motion free both ways that turns the piece about an axis.

    ``about`` is (3,) unit, the vertical when it is None. Raises as `freedom`.
    """
    search = _Search(contacts, lie, gravity, angle)
    open_, _ = search.open_ways()
    axis = lie.axes @ (search.down if about is None else about) / lie.arms
    return bool(np.linalg.norm(open_[:, 3:] @ axis) > _TURNS * np.linalg.norm(axis))


def moves_along(
    contacts: Sequence[Contact], lie: Lie, points: Array, normals: Array, angle: float = LOCATING.angle
) -> Array:
    """How far points of a piece can move along their normals in the motions that contacts leave free both ways.

    Args:
        contacts: what touches the piece.
        lie: its own frame.
        points: (n, 3) mm, on the piece.
        normals: (n, 3) unit.
        angle: degrees by which normals may be out.

    Returns:
        (n,) the most for a motion of unit size, as a share of it; up to `Locating.rank` or ``angle`` is nothing.
    """
    search = _Search(contacts, lie, np.array([0.0, 0.0, -1.0]), angle)
    open_, _ = search.open_ways()
    moved: Array = np.linalg.norm(search.scaled(points, normals) @ open_.T, axis=1)
    return np.where(moved > search.limit, moved, 0.0)


def rank_of(contacts: Sequence[Contact], lie: Lie, angle: float = LOCATING.angle) -> int:
    """Rank of the locating Jacobian alone."""
    return 6 - len(_Search(contacts, lie, np.array([0.0, 0.0, -1.0]), angle).open_ways()[0])


class _Search:
    """Rows in the piece's scaled frame, and what follows from them; scaled twists are (axes v, arms * axes w)."""

    def __init__(self, contacts: Sequence[Contact], lie: Lie, gravity: Array, angle: float) -> None:
        size = float(np.linalg.norm(gravity))
        if not (np.isfinite(size) and size > 0.0):
            raise ValueError(f"gravity is {np.asarray(gravity).tolist()}; expected a direction with a length")
        self.lie = lie
        self.down = np.asarray(gravity, dtype=np.float64) / size
        self.limit = max(LOCATING.rank, float(np.deg2rad(angle)))
        self.points, self.normals, self.owner = locators(list(contacts))
        self.rows = self.scaled(self.points, self.normals)

    def scaled(self, points: Array, normals: Array) -> Array:
        arm = np.cross(points - self.lie.middle, normals)
        found: Array = np.hstack([normals @ self.lie.axes.T, arm @ self.lie.axes.T / self.lie.arms])
        return found

    def twist(self, scaled: Array) -> Array:
        """World unit twist about the origin of a scaled one."""
        w = self.lie.axes.T @ (scaled[3:] / self.lie.arms)
        v = self.lie.axes.T @ scaled[:3]
        if float(np.linalg.norm(scaled[3:])) <= _TURNS * float(np.linalg.norm(scaled[:3])):
            return np.concatenate([v / np.linalg.norm(v), np.zeros(3)])
        v = v - np.cross(w, self.lie.middle)
        found: Array = np.concatenate([v, w]) / float(np.linalg.norm(w))
        return found + 0.0

    def freedom(self) -> Freedom:
        """Everything at once."""
        open_, conditioning = self.open_ways()
        slides, turns = _parted(open_)
        found: list[tuple[Array, bool]] = []  # scaled, and whether both ways
        for axis in self._aligned(slides):
            found += [(np.concatenate([way, np.zeros(3)]), True) for way in (axis, -axis)]
        leaving = self._one_way(slides)
        found += [(np.concatenate([way, np.zeros(3)]), False) for way in leaving]
        for axis in self._aligned(_orthonormal(turns / self.lie.arms)):
            motion = _nearest_turn(open_, slides, axis * self.lie.arms / np.linalg.norm(axis * self.lie.arms))
            found += [(motion, True), (-motion, True)]
        found += [(motion, False) for motion in self._one_way_turns(slides, leaving, turns)]
        motions = [Free(self._kind(scaled, both), self.twist(scaled)) for scaled, both in found]
        fall = self.fall()
        if fall is not None and not any(one.kind == "falls" for one in motions):
            motions.append(Free("falls", self.twist(fall)))
        return Freedom(6 - len(open_), tuple(motions), fall is None, conditioning)

    def open_ways(self) -> tuple[Array, float]:
        """Scaled twists (6 - rank, 6), orthonormal, that open no contact by more than the limit, and conditioning."""
        if not len(self.rows):
            return np.eye(6), 0.0
        _, values, ways = np.linalg.svd(np.vstack([self.rows, np.zeros((6, 6))]), full_matrices=False)
        opens = np.abs(self.rows @ ways.T).max(axis=0)
        kept = opens > self.limit
        conditioning = float(values[kept].min() / values.max()) if kept.any() else 0.0
        return ways[~kept], conditioning

    def _kind(self, scaled: Array, both: bool) -> FreedomKind:
        fall = float(self._fall_row() @ scaled)
        size = float(np.linalg.norm(scaled))
        if fall > LOCATING.grip * size and self._fits(scaled):
            return "falls"
        if both:
            return "free"
        return "lift" if fall < -self.limit * size else "away"

    def _fits(self, scaled: Array) -> bool:
        limit = -self.limit * float(np.linalg.norm(scaled))
        return bool((self.rows @ scaled >= limit).all())

    def _fall_row(self) -> Array:
        """How far the middle of mass falls, as a row for scaled twists."""
        found: Array = self.scaled(self.lie.mass[None], self.down[None])[0]
        return found

    def _aligned(self, space: Array) -> list[Array]:
        """A basis of a space (k, 3) in the piece's axes: its own axes, upright and the world's where they lie in it."""
        chosen: list[Array] = []
        # Columns of axes: the world's axes as the piece sees them.
        for axis in [*np.eye(3), -self.lie.axes @ self.down, *self.lie.axes.T]:
            inside = space.T @ (space @ axis)
            for other in chosen:
                inside = inside - other * float(inside @ other)
            if float(inside @ axis) > _CANONICAL * float(np.linalg.norm(inside)) and np.linalg.norm(inside) > 0.9:
                chosen.append(inside / np.linalg.norm(inside))
        rest = space.copy()
        for other in chosen:
            rest = rest - np.outer(rest @ other, other)
        _, values, ways = np.linalg.svd(rest) if len(rest) else (None, np.zeros(0), np.zeros((0, 3)))
        chosen += [ways[k] for k in range(len(values)) if values[k] > 0.1]
        return [_signed(one @ self.lie.axes) @ self.lie.axes.T for one in chosen[: len(space)]]

    def _one_way(self, slides: Array) -> list[Array]:
        """Slides that leave a contact, square to those that are free both ways."""
        if not len(self.rows):
            return []
        normals = _once(self.rows[:, :3])
        pairs = [np.cross(a, b) for k, a in enumerate(normals) for b in normals[k + 1 :]] if len(normals) < 30 else []
        crossed = [p for p in pairs if float(np.linalg.norm(p)) > 0.1]
        axes = [*np.eye(3), -self.lie.axes @ self.down]
        tried = [*axes, normals.sum(axis=0), *normals, *crossed]
        found: list[Array] = []
        for k, one in [*enumerate(axes), *enumerate(tried, len(axes))]:
            size = float(np.linalg.norm(one))
            way = one - slides.T @ (slides @ one)
            left = float(np.linalg.norm(way))
            own = k < len(axes)
            if size < 1e-9 or left < (_CANONICAL if own else 0.3) * size:
                continue
            for sign in (1.0, -1.0):
                unit = sign * way / left
                opens = float((normals @ unit).min()) >= -self.limit
                new = all(float(unit @ other) < _NEW for other in found)
                if opens and new and (own or not _made_of(unit, found)):
                    found.append(unit)
        return found

    def _one_way_turns(self, slides: Array, leaving: list[Array], turns: Array) -> list[Array]:
        """Turns one way only, where the piece cannot slide off in their plane first: it is then free to turn anyway."""
        if not len(self.rows):
            return []
        shifts = np.vstack([slides, *leaving])
        slack = int(np.linalg.matrix_rank(shifts, tol=0.1)) if len(shifts) else 0
        held = np.linalg.svd(shifts)[2][slack:] if slack else np.eye(3)
        middle = self.lie.axes @ (self.points.mean(axis=0) - self.lie.middle)
        found = []
        for k in range(3):
            for sign in (1.0, -1.0):
                axis = sign * np.eye(3)[k]
                if len(turns) and float(np.linalg.norm(turns @ axis)) > 0.5:
                    continue
                if any(abs(float(way @ axis)) < _NEW for way in leaving):
                    continue
                scaled = np.concatenate([-np.cross(axis, middle), axis * self.lie.arms])
                motion = self._with_shift(scaled / self.lie.arms[k], held)
                if motion is not None:
                    found.append(motion)
        return found

    def _with_shift(self, motion: Array, held: Array) -> Array | None:
        """A turn with the least shift along ``held`` (k, 3) that presses into no contact, or None."""
        if self._fits(motion):
            return motion
        if not len(held):
            return None
        from scipy.optimize import linprog

        count = len(held)
        rows = self.rows[:, :3] @ held.T
        # Shift = plus - minus, both >= 0, at the least sum.
        found = linprog(
            np.ones(2 * count),
            A_ub=-np.hstack([rows, -rows]),
            b_ub=self.rows @ motion + self.limit * float(np.linalg.norm(motion)) / 2.0,
            bounds=(0.0, 50.0),
            method="highs",
        )
        if found.status != 0:
            return None
        shifted = motion.copy()
        shifted[:3] += (found.x[:count] - found.x[count:]) @ held
        return shifted

    def fall(self) -> Array | None:
        """The motion by which the piece falls, slides or tips, scaled, or None where contact forces carry it.

        By duality the two are the same: forces that balance the weight exist where no allowed motion lets it fall. A
        contact is allowed `Locating.grip` of its force sideways, all together that of `Locating.squeeze` times the
        weight; and a round that lies on a line may be out as much.
        """
        goal = self._fall_row()
        if not len(self.rows):
            return goal / float(np.abs(goal).max())
        square = np.stack([_square_to(n) for n in self.normals])
        both = [square, np.cross(self.normals, square)]
        sides = [self.scaled(self.points, LOCATING.grip * side) for side in both]
        leant = np.vstack([self.rows + sign * side for side in sides for sign in (1.0, -1.0)])
        # What may be left over: a turn of the weight by this share of the piece's least arm, and no force to speak of.
        measure = np.concatenate([np.full(3, 10.0), self.lie.arms / self.lie.arms.min()])
        if carried(self.rows * measure, leant * measure, goal * measure):
            return None
        # Faces that squeeze it hide the fall where they lean: then as they are.
        motion = deepest(goal, leant)
        return deepest(goal, self.rows) if motion is None else motion


def _parted(open_: Array) -> tuple[Array, Array]:
    """Of scaled motions (k, 6): the slides among them, and the axes of turns, (., 3) orthonormal each."""
    if not len(open_):
        return np.zeros((0, 3)), np.zeros((0, 3))
    u, values, axes = np.linalg.svd(open_[:, 3:])
    turning = int((values > _TURNS).sum())
    slides = u[:, turning:].T @ open_[:, :3]
    return slides / np.maximum(np.linalg.norm(slides, axis=1), 1e-12)[:, None], axes[:turning]


def _nearest_turn(open_: Array, slides: Array, axis: Array) -> Array:
    """The open motion that turns about ``axis`` (scaled) with the least shift of the piece's middle."""
    shares = np.linalg.lstsq(open_[:, 3:].T, axis, rcond=_TURNS)[0]
    motion = shares @ open_
    motion[:3] -= slides.T @ (slides @ motion[:3])
    found: Array = motion
    return found


def _made_of(way: Array, ways: list[Array]) -> bool:
    """Whether going some ways one after the other comes to the same."""
    if not ways:
        return False
    from scipy.optimize import nnls

    return bool(nnls(np.array(ways).T, way)[1] < 0.1)


def _orthonormal(rows: Array) -> Array:
    """A basis of the space that independent rows (k, 3) span."""
    found: Array = np.linalg.svd(rows, full_matrices=False)[2] if len(rows) else rows
    return found


def _once(rows: Array) -> Array:
    """Unit rows, the first of those within a tenth of a degree."""
    found: list[Array] = []
    for row in rows:
        if all(float(row @ other) < 1.0 - 1.5e-6 for other in found):
            found.append(row)
    return np.array(found).reshape(-1, 3)


def _signed(way: Array) -> Array:
    """The way or its opposite, whichever has its largest part positive."""
    return way if way[np.argmax(np.abs(way).round(6))] > 0.0 else -way


def _square_to(normal: Array) -> Array:
    out = np.zeros(3)
    out[int(np.argmin(np.abs(normal)))] = 1.0
    out = out - normal * float(out @ normal)
    found: Array = out / np.linalg.norm(out)
    return found
