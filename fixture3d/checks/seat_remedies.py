"""What to do about a seat that does not work: the nearest one that does, tried before it is named.

A proposal is only named when its dowels drop into open holes that no other block uses; among those the nearest one
goes first where the block also lies fully on something, meets no other body's box, and has room for its nut.
"""

from __future__ import annotations

import dataclasses
import itertools
from collections.abc import Iterator

import numpy as np

from fixture3d import frame
from fixture3d.frame import Array
from fixture3d.job import Job, Seat, SeatedPin, seat
from fixture3d.job.clamping import asked_point, at_of, placed_tip, square_to
from fixture3d.job.plane import BlockPlane, Plane
from fixture3d.job.resolve import block_plane, dowel_fit, plane_of
from fixture3d.job.support import support
from fixture3d.job.wayout import in_words, next_hole
from fixture3d.part import Pin, Tip, parameters
from fixture3d.scene.schema import Clamp
from fixture3d.tolerance import SHOP
from fixture3d.units import show, show_fine

LEAST_OVERHANG = 2.5  # mm; a chamfered edge is no overhang
_HOLES = (9, 25)  # how many holes round the one asked for are tried; more when none of the nearest will do
_NONE = "no hole near it takes these pins; leave pins out with pins = [...] or choose another model"


def elsewhere(job: Job, item: Seat) -> str:
    """The nearest seat that works, in words."""
    anchor = _anchor(item)
    if anchor is None:
        return "place it in a hole, or stand it on another block"
    fallback = ""
    for holes in _HOLES:
        for proposal, candidate in _proposals(job, item, anchor, holes):
            words = f"nearest seat that works: {_words(item, proposal.hole)}, turn {proposal.turn:g}"
            if has_nut(job, candidate) and _lies(job, candidate) and not _in_the_way(job, candidate):
                return words
            fallback = fallback or f"{words}; look there whether it runs into something or hangs over"
    return fallback or _NONE


def moved_in(job: Job, item: Seat) -> str:
    """The nearest seat where all of a block lies on what carries it, in words; empty when none is near."""
    anchor = _anchor(item)
    if item.holds != "pins" or anchor is None:
        return ""
    for holes in _HOLES:
        for proposal, candidate in _proposals(job, item, anchor, holes):
            if has_nut(job, candidate) and _lies(job, candidate) and not _in_the_way(job, candidate):
                return f"nearest seat that works: {_words(item, proposal.hole)}, turn {proposal.turn:g}"
    return ""


def second_pin(job: Job, item: Seat) -> str:
    """How a second dowel gets in with the first one left where it is, or how a bolt holds the block."""
    bolt = bolt_words(job, item)
    anchor = next(p.pin for p in item.pins if p.state == "seated")
    xy, plane, used = _xy(item, anchor), plane_of(job, item), _used(job, item)
    others = [pin for pin in seat.face_pins(item.part, item.face) if pin.name != anchor.name]
    # First the turn that is asked for, by any of its bores; then other turns about the pin that is in, then the rest.
    tries: list[tuple[bool, float, bool, float, Pin]] = []
    for turn in (item.turn, *seat.eighths(_row(job, item))):
        change = abs((turn - item.turn + 180.0) % 360.0 - 180.0)
        for pin in (anchor, *others):
            other = pin is not anchor
            tries.append((other and change > 0.0, change, other, turn, pin))
    best: tuple[bool, float, bool, float, Pin] | None = None
    for attempt in sorted(tries, key=lambda t: (*t[:4], t[4].name)):
        _, _, _, turn, pin = attempt
        candidate = _seated(job, item, plane, pin, xy, turn)
        holes = [p.hole for p in candidate.pins if p.state == "seated"]
        if len(holes) >= 2 and not used & set(holes) and not _in_the_way(job, candidate):
            best = attempt
            break
    left_out = f"pins = [...] of {item.name} taken out" if item.place.pins is not None else ""
    if best is None:
        return bolt or "choose a block with two bores"
    _, change, other, turn, pin = best
    keys = [f"turn = {turn:g}"] if change else []
    keys = [f'pin = "{pin.name}"', f"at turn = {turn:g}"] if other else keys
    if not keys:
        words = f"{left_out} puts a second dowel in"
    else:
        words = f"{' '.join(keys)}{f' with {left_out}' if left_out else ''} puts a second dowel in"
    return f"{words}; or {bolt}" if bolt else words


