"""How a piece lies: its own axes, its size along them and its middle of mass."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fixture3d import frame
from fixture3d.frame import Array
from fixture3d.locating.features import Flat, Rod, Standing
from fixture3d.tolerance import LOCATING

__all__ = ["Lie", "lie_of"]

_MOST = 8  # directions of faces that are tried as axes, those of the largest area
_SAME = float(np.cos(np.deg2rad(1.0)))
_TIE = 1e-3  # share of volume; boxes of rounds differ by less, as their meshes have corners


@dataclass(frozen=True, eq=False)
class Lie:
    """A piece's own frame in the world.

    Attributes:
        axes: (3, 3) rows, unit, right-handed, the longest extent first.
        middle: (3,) mm, the middle of its box along those axes.
        size: (3,) mm, extents along the axes.
        mass: (3,) mm, middle of mass.
        hull: (h, 3) mm, corners of its convex hull.
    """

    axes: Array
    middle: Array
    size: Array
    mass: Array
    hull: Array

    @property
    def long(self) -> bool:
        """Whether it has a length, as a bar has and a cube or a square plate has not."""
        return bool(self.size[1] <= LOCATING.tall * self.size[0])

    @property
    def arms(self) -> Array:
        """(3,) mm: how far the piece reaches from its middle, square to each axis."""
        square = self.size**2
        found: Array = np.sqrt(np.maximum(square.sum() - square, 1.0)) / 2.0
        return found


def lie_of(piece: Standing, down: Array) -> Lie:
    """The lie of a piece: the smallest box that is square to its faces and axes of rounds.

    Where these leave a choice, as on a round bar, one axis is level; ``down`` is (3,) unit, the way things fall.
    """
    hull = frame.points(piece.pose, piece.features.hull)
    mass = frame.points(piece.pose, piece.features.centroid)
    best: tuple[float, Array] | None = None
    ways = _directions(piece)
    for i, first in enumerate(ways):
        for second in [*ways[i + 1 :], down, *np.eye(3)]:
            across = second - first * float(second @ first)
            size = float(np.linalg.norm(across))
            if size < 0.5:
                continue
            across = across / size
            axes = np.stack([first, across, np.cross(first, across)])
            volume = float(np.prod(np.ptp(hull @ axes.T, axis=0)))
            if best is None or volume < best[0] * (1.0 - _TIE):
                best = volume, axes
    axes = np.eye(3) if best is None else best[1]
    extents = np.ptp(hull @ axes.T, axis=0)
    # The longest first; of equal ones the one most along X, then Y, so that a turn of the whole scene turns it too.
    order = sorted(range(3), key=lambda k: (-round(float(extents[k]), 2), int(np.argmax(np.abs(axes[k])))))
    axes = axes[order]
    signs = np.array([1.0 if row[np.argmax(np.abs(row).round(6))] > 0.0 else -1.0 for row in axes])
    axes = axes * signs[:, None]
    axes[2] = np.cross(axes[0], axes[1])
    local = hull @ axes.T
    middle = (local.min(axis=0) + local.max(axis=0)) / 2.0 @ axes
    return Lie(axes, middle, np.ptp(local, axis=0), mass, hull)


def _directions(piece: Standing) -> list[Array]:
    """Normals of flats and axes of rounds, by their area, each once whatever its sign."""
    weighed: list[tuple[float, Array]] = []
    for k, one in enumerate(piece.features.all):
        way = piece.frames[k][:3, 2]
        if isinstance(one, Flat):
            weighed.append((one.area, way))
        elif isinstance(one, Rod) and one.radius > 0.0:
            weighed.append((one.radius * np.deg2rad(one.sector) * (one.ends[1] - one.ends[0]), way))
    found: list[Array] = []
    for _, way in sorted(weighed, key=lambda one: -round(one[0], 3)):
        if all(abs(float(way @ other)) < _SAME for other in found):
            found.append(way)
        if len(found) == _MOST:
            break
    return found or list(np.eye(3))
