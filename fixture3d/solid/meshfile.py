"""Mesh files read into solids: STL (binary and text), OBJ and 3MF.

The readers are small and strict on purpose: a truncated or foreign file gives one sentence, never half a mesh.
"""

from __future__ import annotations

import re
import struct
from collections.abc import Callable
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from fixture3d.errors import BadSolid, ImportFailed, one_line
from fixture3d.solid.mesh import MOST_TRIANGLES, open_edge_count, weld
from fixture3d.solid.mesh3mf import read_3mf
from fixture3d.solid.meshshells import MeshSolid, solids
from fixture3d.tolerance import FILES
from fixture3d.units import length

Array = NDArray[np.float64]
Longs = NDArray[np.int64]
Part = tuple[str, Array, Longs]

_MM = {"um": 0.001} | {unit: length(f"1 {unit}") for unit in ("mm", "cm", "m", "in", "ft")}


def read(path: str | Path, unit: str | None) -> list[tuple[str, MeshSolid]]:
    """Name and mesh of each solid of a mesh file; see `mesh.load_mesh_file`.

    Args:
        path: the file.
        unit: what a length of 1 in the file means; may be left out for a 3MF, which states its own.
    """
    file = Path(path)
    shown = one_line(str(path))
    reader = _READERS.get(file.suffix.casefold())
    if reader is None:
        raise ImportFailed(f'{shown}: mesh files end in .stl, .obj or .3mf, not "{one_line(file.suffix)}"')
    try:
        if not file.is_file():
            raise ImportFailed(f"{shown}: no such file")
        if file.stat().st_size > FILES.bytes:
            size = FILES.bytes // 1_000_000
            raise ImportFailed(f"{shown}: larger than {size} MB; export it coarser (0.05 mm is plenty for a fixture)")
        data = file.read_bytes()
    except OSError as fault:
        raise ImportFailed(f"{shown}: cannot be read ({fault.strerror})") from fault
    return parse(data, file, unit)


def parse(data: bytes, file: Path, unit: str | None) -> list[tuple[str, MeshSolid]]:
    """As `read`, of bytes that are in memory already; ``file`` gives the kind, and the name in messages.

    Raises:
        ImportFailed: as `read` does.
        BadSolid: as `read` does.
    """
    shown, ending = one_line(file.name), file.suffix.casefold()
    if unit is not None and unit not in _MM:
        raise ImportFailed(f'{shown}: unit "{one_line(unit)}" is not known; expected one of {", ".join(_MM)}')
    if unit is None and ending != ".3mf":
        raise ImportFailed(f'{shown} has no unit of its own; expected unit = "mm" or unit = "in" beside file')
    if not data:
        raise ImportFailed(f"{shown}: the file is empty")
    parts: list[Part] = []
    found: list[tuple[str, MeshSolid]] = []
    try:
        parts = _READERS[ending](data, file.stem, unit)
        for name, vertices, faces in parts:
            found += [(name, solid) for solid in _named(name, vertices, faces, len(parts) > 1)]
            if len(found) > FILES.solids:
                raise BadSolid(f"more than {FILES.solids} solids; export the weldment alone, without fasteners")
    except BadSolid as fault:
        raise BadSolid(f"{shown}: {fault}") from fault
    except ImportFailed as fault:
        raise ImportFailed(f"{shown}: {fault}") from fault
    if not found:
        raise ImportFailed(f"{shown}: the file holds no triangles")
    return found


def _named(name: str, vertices: Array, faces: Longs, several: bool) -> list[MeshSolid]:
    """The solids of one object; a fault names the object when the file has several."""
    try:
        return solids(vertices, faces)
    except BadSolid as fault:
        raise BadSolid(f'object "{one_line(name)}": {fault}' if several else str(fault)) from fault


def _read_stl(data: bytes, stem: str, unit: str | None) -> list[Part]:
    scale = _MM[str(unit)]
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
    with np.errstate(invalid="ignore"):  # what is not a number is refused with its reason later
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


