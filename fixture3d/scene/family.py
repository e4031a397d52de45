"""A family of sizes in one file: ``[sizes]`` names them and gives a table of values, one line a name.

Every text of the rest of the file that begins with ``=`` is replaced by its value, once for each size, in the bare
tables and before anything is validated. So each size is an ordinary scene with the lines of the same file, and all
that comes after it works as for a file without sizes.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, Final

from fixture3d.errors import Problem, SceneError, nearest_name, some_names
from fixture3d.scene.expression import NAME, SIGN, UNIT_WORDS, BadExpression, Expression, read, unknown_names
from fixture3d.scene.fields import LONGEST_TEXT, name_fault
from fixture3d.scene.located import Source, scene_error
from fixture3d.scene.read import MOST_LAYERS
from fixture3d.scene.text import Key, Path
from fixture3d.units import Units, describe

KEY: Final = "sizes"
NAMES: Final = "names"
MOST_SIZES: Final = 20
ENTRIES: Final = ("member", "frame", "plate", "weld", "figure", "place", "clamp", "accept")
"""Lists of tables, each of which may say in which sizes it is there."""
_NEVER: Final = ("format", "units")  # what decides how the rest is read
_TABLE: Final = 'names = ["small", "large"], then a line a value, as in width = [600, 900]'


@dataclass(frozen=True)
class Family:
    """The ``[sizes]`` of a file.

    Attributes:
        names: of the sizes, in the order of the file.
        values: of every name, one a size.
    """

    names: tuple[str, ...]
    values: dict[str, tuple[Any, ...]]

    def of(self, size: int) -> dict[str, Any]:
        """The value of every name in one size."""
        return {name: values[size] for name, values in self.values.items()}


def read_family(data: Mapping[str, Any], source: Source) -> Family:
    """The ``[sizes]`` of a file.

    Raises:
        SceneError: every fault in it.
    """
    table = data[KEY]
    if not isinstance(table, Mapping):
        what = f"{KEY}: {describe(table)} is not a table of values"
        raise SceneError([source.problem((KEY,), what, f"[{KEY}] in single brackets with {_TABLE}")])
    problems: list[Problem] = []
    names = _names(table, source, problems)
    values: dict[str, tuple[Any, ...]] = {}
    for key, row in table.items():
        if key == NAMES:
            continue
        fault = _name_fault(key) or _row_fault(key, row, names)
        if fault is not None:
            problems.append(source.problem((KEY, key), *fault))
            continue
        values[key] = tuple(row)
        problems += [
            source.problem((KEY, key, k), f"{key}: {describe(one)} points at another value", "the value itself")
            for k, one in enumerate(row)
            if isinstance(one, str) and one.startswith(SIGN)
        ]
    if not values and not problems:
        problems.append(source.problem((KEY,), "it gives no values", _TABLE))
    title = data.get("title")
    if title is None or (isinstance(title, str) and not title.strip()):
        problems.append(
            source.problem((KEY,), 'key "title" is missing', 'title = "..." at the top: sheets of sizes are told by it')
        )
    if problems:
        raise scene_error(problems, source.file)
    return Family(tuple(names), values)


def _names(table: Mapping[str, Any], source: Source, problems: list[Problem]) -> list[str]:
    """The names of the sizes; what is wrong with them goes to ``problems``."""
    path: Path = (KEY, NAMES)
    names = table.get(NAMES)
    if NAMES not in table:
        near = next((key for key in table if isinstance(key, str) and nearest_name(key[:80], [NAMES])), None)
        path = (KEY,) if near is None else (KEY, near)
        problems.append(source.problem(path, f'key "{NAMES}" is missing', 'names = ["small", "large"]'))
        return []
    if not isinstance(names, list | tuple) or not 1 <= len(names) <= MOST_SIZES:
        what = f"a list of {len(names)}" if isinstance(names, list | tuple) else f"{describe(names)} is not a list"
        problems.append(source.problem(path, f"{NAMES}: {what}", f"1 to {MOST_SIZES} names of sizes in quotes"))
        return []
    seen: set[str] = set()
    for k, name in enumerate(names):
        fault = name_fault(name) if isinstance(name, str) else "is not a name"
        if not fault and name.casefold() in seen:
            fault = "is there already"
        if isinstance(name, str):
            seen.add(name.casefold())
        if fault:
            what = f"{NAMES}, entry {k + 1}: {describe(name)} {fault}"
            problems.append(source.problem((*path, k), what, "a name that no other size has, as in a file name"))
    return [name if isinstance(name, str) else "?" for name in names]


def _name_fault(key: str) -> tuple[str, str] | None:
    """Why a name could not stand in a sum."""
    if NAME.fullmatch(key) is None or len(key) > 80:
        what = f"the name {describe(key)} cannot stand in a sum"
        return what, "letters, digits and _, a letter first, as in right_hole"
    if key.casefold() in UNIT_WORDS:
        return f'the name "{key}" is a unit of length', "another name"
    return None


def _row_fault(key: str, row: Any, names: Sequence[str]) -> tuple[str, str] | None:
    if not isinstance(row, list | tuple):
        return f"{key}: {describe(row)} is not a list", "a list with one value for each size"
    if names and len(row) != len(names):
        return f"{key}: a list of {len(row)}", f"{len(names)}, one for each of {some_names(names)}"
    return None


@dataclass(frozen=True)
class OfSize:
    """The tables of a file as they are in one size.

    Attributes:
        tables: without ``[sizes]``, and without the entries that this size does not have.
        kept: for each list of tables that has lost some, the numbers in the file of those that are left.
    """

    tables: dict[str, Any]
    kept: dict[str, list[int]]


def at_size(data: Mapping[str, Any], family: Family, source: Source) -> list[OfSize]:
    """The tables of the file in each size.

    Raises:
        SceneError: every text behind ``=`` that cannot be read or reckoned, every value that nothing uses, and every
            entry of a size that is not there.
    """
    places = _Places(source, family)
    data, only = places.entries(data)
    places.look(data)
    problems = places.problems or [
        source.problem((KEY, name), f'nothing uses "{name}"', f'"{SIGN}{name}" somewhere, or no such line')
        for name in family.values
        if name not in places.used
    ]
    if problems:
        raise scene_error(problems, source.file)
    units: Units = "in" if data.get("units") == "in" else "mm"
    out, found = [], []
    for number, name in enumerate(family.names):
        one = _Size(places, family.of(number), units, source)
        kept = {
            kind: [k for k, names in enumerate(rows) if names is None or name in names] for kind, rows in only.items()
        }
        out.append(
            OfSize({key: one.under(key, value, kept.get(key)) for key, value in data.items() if key != KEY}, kept)
        )
        found.append((name, one.problems))
    told = merged(found)
    if told:
        raise scene_error(told, source.file)
    return out


@dataclass
class _Places:
    """Every text behind ``=`` of a file, read once."""

    source: Source
    family: Family
    read: dict[str, Expression] = field(default_factory=dict)
    used: set[str] = field(default_factory=set)
    problems: list[Problem] = field(default_factory=list)

    def entries(self, data: Mapping[str, Any]) -> tuple[dict[str, Any], dict[str, list[Any]]]:
        """The data without the key ``sizes`` of its entries, and for each list that has some what they say, or None."""
        out, only = dict(data), dict[str, list[Any]]()
        for kind in ENTRIES:
            rows = data.get(kind)
            if isinstance(rows, list | tuple) and any(isinstance(one, Mapping) and KEY in one for one in rows):
                only[kind] = [one.get(KEY) if isinstance(one, Mapping) else None for one in rows]
                out[kind] = [
                    {key: value for key, value in one.items() if key != KEY} if isinstance(one, Mapping) else one
                    for one in rows
                ]
                for k, names in enumerate(only[kind]):
                    if isinstance(rows[k], Mapping) and KEY in rows[k]:
                        self._known((kind, k, KEY), names)
        return out, only

    def _known(self, path: Path, names: Any) -> None:
        """Whether an entry names sizes that there are."""
        known = self.family.names
        if not isinstance(names, list | tuple) or not names:
            what = "an empty list" if names == [] else f"{describe(names)} is not a list"
            self.problems.append(self.source.problem(path, f"{KEY}: {what}", f"some of {some_names(known)}"))
            return
        for k, name in enumerate(names):
            if not isinstance(name, str) or name not in known:
                near = nearest_name(name[:80], known) if isinstance(name, str) else ""
                what = f"{KEY}: no size is called {describe(name)}"
                expected = "" if near else f"one of {some_names(known)}"
                self.problems.append(self.source.problem((*path, k), what, expected, near))

    def look(self, data: Mapping[str, Any]) -> None:
        """Read them all, and note what is wrong with them."""
        seen: set[int] = set()
        waiting: list[tuple[Path, Any]] = [((key,), value) for key, value in data.items() if key != KEY]
        while waiting:
            path, value = waiting.pop()
            if isinstance(value, str):
                if value.startswith(SIGN):
                    self._text(path, value)
                continue
            if isinstance(value, Mapping | list | tuple) and id(value) not in seen:
                seen.add(id(value))
                inside = value.items() if isinstance(value, Mapping) else enumerate(value)
                waiting += [((*path, key), one) for key, one in inside]

    def _text(self, path: Path, text: str) -> None:
        at = spot(path)
        if path[0] in _NEVER:
            what = f"{path[0]}: {describe(text)} cannot be one thing in one size and another in the next"
            self.problems.append(self.source.problem(path, what, "the same for the whole file"))
            return
        if text not in self.read:
            try:
                self.read[text] = read(text)
            except BadExpression as error:
                self._wrong(path, error)
                return
        for name, near in unknown_names(self.read[text], self.family.values):
            what = f'{at}: [{KEY}] has no "{name}"'
            expected = "" if near else f"one of {some_names(sorted(self.family.values))}"
            self.problems.append(self.source.problem(path, what, expected, near))
        self.used |= self.read[text].names
        if not self.read[text].names:
            what = f"{at}: {describe(text)} has no name of [{KEY}] in it"
            self.problems.append(self.source.problem(path, what, f"the value itself, without {SIGN}"))

    def _wrong(self, path: Path, error: BadExpression) -> None:
        what = f"{spot(path)}: {error.what}"
        self.problems.append(self.source.problem(path, what, error.expected, error.nearest))


@dataclass
class _Size:
    """The values of one size, put in their places."""

    places: _Places
    values: dict[str, Any]
    units: Units
    source: Source
    problems: list[Problem] = field(default_factory=list)
    _done: dict[int, Any] = field(default_factory=dict)

    def under(self, key: str, value: Any, kept: Sequence[int] | None) -> Any:
        """What stands under a key at the top of the file, or, of a list of tables, those of its entries."""
        return self.at((key,), value) if kept is None else [self.at((key, k), value[k]) for k in kept]

    def at(self, path: Path, value: Any) -> Any:
        """A value of the file as it is in this size."""
        if isinstance(value, str):
            return self._value(path, value) if value.startswith(SIGN) else value
        if not isinstance(value, Mapping | list | tuple) or len(path) > MOST_LAYERS:
            return value  # nothing of a scene lies so deep, and validation says so
        # Tables from Python may hold one list in many places: each is gone through once.
        if id(value) not in self._done:
            inside = value.items() if isinstance(value, Mapping) else enumerate(value)
            made = {key: self.at((*path, key), one) for key, one in inside}
            self._done[id(value)] = made if isinstance(value, Mapping) else list(made.values())
        return self._done[id(value)]

    def _value(self, path: Path, text: str) -> Any:
        try:
            return self.places.read[text].value(self.values, self.units)
        except BadExpression as error:
            what = f"{spot(path)}: {error.what}"
            self.problems.append(self.source.problem(path, what, error.expected, error.nearest))
            return None


def spot(path: Sequence[Key]) -> str:
    """The key in its table, as the user would write it: ``to, entry 1``.

    >>> spot(("place", 0, "shims", 0, "by"))
    'shims, entry 1, by'
    """
    inside = [*path[2:]] if len(path) > 2 else [*path[-1:]]
    return ", ".join(f"entry {part + 1}" if isinstance(part, int) else describe(part).strip('"') for part in inside)


def merged(found: Iterable[tuple[str, Sequence[Problem]]]) -> list[Problem]:
    """The problems of all sizes in one list: those that every size has alike once, the others with their sizes.

    Args:
        found: name and problems of each size; a file of one size has no need of its name.
    """
    sizes = list(found)
    alike: dict[Problem, list[str]] = {}
    for name, problems in sizes:
        for one in dict.fromkeys(replace(problem, size="") for problem in problems):
            alike.setdefault(one, []).append(name)
    return [
        problem if len(names) == len(sizes) else replace(problem, size=some_names(names, 4))
        for problem, names in alike.items()
    ]


def size_title(title: str, size: str) -> str:
    """What the work of one size is called.

    >>> size_title("Kayak rack", "two kayaks")
    'Kayak rack, two kayaks'
    """
    tail = f", {size}"
    return title[: LONGEST_TEXT - len(tail)] + tail


def is_by_size(title: Any) -> bool:
    """Whether a title says itself which size it is of."""
    return isinstance(title, str) and title.startswith(SIGN)
