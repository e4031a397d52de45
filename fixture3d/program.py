"""What this program is: a digest of its own text, by which kept answers know that they are of this version."""

from __future__ import annotations

import hashlib
import os
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import Final

import fixture3d
from fixture3d._library import __path__ as content

_SOURCES: Final = (".py", ".typ", ".csv", ".ttf", ".css", ".html", ".js")


@cache
def digest() -> bytes:
    """A digest of every file of the program and of the shipped models: a changed program keeps no old answers."""
    folders = [Path(fixture3d.__file__).parent, *(Path(p) / "models" for p in content)]
    found = hashlib.sha256()
    for file in sorted(f for folder in folders for f in _sources(folder)):
        data = file.read_bytes()
        found.update(f"{file.name}:{len(data)}:".encode())
        found.update(data)
    return found.digest()


def _sources(folder: Path) -> Iterator[Path]:
    for root, folders, names in os.walk(folder):
        folders[:] = [name for name in folders if name != "node_modules"]  # of a checkout; thousands of files
        yield from (Path(root, name) for name in names if name.endswith(_SOURCES))
