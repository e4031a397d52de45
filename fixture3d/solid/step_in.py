"""Solids from files: STEP with its assembly transforms and names, meshes with a stated unit. Answers are in mm.

A file is read by the kernel once. With a cache, names and volumes are remembered under the content of the file,
so that an unchanged file is not even parsed again; each solid's mesh is kept by `Shape` in the same way.
"""

from __future__ import annotations

import hashlib
import re
from collections import OrderedDict
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from fixture3d.cache import content_key
from fixture3d.errors import BadSolid, ImportFailed, one_line
from fixture3d.stock.section import STEEL

if TYPE_CHECKING:
    from fixture3d.cache import Store
    from fixture3d.solid.shape import Shape

_VERSION = "2"
_MESHES = (".stl", ".obj", ".3mf")
SMALLEST, FARTHEST = 0.3, 30_000.0  # mm
LARGEST_FILE = 200_000_000  # bytes; larger ones are refused, because the kernel would take minutes and gigabytes
_KEPT = 4  # files whose solids stay in memory
_read: OrderedDict[str, tuple[list[tuple[str, Any]], int]] = OrderedDict()

# Names that programs give to parts when nobody has: they say less than the part's own name.
_NO_NAME = re.compile(r"(NAUO\d*|=>\[.*\]|\[.*\]|[\d:.\-]*|SOLID|COMPOUND|ASSEMBLY|Open CASCADE .*)", re.IGNORECASE)


@dataclass(frozen=True, kw_only=True)
class ImportedSolid:
    """One solid of a file, in the file's outermost frame, mm.

    Attributes:
        name: as the file has it; unique within the file.
        key: of the content of the file and the solid's number in it.
        volume: mm3.
        path: the file.
        index: number of the solid in the file, from 0.
        unit: stated unit of an STL, else "".
        notes: what a reader should know about it.
    """

    name: str
    key: str
    volume: float
    path: Path
    index: int
    unit: str = ""
    notes: tuple[str, ...] = ()

    @property
    def mass(self) -> float:
        """Mass in kg if it is of steel."""
        return self.volume * STEEL * 1e-9

    def load(self) -> Any:
        """The solid: a ``TopoDS_Shape``, or a mesh of an STL.

        Raises:
            ImportFailed: the file cannot be read any more, or it has changed.
        """
        data = _bytes(self.path)
        if _file_key(data, self.unit) != self.key.rpartition(" ")[0]:
            raise ImportFailed(f"{_shown(self.path)} changed while it was in use; run again")
        solids, _ = _parsed(self.path, data, self.unit)
        return solids[self.index][1]

    def shape(self, store: Store | None = None) -> Shape:
        """The solid as a lazy, cached shape."""
        from fixture3d.solid.shape import Shape

        return Shape(self.key, self.load, store)


def read_solids(path: Path, unit: str | None = None, store: Store | None = None) -> list[ImportedSolid]:
    """Every solid of a STEP, STL, OBJ or 3MF file.

    Args:
        path: the file; its ending says what it is.
        unit: unit of the numbers of an STL or OBJ, ``mm``, ``cm``, ``m``, ``in`` or ``ft``; STEP and 3MF carry
            their own.
        store: cache.

    Raises:
        ImportFailed: the file cannot be used; one line says why.
    """
    ending = path.suffix.lower()
    if ending in _MESHES:
        if unit is None and ending != ".3mf":
            raise ImportFailed(
                f'{_shown(path)} has no unit of its own; expected unit = "mm" or unit = "in" beside file'
            )
        unit = unit or "mm"
    elif ending not in (".step", ".stp"):
        raise ImportFailed(f"{_shown(path)} is not a file of solids; expected one that ends in .step, .stp or .stl")
    elif unit is not None:
        raise ImportFailed(f"{_shown(path)} carries its own unit; leave unit = out")
    data = _bytes(path)
    key = _file_key(data, unit or "")
    known = store.get_json(key, "solids") if store is not None else None
    if known is None:
        solids, loose = _parsed(path, data, unit or "")
        for name, solid in solids:
            _sized(path, name, solid)
        known = {"solids": [[name, _volume(solid)] for name, solid in solids], "loose": loose}
        if store is not None:
            store.put_json(key, "solids", known)
    note = f"{known['loose']} loose surfaces of {path.name} are left out: only solids are read"
    return [
        ImportedSolid(
            name=name,
            key=f"{key} {index}",
            volume=volume,
            path=path,
            index=index,
            unit=unit or "",
            notes=(note,) if known["loose"] and index == 0 else (),
        )
        for index, (name, volume) in enumerate(known["solids"])
    ]


