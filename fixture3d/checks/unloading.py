"""Loading and unloading: every piece goes in along a straight way, and the tacked work comes out again."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

import numpy as np

from fixture3d.checks.base import Check, Finding, Progress, Result, point
from fixture3d.checks.unloading_answers import Lot, Missing, Unloading, work_out
from fixture3d.checks.unloading_rules import NOT_COVERED, RULES
from fixture3d.errors import listed
from fixture3d.job import Job
from fixture3d.job.coming_out import Off, Out, out_in_words

__all__ = ["CHECK"]


def _needs(job: Job) -> str:
    return "" if job.pieces() else "the scene has no weldment"


def run(job: Job, progress: Progress) -> Result:
    """Find an order in which all goes in by straight ways, and how the welded work comes off the table again.

    The order is the one that locating tells. For unloading, what is welded together or touches is one rigid body, and
    clamps are open. Where no way is free, the fewest blocks are sought that have to go first and can.
    """
    progress("unloading", 0, 1)
    found = work_out(job)
    findings = [*(_missing(job, one) for one in found.missing)]
    for lot in found.lots:
        findings += comes_out(lot, len(found.lots))
    progress("unloading", 1, 1)
    return Result(
        name=CHECK.name,
        status="ran",
        findings=tuple(findings),
        figures={"loading": _loading_rows(found), "unloading": [_lot_row(lot) for lot in found.lots]},
        not_covered=tuple(_left_out(job, found)),
    )


CHECK = Check(
    name="unloading",
    rules=RULES,
    needs=_needs,
    run=run,
    gist="turning the work on its way, spring-back, weld beads, hands, slings and cranes",
    not_covered=NOT_COVERED,
)


def _left_out(job: Job, found: Unloading) -> Iterator[str]:
    yield from NOT_COVERED
    sunk = dict.fromkeys(name for lot in found.lots for name in lot.sunk)
    if sunk:
        yield f"What reaches into the work is left out of its way: {listed(list(sunk))}."
    if not found.loading.tried_all:
        yield "Not every order of opening clamps was tried."


def _missing(job: Job, one: Missing) -> Finding:
    """Pieces for which there is no way in."""
    names = [piece.name for piece in one.pieces]
    by = list(dict.fromkeys(name for piece in one.pieces for name in piece.by if name not in names))
    said = "; ".join(_meets(piece.name, piece.words, piece.by) for piece in one.pieces)
    boxes = [body.box for body in job.pieces() if body.name in names]
    return CHECK.finding(
        "no-way-in",
        [*names, *by],
        f"no single straight way in, in any order: {said}",
        level="warn" if one.block else "fail",
        at=point(np.stack(boxes).mean(axis=(0, 1))),
        remedy=one.helps
        or f"set {listed(by or names)} another way, or give the joint a shape that can be laid in from above; no block "
        "and no piece of those in the way helps by coming later",
    )


def _meets(name: str, words: str, by: Sequence[str]) -> str:
    return f"{name}, {words}, meets {listed(by)}" if words else f"{name} is lain on by {listed(by)}"


def comes_out(lot: Lot, of: int) -> Iterator[Finding]:
    """What stands against a lot's way out; nothing where one is free."""
    who, at = called(lot, of), lot.middle
    if lot.cleared is not None:
        names = list(lot.first_off)
        blocks = [one for one in lot.cleared.off if not one.pin and not one.backs]
        open_ = [one.name for one in lot.cleared.off if one.clamp]
        stand = "stand" if len(open_) > 1 else "stands"
        clamps = f"; {listed(open_)} {stand} in the way even when open" if open_ else ""
        verb = "are" if len(names) > 1 else "is"
        yield CHECK.finding(
            "take-off-first",
            [*names, *lot.pieces],
            f"{who} has no straight way out until {listed(names)} {verb} {off_word(lot.cleared.off)}{clamps}",
            level="warn" if len(blocks) > 1 else "note",
            at=at,
            remedy=_first(lot.cleared.off, lot.cleared.way)
            + ("" if lot.cleared.proven else "; fewer may do: not every set was looked at"),
        )
    elif lot.kept_way is not None:
        way = out_in_words(np.array(lot.kept_way))
        stays = listed(lot.kept_by)
        yield CHECK.finding(
            "stuck",
            [*lot.kept_by, *lot.pieces],
            f"{who} has no single straight way out, whatever is taken off first: to {way} {stays} "
            f"{'are' if len(lot.kept_by) > 1 else 'is'} in the way, and cannot be taken away with the work there",
            at=at,
            remedy=lot.helps
            or f"set {stays} so that the work is not closed round it, or weld the joint that closes it elsewhere; no "
            "single piece left out, and no single block, helps",
        )


def off_word(off: Sequence[Off]) -> str:
    """What is done to them."""
    verbs = sorted({one.verb for one in off})
    if len(verbs) > 1:
        return "out of the way"
    return {"pull": "pulled", "back off": "backed off", "take off": "taken off"}[verbs[0]]


def _first(off: Sequence[Off], way: Out) -> str:
    """What to take off, in order and how, and the way out then."""
    if all(one.words == "straight up" for one in off) and len({one.verb for one in off}) == 1:
        return f"{off[0].verb} {listed([one.name for one in off])}, then {way.words}"
    said = ", then ".join(f"{one.verb} {one.name} ({one.words})" for one in off)
    return f"{said}, then {way.words}"


def called(lot: Lot, of: int) -> str:
    """A lot in words: by its only piece, or as the work."""
    if len(lot.pieces) == 1:
        return lot.pieces[0]
    return "the tacked work" if of == 1 else f"the tacked work with {lot.pieces[0]}"


def _loading_rows(found: Unloading) -> list[Mapping[str, Any]]:
    rows: list[Mapping[str, Any]] = [
        {
            "order": number,
            "what": step.what,
            "name": step.name,
            "direction": step.direction,
            "words": step.words,
            "after": list(step.after),
            "stopped_by": [],
        }
        for number, step in enumerate(found.loading.steps, start=1)
    ]
    return rows + [
        {
            "order": None,
            "what": "no way in",
            "name": one.name,
            "direction": one.direction,
            "words": one.words,
            "after": [],
            "stopped_by": list(one.by),
        }
        for one in found.loading.out
    ]


def _lot_row(lot: Lot) -> Mapping[str, Any]:
    ways = lot.ways or (() if lot.cleared is None else (lot.cleared.way,))
    return {
        "pieces": list(lot.pieces),
        "ways": [{"direction": w.direction, "words": w.words, "distance": w.distance} for w in ways],
        "first_off": [
            {
                "name": one.name,
                "verb": one.verb,
                "direction": one.direction,
                "words": one.words,
                "clamp": one.clamp,
                "pin": one.pin,
                "backs": one.backs,
            }
            for one in (lot.cleared.off if lot.cleared is not None else ())
        ],
        "fewest": None if lot.cleared is None else lot.cleared.proven,
        "stopped_by": list(lot.kept_by),
        "left_out": list(lot.sunk),
        "mass": lot.mass,
        "middle": lot.middle,
    }
