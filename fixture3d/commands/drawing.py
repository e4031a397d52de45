"""Drawing and fits of ``make``."""

from __future__ import annotations

from argparse import ArgumentParser, Namespace
from pathlib import Path
from typing import TYPE_CHECKING

from fixture3d.commands.given import read_pattern
from fixture3d.errors import FixtureError, ModelError

if TYPE_CHECKING:
    from fixture3d.library import Entry
    from fixture3d.part import Part
    from fixture3d.units import Units


def add_drawing(make: ArgumentParser) -> None:
    """The arguments of ``make`` for fits and drawing."""
    make.add_argument(
        "--fit", metavar="USE=CLASS", action="append", default=[],
        help="show the fits, with this one changed: dowel, table, socket or slot; H7/g6, LC5, or lifts, stays, slides",
    )  # fmt: skip
    make.add_argument(
        "--on", metavar="PITCH/BORE", help="say what is left over on another table, such as 50/16mm or '2/(5/8) in'"
    )
    drawing = make.add_argument_group("drawing")
    drawing.add_argument(
        "--drawing",
        metavar="FILE",
        action="append",
        type=Path,
        help="dimensioned sheet: .pdf, .svg or .dxf; repeatable",
    )
    drawing.add_argument(
        "--projection", choices=("first", "third"), help="angle of projection; default: third in inches, first in mm"
    )
    drawing.add_argument(
        "--paper", choices=("a4", "a3", "a2", "letter", "tabloid", "ansi-c"), help="default: as small as will do"
    )
    drawing.add_argument("--quantity", metavar="N", type=int, help="how many are made (default 1)")
    drawing.add_argument(
        "--material", metavar="TEXT", help="such as S235JR; left out: blank; with --print, one of PLA, PETG, ABS, ASA"
    )
    drawing.add_argument("--finish", metavar="TEXT", help="such as oiled; left out: blank")
    drawing.add_argument(
        "--general", metavar="TEXT", help="general tolerance; default: ISO 2768-m, in inches ±0.010 in"
    )
    printing = make.add_argument_group("print version, for trials and gauges: not for use beside the arc")
    printing.add_argument(
        "--print",
        action="store_true",
        help="write it as a 3MF file made up for printing; other files with --format only",
    )
    printing.add_argument(
        "--clearance", metavar="LENGTH", help="holes are drawn so much wider, on diameter (default 0.2 mm; print_trial)"
    )
    printing.add_argument(
        "--pin-clearance", metavar="LENGTH", help="pins are drawn so much thinner, on diameter (default 0)"
    )
    printing.add_argument(
        "--shop",
        metavar="FILE",
        type=Path,
        help="what the shop's own prints came out like, under [[printing]]; print_trial says what to write",
    )
    printing.add_argument(
        "--bed", metavar="WxDxH", help="mm; what is larger is split into keyed pieces (default 220x220x250)"
    )


def drawn(options: Namespace, part: Part, entry: Entry) -> dict[Path, bytes]:
    """The files of the drawing that ``make`` is asked for, before anything is written."""
    from fixture3d.export.block import block_shapes
    from fixture3d.workshop.drawing import Style, drawing_files
    from fixture3d.workshop.strip import Order
    from fixture3d.workshop.uses import read_fits

    chosen = {
        key: getattr(options, key) for key in ("projection", "paper", "quantity", "material", "finish", "general")
    }
    if not options.drawing:
        printed = {"material"} if options.print else set()
        alone = next((key for key, value in chosen.items() if value is not None and key not in printed), None)
        if alone is not None:
            raise FixtureError(f"--{alone} goes with a drawing; expected --drawing {options.model}.pdf as well")
        return {}
    quantity = 1 if options.quantity is None else options.quantity
    if quantity < 1:
        raise FixtureError(f"--quantity {quantity}: expected 1 or more")
    order = Order(
        material=options.material or "",
        finish=options.finish or "",
        quantity=quantity,
        general=options.general or "",
    )
    style = Style(
        units=options.units,
        projection=options.projection,
        paper=options.paper,
        order=order,
        fits=read_fits(options.fit),
    )
    solids = []
    for body, shape in block_shapes(part, entry):
        if shape.brep is None:
            raise ModelError(f"{part.model} {body.name}".strip() + ": only known as a mesh; a drawing needs a solid")
        solids.append((body.name, shape.brep))
    return drawing_files(part, solids, options.drawing, style, options.force)


def told_fits(options: Namespace, part: Part) -> str:
    """Limits, clearances and play, where a drawing or a fit is asked for; what is left over on another table."""
    from fixture3d.units import UNITS
    from fixture3d.workshop.uses import fits, fits_text, read_fits, stands_on, used

    if not (options.fit or options.drawing or options.on):
        return ""
    chosen = fits(part.pattern, read_fits(options.fit), used(part))
    text = fits_text(part, chosen, options.units) if options.fit or options.drawing else ""
    if options.on is not None:
        asked = options.on.strip()
        own: Units = next((unit for unit in UNITS if asked.endswith(unit)), options.units)
        table = read_pattern(asked.removesuffix(own).strip(), own)
        text += stands_on(part, table, chosen, options.units) + "\n"
    return text
