"""The plan of the setup as SVG, to scale, in millimetres of paper, readable in black and white."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from xml.sax.saxutils import escape

import numpy as np

from fixture3d.errors import one_line
from fixture3d.job import Body, Job, Seat
from fixture3d.sheet import layout
from fixture3d.sheet.layout import BAND, EDGE_TYPE, NAME_TYPE, Box, Fit
from fixture3d.sheet.outline import outline
from fixture3d.units import show

_FONT = "DejaVu Sans"
_NARROW = 150.0  # mm; the words under a plan need this much
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
    """

    svg: str
    size: tuple[float, float]
    scale: float
    flipped: bool
    thinned: int
    datum: str


def plan(job: Job, room: Mapping[bool, tuple[float, float]]) -> Plan:
    """Draw the used part of the table.

    Args:
        job: the setup.
        room: width and height on the page, by whether it is flipped, mm of paper.
    """
    fit = layout.best_fit(job, room)
    out: list[str] = []
    _plate(out, job, fit)
    thinned = _holes(out, job, fit)
    boxes = _bodies(out, job, fit)
    _seats(out, job, fit)
    _edge_names(out, job, fit)
    datum, datum_box = _datum(out, job, fit)
    _names(out, job, fit, boxes, datum_box)
    _scale_bar(out, job, fit)
    w, h = max(fit.size[0], _NARROW), fit.size[1] + 11.0
    head = (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{_n(w)}mm" height="{_n(h)}mm" '
        f'viewBox="{_n((fit.size[0] - w) / 2)} 0 {_n(w)} {_n(h)}" font-family="{_FONT}" fill="none" stroke="black" '
        'stroke-linejoin="round" stroke-linecap="round">'
    )
    return Plan(
        svg="\n".join([head, *out, "</svg>"]),
        size=(w, h),
        scale=fit.scale,
        flipped=fit.flipped,
        thinned=thinned,
        datum=datum + _second_grid(job),
    )


def _n(value: float) -> str:
    """A number of an SVG file: to a thousandth of a millimetre of paper."""
    text = f"{value:.3f}".rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text


def _text(
    x: float, y: float, text: str, size: float, *, anchor: str = "middle", bold: bool = False, halo: bool = False,
    grey: bool = False,
) -> str:  # fmt: skip
    """Text with its capitals' middle at ``y``."""
    style = ' font-weight="bold"' if bold else ""
    edge = f'paint-order="stroke" stroke="white" stroke-width="{_n(size * 0.28)}"' if halo else 'stroke="none"'
    return (
        f'<text x="{_n(x)}" y="{_n(y + layout.CAP * size / 2)}" font-size="{_n(size)}" text-anchor="{anchor}"{style} '
        f'fill="{"#444" if grey else "black"}" {edge}>{escape(one_line(text))}</text>'
    )


def _plate(out: list[str], job: Job, fit: Fit) -> None:
    """The table as far as it is drawn: a thick line is its real edge, a thin dashed one is where the drawing ends."""
    x0, y0, x1, y1 = fit.window
    a0, b0, a1, b1 = layout.plate(job.table)
    left, low, right, high = max(x0, a0), max(y0, b0), min(x1, a1), min(y1, b1)
    for (p, q), real in (
        (((left, low), (left, high)), a0 >= x0),
        (((right, low), (right, high)), a1 <= x1),
        (((left, low), (right, low)), b0 >= y0),
        (((left, high), (right, high)), b1 <= y1),
    ):
        (u, v), (s, t) = fit.paper(*p), fit.paper(*q)
        style = 'stroke-width="0.5"' if real else 'stroke-width="0.15" stroke-dasharray="2 1.2"'
        out.append(f'<path d="M{_n(u)} {_n(v)}L{_n(s)} {_n(t)}" {style}/>')


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
                    path.append(_circle(*fit.paper(x, y), r))
    out.append(f'<path d="{"".join(path)}" stroke="#777" stroke-width="0.12"/>')
    for name in table.blocked:
        x, y = table.hole(name).xy
        if x0 <= x <= x1 and y0 <= y <= y1:
            u, v = fit.paper(x, y)
            k = max(r, 0.6)
            out.append(
                f'<path d="M{_n(u - k)} {_n(v - k)}L{_n(u + k)} {_n(v + k)}M{_n(u - k)} {_n(v + k)}'
                f'L{_n(u + k)} {_n(v - k)}" stroke-width="0.3"/>'
            )
    return step


