"""What is wrong with the table and the further grids of a scene, with the lists of their holes."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import partial
from typing import Any, Final

from fixture3d import units
from fixture3d.errors import FixtureError, Problem, TableError
from fixture3d.scene.located import Source
from fixture3d.scene.read import Rest
from fixture3d.scene.slots import slot_faults
from fixture3d.scene.table import Table
from fixture3d.scene.table_keys import GridKeys, TableKeys, build_grid, build_table
from fixture3d.scene.text import Path
from fixture3d.stock import fits


def table_problems(
    keys: TableKeys, grids: Sequence[GridKeys], source: Source, rest: Rest
) -> tuple[Table | None, list[Problem]]:
    """The table that the keys describe, and what is wrong with them or with their lists of holes.

    The table is None where a fault in it leaves open which holes there are.
    """
    problems: list[Problem] = []
    bare = keys.model_copy(update={**_NO_LISTS, "slots": ()})
    stand_in = ("table",) in rest.damaged
    table = None if stand_in else _try(lambda: build_table(bare), source, ("table",), problems)
    if table is not None:
        _listed_holes(table.hole, keys, ("table",), source, problems)
        problems += _bore_class(keys, source)
        problems += _slots(table, keys, source)
    good: list[GridKeys] = []
    indices = rest.origin.get("grid", range(len(grids)))
    for index, grid in zip(indices, grids, strict=True):
        path: Path = ("grid", index)
        plain = grid.model_copy(update=_NO_LISTS)
        built = None if stand_in else _try(partial(build_grid, bare, plain), source, path, problems)
        if built is not None:
            _listed_holes(built.hole, grid, path, source, problems)
            good.append(plain)
    given = source.data.get("grid")
    names = {grid.name for grid in good}
    if table is None or len(names) != (len(given) if isinstance(given, list | tuple) else 0):
        return None, problems
    if any(path[0] == "grid" for path in rest.damaged if path):
        return None, problems
    return build_table(bare, tuple(good)), problems


_NO_LISTS: Final = {"blocked": (), "no_nut": ()}


def _bore_class(keys: TableKeys, source: Source) -> list[Problem]:
    """A tolerance class that the tables do not have, or that is one of a shaft."""
    if keys.bore_limits is None:
        return []
    try:
        fits.bore_limits(keys.bore_limits, keys.bore)
    except FixtureError as error:
        what, _, rest = str(error).partition("; ")
        near, expected = (rest.removeprefix(p) if rest.startswith(p) else "" for p in ("nearest: ", "expected "))
        return [source.problem(("table", "bore_limits"), f"bore_limits: {what}", expected, near)]
    return []


def _slots(table: Table, keys: TableKeys, source: Source) -> list[Problem]:
    """Slots that break through the rim, run into each other, or have a name that is taken."""
    unit: units.Units = "in" if source.data.get("units") == "in" else "mm"
    slots = [slot.built for slot in keys.slots]
    found = slot_faults(slots, table.size or table.box, lambda mm: units.show(mm, unit))
    return [source.problem(("table", "slots", f.number, f.key), f"slots: {f.what}", f.expected) for f in found]


def _try(build: Callable[[], Any], source: Source, path: Path, problems: list[Problem]) -> Any:
    try:
        return build()
    except TableError as error:
        what, _, expected = str(error).partition("; expected ")
        problems.append(source.problem(path, what, expected))
        return None


def _listed_holes(find: Callable[[str], Any], keys: Any, path: Path, source: Source, problems: list[Problem]) -> None:
    for key in _NO_LISTS:
        for k, name in enumerate(getattr(keys, key)):
            try:
                find(name)
            except TableError as error:
                what, _, near = str(error).partition("; nearest: ")
                problems.append(source.problem((*path, key, k), f"{key}: {what}", "", near))
