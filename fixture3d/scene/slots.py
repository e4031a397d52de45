"""Straight slots through the table's plate, with round ends, and what can be wrong with them. Lengths in mm."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import NamedTuple

from fixture3d.tolerance import NUMERIC

Spot = tuple[float, float]


@dataclass(frozen=True, kw_only=True)
class TableSlot:
    """One slot: all that is within half its width of the straight line between two points.

    Attributes:
        name: as the scene calls it.
        start: (x, y) from A1, the middle of its first round end.
        end: the middle of the other one.
        width: between its two sides.
    """

    name: str
    start: Spot
    end: Spot
    width: float

    @property
    def length(self) -> float:
        """Of the straight part."""
        return math.dist(self.start, self.end)

    @property
    def way(self) -> Spot:
        """Unit vector from the first end to the other."""
        return (self.end[0] - self.start[0]) / self.length, (self.end[1] - self.start[1]) / self.length

    @property
    def first(self) -> str:
        """Which end ``start`` is, as seen from the front of the table: left, right, front or back."""
        x, y = self.way
        if abs(x) >= abs(y):
            return "left" if x > 0.0 else "right"
        return "front" if y > 0.0 else "back"

    @property
    def box(self) -> tuple[float, float, float, float]:
        """Low x, low y, high x, high y of all of it."""
        (a, b), (c, d), r = self.start, self.end, self.width / 2.0
        return min(a, c) - r, min(b, d) - r, max(a, c) + r, max(b, d) + r

    def point(self, along: float) -> Spot:
        """The point of the centre line ``along`` from its first end."""
        return self.start[0] + along * self.way[0], self.start[1] + along * self.way[1]

    def along(self, xy: Spot) -> float:
        """How far along the centre line a point lies, from the first end; not limited to the slot."""
        return (xy[0] - self.start[0]) * self.way[0] + (xy[1] - self.start[1]) * self.way[1]

    def distance(self, xy: Spot) -> float:
        """From a point to the centre line between its two ends."""
        return math.dist(xy, self.point(min(max(self.along(xy), 0.0), self.length)))

    def cuts(self, xy: Spot, bore: float) -> bool:
        """Whether a hole of that diameter meets the slot."""
        return self.distance(xy) <= (self.width + bore) / 2.0 + NUMERIC.merge

    def meets(self, other: TableSlot) -> bool:
        """Whether the two slots have a point in common."""
        ends = [self.distance(p) for p in (other.start, other.end)] + [
            other.distance(p) for p in (self.start, self.end)
        ]
        return _cross(self, other) or min(ends) <= (self.width + other.width) / 2.0 + NUMERIC.merge

    def outline(self, sides: int = 48) -> list[Spot]:
        """Corners counter-clockwise; the chords of its round ends lie inside.

        Args:
            sides: chords of both ends together, even.
        """
        x, y = self.way
        turn, r, half = math.atan2(y, x), self.width / 2.0, sides // 2
        out = []
        for middle, first in ((self.end, turn - math.pi / 2.0), (self.start, turn + math.pi / 2.0)):
            angles = (first + math.pi * k / half for k in range(half + 1))
            out += [(middle[0] + r * math.cos(a), middle[1] + r * math.sin(a)) for a in angles]
        return out


class SlotFault(NamedTuple):
    """What is wrong with one of several slots.

    Attributes:
        number: of the slot, from 0.
        key: where in it: ``name``, ``from``, ``to`` or ``width``.
        what: in words.
        expected: likewise.
    """

    number: int
    key: str
    what: str
    expected: str


def slot_faults(
    slots: Sequence[TableSlot], plate: tuple[float, float, float, float], show: Callable[[float], str]
) -> Iterator[SlotFault]:
    """Names that are taken, slots that break through the plate's rim, and slots that run into each other.

    Args:
        slots: each with two different ends.
        plate: low x, low y, high x, high y of the plate.
        show: a length in words.
    """
    names: dict[str, int] = {}
    for k, slot in enumerate(slots):
        if names.setdefault(slot.name.casefold(), k) != k:
            what = f'the name "{slot.name}" is taken by entry {names[slot.name.casefold()] + 1}'
            yield SlotFault(k, "name", what, "a name that no other slot has")
        low, high = _room(slot.width, plate)
        if min(high[0] - low[0], high[1] - low[1]) <= 0.0:
            yield SlotFault(k, "width", f"width {show(slot.width)} leaves nothing of the plate", "a narrower slot")
            continue
        for key, end in (("from", slot.start), ("to", slot.end)):
            if not all(a < v < b for a, v, b in zip(low, end, high, strict=True)):
                span = f"x between {show(low[0])} and {show(high[0])}, y between {show(low[1])} and {show(high[1])}"
                what = f'the slot "{slot.name}", {show(slot.width)} wide, breaks through the rim of the plate'
                yield SlotFault(k, key, what, f"{span} for its ends")
                break
        for other in slots[:k]:
            if slot.meets(other):
                what = f'the slot "{slot.name}" runs into "{other.name}"'
                yield SlotFault(k, "from", what, "slots that keep apart")


def _room(width: float, plate: tuple[float, float, float, float]) -> tuple[Spot, Spot]:
    """Between which corners an end of a slot may lie so that it stays inside the plate."""
    r = width / 2.0
    return (plate[0] + r, plate[1] + r), (plate[2] - r, plate[3] - r)


def _cross(a: TableSlot, b: TableSlot) -> bool:
    """Whether two centre lines cross."""

    def side(slot: TableSlot, xy: Spot) -> float:
        (x, y), (u, v) = slot.start, slot.way
        return u * (xy[1] - y) - v * (xy[0] - x)

    return side(a, b.start) * side(a, b.end) < 0.0 and side(b, a.start) * side(b, a.end) < 0.0
