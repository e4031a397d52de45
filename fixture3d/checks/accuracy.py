"""Accuracy: how true the finished work will be, by what its blocks and its stock may be off."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from fixture3d.checks.accuracy_answers import Answer, Foreseen, answer
from fixture3d.checks.accuracy_record import record_row
from fixture3d.checks.accuracy_record_findings import kept_when_measured, record_findings
from fixture3d.checks.accuracy_rules import NOT_COVERED, RULES
from fixture3d.checks.accuracy_words import departure
from fixture3d.checks.base import Check, Finding, Progress, Result
from fixture3d.errors import listed
from fixture3d.job import Job
from fixture3d.job.true_sizes import unsure_blocks
from fixture3d.tolerance import ACCURACY, SHOP
from fixture3d.units import Units

__all__ = ["CHECK"]

_STOP = "stop it at the side that counts"
_CURES = {
    "seat": "seat the block closer",
    "seat turn": "put a second pin into the block",
    "notch": "set the stop against a gauge",
    "shim": "fewer and thicker shims",
    "block": "set the block against a gauge, or shim it",
    "table flatness": "shim the supports to one level",
    "table pitch": "measure the faces of these blocks once, and shim them",
    "by hand": "give it a stop",
    "stock size": f"measure what comes and set the stop to it, or {_STOP}",
    "squareness": _STOP,
    "cut length": "cut closer, measure what is cut and set the stop to it, or stop it at the end that counts",
    "mitre": "cut truer, or stop it along its length rather than by its end",
    "bow": "clamp it straight against stops at the points that count, or pick straighter stock",
    "as set": "set the block as planned, or go by what is measured",
    "twist": "pick straighter stock, for a clamp hardly takes that out",
}
_TOLD = 3  # of what moves a figure most


def _needs(job: Job) -> str:
    return "" if job.pieces() else "the scene has no weldment"


def run(job: Job, progress: Progress) -> Result:
    """Carry everything that can be off to the key figures, and hold them against what the file asks for.

    Limits that the file does not ask for are only figures: they make no finding.
    """
    progress("accuracy", 0, 1)
    found = answer(job)
    findings: list[Finding] = []
    for name, mm in found.tight.items():
        findings += _tight(job, name, mm)
    record = record_row(job, found)
    good = set() if record is None else kept_when_measured(record)
    for one in found.figures:
        findings += _held(one, job.scene.units, kept=one.name in good)
    if record is not None:
        findings += record_findings(record, found, job.scene.units, CHECK.finding)
    progress("accuracy", 1, 1)
    return Result(
        name=CHECK.name,
        status="ran",
        findings=tuple(findings),
        figures={
            "figures": [_row(one, found) for one in found.figures],
            **({} if record is None else {"record": [record]}),
        },
        not_covered=(*NOT_COVERED, *_unknown(found), *_stages(job), *_unsure(job), *_set_otherwise(record)),
    )


CHECK = Check(
    name="accuracy",
    rules=RULES,
    needs=_needs,
    run=run,
    gist="spring-back and heat; limits that nothing states are taken as usual in the trade",
    not_covered=NOT_COVERED,
)


def _tight(job: Job, name: str, mm: float) -> Iterator[Finding]:
    if mm <= SHOP.contact:
        return
    body = next(body for body in job.pieces() if body.name == name)
    x, y, z = (round(float(v), 6) + 0.0 for v in body.box.mean(axis=0))
    yield CHECK.finding(
        "does-not-go-in",
        [name],
        f"{name} at its greatest size is too large for its stops",
        measured=round(mm, 2),
        unit="mm",
        at=(x, y, z),
        remedy="back one of them off by as much, or put one there that can be set, or a clamp",
    )


def _held(one: Foreseen, units: Units, *, kept: bool) -> Iterator[Finding]:
    """A figure against limits that the file asks for; one that was measured within them is only noted."""
    if one.limits is None or not one.stated:
        return
    low, high = one.limits
    for rule, span, words in (
        ("figure-missed", (one.off, one.off), "is drawn out of its limits"),
        ("figure-out", one.likely, "will likely be out of its limits"),
        ("figure-may-be-out", one.worst, "is out of its limits at worst, though likely not"),
    ):
        over, under = span[1] - high, low - span[0]
        if max(over, under) <= ACCURACY.even:
            continue
        measured, limit = (span[1], high) if over >= under else (span[0], low)
        yield CHECK.finding(
            rule,
            list(dict.fromkeys([one.name, *_bodies(one), *one.pieces])),
            f"{one.name} {words}{', though it was measured within them' if kept else ''}"
            f"{'' if rule == 'figure-missed' else _why(one)}",
            level="note" if kept and rule == "figure-out" else CHECK.rule(rule).level,
            measured=round(measured, 4),
            limit=limit,
            unit="mm" if one.unit == "mm" else "deg",
            at=one.at,
            remedy=_remedy(one, units, missed=rule == "figure-missed"),
        )
        return


def _bodies(one: Foreseen) -> list[str]:
    """What spoils it most: the block or piece whose error does most, and the block whose seat does."""
    return [*([one.shares[0].body] if one.shares else []), *([one.spoils] if one.spoils else [])]


def _why(one: Foreseen) -> str:
    if not one.shares:
        return ""
    first = one.shares[0]
    seat = f"; of the blocks' seats, that of {one.spoils} does most" if one.spoils and first.body != one.spoils else ""
    return f": most comes from {first.name}{seat}"


def _remedy(one: Foreseen, units: Units, *, missed: bool) -> str:
    if missed:
        return "move the pieces, or correct what the file asks for"
    said = [*_finer(one, units), *_cures(one, units)]
    for gain in one.gains:
        apart = (
            f" ({departure(gain.apart, 'mm', units)} apart)" if gain.words != "a close pin and a diamond pin" else ""
        )
        than = f"{departure(gain.likely, one.unit, units)} in place of {departure(gain.now, one.unit, units)}"
        said.append(f"{one.spoils} with {gain.words}{apart}: likely off by {than}")
    return "; ".join(said)


def _finer(one: Foreseen, units: Units) -> Iterator[str]:
    """Where no cure brings a figure within its limits, for its stock is not as true as that."""
    if one.limits is None:
        return
    over, under = one.stock[1] - one.limits[1], one.limits[0] - one.stock[0]
    if max(over, under) > ACCURACY.even:
        most = departure(one.stock[1] if over >= under else one.stock[0], one.unit, units)
        yield (
            f"the limits are finer than this stock comes: its sizes and its twist alone likely make {most}; "
            "allow more, or measure and pick the stock"
        )


def _cures(one: Foreseen, units: Units) -> Iterator[str]:
    """What can be done against each of what moves a figure most, those with one cure together."""
    by_cure: dict[str, list[str]] = {}
    for share in one.shares[:_TOLD]:
        by_cure.setdefault(_CURES[share.cause], []).append(f"{share.name} ({departure(share.size, one.unit, units)})")
    for cure, names in by_cure.items():
        yield f"against {listed(names)}: {cure}"


def _row(one: Foreseen, found: Answer) -> Mapping[str, Any]:
    drawn = one.drawn_setups
    return {
        "name": one.name,
        "kind": one.kind,
        "pieces": list(one.pieces),
        "unit": one.unit,
        "drawn": one.drawn,
        "off": one.off,
        "likely": list(one.likely),
        "worst": list(one.worst),
        "limits": None if one.limits is None else list(one.limits),
        "limits_by": one.by,
        "limits_stated": one.stated,
        "most_from": [{"name": s.name, "body": s.body, "cause": s.cause, "size": s.size} for s in one.shares],
        "others": one.others,
        "not_counted": [{"piece": name, "what": found.unknown[name]} for name in one.pieces if name in found.unknown],
        "spread": None
        if drawn is None
        else {
            "mean": drawn.mean,
            "low": drawn.low,
            "high": drawn.high,
            "beyond": drawn.beyond,
            "samples": drawn.samples,
            "seed": drawn.seed,
        },
    }


def _unknown(found: Answer) -> Iterator[str]:
    by_what: dict[str, list[str]] = {}
    for name, what in found.unknown.items():
        by_what.setdefault(what, []).append(name)
    for what, names in by_what.items():
        yield f"Of {listed(names)}, {what} is not known here and not counted."


def _unsure(job: Job) -> Iterator[str]:
    names = unsure_blocks(job)
    if names:
        yield (
            f"Some blocks like {listed(names)} were measured, and no mark says which stand there: they are taken as "
            "any others."
        )


def _set_otherwise(record: Mapping[str, Any] | None) -> Iterator[str]:
    if record is not None and any(not one["same"] for one in record["as_set"]):
        yield "Of blocks as they were set only what key figures and opposed faces come to; all else is as planned."


def _stages(job: Job) -> Iterator[str]:
    if job.joined:
        yield "Of pieces that earlier stages made one only where they lie is counted, not how they have come out."
