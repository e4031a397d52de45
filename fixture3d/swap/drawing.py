"""The plan of a swap: where blocks stand, stood and go, with arrows; millimetres of paper, black and white."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from fixture3d.job import Body, Job
from fixture3d.sheet import layout
from fixture3d.sheet.layout import BAND, NAME_TYPE, Box, Fit
from fixture3d.sheet.marks import NARROW, UNDER, axes, circle, datum, n, scale_bar, text
from fixture3d.sheet.outline import outline
from fixture3d.sheet.plan import ground
from fixture3d.swap.swap import Line, Swap

_FONT = "DejaVu Sans"
_STAYS = 'fill="#d4d4d4" fill-rule="evenodd" stroke-width="0.25"'
_COMES = 'fill="white" fill-rule="evenodd" stroke-width="0.5"'
_LEAVES = 'fill="none" stroke-width="0.3" stroke-dasharray="0.3 0.9"'
_HEAD = 2.2  # mm; length of an arrow's head


@dataclass(frozen=True, kw_only=True)
class Drawing:
    """A drawing on paper.

    Attributes:
        svg: the drawing.
        size: width and height, mm of paper.
        scale: 10 for 1:10.
        flipped: it wants the page on its long side.
        datum: where A1 is, in words.
    """

    svg: str
    size: tuple[float, float]
    scale: float
    flipped: bool
    datum: str


def drawing(swap: Swap, room: Mapping[bool, tuple[float, float]]) -> Drawing:
    """Draw the table with what stays in grey, what leaves dotted, what comes in thick lines, and an arrow a move.

    Args:
        swap: the way from one setup to the next.
        room: width and height on the page, by whether it is flipped, mm of paper.
    """
    both = _both(swap)
    fit = layout.best_fit(both, room)
    out = ground(both, fit)
    stay = [k for k, spot in enumerate(swap.spots) if spot.seat.name and k not in _touched(swap)]
    boxes: dict[int, Box] = {}
    for spots, style in ((stay, _STAYS), (_ends(swap, 1), _COMES), (_ends(swap, 0), _LEAVES)):
        for k in spots:
            boxes[k] = _shape(out, fit, swap.spots[k].job.of_item(swap.spots[k].seat.name), style)
    where, where_box = datum(out, both, fit)
    taken = [(where_box, 20.0)]
    taken += [(box, 0.5) for k, box in boxes.items() if k not in stay]
    for line in swap.lines:
        taken += [(box, 6.0) for box in _arrow(out, fit, swap, line)]
    _labels(out, fit, swap, boxes, taken)
    scale_bar(out, both, fit, "front of the table")
    axes(out, fit)
    w, h = max(fit.size[0], NARROW), fit.size[1] + UNDER
    head = (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{n(w)}mm" height="{n(h)}mm" '
        f'viewBox="{n((fit.size[0] - w) / 2)} 0 {n(w)} {n(h)}" font-family="{_FONT}" fill="none" stroke="black" '
        'stroke-linejoin="round" stroke-linecap="round">'
    )
    svg = "\n".join([head, *out, "</svg>"])
    return Drawing(svg=svg, size=(w, h), scale=fit.scale, flipped=fit.flipped, datum=where)


def _both(swap: Swap) -> Job:
    """The blocks of both setups on the table of the first, which is the one that is there."""
    blocks = [body for job in (swap.before, swap.after) for body in job.bodies if _is_block(body)]
    return replace(swap.before, bodies=tuple(blocks), scene=swap.before.scene)


def _is_block(body: Body) -> bool:
    return body.role in ("block", "clamp")


def _touched(swap: Swap) -> set[int]:
    """Spots that something leaves or comes to, and the second ones of what stays, which are drawn once."""
    first = len(swap.before.seats)
    moved = {k for line in swap.lines if line.do != "set anew" for k in line.spots if k is not None}
    return moved | set(range(first, len(swap.spots)))


def _ends(swap: Swap, side: int) -> list[int]:
    """Spots that are left (0), or come to (1), by what is lifted."""
    found = (line.spots[side] for line in swap.lines if line.do != "set anew")
    return [k for k in found if k is not None]


def _shape(out: list[str], fit: Fit, bodies: Iterable[Body], style: str) -> Box:
    """The outlines of one block; returns its box on paper."""
    points: list[tuple[float, float]] = []
    for body in bodies:
        if not _is_block(body):
            continue
        rings = [[fit.paper(float(x), float(y)) for x, y in ring] for ring in outline(body)]
        if rings:
            path = "".join("M" + "L".join(f"{n(u)} {n(v)}" for u, v in ring) + "Z" for ring in rings)
            out.append(f'<path d="{path}" {style}/>')
        points += [p for ring in rings for p in ring]
    low, high = np.array(points).min(axis=0), np.array(points).max(axis=0)
    return float(low[0]), float(low[1]), float(high[0]), float(high[1])


def _arrow(out: list[str], fit: Fit, swap: Swap, line: Line) -> list[Box]:
    """From the middle of the old place to that of the new one; a cross where a block goes to the rack.

    Returns small boxes along it, that names keep off.
    """
    if line.do == "set anew":
        return []
    old, new = (None if k is None else fit.paper(*swap.spots[k].at) for k in line.spots)
    if old is not None and new is None:
        u, v = old
        r = 1.6
        path = f"M{n(u - r)} {n(v - r)}L{n(u + r)} {n(v + r)}M{n(u - r)} {n(v + r)}L{n(u + r)} {n(v - r)}"
        out.append(f'<path d="{path}" stroke="white" stroke-width="1.3"/><path d="{path}" stroke-width="0.55"/>')
        return [(u - r, v - r, u + r, v + r)]
    if new is None or old is None:
        assert new is not None
        u, v = new
        r = 1.6
        path = f"M{n(u - r)} {n(v)}H{n(u + r)}M{n(u)} {n(v - r)}V{n(v + r)}"
        out.append(f'<path d="{path}" stroke="white" stroke-width="1.3"/><path d="{path}" stroke-width="0.55"/>')
        return [(u - r, v - r, u + r, v + r)]
    far = math.dist(old, new)
    if far < 1.5 * _HEAD:  # turned where it stands, or next to it: a ring says so
        out.append(f'<path d="{circle(*old, 1.3)}" stroke="white" stroke-width="1.2"/>')
        out.append(f'<path d="{circle(*old, 1.3)}" stroke-width="0.45"/>')
        return [(old[0] - 1.3, old[1] - 1.3, old[0] + 1.3, old[1] + 1.3)]
    dx, dy = (new[0] - old[0]) / far, (new[1] - old[1]) / far
    base = (new[0] - _HEAD * dx, new[1] - _HEAD * dy)
    path = f"M{n(old[0])} {n(old[1])}L{n(base[0])} {n(base[1])}"
    b = (base[0] - 0.8 * dy, base[1] + 0.8 * dx)
    c = (base[0] + 0.8 * dy, base[1] - 0.8 * dx)
    tip = f"M{n(new[0])} {n(new[1])}L{n(b[0])} {n(b[1])}L{n(c[0])} {n(c[1])}Z"
    out.append(f'<path d="{path}" stroke="white" stroke-width="1.1"/>')
    out.append(f'<path d="{tip}" fill="black" stroke="white" stroke-width="0.5"/>')
    out.append(f'<path d="{path}" stroke-width="0.35"/><path d="{tip}" fill="black" stroke="none"/>')
    out.append(f'<path d="{circle(*old, 0.7)}" fill="black" stroke="white" stroke-width="0.2"/>')
    return layout.along([old, new], 1.5, 0.5)


def _labels(out: list[str], fit: Fit, swap: Swap, boxes: Mapping[int, Box], taken: Sequence[tuple[Box, float]]) -> None:
    """Number and name at each place that is left or filled, the name alone at what stays."""
    w, h = fit.size
    area = (BAND, BAND, w - BAND, h - BAND)
    rows: list[tuple[str, Box, bool]] = []
    for line in swap.lines:
        old, new = line.spots
        if new is not None:
            name = layout.short_name(line.becomes or line.block, 12)
            rows.append((f"{line.number} {name}", boxes[new if line.do != "set anew" else _sure(old)], True))
        elif old is not None:
            rows.append((f"{line.number} {layout.short_name(line.block, 12)}", boxes[old], False))
    told = {line.spots[0] for line in swap.lines}
    for k, box in boxes.items():
        if k < len(swap.before.seats) and k not in told:
            rows.append((layout.short_name(swap.spots[k].seat.name, 12), box, False))
    size = layout.name_size([row[0] for row in rows], area, NAME_TYPE * 0.92)
    spots = layout.place_names([(row[0], row[1]) for row in rows], taken, area, size)
    for (words, box, bold), spot in zip(rows, spots, strict=True):
        u, v = (spot[0] + spot[2]) / 2, (spot[1] + spot[3]) / 2
        near = (min(max(u, box[0]), box[2]), min(max(v, box[1]), box[3]))
        if math.hypot(near[0] - u, near[1] - v) > size:
            out.append(f'<path d="M{n(u)} {n(v)}L{n(near[0])} {n(near[1])}" stroke-width="0.15"/>')
        out.append(text(u, v, words, size, bold=bold, halo=True))


def _sure(spot: int | None) -> int:
    assert spot is not None
    return spot
