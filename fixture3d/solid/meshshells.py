"""The solids in a triangle mesh from a file: touching ones parted, hollows with their owners, each one checked."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fixture3d.errors import BadSolid
from fixture3d.solid.bvh import winding
from fixture3d.solid.mesh import MOST_TRIANGLES, WELDS, Mesh, near_groups
from fixture3d.solid.meshcheck import refuse_crossing, sound
from fixture3d.solid.meshholes import place
from fixture3d.solid.meshrepair import Sheet, count_of, mend, neighbours
from fixture3d.tolerance import FILES

Array = NDArray[np.float64]
Longs = NDArray[np.int64]

# rad; faces that stand at one edge at angles nearer than this lie on one another. Corners drawn together by
# 0.005 mm turn a face 50 mm wide by a tenth of it.
_SAME_ANGLE = 1e-3
_THIN = 1e-9  # mm; volume over area below which a shell encloses nothing


@dataclass(frozen=True)
class MeshSolid:
    """One solid of a mesh file: its checked mesh, and the repairs that it took, in words."""

    mesh: Mesh
    said: tuple[str, ...] = ()

    @property
    def note(self) -> str:
        """The repairs as one sentence; empty when there were none."""
        return f"repaired: {', '.join(self.said)}" if self.said else ""


@dataclass(frozen=True)
class _Shell:
    mesh: Mesh
    sheet: Sheet

    def flipped(self) -> _Shell:
        turned = Mesh(self.mesh.vertices, np.ascontiguousarray(self.mesh.faces[:, ::-1]), True, 0.0)
        return _Shell(turned, self.sheet)


def solids(vertices: Array, faces: Longs) -> list[MeshSolid]:
    """Every solid of a mesh, in the order of its first triangle.

    Args:
        vertices: (n, 3) mm.
        faces: (m, 3).

    Raises:
        BadSolid: one of them cannot be used as it is, nor be repaired in one provable way; where and why.
    """
    sound(vertices, faces)
    corners = vertices[faces]
    real = ~(corners == np.roll(corners, -1, axis=1)).all(axis=2).any(axis=1)
    if not real.any():
        raise BadSolid("the mesh has no area; expected a closed solid")
    faces = faces[real]
    shells = [shell for group in _groups(vertices, faces) for shell in _shells(mend(vertices, group))]
    inner = _nesting(shells)
    faced, bodies = _outwards(shells, inner)
    held: dict[int, list[_Shell]] = {k: [faced[k]] for k in bodies}
    for k, shell in enumerate(faced):
        if k not in held:
            # The owner is the smallest shell round the hollow.
            held[min((o for o in inner[k] if o in held), key=lambda o: abs(faced[o].mesh.volume))].append(shell)
    if not real.all():
        said = f"{count_of(int((~real).sum()), 'face')} without area dropped"
        held[bodies[0]][0] = _told(held[bodies[0]][0], said)
    return [_solid(parts) for parts in held.values()]


def _groups(vertices: Array, faces: Longs) -> list[Longs]:
    """Faces parted into lots that do not touch one another, so that each is repaired no more than it needs."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    # The widest weld that is ever tried says what can belong together.
    exact, same = np.unique(vertices, axis=0, return_inverse=True)
    f = near_groups(exact, WELDS[-1])[same.reshape(-1)][faces]
    count = int(f.max()) + 1
    rows, cols = np.concatenate([f[:, 0], f[:, 1]]), np.concatenate([f[:, 1], f[:, 2]])
    graph = coo_array((np.ones(len(rows), dtype=bool), (rows, cols)), shape=(count, count))
    label = _ranked(connected_components(graph, directed=False)[1][f[:, 0]])
    sizes = np.bincount(label)
    if len(sizes) > FILES.solids:
        raise BadSolid(
            f"the mesh falls into {len(sizes)} loose parts; expected at most {FILES.solids} solids: export the "
            "weldment alone, as closed solids"
        )
    return np.split(faces[np.argsort(label, kind="stable")], np.cumsum(sizes)[:-1])


