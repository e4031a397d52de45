"""The command line: parse, call one function, return its exit code.

This module loads nothing heavy, so that ``--help`` always works and comes at once. Every command's own work is in
:mod:`fixture3d.commands`.
"""

from __future__ import annotations

import argparse
import errno
import os
import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import NoReturn

from fixture3d import __version__
from fixture3d.errors import FixtureError, nearest_name, one_line

CAUTION = (
    "Planning help, not an approved procedure: local codes, your employer's rules and qualified people come first."
)
EXITS = "Exit code: 0 nothing failed, 1 something failed, 2 the input could not be used, 3 a fault of the program."


class _Parser(argparse.ArgumentParser):
    """A parser whose errors are one line with the nearest thing that would work."""

    def error(self, message: str) -> NoReturn:
        choices = [c for action in self._actions for c in (action.choices or ())]
        wrong = message.partition("invalid choice: '")[2].partition("'")[0]
        if wrong:
            near = nearest_name(wrong, map(str, choices))
            message = f'"{wrong}" is not a command; expected one of {", ".join(map(str, choices))}'
            message += f"; nearest: {near}" if near else ""
        elif "unrecognized arguments: " in message:
            first = message.partition(": ")[2].split(" ")[0]
            options = [o for action in self._actions for o in action.option_strings]
            near = nearest_name(first, options)
            message = f"{first} is not understood here" + (
                f"; nearest: {near}" if near else f"; see {self.prog} --help"
            )
        self.exit(2, f"{self.prog}: {one_line(message)}\n")


class _Commands:
    """The commands of one parser, and the arguments that several of them share."""

    def __init__(self, top: argparse.ArgumentParser) -> None:
        self._all = top.add_subparsers(dest="command", metavar="COMMAND", required=True, parser_class=_Parser)

    def add(self, name: str, help: str, *, models: bool = True) -> argparse.ArgumentParser:
        """One command; ``models`` gives it the folders of the user's own models."""
        sub: argparse.ArgumentParser = self._all.add_parser(name, help=help, description=help)
        sub.set_defaults(parser=sub)
        if models:
            sub.add_argument(
                "--models",
                metavar="FOLDER",
                action="append",
                default=[],
                help="a folder of your own models; its Python files are run",
            )
        return sub


def _scene(sub: argparse.ArgumentParser, many: bool = False) -> None:
    sub.add_argument("scene", metavar="SCENE", nargs="+" if many else None, type=Path, help="a scene file (TOML)")


def _force(sub: argparse.ArgumentParser) -> None:
    sub.add_argument("--force", action="store_true", help="overwrite an existing file")


def _stage(sub: argparse.ArgumentParser, default: str) -> None:
    sub.add_argument("--stage", metavar="NAME", help=f"of a scene with stages, this one only (default: {default})")


def _size(sub: argparse.ArgumentParser, default: str = "the first") -> None:
    sub.add_argument("--size", metavar="NAME", help=f"of a scene with sizes, this one (default: {default})")


def _shop(sub: argparse.ArgumentParser, *older: str) -> None:
    sub.add_argument(
        "--shop",
        *older,
        metavar="FILE",
        type=Path,
        help="what the shop owns: a file of [[inventory]], instead of that which the scene names",
    )


def _pattern(sub: argparse.ArgumentParser, units: str) -> None:
    sub.add_argument("--table", metavar="PITCH/BORE", help="hole pattern (default 50/16; in inches 2/(3/4))")
    sub.add_argument("--units", choices=("mm", "in"), default="mm", help=units)


def _drawing(make: argparse.ArgumentParser) -> None:
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
        "--bed", metavar="WxDxH", help="mm; what is larger is split into keyed pieces (default 220x220x250)"
    )