def _circle(u: float, v: float, r: float) -> str:
    return f"M{_n(u - r)} {_n(v)}a{_n(r)} {_n(r)} 0 1 0 {_n(2 * r)} 0a{_n(r)} {_n(r)} 0 1 0 {_n(-2 * r)} 0Z"


_STYLE = {
    "block": 'fill="#e4e4e4" fill-rule="evenodd" stroke-width="0.4"',
    "clamp": 'fill="#f4f4f4" fill-rule="evenodd" stroke-width="0.4" stroke-dasharray="1.6 0.5"',
    "shim": 'fill="#bbb" stroke-width="0.15"',
    "sweep": 'stroke="#555" stroke-width="0.15" stroke-dasharray="0.4 0.8"',
    "piece": 'stroke-width="0.18"',
}


def _bodies(out: list[str], job: Job, fit: Fit) -> dict[str, Box]:
    """Outlines, low blocks first, then sweeps, then the work. Returns the paper box of each item."""

    def order(body: Body) -> tuple[int, float, str]:
        return {"sweep": 1, "piece": 2}.get(body.role, 0), float(body.box[1, 2]), body.name

    boxes: dict[str, Box] = {}
    for body in sorted((b for b in job.bodies if b.role != "pin"), key=order):
        found = [[fit.paper(float(x), float(y)) for x, y in ring] for ring in outline(body)]
        if not found:
            continue
        path = "".join("M" + "L".join(f"{_n(u)} {_n(v)}" for u, v in ring) + "Z" for ring in found)
        out.append(f'<path d="{path}" {_STYLE[body.role]}/>')
        if body.role != "sweep":
            points = np.array([p for ring in found for p in ring])
            low, high = points.min(axis=0), points.max(axis=0)
            old = boxes.get(body.item, (math.inf, math.inf, -math.inf, -math.inf))
            boxes[body.item] = (
                min(old[0], float(low[0])), min(old[1], float(low[1])),
                max(old[2], float(high[0])), max(old[3], float(high[1])),
            )  # fmt: skip
    return boxes


def _seats(out: list[str], job: Job, fit: Fit) -> None:
    """Holes that hold a dowel are filled, those with a bolt are a six-sided ring; an arrow shows the turn."""
    r = max(job.table.bore / 2 / fit.scale, 0.45)
    for seat in job.seats.values():
        asked = _asked(seat)
        for pin in seat.pins:
            if pin.state != "seated":
                continue
            u, v = fit.paper(float(pin.at[0]), float(pin.at[1]))
            if seat.bolted and pin.asked:
                corners = [
                    (u + 1.3 * r * math.cos(k * math.pi / 3), v + 1.3 * r * math.sin(k * math.pi / 3)) for k in range(6)
                ]
                path = "M" + "L".join(f"{_n(a)} {_n(b)}" for a, b in corners) + "Z"
                out.append(f'<path d="{path}" fill="white" stroke-width="0.3"/>')
                out.append(f'<path d="{_circle(u, v, r * 0.5)}" fill="black" stroke="none"/>')
                continue
            out.append(f'<path d="{_circle(u, v, r)}" fill="black" stroke="none"/>')
            if pin.asked:
                out.append(f'<path d="{_circle(u, v, r + 0.55)}" stroke-width="0.25"/>')
        if asked is not None:
            _arrow(out, fit, asked, seat)


def _asked(seat: Seat) -> tuple[float, float] | None:
    for pin in seat.pins:
        if pin.asked:
            return float(pin.at[0]), float(pin.at[1])
    return None


def _arrow(out: list[str], fit: Fit, at: tuple[float, float], seat: Seat) -> None:
    """From the named hole along the block's own X axis."""
    direction = seat.model_to_world[:2, 0]
    length = float(np.hypot(*direction))
    if length < 0.5:  # it stands on its end; its X axis does not show
        return
    dx, dy = float(direction[0]) / length, -float(direction[1]) / length
    u, v = fit.paper(*at)
    tip, neck = 5.2, 3.6
    a = (u + tip * dx, v + tip * dy)
    b = (u + neck * dx - 0.7 * dy, v + neck * dy + 0.7 * dx)
    c = (u + neck * dx + 0.7 * dy, v + neck * dy - 0.7 * dx)
    out.append(f'<path d="M{_n(u)} {_n(v)}L{_n(u + neck * dx)} {_n(v + neck * dy)}" stroke-width="0.3"/>')
    out.append(
        f'<path d="M{_n(a[0])} {_n(a[1])}L{_n(b[0])} {_n(b[1])}L{_n(c[0])} {_n(c[1])}Z" fill="black" stroke="none"/>'
    )


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
            out.append(_text(u, v, layout.column_name(table, i), EDGE_TYPE))
        _ticks(out, ((u, BAND), (u, h - BAND)), (0.0, -1.1))
    step = layout.every(table.pitch[1] / fit.scale, EDGE_TYPE * 0.95)
    for j in _chosen(rows, step):
        _, v = fit.paper(0.0, table.xy(0, j)[1])
        out.append(_text(BAND - 1.6, v, layout.row_name(table, j), EDGE_TYPE, anchor="end"))
        out.append(_text(w - BAND + 1.6, v, layout.row_name(table, j), EDGE_TYPE, anchor="start"))
        _ticks(out, ((BAND, v), (w - BAND, v)), (-1.1, 0.0))


