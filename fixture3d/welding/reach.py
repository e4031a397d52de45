"""Whether a torch comes to a line at all: a coarse test that only tells the inside of a tube from the outside.

It is not the check of access (``checks/torch_access.py``): it asks whether, within 15 degrees of work angle and 40 of
travel angle about the middle of the opening, any straight way out of 300 mm is free for a nozzle of 16 mm, and from 100
mm on for the hand. At 120 mm an open bore would look as if it could be reached. A groove that is too deep for that is
no bore: where the way out is free over 60 degrees along the weld, any work angle will do, and the slimmest nozzle.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from fixture3d.frame import Array
from fixture3d.tolerance import JOINTS
from fixture3d.welding.section import cross

_WORK: Final = (0.0, -15.0, 15.0)
_TRAVEL: Final = (0.0, -20.0, 20.0, -40.0, 40.0)
_RING: Final = 6
_START: Final = 0.5  # mm from the root
_OFF_FACE: Final = 8.0  # degrees between a way down a groove and the face beside it
_GROOVE_WORK: Final = 8.0  # degrees from one work angle to the next
_GROOVE_TRAVEL: Final = (-60.0, -40.0, -20.0, 0.0, 20.0, 40.0, 60.0)
_GROOVE_SPAN: Final = 4  # of these in a row must be free: 60 degrees along the weld
_BESIDE: Final = 5.0  # mm at most between the root and where one looks for a slot from
_SLOT_WORK: Final = tuple(range(-90, 91, 5))
_SLOT_TRAVEL: Final = tuple(range(-80, 81, 20))
_ONCE: Final = 1e-3  # mm; a ray through the edge of two triangles meets one surface there
_SEAM: Final = 1e-4  # mm that triangles reach over their edges: by rounding a ray along a mitre would slip between two


def reachable(point: Array, tangent: Array, bisector: Array, opening: float, triangles: Triangles) -> bool:
    """Whether some straight way from a root (3,) into the open is free, or a groove comes down to it.

    Args:
        point: mm.
        tangent: unit, along the weld.
        bisector: unit, into the open.
        opening: degrees; in a narrow one a slimmer nozzle is taken, since that is told as tight.
        triangles: of every piece.
    """
    look = _Look(point, tangent, bisector, triangles.near(point, JOINTS.reach))
    room = JOINTS.nozzle_back * np.sin(np.deg2rad(min(opening, 180.0) / 2.0 - _WORK[2] / 2.0)) * 0.9
    radius = max(min(JOINTS.nozzle / 2.0, float(room)), 1.0)
    directions = look.directions(np.array(_WORK), np.array(_TRAVEL)).reshape(-1, 3)
    for one in directions[look.free(directions)]:
        if look.fits(one, radius, JOINTS.nozzle_back, hand=True):
            return True
    return look.down_a_groove(opening)


def walled_off(point: Array, tangent: Array, bisector: Array, triangles: Triangles) -> bool:
    """Whether a root lies in a bore or a box: from beside it no slot leads out.

    A slot, such as a piece that stands in front of a joint leaves, may be too narrow for any torch, but somewhere along
    it one looks out over 60 degrees; out of a bore one looks through its end alone. What is no bore is a joint that
    something stands in front of, which the check of access tells.

    Args:
        point: the root (3,), mm.
        tangent: unit, along the weld.
        bisector: unit, into the open.
        triangles: of every piece.
    """
    look = _Look(point, tangent, bisector, triangles.near(point, JOINTS.reach))
    ahead = look.triangles.crossings(look.start[None], bisector[None], np.array([2.0 * _BESIDE]))[2]
    room = float(ahead.min(initial=2.0 * _BESIDE))
    look.start = look.start + room / 2.0 * bisector
    work, travel = np.array(_SLOT_WORK), np.array(_SLOT_TRAVEL)
    directions = look.directions(work, travel)
    free = look.free(directions.reshape(-1, 3)).reshape(len(work), len(travel))
    spans = len(travel) - _GROOVE_SPAN + 1
    return not any(free[:, first : first + _GROOVE_SPAN].all(axis=1).any() for first in range(spans))


class _Look:
    """What is seen from one root."""

    def __init__(self, point: Array, tangent: Array, bisector: Array, triangles: Triangles) -> None:
        self.point, self.tangent, self.bisector = point, tangent, bisector
        self.across = _cross(tangent, bisector)
        self.start = point + _START * bisector
        self.triangles = triangles

    def directions(self, work: Array, travel: Array) -> Array:
        """Unit directions (work, travel, 3) at angles about the middle of the opening, degrees."""
        a, b = np.deg2rad(work)[:, None, None], np.deg2rad(travel)[None, :, None]
        out: Array = np.cos(b) * (np.cos(a) * self.bisector + np.sin(a) * self.across) + np.sin(b) * self.tangent
        return out

    def free(self, directions: Array) -> NDArray[np.bool_]:
        """Which straight ways (k, 3) out are free."""
        starts = np.broadcast_to(self.start, directions.shape)
        return ~self.triangles.hit(starts, directions, np.full(len(directions), JOINTS.reach))

    def fits(self, direction: Array, radius: float, back: float, hand: bool) -> bool:
        """Whether a nozzle of a radius that ends so far back comes in along a direction (3,), and the hand behind it.

        A bore may be wide enough for the nozzle only.
        """
        ring = _ring(direction)
        # From the root to half the nozzle's rim, so that a crack in the joint is no way out.
        cone = back * direction + radius / 2.0 * ring - _START * self.bisector
        sizes = np.sqrt(np.einsum("ij,ij->i", cone, cone))
        along = np.broadcast_to(direction, ring.shape)
        starts = [np.broadcast_to(self.start, ring.shape), self.point + back * direction + radius * ring]
        ways, lengths = [cone / sizes[:, None], along], [sizes, np.full(_RING, JOINTS.reach)]
        if hand:
            middle = self.point + JOINTS.hand_back * direction
            starts += [middle + JOINTS.hand / 2.0 * ring, np.broadcast_to(middle, ring.shape)]
            ways += [along, ring]  # across as well: a tube may be so slim that it lies within the handle
            lengths += [np.full(_RING, JOINTS.reach - JOINTS.hand_back), np.full(_RING, JOINTS.hand / 2.0)]
        return not self.triangles.hit(np.concatenate(starts), np.concatenate(ways), np.concatenate(lengths)).any()

    def down_a_groove(self, opening: float) -> bool:
        """Whether the slimmest nozzle comes in steeper than a torch is wont to, where the way is open along the weld.

        A groove between two walls is open along its length, a bore is not: there a straight way out that leans along
        the weld soon meets the next wall.
        """
        half = min(opening, 180.0) / 2.0 - _OFF_FACE
        if half <= 0.0:
            return False
        work = np.linspace(-half, half, 2 * int(np.ceil(half / _GROOVE_WORK)) + 1)
        # Every span of travel angles has the middle in it.
        work = work[self.free(self.directions(work, np.zeros(1))[:, 0])]
        for angle in work[np.argsort(np.abs(work), kind="stable")]:
            directions = self.directions(np.array([angle]), np.array(_GROOVE_TRAVEL))[0]
            free = self.free(directions)
            for first in range(len(_GROOVE_TRAVEL) - _GROOVE_SPAN + 1):
                mine = slice(first, first + _GROOVE_SPAN)
                if free[mine].all() and any(
                    self.fits(one, JOINTS.slim / 2.0, JOINTS.slim_back, hand=False) for one in directions[mine]
                ):
                    return True
        return False


def _ring(direction: Array) -> Array:
    """Unit vectors (k, 3) square to a direction (3,), all round."""
    side = _cross(direction, np.eye(3)[int(np.abs(direction).argmin())])
    side = side / float(np.linalg.norm(side))
    other = _cross(direction, side)
    turn = np.arange(_RING) * (2.0 * np.pi / _RING)
    out: Array = np.cos(turn)[:, None] * side + np.sin(turn)[:, None] * other
    return out


def _cross(a: Array, b: Array) -> Array:
    """Of two vectors (3,); numpy's own is made for arrays and takes ten times as long."""
    x, y, z = a.tolist()
    u, v, w = b.tolist()
    return np.array([y * w - z * v, z * u - x * w, x * v - y * u])


