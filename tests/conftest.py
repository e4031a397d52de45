"""Shared by all tests: a cache of their own, and the scenes that ship."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
SCENES = ROOT / "scenes"
# The longest first, so that one of them is not what the other workers wait for at the end.
_LONG = [
    *("test_everything_wrong.py", "test_readme.py", "test_scenes.py", "test_blind_relate.py", "test_page.py"),
    *("test_relate.py", "test_reference.py", "test_again.py", "test_page_browser.py", "test_drawing.py"),
    *("test_access.py", "test_torch_remedies.py", "test_check_accuracy.py", "test_check_shrinkage.py"),
]

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


def pytest_configure(config: pytest.Config) -> None:
    """Keep pytest-xdist from sorting the files by how many tests they have: that would put the README's last."""
    if hasattr(config.option, "loadscopereorder"):
        config.option.loadscopereorder = False


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """The longest files first."""
    place = {name: k for k, name in enumerate(_LONG)}
    items.sort(key=lambda item: place.get(item.path.name, len(_LONG)))
