"""The scene file: validated data only, with errors that point at file and line.

Reading one runs no code and loads no geometry. What the names in it mean (models, stock, pieces of a STEP file) is
worked out later, in ``resolve``.
"""

from __future__ import annotations

import os
from collections.abc import Mapping, Sequence
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Final, Literal

from pydantic import BeforeValidator, ConfigDict, Field, PrivateAttr, ValidationError

from fixture3d.errors import Problem, SceneError, nearest_name, some_names
from fixture3d.output import write_text
from fixture3d.scene import family
from fixture3d.scene.edit import without_sizes
from fixture3d.scene.fields import Item, OrText, Text, Title, choice, wrong
from fixture3d.scene.fields import many as _many
from fixture3d.scene.located import Source, among_all, scene_error, translate
from fixture3d.scene.read import FORMAT, Rest, check_format, check_keys, parse, read_text, without_faults
from fixture3d.scene.refs import Refs
from fixture3d.scene.schema import (
    Accept,
    Clamp,
    Figure,
    Frame,
    Inventory,
    Member,
    Place,
    Plate,
    Printing,
    Stage,
    Technique,
    Torch,
    Weld,
    WeldmentKeys,
)
from fixture3d.scene.table import Grid, Table
from fixture3d.scene.table_check import table_problems
from fixture3d.scene.table_keys import GridKeys, TableKeys, build_table, read_table
from fixture3d.scene.text import Key, Lines
from fixture3d.scene.write import toml_text
from fixture3d.units import UNITS, Units, describe

if TYPE_CHECKING:
    from fixture3d.scene.record import Record
    from fixture3d.scene.stock import StockLine

_KEYS: Final = {
    "table_keys": "table",
    "grid_keys": "grid",
    "torches": "torch",
    "techniques": "technique",
    "members": "member",
    "frames": "frame",
    "plates": "plate",
    "welds": "weld",
    "figures": "figure",
    "places": "place",
    "clamps": "clamp",
    "stages": "stage",
    "accepts": "accept",
}


def _key_of(attribute: str) -> str:
    """The key of the file for an attribute of the scene: in the file, tables are named in the singular."""
    return _KEYS.get(attribute, attribute)


def _format(value: Any) -> Any:
    if isinstance(value, bool) or value != FORMAT:
        raise wrong(f"{describe(value)} is not a format", f"format = {FORMAT}")
    return value


