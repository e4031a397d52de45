"""In which order lifted blocks can go and come when it is settled who goes where, and why there is none."""

from __future__ import annotations

import math
from collections import Counter, deque
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Literal, NamedTuple

from fixture3d.tolerance import SWAPPING

if TYPE_CHECKING:
    from fixture3d.swap.puzzle import Puzzle


class Pair(NamedTuple):
    """One block that serves an old and a new spot without going to the rack; in its place it may stay or be lifted."""

    old: int
    new: int
    lifted: bool


_End = Literal["leaves", "comes", "set"]


@dataclass(frozen=True)
class Op:
    """Something done to one block.

    Attributes:
        old: spot that it leaves; None when it comes from the rack.
        new: spot that it comes to; None when it goes to the rack.
        still: it stays in its place, and is at most set otherwise.
    """

    old: int | None = None
    new: int | None = None
    still: bool = False


@dataclass(frozen=True)
class Clause:
    """A rule for pairings: of ``without`` no more than ``most`` are chosen, and one more for each of ``with_``.

    Attributes:
        without: pairs that cannot all be chosen.
        most: how many of them can.
        with_: pairs of which one would do away with the trouble: a block that stays need not be lifted.
        spots: that wait for each other.
        sure: False where orders were left untried (`Swapping.orders`).
    """

    without: frozenset[Pair]
    most: int
    with_: frozenset[Pair] = frozenset()
    spots: tuple[int, ...] = field(compare=False, default=())
    sure: bool = field(compare=False, default=True)


@dataclass(frozen=True)
class _Edge:
    """``first`` must be done before ``then``, because of these ends of theirs."""

    first: int
    leaving_by: _End
    then: int
    entering_by: _End


def find_order(
    puzzle: Puzzle, chosen: Sequence[Pair], at: Sequence[tuple[float, float]] | None = None
) -> tuple[list[Op] | None, list[Clause]]:
    """An order for a pairing, or the rules that show why there is none.

    Args:
        puzzle: two setups as numbers.
        chosen: pairs of old and new spots that one block serves without going to the rack.
        at: where each spot is, mm.
    """
    ops = _ops(puzzle, chosen)
    edges = list(_edges(puzzle, ops))
    left = _Left(puzzle, ops, edges, at)
    left.go_on()
    if left.done():
        return left.order, []
    stuck = set(range(len(ops))) - left.gone
    rings = _rings(stuck, edges)
    if rings:
        clauses = dict.fromkeys(_clause(puzzle, ops, ring) for ring in rings)
        return None, list(clauses)
    # Nothing waits in a ring: the rack ran out of a kind, and another one should have been put down first.
    found, all_tried = _try_all(puzzle, ops, edges, at)
    if found is not None:
        return found, []
    others = frozenset(puzzle.choices()) - frozenset(chosen)
    rule = Clause(frozenset(chosen), len(chosen) - 1, others, _spots(ops, stuck), sure=all_tried)
    return None, [rule]


def opposed_pairs(puzzle: Puzzle) -> list[Clause]:
    """Rules known beforehand: two blocks of which each must go before the other do not both go straight."""
    first_new = len(puzzle.old)
    before = {(b, a) if b < first_new else (a, b) for a, b in puzzle.blocks}
    pairs = [pair for pair in puzzle.choices() if pair.lifted]
    waits = [
        {k for k, two in enumerate(pairs) if any((a, b) in before for a in one[:2] for b in two[:2])} for one in pairs
    ]
    return [
        Clause(frozenset((one, pairs[m])), 1)
        for k, one in enumerate(pairs)
        for m in sorted(waits[k])
        if m > k and k in waits[m] and not {one.old} & {pairs[m].old} and not {one.new} & {pairs[m].new}
    ]


def _ops(puzzle: Puzzle, chosen: Sequence[Pair]) -> list[Op]:
    to = {pair.old: Op(pair.old, pair.new, not pair.lifted) for pair in chosen}
    first_new = len(puzzle.old)
    ops = [to.get(i, Op(i)) for i in range(first_new)]
    come = {pair.new for pair in chosen}
    return ops + [Op(None, j) for j in range(first_new, first_new + len(puzzle.new)) if j not in come]


