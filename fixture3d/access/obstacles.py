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
from fixture3d.access.threads import in_threads, workers

CELL = 24.0
"""Cell of the distance grid, mm; measured: finer cells prove more but cost more to fill."""
MOST_CELLS = 8_000_000
"""Above this the cells grow: slower, never wrong."""
_WORTH = 10_000
"""Triangles for which a thread is worth starting."""
FAR = 130.0
"""The grid tells distances no larger than this, mm."""

Tree = tuple[NDArray[np.float32], NDArray[np.int32], Array, NDArray[np.int32]]
"""Nodes, meta, triangles and owners as ``kernel`` wants them."""
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
    tree: Tree
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
        vertices, faces, first = _meshes(bodies)
        closed = np.array([body[3] for body in bodies], dtype=np.uint8).reshape(-1)
        tree, boxes = _tree(vertices, faces, closed, first)
        some = boxes[np.diff(first) > 0]
        low, high = (some[:, 0].min(axis=0), some[:, 1].max(axis=0)) if len(some) else (np.zeros(3), np.zeros(3))
        return cls(
            names=names,
            closed=closed,
            boxes=boxes,
            tree=tree,
            grid=_grid(some, region),
            ray=2.0 * float(np.linalg.norm(high - low)) + 1.0,
        )


def _meshes(bodies: Sequence[Body]) -> tuple[Array, Ints, Ints]:
    """Vertices (v, 3) and faces (t, 3) of all bodies in turn, and where the faces of each begin (bodies + 1,)."""
    all_vertices, all_faces, first, count = [np.zeros((0, 3))], [np.zeros((0, 3), np.int64)], [0], 0
    for name, vertices, faces, _ in bodies:
        v, f = np.asarray(vertices, dtype=np.float64), np.asarray(faces, dtype=np.int64)
        if v.ndim != 2 or v.shape[1] != 3 or f.ndim != 2 or f.shape[1] != 3:
            raise ValueError(f'body "{name}": expected vertices (n, 3) and faces (m, 3), got {v.shape} and {f.shape}')
        if not np.isfinite(v).all() or (f.size and (f.min() < 0 or f.max() >= len(v))):
            raise ValueError(f'body "{name}": expected finite vertices and faces that name them')
        all_vertices.append(v)
        all_faces.append(f + count)
        first.append(first[-1] + len(f))
        count += len(v)
    return np.concatenate(all_vertices), np.concatenate(all_faces), np.array(first, dtype=np.int64)


def _tree(vertices: Array, faces: Ints, closed: Bytes, first: Ints) -> tuple[Tree, Array]:
    """The tree over the triangles of all bodies, and the box (2, 3) of each body.

    Each body has a tree of its own, and a tree over the bodies' boxes joins them: so that all nodes of a body can be
    skipped at once, and bodies are worked on in several threads.
    """
    from fixture3d.access import kernel

    count, bodies = len(faces), len(closed)
    tris, owner, boxes = np.zeros((count, 12)), np.zeros(count, np.int32), np.zeros((bodies, 2, 3))
    low, high, mid = np.zeros((3, count, 3))
    order = np.arange(count, dtype=np.int64)
    some = np.flatnonzero(np.diff(first) > 0)
    nodes, meta = np.zeros((2 * count, 6), np.float32), np.zeros((2 * count, 4), np.int32)
    sizes = np.zeros(bodies, np.int64)

    def grow(items: tuple[Array, Array, Array], order: Ints, begin: int, end: int, leaf: int, at: int) -> int:
        right, stack = np.zeros(2 * (end - begin), np.int32), np.zeros((end - begin + 256, 3), np.int64)
        room = (nodes[at:], meta[at:]) if leaf > 1 else (top_nodes, top_meta)
        bins, swept = np.zeros((3, kernel.BINS, 7)), np.zeros((kernel.BINS, 2))
        return int(kernel.build_tree(*items, order, begin, end, leaf, *room, right, stack, bins, swept))

    def trees(which: Ints) -> None:
        kernel.place_triangles(vertices, faces, closed, first, which, tris, owner, boxes, low, high, mid)
        for body in which:
            begin, end = int(first[body]), int(first[body + 1])
            sizes[body] = grow((low, high, mid), order, begin, end, kernel.LEAF, 2 * begin)
            meta[2 * begin : 2 * end, 3] = body

    in_threads(trees, _lots(some, first))
    top_nodes, top_meta = np.zeros((2 * len(some), 6), np.float32), np.zeros((2 * len(some), 4), np.int32)
    if not len(some):
        return (top_nodes, top_meta, tris, owner), boxes
    among = np.arange(len(some), dtype=np.int64)
    corners = np.ascontiguousarray(boxes[some, 0]), np.ascontiguousarray(boxes[some, 1])
    used = grow((*corners, 0.5 * (corners[0] + corners[1])), among, 0, len(some), 1, 0)
    # Each leaf of the upper tree is replaced by the tree of its body.
    leaves = top_meta[:used, 2] > 0
    body_of = some[among[top_meta[:used, 1]]]
    at = np.concatenate([[0], np.cumsum(np.where(leaves, sizes[body_of], 1))])
    out_nodes, out_meta = np.zeros((at[-1], 6), np.float32), np.zeros((at[-1], 4), np.int32)
    inner = at[:-1][~leaves]
    out_nodes[inner], out_meta[inner, 0], out_meta[inner, 3] = (
        top_nodes[:used][~leaves],
        at[top_meta[:used, 0][~leaves]],
        -1,
    )
    for k in np.flatnonzero(leaves):
        body, to = body_of[k], slice(at[k], at[k + 1])
        begin = 2 * first[body]
        out_nodes[to], out_meta[to] = nodes[begin : begin + sizes[body]], meta[begin : begin + sizes[body]]
        out_meta[to, 0] += at[k]
    return (out_nodes, out_meta, tris[order], owner), boxes


def _lots(some: Ints, first: Ints) -> list[Ints]:
    """Bodies in lots of about as many triangles, a few for each thread."""
    ends = np.cumsum(np.diff(first)[some])
    share = max(_WORTH, int(ends[-1]) // (2 * workers())) if len(some) else 1
    return [np.ascontiguousarray(lot) for lot in np.split(some, np.flatnonzero(np.diff((ends - 1) // share)) + 1)]


def _grid(boxes: Array, region: ArrayLike | None) -> tuple[NDArray[np.float32], Array]:
    """An empty distance grid over the bodies and some room round them, or over the region; cells fill on demand."""
    if not len(boxes):
        return np.zeros((0, 0, 0), np.float32), np.array([0.0, 0.0, 0.0, CELL, FAR])
    lowest, highest = boxes[:, 0].min(axis=0) - FAR, boxes[:, 1].max(axis=0) + FAR
    if region is not None:
        box = np.asarray(region, dtype=np.float64)
        lowest, highest = np.maximum(lowest, box[0]), np.minimum(highest, box[1])
        if (highest <= lowest).any():
            return np.zeros((0, 0, 0), np.float32), np.array([*lowest, CELL, FAR])
    cell = CELL
    while np.prod(np.ceil((highest - lowest) / cell)) > MOST_CELLS:
        cell *= 1.1
    shape = np.maximum(1, np.ceil((highest - lowest) / cell)).astype(int)
    return np.full(tuple(shape), -1.0, np.float32), np.array([*lowest, cell, FAR])
