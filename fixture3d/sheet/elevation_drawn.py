"""Elevations as SVG: to scale, in millimetres of paper, with heights over the table top beside them."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from itertools import groupby
from typing import Any, Final

import numpy as np

from fixture3d.errors import one_line
from fixture3d.job import Job
from fixture3d.sheet import layout
from fixture3d.sheet.elevation import Seen, Side, chosen, levels, shown, tops
from fixture3d.sheet.layout import EDGE_TYPE, NAME_TYPE, SCALES, WIDTH, Box
from fixture3d.sheet.marks import n, svg, text, window
from fixture3d.sheet.outline import rings
from fixture3d.sheet.plan import STYLE, Drawing
from fixture3d.units import show

_LADDER: Final = 52.0  # mm of paper beside a view, at least, for heights and names
_ROW: Final = 3.05  # mm of paper from one line of it to the next
_TYPE: Final = 2.6  # mm
_HEAD: Final = 3.2  # mm over the view, where names can stand
_DEEP: Final = 300.0  # mm of paper; what is cut off above is not cut off below
_FOOT: Final = 5.4  # mm under the table top for the names of holes
_TITLE: Final = 6.0  # mm over it, with a gap, on a page of lists
_LEAD: Final = 7.0  # mm from the view to the words
_MOST_ROWS: Final = 30  # with more, names give way to counts
_MOST_LEVELS: Final = 50  # with more, heights are told as ranges
_MOST_NAMES: Final = 40  # with more blocks in sight none is named in the view: the heights beside it name all


Views = Sequence[tuple[Side, list[Seen]]]


def elevations(job: Job, width: float, scale: float, views: Views | None = None) -> tuple[Drawing, ...]:
    """Side views of the setup, as few as show all heights; none where all blocks are of one height.

    Args:
        job: the setup.
        width: room for the drawing with the heights beside it, mm of paper.
        scale: of the plan; a view is never larger.
        views: those that are `chosen`, where they are known already.
    """
    return tuple(_drawn(job, side, seen, width, scale) for side, seen in (chosen(job) if views is None else views))


def height_of(job: Job, views: Views, width: float, scale: float) -> float:
    """How much of a page the same views take with their titles, about, mm of paper: for an estimate of pages."""
    words = (min(len(levels(job)), _MOST_LEVELS) + 2) * _ROW
    papers = [_Paper(job, side, seen, width, scale) for side, seen in views]
    return sum(max(paper.table + _FOOT, words) + _TITLE for paper in papers)


class _Paper:
    """How a view lies on its drawing."""

    def __init__(self, job: Job, side: Side, seen: Sequence[Seen], width: float, scale: float) -> None:
        boxes = np.array([one.whole.bounds() for one in seen])
        pitch = job.table.pitch[side.across]
        self.left, self.right = float(boxes[:, 0].min()) - pitch / 2, float(boxes[:, 2].max()) + pitch / 2
        # What matters are blocks and work: a clamp that stands up far over them is cut off.
        heads = [float(box[3]) for one, box in zip(seen, boxes, strict=True) if one.body.role != "clamp"]
        self.high = max(heads)
        series = [s for s in SCALES[job.scene.units] if s >= scale]
        span = self.right - self.left
        self.scale = next((s for s in series if span / s + _LADDER <= width), series[-1])
        self.width = span / self.scale
        self.table = self.high / self.scale + _HEAD  # the table top
        self.cut = float(boxes[:, 3].max()) / self.scale > self.table  # a clamp goes on over the drawing
        self.ladder = self.width + _LEAD
        self.total = max(width, self.ladder + _LADDER - _LEAD)

    def at(self, u: float, z: float) -> tuple[float, float]:
        """A point of the view, mm, on paper."""
        return (u - self.left) / self.scale, self.table - z / self.scale


def _drawn(job: Job, side: Side, seen: list[Seen], width: float, scale: float) -> Drawing:
    paper = _Paper(job, side, seen, width, scale)
    out: list[str] = []
    out.append(window((0.0, 0.0, paper.width, paper.table + _DEEP)))
    under = _bodies(out, job, side, seen, paper)
    out.append("</g>")
    clear = shown(seen, tops(job))
    named = _names(out, seen, paper)
    top, low = _heights(out, job, seen, clear, paper)
    foot = max(under, paper.table) + _FOOT
    _holes(out, job, side, paper, foot - _FOOT / 2 + 0.4)
    start = min(0.0, top)
    size = (paper.total, max(foot, low) - start)
    hidden = len(tops(job)) - len(clear)
    words = f"Seen {side.words}, with the tops of blocks over the table top"
    left_out = [f"{hidden} block{'s stand' if hidden > 1 else ' stands'} behind others"] if hidden else []
    left_out += ["clamps are cut off"] if paper.cut else []
    left_out += ["too many stand there to be named"] if not named else []
    if left_out:
        words += f" ({', '.join(left_out)})"
    return Drawing(title=words, svg=svg(out, (0.0, start, *size)), size=size, scale=paper.scale, flipped=False)


def _path(section: Any, paper: _Paper) -> str:
    return "".join(
        "M" + "L".join("{} {}".format(*map(n, paper.at(float(u), float(z)))) for u, z in ring) + "Z"
        for ring in rings(section)
    )


def _bodies(out: list[str], job: Job, side: Side, seen: Sequence[Seen], paper: _Paper) -> float:
    """The outlines, the farthest first, and the table where its edge comes. Returns how far down they go on paper."""
    depth = side.world_to_view[2, :2]
    x0, y0, x1, y1 = layout.plate(job.table)
    edge = float((np.where(depth > 0.0, (x1, y1), (x0, y0)) * depth).sum())
    low = paper.table
    drawn = False
    for one in seen:
        nearest = float((np.where(depth > 0.0, one.body.box[1, :2], one.body.box[0, :2]) * depth).sum())
        if not drawn and nearest > edge:
            low = max(low, _table(out, job, side, paper))
            drawn = True
        style = STYLE[one.body.role]
        out.append(f'<path d="{_path(one.whole, paper)}" {style}/>')
        low = max(low, paper.at(0.0, float(one.visible.bounds()[1]))[1] if not one.visible.is_empty() else low)
    if not drawn:
        low = max(low, _table(out, job, side, paper))
    return low


def _table(out: list[str], job: Job, side: Side, paper: _Paper) -> float:
    """The plate, as far as the view goes: it hides what is below its top. Returns its underside on paper."""
    plate = layout.plate(job.table)
    ends = sorted(side.sign * plate[k] for k in (side.across, side.across + 2))
    left, right = max(ends[0], paper.left), min(ends[1], paper.right)
    (u, v), (s, t) = paper.at(left, 0.0), paper.at(right, -(job.table.thickness or 0.0))
    if t > v:
        out.append(f'<path d="M{n(u)} {n(v)}H{n(s)}V{n(t)}H{n(u)}Z" fill="white" stroke-width="0.15"/>')
    out.append(f'<path d="M{n(u)} {n(v)}H{n(s)}" stroke-width="0.6"/>')
    return t


def _names(out: list[str], seen: Sequence[Seen], paper: _Paper) -> bool:
    """Names of blocks and clamps that are in sight; returns False when there are too many for that."""
    boxes: dict[str, Box] = {}
    largest: dict[str, float] = {}  # mm2: a name stands at the body of its item that is seen most
    edges: list[tuple[Box, float]] = []
    for one in seen:
        if one.body.role not in ("block", "clamp") or one.visible.is_empty():
            continue
        left, low, right, high = one.visible.bounds()
        (u, v), (s, t) = paper.at(left, high), paper.at(right, low)
        v = max(v, 0.0)
        if s - u < 1.0 or t - v < 0.5:
            continue
        if one.visible.area() > largest.get(one.body.item, 0.0):
            largest[one.body.item] = one.visible.area()
            boxes[one.body.item] = (u, v, s, t)
        edges += [
            (box, 2.0)
            for ring in rings(one.visible)
            for box in layout.along([paper.at(float(a), float(b)) for a, b in ring], 3.0)
        ]
    if len(boxes) > _MOST_NAMES:
        return False
    texts = [layout.short_name(one_line(name)) for name in boxes]
    shapes = list(boxes.values())
    area = (0.0, 0.0, paper.width, paper.table - 0.4)
    size = layout.name_size(texts, area, NAME_TYPE * 0.82)
    spots = layout.place_names(list(zip(texts, shapes, strict=True)), edges, area, size)
    for name, box, spot in zip(texts, shapes, spots, strict=True):
        u, v = (spot[0] + spot[2]) / 2, (spot[1] + spot[3]) / 2
        near = (min(max(u, box[0]), box[2]), min(max(v, box[1]), box[3]))
        if np.hypot(near[0] - u, near[1] - v) > size:
            out.append(f'<path d="M{n(u)} {n(v)}L{n(near[0])} {n(near[1])}" stroke-width="0.12"/>')
        out.append(text(u, v, name, size, bold=True, halo=True))
    return True


def _holes(out: list[str], job: Job, side: Side, paper: _Paper, v: float) -> None:
    """Names of columns, or of rows, under the table."""
    table, axis = job.table, side.across
    sign = table.naming.signs[axis]
    low, high = sorted(side.sign * end for end in (paper.left, paper.right))
    name = (layout.column_name, layout.row_name)[axis]
    found = layout.lines((table.columns, table.rows)[axis], table.pitch[axis], sign, low, high)
    widest = max((len(name(table, k)) for k in found), default=1)
    step = layout.every(table.pitch[axis] / paper.scale, widest * EDGE_TYPE * WIDTH + 1.0)
    for k in found:
        if k % step == 0:
            u, _ = paper.at(side.sign * sign * k * table.pitch[axis], 0.0)
            half = len(name(table, k)) * EDGE_TYPE * WIDTH / 2.0
            if half <= u <= paper.width - half:  # at the end of a view half of a name would be cut off
                out.append(text(u, v, name(table, k), EDGE_TYPE))


def _heights(out: list[str], job: Job, seen: Sequence[Seen], clear: set[str], paper: _Paper) -> tuple[float, float]:
    """Beside the view, from the highest to the table top, each height with the blocks that have it.

    Returns how far up and down the words go on paper.
    """
    rows = list(_rows(job, int((paper.total - paper.ladder) / (_TYPE * WIDTH * 0.92))))
    heights = [len(lines) * _ROW for _, lines, _ in rows]
    wanted = [paper.at(0.0, z)[1] - tall / 2 for (z, _, _), tall in zip(rows, heights, strict=True)]
    starts = _spread(wanted, heights)
    heads = tops(job)
    for (z, lines, names), start in zip(rows, starts, strict=True):
        _, v = paper.at(0.0, z)
        first = start + _ROW / 2
        ends = [
            paper.at(float(one.visible.bounds()[2]), 0.0)[0]
            for one in seen
            if one.body.role == "block" and one.body.item in names and one.body.item in clear
            and abs(float(one.whole.bounds()[3]) - heads[one.body.item]) < 0.01
        ]  # fmt: skip
        begin = max(ends, default=paper.width)
        dash = ' stroke-dasharray="0.4 0.8"' if names and not ends else ""
        out.append(
            f'<path d="M{n(begin)} {n(v)}H{n(paper.width + 1.0)}L{n(paper.ladder - 1.0)} {n(first)}" '
            f'stroke="#555" stroke-width="0.13"{dash}/>'
        )
        for k, line in enumerate(lines):
            out.append(text(paper.ladder, first + k * _ROW, line, _TYPE, anchor="start", bold=bool(names) and not k))
    return min(starts) - 0.5, max(s + h for s, h in zip(starts, heights, strict=True)) + 0.5


def _rows(job: Job, most: int) -> Iterator[tuple[float, list[str], frozenset[str]]]:
    """Height, words of at most so many letters a line, and the blocks meant; from the highest down."""
    heights, units = tops(job), job.scene.units
    known = list(levels(job).values())
    step = -(-len(known) // _MOST_LEVELS)
    groups = [[name for names in known[k : k + step] for name in names] for k in range(0, len(known), step)]
    lines = [_wrapped(_height(job, names), listed(names), most) for names in groups]
    if sum(map(len, lines)) > _MOST_ROWS:
        lines = [
            found if len(found) <= 2 else [f"{_height(job, names)}: {len(names)} blocks"]
            for found, names in zip(lines, groups, strict=True)
        ]
    rows = [(heights[names[0]], found, frozenset(names)) for found, names in zip(lines, groups, strict=True)]
    work = [body.box for body in job.pieces()]
    if work:
        high, low = max(float(b[1, 2]) for b in work), min(float(b[0, 2]) for b in work)
        rows.append((high, [f"{show(low, units)} to {show(high, units)}: the work"], frozenset()))
    rows.append((0.0, ["0: table top"], frozenset()))
    yield from sorted(rows, key=lambda row: -row[0])


def _height(job: Job, names: Sequence[str]) -> str:
    heights = tops(job)
    found = list(dict.fromkeys(show(heights[name], job.scene.units) for name in (names[-1], names[0])))
    return " to ".join(found)


def _wrapped(head: str, words: Sequence[str], most: int) -> list[str]:
    """Lines of words with commas; the first begins with ``head``, the others are set in."""
    out, line = [], f"{head}: "
    for k, word in enumerate(words):
        part = word + ("," if k < len(words) - 1 else "")
        if len(line) + len(part) > most and line != f"{head}: ":
            out.append(line.rstrip())
            line = "      "
        line += part + " "
    return [*out, line.rstrip()]


def listed(names: Sequence[str]) -> list[str]:
    """Names in natural order, three or more that count on joined.

    >>> listed(["S1", "S3", "S10", "S2", "front stop"])
    ['front stop', 'S1 to S3', 'S10']
    """
    found = []
    for name in names:
        short = layout.short_name(one_line(name))
        match = re.fullmatch(r"(.*?)([1-9][0-9]{0,5})", short)
        found.append((match[1], int(match[2]), short) if match else (short, -1, short))
    found.sort(key=lambda one: (one[0].rstrip("0").casefold(), one[1], one[2]))
    out: list[str] = []
    for _, group in groupby(enumerate(found), key=lambda item: (item[1][0], item[1][1] - item[0], item[1][1] < 0)):
        run = [short for _, (_, _, short) in group]
        out += [f"{run[0]} to {run[-1]}"] if len(run) > 2 else run
    return out


def _spread(wanted: Sequence[float], heights: Sequence[float]) -> list[float]:
    """Upper ends for blocks of words, from the top down, none over another, each near where it wants to be."""
    blocks: list[list[float]] = []  # place, height, how many words' blocks
    for place, tall in zip(wanted, heights, strict=True):
        blocks.append([place, tall, 1.0])
        while len(blocks) > 1 and blocks[-2][0] + blocks[-2][1] > blocks[-1][0]:
            second, first = blocks.pop(), blocks.pop()
            count = first[2] + second[2]
            middle = (first[0] * first[2] + (second[0] - first[1]) * second[2]) / count
            blocks.append([middle, first[1] + second[1], count])
    out: list[float] = []
    k = 0
    for place, _, count in blocks:
        for _ in range(int(count)):
            out.append(place)
            place += heights[k]
            k += 1
    return out
