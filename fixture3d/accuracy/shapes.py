"""How a body is off its drawing: one function of its points an error, mm (or degrees) of error in, mm of move out.

Every function here returns a `Shape`: points (n, 3) to moves (n, 3) for an error of 1. All are linear in the error. A
block that stands wrong moves as a rigid body; a piece is too thick, too long, bowed, twisted, cut askew.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = [
    "Shape",
    "askew",
    "bowed",
    "crossing",
    "longer",
    "shifted",
    "sized",
    "skewed",
    "thicker",
    "turned",
    "twisted",
]

Array = NDArray[np.float64]
Shape = Callable[[Array], Array]


def shifted(way: ArrayLike) -> Shape:
    """A body that stands 1 mm off along a direction."""
    w = _unit(way)

    def moves(points: Array) -> Array:
        return np.broadcast_to(w, points.shape).copy()

    return moves


def turned(about: ArrayLike, axis: ArrayLike) -> Shape:
    """A body that is turned by 1 degree about an axis through a point."""
    at, turn = np.asarray(about, dtype=np.float64), crossing(_unit(axis) * math.radians(1.0))

    def moves(points: Array) -> Array:
        result: Array = (points - at) @ turn
        return result

    return moves


def sized(middle: ArrayLike, across: ArrayLike, size: float) -> Shape:
    """A section that is 1 mm larger in one direction: half on either side of its middle.

    Args:
        middle: (3,) a point of the centre line.
        across: (3,) direction.
        size: mm, as drawn.
    """
    at, w = np.asarray(middle, dtype=np.float64), _unit(across)

    def moves(points: Array) -> Array:
        result: Array = ((points - at) @ w / size)[:, None] * w
        return result

    return moves


def thicker(start: ArrayLike, end: ArrayLike, size: float) -> Shape:
    """A round section that is 1 mm larger: half all round its centre line.

    Args:
        start: (3,) mm, of the centre line.
        end: (3,) mm.
        size: its diameter as drawn, mm.
    """
    at, w, _ = _line(start, end)

    def moves(points: Array) -> Array:
        along = points - at
        result: Array = (along - np.outer(along @ w, w)) / size
        return result

    return moves


def longer(start: ArrayLike, end: ArrayLike) -> Shape:
    """A piece that is 1 mm longer: its far end moves, and what is nearer to the first end stays."""
    at, w, length = _line(start, end)

    def moves(points: Array) -> Array:
        result: Array = ((points - at) @ w > length / 2.0)[:, None] * w
        return result

    return moves


def askew(start: ArrayLike, end: ArrayLike, about: ArrayLike) -> Shape:
    """A piece whose far end is cut 1 degree askew, turned about an axis through the end of the centre line."""
    at, w, length = _line(start, end)
    tip, side = at + length * w, np.cross(_unit(about), w) * math.radians(1.0)

    def moves(points: Array) -> Array:
        far = (points - at) @ w > length / 2.0
        # The cut turns: its points move along the piece, by how far they are to the side of the axis.
        result: Array = -(far * ((points - tip) @ side))[:, None] * w
        return result

    return moves


def skewed(middle: ArrayLike, across: ArrayLike, other: ArrayLike) -> Shape:
    """A section whose corners are 1 degree off square: faces across lean as they go along ``other``."""
    at, w = np.asarray(middle, dtype=np.float64), _unit(across)
    v = _unit(other) * math.radians(1.0)

    def moves(points: Array) -> Array:
        result: Array = ((points - at) @ v)[:, None] * w
        return result

    return moves


def bowed(start: ArrayLike, end: ArrayLike, toward: ArrayLike) -> Shape:
    """A piece that is bowed by 1 mm in its middle, its ends in place: a parabola, as near as makes no odds."""
    at, w, length = _line(start, end)
    v = _unit(toward)

    def moves(points: Array) -> Array:
        s = np.clip((points - at) @ w / length, 0.0, 1.0)
        result: Array = (4.0 * s * (1.0 - s))[:, None] * v
        return result

    return moves


def twisted(start: ArrayLike, end: ArrayLike, size: float) -> Shape:
    """A piece that is twisted along its length so that one corner rises by 1 mm: half of it at either end.

    Args:
        start: (3,) mm, of the centre line.
        end: (3,) mm.
        size: mm, the side of the section over which the rise is measured.
    """
    at, w, length = _line(start, end)
    cross = crossing(w)

    def moves(points: Array) -> Array:
        along = points - at
        turn = ((along @ w) / length - 0.5) / size
        result: Array = turn[:, None] * (along @ cross)
        return result

    return moves


def crossing(w: Array) -> Array:
    """The matrix (3, 3) by which rows of points are multiplied to turn about w: w x p, faster than numpy's own."""
    x, y, z = w
    return np.array([[0.0, z, -y], [-z, 0.0, x], [y, -x, 0.0]])


def _unit(way: ArrayLike) -> Array:
    v = np.asarray(way, dtype=np.float64)
    result: Array = v / np.linalg.norm(v)
    return result


def _line(start: ArrayLike, end: ArrayLike) -> tuple[Array, Array, float]:
    a, b = np.asarray(start, dtype=np.float64), np.asarray(end, dtype=np.float64)
    length = float(np.linalg.norm(b - a))
    return a, (b - a) / length, length
