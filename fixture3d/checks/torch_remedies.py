"""The least change that gives a blocked weld back: tried on the changed setup before it is named.

For the blocks that take most of a weld, in order of effort: another turn, another notch, another hole, a smaller
block; then another torch or technique (``changes``). A block without which no more of the weld would be reached is
left alone. A change counts only when the block still stands, runs into nothing new and touches all of the work that it
touches now (``trial``), the torch, asked again, reaches more of the weld or in fewer runs, and no other weld loses by
it. What cannot be mended so may be welded before a block or a piece is in its place.

All welds share one number of tries. They take turns, those that lose most first, so that no weld uses up the tries of
the others; what is left over when the tries are used up is told.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import Protocol

from fixture3d.access.access import WeldAccess
from fixture3d.access.torch import Technique
from fixture3d.access.welds import Weld
from fixture3d.checks.base import Progress, neat
from fixture3d.checks.changes import Changed, places, settings, smaller, torches, turns
from fixture3d.checks.seat_remedies import with_it
from fixture3d.checks.trial import Trial
from fixture3d.errors import SceneError
from fixture3d.frame import Array
from fixture3d.job import Job, Seat
from fixture3d.job.resolve import reseated
from fixture3d.scene import schema
from fixture3d.tolerance import NUMERIC
from fixture3d.units import Units, show_rough

MOST_TRIES = 360
"""Changes that are tried for one setup; what is used up is told."""
MOST_EACH = 60
"""Changes that are tried for one weld."""
MOST_BODIES = 3
"""Blocks that are changed for one weld, those that block most first."""
LEAST_SHARE = 0.1
"""A block that takes less of the blocked positions is left alone."""


@dataclass(frozen=True, kw_only=True, order=True)
class Reached:
    """What the torch reaches of a weld.

    Attributes:
        length: mm.
        runs: the fewest runs that it takes.
    """

    length: float
    runs: int = 1

    def beats(self, other: Reached) -> bool:
        """More of the weld, or as much in fewer runs."""
        more = self.length > other.length + NUMERIC.merge
        return more or (self.length >= other.length - NUMERIC.merge and self.runs < other.runs)

    def as_good(self, other: Reached) -> bool:
        """At least as much of the weld as another."""
        return self.length >= other.length - NUMERIC.merge


class Reach(Protocol):
    """What the torch reaches of a weld in a changed setup."""

    def __call__(self, after: Job, weld: Weld, moved: frozenset[str], /) -> Reached:
        """Of the items ``moved`` alone the bodies differ from the setup as it is."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Case:
    """One weld of the setup.

    Attributes:
        weld: itself.
        found: what the torch reaches of it, and who is in the way.
        technique: by which it is run.
        reach: asks the torch.
        box: (2, 3) beyond which no body changes what is reached, world mm.
    """

    weld: Weld
    found: WeldAccess
    technique: Technique
    reach: Reach
    box: Array

    @property
    def now(self) -> Reached:
        """As the setup is."""
        return Reached(length=self.found.reachable, runs=len(self.found.runs))

    @property
    def least_runs(self) -> int:
        """Runs that the weld takes with nothing in the way: one more than it has corners."""
        return 1 + len(self.found.corners)

    @property
    def short(self) -> bool:
        """Not all of it is reached."""
        return self.found.best is None or self.found.reachable < self.found.length - NUMERIC.merge

    @property
    def broken(self) -> bool:
        """It takes a restart that is not that of a corner."""
        return len(self.found.runs) > self.least_runs

    def whole(self, reached: Reached) -> bool:
        """All of it; of a weld that is reached as it is, also without a restart."""
        runs = self.short or reached.runs <= self.least_runs
        return runs and reached.length >= self.found.length - NUMERIC.merge


@dataclass(frozen=True, kw_only=True)
class Change:
    """One change, and what it gives.

    Attributes:
        words: what to do, such as ``"turn S4 to 180"``.
        after: the changed setup.
        weld: as it is in the changed setup.
        reached: what is then reached of it.
        lost: mm that other welds lose by it, such as are not reached in full as it is.
    """

    words: str
    after: Job
    weld: Weld
    reached: Reached
    lost: float = 0.0


