"""``locate``: a stop set to a distance, and which stops are on position."""

from __future__ import annotations

import json
import sys
from argparse import Namespace
from pathlib import Path

from fixture3d.commands.given import assembled, load_scene
from fixture3d.commands.parsing import Commands, add_shop, add_size, add_stage
from fixture3d.errors import FixtureError, UnitError, one_line


def add(commands: Commands) -> None:
    """``locate``."""
    locate = commands.add(
        "locate",
        run_locate,
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
    add_stage(locate, "the first")
    add_size(locate)
    locate.add_argument("--table", metavar="TABLE", help="without a scene: such as '50/16 2000x1000'")
    locate.add_argument("--units", choices=("mm", "in"), help="without a scene: unit of bare numbers (default mm)")
    add_shop(locate, "--inventory")
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


def run_locate(options: Namespace) -> int:
    """``locate``: settings for a distance; of a scene, which stops are on position."""
    if options.datum is None:
        return _on_position(options)
    from fixture3d.job.ask import USUAL_TABLE, Asked, bare_table, load_stock, question
    from fixture3d.job.locate import locate
    from fixture3d.library import library
    from fixture3d.report.setting_data import to_dict
    from fixture3d.report.setting_text import to_text

    if options.scene is not None and (options.table is not None or options.units is not None):
        raise FixtureError("--scene has a table and units of its own; expected no --table and no --units with it")
    if options.scene is None and options.size is not None:
        raise FixtureError("--size is of a scene with sizes; expected --scene with it")
    if options.list < 1:
        raise FixtureError(f"--list {options.list}: expected 1 or more")
    scene = bare_table(options.table, options.units or "mm")
    if options.scene is not None:
        scene = load_scene(options.scene, options)
    elif options.table is None:
        print(f'for a table "{USUAL_TABLE[scene.units]}"; --table or --scene for another one', file=sys.stderr)
    scene._shop = options.shop
    stock, source = load_stock(scene)
    shop = library([Path(m) for m in options.models])
    asked = Asked(
        distance=options.what,
        datum=options.datum,
        facing=options.facing,
        within=options.within,
        height=options.height,
        shims=options.shims,
    )
    found = locate(question(asked, scene, stock, shop, options.stage), shop, options.list)
    if options.json:
        print(json.dumps(to_dict(found), indent=1, ensure_ascii=False, allow_nan=False))
    else:
        print(to_text(found, options.what, source), end="")
    return 0 if found.good else 1


def _on_position(options: Namespace) -> int:
    """``locate SCENE``: which stops are on position."""
    from fixture3d.job.ask import free_shims
    from fixture3d.job.on_position import on_position
    from fixture3d.report.position_text import to_dict, to_text
    from fixture3d.scene.find import find
    from fixture3d.units import UNITS, length

    path = Path(options.what)
    if not find(path).exists():
        for unit in UNITS:
            try:
                length(options.what, unit)
            except UnitError:
                continue
            raise FixtureError(f'"{one_line(options.what)}" is a distance and needs --from, such as --from A1.x')
    if options.scene is not None:
        raise FixtureError("--scene goes with a distance and --from; expected locate SCENE, or a distance")
    scene = load_scene(path, options)
    job = assembled(scene, options.stage)
    rows = on_position(job, free_shims(job))
    if options.json:
        print(json.dumps(to_dict(job, rows), indent=1, ensure_ascii=False, allow_nan=False))
    else:
        print(to_text(job, rows), end="")
    return 0 if all(row.on for row in rows) else 1
