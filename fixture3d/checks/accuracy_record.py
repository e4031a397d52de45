"""What was set and measured at the table, beside what was planned and is foreseen, as rows for the report."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

import numpy as np

from fixture3d.accuracy.figures import rectangle, side_between
from fixture3d.accuracy.squareness import frame_of, shear
from fixture3d.accuracy.stack import Contributor
from fixture3d.checks.accuracy_answers import Answer, answer, setup_of
from fixture3d.job import Job, Seat, placed_pads
from fixture3d.job.contact import FacePair, opposed_faces
from fixture3d.job.figures import Asked, figures_of, works_of
from fixture3d.job.recorded import Counted, counted, pair_name, seats_as_set, setting_words
from fixture3d.scene.record import AsSet, Measured, last_of
from fixture3d.tolerance import ACCURACY
from fixture3d.units import Units

__all__ = ["reading", "record_row"]

_FELT = 0.05  # mm or degrees; a figure that a setting moves by less is not told


def record_row(job: Job, found: Answer) -> dict[str, Any] | None:
    """All that the record says of a job, as plain data; None where there is no record.

    Args:
        job: the setup.
        found: the key figures as planned.
    """
    known = counted(job)
    if known is None:
        return None
    now = seats_as_set(job, known)
    then = answer(job, now) if now else found
    asked = {one.figure.name: one for one in figures_of(job, works_of(job))} if known.measured and job.pieces() else {}
    return {
        "file": known.record.path.name,
        "code": known.code,
        "as_set": [_setting(job, name, known) for name in known.settings],
        "moved": list(_moved(found, then)),
        "between": list(_between(job, now)),
        "measured": [*_figures(found, then, known, asked), *_distances(job, now, known, asked)],
        "square": list(_square(known, list(asked.values()))),
        "stale": [_stale(one, known) for one in known.stale],
    }


def _setting(job: Job, name: str, known: Counted) -> dict[str, Any]:
    one, units = known.settings[name], job.scene.units
    return {
        "place": name,
        "planned": _planned(job.seats[name], one.entries, units),
        "as_set": setting_words(one.item, one.entries, units),
        "same": one.item == one.place,
        **_whose(one.entries[-1]),
    }


def _planned(seat: Seat, entries: Sequence[AsSet], units: Units) -> str:
    """How a block is planned; a notch that the scene leaves out is the one that it has."""
    update = {"notch": seat.notch} if seat.notch is not None else {"slide": seat.slide}
    return setting_words(seat.place.model_copy(update=update), entries, units)


def _whose(one: Measured | AsSet) -> dict[str, Any]:
    return {"by": one.by, "when": one.when, "note": one.note}


def _moved(found: Answer, then: Answer) -> Iterator[dict[str, Any]]:
    """Figures that are foreseen otherwise as set than as planned, those that change most first."""
    by_name = {one.name: one for one in then.figures}
    pairs = [(one, by_name[one.name]) for one in found.figures if one.name in by_name]
    by = {one.name: float(np.abs(np.subtract(other.likely, one.likely)).max()) for one, other in pairs}
    for one, other in sorted(pairs, key=lambda pair: (-round(by[pair[0].name], 6), pair[0].name)):
        if by[one.name] >= _FELT:
            yield {
                "name": one.name,
                "kind": one.kind,
                "unit": one.unit,
                "planned": list(one.likely),
                "as_set": list(other.likely),
                "worst": list(other.worst),
            }


def _between(job: Job, now: Mapping[str, Seat]) -> Iterator[dict[str, Any]]:
    """Opposed faces that stand otherwise as set than as planned, and the drawn work between them."""
    for pair in opposed_faces(job) if now and job.pieces() else ():
        shift = _shift(job, now, pair)
        if abs(shift) > ACCURACY.even:
            yield {
                "name": pair_name(pair),
                "blocks": sorted((pair.a, pair.b), key=lambda item: item not in now),
                "pieces": list(pair.between),
                "planned": pair.distance,
                "as_set": pair.distance + shift,
                "stock": pair.stock,
                "tight": pair.stock - pair.distance - shift > 2.0 * ACCURACY.block,
            }


def _figures(found: Answer, then: Answer, known: Counted, asked: Mapping[str, Asked]) -> Iterator[dict[str, Any]]:
    """Every figure that was measured, with what is foreseen and what is allowed."""
    planned, as_set = ({one.name: one for one in each.figures} for each in (found, then))
    for name, entries in known.measured.items():
        if name not in asked:
            continue
        one, entry = asked[name], last_of(entries)
        unit = one.figure.unit
        value = entry.amount(unit, known.record.units)
        off = value - one.drawn
        spans: dict[str, Any] = {"foreseen": None, "as_set": None, "possible": None}
        if name in planned:
            spans["foreseen"] = list(planned[name].likely)
            if then is not found:
                spans["as_set"] = list(as_set[name].likely)
            low, high = as_set[name].worst
            room = reading(value, unit)
            spans["possible"] = [0.0 if one.figure.kind == "flatness" else low - room, high + room]
        yield {
            "name": name,
            "kind": one.figure.kind,
            "pieces": list(one.figure.pieces),
            "unit": unit,
            "planned": one.drawn,
            **spans,
            "limits": None if one.limits is None else list(one.limits),
            "limits_by": one.by,
            "limits_stated": one.stated,
            "measured": value,
            "off": off,
            "at": [round(float(v), 6) + 0.0 for v in one.figure.points.mean(axis=0)],
            "before": [old.amount(unit, known.record.units) for old in entries if old is not entry],
            **_whose(entry),
        }


def reading(value: float, unit: str) -> float:
    """By how much a measured value may be misread: a class II tape and the eye, or a protractor."""
    if unit == "degrees":
        return ACCURACY.protractor
    return ACCURACY.tape + ACCURACY.tape_per_m * math.ceil(abs(value) / 1000.0) + ACCURACY.read


def _distances(
    job: Job, now: Mapping[str, Seat], known: Counted, asked: Mapping[str, Asked]
) -> Iterator[dict[str, Any]]:
    """Every distance of two opposed faces that was measured."""
    others = [name for name in known.measured if name not in asked]
    pairs = {pair_name(pair): pair for pair in opposed_faces(job)} if others else {}
    wanted = [name for name in others if name in pairs]
    contributors = setup_of(job, now or None).contributors if wanted else ()
    for name in wanted:
        pair, entries = pairs[name], known.measured[name]
        entry = last_of(entries)
        value = entry.amount("mm", known.record.units)
        stands = pair.distance + _shift(job, now, pair)
        room = _give(job, pair, contributors) + reading(value, "mm")
        yield {
            "name": name,
            "kind": "distance",
            "pieces": [pair.a, pair.b],
            "unit": "mm",
            "planned": pair.distance,
            "foreseen": None,
            "as_set": [stands - pair.distance] * 2 if now else None,
            "possible": [stands - pair.distance - room, stands - pair.distance + room],
            "limits": None,
            "limits_by": "",
            "limits_stated": False,
            "measured": value,
            "off": value - pair.distance,
            "at": None,
            "before": [old.amount("mm", known.record.units) for old in entries if old is not entry],
            **_whose(entry),
        }


def _shift(job: Job, now: Mapping[str, Seat], pair: FacePair) -> float:
    """By how much two faces stand further apart as set than as planned, mm."""
    total = 0.0
    for item, pad in ((pair.a, pair.pad_a), (pair.b, pair.pad_b)):
        if item not in now:
            continue
        old = next(one for one in placed_pads(job.seats[item]) if one.pad.name == pad)
        new = next((one for one in placed_pads(now[item]) if one.pad.name == pad), old)
        total -= float((new.at - old.at) @ old.normal)
    return total


def _give(job: Job, pair: FacePair, contributors: Sequence[Contributor]) -> float:
    """By how much the distance of two faces may be off at most, all that their blocks may be off at once, mm."""
    total = 0.0
    for item, pad in ((pair.a, pair.pad_a), (pair.b, pair.pad_b)):
        face = next(one for one in placed_pads(job.seats[item]) if one.pad.name == pad)
        names = {item}
        while job.seats[item].stacked and job.seats[item].stands_on in job.seats:
            item = job.seats[item].stands_on
            names.add(item)
        for one in contributors:
            if one.body in names and one.limit > 0.0:
                total += abs(float(one.shape(face.at[None])[0] @ face.normal)) * one.limit
    return total


def _square(known: Counted, asked: Sequence[Asked]) -> Iterator[dict[str, Any]]:
    """Every rectangle of which both diagonals were measured: how far out of square they say it is."""
    values = {
        one.figure.name: last_of(known.measured[one.figure.name]).amount("mm", known.record.units)
        for one in asked
        if one.figure.name in known.measured and one.figure.unit == "mm"
    }
    lengths = [one.figure for one in asked if one.figure.kind == "length"]
    diagonals = [one.figure for one in asked if one.figure.kind == "diagonal" and one.figure.name in values]
    for first, second in itertools.combinations(diagonals, 2):
        ring = rectangle(first, second)
        if ring is None:
            continue
        sides = [side_between(lengths, ring[k - 1], ring[k]) for k in range(4)]
        measured = [values.get(side.name) if side is not None else None for side in sides]
        all_four = [value for value in measured if value is not None]
        drawn = [float(np.linalg.norm(ring[k] - ring[k - 1])) for k in range(4)]
        yield {
            "frame": list(dict.fromkeys([*first.pieces, *second.pieces])),
            "diagonals": [first.name, second.name],
            "difference": values[first.name] - values[second.name],
            "longer": first.name if values[first.name] >= values[second.name] else second.name,
            "degrees": _out_of_square(all_four or drawn, drawn, values[first.name], values[second.name]),
            "sides": "measured" if len(all_four) == 4 else "drawn",
            **_corner_limit(asked, {*first.pieces, *second.pieces}),
            "at": [round(float(v), 6) + 0.0 for v in ring.mean(axis=0)],
        }


def _out_of_square(sides: Sequence[float], drawn: Sequence[float], first: float, second: float) -> float | None:
    """Degrees by which corners are off 90, from sides in order round it and diagonals; None where none closes."""
    try:
        if len(sides) == 4 and sides is not drawn:
            # the first side ends where the first diagonal begins
            one, two, three, four = (*sides[1:], sides[0])
            return frame_of((one, two, three, four), first, second).square
        return abs(shear((drawn[0] + drawn[2]) / 2.0, (drawn[1] + drawn[3]) / 2.0, first - second))
    except ValueError:
        return None


def _corner_limit(asked: Sequence[Asked], members: set[str]) -> dict[str, Any]:
    """The closest limit that the file asks for on a right angle of a member of the frame."""
    limits = [
        (min(-one.limits[0], one.limits[1]), one.by)
        for one in asked
        if one.figure.kind == "angle"
        and one.stated
        and one.limits is not None
        and abs(one.drawn - 90.0) < 1.0
        and members & set(one.figure.pieces)
    ]
    limit, by = min(limits, default=(None, ""))
    return {"limit": limit, "limit_by": by}


def _stale(one: Measured | AsSet, known: Counted) -> dict[str, Any]:
    kind, index = known.record.index(one)
    return {
        "kind": kind,
        "name": one.figure if isinstance(one, Measured) else one.place,
        "code": one.code,
        "line": known.record.line(kind, index),
        **_whose(one),
    }
