"""Triangles that follow their surface: how far those of a face lie off it, and the repair of those that lie too far.

The kernel's meshers keep edges within their chord, but not the inside of every face: on a cone cut by flats their
triangles were seen up to thirty chords off. So each face that is not flat is measured, and triangles that are too far
off are split with new corners on the surface. Only edges inside a face are split, so that a closed mesh stays closed.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from fixture3d.frame import Array

Ints = NDArray[np.int32]
Longs = NDArray[np.int64]
_ROUNDS: Final = 12  # each makes an offending edge's distance a quarter, so that they reach far beyond need
_STEPS: Final = 3  # Newton's, from a point that is already near
_POINT: Final = 1e-6  # mm; a side of the parameter range that is shorter is one point, as the apex of a cone


@dataclass(frozen=True, eq=False)
class FaceMesh:
    """The triangles of one face of a solid.

    Attributes:
        surface: ``BRepAdaptor_Surface`` in the frame of the solid.
        vertices: (n, 3) mm.
        faces: (m, 3), outward.
        read_uv: gives the surface's parameters at the vertices, (n, 2).
    """

    surface: Any
    vertices: Array
    faces: Ints
    read_uv: Callable[[], Array]

    @cached_property
    def uv(self) -> Array:
        """The surface's parameters at the vertices, (n, 2)."""
        return self.read_uv()

    @cached_property
    def flat(self) -> bool:
        """Whether the surface is a plane."""
        from OCP.GeomAbs import GeomAbs_Plane

        return bool(self.surface.GetType() == GeomAbs_Plane)

    def off(self, enough: float) -> float:
        """The greatest distance from the surface of a middle of an edge or of a triangle, mm; 0 on a plane.

        Of a free surface, distances below ``enough`` may be given too large, by no more than to that.
        """
        if self.flat or not len(self.faces):
            return 0.0
        if self._form is not None:  # to measure an edge twice is quicker than to know it again
            corners = self.vertices[self.faces]
            points = np.concatenate([(corners + corners[:, [1, 2, 0]]).reshape(-1, 3) / 2.0, corners.mean(axis=1)])
            return float(self._form(points).max())
        groups: tuple[NDArray[np.integer[Any]], ...] = (_edges(self.faces)[0], self.faces)
        return max(float(self._distances(g, enough).max()) for g in groups)

    def followed(self, limit: float) -> tuple[FaceMesh, float]:
        """The face with triangles split until none lies further off than ``limit`` mm, and how far off they are.

        Edges between two faces stay as they are. The face itself when nothing is to do.
        """
        face, off = self, self.off(limit)
        for _ in range(_ROUNDS):
            finer = face._split(limit) if off > limit else None
            if finer is None:
                break
            face, off = finer, finer.off(limit)
        return face, off

    def _distances(self, groups: NDArray[np.integer[Any]], enough: float) -> Array:
        """How far the mean of each group of vertices, (k, j), lies from the surface, (k,) mm.

        A free surface is asked first at the mean parameters, which can only give more than the least distance; what
        exceeds ``enough`` is made exact.
        """
        points = self.vertices[groups].mean(axis=1)
        if self._form is not None:
            return self._form(points)
        out: Array = np.linalg.norm(self._at(self.uv[groups].mean(axis=1)) - points, axis=1)
        far = np.flatnonzero(out > enough)
        uv = np.array([self._mean_uv(g) for g in groups[far]]).reshape(-1, 2)
        for _ in range(_STEPS):
            uv = self._nearer(points[far], uv)
            out[far] = np.minimum(out[far], np.linalg.norm(self._at(uv) - points[far], axis=1))
            open_ = out[far] > enough
            far, uv = far[open_], uv[open_]
        return out

    def _split(self, limit: float) -> FaceMesh | None:
        """One round of it; None when all that is too far off is a border of the face."""
        edges, of_triangle, inner = _edges(self.faces)
        cut = inner & (self._distances(edges, limit) > limit)
        middle_off = (self._distances(self.faces, limit) > limit) & ~cut[of_triangle].any(axis=1)
        lengths = np.where(inner, np.linalg.norm(np.diff(self.vertices[edges], axis=1)[:, 0], axis=1), -1.0)
        longest = of_triangle[np.arange(len(self.faces)), lengths[of_triangle].argmax(axis=1)]
        alone = middle_off & (lengths[longest] < 0.0)  # the only triangle of its face
        cut[longest[middle_off & ~alone]] = True
        if not cut.any() and not alone.any():
            return None
        groups = [*edges[cut], *self.faces[alone]]
        uv = np.array([self._mean_uv(g) for g in groups])
        number = np.full(len(edges), -1, dtype=np.int64)
        number[cut] = len(self.vertices) + np.arange(int(cut.sum()))
        vertices = np.concatenate([self.vertices, self._at(uv)])
        faces = _subdivided(self.faces[~alone].astype(np.int64), number[of_triangle[~alone]], vertices)
        for k, (a, b, c) in enumerate(self.faces[alone].tolist(), start=len(vertices) - int(alone.sum())):
            faces = np.concatenate([faces, [[a, b, k], [b, c, k], [c, a, k]]])
        every = np.concatenate([self.uv, uv])
        return replace(self, vertices=vertices, faces=faces.astype(np.int32), read_uv=lambda: every)

    def _at(self, uv: Array) -> Array:
        """Points of the surface, (k, 3), at parameters (k, 2)."""
        value = self.surface.Value
        return np.array([value(u, v).Coord() for u, v in uv.tolist()], dtype=np.float64).reshape(-1, 3)

    def _mean_uv(self, group: NDArray[np.integer[Any]]) -> Array:
        """The mean parameters of vertices (j,): a corner in which all values of one parameter meet has none of it."""
        mine = self.uv[group]
        known = ~self._collapsed[group]
        if known.all():
            middle: Array = mine.mean(axis=0)
            return middle
        known[:, ~known.any(axis=0)] = True
        mean: Array = (mine * known).sum(axis=0) / known.sum(axis=0)
        return mean

    @cached_property
    def _collapsed(self) -> NDArray[np.bool_]:
        """Whether the surface stands still along u, and along v, at each vertex, (n, 2)."""
        _, along_u, along_v = self._derivatives(self.uv)
        speeds = np.stack([np.linalg.norm(along_u, axis=1), np.linalg.norm(along_v, axis=1)], axis=1)
        found: NDArray[np.bool_] = speeds * np.ptp(self.uv, axis=0) < _POINT
        return found

    def _derivatives(self, uv: Array) -> tuple[Array, Array, Array]:
        """Points of the surface and its derivatives along u and v, each (k, 3), at parameters (k, 2)."""
        from OCP.gp import gp_Pnt, gp_Vec

        point, along_u, along_v = gp_Pnt(), gp_Vec(), gp_Vec()
        out = np.zeros((3, len(uv), 3))
        for k, (u, v) in enumerate(uv.tolist()):
            self.surface.D1(u, v, point, along_u, along_v)
            out[:, k] = point.Coord(), along_u.Coord(), along_v.Coord()
        return out[0], out[1], out[2]

    def _nearer(self, points: Array, uv: Array) -> Array:
        """Parameters (k, 2) by one of Newton's steps nearer to those of the nearest points of the surface."""
        surface = self.surface
        low = np.array([surface.FirstUParameter(), surface.FirstVParameter()])
        high = np.array([surface.LastUParameter(), surface.LastVParameter()])
        at, along_u, along_v = self._derivatives(uv)
        slopes = np.stack([along_u, along_v], axis=2)
        step = np.einsum("kij,kj->ki", np.linalg.pinv(slopes, rcond=1e-9), points - at)
        out: Array = np.clip(uv + step, low, high)
        return out

    @cached_property
    def _form(self) -> Callable[[Array], Array] | None:
        """The distance of points (k, 3) from the surface, (k,), where it has a closed form."""
        from OCP.GeomAbs import GeomAbs_Cone, GeomAbs_Cylinder, GeomAbs_Sphere, GeomAbs_Torus

        kind = self.surface.GetType()
        if kind == GeomAbs_Sphere:
            sphere = self.surface.Sphere()
            middle, ball = np.array(sphere.Location().Coord()), float(sphere.Radius())
            return lambda points: np.abs(np.linalg.norm(points - middle, axis=1) - ball)
        if kind == GeomAbs_Cylinder:
            cylinder = self.surface.Cylinder()
            radius, place = float(cylinder.Radius()), _about(cylinder.Axis())
            return lambda points: np.abs(place(points)[1] - radius)
        if kind == GeomAbs_Cone:
            cone = self.surface.Cone()
            half, place = abs(float(cone.SemiAngle())), _about(cone.Axis(), cone.Apex())
            return lambda points: _off_cone(*place(points), half)
        if kind == GeomAbs_Torus:
            torus = self.surface.Torus()
            large, small, place = float(torus.MajorRadius()), float(torus.MinorRadius()), _about(torus.Axis())
            return lambda points: _off_torus(*place(points), large, small)
        return None


