"""Drawing and fits of ``make``."""

from __future__ import annotations

from argparse import ArgumentParser, Namespace, _ArgumentGroup
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Final

from fixture3d.commands.given import read_pattern
from fixture3d.errors import FixtureError

if TYPE_CHECKING:
    from fixture3d.library import Entry
    from fixture3d.part import Part
    from fixture3d.units import Units
    from fixture3d.workshop.drawing import Style
    from fixture3d.workshop.making import Form


def add_style(command: ArgumentParser, drawing: ArgumentParser | _ArgumentGroup, plastics: str = "") -> None:
    """The arguments of every command that draws blocks: fits, and how the sheets are drawn."""
    command.add_argument(
        "--fit", metavar="USE=CLASS", action="append", default=[],
        help="a fit of the drawing: dowel, table, socket or slot; H7/g6, LC5, or lifts, stays, slides",
    )  # fmt: skip
    drawing.add_argument(
        "--projection", choices=("first", "third"), help="angle of projection; default: third in inches, first in mm"
    )
    drawing.add_argument(
        "--paper", choices=("a4", "a3", "a2", "letter", "tabloid", "ansi-c"), help="default: as small as will do"
    )
    drawing.add_argument("--material", metavar="TEXT", help=f"such as S235JR; left out: blank{plastics}")
    drawing.add_argument("--finish", metavar="TEXT", help="such as oiled; left out: blank")
    drawing.add_argument(
        "--general", metavar="TEXT", help="general tolerance; default: ISO 2768-mK, in inches ±0.010 in"
    )


def add_drawing(make: ArgumentParser) -> None:
    """The arguments of ``make`` for fits and drawing."""
    make.add_argument(
        "--on", metavar="PITCH/BORE", help="say what is left over on another table, such as 50/16mm or '2/(5/8) in'"
    )
    drawing = make.add_argument_group("drawing")
    drawing.add_argument(
        "--drawing",
        metavar="FILE",
        action="append",
        type=Path,
        help="dimensioned sheet: .pdf, .svg or .dxf; repeatable; of a list pdf, svg or dxf alone, a sheet for each",
    )
    drawing.add_argument("--quantity", metavar="N", type=int, help="how many are made (default 1); of a list its own")
    add_style(make, drawing, "; with --print, one of PLA, PETG, ABS, ASA")
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
    from fixture3d.workshop.drawing import drawing_files
    from fixture3d.workshop.making import breps

    if not options.drawing:
        _only_with_drawing(options, {"material"} if options.print else set())
        return {}
    quantity = 1 if options.quantity is None else options.quantity
    if quantity < 1:
        raise FixtureError(f"--quantity {quantity}: expected 1 or more")
    style = read_style(options, options.units)
    style = replace(style, order=replace(style.order, quantity=quantity))
    targets = _targets(options, part)
    solids = breps(part, block_shapes(part, entry), "a drawing")
    return drawing_files(part, solids, targets, style, options.force)


def _targets(options: Namespace, part: Part) -> list[Path]:
    """The files of a drawing; ``pdf`` alone is one named like the other files of the block and beside them."""
    from fixture3d.export.block import block_title
    from fixture3d.workshop.making import sheet_kinds, sheet_name

    out = []
    for path in options.drawing:
        kinds = sheet_kinds(str(path))
        out += [options.output / sheet_name(block_title(part, options.units), kind) for kind in kinds] or [path]
    return out


_STYLE: Final = ("projection", "paper", "quantity", "material", "finish", "general")


def _only_with_drawing(options: Namespace, also: set[str], expected: str = "") -> None:
    """Refuse how a drawing is drawn where there is none; ``also`` are those that something else is asked for with."""
    alone = next((key for key in _STYLE if getattr(options, key, None) is not None and key not in also), None)
    if alone is not None:
        expected = expected or f"--drawing {options.model}.pdf"
        raise FixtureError(f"--{alone} goes with a drawing; expected {expected} as well")


def read_style(options: Namespace, units: Units) -> Style:
    """How the sheets are drawn that are asked for, before it is known how many of a block there are."""
    from fixture3d.workshop.drawing import Style
    from fixture3d.workshop.strip import Order
    from fixture3d.workshop.uses import read_fits

    return Style(
        units=units,
        projection=options.projection,
        paper=options.paper,
        order=Order(material=options.material or "", finish=options.finish or "", general=options.general or ""),
        fits=read_fits(options.fit),
    )


def read_form(options: Namespace, units: Units, usual: tuple[str, ...]) -> Form:
    """What many blocks are written as.

    Raises:
        FixtureError: an option that is about one block, or about drawings where none is asked for.
    """
    from fixture3d.commands.given import read_formats
    from fixture3d.part import Pattern
    from fixture3d.workshop.making import Form, read_kinds
    from fixture3d.workshop.uses import fits

    formats, kerf = read_formats(options, units, usual)
    kinds, style = read_kinds(map(str, options.drawing or ())), read_style(options, units)
    if not kinds:
        _only_with_drawing(options, set(), "--drawing pdf")
        if options.fit:
            raise FixtureError("--fit changes drawings of many blocks; expected --drawing pdf as well")
    fits(Pattern(pitch=50.0, bore=16.0), style.fits)  # a use or class that is not known is told once
    return Form(formats=formats, kerf=kerf, units=units, sheets=kinds, style=style)


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
