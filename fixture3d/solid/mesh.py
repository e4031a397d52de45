"""Closed triangle meshes: what every fast geometric question is asked of.

The one door to ``trimesh`` and ``manifold3d``, which are imported inside functions only. A `Mesh` that came out
of `Mesh.from_trimesh`, `load_mesh_file` or ``kernel.tessellate`` is closed, wound outwards and free of
self-crossings; the plain constructor trusts its caller.
"""

from __future__ import annotations

import hashlib
import io
import os
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fixture3d.errors import BadSolid
from fixture3d.tolerance import NUMERIC

Array = NDArray[np.float64]
Ints = NDArray[np.int32]

MOST_TRIANGLES = 2_000_000
# Vertices of a jittered file are drawn together step by step, as far as this and no further, mm.
WELDS = (0.0, 1e-6, 1e-5, 1e-4, 1e-3, 5e-3)


@dataclass(frozen=True, eq=False)
class Mesh:
    """A closed surface of triangles, counter-clockwise seen from outside.

    Attributes:
        vertices: (n, 3) float64, mm.
        faces: (m, 3) int32, indices into ``vertices``.
        planar: every face of the source is flat, so that the mesh is the solid itself.
        chord: mm, greatest distance between mesh and source; 0 when planar.
        curved: (m,) bool, which triangles come from a face that is not flat; None means all when the chord is
            above 0 and none when it is 0.
    """

    vertices: Array
    faces: Ints
    planar: bool
    chord: float
    curved: NDArray[np.bool_] | None = None

    @classmethod
    def from_trimesh(cls, mesh: Any) -> Mesh:
        """A checked mesh from a ``trimesh.Trimesh`` (or anything with ``vertices`` and ``faces``), mm.

        The mesh is taken to be the solid itself: ``planar`` is True.

        Raises:
            BadSolid: empty, not finite, open, badly wound, inside out, crossing itself, or too large.
        """
        return cls.from_arrays(mesh.vertices, mesh.faces)

    @classmethod
    def from_arrays(cls, vertices: ArrayLike, faces: ArrayLike) -> Mesh:
        """A checked mesh from vertices (n, 3) mm and faces (m, 3). Raises as `from_trimesh` does."""
        from fixture3d.solid.meshcheck import checked

        v = np.asarray(vertices, dtype=np.float64).reshape(-1, 3)
        f = np.asarray(faces, dtype=np.int64).reshape(-1, 3)
        return checked(v, f)

    @cached_property
    def box(self) -> Array:
        """Least and greatest corner, (2, 3) mm."""
        return np.stack([self.vertices.min(axis=0), self.vertices.max(axis=0)])

    @cached_property
    def volume(self) -> float:
        """Enclosed volume, mm3; negative when wound inwards."""
        t = self.triangles - self.vertices.mean(axis=0)
        return float(np.einsum("ij,ij->i", t[:, 0], np.cross(t[:, 1], t[:, 2])).sum() / 6.0)

    @cached_property
    def area(self) -> float:
        """Surface, mm2."""
        t = self.triangles
        return float(np.linalg.norm(np.cross(t[:, 1] - t[:, 0], t[:, 2] - t[:, 0]), axis=1).sum() / 2.0)

    @cached_property
    def triangles(self) -> Array:
        """Corner coordinates, (m, 3, 3) mm."""
        out: Array = self.vertices[self.faces]
        return out

    @cached_property
    def curved_triangles(self) -> Array:
        """Corners of the triangles that only approximate the solid, (k, 3, 3) mm."""
        if self.chord == 0.0:
            return self.triangles[:0]
        return self.triangles if self.curved is None else self.triangles[self.curved]

    @cached_property
    def open_edges(self) -> int:
        """How many directed edges lack their opposite; 0 for a closed, consistently wound surface."""
        return open_edge_count(self.faces, len(self.vertices))

    @cached_property
    def key(self) -> str:
        """A digest of the coordinates."""
        digest = hashlib.sha256()
        for array in (self.vertices, self.faces):
            digest.update(str(array.shape).encode())
            digest.update(np.ascontiguousarray(array).tobytes())
        return digest.hexdigest()

    @cached_property
    def manifold(self) -> Any:
        """The same solid as a ``manifold3d.Manifold``, made once.

        Raises:
            BadSolid: manifold3d refuses it; a refused mesh would otherwise read as an empty one.
        """
        import manifold3d

        if len(self.faces) > MOST_TRIANGLES:
            raise BadSolid(f"{len(self.faces)} triangles; expected at most {MOST_TRIANGLES}")
        solid = manifold3d.Manifold(
            manifold3d.Mesh64(
                np.ascontiguousarray(self.vertices, dtype=np.float64),
                np.ascontiguousarray(self.faces, dtype=np.uint64),
                run_original_id=np.array([self.manifold_id], dtype=np.uint32),
                run_index=np.array([0, 3 * len(self.faces)], dtype=np.uint64),
            )
        )
        require_good(solid)
        if solid.is_empty():
            raise BadSolid("the mesh is empty once its flat triangles are dropped; expected a closed solid")
        return solid

    @cached_property
    def manifold_id(self) -> int:
        """The number that `manifold` marks its faces with, so that a boolean's faces tell where they come from."""
        import manifold3d

        return int(manifold3d.Manifold.reserve_ids(1))

    def moved(self, pose: Array) -> Mesh:
        """The mesh in the outer frame; ``pose`` is mesh_to_outer, (4, 4), rigid."""
        return Mesh(self.vertices @ pose[:3, :3].T + pose[:3, 3], self.faces, self.planar, self.chord, self.curved)

    def to_npz_bytes(self) -> bytes:
        """The mesh as an uncompressed npz file, the same bytes for the same mesh."""
        out = io.BytesIO()
        facts = np.array([float(self.planar), self.chord])
        curved = self.curved if self.curved is not None else np.zeros(0, dtype=bool)
        np.savez(out, vertices=self.vertices, faces=self.faces, facts=facts, curved=curved)
        return out.getvalue()

    @classmethod
    def from_npz_bytes(cls, data: bytes) -> Mesh:
        """The mesh written by `to_npz_bytes`; nothing in it is ever unpickled.

        Raises:
            BadSolid: the bytes are not such a mesh.
        """
        try:
            with np.load(io.BytesIO(data), allow_pickle=False) as found:
                vertices = np.asarray(found["vertices"], dtype=np.float64).reshape(-1, 3)
                faces = np.asarray(found["faces"], dtype=np.int32).reshape(-1, 3)
                planar, chord = (float(x) for x in found["facts"])
                curved = np.asarray(found["curved"], dtype=bool)
        except Exception as fault:  # zip, format and value errors alike
            raise BadSolid("the stored mesh cannot be read") from fault
        if len(faces) and (faces.min() < 0 or faces.max() >= len(vertices)):
            raise BadSolid("the stored mesh is damaged")
        if len(curved) not in (0, len(faces)):
            raise BadSolid("the stored mesh is damaged")
        return cls(vertices, faces, bool(planar), chord, curved if len(curved) else None)


