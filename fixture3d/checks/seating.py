"""Seating: each block stands in its holes, lies on what carries it, and cannot turn or tip."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterator
from typing import Any

import numpy as np

from fixture3d import frame
from fixture3d.checks.base import Check, Finding, Point, Progress, Result, point
from fixture3d.checks.seat_remedies import (
    LEAST_OVERHANG,
    a_pin,
    along_edge,
    bolt_words,
    elsewhere,
    moved_in,
    nearest_hole,
    other_point,
    other_reach,
    other_socket,
    second_pin,
)
from fixture3d.checks.seating_rules import RULES
from fixture3d.checks.substitutes import remedies
from fixture3d.job import Job, Seat, SeatedPin, placed_pads, seat
from fixture3d.job.clamping import AGAINST, corners, placed_tip, way_to_point, way_to_support
from fixture3d.job.resolve import dowel_fit
from fixture3d.job.support import Support, round_about_pin, support, weight_point
from fixture3d.job.wayout import length
from fixture3d.scene.schema import Clamp
from fixture3d.tolerance import NUMERIC, SHOP
from fixture3d.units import show

UPRIGHT = 0.7  # cosine; a plane steeper than 45 degrees does not carry a block, it only locates it
LEVEL = 0.999  # cosine; tipping is judged on planes that are level

NOT_COVERED = (
    "Seating takes the table's holes at their nominal places; a pitch error of the table itself is not added.",
    "A bolt is taken to be pulled tight; its torque is not asked for, nor whether a blind bore has a thread for it.",
    "Tipping is judged block by block under its own weight: not whole stacks, not the weight of the work, not planes "
    "that slope.",
)


def _needs(job: Job) -> str:
    return "" if job.seats else "the scene places no block"


def run(job: Job, progress: Progress) -> Result:
    """Judge every seat.

    Each pin that the scene asks for must be over a hole, nearer than the clearance of the dowels allows; no hole may
    be used twice or be blocked; each block must lie on something, and be held so that it cannot turn or tip; each
    clamp must press where it is asked to, over the block that takes its push.
    """
    findings: list[Finding] = []
    for done, item in enumerate(job.seats.values()):
        progress("seating", done, len(job.seats))
        for rule in (_standing, _pins, _nut, _held, _held_down, _meshing, _carried, _pressing):
            findings += rule(job, item)
    findings += _shared(job)
    findings += _stock(job)
    return Result(
        name=CHECK.name,
        status="ran",
        findings=tuple(findings),
        figures={"seats": [_figures(job, item) for item in job.seats.values()]},
        not_covered=NOT_COVERED,
    )


CHECK = Check(
    name="seating",
    rules=RULES,
    needs=_needs,
    run=run,
    gist="pitch error of the table, the torque of bolts, tipping of whole stacks",
    not_covered=NOT_COVERED,
)


def _figures(job: Job, item: Seat) -> dict[str, Any]:
    play = seat.play(item.pins, dowel_fit(job, item))
    return {"block": item.name, "holes": list(item.holes), "shift": play.shift, "turn": play.turn}


def _at(item: Seat) -> Point:
    return point(item.model_to_world[:3, 3])


def _standing(job: Job, item: Seat) -> Iterator[Finding]:
    if item.complaint:
        yield CHECK.finding("cannot-stand", [item.name], item.complaint, at=_at(item), remedy=other_socket(job, item))
    if item.holds != "pins":
        how = {"measured": "placed by measuring", "edge": "clamped to the table's edge", "magnet": "held by a magnet"}
        words, where = how.get(item.holds, ""), "its place"
        if isinstance(item.place, Clamp) and item.place.slot is not None:
            words, where = f"in {item.place.slot}", "its place along it"
        elif item.part.stands == "edge":
            words = words if item.clamp else "hooked over the table's edge"
            where = "its place along the edge"
        yield CHECK.finding(
            "needs-measuring",
            [item.name],
            f"{item.name} is {words}, so {where} must be measured each time",
            at=_at(item),
            remedy=along_edge(job, item) if item.part.stands == "edge" else nearest_hole(job, item),
        )
    move = item.part.move()
    if move is not None and move.notch is None and item.slide > NUMERIC.merge:
        raised = abs(move.axis[2]) > 0.5
        yield CHECK.finding(
            "needs-measuring",
            [item.name],
            f"nothing meshes in the adjustment of {item.name}, so its {'height' if raised else 'setting'} must be "
            "measured each time",
            at=_at(item),
            remedy=f"set it {show(item.slide, job.scene.units)} from fully in, measure and lock it"
            + ("; or use a block of that height" if raised else ""),
        )


def _pins(job: Job, item: Seat) -> Iterator[Finding]:
    if item.complaint:
        return  # its pins stand nowhere yet
    for pin in item.pins:
        if pin.state in ("off", "off table"):
            near = f"; the nearest hole is {pin.hole}" if pin.hole else ""
            yield CHECK.finding(
                "pin-off-hole",
                [item.name],
                f"pin {pin.pin.name} of {item.name} is not over a hole{near}",
                measured=pin.off if pin.hole else None,
                limit=pin.allowed if pin.hole else None,
                unit="mm",
                at=point(pin.at),
                remedy=elsewhere(job, item),
            )
        elif pin.state == "blocked":
            yield CHECK.finding(
                "pin-blocked",
                [item.name],
                f"pin {pin.pin.name} of {item.name} stands over {pin.hole}, {_why_blocked(job, pin)}",
                at=point(pin.at),
                remedy=elsewhere(job, item),
            )


def _why_blocked(job: Job, pin: SeatedPin) -> str:
    slot = job.table.cut_by(job.table.find(str(pin.hole)))
    return "which is blocked" if slot is None else f"which {slot.name} cuts"


def _nut(job: Job, item: Seat) -> Iterator[Finding]:
    if item.bolt is None or item.stacked or item.bolt.hole is None:
        return
    hole = job.table.find(item.bolt.hole)
    if not job.table.has_nut(hole):
        yield CHECK.finding(
            "no-nut",
            [item.name],
            f"the bolt of {item.name} in {hole.name} has a rib or leg below it",
            at=hole.xyz,
            remedy=elsewhere(job, item),
        )


def _held(job: Job, item: Seat) -> Iterator[Finding]:
    if item.holds != "pins" or item.complaint or any(p.state in ("off", "off table", "blocked") for p in item.pins):
        return
    play = seat.play(item.pins, dowel_fit(job, item))
    if play.shift is None:
        yield CHECK.finding(
            "not-pinned",
            [item.name],
            f"no dowel holds {item.name}, so it can be pushed in any direction",
            at=_at(item),
            remedy=a_pin(item),
        )
    elif play.turn is None:
        if not item.bolted and not round_about_pin(item):
            yield CHECK.finding(
                "spins",
                [item.name],
                f"only one dowel holds {item.name}, so it can spin",
                at=_at(item),
                remedy=second_pin(job, item),
            )
    else:
        yield from _loose(job, item)


def _held_down(job: Job, item: Seat) -> Iterator[Finding]:
    """Whether something keeps a clamp down that presses down."""
    tip = item.part.tip()
    if tip is None or item.complaint or item.bolted or item.holds in ("edge", "slot", "magnet"):
        return
    bolt_told = item.place.bolt and item.holds == "pins"  # where it finds no hole the pins are told
    if bolt_told or any(p.pin.integral for p in item.pins):
        return
    _, way = placed_tip(item, tip)
    if float(way @ item.plane_to_world[:3, 2]) < AGAINST:
        measured = item.holds == "measured"
        yield CHECK.finding(
            "clamp-not-bolted",
            [item.name],
            f"{item.name} presses down, and {'nothing' if measured else 'no bolt'} holds it down",
            at=_at(item),
            remedy=bolt_words(job, item) or "stand it in a hole that has room for a nut, with bolt = true",
        )


def _meshing(job: Job, item: Seat) -> Iterator[Finding]:
    """Whether the teeth of an adjustment seat."""
    move = item.part.move()
    if move is None or move.notch is None or item.notch is not None:
        return
    below = min(math.floor(item.slide / move.notch + NUMERIC.merge), move.notches)
    around = [k for k in (below, below + 1) if k <= move.notches]
    off = min(abs(item.slide - k * move.notch) for k in around)
    if off > SHOP.contact:
        names = [f"notch = {k} ({show(k * move.notch, job.scene.units)})" for k in around]
        yield CHECK.finding(
            "between-notches",
            [item.name],
            f"{item.name} stands between two notches, so its teeth do not seat",
            measured=off,
            limit=SHOP.contact,
            unit="mm",
            at=_at(item),
            remedy=f"{' or '.join(names)} in place of slide",
        )


def _loose(job: Job, item: Seat) -> Iterator[Finding]:
    """How far the worst pad can move along its normal within the fits."""
    up, fit = item.plane_to_world[:3, 2], dowel_fit(job, item)
    worst = max(
        (
            seat.travel(item.pins, fit, up, spot, pad.normal)
            for pad in placed_pads(item)
            if abs(float(pad.normal @ up)) <= 0.9
            for spot in corners(pad)
        ),
        default=0.0,
    )
    if worst > SHOP.seat_play:
        yield CHECK.finding(
            "loose-seat",
            [item.name],
            f"the fits let a locating face of {item.name} move",
            measured=worst,
            limit=SHOP.seat_play,
            unit="mm",
            at=_at(item),
            remedy="use bores further apart, closer dowels, or reamed holes",
        )


def _carried(job: Job, item: Seat) -> Iterator[Finding]:
    """Whether it lies on something, and whether it tips."""
    level = float(item.plane_to_world[2, 2])
    if item.holds == "pins" and level < UPRIGHT and not item.bolted:
        yield CHECK.finding(
            "tips",
            [item.name],
            f"{item.name} stands on an upright face and no bolt holds it there",
            at=_at(item),
            remedy=bolt_words(job, item) or "put it on a level face",
        )
        return
    found = support(job, item)
    if found is None or item.complaint:
        return
    if found.gap > SHOP.contact or found.on.area <= 0.0:
        yield _floating(job, item, found)
    elif found.out > LEAST_OVERHANG and (level >= LEVEL or item.bolted):
        yield _hanging_over(job, item, found)


def _floating(job: Job, item: Seat, found: Support) -> Finding:
    over = found.on.area > 0.0
    high = found.gap > SHOP.contact
    return CHECK.finding(
        "floats",
        [item.name],
        f"{item.name} hangs above what it should lie on" if over else f"{item.name} lies on nothing",
        measured=found.gap if high else None,
        limit=SHOP.contact if high else None,
        unit="mm",
        at=_at(item),
        remedy=f"lower it by {show(found.gap, job.scene.units)}" if over else elsewhere(job, item),
    )


def _hanging_over(job: Job, item: Seat, found: Support) -> Finding:
    from shapely import Point as Spot

    weight, carried = Spot(*weight_point(job, item)), found.on.convex_hull
    beyond = float(carried.distance(weight))
    balanced = beyond <= SHOP.contact and float(carried.exterior.distance(weight)) <= SHOP.contact
    if (beyond > 0.0 or balanced) and not item.bolted:
        words = f"{item.name} tips over the edge: its weight lies outside the area that carries it"
        if balanced:
            words = f"{item.name} balances on the edge: its weight lies on the edge of what carries it, and it tips"
        beside = [p.pin.name for p in item.pins if not _over(found, item, p)]
        if beside:
            many = f"s {', '.join(beside[:-1])} and {beside[-1]} of {item.name} are" if beside[1:] else ""
            words += f"; pin{many or f' {beside[0]} of {item.name} is'} beyond it"
        bolt, inner = bolt_words(job, item), moved_in(job, item)
        ways = [inner] if inner else []
        if item.holds != "pins":
            ways = [f"move it in by more than {length(max(beyond, SHOP.contact), job.scene.units)}"]
        return CHECK.finding(
            "tips",
            [item.name],
            words,
            measured=None if balanced else beyond,
            limit=None if balanced else 0.0,
            unit="" if balanced else "mm",
            at=_at(item),
            remedy=", or ".join([*ways, *([bolt] if bolt else [])]) or "put a block under the part that hangs over",
        )
    return CHECK.finding(
        "overhang",
        [item.name],
        f"{item.name} hangs over the edge but does not tip",
        measured=found.out,
        unit="mm",
        at=_at(item),
        remedy="nothing, unless something presses on the part that hangs over; then move it in or bolt it down",
    )


def _over(found: Support, item: Seat, pin: SeatedPin) -> bool:
    """Whether a bore is over what carries the block."""
    from shapely import Point as Spot

    x, y, _ = frame.points(frame.inverse(item.plane_to_world), pin.at)
    return bool(found.area.intersects(Spot(float(x), float(y))))


def _pressing(job: Job, item: Seat) -> Iterator[Finding]:
    """Whether a clamp presses where it is asked to, and over the block that takes its push."""
    tip = item.part.tip()
    if tip is None:
        return
    at, way = placed_tip(item, tip)
    toward = job.seats.get(getattr(item.place, "toward", None) or "")
    if toward is not None:
        beside = way_to_support(at, way, toward)
        if float(np.linalg.norm(beside)) > SHOP.contact:
            yield CHECK.finding(
                "clamp-off-support",
                [item.name, toward.name],
                f"the push of {item.name} passes beside {toward.name}",
                measured=float(np.linalg.norm(beside)),
                limit=0.0,
                unit="mm",
                at=point(at),
                remedy=other_point(job, item, tip, beside),
            )
    miss = way_to_point(item, job.weldment) if job.weldment is not None else None
    if miss is not None and float(np.linalg.norm(miss)) > tip.radius:
        yield CHECK.finding(
            "clamp-off-point",
            [item.name, str(getattr(item.place, "presses", ""))],
            f"the tip of {item.name} presses beside the point that it is asked to press",
            measured=float(np.linalg.norm(miss)),
            limit=tip.radius,
            unit="mm",
            at=point(at),
            remedy=other_reach(job, item, tip),
        )


def _shared(job: Job) -> Iterator[Finding]:
    used: dict[str, list[tuple[Seat, SeatedPin]]] = defaultdict(list)
    for item in job.seats.values():
        for pin in item.pins:
            if pin.state == "seated" and pin.hole is not None:
                used[pin.hole].append((item, pin))
    for hole, holders in sorted(used.items()):
        first, *others = holders
        for other, pin in others:
            yield CHECK.finding(
                "hole-shared",
                [other.name, first[0].name],
                f"{other.name} and {first[0].name} both want to stand in {hole}",
                at=point(pin.at),
                remedy=elsewhere(job, other),
            )


def _stock(job: Job) -> Iterator[Finding]:
    for short, remedy in remedies(job):
        more = "more" if short.small is not None else "more of"
        yield CHECK.finding(
            "short-of-blocks",
            [short.model],
            f"the setup takes {more} {short.what} than the inventory lists",
            measured=float(short.needed),
            limit=float(short.owned),
            remedy=remedy,
        )
