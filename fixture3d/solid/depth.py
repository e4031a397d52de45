"""How far two solids go into one another: local depth, and the shortest straight way out.

Local depth is the greatest distance of the two surfaces from one another within the overlap (the Hausdorff
distance of its two halves); a press-fit pin has 0.05 mm of it however long the pin. The way out is the shortest
straight move that leaves the two not overlapping; for that pin it is the length of the bore.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from fixture3d.solid.bvh import Tree, cross, point_triangle
from fixture3d.solid.mesh import require_good

Array = NDArray[np.float64]

_ROUNDS = 8  # of refinement of the deepest triangles
_BATCH = 64  # triangles refined in one round
_MANY = 256  # points measured at once
_FINE = 0.01  # share of the depth that refinement stops at
_WAYS = 24  # directions tried, those along which the overlap is shortest first
_NORMALS = 10  # faces of the overlap that are tried as ways out
_CLEAN = 1e-6  # mm, mean thickness of an overlap that is only rounding


def split_halves(common: Any, a_id: int) -> tuple[Array, Array]:
    """The overlap's triangles that come from a's surface and from b's, each (k, 3, 3).

    Args:
        common: overlap as ``manifold3d.Manifold``.
        a_id: ``manifold_id`` of a's mesh.
    """
    mesh = common.to_mesh64()
    vertices = np.asarray(mesh.vert_properties)[:, :3]
    triangles = vertices[np.asarray(mesh.tri_verts).astype(np.int64)]
    from_a = np.zeros(len(triangles), dtype=bool)
    bounds = np.asarray(mesh.run_index).astype(np.int64) // 3
    for run, owner in enumerate(np.asarray(mesh.run_original_id)):
        if int(owner) == a_id:
            from_a[bounds[run] : bounds[run + 1]] = True
    return triangles[from_a], triangles[~from_a]


def local_depth(half_a: Array, half_b: Array, a_triangles: Array, b_triangles: Array, floor: float = 0.0) -> float:
    """How deep either surface lies in the other solid, mm: the Hausdorff distance of the overlap's halves.

    It is measured at the corners of the overlap and where the distance can still grow inside its triangles, until
    that is within one percent or a fixed effort is spent: an estimate from below.

    Args:
        half_a: the overlap's triangles on a's surface, (k, 3, 3).
        half_b: those on b's surface.
        a_triangles: all of a, used when a wholly contains b.
        b_triangles: all of b, used when b wholly contains a.
        floor: depths below this need not be told apart.
    """
    deepest = 0.0
    for half, other, whole in ((half_a, half_b, b_triangles), (half_b, half_a, a_triangles)):
        if len(half):
            deepest = max(deepest, _farthest(half, Tree(other if len(other) else whole), deepest, floor))
    return deepest


def deeper(half: Array, other: Array, floor: float) -> bool:
    """Whether any point of the triangles ``half`` is further than ``floor`` mm from the triangles ``other``."""
    return bool(len(half)) and _farthest(half, Tree(other), 0.0, floor) > floor


class Mover:
    """Whether b, moved, still overlaps a: coarse meshes say no quickly, fine ones decide.

    Args:
        coarse: a and b as ``manifold3d.Manifold``, and the mean thickness in mm that an overlap of them may have
            from meshing alone.
        fine: the same with finer meshes; None when the first are exact.
    """

    def __init__(self, coarse: tuple[Any, Any, float], fine: tuple[Any, Any, float] | None) -> None:
        self.levels = [coarse] if fine is None else [coarse, fine]

    def free(self, move: Array) -> bool:
        """Whether a and b no longer overlap once b is shifted by ``move``, (3,) mm."""
        shift = tuple(float(x) for x in move)
        for a, b, thin in self.levels:
            common = a ^ b.translate(shift)
            require_good(common)
            if not common.is_empty() and thickness(common) > max(thin, _CLEAN):
                return False
        return True

    def shortest(self, way: Array, most: float, guess: float) -> float:
        """The least free length along ``way``, to a few thousandths; ``most`` is free.

        ``guess`` is tried first, from both sides.
        """
        low, high = 0.0, most
        trials = [most * 0.999, guess * 1.002, guess * 0.98]
        while high - low > 3e-3 * high:
            trial = trials.pop(0) if trials else (low + high) / 2.0
            if not low < trial < high:
                continue
            if self.free(way * trial):
                high = trial
            else:
                low = trial
        return high


def way_out(mover: Mover, halves: tuple[Array, Array], axes: Array, depth: float) -> Array | None:
    """The shortest straight move of b found that leaves a and b not overlapping, (3,) mm.

    Directions tried: normals of the overlap's faces, their sums, its principal axes and the solids' own axes. Only
    the end of the move counts, not what lies on the way.

    Args:
        mover: the two solids.
        halves: from `split_halves`.
        axes: (k, 3) unit directions worth trying both ways.
        depth: local depth, mm; a way hardly longer than this is not improved upon.

    Returns:
        The move, or None when none was found.
    """
    a, b, _ = mover.levels[-1]
    overlap = np.concatenate(halves).reshape(-1, 3)
    ways = _directions(halves, axes, overlap)
    # Past this length every point of b lies beyond every point of a.
    certain = (_points(a) @ ways.T).max(axis=0) - (_points(b) @ ways.T).min(axis=0)
    spread = overlap @ ways.T
    extent = np.minimum(spread.max(axis=0) - spread.min(axis=0), certain)
    first = int(np.argmin(certain))
    best, way = float(certain[first]), ways[first]
    for k in np.argsort(np.round(extent, 9), kind="stable")[:_WAYS]:
        if best <= depth * 1.02:
            break
        least, most = float(extent[k]), min(best, float(certain[k]))
        if least < most and mover.free(ways[k] * least):
            most = least
        elif not mover.free(ways[k] * (most * 0.999)):
            if most < best:
                best, way = most, ways[k]
            continue
        length = mover.shortest(ways[k], most, depth)
        if length < best:
            best, way = length, ways[k]
    return way * best if best > 0.0 else None


def thickness(common: Any) -> float:
    """Mean thickness of an overlap, twice its volume by its surface, mm; 0 when there is none."""
    surface = float(common.surface_area())
    return 2.0 * float(common.volume()) / surface if surface > 0.0 else 0.0


def _farthest(half: Array, tree: Tree, known: float, floor: float) -> float:
    """Greatest distance of any point of the triangles ``half`` from the tree's triangles, at least ``known``.

    Bounds come first and exact distances only where they can still matter; what stays under ``floor`` is not
    resolved.
    """
    corners, back = np.unique(half.reshape(-1, 3), axis=0, return_inverse=True)
    at_corner = tree.corner_distances(corners)
    best, at_corner = _deepest(corners, at_corner, tree, known, floor)
    pieces = half
    bound = _upper_bounds(half, at_corner[back.reshape(-1, 3)], tree, max(best, floor))
    for _ in range(_ROUNDS):
        open_ = np.nonzero(bound > max(best * (1.0 + _FINE), floor))[0]
        if not len(open_):
            break
        chosen = open_[np.argsort(-bound[open_], kind="stable")[:_BATCH]]
        parts = _quarters(pieces[chosen])
        flat, back = np.unique(parts.reshape(-1, 3), axis=0, return_inverse=True)
        found = tree.distances(flat)
        best = max(best, float(found.max()))
        rest = np.setdiff1d(open_, chosen)
        fresh = _upper_bounds(parts, found[back.reshape(-1, 3)], tree, max(best, floor))
        pieces, bound = np.concatenate([pieces[rest], parts]), np.concatenate([bound[rest], fresh])
    return best


def _deepest(points: Array, bound: Array, tree: Tree, known: float, floor: float) -> tuple[float, Array]:
    """The greatest distance of ``points``, and their bounds made exact where that was needed to find it."""
    best, bound = known, bound.copy()
    order = np.argsort(-bound, kind="stable")
    order = order[bound[order] > 0.0]
    while len(order):
        order = order[bound[order] > max(best, floor)]
        now, order = order[:_MANY], order[_MANY:]
        if len(now):
            bound[now] = tree.distances(points[now])
            best = max(best, float(bound[now].max()))
    return best, bound


def _upper_bounds(triangles: Array, at_corner: Array, tree: Tree, enough: float) -> Array:
    """What the distance cannot exceed inside each triangle; not refined where that is under ``enough``."""
    sides = [np.linalg.norm(triangles[:, i] - triangles[:, (i + 1) % 3], axis=1) for i in range(3)]
    longest = np.maximum(np.maximum(sides[0], sides[1]), sides[2])
    # The distance grows by at most the way walked, and no point of a triangle is further than its longest side
    # by the root of 3 from all of its corners.
    out: Array = at_corner.max(axis=1) + longest * 0.5774
    far = np.nonzero(out > enough)[0]
    if len(far):
        # The distance from one triangle is convex: greatest at a corner.
        other = tree.triangles[tree.likely(triangles[far].mean(axis=1))]
        at = np.stack([point_triangle(triangles[far, i], other) for i in range(3)])
        out[far] = np.minimum(out[far], at.max(axis=0))
    return out


def _quarters(triangles: Array) -> Array:
    """Each triangle cut into four at the middles of its sides."""
    a, b, c = triangles[:, 0], triangles[:, 1], triangles[:, 2]
    d, e, f = (a + b) / 2.0, (b + c) / 2.0, (c + a) / 2.0
    out: Array = np.concatenate([np.stack(t, axis=1) for t in ((a, d, f), (d, b, e), (f, e, c), (d, e, f))])
    return out


def _directions(halves: tuple[Array, Array], axes: Array, overlap: Array) -> Array:
    """Unit directions in which b may leave, (k, 3), each once, in a fixed order."""
    found = []
    for half, sign in zip(halves, (1.0, -1.0), strict=True):
        if len(half):
            normal = cross(half[:, 1] - half[:, 0], half[:, 2] - half[:, 0]) * sign
            found.append(normal)
    normals = _strongest(np.concatenate(found))
    sums = [normals[i] + normals[j] for i in range(len(normals)) for j in range(i) if i < 7]
    middle = overlap - overlap.mean(axis=0)
    principal = np.linalg.eigh(middle.T @ middle)[1].T
    both = np.concatenate([axes, principal])
    rows = np.concatenate([normals, np.array(sums).reshape(-1, 3), both, -both])
    size = np.linalg.norm(rows, axis=1)
    rows = rows[size > 1e-6] / size[size > 1e-6][:, None]
    _, first = np.unique(np.round(rows, 6), axis=0, return_index=True)
    out: Array = rows[np.sort(first)]
    return out


def _strongest(normals: Array) -> Array:
    """Unit directions of the greatest total area among area-weighted ``normals``, at most `_NORMALS`."""
    size = np.linalg.norm(normals, axis=1)
    good = size > 1e-15
    normals, size = normals[good], size[good]
    rounded = np.round(normals / size[:, None], 3) + 0.0
    _, first, group = np.unique(rounded, axis=0, return_index=True, return_inverse=True)
    total = np.bincount(group.reshape(-1), weights=size)
    chosen = np.argsort(-np.round(total, 9), kind="stable")[:_NORMALS]
    picked = normals[first[chosen]]
    out: Array = picked / np.linalg.norm(picked, axis=1)[:, None]
    return out


def _points(solid: Any) -> Array:
    out: Array = np.asarray(solid.to_mesh64().vert_properties)[:, :3]
    return out
