"""Triangles of a tube's bend that are fine at its two rims and coarse between them. Lengths in mm; numpy only.

The kernel's mesher carries the fineness of the rims through the whole bend: ten thousand triangles for a quarter turn
of a hand rail. A viewer that knows the torus needs only the rims so fine.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from fixture3d.frame import Array, unit

Ints = NDArray[np.int32]
_SAME: Final = 1e-6  # rad; a rim lies in one plane through the axis
_FEWEST: Final = 12  # sides of a round that is looked at
_ROUND: Final = 2.0 * math.pi


@dataclass(frozen=True, eq=False)
class Torus:
    """A torus: its centre (3,), unit axis (3,), radius of its centre line and of its tube."""

    centre: Array
    axis: Array
    large: float
    small: float

    def angles(self, points: Array) -> tuple[Array, Array]:
        """Where points (n, 3) lie along the centre line and round the tube, rad."""
        x, y = self._plane()
        rel = points - self.centre
        p, q = rel @ x, rel @ y
        return np.arctan2(q, p), np.arctan2(rel @ self.axis, np.hypot(p, q) - self.large)

    def ring(self, along: float, around: Array) -> Array:
        """Points (n, 3) of the section at an angle along the centre line."""
        x, y = self._plane()
        out = (self.large + self.small * np.cos(around))[:, None] * (math.cos(along) * x + math.sin(along) * y)
        found: Array = self.centre + out + (self.small * np.sin(around))[:, None] * self.axis
        return found

    def looks_out(self, vertices: Array, faces: Ints) -> bool:
        """Whether triangles look away from the middle of the tube."""
        a, b, c = (vertices[faces[:, k]] for k in range(3))
        middle = (a + b + c) / 3.0
        x, y = self._plane()
        along = self.angles(middle)[0]
        line = self.centre + self.large * (np.cos(along)[:, None] * x + np.sin(along)[:, None] * y)
        return float(np.einsum("ij,ij->", np.cross(b - a, c - a), middle - line)) > 0.0

    def _plane(self) -> tuple[Array, Array]:
        x = unit(np.cross(self.axis, (1.0, 0.0, 0.0) if abs(self.axis[0]) < 0.9 else (0.0, 1.0, 0.0)))
        return x, np.cross(self.axis, x)


def bend(
    vertices: Array, faces: Ints, loops: list[NDArray[np.int64]], torus: Torus, chord: float
) -> tuple[Array, Ints] | None:
    """One face meshed again, or None when it is not a bend between two whole rims.

    Args:
        vertices: (n, 3) of the kernel's mesh of the face.
        faces: (m, 3).
        loops: the vertices of each closed border of the face, one for each place.
        torus: on which it lies.
        chord: mm, greatest distance of the new triangles from the torus, along it and round it each.

    Returns:
        Vertices, among them those of the rims as they were, and faces that look the way they did.
    """
    if len(loops) != 2 or not torus.large > torus.small > chord:
        return None
    rims = []
    for loop in loops:
        along, around = torus.angles(vertices[loop])
        off = np.abs((along - along[0] + math.pi) % _ROUND - math.pi)
        if len(loop) < _FEWEST or float(off.max()) > _SAME:
            return None
        order = np.argsort(around)
        rims.append((float(along[0]), vertices[loop][order], around[order]))
    middles = torus.angles(vertices[faces].mean(axis=1))[0]
    span = (rims[1][0] - rims[0][0]) % _ROUND
    if float(((middles - rims[0][0]) % _ROUND).max()) > span:
        rims, span = rims[::-1], _ROUND - span  # the face lies on the other side of the first rim
    rows = max(1, math.ceil(span / _turn(torus.large + torus.small, chord)))
    sides = max(_FEWEST, math.ceil(_ROUND / _turn(torus.small, chord)))
    even = -math.pi + _ROUND * np.arange(sides) / sides
    rings = [(rims[0][1], rims[0][2])]
    rings += [(torus.ring(rims[0][0] + span * k / rows, even), even) for k in range(1, rows)]
    rings.append((rims[1][1], rims[1][2]))
    starts = np.cumsum([0, *(len(points) for points, _ in rings)])
    strips = [_strip(rings[k][1], rings[k + 1][1], int(starts[k]), int(starts[k + 1])) for k in range(len(rings) - 1)]
    made, triangles = np.concatenate([points for points, _ in rings]), np.concatenate(strips)
    if torus.looks_out(made, triangles) != torus.looks_out(vertices, faces):
        triangles = np.ascontiguousarray(triangles[:, ::-1])
    return made, triangles


def _turn(radius: float, chord: float) -> float:
    """The angle whose chord stays that near to its arc, rad."""
    return 2.0 * math.acos(max(0.0, 1.0 - chord / radius))


def _strip(one: Array, two: Array, first: int, second: int) -> Ints:
    """Triangles (n + m, 3) between two closed rings of points at rising angles (n,) and (m,)."""
    out = []
    i = j = 0
    while i < len(one) or j < len(two):
        a = one[i + 1] if i + 1 < len(one) else one[0] + _ROUND
        b = two[j + 1] if j + 1 < len(two) else two[0] + _ROUND
        here, there = first + i % len(one), second + j % len(two)
        if j >= len(two) or (i < len(one) and a <= b):
            out.append((here, first + (i + 1) % len(one), there))
            i += 1
        else:
            out.append((here, second + (j + 1) % len(two), there))
            j += 1
    return np.array(out, dtype=np.int32)
