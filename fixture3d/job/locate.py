"""One question about a distance from end to end: datum, shop, search, what is out of reach, what would help."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import islice

from fixture3d.job.close_gap import Closer, Searcher, answers, closers
from fixture3d.job.set_height import Upward
from fixture3d.job.set_question import Answer, Question, Ranked
from fixture3d.job.set_stop import AlongTable
from fixture3d.library import Library
from fixture3d.setting import Reach, TooMany, grains
from fixture3d.tolerance import SHOP


@dataclass(frozen=True, kw_only=True)
class Located:
    """What came of a question.

    Attributes:
        question: that was asked.
        answers: good ones, the best first; when none is good, the nearest ones.
        good: how many are good, those that are not listed too.
        fewer: for each smaller number of pieces than the best takes, the best with so few, where it is good.
        measured: settings by a slide or a screw without notches: as good as the measurement.
        reach: what lies out of reach round the wanted place; None when that cannot be listed.
        bare: the same without shims; None where the shop has none, and for a height.
        ends: the first and the last place of any face without shims, from the datum, mm; None for a height.
        closers: what to buy or to make, when no answer is on the mark.
    """

    question: Question
    answers: tuple[Answer, ...]
    good: int
    fewer: tuple[Answer, ...]
    measured: tuple[Answer, ...]
    reach: Reach | None
    bare: Reach | None
    ends: tuple[float, float] | None
    closers: tuple[Closer, ...]


NEAREST = 3  # answers that are shown when none is good


def locate(question: Question, library: Library, most: int) -> Located:
    """Answer a question.

    Args:
        question: what is asked.
        library: for blocks of other sizes.
        most: answers that are listed.

    Raises:
        TooMany: there are more sums of shims and blocks than can be tried.
    """
    searcher: Searcher = Upward(question) if question.datum.upright else AlongTable(question)
    ranked = searcher.ranked(NEAREST)
    limit = grains(question.good)
    good = [one for one in ranked if abs(one.error) <= limit]
    listed = list(_built(good, most)) or answers(searcher, NEAREST)
    on_mark = bool(listed) and abs(listed[0].error) <= SHOP.contact
    try:
        reach = searcher.reach()
    except TooMany:
        reach = None
    return Located(
        question=question,
        answers=tuple(listed),
        good=len(good),
        fewer=tuple(_fewer(good, listed[0])) if good else (),
        measured=tuple(searcher.measured()),
        reach=reach,
        bare=searcher.bare_reach() if isinstance(searcher, AlongTable) and question.shop.shims else None,
        ends=searcher.ends if isinstance(searcher, AlongTable) else None,
        closers=() if on_mark else tuple(closers(searcher, library, question.units == "in")),
    )


def _built(ranked: Iterable[Ranked], most: int) -> Iterator[Answer]:
    """The first of them for which there is room."""
    return islice((answer for one in ranked if (answer := one.build()) is not None), most)


def _fewer(ranked: Sequence[Ranked], best: Answer) -> Iterator[Answer]:
    """The best with each smaller number of pieces, the largest number first, where that is not as good already."""
    for pieces in range(best.pieces - 1, 0, -1):
        yield from _built((one for one in ranked if one.pieces == pieces), 1)
