"""Locating: each loose piece has one place to lie in, and nothing decides that place twice."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from typing import Any

from fixture3d.checks.base import Check, Finding, Progress, Result
from fixture3d.checks.locating_answers import Answer, Free, Meeting, Row, answer
from fixture3d.checks.locating_rules import NOT_COVERED, RULES
from fixture3d.errors import listed
from fixture3d.job import Job
from fixture3d.tolerance import LOCATING
from fixture3d.units import show

__all__ = ["CHECK"]

_RULE_OF = {
    "supports": "supports-four",
    "vees": "supports-four",
    "side-stops": "stops-spare",
    "end-stops": "stops-spare",
    "pins": "stops-spare",
    "supports-on-one-line": "supports-in-line",
    "too-near": "stops-near",
}
_SUNK = "reaches into the piece"  # that is told as an overlap
_LOW = "its face ends below"  # that is told as corner-radius, where the stock is listed


def _needs(job: Job) -> str:
    return "" if job.pieces() else "the scene has no weldment"


def run(job: Job, progress: Progress) -> Result:
    """Judge every loose piece: what locates it, what it can still do, and what decides too much.

    Contacts are found from the solids. Blocks and plates locate; a piece locates another where it is itself located
    that way; clamps and dowels do not locate. Pieces that earlier stages welded together are one.
    """
    progress("locating", 0, 1)
    found = answer(job)
    findings: list[Finding] = []
    for row in found.rows:
        findings += _falls(job, row)
        findings += _free(job, row)
        findings += _over(job, row)
        findings += _doubts(job, row)
        findings += _unread(job, row)
    findings += _opposed(found)
    progress("locating", 1, 1)
    return Result(
        name=CHECK.name,
        status="ran",
        findings=tuple(findings),
        figures={"pieces": _figures(job, found), "whole": [_whole(found)]},
        not_covered=NOT_COVERED,
    )


CHECK = Check(
    name="locating",
    rules=RULES,
    needs=_needs,
    run=run,
    gist="how true the one place is, friction, spring-back",
    not_covered=NOT_COVERED,
)


def _sunk(row: Row) -> bool:
    """Whether a block reaches deep into the piece: where it would lie then is not to be told."""
    return any(one.words.startswith(_SUNK) for one in row.doubts)


def _carried(row: Row) -> bool:
    """Whether anything carries it at all; if not, that is told by another rule."""
    return not any(m.kind == "falls" and "nothing carries it" in m.words for m in row.motions)


def called(row: Row) -> str:
    """The piece, or the pieces that are one, in words."""
    more = len(row.pieces) - 1
    return (
        row.name if not more else f"{row.name} with the {more} welded to it" if more > 1 else " with ".join(row.pieces)
    )


def _falls(job: Job, row: Row) -> Iterator[Finding]:
    falls = [m for m in row.motions if m.kind == "falls"]
    if row.rests or not falls or not row.by or _sunk(row) or not _carried(row):
        return
    x, y, _ = (show(v, job.scene.units) for v in row.mass)
    clamps = _clamps(job, row)
    yield CHECK.finding(
        "piece-falls",
        [row.name, *clamps],
        f"{called(row)} does not stay as it lies{f' until {listed(clamps)} is shut' if clamps else ''}: it "
        f"{falls[0].words}",
        level="warn" if clamps else "fail",
        at=row.mass,
        remedy=f"it lies against {listed(row.by)}: bring one of them under its middle, at x {x}, y {y} from A1, or add "
        f"a support on the side that drops{', or hold it until the clamp is shut' if clamps else ''}",
    )


def _free(job: Job, row: Row) -> Iterator[Finding]:
    free = [m for m in row.motions if m.kind == "free"]
    falls = not row.rests and any(m.kind == "falls" for m in row.motions)
    if not free or falls or _sunk(row):
        return
    yield CHECK.finding(
        "piece-free",
        [row.name, *_clamps(job, row)],
        f"{called(row)} {told_together(free)}{_pressed(job, row)}",
        at=next((m.at for m in free if m.at is not None), row.mass),
        remedy=row.stop,
    )


def told_together(free: list[Free]) -> str:
    """Free motions in one sentence: both senses of one as one."""
    return listed([f"{words} ({' and '.join(senses)})" for words, senses in senses_of(o.words for o in free).items()])


def senses_of(words: Iterable[str]) -> dict[str, list[str]]:
    """The senses of each motion under what is said of all of them: "can slide along its length": ["+Y", "-Y"]."""
    said: dict[str, list[str]] = {}
    for one in words:
        what, sense = without_sense(one)
        said.setdefault(what, []).append(sense)
    return said


def without_sense(words: str) -> tuple[str, str]:
    """Words of a motion without what stands in brackets at their end, and that.

    >>> without_sense("can turn about an axis along (1, 0, -0.1) (right-handed about (1, 0, -0.1))")
    ('can turn about an axis along (1, 0, -0.1)', 'right-handed about (1, 0, -0.1)')
    """
    depth = 0
    for k in range(len(words) - 1, -1, -1):
        depth += {")": 1, "(": -1}.get(words[k], 0)
        if depth == 0:
            return (words[: k - 1], words[k + 1 : -1]) if words[k] == "(" else (words, "")
    return words, ""


def _pressed(job: Job, row: Row) -> str:
    names = _clamps(job, row)
    return f"; only the friction of {listed(names)} holds it" if names else ""


def _clamps(job: Job, row: Row) -> list[str]:
    """Clamps that press the piece, by name."""
    return [s.name for s in job.seats.values() if s.clamp and getattr(s.place, "presses", None) in row.pieces]


def _over(job: Job, row: Row) -> Iterator[Finding]:
    for one in row.over:
        rule = _RULE_OF[one.kind]
        named = " it " in one.words
        words = one.words.replace(" it ", f" {row.name} ", 1) if named else f"{one.words} (of {row.name})"
        measured, limit = None, None
        remedy = one.remedy
        if rule == "stops-near":
            words, remedy = _near(row, one)
            measured = round(100.0 * one.figure)
            limit = 100.0 * (LOCATING.magnify if len(one.fixed) > 1 else LOCATING.magnify_alone)
        elif rule == "supports-four":
            words = f"{listed(sorted(one.fixed))} carry {row.name}, which touches all of them only by chance"
        yield CHECK.finding(
            rule,
            [*one.fixed, row.name],
            words,
            measured=measured,
            limit=limit,
            unit="%" if rule == "stops-near" else "",
            at=one.at or row.mass,
            remedy=remedy,
        )


def _near(row: Row, one: Meeting) -> tuple[str, str]:
    """What is wrong with locators that stand too near each other, or one that does the duty of two, and the remedy."""
    who, support = listed(one.fixed), "support" in one.words
    if len(one.fixed) > 1:
        words = f"{who} stand too near each other to keep {row.name} {'level' if support else 'straight'}"
        return f"{words}: at its far end an error of one of them is felt", one.remedy
    turn = "tipping" if support else "turning"
    words = f"{who} alone keeps {row.name} from {turn}, with a face that is short for it"
    more = "support" if support else "stop on the same side"
    return (
        f"{words}: at its far end an error across that face is felt",
        f"put a second {more}, and set the two as far apart as the piece allows",
    )


def _doubts(job: Job, row: Row) -> Iterator[Finding]:
    pieces = job.weldment.pieces if job.weldment is not None else ()
    listed = {piece.name for piece in pieces if piece.section is not None}
    for one in row.doubts:
        if one.words.startswith(_SUNK) or (one.words.startswith(_LOW) and listed & set(row.pieces)):
            continue
        yield CHECK.finding(
            "not-a-seat",
            [*one.fixed, row.name],
            f"{one.fixed[0]} and {row.name}: {one.words}",
            measured=round(one.figure, 2) if one.figure > 0.0 else None,
            unit="mm" if one.figure > 0.0 else "",
            at=one.at,
            remedy=one.remedy,
        )


def _unread(job: Job, row: Row) -> Iterator[Finding]:
    open_ = [m for m in row.motions if m.kind in ("free", "falls")]
    for name in row.unread if open_ else ():
        yield CHECK.finding(
            "contact-unread",
            [name, row.name],
            f"{name} comes near a face of {row.name} whose contacts cannot be read",
            at=row.mass,
            remedy="look there: what it locates is not counted",
        )


def _opposed(found: Answer) -> Iterator[Finding]:
    for one in found.opposed:
        yield CHECK.finding("stops-opposed", one.fixed, one.words, at=one.at, remedy=one.remedy)


def _figures(job: Job, found: Answer) -> list[Mapping[str, Any]]:
    return [
        {
            "name": name,
            "order": number,
            "rank": row.rank,
            "free_motions": [
                {"kind": m.kind, "words": m.words, "twist": list(m.twist), "at": m.at, "push": m.push}
                for m in row.motions
            ],
            "contacts": list(row.by),
            "touches": [
                {"fixed": t.fixed, "kind": t.kind, "normal": list(t.normal), "points": [list(at) for at in t.points]}
                for t in row.touches
            ],
            "rests": row.rests,
            "with": [other for other in row.pieces if other != name],
            "held": None,
        }
        for number, row in enumerate(found.rows, start=1)
        for name in row.pieces
    ]


def _whole(found: Answer) -> Mapping[str, Any]:
    return {
        "rank": found.rank,
        "free_motions": [{"kind": m.kind, "words": m.words, "twist": list(m.twist)} for m in found.motions],
    }