def parser() -> argparse.ArgumentParser:
    """The whole command line."""
    top = _Parser(
        prog="fixture3d",
        description="Check, draw and build welding fixtures that are located from a table's grid of holes.",
        epilog=f"{EXITS} {CAUTION}",
    )
    top.add_argument("--version", action="version", version=f"fixture3d {__version__}")
    commands = _Commands(top)
    _commands_that_show(commands)
    _command_locate(commands)
    _commands_that_write(commands)
    _command_again(commands)
    _command_swap(commands)
    _command_record(commands)
    _commands_about_files(commands)
    return top


def _commands_that_show(commands: _Commands) -> None:
    check = commands.add("check", "check one setup or many: does it stand, does it collide, can it be welded")
    _scene(check, many=True)
    _stage(check, "all, one after the other")
    _size(check, "all")
    _shop(check)
    check.add_argument("--json", action="store_true", help="a JSON object instead of text; of many scenes one a line")
    check.add_argument("--faces", action="store_true", help="print the place of every face of every block")
    check.add_argument("--order", action="store_true", help="propose where to tack and in what order to weld")
    check.add_argument("--shrinkage", action="store_true", help="print the shrinkage of each weld and cut length")
    check.add_argument(
        "--spread", metavar="N", type=int, help="draw N imagined setups of the key figures, as in --spread 10000"
    )
    check.add_argument("--seed", metavar="N", type=int, help="of that draw (default 1); same seed, same figures")
    check.add_argument("--timing", action="store_true", help="print how long each check took")
    _no_record(check)

    watch = commands.add("watch", "check again each time the scene file is saved; stop with Ctrl-C")
    _scene(watch)
    _size(watch, "all")
    _shop(watch)
    _no_record(watch)
    watch.add_argument("--once", action="store_true", help="check, wait for one change, check again, and stop")

    view = commands.add("view", "show the setup in a window, draw a picture of it, or write a 3D page of it")
    _scene(view)
    _size(view)
    _stage(view, "the first; in a page all")
    _shop(view)
    view.add_argument(
        "--html", metavar="FILE", type=Path, help="write a page that shows it in a browser, without a network"
    )
    view.add_argument("--png", metavar="FILE", type=Path, help="write a picture instead of opening a window")
    view.add_argument("--pixels", metavar="WxH", default="1600x1200", help="size of the picture (default %(default)s)")
    view.add_argument(
        "--contacts",
        choices=("places", "points", "none"),
        default="places",
        help="what a picture marks where pieces are located (default %(default)s)",
    )
    view.add_argument("--plain", action="store_true", help="do not run the checks, mark no findings")
    _no_record(view)
    _force(view)


def _command_locate(commands: _Commands) -> None:
    locate = commands.add(
        "locate",
        "how to set a stop to a distance with the blocks of the shop; or, of a scene, which stops are on position",
    )
    locate.add_argument("what", metavar="DISTANCE|SCENE", help="such as '17-3/8 in' with --from; or a scene file")
    locate.add_argument(
        "--from",
        dest="datum",
        metavar="DATUM",
        help="where the distance begins: A1.x, C4.y, A1.z for a height, or S1.front, a face of a block of --scene",
    )
    locate.add_argument("--scene", metavar="SCENE", type=Path, help="its table, blocks and inventory")
    _stage(locate, "the first")
    _size(locate)
    locate.add_argument("--table", metavar="TABLE", help="without a scene: such as '50/16 2000x1000'")
    locate.add_argument("--units", choices=("mm", "in"), help="without a scene: unit of bare numbers (default mm)")
    _shop(locate, "--inventory")
    locate.add_argument(
        "--facing",
        choices=("toward", "away", "either"),
        help="which way the face looks (default: back toward a face; from a hole either)",
    )
    locate.add_argument("--within", metavar="LENGTH", help="how far out is still good (default 0.5 mm; 1/64 in)")
    locate.add_argument("--height", metavar="LENGTH", help="that the face must reach, above the table")
    locate.add_argument("--shims", metavar="N", type=int, default=5, help="pieces to pack (default %(default)s)")
    locate.add_argument("--list", metavar="N", type=int, default=8, help="answers to list (default %(default)s)")
    locate.add_argument("--json", action="store_true", help="a JSON object instead of text; lengths in mm")


