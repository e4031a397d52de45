"""Changes of single keys in the text of a scene file: everything else stays as it was typed, comments and order too."""

from __future__ import annotations

import copy
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path as FilePath
from typing import Any, Final

from fixture3d.errors import Problem, SceneError, one_line
from fixture3d.scene.family import OfSize
from fixture3d.scene.read import parse
from fixture3d.scene.text import Lines, Path
from fixture3d.scene.write import value_text

_TEXT: Final = re.compile(r'"""(?:\\.|[^\\])*?"""|\'\'\'.*?\'\'\'|"(?:\\.|[^"\\\n])*"|\'[^\'\n]*\'', re.DOTALL)
_DOTTED: Final = re.compile(r"((?:[\w-]+[ \t]*\.[ \t]*)+)[\w-]+[ \t]*=")
_COMMENT: Final = re.compile(r"#[^\n]*")


@dataclass(frozen=True, kw_only=True)
class Edit:
    """One key that says something else.

    Attributes:
        table: path of the table that has the key, such as ``("place", 0)``; empty for the top of the file.
        key: of the table.
        value: as ``tomllib`` would give it; None takes the key out.
        after: a new key is put behind the first of these that the table has, else at its top.
    """

    table: Path
    key: str
    value: Any
    after: tuple[str, ...] = ()


class _Spans(Lines):
    """Where each value and each ``key = value`` of a text begins and ends, and where the tables begin."""

    def __init__(self, text: str) -> None:
        self.values: dict[Path, tuple[int, int]] = {}
        self.pairs: dict[Path, tuple[int, int]] = {}
        self.tops: dict[Path, int] = {}
        self.inline: set[Path] = set()
        self._last: Path = ()
        super().__init__(text)

    def _header(self, keys: list[str], array: bool, at: int) -> Path:
        path = super()._header(keys, array, at)
        self.tops.setdefault(path, self._at)
        return path

    def _pair(self, table: Path, depth: int) -> bool:
        at = self._at
        good = super()._pair(table, depth)
        if good:
            self.pairs[self._last] = (at, self.values[self._last][1])
        return good

    def _value(self, path: Path, depth: int) -> bool:
        at = self._at
        self.values[path] = (at, at)
        if self._text.startswith("{", at):
            self.inline.add(path)
        good = super()._value(path, depth)
        end = self._at
        while end > at and self._text[end - 1] in " \t":
            end -= 1
        self.values[path] = (at, end)
        self._last = path  # of nested values the outer one ends last
        return good


def edited(text: str, edits: Sequence[Edit], file: str = "") -> str:
    """The text with some keys changed.

    Args:
        text: of a scene file.
        edits: no two of one key.
        file: its path for messages.

    Raises:
        SceneError: it is not TOML, or a key stands in a form in which it cannot be changed by itself.
    """
    wanted = copy.deepcopy(parse(text, file))
    spans = _Spans(text)
    splices: list[tuple[int, int, str]] = []
    for edit in edits:
        splices += _splice(text, spans, edit)
        _set(wanted, edit)
    # What is put in at one place stays in the order of the edits; the last place of the text comes first.
    for _, (start, end, new) in sorted(enumerate(splices), key=lambda one: (one[1][0], one[0]), reverse=True):
        text = text[:start] + new + text[end:]
    if parse(text, file) != wanted:
        where = ", ".join(sorted({str(edit.table[0]) for edit in edits if edit.table})) or "the top of the file"
        what = f"its keys are written in a way that cannot be changed one by one (in {where})"
        raise SceneError([Problem(what=what, file=file, expected="a line of its own for every key, under [[place]]")])
    return text


def without_sizes(
    text: str, data: dict[str, Any], wanted: OfSize, size: tuple[str, dict[str, Any]], file: str = ""
) -> str:
    """The text of a file with ``[sizes]`` as that of one of them, as many lines as before.

    Every value that is by size is put in its place; of ``[sizes]`` a comment stays that says which size it was, and
    entries of other sizes become comments.

    Args:
        text: of the file.
        data: its tables.
        wanted: the tables that the new text shall give.
        size: its name, and the value of every name in it.
        file: its path for messages.

    Raises:
        SceneError: the keys stand in a form in which they cannot be changed one by one.
    """
    spans = _Spans(text)
    name, values = size
    splices = [
        (*spans.values[path], _as_long(value_text(new), text[slice(*spans.values[path])]))
        for path, new in _changed(data, wanted)
        if path in spans.values
    ]
    splices += [(start, end, _as_comment(text[start:end])) for start, end in _of_other_sizes(text, spans, data, wanted)]
    in_braces = ("sizes",) in spans.pairs
    for path, (start, end) in spans.pairs.items():
        if path[0] != "sizes" or len(path) != (1 if in_braces else 2):
            continue
        if in_braces:
            said = f"# size = {value_text(name)}: {value_text(values)}"
        elif path[1] == "names":
            said = f"# size = {value_text(name)}"
        else:
            said = f"# {path[1]} = {value_text(values[str(path[1])])}"
        splices.append((start, end, _as_long(said, text[start:end], "#")))
    if ("sizes",) in spans.tops:
        top = spans.tops[("sizes",)]
        of = one_line(FilePath(file).name) or "a scene"
        splices.append((text.rindex("[", 0, top), top, f"# One size of a family, from {of}:"))
    for start, end, new in sorted(splices, reverse=True):
        text = text[:start] + new + text[end:]
    if parse(text, file) != wanted.tables:
        what = "its [sizes] or what uses them is written in a way that cannot be changed key by key"
        raise SceneError([Problem(what=what, file=file, expected="a line of its own for every key")])
    return text