def _ticks(out: list[str], ends: Sequence[tuple[float, float]], away: tuple[float, float]) -> None:
    """A short line outwards at both ends of a hole line."""
    for (u, v), sign in zip(ends, (1.0, -1.0), strict=True):
        out.append(f'<path d="M{_n(u)} {_n(v)}L{_n(u + sign * away[0])} {_n(v + sign * away[1])}" stroke-width="0.2"/>')


def _chosen(lines: range, step: int) -> list[int]:
    """Every ``step``-th line, counted so that names are A, F, K or 1, 6, 11: from the first hole of the table."""
    return [k for k in lines if k % step == 0]


def _datum(out: list[str], job: Job, fit: Fit) -> tuple[str, Box]:
    """Mark hole A1, or point to it when it is not in the drawing. Returns the same in words, and the room it took."""
    table = job.table
    x0, y0, x1, y1 = fit.window
    name = table.hole_name(0, 0)
    if x0 <= 0.0 <= x1 and y0 <= 0.0 <= y1:
        u, v = fit.paper(0.0, 0.0)
        r = 2.2
        out.append(f'<path d="{_circle(u, v, r)}" fill="white" stroke-width="0.3"/>')
        out.append(
            f'<path d="M{_n(u)} {_n(v)}L{_n(u + r)} {_n(v)}A{r} {r} 0 0 0 {_n(u)} {_n(v - r)}Z'
            f'M{_n(u)} {_n(v)}L{_n(u - r)} {_n(v)}A{r} {r} 0 0 0 {_n(u)} {_n(v + r)}Z" fill="black" stroke="none"/>'
        )
        right = u > fit.size[0] / 2
        side, anchor = (-3.0, "end") if right else (3.0, "start")
        out.append(_text(u + side, v - 2.6, f"{name} datum", NAME_TYPE * 0.85, anchor=anchor, bold=True, halo=True))
        told = f"Hole {name}, the datum, is the quartered circle: the {table.naming.corner} corner of the table."
        return told, (u - (24.0 if right else r), v - 4.5, u + (r if right else 24.0), v + r)
    ways = []
    towards = [0.0, 0.0]
    for axis, low, high, back, ahead, noun in (
        (0, x0, x1, "left", "right", "column"), (1, y0, y1, "to the front", "to the back", "row"),
    ):  # fmt: skip
        pitch = table.pitch[axis]
        first, last = math.ceil(low / pitch - 1e-9), math.floor(high / pitch + 1e-9)
        off = first if first > 0 else -last if last < 0 else 0
        if off:
            towards[axis] = -1.0 if first > 0 else 1.0
            ways.append(f"{off} {noun}{'s' if off > 1 else ''} {back if first > 0 else ahead}")
    words = f"{name} is {' and '.join(ways)} of this drawing"
    w = fit.size[0]
    # Just inside the corner or side that is nearest to A1.
    inside = [(x0 + x1) / 2 if not towards[0] else (x0 if towards[0] < 0 else x1),
              (y0 + y1) / 2 if not towards[1] else (y0 if towards[1] < 0 else y1)]  # fmt: skip
    if not towards[0]:
        inside[0] = min(max(0.0, x0), x1)
    if not towards[1]:
        inside[1] = min(max(0.0, y0), y1)
    u, v = fit.paper(inside[0], inside[1])
    length = math.hypot(*towards)
    dx, dy = towards[0] / length, -towards[1] / length
    base = (u - 6.0 * dx, v - 6.0 * dy)
    tip = (u - 0.6 * dx, v - 0.6 * dy)
    b = (base[0] - 2.0 * dy, base[1] + 2.0 * dx)
    c = (base[0] + 2.0 * dy, base[1] - 2.0 * dx)
    out.append(
        f'<path d="M{_n(tip[0])} {_n(tip[1])}L{_n(b[0])} {_n(b[1])}L{_n(c[0])} {_n(c[1])}Z" fill="black" '
        'stroke="white" stroke-width="0.3"/>'
    )
    left = u < w / 2
    x = base[0] + (3.0 if left else -3.0)
    y, size = base[1], NAME_TYPE * 0.85
    out.append(_text(x, y, words, size, anchor="start" if left else "end", bold=True, halo=True))
    long = len(words) * size * layout.WIDTH
    box = (min(u, x if left else x - long), y - 3.0, max(u, x + long if left else x), y + 3.0)
    told = f"Hole {words}; the black arrow points to it. {name} is at the {table.naming.corner} corner of the table."
    return told, box


