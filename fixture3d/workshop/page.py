"""What is on a sheet: lines, words and dimensions, in mm of paper from its lower left corner."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from functools import cached_property
from typing import Final, Literal

from fixture3d.workshop.solid_facts import Spot
from fixture3d.workshop.words import width

Layer = Literal["outline", "hidden", "centre", "dimensions", "table", "text", "frame"]
LAYERS: Final[dict[Layer, tuple[float, str]]] = {
    "outline": (0.5, ""),
    "hidden": (0.25, "2 1"),
    "centre": (0.18, "5 1 1 1"),
    "dimensions": (0.18, ""),
    "table": (0.18, ""),
    "text": (0.18, ""),
    "frame": (0.5, ""),
}
"""Width of line, mm, and dashes; ISO 128-2 line types 01, 02 and 04 in two widths."""

Box = tuple[float, float, float, float]


@dataclass(frozen=True, kw_only=True)
class Ink:
    """A line through points, or an arc.

    Attributes:
        layer: what it is for.
        points: ends, or all points of a line of several stretches.
        centre, radius, turn: of an arc: start and sweep in degrees, counter-clockwise.
        filled: a closed area, as an arrow's head.
    """

    layer: Layer
    points: tuple[Spot, ...] = ()
    centre: Spot = (0.0, 0.0)
    radius: float = 0.0
    turn: Spot = (0.0, 0.0)
    filled: bool = False

    @cached_property
    def path(self) -> tuple[Spot, ...]:
        """Its points; of an arc, one each 10 degrees."""
        if not self.radius:
            return self.points
        start, sweep = self.turn
        steps = max(2, math.ceil(sweep / 10.0))
        angles = [math.radians(start + sweep * n / steps) for n in range(steps + 1)]
        return tuple(
            (self.centre[0] + self.radius * math.cos(a), self.centre[1] + self.radius * math.sin(a)) for a in angles
        )

    @cached_property
    def box(self) -> Box:
        """x0, y0, x1, y1 of its path, mm."""
        xs, ys = zip(*self.path, strict=True)
        return min(xs), min(ys), max(xs), max(ys)


@dataclass(frozen=True, kw_only=True)
class Word:
    """One line of type.

    Attributes:
        text: what it says.
        at: where its baseline begins, has its middle or ends.
        height: of capitals, mm.
        anchor: which of the three.
        upright: it is read from the right.
        layer: what it is for.
        bold: type.
    """

    text: str
    at: Spot
    height: float
    anchor: Literal["start", "middle", "end"] = "start"
    upright: bool = False
    layer: Layer = "text"
    bold: bool = False

    @cached_property
    def box(self) -> Box:
        """x0, y0, x1, y1, mm."""
        long = width(self.text, self.height, self.bold)
        back = {"start": 0.0, "middle": long / 2.0, "end": long}[self.anchor]
        x, y = self.at
        down, up = 0.25 * self.height, 1.05 * self.height
        if self.upright:
            return x - up, y - back, x + down, y - back + long
        return x - back, y - down, x - back + long, y + up


@dataclass(frozen=True, kw_only=True)
class Dimension:
    """A dimension: an ordinate, an angle or a diameter.

    Attributes:
        kind: which.
        value: mm or degrees.
        word: its text in its place.
        inks: its lines.
        points: what it is taken from, on paper: of an ordinate the feature and the end of its line; of an angle the
            ends of its two lines, the first of each nearer to where they meet; of a diameter two points of it.
        zero: of an ordinate, the datum on paper.
        level: of an ordinate, whether it measures to the right, else up.
    """

    kind: Literal["ordinate", "angle", "diameter"]
    value: float
    word: Word
    inks: tuple[Ink, ...]
    points: tuple[Spot, ...]
    zero: Spot = (0.0, 0.0)
    level: bool = True


@dataclass(kw_only=True)
class Page:
    """One sheet.

    Attributes:
        name: of the paper.
        size: of the paper, mm.
        scale: paper over true size.
        title: of the drawing.
        inks, words, dimensions: all that is on it.
        views: boxes of the views by name.
    """

    name: str
    size: Spot
    scale: float
    title: str
    inks: list[Ink] = field(default_factory=list)
    words: list[Word] = field(default_factory=list)
    dimensions: list[Dimension] = field(default_factory=list)
    views: dict[str, Box] = field(default_factory=dict)

    def line(self, layer: Layer, *points: Spot) -> None:
        """Draw through points."""
        self.inks.append(Ink(layer=layer, points=points))

    def every_word(self) -> Iterator[Word]:
        """Of the sheet and of its dimensions."""
        yield from self.words
        yield from (d.word for d in self.dimensions)


def meet(a: Box, b: Box, gap: float = 0.0) -> bool:
    """Whether two boxes overlap, or come nearer than a gap."""
    return a[0] < b[2] + gap and b[0] < a[2] + gap and a[1] < b[3] + gap and b[1] < a[3] + gap


def crosses(p: Spot, q: Spot, box: Box) -> bool:
    """Whether a straight line runs through a box."""
    low, high = 0.0, 1.0
    for k in (0, 1):
        step = q[k] - p[k]
        if abs(step) < 1e-12:
            if not box[k] < p[k] < box[k + 2]:
                return False
            continue
        a, b = sorted(((box[k] - p[k]) / step, (box[k + 2] - p[k]) / step))
        low, high = max(low, a), min(high, b)
    return low < high - 1e-9


def run_through(inks: Iterable[Ink], box: Box) -> int:
    """How many lines and arcs run through a box."""
    x0, y0, x1, y1 = box
    count = 0
    for ink in inks:
        left, low, right, high = ink.box
        if left <= x1 and x0 <= right and low <= y1 and y0 <= high:  # most are far away
            count += any(crosses(p, q, box) for p, q in itertools.pairwise(ink.path))
    return count


def arrow(tip: Spot, way: Spot, layer: Layer = "dimensions", long: float = 2.0) -> Ink:
    """A filled head of 15 degrees each side with its tip at a place, pointing along ``way``."""
    size = math.hypot(*way)
    ux, uy = way[0] / size, way[1] / size
    wide = long * math.tan(math.radians(12.0))
    back = (tip[0] - long * ux, tip[1] - long * uy)
    points = (tip, (back[0] - wide * uy, back[1] + wide * ux), (back[0] + wide * uy, back[1] - wide * ux), tip)
    return Ink(layer=layer, points=points, filled=True)
