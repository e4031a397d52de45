"""3MF files: units, names and how each part lies on the bed; the same bytes for the same parts.

Source: 3MF Consortium, 3MF Core Specification 1.3: the package (chapter 2), the model with its unit (3), the build and
its items with their transforms (3.4), objects with name and part number (4).
"""

from __future__ import annotations

import io
import zipfile
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final
from xml.sax.saxutils import quoteattr

import numpy as np

from fixture3d import __version__
from fixture3d.frame import Array
from fixture3d.solid.mesh import Mesh
from fixture3d.tolerance import MAKING

_CORE: Final = "http://schemas.microsoft.com/3dmanufacturing/core/2015/02"
_HEAD: Final = '<?xml version="1.0" encoding="UTF-8"?>\n'
_TYPES: Final = (
    _HEAD + '<Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types">'
    '<Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/>'
    '<Default Extension="model" ContentType="application/vnd.ms-package.3dmanufacturing-3dmodel+xml"/></Types>'
)
_RELATIONS: Final = (
    _HEAD + '<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">'
    '<Relationship Target="/3D/3dmodel.model" Id="rel0" '
    'Type="http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"/></Relationships>'
)
_LONGEST: Final = 200  # characters of a name
_DATE: Final = (1980, 1, 1, 0, 0, 0)  # the first that a zip can say
_DIGITS: Final = 6  # of `Making.grain`


@dataclass(frozen=True, eq=False)
class Printed:
    """One part: its name, its closed mesh in mm, and how it lies on the bed, mesh to bed, (4, 4)."""

    name: str
    mesh: Mesh
    pose: Array


def threemf_bytes(title: str, parts: Sequence[Printed]) -> bytes:
    """A 3MF package in millimetres.

    Args:
        title: of the whole.
        parts: at least one; the bed is z = 0, all coordinates are 0 or more there.
    """
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w") as package:
        for name, text in (
            ("[Content_Types].xml", _TYPES),
            ("_rels/.rels", _RELATIONS),
            ("3D/3dmodel.model", _model(title, parts)),
        ):
            entry = zipfile.ZipInfo(name, _DATE)
            entry.compress_type = zipfile.ZIP_DEFLATED
            entry.create_system = 0  # else the system on which it was written is named
            package.writestr(entry, text.encode("utf-8"))
    return stream.getvalue()


def _model(title: str, parts: Sequence[Printed]) -> str:
    out = [
        f'{_HEAD}<model unit="millimeter" xml:lang="en-US" xmlns="{_CORE}">\n'
        f'<metadata name="Title">{_text(title)}</metadata>\n'
        f'<metadata name="Application">fixture3d {__version__}</metadata>\n<resources>\n'
    ]
    for number, part in enumerate(parts, start=1):
        points, faces = _rounded(part.mesh)
        name = quoteattr(_plain(part.name))
        out.append(f'<object id="{number}" type="model" name={name} partnumber={name}><mesh><vertices>\n')
        out += [f'<vertex x="{x}" y="{y}" z="{z}"/>\n' for x, y, z in _words(points)]
        out.append("</vertices><triangles>\n")
        out += [f'<triangle v1="{a}" v2="{b}" v3="{c}"/>\n' for a, b, c in faces.tolist()]
        out.append("</triangles></mesh></object>\n")
    out.append("</resources>\n<build>\n")
    for number, part in enumerate(parts, start=1):
        # Rows multiply row vectors: the turn stands transposed, the shift last.
        numbers = np.vstack([part.pose[:3, :3].T, part.pose[:3, 3]])
        transform = " ".join(_word(round(float(v), 9) + 0.0, 9) for v in numbers.ravel())
        name = quoteattr(_plain(part.name))
        out.append(f'<item objectid="{number}" transform="{transform}" partnumber={name}/>\n')
    out.append("</build>\n</model>\n")
    return "".join(out)


def _rounded(mesh: Mesh) -> tuple[Array, np.ndarray]:
    """Corners on the grain and the triangles between them; what collapses on it is left out, the rest closes."""
    points = np.round(mesh.vertices / MAKING.grain) * MAKING.grain
    corners = points[mesh.faces]
    if not any((corners[:, i] == corners[:, j]).all(axis=1).any() for i, j in ((0, 1), (1, 2), (2, 0))):
        return points, mesh.faces
    one, which = np.unique(points, axis=0, return_inverse=True)
    faces = which.ravel()[mesh.faces]
    whole = (faces[:, 0] != faces[:, 1]) & (faces[:, 1] != faces[:, 2]) & (faces[:, 2] != faces[:, 0])
    return one, faces[whole]


def _words(points: Array) -> list[list[str]]:
    return [[_word(v, _DIGITS) for v in row] for row in (points + 0.0).tolist()]


def _word(value: float, digits: int) -> str:
    """A number without an exponent or idle zeros."""
    text = f"{value:.{digits}f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def _plain(name: str) -> str:
    """A name of characters that XML 1.0 can hold."""
    return "".join(c for c in name if c.isprintable() and not "\ud800" <= c <= "\udfff")[:_LONGEST] or "part"


def _text(name: str) -> str:
    return _plain(name).replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")
