"""Shared by all tests: a cache of their own, and the scenes that ship."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
SCENES = ROOT / "scenes"
_LONG = ("test_readme.py", "test_scenes.py")

# One cache for the whole run, kept between runs of one checkout so that a second run is quick; never the user's own.
os.environ.setdefault("FIXTURE3D_CACHE", str(Path(tempfile.gettempdir()) / "fixture3d-tests"))


@pytest.fixture
def scene_file(tmp_path: Path) -> Path:
    """A scene with one block, in a folder of its own."""
    path = tmp_path / "one.toml"
    path.write_text(
        'format = 1\ntable = "50/16 1000x600"\n[[place]]\nname = "S1"\nmodel = "stop_block"\nhole = "C4"\n',
        encoding="utf-8",
    )
    return path


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """The longest files first, so that one of them is not what the other workers wait for at the end."""
    items.sort(key=lambda item: item.path.name not in _LONG)
