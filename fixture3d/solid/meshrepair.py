"""A triangle mesh from a file made into closed shells, as far as what was meant can be proven.

Each step has one possible outcome or is refused with its place: corners that lie within micrometres of one another
are one corner; a face that stands twice is one face; faces that run against their neighbours are turned round; a
small flat hole is closed by the flat face that is missing. After each group of steps the volume may not have
changed by more than the corners moved. `meshshells` then parts the shells and says which are hollows.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fixture3d.errors import BadSolid
from fixture3d.solid.mesh import WELDS, Ints, weld_kept
from fixture3d.solid.meshholes import fill, place, where_open

Array = NDArray[np.float64]
Longs = NDArray[np.int64]
Bools = NDArray[np.bool_]


@dataclass(frozen=True)
class Sheet:
    """A mesh on its way: what it is now, and what was done to it.

    Attributes:
        vertices: (n, 3) mm.
        faces: (m, 3).
        said: repairs in words, in the order in which they were made.
        turned: some faces were turned round, so that the file does not say which side is inside.
        change: greatest change of volume by moved corners, mm3.
    """

    vertices: Array
    faces: Longs
    said: tuple[str, ...] = ()
    turned: bool = False
    change: float = 0.0


def mend(vertices: Array, faces: Longs) -> Sheet:
    """One group of touching triangles as a closed surface, every face agreeing with its neighbours.

    Args:
        vertices: (n, 3) mm, finite.
        faces: (m, 3).

    Raises:
        BadSolid: it cannot be closed, or not in one provable way; where and why.
    """
    points, triangles, said, change = _drawn_together(vertices, faces)
    triangles, against = _agreeing(points, triangles)
    if against:
        said = (*said, f"{count_of(against, 'face')} turned round")
    if (edge_uses(triangles, len(points)) == 1).any():
        extra, sentence = fill(points, triangles)
        triangles = np.concatenate([triangles, extra])
        said = (*said, sentence)
    if not balanced(triangles, len(points)):
        raise BadSolid(_why_unbalanced(points, triangles))
    return Sheet(points, triangles, said, bool(against), change)


def _drawn_together(vertices: Array, faces: Longs) -> tuple[Array, Longs, tuple[str, ...], float]:
    """The mesh with the least weld that closes it, or else with the least that leaves the fewest open edges."""
    exact = len(np.unique(vertices[np.unique(faces)], axis=0))
    best: tuple[int, Array, Longs, tuple[str, ...], float] | None = None
    for tolerance in WELDS:
        points, welded, kept = weld_kept(vertices, faces, tolerance)
        if not len(welded):
            break
        change = _change(vertices, faces[kept], points, welded, tolerance)
        if change is None:
            break
        triangles, doubled = _single(welded.astype(np.int64), len(points))
        odd = int((edge_uses(triangles, len(points)) % 2).sum())
        if best is not None and odd >= best[0]:
            continue
        said = []
        if tolerance > 0.0 and exact > len(points):
            said.append(f"{count_of(exact - len(points), 'corner')} welded within {tolerance:g} mm")
        if len(kept) > len(welded):
            said.append(f"{count_of(len(kept) - len(welded), 'face')} smaller than that dropped")
        if doubled:
            said.append(f"{count_of(doubled, 'doubled face')} dropped")
        best = (odd, points, triangles, tuple(said), change)
        if odd == 0:
            break
    if best is None:
        raise BadSolid(f"the mesh has no area near {place(vertices[faces[0]].mean(axis=0))}; expected a closed solid")
    return best[1:]


def _change(before: Array, old: Longs, after: Array, new: Ints, tolerance: float) -> float | None:
    """How much volume a weld moved, mm3; None when it moved corners or volume further than it may.

    Chains of near corners can be drawn together over any length, so the weld is measured and not believed.
    """
    a, b = before[old], after[new]
    if float(np.abs(a - b).max()) > 2.0 * tolerance:
        return None
    centre = b.reshape(-1, 3).mean(axis=0)
    change = abs(_signed(a - centre) - _signed(b - centre))
    area = float(np.linalg.norm(np.cross(b[:, 1] - b[:, 0], b[:, 2] - b[:, 0]), axis=1).sum() / 2.0)
    # An open surface has no volume of its own: its cone from the centre changes with its rim as well.
    reach = float(np.linalg.norm(b.reshape(-1, 3) - centre, axis=1).max())
    rounding = 1e-9 * (area * reach + 1.0)
    return change if change <= 2.0 * tolerance * area + rounding else None


def _signed(triangles: Array) -> float:
    return float(np.einsum("ij,ij->i", triangles[:, 0], np.cross(triangles[:, 1], triangles[:, 2])).sum() / 6.0)


def _single(faces: Longs, count: int) -> tuple[Longs, int]:
    """The faces without second copies, as far as that leaves no edge open; and how many fell out."""
    _, first, group, copies = np.unique(
        np.sort(faces, axis=1), axis=0, return_index=True, return_inverse=True, return_counts=True
    )
    if copies.max() == 1:
        return faces, 0
    group = group.reshape(-1)
    lead = np.zeros(len(faces), dtype=bool)
    lead[first] = True
    ahead = _turn(faces) == _turn(faces[first])[group]
    # A copy that looks the same way; then any copy all of whose edges are in one face too many.
    for spare in (~lead & ahead, ~lead & (edge_uses(faces, count)[_edge_of(faces, count)] % 2 == 1).all(axis=1)):
        fewer = faces[~spare]
        before, after = ((edge_uses(f, count) % 2).sum() for f in (faces, fewer))
        if spare.any() and after <= before:
            return fewer, int(spare.sum())
    return faces, 0


def _turn(faces: Longs) -> Bools:
    """Whether the corners of each face run upwards in number, from the lowest on."""
    rolled = np.take_along_axis(faces, (faces.argmin(axis=1)[:, None] + np.arange(3)) % 3, axis=1)
    out: Bools = rolled[:, 1] < rolled[:, 2]
    return out


def _agreeing(points: Array, faces: Longs) -> tuple[Longs, int]:
    """Faces turned so that two that share an edge run along it in opposite directions; and how many were turned."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    one, other, same = neighbours(faces, len(points))
    m = len(faces)
    if not same.any():
        return faces, 0
    # Two nodes a face, as it is and turned; an edge run the same way joins one's first to the other's second.
    rows = np.concatenate([one, one + m])
    cols = np.concatenate([np.where(same, other + m, other), np.where(same, other, other + m)])
    graph = coo_array((np.ones(len(rows), dtype=bool), (rows, cols)), shape=(2 * m, 2 * m))
    label = connected_components(graph, directed=False)[1]
    stuck = label[:m] == label[m:]
    if stuck.any():
        at = place(points[faces[int(np.argmax(stuck))]].mean(axis=0))
        raise BadSolid(f"the mesh has only one side, like a twisted band, near {at}; draw it again as a solid")
    # Of the two ways to turn each patch, the one that turns fewer faces; on a tie the first face stays.
    low, high = np.minimum(label[:m], label[m:]), np.maximum(label[:m], label[m:])
    upper = label[:m] == high
    _, first, patch = np.unique(low, return_index=True, return_inverse=True)
    patch = patch.reshape(-1)
    up, all_of = np.bincount(patch, weights=upper), np.bincount(patch)
    keep_upper = np.where(2 * up == all_of, upper[first], 2 * up > all_of)
    wrong = upper != keep_upper[patch]
    out = faces.copy()
    out[wrong] = out[wrong][:, ::-1]
    return out, int(wrong.sum())


