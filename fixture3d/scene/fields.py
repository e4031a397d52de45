"""The kinds of value that a scene file has: lengths, angles, names, points; each with its limits and its words.

Every type here is a plain Python type under a validator that turns what stands in the file into mm, and that says
in one sentence what would have been right. The file's units come through the validation context; without a
context, as when a scene is built in Python, numbers are mm.
"""

from __future__ import annotations

import math
import unicodedata
from collections.abc import Callable
from decimal import Decimal
from typing import Annotated, Any, Final, Literal, cast

from pydantic import (
    BaseModel,
    BeforeValidator,
    ConfigDict,
    GetJsonSchemaHandler,
    PlainSerializer,
    SerializationInfo,
    ValidationInfo,
    WithJsonSchema,
)
from pydantic.json_schema import JsonSchemaValue
from pydantic_core import CoreSchema, PydanticCustomError

from fixture3d import units
from fixture3d.errors import UnitError, nearest_name
from fixture3d.output import RESERVED
from fixture3d.scene.sizes import LONGEST

MOST_ITEMS: Final = 5000
LONGEST_NAME: Final = 80
LONGEST_TEXT: Final = 500
_NOT_IN_NAMES: Final = '<>:"/\\|?*'


def _without_underscore(attribute: str) -> str:
    """``from`` and ``with`` are words of Python."""
    return attribute.rstrip("_")


class Item(BaseModel):
    """A frozen record of the scene file; unknown keys are errors."""

    model_config = ConfigDict(
        extra="forbid",
        frozen=True,
        alias_generator=_without_underscore,
        validate_by_alias=True,
        validate_by_name=True,
        hide_input_in_errors=True,
        allow_inf_nan=False,
    )


def wrong(what: str, expected: str = "", nearest: str = "") -> PydanticCustomError:
    """An error of one field, in the words of ``errors.Problem``."""
    return PydanticCustomError("scene", "{what}", {"what": what, "expected": expected, "nearest": nearest})


def units_of(info: ValidationInfo) -> units.Units:
    """The units of the file being read; mm outside a file."""
    context = info.context
    return cast(units.Units, context["units"]) if isinstance(context, dict) and "units" in context else "mm"


def _length(low: float, low_open: bool, rule: str) -> Callable[[Any, ValidationInfo], float]:
    def read(value: Any, info: ValidationInfo) -> float:
        file_units = units_of(info)
        try:
            mm = units.length(value, file_units)
        except UnitError as e:
            what, _, expected = str(e).partition("; ")
            raise wrong(what, expected.removeprefix("write ")) from None
        if mm < low or (low_open and mm == low):
            raise wrong(f"{units.describe(value)} is not a possible length here", rule)
        if abs(mm) > LONGEST:
            raise wrong(f"{units.describe(value)} is {mm / 1000:.0f} m", "at most 30 m")
        return mm + 0.0

    return read


def in_file(mm: float, info: SerializationInfo) -> float | str:
    """The shortest number in the file's units that reads back as exactly ``mm``; with its unit when there is none.

    Outside a file, the mm themselves.
    """
    file_units: units.Units = info.context["units"] if isinstance(info.context, dict) else "mm"
    if file_units == "mm":
        return mm
    exact = units.from_mm(mm, file_units)
    for digits in (6, 9, 12, 15, 16, 17):
        value = float(f"{exact:.{digits}g}")
        if units.length(value, file_units) == mm:
            return value
    return f"{Decimal(repr(mm)):f} mm"


_IN_FILE = PlainSerializer(in_file)
_LENGTH_SCHEMA = WithJsonSchema(
    {"type": ["number", "string"], "description": 'number in the file\'s units, or text such as "3/4 in"'}
)

Length = Annotated[float, BeforeValidator(_length(0.0, True, "a length above 0")), _IN_FILE, _LENGTH_SCHEMA]
"""More than 0, at most 30 m."""
Distance = Annotated[float, BeforeValidator(_length(0.0, False, "0 or more")), _IN_FILE, _LENGTH_SCHEMA]
"""0 or more, at most 30 m."""
Coordinate = Annotated[float, BeforeValidator(_length(-math.inf, False, "")), _IN_FILE, _LENGTH_SCHEMA]
"""Any sign, at most 30 m either way."""


def _number(low: float, high: float, low_open: bool, noun: str) -> Callable[[Any], float]:
    span = f"a number {'above' if low_open else 'from'} {low:g} to {high:g}"

    def read(value: Any) -> float:
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise wrong(f"{units.describe(value)} is not {noun}", span)
        if not low <= value <= high or (low_open and value == low):
            raise wrong(f"{units.describe(value)} is not a possible value", span)
        return float(value) + 0.0

    return read


_NUMBER_SCHEMA = WithJsonSchema({"type": "number"})

