"""The smallest thing to buy or to make that brings a face to where nothing in the shop does."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

from fixture3d.errors import ModelError
from fixture3d.job.set_height import Upward
from fixture3d.job.set_question import Answer
from fixture3d.job.set_stop import AlongTable
from fixture3d.library import Library
from fixture3d.part import Part, parameters
from fixture3d.setting import TooMany
from fixture3d.tolerance import SETTING, SHOP


@dataclass(frozen=True, kw_only=True)
class Closer:
    """One thing that would help.

    Attributes:
        kind: a shim of a usual thickness, one of another thickness, or a block of another size.
        size: thickness of the shim, or what the parameter has to be, mm.
        instead: what the parameter of the block in the shop is, mm.
        parameter: of the block; empty for a shim.
        answer: the setting that is possible with it.
    """

    kind: Literal["usual shim", "odd shim", "block"]
    size: float
    instead: float = 0.0
    parameter: str = ""
    answer: Answer


Searcher = AlongTable | Upward


def closers(searcher: Searcher, library: Library, inch: bool) -> list[Closer]:
    """What would bring the face on the mark, or nearer than it comes now: the smallest thing first.

    Args:
        searcher: whose best answer is not on the mark.
        library: to try blocks of other sizes.
        inch: usual shims are in thousandths of an inch.
    """
    best = next(iter(answers(searcher, 1)), None)
    # What leaves it further out than is good is no help.
    now = min(abs(best.error) if best is not None else math.inf, searcher.question.good + SETTING.exact)
    out = []
    usual = _usual_shim(searcher, inch, now)
    if usual is not None:
        out.append(usual)
    if usual is None or abs(usual.answer.error) > SHOP.contact:
        odd = _odd_shim(searcher)
        if odd is not None:
            out.append(odd)
        block = _block(searcher, library)
        if block is not None:
            out.append(block)
    return out


def answers(searcher: Searcher, most: int) -> list[Answer]:
    """The best answers for which there is room on the table."""
    out: list[Answer] = []
    for one in searcher.ranked(_SPARE * most):
        answer = one.build()
        if answer is not None:
            out.append(answer)
        if len(out) == most:
            break
    return out


_SPARE = 10  # times as many settings are looked at as wanted: some stand over the table's edge


def _usual_shim(searcher: Searcher, inch: bool, now: float) -> Closer | None:
    """The thinnest usual shim with which it comes nearest; None where none helps."""
    sizes = [size * 0.0254 for size in SETTING.usual_inch] if inch else list(SETTING.usual)
    best: Closer | None = None
    for size in sizes:
        for answer in answers(searcher.with_shim(size), 1):
            least = abs(best.answer.error) if best is not None else now
            if abs(answer.error) < least - SETTING.exact:
                best = Closer(kind="usual shim", size=size, answer=answer)
    return best


def _odd_shim(searcher: Searcher) -> Closer | None:
    """The thinnest shim, of whatever thickness, that leaves no error."""
    try:
        lacking = searcher.missing()
    except TooMany:  # so many sums that hardly anything is lacking
        return None
    for size in lacking:
        if size > SETTING.thickest:
            return None
        for answer in answers(searcher.with_shim(size), 1):
            if answer.exact:
                return Closer(kind="odd shim", size=size, answer=answer)
    return None


def _block(searcher: Searcher, library: Library) -> Closer | None:
    """The block whose size changes least to leave no error, without a shim."""
    tried: set[tuple[Part, str, float]] = set()
    slopes: dict[tuple[Part, str, float | None], float] = {}
    for owned, lacking, place in searcher.bare():
        for name, parameter in parameters(type(owned.part)).items():
            if parameter.kind != "length":
                continue
            key = (owned.part, name, place(owned.part))
            if key not in slopes:
                slopes[key] = _moved_by(owned.part, name, place, library)
            if abs(slopes[key]) < 1e-6:
                continue
            now = float(getattr(owned.part, name))
            value = round(now + lacking / slopes[key], 6)
            if (owned.part, name, value) in tried:
                continue
            tried.add((owned.part, name, value))
            made = _made(owned.part, {name: value}, library)
            for answer in answers(searcher.with_block(made), 1) if made is not None else ():
                if answer.exact:
                    return Closer(kind="block", size=value, instead=now, parameter=name, answer=answer)
        if len(tried) > _TRIED:
            return None
    return None


_TRIED = 60  # sizes of blocks; the search goes on to ever larger changes, and a second is long enough to wait


def _moved_by(part: Part, name: str, place: Callable[[Part], float | None], library: Library) -> float:
    """How far the face goes for each mm of a parameter; 0 where it stays or there is no such block."""
    before = place(part)
    for by in (1.0, -1.0):
        other = _made(part, {name: float(getattr(part, name)) + by}, library)
        after = place(other) if other is not None else None
        if before is not None and after is not None:
            return (after - before) * by
    return 0.0


def _made(part: Part, changes: dict[str, float], library: Library) -> Part | None:
    """The same block with other sizes; None where it cannot be made."""
    given: dict[str, object] = {name: getattr(part, name) for name in parameters(type(part))}
    try:
        return library.make(part.model, part.pattern, {**given, **changes})
    except ModelError:
        return None
