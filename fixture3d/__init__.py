"""Check, draw and build welding fixtures that are located from a table's grid of holes.

The public names are loaded when they are first used, so that importing the package costs nothing::

    import fixture3d

    scene = fixture3d.load("kayak_rack")
    report = fixture3d.check(scene)
    print(report.ready, report.to_dict()["findings"])
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

__version__ = "0.2.0"

if TYPE_CHECKING:
    from fixture3d.engine import check, load
    from fixture3d.errors import BadSolid, FixtureError, SceneError
    from fixture3d.locating.located import Located, locate_piece
    from fixture3d.report import Report
    from fixture3d.scene import Scene, dump
    from fixture3d.solid.relate import Relation, relate

_PUBLIC = {
    "BadSolid": "errors",
    "FixtureError": "errors",
    "Located": "locating.located",
    "Relation": "solid.relate",
    "Report": "report",
    "Scene": "scene",
    "SceneError": "errors",
    "check": "engine",
    "dump": "scene",
    "load": "engine",
    "locate_piece": "locating.located",
    "relate": "solid.relate",
}

__all__ = [
    "BadSolid",
    "FixtureError",
    "Located",
    "Relation",
    "Report",
    "Scene",
    "SceneError",
    "__version__",
    "check",
    "dump",
    "load",
    "locate_piece",
    "relate",
]


def __getattr__(name: str) -> Any:
    if name not in _PUBLIC:
        raise AttributeError(f"module 'fixture3d' has no attribute {name!r}")
    from importlib import import_module

    return getattr(import_module(f"fixture3d.{_PUBLIC[name]}"), name)
