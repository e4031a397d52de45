"""How much of a weld the torch reaches once a block is changed: only what the change touches is asked again."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from fixture3d.access.arrays import Bytes
from fixture3d.access.ends import is_closed, lacking, main_runs, short_ends
from fixture3d.access.obstacles import Obstacles
from fixture3d.access.runs import least_runs, unreached
from fixture3d.access.sweep import sweep_fed
from fixture3d.access.torch_space import with_wire
from fixture3d.access.welds import Weld
from fixture3d.cache import content_key
from fixture3d.checks.torch_answers import Obstacle, key_of, meet, obstacles
from fixture3d.checks.torch_outcome import Reached
from fixture3d.checks.torch_question import Asked, question
from fixture3d.job import Job

_REACH = "torch-reach-3"


@dataclass(eq=False)
class TorchReach:
    """How much of one weld is reached in changed setups: what stays as it is was asked once.

    A position is free when every body leaves it free, so that the answers for what stays and for what was changed are
    put together; only the hand that feeds, which may hold the rod in several ways, is asked with all bodies.
    """

    job: Job
    asked: Asked
    _still: dict[frozenset[str], Bytes] = field(default_factory=dict)

    def __call__(self, after: Job, weld: Weld, moved: frozenset[str]) -> Reached:
        """As ``torch_outcome.Reach`` says; nothing for a technique by which the weld cannot be run."""
        try:
            asked = self.asked if weld is self.asked.weld else question(after, weld, {})
        except (KeyError, ValueError):
            return Reached(length=0.0, runs=0)
        around = obstacles(after)
        key = content_key([_REACH, key_of(asked, around)])
        kept = self.job.store.get_json(key, _REACH) if self.job.store is not None else None
        known = _read(kept)
        if known is not None:
            return known
        if asked.feed is not None or asked is not self.asked:
            free = _free(asked, around)
        else:
            if moved not in self._still:
                self._still[moved] = _free(asked, [o for o in obstacles(self.job) if o.name not in moved])
            free = self._still[moved] & _free(asked, [o for o in around if o.name in moved])
        out = _reached(asked, free)
        if self.job.store is not None:
            kept = {"reachable": out.length, "runs": out.runs, "ends": out.ends}
            self.job.store.put_json(key, _REACH, kept)
        return out


def _read(kept: Any) -> Reached | None:
    """What was kept; None for data of another shape."""
    keys = {"reachable": float, "runs": int, "ends": float}
    if not isinstance(kept, dict) or any(type(kept.get(key)) is not kind for key, kind in keys.items()):
        return None
    return Reached(length=kept["reachable"], runs=kept["runs"], ends=kept["ends"])


def _reached(asked: Asked, free: Bytes) -> Reached:
    """What free positions (points, W, L, R) come to."""
    points = asked.points
    there = free.reshape(len(free), -1).max(axis=1).astype(bool)
    length = points.length if there.all() else float(points.lengths[there].sum())
    runs = least_runs(free, points, asked.window)
    ends = short_ends(points.length, runs, is_closed(asked.weld.path))
    short = lacking(unreached(there, points), points.length, ends)
    return Reached(
        length=length,
        runs=len(main_runs(runs, points.length, ends)),
        ends=0.0 if short else points.length - length,
    )


def _free(asked: Asked, bodies: Sequence[Obstacle]) -> Bytes:
    """Which positions of a weld some bodies leave free, (points, W, L, R)."""
    near = [o for o in bodies if meet(o.box, asked.box)]
    if not near:
        return np.ones((len(asked.points.points), *asked.window.shape), np.uint8)
    ready = Obstacles.build([o.mesh() for o in near], asked.box)
    return sweep_fed(ready, with_wire(asked.torch), asked.points, asked.window, feed=asked.feed)[0].free
