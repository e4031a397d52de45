"""What the welds draw together: bands by handbook rules, and what they do to the stops and to unloading.

Everything here is an estimate, and is called one; no force is shown.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from dataclasses import asdict
from typing import Any

import numpy as np

from fixture3d.accuracy import iso13920
from fixture3d.cache import content_key
from fixture3d.checks.base import Check, Finding, Progress, Result, point
from fixture3d.checks.shrinkage_figures import figures
from fixture3d.checks.shrinkage_rules import NOT_COVERED, RULES
from fixture3d.checks.shrinkage_stops import Closing, closings, shortest
from fixture3d.checks.shrinkage_way import in_the_way, standing_about
from fixture3d.checks.shrinkage_words import shown
from fixture3d.errors import listed
from fixture3d.job import Job
from fixture3d.job.shrink_stops import Backing, Stops, stops_of
from fixture3d.job.shrink_welds import Shrunk, shrink_welds
from fixture3d.shrinkage.band import Band
from fixture3d.shrinkage.effect import Effect, ShrinkWeld, WeldBands
from fixture3d.shrinkage.rules import HANDBOOK
from fixture3d.shrinkage.stops import shrunk_poses
from fixture3d.solid.relate import Placed
from fixture3d.tolerance import LEAVING, LOCATING, NUMERIC, SHRINKING
from fixture3d.units import show

_KIND = "shrinkage-5"  # raise the number when the same setup gives another answer


def _needs(job: Job) -> str:
    return "" if job.weldment is not None else "the scene has no weldment"


def _run(job: Job, progress: Progress) -> Result:
    if not job.welds:
        return Result(name=CHECK.name, status="ran", not_covered=NOT_COVERED)
    key = _key(job)
    kept = job.store.get_json(key, _KIND) if job.store is not None else None
    if kept is None:
        progress(CHECK.name, 0, 1)
        kept = json.loads(json.dumps(_worked_out(job)))
        progress(CHECK.name, 1, 1)
        if job.store is not None:
            job.store.put_json(key, _KIND, kept)
    found = [Finding(**{**row, "subjects": tuple(row["subjects"]), "at": tuple(row["at"])}) for row in kept["findings"]]
    return Result(
        name=CHECK.name,
        status="ran",
        findings=tuple(found),
        figures=kept["figures"],
        not_covered=(*NOT_COVERED, *kept["not_covered"]),
    )


def _key(job: Job) -> str:
    """Of all that the answer depends on: bodies where they stand, welds, adjustments, units, limits."""
    parts: list[str | bytes] = [
        repr((asdict(SHRINKING), asdict(LOCATING), asdict(LEAVING), asdict(HANDBOOK), job.scene.units, job.joined))
    ]
    for body in job.bodies:
        if body.role in ("block", "shim", "clamp", "piece"):
            poses = [body.body_to_world] + ([body.open_to_world] if body.open_to_world is not None else [])
            parts += [f"{body.name}\0{body.item}\0{body.role}", body.shape.key]
            parts += [(np.round(pose / NUMERIC.key) * NUMERIC.key + 0.0).tobytes() for pose in poses]
    for weld in (*job.done, *job.welds):
        settled = job.found.welds.get(weld.name) if job.found is not None else None
        seen = (settled.through, settled.root_gap) if settled is not None else None
        parts.append(repr((weld.name, weld.type, weld.joins, weld.size, weld.passes, seen, weld in job.done)))
        parts += [np.round(weld.path, 6).tobytes(), np.round(weld.sides, 6).tobytes()]
    for seat in job.seats.values():
        parts.append(repr((seat.name, seat.model, seat.slide, seat.notch, sorted(seat.shims.items()))))
    for piece in job.weldment.pieces if job.weldment is not None else ():
        known = piece.section, piece.plate.thickness if piece.plate is not None else None
        parts.append(repr((piece.name, piece.cut_length, piece.bent is None, known)))
    if job.weldment is not None:
        parts.append((np.round(job.weldment.weldment_to_world, 9) + 0.0).tobytes())
    return content_key(parts)


def _worked_out(job: Job) -> dict[str, Any]:
    """Findings, figures and sentences as plain data."""
    shrunk = shrink_welds(job)
    welded = {name for weld in shrunk.effect.welds for name in weld.joins}
    stops = stops_of(job, welded)
    closing = closings(shrunk.effect, stops)
    found = [
        *(_closes(job, one, stops) for one in closing),
        *_no_way(job, shrunk.effect, stops, closing),
        *_short(job, shrunk.effect, stops),
    ]
    return {
        "findings": [asdict(finding) for finding in found],
        "figures": figures(job, shrunk, stops),
        "not_covered": list(_left_out(shrunk)),
    }


def _closes(job: Job, one: Closing, stops: Stops) -> Finding:
    """Work that closes on its stops, and what gives way."""
    units = job.scene.units
    by, on = shown(one.by, units), listed(dict.fromkeys((*one.give, *one.against)))
    subjects = tuple(dict.fromkeys((*one.give, *one.against)))
    within = "stand within it" if len(subjects) > 1 else "stands within it"
    at = point(one.at)
    if one.moves:
        how = listed(_back(name, one.room, stops.backing[name], job) for name in one.give)
        text = f"the welds draw the work on to {on}, which {within}, by an estimated {by}"
        remedy = f"once the work is tacked, back {how}; or loosen {listed(one.give)} before unloading"
        return CHECK.finding("shrinks-onto", subjects, text, level="note", at=at, remedy=remedy)
    it = "them" if len(one.give) > 1 else "it"
    room = shown(one.room, units)
    remedy = (
        f"put a stop that backs off in place of {listed(one.give)}, with about {room} of room, or pull "
        f"{listed(one.give)} once the work is tacked, before the work closes on {it}; or "
        "stop the work there from outside, where it comes away as it shrinks"
    )
    if not one.sure:
        text = f"the welds may draw the work on to {on}, which {within} and cannot give way, by an estimated {by}"
        return CHECK.finding("shrinks-onto", subjects, text, at=at, remedy=remedy)
    text = (
        f"the welds draw the work on to {on}, which {within} and cannot give way, by an estimated {by}: it will "
        "not come off by hand"
    )
    return CHECK.finding("grips-work", subjects, text, at=at, remedy=remedy)


def _back(name: str, room: Band, backing: Backing, job: Job) -> str:
    """How a block that can give way is backed off."""
    units = job.scene.units
    about = f"about {shown(room, units)}"
    if backing.shim:
        return f"{name} off by {about} by pulling its shim"
    if backing.step:
        notches = min(int(np.ceil(room.high / backing.step - 1e-9)), int(backing.room / backing.step + 1e-9))
        to = (job.seats[name].notch or 0) + backing.sign * notches
        if job.seats[name].notch is not None:
            teeth = "one tooth" if notches == 1 else f"{notches} teeth"
            return f"{name} off by {teeth}, {show(notches * backing.step, units)} (notch {to})"
    if not backing.step:
        to_slide = job.seats[name].slide + backing.sign * min(room.high, backing.room)
        return f"{name} off by {about} (slide {show(to_slide, units)})"
    return f"{name} off by {about}"


def _no_way(job: Job, effect: Effect, stops: Stops, closing: Sequence[Closing]) -> Iterator[Finding]:
    """Weldments that had a straight way out and, shrunk, have none; what gives way by then is away."""
    gone = {name for one in closing for name in one.give}
    pieces = {body.name: Placed(body.name, body.shape, body.body_to_world) for body in job.pieces()}
    fixed = standing_about(job, gone)
    lots: dict[int, list[str]] = {}
    for name, lot in effect.lots.items():
        lots.setdefault(lot, []).append(name)
    for members in lots.values():
        if len(members) < 2:
            continue
        work = [pieces[name] for name in members]
        mine = [stop for stop in stops.corners if stop.piece in members and stop.block not in gone]
        most = in_the_way(work, shrunk_poses(effect, mine, greatest=True), fixed)
        if not most:
            continue
        least = in_the_way(work, shrunk_poses(effect, mine, greatest=False), fixed)
        them = listed(least or most)
        yield CHECK.finding(
            "grips-work",
            least or most,
            f"shrunk, the work has no straight way out past {them}, which it clears as it is drawn: it will not come "
            f"off by hand, by the {'least' if least else 'greatest'} estimate",
            level="fail" if least else "warn",
            at=point(np.mean([effect.middles[name] for name in members], axis=0)),
            remedy=f"set {them} further from the work, or take {them} off before the work is welded out",
        )


def _short(job: Job, effect: Effect, stops: Stops) -> Iterator[Finding]:
    """Stops that the work comes away from by more than its length may be off."""
    units = job.scene.units
    for one in shortest(effect, stops):
        try:
            allowed = iso13920.linear(one.length, SHRINKING.matters)
        except iso13920.ToleranceError:
            continue
        if one.change.middle > allowed:
            by = shown(one.change, units)
            yield CHECK.finding(
                "shrinks-away",
                [one.first, one.second],
                f"between {one.first} and {one.second}, {show(one.length, units)} apart, the work comes out short by "
                f"an estimated {by}; ISO 13920 class {SHRINKING.matters} lets it be off by {show(allowed, units)}",
                at=point(one.at),
                remedy=f"set {one.first} and {one.second} wider by {by}, and cut the pieces between them longer "
                "(check --shrinkage); prove it with the first piece",
            )


def _left_out(shrunk: Shrunk) -> Iterator[str]:
    """Welds that are not in the bands, and those for which no rule is meant."""
    if shrunk.unread:
        yield f"Not in the bands, for want of a wall or of the pieces that they join: {', '.join(shrunk.unread)}."
    if shrunk.round:
        yield f"Run round to their start and draw to no side, so not in the bands: {', '.join(shrunk.round)}."
    uncovered = sorted({weld.type for weld, one in _with_bands(shrunk) if not one.covered})
    if uncovered:
        yield f"No handbook rule is meant for {' and '.join(uncovered)} joints; the nearest is taken."


def _with_bands(shrunk: Shrunk) -> list[tuple[ShrinkWeld, WeldBands]]:
    return list(zip(shrunk.effect.welds, shrunk.effect.bands, strict=True))


CHECK = Check(
    name="shrinkage",
    rules=RULES,
    needs=_needs,
    run=_run,
    gist="bowing, twist, and angles carried to the frame; what is shown as a band is an estimate",
    not_covered=NOT_COVERED,
)
