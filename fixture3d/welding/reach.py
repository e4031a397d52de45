"""Whether a torch comes to a line at all: a coarse test that only tells the inside of a tube from the outside.

It is not the check of access (``checks/torch_access.py``): it asks whether, within 15 degrees of work angle and 40 of
travel angle about the middle of the opening, any straight way out of 300 mm is free for a nozzle of 16 mm. At 120 mm an
open bore looks as if it could be reached. A groove that is too deep for that is no bore: where the way out is free over
60 degrees along the weld, any work angle will do, and the slimmest nozzle.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from fixture3d.frame import Array
from fixture3d.tolerance import JOINTS
from fixture3d.welding.surface import Surface

_WORK: Final = (0.0, -15.0, 15.0)
_TRAVEL: Final = (0.0, -20.0, 20.0, -40.0, 40.0)
_RING: Final = 6
_START: Final = 0.5  # mm from the root
_OFF_FACE: Final = 8.0  # degrees between a way down a groove and the face beside it
_GROOVE_WORK: Final = 8.0  # degrees from one work angle to the next
_GROOVE_TRAVEL: Final = (-60.0, -40.0, -20.0, 0.0, 20.0, 40.0, 60.0)
_GROOVE_SPAN: Final = 4  # of these in a row must be free: 60 degrees along the weld
_ONCE: Final = 1e-3  # mm; a ray through the edge of two triangles meets one surface there


def reachable(point: Array, tangent: Array, bisector: Array, opening: float, surfaces: Sequence[Surface]) -> bool:
    """Whether some straight way from a root (3,) into the open is free, or a groove comes down to it.

    Args:
        point: mm.
        tangent: unit, along the weld.
        bisector: unit, into the open.
        opening: degrees; in a narrow one a slimmer nozzle is taken, since that is told as tight.
        surfaces: every piece.
    """
    box = np.stack([point - JOINTS.reach, point + JOINTS.reach])
    near = np.concatenate([s.corners[s.within(box)] for s in surfaces])
    look = _Look(point, tangent, bisector, Triangles(near))
    room = JOINTS.nozzle_back * np.sin(np.deg2rad(min(opening, 180.0) / 2.0 - _WORK[2] / 2.0)) * 0.9
    radius = max(min(JOINTS.nozzle / 2.0, float(room)), 1.0)
    directions = look.directions(np.array(_WORK), np.array(_TRAVEL)).reshape(-1, 3)
    free = look.free(directions)
    if any(look.fits(direction, radius, JOINTS.nozzle_back) for direction in directions[free]):
        return True
    return look.down_a_groove(opening)


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
        return ~self.triangles.hit(np.broadcast_to(self.start, directions.shape), directions, JOINTS.reach)

    def fits(self, direction: Array, radius: float, back: float) -> bool:
        """Whether a nozzle of a radius that ends so far back comes in along a direction (3,)."""
        least = np.eye(3)[int(np.abs(direction).argmin())]
        side = _cross(direction, least)
        side = side / float(np.linalg.norm(side))
        other = _cross(direction, side)
        turn = np.arange(_RING) * (2.0 * np.pi / _RING)
        ring = radius * (np.cos(turn)[:, None] * side + np.sin(turn)[:, None] * other)
        # From the root to half the nozzle's rim, so that a crack in the joint is no way out.
        cone = back * direction + ring / 2.0 - _START * self.bisector
        sizes = np.linalg.norm(cone, axis=1)
        cone = cone / sizes[:, None]
        if self.triangles.hit(np.broadcast_to(self.start, cone.shape), cone, float(sizes.max())).any():
            return False
        starts = self.point + back * direction + ring
        return not self.triangles.hit(starts, np.broadcast_to(direction, starts.shape), JOINTS.reach).any()

    def down_a_groove(self, opening: float) -> bool:
        """Whether the slimmest nozzle comes in steeper than a torch is wont to, where the way is open along the weld.

        A groove between two walls is open along its length, a bore is not: there a straight way out that leans along
        the weld soon meets the next wall.
        """
        half = min(opening, 180.0) / 2.0 - _OFF_FACE
        if half <= 0.0:
            return False
        work = np.linspace(-half, half, 2 * int(np.ceil(half / _GROOVE_WORK)) + 1)
        directions = self.directions(work, np.array(_GROOVE_TRAVEL))
        free = self.free(directions.reshape(-1, 3)).reshape(directions.shape[:2])
        for k in np.argsort(np.abs(work), kind="stable").tolist():
            for first in range(len(_GROOVE_TRAVEL) - _GROOVE_SPAN + 1):
                mine = slice(first, first + _GROOVE_SPAN)
                if free[k, mine].all() and any(
                    self.fits(one, JOINTS.slim / 2.0, JOINTS.slim_back) for one in directions[k, mine]
                ):
                    return True
        return False


def _cross(a: Array, b: Array) -> Array:
    """Of two vectors (3,); numpy's own is made for arrays and takes ten times as long."""
    x, y, z = a.tolist()
    u, v, w = b.tolist()
    return np.array([y * w - z * v, z * u - x * w, x * v - y * u])