def _read_obj(data: bytes, stem: str, unit: str | None) -> list[Part]:
    """Objects (``o``) are parts; groups (``g``) are too when every one of them is closed by itself."""
    vertices: list[tuple[float, float, float]] = []
    rings: list[list[int]] = []
    labels: list[tuple[str, str]] = []
    name, group = "", ""
    for number, line in enumerate(_lines(data), start=1):
        words = line.split()
        if not words:
            continue
        try:
            if words[0] == "v":
                vertices.append((float(words[1]), float(words[2]), float(words[3])))
            elif words[0] == "o":
                name, group = " ".join(words[1:]), ""
            elif words[0] == "g":
                group = " ".join(words[1:])
            elif words[0] == "f":
                rings.append(_ring(words[1:], len(vertices)))
                labels.append((name, group))
        except (ValueError, IndexError, OverflowError) as fault:
            raise ImportFailed(f"line {number} cannot be read as OBJ") from fault
    if not rings:
        raise ImportFailed("the file holds no triangles")
    points = np.array(vertices, dtype=np.float64).reshape(-1, 3) * _MM[str(unit)]
    if max(max(ring) for ring in rings) >= len(points):
        raise ImportFailed(f"a face names vertex {max(max(ring) for ring in rings) + 1} of {len(points)}")
    return _obj_parts(points, rings, labels, stem)


def _lines(data: bytes) -> list[str]:
    """The lines of an OBJ; one that ends in a backslash goes on in the next."""
    text = data.decode("utf-8", "replace")
    return re.sub(r"\\\r?\n", " ", text).splitlines() if "\\" in text else text.splitlines()


def _ring(words: list[str], known: int) -> list[int]:
    """Corner numbers of a face from 0; negative ones count back from the last vertex."""
    ring = [int(word.split("/")[0]) for word in words]
    ring = [k - 1 if k > 0 else known + k for k in ring]
    if len(ring) < 3 or min(ring) < 0 or 0 in [int(word.split("/")[0]) for word in words]:
        raise ValueError
    return ring


def _obj_parts(points: Array, rings: list[list[int]], labels: list[tuple[str, str]], stem: str) -> list[Part]:
    by_object: dict[str, list[int]] = {}
    for k, (name, _) in enumerate(labels):
        by_object.setdefault(name, []).append(k)
    out: list[Part] = []
    for name, members in by_object.items():
        by_group: dict[str, list[int]] = {}
        for k in members:
            by_group.setdefault(labels[k][1], []).append(k)
        parts = {label or name or stem: _fans(points, [rings[k] for k in own]) for label, own in by_group.items()}
        whole = len(parts) == len(by_group) > 1 and all(_closes(points, faces) for faces in parts.values())
        if not whole:
            title = name or (next(iter(by_group)) if len(by_group) == 1 else "") or stem
            parts = {title: _fans(points, [rings[k] for k in members])}
        out += [(label, points, faces) for label, faces in parts.items()]
    return out


def _closes(points: Array, faces: Longs) -> bool:
    merged, welded = weld(points, faces, 0.0)
    return len(welded) > 0 and open_edge_count(welded, len(merged)) == 0


def _fans(points: Array, rings: list[list[int]]) -> Longs:
    """Triangles of faces with any number of corners."""
    out: list[tuple[int, int, int]] = []
    for ring in rings:
        if len(ring) == 3:
            out.append((ring[0], ring[1], ring[2]))
        else:
            out += _cut_up(points, ring)
    return np.array(out, dtype=np.int64).reshape(-1, 3)


def _cut_up(points: Array, ring: list[int]) -> list[tuple[int, int, int]]:
    """A fan from the first corner where the face is convex there, else ears."""
    corners = points[ring]
    spokes = corners[1:] - corners[0]
    normals = np.cross(spokes[:-1], spokes[1:])
    along = normals.sum(axis=0)
    if (normals @ along >= 0.0).all() or not np.isfinite(along).all():
        return [(ring[0], ring[k], ring[k + 1]) for k in range(1, len(ring) - 1)]
    import manifold3d

    axes = np.linalg.svd(along.reshape(1, 3))[2]
    flat = (corners - corners[0]) @ axes[1:].T
    if float(np.cross(axes[1], axes[2]) @ along) < 0.0:
        flat[:, 1] = -flat[:, 1]
    found = np.asarray(manifold3d.triangulate([flat]), dtype=np.int64)
    return [(ring[a], ring[b], ring[c]) for a, b, c in found.tolist()]


def _read_3mf(data: bytes, stem: str, unit: str | None) -> list[Part]:
    return read_3mf(data, stem, unit, _MM)


_READERS: dict[str, Callable[[bytes, str, str | None], list[Part]]] = {
    ".stl": _read_stl,
    ".obj": _read_obj,
    ".3mf": _read_3mf,
}
