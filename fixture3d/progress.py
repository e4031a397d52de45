"""Show how far a long run has come, on stderr and only when that is a terminal."""

from __future__ import annotations

import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager

from fixture3d.checks.base import Progress, quiet

PATIENCE = 1.0  # seconds before anything is shown: short runs stay silent


@contextmanager
def on_terminal(title: str) -> Iterator[Progress]:
    """A progress function that rewrites one line, and clears it at the end."""
    if not sys.stderr.isatty():
        yield quiet
        return
    start = time.monotonic()
    last = [start]
    width = [0]

    def show(stage: str, done: int, total: int) -> None:
        now = time.monotonic()
        if now - start < PATIENCE or (now - last[0] < 0.1 and done < total):
            return
        last[0] = now
        text = f"{title}: {stage} {done} of {total}"[:100]
        sys.stderr.write("\r" + text.ljust(width[0]))
        sys.stderr.flush()
        width[0] = len(text)

    try:
        yield show
    finally:
        if width[0]:
            sys.stderr.write("\r" + " " * width[0] + "\r")
            sys.stderr.flush()
