"""Who goes where in the fewest moves, as bare numbers: spots, kinds of blocks, and what is in whose way.

A spot is one place of a block, in the setup that stands (old) or in the one that shall stand (new); numbers of new
spots follow those of the old ones. A move is one block lifted and put down, on the table or on the rack. A block is
either put from its old spot straight into a new one, or laid on the rack first, which is one move more, or it stays.
"""

from __future__ import annotations

from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

from fixture3d.swap.order import Clause, Op, Pair, find_order, opposed_pairs
from fixture3d.tolerance import SWAPPING

if TYPE_CHECKING:
    from fixture3d.frame import Array

__all__ = ["Answer", "Puzzle", "Step", "solve"]

Doing = Literal["off", "on", "move", "set"]


@dataclass(frozen=True, kw_only=True)
class Puzzle:
    """Two setups as numbers.

    Attributes:
        old: kind of the block at each old spot; blocks of one kind can stand in for each other.
        new: kind of the block that each new spot wants.
        pairs: (old spot, new spot) that one block may serve, and how far it is carried then, mm. Only of one kind.
        still: old spot to the new spot that is the same place: its block can stay.
        anew: old spots of ``still`` whose block is set otherwise in its place (notch, shims, dowels), not lifted.
        blocks: (a, b): what stands at spot b is in the way of a block that is lifted from spot a or put down there.
        hinders: old spot of ``anew`` to the spots that are in the way of setting it otherwise.
        follows: (old spot, new spot) that want the very same block, so that it must leave before it comes.
    """

    old: tuple[Hashable, ...]
    new: tuple[Hashable, ...]
    pairs: Mapping[tuple[int, int], float]
    still: Mapping[int, int] = field(default_factory=dict)
    anew: frozenset[int] = frozenset()
    blocks: frozenset[tuple[int, int]] = frozenset()
    hinders: Mapping[int, frozenset[int]] = field(default_factory=dict)
    follows: frozenset[tuple[int, int]] = frozenset()

    @cached_property
    def must_leave(self) -> Mapping[int, tuple[frozenset[int], frozenset[int]]]:
        """Of each new spot the old ones that must be empty before it is filled, and those of them with a third between.

        The third is a spot that is sure to be emptied or filled, not one whose block may stay.
        """
        first, count = len(self.old), len(self.old) + len(self.new)
        sure = set(range(count)) - self.still.keys() - set(self.still.values())
        before: dict[int, set[int]] = {k: set() for k in range(count)}
        for a, b in self.blocks:
            one, then = (b, a) if b < first else (a, b)
            before[then].add(one)
        out = {}
        for j in range(first, count):
            between: set[int] = set()
            todo = sorted(before[j] & sure)
            while todo:
                more = before[todo.pop()] - between
                between |= more
                todo += sorted(more & sure)
            out[j] = (
                frozenset(one for one in before[j] | between if one < first),
                frozenset(one for one in between if one < first),
            )
        return out

    def choices(self) -> list[Pair]:
        """Every way in which one block can serve two spots without going to the rack."""
        out = []
        for i, j in sorted(self.pairs):
            if self.still.get(i) == j:
                out.append(Pair(i, j, False))
            if self.still.get(i) != j or i in self.anew:
                out.append(Pair(i, j, True))
        return out


@dataclass(frozen=True, kw_only=True)
class Step:
    """One thing done.

    Attributes:
        do: "off" to the rack, "on" from the rack, "move" from spot to spot, "set" otherwise in its place.
        old: spot that the block leaves; None for "on".
        new: spot that it comes to; None for "off".
    """

    do: Doing
    old: int | None = None
    new: int | None = None


@dataclass(frozen=True, kw_only=True)
class Answer:
    """What to do, in order.

    Attributes:
        steps: in order; each can be done when those before it are.
        stays: (old spot, new spot) of blocks that nobody touches.
        moves: how many blocks are lifted.
        least: fewer than this cannot do; equal to ``moves`` unless the search was bounded.
        stuck: spots that stand in each other's way, whatever is done; then there are no steps.
        proven: whether the search came to its end.
        shortest: no other way with as few moves carries blocks less far; False where that was not looked at to the end.
    """

    steps: tuple[Step, ...] = ()
    stays: tuple[tuple[int, int], ...] = ()
    moves: int = 0
    least: int = 0
    stuck: tuple[int, ...] = ()
    proven: bool = True
    shortest: bool = True


def solve(puzzle: Puzzle, at: Sequence[tuple[float, float]] | None = None) -> Answer:
    """The fewest moves; of those that need as few the shortest way for what is carried from spot to spot.

    Exact: the best pairing of old and new spots is found as an integer programme, without regard to order. Where no
    order does it, each ring of things that wait for each other becomes a rule that the next pairing must keep. What is
    found first this way is best. `Swapping.rounds` and `effort` bound it; then links of such rings are given up until
    it goes. A block is either set otherwise in its place or lifted: none is set only so that it can be lifted.

    Args:
        puzzle: what is asked.
        at: where each spot is, mm, so that steps of one kind follow each other by the nearest; None keeps their order.
    """
    pairs = puzzle.choices()
    clauses = opposed_pairs(puzzle)
    known = set(clauses)
    least, sure, spent = 0, True, 0
    chosen: list[Pair] = []
    for _ in range(SWAPPING.rounds):
        found = _best_pairs(puzzle, pairs, clauses)
        if found is None:
            break
        chosen = found
        least = _moves(puzzle, chosen) if sure else least
        order, more = find_order(puzzle, chosen, at)
        if order is not None:
            better = _shorter(puzzle, pairs, clauses, chosen, at)
            return _answer(puzzle, better or order, least, better is not None)
        fresh = [clause for clause in more if clause not in known]
        for clause in fresh:
            if not clause.without and not clause.with_:
                return Answer(stuck=clause.spots)
        clauses += fresh
        known |= set(fresh)
        sure = sure and all(clause.sure for clause in fresh)
        spent += len(pairs) + len(clauses)
        if spent > SWAPPING.effort:
            sure = False
            break
    else:
        sure = False
    return _given_up(puzzle, chosen, least, at, sure)


