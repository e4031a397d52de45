"""Check, draw and build welding fixtures that are located from a table's grid of holes.

The public names are loaded when they are first used, so that importing the package costs nothing::

    import fixture3d

    scene = fixture3d.load("kayak_rack")
    report = fixture3d.check(scene)
    print(report.ready, report.to_dict()["findings"])
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

__version__ = "0.6.0"

if TYPE_CHECKING:
    from fixture3d.engine import check, check_sizes, load
    from fixture3d.errors import BadSolid, FixtureError, SceneError
    from fixture3d.locating.leaving import way_out
    from fixture3d.locating.located import Located, locate_piece
    from fixture3d.report import Report
    from fixture3d.scene import Scene, dump
    from fixture3d.solid.relate import Relation, relate
    from fixture3d.welding import FoundWeld, FoundWelds, find_welds

_PUBLIC = {
    "BadSolid": "errors",
    "FixtureError": "errors",
    "FoundWeld": "welding",
    "FoundWelds": "welding",
    "Located": "locating.located",
    "Relation": "solid.relate",
    "Report": "report",
    "Scene": "scene",
    "SceneError": "errors",
    "check": "engine",
    "check_sizes": "engine",
    "dump": "scene",
    "find_welds": "welding",
    "load": "engine",
    "locate_piece": "locating.located",
    "relate": "solid.relate",
    "way_out": "locating.leaving",
}

__all__ = [
    "BadSolid",
    "FixtureError",
    "FoundWeld",
    "FoundWelds",
    "Located",
    "Relation",
    "Report",
    "Scene",
    "SceneError",
    "__version__",
    "check",
    "check_sizes",
    "dump",
    "find_welds",
    "load",
    "locate_piece",
    "relate",
    "way_out",
]


def __getattr__(name: str) -> Any:
    if name not in _PUBLIC:
        raise AttributeError(f"module 'fixture3d' has no attribute {name!r}")
    from importlib import import_module

    return getattr(import_module(f"fixture3d.{_PUBLIC[name]}"), name)