def _commands_that_write(commands: _Commands) -> None:
    sheet = commands.add("sheet", "write the setup sheet: the plan with hole names, and the list to build it from")
    _scene(sheet)
    _size(sheet)
    _stage(sheet, "all, and what changes from one to the next; of a DXF the first")
    _shop(sheet)
    sheet.add_argument("-o", "--output", metavar="FILE", type=Path, help="PDF file (default: the scene's name + .pdf)")
    sheet.add_argument(
        "--html", metavar="FILE", type=Path, help="write it as a page for a tablet at the table, instead"
    )
    sheet.add_argument(
        "--dxf", metavar="FILE", type=Path, help="write the plan at true scale, for a plotter or a projector, instead"
    )
    sheet.add_argument("--paper", choices=("a4", "letter"), help="default: letter for inch files, else a4")
    _no_record(sheet)
    _force(sheet)

    cuts = commands.add("cuts", "list what is cut: lengths, mitres, copes, bends and holes; write templates and plates")
    _scene(cuts)
    _size(cuts)
    cuts.add_argument("--json", action="store_true", help="a JSON object instead of text; lengths in mm")
    cuts.add_argument(
        "-o", "--output", metavar="FOLDER", type=Path, help="write cuts.csv, templates at true size and plates as DXF"
    )
    cuts.add_argument("--paper", choices=("a4", "letter"), help="of templates; default: letter for inch files, else a4")
    _force(cuts)

    _command_make(commands)

    export = commands.add(
        "export", "write the setup as a STEP assembly with names, or its blocks as files to make them"
    )
    _scene(export)
    _size(export)
    _stage(export, "the first")
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
    _formats(export)
    export.add_argument("--sheet", metavar="LxW", help="lay outlines on sheets of this size, such as 1000x500")
    export.add_argument("--gap", metavar="LENGTH", help="between outlines on a sheet (default 5 mm or the thickness)")
    _force(export)


def _formats(sub: argparse.ArgumentParser) -> None:
    sub.add_argument(
        "--format",
        metavar="LIST",
        help="some of step,stl,3mf,glb,dxf; dxf is the outline of what is cut from plate (default: step,stl)",
    )
    sub.add_argument("--kerf", metavar="LENGTH", help="width of the cut that outlines make up for (default: none)")


def _command_make(commands: _Commands) -> None:
    make = commands.add("make", "write the files to make one block from, or all blocks of a list")
    make.add_argument(
        "model",
        metavar="MODEL|LIST",
        nargs="?",
        help="see: fixture3d models; or an inventory (.toml) or a table of models and parameters (.csv), for all of it",
    )
    make.add_argument("parameter", metavar="KEY=VALUE", nargs="*", help="such as height=75 or 'length=3-1/2 in'")
    _formats(make)
    _pattern(make, "unit of bare numbers (default %(default)s)")
    make.add_argument(
        "-o", "--output", metavar="FOLDER", type=Path, default=Path(), help="default: this folder; with --hold NEW.toml"
    )
    _force(make)
    _hold(make)
    _drawing(make)


def _hold(make: argparse.ArgumentParser) -> None:
    """The arguments of ``make`` for a block that is worked out from what it is to hold."""
    hold = make.add_argument_group(
        "from a need", "instead of sizes: the piece that is to be held; MODEL and KEY=VALUE may narrow the choice"
    )
    hold.add_argument(
        "--hold", metavar="PIECE", help="of --scene; the block is worked out, tried, and put into the scene"
    )
    hold.add_argument("--scene", metavar="SCENE", type=Path, help="its table, work and blocks")
    hold.add_argument(
        "--from",
        dest="side",
        metavar="SIDE",
        help="where the block stands: below (default), left, right, front or back; below,left for a corner",
    )
    hold.add_argument(
        "--at",
        metavar="LENGTH",
        action="append",
        default=[],
        help="along the piece from its first end (default: its middle); repeatable, a block for each",
    )
    hold.add_argument(
        "--height", metavar="LENGTH", help="above the table: of a stop's top; from below of the underside or the middle"
    )
    hold.add_argument("--name", help="of the block in the scene (default: the next free one)")
    hold.add_argument("--stack", action="store_true", help="on a riser of its own, also where one block would do")