Turn = Annotated[float, BeforeValidator(_number(-360.0, 360.0, False, "an angle in degrees")), _NUMBER_SCHEMA]
"""Degrees, -360 to 360."""
HalfTurn = Annotated[float, BeforeValidator(_number(-180.0, 180.0, False, "an angle in degrees")), _NUMBER_SCHEMA]
"""Degrees, -180 to 180."""
Slope = Annotated[float, BeforeValidator(_number(-89.0, 89.0, False, "an angle in degrees")), _NUMBER_SCHEMA]
"""Degrees from a square cut, -89 to 89."""
Spread = Annotated[float, BeforeValidator(_number(0.0, 90.0, False, "an angle in degrees")), _NUMBER_SCHEMA]
"""Plus or minus degrees, 0 to 90."""
Percent = Annotated[float, BeforeValidator(_number(0.0, 5.0, False, "a shrinkage in per cent")), _NUMBER_SCHEMA]
"""Per cent that a print shrinks, 0 to 5."""
Pure = Annotated[float, BeforeValidator(_number(-1e6, 1e6, False, "a number")), _NUMBER_SCHEMA]
"""A number without a unit, one part of a direction."""


def _count(low: int, high: int, noun: str) -> Callable[[Any], int]:
    def read(value: Any) -> int:
        if isinstance(value, bool) or not isinstance(value, int):
            raise wrong(f"{units.describe(value)} is not {noun}", f"a whole number from {low} to {high}")
        if not low <= value <= high:
            raise wrong(
                f"{units.describe(value)} is too {'small' if value < low else 'large'}",
                f"a whole number from {low} to {high}",
            )
        return value

    return read


def _count_schema(low: int, high: int) -> WithJsonSchema:
    return WithJsonSchema({"type": "integer", "minimum": low, "maximum": high})


Holes = Annotated[int, BeforeValidator(_count(1, 2000, "a number of holes")), _count_schema(1, 2000)]
"""Columns or rows."""
Count = Annotated[int, BeforeValidator(_count(0, 10000, "a count")), _count_schema(0, 10000)]
Notch = Annotated[int, BeforeValidator(_count(0, 1000, "a notch")), _count_schema(0, 1000)]
Passes = Annotated[int, BeforeValidator(_count(1, 50, "a number of passes")), _count_schema(1, 50)]
"""Of one weld."""


def _flag(value: Any) -> bool:
    if not isinstance(value, bool):
        raise wrong(f"{units.describe(value)} is neither true nor false", "true or false")
    return value


Flag = Annotated[bool, BeforeValidator(_flag), WithJsonSchema({"type": "boolean"})]


def name_fault(name: str) -> str:
    """What is wrong with a name that is shown, drawn and used for files; empty when it is fine.

    >>> name_fault("S1"), name_fault("nul.step"), name_fault("a/b")
    ('', 'is reserved by Windows', 'has a / in it')
    """
    if not name.strip():
        return "is empty"
    if len(name) > LONGEST_NAME:
        return f"has {len(name)} characters"
    bad = next((c for c in name if not c.isprintable()), None)
    if bad is not None:
        return "has a control or invisible character in it"
    bad = next((c for c in name if c in _NOT_IN_NAMES), None)
    if bad is not None:
        return f"has a {bad} in it"
    if name != name.strip(" .") or unicodedata.combining(name[0]):
        return "begins or ends with a space or a dot"
    if name.partition(".")[0].strip().casefold() in RESERVED:
        return "is reserved by Windows"
    return ""


def _name(value: Any) -> str:
    if not isinstance(value, str):
        raise wrong(f"{units.describe(value)} is not a name", 'text in quotes, as in "S1"')
    fault = name_fault(value)
    if fault:
        raise wrong(
            f"{units.describe(value)} {fault}",
            f"a name of 1 to {LONGEST_NAME} plain characters without {_NOT_IN_NAMES}",
        )
    return value


Name = Annotated[
    str, BeforeValidator(_name), WithJsonSchema({"type": "string", "minLength": 1, "maxLength": LONGEST_NAME})
]
"""A name that may become a file name on any system."""


def _weld_name(value: Any) -> str:
    """A name as a weld has it that was found, ``left leg / rung 1, front``; no file is called after a weld."""
    if isinstance(value, str):
        parts = value.split(" / ")
        longest = 2 * LONGEST_NAME + 40
        if 1 <= len(parts) <= 2 and len(value) <= longest and not any(name_fault(p[:LONGEST_NAME]) for p in parts):
            return value
    return _name(value)


WeldName = Annotated[
    str,
    BeforeValidator(_weld_name),
    WithJsonSchema({"type": "string", "minLength": 1, "maxLength": 2 * LONGEST_NAME + 40}),
]
"""A name, or two of pieces with a stroke between them and the side."""


