"""Solids from files: STEP and IGES with transforms, names and colours, meshes with their unit. Answers are in mm.

A file is read by the kernel once. With a cache, names and volumes are remembered under the content of the file,
so that an unchanged file is not even parsed again; each solid's mesh is kept by `Shape` in the same way.
"""

from __future__ import annotations

import hashlib
from collections import OrderedDict
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from fixture3d.cache import content_key
from fixture3d.errors import BadSolid, ImportFailed, one_line
from fixture3d.solid.names import clean, unique
from fixture3d.stock.section import STEEL
from fixture3d.tolerance import FILES

if TYPE_CHECKING:
    from fixture3d.cache import Store
    from fixture3d.solid.assembly import Colour
    from fixture3d.solid.mesh import Mesh
    from fixture3d.solid.shape import Shape

_VERSION = "3"
_MESHES = (".stl", ".obj", ".3mf")
_IGES = (".igs", ".iges")
_ENDINGS = (".step", ".stp", *_IGES, *_MESHES)
SMALLEST, FARTHEST = 0.3, 30_000.0  # mm
_KEPT = 4  # files whose solids stay in memory


@dataclass(frozen=True)
class _Found:
    """One solid of a file as it was read; ``solid`` is a `Mesh`, or bytes for ``kernel.brep_from_bytes``."""

    name: str
    solid: Mesh | bytes
    volume: float
    box: Sequence[Sequence[float]]
    colour: Colour | None = None
    notes: tuple[str, ...] = ()


_read: OrderedDict[str, list[_Found]] = OrderedDict()


@dataclass(frozen=True, kw_only=True)
class ImportedSolid:
    """One solid of a file, in the file's outermost frame, mm.

    Attributes:
        name: as the file has it; unique within the file.
        key: of the content of the file and the solid's number in it.
        volume: mm3.
        path: the file.
        index: number of the solid in the file, from 0.
        unit: unit that the scene states for a mesh, else "".
        colour: of the solid in the file, sRGB from 0 to 1; None where the file gives none.
        notes: what a reader should know about it.
    """

    name: str
    key: str
    volume: float
    path: Path
    index: int
    unit: str = ""
    colour: Colour | None = None
    notes: tuple[str, ...] = ()

    @property
    def mass(self) -> float:
        """Mass in kg if it is of steel."""
        return self.volume * STEEL * 1e-9

    def load(self) -> Any:
        """The solid: a ``TopoDS_Shape``, or the `Mesh` of a mesh file.

        Raises:
            ImportFailed: the file cannot be read any more, or it has changed.
        """
        data = _bytes(self.path)
        if _file_key(self.path, data, self.unit) != self.key.rpartition(" ")[0]:
            raise ImportFailed(f"{_shown(self.path)} changed while it was in use; run again")
        solid = _parsed(self.path, data, self.unit)[self.index].solid
        if not isinstance(solid, bytes):
            return solid
        from fixture3d.solid import kernel

        return kernel.brep_from_bytes(solid)

    def shape(self, store: Store | None = None) -> Shape:
        """The solid as a lazy, cached shape."""
        from fixture3d.solid.shape import Shape

        return Shape(self.key, self.load, store)


def read_solids(path: Path, unit: str | None = None, store: Store | None = None) -> list[ImportedSolid]:
    """Every solid of a STEP, IGES, STL, OBJ or 3MF file; repaired where that is provable, and then it says so.

    Args:
        path: the file; its ending says what it is.
        unit: unit of the numbers of an STL or OBJ, ``mm``, ``cm``, ``m``, ``in`` or ``ft``; the others carry
            their own, which the unit of a 3MF may repeat.
        store: cache.

    Raises:
        ImportFailed: the file cannot be used; one line says why.
    """
    ending = path.suffix.casefold()
    if ending not in _ENDINGS:
        raise ImportFailed(
            f"{_shown(path)} is not a file of solids; expected one that ends in {', '.join(_ENDINGS[:-1])} or .3mf"
        )
    if ending not in _MESHES and unit is not None:
        raise ImportFailed(f"{_shown(path)} carries its own unit; leave unit = out")
    if ending in (".stl", ".obj") and unit is None:
        raise ImportFailed(f'{_shown(path)} has no unit of its own; expected unit = "mm" or unit = "in" beside file')
    data = _bytes(path)
    key = _file_key(path, data, unit or "")
    listed = _listed_key(path, key)
    known = store.get_json(listed, "solids") if store is not None else None
    if known is None:
        found = _parsed(path, data, unit or "")
        for one in found:
            _sized(path, one)
        known = {"solids": [[one.name, one.volume, one.colour, list(one.notes)] for one in found]}
        if store is not None:
            store.put_json(listed, "solids", known)
    return [
        ImportedSolid(
            name=name,
            key=f"{key} {index}",
            volume=volume,
            path=path,
            index=index,
            unit=unit or "",
            colour=None if colour is None else (colour[0], colour[1], colour[2]),
            notes=tuple(notes),
        )
        for index, (name, volume, colour, notes) in enumerate(known["solids"])
    ]


