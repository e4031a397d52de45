"""The print version of a block or gauge: sizes made up for what printing does, laid, checked, split for the bed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import numpy as np

from fixture3d import frame, output
from fixture3d.errors import FixtureError, nearest_name, one_line
from fixture3d.export.laying import beside, lying
from fixture3d.export.threemf import Printed, threemf_bytes
from fixture3d.frame import Array
from fixture3d.solid.kernel import tessellate
from fixture3d.solid.mesh import Mesh
from fixture3d.tolerance import PRINTING
from fixture3d.units import Units, from_mm, show
from fixture3d.workshop.printing_checks import checked_lines
from fixture3d.workshop.printing_size import made_up, with_foot
from fixture3d.workshop.printing_split import fits_bed, split


@dataclass(frozen=True, kw_only=True)
class Plastic:
    """What a print is made of.

    Attributes:
        shrinks: linear, as a share.
        span: what sources say of that, per cent, in words.
        softens: where it gives way, in words.
    """

    shrinks: float
    span: str
    softens: str


PLASTICS: Final[dict[str, Plastic]] = {
    "PLA": Plastic(shrinks=0.002, span="0.1 to 0.3 %", softens="about 60 °C"),
    "PETG": Plastic(shrinks=0.004, span="0.2 to 0.6 %", softens="75 to 80 °C"),
    "ABS": Plastic(shrinks=0.007, span="0.4 to 0.9 %, others 0.7 to 1.6 %", softens="95 to 105 °C"),
    "ASA": Plastic(shrinks=0.0055, span="0.4 to 0.7 %, others 1.0 to 1.5 %", softens="95 to 105 °C"),
}
"""The middle of what public print guides give; they disagree. Where a plastic softens is from memory."""


@dataclass(frozen=True, kw_only=True)
class PrintOrder:
    """How it is printed.

    Attributes:
        plastic: a key of `PLASTICS`.
        hole: what holes are drawn wider, mm on diameter.
        pin: what pins are drawn thinner, mm on diameter.
        bed: width, depth and height that there is room for, mm.
        measured: whether ``hole`` is the shop's own and not the usual one.
    """

    plastic: str = "PLA"
    hole: float = PRINTING.hole
    pin: float = PRINTING.pin
    bed: tuple[float, float, float] = PRINTING.bed
    measured: bool = False


def read_plastic(text: str | None) -> str:
    """The plastic of that name.

    Raises:
        FixtureError: none is.

    >>> read_plastic("petg")
    'PETG'
    """
    name = (text or "PLA").strip().upper()
    if name not in PLASTICS:
        near = nearest_name(name, PLASTICS)
        raise FixtureError(
            f'--material "{one_line(text or "")}" is no plastic that shrinkage is known of; expected one of '
            f"{', '.join(PLASTICS)}" + (f"; nearest: {near}" if near else "")
        )
    return name


def read_bed(text: str | None) -> tuple[float, float, float]:
    """``220x220x250``: width, depth and height, mm.

    Raises:
        FixtureError: it is not three lengths from 50 to 2000.
    """
    if text is None:
        return PRINTING.bed
    try:
        sizes = [float(word) for word in text.casefold().removesuffix("mm").split("x")]
    except ValueError:
        sizes = []
    if len(sizes) != 3 or not all(50.0 <= size <= 2000.0 for size in sizes):
        raise FixtureError(
            f'--bed "{one_line(text)}": expected WIDTHxDEPTHxHEIGHT in mm, 50 to 2000, such as 220x220x250'
        )
    return sizes[0], sizes[1], sizes[2]


def checked_clearance(name: str, mm: float) -> float:
    """A compensation that makes sense.

    Raises:
        FixtureError: below 0 or more than any print is off.
    """
    if not 0.0 <= mm <= PRINTING.most_clearance:
        raise FixtureError(f"{name}: {mm:g} mm on diameter; expected 0 to {PRINTING.most_clearance:g} mm")
    return mm


@dataclass(frozen=True, kw_only=True)
class PrintVersion:
    """A print.

    Attributes:
        data: of the 3MF file.
        pieces: names and meshes as they lie beside each other, mesh to bed.
        lines: what was done and what to look out for, for the man at the printer.
    """

    data: bytes
    pieces: tuple[tuple[str, Mesh, Array], ...]
    lines: tuple[str, ...]


def print_version(title: str, solids: Sequence[tuple[str, Any]], order: PrintOrder, units: Units) -> PrintVersion:
    """The print version of a block.

    Args:
        title: of the file.
        solids: (name, ``TopoDS_Shape``) of each body that is made.
        order: plastic, compensation and bed.
        units: of the lengths in the sentences.

    Raises:
        FixtureError: the bed would need too many pieces.
        BadSolid: the kernel cannot make the holes or pins so.
    """
    plastic = PLASTICS[order.plastic]
    scale = 1.0 / (1.0 - plastic.shrinks)
    pieces: list[tuple[str, Mesh]] = []
    lines = _sizes_in_words(order, plastic, scale, units)
    for name, shape in solids:
        sized, said = made_up(shape, order.hole, order.pin)
        lines += [f"{name}: {line}" for line in said]
        exact = tessellate(sized)
        laid = exact.moved(lying(exact))
        laid = Mesh(laid.vertices * scale, laid.faces, laid.planar, laid.chord * scale, laid.curved)
        parts, joints = split(laid, order.bed, name, units)
        lines += joints
        for part_name, mesh in parts:
            again = _laid(mesh, order.bed) if len(parts) > 1 else mesh
            lines += checked_lines(part_name, again, units)
            pieces.append((part_name, with_foot(again)))
    poses = beside([mesh for _, mesh in pieces], [frame.identity() for _ in pieces])
    # The foot is drawn in, so a piece need not begin at 0 any more.
    poses = [_from_zero(mesh, pose) for (_, mesh), pose in zip(pieces, poses, strict=True)]
    printed = [Printed(name, mesh, pose) for (name, mesh), pose in zip(pieces, poses, strict=True)]
    if len(pieces) > 1:
        lines.append(f"{len(pieces)} pieces in the file, side by side: print them in turn where the bed is too small")
    lines += _caution(order.plastic, plastic)
    placed = tuple((name, mesh, pose) for (name, mesh), pose in zip(pieces, poses, strict=True))
    return PrintVersion(data=threemf_bytes(title, printed), pieces=placed, lines=tuple(lines))


def _laid(mesh: Mesh, bed: tuple[float, float, float]) -> Mesh:
    """A piece on its best side where that fits the bed, else as it was cut."""
    best = mesh.moved(lying(mesh))
    if fits_bed(np.ptp(best.vertices, axis=0), bed):
        return best
    return mesh.moved(frame.translation(-mesh.vertices.min(axis=0)))


def _from_zero(mesh: Mesh, pose: Array) -> Array:
    least = frame.points(pose, mesh.vertices).min(axis=0)
    return frame.chain(frame.translation(-np.minimum(least, 0.0)), pose)


def _sizes_in_words(order: PrintOrder, plastic: Plastic, scale: float, units: Units) -> list[str]:
    whose = (
        "the shop's own" if order.measured else "usual, public guides give 0.1 to 0.3 mm; print_trial gives your own"
    )
    pins = f"pins {_fine(order.pin, units)} thinner on diameter" if order.pin else "pins as drawn"
    return [
        f"holes {_fine(order.hole, units)} wider on diameter, {_fine(order.hole / 2.0, units)} a side "
        f"({whose}); {pins}",
        f"all lengths times {scale:.5f}: {order.plastic} shrinks by {100.0 * plastic.shrinks:g} % (public guides say "
        f"{plastic.span})",
        f"edge on the bed drawn in by {show(PRINTING.foot, units)} in steps of a layer of {PRINTING.layer:g} mm "
        "(common practice, no source)",
    ]


def _fine(mm: float, units: Units) -> str:
    """A compensation: half of a hundredth still shows.

    >>> _fine(0.075, "mm"), _fine(0.254, "in")
    ('0.075 mm', '0.01 in')
    """
    return f"{from_mm(mm, units):.{3 if units == 'mm' else 4}f}".rstrip("0").rstrip(".") + f" {units}"


def _caution(name: str, plastic: Plastic) -> list[str]:
    return [
        f"for trial and gauge use, not beside the arc: {name} softens at {plastic.softens} (from memory), spatter "
        "melts into it, and it carries no work-return current"
    ]


def write_print(
    path: Path, title: str, solids: Sequence[tuple[str, Any]], order: PrintOrder, units: Units, force: bool = False
) -> tuple[Path, tuple[str, ...]]:
    """Write the 3MF file; its path and what is to be said of it. Errors as for `print_version`, or `OutputRefused`."""
    output.check_target(path, force, (".3mf",))
    made = print_version(title, solids, order, units)
    (written,) = output.write_many({path: made.data}, force)
    return written, made.lines
