"""The plan of a setup as DXF at true scale, for a plotter, or for a projector over the table.

One unit of the drawing is one of the file's: 1 mm or 1 in. The origin is hole A1, X to the right, Y to the back.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any, Final

import numpy as np

from fixture3d.errors import one_line
from fixture3d.export.dxf import add_line, add_text, blank, dxf_bytes
from fixture3d.frame import Array
from fixture3d.job import Job, Seat
from fixture3d.job.code import content_code
from fixture3d.sheet import layout
from fixture3d.sheet.layout import CAP, Box
from fixture3d.sheet.order import Mark
from fixture3d.sheet.outline import outline
from fixture3d.tolerance import SHOP
from fixture3d.units import from_mm

TABLE, HOLES, BLOCKS, CLAMPS, DOWELS = "table", "holes", "blocks", "clamps", "dowels"
WORK, WELDS, NAMES = "work", "welds", "names"
LAYERS: Final = {TABLE: 7, HOLES: 8, BLOCKS: 5, CLAMPS: 4, DOWELS: 1, WORK: 3, WELDS: 6, NAMES: 7}
MOST_HOLES: Final = 20_000
"""With more holes only those of the used part of the table are drawn, and with more there every second, third, ..."""
_LAYER_OF: Final = {"block": BLOCKS, "shim": BLOCKS, "clamp": CLAMPS, "piece": WORK}


def plan_dxf(job: Job, marks: Sequence[Mark] = ()) -> bytes:
    """The plan as text DXF, the same bytes for the same setup.

    Args:
        job: the setup.
        marks: tacks and welds that are numbered.
    """
    return dxf_bytes(_Plan(job).drawn(marks))


class _Plan:
    """A drawing and how big things in it are."""

    def __init__(self, job: Job) -> None:
        self.job = job
        self.units = job.scene.units
        self.document = blank(self.units, LAYERS)
        self.space: Any = self.document.modelspace()
        self.small = min(job.table.pitch) / 5.0  # mm; height of a block's name
        self.large = min(job.table.pitch) / 4.0  # of a hole line's
        whole = layout.plate(job.table)
        used = layout.used_window(job)
        self.whole = _count(job, whole) <= MOST_HOLES
        self.window: Box = (
            (min(whole[0], used[0]), min(whole[1], used[1]), max(whole[2], used[2]), max(whole[3], used[3]))
            if self.whole
            else used
        )

    def drawn(self, marks: Sequence[Mark]) -> Any:
        """All of it."""
        thinned = self._holes()
        self._table()
        boxes = self._bodies()
        for seat in self.job.seats.values():
            self._dowels(seat)
        self._welds(marks)
        self._names(boxes)
        self._title(thinned)
        return self.document

    def _point(self, x: float, y: float) -> tuple[float, float]:
        return from_mm(float(x), self.units), from_mm(float(y), self.units)

    def _circle(self, x: float, y: float, r: float, layer: str) -> None:
        self.space.add_circle(self._point(x, y), from_mm(r, self.units), dxfattribs={"layer": layer})

    def _line(self, points: Sequence[tuple[float, float]] | Array, layer: str, closed: bool = False) -> None:
        add_line(self.space, [self._point(x, y) for x, y in points], layer, closed)

    def _text(self, words: str, x: float, y: float, height: float, across: float = 0.5) -> None:
        """Words whose middle is at a height, and at ``across`` of their length a point; mm."""
        left = x - across * len(words) * height * layout.WIDTH / CAP
        add_text(
            self.space,
            one_line(words),
            self._point(left, y - height / 2),
            from_mm(height, self.units),
            layer=NAMES,
        )

    def _table(self) -> None:
        x0, y0, x1, y1 = layout.plate(self.job.table)
        self._line([(x0, y0), (x1, y0), (x1, y1), (x0, y1)], TABLE, closed=True)
        for slot in self.job.table.slots:
            self._line([(float(x), float(y)) for x, y in slot.outline()], TABLE, closed=True)

    def _holes(self) -> int:
        """Circles, those that cannot be used crossed out. Returns the thinning, 1 for none."""
        table = self.job.table
        step = 1
        while _count(self.job, self.window) > MOST_HOLES * step * step:
            step += 1
        columns, rows = _lines(self.job, self.window)
        grids = (False, True) if table.stagger else (False,)
        for plus in grids:
            for i in columns[::step]:
                for j in rows[::step]:
                    x, y = table.xy(i, j, plus)
                    if table.has(i, j, plus) and layout.within(self.window, x, y):
                        self._circle(x, y, table.bore / 2, HOLES)
        r = table.bore / 2
        for x, y in (*(table.hole(name).xy for name in table.blocked), *(hole.xy for hole in table.cut_holes())):
            if layout.within(self.window, x, y):
                self._line([(x - r, y - r), (x + r, y + r)], HOLES)
                self._line([(x - r, y + r), (x + r, y - r)], HOLES)
        return step

    def _bodies(self) -> dict[str, Box]:
        """Outlines. Returns the box of each item, mm, Y down as where names are placed."""
        boxes: dict[str, Box] = {}
        for body in self.job.bodies:
            layer = _LAYER_OF.get(body.role)
            if layer is None:
                continue
            for ring in outline(body):
                self._line(ring, layer, closed=True)
                (x0, y0), (x1, y1) = ring.min(axis=0), ring.max(axis=0)
                old = boxes.get(body.item, (math.inf, math.inf, -math.inf, -math.inf))
                boxes[body.item] = (
                    min(old[0], float(x0)), min(old[1], float(-y1)),
                    max(old[2], float(x1)), max(old[3], float(-y0)),
                )  # fmt: skip
        return boxes

    def _dowels(self, seat: Seat) -> None:
        """A circle for a dowel, six sides for a bolt; a ring and a line along the block at the named hole."""
        if not layout.seen_from_above(seat):
            return
        r = self.job.table.bore / 2
        for pin in seat.pins:
            x, y = float(pin.at[0]), float(pin.at[1])
            if pin.state == "seated":
                self._circle(x, y, r, DOWELS)
                if pin is seat.bolt:
                    turns = [k * math.pi / 3 for k in range(6)]
                    self._line([(x + 1.3 * r * math.cos(t), y + 1.3 * r * math.sin(t)) for t in turns], DOWELS, True)
            if pin.pin.name != seat.anchor:
                continue
            if pin.state == "seated" and pin is not seat.bolt:
                self._circle(x, y, 1.3 * r, DOWELS)
            way = seat.model_to_world[:2, 0]
            long = float(np.hypot(*way))
            if long >= 0.5 and not layout.is_round(seat):
                dx, dy = (float(v) / long for v in way)
                tip, neck = 3.0 * r, 2.4 * r
                self._line([(x + 1.3 * r * dx, y + 1.3 * r * dy), (x + neck * dx, y + neck * dy)], DOWELS)
                side = [(x + neck * dx + s * 0.3 * r * dy, y + neck * dy - s * 0.3 * r * dx) for s in (1, -1)]
                self._line([*side, (x + tip * dx, y + tip * dy)], DOWELS, closed=True)

    def _welds(self, marks: Sequence[Mark]) -> None:
        """Welds as lines, upright ones as small rings; tacks as triangles; each with its number."""
        size = self.small * 0.6
        for mark in marks:
            path = np.asarray(mark.path, dtype=np.float64)[:, :2]
            middle = path[len(path) // 2] if len(path) > 2 else path.mean(axis=0)
            x, y = float(middle[0]), float(middle[1])
            if len(path) == 1:
                self._line([(x - 2, y - 2), (x + 2, y - 2), (x, y + 2)], WELDS, closed=True)
            elif float(np.ptp(path, axis=0).max()) < 1.0:
                self._circle(x, y, 3.0, WELDS)
            else:
                ends = np.asarray(mark.path[0]), np.asarray(mark.path[-1])
                closed = float(np.linalg.norm(ends[0] - ends[1])) <= SHOP.contact
                self._line(path[:-1] if closed and len(path) > 3 else path, WELDS, closed and len(path) > 3)
            add_text(self.space, mark.label, self._point(x + 3.0, y + 3.0), from_mm(size, self.units), layer=WELDS)

    def _names(self, boxes: dict[str, Box]) -> None:
        """Of hole lines beyond the drawing's sides, and of blocks and pieces where they hide least."""
        table, (x0, y0, x1, y1) = self.job.table, self.window
        columns, rows = _lines(self.job, self.window)
        widest = max((len(layout.column_name(table, i)) for i in columns), default=1)
        step = layout.every(table.pitch[0], (widest + 0.5) * self.large * layout.WIDTH / CAP)
        for i in columns:
            if i % step == 0:
                for y in (y0 - 1.2 * self.large, y1 + 1.2 * self.large):
                    self._text(layout.column_name(table, i), table.xy(i, 0)[0], y, self.large)
        step = layout.every(table.pitch[1], self.large * 1.2)
        for j in rows:
            if j % step == 0:
                for x, across in ((x0 - 0.7 * self.large, 1.0), (x1 + 0.7 * self.large, 0.0)):
                    self._text(layout.row_name(table, j), x, table.xy(0, j)[1], self.large, across)
        names = [name for name in boxes if name in self.job.seats] + [n for n in boxes if n not in self.job.seats]
        shown = [layout.short_name(one_line(name), 40) for name in names]
        pins = [pin.at for seat in self.job.seats.values() for pin in seat.pins if pin.state == "seated"]
        r = table.bore * 0.7
        taken = [((float(p[0]) - r, float(-p[1]) - r, float(p[0]) + r, float(-p[1]) + r), 3.0) for p in pins]
        size = self.small / CAP
        spots = layout.place_names(
            [(text, boxes[name]) for text, name in zip(shown, names, strict=True)], taken, (x0, -y1, x1, -y0), size
        )
        for text, spot in zip(shown, spots, strict=True):
            self._text(text, (spot[0] + spot[2]) / 2, -(spot[1] + spot[3]) / 2, self.small)

    def _title(self, thinned: int) -> None:
        """Over the drawing: which setup this is, its code, and what is left out."""
        job, height = self.job, self.large
        said = [
            f"{one_line(job.title) or 'Setup'}, code {content_code(job)}",
            f"true scale: 1 unit is 1 {self.units}; origin in hole {job.table.hole_name(0, 0)}, X right, Y to the back",
        ]
        if not self.whole:
            said.append("only the used part of the table has its holes drawn")
        if thinned > 1:
            said.append(f"only every {thinned}. hole of a row is drawn")
        for k, words in enumerate(reversed(said)):
            self._text(words, self.window[0], self.window[3] + (3.6 + 1.6 * k) * height, height, 0.0)


def _lines(job: Job, window: Box) -> tuple[range, range]:
    """Columns and rows with centre lines in a window."""
    table = job.table
    sx, sy = table.naming.signs
    return (
        layout.lines(table.columns, table.pitch[0], sx, window[0], window[2]),
        layout.lines(table.rows, table.pitch[1], sy, window[1], window[3]),
    )


def _count(job: Job, window: Box) -> int:
    columns, rows = _lines(job, window)
    return len(columns) * len(rows) * (2 if job.table.stagger else 1)
