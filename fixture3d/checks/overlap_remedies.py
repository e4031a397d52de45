"""How a block that runs into a piece backs off until the face that should touch it does: tried before it is named.

The way out of an overlap is the shortest one, and that may lead through the work. A block that was put one hole too
far in wants to go back the way it came: against the normal of the face that should touch.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from fixture3d import frame
from fixture3d.errors import TableError
from fixture3d.frame import Array
from fixture3d.job import Body, Job, PlacedPad, Seat, placed_pads, seat
from fixture3d.job.contact import NEAR, pad_clearance, pad_gap
from fixture3d.job.resolve import dowel_fit, plane_of
from fixture3d.job.wayout import in_words, length
from fixture3d.part import Move
from fixture3d.scene.table import Grid, Hole
from fixture3d.solid.relate import Placed, relate_all
from fixture3d.tolerance import NUMERIC, SHOP

REACH = 1.2  # pitches that a block may have been put too far in
_SIDEWAYS = 0.1  # cosine; a pad whose normal leans more out of the seat plane supports
_SQUARE = 1.0 - 1e-6  # cosine; a row of holes runs along a pad's normal
_ASIDE = 4  # holes that a block is sent aside at most, off a finished weld
_TRIES = 8  # proposals that are tried for one block: more than its faces that can have gone too far in


class Surfaces(Protocol):
    """Triangles (m, 3, 3) of a body by its name, world."""

    def __getitem__(self, name: str, /) -> Array: ...


@dataclass(frozen=True, kw_only=True)
class _Step:
    """One way back.

    Attributes:
        gap: what may be left between the face that goes back and the piece, mm.
        hole: where the block stands then; None where it is now.
        slide: how far its move is out then, mm.
        shift: (3,) how the block as a whole moves, world, mm.
    """

    gap: float
    hole: Hole | None
    slide: float
    shift: Array


@dataclass(frozen=True, kw_only=True)
class _Met:
    """A face that meets a piece after a step: its name, the piece's, and the gap that is left, mm."""

    pad: str
    piece: str
    gap: float


def back_off(
    job: Job,
    item: Seat,
    piece: Body,
    way: Array | None,
    held: Collection[str],
    triangles: Surfaces,
    boxes: Mapping[str, Array],
) -> str:
    """The hole or notch that clears a block of all bodies and brings faces of it to the work, in words; or empty.

    Tried are its own notches, the holes that a face goes back to against its normal, and the holes next to its own;
    where several work, that is named which meets a piece that no other block meets, then that with the most faces at
    the work, then that on the shortest way out.

    Args:
        job: the setup.
        item: the block.
        piece: what it runs into.
        way: (3,) its shortest way out, world, if known.
        held: the pieces that other blocks meet.
        triangles: (m, 3, 3) of every piece, world.
        boxes: world box of every body, (2, 3).
    """
    if item.complaint or any(s.stacked and s.stands_on == item.name for s in job.seats.values()):
        return ""
    found: list[tuple[tuple[bool, int, int, bool, float, float], _Step, list[_Met]]] = []
    for step in (*_steps(job, item, triangles[piece.name]), *_next_to(job, item)):
        met = _meets(job, item, step, triangles, boxes)
        if met:
            moved = _move(item, step)
            loose = all(one.gap > SHOP.contact for one in met)
            against = way is not None and float(way @ moved) < 0.0
            changed = round(abs(step.slide - item.slide), 6)
            alone = len({one.piece for one in met} - set(held))
            rank = (loose, -alone, -len(met), against, round(float(np.linalg.norm(moved)), 6), changed)
            found.append((rank, step, met))
    for _, step, met in sorted(found, key=lambda f: f[0])[:_TRIES]:
        if _drops_in(job, item, step) and _clear(job, item, step, boxes):
            return _words(job, item, step, met)
    return ""


def _move(item: Seat, step: _Step) -> Array:
    """How the moving body of a block goes, (3,) world, mm."""
    move = item.part.move()
    axis = np.zeros(3) if move is None else frame.directions(item.model_to_world, move.axis)
    moved: Array = step.shift + axis * (step.slide - item.slide)
    return moved


def _meets(job: Job, item: Seat, step: _Step, triangles: Surfaces, boxes: Mapping[str, Array]) -> list[_Met]:
    """The faces of a block that are at the work after a step."""
    out, within = [], max(NEAR, step.gap)
    for pad in placed_pads(item):
        at = pad.at + (_move(item, step) if pad.pad.moves else step.shift)
        there = dataclasses.replace(pad, at=at)
        far = float(np.hypot(pad.pad.length, pad.pad.width)) / 2.0 + within
        for piece in job.pieces():
            if (boxes[piece.name][0] > at + far).any() or (boxes[piece.name][1] < at - far).any():
                continue
            gap = pad_gap(there, triangles[piece.name], within + SHOP.contact)
            if gap is not None and -SHOP.contact <= gap <= within:
                out.append(_Met(pad=pad.pad.name, piece=piece.name, gap=gap))
    return out


