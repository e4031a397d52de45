"""Random small swaps as numbers, and the fewest moves of each by trying everything, without the project's method."""

from __future__ import annotations

import heapq
import random
from collections import Counter
from dataclasses import dataclass
from itertools import count

from fixture3d.swap.puzzle import Answer, Puzzle


def random_puzzle(seed: int, most: int = 4) -> Puzzle:
    """Two setups of up to ``most`` blocks each, of one to three kinds, in places that are in each other's way."""
    r = random.Random(seed)
    m, n = r.randint(1, most), r.randint(1, most)
    kinds = "abc"[: r.randint(1, 3)]
    old = [r.choice(kinds) for _ in range(m)]
    new = [r.choice(kinds) for _ in range(n)]
    still: dict[int, int] = {}
    for i in range(m):
        j = r.randrange(n)
        if r.random() < 0.3 and m + j not in still.values():
            still[i] = m + j
            new[j] = old[i]
    anew = frozenset(i for i in still if r.random() < 0.5)
    share = r.choice([0.05, 0.15, 0.3])
    # Within one setup what is in the way lies above: a setup that stands can be taken down, mostly.
    heights = [r.random() for _ in range(m + n)]
    for i, j in still.items():
        heights[j] = heights[i]
    blocks = set()
    for a in range(m + n):
        for b in range(m + n):
            if a == b or r.random() >= share:
                continue
            if (a < m) == (b < m) and heights[b] <= heights[a] and r.random() < 0.97:
                continue
            blocks.add((a, b))
    names = {i: {i, j} for i, j in still.items() if i not in anew}
    names |= {j: both for i, both in list(names.items()) for j in both}
    blocks = {(a, b) for x, y in blocks for a in names.get(x, {x}) for b in names.get(y, {y}) if a != b}
    for i, j in still.items():
        blocks |= {(i, j), (j, i)}
    hinders = {}
    for i in sorted(anew):
        found = {s for s in range(m + n) if r.random() < share}
        hinders[i] = frozenset({one for s in found for one in names.get(s, {s})} - {i, still[i]})
    pairs = {(i, m + j): 0.0 for i in range(m) for j in range(n) if old[i] == new[j]}
    return Puzzle(
        old=tuple(old), new=tuple(new), pairs=pairs, still=still, anew=anew, blocks=frozenset(blocks), hinders=hinders
    )  # fmt: skip


@dataclass(frozen=True)
class Table:
    """Which spots are occupied, and what is on the rack."""

    full: frozenset[int]
    rack: tuple[tuple[object, int], ...]


def kind(puzzle: Puzzle, spot: int) -> object:
    m = len(puzzle.old)
    return puzzle.old[spot] if spot < m else puzzle.new[spot - m]


def free_way(puzzle: Puzzle, spot: int, full: frozenset[int]) -> bool:
    return not any((spot, b) in puzzle.blocks for b in full if b != spot)


def as_new(puzzle: Puzzle, full: frozenset[int]) -> frozenset[int]:
    """What stays in its place untouched is there for the one setup as for the other."""
    return frozenset(puzzle.still[s] if s in puzzle.still and s not in puzzle.anew else s for s in full)


def twin(puzzle: Puzzle, spot: int) -> int:
    """The other number of the same place, or -1."""
    other = {j: i for i, j in puzzle.still.items()}
    return puzzle.still.get(spot, other.get(spot, -1))


def fewest_by_trying(puzzle: Puzzle) -> int | None:
    """The fewest moves of all sequences: blocks may be lifted as often as one likes, into any place of their kind.

    But a block that is set otherwise in its place is not lifted any more, and one that is put there comes as it shall
    be: nobody sets a block only to lift it.
    """
    m, n = len(puzzle.old), len(puzzle.new)
    old, new = Counter(puzzle.old), Counter(puzzle.new)
    kinds = sorted({*old, *new}, key=str)
    rack = tuple((k, max(0, new[k] - old[k])) for k in kinds)
    start = Table(as_new(puzzle, frozenset(range(m))), rack)
    goal = frozenset(range(m, m + n))
    tie = count()
    heap = [(0, next(tie), start)]
    best = {start: 0}
    while heap:
        cost, _, here = heapq.heappop(heap)
        if best[here] < cost:
            continue
        if here.full == goal:
            return cost
        nexts: list[tuple[int, Table]] = []
        for i in puzzle.anew:
            if i in here.full and not any(b in here.full for b in puzzle.hinders[i]):
                nexts.append((0, Table(here.full - {i} | {puzzle.still[i]}, here.rack)))
        racked = dict(here.rack)
        targets = [s for s in range(m + n) if s not in puzzle.still]
        for s in here.full:
            if twin(puzzle, s) not in puzzle.anew and free_way(puzzle, s, here.full):
                rest, what = here.full - {s}, kind(puzzle, s)
                laid = tuple((k, c + (k == what)) for k, c in here.rack)
                nexts.append((1, Table(rest, laid)))
                nexts += [
                    (1, Table(rest | {t}, here.rack))
                    for t in targets
                    if t not in here.full and kind(puzzle, t) == what and fits(puzzle, t, rest)
                ]
        for t in targets:
            what = kind(puzzle, t)
            if t not in here.full and racked[what] and fits(puzzle, t, here.full):
                taken = tuple((k, c - (k == what)) for k, c in here.rack)
                nexts.append((1, Table(here.full | {t}, taken)))
        for more, table in nexts:
            if cost + more < best.get(table, 10**9):
                best[table] = cost + more
                heapq.heappush(heap, (cost + more, next(tie), table))
    return None


def fits(puzzle: Puzzle, spot: int, full: frozenset[int]) -> bool:
    return twin(puzzle, spot) not in full and free_way(puzzle, spot, full)


def moves_when_done(puzzle: Puzzle, answer: Answer) -> int:
    """Do the steps one after the other; how many blocks were lifted. Fails when one cannot be done."""
    m, n = len(puzzle.old), len(puzzle.new)
    old, new = Counter(puzzle.old), Counter(puzzle.new)
    rack = Counter({k: max(0, new[k] - old[k]) for k in {*old, *new}})
    full, moves = as_new(puzzle, frozenset(range(m))), 0
    for step in answer.steps:
        if step.do == "set":
            assert step.old in full
            assert step.old in puzzle.anew
            assert not any(b in full for b in puzzle.hinders[step.old])
            full = full - {step.old} | {puzzle.still[step.old]}
            continue
        moves += 1
        if step.old is not None:
            here = next(iter(as_new(puzzle, frozenset({step.old}))))
            assert here in full
            assert free_way(puzzle, here, full)
            full -= {here}
        if step.new is not None:
            assert step.new not in full
            assert fits(puzzle, step.new, full)
            full |= {step.new}
        if step.old is None:
            assert step.new is not None
            rack[kind(puzzle, step.new)] -= 1
        elif step.new is None:
            rack[kind(puzzle, step.old)] += 1
        else:
            assert (step.old, step.new) in puzzle.pairs
        assert min(rack.values()) >= 0
    assert full == frozenset(range(m, m + n))
    return moves
