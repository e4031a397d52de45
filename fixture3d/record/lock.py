"""Only one process at a time changes the records of a folder. The system lets go of the lock when a process dies."""

from __future__ import annotations

import contextlib
import os
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Final

from fixture3d.errors import OutputRefused, one_line

__all__ = ["locked"]

_WAIT: Final = 10.0  # s; a record is written in milliseconds
_LOOK: Final = 0.02  # s between two tries


@contextlib.contextmanager
def locked(folder: Path, wait: float = _WAIT) -> Iterator[bool]:
    """Hold the folder for as long as a record in it is read, changed and written.

    Yields:
        Whether it is held: a file system without locks gives none, and the writer has to look twice.

    Raises:
        OutputRefused: another process has held it for ``wait`` seconds.
    """
    handle = _opened(folder)
    if handle is None:
        yield False
        return
    try:
        held = _taken(handle, folder, wait)
        try:
            yield held
        finally:
            if held:
                _let_go(handle)
    finally:
        os.close(handle)


def _taken(handle: int, folder: Path, wait: float) -> bool:
    end = time.monotonic() + wait
    while True:
        try:
            _try(handle)
            return True
        except BlockingIOError:
            if time.monotonic() > end:
                shown = one_line(str(folder))
                raise OutputRefused(
                    f"{shown}: another program has been writing a record there for {wait:g} s; try again"
                ) from None
            time.sleep(_LOOK)
        except OSError:  # a file system that knows no locks
            return False


if sys.platform == "win32":
    import msvcrt

    def _opened(folder: Path) -> int | None:
        """A small file, for a folder itself cannot be locked there."""
        try:
            return os.open(folder / ".record.lock", os.O_RDWR | os.O_CREAT)
        except OSError:
            return None

    def _try(handle: int) -> None:
        try:
            msvcrt.locking(handle, msvcrt.LK_NBLCK, 1)
        except PermissionError:
            raise BlockingIOError from None

    def _let_go(handle: int) -> None:
        os.lseek(handle, 0, os.SEEK_SET)
        msvcrt.locking(handle, msvcrt.LK_UNLCK, 1)

else:
    import fcntl

    def _opened(folder: Path) -> int | None:
        try:
            return os.open(folder, os.O_RDONLY)
        except OSError:
            return None

    def _try(handle: int) -> None:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)

    def _let_go(handle: int) -> None:
        fcntl.flock(handle, fcntl.LOCK_UN)
