"""The inventory that counts for a scene: its own lines, and those of the shop's file."""

from __future__ import annotations

import os
from dataclasses import dataclass
from typing import TYPE_CHECKING

from fixture3d.errors import Problem, SceneError
from fixture3d.scene.scene import load_inventory, problem, problem_at
from fixture3d.scene.schema import Inventory
from fixture3d.units import Units, describe

if TYPE_CHECKING:
    from fixture3d.scene.scene import Scene


@dataclass(frozen=True, eq=False)
class StockLine:
    """One line of the inventory.

    Attributes:
        record: as it stands in its file.
        source: the scene, or the file of the shop, in which it stands: gives units and line numbers.
        number: from 0, in that file.
    """

    record: Inventory
    source: Scene
    number: int

    @property
    def units(self) -> Units:
        """In which the lengths of the line are."""
        return self.source.units

    def problem(self, key: str, what: str, expected: str = "", nearest: str = "") -> Problem:
        """A problem of this line, with its file and line."""
        return problem(self.source, ("inventory", self.number), key, what, expected, nearest)


def stock_of(scene: Scene) -> tuple[StockLine, ...]:
    """The lines of the scene in their order, then those of the shop's file.

    Raises:
        SceneError: the shop's file cannot be read; every problem with its file and line.
    """
    return (*_lines(scene), *_lines(_shop(scene)))


def _lines(source: Scene | None) -> list[StockLine]:
    return [] if source is None else [StockLine(one, source, k) for k, one in enumerate(source.inventory)]


def _shop(scene: Scene) -> Scene | None:
    """What the shop's file has; None where there is none, or where it is the scene itself."""
    file = scene.shop_file
    if file is None or (scene.path is not None and os.path.realpath(file) == os.path.realpath(scene.path)):
        return None
    if scene._shop_read is not None and scene._shop_read[0] == file:
        return scene._shop_read[1]
    try:
        found = load_inventory(file)
    except SceneError as error:
        if scene._shop is not None or file.exists():
            raise
        first = error.problems[0]
        raise problem_at(scene, (), "shop", f"shop: {describe(scene.shop)}: {first.what}", "", first.nearest) from None
    scene._shop_read = (file, found)
    return found