def _command_again(commands: _Commands) -> None:
    again = commands.add("again", "write the same setup elsewhere: mirrored, turned, moved or repeated, and check it")
    _scene(again)
    _size(again)
    again.add_argument(
        "--mirror", choices=("left-right", "front-back"), help="these two sides change places; pieces are mirrored too"
    )
    again.add_argument("--turn", type=int, choices=(90, 180, 270), help="degrees counter-clockwise, seen from above")
    again.add_argument("--move", nargs="+", metavar="WAY HOLES", default=[], help="such as: right 6 back 2")
    again.add_argument(
        "--about", metavar="HOLE", help="mirror and turn about a hole, or two as in H4/I4 (default: the table's middle)"
    )
    again.add_argument("--repeat", type=int, metavar="N", help="so many of them on one table, each a step further")
    again.add_argument("--step", nargs="+", metavar="WAY HOLES", default=[], help="of --repeat, such as: right 14")
    again.add_argument(
        "--split",
        metavar="HOLE",
        help="part the table behind this hole's column: the rest goes on a second one in line",
    )
    again.add_argument("-o", "--output", metavar="FILE", type=Path, required=True, help="the new scene file")
    again.add_argument("--plain", action="store_true", help="do not run the checks")
    _force(again)


def _command_swap(commands: _Commands) -> None:
    swap = commands.add("swap", "from the setup OLD to the setup NEW in the fewest moves: what stays, what goes where")
    swap.add_argument("old", metavar="OLD", type=Path, help="the scene file of the setup that stands")
    swap.add_argument("new", metavar="NEW", type=Path, help="that of the setup that shall stand, on the same table")
    swap.add_argument("--from-size", metavar="NAME", help="of OLD, the size that stands (default: the first)")
    swap.add_argument("--to-size", metavar="NAME", help="of NEW, the size to come (default: the first)")
    swap.add_argument("--from-stage", metavar="NAME", help="of OLD, the stage that stands (default: the first)")
    swap.add_argument("--to-stage", metavar="NAME", help="of NEW, the stage to come (default: the first)")
    swap.add_argument("--json", action="store_true", help="a JSON object instead of text")
    swap.add_argument("-o", "--output", metavar="FILE", type=Path, help="write list and plan with arrows as PDF too")
    swap.add_argument("--paper", choices=("a4", "letter"), help="default: letter for inch files, else a4")
    _force(swap)


def _command_record(commands: _Commands) -> None:
    record = commands.add(
        "record", "show or write down what was measured and set at the table, beside what was planned"
    )
    _scene(record)
    record.add_argument(
        "--measured",
        nargs=2,
        metavar=("NAME", "VALUE"),
        action="append",
        default=[],
        help="a key figure or a distance of opposed faces, as in --measured 'overall X' 659.5",
    )
    record.add_argument(
        "--set",
        nargs="+",
        metavar=("BLOCK", "KEY=VALUE"),
        action="append",
        default=[],
        help="how a block stands: notch=11, slide=12.5 or shims=front:0.5+0.2",
    )
    record.add_argument("--by", metavar="WHO", help="who measured or set")
    record.add_argument("--when", metavar="DAY", help="such as 2026-11-29")
    record.add_argument("--note", metavar="TEXT", help="one line")
    _size(record)
    record.add_argument("--stage", metavar="NAME", help="of a scene with stages, this one only (default: all)")
    record.add_argument("--merge", metavar="FILE", type=Path, help="add the entries of another record, each once")
    record.add_argument("--json", action="store_true", help="a JSON object instead of text; lengths in mm")


