"""The surface of one piece as the search for welds reads it: triangles with faces, and the sharp edges between faces.

Everything is read from triangles that lie within 0.02 mm of the solid, so that free-form faces and meshes are read in
the same way as planes and cylinders. Which faces are round is only needed for flares; a face that the file gives as a
free form, and a stretch of a mesh, is held against a plane and a cylinder first.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from fixture3d.frame import Array
from fixture3d.solid.facets import CYLINDER, OTHER, PLANE, STEP
from fixture3d.solid.mesh import Mesh
from fixture3d.solid.shape import Shape
from fixture3d.tolerance import JOINTS

if TYPE_CHECKING:
    from fixture3d.solid.facets import Facets

Ints = NDArray[np.int64]

SHARP = 25.0  # degrees; a surface that bends less has no edge there (as in the picture)
SEEN = 8.0  # the same between planes and cylinders, whose normals are exact: the heel of a plate that leans far over


@dataclass(frozen=True)
class Round:
    """A cylinder: a point and the unit direction of its axis, its radius mm, and whether the material is inside."""

    point: Array
    axis: Array
    radius: float
    solid: bool


@dataclass(frozen=True, eq=False)
class Chain:
    """One sharp edge between two faces, (n, 3) points; a closed one ends where it starts."""

    points: Array
    faces: tuple[int, int]

    @cached_property
    def along(self) -> Array:
        """Distance of each point from the first one, mm."""
        return np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(self.points, axis=0), axis=1))])

    @property
    def length(self) -> float:
        """Mm."""
        return float(self.along[-1])

    @cached_property
    def closed(self) -> bool:
        """Whether it ends where it starts."""
        return bool((self.points[0] == self.points[-1]).all())

    @cached_property
    def straight(self) -> bool:
        """Whether all points lie on one line."""
        a, b = self.points[0], self.points[-1]
        span = float(np.linalg.norm(b - a))
        if self.closed or span == 0.0:
            return False
        off = self.points - a
        off = off - np.outer(off @ (b - a) / span**2, b - a)
        return bool(np.linalg.norm(off, axis=1).max() < 4.0 * STEP)

    def at(self, s: Array) -> tuple[Array, Array]:
        """Points and unit tangents at distances ``s`` (k,) along it."""
        if self.straight:
            t = (self.points[-1] - self.points[0]) / self.length
            return self.points[0] + s[:, None] * t, np.broadcast_to(t, (len(s), 3))
        part = np.clip(np.searchsorted(self.along, s, side="right") - 1, 0, len(self.points) - 2)
        step = np.diff(self.points, axis=0)[part]
        size = np.diff(self.along)[part]
        t = step / size[:, None]
        return self.points[part] + t * (s - self.along[part])[:, None], t

    def between(self, first: float, last: float) -> Array:
        """The piece of it from ``first`` to ``last``; past the end of a closed one it goes on from the start."""
        if self.straight:
            return self.at(np.array([first, last]))[0]
        along, points = self.along, self.points
        if last > self.length:
            along = np.concatenate([along, along[1:] + self.length])
            points = np.concatenate([points, points[1:]])
        inner = points[(along > first + 1e-3) & (along < last - 1e-3)]
        ends = self.at(np.array([first, last]) % self.length if last > self.length else np.array([first, last]))[0]
        return np.concatenate([ends[:1], inner, ends[1:]])


@dataclass(frozen=True, eq=False)
class Surface:
    """One piece.

    Attributes:
        corners: (m, 3, 3) mm.
        normals: (m, 3) outward unit normals of the faces, at the middle of each triangle.
        face: (m,) the face of each triangle.
        rounds: the cylinders by face.
        flats: the planes by face: outward unit normal, and distance from the origin.
        chains: its sharp edges.
        unread: faces that are neither plane, cylinder, sphere, cone nor torus.
        named: (m, 3) numbers of the corners; neighbours share them.
    """

    corners: Array
    normals: Array
    face: Ints
    rounds: dict[int, Round]
    flats: dict[int, tuple[Array, float]]
    chains: tuple[Chain, ...]
    unread: frozenset[int]
    named: Ints

    @cached_property
    def solid(self) -> Any:
        """The same as a ``manifold3d.Manifold``, or None where its triangles do not close."""
        import manifold3d

        used, first, faces = np.unique(self.named.reshape(-1), return_index=True, return_inverse=True)
        del used
        mesh = manifold3d.Mesh64(self.corners.reshape(-1, 3)[first], faces.reshape(-1, 3).astype(np.uint64))
        found = manifold3d.Manifold(mesh)
        return found if found.status() == manifold3d.Error.NoError and not found.is_empty() else None

    @cached_property
    def boxes(self) -> tuple[Array, Array]:
        """Least and greatest corners of the triangles, (m, 3) each."""
        return self.corners.min(axis=1), self.corners.max(axis=1)

    @cached_property
    def box(self) -> Array:
        """Least and greatest corner, (2, 3) mm."""
        low, high = self.boxes
        return np.stack([low.min(axis=0), high.max(axis=0)])

    def moved(self, pose: Array) -> Surface:
        """The surface in the outer frame; ``pose`` is surface_to_outer, (4, 4), rigid."""
        turn, shift = pose[:3, :3], pose[:3, 3]
        flats = {}
        for number, (normal, off) in self.flats.items():
            turned = turn @ normal
            flats[number] = (turned, off + float(turned @ shift))
        return Surface(
            corners=self.corners @ turn.T + shift,
            normals=self.normals @ turn.T,
            face=self.face,
            rounds={
                number: Round(turn @ one.point + shift, turn @ one.axis, one.radius, one.solid)
                for number, one in self.rounds.items()
            },
            flats=flats,
            chains=tuple(Chain(chain.points @ turn.T + shift, chain.faces) for chain in self.chains),
            unread=self.unread,
            named=self.named,
        )

    def within(self, box: Array) -> Ints:
        """The triangles whose boxes meet ``box``."""
        low, high = self.boxes
        found: Ints = np.flatnonzero(((low <= box[1]) & (high >= box[0])).all(axis=1))
        return found


def surface_of(piece: object) -> Surface:
    """The surface of a solid: a `Shape`, a `Mesh`, or what ``Shape.of`` takes; a surface is given back as it is.

    A bare solid is not made a `Shape` first: its key would cost as much as its triangles.

    Raises:
        BadSolid: it is not one closed solid, or does not mesh.
    """
    if isinstance(piece, Surface):
        return piece
    from fixture3d.solid import facets, kernel

    if isinstance(piece, Shape):
        free = piece.brep is not None and kernel.has_free_faces(piece.brep)
        return read(facets.of_brep(piece.brep, sparse=True) if free else piece.facets)
    if isinstance(piece, Mesh):
        return read(facets.of_mesh(piece))
    if hasattr(piece, "vertices") and hasattr(piece, "faces") and not callable(piece.faces):
        return read(facets.of_mesh(Mesh.from_trimesh(piece)))
    solid, volume = kernel.measured_solid(piece)
    return read(facets.of_brep(solid, sparse=True, volume=volume))


def read(facets: Facets) -> Surface:
    """The surface that facets describe."""
    corners = facets.vertices[facets.faces]
    face = np.repeat(np.arange(len(facets.surfaces)), [int(row[0]) for row in facets.surfaces])
    cross = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    size = np.linalg.norm(cross, axis=1)
    normals = cross / np.maximum(size, 1e-300)[:, None]
    named = _corners(facets.vertices)[facets.faces]
    rounds: dict[int, Round] = {}
    flats: dict[int, tuple[Array, float]] = {}
    unread: set[int] = set()
    kinds = [int(row[1]) for row in facets.surfaces]
    face = _parted(face, kinds, named)
    for number in range(int(face.max()) + 1):
        mine = np.flatnonzero(face == number)
        row = facets.surfaces[number] if number < len(kinds) else (0.0, float(OTHER))
        told = _told(row, corners[mine], normals[mine], size[mine])
        if isinstance(told, Round):
            rounds[number] = told
            normals[mine] = _radial(told, corners[mine].mean(axis=1))
        elif isinstance(told, tuple):
            flats[number] = told
            normals[mine] = told[0]
        elif int(row[1]) == OTHER:
            unread.add(number)
    chains = _chains(facets, named, face, normals, rounds, flats)
    return Surface(corners, normals, face, rounds, flats, chains, frozenset(unread), named)


def _corners(vertices: Array) -> Ints:
    """For each vertex (n,) the number of the place where it lies; rounding may part equal ones by a step."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components
    from scipy.spatial import cKDTree

    pairs = cKDTree(vertices).query_pairs(1.8 * STEP, output_type="ndarray")
    shape = (len(vertices), len(vertices))
    graph = coo_array((np.ones(len(pairs), dtype=bool), (pairs[:, 0], pairs[:, 1])), shape=shape)
    found: Ints = connected_components(graph, directed=False)[1].astype(np.int64)
    return found


