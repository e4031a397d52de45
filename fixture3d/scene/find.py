"""From what is typed to the scene that is meant: its file, its size, the record beside it, the shop.

Nothing of jobs and checks is loaded here, so that what only reads a scene comes at once.
"""

from __future__ import annotations

import os
from collections.abc import Sequence
from pathlib import Path

from fixture3d.errors import Problem, SceneError
from fixture3d.scene.record import found_record, is_record
from fixture3d.scene.scene import Scene
from fixture3d.scene.scene import load as read_scene


def load(
    path: str | os.PathLike[str],
    models: Sequence[str | os.PathLike[str]] = (),
    size: str | None = None,
    *,
    record: bool = True,
    shop: str | os.PathLike[str] | None = None,
) -> Scene:
    """Read a scene file, and the record beside it.

    Args:
        path: a scene file; a bare name without a suffix that is no file here means the shipped scene of that name.
        models: folders of the user's own models, besides the shipped ones; their Python files are run when the
            scene is checked.
        size: of a scene with ``[sizes]``, the name of the one that is wanted; None takes the first.
        record: read ``NAME.record.toml`` where there is one: what was set and measured at the table.
        shop: a file with the inventory of the shop, instead of that which the scene names.

    Raises:
        SceneError: a file cannot be read or does not describe a scene, or a record; every problem with its line.
    """
    file = find(path)
    try:
        scene = read_scene(file, size)
    except SceneError:
        if is_record(file):
            scene_file = f'"{file.with_suffix("").with_suffix(".toml")}"'
            raise SceneError(
                [Problem(what="is the record of a scene", file=str(file), expected="the scene", nearest=scene_file)]
            ) from None
        raise
    scene._models = tuple(Path(m) for m in models)
    scene._record = found_record(scene.path, scene.units) if record else None
    scene._shop = None if shop is None else Path(shop)
    return scene


def find(path: str | os.PathLike[str]) -> Path:
    """The file that is meant: ``path`` itself, with ``.toml`` behind it, or the shipped scene of that bare name."""
    asked = Path(path)
    if asked.exists() or asked.suffix:
        return asked
    if (own := asked.with_suffix(".toml")).is_file():
        return own
    if len(asked.parts) != 1:
        return asked
    from importlib.resources import files

    shipped = Path(str(files("fixture3d._library.scenes") / f"{asked.name}.toml"))
    return shipped if shipped.is_file() else asked
