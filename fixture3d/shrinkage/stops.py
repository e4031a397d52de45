"""What the shrunk work does to the stops that it was welded between: loose, still free, or gripped.

Each contact is where a block touches the work, with the normal that points into the work. Shrinkage moves the touched
point; the work as a whole may then move as a rigid body. If there is such a move after which no contact is pressed,
the work is free; a linear programme finds the best one. If there is none, the work sits on its stops and will not
come off by hand. No force is given: it would be a guess on top of an estimate.

Assumed: rigid blocks, small movements, no spring-back when clamps are opened, no friction.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fixture3d.shrinkage.band import Band
from fixture3d.shrinkage.effect import Effect
from fixture3d.tolerance import SHRINKING

__all__ = ["BackOff", "Grip", "Opposed", "Settled", "Stop", "back_off", "grips", "opposed", "settle"]

Array = NDArray[np.float64]
Grip = Literal["free", "may grip", "grips"]


@dataclass(frozen=True, kw_only=True, eq=False)
class Stop:
    """One point where a block touches the work.

    Attributes:
        block: name.
        piece: name of the piece that is touched.
        point: (3,) mm.
        normal: (3,) unit, from the block into the work.
        moves: whether the block can back off by itself: a clamp, a screw stop, a shim to pull.
        gap: mm between the two before welding.
    """

    block: str
    piece: str
    point: Array
    normal: Array
    moves: bool = False
    gap: float = 0.0


@dataclass(frozen=True, eq=False)
class Opposed:
    """Two contacts that face each other along one axis.

    Attributes:
        first: index of the contact whose normal is ``axis``.
        second: index of the other.
        axis: (3,) unit.
        kind: inside: the stops are within the work, which closes on them. outside: the work is within the stops
            and comes away from them.
        length: mm between the two along the axis before welding.
        change: mm by which the gap between work and stops changes, both ends together: positive is looser, negative
            is the amount by which the work closes on them.
        set_to: mm; distance between the two to set before welding so that the work measures ``length`` after it.
    """

    first: int
    second: int
    axis: Array
    kind: Literal["inside", "outside"]
    length: float
    change: Band
    set_to: Band


@dataclass(frozen=True, eq=False)
class Settled:
    """How the work lies best on its stops after shrinking by one amount.

    Attributes:
        pressed: mm by which it still reaches into the stops in its best place; 0 when it is free.
        shift: (3,) mm, the rigid move to that place.
        turn: (3,) rad, about ``about``.
        about: (3,) mm, mean of the contacts.
        holding: indices of the contacts that press against each other; empty when it is free.
    """

    pressed: float
    shift: Array
    turn: Array
    about: Array
    holding: tuple[int, ...]


@dataclass(frozen=True, eq=False)
class BackOff:
    """One stop that should give way.

    Attributes:
        block: which.
        direction: (3,) unit, the way in which it gives way: out of the work.
        by: mm, room to leave: twice the greatest estimate.
        against: the blocks that the work is pressed on at the other end.
    """

    block: str
    direction: Array
    by: float
    against: tuple[str, ...]


def opposed(effect: Effect, stops: Sequence[Stop]) -> list[Opposed]:
    """Every pair of contacts of different blocks that face each other, and what shrinkage does between them.

    Pairs whose pieces no chain of welds joins are left out: nothing is known of them together.
    """
    out = []
    limit = np.cos(np.deg2rad(SHRINKING.opposed))
    for i, one in enumerate(stops):
        for j in range(i + 1, len(stops)):
            other = stops[j]
            if one.block == other.block or float(one.normal @ other.normal) > -limit:
                continue
            if not effect.joined(one.piece, other.piece):
                continue
            axis = one.normal / np.linalg.norm(one.normal)
            between = float((other.point - one.point) @ axis)
            apart = effect.apart((one.piece, one.point), (other.piece, other.point), axis)
            kind: Literal["inside", "outside"] = "outside" if between > 0.0 else "inside"
            # Along the axis the second contact lies further on when the work is between them; it then comes back by
            # the shrinkage (apart is negative) and the gap opens by as much. Within the work it is the other way.
            longer = apart if between > 0.0 else -apart
            length = abs(between)
            out.append(Opposed(i, j, axis, kind, length, -apart, Band(length - longer.high, length - longer.low)))
    return out


def settle(effect: Effect, stops: Sequence[Stop], greatest: bool, room: ArrayLike | None = None) -> Settled:
    """The rigid move of the shrunk work that presses least on its stops.

    Args:
        effect: what the welds do.
        stops: every contact.
        greatest: every estimate at its greatest, or at its least.
        room: (n,) mm by which each contact has backed off.

    Returns:
        The best place; the move is kept within `Shrinking.shift` mm and `Shrinking.turn` degrees.
    """
    from scipy.optimize import linprog

    if not stops:
        return Settled(0.0, np.zeros(3), np.zeros(3), np.zeros(3), ())
    points = np.array([stop.point for stop in stops], dtype=np.float64)
    normals = np.array([stop.normal for stop in stops], dtype=np.float64)
    about = points.mean(axis=0)
    sizes = effect.sizes[1 if greatest else 0]
    opened = np.array([stop.gap + stop.normal @ (effect.movement(stop.piece, stop.point) @ sizes) for stop in stops])
    if room is not None:
        opened = opened + np.asarray(room, dtype=np.float64)
    # Turns are counted in mm at the work's own size, so that the programme is well scaled.
    size = max(1.0, float(np.abs(points - about).max()))
    rows = np.hstack([normals, np.cross(points - about, normals) / size, -np.ones((len(stops), 1))])
    turn = np.deg2rad(SHRINKING.turn) * size
    bounds = [(-SHRINKING.shift, SHRINKING.shift)] * 3 + [(-turn, turn)] * 3 + [(None, 0.0)]
    found = linprog([0, 0, 0, 0, 0, 0, -1.0], A_ub=-rows, b_ub=opened, bounds=bounds, method="highs")
    if not found.success:
        raise RuntimeError(f"the programme for the shrunk work failed: {found.message}")
    pressed = max(0.0, -float(found.x[6]))
    holding: tuple[int, ...] = ()
    if pressed > SHRINKING.grip:
        holding = tuple(int(k) for k in np.nonzero(np.abs(found.ineqlin.marginals) > 1e-7)[0])
    return Settled(pressed, found.x[:3] + 0.0, found.x[3:6] / size + 0.0, about, holding)


def grips(effect: Effect, stops: Sequence[Stop], room: ArrayLike | None = None) -> Grip:
    """Whether the shrunk work sits fast: already by the least estimate, only by the greatest, or not at all."""
    if settle(effect, stops, greatest=False, room=room).pressed > SHRINKING.grip:
        return "grips"
    return "may grip" if settle(effect, stops, greatest=True, room=room).pressed > SHRINKING.grip else "free"


def back_off(effect: Effect, stops: Sequence[Stop]) -> list[BackOff]:
    """Which stops should give way, and by how much, so that the work is free by the greatest estimate.

    Of the blocks that are pressed, first one that can move; then the one with the fewest contacts, because the rest
    locate the work; then the last. Each gets twice the greatest estimate of what lies between it and the others;
    found by trying, so that with all of them the work is free.

    Returns:
        Nothing when the work is free as it is.
    """
    room = np.zeros(len(stops))
    out: list[BackOff] = []
    for _ in range(len({stop.block for stop in stops})):
        now = settle(effect, stops, greatest=True, room=room)
        if not now.holding:
            break
        done = {one.block for one in out}
        blocks = [name for name in dict.fromkeys(stops[k].block for k in now.holding) if name not in done]
        if not blocks:
            break
        block = min(reversed(blocks), key=lambda name: _rank(stops, name))
        mine = [k for k in now.holding if stops[k].block == block]
        against = tuple(dict.fromkeys(stops[k].block for k in now.holding if stops[k].block != block))
        normal = np.mean([stops[k].normal for k in mine], axis=0)
        direction = -normal / np.linalg.norm(normal)
        by = SHRINKING.room * _need(effect, stops, mine, now)
        for k, stop in enumerate(stops):
            if stop.block == block and float(-stop.normal @ direction) > np.cos(np.deg2rad(SHRINKING.opposed)):
                room[k] += by
        out.append(BackOff(block, direction + 0.0, by, against))
    return out


def _rank(stops: Sequence[Stop], block: str) -> tuple[bool, int]:
    mine = [stop for stop in stops if stop.block == block]
    return not any(stop.moves for stop in mine), len(mine)


def _need(effect: Effect, stops: Sequence[Stop], mine: Sequence[int], now: Settled) -> float:
    """The greatest closing between a block's pressed contacts and the others', mm."""
    closing = [
        -pair.change.low
        for pair in opposed(effect, stops)
        if (pair.first in mine and pair.second in now.holding) or (pair.second in mine and pair.first in now.holding)
    ]
    # Without a contact straight opposite (wedged on slopes) what is pressed counts at both ends.
    return max([2.0 * now.pressed, *closing])
