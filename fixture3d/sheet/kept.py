"""Sheets of unchanged scenes, kept on disk: a second print needs no solids, no checks and no typesetting."""

from __future__ import annotations

from collections.abc import Callable
from importlib import metadata
from typing import Final

from fixture3d import program
from fixture3d.cache import Store, content_key, default_store
from fixture3d.scene import Scene

_KIND: Final = "sheet"


def kept_sheet(scene: Scene, asked: tuple[str, ...], make: Callable[[], bytes], store: Store | None = None) -> bytes:
    """The sheet of a scene as it was made before from the same files by the same program, or a new one.

    Args:
        scene: as read. With models of the user's own nothing is kept: they are programs, and may depend on anything.
        asked: everything else that the sheet depends on: paper, stage and the like, in a fixed order.
        make: makes a new one.
        store: the cache; None takes the user's own.
    """
    store = default_store() if store is None else store
    key = None if scene.models else _key(scene, asked)
    found = store.get(key, _KIND) if key is not None else None
    if found is not None:
        return found
    made = make()
    if key is not None:
        store.put(key, _KIND, made)
    return made


def _key(scene: Scene, asked: tuple[str, ...]) -> str | None:
    """What the sheet rests on: the program's own text, the scene file, and the files that it names; None if unread."""
    parts: list[str | bytes] = [program.digest(), f"typst={metadata.version('typst')}", *asked]
    if scene.path is None:
        return None
    try:
        for file in scene.files:
            parts += [str(file), file.read_bytes()]
    except OSError:
        return None
    return content_key(parts)
