"""How far the faces of blocks that were measured stand off where the drawing of the block has them.

The setup is drawn with nominal blocks; what was measured goes to the deviations, and to what is asked of a distance.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from typing import NamedTuple

import numpy as np

from fixture3d import frame
from fixture3d.frame import Array
from fixture3d.job.inventory import table_pattern
from fixture3d.job.job import Job, Seat
from fixture3d.job.owned import Stocked, as_measured, stocked, true_line, unsure
from fixture3d.job.seat import face_pins, model_to_plane
from fixture3d.part import NORMALS, Part

_STEP = 0.1  # mm; a length is changed by so much to see which faces go with it
_STILL = 1e-6  # mm
_UP = 0.999  # cosine


class TrueFace(NamedTuple):
    """How far a face stands out of the nominal block, mm.

    Attributes:
        off: what was measured says.
        sure: the length runs from that face to the pins or to the table, so that it says all; of one from face to face,
            as over the depth of a block, each has half, and where the bores lie is as loose as ever.
    """

    off: float
    sure: bool


def measured_lines(job: Job) -> tuple[Stocked, ...]:
    """The lines of the inventory with the blocks of a kind of which some were measured; none where none were."""
    if not any(line.record.measured for line in job.scene.stock):
        return ()
    return stocked(job.scene, job.library, table_pattern(job.scene))


def true_faces(lines: Collection[Stocked], seat: Seat) -> Mapping[str, TrueFace]:
    """Faces of a block of whose place something is known by measuring, by pad.

    Counted from the pin that stands in the named hole and from the plane below. Faces that no measured length moves are
    left out.
    """
    line = true_line(lines, seat) if lines else None
    if line is None:
        return {}
    true, more = _parts(seat, line)
    nominal, really, longer = (_faces(seat, part) for part in (seat.part, true, more))
    out: dict[str, TrueFace] = {}
    for name, (at, normal) in nominal.items():
        if name not in really or name not in longer:
            continue
        goes = abs(float((longer[name][0] - really[name][0]) @ normal))
        if goes > _STILL:
            out[name] = TrueFace(float((really[name][0] - at) @ normal), goes > _STEP - _STILL)
    return out


def raised(lines: Collection[Stocked], lower: Seat, upper: Seat) -> float | None:
    """How far what stands on a block that was measured stands off its plane, mm; None where that was not measured."""
    line = true_line(lines, lower) if lines else None
    if line is None:
        return None
    up = upper.plane_to_world[:3, 2]
    ends = [_socket(lower, part, upper) for part in (lower.part, *_parts(lower, line))]
    nominal, really, longer = (None if end is None else float(end @ up) for end in ends)
    if nominal is None or really is None or longer is None or abs(longer - really) <= _STILL:
        return None
    return really - nominal


def unsure_blocks(job: Job) -> list[str]:
    """Names of blocks of a kind of which some were measured, where nothing says which of them stands there."""
    lines = measured_lines(job)
    return [seat.name for seat in job.seats.values() if not seat.clamp and unsure(lines, seat)] if lines else []


def _parts(seat: Seat, line: Stocked) -> tuple[Part, Part]:
    """The block as it was measured, and one that is longer wherever it was measured."""
    true = as_measured(seat.part, line.measured)
    return true, as_measured(true, {key: value + _STEP for key, value in line.measured.items()})


def _pose(seat: Seat, part: Part) -> Array:
    anchor = next((pin for pin in face_pins(part, seat.face) if pin.name == seat.anchor), None)
    return frame.chain(seat.plane_to_world, model_to_plane(part, seat.face, anchor, (0.0, 0.0), seat.turn))


def _faces(seat: Seat, part: Part) -> dict[str, tuple[Array, Array]]:
    """Points of the faces, set as the scene says, and the ways that they look; the pin stands at the plane's origin."""
    pose, move = _pose(seat, part), part.move()
    out: dict[str, tuple[Array, Array]] = {}
    for pad in part.pads():
        at = np.asarray(pad.at, dtype=np.float64)
        if pad.moves and move is not None:
            by = seat.slide if seat.notch is None or move.notch is None else seat.notch * move.notch
            at = at + np.asarray(move.axis) * by
        out[pad.name] = (frame.points(pose, at), frame.directions(pose, pad.normal))
    return out


def _socket(lower: Seat, part: Part, upper: Seat) -> Array | None:
    """Where the socket is that a block stands in; the first of a block that names none."""
    wanted = upper.place.socket
    found = [one for one in part.sockets() if wanted in (None, one.name)]
    if wanted is None:
        up, pose = upper.plane_to_world[:3, 2], _pose(lower, part)
        found = [one for one in found if float(frame.directions(pose, NORMALS[one.face]) @ up) > _UP]
    return None if not found else frame.points(_pose(lower, part), found[0].at)
