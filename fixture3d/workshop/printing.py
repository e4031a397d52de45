"""The print version of a block or gauge: sizes made up for what printing does, laid, checked, split for the bed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from fixture3d import frame, output
from fixture3d.errors import FixtureError, nearest_name, one_line
from fixture3d.export.laying import beside, lying
from fixture3d.export.threemf import Printed, threemf_bytes
from fixture3d.frame import Array
from fixture3d.solid.kernel import tessellate
from fixture3d.solid.mesh import Mesh
from fixture3d.stock.plastics import PLASTICS, plastic_named
from fixture3d.tolerance import PRINTING
from fixture3d.units import Units, from_mm, show, show_sizes
from fixture3d.workshop.printing_checks import checked_lines, wall_lines
from fixture3d.workshop.printing_size import made_up, with_foot
from fixture3d.workshop.printing_split import fits_bed, split

if TYPE_CHECKING:
    from fixture3d.scene import Scene


@dataclass(frozen=True, kw_only=True)
class Sized:
    """A number that a print is made with, and where it came from.

    Attributes:
        value: mm on diameter; of a shrinkage a share.
        whose: in words.
    """

    value: float
    whose: str


USUAL_HOLE: Final = Sized(
    value=PRINTING.hole, whose="usual, public guides give 0.1 to 0.3 mm; print_trial gives your own"
)
USUAL_PIN: Final = Sized(value=PRINTING.pin, whose="usual; print_trial gives your own")
AS_DRAWN: Final = Sized(value=0.0, whose="a calibration piece is printed as drawn")


@dataclass(frozen=True, kw_only=True)
class PrintOrder:
    """How it is printed.

    Attributes:
        material: in words.
        chosen: by whom, in words; empty where it need not be said.
        shrinks: what all lengths are made longer by.
        hole: what holes are drawn wider, on diameter.
        pin: what pins are drawn thinner, on diameter.
        bed: width, depth and height that there is room for, mm.
        whole: it is measured when it is printed, and so never cut.
    """

    material: str = "PLA"
    chosen: str = ""
    shrinks: Sized | None = None
    hole: Sized = USUAL_HOLE
    pin: Sized = USUAL_PIN
    bed: tuple[float, float, float] = PRINTING.bed
    whole: bool = False

    @property
    def shrinkage(self) -> Sized:
        """As given, or the middle of what public guides say of the plastic."""
        if self.shrinks is not None:
            return self.shrinks
        plastic = PLASTICS[self.material]
        return Sized(value=plastic.shrinks, whose=f"public guides say {plastic.span}")


def print_order(
    material: str | None,
    hole: float | None,
    pin: float | None,
    bed: tuple[float, float, float],
    shop: Scene | None = None,
    trial: bool = False,
) -> PrintOrder:
    """What a print is made with: as asked, else as the shop measured it, else as usual.

    Args:
        material: asked for; None for the first of the shop's file, or PLA.
        hole: asked for, mm on diameter.
        pin: asked for, mm on diameter.
        bed: mm.
        shop: a file with ``[[printing]]``.
        trial: it is a calibration piece, from which holes and pins are read off as they are drawn.

    Raises:
        FixtureError: a plastic that neither the shop's file nor the table knows, or a compensation that no print takes.
    """
    lines = {} if shop is None else {one.material.casefold(): one for one in shop.printing}
    asked = None if material is None else " ".join(material.split())
    own = next(iter(lines.values()), None) if asked is None else lines.get(asked.casefold())
    name = (own.material if own is not None else asked) or "PLA"
    if plastic_named(name) is not None:
        name = name.upper()
    elif own is None:
        known = [*(one.material for one in lines.values()), *PLASTICS]
        near = nearest_name(name.upper(), known)
        raise FixtureError(
            f'--material "{one_line(name)}" is no plastic that shrinkage is known of; expected one of '
            f"{', '.join(dict.fromkeys(known))}" + (f"; nearest: {near}" if near else "")
        )
    where = "" if own is None or shop is None else f"{shop.path}, line {shop.line_of(shop.path_of(own))}"

    def sized(option: str, given: float | None, measured: float | None, usual: Sized) -> Sized:
        if given is not None:
            return Sized(value=checked_clearance(option, given), whose=f"as asked by {option}")
        if trial:
            return AS_DRAWN
        return usual if measured is None else Sized(value=measured, whose=where)

    shrink = None if own is None else own.shrink
    chosen = "taken where none is asked for" if own is None or shop is None else f"the first of {shop.path}"
    return PrintOrder(
        material=name,
        chosen="" if asked is not None else chosen,
        shrinks=None if shrink is None else Sized(value=shrink / 100.0, whose=where),
        hole=sized("--clearance", hole, None if own is None else own.clearance, USUAL_HOLE),
        pin=sized("--pin-clearance", pin, None if own is None else own.pin_clearance, USUAL_PIN),
        bed=bed,
        whole=trial,
    )


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
    scale = 1.0 / (1.0 - order.shrinkage.value)
    pieces: list[tuple[str, Mesh]] = []
    lines = _sizes_in_words(order, scale, units)
    for name, shape in solids:
        sized, said = made_up(shape, order.hole.value, order.pin.value)
        lines += [f"{name}: {line}" for line in said]
        exact = tessellate(sized, PRINTING.chord)
        laid = exact.moved(lying(exact))
        laid = Mesh(laid.vertices * scale, laid.faces, laid.planar, laid.chord * scale, laid.curved)
        size = [float(v) for v in np.ptp(laid.vertices, axis=0)]
        if order.whole and not fits_bed(size, order.bed):
            raise FixtureError(
                f"{name}: {show_sizes(size, units)} does not go on a bed of {show_sizes(order.bed, units)}, and a "
                "calibration piece is not cut; expected a larger bed, or fewer holes"
            )
        parts, joints = split(laid, order.bed, name, units)
        lines += [*joints, *wall_lines(name, laid, units)]
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
    lines.append(_caution(order.material))
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


def _sizes_in_words(order: PrintOrder, scale: float, units: Units) -> list[str]:
    hole, pin, shrinks = order.hole, order.pin, order.shrinkage
    out = [f"material {order.material} ({order.chosen})"] if order.chosen else []
    return [
        *out,
        (
            f"holes {_fine(hole.value, units)} wider on diameter, {_fine(hole.value / 2.0, units)} a side"
            if hole.value
            else "holes as drawn"
        )
        + f" ({hole.whose})",
        (f"pins {_fine(pin.value, units)} thinner on diameter" if pin.value else "pins as drawn") + f" ({pin.whose})",
        f"all lengths times {scale:.5f}: {order.material} shrinks by {100.0 * shrinks.value:g} % ({shrinks.whose})",
        "holes are round holes, hollows, slots by their width, and conical seats; outside flats stay as drawn",
        f"edge on the bed drawn in by {show(PRINTING.foot, units)} in steps of a layer of {PRINTING.layer:g} mm "
        "(common practice, no source)",
    ]


def _fine(mm: float, units: Units) -> str:
    """A compensation: half of a hundredth still shows.

    >>> _fine(0.075, "mm"), _fine(0.254, "in")
    ('0.075 mm', '0.01 in')
    """
    return f"{from_mm(mm, units):.{3 if units == 'mm' else 4}f}".rstrip("0").rstrip(".") + f" {units}"


def _caution(material: str) -> str:
    plastic = plastic_named(material)
    softens = f"softens at {plastic.softens} (from memory)" if plastic else "softens, at what heat is not known here"
    return (
        f"for trial and gauge use, not beside the arc: {material} {softens}, spatter melts into it, and it carries no "
        "work-return current"
    )


def write_print(
    path: Path, title: str, solids: Sequence[tuple[str, Any]], order: PrintOrder, units: Units, force: bool = False
) -> tuple[Path, tuple[str, ...]]:
    """Write the 3MF file; its path and what is to be said of it. Errors as for `print_version`, or `OutputRefused`."""
    output.check_target(path, force, (".3mf",))
    made = print_version(title, solids, order, units)
    (written,) = output.write_many({path: made.data}, force)
    return written, made.lines
