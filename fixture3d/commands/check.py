"""``check`` and ``watch``: what the checks say of one setup, of many, or each time the file is saved."""

from __future__ import annotations

import json
import sys
import time
from argparse import Namespace
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Final

from fixture3d.commands.parsing import Commands, add_no_record, add_scene, add_shop, add_size, add_stage
from fixture3d.errors import FixtureError, one_line

if TYPE_CHECKING:
    from fixture3d.report import Report
    from fixture3d.report.family import FamilyReport

_LOOK: Final = 0.2  # s between two looks at a file that is watched


def add(commands: Commands) -> None:
    """``check`` and ``watch``."""
    check = commands.add(
        "check", run_check, "check one setup or many: does it stand, does it collide, can it be welded"
    )
    add_scene(check, many=True)
    add_stage(check, "all, one after the other")
    add_size(check, "all")
    add_shop(check)
    check.add_argument("--json", action="store_true", help="a JSON object instead of text; of many scenes one a line")
    check.add_argument("--faces", action="store_true", help="print the place of every face of every block")
    check.add_argument("--order", action="store_true", help="propose where to tack and in what order to weld")
    check.add_argument("--shrinkage", action="store_true", help="print the shrinkage of each weld and cut length")
    check.add_argument(
        "--spread", metavar="N", type=int, help="draw N imagined setups of the key figures, as in --spread 10000"
    )
    check.add_argument("--seed", metavar="N", type=int, help="of that draw (default 1); same seed, same figures")
    check.add_argument("--timing", action="store_true", help="print how long each check took")
    add_no_record(check)

    watch = commands.add("watch", run_watch, "check again each time the scene file is saved; stop with Ctrl-C")
    add_scene(watch)
    add_size(watch, "all")
    add_shop(watch)
    add_no_record(watch)
    watch.add_argument("--once", action="store_true", help="check, wait for one change, check again, and stop")


def run_check(options: Namespace) -> int:
    """``check``: the worst exit code of all scenes; a scene that cannot be read does not stop the others."""
    worst = 0
    for number, path in enumerate(options.scene):
        try:
            report = _check(path, options, options.stage, _spread(options))
        except FixtureError as error:
            print(str(error), file=sys.stderr)
            worst = max(worst, 2)
            continue
        if options.json:
            # One scene to be read by a person, many to be read line by line.
            indent = 1 if len(options.scene) == 1 else None
            print(json.dumps(report.to_dict(timing=options.timing), indent=indent, ensure_ascii=False, allow_nan=False))
        else:
            if len(options.scene) > 1:
                print(("\n" if number else "") + f"== {one_line(str(path))}")
            shown = {name: getattr(options, name) for name in ("faces", "timing", "order", "shrinkage")}
            print(_report_text(report, **shown), end="")
        worst = max(worst, report.exit_code)
    return worst


def _check(
    path: Path, options: Namespace, stage: str | None = None, spread: tuple[int, int] | None = None
) -> Report | FamilyReport:
    """The report of a scene; of one with sizes that of all of them, unless one is asked for."""
    from fixture3d.engine import check, check_sizes, load
    from fixture3d.progress import on_terminal

    with on_terminal(str(path)) as progress:
        scene = load(path, options.models, options.size, record=not options.no_record, shop=options.shop)
        if scene.sizes and options.size is None:
            return check_sizes(scene, progress, stage=stage, spread=spread)
        return check(scene, progress, stage=stage, spread=spread)


def _report_text(report: Report | FamilyReport, **shown: bool) -> str:
    from fixture3d.report import Report
    from fixture3d.report.text import to_text

    return to_text(report, **shown) if isinstance(report, Report) else report.to_text(**shown)


def _spread(options: Namespace) -> tuple[int, int] | None:
    """Imagined setups and seed of ``check --spread``.

    Raises:
        FixtureError: a number that makes no sense.
    """
    from fixture3d.tolerance import ACCURACY

    if options.spread is None:
        if options.seed is not None:
            raise FixtureError("check --seed without --spread; expected --spread 10000")
        return None
    if not 100 <= options.spread <= ACCURACY.most_samples:
        raise FixtureError(
            f"check --spread {options.spread}: expected 100 to {ACCURACY.most_samples} imagined setups, as in 10000"
        )
    seed = ACCURACY.seed if options.seed is None else options.seed
    if not 0 <= seed < 2**32:
        raise FixtureError(f"check --seed {seed}: expected a whole number from 0 to {2**32 - 1}")
    return options.spread, seed


def run_watch(options: Namespace) -> int:
    """``watch``: check, wait until the file changes, check again."""
    code = 0
    rounds = 0
    files: tuple[Path, ...] = ()
    while True:
        files = _watched(options, files)
        before = _stamp(files)
        try:
            report = _check(options.scene, options)
            print(_report_text(report), flush=True)
            code = report.exit_code
        except FixtureError as error:
            print(str(error), file=sys.stderr, flush=True)
            code = 2
        rounds += 1
        if options.once and rounds == 2:
            return code
        print(f"watching {options.scene}; Ctrl-C stops", file=sys.stderr, flush=True)
        _wait_for_change(files, before)


def _watched(options: Namespace, known: tuple[Path, ...]) -> tuple[Path, ...]:
    """The files that a check of a scene reads; of one that cannot be read now, those that were known before."""
    from fixture3d.scene.find import find, load
    from fixture3d.scene.record import record_path

    path = find(options.scene)
    try:
        named = load(path, options.models, record=False, shop=options.shop).files
    except FixtureError:
        named = known
    given = () if options.shop is None else (options.shop,)
    return tuple(dict.fromkeys((path, record_path(path), *given, *named)))


def _wait_for_change(files: Sequence[Path], before: tuple[int, ...]) -> None:
    """Until one of the files is other than before and they all stay as they are from one look to the next.

    Many editors empty a file before they write it, so what is seen at the first look may be half of it.
    """
    while _stamp(files) == before:
        time.sleep(_LOOK)
    seen = None
    while (now := _stamp(files)) != seen:
        seen = now
        time.sleep(_LOOK)


def _stamp(files: Sequence[Path]) -> tuple[int, ...]:
    """When files were last written, and how large they are."""
    out: list[int] = []
    for file in files:
        try:
            status = file.stat()
            out += [status.st_mtime_ns, status.st_size]
        except OSError:
            out += [0, 0]
    return tuple(out)
