"""The ``[table]`` and ``[[grid]]`` of the scene file, and the hole grids that they describe."""

from __future__ import annotations

import re
from functools import lru_cache
from typing import Annotated, Any, Final, Self

from pydantic import (
    BeforeValidator,
    PlainSerializer,
    SerializationInfo,
    ValidationInfo,
    WithJsonSchema,
    model_validator,
)

from fixture3d import units
from fixture3d.errors import TableError, UnitError
from fixture3d.scene.fields import (
    Direction,
    Distance,
    Flag,
    Holes,
    Item,
    Length,
    Name,
    Pair,
    Point2,
    Point3,
    Text,
    choice,
    in_file,
    several,
    units_of,
    wrong,
)
from fixture3d.scene.preset import read_preset
from fixture3d.scene.slots import TableSlot
from fixture3d.scene.table import Axis, Corner, Grid, Naming, Table
from fixture3d.tolerance import SHOP

MOST_NAMES: Final = 5000
MOST_SLOTS: Final = 100


def _pair_or_one(value: Any) -> Any:
    return [value, value] if not isinstance(value, list | tuple) else value


_PAIR_SCHEMA = WithJsonSchema(
    {
        "anyOf": [
            {"type": ["number", "string"]},
            {"type": "array", "items": {"type": ["number", "string"]}, "minItems": 2, "maxItems": 2},
        ]
    }
)
Pitch = Annotated[Pair, BeforeValidator(_pair_or_one), _PAIR_SCHEMA]


_CLASS: Final = re.compile(r"[A-Za-z]{1,2}[0-9]{1,2}", re.ASCII)


def _limits(value: Any) -> Any:
    if isinstance(value, str):
        if not _CLASS.fullmatch(value):
            raise wrong(f"{units.describe(value)} is not a tolerance class", '"H7" or two deviations, as in [0, 0.02]')
        return value
    if not isinstance(value, list | tuple) or len(value) != 2:
        raise wrong(f"{units.describe(value)} is not a pair of limits", '"H7" or two deviations, as in [0, 0.02]')
    return value


def _read_limits(value: Any, info: ValidationInfo) -> Any:
    value = _limits(value)
    if isinstance(value, str):
        return value
    try:
        low, high = (units.length(v, units_of(info)) for v in value)
    except UnitError as e:
        raise wrong(str(e).partition("; ")[0], '"H7" or two deviations, as in [0, 0.02]') from None
    if not -5.0 <= low <= high <= 5.0:
        raise wrong(f"limits of {low:g} and {high:g} mm", "the lower deviation first, both within 5 mm")
    return (low, high)


def _write_limits(value: Any, info: SerializationInfo) -> Any:
    return [in_file(v, info) for v in value] if isinstance(value, tuple) else value


Limits = Annotated[
    str | tuple[float, float],
    BeforeValidator(_read_limits),
    PlainSerializer(_write_limits),
    WithJsonSchema(
        {
            "anyOf": [
                {"type": "string", "pattern": "^[A-Za-z]{1,2}[0-9]{1,2}$"},
                {"type": "array", "items": {"type": ["number", "string"]}, "minItems": 2, "maxItems": 2},
            ]
        }
    ),
]

HoleNames = Annotated[tuple[Text, ...], several(0, MOST_NAMES, "hole names")]


class NamesKeys(Item):
    """How holes are named: ``names = { x = "letters", y = "numbers", corner = "front left", skip = ["I", "O"] }``."""

    x: Annotated[Axis, choice("letters", "numbers")] = "letters"
    y: Annotated[Axis, choice("letters", "numbers")] = "numbers"
    corner: Annotated[Corner, choice("front left", "front right", "back left", "back right")] = "front left"
    skip: Annotated[tuple[Text, ...], several(0, 24, "letters")] = ()


class TableSlotKeys(Item):
    """One of the ``slots`` of the table: a straight slot through its plate, with round ends.

    Attributes:
        from_: (2,) mm from A1 to the right and to the back: the middle of one of its round ends.
        to: (2,) mm, the middle of the other one.
        width: between its two sides.
    """

    name: Name
    from_: Point2
    to: Point2
    width: Length

    @model_validator(mode="after")
    def _has_length(self) -> Self:
        if self.from_ == self.to:
            raise wrong("from and to are the same point", "two different points")
        return self

    @property
    def built(self) -> TableSlot:
        """The slot that the keys describe."""
        return TableSlot(name=self.name, start=self.from_, end=self.to, width=self.width)


class TableKeys(Item):
    """The ``[table]`` of the file. ``Scene.table`` is what it describes."""

    pitch: Pitch
    bore: Length
    columns: Holes
    rows: Holes
    edge: Pitch | None = None
    thickness: Length | None = None
    bore_limits: Limits | None = None
    pitch_tolerance: Distance | None = None
    flatness: Distance | None = None
    stagger: Flag = False
    names: NamesKeys = NamesKeys()
    blocked: HoleNames = ()
    no_nut: HoleNames = ()
    slots: Annotated[tuple[TableSlotKeys, ...], several(0, MOST_SLOTS, "slots")] = ()


def read_table(value: Any, info: ValidationInfo) -> Any:
    """Turn a one-line table into the keys it stands for."""
    if not isinstance(value, str):
        if not isinstance(value, dict | TableKeys):
            raise wrong(f"{units.describe(value)} is not a table", 'text such as "50/16 2000x1000", or a [table]')
        return value
    try:
        preset = read_preset(value, units_of(info))
    except TableError as e:
        what, _, expected = str(e).partition("; expected ")
        raise wrong(what, expected) from None
    return TableKeys(
        pitch=(preset.pitch, preset.pitch),
        bore=preset.bore,
        columns=preset.columns,
        rows=preset.rows,
        edge=preset.edge,
    )


class GridKeys(Item):
    """One ``[[grid]]``: a further plane with holes. What it leaves out is as on the table."""

    name: Name
    origin: Point3
    x: Direction
    y: Direction
    columns: Holes
    rows: Holes
    pitch: Pitch | None = None
    bore: Length | None = None
    edge: Pitch | None = None
    thickness: Length | None = None
    stagger: Flag = False
    names: NamesKeys | None = None
    blocked: HoleNames = ()
    no_nut: HoleNames = ()


@lru_cache(maxsize=16)
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
        slots=tuple(slot.built for slot in keys.slots),
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