def crossings(start: Array, direction: Array, corners: Array, length: float) -> list[tuple[float, int]]:
    """Where a ray (3,) passes surfaces: distance mm and triangle, each surface once, in order, up to ``length``."""
    _, triangles, far = Triangles(corners).crossings(start[None], direction[None], length)
    out: list[tuple[float, int]] = []
    for k in np.argsort(far, kind="stable").tolist():
        if not out or far[k] > out[-1][0] + _ONCE:
            out.append((float(far[k]), int(triangles[k])))
    return out


class Triangles:
    """Triangles (m, 3, 3) made ready for rays (Moeller and Trumbore, 1997)."""

    def __init__(self, corners: Array) -> None:
        self.a, u, v = corners[:, 0], corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
        self.normal = np.stack(
            [
                u[:, 1] * v[:, 2] - u[:, 2] * v[:, 1],
                u[:, 2] * v[:, 0] - u[:, 0] * v[:, 2],
                u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0],
            ],
            axis=1,
        )
        self.level = np.einsum("ij,ij->i", self.a, self.normal)
        self.u, self.v = u, v
        uu, uv, vv = (np.einsum("ij,ij->i", p, q) for p, q in ((u, u), (u, v), (v, v)))
        with np.errstate(divide="ignore", invalid="ignore"):
            below = uu * vv - uv * uv
            # A point p of the plane, from the first corner, is s u + t v with s = p . s_of and t = p . t_of.
            self.s_of = (vv[:, None] * u - uv[:, None] * v) / below[:, None]
            self.t_of = (uu[:, None] * v - uv[:, None] * u) / below[:, None]

    def hit(self, starts: Array, directions: Array, length: float) -> NDArray[np.bool_]:
        """Which rays (k, 3) meet one within ``length``."""
        out = np.zeros(len(starts), dtype=bool)
        out[self.crossings(starts, directions, length)[0]] = True
        return out

    def crossings(
        self, starts: Array, directions: Array, length: float
    ) -> tuple[NDArray[np.int64], NDArray[np.int64], Array]:
        """Where rays (k, 3) meet them within ``length``: ray, triangle, distance."""
        against = directions @ self.normal.T
        with np.errstate(divide="ignore", invalid="ignore"):
            distance = (self.level[None, :] - starts @ self.normal.T) / against
            ray, triangle = np.nonzero((distance > 0.0) & (distance < length))
            far = distance[ray, triangle]
            point = starts[ray] + directions[ray] * far[:, None] - self.a[triangle]
            s = np.einsum("ij,ij->i", point, self.s_of[triangle])
            t = np.einsum("ij,ij->i", point, self.t_of[triangle])
            inside = (s >= 0.0) & (t >= 0.0) & (s + t <= 1.0)
        return ray[inside], triangle[inside], far[inside]