def bolt_words(job: Job, item: Seat) -> str:
    """How a bolt would hold the block; empty where none can go in."""
    pin = next((p for p in item.pins if p.pin.name == item.anchor), None)
    if item.bolted or pin is None or pin.hole is None or pin.off > pin.allowed or pin.pin.integral:
        return ""
    if not item.stacked and not job.table.has_nut(job.table.find(pin.hole)):
        return ""
    return "hold it down with bolt = true"


def a_pin(item: Seat) -> str:
    """How a block without a dowel gets one."""
    if not item.pins:
        return f"lay {item.name} on a face with bores, or clamp it down and set it by measuring"
    if item.place.pins is not None:
        return f"take pins = [...] of {item.name} out, so that every bore over a hole gets its dowel"
    return f"place {item.name} where its bores find holes"


def other_socket(job: Job, item: Seat) -> str:
    """What to do with a block whose socket does not look up."""
    lower = job.seats.get(item.stands_on)
    plane = block_plane(lower) if lower is not None else None
    if plane is not None and plane.sockets:
        return f'socket = "{plane.sockets[0][0]}"'
    aside = [s.name for s in lower.part.sockets() if block_plane(lower, s.name) is not None] if lower else []
    bolted = f', or name one in its side: socket = "{aside[0]}", with bolt = true' if aside else ""
    return f"lay {item.stands_on} so that its sockets look up{bolted}, or stand {item.name} in a hole"


def along_edge(job: Job, item: Seat) -> str:
    """What to measure for a block over the edge or in a slot: from the nearest row or column, or the slot's tip."""
    along, table, units = item.place.along or 0.0, job.table, job.scene.units
    if isinstance(item.place, Clamp) and item.place.slot is not None:
        slot = table.slot(item.place.slot)
        tip = f"{show(along + slot.width / 2.0, units)} from the {slot.first} tip of {slot.name}"
        return f"set its middle {tip}; across, the side of the slot locates it"
    k = 0 if item.place.edge in ("front", "back") else 1
    near = min(max(round(along / table.pitch[k]), 0), (table.columns, table.rows)[k] - 1)
    corner = table.naming.corner
    first = corner.startswith(str(item.place.edge)) or corner.endswith(str(item.place.edge))
    last = 0 if first else (table.rows, table.columns)[k] - 1
    hole = table.hole_name(*((near, last) if k == 0 else (last, near)))
    off = along - near * table.pitch[k]
    if abs(off) <= SHOP.contact:
        return f"set its middle level with {hole}; across, the edge itself locates it"
    way = "beyond" if off > 0.0 else "short of"
    return f"set its middle {show(abs(off), units)} {way} {hole}; across, the edge itself locates it"


