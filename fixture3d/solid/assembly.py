"""STEP and IGES files as the kernel reads them: every use of every part in its place, with path, name and colour."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from fixture3d.errors import BadSolid, ImportFailed
from fixture3d.tolerance import FILES

Colour = tuple[float, float, float]

# Names that programs give to parts when nobody has: they say less than the part's own name.
_NO_NAME = re.compile(
    r"(NAUO\d*|=>\[.*\]|\[.*\]|[\d:.\-]*|SOLID|COMPOUND|SHELL|FACE|ASSEMBLY|Open CASCADE .*)", re.IGNORECASE
)


@dataclass(frozen=True)
class Leaf:
    """One use of a part.

    Attributes:
        path: names of the assemblies round it, outermost first, then its own; "" where there is none.
        shape: the ``TopoDS_Shape`` in the outermost frame, mm.
        colours: sRGB, 0 to 1, of each solid in it, in the kernel's order; of the whole when there is no solid.
    """

    path: tuple[str, ...]
    shape: Any
    colours: tuple[Colour | None, ...]


def leaves(path: Path, iges: bool = False) -> list[Leaf]:
    """Every use of a part in a file, down through nested assemblies.

    Raises:
        ImportFailed: the kernel finds no shape in it.
        BadSolid: an instance is scaled.
    """
    document = _document(path, iges)
    from OCP.XCAFDoc import XCAFDoc_DocumentTool

    tool = XCAFDoc_DocumentTool.ShapeTool_s(document.Main())
    colours = XCAFDoc_DocumentTool.ColorTool_s(document.Main())
    # The kernel frees the document with its last handle, so it has to outlive its labels.
    return [leaf for label in _free(tool) for leaf in _walk(tool, colours, label, _Use(), 0)]


def _document(path: Path, iges: bool) -> Any:
    from OCP.IFSelect import IFSelect_RetDone
    from OCP.IGESCAFControl import IGESCAFControl_Reader
    from OCP.Interface import Interface_Static
    from OCP.STEPCAFControl import STEPCAFControl_Reader
    from OCP.TCollection import TCollection_ExtendedString
    from OCP.TDocStd import TDocStd_Document
    from OCP.XCAFApp import XCAFApp_Application
    from OCP.XCAFDoc import XCAFDoc_DocumentTool

    document = TDocStd_Document(TCollection_ExtendedString("MDTV-XCAF"))
    XCAFApp_Application.GetApplication_s().InitDocument(document)
    XCAFDoc_DocumentTool.SetLengthUnit_s(document, 0.001)  # metres: everything comes out in mm
    reader = IGESCAFControl_Reader() if iges else STEPCAFControl_Reader()
    reader.SetNameMode(True)
    reader.SetColorMode(True)
    reader.SetLayerMode(False)
    # A setting of the whole process, which another user of the kernel may have left at inches.
    before = Interface_Static.CVal_s("xstep.cascade.unit")
    Interface_Static.SetCVal_s("xstep.cascade.unit", "MM")
    try:
        done = reader.ReadFile(str(path)) == IFSelect_RetDone and reader.Transfer(document)
    finally:
        Interface_Static.SetCVal_s("xstep.cascade.unit", before)
    if not done:
        other = "as STEP AP214 or AP242" if not iges else "as STEP"
        raise ImportFailed(f"holds no shapes that can be read; export it again {other}")
    return document


def _free(tool: Any) -> list[Any]:
    from OCP.TDF import TDF_LabelSequence

    found = TDF_LabelSequence()
    tool.GetFreeShapes(found)
    return [found.Value(i) for i in range(1, found.Length() + 1)]


@dataclass(frozen=True)
class _Use:
    """One use of a label: its place as ``TopLoc_Location`` or None, the names above it, the colour it inherits."""

    location: Any = None
    path: tuple[str, ...] = ()
    name: str = ""
    own: Colour | None = None
    inherited: Colour | None = None


def _walk(tool: Any, colours: Any, label: Any, use: _Use, depth: int) -> Iterator[Leaf]:
    from OCP.TDF import TDF_Label, TDF_LabelSequence
    from OCP.TopLoc import TopLoc_Location

    if depth > FILES.depth:
        raise ImportFailed(f"its assemblies nest deeper than {FILES.depth}; export the weldment alone")
    here = use.location if use.location is not None else TopLoc_Location()
    name = _better(use.name, _name_of(label))
    if not tool.IsAssembly_s(label):
        part = tool.GetShape_s(label)
        shape = _put(part, here)
        found = _colours_of(colours, label, part, use)
        yield Leaf((*use.path, name), shape, tuple(c or use.inherited for c in found))
        return
    parts = TDF_LabelSequence()
    tool.GetComponents_s(label, parts)
    # The outermost assembly is the file; its name says nothing about a part.
    path = (*use.path, name) if depth else ()
    inherited = use.own or _colour(colours, label) or use.inherited
    for i in range(1, parts.Length() + 1):
        component = parts.Value(i)
        original = TDF_Label()
        if not tool.GetReferredShape_s(component, original):
            continue
        inner = _Use(
            here * tool.GetLocation_s(component), path, _name_of(component), _colour(colours, component), inherited
        )
        yield from _walk(tool, colours, original, inner, depth + 1)


def _put(shape: Any, location: Any) -> Any:
    """A shape in its place; a mirrored place makes mirrored geometry.

    Raises:
        BadSolid: the place is scaled.
    """
    return upright(shape.Moved(location, False))


def upright(shape: Any) -> Any:
    """The shape with a mirrored location worked into its geometry, where every surface faces the right way again.

    Raises:
        BadSolid: the location is scaled.
    """
    from OCP.BRepBuilderAPI import BRepBuilderAPI_Transform
    from OCP.TopLoc import TopLoc_Location

    transform = shape.Location().Transformation()
    scale = float(transform.ScaleFactor())
    if abs(abs(scale) - 1.0) > 1e-9:
        raise BadSolid(f"holds an instance scaled by {abs(scale):.4g}; export it at its true size")
    if not transform.IsNegative():
        return shape
    return BRepBuilderAPI_Transform(shape.Located(TopLoc_Location()), transform, True).Shape()


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


def _colours_of(colours: Any, label: Any, part: Any, use: _Use) -> tuple[Colour | None, ...]:
    """The colour of each solid of a part: its own, else the part's, else that of most of its faces."""
    from fixture3d.solid import kernel

    whole = _colour(colours, label)
    pieces = kernel.split_solids(part) or [part]
    if use.own is not None:
        return (use.own,) * len(pieces)
    return tuple(_colour(colours, piece) or whole or _face_colour(colours, piece) for piece in pieces)


