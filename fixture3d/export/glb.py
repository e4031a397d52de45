"""One block as binary glTF: its bodies as named meshes, in metres and Y up as that format asks."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from fixture3d.frame import Array
from fixture3d.preview.page.glb import glb
from fixture3d.solid.facets import Facets
from fixture3d.solid.mesh import Mesh


def glb_bytes(title: str, parts: Sequence[tuple[str, Mesh, Array]]) -> bytes:
    """A GLB file, the same bytes for the same parts.

    Args:
        title: of the whole.
        parts: name, mesh in mm, and its place, (4, 4) mm.
    """
    none = np.zeros((0, 2), dtype=np.int32)
    meshes = [Facets(vertices=mesh.vertices, faces=mesh.faces, surfaces=(), edges=none) for _, mesh, _ in parts]
    nodes = [(name, k, pose) for k, (name, _, pose) in enumerate(parts)]
    # Readers rename one of two nodes that are called the same.
    return glb(meshes, nodes, f"all of {title}" if any(title == name for name, _, _ in nodes) else title)
