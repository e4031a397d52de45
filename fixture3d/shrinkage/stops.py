"""What the shrunk work does to the stops that it was welded between: loose, still free, or gripped.

Each contact is where a block touches the work, with the normal that points into the work. Shrinkage moves the touched
point; the work as a whole may then move as a rigid body. If there is such a move after which no contact is pressed,
the work is free; a linear programme finds the best one. If there is none, the work sits on its stops and will not
come off by hand. No force is given: it would be a guess on top of an estimate.

Assumed: rigid blocks, small movements, no spring-back when clamps are opened, no friction.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fixture3d import frame
from fixture3d.shrinkage.band import Band
from fixture3d.shrinkage.effect import Effect
from fixture3d.tolerance import NUMERIC, SHRINKING

__all__ = [
    "BackOff",
    "Grip",
    "Opposed",
    "Settled",
    "Stop",
    "back_off",
    "by_lot",
    "grips",
    "opposed",
    "settle",
    "shrunk_poses",
]

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
    """For every two blocks that face each other across the work or within it, what shrinkage does between them.

    Of several contacts of the same two blocks the pair that becomes tightest is taken. Pairs whose pieces no chain of
    welds joins are left out: nothing is known of them together.
    """
    best: dict[tuple[str, str, str], Opposed] = {}
    for i, j, change in _facing(effect, stops):
        one, other = stops[i], stops[j]
        between = float((other.point - one.point) @ one.normal)
        kind: Literal["inside", "outside"] = "outside" if between > 0.0 else "inside"
        length = abs(between)
        # What the work loses between stops that it lies within, it gains in gap; round stops within it, it closes.
        shorter = change if kind == "outside" else -change
        found = Opposed(i, j, one.normal, kind, length, change, Band(length + shorter.low, length + shorter.high))
        key = (one.block, other.block, kind)
        if key not in best or change.low < best[key].change.low:
            best[key] = found
    return list(best.values())


def _facing(effect: Effect, stops: Sequence[Stop]) -> Iterator[tuple[int, int, Band]]:
    """Pairs of contacts of different blocks with opposite normals, and by how much their gaps open together, mm."""
    normals = np.array([stop.normal for stop in stops], dtype=np.float64).reshape(-1, 3)
    limit = np.cos(np.deg2rad(SHRINKING.opposed))
    moves = _movements(effect, stops)
    low, high = effect.sizes
    for i, row in enumerate(np.triu(normals @ normals.T <= -limit)):
        others = [
            j
            for j in np.nonzero(row)[0].tolist()
            if stops[i].block != stops[j].block and effect.joined(stops[i].piece, stops[j].piece)
        ]
        # As `Effect.along`, for all the others at once.
        c = normals[i] @ (moves[i] - moves[others]) if others else np.zeros((0, len(low)))
        plus, minus = np.maximum(c, 0.0), np.minimum(c, 0.0)
        least, most = plus @ low + minus @ high, plus @ high + minus @ low
        for j, one, other in zip(others, least.tolist(), most.tolist(), strict=True):
            yield i, j, Band(round(one, 12) + 0.0, round(max(one, other), 12) + 0.0)


def _movements(effect: Effect, stops: Sequence[Stop]) -> Array:
    """How each touched point moves for each mm of each estimate, (n, 3, p)."""
    every = [effect.movement(stop.piece, stop.point) for stop in stops]
    return np.array(every).reshape(len(stops), 3, len(effect.sizes[0]))


def _opened(effect: Effect, stops: Sequence[Stop], greatest: bool) -> Array:
    """The gap of each contact after shrinking, the work not moved, (n,) mm."""
    normals = np.array([stop.normal for stop in stops], dtype=np.float64)
    by = np.einsum("ni,nip,p->n", normals, _movements(effect, stops), effect.sizes[1 if greatest else 0])
    out: Array = np.array([stop.gap for stop in stops]) + by
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

    Raises:
        ValueError: the contacts touch pieces that no chain of welds joins; see `by_lot`.
    """
    if not stops:
        return Settled(0.0, np.zeros(3), np.zeros(3), np.zeros(3), ())
    if len(by_lot(effect, stops)) > 1:
        raise ValueError("the contacts touch pieces that no weld joins; expected those of one weldment")
    opened = _opened(effect, stops, greatest)
    return _best_place(stops, opened if room is None else opened + np.asarray(room, dtype=np.float64))


def _best_place(stops: Sequence[Stop], opened: Array, nearest: bool = True) -> Settled:
    """As `settle`, from the gaps (n,) that are left; ``nearest`` False leaves it open which of the best places."""
    from scipy.optimize import linprog

    points = np.array([stop.point for stop in stops], dtype=np.float64)
    normals = np.array([stop.normal for stop in stops], dtype=np.float64)
    about = points.mean(axis=0)
    # Turns are counted in mm at the work's own size, so that the programme is well scaled.
    size = max(1.0, float(np.abs(points - about).max()))
    rows = np.hstack([normals, np.cross(points - about, normals) / size, -np.ones((len(stops), 1))])
    turn = np.deg2rad(SHRINKING.turn) * size
    most = [SHRINKING.shift] * 3 + [turn] * 3
    bounds = [(-m, m) for m in most] + [(None, 0.0)]
    found = linprog([0, 0, 0, 0, 0, 0, -1.0], A_ub=-rows, b_ub=opened, bounds=bounds, method="highs")
    if not found.success:
        raise RuntimeError(f"the programme for the shrunk work failed: {found.message}")
    pressed = max(0.0, -float(found.x[6]))
    holding: tuple[int, ...] = ()
    if pressed > SHRINKING.grip:
        holding = tuple(int(k) for k in np.nonzero(np.abs(found.ineqlin.marginals) > 1e-7)[0])
    move = found.x[:6]
    if nearest:
        # Of all such places the nearest: each movement is the difference of two that are 0 or more.
        both = np.hstack([rows[:, :6], -rows[:, :6]])
        limit = opened + pressed + NUMERIC.merge
        near = linprog(np.ones(12), A_ub=-both, b_ub=limit, bounds=[(0.0, m) for m in most * 2], method="highs")
        move = near.x[:6] - near.x[6:] if near.success else move
    return Settled(pressed, move[:3] + 0.0, move[3:] / size + 0.0, about, holding)


