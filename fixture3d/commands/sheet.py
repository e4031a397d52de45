"""``sheet`` and ``cuts``: what is taken to the table, and to the saw."""

from __future__ import annotations

import json
from argparse import Namespace
from pathlib import Path

from fixture3d.commands.given import assembled, load_scene, output_path
from fixture3d.commands.parsing import Commands, add_force, add_no_record, add_scene, add_shop, add_size, add_stage
from fixture3d.errors import FixtureError, one_line


def add(commands: Commands) -> None:
    """``sheet`` and ``cuts``."""
    sheet = commands.add(
        "sheet", run_sheet, "write the setup sheet: the plan with hole names, and the list to build it from"
    )
    add_scene(sheet)
    add_size(sheet)
    add_stage(sheet, "all, and what changes from one to the next; of a DXF the first")
    add_shop(sheet)
    sheet.add_argument("-o", "--output", metavar="FILE", type=Path, help="PDF file (default: the scene's name + .pdf)")
    sheet.add_argument(
        "--html", metavar="FILE", type=Path, help="write it as a page for a tablet at the table, instead"
    )
    sheet.add_argument(
        "--dxf", metavar="FILE", type=Path, help="write the plan at true scale, for a plotter or a projector, instead"
    )
    sheet.add_argument("--paper", choices=("a4", "letter"), help="default: letter for inch files, else a4")
    add_no_record(sheet)
    add_force(sheet)

    cuts = commands.add(
        "cuts", run_cuts, "list what is cut: lengths, mitres, copes, bends and holes; write templates and plates"
    )
    add_scene(cuts)
    add_size(cuts)
    cuts.add_argument("--json", action="store_true", help="a JSON object instead of text; lengths in mm")
    cuts.add_argument(
        "-o", "--output", metavar="FOLDER", type=Path, help="write cuts.csv, templates at true size and plates as DXF"
    )
    cuts.add_argument("--paper", choices=("a4", "letter"), help="of templates; default: letter for inch files, else a4")
    add_force(cuts)


def run_sheet(options: Namespace) -> int:
    """``sheet``: the setup sheet as PDF, or as a page, or its plan as DXF."""
    from fixture3d.output import write_many
    from fixture3d.sheet.files import check_targets, sheet_files
    from fixture3d.sheet.kept import kept_sheet

    scene, stage = load_scene(options.scene, options, record=not options.no_record), options.stage
    targets = {kind: path for kind in ("html", "dxf") if (path := getattr(options, kind)) is not None}
    if options.output is not None or not targets:
        targets["pdf"] = output_path(options, ".pdf")
    check_targets(targets, options.force)
    single = stage is not None or set(targets) == {"dxf"}

    def make() -> dict[str, bytes]:
        from fixture3d.engine import assemble_all, check_jobs
        from fixture3d.progress import on_terminal

        with on_terminal(str(options.scene)) as progress:
            jobs = (assembled(scene, stage),) if single else assemble_all(scene)
            return sheet_files(jobs, list(targets), check_jobs(jobs, progress), options.paper)

    made = kept_sheet(scene, list(targets), (str(options.paper), repr(stage), str(single)), make)
    for path in write_many({targets[kind]: data for kind, data in made.items()}, options.force):
        print(path)
    return 0


def run_cuts(options: Namespace) -> int:
    """``cuts``: the cut list as text or JSON, or as files in a folder."""
    from fixture3d.cache import default_store
    from fixture3d.export.cut_list import cuts_dict, cuts_text, refuse_early, write_cuts
    from fixture3d.job.weldment import build

    if options.output is not None:
        refuse_early(options.output)
    scene = load_scene(options.scene, options)
    weldment = build(scene, default_store())
    if weldment is None or not weldment.pieces:
        shown = one_line(str(options.scene))
        raise FixtureError(f"{shown}: it has no pieces to cut; expected a [[member]], [[frame]] or [[plate]]")
    if options.output is not None:
        for path in write_cuts(scene, weldment, options.output, force=options.force, paper=options.paper):
            print(path)
    elif options.json:
        print(json.dumps(cuts_dict(scene, weldment), indent=1, ensure_ascii=False, allow_nan=False))
    else:
        print(cuts_text(scene, weldment), end="")
    return 0