def _edges(puzzle: Puzzle, ops: Sequence[Op]) -> Iterator[_Edge]:
    """What must be done before what."""
    leaves = {op.old: k for k, op in enumerate(ops) if op.old is not None}
    comes = {op.new: k for k, op in enumerate(ops) if op.new is not None}
    first_new = len(puzzle.old)

    def done(spot: int) -> int:
        return leaves[spot] if spot < first_new else comes[spot]

    def before(a: int, b: int) -> _Edge:
        """The event at spot a before the one at spot b."""
        one, two = done(a), done(b)
        return _Edge(one, _end(ops[one], a < first_new), two, _end(ops[two], b < first_new))

    seen = set()
    for a, b in sorted(puzzle.blocks):
        if ops[done(a)].still:
            continue  # what is not lifted is not kept from it
        # Whether it leaves or comes: of the old ones b has gone by then, of the new ones it is not there yet.
        edge = before(b, a) if b < first_new else before(a, b)
        if edge.first != edge.then:
            seen.add(edge)
    for i, spots in sorted(puzzle.hinders.items()):
        if ops[leaves[i]].still:
            for b in sorted(spots):
                edge = before(b, i) if b < first_new else before(i, b)
                if edge.first != edge.then:
                    seen.add(edge)
    for i, j in sorted(puzzle.follows):
        if leaves[i] != comes[j]:
            seen.add(before(i, j))
    yield from sorted(seen, key=lambda e: (e.first, e.then, e.leaving_by, e.entering_by))


def _end(op: Op, old: bool) -> _End:
    return "set" if op.still else "leaves" if old else "comes"


class _Left:
    """What is still to be done, and what can be done now."""

    def __init__(
        self, puzzle: Puzzle, ops: Sequence[Op], edges: Sequence[_Edge], at: Sequence[tuple[float, float]] | None
    ) -> None:
        self.puzzle, self.ops, self.at = puzzle, ops, at
        self.waits = Counter({k: 0 for k in range(len(ops))})
        self.then: dict[int, list[int]] = {k: [] for k in range(len(ops))}
        for first, second in sorted({(edge.first, edge.then) for edge in edges}):
            self.waits[second] += 1
            self.then[first].append(second)
        # The shop has as many of a kind as the larger of the two setups needs.
        old, new = Counter(puzzle.old), Counter(puzzle.new)
        self.rack = Counter({kind: max(0, new[kind] - old[kind]) for kind in (*old, *new)})
        parked = Counter(puzzle.old[op.old] for op in ops if op.new is None and op.old is not None)
        come = Counter(self._kind(op) for op in ops if op.old is None)
        self.comes_back = {kind: parked[kind] > 0 and come[kind] > 0 for kind in parked}
        self.gone: set[int] = set()
        self.order: list[Op] = []
        self.here: tuple[float, float] | None = None

    def _kind(self, op: Op) -> object:
        if op.old is not None:
            return self.puzzle.old[op.old]
        assert op.new is not None
        return self.puzzle.new[op.new - len(self.puzzle.old)]

    def done(self) -> bool:
        return len(self.gone) == len(self.ops)

    def ready(self) -> list[int]:
        """What can be done now, the best first: rack last, near ones first."""
        found = [
            k
            for k, op in enumerate(self.ops)
            if k not in self.gone and not self.waits[k] and (op.old is not None or self.rack[self._kind(op)] > 0)
        ]
        return sorted(found, key=self._rank)

    def _rank(self, k: int) -> tuple[int, float, int]:
        op = self.ops[k]
        if op.still:
            return (0 if op.old not in self.puzzle.anew else 2), 0.0, k
        if op.new is None:
            turn = 4 if self.comes_back.get(self._kind(op), False) else 0
        else:
            turn = 1 if op.old is not None else 3
        return turn, self._way(op), k

    def _way(self, op: Op) -> float:
        spot = op.old if op.old is not None else op.new
        if self.at is None or self.here is None or spot is None:
            return 0.0
        return round(math.dist(self.here, self.at[spot]), 3)

    def do(self, k: int) -> None:
        """Note that it is done."""
        op = self.ops[k]
        self.gone.add(k)
        self.order.append(op)
        for other in self.then[k]:
            self.waits[other] -= 1
        if op.old is None:
            self.rack[self._kind(op)] -= 1
        elif op.new is None:
            self.rack[self._kind(op)] += 1
        spot = op.new if op.new is not None else op.old
        if self.at is not None and not op.still and spot is not None:
            self.here = self.at[spot]

    def undo(self, k: int) -> None:
        """As if it had not been done; only the last one."""
        op = self.order.pop()
        self.gone.remove(k)
        for other in self.then[k]:
            self.waits[other] += 1
        if op.old is None:
            self.rack[self._kind(op)] += 1
        elif op.new is None:
            self.rack[self._kind(op)] -= 1

    def go_on(self) -> None:
        """Do what can be done until nothing is left or all waits."""
        while found := self.ready():
            self.do(found[0])


