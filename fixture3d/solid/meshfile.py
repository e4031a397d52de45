"""Mesh files read into solids: STL (binary and text), OBJ and 3MF.

The readers are small and strict on purpose: a truncated or foreign file gives one sentence, never half a mesh.
"""

from __future__ import annotations

import io
import re
import struct
import zipfile
import zlib
from collections.abc import Callable
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import numpy as np
from numpy.typing import NDArray

from fixture3d.errors import BadSolid, ImportFailed, one_line
from fixture3d.solid.mesh import MOST_TRIANGLES, Mesh
from fixture3d.solid.meshcheck import checked, closed, connected
from fixture3d.units import length

Array = NDArray[np.float64]
Longs = NDArray[np.int64]
Part = tuple[str, Array, Longs]

_MOST_BYTES = 1 << 30
_3MF_UNITS = {"micron": "um", "millimeter": "mm", "centimeter": "cm", "inch": "in", "foot": "ft", "meter": "m"}
_MM = {"um": 0.001} | {unit: length(f"1 {unit}") for unit in ("mm", "cm", "m", "in", "ft")}


def read(path: str | Path, unit: str) -> list[tuple[str, Mesh]]:
    """See `mesh.load_mesh_file`."""
    file = Path(path)
    shown = one_line(str(path))
    if unit not in _MM:
        raise ImportFailed(f'{shown}: unit "{one_line(unit)}" is not known; expected one of {", ".join(_MM)}')
    reader = _READERS.get(file.suffix.casefold())
    if reader is None:
        raise ImportFailed(f'{shown}: mesh files end in .stl, .obj or .3mf, not "{one_line(file.suffix)}"')
    try:
        if not file.is_file():
            raise ImportFailed(f"{shown}: no such file")
        if file.stat().st_size > _MOST_BYTES:
            raise ImportFailed(f"{shown}: larger than 1 GiB; export it coarser (0.05 mm is plenty for a fixture)")
        data = file.read_bytes()
    except OSError as fault:
        raise ImportFailed(f"{shown}: cannot be read ({fault.strerror})") from fault
    if not data:
        raise ImportFailed(f"{shown}: the file is empty")
    try:
        parts = reader(data, file.stem, _MM[unit])
        solids = [solid for name, v, f in parts for solid in _solids(name, v, f)]
    except BadSolid as fault:
        raise BadSolid(f"{shown}: {fault}") from fault
    except ImportFailed as fault:
        raise ImportFailed(f"{shown}: {fault}") from fault
    if not solids:
        raise ImportFailed(f"{shown}: the file holds no triangles")
    return _numbered(solids)


def _solids(name: str, vertices: Array, faces: Longs) -> list[tuple[str, Mesh]]:
    """One checked mesh a connected solid; a hollow stays with the solid around it."""
    whole = closed(vertices, faces)
    label = connected(whole.faces, len(whole.vertices))
    pieces = [Mesh(whole.vertices, whole.faces[label == k], True, 0.0) for k in range(int(label.max()) + 1)]
    bodies = [piece for piece in pieces if piece.volume > 0.0]
    hollows = [piece for piece in pieces if piece.volume <= 0.0]
    if not bodies and all(abs(piece.volume) <= 1e-9 * piece.area for piece in pieces):
        raise BadSolid("the mesh is flat: it has no volume; expected a closed solid")
    if not bodies:
        raise BadSolid("the mesh is inside out (negative volume); reverse its triangles and export it again")
    held: list[list[Longs]] = [[body.faces.astype(np.int64)] for body in bodies]
    for hollow in hollows:
        owner = _around(hollow, bodies)
        if owner is None:
            raise BadSolid("a part of the mesh is inside out (negative volume); reverse its triangles")
        held[owner].append(hollow.faces.astype(np.int64))
    return [(name, checked(whole.vertices, np.concatenate(group))) for group in held]