@dataclass(frozen=True, kw_only=True)
class Outcome:
    """What came of the tries for one weld.

    Attributes:
        case: the weld.
        change: the least one that gives all of it back, or else the one that gives most; None when none gives more.
        together: what is in the way of every blocked position, each alone, where that is more than one body: then no
            one block is enough.
        idle: the blocks without which no more would be reached, so that they were not changed.
        earlier: the block or piece before which it can be welded in full, and None when there is none.
        tried: how many changes were tried, those that do not stand among them.
        stopped: more could have been tried.
    """

    case: Case
    change: Change | None
    together: tuple[str, ...]
    idle: tuple[str, ...]
    earlier: str | None
    tried: int
    stopped: bool

    @property
    def whole(self) -> bool:
        """The change gives back all of the weld."""
        return self.change is not None and self.case.whole(self.change.reached)

    @property
    def in_one_go(self) -> str:
        """The change by which the weld takes no restart, as a remedy says it; empty when there is none."""
        done = self.change is not None and self.whole and self.change.reached.runs <= self.case.least_runs
        corners = "" if self.case.least_runs < 2 else ", but for the corners"
        return f"{self.change.words}: then it is run in one go{corners} (tried)" if done and self.change else ""

    def _cost(self, units: Units) -> str:
        """What others pay for the change."""
        if self.change is None or self.change.lost <= NUMERIC.merge:
            return ""
        return f"; it takes {show_rough(self.change.lost, units)} of other welds"

    def in_words(self, units: Units) -> str:
        """As a remedy says it."""
        length = show_rough(self.case.found.length, units)
        count = f"{self.tried} change{'' if self.tried == 1 else 's'} tried"
        if self.stopped:
            count += ", and there it was left"
        if self.change is not None and self.whole:
            return f"{self.change.words}: then all {length} are reached{self._in_runs()} (tried){self._cost(units)}"
        words = f"{count}; none gives it back"
        if self.change is not None:
            reached = show_rough(self.change.reached.length, units)
            words = f"{self.change.words}: then {reached} of {length} are reached (the most of {count})"
            words += self._cost(units)
        elif self.tried == 0 and not self.stopped:
            words = "there is no block to change and no other torch to try"
        if self.together:
            every = " and ".join(self.together)
            words = f"no one block is enough, for {every} are each in the way of every blocked position; {words}"
        elif self.idle and self.change is None:
            words = f"without {' or '.join(self.idle)} no more of it would be reached either; {words}"
        if self.earlier is not None:
            words += f"; or weld it before {self.earlier} is put there: then all {length} are reached (tried)"
        return words

    def _in_runs(self) -> str:
        """How many runs it takes after the change, when more than its corners ask for."""
        runs = self.change.reached.runs if self.change is not None else 0
        return f" in {runs} runs" if runs > self.case.least_runs else ""


@dataclass(frozen=True, kw_only=True)
class Remedies:
    """What came of the tries for all welds.

    Attributes:
        outcomes: by the name of the weld; those that were not tried are not among them.
        left: names of the welds that lack something and were not tried.
        cut: names of those for which more could have been tried.
    """

    outcomes: dict[str, Outcome]
    left: tuple[str, ...]
    cut: tuple[str, ...]

    def told(self) -> tuple[str, ...]:
        """What is to be said of what was not tried; empty when all was."""
        of = len(self.outcomes) + len(self.left)
        limits = f"{MOST_TRIES} changes are tried for one setup, {MOST_EACH} for one weld"
        out = []
        if self.left:
            out.append(f"Of {of} welds that are blocked or take a restart {len(self.left)} were not tried: {limits}.")
        if self.cut:
            out.append(f"For {len(self.cut)} of {of} welds not every change was tried: {limits}.")
        return tuple(out)