def neighbours(faces: Longs, count: int) -> tuple[Longs, Longs, Bools]:
    """Pairs of faces that share an edge which no third has, and whether both run along it the same way."""
    code, forward = _edges(faces, count)
    order = np.argsort(code, kind="stable")
    sorted_code = code[order]
    fresh = np.r_[True, sorted_code[1:] != sorted_code[:-1]]
    start = np.nonzero(fresh)[0]
    uses = np.diff(np.r_[start, len(code)])
    start = start[uses == 2]
    a, b = order[start], order[start + 1]
    return a // 3, b // 3, forward[a] == forward[b]


def edge_uses(faces: Longs, count: int) -> Longs:
    """In how many faces each edge is, in the order of `_edge_of`."""
    out: Longs = np.unique(_edges(faces, count)[0], return_counts=True)[1]
    return out


def _edge_of(faces: Longs, count: int) -> Longs:
    """The number of the edge from each corner of each face to the next, (m, 3)."""
    out: Longs = np.unique(_edges(faces, count)[0], return_inverse=True)[1].reshape(-1, 3)
    return out


def balanced(faces: Longs, count: int) -> bool:
    """Whether as many faces run along each edge one way as the other."""
    code, forward = _edges(faces, count)
    _, where = np.unique(code, return_inverse=True)
    return not np.bincount(where.reshape(-1), weights=np.where(forward, 1.0, -1.0)).any()


def _edges(faces: Longs, count: int) -> tuple[Longs, Bools]:
    """A code an edge whatever its direction, and whether it runs upwards; both (3 m,)."""
    start, end = faces.reshape(-1), np.roll(faces, -1, axis=1).reshape(-1)
    low, high = np.minimum(start, end), np.maximum(start, end)
    return low * count + high, start < end


def _why_unbalanced(points: Array, faces: Longs) -> str:
    """The sentence for a mesh that neither closes nor can be made to."""
    code, _ = _edges(faces, len(points))
    found, uses = np.unique(code, return_counts=True)
    if (uses == 1).any():
        return where_open(points, faces)
    worst = int(np.argmax(np.where(uses % 2 == 1, uses, 0))) if (uses % 2).any() else int(np.argmax(uses))
    ends = points[[found[worst] // len(points), found[worst] % len(points)]]
    return (
        f"{uses[worst]} faces of the mesh meet in one edge at {place(ends.mean(axis=0))} and do not say which side is "
        "inside; unite or part the solids there and export them again"
    )


def count_of(number: int, what: str) -> str:
    """``number`` of something, in the plural where there is not one."""
    return f"{number} {what}{'' if number == 1 else 's'}"