def by_lot(effect: Effect, stops: Sequence[Stop]) -> list[list[int]]:
    """Indices of the contacts of each lot of joined pieces, which shrink and move for themselves."""
    out: dict[int, list[int]] = {}
    for k, stop in enumerate(stops):
        if stop.piece not in effect.lots:
            raise ValueError(f'block "{stop.block}" touches "{stop.piece}"; expected one of the pieces')
        out.setdefault(effect.lots[stop.piece], []).append(k)
    return list(out.values())


def grips(effect: Effect, stops: Sequence[Stop], room: ArrayLike | None = None) -> Grip:
    """Whether the shrunk work sits fast: already by the least estimate, only by the greatest, or not at all.

    Args:
        effect: what the welds do.
        stops: every contact; of several weldments the worst answer counts.
        room: (n,) mm by which each contact has backed off.
    """
    free = np.zeros(len(stops)) if room is None else np.asarray(room, dtype=np.float64)
    lots = [([stops[k] for k in lot], free[lot]) for lot in by_lot(effect, stops)]
    for greatest, answer in ((False, "grips"), (True, "may grip")):
        places = (_best_place(some, _opened(effect, some, greatest) + backed, nearest=False) for some, backed in lots)
        if any(place.pressed > SHRINKING.grip for place in places):
            return answer  # type: ignore[return-value]
    return "free"


def shrunk_poses(effect: Effect, stops: Sequence[Stop], greatest: bool) -> dict[str, Array]:
    """Where each piece stands after shrinking, moved to where it presses least: before_to_after, (4, 4), world.

    Pieces stay rigid; the ways out are then asked of them again.
    """
    out = {}
    places = {effect.lots[stops[lot[0]].piece]: lot for lot in by_lot(effect, stops)}
    settled = {number: settle(effect, [stops[k] for k in lot], greatest) for number, lot in places.items()}
    for piece, shift in effect.shifts(greatest).items():
        pose = frame.translation(shift)
        found = settled.get(effect.lots[piece])
        if found is not None:
            angle = float(np.linalg.norm(found.turn))
            turn = frame.rotation(found.turn, float(np.rad2deg(angle))) if angle > 0.0 else frame.identity()
            about = frame.translation(found.about)
            pose = frame.translation(found.shift) @ about @ turn @ frame.translation(-found.about) @ pose
        out[piece] = pose
    return out


def back_off(effect: Effect, stops: Sequence[Stop]) -> list[BackOff]:
    """Which stops should give way, and by how much, so that the work is free by the greatest estimate.

    Of the blocks that are pressed, first one that can move; then the one with the fewest contacts, because the rest
    locate the work; then one on the side that gives way already; then the last. Each gets twice the greatest estimate
    of what lies between it and the others; found by trying, so that with all of them the work is free.

    Returns:
        Nothing when the work is free as it is.
    """
    out: list[BackOff] = []
    for lot in by_lot(effect, stops):
        out += _back_off(effect, [stops[k] for k in lot])
    return out


def _back_off(effect: Effect, stops: Sequence[Stop]) -> list[BackOff]:
    """As `back_off`, for the contacts of one weldment."""
    opened = _opened(effect, stops, greatest=True)
    closing = {(i, j): -change.low for i, j, change in _facing(effect, stops)}
    normals = np.array([stop.normal for stop in stops], dtype=np.float64)
    limit = np.cos(np.deg2rad(SHRINKING.opposed))
    out: list[BackOff] = []
    for _ in range(len({stop.block for stop in stops})):
        now = _best_place(stops, opened, nearest=False)
        done = {one.block for one in out}
        blocks = [name for name in dict.fromkeys(stops[k].block for k in now.holding) if name not in done]
        if not blocks:
            break
        ways = {}
        for name in blocks:
            normal = np.mean([normals[k] for k in now.holding if stops[k].block == name], axis=0)
            ways[name] = -normal / max(float(np.linalg.norm(normal)), NUMERIC.zero)
        # One side gives way and the other stays what the work is set to.
        same = {name: any(float(one.direction @ way) > limit for one in out) for name, way in ways.items()}
        block = min(reversed(blocks), key=lambda name: (*_rank(stops, name), not same[name]))
        mine = [k for k in now.holding if stops[k].block == block]
        others = [k for k in now.holding if stops[k].block != block]
        # Without a contact straight opposite (wedged on slopes) what is pressed counts at both ends.
        need = max([2.0 * now.pressed, *(closing.get((min(i, j), max(i, j)), 0.0) for i in mine for j in others)])
        by = SHRINKING.room * need
        backs = np.array([stop.block == block for stop in stops]) & (-normals @ ways[block] > limit)
        opened = opened + np.where(backs, by, 0.0)
        against = tuple(dict.fromkeys(stops[k].block for k in others))
        out.append(BackOff(block, ways[block] + 0.0, by, against))
    return out


def _rank(stops: Sequence[Stop], block: str) -> tuple[bool, int]:
    """Lower gives way first: blocks that can move, then those with the fewest contacts."""
    mine = [stop for stop in stops if stop.block == block]
    return not any(stop.moves for stop in mine), len(mine)