def _try_all(
    puzzle: Puzzle, ops: Sequence[Op], edges: Sequence[_Edge], at: Sequence[tuple[float, float]] | None
) -> tuple[list[Op] | None, bool]:
    """Every order in which the rack is emptied, within `Swapping.orders`; and whether all were tried."""
    left = _Left(puzzle, ops, edges, at)
    seen: set[frozenset[int]] = set()

    def search() -> bool:
        if left.done():
            return True
        if frozenset(left.gone) in seen or len(seen) >= SWAPPING.orders:
            return False
        seen.add(frozenset(left.gone))
        ready = left.ready()
        # What takes nothing from the rack can be done at once: it only frees.
        free = [k for k in ready if left.ops[k].old is not None]
        for k in free[:1] or ready:
            left.do(k)
            if search():
                return True
            left.undo(k)
        return False

    return (left.order if search() else None), len(seen) < SWAPPING.orders


def _rings(stuck: set[int], edges: Sequence[_Edge]) -> list[list[tuple[_Edge, _Edge]]]:
    """Shortest rings of things that wait for each other: of each member the edge into it and the one out of it."""
    out: dict[int, list[_Edge]] = {k: [] for k in stuck}
    for edge in edges:
        if edge.first in stuck and edge.then in stuck:
            out[edge.first].append(edge)
    rings = []
    for start in sorted(stuck):
        ring = _ring(start, out)
        if ring is not None:
            rings.append([(ring[k - 1], edge) for k, edge in enumerate(ring)])
    return rings


def _ring(start: int, out: Mapping[int, list[_Edge]]) -> list[_Edge] | None:
    """The shortest ring through one member."""
    came: dict[int, _Edge] = {}
    queue = deque([start])
    while queue:
        here = queue.popleft()
        for edge in out[here]:
            if edge.then == start:
                ring = [edge]
                while ring[0].first != start:
                    ring.insert(0, came[ring[0].first])
                return ring
            if edge.then not in came:
                came[edge.then] = edge
                queue.append(edge.then)
    return None


def _clause(puzzle: Puzzle, ops: Sequence[Op], ring: Sequence[tuple[_Edge, _Edge]]) -> Clause:
    """What must be otherwise for a ring not to be one.

    A block that leaves its spot and one that comes to its own are two events; only where one block is put from the one
    spot into the other straight are they one, and only then can a ring go through both. A block that stays is not
    lifted at all.
    """
    still_of = {j: i for i, j in puzzle.still.items()}
    without: set[Pair] = set()
    with_: set[Pair] = set()
    plain = True
    for enters, leaves in ring:
        op = ops[leaves.first]
        if op.old is not None and op.new is not None and (op.still or enters.entering_by != leaves.leaving_by):
            without.add(Pair(op.old, op.new, not op.still))
            plain = plain and not op.still and enters.entering_by == "comes"
            continue
        if leaves.leaving_by == "leaves":
            assert op.old is not None
            if op.old in puzzle.still:
                with_.add(Pair(op.old, puzzle.still[op.old], False))
        else:
            assert op.new is not None
            if op.new in still_of:
                with_.add(Pair(still_of[op.new], op.new, False))
    ends = ((ops[edge.first], edge.leaving_by) for _, edge in ring)
    spots = tuple(sorted({s for op, end in ends for s in (op.new if end == "comes" else op.old,) if s is not None}))
    if plain and without and not with_:
        return Clause(_widened(puzzle, without), len(without) - 1, spots=spots)
    return Clause(frozenset(without), len(without) - 1, frozenset(with_ & set(puzzle.choices())), spots)


def _widened(puzzle: Puzzle, ring: set[Pair]) -> frozenset[Pair]:
    """All pairs between the spots of a ring that can take the place of its own.

    Each new spot of the ring waits until an old one of it is empty. If as many blocks as there are old ones go straight
    from these to new ones of the ring, each old one is emptied that way; the first of them would then have to wait for
    another. It need not where it only waits for itself, with nothing between: such pairs are left out.
    """
    must = {pair.new: puzzle.must_leave[pair.new] for pair in ring}
    olds = {pair.old for pair in ring}
    news = {pair.new for pair in ring}
    return frozenset(
        pair
        for pair in puzzle.choices()
        if pair.lifted
        and pair.old in olds
        and pair.new in news
        and (must[pair.new][0] & (olds - {pair.old}) or pair.old in must[pair.new][1])
    )


def _spots(ops: Sequence[Op], members: set[int]) -> tuple[int, ...]:
    return tuple(sorted(s for k in members for s in (ops[k].old, ops[k].new) if s is not None))
