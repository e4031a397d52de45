"""What makes a triangle mesh usable as a solid, and the sentence that says why one is not."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from fixture3d.errors import BadSolid
from fixture3d.solid.bvh import crossing_pairs
from fixture3d.solid.mesh import MOST_TRIANGLES, WELDS, Mesh, open_edge_count, weld

Array = NDArray[np.float64]
Longs = NDArray[np.int64]

# mm; shallower self-crossings come from rounding in the file and are thinner than any contact.
_CROSSING = 1e-3


def checked(vertices: Array, faces: Longs) -> Mesh:
    """A mesh that is closed, wound outwards, finite, not crossing itself and not too large.

    Args:
        vertices: (n, 3) mm.
        faces: (m, 3) indices.

    Raises:
        BadSolid: one sentence: what, how much, what would help.
    """
    mesh = closed(vertices, faces)
    if mesh.volume < 0.0:
        raise BadSolid("the mesh is inside out (negative volume); reverse its triangles and export it again")
    if mesh.volume <= 1e-9 * mesh.area:
        raise BadSolid("the mesh has no volume; expected a closed solid")
    _refuse_crossing(mesh)
    _ = mesh.manifold
    return mesh


def closed(vertices: Array, faces: Longs) -> Mesh:
    """A welded, closed mesh of any orientation. Raises as `checked` does."""
    if len(faces) > MOST_TRIANGLES:
        raise BadSolid(
            f"the mesh has {len(faces)} triangles; expected at most {MOST_TRIANGLES}: export it coarser "
            "(0.05 mm is plenty for a fixture)"
        )
    if not len(faces) or not len(vertices):
        raise BadSolid("the mesh is empty; expected a closed solid")
    if faces.min() < 0 or faces.max() >= len(vertices):
        raise BadSolid(f"a triangle names vertex {int(faces.max())} of {len(vertices)}; export the mesh again")
    if not np.isfinite(vertices[np.unique(faces)]).all():
        raise BadSolid("a vertex is not a finite number; export the mesh again")
    for tolerance in WELDS:
        merged, triangles = weld(vertices, faces, tolerance)
        if len(triangles) and open_edge_count(triangles, len(merged)) == 0:
            return Mesh(merged, triangles, True, 0.0)
    raise BadSolid(_why_open(vertices, faces))


def connected(faces: NDArray[np.integer[Any]], count: int) -> Longs:
    """A part number a face: faces that share an edge are of one part; numbered in order of first face."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    f = faces.astype(np.int64)
    edges = np.sort(np.stack([f, f[:, [1, 2, 0]]], axis=2).reshape(-1, 2), axis=1)
    code = edges[:, 0] * count + edges[:, 1]
    order = np.argsort(code, kind="stable")
    owner = order // 3
    same = code[order][1:] == code[order][:-1]
    a, b = owner[:-1][same], owner[1:][same]
    graph = coo_array((np.ones(len(a), dtype=bool), (a, b)), shape=(len(f), len(f)))
    label = connected_components(graph, directed=False)[1]
    _, first, dense = np.unique(label, return_index=True, return_inverse=True)
    rank = np.zeros(len(first), dtype=np.int64)
    rank[np.argsort(first)] = np.arange(len(first))
    out: Longs = rank[dense.reshape(-1)]
    return out


def _refuse_crossing(mesh: Mesh) -> None:
    repeated = len(mesh.faces) - len(np.unique(np.sort(mesh.faces, axis=1), axis=0))
    if repeated:
        raise BadSolid(f"the mesh repeats {repeated} triangles; delete the doubled faces and export it again")
    crossings = crossing_pairs(mesh.triangles, mesh.faces, _CROSSING)
    if crossings:
        raise BadSolid(f"the mesh crosses itself ({crossings} pairs of triangles); unite its parts where it was drawn")


def _why_open(vertices: Array, faces: Longs) -> str:
    """The sentence for a mesh that does not close."""
    merged, triangles = weld(vertices, faces, WELDS[1])
    if not len(triangles):
        return "the mesh is empty once its flat triangles are dropped; expected a closed solid"
    f = triangles.astype(np.int64)
    edges = np.sort(np.stack([f, f[:, [1, 2, 0]]], axis=2).reshape(-1, 2), axis=1)
    _, uses = np.unique(edges, axis=0, return_counts=True)
    lone = int((uses % 2).sum())
    if lone:
        return f"the mesh is open ({lone} open edges); close its holes where it was drawn and export it again"
    wrong = open_edge_count(triangles, len(merged))
    return f"the mesh's triangles do not all face outwards ({wrong} edges); unify its normals and export it again"
