"""``export``: the setup as an assembly, or its blocks as files to make them from."""

from __future__ import annotations

import sys
from argparse import Namespace
from pathlib import Path
from typing import TYPE_CHECKING

from fixture3d.commands.drawing import add_style, read_form
from fixture3d.commands.given import asked_length, assembled, load_scene, output_path
from fixture3d.commands.parsing import Commands, add_force, add_formats, add_scene, add_size, add_stage
from fixture3d.errors import FixtureError

if TYPE_CHECKING:
    from fixture3d.scene import Scene


def add(commands: Commands) -> None:
    """``export``."""
    export = commands.add(
        "export", run_export, "write the setup as a STEP assembly with names, or its blocks as files to make them"
    )
    add_scene(export)
    add_size(export)
    add_stage(export, "the first")
    export.add_argument(
        "-o", "--output", metavar="FILE", type=Path, help="STEP file (default: the scene's name + .step)"
    )
    export.add_argument("--stl", metavar="FOLDER", type=Path, help="write one STL per block into this folder instead")
    export.add_argument(
        "--parts",
        metavar="FOLDER",
        type=Path,
        help="write each kind of block once into this folder instead, with a list of how many",
    )
    add_formats(export)
    export.add_argument("--sheet", metavar="LxW", help="lay outlines on sheets of this size, such as 1000x500")
    export.add_argument("--gap", metavar="LENGTH", help="between outlines on a sheet (default 5 mm or the thickness)")
    drawing = export.add_argument_group("drawings of the blocks, with --parts")
    drawing.add_argument(
        "--drawing", metavar="LIST", action="append", help="a sheet for each kind of block: some of pdf,svg,dxf"
    )
    add_style(export, drawing)
    add_force(export)


def run_export(options: Namespace) -> int:
    """``export``: a STEP assembly, one STL a block, or each kind of block as files to make it from."""
    from fixture3d.output import check_target

    if options.parts is None and any(getattr(options, one) is not None for one in ("format", "kerf", "sheet", "gap")):
        raise FixtureError("--format, --kerf, --sheet and --gap go with --parts FOLDER")
    if options.parts is None and options.drawing:
        raise FixtureError("--drawing goes with --parts FOLDER, a sheet for each kind of block")
    if options.parts is None:
        read_form(options, "mm", ())  # what else goes with drawings
    scene = load_scene(options.scene, options)
    target = output_path(options, ".step")
    if options.parts is not None:
        return _export_parts(options, scene)
    if options.stl is None:
        check_target(target, options.force, (".step", ".stp"))
    job = assembled(scene, options.stage)
    if options.stl is not None:
        from fixture3d.export.stl import write_stls

        for path in write_stls(job, options.stl, force=options.force):
            print(path)
        return 0
    from fixture3d.export.step import write_step

    written = write_step(job, target, force=options.force)
    print(written.path)
    for sentence in written.notes:
        print(sentence, file=sys.stderr)
    return 0


def _export_parts(options: Namespace, scene: Scene) -> int:
    """``export --parts``: exit code 1 where a flat part fits on no sheet."""
    from fixture3d.access.threads import workers
    from fixture3d.export.cut_list import refuse_early
    from fixture3d.progress import on_terminal
    from fixture3d.workshop.parts import Sheets, read_sheet, write_parts

    if options.output is not None or options.stl is not None:
        raise FixtureError("--parts goes without --output and --stl; expected one of them")
    refuse_early(options.parts)
    units = scene.units
    form, gap = read_form(options, units, ("step", "stl")), asked_length("--gap", options.gap, units)
    if options.sheet is None and gap is not None:
        raise FixtureError("--gap goes with --sheet, such as --sheet 1000x500")
    sheets = None if options.sheet is None else Sheets(size=read_sheet(options.sheet, units), gap=gap)
    job = assembled(scene, options.stage)
    with on_terminal(str(options.parts)) as progress:
        written = write_parts(
            job, options.parts, form, sheets=sheets, force=options.force, workers=workers(), progress=progress
        )
    for path in written.paths:
        print(path)
    for sentence in written.left_out:
        print(f"fits on no sheet: {sentence}")
    if written.there:
        print(f"{written.there} files were there already, as they would be made", file=sys.stderr)
    for sentence in written.notes:
        print(sentence, file=sys.stderr)
    return 1 if written.left_out else 0