def _parted(face: Ints, kinds: list[int], named: Ints) -> Ints:
    """Faces of no known kind in their connected parts: the corners of a tube that is a mesh are four faces."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    out = face.copy()
    count = len(kinds)
    for number in [n for n, kind in enumerate(kinds) if kind == OTHER]:
        mine = np.flatnonzero(face == number)
        used, local = np.unique(named[mine], return_inverse=True)
        local = local.reshape(-1, 3)
        rows = np.concatenate([local[:, 0], local[:, 1]])
        columns = np.concatenate([local[:, 1], local[:, 2]])
        graph = coo_array((np.ones(len(rows), dtype=bool), (rows, columns)), shape=(len(used), len(used)))
        parts, label = connected_components(graph, directed=False)
        for part in range(1, parts):
            out[mine[label[local[:, 0]] == part]] = count
            count += 1
    return out


def _told(row: tuple[float, ...], corners: Array, normals: Array, size: Array) -> Round | tuple[Array, float] | None:
    """A face as a plane, a cylinder or neither."""
    kind = int(row[1])
    if kind == PLANE:
        return np.array(row[2:5]), float(row[5])
    if kind == CYLINDER:
        return Round(np.array(row[2:5]), np.array(row[5:8]), float(row[8]), not row[9])
    if kind != OTHER:
        return None
    weight = size / size.sum()
    points = corners.reshape(-1, 3)
    mean = weight @ normals
    if float(np.linalg.norm(mean)) > 0.5:
        mean = mean / float(np.linalg.norm(mean))
        off = points @ mean
        if float(np.ptp(off)) <= JOINTS.round_fit:
            return mean, float(off.min() + off.max()) / 2.0
    return _cylinder(points, corners.mean(axis=1), normals, weight)


def _cylinder(points: Array, middles: Array, normals: Array, weight: Array) -> Round | None:
    """The cylinder through all points (k, 3), or None: its axis is what the normals are square to."""
    spread = (normals * weight[:, None]).T @ normals
    _, vectors = np.linalg.eigh(spread)
    axis, u, w = vectors[:, 0], vectors[:, 1], vectors[:, 2]
    flat = np.stack([points @ u, points @ w], axis=1)
    shift = flat.mean(axis=0)
    local = flat - shift
    system = np.column_stack([2.0 * local, np.ones(len(local))])
    solved = np.linalg.lstsq(system, (local**2).sum(axis=1), rcond=None)[0]
    square = float(solved[2] + solved[:2] @ solved[:2])
    if not 0.0 < square < 1e8:
        return None
    radius = float(np.sqrt(square))
    if float(np.abs(np.linalg.norm(local - solved[:2], axis=1) - radius).max()) > JOINTS.round_fit:
        return None
    centre = solved[:2] + shift
    point = centre[0] * u + centre[1] * w + axis * float((points @ axis).mean())
    found = Round(point, axis, radius, True)
    outward = float(weight @ np.einsum("ij,ij->i", normals, _radial(found, middles))) > 0.0
    return Round(point, axis, radius, outward)


def _radial(round_: Round, points: Array) -> Array:
    """Outward unit normals (k, 3) of a cylinder's face at points (k, 3)."""
    off = points - round_.point
    off = off - np.outer(off @ round_.axis, round_.axis)
    off = off / np.maximum(np.linalg.norm(off, axis=1), 1e-12)[:, None]
    out: Array = off if round_.solid else -off
    return out


