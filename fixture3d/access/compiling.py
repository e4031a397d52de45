"""The kernels compiled in a second process while the first one does something else. Loads nothing heavy.

The very first torch check on a machine compiles the kernels, some 10 s of work. ``ahead`` has that done by a child
process, which fills numba's disk cache, while the caller builds solids and compares them; ``wait`` is called before
the kernels are needed. It is only ever a shortcut: where nothing can be gained, or the child fails, the kernels
are compiled when they are called, as always.
"""

from __future__ import annotations

import contextlib
import json
import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

KERNELS = ("place_triangles", "build_tree", "sweep_directions", "lines_of_sight", "blame_directions", "roomiest")
LONGEST = 180.0
"""Seconds after which the child is given up."""

_CODE = (
    "import json, sys; sys.path[:] = json.loads(sys.argv[1]); "
    "from fixture3d.access.warm import fill_cache; fill_cache()"
)

_running: subprocess.Popen[bytes] | None = None


@contextlib.contextmanager
def ahead(wanted: bool = True) -> Iterator[None]:
    """Compile in the background within the block, if it is wanted and not done; the child does not outlive it."""
    global _running
    mine = _start() if wanted and _running is None and _worth_it() else None
    if mine is not None:
        _running = mine
    try:
        yield
    finally:
        if mine is not None:
            _end(mine, 0.0)
            _running = None


def wait() -> None:
    """Return once no child compiles any more."""
    if _running is not None:
        _end(_running, LONGEST)


def compiled() -> bool:
    """Whether numba's disk cache seems to hold every kernel as it is now; a wrong answer only costs time."""
    source = Path(__file__).with_name("kernel.py")
    try:
        changed = source.stat().st_mtime
    except OSError:
        return False
    python = f"py{sys.version_info[0]}{sys.version_info[1]}"
    for folder in _folders(source):
        with contextlib.suppress(OSError):
            if all(any(_newer(p, changed) for p in folder.glob(f"kernel.{name}-*.{python}*.nbi")) for name in KERNELS):
                return True
    return False


def _newer(path: Path, changed: float) -> bool:
    return path.stat().st_mtime >= changed


def _folders(source: Path) -> list[Path]:
    """Where numba may keep what it compiled from a file: a folder by name, beside the file, or the user's cache."""
    asked = os.environ.get("NUMBA_CACHE_DIR")
    if asked:
        return _parts(Path(asked))
    if sys.platform == "win32":
        users = Path(os.environ.get("LOCALAPPDATA", "")) / "numba" / "Cache"
    elif sys.platform == "darwin":
        users = Path("~/Library/Caches/numba").expanduser()
    else:
        users = Path(os.environ.get("XDG_CACHE_HOME") or "~/.cache").expanduser() / "numba"
    return [source.with_name("__pycache__"), *_parts(users)]


def _parts(folder: Path) -> list[Path]:
    """Numba makes a folder for each folder of sources, called by its last name and a sum."""
    with contextlib.suppress(OSError):
        return sorted(folder.glob(f"{Path(__file__).parent.name}_*"))
    return []


def _worth_it() -> bool:
    """Whether a child can run beside this process, and has something to do."""
    python = Path(sys.executable or "").stem.lower().startswith("python") and not getattr(sys, "frozen", False)
    alone = (os.cpu_count() or 1) < 2 or "fixture3d.access.kernel" in sys.modules
    return python and not alone and not compiled()


def _start() -> subprocess.Popen[bytes] | None:
    # The same places to import from as here, and nothing from the folder that the user happens to be in.
    places = json.dumps([path for path in sys.path if isinstance(path, str)])
    hidden = getattr(subprocess, "CREATE_NO_WINDOW", 0)
    quiet = subprocess.DEVNULL
    with contextlib.suppress(OSError, ValueError):
        return subprocess.Popen(
            [sys.executable, "-P", "-c", _CODE, places], stdin=quiet, stdout=quiet, stderr=quiet, creationflags=hidden
        )
    return None


def _end(child: subprocess.Popen[bytes], patience: float) -> None:
    """Wait for the child, kill it when that takes too long, and let the system forget it."""
    try:
        child.wait(patience)
    except subprocess.TimeoutExpired:
        child.kill()
        child.wait()