def _shorter(
    puzzle: Puzzle,
    pairs: Sequence[Pair],
    clauses: Sequence[Clause],
    chosen: Sequence[Pair],
    at: Sequence[tuple[float, float]] | None,
) -> list[Op] | None:
    """An order of as few moves in which least is carried; None where `Swapping.shorter` rounds did not find it."""
    rules = list(clauses)
    for _ in range(SWAPPING.shorter):
        found = _best_pairs(puzzle, pairs, rules, _saved(chosen))
        if found is None:
            return None
        order, more = find_order(puzzle, found, at)
        if order is not None:
            return order
        rules += more
    return None


def _saved(chosen: Sequence[Pair]) -> int:
    """Moves that pairs save against the rack."""
    return sum(1 if pair.lifted else 2 for pair in chosen)


def _moves(puzzle: Puzzle, chosen: Sequence[Pair]) -> int:
    return len(puzzle.old) + len(puzzle.new) - _saved(chosen)


def _best_pairs(
    puzzle: Puzzle, pairs: Sequence[Pair], clauses: Sequence[Clause], saved: int | None = None
) -> list[Pair] | None:
    """The pairs that save most under the rules found so far; None when the rules leave none.

    Args:
        puzzle: what is asked.
        pairs: all that can be chosen.
        clauses: the rules.
        saved: moves that must be saved; then it is the pairs for which least is carried, within `Swapping.nodes`.
    """
    if not pairs:
        return [] if not clauses else None
    from scipy.optimize import Bounds, LinearConstraint, milp
    from scipy.sparse import csr_array

    number = {pair: k for k, pair in enumerate(pairs)}
    rows: list[dict[int, float]] = []
    low: list[float] = []
    high: list[float] = []

    def rule(row: dict[int, float], least: float, most: float) -> None:
        rows.append(row)
        low.append(least)
        high.append(most)

    for side in (0, 1):
        for spot in sorted({pair[side] for pair in pairs}):
            rule({number[pair]: 1.0 for pair in pairs if pair[side] == spot}, 0.0, 1.0)
    for clause in clauses:
        row = {number[pair]: -1.0 for pair in clause.without} | {number[pair]: 1.0 for pair in clause.with_}
        rule(row, -float(clause.most), np.inf)
    worth = np.array([1.0 if pair.lifted else 2.0 for pair in pairs])
    if saved is not None:
        rule(dict(enumerate(worth)), saved, np.inf)
    data = [(k, column, value) for k, row in enumerate(rows) for column, value in row.items()]
    r, c, v = (np.array(part) for part in zip(*data, strict=True))
    matrix = csr_array((v, (r, c)), shape=(len(rows), len(pairs)))
    made: Any = milp(
        -worth if saved is None else _carried(puzzle, pairs),
        integrality=np.ones(len(pairs)),
        bounds=Bounds(0.0, 1.0),
        constraints=LinearConstraint(matrix, np.array(low), np.array(high)),
        options={"mip_rel_gap": 0.0} | ({} if saved is None else {"node_limit": SWAPPING.nodes}),
    )
    if made.x is None or (saved is not None and made.status != 0):
        return None
    return [pair for pair, x in zip(pairs, made.x, strict=True) if x > 0.5]


def _carried(puzzle: Puzzle, pairs: Sequence[Pair]) -> Array:
    """How far each pair makes a block go, in shares of the farthest."""
    far = np.array([puzzle.pairs[pair.old, pair.new] for pair in pairs], dtype=np.float64)
    out: Array = far / max(1.0, float(far.max(initial=0.0)))
    return out


def _answer(puzzle: Puzzle, order: Sequence[Op], least: int, shortest: bool) -> Answer:
    steps = []
    stays = []
    for op in order:
        if op.still and op.old not in puzzle.anew:
            assert op.old is not None
            assert op.new is not None
            stays.append((op.old, op.new))
            continue
        do: Doing = "set" if op.still else "on" if op.old is None else "off" if op.new is None else "move"
        steps.append(Step(do=do, old=op.old, new=op.new))
    moves = sum(step.do != "set" for step in steps)
    return Answer(
        steps=tuple(steps),
        stays=tuple(sorted(stays)),
        moves=moves,
        least=least,
        proven=moves == least,
        shortest=shortest,
    )


def _given_up(
    puzzle: Puzzle, chosen: Sequence[Pair], least: int, at: Sequence[tuple[float, float]] | None, sure: bool
) -> Answer:
    """An order with more moves than may be needed: pairs that wait for each other go by the rack."""
    left = list(chosen)
    while True:
        order, clauses = find_order(puzzle, left, at)
        if order is not None:
            return _answer(puzzle, order, least, False)
        drop = next((pair for clause in clauses for pair in clause.without if pair in left), None)
        if drop is None:
            spots = clauses[0].spots if clauses else ()
            return Answer(stuck=spots, least=least, proven=sure)
        left.remove(drop)
