"""Where a clamp presses: over a support, over an unsupported span, on a wall that may dent. Lengths mm, forces N."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fixture3d.locating.closure import around
from fixture3d.locating.contact import Contact
from fixture3d.tolerance import HOLDING, SHOP

__all__ = ["Under", "beside_hull", "dent_force", "under_clamp", "way_to_hull"]

Array = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class Under:
    """What takes the push of a clamp.

    Attributes:
        nearest: the fixed body whose contacts look against the push and lie nearest to its line; empty when none does.
        beside: mm by which the line misses the hull of these; 0 over it, as between the two flanks of a V, infinite
            when there are none.
        span: mm along the piece between the contacts on either side of the line; 0 over one, infinite when the line is
            beyond the last of them.
    """

    nearest: str
    beside: float
    span: float

    @property
    def over(self) -> bool:
        """The push goes into a support."""
        return self.beside <= SHOP.contact


def under_clamp(contacts: Sequence[Contact], at: ArrayLike, way: ArrayLike, along: ArrayLike | None = None) -> Under:
    """What is under a clamp.

    Args:
        contacts: of the piece that it presses.
        at: (3,) mm, its tip.
        way: (3,) unit, the way it pushes.
        along: (3,) the piece's length; square to the push, or the spread of the supports, when not given.
    """
    tip, push = np.asarray(at, dtype=np.float64), np.asarray(way, dtype=np.float64)
    below = [c for c in contacts if float(c.normal @ push) <= -HOLDING.opposed]
    if not below:
        return Under(nearest="", beside=math.inf, span=math.inf)
    names = list(dict.fromkeys(c.fixed for c in below))
    misses = [beside_hull(np.vstack([c.points for c in below if c.fixed == name]), tip, push) for name in names]
    first = int(np.argmin(np.round(misses, 9)))
    axis = _axis(below, push) if along is None else np.asarray(along, dtype=np.float64)
    span = 0.0 if misses[first] <= SHOP.contact else _span(below, tip, axis / np.linalg.norm(axis))
    return Under(nearest=names[first], beside=misses[first], span=span)


def dent_force(wall: float) -> float:
    """The force that a thin flat wall stands under a bare clamp tip, N.

    1 kN on 2 mm, the lower end of common practice (no source), and with the square of the thickness otherwise, as a
    plate in bending. A pad, or a tip over a side wall of the tube, stands more.

    Args:
        wall: mm.

    Raises:
        ValueError: the wall is not above zero.
    """
    if not wall > 0.0:
        raise ValueError(f"Expected a wall above 0 mm, got {wall:g}")
    return HOLDING.dent * (wall / HOLDING.dent_wall) ** 2


def beside_hull(points: Array, tip: Array, push: Array) -> float:
    """How far the line of a push passes beside the hull of points (n, 3), seen along the push."""
    return float(np.linalg.norm(way_to_hull(points, tip, push)))


def way_to_hull(points: Array, tip: Array, push: Array) -> Array:
    """The move (3,) mm that brings the line of a push over the hull of points (n, 3), seen along it; zero over it."""
    from shapely import MultiPoint, Point
    from shapely.ops import nearest_points

    axes = around(push[None], 4)[0, :2]
    near, _ = nearest_points(MultiPoint((points - tip) @ axes.T).convex_hull, Point(0.0, 0.0))
    result: Array = np.array([near.x, near.y]) @ axes
    return result


def _span(below: list[Contact], tip: Array, axis: Array) -> float:
    """Along the piece, from the end of the last contact before the tip to the start of the first one after it."""
    places = [(contact.points - tip) @ axis for contact in below]
    before = [float(s.max()) for s in places if s.max() < 0.0]
    after = [float(s.min()) for s in places if s.min() > 0.0]
    if any(s.min() <= 0.0 <= s.max() for s in places):
        return 0.0
    return min(after) - max(before) if before and after else math.inf


def _axis(below: list[Contact], push: Array) -> Array:
    """The direction square to the push along which the supports are spread most."""
    points = np.vstack([contact.points for contact in below])
    flat = points - points.mean(axis=0)
    flat = flat - np.outer(flat @ push, push)
    _, values, ways = np.linalg.svd(flat, full_matrices=False)
    result: Array = ways[0] if values[0] > SHOP.contact else around(push[None], 4)[0, 0]
    return result
