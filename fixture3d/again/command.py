"""The whole command: make the new file, write it, check old and new, and say what differs."""

from __future__ import annotations

import textwrap
from argparse import Namespace
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from fixture3d.again.again import Again, again
from fixture3d.again.change import change_of, read_move
from fixture3d.again.compare import differences
from fixture3d.again.copies import between, repeated
from fixture3d.again.split import CALLED, split
from fixture3d.engine import assemble_all, check_jobs
from fixture3d.errors import FixtureError
from fixture3d.output import write_text
from fixture3d.progress import on_terminal
from fixture3d.report.text import verdict
from fixture3d.scene import Scene
from fixture3d.scene.scene import loads, size_text

_WIDTH: Final = 100
SAME: Final = "  the same findings, with the same figures"
NOTHING_NEW: Final = "  nothing new: the findings of the first, for each copy"


@dataclass(frozen=True, kw_only=True)
class Told:
    """What a command prints, and its exit code."""

    lines: tuple[str, ...]
    code: int = 0


def by_itself(scene: Scene) -> Scene:
    """The same scene; one size of several as if it stood alone in the file, on the same lines.

    Raises:
        SceneError: its values stand in a form in which they cannot be changed one by one.
    """
    if scene.size is None:
        return scene
    alone = loads(size_text(scene), str(scene.path or ""))
    alone._models = scene.models
    return alone


def make_again(scene: Scene, options: Namespace) -> Told:
    """Write the new file and compare.

    Args:
        scene: the old one, from a file; of several sizes this one is written, with plain values.
        options: of the command line.

    Raises:
        FixtureError: it cannot be made; nothing is written then.
    """
    _asks_for_something(options)
    scene = by_itself(scene)
    jobs, target = assemble_all(scene), Path(options.output)
    if options.split is not None:
        made = split(scene, jobs, options.split, target.parent)
    elif options.repeat is None:
        change = change_of(scene.table, options.mirror, options.turn or 0, options.move, options.about)
        made = again(scene, jobs, change, target.parent)
    else:
        step = read_move(options.step, "--step") if options.step else (0.0, 0.0)
        made = repeated(scene, jobs, options.repeat, step, target.parent)
    new = _read(made, target, scene)
    new_jobs = assemble_all(new)  # before the file is written: it must be a setup that can stand
    lines = [str(write_text(target, made.text, force=options.force))]
    code = 0
    if not options.plain:
        with on_terminal(str(scene.path)) as progress:
            before, after = check_jobs(jobs, progress), check_jobs(new_jobs, progress)
        lines += [f"  was: {verdict(before)}", f"  now: {verdict(after)}"]
        found = differences(before, after, options.repeat or 1, CALLED if options.split else None)
        lines += (
            ["  findings that differ:", *_listed(found)] if found else [SAME if options.repeat is None else NOTHING_NEW]
        )
        code = after.exit_code
    notes = (*made.notes, *between(made, new_jobs))
    if notes:
        lines += ["  mind:", *_listed(notes)]
    return Told(lines=tuple(lines), code=code)


def _asks_for_something(options: Namespace) -> None:
    there = bool(options.mirror or options.turn or options.move)
    asked = there + (options.repeat is not None) + (options.split is not None)
    if not asked:
        raise FixtureError("again: nothing is asked for; expected --mirror, --turn, --move, --repeat or --split")
    if asked > 1:
        raise FixtureError("--repeat and --split go by themselves; expected one after the other, in files of their own")
    if options.about and not (options.mirror or options.turn):
        raise FixtureError("--about: there is nothing to mirror or turn; expected --mirror or --turn with it")
    if options.step and options.repeat is None:
        raise FixtureError("--step: there is nothing to repeat; expected --repeat 2 with it, or --move")


def _read(made: Again, target: Path, scene: Scene) -> Scene:
    """The new scene as it will be read from its file."""
    new = loads(made.text, str(target))
    new._models = scene.models
    return new


def _listed(sentences: tuple[str, ...]) -> list[str]:
    out: list[str] = []
    for one in sentences:
        out += textwrap.wrap(one, _WIDTH, initial_indent="  - ", subsequent_indent="    ", break_on_hyphens=False)
    return out