def read_step(path: Path, store: Store | None = None) -> list[ImportedSolid]:
    """Every solid of a STEP file; see :func:`read_solids`."""
    return read_solids(path, None, store)


def _bytes(path: Path) -> bytes:
    try:
        if path.stat().st_size > FILES.bytes:
            raise ImportFailed(
                f"{_shown(path)} is larger than {FILES.bytes // 1_000_000} MB; "
                "export the weldment alone, without threads, logos and fasteners"
            )
        return path.read_bytes()
    except FileNotFoundError:
        near = _neighbour(path)
        raise ImportFailed(f"{_shown(path)} does not exist{near}") from None
    except OSError as fault:
        raise ImportFailed(f"{_shown(path)} cannot be read: {fault.strerror or 'no access'}") from None


def _neighbour(path: Path) -> str:
    from fixture3d.errors import nearest_name

    try:
        names = [p.name for p in path.parent.iterdir() if p.suffix.casefold() in _ENDINGS]
    except OSError:
        return ""
    near = nearest_name(path.name, names)
    return f"; nearest: {near}" if near else ""


def _file_key(path: Path, data: bytes, unit: str) -> str:
    kind = path.suffix.casefold()
    return content_key(["solids of a file", _VERSION, kind, unit, hashlib.sha256(data).digest()])


def _listed_key(path: Path, key: str) -> str:
    """The key of the list of solids: parts without a name are called after the file."""
    return content_key(["list of solids", key, path.name])


def _parsed(path: Path, data: bytes, unit: str) -> list[_Found]:
    """Each solid of the file."""
    key = _listed_key(path, _file_key(path, data, unit))
    if key not in _read:
        if not data.strip():
            raise ImportFailed(f"{_shown(path)} is empty; expected a file of solids")
        found = _from_mesh(path, data, unit) if path.suffix.casefold() in _MESHES else _from_kernel(path, data)
        if len(found) > FILES.solids:
            raise ImportFailed(
                f"{_shown(path)} holds {len(found)} solids; expected at most {FILES.solids}: export the weldment "
                "alone, without fasteners"
            )
        _read[key] = found
        while len(_read) > _KEPT:
            _read.popitem(last=False)
    return _read[key]


def _from_mesh(path: Path, data: bytes, unit: str) -> list[_Found]:
    from fixture3d.solid.meshfile import parse

    used: set[str] = set()
    try:
        found = parse(data, path, unit or None)
    except BadSolid as fault:
        raise ImportFailed(str(fault)) from None
    return [
        _Found(
            unique(clean(name), used),
            solid.mesh,
            solid.mesh.volume,
            solid.mesh.box.tolist(),
            notes=(solid.note,) if solid.note else (),
        )
        for name, solid in found
    ]


def _from_kernel(path: Path, data: bytes) -> list[_Found]:
    from fixture3d.solid import reading
    from fixture3d.solid.cad_text import iges_fault, step_fault

    wrong = (iges_fault if path.suffix.casefold() in _IGES else step_fault)(data)
    if wrong:
        raise ImportFailed(f"{_shown(path)} {wrong}")
    try:
        found = reading.read(path)
    except ImportFailed as fault:
        raise ImportFailed(f"{_shown(path)} {fault}") from None
    return [_Found(one.name, one.brep, one.volume, one.box, one.colour, one.notes) for one in found]


def _sized(path: Path, found: _Found) -> None:
    """Refuse a solid of a size or at a place that only a wrong unit or zero point explains.

    Raises:
        ImportFailed: one line.
    """
    low, high = np.asarray(found.box)
    size, far = float((high - low).max()), float(max(abs(low).max(), abs(high).max()))
    whose = f'{_shown(path)}: solid "{found.name}"'
    if size < SMALLEST:
        raise ImportFailed(f"{whose} is {size:.3g} mm large: a wrong unit?; expected at least {SMALLEST:g} mm")
    if far > FARTHEST:
        raise ImportFailed(
            f"{whose} reaches {far / 1000:.0f} m from the file's zero point: a wrong unit?; expected at most 30 m"
        )


def _shown(path: Path) -> str:
    return one_line(path.name)
