"""How much of a weld the torch reaches once a block is changed: only what the change touches is asked again."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from fixture3d.access.arrays import Array, Bools, Bytes
from fixture3d.access.ends import is_closed, lacking, main_runs, short_ends
from fixture3d.access.obstacles import Obstacles
from fixture3d.access.runs import least_runs, unreached
from fixture3d.access.sweep import sweep, sweep_fed
from fixture3d.access.torch_space import with_wire
from fixture3d.access.welds import Weld
from fixture3d.cache import content_key
from fixture3d.checks.torch_answers import Obstacle, key_of, meet, obstacles, tree_of, within_reach
from fixture3d.checks.torch_outcome import Reached
from fixture3d.checks.torch_question import Asked, question
from fixture3d.job import Job

_REACH = "torch-reach-3"


@dataclass(eq=False)
class Around:
    """What all welds of a setup and of its changed ones have in common: obstacles and their trees, each made once.

    Attributes:
        job: the setup.
        region: (2, 3) beyond which no torch comes.
    """

    job: Job
    region: Array
    _known: dict[tuple[int, ...], Obstacle] = field(default_factory=dict)
    _trees: dict[tuple[str, ...], Obstacles] = field(default_factory=dict)
    _still: dict[frozenset[str], Obstacles] = field(default_factory=dict)

    def of(self, job: Job) -> list[Obstacle]:
        """Everything that the torch may hit."""
        return obstacles(job, self._known)

    def tree(self, bodies: Sequence[Obstacle]) -> Obstacles:
        """Of a few bodies that were changed."""
        key = tuple(one.key for one in bodies)
        if key not in self._trees:
            self._trees[key] = tree_of(bodies)
        return self._trees[key]

    def still(self, moved: frozenset[str]) -> Obstacles:
        """Of all bodies but some."""
        if moved not in self._still:
            rest = [o for o in self.of(self.job) if o.name not in moved and meet(o.box, self.region)]
            self._still[moved] = Obstacles.build([o.mesh() for o in rest], self.region)
        return self._still[moved]


@dataclass(eq=False)
class TorchReach:
    """How much of one weld is reached in changed setups: what stays as it is was asked once.

    A position is free when every body leaves it free, so that the answers for what stays and for what was changed are
    put together; only the hand that feeds, which may hold the rod in several ways, is asked with all bodies.
    """

    around: Around
    asked: Asked
    _still: dict[frozenset[str], Bytes] = field(default_factory=dict)

    def __call__(self, after: Job, weld: Weld, moved: frozenset[str]) -> Reached:
        """As ``torch_outcome.Reach`` says; nothing for a technique by which the weld cannot be run."""
        try:
            asked = self.asked if weld is self.asked.weld else question(after, weld, {})
        except (KeyError, ValueError):
            return Reached(length=0.0, runs=0)
        around, store = self.around.of(after), self.around.job.store
        key = content_key([_REACH, key_of(asked, around)])
        known = _read(store.get_json(key, _REACH) if store is not None else None)
        if known is not None:
            return known
        if asked.feed is not None or asked is not self.asked:
            free = _free(asked, around)
        else:
            still = self._left(moved)
            free = still & self._spared(around, moved, still.reshape(len(still), -1).max(axis=1).astype(bool))
        out = _reached(asked, free)
        if store is not None:
            store.put_json(key, _REACH, {"reachable": out.length, "runs": out.runs, "ends": out.ends})
        return out

    def spared(self, after: Job, moved: frozenset[str]) -> bool:
        """Whether the changed bodies are in the way of no position at all."""
        if self.asked.feed is not None:
            return False
        every = np.ones(len(self.asked.points.points), np.bool_)
        return bool(self._spared(self.around.of(after), moved, every).all())

    def _left(self, moved: frozenset[str]) -> Bytes:
        """Which positions all bodies but those that move leave free, (points, W, L, R)."""
        if moved not in self._still:
            asked, still = self.asked, self.around.still(moved)
            points = asked.points
            self._still[moved] = sweep(still, with_wire(asked.torch), points.points, points.frames, asked.window).free
        return self._still[moved]

    def _spared(self, around: Sequence[Obstacle], moved: frozenset[str], where: Bools) -> Bytes:
        """Which positions the bodies that moved leave free, (points, W, L, R); looked at are some points alone."""
        asked = self.asked
        points = asked.points
        free = np.ones((len(points.points), *asked.window.shape), np.uint8)
        for one in around:
            near = where & within_reach(asked, one.box) if one.name in moved else where & False
            if near.any():
                tree, torch = self.around.tree([one]), with_wire(asked.torch)
                free[near] &= sweep(tree, torch, points.points[near], points.frames[near], asked.window).free
        return free


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