def read_step(path: Path, store: Store | None = None) -> list[ImportedSolid]:
    """Every solid of a STEP file; see :func:`read_solids`."""
    return read_solids(path, None, store)


def _bytes(path: Path) -> bytes:
    try:
        if path.stat().st_size > LARGEST_FILE:
            raise ImportFailed(
                f"{_shown(path)} is larger than {LARGEST_FILE // 1_000_000} MB; "
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
        names = [p.name for p in path.parent.iterdir() if p.suffix.lower() in (".step", ".stp", ".stl")]
    except OSError:
        return ""
    near = nearest_name(path.name, names)
    return f"; nearest: {near}" if near else ""


def _file_key(data: bytes, unit: str) -> str:
    return content_key(["solids of a file", _VERSION, unit, hashlib.sha256(data).digest()])


def _parsed(path: Path, data: bytes, unit: str) -> tuple[list[tuple[str, Any]], int]:
    """Name and solid of each solid of the file, and how many loose surfaces it has beside them."""
    key = _file_key(data, unit)
    if key not in _read:
        if not data.strip():
            raise ImportFailed(f"{_shown(path)} is empty; expected a STEP or STL file")
        found = (_from_mesh(path, unit), 0) if unit else _from_step(path, data)
        _read[key] = found
        while len(_read) > _KEPT:
            _read.popitem(last=False)
    return _read[key]


def _from_mesh(path: Path, unit: str) -> list[tuple[str, Any]]:
    from fixture3d.solid.mesh import load_mesh_file

    used: set[str] = set()
    try:
        return [(_unique(_clean(name), used), mesh) for name, mesh in load_mesh_file(path, unit)]
    except BadSolid as fault:
        raise ImportFailed(str(fault)) from None


def _from_step(path: Path, data: bytes) -> tuple[list[tuple[str, Any]], int]:
    head, tail = data[:2000], data[-2000:]
    if b"ISO-10303-21" not in head:
        raise ImportFailed(f"{_shown(path)} is not a STEP file: it does not begin with ISO-10303-21")
    if b"END-ISO-10303-21" not in tail:
        raise ImportFailed(f"{_shown(path)} is cut short: its last line END-ISO-10303-21 is missing; export it again")
    lost = _dangling(data)
    if lost:
        raise ImportFailed(
            f"{_shown(path)} is damaged: it refers to entity #{lost}, which is not in it; export it again"
        )
    from fixture3d.solid import kernel

    with kernel.quiet():
        try:
            document, tool, labels = _document(path)
            placed = [found for label in labels for found in _leaves(tool, label, None, "")]
        except ImportFailed:
            raise
        except Exception:  # the kernel raises its own Standard_Failure tree
            raise ImportFailed(f"{_shown(path)} cannot be read: the kernel gave up on it; export it again") from None
    del document  # the kernel frees it with its last handle, so it had to outlive its labels
    return _solids(path, placed)


def _dangling(data: bytes) -> int:
    """The lowest entity that the file refers to and does not define; 0 when there is none.

    The kernel leaves out what it cannot follow, and a part would be missing without a word.
    """
    plain = re.sub(rb"'[^']*'", b"", data)
    defined = set(re.findall(rb"#(\d+)\s*=", plain))
    return min((int(n) for n in set(re.findall(rb"#(\d+)", plain)) - defined), default=0)


def _document(path: Path) -> tuple[Any, Any, list[Any]]:
    """The document read from the file, its shape tool, and the labels of its outermost shapes."""
    from OCP.IFSelect import IFSelect_RetDone
    from OCP.Interface import Interface_Static
    from OCP.STEPCAFControl import STEPCAFControl_Reader
    from OCP.TCollection import TCollection_ExtendedString
    from OCP.TDF import TDF_LabelSequence
    from OCP.TDocStd import TDocStd_Document
    from OCP.XCAFApp import XCAFApp_Application
    from OCP.XCAFDoc import XCAFDoc_DocumentTool

    document = TDocStd_Document(TCollection_ExtendedString("MDTV-XCAF"))
    XCAFApp_Application.GetApplication_s().InitDocument(document)
    XCAFDoc_DocumentTool.SetLengthUnit_s(document, 0.001)  # metres: everything comes out in mm
    reader = STEPCAFControl_Reader()
    reader.SetNameMode(True)
    reader.SetColorMode(False)
    reader.SetLayerMode(False)
    # A setting of the whole process, which another user of the kernel may have left at inches.
    before = Interface_Static.CVal_s("xstep.cascade.unit")
    Interface_Static.SetCVal_s("xstep.cascade.unit", "MM")
    try:
        done = reader.ReadFile(str(path)) == IFSelect_RetDone and reader.Transfer(document)
    finally:
        Interface_Static.SetCVal_s("xstep.cascade.unit", before)
    if not done:
        raise ImportFailed(f"{_shown(path)} holds no shapes that can be read; export it again as STEP AP214 or AP242")
    tool = XCAFDoc_DocumentTool.ShapeTool_s(document.Main())
    free = TDF_LabelSequence()
    tool.GetFreeShapes(free)
    return document, tool, [free.Value(i) for i in range(1, free.Length() + 1)]


def _leaves(tool: Any, label: Any, location: Any, name: str) -> Iterator[tuple[str, Any]]:
    """Name and placed shape of every part under a label, down through nested assemblies."""
    from OCP.TDF import TDF_Label, TDF_LabelSequence
    from OCP.TopLoc import TopLoc_Location

    here = location if location is not None else TopLoc_Location()
    if not tool.IsAssembly_s(label):
        yield _better(name, _name_of(label)), tool.GetShape_s(label).Moved(here)
        return
    parts = TDF_LabelSequence()
    tool.GetComponents_s(label, parts)
    for i in range(1, parts.Length() + 1):
        part = parts.Value(i)
        original = TDF_Label()
        if not tool.GetReferredShape_s(part, original):
            continue
        yield from _leaves(tool, original, here * tool.GetLocation_s(part), _name_of(part))


def _name_of(label: Any) -> str:
    from OCP.TDataStd import TDataStd_Name

    attribute = TDataStd_Name()
    if label.FindAttribute(TDataStd_Name.GetID_s(), attribute):
        return str(attribute.Get().ToExtString())
    return ""


def _better(instance: str, part: str) -> str:
    """The name of one use of a part if somebody gave it one, else the part's own."""
    given = [name for name in (instance, part) if not _NO_NAME.fullmatch(name.strip())]
    return given[0] if given else ""


def _solids(path: Path, placed: list[tuple[str, Any]]) -> tuple[list[tuple[str, Any]], int]:
    from OCP.TopAbs import TopAbs_FACE, TopAbs_SOLID
    from OCP.TopExp import TopExp_Explorer

    from fixture3d.solid import kernel

    out: list[tuple[str, Any]] = []
    used: set[str] = set()
    loose = 0
    for name, shape in placed:
        explorer = TopExp_Explorer(shape, TopAbs_FACE, TopAbs_SOLID)
        while explorer.More():
            loose += 1
            explorer.Next()
        for solid in kernel.split_solids(shape):
            title = _unique(_clean(name or path.stem), used)
            try:
                out.append((title, kernel.one_solid(solid)))
            except BadSolid as fault:
                raise ImportFailed(f'{_shown(path)}: solid "{title}": {fault}') from None
    if not out:
        what = "only surfaces" if loose else "nothing that has an inside"
        raise ImportFailed(f"{_shown(path)} holds no solid, {what}; expected closed solids: export the model as solids")
    return out, loose


def _clean(name: str) -> str:
    """A name that can stand in a scene, on a sheet and in a file name."""
    from fixture3d.scene.fields import LONGEST_NAME, name_fault

    text = "".join(c if c.isprintable() else " " for c in name)
    text = re.sub(r'[<>:"/\\|?*]+', "-", " ".join(text.split())).strip(" .-")[: LONGEST_NAME - 6].strip(" .")
    return text if text and not name_fault(text) else f"part {text}".strip() if text else "part"


def _unique(name: str, used: set[str]) -> str:
    number, title = 1, name
    while title.casefold() in used:
        number += 1
        title = f"{name} {number}"
    used.add(title.casefold())
    return title


def _volume(solid: Any) -> float:
    from fixture3d.solid import kernel
    from fixture3d.solid.mesh import Mesh

    return solid.volume if isinstance(solid, Mesh) else kernel.volume(solid)


def _sized(path: Path, name: str, solid: Any) -> None:
    """Refuse a solid of a size or at a place that only a wrong unit or zero point explains.

    Raises:
        ImportFailed: one line.
    """
    from fixture3d.solid import kernel
    from fixture3d.solid.mesh import Mesh

    low, high = solid.box if isinstance(solid, Mesh) else kernel.box(solid)
    size, far = float((high - low).max()), float(max(abs(low).max(), abs(high).max()))
    whose = f'{_shown(path)}: solid "{name}"'
    if size < SMALLEST:
        raise ImportFailed(f"{whose} is {size:.3g} mm large: a wrong unit?; expected at least {SMALLEST:g} mm")
    if far > FARTHEST:
        raise ImportFailed(
            f"{whose} reaches {far / 1000:.0f} m from the file's zero point: a wrong unit?; expected at most 30 m"
        )


def _shown(path: Path) -> str:
    return one_line(path.name)
