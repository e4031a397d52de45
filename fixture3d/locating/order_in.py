"""An order in which the pieces can go in and the clamps shut, found by taking the finished setup apart.

What can be taken out of the finished setup last went in first. A piece that is free stays free when more is taken
away, so that taking out whatever is free never spoils the rest; only an open clamp can stand in a way that a shut
one leaves free, and for that the orders of opening clamps are tried in turn.

Assumed: rigid bodies, one straight way a piece, one piece at a time, both hands free; a piece is not moved while a
shut clamp presses it. Pieces are loose: what has been tacked together moves as one piece of its own.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fixture3d.locating.leaving import Bodies, Fixed, Moving, placed_bodies, unit
from fixture3d.locating.leaving_directions import candidates
from fixture3d.solid.relate import Placed, near_pairs, relate_placed
from fixture3d.tolerance import LEAVING

__all__ = ["ClampBodies", "Held", "Order", "Step", "order_in"]

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class ClampBodies:
    """A clamp as bare solids, world.

    Attributes:
        name: unique among blocks, pieces and clamps.
        shut: one solid, or several, as it stands when it is shut.
        open: as it stands when it is open.
        sweep: what it sweeps between the two; empty when it is not known, and then it always opens.
        presses: names of the pieces that it presses.
    """

    name: str
    shut: Moving
    open: Moving
    sweep: Moving = ()
    presses: tuple[str, ...] = ()


@dataclass(frozen=True, eq=False)
class Step:
    """One thing done at the table.

    Attributes:
        what: a piece goes in, or a clamp is shut.
        name: which.
        direction: (3,) unit, the way the piece moves as it goes in; None for a clamp.
        after: names of pieces that must be in before: it would stand in their way, or lies on them, or the clamp
            presses them.
        while_open: names of clamps that must still be open.
    """

    what: Literal["put in", "shut"]
    name: str
    direction: Array | None
    after: tuple[str, ...] = ()
    while_open: tuple[str, ...] = ()


@dataclass(frozen=True, eq=False)
class Held:
    """A piece or clamp for which no order was found.

    Attributes:
        name: which.
        direction: (3,) the way out in which the fewest bodies are; None for a clamp that cannot swing open, and for
            a piece that is only held by being pressed or lain on.
        by: names of what is in that way; of clamps that press it; of pieces that lie on it.
    """

    name: str
    direction: Array | None
    by: tuple[str, ...]


@dataclass(frozen=True)
class Order:
    """How the setup is loaded.

    Attributes:
        steps: from the empty setup on, clamps open; when pieces are held, only what can be done after they are in.
        held: pieces and clamps that no order was found for, each with what holds it; empty when all go in.
        tried_all: False when orders of opening clamps were left untried (`Leaving.clamp_orders`).
    """

    steps: tuple[Step, ...]
    held: tuple[Held, ...]
    tried_all: bool = True

    @property
    def found(self) -> bool:
        """Whether everything goes in."""
        return not self.held


def order_in(
    pieces: Fixed,
    fixed: Fixed,
    clamps: Sequence[ClampBodies] = (),
    rests: Mapping[str, Collection[str]] | None = None,
    lift: ArrayLike = (0.0, 0.0, 1.0),
    sunk: Collection[frozenset[str]] = (),
) -> Order:
    """An order of loading by straight moves, or what holds what where there is none.

    Args:
        pieces: name to solid (as for ``leaving.way_out``), or placed bodies, of which those of one name move as one;
            an order is kept as near to theirs as can be.
        fixed: blocks and table, likewise.
        clamps: open before the first piece, shut after the last.
        rests: for a piece, the pieces that carry it and so must be in before.
        lift: (3,) the way out that is tried first.
        sunk: pairs of names that reach into each other, so that one cannot tell whether they stop each other: they
            do not.

    Raises:
        BadSolid: a solid is open, empty or broken.
        ValueError: one name for a piece and for what is fixed, or for two clamps; a clamp presses, or ``rests`` names,
            a piece that is not there; ``lift`` has no length.
    """
    bodies = placed_bodies(pieces, "piece"), placed_bodies(fixed, "block")
    setup = _Setup(*bodies, clamps, rests or {}, unit(lift), frozenset(sunk))
    end, tried_all = _taken_apart(setup)
    done = [_step(setup, end, at) for at in range(len(end.moves))]
    return Order(tuple(reversed(done)), tuple(_held(setup, end)), tried_all)


@dataclass(frozen=True)
class _Move:
    """One move of taking apart: a piece along a direction, or a clamp opened (no direction)."""

    name: str
    way: int | None


@dataclass(frozen=True)
class _State:
    """What is still in and still shut, and the moves that led there."""

    pieces: frozenset[str]
    shut: frozenset[str]
    moves: tuple[_Move, ...] = field(default=(), compare=False)


class _Setup:
    """Every body once, and questions with their answers kept."""

    def __init__(
        self,
        pieces: list[Placed],
        fixed: list[Placed],
        clamps: Sequence[ClampBodies],
        rests: Mapping[str, Collection[str]],
        lift: Array,
        sunk: frozenset[frozenset[str]],
    ) -> None:
        self.pieces = list(dict.fromkeys(piece.name for piece in pieces))
        self.clamps = {clamp.name: clamp for clamp in clamps}
        _check_names(self.pieces, list(dict.fromkeys(block.name for block in fixed)), clamps, rests)
        self.rests = {name: frozenset(on) for name, on in rests.items()}
        self.placed = [*pieces, *fixed]
        self._of: dict[str, list[int]] = {}
        for k, piece in enumerate(pieces):
            self._of.setdefault(piece.name, []).append(k)
        self._fixed = list(range(len(pieces), len(self.placed)))
        self._parts: dict[tuple[str, str], list[int]] = {}
        self._sweeps: dict[str, list[Placed]] = {}
        for clamp in clamps:
            for state, solids in (("shut", clamp.shut), ("open", clamp.open)):
                parts = placed_bodies(solids, clamp.name)
                self._parts[clamp.name, state] = list(range(len(self.placed), len(self.placed) + len(parts)))
                self.placed += parts
            self._sweeps[clamp.name] = placed_bodies(clamp.sweep, clamp.name)
        self.bodies = Bodies(self.placed)
        self.owner = [body.name for body in self.placed]
        for (name, _), indices in self._parts.items():
            for k in indices:
                self.owner[k] = name
        self._lift = lift
        self._sunk = sunk
        self._ways: dict[str, Array] = {}
        self._stopper: dict[tuple[str, int], int] = {}
        self._crossing: dict[tuple[str, int], bool] = {}

    def present(self, state: _State, but: str) -> list[int]:
        """Indices of every body that is there, less those of ``but``."""
        out = list(self._fixed)
        for name in self.pieces:
            if name in state.pieces and name != but:
                out += self._of[name]
        for name in self.clamps:
            if name != but:
                out += self._parts[name, "shut" if name in state.shut else "open"]
        if not self._sunk:
            return out
        return [k for k in out if frozenset((but, self.owner[k])) not in self._sunk]

    def ways(self, piece: str) -> Array:
        """Directions out that are tried for a piece, (k, 3)."""
        if piece not in self._ways:
            mine = self._of[piece]
            others = [self.bodies.triangles[k] for k in self.bodies.near(mine, LEAVING.near) if k not in mine]
            found = candidates([self.bodies.triangles[k] for k in mine], others, self._lift[None])
            first = np.argmin(np.linalg.norm(found - self._lift, axis=1))
            self._ways[piece] = np.concatenate([found[first][None], np.delete(found, first, axis=0)])
        return self._ways[piece]

    def pinned(self, piece: str, state: _State) -> tuple[str, ...]:
        """Shut clamps that press a piece, and pieces still in that lie on it."""
        pressing = [name for name, clamp in self.clamps.items() if name in state.shut and piece in clamp.presses]
        lying = [name for name in self.pieces if name in state.pieces and piece in self.rests.get(name, ())]
        return (*pressing, *lying)

    def free_way(self, piece: str, state: _State) -> int | None:
        """The first direction in which nothing is in the way."""
        here = self.present(state, piece)
        there = set(here)
        for way, direction in enumerate(self.ways(piece)):
            if self._stopper.get((piece, way)) in there:
                continue
            stops = self.bodies.stops(self._of[piece], here, direction, first=True)
            if not stops:
                return way
            self._stopper[piece, way] = stops[0]
        return None

    def stops(self, piece: str, state: _State, way: int) -> tuple[str, ...]:
        """Names of all that is in one way out of a piece, each once."""
        found = self.bodies.stops(self._of[piece], self.present(state, piece), self.ways(piece)[way])
        return tuple(dict.fromkeys(self.owner[k] for k in found))

    def in_the_sweep(self, clamp: str, state: _State) -> tuple[str, ...]:
        """Names of what a clamp would hit as it opens."""
        return tuple(dict.fromkeys(self.owner[k] for k in self.present(state, clamp) if self._hits(clamp, k)))

    def _hits(self, clamp: str, body: int) -> bool:
        if (clamp, body) not in self._crossing:
            other = self.placed[body]
            self._crossing[clamp, body] = any(
                near_pairs([sweep, other], 0.0) and _cross(sweep, other) for sweep in self._sweeps[clamp]
            )
        return self._crossing[clamp, body]


def _cross(a: Placed, b: Placed) -> bool:
    return relate_placed(a, b, reach=0.0, want_way_out=False).kind == "overlapping"


def _check_names(
    pieces: list[str], fixed: list[str], clamps: Sequence[ClampBodies], rests: Mapping[str, Collection[str]]
) -> None:
    names = [*pieces, *fixed, *(clamp.name for clamp in clamps)]
    if len(set(names)) != len(names):
        twice = sorted({name for name in names if names.count(name) > 1})
        raise ValueError(f'two bodies are called "{twice[0]}"; expected different names')
    for clamp in clamps:
        for name in clamp.presses:
            if name not in pieces:
                raise ValueError(f'clamp "{clamp.name}" presses "{name}"; expected the name of a piece')
    for name in [*rests, *(on for every in rests.values() for on in every)]:
        if name not in pieces:
            raise ValueError(f'"{name}" carries or lies on a piece; expected the name of a piece')


def _taken_apart(setup: _Setup) -> tuple[_State, bool]:
    """The state in which least is left, and whether every order of opening clamps was tried."""
    start = _emptied(setup, _State(frozenset(setup.pieces), frozenset(setup.clamps)))
    best, seen, stack = start, {start}, [start]
    while stack:
        state = stack.pop()
        if _left(state) < _left(best):
            best = state
        if not _left(best) or len(seen) > LEAVING.clamp_orders:
            break
        nexts = []
        for clamp in setup.clamps:
            if clamp in state.shut and not setup.in_the_sweep(clamp, state):
                moves = (*state.moves, _Move(clamp, None))
                after = _emptied(setup, _State(state.pieces, state.shut - {clamp}, moves))
                if after not in seen:
                    seen.add(after)
                    nexts.append(after)
        # The one that goes furthest is tried first; among equals the last clamp, which was shut last.
        stack += sorted(nexts, key=_left, reverse=True)
    return best, not stack or not _left(best)


def _left(state: _State) -> int:
    return len(state.pieces) + len(state.shut)


def _emptied(setup: _Setup, state: _State) -> _State:
    """``state`` once every piece that can be taken out with the clamps as they are is out, the last one first."""
    again = True
    while again:
        again = False
        for piece in reversed(setup.pieces):
            if piece not in state.pieces or setup.pinned(piece, state):
                continue
            way = setup.free_way(piece, state)
            if way is not None:
                state = _State(state.pieces - {piece}, state.shut, (*state.moves, _Move(piece, way)))
                again = True
                break
    return state


def _step(setup: _Setup, end: _State, at: int) -> Step:
    """Move ``at`` of taking apart, as it is done when the setup is loaded."""
    move = end.moves[at]
    if move.way is None:
        return Step("shut", move.name, None, after=setup.clamps[move.name].presses)
    # Those taken out after it went in before it.
    before = [m for m in end.moves[at + 1 :] if m.way is not None]
    mine = setup._of[move.name]
    after = [name for name in setup.pieces if name in setup.rests.get(move.name, ()) or name in end.pieces]
    after += [
        m.name
        for m in before
        if m.way is not None and setup.bodies.stops(setup._of[m.name], mine, setup.ways(m.name)[m.way])
    ]
    direction = setup.ways(move.name)[move.way]
    shut = [
        name
        for name, clamp in setup.clamps.items()
        if move.name in clamp.presses or setup.bodies.stops(mine, setup._parts[name, "shut"], direction, first=True)
    ]
    return Step("put in", move.name, -direction + 0.0, tuple(dict.fromkeys(after)), tuple(shut))


def _fewest_stops(setup: _Setup, end: _State, piece: str) -> tuple[int, tuple[str, ...]]:
    """The first of the ways out of a piece in which the fewest are, and their names."""
    best: tuple[int, tuple[str, ...]] | None = None
    pinned = bool(setup.pinned(piece, end))
    for way in range(len(setup.ways(piece))):
        by = setup.stops(piece, end, way)
        if best is None or len(by) < len(best[1]):
            best = way, by
        if len(best[1]) <= (0 if pinned else 1):
            break  # a piece that is not pinned has something in each of its ways
    assert best is not None
    return best


def _held(setup: _Setup, end: _State) -> list[Held]:
    out = []
    for piece in setup.pieces:
        if piece in end.pieces:
            pinned = setup.pinned(piece, end)
            least, by = _fewest_stops(setup, end, piece)
            direction = setup.ways(piece)[least] if by else None
            out.append(Held(piece, direction, tuple(dict.fromkeys((*pinned, *by)))))
    for clamp in setup.clamps:
        if clamp in end.shut:
            out.append(Held(clamp, None, setup.in_the_sweep(clamp, end)))
    return out