def aside(job: Job, item: Seat, triangles: Surfaces, boxes: Mapping[str, Array]) -> str:
    """The nearest hole in which a block is clear of all, finished welds too, and still at the work; or empty.

    Arguments as for ``back_off``; holes in its own row and column are tried.
    """
    if item.complaint or any(s.stacked and s.stands_on == item.name for s in job.seats.values()):
        return ""
    for step in (step for far in range(1, _ASIDE + 1) for step in _next_to(job, item, far)):
        met = [one for one in _meets(job, item, step, triangles, boxes) if one.gap <= SHOP.contact]
        if met and step.hole is not None and _drops_in(job, item, step) and _clear(job, item, step, boxes):
            faces = " and ".join(dict.fromkeys(one.pad for one in met))
            pieces = " and ".join(dict.fromkeys(one.piece for one in met))
            verb = "touch" if " and " in faces else "touches"
            return f"move {item.name} to hole {step.hole.name}: its {faces} then {verb} {pieces}, clear of the weld"
    return ""


def _next_to(job: Job, item: Seat, far: int = 1) -> Iterator[_Step]:
    """The four holes next to the block's own, or so many further, its adjustment left alone."""
    stands = _stands(job, item)
    if stands is not None:
        grid, hole = stands
        for i, j in ((far, 0), (-far, 0), (0, far), (0, -far)):
            if grid.has(hole.i + i, hole.j + j, hole.plus):
                there = grid.at(hole.i + i, hole.j + j, hole.plus)
                shift = np.asarray(there.xyz) - np.asarray(hole.xyz)
                yield _Step(gap=0.0, hole=there, slide=item.slide, shift=shift)


def locating(job: Job, item: Seat, way: Array, triangles: Array) -> PlacedPad | None:
    """The face of a block that goes back from a piece along a way out, so that it then touches it; None if none does.

    Args:
        job: the setup.
        item: the block.
        way: (3,) its way out, world.
        triangles: (m, 3, 3) of the piece, world.
    """
    far = float(np.linalg.norm(way))
    for pad in placed_pads(item):
        if float(-way @ pad.normal) > _SQUARE * far and abs(float(pad.normal @ item.plane_to_world[:3, 2])) < _SIDEWAYS:
            clear = pad_clearance(pad, triangles, far + NEAR)
            if clear is not None and abs(clear + far) <= NEAR:
                return pad
    return None


def retreat(job: Job, item: Seat, way: Array, triangles: Array) -> Array:
    """The way out that does not lead a face of the block further through the piece, (3,) mm.

    Args:
        job: the setup.
        item: the block.
        way: (3,) its shortest way out, world.
        triangles: (m, 3, 3) of the piece, world.

    Returns:
        ``way`` itself unless it pushes a face on into the work that could go back by at most some 1.2 pitches.
    """
    for pad in placed_pads(item):
        if float(way @ pad.normal) > 0.9 * float(np.linalg.norm(way)):
            clear = pad_clearance(pad, triangles, REACH * max(job.table.pitch))
            if clear is not None and clear < 0.0:
                return np.asarray(pad.normal * clear)
    return way


def _steps(job: Job, item: Seat, triangles: Array) -> Iterator[_Step]:
    """What could be set, before it is tried: notches alone, and holes with the notch that then comes nearest."""
    move = item.part.move()
    stands = _stands(job, item)
    for pad in placed_pads(item):
        if abs(float(pad.normal @ item.plane_to_world[:3, 2])) > _SIDEWAYS:
            continue
        clear = pad_clearance(pad, triangles, REACH * max(job.table.pitch))
        if clear is None or clear >= -SHOP.contact:
            continue
        depth = -clear
        moves = move if move is not None and _along(item, move, pad) else None
        slide = None if moves is None else _settable(moves, item.slide - depth)
        if moves is not None and slide is not None:
            back = item.slide - slide
            yield _Step(gap=back - depth, hole=None, slide=slide, shift=np.zeros(3))
        if stands is None:
            continue
        grid, hole = stands
        for there in _behind(grid, hole, pad, depth):
            shift = np.asarray(there.xyz) - np.asarray(hole.xyz)
            far = -float(shift @ pad.normal)
            out = None if moves is None else _settable(moves, item.slide + far - depth)
            back = far if out is None else far - (out - item.slide)
            if back - depth <= NEAR or out is not None:
                slide = item.slide if out is None else out
                yield _Step(gap=back - depth, hole=there, slide=slide, shift=shift)


def _along(item: Seat, move: Move, pad: PlacedPad) -> bool:
    """Whether the adjustment of a block takes a pad straight ahead."""
    axis = frame.directions(item.model_to_world, move.axis)
    return pad.pad.moves and float(axis @ pad.normal) >= _SQUARE


def _settable(move: Move, slide: float) -> float | None:
    """The setting nearest to ``slide`` that is not further out, mm; None when there is none."""
    if move.notch is not None:
        notch = math.floor(slide / move.notch + NUMERIC.merge)
        return notch * move.notch if 0 <= notch <= move.notches else None
    return slide if 0.0 <= slide <= move.travel else None


