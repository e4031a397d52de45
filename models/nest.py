"""A nest: holds an angle by its legs, or a channel by its web."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from fixture3d.part import Face, Pad, Part, Pattern, Pin, Point, part
from fixture3d.part import count as a_count
from fixture3d.part import length as a_length

from ._profiles import EASE, ROOT2, blind, bored, bottom_pins, cut, eased_foot, edge, outline, round_bar, straight
from ._sides import turned_down

if TYPE_CHECKING:
    import cadquery as cq

HEEL_DOWN, HEEL_UP, CHANNEL = 1, 2, 3
SHARE = 0.8  # of a leg that lies on its flat: the toe stands free, so that it can be gripped and welded
SLOT = 2.0  # mm; half the width of the slot under a heel, radius of the grooves beside a web
FREE = 2.0  # mm below the toes of an angle that lies heel up
SPARE = 1.0  # mm; a channel at the top of its tolerance still drops in between the lips


def _floor(pattern: Pattern) -> float:
    """Least thickness over the seat, with the bores in it, mm."""
    return blind(pattern) + pattern.bore / 4.0 + SLOT


def _size(pattern: Pattern) -> float:
    return 50.8 if pattern.inch else 50.0


def _thickness(pattern: Pattern) -> float:
    return 6.35 if pattern.inch else 5.0


def _height(pattern: Pattern) -> float:
    return pattern.neat(_floor(pattern) + (_size(pattern) + _thickness(pattern)) / ROOT2 + FREE)


@part("nest", made="milled from bar")
@dataclass(frozen=True, kw_only=True)
class Nest(Part):
    r"""Cradles an angle with its legs at 45 degrees, heel down or heel up, or a channel that lies on its web.

    The stock lies along Y, midway between bores 1 and 2. ``shape`` 1: a V takes the outside of an angle, heel down,
    with a slot under the heel. 2: a ridge goes under an angle like a roof, heel up; its tip is cut back so that the
    ``root`` radius inside the angle never carries. 3: a channel lies on its web, flanges up, against the left lip; the
    right one stands 1 mm off. ``size`` is the leg of the angle, or the outside width of the channel over its web;
    ``thickness`` that of the leg. ``height`` is the table to the outside of the heel, or to the underside of the web.
    For unequal legs give the shorter one.

    ::

          shape = 1, heel down      shape = 2, heel up         shape = 3, channel

                                         / ^ \     -
           \  \        /  /            /  /_\  \   |           +-+          +-+
            \   \    /   /           /  /     \  \ |           |l|  flanges |l|
         +--+ \   \/   / +--+         /+       +\  | height    |i|  up      |i|  -
         |    \ \    / /    |   -      |  ridge |  |           |p|__________|p|  | height
         |      \_\/_/      |   |    +-+        +-+|           |     web      |  |
         |    1        2    |   |    |  1     2   |-           |   1      2   |  -
         +------------------+   -    +------------+            +--------------+
           height: to the heel       ->| depth: length along Y

    >>> from fixture3d.part import build
    >>> nest = build(Nest, Pattern(pitch=50.0, bore=16.0), {"shape": 3, "size": 80, "height": 40})
    >>> [(pad.name, pad.at[2]) for pad in nest.pads()][0]
    ('floor', 40.0)
    """

    shape: int = a_count(1, low=1, high=3, help="1: angle, heel down; 2: angle, heel up; 3: channel on its web")
    size: float = a_length(_size, low=20.0, high=150.0, help="leg of the angle, or outside width of the channel")
    thickness: float = a_length(_thickness, low=1.5, high=16.0, help="of the angle's legs")
    root: float = a_length(
        lambda p: p.neat(7.0, step_mm=1.0, step_in=0.0625),
        low=0.0,
        high=20.0,
        help="radius inside the angle's heel",
    )
    height: float = a_length(_height, low=_floor, high=250.0, help="table to the heel, or to the web")
    depth: float = a_length(
        lambda p: 2.0 * edge(p), low=lambda p: 2.0 * p.bore, high=lambda p: 3.0 * p.pitch, help="along the stock"
    )

    @property
    def middle(self) -> float:
        """X of the heel, or of the middle of the web, mm."""
        return self.pattern.pitch / 2.0

    def pins(self) -> tuple[Pin, ...]:
        """Two below, one on either side of the stock."""
        return bottom_pins(straight(self.pattern, 2), blind(self.pattern))

    def pads(self) -> tuple[Pad, ...]:
        """The two flats under the legs, or the floor and the left lip."""
        along, run, m = (0.0, 1.0, 0.0), self.depth, self.middle
        if self.shape == CHANNEL:
            left, wide, top = m - self.size / 2.0, self.size - 2.0 * SLOT, self.box()[1][2]
            low = self.height + SLOT
            at, up = (left + SLOT + wide / 2.0, 0.0, self.height), (0.0, 0.0, 1.0)
            lip = (left, 0.0, (low + top) / 2.0)
            return (
                Pad(name="floor", at=at, normal=up, along=along, length=run, width=wide),
                Pad(name="left lip", at=lip, normal=(1.0, 0.0, 0.0), along=along, length=run, width=top - low),
            )
        start, end = self._flat()
        reach, width, rise = (start + end) / 2.0 / ROOT2, end - start, 1.0 if self.shape == HEEL_DOWN else -1.0
        return tuple(
            Pad(
                name=f"{side} leg",
                at=(m + hand * reach, 0.0, self._vertex() + rise * reach),
                normal=(-rise * hand / ROOT2, 0.0, 1.0 / ROOT2),
                along=along,
                length=run,
                width=width,
            )
            for side, hand in (("left", -1.0), ("right", 1.0))
        )

    def box(self) -> tuple[Point, Point]:
        """The whole block."""
        side = self._outline()
        y, xs = self.depth / 2.0, [x for x, _ in side]
        return (min(xs), -y, 0.0), (max(xs), y, max(z for _, z in side))

    def foot(self, face: Face) -> tuple[tuple[float, float], ...]:
        """The underside; on an end its outline; on a side what is upright there."""
        low, high = self.box()
        if face in ("front", "back"):
            y = low[1] if face == "front" else high[1]
            return turned_down(((x, y, z) for x, z in self._outline()), face)
        if face in ("left", "right"):
            return eased_foot(low, (high[0], high[1], self._shoulder()), face)
        if face == "top":
            x = low[0] + max(2.0 * EASE, self._lip() / 2.0)  # it lies on the lips or on the ridge: by a strip at best
            return eased_foot(low, (x, high[1], high[2]), face, ease=0.0)
        return eased_foot(low, high, face)

    def rules(self) -> Iterator[str]:
        """Steel below the stock, flats beside root and slot, and room below the toes."""
        show, least = self.pattern.show, self._least()
        if self.height < least - 1e-6:
            yield (
                f"height = {show(self.height)} is too low for size = {show(self.size)}; "
                f"expected at least {show(self.pattern.neat(least))}"
            )
        if self.shape == CHANNEL:
            return
        if self.thickness > self.size / 3.0 + 1e-6:
            yield (
                f"thickness = {show(self.thickness)} is too much for legs of {show(self.size)}; "
                f"expected at most {show(self.size / 3.0)}"
            )
        start, end = self._flat()
        if end - start < 5.0 - 1e-6:
            yield f"root = {show(self.root)} leaves no flat on legs of {show(self.size)}; expected a smaller root"

    def solid(self) -> cq.Solid:
        """The profile, with broken upright edges and grooves, bored."""
        (x0, y0, _), (x1, y1, _) = self.box()
        body = outline(self._outline(), y0, y1)
        corners = [e for e in body.edges("|Z").Edges() if min(abs(e.Center().x - x) for x in (x0, x1)) < 1e-6]
        tools = []
        if self.shape == CHANNEL:
            way, run = (0.0, 1.0, 0.0), self.depth + 2.0
            for x in (self.middle - self.size / 2.0, self.middle + self.size / 2.0 + SPARE):
                tools.append(round_bar((x, y0 - 1.0, self.height), way, 2.0 * SLOT, run))
        return bored(cut(body.chamfer(EASE, None, corners), *tools), self.pins(), self.pattern.bore)

    def _vertex(self) -> float:
        """Height of the sharp corner that the flats would meet in: outside of the heel, or inside of it, mm."""
        return self.height - (self.thickness * ROOT2 if self.shape == HEEL_UP else 0.0)

    def _flat(self) -> tuple[float, float]:
        """Where the flats begin and end, along the leg from the sharp corner, mm."""
        if self.shape == HEEL_DOWN:
            return SLOT * ROOT2, SHARE * self.size
        return max(self.root + 1.0, SLOT), SHARE * (self.size - self.thickness)

    def _lip(self) -> float:
        """Width of a lip beside a channel, mm."""
        return self.pattern.neat(0.75 * self.pattern.bore)

    def _half(self) -> float:
        """Half the width of the block about the stock; of a channel without the spare room, mm."""
        p = self.pattern
        least = p.pitch / 2.0 + edge(p)
        if self.shape == HEEL_DOWN:
            return max(least, self._flat()[1] / ROOT2 + p.neat(p.bore / 2.0))
        if self.shape == HEEL_UP:
            return max(least, self._flat()[1] / ROOT2 + 2.0 * EASE)
        return max(least, self.size / 2.0 + self._lip())

    def _base(self) -> float:
        """Top of the base beside the ridge, mm: below the toes."""
        return self.height - (self.size + self.thickness) / ROOT2 - FREE

    def _shoulder(self) -> float:
        """Height of the upright sides, mm."""
        return self._base() if self.shape == HEEL_UP else self.box()[1][2]

    def _least(self) -> float:
        """Least height, mm."""
        return _floor(self.pattern) + (self.height - self._base() if self.shape == HEEL_UP else 0.0)

    def _outline(self) -> list[tuple[float, float]]:
        """Profile in the XZ plane, from the lower left corner on."""
        m, half, h = self.middle, self._half(), self.height
        if self.shape == CHANNEL:
            left, right = m - self.size / 2.0, m + self.size / 2.0 + SPARE
            top = h + max(SLOT + 5.0, min(0.35 * self.size, 2.0 * self._lip()))
            ends = (m - half, m + half + SPARE)
            inner = [(right, top), (right, h), (left, h), (left, top)]
            return [(ends[0], 0.0), (ends[1], 0.0), (ends[1], top), *inner, (ends[0], top)]
        start, end = self._flat()
        low, far, v = start / ROOT2, end / ROOT2, self._vertex()
        if self.shape == HEEL_DOWN:
            top = v + far
            groove = [(m + far, top), (m + low, v + low), (m + low, v - low), (m - low, v - low), (m - low, v + low)]
            return [(m - half, 0.0), (m + half, 0.0), (m + half, top), *groove, (m - far, top), (m - half, top)]
        base = self._base()
        ridge = [(m + far, base), (m + far, v - far), (m + low, v - low), (m - low, v - low), (m - far, v - far)]
        return [(m - half, 0.0), (m + half, 0.0), (m + half, base), *ridge, (m - far, base), (m - half, base)]
