"""What a piece is put against where no block stops it: pieces that are not located that way themselves.

Such a contact locates nothing on the table, but it decides how the two lie to each other.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from fixture3d.frame import Array
from fixture3d.job import Job
from fixture3d.job.loose import Loose, loose_pieces
from fixture3d.locating.contact import Contact
from fixture3d.locating.find import TOO_LOW, checked_near, contacts_of
from fixture3d.tolerance import LOCATING

__all__ = ["put_against"]

_AWAY = 0.5  # cosine of 60 degrees: a move more along a face than that does not leave it


def put_against(job: Job, leaving: Mapping[str, Sequence[Array]]) -> dict[str, list[Contact]]:
    """The contacts with other pieces that some pieces leave by moves that are open to them one way only.

    Args:
        job: the setup.
        leaving: what is laid in, with its moves: twists (6,) about the world origin.

    Returns:
        By name; every piece of ``leaving`` is there.
    """
    if not leaving:
        return {}
    near = checked_near(LOCATING.contact, LOCATING.angle)
    loose = loose_pieces(job)
    out = {}
    for one in (one for one in loose if one.name in leaving):
        others = [other.standing for other in loose if other is not one and _meet(one, other)]
        found = [c for c in contacts_of(one.standing, others, near) if c.doubt != TOO_LOW]
        out[one.name] = [c for c in found if any(_leaves(c, twist) for twist in leaving[one.name])]
    return out


def _meet(one: Loose, other: Loose) -> bool:
    room = LOCATING.contact
    return bool((one.box[0] <= other.box[1] + room).all() and (other.box[0] <= one.box[1] + room).all())


def _leaves(contact: Contact, twist: Array) -> bool:
    speeds = (twist[:3] + np.cross(twist[3:], contact.points)) @ contact.normal
    return bool(speeds.min() > (LOCATING.least if twist[3:].any() else _AWAY))
