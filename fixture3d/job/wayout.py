"""A way out in words: how far to move which block, and the hole or notch on that side that is enough.

A proposed hole or notch clears the pair that it was worked out for; whether something else stands there is for the
next run of the checks to say.
"""

from __future__ import annotations

import dataclasses
import math
from typing import TYPE_CHECKING

import numpy as np

from fixture3d import frame
from fixture3d.errors import TableError
from fixture3d.frame import Array
from fixture3d.part import parameters
from fixture3d.units import Units, show, show_plain

if TYPE_CHECKING:
    from fixture3d.job import Body, Job, PlacedPad, Seat
    from fixture3d.scene.table import Grid, Hole

_WORDS = (("right (+X)", "left (-X)"), ("back (+Y)", "front (-Y)"), ("up (+Z)", "down (-Z)"))
_SMALL = 0.02
"""Components below this share of the largest are left out of the words."""
_STRAIGHT = 0.9
"""Cosine from which a move counts as one along an axis."""
_NEARLY = 0.1
"""Share of a pitch by which a move may differ from whole pitches for a hole to mend a stop that is off by it."""
_SHIMS = 5.0  # mm; what is filled with shims at most; common practice, no source
_SHORT = 3.175  # mm; 1/8 in
_STEP = 0.01  # mm; moves are rounded up to this, so that the words are never short of the way


def in_words(way: Array, units: Units) -> str:
    """A move in the world, as a fabricator says it at the front of the table.

    >>> in_words(np.array([-3.2, 0.0, 1.0]), "mm")
    '3.2 mm left (-X) and 1 mm up (+Z)'
    """
    largest = float(np.abs(way).max())
    order = [k for k in np.argsort(-np.abs(way), kind="stable") if abs(way[k]) > _SMALL * largest]
    return " and ".join(f"{length(abs(float(way[k])), units)} {_WORDS[k][int(way[k] < 0.0)]}" for k in order)


def length(mm: float, units: Units) -> str:
    """A length rounded up to 0.01 mm, in the file's units; below an eighth of an inch to a thousandth of one."""
    up = math.ceil(mm / _STEP - 1e-6) * _STEP
    return show_plain(up, units) if up < _SHORT else show(up, units)


def remedy(
    job: Job, body: Body, way: Array, out: bool = True, pad: PlacedPad | None = None, into: str | None = None
) -> str:
    """What to do so that a block, clamp or piece goes the given way, (3,) mm in the world.

    A move along the block's own adjustment is given as a notch or a slide; one along the table as the next hole on
    that side; one up or down as a change of height. A block in holes is never sent by an amount to where no hole is.

    Args:
        job: the setup.
        body: what is moved.
        way: the move.
        out: whether an adjustment may be let out; not when that would push it through the work.
        pad: the face of it that shall touch the work when it has gone so far; None when it is only to be clear. Where
            the move is not nearly a whole pitch, no hole is right for such a face, and the small mend is named.
        into: the piece that it runs into: a block that carries nothing else may be lowered.
    """
    units = job.scene.units
    words = in_words(way, units)
    seat = job.seats.get(body.item)
    if seat is None:
        return f"move {body.item} {words}"
    sliding = _by_move(seat, body, way, units, out)
    if sliding:
        return f"{sliding}, which moves it {words}"
    level = float(seat.plane_to_world[2, 2]) > _STRAIGHT  # on an upright face a block's height is not a height
    vertical = float(way[2]) / float(np.linalg.norm(way)) if level else 0.0
    if vertical < -_STRAIGHT and -float(way[2]) >= _above_seat(job, seat) - _STEP:
        return f"move {body.item} to another hole: both stand in the same place"
    if vertical < -_STRAIGHT:
        also = [name for name in carried(job, seat) if name != into]
        if also:
            by = length(-float(way[2]), units)
            return (
                f"do not lower {body.item}, for it carries {' and '.join(also)} too: put a block of its own under what "
                f"it runs into, {by} lower, and move {body.item} clear of it, or lift that {by}"
            )
        lower = other_height(seat, float(way[2]), units)
        words = f"use a block that is {length(-float(way[2]), units)} lower than {body.item}"
        return f"{words}{f' ({lower})' if lower else ''}, or lift the work as much"
    if vertical > _STRAIGHT:
        return f"raise {body.item} by {length(float(way[2]), units)}, or lower what is above it as much"
    hole = next_hole(job, seat, way) if pad is None else nearest_hole(job, seat, way)
    if pad is not None and not hole and seat.holds == "pins" and not seat.stacked:
        return _little(job, seat, pad, way)
    if hole or seat.holds != "pins":
        return f"move {body.item} {words}" + (f"; the next hole that way is {hole}" if hole else "")
    where = f"socket of {seat.stands_on} is known" if seat.stacked else "hole is there"
    return f"{body.item} would have to go {words}, and no {where}: turn it, or use another size or model"


