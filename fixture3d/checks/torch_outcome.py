"""What the torch reaches of a weld, as the setup is and after a change, and what came of the tries, in words."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Protocol

from fixture3d.access.access import WeldAccess
from fixture3d.access.ends import ShortEnd, is_closed, lacking, main_runs, short_ends
from fixture3d.access.torch import Technique
from fixture3d.access.welds import Weld
from fixture3d.frame import Array
from fixture3d.job import Job
from fixture3d.tolerance import NUMERIC
from fixture3d.units import Units, show_rough


@dataclass(frozen=True, kw_only=True, order=True)
class Reached:
    """What the torch reaches of a weld.

    Attributes:
        length: mm.
        runs: the fewest runs that it takes, those apart that cover nothing but a short end.
        ends: mm of short ends that are not reached, and need not be.
    """

    length: float
    runs: int = 1
    ends: float = 0.0

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

    def spared(self, after: Job, moved: frozenset[str], /) -> bool:
        """Whether the bodies of ``moved``, as they are then, are surely in the way of no position: nothing is lost."""


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

    @cached_property
    def ends(self) -> tuple[ShortEnd, ...]:
        """Its ends that are not reached, or in runs of their own, and are short enough for it."""
        return short_ends(self.found.length, self.found.runs, is_closed(self.weld.path))

    @cached_property
    def now(self) -> Reached:
        """As the setup is."""
        runs = main_runs(self.found.runs, self.found.length, self.ends)
        ends = 0.0 if self.short else self.found.length - self.found.reachable
        return Reached(length=self.found.reachable, runs=len(runs), ends=ends)

    @property
    def least_runs(self) -> int:
        """Runs that the weld takes with nothing in the way: one more than it has corners."""
        return 1 + len(self.found.corners)

    @property
    def short(self) -> bool:
        """Not all of it is reached, and more is lacking than a short end."""
        return self.found.best is None or lacking(self.found.unreached, self.found.length, self.ends)

    @property
    def broken(self) -> bool:
        """It takes a restart that is not that of a corner."""
        return self.now.runs > self.least_runs

    def whole(self, reached: Reached) -> bool:
        """All of it but short ends; of a weld that is reached as it is, also without a restart."""
        runs = self.short or reached.runs <= self.least_runs
        return runs and reached.length + reached.ends >= self.found.length - NUMERIC.merge

    def in_words(self, reached: Reached, units: Units) -> str:
        """How much of the weld a change that gives it back gives."""
        length = show_rough(self.found.length, units)
        if reached.length >= self.found.length - NUMERIC.merge:
            return f"all {length} are reached"
        return f"{show_rough(reached.length, units)} of {length} are reached, all but a short end"


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
        earlier: the block or piece before which it can be welded in full, or the piece before which most more of it
            can, and what is reached then; None when there is none.
        tried: how many changes were tried, those that do not stand among them.
        stopped: more could have been tried.
    """

    case: Case
    change: Change | None
    together: tuple[str, ...]
    idle: tuple[str, ...]
    earlier: tuple[str, Reached] | None
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
            gives = self.case.in_words(self.change.reached, units)
            return f"{self.change.words}: then {gives}{self._in_runs()} (tried){self._cost(units)}"
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
            name, then = self.earlier
            gives = f"{show_rough(then.length, units)} of {length} are reached"
            if self.case.whole(then):
                gives = self.case.in_words(then, units)
            words += f"; or weld it before {name} is put there: then {gives} (tried)"
        return words

    def _in_runs(self) -> str:
        """How many runs it takes after the change, when more than its corners ask for."""
        runs = self.change.reached.runs if self.change is not None else 0
        return f" in {runs} runs" if runs > self.case.least_runs else ""