def nearest_hole(job: Job, item: Seat) -> str:
    """The hole that could locate a block which is placed by measuring."""
    pins = seat.face_pins(item.part, item.face)
    if item.part.stands == "magnet":
        x, y, _ = (float(v) for v in item.model_to_world[:3, 3])
        near = job.table.nearest_holes((x, y), 1)
        if not near:
            return "let stops locate the work, the magnet only holds it"
        away = float(np.hypot(near[0].xy[0] - x, near[0].xy[1] - y))
        words = f"over {near[0].name}" if away <= SHOP.contact else f"{show(away, job.scene.units)} from {near[0].name}"
        return f"set its middle {words}; let stops locate the work, the magnet only holds it"
    if not pins:
        return "lay it on a face with bores and stand it in a hole, with a slide stop or shims to make up the rest"
    x, y, z = (float(v) for v in frame.points(item.model_to_world, pins[0].at))
    if abs(z) > SHOP.contact:
        return "stand it on a block with sockets (on = ..., socket = ...), and no measuring is needed"
    near = job.table.nearest_holes((x, y), 1)
    if not near:
        return "stand it in a hole, and no measuring is needed"
    off = float(np.hypot(near[0].xy[0] - x, near[0].xy[1] - y))
    if off <= SHOP.contact:
        turn = f", turn = {item.turn:g}" if item.turn else ""
        return f'its pin is over a hole: hole = "{near[0].name}"{turn} places it there without measuring'
    return f"the nearest hole is {near[0].name}, {show_fine(off, job.scene.units)} away"


def other_point(job: Job, item: Seat, tip: Tip, beside: Array) -> str:
    """Where a clamp presses over the block that takes its push.

    Args:
        job: the setup.
        item: the clamp.
        tip: of its model.
        beside: (3,) the move that brings its tip to the edge of what the block offers, world, mm.
    """
    (spot, _), clamp = placed_tip(item, tip), item.place
    wanted = beside * (1.0 + tip.radius / float(np.linalg.norm(beside)))  # with its whole face over the pad
    words = f"move the tip {in_words(wanted, job.scene.units)}"
    hole = next_hole(job, item, wanted)
    if not hole and item.holds == "pins":
        words = f"the tip has to go {in_words(wanted, job.scene.units)}, and no hole is there: change its turn or reach"
    words += f"; the next hole that way is {hole}" if hole else ""
    if isinstance(clamp, Clamp) and clamp.at is not None and job.weldment is not None:
        at = at_of(clamp, spot + wanted, job.weldment)
        free = "turn" not in clamp.model_fields_set and "reach" not in clamp.with_
        if at is not None and free:
            words += f", about at = {show(at, job.scene.units)}"
    return f"{words}, or put {clamp.model_dump()['toward'] or 'a block'} under it"


def other_reach(job: Job, item: Seat, tip: Tip) -> str:
    """How a clamp comes to press at the point that it is asked to press."""
    (spot, way), clamp = placed_tip(item, tip), item.place
    if not isinstance(clamp, Clamp) or job.weldment is None:
        return ""
    given = ["turn"] if "turn" in clamp.model_fields_set else []
    given += ["reach"] if "reach" in clamp.with_ else []
    if given:
        words = f"take {' and '.join(given)} of {item.name} out, so that its tip follows at"
    else:
        reach, units = parameters(type(item.part))["reach"], job.scene.units
        low, high = (reach.resolved(which, item.part.pattern) for which in ("low", "high"))
        words = f"stand {item.name} where a reach of {show(low, units)} to {show(high, units)} is enough"
    now = at_of(clamp, spot, job.weldment)
    if now is not None:
        there = asked_point(clamp.model_copy(update={"at": now}), item.part.pattern, job.weldment)
        if there is not None and float(np.linalg.norm(square_to(way, there - spot))) <= tip.radius:
            words += f"; it presses at = {show(now, job.scene.units)} now"
    return words


def _anchor(item: Seat) -> Pin | None:
    return next((p.pin for p in item.pins if p.pin.name == item.anchor), None)


def _words(item: Seat, hole: str) -> str:
    return f"socket {hole.rpartition(':')[2]} of {item.stands_on}" if item.stacked else f"hole {hole}"


def _xy(item: Seat, pin: Pin) -> tuple[float, float]:
    """Where a pin stands in the seat plane, mm."""
    at = next(p.at for p in item.pins if p.pin.name == pin.name)
    local = frame.points(frame.inverse(item.plane_to_world), at)
    return float(local[0]), float(local[1])