class Scene(Item):
    """One scene, in mm.

    Attributes:
        units: the unit the file is written in, and in which lengths are shown.
        shop: a file beside with the ``[[inventory]]`` of the shop, which scenes share; ``stock`` has its lines too.
        table_keys: the ``[table]`` as written; ``table`` is what it describes.
        grid_keys: the ``[[grid]]`` as written; ``grids`` is what they describe.
        stages: states of the setup in the order of the work; ``stages.at_stage`` makes a scene of one of them.
    """

    model_config = ConfigDict(alias_generator=_key_of)

    format: Annotated[Literal[1], BeforeValidator(_format)] = 1
    title: Title = ""
    units: Annotated[Units, choice(*UNITS)] = "mm"
    shop: Text | None = None
    table_keys: Annotated[
        TableKeys, BeforeValidator(read_table), OrText({"type": "string", "examples": ["50/16 2000x1000"]})
    ]
    grid_keys: Annotated[tuple[GridKeys, ...], _many("grids")] = ()
    torches: dict[str, Torch] = Field(default={})
    techniques: dict[str, Technique] = Field(default={})
    weldment: WeldmentKeys | None = None
    members: Annotated[tuple[Member, ...], _many("members")] = ()
    frames: Annotated[tuple[Frame, ...], _many("frames")] = ()
    plates: Annotated[tuple[Plate, ...], _many("plates")] = ()
    welds: Annotated[tuple[Weld, ...], _many("welds")] = ()
    figures: Annotated[tuple[Figure, ...], _many("figures")] = ()
    places: Annotated[tuple[Place, ...], _many("places")] = ()
    clamps: Annotated[tuple[Clamp, ...], _many("clamps")] = ()
    stages: Annotated[tuple[Stage, ...], _many("stages")] = ()
    inventory: Annotated[tuple[Inventory, ...], _many("inventory lines")] = ()
    printing: Annotated[tuple[Printing, ...], _many("plastics")] = ()
    accepts: Annotated[tuple[Accept, ...], _many("accepted findings")] = ()

    _size: str | None = PrivateAttr(default=None)
    _family: tuple[Scene, ...] = PrivateAttr(default=())
    _family_title: str = PrivateAttr(default="")
    _path: Path | None = PrivateAttr(default=None)
    _base: Path = PrivateAttr(default=Path())
    _source: str = PrivateAttr(default="")
    _models: tuple[Path, ...] = PrivateAttr(default=())
    _shop: Path | None = PrivateAttr(default=None)
    _shop_read: tuple[Path, Scene] | None = PrivateAttr(default=None)
    _whole: Scene | None = PrivateAttr(default=None)
    _stage: Stage | None = PrivateAttr(default=None)
    _done: tuple[int, ...] = PrivateAttr(default=())
    _origin: dict[str, list[int]] = PrivateAttr(default={})
    _record: Record | None = PrivateAttr(default=None)
    _kept: dict[str, list[int]] = PrivateAttr(default={})

    @property
    def path(self) -> Path | None:
        """The file that the scene came from, or None."""
        return self._path

    @property
    def base(self) -> Path:
        """The folder against which file names in the scene count."""
        return self._base if self._path is None else self._path.parent

    @property
    def models(self) -> tuple[Path, ...]:
        """Folders of the user's own models that the person at the keyboard named; never from the file."""
        return self._models

    @property
    def source(self) -> str:
        """The text of that file, or an empty string."""
        return self._source

    @property
    def record(self) -> Record | None:
        """What was set and measured at the table, from the file beside the scene; None where none was read."""
        return self._record

    @property
    def table(self) -> Table:
        """The table with its further grids."""
        return build_table(self.table_keys, self.grid_keys)

    @property
    def grids(self) -> tuple[Grid, ...]:
        """The further grids; the table top is ``table`` itself."""
        return self.table.others

    @property
    def size(self) -> str | None:
        """The size that this scene is of; None where the file has no ``[sizes]``."""
        return self._size

    @property
    def sizes(self) -> tuple[str, ...]:
        """The names of all sizes of the file, in its order; none where it has no ``[sizes]``."""
        return tuple(str(one.size) for one in self._family)

    @property
    def family_title(self) -> str:
        """The title of the file, without that of a size; the file's name where each size has a title of its own."""
        return self._family_title or (self.title if self.path is None else self.path.name)

    def at_size(self, name: str) -> Scene:
        """The scene of another size of the same file, with all its stages.

        Raises:
            SceneError: the file has no size of that name.
        """
        for one in self._family:
            if one.size == name:
                made = one.model_copy()
                made._models, made._record, made._shop = self._models, self._record, self._shop
                return made
        expected = some_names(self.sizes) if self.sizes else "a scene with [sizes]"
        file = str(self.path) if self.path is not None else ""
        near = nearest_name(name[:80], self.sizes)
        raise SceneError([Problem(what=f'no size is called "{name}"', file=file, expected=expected, nearest=near)])

    @property
    def stage(self) -> Stage | None:
        """The stage that this scene is of; None for a scene with all its stages, or without any."""
        return self._stage

    @property
    def whole(self) -> Scene:
        """The scene with all its stages that a scene of one stage was made from; else the scene itself."""
        return self if self._whole is None else self._whole

    @property
    def done(self) -> tuple[Weld, ...]:
        """The welds of the stages before this one, in the order of the file."""
        return tuple(self.whole.welds[k] for k in self._done)

    @property
    def shop_file(self) -> Path | None:
        """The file of the shop's inventory: that which the person at the keyboard named, else the scene's ``shop``."""
        if self._shop is not None:
            return self._shop
        return None if self.shop is None else self.base / self.shop

    @property
    def stock(self) -> tuple[StockLine, ...]:
        """The lines of the inventory that count for the scene: its own, then those of the shop's file.

        Raises:
            SceneError: the shop's file cannot be read.
        """
        from fixture3d.scene.stock import stock_of

        return stock_of(self)

    @property
    def geometry_files(self) -> tuple[Path, ...]:
        """Files with geometry that the scene names, in its order."""
        found = [] if self.weldment is None or self.weldment.file is None else [self.weldment.file]
        found += [plate.dxf for plate in self.plates if plate.dxf is not None]
        return tuple(self.base / name for name in found)

    @property
    def files(self) -> tuple[Path, ...]:
        """The scene file, its record, and the files that it names: of geometry in all sizes, and of the shop."""
        record = None if self.record is None else self.record.path
        own = [file for file in (self.path, record, self.shop_file) if file is not None]
        named = [path for one in self._family or (self.whole,) for path in one.geometry_files]
        return (*own, *dict.fromkeys(named))

    def line_of(self, path: Sequence[Key]) -> int:
        """The line in the file of a key such as ``("place", 0, "hole")``, or of the nearest part; 0 if not known."""
        return _lines(self._source).of(among_all(self._in_file(path), self._kept)) if self._source else 0

    def _in_file(self, path: Sequence[Key]) -> tuple[Key, ...]:
        """A path of this scene as one of the file: a scene of one stage has fewer entries, and keys of its own."""
        head, *rest = path if path else ("",)
        numbers = self._origin.get(str(head), [])
        if rest and isinstance(rest[0], int) and rest[0] < len(numbers):
            return (head, numbers[rest[0]], *rest[1:])
        stage = self._stage
        if head == "weldment" and stage is not None and stage.weldment is not None:
            number = next(k for k, one in enumerate(self.whole.stages) if one is stage)
            if not rest or rest[0] in stage.weldment.model_fields_set:
                return ("stage", number, "weldment", *rest)
        return tuple(path)

    def path_of(self, item: Item) -> tuple[Key, ...]:
        """Where a record of this scene stands, such as ``("place", 0)``; empty when it is none of this scene."""
        for attribute, info in type(self).model_fields.items():
            value = getattr(self, attribute)
            if value is item:
                return (info.alias or attribute,)
            entries = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, tuple) else ()
            for key, entry in entries:
                if entry is item:
                    return (info.alias or attribute, key)
        return ()

    @classmethod
    def from_dict(cls, data: Mapping[str, Any], base: str | os.PathLike[str] | None = None) -> Scene:
        """A scene from the tables of a scene file, as ``tomllib`` gives them.

        Args:
            data: keys as in the file; lengths in the file's units.
            base: folder against which file names in it count; the current one when None.

        Raises:
            SceneError: every problem found.
        """
        check_keys(data)
        return _scene(data, Source(data), base=Path(base) if base is not None else Path())

    def __eq__(self, other: object) -> bool:
        """Whether both say the same, wherever they were read from."""
        if not isinstance(other, Scene):
            return NotImplemented
        return all(getattr(self, name) == getattr(other, name) for name in type(self).model_fields)

    __hash__ = None  # type: ignore[assignment]


