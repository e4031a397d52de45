"""The blocks of the inventory as blocks: nominal and as measured, and which of them stands where in a setup."""

from __future__ import annotations

import dataclasses
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from fixture3d.errors import ModelError, Problem, UnitError, nearest_name, some_names
from fixture3d.job.job import Job, Seat
from fixture3d.library import Library
from fixture3d.part import Part, Pattern, parameters
from fixture3d.scene import Scene
from fixture3d.scene.schema import Clamp, Place
from fixture3d.scene.stock import StockLine, stock_of
from fixture3d.tolerance import SETTING, SHOP
from fixture3d.units import describe, length, show

_SAME = 1e-6  # mm or degrees; two parameters that differ by less are one


@dataclass(frozen=True, eq=False)
class Stocked:
    """The blocks of one line of the inventory.

    Attributes:
        line: of the inventory.
        part: one of them, nominal.
    """

    line: StockLine
    part: Part

    @property
    def count(self) -> int:
        """How many there are."""
        return self.line.record.count

    @property
    def mark(self) -> str | None:
        """Stamped on the one block of the line."""
        return self.line.record.mark

    @cached_property
    def measured(self) -> dict[str, float]:
        """Lengths as measured, mm, where they are not nominal; read before by ``stock_problems``."""
        return {key: length(value, self.line.units) for key, value in self.line.record.measured.items()}

    @cached_property
    def true(self) -> Part:
        """One of them as measured; the nominal one where nothing was measured."""
        return as_measured(self.part, self.measured)

    @cached_property
    def _names(self) -> tuple[str, ...]:
        """Of the parameters of its model."""
        return tuple(parameters(type(self.part)))

    def fits(self, part: Part, named: Collection[str]) -> bool:
        """Whether a block of the line can be what stands somewhere.

        What neither names may differ: a clamp that reaches by itself to where it presses is the same clamp.

        Args:
            part: that stands there.
            named: its parameters that the scene names.
        """
        if type(part) is not type(self.part) or part.pattern != self.part.pattern:
            return False
        given = {*named, *self.line.record.with_}
        return all(
            abs(float(getattr(part, key)) - float(getattr(self.part, key))) <= _SAME
            for key in self._names
            if key in given or part.tip() is None
        )

    def is_like(self, part: Part) -> bool:
        """Whether they are of all the same sizes."""
        return self.fits(part, self._names)


def as_measured(part: Part, measured: Mapping[str, float]) -> Part:
    """A block with the lengths that were measured on it, mm, whatever the range of its model is."""
    sizes: dict[str, Any] = dict(measured)
    return dataclasses.replace(part, **sizes) if sizes else part


def stocked(scene: Scene, library: Library, pattern: Pattern) -> tuple[Stocked, ...]:
    """The blocks of every line of the inventory, without loose dowels and bolts.

    Raises:
        ModelError: a line that cannot be built; ``stock_problems`` says which.
        SceneError: the shop's file cannot be read.
    """
    lines = (line for line in stock_of(scene) if line.record.model is not None)
    return tuple(Stocked(line, _made(line, library, pattern)) for line in lines)


def _made(line: StockLine, library: Library, pattern: Pattern) -> Part:
    return library.make(line.record.model or "", pattern, line.record.with_, line.units)


def stock_problems(scene: Scene, library: Library, pattern: Pattern) -> Iterator[Problem]:
    """What is wrong with the lines of the inventory, each with its file and line.

    Raises:
        SceneError: the shop's file cannot be read.
    """
    marks: dict[str, StockLine] = {}
    for line in stock_of(scene):
        mark = line.record.mark
        if mark is not None and marks.setdefault(mark, line) is not line:
            first = marks[mark]
            where = f"line {first.source.line_of(('inventory', first.number, 'mark'))}"
            where += "" if first.source is line.source else f" of {first.source.path}"
            yield line.problem("mark", f"the mark {describe(mark)} is on another block, {where}", "a mark for each")
        if line.record.model is None:
            continue
        try:
            part = _made(line, library, pattern)
        except ModelError as error:
            yield from (line.problem("model", text) for text in str(error).splitlines())
            continue
        for what, *rest in _measured_faults(line, part):
            yield line.problem("measured", f"measured: {what}", *rest)


def _measured_faults(line: StockLine, part: Part) -> Iterator[tuple[str, str, str]]:
    """What was found, what is expected, and the nearest."""
    known = {name: p for name, p in parameters(type(part)).items() if p.kind == "length"}
    for key, value in line.record.measured.items():
        if key not in known:
            near = nearest_name(key, known)
            what = f"{line.record.model} has no length {describe(key)}"
            yield what, "" if near else f"one of {some_names(list(known))}", near
            continue
        try:
            mm = length(value, line.units)
        except UnitError as error:
            what, _, expected = str(error).partition("; ")
            yield f"{key}: {what}", expected.removeprefix("write "), ""
            continue
        nominal = float(getattr(part, key))
        if abs(mm - nominal) > SHOP.measured_most:
            what = f"{key} = {show(mm, line.units)} where the block is of {show(nominal, line.units)}"
            most = show(SHOP.measured_most, line.units)
            yield what, f"at most {most} off; list it as a block of its own size under with", ""


