"""The browser side of the 3D page: its own tests, and that the built files are what its sources give.

Needs node and, in ``fixture3d/preview/page/web``, ``npm ci``. Without them it is skipped, unless FIXTURE3D_NEED_NODE is
set, as `.ci/run` does.
"""

from __future__ import annotations

import os
import shutil
import subprocess
from pathlib import Path

import pytest

WEB = Path(__file__).resolve().parents[1] / "fixture3d" / "preview" / "page" / "web"


@pytest.fixture(scope="module")
def node() -> str:
    found = shutil.which("node")
    why = "" if found else "node is not installed"
    if found and not (WEB / "node_modules" / "esbuild").is_dir():
        why = f"its libraries are not installed; run npm ci in {WEB}"
    if why and os.environ.get("FIXTURE3D_NEED_NODE"):
        pytest.fail(f"FIXTURE3D_NEED_NODE is set, but {why}")
    if why:
        pytest.skip(why)
    return str(found)


def run(*command: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(command, cwd=WEB, capture_output=True, text=True)


def test_modules_of_the_page(node: str) -> None:
    tests = sorted(f"test/{file.name}" for file in (WEB / "test").glob("*.test.js"))
    assert tests
    result = run(node, "--test", *tests)
    assert result.returncode == 0, result.stdout[-3000:] + result.stderr[-2000:]


def test_built_files_are_what_the_sources_give(node: str) -> None:
    result = run(node, "build.mjs", "--check")
    assert result.returncode == 0, result.stderr