def _ranked(label: NDArray[np.integer[Any]]) -> Longs:
    """Group numbers made to follow the order in which groups first appear."""
    _, first, dense = np.unique(label, return_index=True, return_inverse=True)
    rank = np.zeros(len(first), dtype=np.int64)
    rank[np.argsort(first)] = np.arange(len(first))
    out: Longs = rank[dense.reshape(-1)]
    return out


def _shells(sheet: Sheet) -> list[_Shell]:
    """A closed surface parted into shells; where more than two faces share an edge, each solid keeps its own two."""
    label = _parted(sheet)
    out = []
    thin = 0
    for k in range(int(label.max()) + 1):
        used, packed = np.unique(sheet.faces[label == k], return_inverse=True)
        faces = packed.reshape(-1, 3).astype(np.int32)
        faces = _without_walls(faces)
        if len(faces):
            mesh = Mesh(np.ascontiguousarray(sheet.vertices[used]), faces, True, 0.0)
            if abs(mesh.volume) > _THIN * mesh.area:
                out.append(_Shell(mesh, sheet))
                continue
        thin += int((label == k).sum())
    if not out:
        at = place(sheet.vertices[sheet.faces].mean(axis=(0, 1)))
        raise BadSolid(f"the mesh is flat at {at}: it has no volume; expected a closed solid")
    if thin:
        said = f"{thin} faces of a sheet without thickness dropped"
        out = [_Shell(shell.mesh, replace(sheet, said=(*sheet.said, said))) for shell in out]
    return out


def _without_walls(faces: NDArray[np.int32]) -> NDArray[np.int32]:
    """The faces of one shell without pairs that lie back to back: they part nothing from nothing."""
    _, group, copies = np.unique(np.sort(faces, axis=1), axis=0, return_inverse=True, return_counts=True)
    return faces[copies[group.reshape(-1)] % 2 == 1] if copies.max() > 1 else faces


