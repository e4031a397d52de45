"""The tries for one weld: every change of the blocks that are most in its way, by effort, until one gives all back."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from fixture3d.access.welds import Weld
from fixture3d.checks.changes import Changed, places, settings, smaller, torches, turns
from fixture3d.checks.seat_remedies import with_it
from fixture3d.checks.torch_outcome import Case, Change, Outcome, Reached
from fixture3d.checks.trial import Trial
from fixture3d.errors import SceneError
from fixture3d.frame import Array
from fixture3d.job import Job, Seat
from fixture3d.job.resolve import reseated
from fixture3d.scene import schema
from fixture3d.tolerance import NUMERIC

MOST_EACH = 60
"""Changes that are tried for one weld."""
MOST_BODIES = 3
"""Blocks that are changed for one weld, those that block most first."""
LEAST_SHARE = 0.1
"""A block that takes less of the blocked positions is left alone."""


@dataclass
class Shared:
    """What all searches of a setup have in common: changed setups, made and judged once."""

    trial: Trial
    cases: Sequence[Case]
    _made: dict[str, Job | None] = field(default_factory=dict)
    _holds: dict[str, bool] = field(default_factory=dict)
    _cost: dict[str, float] = field(default_factory=dict)

    def made(self, item: schema.Place | schema.Clamp) -> Job | None:
        """The setup with a changed block; None when that cannot exist, or the block does not stand on the table."""
        key = repr(item)
        if key not in self._made:
            try:
                after: Job | None = reseated(self.trial.job, item)
            except SceneError:
                after = None
            self._made[key] = after if after is not None and self.trial.seated(after, item.name) else None
        return self._made[key]

    def holds(self, after: Job, item: schema.Place | schema.Clamp) -> bool:
        """Whether the changed block holds what it holds now: the quick part of what ``cost`` asks."""
        key = repr(item)
        if key not in self._holds:
            self._holds[key] = self.trial.holds(after, item.name)
        return self._holds[key]

    def cost(self, after: Job, item: schema.Place | schema.Clamp) -> float:
        """Mm that other welds lose when a block is changed so; infinite for a change that cannot be made.

        The block must hold what it holds now and run into nothing new, and no weld that is reached in full may lose
        any of it or take one more run; one that is not may lose some, which is told.
        """
        key = repr(item)
        if key not in self._cost:
            stands = self.holds(after, item) and self.trial.clear(after, item.name)
            self._cost[key] = self._lost(after, item.name) if stands else math.inf
        return self._cost[key]

    def _lost(self, after: Job, name: str) -> float:
        moved = frozenset(with_it(self.trial.job, name))
        boxes = [body.box for body in after.bodies if body.item in moved and body.role != "sweep"]
        lost = 0.0
        for case in self.cases:
            if case.found.best is None or not any(_meet(box, case.box) for box in boxes):
                continue
            if case.reach.spared(after, moved):
                continue
            reached = case.reach(after, case.weld, moved)
            less = case.now.length - reached.length
            if not case.short and (less > NUMERIC.merge or reached.runs > case.now.runs):
                return math.inf
            lost += max(0.0, less)
        return lost


def _meet(a: Array, b: Array) -> bool:
    return bool((a[0] <= b[1]).all() and (b[0] <= a[1]).all())


@dataclass
class Search:
    """The tries for one weld, and the best so far."""

    case: Case
    shared: Shared
    tried: int = 0
    begun: bool = False
    stopped: bool = False
    best: Change | None = None
    earlier: tuple[str, Reached] | None = None
    _idle: list[str] = field(default_factory=list)

    def run(self) -> Iterator[bool]:
        """Everything that is tried for the weld, one step at a time."""
        self.begun = True
        names: list[str] = []
        full: dict[str, Reached] = {}
        for name in self._worth():
            without = self._without(frozenset(with_it(self.job, name)))
            (names if without.beats(self.now) else self._idle).append(name)
            if self.case.whole(without):
                full[name] = without
            yield True
        # A block with which out of the way all would be reached comes before one that gives only part of it.
        names.sort(key=lambda name: name not in full)
        for group in (turns, settings, places):
            for name in names:
                for words, item in group(self.job, self.job.seats[name]):
                    if self.done:
                        return
                    self._try(words, item)
                    yield True
        for name in names:
            for row in smaller(self.job, self.job.seats[name]):
                if self.done:
                    return
                yield from self._size(row)
        for words, scene, other in torches(self.job, self.case.weld, self.case.technique):
            if self.done:
                return
            self._torch(words, scene, other)
            yield True
        if not self.done:
            yield from self._before(full)

    @property
    def job(self) -> Job:
        """The setup as it is."""
        return self.shared.trial.job

    @property
    def now(self) -> Reached:
        """What is reached by the best change so far, or as it is."""
        return self.case.now if self.best is None else self.best.reached

    @property
    def done(self) -> bool:
        """Nothing more is to be tried."""
        if self.tried >= MOST_EACH:
            self.stopped = True
        return self.stopped or (self.best is not None and self.case.whole(self.best.reached))

    def _worth(self) -> list[str]:
        """The blocks that are most in the way, worst first."""
        shares = self.case.found.blockers
        return [name for name, share in shares if share >= LEAST_SHARE and name in self.job.seats][:MOST_BODIES]

    def _always(self) -> list[str]:
        """What is in the way of every blocked position."""
        return [name for name, share in self.case.found.blockers if share >= 1.0 - NUMERIC.zero]

    def _without(self, items: frozenset[str]) -> Reached:
        """What is reached without some items: a block that goes elsewhere gives no more than one that is away."""
        after = dataclasses.replace(self.job, bodies=tuple(b for b in self.job.bodies if b.item not in items))
        return self.case.reach(after, self.case.weld, items)

    def _try(self, words: str, item: schema.Place | schema.Clamp, prefer: bool = False) -> bool:
        """Try a changed block; whether it stands and gives more than the best so far, or (``prefer``) as much.

        What is quickly known comes first; the torch is asked before solids are compared: most changes give nothing.
        """
        self.tried += 1
        after = self.shared.made(item)
        if after is None or not self.shared.holds(after, item):
            return False
        reached = self._gives(after, item.name)
        better = reached.beats(self.now) or (prefer and not self.now.beats(reached))
        if not better:
            return False
        lost = self.shared.cost(after, item)
        if lost > NUMERIC.merge and lost >= reached.length - self.case.now.length:
            return False
        self.best = Change(words=words, after=after, weld=self.case.weld, reached=reached, lost=lost)
        return True

    def _gives(self, after: Job, name: str) -> Reached:
        """What is reached with a changed block."""
        return self.case.reach(after, self.case.weld, frozenset(with_it(self.job, name)))

    def _size(self, row: Sequence[Changed]) -> Iterator[bool]:
        """The largest of the smaller blocks that gives all back; or the smallest that stands, when that gives part.

        A smaller block is in the way of less, so that both can be found by halving; what is named was tried itself.
        When the smallest of all gives nothing, no other is tried.
        """
        self.tried += 1
        least = self.shared.made(row[-1][1])
        yield True
        # The smallest may not stand at all, where a shorter one has a dowel less.
        if least is not None and not self._gives(least, row[-1][1].name).beats(self.now):
            return
        # Of the sizes, largest first, the last that stands: a stop that is too low no longer touches the work.
        low, high = -1, len(row)
        while high - low > 1 and not self.done:
            middle = (low + high) // 2
            self.tried += 1
            made = self.shared.made(row[middle][1])
            stands = made is not None and self.shared.cost(made, row[middle][1]) < math.inf
            low, high = (middle, high) if stands else (low, middle)
            yield True
        if low < 0 or not self._try(*row[low]) or not self.done:
            return
        yield True
        first = -1
        while low - first > 1 and self.tried < MOST_EACH:
            middle = (low + first) // 2
            low, first = (middle, first) if self._try(*row[middle], prefer=True) else (low, middle)
            yield True

    def _torch(self, words: str, scene: schema.Technique | None, weld: Weld) -> None:
        """Try another torch or technique."""
        self.tried += 1
        after = self.job
        if scene is not None:
            techniques = {**self.job.scene.techniques, weld.technique: scene}
            after = dataclasses.replace(self.job, scene=self.job.scene.model_copy(update={"techniques": techniques}))
        reached = self.case.reach(after, weld, frozenset())
        if reached.beats(self.now):
            self.best = Change(words=words, after=after, weld=weld, reached=reached)

    def _before(self, full: Mapping[str, Reached]) -> Iterator[bool]:
        """The first block that carries no work, or piece, before which all of the weld is reached.

        Or the piece without which most more is reached: of all positions it may block few, and still take a stretch.
        """
        seats: dict[str, Seat] = dict(self.job.seats)
        carriers = {seat.stands_on for seat in seats.values() if seat.stacked}
        for name in full:
            if name not in carriers and (seats[name].clamp or not self.shared.trial.carries(name)):
                self.earlier = name, full[name]
                return
        pieces = {body.name for body in self.job.pieces()} - set(self.case.weld.joins)
        most: tuple[str, Reached] | None = None
        for name in [name for name, _ in self.case.found.blockers if name in pieces][:MOST_BODIES]:
            without = self._without(frozenset({name}))
            if self.case.whole(without):
                self.earlier = name, without
                return
            if without.length > (most[1] if most is not None else self.now).length + NUMERIC.merge:
                most = name, without
            yield True
        self.earlier = most

    def outcome(self) -> Outcome:
        """What came of it."""
        always = self._always()
        return Outcome(
            case=self.case,
            change=self.best,
            together=tuple(always) if len(always) > 1 else (),
            idle=tuple(self._idle),
            earlier=self.earlier,
            tried=self.tried,
            stopped=self.stopped,
        )
