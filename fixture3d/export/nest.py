"""Flat parts laid on sheets of a given size by a packing library: their boxes, turned by quarters where that helps.

What one sheet is cut from is one thickness; parts keep `Making.gap` between each other and from the edge, or their
thickness where that is more. Boxes are packed, not outlines: no part is laid into the opening or the corner of another.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

from fixture3d.errors import FixtureError
from fixture3d.export.dxf import add_line, add_loop, add_text, blank, dxf_bytes
from fixture3d.export.flat import shifted
from fixture3d.job import polygon
from fixture3d.job.weldment import PlateShape
from fixture3d.stock.section import Loop
from fixture3d.tolerance import MAKING
from fixture3d.units import Units, show

SHEET: Final = "sheet"  # the layer of the sheet's own edge, which is not cut
_GRAIN: Final = 0.001  # mm; the packer counts whole numbers


@dataclass(frozen=True, kw_only=True)
class FlatPart:
    """Parts to be cut, all alike: their name, the line that the cut follows, how many."""

    name: str
    plate: PlateShape
    count: int = 1


@dataclass(frozen=True, kw_only=True)
class Laid:
    """One part on a sheet: its name, its loops where they lie, mm from the sheet's lower left corner."""

    name: str
    loops: tuple[Loop, ...]


@dataclass(frozen=True, kw_only=True)
class Nested:
    """Sheets of one thickness.

    Attributes:
        thickness: mm.
        sheets: the parts of each.
        left_out: one sentence for each part that fits on no sheet.
    """

    thickness: float
    sheets: tuple[tuple[Laid, ...], ...]
    left_out: tuple[str, ...]


def nested(
    parts: Sequence[FlatPart], sheet: tuple[float, float], gap: float | None = None, units: Units = "mm"
) -> tuple[Nested, ...]:
    """The parts on as many sheets as they need, thinnest first.

    Args:
        parts: of any thickness.
        sheet: length and width, mm.
        gap: between parts and to the edge, mm; None takes the usual.
        units: of the sentences.

    Raises:
        FixtureError: a sheet or gap that makes no sense.
        MissingLibrary: the packing library is not there.
    """
    if not (all(10.0 <= side <= 30_000.0 for side in sheet) and (gap is None or 0.0 <= gap <= 1000.0)):
        raise FixtureError("a sheet is 10 mm to 30 m long and wide, and the gap 0 to 1 m; expected such as 1000x500")
    by_thickness: dict[float, list[FlatPart]] = {}
    for part in parts:
        by_thickness.setdefault(round(part.plate.thickness, 6), []).append(part)
    return tuple(_one(t, by_thickness[t], sheet, gap, units) for t in sorted(by_thickness))


def _one(
    thickness: float, parts: Sequence[FlatPart], sheet: tuple[float, float], gap: float | None, units: Units
) -> Nested:
    apart = max(MAKING.gap, thickness) if gap is None else gap
    room = (sheet[0] - 2.0 * apart, sheet[1] - 2.0 * apart)
    fit, left_out = [], []
    for part in parts:
        long, wide = part.plate.size
        over = min(_over((long, wide), room), _over((wide, long), room))
        if over > 1e-6:
            left_out.append(
                f"{part.name}{_times(part.count)} is {show(long, units)} by {show(wide, units)}: too large by "
                f"{show(over, units)} for a sheet of {show(sheet[0], units)} by {show(sheet[1], units)} with "
                f"{show(apart, units)} round it"
            )
        else:
            fit += [part] * part.count
    sheets: dict[int, list[tuple[int, Laid]]] = {}
    for number, x, y, turned, k in _packed([p.plate.size for p in fit], room, apart):
        sheets.setdefault(number, []).append((k, _laid(fit[k], x + apart, y + apart, turned)))
    order = sorted(sheets)
    rows = tuple(tuple(one for _, one in sorted(sheets[n], key=lambda pair: pair[0])) for n in order)
    return Nested(thickness=thickness, sheets=rows, left_out=tuple(left_out))