def _about(axis: Any, at: Any = None) -> Callable[[Array], tuple[Array, Array]]:
    """What gives the height (k,) of points along an axis, from ``at``, and their distance (k,) from it."""
    foot = np.array((axis.Location() if at is None else at).Coord())
    way = np.array(axis.Direction().Coord())

    def place(points: Array) -> tuple[Array, Array]:
        rel = points - foot
        height = rel @ way
        return height, np.linalg.norm(rel - height[:, None] * way, axis=1)

    return place


def _off_cone(height: Array, out: Array, half: float) -> Array:
    """From a cone on both sides of its apex; ``half`` is half its angle, rad."""
    found: Array = np.abs(out * np.cos(half) - np.abs(height) * np.sin(half))
    return found


def _off_torus(height: Array, out: Array, large: float, small: float) -> Array:
    found: Array = np.abs(np.hypot(out - large, height) - small)
    return found


def _edges(faces: Ints) -> tuple[Longs, Longs, NDArray[np.bool_]]:
    """Edges (k, 2) each once, the three of each triangle (m, 3), and which are shared by two triangles (k,)."""
    sides = np.sort(faces[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2).astype(np.int64), axis=1)
    count = int(faces.max()) + 1
    keys, back, counts = np.unique(sides[:, 0] * count + sides[:, 1], return_inverse=True, return_counts=True)
    return np.stack([keys // count, keys % count], axis=1), back.reshape(-1, 3), counts == 2


def _subdivided(faces: Longs, middles: Longs, vertices: Array) -> Longs:
    """Triangles (m, 3) with new corners in the middle of their edges, (m, 3), -1 where there is none."""
    amount = (middles >= 0).sum(axis=1)
    out = [faces[amount == 0]]
    # Turned so that a lone new corner lies on the first edge, and a lone edge without one is the last.
    first = np.where(amount == 1, (middles >= 0).argmax(axis=1), (middles < 0).argmax(axis=1) + 1)
    turn = (first[:, None] + np.arange(3)) % 3
    corner, middle = np.take_along_axis(faces, turn, 1), np.take_along_axis(middles, turn, 1)
    (a, b, c), (d, e, f) = corner.T, middle.T
    one, two, three = amount == 1, amount == 2, amount == 3
    out += [_stack(one, a, d, c), _stack(one, d, b, c)]
    # Two new corners leave a four-sided rest, cut along its shorter diagonal.
    across = np.linalg.norm(vertices[a] - vertices[e], axis=1) <= np.linalg.norm(vertices[d] - vertices[c], axis=1)
    out += [_stack(two, d, b, e)]
    out += [_stack(two & across, a, d, e), _stack(two & across, a, e, c)]
    out += [_stack(two & ~across, a, d, c), _stack(two & ~across, d, e, c)]
    out += [_stack(three, a, d, f), _stack(three, d, b, e), _stack(three, f, e, c), _stack(three, d, e, f)]
    return np.concatenate(out)


def _stack(chosen: NDArray[np.bool_], a: Longs, b: Longs, c: Longs) -> Longs:
    return np.stack([a[chosen], b[chosen], c[chosen]], axis=1)
