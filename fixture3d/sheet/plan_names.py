"""The words of a plan: names of hole lines at its edges, of blocks and pieces at them, numbers of welds and tacks."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from fixture3d.errors import one_line
from fixture3d.job import Job
from fixture3d.sheet import layout
from fixture3d.sheet.layout import BAND, EDGE_TYPE, NAME_TYPE, Box, Fit
from fixture3d.sheet.marks import circle, n, text
from fixture3d.sheet.order import Mark
from fixture3d.tolerance import SHOP

NUMBER_TYPE = 2.3  # mm; numbers of welds and tacks


def edge_names(out: list[str], job: Job, fit: Fit, shared: Sequence[tuple[int, int]] = ()) -> None:
    """Column names above and below, row names left and right; of crowded ones every second, fifth, ...

    Lines that are ``shared`` with a neighbour, each (0 for a column or 1 for a row, index), are always named.
    """
    table = job.table
    x0, y0, x1, y1 = fit.window
    sx, sy = table.naming.signs
    w, h = fit.size
    columns = layout.lines(table.columns, table.pitch[0], sx, x0, x1)
    rows = layout.lines(table.rows, table.pitch[1], sy, y0, y1)
    widest = max((len(layout.column_name(table, i)) for i in columns), default=1)
    step = layout.every(table.pitch[0] / fit.scale, widest * EDGE_TYPE * layout.WIDTH + 1.0)
    for i in _chosen(columns, step, [i for axis, i in shared if axis == 0]):
        u, _ = fit.paper(table.xy(i, 0)[0], 0.0)
        for v in (BAND - 3.4, h - BAND + 3.4):
            out.append(text(u, v, layout.column_name(table, i), EDGE_TYPE))
        _ticks(out, ((u, BAND), (u, h - BAND)), (0.0, -1.1))
    step = layout.every(table.pitch[1] / fit.scale, EDGE_TYPE * 0.95)
    for j in _chosen(rows, step, [i for axis, i in shared if axis == 1]):
        _, v = fit.paper(0.0, table.xy(0, j)[1])
        out.append(text(BAND - 1.6, v, layout.row_name(table, j), EDGE_TYPE, anchor="end"))
        out.append(text(w - BAND + 1.6, v, layout.row_name(table, j), EDGE_TYPE, anchor="start"))
        _ticks(out, ((BAND, v), (w - BAND, v)), (-1.1, 0.0))


def _ticks(out: list[str], ends: Sequence[tuple[float, float]], away: tuple[float, float]) -> None:
    """A short line outwards at both ends of a hole line."""
    for (u, v), sign in zip(ends, (1.0, -1.0), strict=True):
        out.append(f'<path d="M{n(u)} {n(v)}L{n(u + sign * away[0])} {n(v + sign * away[1])}" stroke-width="0.2"/>')


def _chosen(lines: range, step: int, always: Sequence[int] = ()) -> list[int]:
    """Every ``step``-th line, counted so that names are A, F, K or 1, 6, 11: from the first hole of the table.

    Those that must be named ``always`` take the place of others that lie too near.
    """
    kept = [k for k in always if k in lines]
    return sorted({*kept, *(k for k in lines if k % step == 0 and all(abs(k - other) >= step for other in kept))})


def names(out: list[str], job: Job, fit: Fit, boxes: dict[str, Box], kept: list[tuple[Box, float]]) -> list[Box]:
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


def numbers(out: list[str], fit: Fit, marks: Sequence[Mark], kept: list[tuple[Box, float]]) -> None:
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
