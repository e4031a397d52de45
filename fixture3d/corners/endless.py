"""A guard against code of a model that never comes to an end."""

from __future__ import annotations

import os
import sys
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Final

LONGEST: Final = 60.0  # s for one block; the slowest of the shipped takes some 5


@contextmanager
def not_endless(folders: Sequence[Path], seconds: float = LONGEST) -> Iterator[Callable[[], None]]:
    """End the program with exit code 1 and one line when nothing is told for so long; gives what tells it.

    Args:
        folders: of the models; the line says where in a file of them the code is.
        seconds: that may pass between two calls.
    """
    done, last, me = threading.Event(), [time.monotonic()], threading.get_ident()

    def tell() -> None:
        last[0] = time.monotonic()

    def watch() -> None:
        while not done.wait(min(1.0, seconds / 4.0)):
            if time.monotonic() - last[0] > seconds:
                at = _place(me, {folder.resolve() for folder in folders})
                sys.stdout.flush()
                sys.stderr.write(f"fixture3d: {at}: no end after {seconds:g} s; expected a loop that ends\n")
                sys.stderr.flush()
                os._exit(1)  # nothing else stops code that does not listen

    threading.Thread(target=watch, daemon=True).start()
    try:
        yield tell
    finally:
        done.set()


def _place(thread: int, folders: set[Path]) -> str:
    """File and line that a thread has come to, in the innermost file of these folders."""
    frame = sys._current_frames().get(thread)
    while frame is not None:
        file = Path(frame.f_code.co_filename)
        if file.resolve().parent in folders:
            return f"{file}:{frame.f_lineno}"
        frame = frame.f_back
    return str(next(iter(sorted(folders)), "a model"))
