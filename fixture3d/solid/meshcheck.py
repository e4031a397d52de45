"""What makes a triangle mesh usable as a solid, and the sentence that says why one is not."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from fixture3d.errors import BadSolid
from fixture3d.solid.bvh import crossing_pairs
from fixture3d.solid.mesh import MOST_TRIANGLES, WELDS, Mesh, open_edge_count, weld
from fixture3d.solid.meshholes import place

Array = NDArray[np.float64]
Longs = NDArray[np.int64]

# mm; shallower self-crossings come from rounding in the file and are thinner than any contact.
_CROSSING = 1e-3
# mm; further out, squares and cubes of the numbers lose what a solid is made of.
_FARTHEST = 1e7


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
    refuse_crossing(mesh)
    _ = mesh.manifold
    return mesh


def sound(vertices: Array, faces: Longs) -> None:
    """Refuse what no repair can help: too large, empty, not finite, or with corners that are not there.

    Raises:
        BadSolid: one sentence.
    """
    if len(faces) > MOST_TRIANGLES:
        raise BadSolid(
            f"the mesh has {len(faces)} triangles; expected at most {MOST_TRIANGLES}: export it coarser "
            "(0.05 mm is plenty for a fixture)"
        )
    if not len(faces) or not len(vertices):
        raise BadSolid("the mesh is empty; expected a closed solid")
    if faces.min() < 0 or faces.max() >= len(vertices):
        raise BadSolid(f"a triangle names vertex {int(faces.max())} of {len(vertices)}; export the mesh again")
    used = vertices[np.unique(faces)]
    if not np.isfinite(used).all():
        raise BadSolid("a vertex is not a finite number; export the mesh again")
    if float(np.abs(used).max()) > _FARTHEST:
        raise BadSolid(
            f"a vertex is {float(np.abs(used).max()) / 1000:.3g} m from the file's zero point: a wrong unit?"
        )


def closed(vertices: Array, faces: Longs) -> Mesh:
    """A welded, closed mesh of any orientation. Raises as `checked` does."""
    sound(vertices, faces)
    for tolerance in WELDS:
        merged, triangles = weld(vertices, faces, tolerance)
        if len(triangles) and open_edge_count(triangles, len(merged)) == 0:
            return Mesh(merged, triangles, True, 0.0)
    raise BadSolid(_why_open(vertices, faces))


def refuse_crossing(mesh: Mesh) -> None:
    """Refuse a mesh that has faces twice or that passes through itself; where.

    Raises:
        BadSolid: one sentence.
    """
    repeated = len(mesh.faces) - len(np.unique(np.sort(mesh.faces, axis=1), axis=0))
    if repeated:
        raise BadSolid(f"the mesh repeats {repeated} triangles; delete the doubled faces and export it again")
    crossings, first = crossing_pairs(mesh.triangles, mesh.faces, _CROSSING)
    if crossings:
        one, other = mesh.triangles[list(first)]
        low, high = np.maximum(one.min(axis=0), other.min(axis=0)), np.minimum(one.max(axis=0), other.max(axis=0))
        at = place((low + high) / 2.0)
        raise BadSolid(
            f"the mesh crosses itself: two surfaces cross near {at} ({crossings} pairs of triangles); unite its parts "
            "where it was drawn"
        )


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
