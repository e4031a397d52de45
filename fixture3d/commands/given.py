"""What several commands make of their options: a scene and its job, a hole pattern, a length, a file to write."""

from __future__ import annotations

import sys
from argparse import Namespace
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Final

from fixture3d.errors import FixtureError, UnitError, one_line

if TYPE_CHECKING:
    from fixture3d.job import Job
    from fixture3d.part import Pattern
    from fixture3d.scene import Scene
    from fixture3d.units import Units


def load_scene(path: Path, options: Namespace, which: str = "size", record: bool = False) -> Scene:
    """The scene, whose own files no output of this run may replace; of several sizes that which is asked for.

    Where none is asked for it is the first, and that is said. ``which`` option names the size; ``record`` reads what
    was set and measured at the table too.
    """
    from fixture3d.scene.find import load

    scene = load(path, options.models, getattr(options, which), record=record, shop=getattr(options, "shop", None))
    keep_files(scene)
    say_first(scene, options, which)
    return scene


def keep_files(scene: Scene) -> None:
    """No output of this run may replace the files of a scene, or its record."""
    from fixture3d import output
    from fixture3d.scene.record import record_path

    output.keep((*scene.files, *(() if scene.path is None else (record_path(scene.path),))))


def say_first(scene: Scene, options: Namespace, which: str) -> None:
    """Say that this is the first of several sizes, where none is asked for."""
    if getattr(options, which) is None and len(scene.sizes) > 1:
        first, option, others = one_line(scene.sizes[0]), f"--{which.replace('_', '-')}", _others(scene.sizes)
        print(f'this is size 1 of {len(scene.sizes)}, "{first}"; {option} for {others}', file=sys.stderr)


def _others(names: Sequence[str]) -> str:
    """The names behind the first."""
    return ", ".join(f'"{one_line(name)}"' for name in names[1:4]) + (", ..." if len(names) > 4 else "")


def assembled(scene: Scene, stage: str | None = None, option: str = "--stage") -> Job:
    """The job of one stage; of the first, and says so, where none is asked for and there are some."""
    from fixture3d.engine import assemble

    job = assemble(scene, stage=stage)
    names = [one.name for one in job.scene.whole.stages]
    if stage is None and len(names) > 1:
        print(
            f'this is stage 1 of {len(names)}, "{one_line(names[0])}"; {option} for {_others(names)}', file=sys.stderr
        )
    return job


def output_path(options: Namespace, suffix: str) -> Path:
    """The file to write: as asked, or in this folder under the name of the scene, and of the size asked for."""
    if options.output is not None:
        return Path(options.output)
    size = "" if options.size is None else f" {options.size}"
    return Path(f"{options.scene.stem or 'setup'}{size}{suffix}")


USUAL: Final[dict[Units, tuple[str, str]]] = {
    "mm": ("50/16", "16 mm, 50 mm apart"),
    "in": ("2/(3/4)", "3/4 in, 2 in apart"),
}


def read_pattern(asked: str | None, units: Units) -> Pattern:
    """``50/16``, or ``2/(3/4)`` in inches, as a hole pattern; these two when none is asked for."""
    from fixture3d.part import Pattern
    from fixture3d.scene.preset import read_preset

    text = USUAL[units][0] if asked is None else asked
    tail = text if " " in text.strip() else f"{text} 1000x1000" if units == "mm" else f"{text} 48x48"
    preset = read_preset(tail, units)
    return Pattern(pitch=preset.pitch, bore=preset.bore, inch=units == "in")


def read_formats(
    options: Namespace, units: Units, usual: tuple[str, ...] = ("step", "stl")
) -> tuple[tuple[str, ...], float]:
    """The formats that are asked for, and the kerf, mm."""
    from fixture3d.export.block import read_formats as block_formats

    formats, kerf = block_formats(options.format, usual), asked_length("--kerf", options.kerf, units)
    if kerf is not None and "dxf" not in formats:
        raise FixtureError("--kerf is for outlines; expected dxf among --format")
    return formats, kerf or 0.0


def asked_length(name: str, text: str | None, units: Units) -> float | None:
    """The length after an option, in mm; None where there is none."""
    from fixture3d.units import length

    if text is None:
        return None
    try:
        return length(text, units)
    except UnitError as error:
        raise UnitError(f"{name}: {error}") from None
