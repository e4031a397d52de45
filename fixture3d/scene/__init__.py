"""The scene file: what a user writes, read and checked without loading any geometry.

The names are loaded when they are first used: the one-line tables of ``preset`` need no schema.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from fixture3d.scene.scene import Scene, dump, dumps, load, load_inventory, loads, problem, problem_at

__all__ = ["Scene", "dump", "dumps", "load", "load_inventory", "loads", "problem", "problem_at"]


def __getattr__(name: str) -> Any:
    if name not in __all__:
        raise AttributeError(f"module 'fixture3d.scene' has no attribute {name!r}")
    from fixture3d.scene import scene

    return getattr(scene, name)