def crossings(start: Array, direction: Array, corners: Array, length: float) -> list[tuple[float, int]]:
    """Where a ray (3,) passes surfaces: distance mm and triangle, each surface once, in order, up to ``length``."""
    _, triangles, far = Triangles(corners).crossings(start[None], direction[None], np.array([length]))
    out: list[tuple[float, int]] = []
    for k in np.argsort(far, kind="stable").tolist():
        if not out or far[k] > out[-1][0] + _ONCE:
            out.append((float(far[k]), int(triangles[k])))
    return out


class Triangles:
    """Triangles (m, 3, 3) made ready for rays (Moeller and Trumbore, 1997)."""

    def __init__(self, corners: Array) -> None:
        self.low, self.high = corners.min(axis=1), corners.max(axis=1)
        self.a, u, v = corners[:, 0], corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
        self.normal = cross(u, v)
        self.level = np.einsum("ij,ij->i", self.a, self.normal)
        uu, uv, vv = (np.einsum("ij,ij->i", p, q) for p, q in ((u, u), (u, v), (v, v)))
        with np.errstate(divide="ignore", invalid="ignore"):
            below = uu * vv - uv * uv
            # A point p of the plane, from the first corner, is s u + t v with s = p . s_of and t = p . t_of.
            self.s_of = (vv[:, None] * u - uv[:, None] * v) / below[:, None]
            self.t_of = (uu[:, None] * v - uv[:, None] * u) / below[:, None]
            # One over the height on each side, so that it is the same length over all three.
            with np.errstate(over="ignore"):
                sizes = (np.linalg.norm(of, axis=1) for of in (self.s_of, self.t_of, self.s_of + self.t_of))
                self.s_over, self.t_over, self.sum_over = (_SEAM * size for size in sizes)

    def near(self, point: Array, distance: float) -> Triangles:
        """Those whose boxes come within a distance of a point (3,) along each axis."""
        keep = ((self.low <= point + distance) & (self.high >= point - distance)).all(axis=1)
        if keep.all():
            return self
        out = object.__new__(Triangles)
        for name, values in vars(self).items():
            setattr(out, name, values[keep])
        return out

    def hit(self, starts: Array, directions: Array, lengths: Array) -> NDArray[np.bool_]:
        """Which rays (k, 3) meet one within their lengths (k,)."""
        out = np.zeros(len(starts), dtype=bool)
        out[self.crossings(starts, directions, lengths)[0]] = True
        return out

    def crossings(
        self, starts: Array, directions: Array, lengths: Array
    ) -> tuple[NDArray[np.int64], NDArray[np.int64], Array]:
        """Where rays (k, 3) meet them within their lengths (k,): ray, triangle, distance."""
        against = directions @ self.normal.T
        with np.errstate(divide="ignore", invalid="ignore"):
            distance = (self.level - starts @ self.normal.T) / against
            ray, triangle = np.nonzero((distance > 0.0) & (distance < lengths[:, None]))
            far = distance[ray, triangle]
            point = starts[ray] + directions[ray] * far[:, None] - self.a[triangle]
            s = np.einsum("ij,ij->i", point, self.s_of[triangle])
            t = np.einsum("ij,ij->i", point, self.t_of[triangle])
            inside = (s >= -self.s_over[triangle]) & (t >= -self.t_over[triangle])
            inside &= s + t <= 1.0 + self.sum_over[triangle]
        return ray[inside], triangle[inside], far[inside]
