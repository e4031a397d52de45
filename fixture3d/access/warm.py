"""Compile the kernels before they are needed."""

from __future__ import annotations

import gc

import numpy as np

from fixture3d.access.access import answer
from fixture3d.access.obstacles import Obstacles
from fixture3d.access.shipped import SHIPPED, TECHNIQUES
from fixture3d.access.torch_space import torch_body
from fixture3d.access.welds import WeldPoints


def warm_up() -> None:
    """Compile the kernels, or load them from disk; worth calling in a thread while other libraries load.

    The first time on a machine this takes 10 s or more, afterwards some tenths.
    """
    # One point under a plate that blocks the torch and one far from it, so that every kernel has something to do.
    corners = np.array([[-90.0, -90.0, 20.0], [90.0, -90.0, 20.0], [0.0, 90.0, 20.0]])
    line = WeldPoints(
        points=np.array([[0.0, 0.0, 0.0], [2000.0, 0.0, 0.0]]),
        frames=np.stack([np.eye(3), np.eye(3)]),
        lengths=np.ones(2),
        along=np.array([0.0, 2000.0]),
        joined=np.ones(1, dtype=np.bool_),
    )
    body = torch_body(SHIPPED["mig-60"], 15.0)
    window = TECHNIQUES["corner"].window(work_step=45.0, travel_step=45.0, rolls=1)
    answer(Obstacles.build([("plate", corners, [[0, 1, 2]], False)]), body, line, window)


def fill_cache() -> None:
    """Compile the kernels for the next process; nothing where numba has no folder to keep them in.

    For a process of its own, which does nothing else: it leaves out the collection of garbage.
    """
    gc.disable()
    from fixture3d.access import kernel

    if kernel.kept():
        warm_up()
