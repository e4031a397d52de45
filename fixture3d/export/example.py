"""The shortest scene that places a model, tried before it is shown."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from fixture3d.checks.base import quiet
from fixture3d.checks.seating import CHECK
from fixture3d.errors import FixtureError, one_line
from fixture3d.job.resolve import resolve
from fixture3d.library import Library
from fixture3d.part import Part, Pattern
from fixture3d.scene import Scene, loads
from fixture3d.scene.write import tables_text
from fixture3d.units import Units, from_mm

_COLUMNS, _ROWS = 20, 14  # holes of the table in the examples


@dataclass(frozen=True, kw_only=True)
class Example:
    """A scene.

    Attributes:
        text: the whole file.
        doubt: what the seating check holds against it, in words; empty when it stands.
    """

    text: str
    doubt: str


def example(part: Part, library: Library, table: str, units: Units) -> Example:
    """The shortest scene in which a model of the library stands, at its default sizes.

    Args:
        part: the model at its default sizes, for its pins.
        library: that knows it.
        table: a one-line table of some size.
        units: of the file.

    Returns:
        The first of the tried ones that the seating check has nothing against; the first one, where none is.
    """
    first: Example | None = None
    for blocks in _tries(part, table, units):
        data: dict[str, Any] = {"format": 1, **({"units": units} if units == "in" else {}), "table": table, **blocks}
        try:
            text = tables_text(data)
            findings = CHECK.run(resolve(loads(text), library), quiet).findings
            wrong = [one_line(f.message) for f in findings if f.level in ("fail", "warn")]
            tried = Example(text=text, doubt="; ".join(wrong))
        except FixtureError as error:
            tried = Example(text="", doubt=one_line(str(error)))
        if not tried.doubt:
            return tried
        if first is None or not first.text:
            first = tried
    return first or Example(text="", doubt="no way to place it is known")


def pressing(part: Part, units: Units) -> str:
    """The lines that a ``[[clamp]]`` takes besides, to press a piece of the weldment; empty for other models."""
    tip = part.tip()
    if tip is None:
        return ""
    verb = "draws down" if tip.pulls else "presses"
    along = f"{from_mm(2.0 * part.pattern.pitch, units):.9g}"
    rows = [
        ('presses = "NAME"', f"the [[member]] that it {verb}"),
        (f"at = {along}", f"{units} along that member from its first end"),
        ('toward = "R1"', "the block that supports the member there"),
    ]
    return "".join(f"{line:<18} # {words}\n" for line, words in rows)


def example_table(text: str, pattern: Pattern, units: Units) -> str:
    """A one-line table with a size: as it is given, or of 20 by 14 holes."""
    if " " in text.strip():
        return text.strip()
    wide, deep = (from_mm(n * pattern.pitch, units) for n in (_COLUMNS, _ROWS))
    return f"{text.strip()} {wide:.9g}x{deep:.9g}"


def _tries(part: Part, table: str, units: Units) -> Iterator[Mapping[str, Any]]:
    """Ways to place one block, the plainest first."""
    clamp = part.tip() is not None
    kind, own = ("clamp", {"name": "K1"}) if clamp else ("place", {"name": "S1"})
    own["model"] = part.model
    pitch = from_mm(part.pattern.pitch, units)
    if part.stands == "edge":
        yield {kind: [{**own, "edge": "front", "along": round(8 * pitch, 9)}]}
        return
    if part.stands == "magnet":
        at = [round(8 * pitch, 9), round(5 * pitch, 9), 0, 0]
        yield {kind: [{**own, "free": at, "magnet": True}]}
        return
    found = Scene.from_dict({"format": 1, "units": units, "table": table}).table
    hole = found.hole_name(found.columns * 2 // 5, found.rows * 2 // 5)
    for more in ({}, {"turn": 90}, {"bolt": True}, {"bolt": True, "turn": 90}):
        yield {kind: [{**own, "hole": hole, **more}]}
    below = {"name": "R1", "model": "riser", "hole": hole}
    yield {"place": [below], kind: [{**own, "on": "R1"}]} if clamp else {"place": [below, {**own, "on": "R1"}]}
