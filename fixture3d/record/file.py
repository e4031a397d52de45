"""Writing to a record file: entries are put behind those that are there, which stay as they were typed.

The file is read, added to and replaced while the folder is locked; where nothing can be locked, it is looked at again
just before it is replaced. It is written whole or not at all (``fixture3d.output``).
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from fixture3d.errors import OutputRefused, Problem, SceneError, one_line
from fixture3d.output import check_target, write_text
from fixture3d.record.lock import locked
from fixture3d.scene.read import read_text
from fixture3d.scene.record import AsSet, Measured, Record, degrees_of, load_record, read_record
from fixture3d.scene.write import tables_text
from fixture3d.units import Units, length

__all__ = ["Joined", "Table", "add", "join", "same_thing"]

Table = tuple[str, Mapping[str, Any]]
"""Kind and keys of one entry, as they stand in the file."""
_TRIES: Final = 50  # of a file that others keep changing where nothing can be locked


@dataclass(frozen=True, kw_only=True)
class Joined:
    """What came of joining another record.

    Attributes:
        record: as it is now.
        added: entries that are new here.
        known: how many were there already.
        against: pairs of an entry that was there and a new one that says something else on the same thing.
    """

    record: Record
    added: tuple[Measured | AsSet, ...]
    known: int
    against: tuple[tuple[Measured | AsSet, Measured | AsSet], ...]


def add(path: Path, scene_units: Units, entries: Sequence[Table]) -> Record:
    """Add entries to a record, which is made when there is none.

    Args:
        path: of the file.
        scene_units: of bare numbers in a new file.
        entries: in their order.

    Returns:
        The record as it is now.

    Raises:
        SceneError: what is there is broken, or an entry is wrong; nothing is written then.
        OutputRefused: it cannot be written.
    """
    blocks = [_block(kind, keys) for kind, keys in entries]
    return _changed(path, scene_units, lambda _: blocks)


def join(path: Path, scene_units: Units, other: Path) -> Joined:
    """Put the entries of another record behind those of this one, each that is the same only once.

    Args:
        path: of this record; it is made when there is none.
        scene_units: of bare numbers where a file does not say.
        other: the other file.

    Raises:
        SceneError: one of them is broken, or they are in different units; nothing is written then.
        OutputRefused: it cannot be written.
    """
    theirs = load_record(other, scene_units)
    told: list[Joined] = []

    def blocks(ours: Record) -> list[str]:
        if theirs.units != ours.units:
            what = f"its bare numbers are in {theirs.units}, those of {one_line(str(path))} in {ours.units}"
            raise SceneError([Problem(what=what, file=str(other), expected="the same units in both")])
        known = {_said(one, ours.units) for one in ours.entries}
        new = [(one, text) for one, text in _texts(theirs) if _said(one, theirs.units) not in known]
        first: dict[Any, tuple[Measured | AsSet, str]] = {}
        for one, text in new:  # the same twice in the other file
            first.setdefault(_said(one, theirs.units), (one, text))
        added = [one for one, _ in first.values()]
        against = [(old, one) for one in added for old in _ours(ours, one) if _differ(old, one, ours.units)]
        count = len(theirs.measured) + len(theirs.as_set)
        told[:] = [Joined(record=ours, added=tuple(added), known=count - len(new), against=tuple(against))]
        return [text for _, text in first.values()]

    now = _changed(path, scene_units, blocks, theirs.units)
    return Joined(record=now, added=told[0].added, known=told[0].known, against=told[0].against)


def same_thing(a: Measured | AsSet, b: Measured | AsSet) -> bool:
    """Whether two entries speak of the same thing in the same size and stage of the same setup."""
    if a.size != b.size or a.stage != b.stage or (a.code != b.code and None not in (a.code, b.code)):
        return False
    if isinstance(a, Measured):
        return isinstance(b, Measured) and a.figure == b.figure
    if not isinstance(b, AsSet) or a.place != b.place:
        return False
    both_move = _moves(a) and _moves(b)
    return both_move or (a.shims is not None and b.shims is not None)


def _changed(path: Path, scene_units: Units, blocks: Any, new_units: Units | None = None) -> Record:
    """The record after some texts are put behind what is in its file; it is left alone when there is nothing to put.

    Args:
        path: of the file.
        scene_units: of bare numbers in a file that does not say.
        blocks: gives the texts for the record as it is.
        new_units: of a file that is made; None takes those of the scene.
    """
    check_target(path, force=True)
    with locked(path.parent):
        for _ in range(_TRIES):
            raw = _raw(path)
            text = f'format = 1\nunits = "{new_units or scene_units}"\n' if not raw.strip() else read_text(str(path))
            before = read_record(text, str(path), scene_units)
            new: list[str] = blocks(before)
            if not new:
                return before
            longer = "\n\n".join([text.rstrip("\n"), *new]) + "\n"
            after = _read_again(longer, before, path, scene_units)
            if _raw(path) != raw:
                continue  # somebody else was quicker, and nothing was locked
            write_text(path, longer.replace("\n", "\r\n") if b"\r\n" in raw else longer, force=True)
            return after
    raise OutputRefused(f"{one_line(str(path))}: others keep changing it; try again")


def _read_again(text: str, before: Record, path: Path, scene_units: Units) -> Record:
    """The longer record, of which the first entries are those that were there."""
    try:
        after = read_record(text, str(path), scene_units)
    except SceneError as error:
        if any(problem.what.startswith("not valid TOML") for problem in error.problems):
            what = "its entries are in one list, and no more can be put behind it"
            expected = "[[measured]] and [[as_set]] tables"
            raise SceneError([Problem(what=what, file=str(path), expected=expected)]) from None
        raise
    if after.measured[: len(before.measured)] != before.measured or after.as_set[: len(before.as_set)] != before.as_set:
        raise SceneError([Problem(what="entries cannot be put behind what is there", file=str(path))])
    return after


def _raw(path: Path) -> bytes:
    try:
        return path.read_bytes()
    except FileNotFoundError:
        return b""
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        raise OutputRefused(f"{one_line(str(path))}: cannot be read: {one_line(reason)}") from None


def _block(kind: str, keys: Mapping[str, Any]) -> str:
    return tables_text({kind: [keys]}).strip()


def _texts(record: Record) -> Iterator[tuple[Measured | AsSet, str]]:
    """Every entry in the order of the file, with its text and the comments on it."""
    rows = record.source.text.split("\n")
    each = sorted(((record.line(*record.index(one)), one) for one in record.entries), key=lambda entry: entry[0])
    starts = [_with_comments(rows, line) for line, _ in each] + [len(rows)]
    for number, (line, one) in enumerate(each):
        if rows[line - 1].lstrip().startswith("[["):
            yield one, "\n".join(rows[starts[number] : starts[number + 1]]).strip("\n")
        else:  # of a list in one line
            kind, index = record.index(one)
            yield one, _block(kind, record.source.data[kind][index])


def _with_comments(rows: Sequence[str], line: int) -> int:
    """Index of the first row of an entry: its header, or the comments right above it."""
    first = line - 1
    while first > 0 and rows[first - 1].lstrip().startswith("#"):
        first -= 1
    return first


def _said(one: Measured | AsSet, file_units: Units) -> tuple[Any, ...]:
    """All that an entry says; the same for two that say the same."""
    data = {key: value for key, value in one.model_dump(mode="json").items() if value is not None and key != "value"}
    return (type(one).__name__, repr(sorted(data.items())), _amount(one, file_units))


def _amount(one: Measured | AsSet, file_units: Units) -> float | None:
    """A measured value as one number: mm, or degrees where it says so."""
    if not isinstance(one, Measured):
        return None
    angle = degrees_of(one.value) if isinstance(one.value, str) else None
    return angle if angle is not None else length(one.value, file_units)


def _ours(record: Record, one: Measured | AsSet) -> list[Measured | AsSet]:
    return [old for old in record.entries if same_thing(old, one)]


def _differ(a: Measured | AsSet, b: Measured | AsSet, file_units: Units) -> bool:
    if isinstance(a, AsSet) and isinstance(b, AsSet):
        moved = _moves(a) and _moves(b) and (a.notch, a.slide) != (b.notch, b.slide)
        return moved or (a.shims is not None and b.shims is not None and a.shims != b.shims)
    return _amount(a, file_units) != _amount(b, file_units)


def _moves(one: AsSet) -> bool:
    return one.notch is not None or one.slide is not None
