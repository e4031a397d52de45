"""Where the blocks of a job touch the work, or stand near enough to be reached when it shrinks."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from fixture3d import frame
from fixture3d.frame import Array
from fixture3d.locating.contact import Contact
from fixture3d.locating.features import Standing
from fixture3d.locating.find import contacts_of
from fixture3d.locating.read_features import standing
from fixture3d.locating.touch import Near
from fixture3d.shrinkage.stops import Stop
from fixture3d.solid.relate import Placed
from fixture3d.tolerance import LOCATING, SHRINKING

if TYPE_CHECKING:
    from fixture3d.job.job import Body, Job

__all__ = ["Backing", "Stops", "stops_of"]

_ALONG = 0.9  # cosine from which an adjustment is one square to the face
_CORNERS = 4  # of a patch that count, the outermost ones


@dataclass(frozen=True, kw_only=True)
class Backing:
    """How a face of a block can be backed off without another hole.

    Attributes:
        room: mm that it can go.
        shim: what goes is the shim on it.
        step: mm from notch to notch; 0 where nothing meshes.
        sign: whether the setting grows (1) or shrinks (-1) as the face backs off; 0 for a shim.
    """

    room: float
    shim: bool = False
    step: float = 0.0
    sign: int = 0


@dataclass(frozen=True, kw_only=True, eq=False)
class Stops:
    """The contacts of blocks with the work.

    Attributes:
        faces: one a contact, in its middle.
        corners: the same, but the outermost points of each: what a rigid body is pressed on.
        backing: for each block that can give way, how.
    """

    faces: tuple[Stop, ...]
    corners: tuple[Stop, ...]
    backing: dict[str, Backing]


def stops_of(job: Job, pieces: Collection[str]) -> Stops:
    """The contacts of blocks and their shims with some pieces.

    A clamp presses and is no stop: it gives way, and is open before the work comes out. Contacts that are not to be
    relied on (a corner radius, say) are left out. A face counts that stands up to `Shrinking.reach` clear of a face of
    the work, with that gap. From every gap on, half of `Shrinking.felt` is added, so that closing by less is nothing.
    """
    bodies = [body for body in job.bodies if body.role in ("block", "shim")]
    fixed = [standing(body.name, Placed(body.name, body.shape, body.body_to_world)) for body in bodies]
    by_name = {body.name: body for body in bodies}
    faces: list[Stop] = []
    corners: list[Stop] = []
    backing: dict[str, Backing] = {}
    for piece in job.pieces():
        if piece.name not in pieces:
            continue
        here = standing(piece.name, Placed(piece.name, piece.shape, piece.body_to_world))
        for contact in _contacts(here, fixed):
            body = by_name[contact.fixed]
            gives = _backing(job, body, contact.normal)
            if gives is not None:
                known = backing.get(body.item)
                backing[body.item] = gives if known is None or gives.room < known.room else known
            on = Stop(
                block=body.item,
                piece=piece.name,
                point=contact.points.mean(axis=0),
                normal=contact.normal,
                moves=gives is not None,
                gap=max(contact.gap, 0.0) + SHRINKING.felt / 2.0,
            )
            faces.append(on)
            corners += [replace(on, point=at) for at in _outermost(contact)]
    return Stops(faces=tuple(faces), corners=tuple(corners), backing=backing)


def _contacts(piece: Standing, fixed: list[Standing]) -> list[Contact]:
    angle = float(np.deg2rad(LOCATING.angle))
    touching = [c for c in contacts_of(piece, fixed, Near(LOCATING.contact, angle)) if not c.doubt]
    near = contacts_of(piece, fixed, Near(SHRINKING.reach, angle))
    return touching + [c for c in near if c.kind == "face" and not c.doubt and c.gap > LOCATING.contact]


def _outermost(contact: Contact) -> Array:
    """Up to four points of a contact that stand out most, along its patch and across it."""
    points = contact.points
    if len(points) <= _CORNERS:
        return points
    flat = frame.along(points[0], contact.normal, points[1] - points[0])
    local = frame.points(frame.inverse(flat), points)
    ends = [int(np.argmax(local[:, 0] * x + local[:, 1] * y)) for x in (1.0, -1.0) for y in (1.0, -1.0)]
    return points[sorted(set(ends))]


def _backing(job: Job, body: Body, normal: Array) -> Backing | None:
    """How the touching body can be backed off against its normal; None where it cannot, or hardly."""
    seat = job.seats[body.item]
    if body.role == "shim":
        pad = next((name for name in seat.shims if body.name == f"{seat.name} shim {name}"), "")
        return Backing(room=seat.shims[pad], shim=True) if seat.shims.get(pad, 0.0) > SHRINKING.felt else None
    move = seat.part.move()
    part = next((b for b in seat.part.bodies() if f"{seat.name} {b.name}".strip() == body.name), None)
    if move is None or part is None or not part.moves:
        return None
    along = float(frame.directions(seat.model_to_world, move.axis) @ normal)
    if abs(along) < _ALONG:
        return None
    # The setting grows along the axis; the face backs off against the normal.
    room = seat.slide if along > 0.0 else move.travel - seat.slide
    if room <= SHRINKING.felt:
        return None
    return Backing(room=room, step=move.notch or 0.0, sign=-1 if along > 0.0 else 1)
