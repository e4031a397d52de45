"""Pages set by typst: paper, words that may be broken, and the PDF of a template and its data."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from importlib.resources import as_file, files
from typing import Any, Final, Literal

from fixture3d.errors import FixtureError, MissingLibrary, one_line

Paper = Literal["a4", "letter"]
PAPERS: Final[dict[Paper, tuple[float, float]]] = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}

_FIGURE = re.compile(r"(?<=[0-9]) (?=(?:mm|in|kg|lb)\b)")
_LONGEST: Final = 13  # letters of a word that any column of plain words has room for
_WIDE: Final = "WMwm@%"
_NAMES: Final = 9  # the same for names, which stand in bold and may be in capitals
_NAMED: Final = {"name", "names", "model", "hole", "from", "to", "pad", "piece", "presses", "toward"}


def breakable(value: Any, most: int = _LONGEST) -> Any:
    """The same data with places to break in words that are longer than a column, and none before a unit.

    Args:
        value: what JSON can hold.
        most: letters after which a longer word may be broken.
    """
    if isinstance(value, str):
        if value.startswith("<svg"):
            return value
        return " ".join(_broken(word, most) for word in _FIGURE.sub("\u00a0", value).split(" "))
    if isinstance(value, dict):
        return {key: breakable(each, _NAMES if key in _NAMED else _LONGEST) for key, each in value.items()}
    if isinstance(value, list):
        return [breakable(each, most) for each in value]
    return value


def _broken(word: str, most: int) -> str:
    """A word with a place to break after each underscore, and in what is too long even so."""
    if len(word) <= most or "\u00a0" in word:
        return word
    return "\u200b".join(cut for part in re.split(r"(?<=_)", word) for cut in _cut(part, most))


def _cut(word: str, most: int) -> Iterator[str]:
    """Parts of a word with no more than so many letters of usual width in each."""
    part, width = "", 0.0
    for letter in word:
        wide = 1.5 if letter in _WIDE else 1.0
        if width + wide > most and part:
            yield part
            part, width = "", 0.0
        part, width = part + letter, width + wide
    if part:
        yield part


def typeset(package: str, template: str, data: dict[str, Any], what: str = "sheet") -> bytes:
    """A PDF from a typst file of a package, in the fonts that are shipped, the same bytes for the same data.

    Args:
        package: that holds the file.
        template: its name; it reads the data from ``sys.inputs.data``.
        data: what JSON can hold.
        what: noun for messages.

    Raises:
        MissingLibrary: typst is not installed.
        FixtureError: the data cannot be set.
    """
    try:
        import typst
    except ImportError as error:
        raise MissingLibrary(f"the {what} needs typst, which is not installed; pip install typst") from error
    with as_file(files(package)) as folder, as_file(files("fixture3d.sheet")) as sheet:
        try:
            made: bytes = typst.compile(
                folder / template,
                format="pdf",
                font_paths=[sheet / "fonts"],
                ignore_system_fonts=True,
                sys_inputs={"data": json.dumps(data)},
            )
        except typst.TypstError as error:
            raise FixtureError(f"the {what} cannot be set: {one_line(str(error))}") from error
    return made
