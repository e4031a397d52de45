"""From one setup to the next, in words: what stays, what goes where in which order, and what small things it takes."""

from __future__ import annotations

from collections import deque
from collections.abc import Collection, Hashable, Iterator, Sequence
from dataclasses import dataclass
from typing import Final, Literal

from fixture3d.errors import one_line
from fixture3d.job import Job
from fixture3d.job.inventory import size_in_words
from fixture3d.job.same_block import block_kind
from fixture3d.sheet.data import block_row, small_rows
from fixture3d.swap.puzzle import Answer, Step, solve
from fixture3d.swap.spots import Spot, marked, puzzle_of
from fixture3d.swap.tables import refuse_other_table

Doing = Literal["take off", "lay by", "move", "set anew", "put on", "put back"]
ASSUMED: Final = (
    "Both setups are taken as they are planned: whether they are right is what check says.",
    "Each block goes straight up from what it stands on and comes straight down, a clamp on the table's edge goes "
    "level. Room for the hand, and the way past other blocks in the air, are not looked at.",
    "Of each kind of block the shop is taken to own as many as the larger of the two setups needs.",
)


_DONE: Final[dict[str, Doing]] = {"off": "take off", "on": "put on", "move": "move", "set": "set anew"}


@dataclass(frozen=True, kw_only=True)
class Where:
    """How a block stands, in words of the sheet; texts are empty where there is nothing to say."""

    hole: str
    turn: str
    setting: str
    shims: str
    others: str

    def words(self) -> str:
        """All in one line: ``S7 at 270°, notch 10``."""
        turned = f"{self.hole} at {self.turn}" if self.turn and self.turn != "any" else self.hole
        return ", ".join(part for part in (turned, self.setting, self.shims and f"shims {self.shims}") if part)

    def but(self, other: Where) -> str:
        """What is otherwise at the other one, in the same place: ``notch 3 to notch 10``."""
        told = []
        for label, a, b in (
            ("", self.setting, other.setting),
            ("shims ", self.shims, other.shims),
            ("", self.others, other.others),
        ):
            if a != b:
                told.append(f"{label}{a or 'none'} to {label}{b or 'none'}")
        return "; ".join(told)


@dataclass(frozen=True, kw_only=True)
class Line:
    """One thing to do.

    Attributes:
        number: from 1.
        do: "lay by" and "put back" are two moves of a block that must wait on the rack.
        block: name in the first setup; in the second where it comes from the rack.
        becomes: its name in the second setup where that is another one; else empty.
        model: of the library.
        size: what is not usual about it, and its mark where it has one.
        before: how it stands before; None when it comes from the rack.
        after: how it stands then; None when it goes to the rack.
        spots: of the puzzle, before and after; None likewise.
    """

    number: int
    do: Doing
    block: str
    becomes: str
    model: str
    size: str
    before: Where | None
    after: Where | None
    spots: tuple[int | None, int | None]


@dataclass(frozen=True, kw_only=True)
class Small:
    """Dowels, bolts or shims of one size: how many before and after."""

    what: str
    before: int
    after: int


@dataclass(frozen=True, kw_only=True)
class Swap:
    """The way from one setup to the next.

    Attributes:
        before: the setup that stands.
        after: the one that shall stand.
        spots: places of both.
        lines: what to do, in this order.
        stays: blocks that nobody touches: name before and after.
        moves: how many blocks are lifted.
        least: fewer than this cannot do.
        proven: the search came to its end.
        shortest: no other way with as few moves is known to carry blocks less far; False where that was not settled.
        opened: clamps that are opened first.
        work: the work that must be taken off first.
        small: dowels, bolts and shims whose number changes.
        stuck: names of blocks that stand in each other's way, with their setup; no lines then.
        notes: what to mind, in sentences.
    """

    before: Job
    after: Job
    spots: tuple[Spot, ...]
    lines: tuple[Line, ...]
    stays: tuple[tuple[str, str], ...]
    moves: int
    least: int
    proven: bool
    shortest: bool
    opened: tuple[str, ...]
    work: bool
    small: tuple[Small, ...]
    stuck: tuple[str, ...]
    notes: tuple[str, ...]