def load(path: str | os.PathLike[str], size: str | None = None) -> Scene:
    """Read a scene file.

    Args:
        path: of the file.
        size: of a file with ``[sizes]``, the name of the one that is wanted; None takes the first. All of them are
            read, and must be right.

    Raises:
        SceneError: the file cannot be read, is not TOML (the first fault), or does not describe a scene (every
            problem found, each with its line and size), or it has no such size.
    """
    file = os.fspath(path)
    text = read_text(file)
    return loads(text, file, size)


def loads(text: str, file: str = "", size: str | None = None) -> Scene:
    """Read the text of a scene file.

    Args:
        text: of the file.
        file: its path, as messages shall show it; file names in the scene count from its folder.
        size: as for ``load``.

    Raises:
        SceneError: as ``load``.
    """
    data = parse(text, file)
    scene = _scene(data, Source(data, file, text), path=Path(file) if file else None)
    return scene if size is None else scene.at_size(size)


_SHOP_KEYS: Final = {"format", "units", "title", "shop", "inventory", "printing"}


def load_inventory(path: str | os.PathLike[str], wants: Literal["inventory", "printing"] = "inventory") -> Scene:
    """A scene whose inventory is wanted, or a file of the shop: ``[[inventory]]``, ``[[printing]]`` and no table.

    Args:
        path: of the file.
        wants: which of the two it must have.

    Returns:
        A scene with it; of a file without a table, the table of the scene means nothing.

    Raises:
        SceneError: as ``load``, or it has none of what is wanted.
    """
    file = os.fspath(path)
    text = read_text(file)
    data = parse(text, file)
    if data.keys() <= _SHOP_KEYS:
        data = {"format": FORMAT, "table": "2/(3/4) 48x48" if data.get("units") == "in" else "50/16 1000x1000", **data}
    scene = _scene(data, Source(data, file, text), path=Path(file))
    if scene.shop is not None:
        raise problem_at(
            scene, (), "shop", "a file of the shop that names another one", f"that one itself, {describe(scene.shop)}"
        )
    if not getattr(scene, wants):
        what, expected = _LACKS[wants]
        raise SceneError([Problem(what=what, file=file, expected=expected)])
    return scene


