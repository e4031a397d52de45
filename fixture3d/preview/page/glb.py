"""A scene as binary glTF 2.0: one mesh a distinct shape, one node a body. Metres and Y up by the root node.

Source: Khronos Group, glTF 2.0 specification (ISO/IEC 12113:2022), sections 3.6 (binary data), 3.7 (geometry), 4.4
(GLB layout).
"""

from __future__ import annotations

import json
import struct
from collections.abc import Sequence
from typing import Any, Final

from numpy.typing import NDArray

from fixture3d import __version__
from fixture3d.frame import Array
from fixture3d.solid.facets import Facets

_TRIANGLES, _LINES = 4, 1
_FLOAT, _U16, _U32 = 5126, 5123, 5125
_VERTICES, _INDICES = 34962, 34963
# Columns of the root's matrix: mm to m, and world Z up to Y up, (x, y, z) to (x, z, -y).
ROOT: Final = (0.001, 0, 0, 0, 0, 0, -0.001, 0, 0, 0.001, 0, 0, 0, 0, 0, 1)


def glb(meshes: Sequence[Facets], nodes: Sequence[tuple[str, int, Array]], title: str = "setup") -> bytes:
    """The file, the same bytes for the same scene.

    Args:
        meshes: distinct shapes, each in its own frame, mm.
        nodes: name, index of the mesh, and body_to_world (4, 4) mm.
        title: name of the root node.
    """
    packed = _Packed()
    for mesh in meshes:
        packed.mesh(mesh)
    children = list(range(1, len(nodes) + 1))
    document: dict[str, Any] = {
        "asset": {"version": "2.0", "generator": f"fixture3d {__version__}"},
        "scene": 0,
        "scenes": [{"nodes": [0]}],
        "nodes": [
            {"name": title, "matrix": list(ROOT), **({"children": children} if children else {})},
            *({"name": name, "mesh": mesh, "matrix": columns(pose)} for name, mesh, pose in nodes),
        ],
        "materials": [
            {
                "pbrMetallicRoughness": {
                    "baseColorFactor": [0.45, 0.45, 0.45, 1.0],
                    "metallicFactor": 0,
                    "roughnessFactor": 0.9,
                }
            }
        ],
    }
    if meshes:
        document |= {
            "meshes": packed.meshes,
            "accessors": packed.accessors,
            "bufferViews": packed.views,
            "buffers": [{"byteLength": len(packed.data)}],
        }
    text = json.dumps(document, separators=(",", ":"), allow_nan=False).encode()
    chunks = [(b"JSON", text + b" " * (-len(text) % 4))]
    if meshes:
        chunks.append((b"BIN\0", bytes(packed.data)))
    body = b"".join(struct.pack("<I4s", len(data), kind) + data for kind, data in chunks)
    return struct.pack("<4sII", b"glTF", 2, 12 + len(body)) + body


def columns(pose: Array) -> list[float]:
    """A pose (4, 4) as 16 numbers, column by column, without noise."""
    return [round(float(v), 9) + 0.0 for v in pose.T.ravel()]


class _Packed:
    """The binary chunk as it grows, and what is said of its parts."""

    def __init__(self) -> None:
        self.data = bytearray()
        self.views: list[dict[str, Any]] = []
        self.accessors: list[dict[str, Any]] = []
        self.meshes: list[dict[str, Any]] = []

    def mesh(self, facets: Facets) -> None:
        points = facets.vertices.astype("<f4")
        at = self._accessor(
            points, _VERTICES, _FLOAT, "VEC3", min=points.min(axis=0).tolist(), max=points.max(axis=0).tolist()
        )
        # 65535 itself is kept for another use by the format.
        kind, of = ("<u2", _U16) if len(points) < 65535 else ("<u4", _U32)
        primitives: list[dict[str, Any]] = []
        for indices, mode in ((facets.faces, _TRIANGLES), (facets.edges, _LINES)):
            if len(indices):
                named = self._accessor(indices.ravel().astype(kind), _INDICES, of, "SCALAR")
                primitives.append({"attributes": {"POSITION": at}, "indices": named, "material": 0, "mode": mode})
        self.meshes.append({"primitives": primitives, "extras": {"faces": [_plain(row) for row in facets.surfaces]}})

    def _accessor(self, values: NDArray[Any], target: int, component: int, shape: str, **bounds: Any) -> int:
        self.data += b"\0" * (-len(self.data) % 4)
        raw = values.tobytes()
        self.views.append({"buffer": 0, "byteOffset": len(self.data), "byteLength": len(raw), "target": target})
        self.data += raw + b"\0" * (-len(raw) % 4)
        self.accessors.append(
            {
                "bufferView": len(self.views) - 1,
                "componentType": component,
                "count": len(values),
                "type": shape,
                **bounds,
            }
        )
        return len(self.accessors) - 1


def _plain(row: tuple[float, ...]) -> list[float]:
    """Whole numbers without a point, so that the text stays short."""
    return [int(v) if v == int(v) else v for v in row]
