"""From a need to blocks in their places: the simplest design that does it, the nearest place first."""

from __future__ import annotations

import re
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Final

from fixture3d.checks.base import Progress, quiet
from fixture3d.checks.locating_kinds import SHIPPED
from fixture3d.errors import FixtureError, listed, one_line
from fixture3d.job import Job
from fixture3d.job.inventory import table_pattern
from fixture3d.need.corner import Candidate
from fixture3d.need.designs import Designs
from fixture3d.need.spot import SIDES, NotPossible, Spot, spot_of
from fixture3d.need.trying import Outcome, Tries
from fixture3d.need.ways import LOOKS
from fixture3d.part import parameters
from fixture3d.scene.schema import Place
from fixture3d.tolerance import LOCATING, SHOP

TRIES: Final = 100
"""Places that are tried for one need; that they were not all is told."""
_ENOUGH: Final = 24
"""Places beside the asked one that are tried for the nearest that would work."""
_MEETS: Final = 2.5  # mm; the top edge of a stop is broken by 2, and below that it wants to meet more than a line
_RISES: Final = 0.1  # sine; a piece that rises more is higher at one end than at the other
_LETTER: Final = {"vee_block": "V", "riser": "R", "nest": "N"}


@dataclass(frozen=True, kw_only=True)
class Need:
    """What is asked for.

    Attributes:
        piece: name of the piece.
        sides: where blocks may stand, below first.
        at: mm along the piece; None for its middle.
        height: mm above the table: of what carries from below (the middle of a round), or of a stop's top; None for
            what the scene gives.
        name: of the block that holds it; empty for the next free one.
        model: the only model that is wanted; empty for any.
        given: parameters, in the file's units.
        stack: on a riser in any case.
        avoid: places (`place_words`) that are not taken, because a check fails with them.
    """

    piece: str
    sides: tuple[str, ...]
    at: float | None = None
    height: float | None = None
    name: str = ""
    model: str = ""
    given: Mapping[str, object] = field(default_factory=dict)
    stack: bool = False
    avoid: frozenset[str] = frozenset()


@dataclass(frozen=True, kw_only=True)
class Held:
    """What holds it.

    Attributes:
        places: the blocks, the lowest first.
        words: what was worked out.
        after: the setup with them.
        tried: places that were tried.
        off: mm from the asked place to what touches.
        at: mm along the piece, of the middle of what touches; None for a piece without an axis.
        spots: the places that were asked for.
        owned: the shop owns the block, so that none is to be made.
        lost: welds of which the torch then reaches less, because there is no place where it does not.
    """

    places: tuple[Place, ...]
    words: str
    after: Job
    tried: int
    off: float
    at: float | None
    spots: tuple[Spot, ...]
    owned: bool
    lost: tuple[str, ...]


def hold(job: Job, need: Need, taken: Collection[str] = (), progress: Progress = quiet) -> Held:
    """The blocks that hold a piece as asked, tried in the setup.

    Args:
        job: the setup.
        need: what is asked for.
        taken: names that no block may get, besides those of the job.
        progress: is told how many places were tried.

    Raises:
        FixtureError: the need itself makes no sense.
        NotPossible: nothing does it; which measure, why, and the nearest thing that would work.
    """
    spots = tuple(spot_of(job, need.piece, side, need.at) for side in need.sides)
    _right_height(job, need, spots[0])
    reach, lower = _within_reach(job, need, spots[0])
    if reach is not None:
        spots = tuple(spot_of(job, need.piece, side, reach) for side in need.sides)
    names = {*taken, *job.seats, *(body.name for body in job.pieces())}
    if need.name and need.name in names:
        raise FixtureError(
            f'--name "{one_line(need.name)}": there is one of that name; nearest: {after(need.name, names)}'
        )
    designs = Designs(job, spots, model=need.model, given=need.given, height=need.height, stack=need.stack)
    tries, pitch = Tries(job), min(job.table.pitch)
    first, best, beside = "", None, 0
    less: Held | None = None
    for candidate in designs.all():
        if tries.count >= TRIES or (beside >= _ENOUGH and best is not None):
            break
        places = named(candidate, need.name, names)
        if place_words(places) in need.avoid:
            continue
        outcome = tries.put(places, spots, reason=not first)
        progress("place", tries.count, TRIES)
        first = (
            first or outcome.why or (f"the torch then reaches less of {listed(outcome.lost)}" if outcome.lost else "")
        )
        if outcome.why or outcome.after is None or (outcome.lost and (less is not None or outcome.off > pitch)):
            continue
        if outcome.off > pitch:
            beside += 1
            best = min((best or (outcome.off, outcome)), (outcome.off, outcome), key=lambda one: one[0])
            continue
        held = Held(
            places=places,
            words=candidate.words + lower,
            after=outcome.after,
            tried=tries.count,
            off=outcome.off,
            at=None if spots[0].along is None else outcome.at,
            spots=spots,
            owned=candidate.owned,
            lost=outcome.lost,
        )
        if not held.lost:
            return held
        less = held
    if less is not None and best is None:
        return less
    raise NotPossible(_why(job, need, designs, tries, first, best))


