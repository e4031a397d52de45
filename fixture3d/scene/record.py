"""The record of a setup: what was set and measured at the table, in a plain file beside the scene file.

``rack.record.toml`` belongs to ``rack.toml``. Entries are only ever added, each with the content code of the setup that
it was written on, so that the files of two people are joined by putting one behind the other. This module reads; what
the names in it mean is worked out in ``job.recorded``, and ``fixture3d.record`` writes.
"""

from __future__ import annotations

import datetime
import os
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any, Final, Self, TypeVar

from pydantic import BeforeValidator, Field, ValidationError, model_validator

from fixture3d import units
from fixture3d.errors import Problem, SceneError, UnitError, nearest_name
from fixture3d.scene.fields import MOST_ITEMS, Distance, Item, Name, Notch, Text, many, several, wrong
from fixture3d.scene.located import OF_RECORD, Source, scene_error, translate
from fixture3d.scene.read import FORMAT, check_format, parse, read_text
from fixture3d.scene.schema import Shim
from fixture3d.scene.text import Key
from fixture3d.units import UNITS, Units, describe

__all__ = [
    "KEYS",
    "AsSet",
    "Entry",
    "Measured",
    "Record",
    "degrees_of",
    "found_record",
    "is_record",
    "last_of",
    "load_record",
    "read_record",
    "record_path",
]

KEYS: Final = ("format", "units", "measured", "as_set")
_ENDING: Final = ".record.toml"
_CODE: Final = re.compile(r"[0-9A-F]{8}")
_DEGREES: Final = re.compile(r"([+-]?\d+\.?\d*)\s*(?:degrees|degree|deg|°)", re.ASCII)
_GREATEST: Final = 1e6  # of a bare number: mm, inches or degrees


def degrees_of(text: str) -> float | None:
    """An angle with its unit, such as ``89.8 degrees``; None where the text is none.

    >>> degrees_of("89.8 deg"), degrees_of("89.8 mm")
    (89.8, None)
    """
    found = _DEGREES.fullmatch(text.strip())
    return None if found is None or len(found[1]) > 12 else float(found[1])


def _value(value: Any) -> Any:
    """A number, or text that is a length or an angle; it stays as it is written."""
    if isinstance(value, str):
        if degrees_of(value) is None:
            try:
                units.length(value)
            except UnitError as error:
                what, _, expected = str(error).partition("; ")
                raise wrong(what, expected.removeprefix("write ")) from None
        return value
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise wrong(f"{describe(value)} is not a measured value", 'a number, or text with its unit, as in "40-1/4 in"')
    if not abs(value) <= _GREATEST:
        raise wrong(f"{describe(value)} is not a possible value", f"a number of at most {_GREATEST:g}")
    return float(value) + 0.0


def _code(value: Any) -> Any:
    text = value.strip().upper() if isinstance(value, str) else ""
    if _CODE.fullmatch(text) is None:
        raise wrong(f"{describe(value)} is not a content code", 'its eight characters from the sheet, as in "742C10BA"')
    return text


def _day(value: Any) -> Any:
    if isinstance(value, datetime.date) and not isinstance(value, datetime.datetime):
        return value.isoformat()
    try:
        return datetime.date.fromisoformat(value if isinstance(value, str) and len(value) == 10 else "").isoformat()
    except ValueError:
        raise wrong(f"{describe(value)} is not a day", 'year, month and day, as in "2026-11-29"') from None


class Entry(Item):
    """What both kinds of entry may have.

    Attributes:
        code: content code of the setup that it was written on; without one it counts for every state of the scene.
        size: of a scene with sizes, the one that stood there; without one every size.
        stage: in which it was done; without one in every stage that has such a thing.
        by: who did it.
        when: the day, ``2026-11-29``.
        note: for people.
    """

    code: Annotated[str, BeforeValidator(_code)] | None = None
    size: Name | None = None
    stage: Name | None = None
    by: Text | None = None
    when: Annotated[str, BeforeValidator(_day)] | None = None
    note: Text | None = None


E = TypeVar("E", bound=Entry)


class Measured(Entry):
    """One ``[[measured]]``: a key figure, or the distance of two opposed faces, as it came out.

    Attributes:
        figure: its name as on the sheet and in the report.
        value: a bare number in the units of the file, degrees for an angle; or text with its unit.
    """

    figure: Text
    value: Annotated[float | str, BeforeValidator(_value)]

    def amount(self, unit: str, file_units: Units) -> float:
        """The value in mm, or in degrees where ``unit`` says so.

        Raises:
            UnitError: a length for an angle, or an angle for a length.
        """
        angle = degrees_of(self.value) if isinstance(self.value, str) else None
        if unit == "degrees":
            if angle is not None:
                return angle
            if isinstance(self.value, str):
                raise UnitError(f'"{self.value}" is a length, and the figure is an angle; write degrees, as in 89.8')
            return self.value
        if angle is not None:
            raise UnitError(f'"{self.value}" is an angle, and the figure is a length; write a length')
        return units.length(self.value, file_units)


class AsSet(Entry):
    """One ``[[as_set]]``: how a block stands that stands otherwise than planned.

    Attributes:
        place: name of the ``[[place]]`` or ``[[clamp]]``.
        notch: as in a place.
        slide: as in a place.
        shims: all of its shims, as in a place; an empty list for none. Left out, they are as planned.
    """

    place: Name
    notch: Notch | None = None
    slide: Distance | None = None
    shims: Annotated[tuple[Shim, ...], several(0, 50, "shims")] | None = None

    @model_validator(mode="after")
    def _says_something(self) -> Self:
        if self.notch is not None and self.slide is not None:
            raise wrong("notch together with slide", "one of them")
        if self.notch is None and self.slide is None and self.shims is None:
            raise wrong("it says no setting", "notch = 11, slide = 12.5 or shims = [...]")
        return self


