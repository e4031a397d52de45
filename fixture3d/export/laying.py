"""How a part lies when it is printed: on the flat side that needs least support, and several beside each other.

Support is reckoned as the space under faces that look down more steeply than `Making.overhang`, down to the bed; what
stands on the part itself is counted down to the bed too. Common practice, no source.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from fixture3d import frame
from fixture3d.frame import Array
from fixture3d.part import FACES, NORMALS
from fixture3d.solid.mesh import Mesh
from fixture3d.tolerance import MAKING


def lying(mesh: Mesh) -> Array:
    """The turn that brings a part to lie on its best side, mesh to bed, (4, 4): lowest point z = 0, least x and y 0.

    Best is the least support, then the lowest part, then the largest side on the bed, then the first side found.
    """
    turns = [_down(normal) for normal in _sides(mesh)]
    best = min(range(len(turns)), key=lambda k: (*_cost(mesh, turns[k]), k))
    return frame.chain(frame.translation(-frame.points(turns[best], mesh.vertices).min(axis=0)), turns[best])


def beside(meshes: Sequence[Mesh], poses: Sequence[Array]) -> list[Array]:
    """The same poses moved so that the parts lie beside each other in rows, in their order, `Making.apart` apart.

    Args:
        meshes: each in its own frame.
        poses: mesh to bed, as `lying` gives them.
    """
    sizes = [np.ptp(frame.points(pose, mesh.vertices), axis=0) for mesh, pose in zip(meshes, poses, strict=True)]
    apart = MAKING.apart
    wide = max(math.sqrt(sum((s[0] + apart) * (s[1] + apart) for s in sizes)), max(s[0] for s in sizes))
    out, x, y, deep = [], 0.0, 0.0, 0.0
    for size, pose in zip(sizes, poses, strict=True):
        if x > 0.0 and x + size[0] > wide:
            x, y, deep = 0.0, y + deep + apart, 0.0
        out.append(frame.chain(frame.translation((x, y, 0.0)), pose))
        x, deep = x + float(size[0]) + apart, max(deep, float(size[1]))
    return out


def support(mesh: Mesh, pose: Array) -> float:
    """Space under steep undersides down to the bed, mm3."""
    return _cost(mesh, pose)[0]


def _sides(mesh: Mesh) -> list[Array]:
    """Outward normals of the flat sides that a part can lie on, largest first; without one, the six of its box."""
    t = mesh.triangles
    cross = np.cross(t[:, 1] - t[:, 0], t[:, 2] - t[:, 0])
    doubled = np.linalg.norm(cross, axis=1)
    t, cross, doubled = t[doubled > 0.0], cross[doubled > 0.0], doubled[doubled > 0.0]
    normals = cross / doubled[:, None]
    keys = np.column_stack([np.round(normals, 5), np.round(np.einsum("ij,ij->i", normals, t[:, 0]), 3)]) + 0.0
    planes, which = np.unique(keys, axis=0, return_inverse=True)
    areas = np.bincount(which.ravel(), weights=doubled / 2.0, minlength=len(planes))
    least = MAKING.bed * float(areas.max())
    reach = (mesh.vertices @ planes[:, :3].T).max(axis=0)
    outer = (reach - planes[:, 3] <= MAKING.on_bed) & (areas >= least)
    order = np.argsort(-np.round(areas, 3), kind="stable")
    sides = [_clean(planes[k, :3]) for k in order if outer[k]][: MAKING.sides]
    found = [side for side in sides if _stands(mesh, _down(side))]
    return found or [np.asarray(NORMALS[face]) for face in FACES]


def _stands(mesh: Mesh, turn: Array) -> bool:
    """Whether the middle of its mass lies over what touches the bed."""
    from shapely import MultiPoint, Point

    t = mesh.triangles - mesh.vertices.mean(axis=0)
    sixths = np.einsum("ij,ij->i", t[:, 0], np.cross(t[:, 1], t[:, 2]))
    middle = mesh.vertices.mean(axis=0) + (t.mean(axis=1) * sixths[:, None]).sum(axis=0) * 0.75 / sixths.sum()
    points = frame.points(turn, mesh.vertices)
    touching = points[points[:, 2] <= points[:, 2].min() + MAKING.on_bed]
    return bool(MultiPoint(touching[:, :2]).convex_hull.contains(Point(frame.points(turn, middle)[:2])))


def _clean(normal: Array) -> Array:
    """A direction along an axis made exact, so that a part that is turned by right angles keeps its digits."""
    k = int(np.argmax(np.abs(normal)))
    if abs(normal[k]) > 1.0 - 1e-6:
        out = np.zeros(3)
        out[k] = math.copysign(1.0, normal[k])
        return out
    return normal / np.linalg.norm(normal)


def _down(normal: Array) -> Array:
    """The turn that brings a direction to look down."""
    down = np.array([0.0, 0.0, -1.0])
    axis = np.cross(normal, down)
    if np.linalg.norm(axis) < 1e-9:
        return frame.identity() if normal[2] < 0.0 else frame.rotation((1.0, 0.0, 0.0), 180.0)
    return frame.rotation(axis, round(math.degrees(math.acos(float(np.clip(normal @ down, -1.0, 1.0)))), 9))


def _cost(mesh: Mesh, pose: Array) -> tuple[float, float, float]:
    """Support in mm3, height in mm, and the area on the bed as a negative number; rounded, so that equals are equal."""
    points = frame.points(pose, mesh.vertices)
    points[:, 2] -= points[:, 2].min()
    t = points[mesh.faces]
    cross = np.cross(t[:, 1] - t[:, 0], t[:, 2] - t[:, 0])
    doubled = np.linalg.norm(cross, axis=1)
    flat = -cross[:, 2] / 2.0  # area as the bed sees it, positive for an underside
    on_bed = (t[:, :, 2] <= MAKING.on_bed).all(axis=1)
    steep = -cross[:, 2] > doubled * (math.sin(math.radians(MAKING.overhang)) + 1e-6)
    under = float((flat * t[:, :, 2].mean(axis=1))[steep & ~on_bed].sum())
    return round(under, 2) + 0.0, round(float(points[:, 2].max()), 4), -round(float(flat[on_bed & (flat > 0)].sum()), 2)