def _chains(
    facets: Facets,
    named: Ints,
    face: Ints,
    normals: Array,
    rounds: dict[int, Round],
    flats: dict[int, tuple[Array, float]],
) -> tuple[Chain, ...]:
    """The sharp edges, each as long as it lies between the same two faces and makes no corner."""
    place = np.zeros((int(named.max()) + 1, 3))
    place[named.reshape(-1)] = facets.vertices[facets.faces.reshape(-1)]
    pairs = np.sort(np.concatenate([named[:, [0, 1]], named[:, [1, 2]], named[:, [2, 0]]]), axis=1)
    owner = np.tile(np.arange(len(named)), 3)
    order = np.lexsort((pairs[:, 1], pairs[:, 0]))
    pairs, owner = pairs[order], owner[order]
    same = np.flatnonzero((pairs[:-1] == pairs[1:]).all(axis=1))
    first, second = owner[same], owner[same + 1]
    middles = (place[pairs[same, 0]] + place[pairs[same, 1]]) / 2.0
    sides = []
    for owners in (first, second):
        side = normals[owners]
        for number, round_ in rounds.items():
            mine = face[owners] == number
            if mine.any():
                side[mine] = _radial(round_, middles[mine])
        sides.append(side)
    exact = np.zeros(int(face.max()) + 1, dtype=bool)
    exact[[*rounds, *flats]] = True
    least = np.where(exact[face[first]] & exact[face[second]], np.cos(np.deg2rad(SEEN)), np.cos(np.deg2rad(SHARP)))
    bend = np.einsum("ij,ij->i", *sides)
    keep = (face[first] != face[second]) & (bend < least) & (pairs[same, 0] != pairs[same, 1])
    groups: dict[tuple[int, int], list[tuple[int, int]]] = defaultdict(list)
    for k in np.flatnonzero(keep):
        a, b = sorted((int(face[first[k]]), int(face[second[k]])))
        groups[a, b].append((int(pairs[same[k], 0]), int(pairs[same[k], 1])))
    return tuple(
        Chain(place[line], between) for between, links in sorted(groups.items()) for line in _lines(links, place)
    )


