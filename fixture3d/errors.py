"""Everything that can be wrong with what the user gave, one class a situation.

A wrong input is an exception from this tree and ends the command with exit code 2. A setup that is well
described but does not work is never an exception: it is a finding of a check.
"""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final

_LONG: Final = 60  # characters of a name that a list of names shows


class FixtureError(Exception):
    """Base of all errors that the user can mend. ``str()`` is one line, or one line a problem."""


@dataclass(frozen=True, kw_only=True)
class Problem:
    """One thing wrong in one place of a scene file.

    Attributes:
        what: what was found, in plain words.
        where: the item it concerns, such as ``place "S1"``; empty for the file as a whole.
        file: path as the user wrote it; empty for scenes made from a dictionary.
        line: line number from 1; 0 when it is not known.
        expected: what would have been right; may be empty.
        nearest: the nearest thing that would work; may be empty.
        size: of a file with sizes, those that have it, in quotes; empty where all have it.
    """

    what: str
    where: str = ""
    file: str = ""
    line: int = 0
    expected: str = ""
    nearest: str = ""
    size: str = ""

    def __str__(self) -> str:
        place = self.file + (f":{self.line}" if self.line else "") if self.file else ""
        size = f"size {self.size}" if self.size else ""
        where = ", ".join(part for part in (self.where, size) if part)
        head = ": ".join(part for part in (place, where, self.what) if part)
        if self.expected:
            head += f"; expected {self.expected}"
        if self.nearest:
            head += f"; nearest: {self.nearest}"
        return one_line(head)


class SceneError(FixtureError):
    """The scene file cannot be used.

    Attributes:
        problems: those that are told, every one found in one run; the last counts the rest where they are very many.
        every: all of them, where the last of the told ones is a count.
    """

    def __init__(self, problems: Sequence[Problem], every: Sequence[Problem] | None = None) -> None:
        self.problems = tuple(problems)
        self.every = self.problems if every is None else tuple(every)
        super().__init__("\n".join(str(problem) for problem in self.problems))


class UnitError(FixtureError):
    """A length or angle that cannot be read."""


class TableError(FixtureError):
    """A hole or grid that the table does not have."""


class StockError(FixtureError):
    """A stock designation that cannot be read, or one of impossible size."""


class ModelError(FixtureError):
    """A model that is not known, or parameters that it cannot be built with."""


class BadSolid(FixtureError):
    """A solid that is open, empty, self-crossing, inside out or otherwise unusable."""


class ImportFailed(FixtureError):
    """A file with geometry that cannot be read."""


class OutputRefused(FixtureError):
    """An output file that may not be written: it exists, or its name is not allowed."""


class MissingLibrary(FixtureError):
    """A library or system file that this one command needs is not there."""


def one_line(text: str) -> str:
    r"""``text`` with control characters made visible, so that it stays one line of a terminal.

    >>> one_line("a\nb")
    'a\\nb'
    """
    return "".join(c if c.isprintable() else repr(c)[1:-1] for c in text)


def listed(names: Iterable[str]) -> str:
    """Names one after the other, the last one after an "and"; nothing of none.

    >>> listed([]), listed(["S1"]), listed(["S1", "S2", "S3"])
    ('', 'S1', 'S1, S2 and S3')
    """
    *most, last = [*names] or [""]
    return f"{', '.join(most)} and {last}" if most else last


def some_names(names: Sequence[str], most: int = 8) -> str:
    """The first few names in quotes, long ones cut short, and how many more there are.

    >>> some_names(["rail", "a" * 100], 1)
    '"rail" and 1 more'
    """
    cut = (f"{name[:_LONG]}..." if len(name) > _LONG else name for name in names[:most])
    return ", ".join(f'"{one}"' for one in cut) + (f" and {len(names) - most} more" if len(names) > most else "")


def nearest_name(name: str, known: Iterable[str]) -> str:
    """The known name most like ``name`` in quotes, else one that begins with it; an empty string when none is alike.

    >>> nearest_name("stop_blok", ["stop_block", "riser"])
    '"stop_block"'
    """
    names = sorted(known)
    folded = {n.casefold(): n for n in names}
    close = difflib.get_close_matches(name.casefold(), folded, n=1, cutoff=0.55)
    if not close and len(name) >= 2:
        close = [n for n in folded if n.startswith(name.casefold())]
    return f'"{folded[close[0]]}"' if close else ""