def _parted(sheet: Sheet) -> Longs:
    """A shell number a face, (m,), in the order of their first faces."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    faces = sheet.faces
    one, other, _ = neighbours(faces, len(sheet.vertices))
    more = np.array(_wedges(sheet), dtype=np.int64).reshape(-1, 2)
    rows, cols = np.concatenate([one, more[:, 0]]), np.concatenate([other, more[:, 1]])
    graph = coo_array((np.ones(len(rows), dtype=bool), (rows, cols)), shape=(len(faces), len(faces)))
    return _ranked(connected_components(graph, directed=False)[1])


def _wedges(sheet: Sheet) -> list[tuple[int, int]]:
    """Pairs of faces with material between them, at every edge that more than two faces share."""
    faces, count = sheet.faces, len(sheet.vertices)
    start, end = faces.reshape(-1), np.roll(faces, -1, axis=1).reshape(-1)
    code = np.minimum(start, end) * count + np.maximum(start, end)
    order = np.argsort(code, kind="stable")
    begins = np.nonzero(np.r_[True, np.diff(code[order]) != 0])[0]
    uses = np.diff(np.r_[begins, len(code)])
    out = []
    for at, number in zip(begins[uses > 2], uses[uses > 2], strict=True):
        corners = order[at : at + number]
        low, high = sheet.vertices[list(divmod(int(code[corners[0]]), count))]
        third = sheet.vertices[faces[corners // 3, (corners % 3 + 2) % 3]]
        out += _round_edge(low, high, third, start[corners] < end[corners], corners // 3)
    return out


def _round_edge(low: Array, high: Array, third: Array, forward: NDArray[np.bool_], who: Longs) -> list[tuple[int, int]]:
    """The faces round one edge, from ``low`` to ``high``, two by two: material lies from the first up to the second.

    A face that runs backward along the edge has its material on the side of growing angles, one that runs forward
    on the other.
    """
    along = (high - low) / np.linalg.norm(high - low)
    out = third - low - np.outer((third - low) @ along, along)
    x = out[0] / (np.linalg.norm(out[0]) or 1.0)
    y = np.cross(along, x)
    angle = np.arctan2(out @ y, out @ x) % (2.0 * np.pi)
    angle[angle > 2.0 * np.pi - _SAME_ANGLE] = 0.0
    order = np.argsort(angle, kind="stable")
    step = np.cumsum(np.r_[0, np.diff(angle[order]) > _SAME_ANGLE])
    # Of faces on one another, those that end material come before those that begin it.
    order = order[np.lexsort((order, ~forward[order], step))]
    depth = np.cumsum(np.where(forward[order], -1, 1))
    first = int(np.argmin(depth)) + 1
    open_, pairs = [], []
    for k in np.roll(order, -first):
        if not forward[k]:
            open_.append(k)
        elif open_:
            pairs.append((int(who[open_.pop()]), int(who[k])))
    return pairs


def _nesting(shells: list[_Shell]) -> list[list[int]]:
    """For each shell the shells that it lies in."""
    boxes = np.array([shell.mesh.box for shell in shells])
    sizes = np.array([abs(shell.mesh.volume) for shell in shells])
    out: list[list[int]] = []
    for k, shell in enumerate(shells):
        inside = (boxes[:, 0] <= boxes[k, 0]).all(axis=1) & (boxes[:, 1] >= boxes[k, 1]).all(axis=1)
        middles = shell.mesh.triangles.mean(axis=1)
        some = middles[np.linspace(0, len(middles) - 1, min(9, len(middles))).astype(int)]
        round_it = []
        for o in np.nonzero(inside & (sizes > sizes[k]))[0].tolist():
            within = np.abs(winding(some, shells[o].mesh.triangles)) > 0.5
            if 2 * np.count_nonzero(within) > len(within):
                round_it.append(o)
        out.append(round_it)
    return out


def _outwards(shells: list[_Shell], inner: list[list[int]]) -> tuple[list[_Shell], list[int]]:
    """The shells with their sides put right, and the numbers of those that are bodies and not hollows.

    Raises:
        BadSolid: a shell within another may as well be a hollow as a solid.
    """
    out = list(shells)
    bodies: list[int] = []
    for k, shell in enumerate(shells):
        if not inner[k]:
            bodies.append(k)
            if shell.mesh.volume < 0.0:
                out[k] = _told(shell.flipped(), "turned outside out")
            continue
        outer = next(o for o in inner[k] if not inner[o])
        same = (shell.mesh.volume > 0.0) == (shells[outer].mesh.volume > 0.0)
        unsure = shell.sheet.turned or shells[outer].sheet.turned or (same and shells[outer].mesh.volume < 0.0)
        if unsure:
            at = place(shell.mesh.box.mean(axis=0))
            raise BadSolid(
                f"a shell lies within another at {at}, and its faces do not say whether it is a hollow or a solid; "
                "unify its normals where it was drawn"
            )
        if shells[outer].mesh.volume < 0.0:
            out[k] = shell.flipped()
        if out[k].mesh.volume > 0.0:
            bodies.append(k)
    return out, bodies


def _told(shell: _Shell, what: str) -> _Shell:
    return _Shell(shell.mesh, replace(shell.sheet, said=(*shell.sheet.said, what)))


def _solid(parts: list[_Shell]) -> MeshSolid:
    """One body with its hollows as a checked mesh."""
    start = np.cumsum([0, *(len(part.mesh.vertices) for part in parts)])
    mesh = Mesh(
        np.concatenate([part.mesh.vertices for part in parts]),
        np.concatenate([part.mesh.faces + shift for part, shift in zip(parts, start, strict=False)]).astype(np.int32),
        True,
        0.0,
    )
    if mesh.open_edges or mesh.volume <= _THIN * mesh.area or len(mesh.faces) > MOST_TRIANGLES:
        raise BadSolid(f"the mesh at {place(mesh.box.mean(axis=0))} is not a closed solid; mend it where it was drawn")
    refuse_crossing(mesh)
    _ = mesh.manifold
    said = list(dict.fromkeys(sentence for part in parts for sentence in part.sheet.said))
    change = sum(part.sheet.change for part in parts) / mesh.volume
    if said and change >= 1e-7:
        said.append(f"volume changed by {100.0 * change:.1g} %")
    return MeshSolid(mesh, tuple(said))
