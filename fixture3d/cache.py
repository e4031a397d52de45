"""Results kept on disk between runs, keyed by content.

A cache file is only ever a shortcut: a torn, foreign, stale or missing file reads as "not there" and the result
is computed again. Files are written whole (a temporary file, then a rename), so two processes at once and a kill
at any moment do no harm, and the folder may be deleted at any time. Nothing is ever unpickled.

The folder is ``FIXTURE3D_CACHE`` when that is set (``off`` keeps results in memory only), otherwise the user's
cache folder of the platform. When it grows past 1 GiB the oldest files are removed.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
import sys
import time
import uuid
from collections import OrderedDict
from collections.abc import Sequence
from importlib import metadata
from pathlib import Path
from typing import Any

FORMAT = 2  # raised, too, when the mesh of an unchanged solid changes: most results rest on meshes
LIMIT_BYTES = 1 << 30
MEMORY_BYTES = 128 << 20
ENVIRONMENT = "FIXTURE3D_CACHE"

_MAGIC = b"FX3DC\x00\x01\n"
_DIGEST = 32
_TRIM_EVERY = 256
_STALE_SECONDS = 3600.0
# Libraries whose version changes the digits of a result.
_LIBRARIES = ("cadquery-ocp", "manifold3d", "numpy", "trimesh")


class Store:
    """Bytes by key and kind, in memory or in a folder.

    Args:
        folder: where files go; None keeps them in memory only. A folder that cannot be made or written is
            the same as None: a cache is never a reason to stop.
        limit: bytes on disk past which the oldest files are removed.
    """

    def __init__(self, folder: str | os.PathLike[str] | None, limit: int = LIMIT_BYTES) -> None:
        self.folder = _usable(Path(folder)) if folder is not None else None
        self.limit = limit
        self._memory: OrderedDict[str, bytes] = OrderedDict()
        self._memory_bytes = 0
        self._puts = 0

    def get(self, key: str, kind: str) -> bytes | None:
        """The bytes put under ``key`` and ``kind``, or None when there are none that can be trusted."""
        name = _name(key, kind)
        if self.folder is None:
            return self._memory.get(name)
        try:
            blob = self._path(name).read_bytes()
        except OSError:
            return None
        return _open(blob)

    def put(self, key: str, kind: str, data: bytes) -> None:
        """Keep ``data``. Fails silently: the result is then computed again next time."""
        name = _name(key, kind)
        if self.folder is None:
            self._remember(name, data)
            return
        path = self._path(name)
        temporary = path.with_name(f"{name}.{os.getpid()}.{uuid.uuid4().hex}.tmp")
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
            temporary.write_bytes(_seal(data))
            os.replace(temporary, path)
        except OSError:
            # Windows refuses to replace a file that another process has open; that one holds the same bytes.
            with contextlib.suppress(OSError):
                temporary.unlink(missing_ok=True)
        if self._puts % _TRIM_EVERY == 0:
            self.trim()
        self._puts += 1

    def get_json(self, key: str, kind: str) -> Any | None:
        """The value put by `put_json`, or None."""
        data = self.get(key, kind)
        if data is None:
            return None
        try:
            return json.loads(data)
        except ValueError:
            return None

    def put_json(self, key: str, kind: str, value: Any) -> None:
        """Keep a value of JSON types; floats come back to the last bit.

        Raises:
            ValueError: NaN or infinity, which are not JSON.
        """
        self.put(key, kind, json.dumps(value, allow_nan=False, separators=(",", ":")).encode())

    def trim(self) -> None:
        """Remove the oldest files until the folder is under four fifths of its limit, and stale leftovers."""
        if self.folder is None:
            return
        files: list[tuple[float, int, str]] = []
        for root, _, names in os.walk(self.folder):
            for name in names:
                path = os.path.join(root, name)
                with contextlib.suppress(OSError):
                    status = os.stat(path)
                    if name.endswith(".tmp") and time.time() - status.st_mtime > _STALE_SECONDS:
                        os.unlink(path)
                    elif name.endswith((".fx3d", ".tmp")):
                        files.append((status.st_mtime, status.st_size, path))
        total = sum(size for _, size, _ in files)
        if total <= self.limit:
            return
        for _, size, path in sorted(files):
            if total <= self.limit * 0.8:
                break
            with contextlib.suppress(OSError):
                os.unlink(path)
            total -= size

    def _path(self, name: str) -> Path:
        assert self.folder is not None
        return self.folder / name[:2] / f"{name}.fx3d"

    def _remember(self, name: str, data: bytes) -> None:
        old = self._memory.pop(name, b"")
        self._memory[name] = data
        self._memory_bytes += len(data) - len(old)
        while self._memory_bytes > MEMORY_BYTES and len(self._memory) > 1:
            _, gone = self._memory.popitem(last=False)
            self._memory_bytes -= len(gone)


def default_store() -> Store:
    """The store of this user: see the module's text for where it is. One object a folder and process."""
    folder = default_folder()
    found = _STORES.get(folder)
    if found is None:
        found = _STORES[folder] = Store(folder)
    return found


def default_folder() -> Path | None:
    """The cache folder, or None when caching on disk is switched off."""
    asked = os.environ.get(ENVIRONMENT, "").strip()
    if asked.casefold() == "off":
        return None
    if asked:
        return Path(asked)
    try:
        home = Path.home()
    except RuntimeError:
        return None
    if sys.platform == "win32":
        local = os.environ.get("LOCALAPPDATA")
        return (Path(local) if local else home / "AppData" / "Local") / "fixture3d" / "Cache"
    if sys.platform == "darwin":
        return home / "Library" / "Caches" / "fixture3d"
    xdg = os.environ.get("XDG_CACHE_HOME")
    return (Path(xdg) if xdg else home / ".cache") / "fixture3d"


def content_key(parts: Sequence[str | bytes]) -> str:
    """A key from what a result depends on; no two different sequences share one.

    >>> content_key(["a", "bc"]) != content_key(["ab", "c"])
    True
    """
    digest = hashlib.sha256()
    for part in parts:
        data = part.encode() if isinstance(part, str) else part
        digest.update(len(data).to_bytes(8, "little"))
        digest.update(data)
    return digest.hexdigest()


_STORES: dict[Path | None, Store] = {}
_STAMP: list[str] = []


def _stamp() -> str:
    """Format number and library versions, as part of every file's name."""
    if not _STAMP:
        found = []
        for library in _LIBRARIES:
            try:
                found.append(f"{library}={metadata.version(library)}")
            except metadata.PackageNotFoundError:
                found.append(f"{library}=none")
        _STAMP.append(f"{FORMAT};" + ";".join(found))
    return _STAMP[0]


def _name(key: str, kind: str) -> str:
    return content_key([_stamp(), kind, key])


def _seal(data: bytes) -> bytes:
    return _MAGIC + hashlib.sha256(data).digest() + data


def _open(blob: bytes) -> bytes | None:
    head = len(_MAGIC) + _DIGEST
    if len(blob) < head or not blob.startswith(_MAGIC):
        return None
    data = blob[head:]
    return data if hashlib.sha256(data).digest() == blob[len(_MAGIC) : head] else None


def _usable(folder: Path) -> Path | None:
    """``folder`` when files can be written there, else None."""
    probe = folder / f"probe.{os.getpid()}.{uuid.uuid4().hex}.tmp"
    try:
        folder.mkdir(parents=True, exist_ok=True)
        probe.write_bytes(b"")
        probe.unlink()
    except OSError:
        return None
    return folder