def _stands(job: Job, item: Seat) -> tuple[Grid, Hole] | None:
    """The hole that its named pin stands in, and the grid of that hole."""
    if item.holds != "pins" or item.stacked or not item.place.hole:
        return None
    try:
        hole = job.table.find(item.place.hole)
        return job.table.grid(hole.grid), hole
    except TableError:
        return None


def _behind(grid: Grid, hole: Hole, pad: PlacedPad, depth: float) -> Iterator[Hole]:
    """The nearest hole that a pad can go back to along a row so that it is clear of what is behind it."""
    local = frame.directions(frame.inverse(grid.grid_to_world), pad.normal)
    for axis in (0, 1):
        if abs(float(local[axis])) < _SQUARE:
            continue
        count = math.ceil((depth - SHOP.contact) / grid.pitch[axis])
        step = -count * int(math.copysign(1, local[axis])) * grid.naming.signs[axis]
        i, j = hole.i + (step if axis == 0 else 0), hole.j + (step if axis == 1 else 0)
        if grid.has(i, j, hole.plus):
            yield grid.at(i, j, hole.plus)


def _drops_in(job: Job, item: Seat, step: _Step) -> bool:
    """Whether every dowel that is in now finds an open hole of its own there, and the bolt a nut."""
    if step.hole is None:
        return True
    anchor = next((p.pin for p in item.pins if p.pin.name == item.anchor), None)
    local = frame.chain(frame.inverse(item.plane_to_world), frame.translation(step.shift), item.model_to_world)
    asked = frozenset(item.place.pins) if item.place.pins is not None else None
    pins = seat.seat_pins(
        item.part,
        item.face,
        local,
        plane_of(job, item),
        dowel_fit(job, item),
        anchor=anchor,
        asked=asked,
        bolted=item.place.bolt,
    )
    seated = {p.pin.name: p.hole for p in pins if p.state == "seated"}
    used = {hole for other in job.seats.values() if other.name != item.name for hole in other.holes}
    if not {p.pin.name for p in item.pins if p.state == "seated"} <= set(seated) or used & set(seated.values()):
        return False
    return not item.bolted or job.table.has_nut(step.hole)


def _clear(job: Job, item: Seat, step: _Step, boxes: Mapping[str, Array]) -> bool:
    """Whether the block, moved, runs into nothing; only bodies that are near are compared."""
    loose = {f"{item.name} {body.name}".strip() for body in item.part.bodies() if body.moves}
    loose |= {f"{item.name} shim {pad.name}" for pad in item.part.pads() if pad.moves}
    moved: list[Placed] = []
    low, high = np.full(3, np.inf), np.full(3, -np.inf)
    for body in job.of_item(item.name):
        shift = _move(item, step) if body.name in loose else step.shift
        moved.append(Placed(body.name, body.shape, frame.chain(frame.translation(shift), body.body_to_world)))
        low = np.minimum(low, boxes[body.name][0] + shift)
        high = np.maximum(high, boxes[body.name][1] + shift)
    around = [
        Placed(body.name, body.shape, body.body_to_world)
        for body in job.bodies
        if body.item != item.name and (boxes[body.name][0] <= high).all() and (boxes[body.name][1] >= low).all()
    ]
    beads = [
        Placed(f"{bead.name}, part {k}", bead.shape, bead.body_to_world)
        for k, bead in enumerate(job.beads)
        if (bead.box[0] <= high).all() and (bead.box[1] >= low).all()
    ]
    own, welds = {body.name for body in moved}, {bead.name for bead in beads}
    found = relate_all(
        [*moved, *around, *beads], skip=lambda a, b: (a in own) == (b in own), store=job.store, want_way_out=False
    )
    # A finished weld may not even be touched.
    return all(r.kind == "clear" or (r.kind == "touching" and not {a, b} & welds) for a, b, r in found)


def _words(job: Job, item: Seat, step: _Step, met: Sequence[_Met]) -> str:
    units, move = job.scene.units, item.part.move()
    setting = ""
    if move is not None and abs(step.slide - item.slide) > NUMERIC.merge:
        notch = None if move.notch is None else round(step.slide / move.notch)
        setting = f"slide = {length(step.slide, units)}" if notch is None else f"notch {notch}"
    if step.hole is None:
        words = f"set {item.name} to {setting}, which moves it {in_words(_move(item, step), units)}"
    else:
        words = f"move {item.name} back to hole {step.hole.name}{f' with {setting}' if setting else ''}"
    touching = [one for one in met if one.gap <= SHOP.contact]
    if touching:
        faces = " and ".join(dict.fromkeys(one.pad for one in touching))
        pieces = " and ".join(dict.fromkeys(one.piece for one in touching))
        return f"{words}: its {faces} then {'touch' if ' and ' in faces else 'touches'} {pieces}"
    near = min(met, key=lambda one: one.gap)
    return f"{words}: its {near.pad} is then {length(near.gap, units)} off {near.piece}, for a shim"
