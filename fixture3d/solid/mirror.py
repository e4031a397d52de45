"""The mirror image of a solid, in its own frame: its Y is turned over. ``OCP`` is imported inside functions."""

from __future__ import annotations

from typing import Any, Final

import numpy as np

from fixture3d.cache import Store, content_key
from fixture3d.solid.mesh import Mesh
from fixture3d.solid.shape import Shape

MIRROR_Y: Final = np.diag([1.0, -1.0, 1.0, 1.0])
"""(4, 4): takes a point of the solid to that of its mirror image."""


class MirrorImage(Shape):
    """The mirror image of a shape.

    Its meshes are those of the shape turned over, triangle by triangle, so that what is measured on them does not
    depend on how the kernel would mesh the image.

    Args:
        source: the shape.
        store: cache; None keeps nothing.
    """

    def __init__(self, source: Shape, store: Store | None = None) -> None:
        super().__init__(content_key(["mirror image", source.key]), self._image, store)
        self._source = source

    def _image(self) -> Any:
        solid = self._source.brep
        return turned_over(self._source.mesh) if solid is None else _mirrored(solid)

    def _mesh(self, kind: str, chord: float) -> Mesh:
        return turned_over(self._source.mesh if kind == "mesh" else self._source.fine)


def turned_over(mesh: Mesh) -> Mesh:
    """The mirror image of a mesh, wound outwards."""
    vertices = mesh.vertices * MIRROR_Y.diagonal()[:3] + 0.0
    return Mesh(vertices, np.ascontiguousarray(mesh.faces[:, ::-1]), mesh.planar, mesh.chord, mesh.curved)


def _mirrored(solid: Any) -> Any:
    """The mirror image of a ``TopoDS_Shape``."""
    from OCP.BRepBuilderAPI import BRepBuilderAPI_Transform
    from OCP.gp import gp_Ax2, gp_Dir, gp_Pnt, gp_Trsf

    flip = gp_Trsf()
    flip.SetMirror(gp_Ax2(gp_Pnt(0.0, 0.0, 0.0), gp_Dir(0.0, 1.0, 0.0)))
    return BRepBuilderAPI_Transform(solid, flip, True).Shape()
