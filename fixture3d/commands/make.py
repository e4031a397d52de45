"""``make``: the files of one block, or of every block of a list."""

from __future__ import annotations

import sys
from argparse import Namespace
from pathlib import Path
from typing import TYPE_CHECKING

from fixture3d.commands.drawing import add_drawing, drawn, read_form, told_fits
from fixture3d.commands.given import USUAL, asked_length, read_formats, read_pattern
from fixture3d.commands.need import add_hold, make_hold, only_with_hold
from fixture3d.commands.parsing import Commands, add_force, add_formats, add_pattern
from fixture3d.errors import FixtureError, one_line

if TYPE_CHECKING:
    from fixture3d.library import Entry
    from fixture3d.part import Part


def add(commands: Commands) -> None:
    """``make``, from sizes, from a list, or from a need."""
    make = commands.add("make", run_make, "write the files to make one block from, or all blocks of a list")
    make.add_argument(
        "model",
        metavar="MODEL|LIST",
        nargs="?",
        help="see: fixture3d models; or an inventory (.toml) or a table of models and parameters (.csv), for all of it",
    )
    make.add_argument("parameter", metavar="KEY=VALUE", nargs="*", help="such as height=75 or 'length=3-1/2 in'")
    add_formats(make)
    add_pattern(make, "unit of bare numbers (default %(default)s)")
    make.add_argument("-o", "--output", metavar="FOLDER", type=Path, help="default: this folder; with --hold NEW.toml")
    add_force(make)
    add_hold(make)
    add_drawing(make)


def run_make(options: Namespace) -> int:
    """``make``: the files of one block, its drawing and its fits; or the files of every block of a list."""
    from fixture3d import output
    from fixture3d.catalogue import gauge_lines
    from fixture3d.export.block import write_block
    from fixture3d.export.orders import LISTS
    from fixture3d.library import library, read_given

    _only_with_print(options)
    if options.hold is not None:
        return make_hold(options)
    only_with_hold(options)
    options.output = options.output or Path()
    if Path(options.model).suffix.casefold() in LISTS:
        return _make_list(options)
    given = read_given(options.parameter)
    shop = library([Path(m) for m in options.models])
    entry = shop.entry(options.model)
    part = shop.make(options.model, read_pattern(options.table, options.units), given, options.units)
    drawings, told = drawn(options, part, entry), told_fits(options, part)
    formats, kerf = read_formats(options, options.units)
    printed = _printed(options, part, entry)
    paths = (
        ()
        if printed and options.format is None
        else write_block(
            part,
            options.output,
            entry=entry,
            units=options.units,
            formats=formats,
            kerf=kerf,
            force=options.force,
        )
    )
    for path in paths:
        print(path)
    for line in printed:
        print(line)
    for path in output.write_many(drawings, options.force):
        print(path)
    print(told, end="")
    print("".join(f"{line}\n" for line in gauge_lines(part, options.units, options.print)), end="")
    if options.table is None:
        print(f"made for holes of {USUAL[options.units][1]}; --table PITCH/BORE for other ones", file=sys.stderr)
    return 0


def _make_list(options: Namespace) -> int:
    """``make LIST``: every block of a list; those that could not be made are told at the end."""
    from fixture3d.access.threads import workers
    from fixture3d.export.block import no_outline
    from fixture3d.export.orders import read_orders
    from fixture3d.library import library
    from fixture3d.progress import on_terminal
    from fixture3d.workshop.orders import write_orders

    for key, instead in (("on", "one block at a time"), ("quantity", "a column quantity")):
        if getattr(options, key) is not None:
            raise FixtureError(f"--{key} goes with one block, not with a list; expected {instead}")
    if options.parameter:
        raise FixtureError(f'"{one_line(options.parameter[0])}" after a list: expected parameters in its lines')
    pattern = None if options.table is None else read_pattern(options.table, options.units)
    models = [Path(m) for m in options.models]
    asked = read_orders(options.model, library(models), pattern, options.units)
    form = read_form(options, asked.units, ("step", "3mf"))
    try:
        with on_terminal(options.model) as progress:
            done = write_orders(
                asked, options.output, form, force=options.force, workers=workers(), models=models, progress=progress
            )
    except KeyboardInterrupt:
        print("stopped; what is written is whole, and the same command goes on from there", file=sys.stderr)
        return 2
    for path in done.paths:
        print(path)
    print(f"{done.made} made, {done.there} there already, {len(done.problems)} not made")
    for line in done.problems:
        print(f"not made: {line}")
    for line in (*asked.left_out, *no_outline(done.solid)):
        print(line, file=sys.stderr)
    return 3 if done.faults else 1 if done.problems else 0


def _only_with_print(options: Namespace) -> None:
    """Refuse options of a print version without one, and a print version of more than one block."""
    from fixture3d.export.orders import LISTS

    if options.print:
        if options.hold is not None or Path(options.model or "").suffix.casefold() in LISTS:
            raise FixtureError("--print makes one block at a time; expected a model, not a list and not --hold")
        return
    for key in ("clearance", "pin_clearance", "bed", "shop"):
        if getattr(options, key) is not None:
            raise FixtureError(f"--{key.replace('_', '-')} goes with a print; expected --print as well")


def _printed(options: Namespace, part: Part, entry: Entry) -> tuple[str, ...]:
    """Write the print version that is asked for; its path and what is to be said of it."""
    from fixture3d import output
    from fixture3d.export.block import block_shapes, block_title
    from fixture3d.scene import load_inventory
    from fixture3d.workshop.making import breps
    from fixture3d.workshop.printing import print_order, read_bed, write_print

    if not options.print:
        return ()
    hole, pin = (
        asked_length(option, text, options.units)
        for option, text in (("--clearance", options.clearance), ("--pin-clearance", options.pin_clearance))
    )
    gauge = part.gauge()
    shop = None
    if options.shop is not None:
        shop = load_inventory(options.shop, "printing")
        output.keep(shop.files)
    trial = gauge is not None and bool(gauge.reading)
    order = print_order(options.material, hole, pin, read_bed(options.bed), shop, trial)
    title = f"{block_title(part, options.units)} print {order.material}"
    named = breps(part, block_shapes(part, entry), "a print version")
    solids = [(f"{part.model} {name}".strip(), brep) for name, brep in named]
    path = Path(options.output) / f"{output.file_name(title)}.3mf"
    written, lines = write_print(path, title, solids, order, options.units, options.force)
    return (str(written), *lines)