_LACKS: Final = {
    "inventory": (
        "it lists no blocks that the shop owns",
        'an inventory, as in [[inventory]] with model = "stop_block" and count = 4',
    ),
    "printing": (
        "it does not say how prints come out",
        '[[printing]] with material = "PLA" and clearance = "0.3 mm", as print_trial says',
    ),
}


def problem(
    scene: Scene,
    item: Item | Sequence[Key],
    key: Key | Sequence[Key] = "",
    what: str = "",
    expected: str = "",
    nearest: str = "",
) -> Problem:
    """A problem of a scene that is valid by itself, found by a later stage and pointing at the file.

    Args:
        scene: as read.
        item: a record of the scene, or its path such as ``("place", 0)``.
        key: the key in it, or the rest of the path such as ``("with", "height")``; empty for the item as a whole.
        what: what was found.
        expected: what would have been right.
        nearest: the nearest thing that would work.
    """
    head = scene.path_of(item) if isinstance(item, Item) else tuple(item)
    tail: tuple[Key, ...] = ((key,) if key != "" else ()) if isinstance(key, str | int) else tuple(key)
    shown = {info.alias or name: getattr(scene, name) for name, info in Scene.model_fields.items()}
    source = Source(shown, str(scene.path) if scene.path is not None else "", scene.source)
    where = source.item(head)
    if scene.stage is not None:
        where += f'{", " if where else ""}stage "{scene.stage.name}"'
    return Problem(
        what=what,
        where=where,
        file=source.file,
        line=scene.line_of((*head, *tail)),
        expected=expected,
        nearest=nearest,
        size=some_names([scene.size]) if scene.size is not None and len(scene.sizes) > 1 else "",
    )


def problem_at(
    scene: Scene,
    item: Item | Sequence[Key],
    key: Key | Sequence[Key] = "",
    what: str = "",
    expected: str = "",
    nearest: str = "",
) -> SceneError:
    """The error of one such ``problem``."""
    return SceneError([problem(scene, item, key, what, expected, nearest)])


def dump(scene: Scene, path: str | os.PathLike[str], force: bool = False) -> Path:
    """Write a scene file: the text it came from when it says the same, with its comments; otherwise plain TOML.

    Raises:
        OutputRefused: the file exists and ``force`` is not set, or its name is not allowed.
    """
    return write_text(path, dumps(scene), force)


