"""The scene file: what a user writes, read and checked without loading any geometry."""

from fixture3d.scene.scene import Scene, dump, dumps, load, loads, problem, problem_at

__all__ = ["Scene", "dump", "dumps", "load", "loads", "problem", "problem_at"]
