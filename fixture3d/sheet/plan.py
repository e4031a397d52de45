"""The plan of the setup as SVG, to scale, in millimetres of paper, readable in black and white."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from fixture3d.frame import Array
from fixture3d.job import Body, Job, Seat
from fixture3d.sheet import layout
from fixture3d.sheet.layout import Box, Fit
from fixture3d.sheet.marks import NARROW, UNDER, arrow, axes, circle, datum, n, scale_bar, second_grid, svg, window
from fixture3d.sheet.order import Mark
from fixture3d.sheet.outline import clipped, outline, runs_inside
from fixture3d.sheet.plan_names import edge_names, names, numbers
from fixture3d.sheet.tiling import MARGIN, Tile, borders, joins, tiling, title

_MOST_HOLES = 6_000  # a drawing with more would be a grey field; every second, fifth, ... row is drawn then


@dataclass(frozen=True, kw_only=True)
class Drawing:
    """A drawing on paper.

    Attributes:
        title: what it shows; empty for the plan itself.
        svg: the drawing.
        size: width and height, mm of paper.
        scale: 10 for 1:10.
        flipped: it wants the page on its long side.
    """

    title: str = ""
    svg: str
    size: tuple[float, float]
    scale: float
    flipped: bool


@dataclass(frozen=True, kw_only=True)
class Plan(Drawing):
    """The plan.

    Attributes:
        thinned: only every so many holes are drawn; 1 for all.
        datum: where A1 is, in words.
        cut: the table goes on beyond a side of the drawing.
        tiles: the same in parts, each on a page of its own, where the plan is too small to read hole names on it.
    """

    thinned: int
    datum: str
    cut: bool
    tiles: tuple[Drawing, ...] = ()


_Shapes = Sequence[tuple[Body, list[Array]]]


def plan(
    job: Job,
    room: Mapping[bool, tuple[float, float]],
    marks: Sequence[Mark] = (),
    pages: Mapping[bool, tuple[float, float]] | None = None,
) -> Plan:
    """Draw the used part of the table.

    Args:
        job: the setup.
        room: width and height on the page, by whether it is flipped, mm of paper.
        marks: tacks and welds that are numbered; where there are tiles, these have them.
        pages: the same for a page with nothing but a drawing; None draws no tiles.
    """
    fit = layout.best_fit(job, room)
    shapes = [(body, outline(body)) for body in _ordered(job)]
    tiles = tiling(job, fit, pages) if pages is not None else ()
    out: list[str] = []
    drawn = _draw(out, job, fit, shapes, () if tiles else marks)
    borders(out, fit, tiles)
    w, h = max(fit.size[0], NARROW), fit.size[1] + UNDER
    return Plan(
        svg=svg(out, ((fit.size[0] - w) / 2, 0.0, w, h)),
        size=(w, h),
        scale=fit.scale,
        flipped=fit.flipped,
        thinned=drawn.thinned,
        datum=drawn.datum + second_grid(job),
        cut=drawn.cut,
        tiles=tuple(_tile(job, tile, shapes, marks) for tile in tiles),
    )


def _tile(job: Job, tile: Tile, shapes: _Shapes, marks: Sequence[Mark]) -> Drawing:
    """One part of the plan, with the names of its neighbours round it."""
    fit, out = tile.fit, list[str]()
    drawn = _draw(out, job, fit, shapes, list(_inside(marks, fit.window)), tile)
    joins(out, job, tile)
    width = max(fit.size[0] + 2 * MARGIN, NARROW)
    box = ((fit.size[0] - width) / 2, -MARGIN, width, fit.size[1] + MARGIN + UNDER)
    return Drawing(
        title=title(job, tile, drawn.thinned), svg=svg(out, box), size=box[2:], scale=fit.scale, flipped=fit.flipped
    )


@dataclass(frozen=True, kw_only=True)
class _Drawn:
    """What there is to say of a drawing: as in `Plan`."""

    thinned: int
    datum: str
    cut: bool


def _draw(
    out: list[str], job: Job, fit: Fit, shapes: _Shapes, marks: Sequence[Mark], tile: Tile | None = None
) -> _Drawn:
    """One window of the table with all that is in it."""
    cut = _plate(out, job, fit)
    thinned = _holes(out, job, fit)
    _slots(out, job, fit)
    (u, v), (s, t) = fit.paper(fit.window[0], fit.window[3]), fit.paper(fit.window[2], fit.window[1])
    if tile is not None:  # what goes on beyond is cut off
        out.append(window((u, v, s, t)))
    boxes, edges = _bodies(out, fit, shapes)
    _seats(out, job, fit)
    if tile is not None:
        out.append("</g>")
    edge_names(out, job, fit, () if tile is None else tile.shared)
    where, where_box = datum(out, job, fit)
    kept = [(where_box, 20.0), *((edge, _CROSSED) for edge in edges)]
    named = names(out, job, fit, boxes, kept)
    numbers(out, fit, marks, [*kept, *((box, 50.0) for box in named)])
    scale_bar(out, job, fit, "front of the table" if tile is None or not tile.below else "")
    axes(out, fit)
    return _Drawn(thinned=thinned, datum=where, cut=cut)


def _inside(marks: Sequence[Mark], window: Box) -> Iterator[Mark]:
    """The marks that lie in a window, and of those that run out of it what lies within."""
    for mark in marks:
        runs = runs_inside(mark.path, window)
        if runs:
            yield replace(mark, path=max(runs, key=len))


def ground(job: Job, fit: Fit) -> list[str]:
    """The table alone: its outline, holes and slots, and the names of its hole lines."""
    out: list[str] = []
    _plate(out, job, fit)
    _holes(out, job, fit)
    _slots(out, job, fit)
    edge_names(out, job, fit)
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

STYLE = {
    "block": 'fill="#e4e4e4" fill-rule="evenodd" stroke-width="0.4"',
    "clamp": 'fill="#f4f4f4" fill-rule="evenodd" stroke-width="0.4" stroke-dasharray="1.6 0.5"',
    "shim": 'fill="#bbb" stroke-width="0.15"',
    "sweep": 'stroke="#555" stroke-width="0.15" stroke-dasharray="0.4 0.8"',
    "piece": 'stroke-width="0.18"',
}


def _ordered(job: Job) -> list[Body]:
    """What is drawn: low blocks first, then sweeps, then the work."""

    def order(body: Body) -> tuple[int, float, str]:
        return {"sweep": 1, "piece": 2}.get(body.role, 0), float(body.box[1, 2]), body.name

    return sorted((b for b in job.bodies if b.role != "pin"), key=order)


def _on_paper(fit: Fit, rings: Sequence[Array]) -> list[list[tuple[float, float]]]:
    return [[fit.paper(float(x), float(y)) for x, y in ring] for ring in rings]


def _bodies(out: list[str], fit: Fit, shapes: _Shapes) -> tuple[dict[str, Box], list[Box]]:
    """Outlines.

    Returns the paper box of each item, and small boxes along the lines: what a name would hide there is missed.
    """
    boxes: dict[str, Box] = {}
    edges: list[Box] = []
    for body, rings in shapes:
        inside = clipped(rings, fit.window)
        if not inside:
            continue
        path = "".join("M" + "L".join(f"{n(u)} {n(v)}" for u, v in ring) + "Z" for ring in _on_paper(fit, rings))
        out.append(f'<path d="{path}" {STYLE[body.role]}/>')
        found = _on_paper(fit, inside)
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
            if not layout.within(fit.window, float(pin.at[0]), float(pin.at[1]), job.table.bore):
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
        if anchor is not None and layout.within(fit.window, *anchor, job.table.pitch[0]):
            arrow(out, job, fit, anchor, seat)


def _anchor(seat: Seat) -> tuple[float, float] | None:
    for pin in seat.pins:
        if pin.pin.name == seat.anchor:
            return float(pin.at[0]), float(pin.at[1])
    return None
