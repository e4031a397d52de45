"""Numbers behind the plan: which part of the table is drawn, at what scale, and where names can stand."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from fixture3d.frame import Array
from fixture3d.job import Job, Seat
from fixture3d.scene.table import Grid
from fixture3d.units import Units

Box = tuple[float, float, float, float]

# ISO 5455:1979 recommends 1, 2 and 5 with their tens; the steps between them are round too, and save paper. Inch
# drawings use halves and the inch-to-the-foot steps.
SCALES: Final[dict[Units, tuple[float, ...]]] = {
    "mm": (
        1,
        2,
        2.5,
        3,
        4,
        5,
        6,
        7.5,
        8,
        10,
        12.5,
        15,
        20,
        25,
        30,
        40,
        50,
        60,
        75,
        100,
        125,
        150,
        200,
        250,
        300,
        400,
        500,
    ),
    "in": (1, 2, 3, 4, 5, 6, 8, 10, 12, 16, 20, 24, 32, 40, 48, 64, 96, 128, 192, 256, 384, 512),
}
CAP: Final = 0.729  # height of a capital over the size of the type, DejaVu Sans
EDGE_TYPE: Final = 3.0 / CAP + 0.08  # mm; capitals of hole names are a little over 3 mm high
NAME_TYPE: Final = 2.5 / CAP
WIDTH: Final = 0.72  # mean width of a bold letter over the size of the type, on the wide side
_DEAR: Final = 1.4
_FAR: Final = 0.45  # what a name pays for each size of its type that it stands off
CROWDED: Final = 80  # with more names than this, only blocks are named
_FULL: Final = 0.25  # names may take this share of a drawing; then they are set smaller
_SMALLEST: Final = 0.62
BAND: Final = 9.0  # mm of paper on each side of the plan for hole names


@dataclass(frozen=True, kw_only=True)
class Fit:
    """How the plan lies on the page.

    Attributes:
        window: part of the table that is drawn, world mm.
        scale: 10 for 1:10.
        flipped: the page lies on its long side.
    """

    window: Box
    scale: float
    flipped: bool

    @property
    def size(self) -> tuple[float, float]:
        """Width and height of the drawing with its bands, mm of paper."""
        x0, y0, x1, y1 = self.window
        return (x1 - x0) / self.scale + 2 * BAND, (y1 - y0) / self.scale + 2 * BAND

    def paper(self, x: float, y: float) -> tuple[float, float]:
        """World x, y in mm on the drawing, y down."""
        x0, _, _, y1 = self.window
        return (x - x0) / self.scale + BAND, (y1 - y) / self.scale + BAND


def plate(table: Grid) -> Box:
    """Outline of the table top, world mm; half a pitch round the holes when its edge is not known."""
    if table.size is not None:
        return table.size
    x0, y0, x1, y1 = table.box
    dx, dy = table.pitch[0] / 2, table.pitch[1] / 2
    return x0 - dx, y0 - dy, x1 + dx, y1 + dy


def used_window(job: Job) -> Box:
    """The part of the table with the setup on it and one hole more all round, world mm.

    What lies beyond the table's edge is in it too; an empty table is shown whole.
    """
    outline = plate(job.table)
    boxes = [body.box for body in job.bodies]
    if not boxes:
        return outline
    dx, dy = job.table.pitch
    x0, y0 = min(float(b[0, 0]) for b in boxes), min(float(b[0, 1]) for b in boxes)
    x1, y1 = max(float(b[1, 0]) for b in boxes), max(float(b[1, 1]) for b in boxes)
    # Borders run half way between holes.
    wide = (
        (math.floor(x0 / dx - 0.5) - 0.5) * dx,
        (math.floor(y0 / dy - 0.5) - 0.5) * dy,
        (math.ceil(x1 / dx + 0.5) + 0.5) * dx,
        (math.ceil(y1 / dy + 0.5) + 0.5) * dy,
    )
    # Never further than the table's edge, unless the setup itself hangs over it.
    return (
        max(wide[0], min(outline[0], x0)),
        max(wide[1], min(outline[1], y0)),
        min(wide[2], max(outline[2], x1)),
        min(wide[3], max(outline[3], y1)),
    )


def best_fit(job: Job, room: Mapping[bool, tuple[float, float]]) -> Fit:
    """The used part of the table, with the corner of hole A1 in it when that costs little of the scale."""
    window = used_window(job)
    tight = fit(window, room, job.scene.units)
    x0, y0, x1, y1 = plate(job.table)
    sx, sy = job.table.naming.signs
    wide = fit(
        (
            min(window[0], x0) if sx > 0 else window[0],
            min(window[1], y0) if sy > 0 else window[1],
            window[2] if sx > 0 else max(window[2], x1),
            window[3] if sy > 0 else max(window[3], y1),
        ),
        room,
        job.scene.units,
    )
    return wide if wide.scale <= _DEAR * tight.scale else tight


def fit(window: Box, room: Mapping[bool, tuple[float, float]], units: Units) -> Fit:
    """The largest round scale at which the window fits, on the page upright or on its long side.

    Args:
        window: world mm.
        room: width and height left for the drawing with its bands, by whether the page is flipped, mm of paper.
        units: chooses the series of scales.
    """
    best: Fit | None = None
    for flipped, (width, height) in sorted(room.items()):
        for scale in SCALES[units]:
            found = Fit(window=window, scale=scale, flipped=flipped)
            if found.size[0] <= width and found.size[1] <= height:
                if best is None or found.scale < best.scale:
                    best = found
                break
    if best is None:  # larger than any table that can be described; drawn as small as the series goes
        best = Fit(window=window, scale=SCALES[units][-1], flipped=False)
    return best


def within(window: Box, x: float, y: float, room: float = 0.0) -> bool:
    """Whether a point lies in a window, or not further than ``room`` from it, mm."""
    return window[0] - room <= x <= window[2] + room and window[1] - room <= y <= window[3] + room


def lines(count: int, pitch: float, sign: int, low: float, high: float) -> range:
    """Indices of the columns (or rows) whose centre line lies between ``low`` and ``high``, world mm."""
    a, b = sorted((sign * low / pitch, sign * high / pitch))
    return range(max(0, math.ceil(a - 1e-9)), min(count - 1, math.floor(b + 1e-9)) + 1)


def every(step: float, room: float) -> int:
    """How many holes there must be from one name to the next: 1, 2, 5, 10, ... for a ``step`` of paper a hole."""
    n = 1
    for n in (1, 2, 5, 10, 20, 50, 100, 200, 500, 1000, 2000):
        if n * step >= room:
            break
    return n


def column_name(grid: Grid, i: int) -> str:
    """The letters (or the number) that all holes of column ``i`` share."""
    return _half(grid, grid.hole_name(i, 0), grid.naming.x == "letters")


def row_name(grid: Grid, j: int) -> str:
    """The number (or the letters) that all holes of row ``j`` share."""
    return _half(grid, grid.hole_name(0, j), grid.naming.y == "letters")


def _half(grid: Grid, hole: str, letters: bool) -> str:
    short = hole.rpartition(":")[2]
    cut = next(k for k, c in enumerate(short) if c.isdigit())
    return short[:cut] if letters else short[cut:]


def short_name(name: str, most: int = 16) -> str:
    """A name short enough for a drawing, with an ellipsis where it was cut.

    Names of one kind often differ at their end: some of it is kept.

    >>> short_name("stop at the left leg 12")
    'stop at t…leg 12'
    """
    end = (most - 1) * 2 // 5
    return name if len(name) <= most else name[: most - 1 - end] + "…" + name[len(name) - end :]


def name_size(names: Sequence[str], area: Box, size: float) -> float:
    """``size``, or less when the names would fill the drawing; never under 0.62 of it."""
    need = sum(len(name) + 0.6 for name in names) * WIDTH * 1.15 * size * size
    room = _FULL * (area[2] - area[0]) * (area[3] - area[1])
    return size * min(1.0, max(_SMALLEST, math.sqrt(room / need) if need > 0.0 else 1.0))


def overlap(a: Box, b: Box) -> float:
    """Common area of two boxes."""
    return max(0.0, min(a[2], b[2]) - max(a[0], b[0])) * max(0.0, min(a[3], b[3]) - max(a[1], b[1]))


def is_round(seat: Seat) -> bool:
    """Whether a block is the same at every turn about its one pin; the arm of a clamp points, whatever its foot."""
    pins = seat.part.pins()
    if seat.clamp or len(pins) != 1 or seat.face != "bottom":
        return False
    foot = np.array(seat.part.foot("bottom"), dtype=np.float64)
    far = np.hypot(*(foot - np.array(pins[0].at[:2])).T)
    return len(foot) >= 12 and bool(np.ptp(far) <= 1e-6)


def seen_from_above(seat: Seat) -> bool:
    """Whether the holes that a block stands in are seen from above: not those of an upright face."""
    return float(seat.plane_to_world[2, 2]) > 0.1


def place_names(
    names: Sequence[tuple[str, Box]], taken: Sequence[tuple[Box, float]], area: Box, size: float
) -> list[Box]:
    """A place for each name near its thing, where it hides least.

    Args:
        names: text, and box of the thing it names.
        taken: boxes that should stay clear, each with what covering one unit of area costs.
        area: names stay inside it.
        size: of the type, in the unit of the boxes.

    Returns:
        One box a name, in the same order.
    """
    hindrances = np.array([box for box, _ in taken], dtype=np.float64).reshape(-1, 4)
    weights = np.array([weight for _, weight in taken], dtype=np.float64)
    placed: list[Box] = []
    for text, box in names:
        w, h = (max(1, len(text)) + 0.6) * size * WIDTH, size * 1.15
        tried = np.array(list(_spots(box, w, h, size)))
        low = np.clip(tried[:, :2], area[:2], np.array(area[2:]) - (w, h))
        here = np.column_stack([low, low + np.array([w, h])])
        near = (hindrances[:, :2] < here[:, 2:].max(axis=0)).all(axis=1)
        near &= (hindrances[:, 2:] > here[:, :2].min(axis=0)).all(axis=1)
        cost = tried[:, 2] * size * size * _FAR + _covered(here, hindrances[near]) @ weights[near]
        cost += 100.0 * _covered(here, np.array(placed).reshape(-1, 4)).sum(axis=1)
        x0, y0, x1, y1 = (float(v) for v in here[int(np.argmin(np.round(cost, 9)))])
        placed.append((x0, y0, x1, y1))
    return placed


def along(ring: Sequence[tuple[float, float]], step: float, half: float = 0.25) -> list[Box]:
    """Boxes that cover the sides of a polygon, ``step`` long at most and ``half`` to either side.

    >>> along([(0.0, 0.0), (2.0, 0.0)], 2.0, 0.5)
    [(-0.5, -0.5, 2.5, 0.5), (-0.5, -0.5, 2.5, 0.5)]
    """
    out: list[Box] = []
    for (x0, y0), (x1, y1) in zip(ring, (*ring[1:], ring[0]), strict=True):
        parts = max(1, math.ceil(math.hypot(x1 - x0, y1 - y0) / step))
        for k in range(parts):
            a, b = k / parts, (k + 1) / parts
            xs = sorted((x0 + a * (x1 - x0), x0 + b * (x1 - x0)))
            ys = sorted((y0 + a * (y1 - y0), y0 + b * (y1 - y0)))
            out.append((xs[0] - half, ys[0] - half, xs[1] + half, ys[1] + half))
    return out


def _covered(boxes: Array, others: Array) -> Array:
    """Common area of each of (n, 4) boxes with each of (m, 4) others, (n, m)."""
    sides = [
        np.minimum(boxes[:, None, k + 2], others[None, :, k + 2]) - np.maximum(boxes[:, None, k], others[None, :, k])
        for k in (0, 1)
    ]
    area: Array = np.maximum(sides[0], 0.0) * np.maximum(sides[1], 0.0)
    return area


def _spots(box: Box, w: float, h: float, size: float) -> Iterator[tuple[float, float, float]]:
    """Upper left corners to try for a text of ``w`` by ``h``, with how far from its thing each is."""
    x0, y0, x1, y1 = box
    mx, my = (x0 + x1) / 2, (y0 + y1) / 2
    yield mx - w / 2, my - h / 2, 0.0
    yield x0 + size / 4, y0 + size / 4, 0.1
    yield x1 - w - size / 4, y0 + size / 4, 0.1
    for ring in (0.25, 1.0, 2.0, 3.5, 5.0, 7.0):
        g = ring * size
        sides = (x0 - g - w, x1 + g)
        for y in (y0 - g - h, y1 + g):
            for x in (mx - w / 2, x0, x1 - w, *sides):
                yield x, y, ring
        for x in sides:
            for y in (my - h / 2, y0, y1 - h):
                yield x, y, ring
