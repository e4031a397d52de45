"""How far a block on dowels can be off its place, and what other pins would gain. Lengths mm, angles degrees.

Small turns. With the pins' plays r1, r2 (half the clearance on diameter) in their holes and the spacing s, both pins
move alike along their row, and each by itself across it; so at a spot with lever L the block goes
``t n_e + a1 |n_f / 2 - L / s| + a2 |n_f / 2 + L / s|`` with ``t^2 + a1^2 <= r1^2`` and ``t^2 + a2^2 <= r2^2``. A
relieved (diamond) pin bears across the row only: a2 <= r2, whatever t. Exact; for two like pins it is
`job.seat.travel`, and its greatest turn is asin((c1 + c2) / 2s).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fixture3d.accuracy.shapes import Shape, crossing, shifted, turned
from fixture3d.accuracy.stack import Contributor
from fixture3d.locating.closure import around
from fixture3d.stock.fits import play_turn

__all__ = [
    "Pins",
    "diamond",
    "hole_contributors",
    "one_pin_contributors",
    "pin_travel",
    "reseated",
    "seat_contributors",
    "wider",
]

Array = NDArray[np.float64]

_PUSHED = 0.5  # cosine of 60 degrees: a clamp that pushes nearer to a way than that takes the play along it


@dataclass(frozen=True, eq=False)
class Pins:
    """The two dowels that hold a block, furthest apart, in their holes.

    Attributes:
        first: (3,) mm.
        second: (3,) mm.
        up: (3,) unit normal of the plane that it stands on.
        clearance: on diameter, of the first and the second, the most that their limits allow.
        relieved: the second bears across the row only.
    """

    first: Array
    second: Array
    up: Array
    clearance: tuple[float, float]
    relieved: bool = False

    @property
    def spacing(self) -> float:
        """Of the two pins, mm."""
        return float(np.linalg.norm(self.second - self.first))

    @property
    def turn(self) -> float:
        """The greatest turn either way, degrees."""
        return play_turn(*self.clearance, self.spacing)


def pin_travel(pins: Pins, spot: ArrayLike, normal: ArrayLike) -> float:
    """How far a spot of the block can go along a direction, mm each way.

    Args:
        pins: that hold the block.
        spot: (3,) mm.
        normal: (3,) unit.
    """
    n = np.asarray(normal, dtype=np.float64)
    row = (pins.second - pins.first) / pins.spacing
    along = abs(float(row @ n))
    across = float(np.cross(pins.up, row) @ n)
    middle = (pins.first + pins.second) / 2.0
    lever = float(np.cross(pins.up, np.asarray(spot, dtype=np.float64) - middle) @ n) / pins.spacing
    r1, r2 = (max(0.0, c) / 2.0 for c in pins.clearance)
    a1, a2 = abs(across / 2.0 - lever), abs(across / 2.0 + lever)
    if pins.relieved:
        return r1 * math.hypot(along, a1) + r2 * a2
    return _furthest(along, a1, a2, r1, r2)


def _furthest(along: float, a1: float, a2: float, r1: float, r2: float) -> float:
    """Greatest t along + a1 sqrt(r1^2 - t^2) + a2 sqrt(r2^2 - t^2): concave in t, so its slope is halved to zero."""

    def slope(t: float) -> float:
        lost = sum(a * t / math.sqrt(r * r - t * t) for a, r in ((a1, r1), (a2, r2)) if a > 0.0 and t < r)
        return along - lost

    top = min(r1, r2)
    if top == 0.0:
        return a1 * r1 + a2 * r2
    low, high = 0.0, top * (1.0 - 1e-15)
    for _ in range(200):
        middle = (low + high) / 2.0
        low, high = (middle, high) if slope(middle) > 0.0 else (low, middle)
    return low * along + sum(a * math.sqrt(max(0.0, r * r - low * low)) for a, r in ((a1, r1), (a2, r2)))


def seat_contributors(block: str, pins: Pins, bias: ArrayLike | None = None) -> list[Contributor]:
    """The looseness of a seat as three contributors: along the row, and across it at either pin.

    For faces that look along the row or across it their worst case is exact; for others it is more than the true one,
    by 41 % at most.

    Args:
        block: its name.
        pins: that hold it.
        bias: (3,) the way that clamps always push it, if they do: then nothing is left to chance along it.
    """
    r1, r2 = (max(0.0, c) / 2.0 for c in pins.clearance)
    way = np.zeros(3) if bias is None else np.asarray(bias, dtype=np.float64)
    row, across = _ways(pins)
    along, sideways = float(row @ way), float(across @ way)
    (word, shape), *others = _modes(pins)
    play = r1 if pins.relieved else min(r1, r2)
    out = [_loose(f"{block} in its holes, {word}", block, shape, play, along)]
    if abs(sideways) > _PUSHED:  # both pins go that way together: a shift, which turns of one pin at a time are not
        return [
            *out,
            _loose(f"{block} in its holes, across its pins", block, shifted(across), (r1 + r2) / 2.0, sideways),
        ]
    pairs = zip(others, (r1, r2), strict=True)
    return [*out, *(_loose(f"{block} in its holes, {words}", block, mode, r, 0.0) for (words, mode), r in pairs)]


def _loose(name: str, block: str, shape: Shape, play: float, push: float) -> Contributor:
    """The play of a block along one way; where it is always pushed along it, where it then lies."""
    if abs(push) > _PUSHED:
        return Contributor(name, block, "seat", shape, 0.0, math.copysign(play, push), even=True)
    return Contributor(name, block, "seat", shape, play, even=True)


def hole_contributors(block: str, pins: Pins, off: float) -> list[Contributor]:
    """What the table's holes are out of place, as the same three moves of a block: plus or minus ``off`` mm each."""
    return [
        Contributor(f"the holes of {block}, {words}", block, "table pitch", shape, off) for words, shape in _modes(pins)
    ]


