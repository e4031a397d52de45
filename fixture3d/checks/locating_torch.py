"""Whether the torch keeps its room when one more block stands on the table."""

from __future__ import annotations

from functools import cached_property

import numpy as np

from fixture3d.access.welds import Weld
from fixture3d.checks.torch_answers import meet
from fixture3d.checks.torch_question import Asked, question
from fixture3d.checks.torch_reach import Around, TorchReach
from fixture3d.job import Job
from fixture3d.tolerance import NUMERIC

__all__ = ["Room"]


class Room:
    """What the torch reaches of each weld of a job, asked of the welds alone that a new block comes near.

    Args:
        job: the setup without it.
    """

    def __init__(self, job: Job) -> None:
        self.job = job

    @cached_property
    def _asked(self) -> list[tuple[Weld, Asked]]:
        """The welds that can be asked for; what cannot is told by the check on torch access."""
        out = []
        for weld in self.job.welds:
            try:
                out.append((weld, question(self.job, weld, {})))
            except (KeyError, ValueError):
                continue
        return out

    @cached_property
    def _reach(self) -> dict[str, TorchReach]:
        boxes = np.stack([asked.box for _, asked in self._asked])
        around = Around(self.job, np.stack([boxes[:, 0].min(axis=0), boxes[:, 1].max(axis=0)]))
        return {weld.name: TorchReach(around, asked) for weld, asked in self._asked}

    def loses(self, after: Job, name: str) -> tuple[str, ...]:
        """Names of the welds of which less is reached, or in more runs, with a new block.

        Args:
            after: the setup with it.
            name: of the block.
        """
        boxes = [body.box for body in after.of_item(name) if body.role != "sweep"]
        moved = frozenset({name})
        out = []
        for weld, asked in self._asked:
            if not any(meet(box, asked.box) for box in boxes) or self._reach[weld.name].spared(after, moved):
                continue
            now, then = (self._reach[weld.name](job, weld, moved) for job in (self.job, after))
            if then.length < now.length - NUMERIC.merge or then.runs > now.runs:
                out.append(weld.name)
        return tuple(out)
