"""The names of a scene's geometry files as they are seen from another folder."""

from __future__ import annotations

import os
from pathlib import Path, PurePath
from typing import TYPE_CHECKING, Any

from fixture3d.scene.edit import Edit

if TYPE_CHECKING:
    from fixture3d.scene import Scene


def files_from(scene: Scene, data: dict[str, Any], folder: Path | None) -> list[Edit]:
    """The names of geometry files as they are seen from the folder of the new file."""
    if folder is None or os.path.realpath(folder) == os.path.realpath(scene.base):
        return []
    named: list[tuple[tuple[str | int, ...], str, str]] = []
    if "file" in data.get("weldment", {}):
        named.append((("weldment",), "file", data["weldment"]["file"]))
    named += [((), "shop", data["shop"])] if "shop" in data else []
    named += [(("plate", k), "dxf", one["dxf"]) for k, one in enumerate(data.get("plate", ())) if "dxf" in one]
    edits = []
    for table, key, old in named:
        path = os.path.realpath(scene.base / old)
        try:
            new = os.path.relpath(path, os.path.realpath(folder))
        except ValueError:  # another drive of Windows
            new = path
        edits.append(Edit(table=table, key=key, value=PurePath(new).as_posix()))
    return edits