def _around(hollow: Mesh, bodies: list[Mesh]) -> int | None:
    """The smallest body whose box holds the hollow's box, as an index."""
    inner = hollow.vertices[np.unique(hollow.faces)]
    best: int | None = None
    for k, body in enumerate(bodies):
        outer = body.vertices[np.unique(body.faces)]
        inside = (outer.min(axis=0) <= inner.min(axis=0)).all() and (outer.max(axis=0) >= inner.max(axis=0)).all()
        if inside and (best is None or body.volume < bodies[best].volume):
            best = k
    return best


def _numbered(solids: list[tuple[str, Mesh]]) -> list[tuple[str, Mesh]]:
    """Names made different: a name that several solids share gets a number behind it."""
    names = [name for name, _ in solids]
    seen: dict[str, int] = {}
    out = []
    for name, mesh in solids:
        if names.count(name) > 1:
            seen[name] = seen.get(name, 0) + 1
            name = f"{name} {seen[name]}"
        out.append((name, mesh))
    return out


def _read_stl(data: bytes, stem: str, scale: float) -> list[Part]:
    if len(data) >= 84:
        (count,) = struct.unpack_from("<I", data, 80)
        if len(data) == 84 + 50 * count:
            return [_soup(stem, _binary_triangles(data, count), scale)]
    if data[:512].lstrip()[:5].lower() == b"solid" and b"facet" in data[:4096]:
        return [_soup(stem, _text_triangles(data), scale)]
    if len(data) < 84:
        raise ImportFailed(f"not an STL file, or cut short ({len(data)} bytes)")
    holds = (len(data) - 84) // 50
    if count > holds:
        raise ImportFailed(f"not an STL file, or cut short: it says {count} triangles and has room for {holds}")
    if count == 0:
        raise ImportFailed("the file holds no triangles")
    return [_soup(stem, _binary_triangles(data, count), scale)]


def _binary_triangles(data: bytes, count: int) -> Array:
    if count > MOST_TRIANGLES:
        raise BadSolid(
            f"the mesh has {count} triangles; expected at most {MOST_TRIANGLES}: export it coarser "
            "(0.05 mm is plenty for a fixture)"
        )
    record = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("spare", "<u2")])
    corners = np.frombuffer(data, dtype=record, count=count, offset=84)["corners"]
    return corners.astype(np.float64)


def _text_triangles(data: bytes) -> Array:
    text = data.decode("latin-1")
    if "endsolid" not in text.lower():
        raise ImportFailed('cut short: the text ends without "endsolid"')
    found = re.findall(r"vertex\s+(\S+)\s+(\S+)\s+(\S+)", text, flags=re.IGNORECASE)
    try:
        numbers = np.array(found, dtype=np.float64).reshape(-1, 3)
    except ValueError as fault:
        raise ImportFailed("a vertex is not three numbers") from fault
    if not len(numbers):
        raise ImportFailed("the file holds no triangles")
    if len(numbers) % 3:
        raise ImportFailed(f"{len(numbers)} vertices are not whole triangles; the file is cut short or damaged")
    return numbers.reshape(-1, 3, 3)


def _soup(name: str, triangles: Array, scale: float) -> Part:
    vertices = triangles.reshape(-1, 3) * scale
    return name, vertices, np.arange(len(vertices), dtype=np.int64).reshape(-1, 3)


def _read_obj(data: bytes, stem: str, scale: float) -> list[Part]:
    vertices: list[tuple[float, float, float]] = []
    groups: dict[str, list[tuple[int, int, int]]] = {}
    name = stem
    for number, line in enumerate(data.decode("latin-1").splitlines(), start=1):
        words = line.split()
        if not words:
            continue
        try:
            if words[0] == "v":
                vertices.append((float(words[1]), float(words[2]), float(words[3])))
            elif words[0] == "o" and len(words) > 1:
                name = " ".join(words[1:])
            elif words[0] == "f":
                ring = [int(word.split("/")[0]) for word in words[1:]]
                ring = [k - 1 if k > 0 else len(vertices) + k for k in ring]
                if len(ring) < 3 or min(ring) < 0:
                    raise ValueError
                fan = [(ring[0], ring[k], ring[k + 1]) for k in range(1, len(ring) - 1)]
                groups.setdefault(name, []).extend(fan)
        except (ValueError, IndexError) as fault:
            raise ImportFailed(f"line {number} cannot be read as OBJ") from fault
    if not groups:
        raise ImportFailed("the file holds no triangles")
    points = np.array(vertices, dtype=np.float64).reshape(-1, 3) * scale
    return [(label, points, np.array(faces, dtype=np.int64)) for label, faces in groups.items()]


