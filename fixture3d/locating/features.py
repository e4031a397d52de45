"""What of a solid can touch another one: its flats, rods, balls and rings, each with a frame of its own.

A sharp edge is a rod and a corner a ball of radius 0, so that one rule serves edges and rounds alike: the direction in
which they touch must point out of the material. What belongs to the shape alone is kept with it; a feature that stands
somewhere else is the same numbers in another frame.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fixture3d import frame
from fixture3d.frame import Array

__all__ = ["Ball", "Feature", "Features", "Flat", "Ring", "Rod", "Standing", "cross"]


@dataclass(frozen=True, eq=False)
class Flat:
    """A flat face, or several in one plane: ``frame`` has Z along the outward normal; triangles (m, 3, 2) in it."""

    frame: Array
    triangles: Array

    @cached_property
    def outline(self) -> Any:
        """The face as a shapely polygon or several."""
        import shapely

        return shapely.union_all(shapely.polygons(self.triangles))

    @cached_property
    def box(self) -> Array:
        """Least and greatest corner in the plane, (2, 2) mm."""
        flat = self.triangles.reshape(-1, 2)
        return np.stack([flat.min(axis=0), flat.max(axis=0)])

    @cached_property
    def area(self) -> float:
        """Square mm."""
        return float(self.outline.area)


@dataclass(frozen=True, eq=False)
class Rod:
    """A cylinder, or a straight sharp edge.

    Attributes:
        frame: Z along the axis.
        radius: mm, 0 for an edge.
        solid: the material is inside.
        triangles: (m, 3, 2) of the face rolled out: angle in radians, and mm along the axis; none for an edge.
        ends: mm along the axis.
        into: (k, 3) unit directions, in the frame, from an edge into its faces; none for a cylinder.
    """

    frame: Array
    radius: float
    solid: bool
    triangles: Array
    ends: tuple[float, float]
    into: Array

    def along(self, direction: Array, margin: float) -> list[tuple[float, float]]:
        """Where along the axis the surface faces ``direction`` ((3,), in the frame), and ``margin`` rad either side."""
        if not len(self.triangles):
            return [self.ends] if bool((self.into @ direction <= -np.sin(margin)).all()) else []
        # The outward direction of a bore's wall is towards its axis; what is asked for is the way to the wall.
        angle = float(np.arctan2(direction[1], direction[0]))
        if not self._reached(angle - margin) or not self._reached(angle + margin):
            return []
        return self._reached(angle)

    def _reached(self, angle: float) -> list[tuple[float, float]]:
        low, high, middle = self._turns
        here = angle + 2.0 * np.pi * np.round((middle - angle) / (2.0 * np.pi))
        spans = []
        for k in np.flatnonzero((low <= here + 1e-9) & (high >= here - 1e-9)).tolist():
            (p, s), (q, t), (r, u) = self.triangles[k].tolist()
            found = []
            for a, i, b, j in ((p, s, q, t), (q, t, r, u), (r, u, p, s)):
                a, b = a - here[k], b - here[k]
                if abs(a) <= 1e-9:
                    found.append(i)
                if a * b < 0.0:
                    found.append(i + (j - i) * a / (a - b))
            if found:
                spans.append((float(min(found)), float(max(found))))
        return _merged(spans)

    @cached_property
    def _turns(self) -> tuple[Array, Array, Array]:
        """Least, greatest and middle angle of each triangle."""
        turns = self.triangles[:, :, 0]
        return turns.min(axis=1), turns.max(axis=1), turns.mean(axis=1)

    @cached_property
    def sector(self) -> float:
        """How much of a full turn the face covers, degrees, to 5."""
        if not len(self.triangles):
            return 0.0
        return 5.0 * sum(bool(self._reached(np.deg2rad(2.5 + 5.0 * k))) for k in range(72))


@dataclass(frozen=True, eq=False)
class Ball:
    """A sphere's face, or a sharp corner: triangles (m, 3, 3) about the middle, or directions (k, 3) of its edges."""

    frame: Array
    radius: float
    triangles: Array
    into: Array

    def faces(self, direction: Array, margin: float) -> bool:
        """Whether the surface lies in ``direction`` ((3,) unit, in the frame) as seen from the middle."""
        if self.radius == 0.0:
            return bool((self.into @ direction <= -np.sin(margin)).all())
        a, b, c = (self.triangles[:, k] for k in range(3))
        inside = [np.einsum("ij,j->i", np.cross(p, q), direction) >= -1e-6 for p, q in ((a, b), (b, c), (c, a))]
        return bool((inside[0] & inside[1] & inside[2] & (a @ direction > 0.0)).any())


