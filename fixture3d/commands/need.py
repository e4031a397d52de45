"""``make --hold``: the block is worked out from the piece that it is to hold."""

from __future__ import annotations

import sys
from argparse import ArgumentParser, Namespace
from pathlib import Path

from fixture3d.commands.drawing import drawn, told_fits
from fixture3d.commands.given import keep_files, read_formats
from fixture3d.errors import FixtureError, one_line


def add_hold(make: ArgumentParser) -> None:
    """The arguments of ``make`` for a block that is worked out from what it is to hold."""
    hold = make.add_argument_group(
        "from a need", "instead of sizes: the piece that is to be held; MODEL and KEY=VALUE may narrow the choice"
    )
    hold.add_argument(
        "--hold", metavar="PIECE", help="of --scene; the block is worked out, tried, and put into the scene"
    )
    hold.add_argument("--scene", metavar="SCENE", type=Path, help="its table, work and blocks")
    hold.add_argument("--size", metavar="NAME", help="of a scene with sizes, the one that the block is for")
    hold.add_argument(
        "--from",
        dest="side",
        metavar="SIDE",
        help="where the block stands: below (default), left, right, front or back; in a corner two, as in left,front",
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


def only_with_hold(options: Namespace) -> None:
    """Refuse options of ``make --hold`` without it."""
    named = {
        "scene": "--scene",
        "size": "--size",
        "side": "--from",
        "at": "--at",
        "height": "--height",
        "name": "--name",
    }
    for key, option in (*named.items(), ("stack", "--stack")):
        if getattr(options, key):
            raise FixtureError(f"{option} goes with --hold; expected make --hold PIECE --scene SCENE")
    if options.model is None:
        raise FixtureError("make: expected a MODEL, a list, or --hold PIECE --scene SCENE; see: fixture3d models")


def make_hold(options: Namespace) -> int:
    """``make --hold``: the blocks that hold a piece, their files and drawings, and the scene with them."""
    from fixture3d import output
    from fixture3d.export.block import block_files, block_title, no_outline
    from fixture3d.need.command import NotPossible, as_typed, design
    from fixture3d.scene.find import load

    if options.scene is None:
        raise FixtureError("--hold: expected --scene SCENE with it, whose piece is to be held")
    scene = load(options.scene, options.models, options.size, record=False)
    keep_files(scene)
    if scene.path is not None and options.output is None:  # it is asked for with --force
        output.keep(file for file in scene.files if Path(file) != Path(scene.path))
    formats, kerf = read_formats(options, scene.units, ("step", "3mf"))
    try:
        made = design(scene, options)
    except NotPossible as no:
        print(f"not possible: {one_line(str(no))}")
        return 1
    files: dict[Path, bytes] = {made.target: as_typed(made.text, Path(scene.path).read_bytes() if scene.path else b"")}
    told = ""
    solid: list[tuple[str, str]] = []
    for block in made.blocks:
        title = block_title(block.part, scene.units)
        done = block_files(block.part, title, entry=block.entry, units=scene.units, formats=formats, kerf=kerf)
        files |= {made.target.parent / name: data for name, data in done.files.items()}
        solid += done.solid
        drawings = [_for_block(path, block.name, len(made.blocks)) for path in options.drawing or ()]
        quantity = options.quantity if options.quantity is not None or not drawings else block.count
        own = {**vars(options), "model": block.part.model, "drawing": drawings, "units": scene.units}
        own |= {"output": made.target.parent, "force": True}  # what exists already is looked at when all is made
        files |= drawn(Namespace(**{**own, "quantity": quantity}), block.part, block.entry)
        if fits := told_fits(Namespace(**own), block.part):
            told += f"{block.name}:\n{fits}"
    there = [path for path, data in files.items() if _is_there(path, data)]
    new = {path: data for path, data in files.items() if path not in there}
    paths = output.write_many(new, options.force)
    for line in (*made.lines, *paths):
        print(line)
    if there:
        print(f"{len(there)} of {len(files)} files there already")
    for line in no_outline(solid):
        print(line, file=sys.stderr)
    print(told, end="")
    return 1 if made.worse else 0


def _is_there(path: Path, data: bytes) -> bool:
    """Whether a file is there already as it would be written."""
    try:
        return path.is_file() and path.read_bytes() == data
    except OSError:
        return False


def _for_block(path: Path, name: str, count: int) -> Path:
    """The file of a drawing: of several blocks each has its own, with the name of the block behind."""
    from fixture3d import output
    from fixture3d.workshop.making import sheet_kinds

    if count == 1 or sheet_kinds(str(path)):
        return path
    return path.with_name(f"{path.stem} {output.file_name(name)}{path.suffix}")