def dumps(scene: Scene) -> str:
    """The text that ``dump`` writes; ``loads`` of it gives an equal scene.

    Of a file with ``[sizes]`` the first size is written as the whole family, any other by itself.
    """
    if scene.source:
        try:
            if loads(scene.source) == scene:
                return scene.source
            if scene.size is not None and loads(alone := size_text(scene)) == scene:
                return alone
        except SceneError:
            pass  # a copy with other contents; it is written out below
    return toml_text(scene)


def size_text(scene: Scene) -> str:
    """The text of one size of a file by itself: plain values, everything else as it was typed, line by line.

    Args:
        scene: of one size, from a file or text with ``[sizes]``.

    Raises:
        SceneError: its keys are written in a way in which they cannot be changed one by one.
    """
    file = str(scene.path) if scene.path is not None else ""
    data = parse(scene.source, file)
    table = family.read_family(data, Source(data, file, scene.source))
    number = table.names.index(str(scene.size))
    wanted = family.at_size(data, table, Source(data, file, scene.source))[number]
    wanted.tables["title"] = scene.title
    return without_sizes(scene.source, data, wanted, (str(scene.size), table.of(number)), file)


def _scene(data: Mapping[str, Any], source: Source, base: Path | None = None, path: Path | None = None) -> Scene:
    """The scene of the data; of data with sizes that of the first, when all of them are right."""
    check_format(data, source)
    if family.KEY not in data:
        return _one(data, source, base, path)
    table = family.read_family(data, source)
    made: list[Scene] = []
    found: list[tuple[str, Sequence[Problem]]] = []
    for name, of_size in zip(table.names, family.at_size(data, table, source), strict=True):
        try:
            one = _one(of_size.tables, Source(of_size.tables, source.file, source.text, of_size.kept), base, path)
        except SceneError as error:
            found.append((name, error.every))
            continue
        if not family.is_by_size(data.get("title")):
            title = family.size_title(one.title, name)
            one = one.model_copy(update={"title": title})
        one._size, one._kept = name, of_size.kept
        made.append(one)
        found.append((name, ()))
    problems = family.merged(found)
    if not problems and len({one.title for one in made}) < len(made):
        what = "title: two sizes have the same"
        problems = [source.problem(("title",), what, "one for each, or one for all to which their names are added")]
    if problems:
        raise scene_error(problems, source.file)
    title = "" if family.is_by_size(data.get("title")) else str(data["title"])
    for one in made:
        one._family, one._family_title = tuple(made), title
    return made[0]


def _one(data: Mapping[str, Any], source: Source, base: Path | None, path: Path | None) -> Scene:
    """Validate, and gather the problems of every stage that the data allows."""
    context = {"units": data.get("units") if data.get("units") in ("mm", "in") else "mm"}
    problems: list[Problem] = []
    rest = Rest(dict(data), {}, frozenset())
    if "format" not in data:
        problems.append(source.problem((), 'key "format" is missing', f"format = {FORMAT} as the first key"))
    try:
        scene = _validated(rest, context)
    except ValidationError as error:
        problems += translate(error, source)
        rest = without_faults(data, error)
        try:
            scene = _validated(rest, context)
        except ValidationError:
            raise scene_error(problems, source.file) from None
    table, found = table_problems(scene.table_keys, scene.grid_keys, source, rest)
    problems += found + Refs(scene, source, rest, table).run()
    if problems:
        raise scene_error(problems, source.file)
    scene._path, scene._source, scene._base = path, source.text, base or Path()
    return scene


def _validated(rest: Rest, context: dict[str, Any]) -> Scene:
    return Scene.model_validate(rest.data, context=context, by_alias=True, by_name=False)


@lru_cache(maxsize=4)
def _lines(text: str) -> Lines:
    return Lines(text)