def load_mesh_file(path: str | os.PathLike[str], unit: str | None = None) -> list[tuple[str, Mesh]]:
    """The solids of an STL, OBJ or 3MF file, one a connected part, checked.

    Args:
        path: the file.
        unit: what a length of 1 in the file means: um, mm, cm, m, in or ft; mm when it is left out. A 3MF file
            states its own unit.

    Returns:
        (name, mesh in mm) in the file's order; solids that share a name are numbered. What had to be repaired
        is not told here but by ``step_in.read_solids``.

    Raises:
        ImportFailed: missing, empty, cut short, too large, not such a file, or a 3MF of another unit.
        BadSolid: a part is open, crosses itself or has too many triangles, and cannot be repaired for certain.
    """
    from fixture3d.solid.meshfile import read

    unit = unit or (None if os.fspath(path).casefold().endswith(".3mf") else "mm")
    found = [(name, solid.mesh) for name, solid in read(os.fspath(path), unit)]
    names = [name for name, _ in found]
    return [(f"{n} {names[: k + 1].count(n)}" if names.count(n) > 1 else n, m) for k, (n, m) in enumerate(found)]


def require_good(solid: Any) -> None:
    """Refuse a failed ``Manifold``: it would read as one of volume 0.

    Raises:
        BadSolid: its status is anything but NoError.
    """
    import manifold3d

    status = solid.status()
    if status != manifold3d.Error.NoError:
        raise BadSolid(f"the mesh is not a closed solid (manifold3d: {status.name}); mend it where it was drawn")


def weld(vertices: Array, faces: NDArray[np.integer[Any]], tolerance: float = NUMERIC.merge) -> tuple[Array, Ints]:
    """Draw vertices nearer than ``tolerance`` mm together and drop triangles that collapse.

    Neighbours are found with a KD-tree: rounding to a grid parts neighbours that lie either side of a line.

    Returns:
        Vertices (n, 3), each the first of its group, and faces (m, 3).
    """
    points, triangles, _ = weld_kept(vertices, faces, tolerance)
    return points, triangles


def weld_kept(
    vertices: Array, faces: NDArray[np.integer[Any]], tolerance: float
) -> tuple[Array, Ints, NDArray[np.bool_]]:
    """As `weld`, and which of the given triangles are left, (m,) bool."""
    if not len(vertices):
        return vertices, faces.astype(np.int32), np.ones(len(faces), dtype=bool)
    exact, group = np.unique(vertices, axis=0, return_inverse=True)
    group = group.reshape(-1)
    if tolerance > 0.0:
        group = near_groups(exact, tolerance)[group]
    _, first, label = np.unique(group, return_index=True, return_inverse=True)
    kept = vertices[first]
    f = label.reshape(-1)[faces]
    whole = (f[:, 0] != f[:, 1]) & (f[:, 1] != f[:, 2]) & (f[:, 2] != f[:, 0])
    used, packed = np.unique(f[whole], return_inverse=True)
    return np.ascontiguousarray(kept[used]), packed.reshape(-1, 3).astype(np.int32), whole


def near_groups(points: Array, tolerance: float) -> NDArray[np.int64]:
    """A group number a point, (n,): chains of points nearer than ``tolerance`` mm to each other are one group."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components
    from scipy.spatial import cKDTree

    pairs = cKDTree(points).query_pairs(tolerance, output_type="ndarray")
    count = len(points)
    graph = coo_array((np.ones(len(pairs), dtype=bool), (pairs[:, 0], pairs[:, 1])), shape=(count, count))
    labels: NDArray[np.int64] = connected_components(graph, directed=False)[1].astype(np.int64)
    return labels


def open_edge_count(faces: NDArray[np.integer[Any]], count: int) -> int:
    """Directed edges without exactly one opposite; ``count`` is the number of vertices."""
    f = faces.astype(np.int64)
    start, end = f.reshape(-1), f[:, [1, 2, 0]].reshape(-1)
    forward, fn = np.unique(start * count + end, return_counts=True)
    back, bn = np.unique(end * count + start, return_counts=True)
    if len(forward) == len(back) and np.array_equal(forward, back) and np.array_equal(fn, bn):
        return 0
    balance = dict(zip(forward.tolist(), fn.tolist(), strict=True))
    for edge, n in zip(back.tolist(), bn.tolist(), strict=True):
        balance[edge] = balance.get(edge, 0) - n
    return int(sum(abs(n) for n in balance.values())) // 2