def _right_height(job: Job, need: Need, spot: Spot) -> None:
    """Refuse a height that cannot be: from below another than the scene gives, from a side one that misses the face."""
    if need.height is None:
        return
    pattern = table_pattern(job.scene)
    show = pattern.show
    if spot.side != "below":
        low = next(float(body.box[0, 2]) for body in job.pieces() if body.name == spot.piece)
        lying = spot.along is None or abs(float(spot.along[2])) < _RISES
        least = low + spot.corner * lying if not (spot.diameter and lying) else float(spot.centre[2])
        usual = pattern.neat(float(spot.point[2]) + LOCATING.over)
        known = [job.library.entries.get(name) for name in ([need.model] if need.model else SHIPPED)]
        sizes = [one for entry in known if entry is not None if (one := parameters(entry.model).get("height"))]
        if need.height < least + _MEETS - SHOP.contact:
            lowest = min((one.resolved("low", pattern) for one in sizes), default=0.0)
            raise NotPossible(
                f"--height {show(need.height)}: the side of {need.piece} is met only above {show(least)}, by a stop "
                f"whose top edge is broken; nearest: --height {show(pattern.neat(max(least + _MEETS, lowest)))}"
            )
        most = max((one.resolved("high", pattern) for one in sizes), default=need.height)
        if need.height > most + SHOP.contact:
            raise NotPossible(
                f"--height {show(need.height)}: {need.model or 'a stop'} is {show(most)} high at the most; nearest: "
                f"--height {show(min(usual, most))}"
            )
        return
    lies, what = (float(spot.centre[2]), "middle") if spot.diameter else (float(spot.point[2]), "underside")
    if abs(need.height - lies) > SHOP.contact:
        raise NotPossible(
            f"--height {show(need.height)}: the {what} of {need.piece} lies {show(lies)} above the table here; "
            f"nearest: --height {show(lies)}, or change lift in [weldment] by {show(need.height - lies)}"
        )


