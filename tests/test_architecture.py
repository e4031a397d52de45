"""The rules of the house that no other tool keeps: what lies where, and who may import what."""

from __future__ import annotations

import ast
import subprocess
import tomllib
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
HEAVY = {
    "cadquery",
    "OCP",
    "trimesh",
    "manifold3d",
    "pyvista",
    "vtk",
    "vtkmodules",
    "numba",
    "scipy",
    "shapely",
    "typst",
}
KERNELS = {  # imported inside functions only, as a whole
    ROOT / "fixture3d" / "access" / "kernel.py",
    ROOT / "fixture3d" / "locating" / "leaving_kernel.py",
}
SOURCES = sorted([*(ROOT / "fixture3d").rglob("*.py"), *(ROOT / "models").glob("*.py")])


def top_level_imports(file: Path) -> Iterator[str]:
    """Modules that importing ``file`` imports, type checking apart."""
    for node in ast.parse(file.read_text(encoding="utf-8")).body:
        if isinstance(node, ast.Import):
            yield from (name.name for name in node.names)
        elif isinstance(node, ast.ImportFrom) and node.level == 0:
            yield node.module or ""


@pytest.mark.parametrize("file", SOURCES, ids=lambda f: str(f.relative_to(ROOT)))
def test_heavy_libraries_load_only_where_used(file: Path) -> None:
    if file not in KERNELS:
        assert not {name.partition(".")[0] for name in top_level_imports(file)} & HEAVY


@pytest.mark.parametrize("file", SOURCES, ids=lambda f: str(f.relative_to(ROOT)))
def test_every_module_says_what_it_is(file: Path) -> None:
    assert ast.get_docstring(ast.parse(file.read_text(encoding="utf-8")))


def test_a_model_imports_no_other_model_and_no_check() -> None:
    allowed = {"fixture3d.part", "fixture3d.errors", "fixture3d.units", "fixture3d.stock", "fixture3d.solid.kernel"}
    allowed |= {"fixture3d.stock.fits"}
    for file in sorted((ROOT / "models").glob("*.py")):
        for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
            if isinstance(node, ast.ImportFrom):
                if node.level:
                    assert (node.module or "").startswith("_"), f"{file.name} imports another model"
                elif (node.module or "").startswith("fixture3d"):
                    assert node.module in allowed, f"{file.name} imports {node.module}"


def test_the_package_reaches_models_by_name_nowhere() -> None:
    for file in SOURCES:
        assert not any(name.split(".")[0] in ("models", "scenes") for name in top_level_imports(file)), file


def test_every_folder_of_the_package_is_shipped() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    listed = set(project["tool"]["setuptools"]["packages"])
    found = {".".join(file.parent.relative_to(ROOT).parts) for file in (ROOT / "fixture3d").rglob("__init__.py")}
    assert found <= listed
    assert {"fixture3d._library.models", "fixture3d._library.scenes"} <= listed


def test_the_top_level_holds_what_it_should_and_no_more() -> None:
    listing = subprocess.run(["git", "ls-files"], cwd=ROOT, capture_output=True, text=True)
    made = {"build", "dist", "out", "fixture3d.egg-info"}  # only in an unpacked archive: what building leaves behind
    names = listing.stdout.split("\n") if listing.returncode == 0 else [p.name for p in ROOT.iterdir()]
    top = {name.partition("/")[0] for name in names if name} - made
    wanted = {"README.md", "DEVELOPERS.md", "LICENSE", "pyproject.toml", "models", "scenes", "fixture3d", "tests"}
    assert {name for name in top if not name.startswith(".")} == wanted
