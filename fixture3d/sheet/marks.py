"""The pieces of a plan's SVG: text, circles, arrows, the mark of hole A1, the scale bar. Millimetres of paper."""

from __future__ import annotations

import math
from typing import Final
from xml.sax.saxutils import escape

import numpy as np

from fixture3d.errors import one_line
from fixture3d.job import Job, Seat
from fixture3d.sheet import layout
from fixture3d.sheet.layout import BAND, NAME_TYPE, Box, Fit
from fixture3d.units import show

_FONT = "DejaVu Sans"
NARROW = 150.0  # mm; the words under a plan need this much
UNDER: Final = 6.0  # mm of paper under a plan, for the scale bar and the axes


def n(value: float) -> str:
    """A number of an SVG file: to a thousandth of a millimetre of paper."""
    text = f"{value:.3f}".rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text


def text(
    x: float, y: float, text: str, size: float, *, anchor: str = "middle", bold: bool = False, halo: bool = False,
    grey: bool = False,
) -> str:  # fmt: skip
    """Text with its capitals' middle at ``y``."""
    style = ' font-weight="bold"' if bold else ""
    edge = f'paint-order="stroke" stroke="white" stroke-width="{n(size * 0.28)}"' if halo else 'stroke="none"'
    return (
        f'<text x="{n(x)}" y="{n(y + layout.CAP * size / 2)}" font-size="{n(size)}" text-anchor="{anchor}"{style} '
        f'fill="{"#444" if grey else "black"}" {edge}>{escape(one_line(text))}</text>'
    )


def circle(u: float, v: float, r: float) -> str:
    """A circle as the data of a path."""
    return f"M{n(u - r)} {n(v)}a{n(r)} {n(r)} 0 1 0 {n(2 * r)} 0a{n(r)} {n(r)} 0 1 0 {n(-2 * r)} 0Z"


def arrow(out: list[str], job: Job, fit: Fit, at: tuple[float, float], seat: Seat) -> None:
    """From the named hole along the block's own X axis."""
    if layout.is_round(seat):
        return
    direction = seat.model_to_world[:2, 0]
    length = float(np.hypot(*direction))
    if length < 0.5:  # it stands on its end; its X axis does not show
        return
    dx, dy = float(direction[0]) / length, -float(direction[1]) / length
    u, v = fit.paper(*at)
    neck = max(job.table.bore / 2 / fit.scale, 0.45) + 2.4
    tip = neck + 1.6
    a = (u + tip * dx, v + tip * dy)
    b = (u + neck * dx - 0.7 * dy, v + neck * dy + 0.7 * dx)
    c = (u + neck * dx + 0.7 * dy, v + neck * dy - 0.7 * dx)
    out.append(f'<path d="M{n(u)} {n(v)}L{n(u + neck * dx)} {n(v + neck * dy)}" stroke-width="0.3"/>')
    out.append(f'<path d="M{n(a[0])} {n(a[1])}L{n(b[0])} {n(b[1])}L{n(c[0])} {n(c[1])}Z" fill="black" stroke="none"/>')


def datum(out: list[str], job: Job, fit: Fit) -> tuple[str, Box]:
    """Mark hole A1, or point to it when it is not in the drawing. Returns the same in words, and the room it took."""
    table = job.table
    x0, y0, x1, y1 = fit.window
    name = table.hole_name(0, 0)
    if x0 <= 0.0 <= x1 and y0 <= 0.0 <= y1:
        u, v = fit.paper(0.0, 0.0)
        r = 2.2
        out.append(f'<path d="{circle(u, v, r)}" fill="white" stroke-width="0.3"/>')
        out.append(
            f'<path d="M{n(u)} {n(v)}L{n(u + r)} {n(v)}A{r} {r} 0 0 0 {n(u)} {n(v - r)}Z'
            f'M{n(u)} {n(v)}L{n(u - r)} {n(v)}A{r} {r} 0 0 0 {n(u)} {n(v + r)}Z" fill="black" stroke="none"/>'
        )
        right = u > fit.size[0] / 2
        side, anchor = (-3.0, "end") if right else (3.0, "start")
        out.append(text(u + side, v - 2.6, f"{name} datum", NAME_TYPE * 0.85, anchor=anchor, bold=True, halo=True))
        told = f"Hole {name}, the datum, is the quartered circle: the {table.naming.corner} corner of the table."
        return told, (u - (24.0 if right else r), v - 4.5, u + (r if right else 24.0), v + r)
    return _pointer(out, job, fit, name)