def _read_3mf(data: bytes, stem: str, _scale: float) -> list[Part]:
    """Objects of the build list; the file states its own unit, which wins."""
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            names = [n for n in archive.namelist() if n.casefold().endswith(".model")]
            if not names:
                raise ImportFailed("not a 3MF file: it holds no model")
            if sum(archive.getinfo(n).file_size for n in names) > _MOST_BYTES:
                raise ImportFailed("the model is larger than 1 GiB; export it coarser")
            main = sorted(names, key=lambda n: (n.casefold() != "3d/3dmodel.model", n))[0]
            text = archive.read(main)
        if b"<!DOCTYPE" in text or b"<!ENTITY" in text:
            raise ImportFailed("the model declares entities, which a 3MF file may not")
        root = ElementTree.fromstring(text)
    except (
        zipfile.BadZipFile,
        ElementTree.ParseError,
        EOFError,
        NotImplementedError,  # what zipfile raises for a way of packing that it does not know
        RuntimeError,
        zlib.error,
    ) as fault:
        raise ImportFailed(f"not a 3MF file, or cut short ({one_line(str(fault))})") from fault
    try:
        return _3mf_parts(root, stem)
    except (ValueError, TypeError, KeyError, RecursionError) as fault:
        raise ImportFailed("the 3MF model is damaged: a number or a reference is missing") from fault


def _3mf_parts(root: Any, stem: str) -> list[Part]:
    scale = _MM[_3MF_UNITS[root.get("unit", "millimeter")]]
    objects = {node.get("id"): node for node in root.iter() if _tag(node) == "object"}
    out: list[Part] = []

    def place(node: Any, pose: Array, name: str, depth: int) -> None:
        if depth > 32:
            raise ValueError("components nest too deep")
        label = node.get("name") or name
        for child in node:
            if _tag(child) == "mesh":
                corners = [[float(v.get(axis)) for axis in "xyz"] for v in child.iter() if _tag(v) == "vertex"]
                ends = [[int(t.get(k)) for k in ("v1", "v2", "v3")] for t in child.iter() if _tag(t) == "triangle"]
                points = np.array(corners).reshape(-1, 3) @ pose[:3] + pose[3]
                out.append((label, points * scale, np.array(ends, dtype=np.int64).reshape(-1, 3)))
            elif _tag(child) == "components":
                for part in child:
                    own = _3mf_pose(part.get("transform"))
                    place(objects[part.get("objectid")], _stacked(own, pose), label, depth + 1)

    items = [node for node in root.iter() if _tag(node) == "item"]
    for item in items:
        place(objects[item.get("objectid")], _3mf_pose(item.get("transform")), stem, 0)
    return out


def _3mf_pose(text: str | None) -> Array:
    """A 3MF transform as (4, 3): rows multiply row vectors, the last is the shift."""
    if not text:
        return np.vstack([np.eye(3), np.zeros(3)])
    values = np.array([float(word) for word in text.split()])
    return values.reshape(4, 3)


def _stacked(inner: Array, outer: Array) -> Array:
    return np.vstack([inner[:3] @ outer[:3], inner[3] @ outer[:3] + outer[3]])


def _tag(node: Any) -> str:
    return str(node.tag).rpartition("}")[2]


_READERS: dict[str, Callable[[bytes, str, float], list[Part]]] = {
    ".stl": _read_stl,
    ".obj": _read_obj,
    ".3mf": _read_3mf,
}
