"""Blocks made by several processes, each fed through a pipe of its own: whichever falls over, its block is known."""

from __future__ import annotations

import contextlib
import multiprocessing
import os
import signal
import sys
from collections import deque
from collections.abc import Iterator, Sequence
from multiprocessing.connection import Connection, wait
from pathlib import Path
from typing import Any, Final

from fixture3d.cache import Store
from fixture3d.errors import FixtureError
from fixture3d.library import Library, library
from fixture3d.workshop.making import Form, Outcome, Recipe, outcome

_AHEAD: Final = 2  # recipes in a lane: the next is there while the files of the last are written
_WINDOW: Final = 64  # blocks that may be finished before the one whose turn it is
_PATIENCE: Final = 5.0  # seconds in which a process that is told to stop has tidied up


def in_lanes(
    recipes: Sequence[Recipe], form: Form, store: Store, workers: int, folders: Sequence[Path]
) -> Iterator[Outcome]:
    """What comes of each block, in their order. Arguments as for ``making.outcomes``."""
    setup = (form, store.folder, store.limit, tuple(folders))
    lanes = [_Lane(setup) for _ in range(workers)]
    finished: dict[int, Outcome] = {}
    begun = told = 0
    try:
        while told < len(recipes):
            for lane in (lane for _ in range(_AHEAD) for lane in lanes):
                if begun < min(len(recipes), told + _WINDOW) and len(lane.todo) < _AHEAD:
                    lane.give(begun, recipes[begun])
                    begun += 1
            for pipe in wait([lane.pipe for lane in lanes if lane.todo]):
                k = next(k for k, lane in enumerate(lanes) if lane.pipe is pipe)
                number, _ = lanes[k].todo.popleft()
                try:
                    finished[number] = lanes[k].pipe.recv()
                except (EOFError, OSError):
                    finished[number] = Outcome(fault=f"the process that made it ended by itself, {lanes[k].ended()}")
                    lanes[k].stop()
                    left, lanes[k] = lanes[k].todo, _Lane(setup)
                    for one in left:
                        lanes[k].give(*one)
            while told in finished:
                yield finished.pop(told)
                told += 1
    finally:
        for lane in lanes:
            lane.stop()


class _Lane:
    """One process, and what it has been given; the first is what it is at."""

    def __init__(self, setup: tuple[Any, ...]) -> None:
        context = multiprocessing.get_context("spawn")
        self.pipe, other = context.Pipe()
        self.todo: deque[tuple[int, Recipe]] = deque()
        self._process = context.Process(target=_work, args=(other, *setup), daemon=True)
        with _no_interrupt():
            self._process.start()
        other.close()

    def give(self, number: int, recipe: Recipe) -> None:
        """Put one more at the end; a process that is gone is found out when its answer is awaited."""
        self.todo.append((number, recipe))
        with contextlib.suppress(OSError):
            self.pipe.send(recipe)

    def ended(self) -> str:
        """How it ended, of a process that has gone by itself."""
        self._process.join(_PATIENCE)
        return f"exit code {self._process.exitcode}"

    def stop(self) -> None:
        """End it: at once where it waits, else when it has tidied up."""
        self.pipe.close()
        self._process.terminate()
        self._process.join(_PATIENCE)
        if self._process.is_alive():
            self._process.kill()
            self._process.join()


@contextlib.contextmanager
def _no_interrupt() -> Iterator[None]:
    """Ctrl-C is for the first process: one that starts within this never hears of it, where the system can do that."""
    if not hasattr(signal, "pthread_sigmask"):
        yield
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def _work(pipe: Connection, form: Form, cache: Path | None, limit: int, folders: Sequence[Path]) -> None:
    """A process: make what comes, until nothing does."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(0))  # tidies up on its way out
    sys.stdout = open(os.devnull, "w", encoding="utf-8")  # noqa: SIM115 - of a user's own models; lives as long as we do
    store = Store(cache, limit)
    try:
        shop = library(folders)
    except FixtureError:  # the file of a model has changed since we were started
        sys.exit(1)
    with contextlib.suppress(EOFError, OSError):
        while True:
            recipe: Recipe = pipe.recv()
            pipe.send(_outcome(recipe, form, shop, store))


def _outcome(recipe: Recipe, form: Form, shop: Library, store: Store) -> Outcome:
    try:
        return outcome(recipe.block(shop), form, store)
    except FixtureError as error:
        return Outcome(wrong=str(error))
    except MemoryError:
        return Outcome(fault="there was not enough memory")
