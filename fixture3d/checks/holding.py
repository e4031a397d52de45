"""Holding: does each piece, and the tacked work, stay where it lies under its weight and its clamps."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

import numpy as np

from fixture3d import frame
from fixture3d.checks.base import Check, Finding, Point, Progress, Result, neat, point
from fixture3d.checks.holding_rules import NOT_COVERED, RULES
from fixture3d.checks.holding_work import WHOLE, Pressing, Work
from fixture3d.checks.seat_remedies import other_point
from fixture3d.errors import listed
from fixture3d.frame import Array
from fixture3d.job import Job
from fixture3d.job.clamping import way_to_support
from fixture3d.locating.clamp_place import dent_force
from fixture3d.locating.words import way_in_words
from fixture3d.tolerance import HOLDING, SHOP
from fixture3d.units import show, show_force

__all__ = ["CHECK"]

Row = Mapping[str, Any]
_UPRIGHT = 0.7  # cosine; a push that goes down at least so much presses on supports, others push against stops


def _needs(job: Job) -> str:
    return "" if job.pieces() else "the scene has no weldment"


def run(job: Job, progress: Progress) -> Result:
    """Judge every loose piece, and all of them as one once they are tacked.

    A clamp that does not reach its piece presses nothing. What overlaps a block, or lies near a face whose contacts
    are not read, is not judged. That a piece falls by its own weight before any clamp is shut is told by the checks on
    what carries it; here it only counts as not held.
    """
    work = Work(job)
    rows: list[Row] = []
    asked = [*work.loose, *([work.whole] if len(work.loose) > 1 else [])]
    for done, one in enumerate(asked):
        progress("holding", done, len(asked))
        rows.append(work.answer(one))
    progress("holding", len(asked), len(asked))
    findings = list(_findings(work, rows))
    return Result(
        name=CHECK.name,
        status="ran",
        findings=tuple(findings),
        figures={"holding": [_figures(work, row) for row in rows]},
        not_covered=NOT_COVERED,
    )


CHECK = Check(
    name="holding",
    rules=RULES,
    needs=_needs,
    run=run,
    gist="hammer blows, the pull of cooling welds, bending between supports; its forces are estimates",
    not_covered=NOT_COVERED,
)


def _findings(work: Work, rows: list[Row]) -> Iterator[Finding]:
    told: set[str] = set()  # clamps of which is told that they move the piece
    for row in rows:
        if row["unsure"]:
            continue
        own = [p for p in work.pressing if p.piece in row["pieces"]]
        moved = [] if row["all"]["held"] else _movers(row, own)
        for clamp in moved:
            if clamp.push.name not in told:
                told.add(clamp.push.name)
                yield _moves(work, row, clamp)
        drops = row["whole"] and not row["alone"]["held"] and not row["all"]["held"] and not moved
        if drops and row["alone"]["outside"] is not None:  # what nothing carries at all is told as unsupported
            yield _falls(work, row)
        if not row["whole"]:
            yield from (f for clamp in own if clamp.push.name not in told for f in _places(work, row, clamp))
        if own and row["all"]["held"]:
            yield from _slides(work, row, own)


# --- clamps that move what they press ------------------------------------------------------------------------------


def _movers(row: Row, own: list[Pressing]) -> list[Pressing]:
    """The clamps that move the piece when they alone are shut; all of them when none does alone.

    A piece that does not stay by its own weight is not blamed on a clamp that does not help.
    """
    each = row["each"]
    alone = [p for p in own if not each.get(p.push.name, row["alone"])["held"]] if row["alone"]["held"] else []
    return alone or (own if row["alone"]["held"] else [])


def _moves(work: Work, row: Row, clamp: Pressing) -> Finding:
    """A clamp that tips the piece, or pushes it away."""
    name, way = clamp.push.name, clamp.push.way
    outside, found = row["under"][name]["outside"], row["each"].get(name, row["all"])
    found = row["all"] if found["held"] else found
    if outside is None and way[2] > -_UPRIGHT:
        off = listed(row["behind"][name])
        return CHECK.finding(
            "clamp-pushes-off",
            [name, _subject(row)],
            f"{name} pushes {_called(row)} {way_in_words(way)}"
            + (f", off {off}, and nothing stands against it" if off else ", and nothing stands against it"),
            at=point(clamp.push.at),
            remedy=f"turn {name} round so that it pushes {_called(row)} against {off}"
            if off
            else f"put a stop opposite {name}, against the {way_in_words(way)} side of {_called(row)}",
        )
    lifts = _lifted(found)
    beside = None if outside is None else float(np.linalg.norm(outside))
    return CHECK.finding(
        "tips-over",
        [name, _subject(row)],
        f"{name} tips {_called(row)}: its push falls outside all that stands against it"
        + (f"; it lifts off {listed(lifts)}" if lifts else ""),
        measured=None if not beside else neat(beside),
        limit=None if not beside else 0.0,
        unit="" if not beside else "mm",
        at=point(clamp.push.at),
        remedy=_inward(work, clamp, outside),
    )


def _lifted(found: Row) -> list[str]:
    """The blocks that a piece lifts off: those that would have to pull, the one that would pull most first."""
    pulls = {name: force for name, force in found["pulls"].items() if force < -1.0}
    gone = [name for name in found["lifts"] if name not in pulls]
    upright = sorted(pulls, key=lambda name: (round(pulls[name], 3), name))
    return upright or gone


def _inward(work: Work, clamp: Pressing, outside: list[float] | None) -> str:
    """How a tip comes over what stands against it."""
    move = np.zeros(3) if outside is None else np.asarray(outside)
    tip = clamp.seat.part.tip()
    if tip is None or not float(np.linalg.norm(move)) > SHOP.contact:
        return f"put a block under the tip of {clamp.push.name}"
    return other_point(work.job, clamp.seat, tip, move)


def _falls(work: Work, row: Row) -> Finding:
    """Tacked work that does not stay on its blocks."""
    outside, units = row["alone"]["outside"], work.job.scene.units
    beside = None if outside is None else float(np.linalg.norm(outside))
    lifts = _lifted(row["alone"])
    x, y, _ = row["centre"]
    return CHECK.finding(
        "tips-over",
        [_subject(row)],
        "the tacked work does not stay on its blocks: its weight falls outside them"
        + (f"; it lifts off {listed(lifts)}" if lifts else ""),
        measured=None if not beside else neat(beside),
        limit=None if not beside else 0.0,
        unit="" if not beside else "mm",
        at=point(np.array(row["centre"])),
        remedy=f"put a block or a clamp on the side that drops; its weight is at x {show(x, units)}, y "
        f"{show(y, units)} from A1",
    )


# --- where a clamp presses -----------------------------------------------------------------------------------------


def _places(work: Work, row: Row, clamp: Pressing) -> Iterator[Finding]:
    if not clamp.pulls:
        yield from _over_nothing(work, row, clamp)
        yield from _dents(work, row, clamp)


def _over_nothing(work: Work, row: Row, clamp: Pressing) -> Iterator[Finding]:
    under = row["under"][clamp.push.name]
    beside, span, units = under["beside"], under["span"], work.job.scene.units
    if beside is None or beside <= clamp.radius or _off_support(work.job, clamp):
        return
    where = f"beside {under['nearest']}"
    if span:
        where = f"between its supports, beside {under['nearest']}"
    elif span is None:
        where = f"beyond {under['nearest']}, where {row['name']} hangs over"
    yield CHECK.finding(
        "clamp-over-nothing",
        [clamp.push.name, row["name"]],
        f"{clamp.push.name} presses {row['name']} {where}",
        measured=neat(beside),
        limit=neat(clamp.radius),
        unit="mm",
        at=point(clamp.push.at),
        remedy=_inward(work, clamp, under["nearest_way"])
        + (f"; nothing carries {show(float(round(span)), units)} of it there" if span else ""),
    )


def _off_support(job: Job, clamp: Pressing) -> bool:
    """Whether the seating check tells that it misses the block that it is sent toward."""
    toward = job.seats.get(getattr(clamp.seat.place, "toward", None) or "")
    if toward is None:
        return False
    return float(np.linalg.norm(way_to_support(clamp.push.at, clamp.push.way, toward))) > SHOP.contact


def _dents(work: Work, row: Row, clamp: Pressing) -> Iterator[Finding]:
    """A tip in the middle of a flat side of a tube whose wall does not stand its force."""
    weldment = work.job.weldment
    piece = next((p for p in weldment.pieces if p.name == clamp.piece), None) if weldment is not None else None
    if weldment is None or piece is None or piece.section is None or piece.bent is not None:
        return
    section = piece.section
    if section.shape != "rectangular tube" or not section.wall > 0.0:
        return
    to_piece = frame.inverse(frame.chain(weldment.weldment_to_world, piece.piece_to_weldment))
    way, at = frame.directions(to_piece, clamp.push.way), frame.points(to_piece, clamp.push.at)
    across = 1 if abs(way[2]) >= abs(way[1]) else 2  # the side's width lies along Y when it is pressed along Z
    if max(abs(way[1]), abs(way[2])) < _UPRIGHT:
        return  # on the end of the tube
    half = (section.width if across == 1 else section.height) / 2.0
    limit = dent_force(section.wall)
    if abs(float(at[across])) + clamp.radius > half - section.wall or clamp.push.given <= limit:
        return
    units = work.job.scene.units
    yield CHECK.finding(
        "may-dent",
        [clamp.push.name, clamp.piece],
        f"{clamp.push.name} may dent {clamp.piece}: its tip presses the middle of a thin side",
        measured=neat(clamp.push.given),
        limit=neat(round(limit, 1)),
        unit="N",
        at=point(clamp.push.at),
        remedy=f"put a pad or a piece of flat bar under the tip of {clamp.push.name}, close it with no more than "
        f"{show_force(_rough(limit), units)} on this wall of {show(section.wall, units)}, or press over a side wall of "
        f"{clamp.piece}",
    )


# --- how much a clamped piece stands -------------------------------------------------------------------------------


def _slides(work: Work, row: Row, own: list[Pressing]) -> Iterator[Finding]:
    """The piece as a whole gives way, which is a warning, or only its free end swings about the clamp, a note."""
    short = [s for s in row["stands"] if s["most"] < HOLDING.nudge]
    whole = [s for s in short if s["way"] != "turns"]
    worst = _worst(whole or short)
    if worst is None:
        return
    push, _, place = worst["what"].partition(" at ")
    does = {
        "slides": "slides",
        "turns": "swings about its clamp",
        "lifts": f"lifts off {listed(worst['leaves'])}",
    }.get(worst["way"], "moves")
    yield CHECK.finding(
        "slides",
        [_subject(row), *(p.push.name for p in own)],
        f"{_called(row)} {does} when it is {push} at {place}",
        level="warn" if whole else "note",
        measured=neat(round(worst["most"], 1)),
        limit=HOLDING.nudge,
        unit="N",
        at=_at(work, row, place),
        remedy=("" if whole else "hold it there while it is tacked, or ")
        + f"put a clamp near {place}, or a stop on the side to which it goes"
        + _wanted(work, row, own),
    )


def _wanted(work: Work, row: Row, own: list[Pressing]) -> str:
    """The forces that its clamps would have to give, where they can."""
    units, out, names = work.job.scene.units, [], listed([p.push.name for p in own])
    for clamp in own:
        need, tip = row["needs"].get(clamp.push.name), clamp.seat.part.tip()
        if row["unmet"] or need is None or tip is None or need > tip.force[1]:
            return f"; {names} cannot press hard enough to hold it by friction"
        out.append(f"{clamp.push.name} {show_force(_rough(need), units)}")
    return f"; to stand twice the limit it takes {listed(out)}"


def _worst(stands: list[Row]) -> Row | None:
    """The push that is stood least."""
    found: Row | None = min(stands, key=lambda s: round(s["most"], 3), default=None)
    return found


def _at(work: Work, row: Row, place: str) -> Point:
    found = next((w.path for w in work.job.welds if w.name == place), None)
    middle: Array = np.array(row["centre"]) if found is None else found.mean(axis=0)
    return point(middle)


# --- figures -------------------------------------------------------------------------------------------------------


def _figures(work: Work, row: Row) -> dict[str, Any]:
    """One row of the table: forces in N to the tenth, as what they rest on is no finer."""
    own = [p.push.name for p in work.pressing if p.piece in row["pieces"]]
    worst = _worst(row["stands"])
    stands = row["all"]["held"] and worst is not None and worst["most"] >= HOLDING.nudge
    return {
        "name": row["name"],
        "whole": row["whole"],
        "pieces": list(row["pieces"]),
        "held": None if row["unsure"] else bool(stands),
        "why": row["unsure"],
        "stays": None if row["unsure"] else row["alone"]["held"],
        "clamps": own,
        "pressed": bool(row["pushes"]),
        "weight": _force(row["weight"]),
        "reactions": {name: _force(value) for name, value in row["all"]["reactions"].items()},
        "pulls": {name: _force(value) for name, value in row["all"]["pulls"].items()},
        "stands": [
            {"push": s["what"], "asked": s["size"], "most": _force(s["most"]), "way": s["way"] or None}
            for s in row["stands"]
        ],
        "needs": {name: _force(value) for name, value in row["needs"].items()},
        "pushes": [{"name": p["name"], "force": _force(p["force"])} for p in row["pushes"]],
        "friction": HOLDING.friction,
        "safety": HOLDING.safety,
    }


def _force(value: float) -> float:
    return round(float(value), 1) + 0.0


def _rough(value: float) -> float:
    """A force with two figures, as it is no better known."""
    return float(f"{value:.2g}")


def _subject(row: Row) -> str:
    return "weldment" if row["whole"] else str(row["name"])


def _called(row: Row) -> str:
    return f"the {WHOLE}" if row["whole"] else str(row["name"])