def _changed(data: dict[str, Any], wanted: OfSize) -> Iterator[tuple[Path, Any]]:
    """The paths in the file of all single values that are other in the size."""
    for key, new in wanted.tables.items():
        if key in wanted.kept:
            for k, entry in zip(wanted.kept[key], new, strict=True):
                yield from _differing(data[key][k], entry, (key, k))
        else:
            yield from _differing(data[key], new, (key,))


def _of_other_sizes(text: str, spans: _Spans, data: dict[str, Any], wanted: OfSize) -> Iterator[tuple[int, int]]:
    """Where the entries stand that the size does not have, and the key by which an entry says its sizes."""
    for key, kept in wanted.kept.items():
        for k in range(len(data[key])):
            if k in kept and (key, k, "sizes") in spans.pairs:
                yield spans.pairs[(key, k, "sizes")]
            elif k not in kept and (key, k) in spans.tops:
                start = text.rfind("\n", 0, spans.tops[(key, k)]) + 1
                inside = [end for path, (_, end) in spans.pairs.items() if path[:2] == (key, k)]
                yield start, max([spans.tops[(key, k)], *inside])


def _as_comment(text: str) -> str:
    return "\n".join(f"# {row}" if row.strip() else row for row in text.split("\n"))


def _as_long(new: str, old: str, sign: str = "") -> str:
    """A new text with as many line ends as the old one had, so that all lines keep their numbers."""
    return new + f"\n{sign}" * (old.count("\n") - new.count("\n"))


def _differing(old: Any, new: Any, path: Path = ()) -> Iterator[tuple[Path, Any]]:
    """The paths of the single values that are other in new tables of the same shape."""
    if isinstance(old, dict) and isinstance(new, dict):
        for key in old.keys() & new.keys():
            yield from _differing(old[key], new[key], (*path, key))
    elif isinstance(old, list) and isinstance(new, list) and len(old) == len(new):
        for k, (one, other) in enumerate(zip(old, new, strict=True)):
            yield from _differing(one, other, (*path, k))
    elif old != new or type(old) is not type(new):
        yield path, new


def comments(text: str) -> Iterator[tuple[int, str]]:
    """Every comment of a text with its line number from 1."""
    bare = _TEXT.sub(lambda found: re.sub(r"[^\n]", " ", found[0]), text)
    for found in _COMMENT.finditer(bare):
        yield text.count("\n", 0, found.start()) + 1, text[found.start() : found.end()]


def with_heading(text: str, sentence: str) -> str:
    """The text with one comment more at its top."""
    return f"# {one_line(sentence)}\n{text}"


def _splice(text: str, spans: _Spans, edit: Edit) -> list[tuple[int, int, str]]:
    path = (*edit.table, edit.key)
    if path in spans.values:
        if edit.value is not None:
            return [(*spans.values[path], value_text(edit.value))]
        return [_removal(text, spans, path)] if path in spans.pairs else []
    if edit.value is None:
        return []
    new = f"{edit.key} = {value_text(edit.value)}"
    behind = next((spans.pairs[(*edit.table, k)] for k in edit.after if (*edit.table, k) in spans.pairs), None)
    if edit.table in spans.inline:
        if behind is not None:
            return [(behind[1], behind[1], f", {new}")]
        start = spans.values[edit.table][0] + 1
        return [(start, start, f" {new}{',' if text[start:].lstrip()[:1] != '}' else ''}")]
    at = behind[1] if behind is not None else spans.tops.get(edit.table, 0)
    end = text.find("\n", at)
    end = len(text) if end < 0 else end
    dotted = _DOTTED.match(text, behind[0]) if behind is not None else None
    return [(end, end, f"\n{dotted[1] if dotted is not None else ''}{new}")]


def _removal(text: str, spans: _Spans, path: Path) -> tuple[int, int, str]:
    """A key with its line; in braces with one of its commas."""
    start, end = spans.pairs[path]
    if path[:-1] in spans.inline:
        after = re.compile(r"\s*,\s*").match(text, end)
        if after is not None:
            return start, after.end(), ""
        before = re.search(r"\s*,\s*$", text[:start])
        return (before.start() if before is not None else start), end, ""
    first = text.rfind("\n", 0, start) + 1
    last = text.find("\n", end)
    return first, len(text) if last < 0 else last + 1, ""


def _set(data: Any, edit: Edit) -> None:
    for key in edit.table:
        data = data[key] if isinstance(key, int) else data.setdefault(key, {})
    if edit.value is None:
        data.pop(edit.key, None)
    else:
        data[edit.key] = edit.value