def _times(count: int) -> str:
    return f" ({count} of them)" if count > 1 else ""


def _over(size: tuple[float, float], room: tuple[float, float]) -> float:
    return max(size[0] - room[0], size[1] - room[1])


def _packed(
    sizes: Sequence[tuple[float, float]], room: tuple[float, float], gap: float
) -> list[tuple[int, float, float, bool, int]]:
    """Sheet, corner (mm), whether turned, and number of each box; all of them fit on a sheet of their own."""
    if not sizes:
        return []
    try:
        import rectpack
    except ImportError as error:
        from fixture3d.errors import MissingLibrary

        raise MissingLibrary("laying parts on sheets needs rectpack; pip install rectpack") from error
    packer = rectpack.newPacker(
        mode=rectpack.PackingMode.Offline,
        bin_algo=rectpack.PackingBin.BFF,
        pack_algo=rectpack.MaxRectsBssf,
        sort_algo=rectpack.SORT_AREA,
        rotation=True,
    )
    boxes = [(_up(a + gap), _up(b + gap)) for a, b in sizes]
    packer.add_bin(_up(room[0] + gap) + 1, _up(room[1] + gap) + 1, count=len(sizes))
    for k, (a, b) in enumerate(boxes):
        packer.add_rect(a, b, rid=k)
    packer.pack()
    found: list[tuple[int, float, float, bool, int]] = []
    for number, x, y, a, b, k in packer.rect_list():
        found.append((number, x * _GRAIN, y * _GRAIN, (a, b) != boxes[k], k))
    if len(found) != len(sizes):
        raise FixtureError("the packing library left parts out that fit on a sheet; nothing was written")
    return found


def _up(mm: float) -> int:
    return math.ceil(mm / _GRAIN - 1e-6)


def _laid(part: FlatPart, x: float, y: float, turned: bool) -> Laid:
    loops = part.plate.loops
    low = polygon.box(tuple(e for loop in loops for e in shifted(loop, 0.0, 0.0, turned)))[0]
    put = (x - float(low[0]), y - float(low[1]))
    return Laid(name=part.name, loops=tuple(shifted(loop, *put, turned) for loop in loops))


def sheet_dxf(laid: Sequence[Laid], sheet: tuple[float, float], title: str) -> bytes:
    """One sheet at true scale in mm: cuts, the names of the parts as text, and the sheet's edge, each on its layer."""
    document = blank()
    document.layers.add(SHEET, color=8)
    space = document.modelspace()
    add_line(space, [(0.0, 0.0), (sheet[0], 0.0), sheet, (0.0, sheet[1])], SHEET, closed=True)
    height = max(3.0, min(10.0, sheet[1] / 60.0))
    add_text(space, title, (0.0, -2.0 * height), height)
    for part in laid:
        for loop in part.loops:
            add_loop(space, loop)
        _add_name(space, part, height)
    return dxf_bytes(document)


def _add_name(space: Any, part: Laid, height: float) -> None:
    """The name of a part where the part is, as large as it has room for."""
    from shapely import Polygon

    low, high = polygon.box(part.loops[0])
    small = max(1.0, min(height, float(high[1] - low[1]) / 4.0, float(high[0] - low[0]) / max(1, len(part.name))))
    corners = Polygon([e.start for e in polygon.halves(part.loops[0])])
    middle = corners.representative_point()
    add_text(space, part.name, (middle.x - 0.3 * small * len(part.name), middle.y - small / 2.0), small)


def flat_dxf(plate: PlateShape, title: str) -> bytes:
    """One part at true scale in mm, its words under it."""
    document: Any = blank()
    space = document.modelspace()
    for loop in plate.loops:
        add_loop(space, loop)
    low, _ = polygon.box(plate.outline)
    add_text(space, title, (float(low[0]), float(low[1]) - 6.0), 3.0)
    return dxf_bytes(document)