def _little(job: Job, seat: Seat, pad: PlacedPad, way: Array) -> str:
    """How a face gets to the work without another hole."""
    units, far = job.scene.units, float(np.linalg.norm(way))
    by, short = length(far, units), float(way @ pad.normal) > 0.0
    name = f"its {pad.pad.name}" if pad.item == seat.name else f"the {pad.pad.name} of {pad.item}"
    shims = sum(sum(shim.by) for shim in seat.place.shims if shim.pad == pad.pad.name)
    if short and far <= _SHIMS:
        mend = f"put {by} of shims on {name}"
    elif not short and shims >= far - _STEP:
        mend = f"take {by} of the shims off {name}"
    else:
        mend = f"use a size whose {pad.pad.name} is {by} further {'out' if short else 'back'}"
    pitch = show(min(job.table.pitch), units)
    said = [mend]
    if not _held_along(job, seat, way):
        said.insert(len(said) if short else 0, f"set the work {in_words(-way, units)} by the offset in [weldment]")
    return f"{', or '.join(said)}: {seat.name} should go {in_words(way, units)}, and its holes are {pitch} apart"


def _held_along(job: Job, seat: Seat, way: Array) -> bool:
    """Whether a face of another block touches the work so that it would not do so any more if the work went along."""
    from fixture3d.job.contact import touching_pads

    normals = {(pad.item, pad.pad.name): pad.normal for pad in job.pads() if pad.item != seat.name}
    touched = (normals.get((touch.item, touch.pad)) for touch in touching_pads(job))
    return any(normal is not None and abs(float(normal @ way)) > _STEP for normal in touched)


def carried(job: Job, seat: Seat) -> list[str]:
    """What would lose its support if a block were lower: pieces that lie on it, not in it, and blocks on top of it."""
    from fixture3d.job.contact import touching_pads

    alone = dataclasses.replace(job, seats={seat.name: seat}, bodies=job.pieces())
    up = {pad.pad.name for pad in alone.pads() if float(pad.normal[2]) > _STRAIGHT}
    pieces = [touch.piece for touch in touching_pads(alone) if touch.pad in up]
    stacked = [other.name for other in job.seats.values() if other.stacked and other.stands_on == seat.name]
    return list(dict.fromkeys([*pieces, *stacked]))


def other_height(seat: Seat, by: float, units: Units) -> str:
    """The parameter that brings every face of a block that looks up higher by ``by`` mm, in words."""
    up = [pad.normal[2] > 0.0 for pad in seat.part.pads()]
    if seat.face != "bottom" or not any(up):
        return ""
    for name, known in parameters(type(seat.part)).items():
        value = getattr(seat.part, name) + by
        low, high = (known.resolved(end, seat.part.pattern) for end in ("low", "high"))
        if known.kind != "length" or not low <= value <= high:
            continue
        other = dataclasses.replace(seat.part, **{name: value})
        rises = [b.at[2] - a.at[2] for a, b in zip(seat.part.pads(), other.pads(), strict=False) if a.normal[2] > 0.0]
        if not list(other.rules()) and all(abs(rise - by) <= _STEP / 2.0 for rise in rises):
            return f"{name} = {show_plain(value, units)}"
    return ""


