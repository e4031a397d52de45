"""Everything that a torch may hit: bodies as triangles, with a tree over them and a grid of distances.

World mm. The grid is only there for speed: it fills where it is asked, and answers are the same without it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fixture3d.access import compiling
from fixture3d.access.arrays import Array, Bytes, Ints

CELL = 24.0
"""Cell of the distance grid, mm; measured: finer cells prove more but cost more to fill."""
MOST_CELLS = 8_000_000
"""Above this the cells grow: slower, never wrong."""
FAR = 130.0
"""The grid tells distances no larger than this, mm."""

Body = tuple[str, ArrayLike, ArrayLike, bool]
"""Name, vertices (n, 3) world mm, faces (m, 3), whether it is a closed solid."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Obstacles:
    """Every body that a torch may hit, ready for questions. Made by ``Obstacles.build``.

    Attributes:
        names: of the bodies, in the order given.
        closed: (bodies,) which of them are solids whose inside counts.
        boxes: (bodies, 2, 3) lowest and highest corner of each.
        tree: nodes, meta, triangles and owners as ``kernel`` wants them.
        grid: distances at cell centres as far as they were asked for, and the grid's place.
        ray: longer than the scene is wide.
    """

    names: tuple[str, ...]
    closed: Bytes
    boxes: Array
    tree: tuple[NDArray[np.float32], NDArray[np.int32], Array, NDArray[np.int32]]
    grid: tuple[NDArray[np.float32], Array]
    ray: float

    @property
    def triangles(self) -> int:
        """Number of triangles."""
        return len(self.tree[2])

    @classmethod
    def build(cls, bodies: Sequence[Body], region: ArrayLike | None = None) -> Obstacles:
        """Make the tree and the distance grid.

        Args:
            bodies: name, vertices (n, 3) world mm, faces (m, 3) and whether it is closed. Names must differ. A
                closed body that is inside out is turned.
            region: (2, 3) box outside of which no torch comes: ``reach_box`` of the welds. It bounds the distance grid,
                which is there for speed; answers are the same without it.

        Raises:
            ValueError: names that repeat, arrays of the wrong shape, numbers that are not finite, faces that name
                no vertex.
        """
        compiling.wait()
        names = tuple(body[0] for body in bodies)
        if len(set(names)) != len(names):
            raise ValueError("Expected bodies of different names")
        corners = [_corners(*body) for body in bodies]
        tris = _with_normals(np.concatenate([*corners, np.zeros((0, 3, 3))]))
        owner = np.repeat(np.arange(len(bodies), dtype=np.int32), [len(c) for c in corners])
        boxes = np.array(
            [[c.min(axis=(0, 1)), c.max(axis=(0, 1))] if len(c) else np.zeros((2, 3)) for c in corners]
        ).reshape(-1, 2, 3)
        if len(tris):
            order, nodes, meta = _tree(tris, owner)
            tris, owner = np.ascontiguousarray(tris[order]), np.ascontiguousarray(owner[order])
        else:
            nodes, meta = np.zeros((0, 6), np.float32), np.zeros((0, 4), np.int32)
        low, high = (boxes[:, 0].min(axis=0), boxes[:, 1].max(axis=0)) if len(tris) else (np.zeros(3), np.zeros(3))
        return cls(
            names=names,
            closed=np.array([body[3] for body in bodies], dtype=np.uint8).reshape(-1),
            boxes=boxes,
            tree=(nodes, meta, tris, owner),
            grid=_grid(boxes[[len(c) > 0 for c in corners]], region),
            ray=2.0 * float(np.linalg.norm(high - low)) + 1.0,
        )


def _tree(tris: Array, owner: NDArray[np.int32]) -> tuple[Ints, NDArray[np.float32], NDArray[np.int32]]:
    """Order of the triangles (t, 12), nodes and meta of the tree over them."""
    from fixture3d.access import kernel

    count = len(tris)
    corners = tris[:, :9].reshape(-1, 3, 3)
    low, high = corners.min(axis=1), corners.max(axis=1)
    order = np.arange(count, dtype=np.int64)
    nodes, meta = np.zeros((2 * count + 1, 6), np.float32), np.zeros((2 * count + 1, 4), np.int32)
    right, stack = np.zeros(2 * count + 1, np.int32), np.zeros((count + 256, 3), np.int64)
    binned, swept = np.zeros((kernel.BINS, 7)), np.zeros((kernel.BINS, 2))
    used = kernel.build_tree(low, high, 0.5 * (low + high), owner, order, nodes, meta, right, stack, binned, swept)
    return order, nodes[:used].copy(), meta[:used].copy()


def _corners(name: str, vertices: ArrayLike, faces: ArrayLike, closed: bool) -> Array:
    """Triangles (m, 3, 3) of one body, outward when it is closed."""
    v = np.asarray(vertices, dtype=np.float64)
    f = np.asarray(faces, dtype=np.int64)
    if v.ndim != 2 or v.shape[1] != 3 or f.ndim != 2 or f.shape[1] != 3:
        raise ValueError(f'body "{name}": expected vertices (n, 3) and faces (m, 3), got {v.shape} and {f.shape}')
    if not np.isfinite(v).all() or (f.size and (f.min() < 0 or f.max() >= len(v))):
        raise ValueError(f'body "{name}": expected finite vertices and faces that name them')
    out: Array = v[f]
    if closed and len(out):
        about = out - out.mean(axis=(0, 1))
        if float(np.einsum("ij,ij->", about[:, 0], np.cross(about[:, 1], about[:, 2]))) < 0.0:
            out = np.ascontiguousarray(out[:, ::-1])
    return out


def _with_normals(corners: Array) -> Array:
    """Triangles (m, 12): corners and unit normal; the normal is zero when the triangle has no area."""
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    size = np.linalg.norm(normal, axis=1)[:, None]
    normal = np.where(size > 1e-12, normal / np.where(size > 1e-12, size, 1.0), 0.0)
    return np.ascontiguousarray(np.hstack([corners.reshape(-1, 9), normal]))


def _grid(boxes: Array, region: ArrayLike | None) -> tuple[NDArray[np.float32], Array]:
    """An empty distance grid over the bodies and some room round them, or over the region; cells fill on demand."""
    if not len(boxes):
        return np.zeros((0, 0, 0), np.float32), np.array([0.0, 0.0, 0.0, CELL, FAR])
    lowest, highest = boxes[:, 0].min(axis=0) - FAR, boxes[:, 1].max(axis=0) + FAR
    if region is not None:
        box = np.asarray(region, dtype=np.float64)
        lowest, highest = np.maximum(lowest, box[0]), np.minimum(highest, box[1])
        highest = np.maximum(highest, lowest + CELL)
    cell = CELL
    while np.prod(np.ceil((highest - lowest) / cell)) > MOST_CELLS:
        cell *= 1.1
    shape = np.maximum(1, np.ceil((highest - lowest) / cell)).astype(int)
    return np.full(tuple(shape), -1.0, np.float32), np.array([*lowest, cell, FAR])