def axes(out: list[str], fit: Fit) -> None:
    """The table's X and Y, by which ends and directions are told, under the drawing beside the scale bar."""
    w, h = fit.size
    far, size = 6.0, 2.7
    u, v = (w + max(w, NARROW)) / 2.0 - far - 5.5, h + 4.6
    out.append(
        f'<path d="M{n(u)} {n(v - far)}V{n(v)}H{n(u + far)}" stroke-width="0.35"/>'
        f'<path d="M{n(u - 0.7)} {n(v - far + 1.6)}L{n(u)} {n(v - far)}L{n(u + 0.7)} {n(v - far + 1.6)}'
        f'M{n(u + far - 1.6)} {n(v - 0.7)}L{n(u + far)} {n(v)}L{n(u + far - 1.6)} {n(v + 0.7)}" stroke-width="0.35"/>'
    )
    out.append(text(u + far + 3.0, v, "+X", size, bold=True))
    out.append(text(u + 2.9, v - far + 0.8, "+Y", size, bold=True))


def _pointer(out: list[str], job: Job, fit: Fit, name: str) -> tuple[str, Box]:
    """An arrow at the border of the drawing that points to A1, with the way there in words."""
    table = job.table
    x0, y0, x1, y1 = fit.window
    ways = []
    towards = [0.0, 0.0]
    for axis, low, high, back, ahead, noun, label in (
        (0, x0, x1, "left", "right", "column", layout.column_name),
        (1, y0, y1, "to the front", "to the back", "row", layout.row_name),
    ):
        pitch = table.pitch[axis]
        first, last = math.ceil(low / pitch - 1e-9), math.floor(high / pitch + 1e-9)
        off = first if first > 0 else -last if last < 0 else 0
        if off:
            towards[axis] = -1.0 if first > 0 else 1.0
            ways.append(f"{off} {noun}{'s' if off > 1 else ''} {back if first > 0 else ahead} of {label(table, off)}")
    words = f"{name} is {' and '.join(ways)}"
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
        f'<path d="M{n(tip[0])} {n(tip[1])}L{n(b[0])} {n(b[1])}L{n(c[0])} {n(c[1])}Z" fill="black" '
        'stroke="white" stroke-width="0.3"/>'
    )
    left = u < w / 2
    x = base[0] + (3.0 if left else -3.0)
    y, size = base[1], NAME_TYPE * 0.85
    out.append(text(x, y, words, size, anchor="start" if left else "end", bold=True, halo=True))
    long = len(words) * size * layout.WIDTH
    box = (min(u, x if left else x - long), y - 3.0, max(u, x + long if left else x), y + 3.0)
    told = f"Hole {words}; the black arrow points to it. {name} is at the {table.naming.corner} corner of the table."
    return told, box


def second_grid(job: Job) -> str:
    """How the holes between the others are named."""
    table = job.table
    if not table.has(0, 0, True):
        return ""
    sx, sy = table.naming.signs
    name, plus = table.hole_name(0, 0), table.hole_name(0, 0, True)
    across, along = ("right" if sx > 0 else "left"), ("back" if sy > 0 else "front")
    return f" Holes of the second grid carry a plus: {plus} lies half a pitch {across} and to the {along} of {name}."


def svg(out: list[str], box: Box) -> str:
    """The pieces as one drawing: ``box`` is its left, top, width and height, mm of paper."""
    w, h = box[2:]
    head = (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{n(w)}mm" height="{n(h)}mm" '
        f'viewBox="{" ".join(map(n, box))}" font-family="{_FONT}" fill="none" stroke="black" '
        'stroke-linejoin="round" stroke-linecap="round">'
    )
    return "\n".join([head, *out, "</svg>"])


def window(box: Box) -> str:
    """The beginning of a group that is cut off outside of left, top, right, bottom; ``</g>`` ends it.

    Its name says which rectangle it is, so that several drawings can stand in one page.
    """
    name = "cut-" + "-".join(map(n, box))
    left, top, right, low = map(n, box)
    return (
        f'<clipPath id="{name}"><path d="M{left} {top}H{right}V{low}H{left}Z"/></clipPath><g clip-path="url(#{name})">'
    )


def scale_bar(out: list[str], job: Job, fit: Fit, below: str) -> None:
    """A bar of a round length on paper, under the plan, by which a copy that was shrunk is found out.

    Over it stands what lies ``below`` the drawing.
    """
    units = job.scene.units
    paper = 50.0 if units == "mm" else 50.8
    w, h = fit.size
    out.append(text(w / 2, h - 2.2, below, 2.9))
    u, v = BAND + min(0.0, (w - NARROW) / 2), h + 3.2
    end = u + paper
    out.append(
        f'<path d="M{n(u)} {n(v - 1)}L{n(u)} {n(v + 1)}M{n(u)} {n(v)}L{n(end)} {n(v)}'
        f'M{n(end)} {n(v - 1)}L{n(end)} {n(v + 1)}" stroke-width="0.3"/>'
    )
    words = f"{show(paper, units)} on a true print = {show(paper * fit.scale, units)} on the table"
    out.append(text(end + 2.0, v, words, 2.7, anchor="start"))