def _above_seat(job: Job, seat: Seat) -> float:
    """How far the block stands up from what carries it, mm: no lower block of its kind goes under that."""
    inverse = frame.inverse(seat.plane_to_world)
    bodies = [b for b in job.of_item(seat.name) if b.role in ("block", "clamp")]
    tops = [frame.points(frame.chain(inverse, b.body_to_world), b.shape.mesh.vertices)[:, 2].max() for b in bodies]
    return float(max(tops, default=0.0))


def _by_move(seat: Seat, body: Body, way: Array, units: Units, out: bool) -> str:
    """The notch or slide that moves the body that way, or an empty string when the block cannot."""
    move = seat.part.move()
    if move is None or not any(b.moves and f"{seat.name} {b.name}".strip() == body.name for b in seat.part.bodies()):
        return ""
    axis = frame.directions(seat.model_to_world, move.axis)
    along = float(way @ axis) / float(np.linalg.norm(way))
    if abs(along) < _STRAIGHT or (along > 0.0 and not out):
        return ""
    # The adjustment must carry the whole way out along its own direction.
    wanted = seat.slide + float(np.linalg.norm(way)) / along
    if move.notch is None:
        if not 0.0 <= wanted <= move.travel:
            return ""
        return f"set the slide of {seat.name} to {show(wanted, units)}"
    notch = math.ceil(wanted / move.notch - 1e-6) if along > 0.0 else math.floor(wanted / move.notch + 1e-6)
    if not 0 <= notch <= move.notches:
        return ""
    return f"set {seat.name} to notch {notch}"


def nearest_hole(job: Job, seat: Seat, way: Array) -> str:
    """The hole for the block's named pin that is nearly as far along a row as the way; empty when there is none.

    A move that differs from whole pitches by more than a tenth of one has none: the face would miss the work by as
    much as it does now, or run into it.
    """
    stands = _stands(job, seat)
    if stands is None:
        return ""
    grid, hole = stands
    local = frame.directions(frame.inverse(grid.grid_to_world), way)
    steps = [0, 0]
    for k in range(2):
        count = round(float(local[k]) / grid.pitch[k])
        if abs(float(local[k]) - count * grid.pitch[k]) > _NEARLY * grid.pitch[k]:
            return ""
        steps[k] = count * grid.naming.signs[k]
    i, j = hole.i + steps[0], hole.j + steps[1]
    if steps == [0, 0] or not grid.has(i, j, hole.plus):
        return ""
    return grid.hole_name(i, j, hole.plus)


def _stands(job: Job, seat: Seat) -> tuple[Grid, Hole] | None:
    """The grid and the hole in which the block's named pin stands; None where it has none."""
    if seat.holds != "pins" or seat.stacked or not getattr(seat.place, "hole", None):
        return None
    try:
        hole = job.table.find(str(seat.place.hole))
        return job.table.grid(hole.grid), hole
    except TableError:
        return None


def next_hole(job: Job, seat: Seat, way: Array) -> str:
    """The hole for the block's named pin that is far enough along the way out; empty when there is none."""
    stands = _stands(job, seat)
    if stands is None:
        return ""
    grid, hole = stands
    local = frame.directions(frame.inverse(grid.grid_to_world), way)
    steps = [0, 0]
    for k in range(2):
        if abs(float(local[k])) > _SMALL * float(np.abs(local).max()):
            count = math.ceil(abs(float(local[k])) / grid.pitch[k] - 1e-9)
            steps[k] = count * int(math.copysign(1, local[k])) * grid.naming.signs[k]
    i, j = hole.i + steps[0], hole.j + steps[1]
    if steps == [0, 0] or not grid.has(i, j, hole.plus):
        return ""
    return grid.hole_name(i, j, hole.plus)
