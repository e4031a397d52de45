"""Which blocks are tried as the stop that a piece lacks: those in use, then shipped ones, shimmed ones, made ones."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from fixture3d.errors import FixtureError
from fixture3d.frame import Array
from fixture3d.job import Job
from fixture3d.job.inventory import given, table_pattern
from fixture3d.job.owned import Stocked, allot, is_shim, named
from fixture3d.part import Part, parameters
from fixture3d.scene.schema import Clamp, Place
from fixture3d.tolerance import LOCATING
from fixture3d.units import Units, from_mm, show_plain

__all__ = ["HOWS", "SHIPPED", "How", "Kind", "hows", "kind_of", "kinds", "placed_words", "written"]

How = Literal["owned", "owned shimmed", "like", "shipped", "shimmed", "made"]
HOWS: tuple[How, ...] = ("like", "shipped", "shimmed", "made")
"""In the order in which they cost a shop least: what stands there already, its neighbour on the shelf, a shim on it, a
block milled for the job. Where an inventory says what is on the shelf, that comes first (``hows``)."""

SHIPPED = ("slide_stop", "stop_block", "stop_bar")
"""Models that are tried with their own sizes, but as high as the place asks for."""


@dataclass(frozen=True)
class Kind:
    """One kind of block.

    Attributes:
        how: what it takes to have it.
        place: it in some hole, without turn.
        like: name of the block in the setup that is of this kind; empty where there is none.
        owned: whether it lies on the shelf; None without an inventory.
    """

    how: How
    place: Place
    like: str = ""
    owned: bool | None = None


def hows(job: Job) -> tuple[How, ...]:
    """The sorts of blocks that are tried, in their order."""
    return ("owned", "owned shimmed", *HOWS) if job.scene.stock else HOWS


def kinds(job: Job, how: How, point: Array, push: Array) -> Iterator[Kind]:
    """The kinds of one sort that may stop a piece at a place.

    Args:
        job: the setup.
        how: which sort.
        point: (3,) mm, on the face that is to be stopped.
        push: (3,) unit, the way the stop pushes.
    """
    shelf = [one for one, _ in allot(job, table_pattern(job.scene)).free()] if job.scene.stock else []
    owned = False if job.scene.stock else None
    hole = _hole(job, point)
    if how in ("owned", "owned shimmed"):
        yield from _owned(job, how, shelf, hole)
        return
    in_use = [one for one in _in_use(job) if not _on_shelf(job.seats[one.like].part, one.place, shelf)]
    if how in ("like", "shimmed"):
        yield from (Kind(how, one.place, one.like, owned) for one in in_use)
    if how in ("shipped", "shimmed"):
        known = {kind_of(one.place) for one in _in_use(job)}
        for name in SHIPPED if hole else ():
            height = _height(job, name, float(point[2]))
            if height is not None:
                place = Place(name="S0", model=name, hole=hole).model_copy(update={"with_": {"height": height}})
                part = job.library.make(name, table_pattern(job.scene), place.with_, job.scene.units)
                if kind_of(place) not in known and not _on_shelf(part, place, shelf):
                    yield Kind(how, place, owned=owned)
    if how == "made":
        yield from (Kind(how, one.place, owned=owned) for one in _made(job, point, push))


def _owned(job: Job, how: How, shelf: Sequence[Stocked], hole: str | None) -> Iterator[Kind]:
    """The blocks on the shelf that stand on pins."""
    for one in shelf if hole else ():
        if one.part.tip() is None and one.part.stands == "pins" and not is_shim(one.part):
            sizes = {key: _number(value) for key, value in given(one.part, job.scene.units).items()}
            place = Place(name="S0", model=one.part.model, hole=hole).model_copy(
                update={"with_": sizes, "mark": one.mark}
            )
            yield Kind(how, place, owned=True)


def _on_shelf(part: Part, place: Place, shelf: Sequence[Stocked]) -> bool:
    return any(one.fits(part, named(place)) for one in shelf)


def _in_use(job: Job) -> Iterator[Kind]:
    """Each kind of block in use that stands in a hole of the table, once."""
    seen = set()
    for seat in job.seats.values():
        place = seat.place
        if isinstance(place, Clamp) or place.hole is None or ":" in place.hole or place.free is not None:
            continue
        if kind_of(place) not in seen:
            seen.add(kind_of(place))
            bare = {"shims": (), "notch": None, "slide": None, "pins": None, "stages": None}
            yield Kind("like", place.model_copy(update=bare), seat.name)


def kind_of(place: Place) -> str:
    """What two blocks of one kind have in common."""
    return repr((place.model, sorted(place.with_.items()), place.face, place.bolt))


def _height(job: Job, model: str, z: float) -> float | None:
    """A neat height that reaches a little over ``z``, in the file's units; None where the model is not so high."""
    if model not in job.library.entries:
        return None
    pattern = table_pattern(job.scene)
    known = parameters(job.library.entries[model].model)
    if "height" not in known:
        return None
    least, most = known["height"].resolved("low", pattern), known["height"].resolved("high", pattern)
    height = min(max(pattern.neat(z + LOCATING.over), least), most)
    return None if height < z else _number(from_mm(height, job.scene.units))