def _row(job: Job, item: Seat) -> float:
    """Direction of the rows of holes that it stands in, degrees: sockets turn with their block."""
    plane = plane_of(job, item)
    return plane.row if isinstance(plane, BlockPlane) else 0.0


def _used(job: Job, item: Seat) -> frozenset[str]:
    """Holes that other blocks stand in."""
    return frozenset(h for s in job.seats.values() if s.name != item.name for h in s.holes)


def _proposals(job: Job, item: Seat, anchor: Pin, holes: int) -> Iterator[tuple[seat.Proposal, Seat]]:
    """Seats whose dowels drop in and use no hole twice, nearest first; and the block in each.

    The pins that the scene names must all find holes; where it names none, as many as keep the block from spinning.
    """
    plane, dowels, used = plane_of(job, item), dowel_fit(job, item), _used(job, item)
    asked = frozenset(p.pin.name for p in item.pins if p.asked)
    bores = len(seat.face_pins(item.part, item.face))
    enough = 1 if item.place.pins is not None or item.place.bolt else min(2, bores)
    near = {
        "anchor": anchor,
        "at": _xy(item, anchor),
        "turn": item.turn,
        "names": asked,
        "holes": holes,
        "row": _row(job, item),
    }
    for proposal in seat.proposals(item.part, item.face, plane, dowels, **near):  # type: ignore[arg-type]
        candidate = _seated(job, item, plane, anchor, proposal.xy, proposal.turn, as_asked=True)
        if len(candidate.holes) >= enough and not used & frozenset(candidate.holes):
            yield proposal, candidate


def _seated(
    job: Job, item: Seat, plane: Plane, anchor: Pin, xy: tuple[float, float], turn: float, as_asked: bool = False
) -> Seat:
    """The block elsewhere or turned, with the pins of the scene or with every pin that finds a hole."""
    pose = seat.model_to_plane(item.part, item.face, anchor, xy, turn)
    lift = frame.translation((0.0, 0.0, item.shims.get("seat", 0.0)))
    asked = frozenset(item.place.pins) if as_asked and item.place.pins is not None else None
    pins: tuple[SeatedPin, ...] = seat.seat_pins(
        item.part, item.face, pose, plane, dowel_fit(job, item), anchor=anchor, asked=asked, bolted=item.place.bolt
    )
    to_world = frame.chain(item.plane_to_world, lift, pose)
    return dataclasses.replace(item, model_to_world=to_world, pins=pins, turn=turn % 360.0)


def has_nut(job: Job, candidate: Seat) -> bool:
    """Whether its bolt, if it has one, has room for a nut."""
    bolt = candidate.bolt
    if bolt is None or bolt.hole is None or candidate.stacked:
        return True
    return job.table.has_nut(job.table.find(bolt.hole))


def _lies(job: Job, candidate: Seat) -> bool:
    """Whether the block lies on something with all of its foot."""
    found = support(job, candidate)
    return found is None or (found.gap <= SHOP.contact and found.on.area > 0.0 and found.out <= LEAST_OVERHANG)


def _in_the_way(job: Job, candidate: Seat) -> bool:
    """Whether the block's box would meet that of another body; too careful for blocks that stand askew."""
    ends = zip(*candidate.part.box(), strict=True)
    corners = frame.points(candidate.model_to_world, np.array(list(itertools.product(*ends))))
    low, high = corners.min(axis=0) + SHOP.contact, corners.max(axis=0) - SHOP.contact
    moving = with_it(job, candidate.name)
    for body in job.bodies:
        if body.item not in moving and body.role in ("block", "clamp", "piece", "shim"):
            box = body.box
            if (box[0] < high).all() and (box[1] > low).all():
                return True
    return False


def with_it(job: Job, name: str) -> set[str]:
    """A block and all that is stacked on it."""
    moving = {name}
    for _ in job.seats:
        moving |= {s.name for s in job.seats.values() if s.stacked and s.stands_on in moving}
    return moving
