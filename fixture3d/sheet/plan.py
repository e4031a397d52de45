"""The plan of the setup as SVG, to scale, in millimetres of paper, readable in black and white."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from fixture3d.errors import one_line
from fixture3d.frame import Array
from fixture3d.job import Body, Job, Seat
from fixture3d.sheet import layout
from fixture3d.sheet.layout import BAND, EDGE_TYPE, NAME_TYPE, Box, Fit
from fixture3d.sheet.marks import NARROW, arrow, axes, circle, datum, n, scale_bar, second_grid, text
from fixture3d.sheet.order import Mark
from fixture3d.sheet.outline import outline
from fixture3d.tolerance import SHOP

_FONT = "DejaVu Sans"
NUMBER_TYPE = 2.3  # mm; numbers of welds and tacks
_MOST_HOLES = 6_000  # a drawing with more would be a grey field; every second, fifth, ... row is drawn then


@dataclass(frozen=True, kw_only=True)
class Plan:
    """A drawing on paper.

    Attributes:
        svg: the drawing.
        size: width and height, mm of paper.
        scale: 10 for 1:10.
        flipped: it wants the page on its long side.
        thinned: only every so many holes are drawn; 1 for all.
        datum: where A1 is, in words.
        cut: the table goes on beyond a side of the drawing.
    """

    svg: str
    size: tuple[float, float]
    scale: float
    flipped: bool
    thinned: int
    datum: str
    cut: bool


def plan(job: Job, room: Mapping[bool, tuple[float, float]], marks: Sequence[Mark] = ()) -> Plan:
    """Draw the used part of the table.

    Args:
        job: the setup.
        room: width and height on the page, by whether it is flipped, mm of paper.
        marks: tacks and welds that are numbered.
    """
    fit = layout.best_fit(job, room)
    out: list[str] = []
    cut = _plate(out, job, fit)
    thinned = _holes(out, job, fit)
    _slots(out, job, fit)
    boxes, edges = _bodies(out, job, fit)
    _seats(out, job, fit)
    _edge_names(out, job, fit)
    where, where_box = datum(out, job, fit)
    kept = [(where_box, 20.0), *((edge, _CROSSED) for edge in edges)]
    named = _names(out, job, fit, boxes, kept)
    _numbers(out, fit, marks, [*kept, *((box, 50.0) for box in named)])
    scale_bar(out, job, fit)
    axes(out, fit)
    w, h = max(fit.size[0], NARROW), fit.size[1] + 11.0
    head = (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{n(w)}mm" height="{n(h)}mm" '
        f'viewBox="{n((fit.size[0] - w) / 2)} 0 {n(w)} {n(h)}" font-family="{_FONT}" fill="none" stroke="black" '
        'stroke-linejoin="round" stroke-linecap="round">'
    )
    return Plan(
        svg="\n".join([head, *out, "</svg>"]),
        size=(w, h),
        scale=fit.scale,
        flipped=fit.flipped,
        thinned=thinned,
        datum=where + second_grid(job),
        cut=cut,
    )


def ground(job: Job, fit: Fit) -> list[str]:
    """The table alone: its outline, holes and slots, and the names of its hole lines."""
    out: list[str] = []
    _plate(out, job, fit)
    _holes(out, job, fit)
    _slots(out, job, fit)
    _edge_names(out, job, fit)
    return out


def _plate(out: list[str], job: Job, fit: Fit) -> bool:
    """The table as far as it is drawn: a thick line is its real edge, a thin dashed one is where the drawing ends.

    Returns whether there is a dashed one.
    """
    x0, y0, x1, y1 = fit.window
    a0, b0, a1, b1 = layout.plate(job.table)
    left, low, right, high = max(x0, a0), max(y0, b0), min(x1, a1), min(y1, b1)
    sides = (
        (((left, low), (left, high)), a0 >= x0),
        (((right, low), (right, high)), a1 <= x1),
        (((left, low), (right, low)), b0 >= y0),
        (((left, high), (right, high)), b1 <= y1),
    )
    for (p, q), real in sides:
        (u, v), (s, t) = fit.paper(*p), fit.paper(*q)
        style = 'stroke-width="0.5"' if real else 'stroke-width="0.15" stroke-dasharray="2 1.2"'
        out.append(f'<path d="M{n(u)} {n(v)}L{n(s)} {n(t)}" {style}/>')
    return not all(real for _, real in sides)


def _holes(out: list[str], job: Job, fit: Fit) -> int:
    """Every hole in the window as a thin circle, blocked ones crossed out. Returns the thinning, 1 for none."""
    table = job.table
    x0, y0, x1, y1 = fit.window
    sx, sy = table.naming.signs
    columns = layout.lines(table.columns, table.pitch[0], sx, x0, x1)
    rows = layout.lines(table.rows, table.pitch[1], sy, y0, y1)
    step = 1
    while (len(columns) // step) * (len(rows) // step) * (2 if table.stagger else 1) > _MOST_HOLES:
        step += 1
    r = table.bore / 2 / fit.scale
    path = []
    for plus in (False, True) if table.stagger else (False,):
        for i in columns[::step]:
            for j in rows[::step]:
                x, y = table.xy(i, j, plus)
                if table.has(i, j, plus) and x0 <= x <= x1 and y0 <= y <= y1:
                    path.append(circle(*fit.paper(x, y), r))
    out.append(f'<path d="{"".join(path)}" stroke="#777" stroke-width="0.12"/>')
    for x, y in (*(table.hole(name).xy for name in table.blocked), *(hole.xy for hole in table.cut_holes())):
        if x0 <= x <= x1 and y0 <= y <= y1:
            u, v = fit.paper(x, y)
            k = max(r, 0.6)
            out.append(
                f'<path d="M{n(u - k)} {n(v - k)}L{n(u + k)} {n(v + k)}M{n(u - k)} {n(v + k)}'
                f'L{n(u + k)} {n(v - k)}" stroke-width="0.3"/>'
            )
    return step


def _slots(out: list[str], job: Job, fit: Fit) -> None:
    """Every slot in the window, white inside; where the drawing ends it is cut off."""
    from shapely import Polygon, box

    for slot in job.table.slots:
        seen = Polygon(slot.outline()).intersection(box(*fit.window))
        if isinstance(seen, Polygon) and not seen.is_empty:
            path = "M" + "L".join("{} {}".format(*map(n, fit.paper(x, y))) for x, y in seen.exterior.coords) + "Z"
            out.append(f'<path d="{path}" fill="white" stroke-width="0.3"/>')


_STEP = 1.5  # mm of paper; a line is looked at in pieces of this length when names are placed
_CROSSED = 4.0  # what a name pays for each mm2 of line that it hides; a plain mm2 of block costs 0.6

_STYLE = {
    "block": 'fill="#e4e4e4" fill-rule="evenodd" stroke-width="0.4"',
    "clamp": 'fill="#f4f4f4" fill-rule="evenodd" stroke-width="0.4" stroke-dasharray="1.6 0.5"',
    "shim": 'fill="#bbb" stroke-width="0.15"',
    "sweep": 'stroke="#555" stroke-width="0.15" stroke-dasharray="0.4 0.8"',
    "piece": 'stroke-width="0.18"',
}


def _bodies(out: list[str], job: Job, fit: Fit) -> tuple[dict[str, Box], list[Box]]:
    """Outlines, low blocks first, then sweeps, then the work.

    Returns the paper box of each item, and small boxes along the lines: what a name would hide there is missed.
    """

    def order(body: Body) -> tuple[int, float, str]:
        return {"sweep": 1, "piece": 2}.get(body.role, 0), float(body.box[1, 2]), body.name

    boxes: dict[str, Box] = {}
    edges: list[Box] = []
    for body in sorted((b for b in job.bodies if b.role != "pin"), key=order):
        found = [[fit.paper(float(x), float(y)) for x, y in ring] for ring in outline(body)]
        if not found:
            continue
        path = "".join("M" + "L".join(f"{n(u)} {n(v)}" for u, v in ring) + "Z" for ring in found)
        out.append(f'<path d="{path}" {_STYLE[body.role]}/>')
        if body.role != "sweep":
            wide = max(found, key=lambda ring: float(np.ptp(np.array(ring), axis=0).sum()))
            edges += layout.along(wide, _STEP)  # its outer outline; the bores in it are too many
            points = np.array([p for ring in found for p in ring])
            low, high = points.min(axis=0), points.max(axis=0)
            if body.role == "piece" and _slants(wide):
                low, high = _on_longest_side(wide)
            old = boxes.get(body.item, (math.inf, math.inf, -math.inf, -math.inf))
            boxes[body.item] = (
                min(old[0], float(low[0])), min(old[1], float(low[1])),
                max(old[2], float(high[0])), max(old[3], float(high[1])),
            )  # fmt: skip
    return boxes, edges


def _slants(ring: Sequence[tuple[float, float]]) -> bool:
    """Whether an outline fills so little of its box that a name beside the box may be far from the thing."""
    points = np.array(ring)
    x, y = points.T
    area = abs(float(np.dot(x, np.roll(y, 1)) - np.dot(y, np.roll(x, 1)))) / 2.0
    return area < 0.5 * float(np.prod(np.ptp(points, axis=0)))


def _on_longest_side(ring: Sequence[tuple[float, float]]) -> tuple[Array, Array]:
    """A small box about the middle of the longest side of an outline: a name there is at the thing."""
    points = np.array(ring)
    sides = np.linalg.norm(np.roll(points, -1, axis=0) - points, axis=1)
    k = int(np.argmax(np.round(sides, 3)))
    middle = (points[k] + points[(k + 1) % len(points)]) / 2.0
    return middle - 0.2, middle + 0.2


def _seats(out: list[str], job: Job, fit: Fit) -> None:
    """Holes that hold a dowel are filled, those with a bolt are a six-sided ring; an arrow shows the turn."""
    r = max(job.table.bore / 2 / fit.scale, 0.45)
    for seat in job.seats.values():
        anchor = _anchor(seat)
        for pin in seat.pins:
            if pin.state != "seated" or not layout.seen_from_above(seat):
                continue
            u, v = fit.paper(float(pin.at[0]), float(pin.at[1]))
            if pin is seat.bolt:
                corners = [
                    (u + 1.3 * r * math.cos(k * math.pi / 3), v + 1.3 * r * math.sin(k * math.pi / 3)) for k in range(6)
                ]
                path = "M" + "L".join(f"{n(a)} {n(b)}" for a, b in corners) + "Z"
                out.append(f'<path d="{path}" fill="white" stroke-width="0.3"/>')
                out.append(f'<path d="{circle(u, v, r * 0.5)}" fill="black" stroke="none"/>')
                continue
            out.append(f'<path d="{circle(u, v, r)}" fill="black" stroke="none"/>')
            if pin.pin.name == seat.anchor:
                out.append(f'<path d="{circle(u, v, r + 0.55)}" stroke-width="0.25"/>')
        if anchor is not None:
            arrow(out, job, fit, anchor, seat)


def _anchor(seat: Seat) -> tuple[float, float] | None:
    for pin in seat.pins:
        if pin.pin.name == seat.anchor:
            return float(pin.at[0]), float(pin.at[1])
    return None


def _edge_names(out: list[str], job: Job, fit: Fit) -> None:
    """Column names above and below, row names left and right; of crowded ones every second, fifth, ..."""
    table = job.table
    x0, y0, x1, y1 = fit.window
    sx, sy = table.naming.signs
    w, h = fit.size
    columns = layout.lines(table.columns, table.pitch[0], sx, x0, x1)
    rows = layout.lines(table.rows, table.pitch[1], sy, y0, y1)
    widest = max((len(layout.column_name(table, i)) for i in columns), default=1)
    step = layout.every(table.pitch[0] / fit.scale, widest * EDGE_TYPE * layout.WIDTH + 1.0)
    for i in _chosen(columns, step):
        u, _ = fit.paper(table.xy(i, 0)[0], 0.0)
        for v in (BAND - 3.4, h - BAND + 3.4):
            out.append(text(u, v, layout.column_name(table, i), EDGE_TYPE))
        _ticks(out, ((u, BAND), (u, h - BAND)), (0.0, -1.1))
    step = layout.every(table.pitch[1] / fit.scale, EDGE_TYPE * 0.95)
    for j in _chosen(rows, step):
        _, v = fit.paper(0.0, table.xy(0, j)[1])
        out.append(text(BAND - 1.6, v, layout.row_name(table, j), EDGE_TYPE, anchor="end"))
        out.append(text(w - BAND + 1.6, v, layout.row_name(table, j), EDGE_TYPE, anchor="start"))
        _ticks(out, ((BAND, v), (w - BAND, v)), (-1.1, 0.0))


def _ticks(out: list[str], ends: Sequence[tuple[float, float]], away: tuple[float, float]) -> None:
    """A short line outwards at both ends of a hole line."""
    for (u, v), sign in zip(ends, (1.0, -1.0), strict=True):
        out.append(f'<path d="M{n(u)} {n(v)}L{n(u + sign * away[0])} {n(v + sign * away[1])}" stroke-width="0.2"/>')


def _chosen(lines: range, step: int) -> list[int]:
    """Every ``step``-th line, counted so that names are A, F, K or 1, 6, 11: from the first hole of the table."""
    return [k for k in lines if k % step == 0]


def _names(out: list[str], job: Job, fit: Fit, boxes: dict[str, Box], kept: list[tuple[Box, float]]) -> list[Box]:
    """The name of every block, then of every piece where there is room, joined to its thing when it stands off.

    Returns what the names cover.
    """
    w, h = fit.size
    area = (BAND, BAND, w - BAND, h - BAND)
    items = [n for n in job.seats if n in boxes]
    pieces = list(dict.fromkeys(b.item for b in job.pieces() if b.item in boxes))
    if len(items) + len(pieces) > layout.CROWDED:
        pieces = []
    x0, y0, x1, y1 = fit.window
    slots = [s for s in job.table.slots if s.box[0] < x1 and s.box[1] < y1 and s.box[2] > x0 and s.box[3] > y0]
    texts = [layout.short_name(one_line(n)) for n in (*items, *pieces, *(s.name for s in slots))]
    shapes = [boxes[n] for n in (*items, *pieces)]
    for a, b, c, d in (slot.box for slot in slots):
        (left, top), (right, low) = fit.paper(max(a, x0), min(d, y1)), fit.paper(min(c, x1), max(b, y0))
        shapes.append((left, top, right, low))
    size = layout.name_size(texts, area, NAME_TYPE)
    r = max(job.table.bore / 2 / fit.scale, 0.45) + 0.6
    taken: list[tuple[Box, float]] = [*kept, *((boxes[n], 0.6) for n in items)]
    for seat in job.seats.values():
        for pin in seat.pins:
            if pin.state == "seated":
                u, v = fit.paper(float(pin.at[0]), float(pin.at[1]))
                taken.append(((u - r, v - r, u + r, v + r), 3.0))
    spots = layout.place_names(list(zip(texts, shapes, strict=True)), taken, area, size)
    for k, (name, box, spot) in enumerate(zip(texts, shapes, spots, strict=True)):
        u, v = (spot[0] + spot[2]) / 2, (spot[1] + spot[3]) / 2
        near = (min(max(u, box[0]), box[2]), min(max(v, box[1]), box[3]))
        if math.hypot(near[0] - u, near[1] - v) > size:
            middle = ((box[0] + box[2]) / 2, (box[1] + box[3]) / 2)
            to = (near[0] + 0.2 * (middle[0] - near[0]), near[1] + 0.2 * (middle[1] - near[1]))
            out.append(f'<path d="M{n(u)} {n(v)}L{n(to[0])} {n(to[1])}" stroke-width="0.15"/>')
        out.append(text(u, v, name, size, bold=k < len(items), halo=True, grey=k >= len(items)))
    return spots


def _numbers(out: list[str], fit: Fit, marks: Sequence[Mark], kept: list[tuple[Box, float]]) -> None:
    """Welds as thick lines with their number in a box, tacks as small triangles with theirs."""
    w, h = fit.size
    area, size, r = (BAND, BAND, w - BAND, h - BAND), NUMBER_TYPE, 0.7
    spots: list[tuple[float, float]] = []
    for mark in marks:
        ring = [fit.paper(float(x), float(y)) for x, y, _ in mark.path]
        if len(ring) > 1:
            path = "M" + "L".join(f"{n(u)} {n(v)}" for u, v in ring)
            out.append(f'<path d="{path}" stroke-width="0.8" stroke="#000"/>')
            if math.dist(mark.path[0], mark.path[-1]) <= SHOP.contact:
                out.append(f'<path d="{circle(*ring[0], 0.75)}" fill="black" stroke="white" stroke-width="0.2"/>')
            spots.append(_half_way(ring))
        else:
            ((u, v),) = ring
            out.append(f'<path d="M{n(u - r)} {n(v + r)}L{n(u + r)} {n(v + r)}L{n(u)} {n(v - r)}Z" fill="white" '
                       'stroke-width="0.2"/>')  # fmt: skip
            spots.append((u, v))
    taken = [*kept, *(((u - r, v - r, u + r, v + r), 8.0) for u, v in spots)]
    boxes = [(mark.label, (u - 0.2, v - 0.2, u + 0.2, v + 0.2)) for mark, (u, v) in zip(marks, spots, strict=True)]
    for mark, (x, y), spot in zip(marks, spots, layout.place_names(boxes, taken, area, size), strict=True):
        u, v = (spot[0] + spot[2]) / 2, (spot[1] + spot[3]) / 2
        out.append(f'<path d="M{n(x)} {n(y)}L{n(u)} {n(v)}" stroke-width="0.12"/>')
        if len(mark.path) > 1:
            a, b, c, d = spot
            out.append(f'<path d="M{n(a)} {n(b)}H{n(c)}V{n(d)}H{n(a)}Z" fill="white" stroke-width="0.18"/>')
        out.append(text(u, v, mark.label, size, bold=len(mark.path) > 1, halo=len(mark.path) == 1))


def _half_way(ring: Sequence[tuple[float, float]]) -> tuple[float, float]:
    """The point in the middle of a line's length on paper."""
    points = np.array(ring)
    at = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])
    half = float(at[-1]) / 2.0
    return float(np.interp(half, at, points[:, 0])), float(np.interp(half, at, points[:, 1]))
