"""A python process that starts with the heavy libraries loaded: for the README's commands, some two seconds each.

A server loads the libraries, and nothing of fixture3d, and forks for each command: each has a process of its own, from
``__main__`` to its exit code, and shares nothing with the one before. Where there is no fork, it starts from nothing.
"""

from __future__ import annotations

import atexit
import multiprocessing
import os
import runpy
import sys
import tempfile
from pathlib import Path

_LIBRARIES = [
    *("cadquery", "pyvista", "trimesh", "manifold3d", "numba", "scipy.optimize", "scipy.spatial", "shapely", "typst"),
    *("ezdxf", "pydantic", "tomlkit", "PIL.Image"),
]


def run(words: list[str], folder: Path) -> tuple[int, str]:
    """Exit code of ``python WORDS`` in a folder, and what it printed: the one stream, then the other."""
    if sys.platform == "win32":
        context = multiprocessing.get_context("spawn")
    else:
        context = multiprocessing.get_context("forkserver")
        context.set_forkserver_preload(_LIBRARIES)
    with tempfile.TemporaryDirectory() as name:
        files = [str(Path(name) / stream) for stream in ("out", "err")]
        child = context.Process(target=_become, args=(words, str(folder), files))
        child.start()
        child.join()
        assert child.exitcode is not None
        return child.exitcode, "".join(Path(file).read_text(encoding="utf-8") for file in files)


def _become(words: list[str], folder: str, files: list[str]) -> None:
    """What ``python WORDS`` does, until the process ends."""
    for stream, file in zip((sys.stdout, sys.stderr), files, strict=True):
        os.dup2(os.open(file, os.O_WRONLY | os.O_CREAT), stream.fileno())
        stream.reconfigure(encoding="utf-8")  # type: ignore[union-attr]
    os.chdir(folder)
    sys.path.insert(0, folder)
    try:
        if words[0] == "-m":
            sys.argv = words[1:]
            runpy.run_module(words[1], run_name="__main__", alter_sys=True)
        else:
            sys.argv = words
            runpy.run_path(words[0], run_name="__main__")
    finally:
        atexit._run_exitfuncs()
