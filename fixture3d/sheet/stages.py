"""From one stage of a setup to the next: what comes off, what goes on, what moves, and how the work is turned."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any

import numpy as np

from fixture3d import frame
from fixture3d.errors import one_line
from fixture3d.frame import Array
from fixture3d.job import Job
from fixture3d.job.inventory import size_in_words
from fixture3d.job.same_block import block_kind
from fixture3d.job.wayout import in_words
from fixture3d.scene.schema import WeldmentKeys
from fixture3d.tolerance import SHOP
from fixture3d.units import show

_SAME = 0.01  # degrees; the work is not turned by less
_SIDES = (("right", "left"), ("back", "front"), ("top", "underside"))


def changes(before: Job, after: Job, stands: dict[str, dict[str, str]]) -> dict[str, Any]:
    """The list from one stage to the next, as JSON types.

    Args:
        before: the stage that is done.
        after: the next one.
        stands: of every block of the next stage and of the one before, by stage and name, where it stands in words.
    """
    old, new = stands[before.stage or ""], stands[after.stage or ""]
    off = [seat for name, seat in before.seats.items() if name not in after.seats]
    on = [seat for name, seat in after.seats.items() if name not in before.seats]
    moved = []
    for seat in list(on):
        # The same block again, elsewhere and under another name.
        twin = next((one for one in off if block_kind(one) == block_kind(seat)), None)
        if twin is not None:
            off.remove(twin)
            on.remove(seat)
            moved.append(
                {
                    "name": one_line(twin.name),
                    "model": one_line(twin.model),
                    "from": old[twin.name],
                    "to": new[seat.name],
                    "as": one_line(seat.name) if seat.name != twin.name else "",
                }
            )
    return {
        "off": [{"name": one_line(s.name), "model": one_line(s.model), "hole": old[s.name]} for s in off],
        "on": [{"name": one_line(s.name), "model": one_line(s.model), "hole": new[s.name]} for s in on],
        "moved": moved,
        "again": list(_set_again(before, after)),
        "open": [one_line(name) for name, seat in before.seats.items() if seat.clamp and name in after.seats],
        "lift": _moves(before, after),
        "work": turned(before, after),
        "pieces_on": [one_line(name) for name in _names(after) if name not in _names(before)],
        "pieces_off": [one_line(name) for name in _names(before) if name not in _names(after)],
        "joined": [[one_line(name) for name in group] for group in after.joined],
    }


def _names(job: Job) -> list[str]:
    return [body.name for body in job.pieces()]


def _set_again(before: Job, after: Job) -> Iterator[str]:
    """Blocks that stay in their hole but not as they are: a clamp that reaches elsewhere."""
    units = after.scene.units
    for name, seat in after.seats.items():
        was = before.seats.get(name)
        if was is None:
            continue
        words = []
        if abs((seat.turn - was.turn + 180.0) % 360.0 - 180.0) > _SAME:
            words.append(f"turn {_degrees(was.turn)} to {_degrees(seat.turn)}")
        if size_in_words(was.part, units) != size_in_words(seat.part, units):
            words.append(f"{size_in_words(was.part, units)} to {size_in_words(seat.part, units)}")
        presses = [getattr(one.place, "presses", None) for one in (was, seat)]
        if presses[0] != presses[1]:
            words.append(f"presses {presses[1]}")
        if words:
            yield one_line(f"{name}: {'; '.join(words)}")


def _degrees(turn: float) -> str:
    return f"{round(turn, 2) % 360.0:g}°"


def _moves(before: Job, after: Job) -> bool:
    """Whether the work goes elsewhere."""
    if before.weldment is None or after.weldment is None:
        return False
    off = before.weldment.weldment_to_world - after.weldment.weldment_to_world
    return float(np.abs(off).max()) > 1e-6


def turned(before: Job, after: Job) -> list[str]:
    """How the work goes from where it lies to where it shall lie, one sentence a step; empty without work."""
    if before.weldment is None or after.weldment is None:
        return []
    here, there = before.weldment.weldment_to_world, after.weldment.weldment_to_world
    turn = there[:3, :3] @ here[:3, :3].T
    steps = list(_turns(turn, here[:3, :3]))
    shift = there[:3, 3] - here[:3, 3]
    if not steps and float(np.abs(shift).max()) <= SHOP.contact:
        return ["The work stays as it is."]
    if not steps:
        return [f"Move the work {in_words(shift, after.scene.units)}.", place_of(after)]
    return [*steps, place_of(after)]


def _turns(turn: Array, own: Array) -> Iterator[str]:
    """The steps of a turn, world, of work whose axes are the columns of ``own``: over or on its side, then round."""
    up = turn.T[:, 2]  # what will point up, as it lies now
    lean = math.degrees(math.acos(min(1.0, max(-1.0, float(up[2])))))
    left = turn
    if lean > 180.0 - _SAME:
        # A half turn about a level line: the line stays, and halves the angle between X and where X goes.
        half = math.atan2(float(turn[1, 0]), float(turn[0, 0])) / 2.0
        line = np.array([math.cos(half), math.sin(half), 0.0])
        yield f"Turn the work over about {_line(line, own)}: its underside comes up."
        return
    if lean > _SAME:
        line = frame.unit(np.cross(up, (0.0, 0.0, 1.0)))
        tipped = frame.rotation(tuple(line), lean)[:3, :3]
        left = turn @ tipped.T
        yield f"Tip the work by {_angle(lean)} about {_line(line, own)}, so that its {_side(up)} comes up."
    round_ = math.degrees(math.atan2(float(left[1, 0]), float(left[0, 0])))
    if abs(round_) > _SAME:
        way = "counter-clockwise" if round_ > 0.0 else "clockwise"
        yield f"Turn the work {_angle(abs(round_))} {way}, seen from above."


def _angle(degrees: float) -> str:
    return f"{round(degrees, 1):g}°"


def _line(line: Array, own: Array) -> str:
    """A level line: as an axis of the work's own drawing where it is one, and how it lies on the table."""
    inside = own.T @ line
    axis = int(np.argmax(np.abs(inside)))
    mine = f"its own {'XYZ'[axis]}, which lies " if abs(float(inside[axis])) > 1.0 - 1e-6 else "a line "
    if abs(float(line[0])) > 1.0 - 1e-6:
        return f"{mine}from left to right"
    if abs(float(line[1])) > 1.0 - 1e-6:
        return f"{mine}from front to back"
    slope = math.degrees(math.atan2(float(line[1]), float(line[0]))) % 180.0
    return f"{mine}at {_angle(slope)} from left to right, counter-clockwise"


