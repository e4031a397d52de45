"""Makes the STEP file of the tool trolley's base: ``python tests/make_trolley_step.py FILE``.

The weldment of ``scenes/tool_trolley.toml`` comes from a draughtsman's assembly: one side with its rail and two
plates for castors, used twice, the second time turned round; and one cross tube, used three times. Every part has
its colour. Millimetres; the origin is the outside front left corner at mid-height.
"""

from __future__ import annotations

import re
import sys
from pathlib import Path
from typing import Any

import cadquery as cq

LENGTH, WIDTH, SIDE, WALL, RADIUS = 690.0, 410.0, 40.0, 3.0, 6.0
PLATE = 8.0
PLATES_AT = (120.0, 420.0)
COLOURS = {"rail": (0.25, 0.4, 0.6), "plate": (0.85, 0.55, 0.2), "cross": (0.35, 0.55, 0.4)}


def tube(length: float) -> cq.Workplane:
    """Square tube from the origin along X, its corners rounded outside and inside."""
    outside = cq.Workplane("YZ").rect(SIDE, SIDE).extrude(length).edges("|X").fillet(RADIUS)
    bore = SIDE - 2.0 * WALL
    return outside.cut(cq.Workplane("YZ").rect(bore, bore).extrude(length).edges("|X").fillet(RADIUS - WALL))


def plate() -> cq.Workplane:
    """Plate for a castor's stem, lying flat, its long side along X from the origin."""
    return cq.Workplane("XY").rect(100.0, 60.0).extrude(PLATE).translate((50.0, 30.0, 0.0)).faces(">Z").hole(13.0)


def uses() -> tuple[tuple[str, cq.Location, tuple[tuple[str, cq.Location], ...]], ...]:
    """What the assembly holds: a name, its place, and the parts in it with their places."""
    low = -SIDE / 2.0 + RADIUS
    side = (
        ("rail", cq.Location((0.0, SIDE / 2.0, 0.0))),
        *(("plate", cq.Location((x, SIDE, low))) for x in PLATES_AT),
    )
    cross = [cq.Location((x, SIDE, 0.0), (0, 0, 1), 90) for x in (SIDE / 2.0, LENGTH / 2.0, LENGTH - SIDE / 2.0)]
    return (
        ("front side", cq.Location(), side),
        ("back side", cq.Location((LENGTH, WIDTH, 0.0), (0, 0, 1), 180), side),
        *(("cross", place, ()) for place in cross),
    )


def document() -> Any:
    """The assembly as the kernel keeps it: each part once, each use a reference to it."""
    from OCP.Quantity import Quantity_Color, Quantity_TOC_sRGB
    from OCP.TCollection import TCollection_ExtendedString
    from OCP.TDataStd import TDataStd_Name
    from OCP.TDocStd import TDocStd_Document
    from OCP.XCAFDoc import XCAFDoc_ColorSurf, XCAFDoc_DocumentTool

    made = TDocStd_Document(TCollection_ExtendedString("XmlOcaf"))
    tool = XCAFDoc_DocumentTool.ShapeTool_s(made.Main())
    painter = XCAFDoc_DocumentTool.ColorTool_s(made.Main())

    def named(label: Any, name: str) -> Any:
        TDataStd_Name.Set_s(label, TCollection_ExtendedString(name))
        return label

    solids = {"rail": tube(LENGTH), "plate": plate(), "cross": tube(WIDTH - 2.0 * SIDE)}
    parts = {name: named(tool.AddShape(solid.val().wrapped, False), name) for name, solid in solids.items()}
    for name, label in parts.items():
        painter.SetColor(label, Quantity_Color(*COLOURS[name], Quantity_TOC_sRGB), XCAFDoc_ColorSurf)
    top, side = named(tool.NewShape(), "trolley base"), named(tool.NewShape(), "side")
    for name, place in uses()[0][2]:
        named(tool.AddComponent(side, parts[name], place.wrapped), name)
    for name, place, inner in uses():
        named(tool.AddComponent(top, side if inner else parts[name], place.wrapped), name)
    tool.UpdateAssemblies()
    return made


def write(path: Path) -> None:
    """Write the file, without the time in its header, so that the same shapes are the same file."""
    from OCP.Interface import Interface_Static
    from OCP.Message import Message_ProgressRange
    from OCP.STEPCAFControl import STEPCAFControl_Writer
    from OCP.STEPControl import STEPControl_AsIs

    writer = STEPCAFControl_Writer()
    Interface_Static.SetIVal_s("write.surfacecurve.mode", 0)
    writer.SetColorMode(True)
    writer.SetNameMode(True)
    writer.Transfer(document(), STEPControl_AsIs, None, Message_ProgressRange())
    writer.Write(str(path))
    text = path.read_text(encoding="utf-8")
    head = "FILE_NAME('tool_trolley_base.step','2026-01-01T00:00:00'"
    text = re.sub(r"FILE_NAME\('[^']*','[^']*'", head, text, count=1)
    path.write_text(text, encoding="utf-8")


if __name__ == "__main__":
    if len(sys.argv) != 2:
        sys.exit("usage: python tests/make_trolley_step.py FILE")
    write(Path(sys.argv[1]))
