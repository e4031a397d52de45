"""Work spread over threads; the kernels release the interpreter lock."""

from __future__ import annotations

import multiprocessing
import os
from collections.abc import Callable, Iterable
from concurrent.futures import ThreadPoolExecutor

import numpy as np

from fixture3d.access.arrays import Ints


def workers() -> int:
    """Threads that a question is spread over; one in a child process, which is one of several already."""
    if multiprocessing.parent_process() is not None:
        return 1
    return max(1, min(8, os.cpu_count() or 1))


def in_threads(work: Callable[[Ints], None], chunks: Iterable[Ints]) -> None:
    """Run ``work`` on every chunk; they must not depend on each other."""
    todo = [chunk for chunk in chunks if len(chunk)]
    if workers() == 1 or len(todo) == 1:
        for chunk in todo:
            work(chunk)
        return
    with ThreadPoolExecutor(workers()) as pool:
        list(pool.map(work, todo))


def chunks(count: int) -> list[Ints]:
    """Neighbouring directions in a few lots for each thread."""
    return list(np.array_split(np.arange(count), max(1, min(count, 4 * workers()))))