def _colour(colours: Any, of: Any) -> Colour | None:
    """The colour of a label or of a shape of the document, sRGB from 0 to 1."""
    from OCP.Quantity import Quantity_Color, Quantity_TOC_sRGB
    from OCP.TDF import TDF_Label
    from OCP.XCAFDoc import XCAFDoc_ColorGen, XCAFDoc_ColorSurf, XCAFDoc_ColorTool

    found = Quantity_Color()
    for kind in (XCAFDoc_ColorSurf, XCAFDoc_ColorGen):
        label = isinstance(of, TDF_Label)
        if XCAFDoc_ColorTool.GetColor_s(of, kind, found) if label else colours.GetColor(of, kind, found):
            r, g, b = found.Values(Quantity_TOC_sRGB)
            return (round(float(r), 4), round(float(g), 4), round(float(b), 4))
    return None


def _face_colour(colours: Any, solid: Any) -> Colour | None:
    """The colour that covers the largest part of the surface."""
    from OCP.TopAbs import TopAbs_FACE
    from OCP.TopExp import TopExp_Explorer

    from fixture3d.solid import kernel

    areas: dict[Colour, float] = {}
    explorer = TopExp_Explorer(solid, TopAbs_FACE)
    while explorer.More():
        colour = _colour(colours, explorer.Current())
        if colour is not None:
            areas[colour] = areas.get(colour, 0.0) + kernel.surface(explorer.Current())
        explorer.Next()
    return max(areas, key=lambda c: (areas[c], c)) if areas else None
