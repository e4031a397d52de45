"""Whether a solid is the same again when it is turned or mirrored."""

from __future__ import annotations

from typing import Final

from fixture3d import frame
from fixture3d.frame import Array
from fixture3d.solid.shape import Shape
from fixture3d.tolerance import NUMERIC

_CHORDS: Final = 4.0  # two meshes of one round face part by up to two chords, and turned ones by as much again
_KNOWN: Final[dict[tuple[str, bytes], bool]] = {}
"""Answers of this run: a setup has many blocks of one size."""


def is_itself(moved: Array, shape: Shape) -> bool:
    """Whether a solid is its own image, as far as its mesh tells.

    Args:
        moved: (4, 4), a turn or a reflection in the solid's own frame.
        shape: the solid.
    """
    key = (shape.key, moved.tobytes())
    if key not in _KNOWN:
        _KNOWN[key] = _meets_itself(moved, shape)
    return _KNOWN[key]


def _meets_itself(moved: Array, shape: Shape) -> bool:
    from scipy.spatial import cKDTree

    from fixture3d.solid.bvh import Tree

    mesh = shape.mesh
    corners = frame.points(moved, mesh.vertices)
    allowed = _CHORDS * mesh.chord + NUMERIC.merge
    astray = corners[cKDTree(mesh.vertices).query(corners)[0] > NUMERIC.merge]
    return not len(astray) or float(Tree(mesh.triangles).distances(astray).max()) <= allowed