def _ways(pins: Pins) -> tuple[Array, Array]:
    """Along the row of the pins and across it, unit."""
    row = (pins.second - pins.first) / pins.spacing
    return row, np.cross(pins.up, row)


def _modes(pins: Pins) -> list[tuple[str, Shape]]:
    """The moves of a block on two pins: along their row, and across it at either pin, 1 mm each."""
    row, across = _ways(pins)
    return [
        ("along its pins", shifted(row)),
        ("across at its first pin", _about(pins.second, pins.first, pins.up, across)),
        ("across at its second pin", _about(pins.first, pins.second, pins.up, across)),
    ]


def one_pin_contributors(block: str, at: ArrayLike, up: ArrayLike, clearance: float, turn: float) -> list[Contributor]:
    """The looseness of a block on one dowel and a bolt.

    Args:
        block: its name.
        at: (3,) mm, its pin.
        up: (3,) unit normal of the plane that it stands on.
        clearance: on diameter.
        turn: degrees either way within which it is set before the bolt is pulled: no pin says so.
    """
    pin, z = np.asarray(at, dtype=np.float64), np.asarray(up, dtype=np.float64)
    play = max(0.0, clearance) / 2.0
    x, y = around(z[None], 4)[0, :2]
    return [
        Contributor(f"{block} in its hole, one way", block, "seat", shifted(x), play, even=True),
        Contributor(f"{block} in its hole, across", block, "seat", shifted(y), play, even=True),
        Contributor(f"{block} turned about its one pin", block, "seat turn", turned(pin, z), turn, even=True),
    ]


def reseated(contributors: Sequence[Contributor], block: str, pins: Pins) -> list[Contributor]:
    """All contributors, with the seat of one block as other pins would have it: what they gain is a stack-up of these.

    A second pin for a block on one, a wider spacing (:func:`wider`), a relieved pin (:func:`diamond`).
    """
    kept = [c for c in contributors if c.body != block or c.cause not in ("seat", "seat turn")]
    return [*kept, *seat_contributors(block, pins)]


def wider(pins: Pins, step: float) -> Pins:
    """The same block with its second pin further out by ``step`` mm."""
    row = (pins.second - pins.first) / pins.spacing
    return replace(pins, second=pins.second + step * row)


def diamond(pins: Pins, closest: float) -> Pins:
    """The same seat with a relieved second pin, so that both may have the clearance of a close fit, ``closest`` mm.

    Two round pins must have (c1 + c2) / 2 for the error of pitch between block and table; a relieved one need not.
    """
    return replace(pins, clearance=(min(pins.clearance[0], closest), min(pins.clearance[1], closest)), relieved=True)


def _about(fixed: Array, at: Array, up: Array, across: Array) -> Shape:
    """A turn about an axis through one pin that moves the other by 1 mm across the row."""
    arm = at - fixed
    turn = crossing(up * float(across @ np.cross(up, arm)) / float(arm @ arm))

    def moves(points: Array) -> Array:
        result: Array = (points - fixed) @ turn
        return result

    return moves
