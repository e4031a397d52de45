"""Whose turn it is: one of each joint round after round, the farthest joint next, then its other sides and ends.

The same for tacks and for welds. Distances that differ by less than ``TACKING.alike`` are alike; then names decide.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, TypeVar

import numpy as np

from fixture3d.access.torch import Direction
from fixture3d.frame import Array
from fixture3d.job.tack_places import Line, Room, Span
from fixture3d.tolerance import TACKING

Joint = tuple[str, ...]
"""The pieces that are joined, by name; with the weld's own name where it lies on fewer than two."""
_T = TypeVar("_T", "Tack", "Bead")
_O = TypeVar("_O")


@dataclass(frozen=True, eq=False)
class Bead:
    """One weld with what its turn depends on.

    Attributes:
        name: of the weld.
        joint: that it belongs to.
        line: its path.
        spans: stretches that the torch reaches, from and to along it, mm.
        way: in which direction it may be run.
        room: where it can be tacked.
        at: (3,) the middle of what is reached, world mm.
    """

    name: str
    joint: Joint
    line: Line
    spans: tuple[Span, ...]
    way: Direction
    room: Room
    at: Array

    @property
    def bead(self) -> Bead:
        """Itself: tacks and beads take turns in the same way."""
        return self

    @property
    def rank(self) -> tuple[str, float]:
        """What decides between two that are alike."""
        return self.name, 0.0


@dataclass(frozen=True, eq=False)
class Tack:
    """One tack.

    Attributes:
        bead: the weld that it will be part of.
        low: where it begins along the path, mm.
        high: where it ends.
        at: (3,) its middle, world mm.
    """

    bead: Bead
    low: float
    high: float
    at: Array

    @property
    def rank(self) -> tuple[str, float]:
        """What decides between two that are alike."""
        return self.bead.name, self.low


def label(joint: Joint) -> str:
    """A joint in words."""
    return " / ".join(joint)


def far(at: Array, places: Iterable[Array]) -> float:
    """Distance of a point (3,) from the nearest of some, mm."""
    return min(math.dist(at, place) for place in places)


def largest(options: Iterable[tuple[float, Any, _O]]) -> _O:
    """Of figure, rank and option that with the largest figure; of those whose figures are alike the first by rank."""
    known = list(options)
    most = max(figure for figure, _, _ in known)
    return min((row for row in known if row[0] > most - TACKING.alike), key=lambda row: row[1])[2]


def in_turn(joints: Mapping[Joint, Sequence[_T]]) -> Iterable[tuple[_T, str, str]]:
    """Round after round one of each joint, the farthest joint next; each with its number and reason in words.

    Of a joint the first is that on the longest weld; after it the one farthest from all that went before: the
    opposite side, the other end.
    """
    left = {joint: list(members) for joint, members in joints.items() if members}
    if not left:
        return
    middle = {joint: np.mean([one.at for one in members], axis=0) for joint, members in left.items()}
    gone: dict[Joint, list[_T]] = {joint: [] for joint in left}
    # The corner farthest out is the first.
    last, first = np.mean(list(middle.values()), axis=0), True
    number = 0
    while left:
        number += 1
        waiting = dict(left)
        while waiting:
            joint = largest((far(middle[one], [last]), one, one) for one in waiting)
            del waiting[joint]
            before = [one.at for one in gone[joint]]
            chosen = largest(
                (far(one.at, before) if before else one.bead.line.length, one.rank, one) for one in left[joint]
            )
            left[joint].remove(chosen)
            gone[joint].append(chosen)
            why = _why_now(number, len(gone) > 1, first)
            yield chosen, _nth(joint, chosen.bead.name, number), why
            last, first = middle[joint], False
        left = {joint: members for joint, members in left.items() if members}


def _nth(joint: Joint, weld: str, number: int) -> str:
    """Which one of its joint, which is named where the weld's own name does not tell it."""
    nth = {1: "first", 2: "second", 3: "third"}.get(number, f"number {number}")
    return f"{nth} of {'its joint' if all(piece in weld for piece in joint) else label(joint)}"


def _why_now(number: int, several: bool, first: bool) -> str:
    """Why one of a joint comes now."""
    if number > 1:
        return "farthest from those before it there"
    if several:
        return "the joint farthest out" if first else "the joint farthest from the last one"
    return ""
