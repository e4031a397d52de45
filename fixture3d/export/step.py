"""A STEP assembly: one named product a body, in millimetres, the same bytes for the same setup.

The kernel writes the geometry; names and header are written here, because the kernel stamps the time into the
header, counts its own runs into names, and does not encode text as ISO 10303-21 asks.
"""

from __future__ import annotations

import itertools
import os
import re
import tempfile
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from fixture3d import __version__, output
from fixture3d.errors import OutputRefused
from fixture3d.export.step_colour import coloured
from fixture3d.frame import Array
from fixture3d.job import Job

_MARK = "fx3d{:06d}x"  # stands for a name until the kernel has written the file


@dataclass(frozen=True)
class Solid:
    """One body for a STEP file: its name, its ``TopoDS_Shape``, its place, (4, 4) mm, its colour, sRGB 0 to 1."""

    name: str
    shape: Any
    pose: Array
    colour: tuple[float, float, float] | None = None


@dataclass(frozen=True, kw_only=True)
class StepFile:
    """What was written.

    Attributes:
        path: of the file.
        bodies: names of the bodies in it.
        left_out: names of bodies that are only known as a mesh and so cannot be in a STEP file of solids.
    """

    path: Path
    bodies: tuple[str, ...]
    left_out: tuple[str, ...]

    @property
    def notes(self) -> tuple[str, ...]:
        """What the reader of the file should know is not in it, one sentence each."""
        out = ["The table and the space that clamps sweep are not in the file."]
        if self.left_out:
            out.append(f"Only known as a mesh, so not in the file: {', '.join(self.left_out)}.")
        return tuple(out)


def write_step(job: Job, path: str | os.PathLike[str], force: bool = False) -> StepFile:
    """Write every body of the setup as one assembly, world frame, mm.

    The table, and space that must only stay empty (the sweep of a clamp's arm), are not bodies of the file.

    Raises:
        OutputRefused: the file may not be written, or nothing is there that could be.
    """
    target = output.check_target(path, force)
    solids, left_out = [], []
    pieces = job.weldment.pieces if job.weldment is not None else ()
    colours = {piece.name: piece.colour for piece in pieces}
    for body in job.bodies:
        if body.role == "sweep":
            continue
        shape = body.shape.brep
        if shape is None:
            left_out.append(body.name)
        else:
            colour = colours.get(body.item) if body.role == "piece" else None
            solids.append(Solid(body.name, shape, body.body_to_world, colour))
    left_out += dict.fromkeys(bead.name for bead in job.beads)
    if not solids:
        raise OutputRefused(f"{target}: the setup has no solid body to write; expected at least one block")
    output.write_bytes(path, step_bytes(job.title or "setup", solids), force)
    return StepFile(path=Path(path), bodies=tuple(s.name for s in solids), left_out=tuple(left_out))


def step_bytes(title: str, solids: Sequence[Solid]) -> bytes:
    """A STEP file (AP214, mm) as bytes.

    Args:
        title: name of the assembly.
        solids: at least one.

    Raises:
        OutputRefused: the kernel cannot write one of them.
    """
    text = _written(_document(solids)).decode("utf-8", "replace").replace("\r\n", "\n")
    text = _steady(text)
    header = (
        f"FILE_NAME('{_MARK.format(0)}','1970-01-01T00:00:00',(''),(''),'Open CASCADE Technology',"
        f"'fixture3d {__version__}','');"
    )
    text, count = re.subn(r"FILE_NAME\(.*?\);", header, text, count=1, flags=re.DOTALL)
    if count != 1:
        raise OutputRefused("the CAD kernel wrote no STEP header; nothing was written")
    # The kernel numbers the uses of parts through all files of one process.
    uses = itertools.count(1)
    text = re.sub(r"(NEXT_ASSEMBLY_USAGE_OCCURRENCE\s*\(\s*)'\d+'", lambda m: f"{m[1]}'{next(uses)}'", text)
    text = coloured(text, {_MARK.format(k + 1): s.colour for k, s in enumerate(solids) if s.colour is not None})
    # Last, and in one pass, so that nothing in a name is ever taken for anything else.
    names = [title, *(s.name for s in solids)]
    text = re.sub(_MARK.format(0).replace("000000", r"(\d{6})"), lambda m: encoded(names[int(m[1])]), text)
    return text.encode("ascii", "replace")