def _side(up: Array) -> str:
    """The side of the work that looks that way, as it lies now."""
    axis = int(np.argmax(np.abs(up[:2])))
    return f"{_SIDES[axis][int(up[axis] < 0.0)]} side"


def place_of(job: Job) -> str:
    """Where the work's zero point is, by its hole."""
    keys, units = job.scene.weldment, job.scene.units
    if keys is None:
        return "Its zero point is over the middle of hole A1, on the table top."
    words = []
    for amount, (plus, minus) in zip(keys.offset, (("right", "left"), ("back", "to the front")), strict=True):
        if amount:
            words.append(f"{show(abs(amount), units)} {plus if amount > 0.0 else minus}")
    off = f", {' and '.join(words)} of it" if words else ""
    high = f"{show(abs(keys.lift), units)} {'up' if keys.lift >= 0.0 else 'down'}"
    return one_line(f"Its zero point is over hole {job.table.find(keys.hole).name}{off}, {high}{_lies(keys)}.")


def _lies(keys: WeldmentKeys) -> str:
    """How its own axes lie, as far as they do not lie as on the drawing."""
    said = []
    if keys.mirrored:
        said.append("built as the mirror image of its drawing")
    if keys.up != "z":
        said.append(f"its {keys.up.upper()} axis up")
    for amount, axis in zip(keys.tilt, "XY", strict=True):
        if amount:
            said.append(f"tipped {amount:g}° about the table's {axis}")
    if keys.turn:
        said.append(f"turned {keys.turn:g}° counter-clockwise")
    return "".join(f"; {one}" for one in said)