def swap(before: Job, after: Job) -> Swap:
    """The fewest moves from one setup to the next.

    Args:
        before: the setup that stands.
        after: the one that shall stand, on the same table.

    Raises:
        FixtureError: they are not set up on one table.
    """
    notes = list(refuse_other_table(before, after))
    puzzle, spots = puzzle_of(before, after)
    answer = solve(puzzle, [spot.at for spot in spots])
    hooked = dict.fromkeys(one_line(spot.seat.name) for spot in spots if spot.hooked)
    if hooked:
        notes.append(
            f"{', '.join(hooked)} {'reaches' if len(hooked) == 1 else 'reach'} under the table through a slot: the way "
            "in and out is not looked at"
        )
    notes += _perhaps_there(spots, len(puzzle.old))
    return Swap(
        before=before,
        after=after,
        spots=spots,
        lines=_lines(answer, spots, len(puzzle.old)),
        stays=tuple((one_line(spots[i].seat.name), one_line(spots[j].seat.name)) for i, j in answer.stays),
        moves=answer.moves,
        least=answer.least,
        proven=answer.proven,
        shortest=answer.shortest,
        opened=tuple(one_line(seat.name) for seat in before.seats.values() if seat.clamp),
        work=bool(before.pieces()),
        small=_small(before, after),
        stuck=_stuck(answer, spots, len(puzzle.old)),
        notes=tuple(notes),
    )


def _perhaps_there(spots: Sequence[Spot], first: int) -> Iterator[str]:
    """A sentence for each mark that the second setup asks for, where one such block may stand already, unnamed."""
    named = {marked(spot.seat) for spot in spots[:first]}
    for spot in spots[first:]:
        mark = marked(spot.seat)
        if not mark or mark in named:
            continue
        kind = block_kind(spot.seat)
        like = [one_line(s.seat.name) for s in spots[:first] if block_kind(s.seat) == kind and not marked(s.seat)]
        if like:
            yield (
                f"{one_line(spot.seat.name)} shall be the block marked {one_line(mark)}, which is taken from the rack: "
                f"look whether it is {' or '.join(like)}, whose mark the first setup does not say"
            )


def where(spot: Spot) -> Where:
    """How a block stands, as the sheet says it."""
    row = block_row(spot.job, spot.seat)
    return Where(**{key: row[key] for key in ("hole", "turn", "setting", "shims", "others")})


def _lines(answer: Answer, spots: Sequence[Spot], first: int) -> tuple[Line, ...]:
    """The steps with their names; what goes to the rack and comes from there again is told as one block."""
    wanted = {marked(spot.seat) for spot in spots[first:]} - {""}
    comes = [_which(spots[s.new], wanted) for s in answer.steps if s.do == "on" and s.new is not None]
    waiting: dict[Hashable, deque[int]] = {}
    out = []
    for number, step in enumerate(answer.steps, start=1):
        kind = _which(spots[step.old if step.old is not None else _sure(step.new)], wanted)
        do = _DONE[step.do]
        origin = step.old
        if step.do == "off" and comes.count(kind) > len(waiting.get(kind, ())):
            do = "lay by"
            waiting.setdefault(kind, deque()).append(_sure(step.old))
        elif step.do == "on":
            comes.remove(kind)
            if waiting.get(kind):
                do, origin = "put back", waiting[kind].popleft()
        out.append(_line(number, do, step, spots, origin))
    return tuple(out)


def _which(spot: Spot, wanted: Collection[str]) -> Hashable:
    """Kind of a block, and its mark where the second setup asks for it: only that very one is put back there."""
    mark = marked(spot.seat)
    return block_kind(spot.seat), mark if mark in wanted else ""


def _line(number: int, do: Doing, step: Step, spots: Sequence[Spot], origin: int | None) -> Line:
    last = step.new if step.new is not None else step.old
    here, there = spots[origin if origin is not None else _sure(last)], spots[_sure(last)]
    name, then = one_line(here.seat.name), one_line(there.seat.name)
    size = one_line(size_in_words(here.seat.part, there.job.scene.units))
    mark = marked(there.seat) or marked(here.seat)
    return Line(
        number=number,
        do=do,
        block=name,
        becomes=then if step.new is not None and then != name else "",
        model=one_line(here.seat.model),
        size=f"{size}, marked {one_line(mark)}" if mark else size,
        before=None if step.old is None else where(spots[step.old]),
        after=None if step.new is None else where(spots[step.new]),
        spots=(step.old, step.new),
    )


def _sure(spot: int | None) -> int:
    assert spot is not None
    return spot


def _small(before: Job, after: Job) -> tuple[Small, ...]:
    one = {row["what"]: int(row["count"]) for row in small_rows(before)}
    two = {row["what"]: int(row["count"]) for row in small_rows(after)}
    return tuple(
        Small(what=what, before=one.get(what, 0), after=two.get(what, 0))
        for what in dict.fromkeys((*one, *two))
        if one.get(what, 0) != two.get(what, 0)
    )


def _stuck(answer: Answer, spots: Sequence[Spot], first: int) -> tuple[str, ...]:
    return tuple(
        f"{one_line(spots[k].seat.name)} ({'where it stands' if k < first else 'where it shall stand'})"
        for k in answer.stuck
    )