class _Tables(Item):
    """The lists of the file."""

    measured: Annotated[tuple[Measured, ...], many("measured values")] = Field(default=())
    as_set: Annotated[tuple[AsSet, ...], many("settings")] = Field(default=())


OF_RECORD.update({"measured": Measured, "as_set": AsSet})


@dataclass(frozen=True, eq=False)
class Record:
    """A record as it was read; lengths mm but for bare measured values.

    Attributes:
        path: of the file.
        units: of bare numbers in it.
        measured: in the order of the file.
        as_set: in the order of the file.
        source: the text, for the lines of what is wrong.
    """

    path: Path
    units: Units
    measured: tuple[Measured, ...]
    as_set: tuple[AsSet, ...]
    source: Source

    @property
    def entries(self) -> tuple[Measured | AsSet, ...]:
        """Of both kinds, measured values first."""
        return (*self.measured, *self.as_set)

    def index(self, entry: Measured | AsSet) -> tuple[str, int]:
        """Kind and number of one of its entries, as its file has them."""
        kind, each = ("measured", self.measured) if isinstance(entry, Measured) else ("as_set", self.as_set)
        return kind, next(k for k, one in enumerate(each) if one is entry)

    def problem(
        self, kind: str, index: int, key: Key = "", what: str = "", expected: str = "", nearest: str = ""
    ) -> Problem:
        """A problem of one entry that is found later."""
        path: tuple[Key, ...] = (kind, index, *((key,) if key != "" else ()))
        return self.source.problem(path, what, expected, nearest)

    def line(self, kind: str, index: int) -> int:
        """Of one entry in its file."""
        return self.source.line((kind, index))


def record_path(scene: str | os.PathLike[str]) -> Path:
    """The file beside a scene file that holds its record.

    >>> record_path("shop/rack.toml").name
    'rack.record.toml'
    """
    path = Path(scene)
    return path.with_name(f"{path.name.removesuffix('.toml')}{_ENDING}")


def is_record(path: Path) -> bool:
    """Whether a file has the name of a record."""
    return path.name.endswith(_ENDING)


def load_record(path: str | os.PathLike[str], scene_units: Units) -> Record:
    """Read a record file.

    Args:
        path: of the file.
        scene_units: of bare numbers where the file does not say.

    Raises:
        SceneError: it cannot be read, or is no record: every problem with its line.
    """
    file = os.fspath(path)
    return read_record(read_text(file), file, scene_units)


def read_record(text: str, file: str, scene_units: Units) -> Record:
    """Read the text of a record file. Arguments and errors as ``load_record``."""
    data = parse(text, file)
    source = Source(data, file, text)
    check_format(data, source)
    problems = list(_top(data, source))
    file_units: Units = "in" if data.get("units", scene_units) == "in" else "mm"
    kept = {key: data[key] for key in ("measured", "as_set") if key in data}
    try:
        tables = _Tables.model_validate(kept, context={"units": file_units}, by_alias=True, by_name=False)
    except ValidationError as error:
        raise scene_error([*problems, *translate(error, source)], file) from None
    count = len(tables.measured) + len(tables.as_set)
    if count > MOST_ITEMS:
        problems.append(source.problem((), f"{count} entries", f"at most {MOST_ITEMS}"))
    if problems:
        raise scene_error(problems, file)
    return Record(Path(file), file_units, tables.measured, tables.as_set, source)


def _top(data: Mapping[str, Any], source: Source) -> Sequence[Problem]:
    """What is wrong with the keys at the top."""
    out = []
    if "format" not in data:
        out.append(source.problem((), 'key "format" is missing', f"format = {FORMAT} as the first key"))
    elif isinstance(data["format"], bool) or data["format"] != FORMAT:
        out.append(source.problem(("format",), f"{describe(data['format'])} is not a format", f"format = {FORMAT}"))
    if "units" in data and data["units"] not in UNITS:
        allowed = ", ".join(f'"{one}"' for one in UNITS)
        out.append(source.problem(("units",), f"{describe(data['units'])} is not known here", allowed))
    for key in data:
        if key not in KEYS:
            near = nearest_name(key[:80], KEYS)
            expected = "" if near else f"one of {', '.join(KEYS)}"
            out.append(source.problem((key,), f"unknown key {describe(key)}", expected, near))
    return out


def last_of(entries: Sequence[E]) -> E:
    """Of several entries on one thing the one that counts: the last in the file, but none of an earlier day.

    An entry without a day is taken to be as late as it stands in the file.
    """
    kept = entries[0]
    for one in entries[1:]:
        if kept.when is None or one.when is None or one.when >= kept.when:
            kept = one
    return kept


def found_record(scene_file: Path | None, scene_units: Units) -> Record | None:
    """The record beside a scene file; None where there is none.

    Raises:
        SceneError: there is one, and it is broken.
    """
    if scene_file is None:
        return None
    path = record_path(scene_file)
    try:
        there = os.path.lexists(path)
    except (OSError, ValueError) as error:
        raise SceneError([Problem(what=f"cannot be read: {error}", file=str(path))]) from None
    return load_record(path, scene_units) if there else None