def _no_record(sub: argparse.ArgumentParser) -> None:
    sub.add_argument("--no-record", action="store_true", help="leave out what was set and measured at the table")


def _commands_about_files(commands: _Commands) -> None:
    models = commands.add("models", "list the models, or the parameters and ranges of one")
    models.add_argument("model", metavar="MODEL", nargs="?")
    _pattern(models, "unit of the table (default %(default)s)")
    models.add_argument(
        "--test",
        metavar="FOLDER",
        action="append",
        type=Path,
        help="build your own models of this folder at the corners of their ranges and say what is wrong",
    )
    models.add_argument("--html", metavar="FILE", type=Path, help="write them as a page with pictures, for printing")
    _force(models)

    new = commands.add("new", "write a small scene file, or a model of your own, to start from", models=False)
    new.add_argument("file", metavar="FILE", nargs="+", help="a scene file; or, for a model: new model NAME.py")
    new.add_argument("--units", choices=("mm", "in"), default="mm")
    _force(new)

    explain = commands.add(
        "explain", "say what a rule means on the table and how to cure it, or what a check leaves out", models=False
    )
    explain.add_argument("rule", metavar="RULE", nargs="?", help="a rule or a check; left out: list all")

    upgrade = commands.add("upgrade", "bring an older scene file to the present format, comments kept", models=False)
    _scene(upgrade)
    upgrade.add_argument("-o", "--output", metavar="FILE", type=Path, help="default: print it")
    _force(upgrade)


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command.

    Args:
        arguments: the command line without the program's name; None takes ``sys.argv``.

    Returns:
        The exit code: 0, 1, 2 or 3.
    """
    _speak_utf8()
    options, extra = parser().parse_known_args(arguments)
    if extra:
        options.parser.error(f"unrecognized arguments: {extra[0]}")
    from fixture3d import commands

    run: Callable[[argparse.Namespace], int] = getattr(commands, f"run_{options.command}")
    try:
        return run(options)
    except FixtureError as error:
        print(str(error), file=sys.stderr)
        return 2
    except KeyboardInterrupt:
        print("stopped", file=sys.stderr)
        return 2
    except BrokenPipeError:
        sys.stdout = open(os.devnull, "w", encoding="utf-8")  # noqa: SIM115 - whoever read us has gone; nothing to close
        return 0
    except OSError as error:
        if error.errno != errno.ENOSPC:
            return _fault(error)
        sys.stdout = open(os.devnull, "w", encoding="utf-8")  # noqa: SIM115 - what is left in it cannot be written
        print("fixture3d: the output cannot be written: no space left on the device", file=sys.stderr)
        return 2
    except MemoryError:
        print(
            "fixture3d: not enough memory for this; try a smaller table, fewer blocks or a coarser file",
            file=sys.stderr,
        )
        return 3
    except Exception as error:
        return _fault(error)


def _fault(error: Exception) -> int:
    """Say that the program itself failed."""
    if os.environ.get("FIXTURE3D_TRACEBACK"):
        raise error
    text = one_line(f"{type(error).__name__}: {error}")
    print(
        f"fixture3d: a fault of the program, not of your file: {text} (set FIXTURE3D_TRACEBACK=1 for the details)",
        file=sys.stderr,
    )
    return 3


def _speak_utf8() -> None:
    """Windows consoles may not be able to print a degree sign; never fail on that."""
    for stream in (sys.stdout, sys.stderr):
        reconfigure = getattr(stream, "reconfigure", None)
        if reconfigure is not None:
            reconfigure(encoding="utf-8", errors="replace")


if __name__ == "__main__":
    sys.exit(main())