def remedies(job: Job, cases: Sequence[Case], progress: Progress) -> Remedies:
    """The least change for every weld that is not reached in full, or takes a restart.

    Args:
        job: the setup.
        cases: all welds that the torch was asked for.
        progress: is told of every weld that is done with.
    """
    shared = _Shared(Trial(job), cases)
    ranked = sorted((case for case in cases if case.short or case.broken), key=_worst_first)
    searches = [_Search(case, shared) for case in ranked]
    left, open_ = MOST_TRIES, [(search, search.run()) for search in searches]
    while open_ and left > 0:
        for search, steps in list(open_):
            if left <= 0:
                break
            if next(steps, False):
                left -= 1
            else:
                open_.remove((search, steps))
                progress("torch remedies", len(searches) - len(open_), len(searches))
    for search, _ in open_:
        search.stopped = True
    tried = [search for search in searches if search.begun]
    return Remedies(
        outcomes={search.case.weld.name: search.outcome() for search in tried},
        left=tuple(search.case.weld.name for search in searches if not search.begun),
        cut=tuple(search.case.weld.name for search in tried if search.stopped),
    )


def _worst_first(case: Case) -> tuple[bool, bool, float]:
    """Blocked, then by what is lost; what is reached in full comes last."""
    return not case.short, case.found.best is not None, neat(case.found.reachable - case.found.length)


@dataclass
class _Shared:
    """What all searches of a setup have in common: changed setups, made and judged once."""

    trial: Trial
    cases: Sequence[Case]
    _made: dict[str, Job | None] = field(default_factory=dict)
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

    def cost(self, after: Job, item: schema.Place | schema.Clamp) -> float:
        """Mm that other welds lose when a block is changed so; infinite for a change that cannot be made.

        The block must hold what it holds now and run into nothing new, and no weld that is reached in full may lose
        any of it or take one more run; one that is not may lose some, which is told.
        """
        key = repr(item)
        if key not in self._cost:
            self._cost[key] = self._lost(after, item.name) if self.trial.stands(after, item.name) else math.inf
        return self._cost[key]

    def _lost(self, after: Job, name: str) -> float:
        moved = frozenset(with_it(self.trial.job, name))
        boxes = [body.box for body in after.bodies if body.item in moved and body.role != "sweep"]
        lost = 0.0
        for case in self.cases:
            if case.found.best is None or not any(_meet(box, case.box) for box in boxes):
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
class _Search:
    """The tries for one weld, and the best so far."""

    case: Case
    shared: _Shared
    tried: int = 0
    begun: bool = False
    stopped: bool = False
    best: Change | None = None
    earlier: str | None = None
    _idle: list[str] = field(default_factory=list)

    def run(self) -> Iterator[bool]:
        """Everything that is tried for the weld, one step at a time."""
        self.begun = True
        names: list[str] = []
        full: list[str] = []
        for name in self._worth():
            without = self._without(frozenset(with_it(self.job, name)))
            (names if without.beats(self.now) else self._idle).append(name)
            if self.case.whole(without):
                full.append(name)
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

        The torch is asked before all else is compared: most changes give nothing.
        """
        self.tried += 1
        after = self.shared.made(item)
        if after is None:
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

    def _before(self, full: Sequence[str]) -> Iterator[bool]:
        """The first block that carries no work, or piece, before which all of the weld is reached."""
        seats: dict[str, Seat] = dict(self.job.seats)
        carriers = {seat.stands_on for seat in seats.values() if seat.stacked}
        for name in full:
            if name not in carriers and (seats[name].clamp or not self.shared.trial.carries(name)):
                self.earlier = name
                return
        pieces = {body.name for body in self.job.pieces()} - set(self.case.weld.joins)
        shares = [(name, share) for name, share in self.case.found.blockers if name in pieces and share >= LEAST_SHARE]
        for name, _ in shares[:MOST_BODIES]:
            if self.case.whole(self._without(frozenset({name}))):
                self.earlier = name
                return
            yield True

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
