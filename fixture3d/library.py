"""Collect the models from the content folders and make blocks from them.

The shipped models are reached through ``fixture3d._library`` so that somebody else's ``models/`` folder can never
shadow them. A user's own models come only from folders that the person at the keyboard names.
"""

from __future__ import annotations

import hashlib
import importlib
import importlib.util
import inspect
import pkgutil
import sys
import traceback
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from types import ModuleType
from typing import Any, Literal

from fixture3d.errors import BadSolid, FixtureError, ModelError, nearest_name, one_line
from fixture3d.part import Part, Pattern, build, prove

_SHIPPED = "fixture3d._library.models"


@dataclass(frozen=True, kw_only=True)
class Entry:
    """One model of the library.

    Attributes:
        name: what a scene calls it.
        model: the marked dataclass.
        digest: of the source files that its solid depends on; part of every cache key.
        summary: the first line of its docstring.
        file: of a user's own model, the file it stands in; empty for a shipped one.
    """

    name: str
    model: type[Part]
    digest: str
    summary: str
    file: str = ""

    @contextmanager
    def _blamed(self) -> Iterator[None]:
        """Whatever a user's own model does wrong is his to mend: one line that names the file."""
        head = f'{self.file}: model "{self.name}"'
        try:
            yield
        except BadSolid as error:
            raise BadSolid(f"{head}: {one_line(str(error))}") from error
        except FixtureError as error:
            raise ModelError("\n".join(f"{self.file}: {line}" for line in str(error).split("\n"))) from error
        except (Exception, SystemExit) as error:
            said = one_line(f"{type(error).__name__}: {error}")
            raise ModelError(f"{head} cannot be built: {said}{line_in(error, self.file)}") from error

    def guarded(self, work: Callable[[], Any]) -> Callable[[], Any]:
        """``work``, and for a user's own model so that it raises `ModelError` or `BadSolid` and nothing else."""
        if not self.file:
            return work

        def run() -> Any:
            with self._blamed():
                return work()

        return run


def line_in(error: BaseException, file: str) -> str:
    """Where in a file an error arose: the line that its own code had come to; empty where it had none in it.

    A syntax error tells its line by itself.
    """
    lines = [frame.lineno for frame in traceback.extract_tb(error.__traceback__) if _same_file(frame.filename, file)]
    return f" (line {lines[-1]})" if lines else ""


def _same_file(one: str, two: str) -> bool:
    return bool(one) and bool(two) and Path(one).absolute() == Path(two).absolute()


@dataclass(frozen=True)
class Library:
    """All models known in this run, by name."""

    entries: Mapping[str, Entry]

    def entry(self, name: str) -> Entry:
        """The entry of that name.

        Raises:
            ModelError: there is no such model.
        """
        found = self.entries.get(name)
        if found is None:
            near = nearest_name(name, self.entries)
            raise ModelError(
                f'model "{name}" is not known; '
                + (f"nearest: {near}" if near else f"expected one of {', '.join(sorted(self.entries))}")
            )
        return found

    def make(
        self,
        name: str,
        pattern: Pattern,
        given: Mapping[str, object] | None = None,
        units: Literal["mm", "in"] = "mm",
    ) -> Part:
        """One block of a model for a hole pattern.

        Raises:
            ModelError: unknown model or parameter, a value out of range, or a broken rule; or a user's own model
                whose code fails or whose pins, pads, sockets or size make no sense.
        """
        entry = self.entry(name)
        if not entry.file:
            return build(entry.model, pattern, given or {}, units)
        part = entry.guarded(lambda: build(entry.model, pattern, given or {}, units))()
        entry.guarded(lambda: prove(part))()
        return part  # type: ignore[no-any-return]


def read_given(texts: Sequence[str]) -> dict[str, object]:
    """Parameters as typed, ``KEY=VALUE`` each.

    Raises:
        ModelError: one is written otherwise, or given twice.
    """
    given: dict[str, object] = {}
    for text in texts:
        key, _, value = (part.strip() for part in text.partition("="))
        if not key or not value:
            raise ModelError(f'"{one_line(text)}" is not KEY=VALUE; expected such as height=75')
        if key in given:
            raise ModelError(f'"{one_line(key)}" is given twice; expected one value')
        given[key] = value
    return given


def library(folders: Sequence[Path] = ()) -> Library:
    """The shipped models, and those of the named folders.

    Args:
        folders: folders of the user's own models; their Python files are run.

    Raises:
        ModelError: a folder that is missing, a file that cannot be run, or two models of one name.
    """
    entries = dict(_shipped())
    for folder in folders:
        for entry in _from_folder(Path(folder)):
            if entry.name in entries:
                line = inspect.getsourcelines(entry.model)[1]
                whose = entries[entry.name].file or "a shipped one"
                raise ModelError(
                    f'{entry.file}:{line}: model "{entry.name}" is already in the library, {whose}; '
                    "expected another name"
                )
            entries[entry.name] = entry
    return Library(dict(sorted(entries.items())))


@cache
def _shipped() -> Mapping[str, Entry]:
    package = importlib.import_module(_SHIPPED)
    shared = [m.name for m in pkgutil.iter_modules(package.__path__) if m.name.startswith("_")]
    helpers = b"".join(_source(importlib.import_module(f"{_SHIPPED}.{name}")) for name in sorted(shared))
    entries: dict[str, Entry] = {}
    for info in sorted(pkgutil.iter_modules(package.__path__), key=lambda i: i.name):
        if info.name.startswith("_"):
            continue
        for entry in _collect(importlib.import_module(f"{_SHIPPED}.{info.name}"), helpers):
            if entry.name in entries:
                raise ModelError(f'two shipped models are named "{entry.name}"')
            entries[entry.name] = entry
    return entries


def _from_folder(folder: Path) -> Iterator[Entry]:
    if not folder.is_dir():
        raise ModelError(f"{folder}: not a folder; expected one that holds model files")
    files = sorted(folder.glob("*.py"))
    helpers = b"".join(f.read_bytes() for f in files if f.name.startswith("_"))
    tag = hashlib.sha256(str(folder.resolve()).encode()).hexdigest()[:12]
    for file in files:
        if file.name.startswith("_"):
            continue
        name = f"fixture3d_own_{tag}_{file.stem}"
        spec = importlib.util.spec_from_file_location(name, file)
        if spec is None or spec.loader is None:
            raise ModelError(f"{file}: not a Python file")
        module = importlib.util.module_from_spec(spec)
        sys.modules[name] = module
        try:
            spec.loader.exec_module(module)
        except (Exception, SystemExit) as error:
            del sys.modules[name]
            said = one_line(f"{type(error).__name__}: {error}")
            raise ModelError(f"{file}: cannot be run: {said}{line_in(error, str(file))}") from error
        for entry in _collect(module, helpers):
            yield replace(entry, file=str(file))


def _collect(module: ModuleType, helpers: bytes) -> Iterator[Entry]:
    digest = hashlib.sha256(_source(module) + helpers).hexdigest()[:16]
    for value in vars(module).values():
        if (
            isinstance(value, type)
            and issubclass(value, Part)
            and value.__module__ == module.__name__
            and "model" in vars(value)
            and value.model
        ):
            summary = (value.__doc__ or "").strip().partition("\n")[0]
            yield Entry(name=value.model, model=value, digest=digest, summary=summary)


def _source(module: ModuleType) -> bytes:
    return Path(module.__file__).read_bytes() if module.__file__ else b""
