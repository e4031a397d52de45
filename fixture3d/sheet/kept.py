"""Sheets of unchanged scenes, kept on disk: a second print needs no solids, no checks and no typesetting."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from importlib import metadata
from typing import Final

from fixture3d import program
from fixture3d.cache import Store, content_key, default_store
from fixture3d.errors import SceneError
from fixture3d.scene import Scene
from fixture3d.scene.read import read_text

_KIND: Final = "sheet"


def kept_sheet(
    scene: Scene,
    kinds: Sequence[str],
    asked: tuple[str, ...],
    make: Callable[[], Mapping[str, bytes]],
    store: Store | None = None,
) -> Mapping[str, bytes]:
    """The sheet of a scene as it was made before from the same files by the same program, or a new one.

    Args:
        scene: as read. With models of the user's own nothing is kept: they are programs, and may depend on anything.
        kinds: of files that are wanted, keys of ``files.ENDINGS``.
        asked: everything else that the sheet depends on: paper, stage and the like, in a fixed order.
        make: makes all of these kinds anew.
        store: the cache; None takes the user's own.
    """
    store = default_store() if store is None else store
    key = None if scene.models else _key(scene, asked)
    if key is None:
        return make()
    found = {kind: data for kind in kinds if (data := store.get(key, f"{_KIND} {kind}")) is not None}
    if len(found) == len(kinds):
        return found
    made = make()
    if _is_read(scene) and _key(scene, asked) == key:
        for kind, data in made.items():
            store.put(key, f"{_KIND} {kind}", data)
    return made


def _is_read(scene: Scene) -> bool:
    """Whether the files still say what was read from them: one that was saved meanwhile must not get the old sheet."""
    texts = {scene.path: scene._source}
    if scene.record is not None:
        texts[scene.record.path] = scene.record.source.text
    try:
        return all(read_text(str(file)) == text for file, text in texts.items())
    except SceneError:
        return False


def _key(scene: Scene, asked: tuple[str, ...]) -> str | None:
    """What the sheet rests on: the program's own text, the scene's file, size and other files; None if unread."""
    parts: list[str | bytes] = [program.digest(), f"typst={metadata.version('typst')}", f"size={scene.size!r}", *asked]
    if scene.path is None:
        return None
    try:
        for file in scene.files:
            parts += [str(file), file.read_bytes()]
    except OSError:
        return None
    return content_key(parts)
