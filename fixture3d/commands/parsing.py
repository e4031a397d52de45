"""What the command line is made of: its parser, and the arguments that several commands share."""

from __future__ import annotations

from argparse import ArgumentParser, Namespace
from collections.abc import Callable
from pathlib import Path
from typing import NoReturn

from fixture3d.errors import nearest_name, one_line


class Parser(ArgumentParser):
    """A parser whose errors are one line with the nearest thing that would work."""

    def error(self, message: str) -> NoReturn:
        """One line, and exit code 2."""
        choices = [c for action in self._actions for c in (action.choices or ())]
        wrong = message.partition("invalid choice: ")[2].rpartition(" (choose from")[0].strip("'")
        option = message.partition("argument ")[2].partition(":")[0].split("/")[-1]
        if wrong and option.startswith("-"):
            allowed = next(a.choices or () for a in self._actions if option in a.option_strings)
            near = nearest_name(wrong, map(str, allowed))
            message = f'{option} "{wrong}": expected one of {", ".join(map(str, allowed))}'
            message += f"; nearest: {near}" if near else ""
        elif wrong:
            near = nearest_name(wrong, map(str, choices))
            message = f'"{wrong}" is not a command; expected one of {", ".join(map(str, choices))}'
            message += f"; nearest: {near}" if near else ""
        elif " value: '" in message:
            message = f"{option} {message.rpartition(' value: ')[2]}: expected a whole number"
        elif "unrecognized arguments: " in message:
            first = message.partition(": ")[2].split(" ")[0]
            options = [o for action in self._actions for o in action.option_strings]
            near = nearest_name(first, options)
            message = f"{first} is not understood here" + (
                f"; nearest: {near}" if near else f"; see {self.prog} --help"
            )
        self.exit(2, f"{self.prog}: {one_line(message)}\n")


class Commands:
    """The commands of one parser, and the arguments that several of them share."""

    def __init__(self, top: ArgumentParser) -> None:
        self._all = top.add_subparsers(dest="command", metavar="COMMAND", required=True, parser_class=Parser)

    def add(self, name: str, run: Callable[[Namespace], int], help: str, *, models: bool = True) -> ArgumentParser:
        """One command and its function; ``models`` gives it the folders of the user's own models."""
        sub: ArgumentParser = self._all.add_parser(name, help=help, description=help)
        sub.set_defaults(parser=sub, run=run)
        if models:
            sub.add_argument(
                "--models",
                metavar="FOLDER",
                action="append",
                default=[],
                help="a folder of your own models; its Python files are run",
            )
        return sub


def add_scene(sub: ArgumentParser, many: bool = False) -> None:
    """The scene file, or some."""
    sub.add_argument("scene", metavar="SCENE", nargs="+" if many else None, type=Path, help="a scene file (TOML)")


def add_force(sub: ArgumentParser) -> None:
    """Leave to write over what is there."""
    sub.add_argument("--force", action="store_true", help="overwrite an existing file")


def add_stage(sub: ArgumentParser, default: str) -> None:
    """The stage; ``default`` says what is taken without one."""
    sub.add_argument("--stage", metavar="NAME", help=f"of a scene with stages, this one only (default: {default})")


def add_size(sub: ArgumentParser, default: str = "the first") -> None:
    """The size; ``default`` says what is taken without one."""
    sub.add_argument("--size", metavar="NAME", help=f"of a scene with sizes, this one (default: {default})")


def add_shop(sub: ArgumentParser, *older: str) -> None:
    """What the shop owns; ``older`` names of the option still work."""
    sub.add_argument(
        "--shop",
        *older,
        metavar="FILE",
        type=Path,
        help="what the shop owns: a file of [[inventory]], instead of that which the scene names",
    )


def add_pattern(sub: ArgumentParser, units: str) -> None:
    """The hole pattern, and the ``units`` of bare numbers."""
    sub.add_argument("--table", metavar="PITCH/BORE", help="hole pattern (default 50/16; in inches 2/(3/4))")
    sub.add_argument("--units", choices=("mm", "in"), default="mm", help=units)


def add_formats(sub: ArgumentParser) -> None:
    """What files a block is written as."""
    sub.add_argument(
        "--format",
        metavar="LIST",
        help="some of step,stl,3mf,glb,dxf; dxf is the outline of what is cut from plate (default: step,stl)",
    )
    sub.add_argument("--kerf", metavar="LENGTH", help="width of the cut that outlines make up for (default: none)")


def add_no_record(sub: ArgumentParser) -> None:
    """Leave to pass over the record."""
    sub.add_argument("--no-record", action="store_true", help="leave out what was set and measured at the table")
