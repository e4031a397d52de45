"""The scene file: validated data only, with errors that point at file and line.

Reading one runs no code and loads no geometry. What the names in it mean (models, stock, pieces of a STEP file) is
worked out later, in ``resolve``.
"""

from __future__ import annotations

from functools import cached_property
from pathlib import Path
from typing import Annotated, Any, Final, Literal

from pydantic import BeforeValidator, ConfigDict, Field, PrivateAttr

from fixture3d.scene_fields import Item, Title, choice, several
from fixture3d.scene_schema import (
    MOST_ITEMS,
    Accept,
    Clamp,
    Frame,
    GridKeys,
    Inventory,
    Member,
    NamesKeys,
    Place,
    Plate,
    TableKeys,
    Technique,
    Torch,
    Weld,
    WeldmentKeys,
    read_table,
)
from fixture3d.table import Grid, Naming, Table
from fixture3d.tolerance import SHOP
from fixture3d.units import UNITS, Units

FORMAT: Final = 1
_KEYS: Final = {
    "table_keys": "table",
    "grid_keys": "grid",
    "torches": "torch",
    "techniques": "technique",
    "members": "member",
    "frames": "frame",
    "plates": "plate",
    "welds": "weld",
    "places": "place",
    "clamps": "clamp",
    "stages": "stage",
    "accepts": "accept",
}


def _key_of(attribute: str) -> str:
    """The key of the file for an attribute of the scene: in the file, tables are named in the singular."""
    return _KEYS.get(attribute, attribute)


def _many(noun: str) -> BeforeValidator:
    return several(0, MOST_ITEMS, noun)


class Scene(Item):
    """One scene, in mm.

    Attributes:
        units: the unit the file is written in, and in which lengths are shown.
        table_keys: the ``[table]`` as written; ``table`` is what it describes.
        grid_keys: the ``[[grid]]`` as written; ``grids`` is what they describe.
        stages: kept as they stand; no check covers them yet.
        path: the file it came from, or None.
        source: text of that file, or an empty string.
    """

    model_config = ConfigDict(alias_generator=_key_of)

    format: Literal[1] = 1
    title: Title = ""
    units: Annotated[Units, choice(*UNITS)] = "mm"
    table_keys: Annotated[TableKeys, BeforeValidator(read_table)]
    grid_keys: Annotated[tuple[GridKeys, ...], _many("grids")] = ()
    torches: dict[str, Torch] = Field(default={})
    techniques: dict[str, Technique] = Field(default={})
    weldment: WeldmentKeys | None = None
    members: Annotated[tuple[Member, ...], _many("members")] = ()
    frames: Annotated[tuple[Frame, ...], _many("frames")] = ()
    plates: Annotated[tuple[Plate, ...], _many("plates")] = ()
    welds: Annotated[tuple[Weld, ...], _many("welds")] = ()
    places: Annotated[tuple[Place, ...], _many("places")] = ()
    clamps: Annotated[tuple[Clamp, ...], _many("clamps")] = ()
    stages: Annotated[tuple[dict[str, Any], ...], _many("stages")] = ()
    inventory: Annotated[tuple[Inventory, ...], _many("inventory lines")] = ()
    accepts: Annotated[tuple[Accept, ...], _many("accepted findings")] = ()

    _path: Path | None = PrivateAttr(default=None)
    _source: str = PrivateAttr(default="")

    @property
    def path(self) -> Path | None:
        """The file that the scene came from, or None."""
        return self._path

    @property
    def source(self) -> str:
        """The text of that file, or an empty string."""
        return self._source

    @cached_property
    def table(self) -> Table:
        """The table with its further grids."""
        return build_table(self.table_keys, self.grid_keys)

    @property
    def grids(self) -> tuple[Grid, ...]:
        """The further grids; the table top is ``table`` itself."""
        return self.table.others


def build_table(keys: TableKeys, grids: tuple[GridKeys, ...] = ()) -> Table:
    """The table that the keys describe.

    Raises:
        TableError: no table can be like that.
    """
    naming = _naming(keys.names)
    assumed = tuple(key for key in ("edge", "thickness", "bore_limits") if getattr(keys, key) is None)
    return Table(
        columns=keys.columns,
        rows=keys.rows,
        pitch=keys.pitch,
        bore=keys.bore,
        edge=keys.edge or (max(keys.pitch[0] / 2, keys.bore), max(keys.pitch[1] / 2, keys.bore)),
        thickness=keys.thickness or usual_thickness(keys.bore),
        stagger=keys.stagger,
        naming=naming,
        blocked=keys.blocked,
        no_nut=keys.no_nut,
        bore_limits=keys.bore_limits or SHOP.default_bore_limits,
        pitch_tolerance=keys.pitch_tolerance,
        flatness=keys.flatness,
        others=tuple(build_grid(keys, grid) for grid in grids),
        assumed=assumed,
    )


def build_grid(keys: TableKeys, grid: GridKeys) -> Grid:
    """A further grid; what it leaves out is as on the table.

    Raises:
        TableError: no grid can be like that.
    """
    return Grid(
        name=grid.name,
        origin=grid.origin,
        x=grid.x,
        y=grid.y,
        columns=grid.columns,
        rows=grid.rows,
        pitch=grid.pitch or keys.pitch,
        bore=grid.bore or keys.bore,
        edge=grid.edge,
        thickness=grid.thickness,
        stagger=grid.stagger,
        naming=_naming(grid.names) if grid.names else _naming(keys.names.model_copy(update={"corner": "front left"})),
        blocked=grid.blocked,
        no_nut=grid.no_nut,
    )


def usual_thickness(bore: float) -> float:
    """What a table top is taken to measure when the file does not say, mm: common practice, no source."""
    return 12.0 if bore < 20.0 else 25.0


def _naming(keys: NamesKeys) -> Naming:
    return Naming(x=keys.x, y=keys.y, corner=keys.corner, skip=keys.skip)
