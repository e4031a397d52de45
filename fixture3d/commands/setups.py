"""``again``, ``swap`` and ``record``: a setup elsewhere, the next one, and what was measured of it."""

from __future__ import annotations

import json
import sys
from argparse import Namespace
from pathlib import Path

from fixture3d.commands.given import assembled, load_scene, say_first
from fixture3d.commands.parsing import Commands, add_force, add_scene, add_size
from fixture3d.errors import FixtureError


def add(commands: Commands) -> None:
    """``again``, ``swap`` and ``record``."""
    _add_again(commands)
    _add_swap(commands)
    _add_record(commands)


def _add_again(commands: Commands) -> None:
    again = commands.add(
        "again", run_again, "write the same setup elsewhere: mirrored, turned, moved or repeated, and check it"
    )
    add_scene(again)
    add_size(again)
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
    add_force(again)


def _add_swap(commands: Commands) -> None:
    swap = commands.add(
        "swap", run_swap, "from the setup OLD to the setup NEW in the fewest moves: what stays, what goes where"
    )
    swap.add_argument("old", metavar="OLD", type=Path, help="the scene file of the setup that stands")
    swap.add_argument("new", metavar="NEW", type=Path, help="that of the setup that shall stand, on the same table")
    swap.add_argument("--from-size", metavar="NAME", help="of OLD, the size that stands (default: the first)")
    swap.add_argument("--to-size", metavar="NAME", help="of NEW, the size to come (default: the first)")
    swap.add_argument("--from-stage", metavar="NAME", help="of OLD, the stage that stands (default: the first)")
    swap.add_argument("--to-stage", metavar="NAME", help="of NEW, the stage to come (default: the first)")
    swap.add_argument("--json", action="store_true", help="a JSON object instead of text")
    swap.add_argument("-o", "--output", metavar="FILE", type=Path, help="write list and plan with arrows as PDF too")
    swap.add_argument("--paper", choices=("a4", "letter"), help="default: letter for inch files, else a4")
    add_force(swap)


def _add_record(commands: Commands) -> None:
    record = commands.add(
        "record", run_record, "show or write down what was measured and set at the table, beside what was planned"
    )
    add_scene(record)
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
    add_size(record)
    record.add_argument("--stage", metavar="NAME", help="of a scene with stages, this one only (default: all)")
    record.add_argument("--merge", metavar="FILE", type=Path, help="add the entries of another record, each once")
    record.add_argument("--json", action="store_true", help="a JSON object instead of text; lengths in mm")


def run_again(options: Namespace) -> int:
    """``again``: the scene file of the same setup elsewhere, and what the checks say of both."""
    from fixture3d.again.command import make_again
    from fixture3d.output import check_target

    scene = load_scene(options.scene, options)
    check_target(options.output, options.force, (".toml",))
    told = make_again(scene, options)
    print("\n".join(told.lines))
    return told.code


def run_swap(options: Namespace) -> int:
    """``swap``: from one setup to the next in the fewest moves, as text or JSON, and as PDF."""
    from fixture3d.output import check_target
    from fixture3d.swap.swap import swap
    from fixture3d.swap.text import to_dict, to_text

    old, new = load_scene(options.old, options, "from_size"), load_scene(options.new, options, "to_size")
    if options.output is not None:
        check_target(options.output, options.force, (".pdf",))
    elif options.paper is not None:
        raise FixtureError("swap --paper without a file; expected -o FILE.pdf with it")
    found = swap(assembled(old, options.from_stage, "--from-stage"), assembled(new, options.to_stage, "--to-stage"))
    if options.json:
        print(json.dumps(to_dict(found), indent=1, ensure_ascii=False, allow_nan=False))
    else:
        print(to_text(found), end="")
    if options.output is not None and not found.stuck:
        from fixture3d.swap.pdf import write_swap

        written = write_swap(found, options.output, paper=options.paper, force=options.force)
        print(written, file=sys.stderr if options.json else sys.stdout)
    return 1 if found.stuck else 0


def run_record(options: Namespace) -> int:
    """``record``: what was set and measured at the table: shown, added to, joined."""
    from fixture3d.record.command import run
    from fixture3d.scene.find import load

    scene = load(options.scene, options.models, options.size, record=False)
    say_first(scene, options, "size")
    told = run(scene, options)
    print(told.text, end="")
    return told.code
