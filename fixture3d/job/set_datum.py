"""From where a stop is measured: a hole along the rows or columns, the table top, or a face of a block that stands."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from fixture3d.errors import FixtureError, nearest_name, one_line, some_names
from fixture3d.frame import Array
from fixture3d.job.hole_lines import HoleLines
from fixture3d.job.job import PlacedPad, Seat, placed_pads
from fixture3d.scene.table import Table
from fixture3d.units import Units, show

_AXES: Final = {"x": (1.0, 0.0, 0.0), "y": (0.0, 1.0, 0.0), "z": (0.0, 0.0, 1.0)}
_USUAL: Final = "a datum such as A1.x, C4.y, A1.z for a height, or S1.front for a face of a block"


@dataclass(frozen=True, kw_only=True)
class Datum:
    """Where a distance begins.

    Attributes:
        name: as it was asked for.
        words: what it is.
        at: (3,) a point of it, world, mm.
        way: (3,) unit: the direction in which the distance counts, world.
        seat: the block that it is a face of; None for a hole and the table.
        measured: how far the face stands out of the nominal block, mm; ``at`` has it.
    """

    name: str
    words: str
    at: tuple[float, float, float]
    way: tuple[float, float, float]
    seat: Seat | None = None
    measured: float = 0.0

    @property
    def upright(self) -> bool:
        """The distance is a height."""
        return self.way[2] > 0.5

    @property
    def along(self) -> float:
        """How far along its direction from the middle of A1 on the table top it lies, mm."""
        return sum(a * w for a, w in zip(self.at, self.way, strict=True))


class NoDatum(FixtureError):
    """A distance is asked for from something that is not there."""


def read_datum(text: str, table: Table, seats: Mapping[str, Seat], units: Units) -> Datum:
    """The datum that a text such as ``A1.x`` or ``S1.front`` names.

    Args:
        text: of the person at the keyboard.
        table: its top is looked at.
        seats: blocks that stand; none without a scene.
        units: for messages.

    Raises:
        NoDatum: one line.
    """
    shown = one_line(text[:80])
    if text in seats:
        return _face(text, seats[text], None, table, units)
    head, dot, tail = text.rpartition(".")
    if dot and head in seats and tail.lower() not in _AXES:
        return _face(text, seats[head], tail, table, units)
    if text.lower() == "table":
        return Datum(name="table", words="the table top", at=(0.0, 0.0, 0.0), way=_AXES["z"])
    if not dot or tail.lower() not in _AXES:
        raise NoDatum(f'--from "{shown}" {_unknown(text, head, table, seats)}')
    if ":" in head:
        raise NoDatum(f'--from "{shown}": only holes of the table top are measured from; expected {_USUAL}')
    hole, axis = table.hole(head), tail.lower()
    if axis == "z":
        return Datum(name=f"{hole.name}.z", words="the table top", at=hole.xyz, way=_AXES["z"])
    return Datum(name=f"{hole.name}.{axis}", words=f"the middle of hole {hole.name}", at=hole.xyz, way=_AXES[axis])


def _unknown(text: str, head: str, table: Table, seats: Mapping[str, Seat]) -> str:
    """Why a text is no datum, and what was meant most likely."""
    known = [*seats, *(f"{name}.{pad.pad.name}" for name, seat in seats.items() for pad in placed_pads(seat))]
    near = nearest_name(text[:80], known)
    if near:
        return f"is no hole and no block of the scene; nearest: {near}"
    if head and table.nearest_name(head[:20]):
        more = "" if seats else "; or --scene SCENE, if it is a block"
        return f"is measured from along x, y or z; expected {one_line(head[:20])}.x{more}"
    if not head and (hole := table.nearest_name(text[:20])):
        return f"does not say which way; expected {hole}.x along the rows, or {hole}.y"
    what = "is no hole and no block of the scene" if seats else "is no hole, and blocks are known with --scene SCENE"
    return f"{what}; expected {_USUAL}"


def _face(text: str, seat: Seat, name: str | None, table: Table, units: Units) -> Datum:
    """A face of a block that stands; the one that there is, if none is named."""
    pads = placed_pads(seat)
    shown = one_line(text[:80])
    if name is None:
        usable = [pad for pad in pads if pad.pad.moves] or [pad for pad in pads if _usable(pad, table)]
        if len(usable) != 1:
            names = [f"{seat.name}.{pad.pad.name}" for pad in usable]
            what = f"has {len(names)} faces to measure from" if names else "has no face to measure from"
            expected = f"; expected one of {some_names(names)}" if names else ""
            raise NoDatum(f'--from "{shown}": {seat.name} {what}{expected}')
        pad = usable[0]
    else:
        found = [pad for pad in pads if pad.pad.name == name]
        if not found:
            names = [pad.pad.name for pad in pads]
            near = nearest_name(name[:80], names)
            expected = f"nearest: {near}" if near else f"expected one of {some_names(names)}"
            raise NoDatum(f'--from "{shown}": {seat.name} has no face "{one_line(name[:60])}"; {expected}')
        pad = found[0]
    if not _usable(pad, table):
        raise NoDatum(
            f'--from "{shown}": the face looks {_tilted(pad.normal)}, where holes do not follow each other at even '
            "steps; expected a face that looks up, along the rows or columns, or, on a square grid, at 45 degrees"
        )
    way = tuple(0.0 if abs(v) < 1e-9 else float(v) for v in pad.normal)
    at = tuple(float(v) for v in pad.at)
    height = f", {show(at[2], units)} above the table" if way[2] > 0.5 else ""
    return Datum(
        name=f"{seat.name}.{pad.pad.name}",
        words=f"the {pad.pad.name} of {seat.name}{height}",
        at=at,  # type: ignore[arg-type]
        way=way,  # type: ignore[arg-type]
        seat=seat,
    )


def _usable(pad: PlacedPad, table: Table) -> bool:
    """It looks up, or along lines of holes."""
    x, y, z = (float(v) for v in pad.normal)
    return z > 1.0 - 1e-9 or (abs(z) < 1e-9 and HoleLines.fits(table, (x, y)))


def _tilted(normal: Array | Sequence[float]) -> str:
    return "(" + ", ".join(f"{float(v):.3f}" for v in normal) + ")"