@dataclass(frozen=True, eq=False)
class Ring:
    """The face of a bend: Z of the frame is the torus' axis; ``turns`` (m, 3) angles of its triangles about it."""

    frame: Array
    major: float
    minor: float
    turns: Array

    def reached(self, angle: float) -> bool:
        """Whether the face comes round to ``angle``, rad about the axis."""
        here = angle + 2.0 * np.pi * np.round((self.turns.mean(axis=1) - angle) / (2.0 * np.pi))
        return bool(((self.turns.min(axis=1) <= here) & (self.turns.max(axis=1) >= here)).any())


Feature = Flat | Rod | Ball | Ring


@dataclass(frozen=True, eq=False)
class Features:
    """Everything of one body that can touch.

    Attributes:
        all: the features.
        points: (n, 3) mm, points that bound them, feature after feature.
        starts: (k,) where each feature's points start.
        corners: (m, 3, 3) mm, the surface's triangles.
        unread: (j, 3, 3) mm, triangles of faces of no known kind.
    """

    all: tuple[Feature, ...]
    points: Array
    starts: NDArray[np.int64]
    corners: Array
    unread: Array

    @cached_property
    def frames(self) -> Array:
        """feature_to_body, (k, 4, 4)."""
        return np.stack([one.frame for one in self.all])

    @cached_property
    def kinds(self) -> NDArray[np.int64]:
        """Flat 0, rod 1, ball 2, ring 3, (k,)."""
        return np.array([(Flat, Rod, Ball, Ring).index(type(one)) for one in self.all], dtype=np.int64)

    @cached_property
    def radii(self) -> Array:
        """Of rods and balls, less than 0 for a hollow rod; 0 for the rest, (k,) mm."""
        return np.array(
            [
                0.0
                if isinstance(one, Flat | Ring)
                else -one.radius
                if isinstance(one, Rod) and not one.solid
                else one.radius
                for one in self.all
            ]
        )

    @cached_property
    def hull(self) -> Array:
        """Corners of the convex hull, (h, 3) mm."""
        from scipy.spatial import ConvexHull

        points = np.unique(self.corners.reshape(-1, 3), axis=0)
        found: Array = points[ConvexHull(points).vertices]
        return found

    @cached_property
    def centroid(self) -> Array:
        """Centre of mass of the solid, (3,) mm."""
        shift = self.corners.reshape(-1, 3).mean(axis=0)
        a, b, c = (self.corners[:, k] - shift for k in range(3))
        volume = np.einsum("ij,ij->i", a, np.cross(b, c))
        found: Array = shift + ((a + b + c) * volume[:, None]).sum(axis=0) / (4.0 * volume.sum())
        return found


@dataclass(frozen=True, eq=False)
class Standing:
    """Features in their place: ``pose`` is body_to_world."""

    name: str
    features: Features
    pose: Array

    @cached_property
    def boxes(self) -> Array:
        """Least and greatest corner of each feature in the world, (k, 2, 3) mm."""
        points = frame.points(self.pose, self.features.points)
        starts = self.features.starts
        return np.stack([np.minimum.reduceat(points, starts), np.maximum.reduceat(points, starts)], axis=1)

    @cached_property
    def box(self) -> Array:
        """Of the whole body, (2, 3) mm."""
        return np.stack([self.boxes[:, 0].min(axis=0), self.boxes[:, 1].max(axis=0)])

    @cached_property
    def frames(self) -> Array:
        """feature_to_world, (k, 4, 4)."""
        found: Array = self.pose @ self.features.frames
        return found


def cross(a: Array, b: Array) -> Array:
    """Of two vectors (3,): ``numpy.cross`` takes ten times as long for one pair."""
    (p, q, r), (x, y, z) = a.tolist(), b.tolist()
    return np.array([q * z - r * y, r * x - p * z, p * y - q * x])


def _merged(spans: list[tuple[float, float]], within: float = 0.05) -> list[tuple[float, float]]:
    """Spans in order, those that meet as one."""
    out: list[tuple[float, float]] = []
    for low, high in sorted(spans):
        if out and low <= out[-1][1] + within:
            out[-1] = (out[-1][0], max(out[-1][1], high))
        else:
            out.append((low, high))
    return out