def _lines(links: list[tuple[int, int]], place: Array) -> list[list[int]]:
    """Links in a row, as lists of corners; a row ends where three meet and where it turns a corner."""
    around: dict[int, list[int]] = defaultdict(list)
    for a, b in links:
        around[a].append(b)
        around[b].append(a)
    cos = float(np.cos(np.deg2rad(JOINTS.bend)))
    ends = {corner for corner, others in around.items() if len(others) != 2}
    two = np.array([(corner, *others) for corner, others in around.items() if len(others) == 2], dtype=np.int64)
    two = two.reshape(-1, 3)
    u, v = place[two[:, 1]] - place[two[:, 0]], place[two[:, 2]] - place[two[:, 0]]
    sizes = np.linalg.norm(u, axis=1) * np.linalg.norm(v, axis=1)
    ends |= set(two[-np.einsum("ij,ij->i", u, v) < cos * sizes, 0].tolist())
    left = {(a, b) for a, b in links}
    lines: list[list[int]] = []

    def take(a: int, b: int) -> bool:
        key = (a, b) if (a, b) in left else (b, a)
        if key not in left:
            return False
        left.discard(key)
        return True

    for start in [*sorted(ends), *sorted(set(around) - ends)]:
        for following in around[start]:
            if not take(start, following):
                continue
            line = [start, following]
            while line[-1] not in ends and line[-1] != start:
                onward = next((c for c in around[line[-1]] if c != line[-2]), None)
                if onward is None or not take(line[-1], onward):
                    break
                line.append(onward)
            lines.append(line)
    return lines