def _steady(text: str) -> str:
    """The same text for the same geometry, whether it was just built or came from the cache.

    The kernel scales directions to length 1 whenever it reads a shape, and each time the last bits differ. So
    directions are rounded to 1e-10 and points to 1e-9 mm, and statements are put on one line each, because the
    kernel's line breaks depend on how long the numbers are.
    """
    text = re.sub(r"(?<!;)\n\s*", "", text)
    text = re.sub(r"(?<==) DIRECTION\('',\(([^()]*)\)\)", lambda m: f" DIRECTION('',({_rounded(m[1], 10)}))", text)
    return re.sub(
        r"(?<==) CARTESIAN_POINT\('',\(([^()]*)\)\)", lambda m: f" CARTESIAN_POINT('',({_rounded(m[1], 9)}))", text
    )


def _rounded(numbers: str, places: int) -> str:
    """A list of reals to so many decimals, as ISO 10303-21 writes them: always with a point, never minus zero."""
    out = []
    for number in numbers.split(","):
        text = f"{round(float(number), places) + 0.0:.{places}f}".rstrip("0")
        out.append("0." if text == "-0." else text)
    return ",".join(out)


def encoded(text: str) -> str:
    r"""``text`` between the quotes of a STEP string: ISO 10303-21:2016, 6.4.3.

    >>> encoded("it's 2° \\")
    "it''s 2\\X2\\00B0\\X0\\ \\\\"
    """
    return re.sub(r"(?P<doubled>\\|'(?![^0-9A-Za-z]))|(?:[^ -~]|[;'])+", _encoded_run, text)


def _encoded_run(match: re.Match[str]) -> str:
    run = match[0]
    if match["doubled"]:
        return run * 2
    # Semicolons, and quotes before punctuation, may be written plainly; but the most used reader looks for the end
    # of a record by them even inside a string. Neighbours share one escape, because a closing and an opening
    # backslash side by side would read as one backslash.
    wide = any(ord(c) > 0xFFFF for c in run)
    return ("\\X4\\" if wide else "\\X2\\") + "".join(f"{ord(c):0{8 if wide else 4}X}" for c in run) + "\\X0\\"


def _document(solids: Sequence[Solid]) -> Any:
    """A document with one flat assembly; names are marks: 0 the assembly, k + 1 the body k."""
    from OCP.BRep import BRep_Builder
    from OCP.BRepBuilderAPI import BRepBuilderAPI_Copy
    from OCP.TCollection import TCollection_ExtendedString
    from OCP.TDataStd import TDataStd_Name
    from OCP.TDocStd import TDocStd_Document
    from OCP.TopLoc import TopLoc_Location
    from OCP.TopoDS import TopoDS_Compound
    from OCP.XCAFDoc import XCAFDoc_DocumentTool

    from fixture3d.solid import kernel

    document = TDocStd_Document(TCollection_ExtendedString("XmlOcaf"))
    tool = XCAFDoc_DocumentTool.ShapeTool_s(document.Main())
    builder, empty = BRep_Builder(), TopoDS_Compound()
    builder.MakeCompound(empty)
    assembly = tool.NewShape()
    TDataStd_Name.Set_s(assembly, TCollection_ExtendedString(_MARK.format(0)))
    for k, solid in enumerate(solids):
        mark = TCollection_ExtendedString(_MARK.format(k + 1))
        # A copy each, so that equal blocks are products of their own and every one carries its own name.
        own = BRepBuilderAPI_Copy(solid.shape, True, False).Shape()
        # A placed shape would become a use of a nameless part: its own placing goes into the use made below.
        label = tool.AddShape(own.Located(TopLoc_Location()), False)
        TDataStd_Name.Set_s(label, mark)
        location = kernel.moved(own, solid.pose).Location()
        component = tool.AddComponent(assembly, label, location)
        TDataStd_Name.Set_s(component, mark)
    tool.UpdateAssemblies()
    return document


def _written(document: Any) -> bytes:
    """What the kernel writes for a document."""
    from OCP.IFSelect import IFSelect_RetDone
    from OCP.Interface import Interface_Static
    from OCP.Message import Message_ProgressRange
    from OCP.STEPCAFControl import STEPCAFControl_Writer
    from OCP.STEPControl import STEPControl_AsIs

    from fixture3d.solid import kernel

    writer = STEPCAFControl_Writer()
    Interface_Static.SetCVal_s("write.step.schema", "AP214IS")
    Interface_Static.SetCVal_s("write.step.unit", "MM")
    Interface_Static.SetIVal_s("write.surfacecurve.mode", 0)
    writer.SetColorMode(False)
    writer.SetNameMode(True)
    with kernel.quiet():
        transferred = writer.Transfer(document, STEPControl_AsIs, None, Message_ProgressRange())
    if not transferred:
        raise OutputRefused("the CAD kernel cannot turn the setup into STEP; nothing was written")
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "out.step"
        with kernel.quiet():
            done = writer.Write(str(file))
        if done != IFSelect_RetDone:
            raise OutputRefused("the CAD kernel cannot write STEP here; nothing was written")
        return file.read_bytes()