def _within_reach(job: Job, need: Need, spot: Spot) -> tuple[float | None, str]:
    """Of a piece that rises, how far along it a block beside it still reaches, if not to its middle; and in words.

    Raises:
        NotPossible: the asked place, or all of the piece, lies higher than any block is.
    """
    if "below" in need.sides or spot.along is None:
        return None, ""
    if abs(float(spot.along[2])) < _RISES:
        ends = [way for side in need.sides[1:] if abs(way := float(spot.along @ SIDES[side])) > LOOKS]
        if need.at is not None or not ends:
            return None, ""
        inside = min(job.table.pitch) / 2.0  # both walls of a corner begin beside its relief
        return max(spot.length - inside, 0.0) if ends[0] > 0.0 else min(inside, spot.length), ""
    pattern, key = table_pattern(job.scene), "depth" if need.model == "vee_block" else "height"
    models = [need.model] if need.model else SHIPPED if len(need.sides) == 1 else ["corner_block"]
    known = [parameters(job.library.entries[name].model).get(key) for name in models if name in job.library.entries]
    most = max((one.resolved("high", pattern) for one in known if one is not None), default=float("inf"))
    most = most if need.height is None or key == "depth" else min(most, need.height)
    z, show = float(spot.point[2]), pattern.show
    if z <= most - LOCATING.over + SHOP.contact:
        return None, ""
    what = f"{need.model or ('a stop' if len(need.sides) == 1 else 'a corner_block')} is {show(most)} high"
    what += " at the most" if need.height is None or need.height > most else " as asked"
    low = next(float(body.box[0, 2]) for body in job.pieces() if body.name == spot.piece)
    if low > most - _MEETS:
        raise NotPossible(
            f"{need.piece} begins {show(low)} above the table, and {what}; nearest: the work laid lower by "
            f"{show(pattern.neat(low - most + _MEETS))} (lift in [weldment])"
        )
    at = spot.at + (most - LOCATING.over - z) / float(spot.along[2])
    at = round(min(max(at, 0.0), spot.length), 3)
    if need.at is not None:
        raise NotPossible(
            f"--at {show(need.at)}: {need.piece} lies {show(z)} above the table there, and {what}; nearest: "
            f"--at {show(at)}"
        )
    return at, f", as high as it reaches: the middle of {need.piece} lies {show(z)} above the table and {what}"


def _why(job: Job, need: Need, designs: Designs, tries: Tries, first: str, best: tuple[float, Outcome] | None) -> str:
    """One line: what is impossible, why, and what would work."""
    show = table_pattern(job.scene).show
    sides = " and ".join(need.sides)
    head = f"nothing holds {need.piece} from {sides}"
    if best is not None:
        spot = designs.spots[0]
        told = f"{head} at {show(spot.at)} along it: {first}" if first else f"{head} at {show(spot.at)} along it"
        return f"{told}; nearest: --at {show(best[1].at)}"
    notes = list(designs.notes)
    if tries.count:
        many = "the first " if tries.count >= TRIES else ""
        notes.append(f"{many}{tries.count} places tried, at the nearest {first}")
    if not notes:
        if need.model:
            notes.append(f'model "{need.model}" does not hold such a face from there; leave the model out')
        else:
            notes.append(
                "no stop comes to lie there from a hole, made, on a notch or with a shim; nearest: another --from"
            )
    return f"{head}: {'; '.join(notes)}"


def named(candidate: Candidate, name: str, names: Collection[str]) -> tuple[Place, ...]:
    """The places with names that are free; the one that holds the piece gets the asked one."""
    used = {*names, *([name] if name else [])}
    renamed: dict[str, str] = {}
    out: list[Place] = []
    last = len(candidate.places) - 1
    for k, place in enumerate(candidate.places):
        new = name if k == last and name else after(f"{_LETTER.get(place.model, 'S')}0", used)
        used.add(new)
        renamed[place.name] = new
        on = place.on if place.on is None else renamed.get(place.on, place.on)
        out.append(place.model_copy(update={"name": new, "on": on}))
    return tuple(out)


def after(name: str, names: Collection[str]) -> str:
    """The next name that is free: V3 behind V2.

    >>> after("V1", {"V1", "V2"}), after("post", {"post"})
    ('V3', 'post 2')
    """
    found = re.fullmatch(r"(.*?)([0-9]{1,6})", name)
    stem, number = (found[1], int(found[2])) if found else (f"{name} ", 1)
    while f"{stem}{number}" in names or number == 0 or (not found and number == 1):
        number += 1
    return f"{stem}{number}"


def place_words(places: Sequence[Place]) -> str:
    """Model, hole and turn of the blocks, by which a place is known again."""
    return ", ".join(f"{one.model} in {one.hole or one.socket} at {one.turn:g}" for one in places)


def several(job: Job, needs: Sequence[Need], progress: Progress = quiet) -> tuple[Held, ...]:
    """One after the other, each in the setup with those before it."""
    out: list[Held] = []
    for need in needs:
        name = need.name if not out or not need.name else after(need.name, {*job.seats, need.name})
        found = hold(job, Need(**{**need.__dict__, "name": name}), progress=progress)
        out.append(found)
        job = found.after
    return tuple(out)
