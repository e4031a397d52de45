"""The stop that a free piece lacks: against which face, and where a block of this setup would do it."""

from __future__ import annotations

from collections.abc import Sequence

from fixture3d.checks.locating_answers import Free, Row
from fixture3d.job import Job
from fixture3d.units import show

__all__ = ["stop_for"]


def stop_for(job: Job, row: Row, free: Sequence[Free]) -> str:
    """What to do about a piece that can move: the stop with the place where it touches."""
    for one in free:
        if one.at is not None:
            x, y, z = (show(v, job.scene.units) for v in one.at)
            return f"put a stop {one.face}, at x {x}, y {y}, z {z} from A1"
    return "put a stop against the end that it can move towards"
