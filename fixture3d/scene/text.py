"""Where each key of a TOML text stands: a scan for line numbers, beside the parser that reads the values.

The text has already been parsed by ``tomllib``, so the scan may trust its syntax; on a text that is not valid TOML
it stops early and knows fewer lines, and never fails.
"""

from __future__ import annotations

import re
import tomllib
from bisect import bisect_left
from collections.abc import Sequence
from typing import Final

Key = str | int
Path = tuple[Key, ...]

_GAP: Final = re.compile(r"(?:[ \t\r\n]+|#[^\n]*)+")
_BLANK: Final = re.compile(r"[ \t]*")
_STRING: Final = re.compile(
    r'"""(?:\\.|[^\\])*?"""(?:"{0,2})' r"|'''.*?'''(?:'{0,2})" r'|"(?:\\.|[^"\\\n])*"' r"|'[^'\n]*'",
    re.DOTALL,
)
_BARE: Final = re.compile(r"[A-Za-z0-9_-]+")
_SCALAR: Final = re.compile(r"[^,\]}\n#]+")
_DEEPEST: Final = 100


class Lines:
    r"""Line numbers, from 1, of every key and list entry of a TOML text.

    >>> lines = Lines('a = 1\n[[place]]\nname = "S1"\npins = [\n  1,\n  2,\n]')
    >>> lines.of(("place", 0, "name")), lines.of(("place", 0, "pins", 1)), lines.of(("place", 0, "hole"))
    (3, 6, 2)
    """

    def __init__(self, text: str) -> None:
        self._text = text
        self._breaks = [match.start() for match in re.finditer("\n", text)]
        self._lines: dict[Path, int] = {}
        self._counts: dict[Path, int] = {}
        self._at = 0
        self._document()

    def of(self, path: Sequence[Key]) -> int:
        """The line of ``path``, or of the nearest part of it that stands in the text; 0 when none does."""
        for end in range(len(path), 0, -1):
            line = self._lines.get(tuple(path[:end]))
            if line is not None:
                return line
        return 0

    def first(self) -> int:
        """The line of the first key or table header, 0 in a text without one."""
        return min(self._lines.values(), default=0)

    def _mark(self, path: Path, at: int) -> None:
        self._lines.setdefault(path, bisect_left(self._breaks, at) + 1)

    def _document(self) -> None:
        table: Path = ()
        while self._skip(_GAP):
            at = self._at
            if self._text[at] == "[":
                array = self._text.startswith("[[", at)
                self._at += 2 if array else 1
                keys = self._keys()
                if not keys or not self._eat("]]" if array else "]"):
                    return
                table = self._header(keys, array, at)
            elif not self._pair(table, 0):
                return

    def _header(self, keys: list[str], array: bool, at: int) -> Path:
        """Path of the table that a header opens; a list of tables counts its entries."""
        path: Path = ()
        for key in keys[:-1]:
            path = self._latest((*path, key), at)
        path = (*path, keys[-1])
        if not array:
            return self._latest(path, at)
        self._mark(path, at)
        self._counts[path] = self._counts.get(path, 0) + 1
        return self._latest(path, at)

    def _latest(self, path: Path, at: int) -> Path:
        self._mark(path, at)
        if path in self._counts:
            path = (*path, self._counts[path] - 1)
            self._mark(path, at)
        return path

    def _pair(self, table: Path, depth: int) -> bool:
        """``key = value``, dotted keys included."""
        at = self._at
        keys = self._keys()
        if not keys or not self._eat("="):
            return False
        path = table
        for key in keys:
            path = (*path, key)
            self._mark(path, at)
        self._skip(_BLANK)
        return self._value(path, depth)

    def _keys(self) -> list[str]:
        keys: list[str] = []
        while True:
            self._skip(_BLANK)
            match = _BARE.match(self._text, self._at)
            if match is not None:
                keys.append(match[0])
            else:
                match = _STRING.match(self._text, self._at)
                if match is None:
                    return []
                keys.append(_unquoted(match[0]))
            self._at = match.end()
            self._skip(_BLANK)
            if not self._eat("."):
                return keys

    def _value(self, path: Path, depth: int) -> bool:
        text, at = self._text, self._at
        if at >= len(text) or depth > _DEEPEST:
            return False
        if text[at] == "[":
            return self._list(path, depth)
        if text[at] == "{":
            return self._inline(path, depth)
        match = _STRING.match(text, at) or _SCALAR.match(text, at)
        if match is None:
            return False
        self._at = match.end()
        return True

    def _list(self, path: Path, depth: int) -> bool:
        self._at += 1
        index = 0
        while self._skip(_GAP):
            if self._eat("]"):
                return True
            entry = (*path, index)
            self._mark(entry, self._at)
            if not self._value(entry, depth + 1):
                return False
            index += 1
            self._skip(_GAP)
            self._eat(",")
        return False

    def _inline(self, path: Path, depth: int) -> bool:
        self._at += 1
        while self._skip(_GAP):
            if self._eat("}"):
                return True
            if not self._pair(path, depth + 1):
                return False
            self._skip(_GAP)
            self._eat(",")
        return False

    def _eat(self, sign: str) -> bool:
        if self._text.startswith(sign, self._at):
            self._at += len(sign)
            return True
        return False

    def _skip(self, pattern: re.Pattern[str]) -> bool:
        """Step over what matches; whether any text is left."""
        match = pattern.match(self._text, self._at)
        if match is not None:
            self._at = match.end()
        return self._at < len(self._text)


def _unquoted(key: str) -> str:
    try:
        return next(iter(tomllib.loads(f"{key} = 0")))
    except tomllib.TOMLDecodeError:
        return key.strip("\"'")