def _second_grid(job: Job) -> str:
    """How the holes between the others are named."""
    table = job.table
    if not table.has(0, 0, True):
        return ""
    sx, sy = table.naming.signs
    name, plus = table.hole_name(0, 0), table.hole_name(0, 0, True)
    across, along = ("right" if sx > 0 else "left"), ("back" if sy > 0 else "front")
    return f" Holes of the second grid carry a plus: {plus} lies half a pitch {across} and to the {along} of {name}."


def _names(out: list[str], job: Job, fit: Fit, boxes: dict[str, Box], datum: Box) -> None:
    """The name of every block, then of every piece where there is room, joined to its thing when it stands off."""
    w, h = fit.size
    area = (BAND, BAND, w - BAND, h - BAND)
    items = [n for n in job.seats if n in boxes]
    pieces = list(dict.fromkeys(b.item for b in job.pieces() if b.item in boxes))
    if len(items) + len(pieces) > layout.CROWDED:
        pieces = []
    texts = [layout.short_name(one_line(n)) for n in (*items, *pieces)]
    shapes = [boxes[n] for n in (*items, *pieces)]
    size = layout.name_size(texts, area, NAME_TYPE)
    r = max(job.table.bore / 2 / fit.scale, 0.45) + 0.6
    taken: list[tuple[Box, float]] = [(datum, 20.0), *((boxes[n], 0.6) for n in items)]
    for seat in job.seats.values():
        for pin in seat.pins:
            if pin.state == "seated":
                u, v = fit.paper(float(pin.at[0]), float(pin.at[1]))
                taken.append(((u - r, v - r, u + r, v + r), 3.0))
    spots = layout.place_names(list(zip(texts, shapes, strict=True)), taken, area, size)
    for k, (text, box, spot) in enumerate(zip(texts, shapes, spots, strict=True)):
        u, v = (spot[0] + spot[2]) / 2, (spot[1] + spot[3]) / 2
        near = (min(max(u, box[0]), box[2]), min(max(v, box[1]), box[3]))
        if math.hypot(near[0] - u, near[1] - v) > size:
            middle = ((box[0] + box[2]) / 2, (box[1] + box[3]) / 2)
            to = (near[0] + 0.2 * (middle[0] - near[0]), near[1] + 0.2 * (middle[1] - near[1]))
            out.append(f'<path d="M{_n(u)} {_n(v)}L{_n(to[0])} {_n(to[1])}" stroke-width="0.15"/>')
        out.append(_text(u, v, text, size, bold=k < len(items), halo=True, grey=k >= len(items)))


def _scale_bar(out: list[str], job: Job, fit: Fit) -> None:
    """A bar of a round length on paper, under the plan, by which a copy that was shrunk is found out."""
    units = job.scene.units
    paper = 50.0 if units == "mm" else 50.8
    w, h = fit.size
    out.append(_text(w / 2, h + 1.0, "front of the table", 2.9))
    u, v = BAND + min(0.0, (w - _NARROW) / 2), h + 7.5
    end = u + paper
    out.append(
        f'<path d="M{_n(u)} {_n(v - 1)}L{_n(u)} {_n(v + 1)}M{_n(u)} {_n(v)}L{_n(end)} {_n(v)}'
        f'M{_n(end)} {_n(v - 1)}L{_n(end)} {_n(v + 1)}" stroke-width="0.3"/>'
    )
    words = f"{show(paper, units)} on a true print = {show(paper * fit.scale, units)} on the table"
    out.append(_text(end + 2.0, v, words, 2.7, anchor="start"))
