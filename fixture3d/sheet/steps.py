"""The order in which a setup is built: datum stops, supports, other stops, then what touches nothing by itself.

Stops that the work is laid against come first, because all else is measured from them; of two that face each other
across the work, the one that can be set, or the later one of the file, comes after the supports. A block always comes
before what stands on it. Common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from fixture3d.job import Job, Seat
from fixture3d.job.contact import FacePair, Touch

DATUM, SUPPORT, STOP, REST = GROUPS = ("Datum stops", "Supports", "Other stops", "Other blocks")
_LEVEL = 0.5  # sine of the slope up to which a face counts as looking sideways: a stop; steeper it is a support


def grouped(job: Job, touches: Iterable[Touch], faces: Iterable[FacePair]) -> Iterator[tuple[str, Seat]]:
    """The blocks that are no clamps, in the order to set them, each with the group that it is set in.

    Args:
        job: the setup.
        touches: pads with the work at them.
        faces: pads that face each other across the work.
    """
    group = dict(_groups(job, list(touches), list(faces)))
    for name in group:
        base, below = job.seats[name], {name}
        while base.stacked and base.stands_on in group and base.stands_on not in below:
            # What carries an early block is set with it.
            group[base.stands_on] = min(group[base.stands_on], group[name], key=GROUPS.index)
            base = job.seats[base.stands_on]
            below.add(base.name)
    done: set[str] = set()

    def climb(seat: Seat) -> Iterator[Seat]:
        if seat.name in done or seat.name not in group:
            return
        done.add(seat.name)
        if seat.stacked and seat.stands_on in job.seats:
            yield from climb(job.seats[seat.stands_on])
        yield seat

    for one in GROUPS:
        for name, its in group.items():
            if its == one:
                for seat in climb(job.seats[name]):
                    yield one, seat


def _groups(job: Job, touches: list[Touch], faces: list[FacePair]) -> Iterator[tuple[str, str]]:
    """Name and group of every block that is no clamp, in file order."""
    touched = {(touch.item, touch.pad) for touch in touches}
    level: dict[str, bool] = {}
    for pad in job.pads():
        if (pad.item, pad.pad.name) in touched:
            sideways = abs(float(pad.normal[2])) < _LEVEL
            level[pad.item] = level.get(pad.item, False) or sideways
    order = {name: k for k, name in enumerate(job.seats)}
    later = {_follower(job, pair, order) for pair in faces}
    for seat in job.seats.values():
        if seat.clamp:
            continue
        if seat.name not in level:
            yield seat.name, REST
        elif not level[seat.name]:
            yield seat.name, SUPPORT
        else:
            yield seat.name, STOP if seat.name in later or _can_be_set(seat) else DATUM


def _follower(job: Job, pair: FacePair, order: dict[str, int]) -> str:
    """Which of two opposed stops is set after the other."""
    a, b = (job.seats[name] for name in (pair.a, pair.b))
    if _can_be_set(a) != _can_be_set(b):
        return a.name if _can_be_set(a) else b.name
    return max(a.name, b.name, key=order.__getitem__)


def _can_be_set(seat: Seat) -> bool:
    return seat.part.move() is not None