def mark_problems(scene: Scene, library: Library, pattern: Pattern, seats: Mapping[str, Seat]) -> Iterator[Problem]:
    """Places that name a mark which the inventory does not have, which is on another block, or which is taken.

    Without an inventory a mark is only a name on the sheet.
    """
    from fixture3d.scene import problem

    marked = [seat for seat in seats.values() if seat.place.mark is not None]
    lines = stocked(scene, library, pattern) if marked else ()
    if not lines:
        return
    known = {one.mark: one for one in lines if one.mark is not None}
    taken: dict[str, str] = {}
    for seat in marked:
        mark = seat.place.mark or ""
        one = known.get(mark)
        if one is None:
            what, near = f"no block of the inventory has the mark {describe(mark)}", nearest_name(mark, known)
            expected = "" if near else f"one of {some_names(sorted(known))}" if known else "an [[inventory]] with it"
            yield problem(scene, seat.place, "mark", f"mark: {what}", expected, near)
        elif not one.fits(seat.part, named(seat.place)):
            its, asked = _words(one.part, scene), _words(seat.part, scene)
            what = f"mark: {describe(mark)} is on a {its}, and a {asked} is asked for"
            yield problem(scene, seat.place, "mark", what, "the model and sizes of that block, or another mark")
        elif mark in taken:
            yield problem(
                scene, seat.place, "mark", f"mark: {describe(mark)} stands at {taken[mark]} already", "another mark"
            )
        taken.setdefault(mark, seat.name)


def _words(part: Part, scene: Scene) -> str:
    from fixture3d.job.inventory import size_in_words

    size = size_in_words(part, scene.units)
    return part.model if size == "standard" else f"{part.model} ({size})"


def named(place: Place | Clamp) -> frozenset[str]:
    """The parameters that the scene names of a block: others of a clamp follow from where it presses."""
    return frozenset(place.with_)


def is_shim(part: Part) -> bool:
    """A plate so thin that it may stand before a face as well as lie under a block."""
    low, high = part.box()
    return high[2] - low[2] <= SETTING.thickest and bool(part.sockets()) and part.move() is None


# --- which of them stands where ---------------------------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class Allotment:
    """Which blocks of the inventory stand where.

    Attributes:
        lines: of the inventory.
        of: name of a seat to the line that its block comes from; not of those for which there is none left.
        left: of each line, how many lie on the shelf.
    """

    lines: tuple[Stocked, ...]
    of: Mapping[str, Stocked]
    left: tuple[int, ...]

    def free(self) -> Iterator[tuple[Stocked, int]]:
        """Lines with blocks on the shelf, and how many."""
        return ((one, count) for one, count in zip(self.lines, self.left, strict=True) if count > 0)


def allot(job: Job, pattern: Pattern) -> Allotment:
    """Give every block that stands in a setup one of the inventory's, as far as they go.

    First those with a mark, then in the order of the file; of lines that fit, one with the very sizes goes first, and
    one without a mark before one with.
    """
    lines = stocked(job.scene, job.library, pattern)
    left = [one.count for one in lines]
    of: dict[str, Stocked] = {}
    for seat in sorted(job.seats.values(), key=lambda seat: seat.place.mark is None):
        keys, mark = named(seat.place), seat.place.mark
        fitting = [
            (not one.is_like(seat.part), one.mark is not None, k)
            for k, one in enumerate(lines)
            if left[k] > 0 and one.fits(seat.part, keys) and (mark is None or one.mark == mark)
        ]
        if fitting:
            k = min(fitting)[-1]
            of[seat.name] = lines[k]
            left[k] -= 1
    return Allotment(lines, of, tuple(left))


def true_line(lines: Collection[Stocked], seat: Seat) -> Stocked | None:
    """The line with the measured lengths of a block that stands somewhere; None where it is not known.

    Without a mark it is known only where all blocks of the kind were measured alike.
    """
    mark = seat.place.mark
    fitting = [one for one in lines if one.fits(seat.part, named(seat.place)) and (mark is None or one.mark == mark)]
    if not fitting or not fitting[0].measured or any(one.measured != fitting[0].measured for one in fitting):
        return None
    return fitting[0]


def unsure(lines: Collection[Stocked], seat: Seat) -> bool:
    """Whether some blocks of its kind were measured, and it is not said which of them stands there."""
    if seat.place.mark is not None or true_line(lines, seat) is not None:
        return False
    return any(one.measured for one in lines if one.fits(seat.part, named(seat.place)))
