"""Scene files of older formats brought up to date, comments and layout kept."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path
from typing import Final

from fixture3d.errors import SceneError
from fixture3d.output import write_text
from fixture3d.scene.located import Source
from fixture3d.scene.read import FORMAT, check_format, parse, read_text


def upgrade(text: str, file: str = "") -> str:
    """The text of a scene file in the newest format.

    Format 0 is the draft from before files said their format: the same keys, without ``format``. Text that is up to
    date comes back as it is. What the result says is not judged here; ``load`` does that.

    Args:
        text: of the file.
        file: its path for messages.

    Raises:
        SceneError: it is not TOML, or its format is newer or none.
    """
    version = _version(text, file)
    while version < FORMAT:
        text = _STEPS[version](text)
        version = _version(text, file)
    return text


def upgrade_file(path: str | os.PathLike[str], out: str | os.PathLike[str] | None = None, force: bool = False) -> Path:
    """Write the upgraded text of ``path`` to ``out``, or over itself when ``out`` is None and ``force`` is set.

    Raises:
        SceneError: the file cannot be read or upgraded.
        OutputRefused: the target exists and ``force`` is not set.
    """
    file = os.fspath(path)
    return write_text(out if out is not None else file, upgrade(read_text(file), file), force)


def _version(text: str, file: str) -> int:
    data = parse(text, file)
    value = data.get("format", 0)
    source = Source(data, file, text)
    if isinstance(value, bool) or not isinstance(value, int) or value < 0:
        raise SceneError([source.problem(("format",), "format is not a format number", f"format = {FORMAT}")])
    if value > FORMAT:
        check_format(data, source)
    return value


def _say_format(text: str) -> str:
    """From 0 to 1: the file says its format, in the first line that is not a heading comment."""
    import tomlkit

    document = tomlkit.parse(text)
    if "format" in document:
        document["format"] = 1
        return tomlkit.dumps(document)
    rows = text.split("\n")
    heading = 0
    while heading < len(rows) and rows[heading].lstrip().startswith("#"):
        heading += 1
    if heading < len(rows) and rows[heading].strip():
        heading = 0  # the comment belongs to the key below it
    return "\n".join([*rows[:heading], "format = 1", *rows[heading:]])


_STEPS: Final[dict[int, Callable[[str], str]]] = {0: _say_format}
"""From each older format to the next one."""