def _text(value: Any) -> str:
    if not isinstance(value, str):
        raise wrong(f"{units.describe(value)} is not text", "text in quotes")
    if not value.strip():
        raise wrong("the text is empty", "some text")
    if len(value) > LONGEST_TEXT or not value.isprintable():
        raise wrong(f"{units.describe(value)} is not a plain line", f"one line of at most {LONGEST_TEXT} characters")
    return value


def _title(value: Any) -> str:
    return value if value == "" else _text(value)


Title = Annotated[str, BeforeValidator(_title), WithJsonSchema({"type": "string", "maxLength": LONGEST_TEXT})]
"""One line of text, or none."""
Text = Annotated[
    str, BeforeValidator(_text), WithJsonSchema({"type": "string", "minLength": 1, "maxLength": LONGEST_TEXT})
]
"""One line of text for people, or a name whose form is judged elsewhere."""


def _label(value: Any) -> str:
    if isinstance(value, int) and not isinstance(value, bool) and 0 < value < 1000:
        return str(value)
    return _name(value)


Label = Annotated[str, BeforeValidator(_label), WithJsonSchema({"type": ["string", "integer"]})]
"""The name of a pin or socket: ``2`` and ``"2"`` are the same."""


def choice(*allowed: str) -> BeforeValidator:
    """One of a few words, with the nearest of them in the error."""

    def read(value: Any) -> Any:
        if not isinstance(value, str) or value not in allowed:
            near = nearest_name(value[:80], allowed) if isinstance(value, str) else ""
            raise wrong(f"{units.describe(value)} is not known here", ", ".join(f'"{a}"' for a in allowed), near)
        return value

    return BeforeValidator(read)


def exactly(count: int, example: str) -> BeforeValidator:
    """A list of ``count`` values."""

    def read(value: Any) -> Any:
        if not isinstance(value, list | tuple):
            raise wrong(f"{units.describe(value)} is not a list", f"{count} values, as in {example}")
        if len(value) != count:
            raise wrong(f"a list of {len(value)}", f"{count} values, as in {example}")
        return value

    return BeforeValidator(read)


def several(least: int, most: int, noun: str) -> BeforeValidator:
    """A list of ``least`` to ``most`` values."""

    def read(value: Any) -> Any:
        if not isinstance(value, list | tuple):
            raise wrong(f"{units.describe(value)} is not a list", f"a list of {noun}")
        if not least <= len(value) <= most:
            raise wrong(f"a list of {len(value)}", f"{least} to {most} {noun}")
        return value

    return BeforeValidator(read)


def many(noun: str, most: int = MOST_ITEMS) -> BeforeValidator:
    """A list of tables, each under its double brackets."""
    read = several(0, most, noun).func

    def check(value: Any) -> Any:
        if isinstance(value, dict):
            raise wrong("a table in single brackets", "double brackets, because there may be many")
        return read(value)  # type: ignore[call-arg]

    return BeforeValidator(check)


def _direction(value: Any) -> Any:
    if isinstance(value, list | tuple) and len(value) == 3 and all(v == 0 for v in value):
        raise wrong("a direction of no length", "3 numbers that are not all 0, as in [0, 0, 1]")
    return value


class OrText:
    """Says in the JSON Schema that text may stand in place of a table of keys."""

    def __init__(self, text: JsonSchemaValue) -> None:
        self._text = text

    def __get_pydantic_json_schema__(self, core: CoreSchema, handler: GetJsonSchemaHandler) -> JsonSchemaValue:
        return {"anyOf": [self._text, handler(core)]}


Pair = Annotated[tuple[Length, Length], exactly(2, "[50, 50]")]
Point2 = Annotated[tuple[Coordinate, Coordinate], exactly(2, "[20, 0]")]
Point3 = Annotated[tuple[Coordinate, Coordinate, Coordinate], exactly(3, "[0, 0, 25]")]
Direction = Annotated[tuple[Pure, Pure, Pure], BeforeValidator(_direction), exactly(3, "[0, 0, 1]")]
Axis3 = Literal["x", "y", "z"]
Edge = Annotated[Literal["front", "back", "left", "right"], choice("front", "back", "left", "right")]


def plain_fault(value: Any, depth: int = 0) -> str:
    """What is wrong with a value that is kept as it stands for a model to read; empty when it is fine."""
    if isinstance(value, bool):
        return ""
    if isinstance(value, int | float):
        return "" if -1e9 <= value <= 1e9 else f"{units.describe(value)} is not a possible value"
    if isinstance(value, str):
        return (
            "" if len(value) <= LONGEST_TEXT and value.isprintable() else f"{units.describe(value)} is not a plain line"
        )
    if isinstance(value, list | tuple) and depth < 3 and len(value) <= 1000:
        return next((fault for v in value if (fault := plain_fault(v, depth + 1))), "")
    return f"{units.describe(value)} is not a number, text, true, false or a short list of these"