def _hole(job: Job, point: Array) -> str | None:
    """A hole of the table near a place, only to have one."""
    near = job.table.nearest_holes((float(point[0]), float(point[1])), 1)
    return near[0].name if near else None


def _made(job: Job, point: Array, push: Array) -> Iterator[Kind]:
    """A stop block whose depth is twice what lies between a row of holes and the face."""
    axis = int(np.argmax(np.abs(push[:2])))
    pattern, pitch = table_pattern(job.scene), job.table.pitch[axis]
    height, hole = _height(job, "stop_block", float(point[2])), _hole(job, point)
    if height is None or hole is None:
        return
    length = pattern.neat(pattern.pitch + 2.0 * pattern.bore)  # too short for the bores at 45 degrees: they lie off
    nearest = round(float(point[axis]) / pitch)
    for step in range(nearest - 2, nearest + 3):
        half = float(push[axis]) * (float(point[axis]) - step * pitch)
        if half < pattern.bore:
            continue
        sizes = {"length": length, "depth": 2.0 * half}
        given = {name: _number(from_mm(mm, job.scene.units)) for name, mm in sizes.items()} | {"height": height}
        try:
            part: Part = job.library.make("stop_block", pattern, given, job.scene.units)
        except FixtureError:
            continue
        if abs(part.box()[1][1] - half) < 1e-6:
            place = Place(name="S0", model="stop_block", hole=hole).model_copy(update={"with_": given})
            yield Kind("made", place)


def _number(value: float) -> float:
    """A number as a file has it: whole where it is, and without the last digits of its arithmetic."""
    value = round(value, 6)
    return int(value) if value == int(value) else value


def placed_words(kind: Kind, place: Place, units: Units) -> str:
    """A block and its place as the file has them, in words: "slide_stop in hole E6, turn = 0, notch = 13"."""
    what = {"like": f"one more block like {kind.like}", "made": f"a {place.model} made for it,"}
    words = what.get(kind.how, f"one more block like {kind.like}" if kind.like else f"a {place.model}")
    if kind.owned is not None:
        lacks = f"{words.removesuffix(',')} (the shop owns none that is free)"
        words = f"an owned {place.model}" if kind.owned else lacks
    words += f" marked {place.mark}" if place.mark is not None else ""
    words += f" in hole {place.hole}, turn = {place.turn:g}"
    if place.notch is not None:
        words += f", notch = {place.notch}"
    if place.with_ and not kind.like:
        sizes = ", ".join(f"{name} = {written(value, units)}" for name, value in place.with_.items())
        words += f", with = {{ {sizes} }}"
    for shim in place.shims:
        by = ", ".join(written(from_mm(one, units), units) for one in shim.by)
        words += f', shims = [{{ pad = "{shim.pad}", by = [{by}] }}]'
    return words


def written(value: object, units: Units) -> str:
    """A length as a file has it: a number, or an inch fraction in quotes."""
    if not isinstance(value, int | float):
        return f'"{value}"'
    if units == "mm":
        return f"{_number(round(value, 3)):g}"
    shown = show_plain(value * 25.4, units).removesuffix(f" {units}")
    return f'"{shown}"' if "/" in shown else shown
