"""The disk cache: nothing that happens to its folder may ever give a wrong answer or an error."""

from __future__ import annotations

import os
import subprocess
import sys
import time
from pathlib import Path

import pytest

from fixture3d import cache
from fixture3d.cache import Store, content_key, default_folder, default_store

ROOT = Path(__file__).resolve().parents[1]


def files(folder: Path) -> list[Path]:
    return sorted(p for p in folder.rglob("*") if p.is_file())


def test_what_was_put_comes_back(tmp_path: Path) -> None:
    store = Store(tmp_path)
    assert store.get("k", "mesh") is None
    store.put("k", "mesh", b"abc")
    assert store.get("k", "mesh") == b"abc"
    assert store.get("k", "brep") is None
    assert Store(tmp_path).get("k", "mesh") == b"abc"
    assert [p.suffix for p in files(tmp_path)] == [".fx3d"]


def test_memory_only() -> None:
    store = Store(None)
    store.put("k", "mesh", b"abc")
    assert store.get("k", "mesh") == b"abc"
    assert store.get("k", "other") is None


def test_memory_forgets_the_oldest(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(cache, "MEMORY_BYTES", 250)
    store = Store(None)
    for k in range(5):
        store.put(str(k), "m", bytes(100))
    assert [store.get(str(k), "m") is not None for k in range(5)] == [False, False, False, True, True]


def test_json_keeps_every_bit(tmp_path: Path) -> None:
    store = Store(tmp_path)
    value = {"x": [0.1, 1e-300, -0.0, 12345.678901234567], "n": None}
    store.put_json("k", "j", value)
    assert store.get_json("k", "j") == value
    with pytest.raises(ValueError, match="JSON"):
        store.put_json("k", "j", float("nan"))
    store.put("k", "bad", b"{not json")
    assert store.get_json("k", "bad") is None


@pytest.mark.parametrize("cut", [0, 1, 8, 20, 41, 45])
def test_a_torn_file_reads_as_missing_and_is_written_again(tmp_path: Path, cut: int) -> None:
    store = Store(tmp_path)
    store.put("k", "m", b"payload")
    (path,) = files(tmp_path)
    path.write_bytes(path.read_bytes()[:cut])
    assert store.get("k", "m") is None
    store.put("k", "m", b"payload")
    assert store.get("k", "m") == b"payload"


def test_a_flipped_bit_reads_as_missing(tmp_path: Path) -> None:
    store = Store(tmp_path)
    store.put("k", "m", b"payload")
    (path,) = files(tmp_path)
    blob = bytearray(path.read_bytes())
    for place in range(len(blob)):
        damaged = bytearray(blob)
        damaged[place] ^= 1
        path.write_bytes(bytes(damaged))
        assert store.get("k", "m") is None


def test_a_foreign_file_or_folder_in_its_place(tmp_path: Path) -> None:
    store = Store(tmp_path)
    store.put("k", "m", b"payload")
    (path,) = files(tmp_path)
    path.write_bytes(b"\x80\x04 something pickled")
    assert store.get("k", "m") is None
    path.unlink()
    path.mkdir()
    assert store.get("k", "m") is None
    store.put("k", "m", b"payload")  # cannot be written: silently not kept
    assert store.get("k", "m") is None
    assert not [p for p in tmp_path.rglob("*.tmp")]


def test_the_folder_may_go_at_any_time(tmp_path: Path) -> None:
    folder = tmp_path / "c"
    store = Store(folder)
    store.put("k", "m", b"1")
    for path in files(folder):
        path.unlink()
    for path in sorted(folder.rglob("*"), reverse=True):
        path.rmdir()
    folder.rmdir()
    assert store.get("k", "m") is None
    store.put("k", "m", b"2")
    assert store.get("k", "m") == b"2"


def test_an_unusable_folder_means_memory_only(tmp_path: Path) -> None:
    blocker = tmp_path / "file"
    blocker.write_text("in the way")
    store = Store(blocker / "cache")
    assert store.folder is None
    store.put("k", "m", b"1")
    assert store.get("k", "m") == b"1"


def test_library_versions_are_part_of_the_key(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    Store(tmp_path).put("k", "m", b"old")
    monkeypatch.setattr(cache, "_STAMP", ["1;another version"])
    assert Store(tmp_path).get("k", "m") is None


def test_the_oldest_go_first(tmp_path: Path) -> None:
    store = Store(tmp_path, limit=1000)
    for k in range(10):
        store.put(str(k), "m", bytes(200))
        newest = max(files(tmp_path), key=lambda p: p.stat().st_mtime_ns)
        os.utime(newest, (1e9 + k, 1e9 + k))
    stale = tmp_path / "left.1.abc.tmp"
    stale.write_bytes(b"")
    os.utime(stale, (1e9, 1e9))
    store.trim()
    left = [k for k in range(10) if store.get(str(k), "m") is not None]
    assert left == [7, 8, 9]
    assert sum(p.stat().st_size for p in files(tmp_path)) <= 800
    assert not stale.exists()


def test_trimming_touches_nothing_of_others(tmp_path: Path) -> None:
    other = tmp_path / "holiday.jpg"
    other.write_bytes(bytes(5000))
    Store(tmp_path, limit=10).trim()
    assert other.exists()


def test_where_the_default_is(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(cache.ENVIRONMENT, "off")
    assert default_folder() is None
    assert default_store().folder is None
    monkeypatch.setenv(cache.ENVIRONMENT, str(tmp_path / "mine"))
    assert default_store().folder == tmp_path / "mine"
    assert default_store() is default_store()
    monkeypatch.delenv(cache.ENVIRONMENT)
    monkeypatch.setattr(sys, "platform", "linux")
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    assert default_folder() == tmp_path / "fixture3d"
    monkeypatch.setattr(sys, "platform", "win32")
    monkeypatch.setenv("LOCALAPPDATA", str(tmp_path / "Local"))
    assert default_folder() == tmp_path / "Local" / "fixture3d" / "Cache"


def test_keys_do_not_run_together() -> None:
    assert content_key(["ab", "c"]) != content_key(["a", "bc"])
    assert content_key(["a"]) == content_key([b"a"])


WRITER = """
import sys
from fixture3d.cache import Store
store, mark, ready = Store(sys.argv[1]), sys.argv[2].encode(), sys.argv[3]
open(ready, "w").close()
n = 0
while n < int(sys.argv[4]):
    for k in range(8):
        store.put(str(k), "m", mark * 200_000)
        found = store.get(str(k), "m")
        assert found is None or (len(found) == 200_000 and len(set(found)) == 1), "torn"
    n += 1
"""


def writer(folder: Path, mark: str, rounds: int) -> subprocess.Popen[bytes]:
    ready = folder.parent / f"ready-{mark}"
    command = [sys.executable, "-c", WRITER, str(folder), mark, str(ready), str(rounds)]
    child = subprocess.Popen(command, cwd=ROOT, stderr=subprocess.PIPE)
    while not ready.exists() and child.poll() is None:
        time.sleep(0.01)
    return child


def test_two_processes_at_once(tmp_path: Path) -> None:
    folder = tmp_path / "c"
    folder.mkdir()
    children = [writer(folder, mark, 20) for mark in "xy"]
    for child in children:
        _, stderr = child.communicate(timeout=120)
        assert child.returncode == 0, stderr.decode()
    found = [Store(folder).get(str(k), "m") for k in range(8)]
    assert all(data in (b"x" * 200_000, b"y" * 200_000) for data in found)
    assert not list(folder.rglob("*.tmp"))


def test_a_kill_in_the_middle(tmp_path: Path) -> None:
    folder = tmp_path / "c"
    folder.mkdir()
    child = writer(folder, "z", 1_000_000)
    seen = 0
    for _ in range(200):
        seen = len(list(folder.rglob("*.fx3d")))
        if seen >= 8:
            break
        time.sleep(0.01)
    child.kill()
    child.communicate(timeout=60)
    assert child.returncode != 0
    assert seen >= 8
    store = Store(folder)
    for k in range(8):
        assert store.get(str(k), "m") in (None, b"z" * 200_000)
        store.put(str(k), "m", b"after")
        assert store.get(str(k), "m") == b"after"
