"""The command line: parse, call one function, return its exit code.

This module loads nothing heavy, so that ``--help`` always works and comes at once. What every command takes and does is
in :mod:`fixture3d.commands`.
"""

from __future__ import annotations

import errno
import os
import sys
from argparse import ArgumentParser, Namespace
from collections.abc import Callable, Sequence

from fixture3d import __version__
from fixture3d.commands import check, export, locate, make, models, setups, sheet, view, words
from fixture3d.commands.parsing import Commands, Parser
from fixture3d.errors import FixtureError, one_line

CAUTION = (
    "Planning help, not an approved procedure: local codes, your employer's rules and qualified people come first."
)
EXITS = "Exit code: 0 nothing failed, 1 something failed, 2 the input could not be used, 3 a fault of the program."


def parser() -> ArgumentParser:
    """The whole command line."""
    top = Parser(
        prog="fixture3d",
        description="Check, draw and build welding fixtures that are located from a table's grid of holes.",
        epilog=f"{EXITS} {CAUTION}",
    )
    top.add_argument("--version", action="version", version=f"fixture3d {__version__}")
    commands = Commands(top)
    check.add(commands)
    view.add(commands)
    locate.add(commands)
    sheet.add(commands)
    make.add(commands)
    export.add(commands)
    setups.add(commands)
    models.add(commands)
    words.add(commands)
    return top


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command.

    Args:
        arguments: the command line without the program's name; None takes ``sys.argv``.

    Returns:
        The exit code: 0, 1, 2 or 3.
    """
    _speak_utf8()
    options, extra = parser().parse_known_args(arguments)
    if extra and hasattr(options, "parameter") and all("=" in word and not word.startswith("-") for word in extra):
        options.parameter, extra = [*options.parameter, *extra], []  # they may stand behind options too
    if extra and options.command == "new" and not any(word.startswith("-") for word in extra):
        options.file, extra = [*options.file, *extra], []
    if extra:
        options.parser.error(f"unrecognized arguments: {extra[0]}")
    run: Callable[[Namespace], int] = options.run
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
    except (SystemExit, GeneratorExit):
        raise
    except BaseException as error:  # what a user's own model raises need not be an Exception
        return _fault(error)


def _fault(error: BaseException) -> int:
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
