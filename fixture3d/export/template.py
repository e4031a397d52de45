"""Templates to wrap round a tube: the edge of a cut end unrolled to true size, as drawing data and as DXF.

The paper is seen from its printed side, which is outside on the tube, with the end of the tube up. The seam runs along
the bottom of the tube; from there the paper goes round over left, top and right at the last end, and the other way
round at the first, which is seen from the other side.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from fixture3d.export.dxf import CUT, MARKS, add_line, add_text, blank, dxf_bytes
from fixture3d.frame import Array
from fixture3d.job.cut_data import CutRow
from fixture3d.job.endcut import EndCut, Line
from fixture3d.stock.section import Edge, Loop, support
from fixture3d.units import Units

FOOT: Final = 20.0  # mm of paper below the deepest place of the cut, to hold it by
_SAME: Final = 1e-7  # mm; points of the curve nearer than this are one
_STEP: Final = 0.25  # mm along the tube's girth between points of the curve
ENDS: Final = ("first", "last")
CHECK: Final[dict[Units, tuple[float, str]]] = {"mm": (100.0, "100 mm"), "in": (101.6, "4 in")}


@dataclass(frozen=True, kw_only=True, eq=False)
class Template:
    """The unrolled edge of one end, mm.

    Attributes:
        row: of the cut list.
        which: end 0 or 1.
        girth: width of the paper: once round the outside of the tube.
        curve: (n, 2), across the paper from the seam and up from its lower edge.
        lines: name and place of the lines that lie on the top, left and right of the tube.
        stand: distance of the lower edge from the other tip of the piece.
        straight: the tube is straight between the two, so that the distance can be measured along it.
    """

    row: CutRow
    which: int
    girth: float
    curve: Array
    lines: tuple[tuple[str, float], ...]
    stand: float
    straight: bool

    @property
    def height(self) -> float:
        """From the lower edge to the highest point, mm."""
        return float(self.curve[:, 1].max())

    @property
    def name(self) -> str:
        """Such as ``P1 last end``."""
        return f"{self.row.mark} {ENDS[self.which]} end"

    def above(self, across: float) -> float:
        """Height of the curve at a place across the paper, mm."""
        return float(np.interp(across, self.curve[:, 0], self.curve[:, 1]))


def templates(rows: Sequence[CutRow]) -> tuple[Template, ...]:
    """One for every end that a flat saw cannot cut square: copes, and mitres of round tube."""
    return tuple(_templates(rows))


def _templates(rows: Sequence[CutRow]) -> Iterator[Template]:
    for row in rows:
        if row.piece.end_cuts is None or row.ends is None or row.piece.section is None:
            continue
        hollow = row.piece.section.hollow
        for which, (facts, end) in enumerate(zip(row.ends, row.piece.end_cuts, strict=True)):
            if hollow and (facts.coped or (facts.long is not None and row.piece.section.shape == "round tube")):
                yield _unrolled(row, which, end)


def _unrolled(row: CutRow, which: int, end: EndCut) -> Template:
    section = row.piece.section
    assert section is not None
    assert row.piece.end_cuts is not None
    along, y, z = _girth(section.outline()[0], end)
    girth = float(along[-1])
    x = end.x(y, z)
    base = end.throat(section) - end.side * FOOT
    if which == 0:  # seen with this end up, the tube turns the other way
        along = girth - along
    order = np.argsort(along, kind="stable")
    other = row.piece.end_cuts[1 - which].tip(section)
    return Template(
        row=row,
        which=which,
        girth=girth,
        curve=np.stack([along, end.side * (x - base)], axis=1)[order],
        lines=tuple(sorted(_lines(along, y, z), key=lambda line: line[1])),
        stand=abs(base - other),
        straight=row.piece.bent is None,
    )


def _girth(loop: Loop, end: EndCut) -> tuple[Array, Array, Array]:
    """Way round an outline that turns left, from the middle of its bottom and back to it: way, y, z, (n,) each, mm.

    Besides evenly laid points it has those at which the cut has a corner, which is where its ears come to a point.
    """
    ways, points = [], []
    begin = 0.0
    lines = [*end.lines(), (1.0, 0.0, 0.0), (0.0, 1.0, 0.0)]
    for edge in loop:
        long = abs(edge.sweep) * edge.radius if edge.centre else math.dist(edge.start, edge.end)
        t = np.arange(count := max(2, math.ceil(long / _STEP))) / count
        t = np.unique(np.concatenate([t, *(_meeting(edge, t, line) for line in lines), _outermost(edge, lines)]))
        ways.append(begin + t * long)
        points.append(edge.at(t)[0])
        begin += long
    way, at = np.concatenate(ways), np.concatenate(points)
    around = np.concatenate([at, at[:1]])
    turned = (way - _passing(np.append(way, begin), around[:, 0], -around[:, 1])) % begin
    order = np.argsort(turned, kind="stable")
    keep = order[(turned[order] > _SAME) & (turned[order] < begin - _SAME)]
    low = -support(loop, 0.0, -1.0)
    y = np.concatenate([[0.0], at[keep, 0], [0.0]])
    z = np.concatenate([[low], at[keep, 1], [low]])
    return np.concatenate([[0.0], turned[keep], [begin]]), y, z


def _meeting(edge: Edge, t: Array, line: Line) -> Array:
    """Parameters at which an edge crosses a line of the section, (k,)."""
    a, b, c = line

    def off(s: Array) -> Array:
        at = edge.at(s)[0]
        return np.asarray(a * at[:, 0] + b * at[:, 1] - c)

    low, high = t, np.append(t[1:], 1.0)
    crossed = (off(low) < 0.0) != (off(high) < 0.0)
    low, high = low[crossed], high[crossed]
    for _ in range(50):
        middle = (low + high) / 2.0
        left = (off(low) < 0.0) != (off(middle) < 0.0)
        low, high = np.where(left, low, middle), np.where(left, middle, high)
    return np.asarray(low)


def _outermost(edge: Edge, lines: Sequence[Line]) -> Array:
    """Parameters at which an arc is furthest along the directions that lines are square to, (k,)."""
    if edge.centre is None:
        return np.zeros(0)
    first = math.atan2(edge.start[1] - edge.centre[1], edge.start[0] - edge.centre[0])
    ways = [math.atan2(sign * b, sign * a) for a, b, _ in lines for sign in (1.0, -1.0)]
    t = [((way - first) * (1.0 if edge.left else -1.0) % (2.0 * math.pi)) / abs(edge.sweep) for way in ways]
    return np.array([one for one in t if one < 1.0])


def _passing(way: Array, value: Array, beside: Array) -> float:
    """Way at which a value changes its sign where another is positive, between the points of a closed line, mm."""
    k = next(k for k in range(len(way) - 1) if (value[k] < 0.0) != (value[k + 1] < 0.0) and beside[k] > 0.0)
    return float(way[k] + (way[k + 1] - way[k]) * value[k] / (value[k] - value[k + 1]))


def _lines(along: Array, y: Array, z: Array) -> Iterator[tuple[str, float]]:
    """Where the tube's left, top and right lie on the paper."""
    for name, value, beside in (("left", z, y), ("top", y, z), ("right", z, -y)):
        yield name, _passing(along, value, beside)


def template_dxf(template: Template, units: Units) -> bytes:
    """The template in mm: outline on layer cut, lines and a check line on layer marks."""
    document = blank()
    space = document.modelspace()
    girth = template.girth
    edge = [(float(a), float(b)) for a, b in template.curve]
    add_line(space, [(0.0, 0.0), (girth, 0.0), *reversed(edge)], CUT, closed=True)
    for name, across in template.lines:
        add_line(space, [(across, 0.0), (across, template.above(across))], MARKS)
        add_text(space, name, (across + 1.0, 8.0), 3.0)
    add_text(space, template.name, (2.0, 3.0), 4.0)
    long, words = CHECK[units]
    add_line(space, [(0.0, -15.0), (long, -15.0)], MARKS)
    add_text(space, f"check: this line is {words} long", (0.0, -13.0), 3.0)
    return dxf_bytes(document)
