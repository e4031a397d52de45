"""An order of tacks and welds as a suggestion: common practice, no source; planning help, not a procedure.

Three habits of the trade decide, in this order: every joint is tacked before one is welded, and has its first tack
before any has its second; the next place is the one farthest from the last, so that opposite corners of a frame and
opposite sides of a joint take turns; and a bead runs from where its pieces are held towards their free end, so that
what it draws can still move. A steep weld is run upwards instead. How much the work draws is not worked out.

World mm; places are mm along the path of a weld. The same setup gives the same order however its file is sorted: where
two places are alike, names decide.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Literal

import numpy as np

from fixture3d.access.torch import Direction
from fixture3d.frame import Array
from fixture3d.job.clamping import placed_tip
from fixture3d.job.staging import pieces_along
from fixture3d.job.tack_places import Blocks, Line, Span, reached_spans, room_for_tacks
from fixture3d.job.taking_turns import Bead, Joint, Tack, far, in_turn, label, largest
from fixture3d.scene.schema import Clamp
from fixture3d.tolerance import NUMERIC, SHOP, TACKING

if TYPE_CHECKING:
    from fixture3d.access.welds import Weld
    from fixture3d.job.job import Job

BASIS = "a suggestion; common practice, no source"
_LEAST = 2  # tacks that a joint keeps: on one it turns
BEFORE_WELDING = (
    "Before the first weld check diagonals, twist and squareness: tacks can still be broken. Leave the work clamped "
    "until it is cool to the hand."
)


@dataclass(frozen=True, kw_only=True)
class Reach:
    """What the torch check says of one weld.

    Attributes:
        unreached: stretches where no torch position is free, from and to in mm along its path.
        way: in which direction its technique lets it be run.
    """

    unreached: tuple[Span, ...] = ()
    way: Direction = "either"


@dataclass(frozen=True, kw_only=True, eq=False)
class Step:
    """One tack or one weld.

    Attributes:
        kind: which of the two.
        weld: its name.
        start: where it begins, mm along the path.
        end: where it ends; less than ``start`` when it is run back along the path. Of a tack always more.
        direction: along the path or back; None of a tack, which is too short for it to matter.
        start_at: (3,) the point where it begins, world.
        end_at: (3,) likewise where it ends.
        length: mm, of the weld as a whole, what is reached and what is not.
        left_out: stretches of the weld that the torch does not reach, at its ends too.
        nth: which one of its joint it is, in words.
        why_now: why it is its turn; empty where there is nothing to choose.
        why_so: of a weld, why it is run this way.
    """

    kind: Literal["tack", "weld"]
    weld: str
    start: float
    end: float
    direction: Literal["forward", "back"] | None
    start_at: Array
    end_at: Array
    length: float
    left_out: tuple[Span, ...] = ()
    nth: str = ""
    why_now: str = ""
    why_so: str = ""

    @property
    def reached(self) -> float:
        """Of a weld, the mm that the torch reaches of it."""
        return self.length - sum(high - low for low, high in self.left_out)

    @property
    def reason(self) -> str:
        """All of it, a short sentence without a full stop."""
        return "; ".join(part for part in (self.nth, self.why_now, self.why_so) if part)


@dataclass(frozen=True, kw_only=True)
class Order:
    """The suggestion.

    Attributes:
        steps: all tacks, then all welds.
        notes: what is left out or should be known, one sentence each.
    """

    steps: tuple[Step, ...] = ()
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, eq=False)
class _Held:
    """A place where a piece is joined or held already."""

    what: str
    pieces: frozenset[str]
    at: Array


@dataclass
class _Notes:
    """Sentences in the order in which they were thought of, each once."""

    said: list[str] = field(default_factory=list)

    def add(self, sentence: str) -> None:
        """One more."""
        if sentence not in self.said:
            self.said.append(sentence)


def weld_order(job: Job, reach: Mapping[str, Reach] | None = None) -> Order:
    """Where to tack the welds of a job and in what order to run them.

    Args:
        job: the setup; welds of stages before it count as done.
        reach: by weld, what the torch check says; a weld that is not among them was not tried. None when that check
            did not run at all.

    Returns:
        Each weld that the torch reaches once, after all tacks; a note for each that it does not reach, and for each
        joint that cannot have two tacks.
    """
    notes = _Notes()
    if reach is None and job.welds:
        notes.add("Torch access was not checked, so every weld is taken to be within reach.")
    beads = list(_beads(job, reach, notes))
    joints: dict[Joint, list[Bead]] = {}
    for bead in beads:
        joints.setdefault(bead.joint, []).append(bead)
    whole = [frozenset(group) for group in job.joined]
    tacks: dict[Joint, list[Tack]] = {}
    for joint, members in sorted(joints.items()):
        if any(set(joint) <= group for group in whole):
            notes.add(f"{label(joint)}: one piece since an earlier stage, so it needs no tack.")
            continue
        tacks[joint] = _apart(list(_joint_tacks(members)))
        _thin(joint, tacks[joint], members, notes)
    for name in _loose(job, joints):
        notes.add(f"{name}: the torch reaches no weld of it, so it gets no tack: blocks and clamps alone hold it.")
    steps = [_tack_step(tack, nth, why) for tack, nth, why in in_turn(tacks)]
    steps += _weld_steps(job, joints)
    return Order(steps=tuple(steps), notes=tuple(notes.said))


# --- what there is ------------------------------------------------------------------------------------------------


def _beads(job: Job, reach: Mapping[str, Reach] | None, notes: _Notes) -> Iterable[Bead]:
    """The welds that can be run, by name; a note for each other one."""
    blocks = Blocks(job)
    pieces = {body.name: body for body in job.pieces()}
    for weld in sorted(job.welds, key=lambda one: one.name):
        if _is_closed(job, weld):
            notes.add(f"{weld.name}: inside a closed bore, so it is not in the order.")
            continue
        line = Line(weld)
        known = reach.get(weld.name) if reach is not None else Reach()
        if known is None:
            notes.add(f"{weld.name}: the torch was not tried there; it is taken to be within reach.")
            known = Reach()
        spans = tuple(reached_spans(line.length, known.unreached))
        if not spans:
            notes.add(f"{weld.name}: the torch does not reach it, so it is not in the order.")
            continue
        joint = tuple(sorted(weld.joins)) if all(weld.joins) else tuple(sorted(pieces_along(weld, pieces)))
        yield Bead(
            name=weld.name,
            joint=joint if len(joint) > 1 else (*joint, weld.name),
            line=line,
            spans=spans,
            way=known.way,
            room=room_for_tacks(weld, line, known.unreached, blocks),
            at=line.point((spans[0][0] + spans[-1][1]) / 2.0),
        )


def _is_closed(job: Job, weld: Weld) -> bool:
    found = job.found.welds.get(weld.name) if job.found is not None else None
    return found is not None and found.state == "closed"


# --- tacks --------------------------------------------------------------------------------------------------------


def _joint_tacks(members: Sequence[Bead]) -> Iterable[Tack]:
    """The tacks of one joint: as many as its lengths ask for; two on a stretch that is all it has."""
    alone = sum(bead.room.usable for bead in members) <= 1
    for bead in members:
        for spots in bead.room.pairs if alone else bead.room.spots:
            for low, high in spots:
                yield Tack(bead, low, high, bead.line.point((low + high) / 2.0))


def _apart(tacks: Sequence[Tack]) -> list[Tack]:
    """The tacks of a joint without those that it does not need.

    Round a corner two would run into each other, and one that is all of a short weld leaves nothing to weld; both go
    as long as two others are left.
    """
    kept: list[Tack] = []
    spare: list[Tack] = []
    for tack in sorted(tacks, key=lambda one: (-one.bead.line.length, one.rank)):
        near = any(one.bead is tack.bead and _run_together(one, tack) for one in kept)
        (spare if near or _is_whole(tack) else kept).append(tack)
    kept += spare[: max(0, _LEAST - len(kept))]
    return [tack for tack in tacks if tack in kept]


def _is_whole(tack: Tack) -> bool:
    """Whether a tack is all that is to be welded there."""
    return tack.high - tack.low >= sum(high - low for low, high in tack.bead.spans) - NUMERIC.merge


def _run_together(one: Tack, other: Tack) -> bool:
    """Whether two tacks of one weld are no further apart than one is long, round the corner that is between them."""
    line = one.bead.line
    first, second = sorted((one, other), key=lambda tack: tack.low)
    within = (low - NUMERIC.merge <= first.low and second.high <= high + NUMERIC.merge for low, high in line.stretches)
    if not line.closed and any(within):
        return False  # no corner between them: they were placed together
    gap = second.low - first.high
    if math.dist(line.point(0.0), line.point(line.length)) <= SHOP.contact:
        gap = min(gap, first.low + line.length - second.high)
    return gap < min(one.high - one.low, other.high - other.low) - NUMERIC.merge


def _loose(job: Job, joints: Mapping[Joint, Sequence[Bead]]) -> list[str]:
    """Pieces that have welds here, none of which is run."""
    joined = {name for joint in joints for name in joint} | {name for group in job.joined for name in group}
    return sorted({name for weld in job.welds for name in weld.joins if name} - joined)


def _thin(joint: Joint, tacks: Sequence[Tack], members: Sequence[Bead], notes: _Notes) -> None:
    """Say of a joint with fewer than two tacks why, and what follows; and which welds blocks leave without one."""
    tacked = {tack.bead.name for tack in tacks}
    for bead in members:
        if bead.name not in tacked and bead.room.near:
            names = " and ".join(bead.room.near)
            notes.add(f"{bead.name}: no place for a tack clear of {names}; it is only welded.")
    if len(tacks) < 2:
        found = "no place for a tack was found" if not tacks else "there is room for one tack only"
        notes.add(f"{label(joint)}: {found}, so it must stay clamped until it is welded.")


def _tack_step(tack: Tack, nth: str, why: str) -> Step:
    line = tack.bead.line
    return Step(
        kind="tack",
        weld=tack.bead.name,
        start=max(0.0, tack.low),
        end=min(line.length, tack.high),
        direction=None,
        start_at=line.point(tack.low),
        end_at=line.point(tack.high),
        length=line.length,
        nth=nth,
        why_now=why,
    )


# --- welds --------------------------------------------------------------------------------------------------------


def _weld_steps(job: Job, joints: Mapping[Joint, Sequence[Bead]]) -> Iterable[Step]:
    """Every weld once, each towards its free end."""
    held = list(_held(job, joints))
    for bead, nth, why in in_turn(joints):
        forward, reason = _towards(bead, held)
        low, high = bead.spans[0][0], bead.spans[-1][1]
        start, end = (low, high) if forward else (high, low)
        yield Step(
            kind="weld",
            weld=bead.name,
            start=start,
            end=end,
            direction="forward" if forward else "back",
            start_at=bead.line.point(start),
            end_at=bead.line.point(end),
            length=bead.line.length,
            left_out=tuple(reached_spans(bead.line.length, bead.spans)),
            nth=nth,
            why_now=why,
            why_so=reason,
        )
        held.append(_Held(bead.name, frozenset(bead.joint), bead.at))


def _held(job: Job, joints: Mapping[Joint, Sequence[Bead]]) -> Iterable[_Held]:
    """Where pieces are held once all is tacked: at every joint, under every clamp, at every weld that is done."""
    for joint, members in sorted(joints.items()):
        yield _Held(label(joint), frozenset(joint), np.mean([bead.at for bead in members], axis=0))
    for name, seat in sorted(job.seats.items()):
        if isinstance(seat.place, Clamp) and seat.place.presses and (tip := seat.part.tip()) is not None:
            yield _Held(name, frozenset([seat.place.presses]), placed_tip(seat, tip)[0])
    for weld in sorted(job.done, key=lambda one: one.name):
        line = Line(weld)
        yield _Held(weld.name, frozenset(name for name in weld.joins if name), line.point(line.length / 2.0))


def _towards(bead: Bead, held: Sequence[_Held]) -> tuple[bool, str]:
    """Whether a weld is run along its path, and why: the end farther from where its pieces are held is its last."""
    if bead.way != "either":
        return bead.way == "forward", "its technique is run this way only"
    if bead.line.closed:
        return True, "it goes round, so either way"
    low, high = bead.line.point(bead.spans[0][0]), bead.line.point(bead.spans[-1][1])
    rise = float(high[2] - low[2])
    if abs(rise) > math.sin(math.radians(TACKING.steep)) * float(np.linalg.norm(high - low)):
        return rise > 0.0, "upwards, for it is steep"
    # The joint itself is where the bead is; all else that holds one of its pieces counts.
    own = label(bead.joint)
    others = [one for one in held if one.pieces & set(bead.joint) and one.what != own]
    if not others:
        return True, "nothing else holds its pieces, so either way"
    at_low, at_high = far(low, [one.at for one in others]), far(high, [one.at for one in others])
    if abs(at_low - at_high) < TACKING.alike:
        return True, "its ends are alike, so either way"
    from_here = low if at_high > at_low else high
    nearest = largest((-far(from_here, [one.at]), one.what, one) for one in others)
    return at_high > at_low, f"away from {nearest.what} to its free end"
