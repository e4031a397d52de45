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

from collections.abc import Sequence
from dataclasses import dataclass

from fixture3d.checks.base import Progress, neat
from fixture3d.checks.torch_outcome import Case, Outcome
from fixture3d.checks.torch_search import MOST_EACH, Search, Shared
from fixture3d.checks.trial import Trial
from fixture3d.job import Job

MOST_TRIES = 360
"""Changes that are tried for one setup; what is used up is told."""


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
    shared = Shared(Trial(job), cases)
    ranked = sorted((case for case in cases if case.short or case.broken), key=_worst_first)
    searches = [Search(case, shared) for case in ranked]
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
