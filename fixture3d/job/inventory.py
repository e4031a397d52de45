"""What a setup takes from the rack, and whether the shop owns enough of it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal

from fixture3d.job.job import Job, Seat
from fixture3d.job.owned import Allotment, allot, is_shim, named
from fixture3d.part import Part, Pattern, parameters
from fixture3d.scene import Scene
from fixture3d.tolerance import SETTING
from fixture3d.units import Units, from_mm, show, show_fine, show_sizes


@dataclass(frozen=True, kw_only=True)
class Pick:
    """One line of the pick list.

    Attributes:
        model: of the library.
        size: the parameters that differ from the model's defaults, in words; ``"standard"`` when none do.
        outer: length, depth and height over all, in words.
        count: how many the setup needs.
        names: the places that use it.
        owned: how many the inventory lists; None when the scene has no inventory.
        short: how many the shop lacks for this line, after the lines before it have taken theirs.
    """

    model: str
    size: str
    outer: str
    count: int
    names: tuple[str, ...]
    owned: int | None
    short: int = 0


SmallKind = Literal["dowel", "bolt", "side bolt", "shim"]


@dataclass(frozen=True, kw_only=True)
class Small:
    """Loose dowels, bolts or shims of one size.

    Attributes:
        what: such as ``"shims 0.5 mm"``.
        kind: dowels, hold-down bolts, bolts for upright faces, or shims.
        size: diameter or thickness, mm.
        count: how many the setup needs.
        names: the places that use shims of the size; empty for dowels and bolts.
        owned: how many the inventory leaves for it; None where it lists none of the kind.
    """

    what: str
    kind: SmallKind
    size: float
    count: int
    names: tuple[str, ...] = ()
    owned: int | None = None

    @property
    def short(self) -> int:
        """How many the shop lacks."""
        return max(0, self.count - self.owned) if self.owned is not None else 0


@dataclass(frozen=True, kw_only=True)
class Shortage:
    """A block, dowel, bolt or shim that the shop owns too few of.

    Attributes:
        model: of the block; the kind of a dowel, bolt or shim.
        what: model and size in words.
        needed: how many the setup takes.
        owned: how many there are for them.
        names: the blocks for which there is none.
        all_names: all places that take the block.
        small: of which loose dowel, bolt or shim; None for a block.
    """

    model: str
    what: str
    needed: int
    owned: int
    names: tuple[str, ...] = ()
    all_names: tuple[str, ...] = ()
    small: Small | None = None


def pick_list(job: Job) -> tuple[Pick, ...]:
    """Blocks by model and size, in the order of their names."""
    used: dict[tuple[str, str], list[str]] = {}
    outer: dict[tuple[str, str], str] = {}
    pattern = table_pattern(job.scene)
    for seat in job.seats.values():
        key = (seat.model, _size(seat.part, pattern, job.scene.units))
        used.setdefault(key, []).append(seat.name)
        outer[key] = outer_size(seat.part, job.scene.units)
    allotted = allot(job, pattern) if job.scene.stock else None
    return tuple(_pick(job, allotted, key, outer[key], names) for key, names in sorted(used.items()))


def _pick(job: Job, allotted: Allotment | None, key: tuple[str, str], outer: str, names: Sequence[str]) -> Pick:
    short = 0 if allotted is None else sum(name not in allotted.of for name in names)
    seat = job.seats[names[0]]
    owned = None
    if allotted is not None:
        owned = sum(one.count for one in allotted.lines if one.fits(seat.part, named(seat.place)))
    return Pick(model=key[0], size=key[1], outer=outer, count=len(names), names=tuple(names), owned=owned, short=short)


def most_at_once(jobs: Sequence[Job]) -> tuple[Pick, ...]:
    """The pick list of all stages of a setup: of each block as many as stand at the same time at most.

    The names are those of all stages.
    """
    most: dict[tuple[str, str], Pick] = {}
    for job in jobs:
        for pick in pick_list(job):
            key = (pick.model, pick.size)
            known = most.get(key, pick)
            names = tuple(dict.fromkeys((*known.names, *pick.names)))
            short = max(known.short, pick.short)
            most[key] = replace(known, count=max(known.count, pick.count), names=names, short=short)
    return tuple(most[key] for key in sorted(most))


def dowel_count(job: Job) -> Mapping[float, int]:
    """Loose dowels by nominal diameter, mm."""
    return Counter(
        seat.part.pattern.bore
        for seat in job.seats.values()
        for pin in seat.pins
        if pin.state == "seated" and not pin.pin.integral and pin is not seat.bolt
    )


def small_list(job: Job) -> tuple[Small, ...]:
    """Loose dowels by diameter, bolts, and shims by thickness; each with what the inventory lists of it."""
    units, stock = job.scene.units, job.scene.stock
    lines = [line.record for line in stock if line.record.small is not None]
    listed = {line.small for line in lines}

    def owned(kind: str, size: float) -> int | None:
        mine = [line for line in lines if line.small == kind]
        fits = (line.count for line in mine if abs((line.diameter or job.table.bore) - size) <= SETTING.exact)
        return sum(fits) if kind in listed else None

    out = [
        Small(what=f"dowels {show(size, units)}", kind="dowel", size=size, count=count, owned=owned("dowel", size))
        for size, count in sorted(dowel_count(job).items())
    ]
    bolts = Counter(_bolt(seat) for seat in job.seats.values() if seat.bolted)
    kinds: tuple[tuple[SmallKind, str], ...] = (("bolt", "hold-down bolts"), ("side bolt", "bolts for upright faces"))
    for kind, what in kinds:
        if bolts[kind]:
            count, there = bolts[kind], owned(kind, job.table.bore)
            out.append(Small(what=what, kind=kind, size=job.table.bore, count=count, owned=there))
    return (*out, *_shims(job))


def _bolt(seat: Seat) -> SmallKind | None:
    """Which bolt holds it: one that goes down or one into an upright face; None for a bolt of its own."""
    if seat.bolt is None or seat.bolt.pin.nut:
        return None
    return "bolt" if float(seat.plane_to_world[2, 2]) > _LOOKS_UP else "side bolt"


_LOOKS_UP = 0.1  # cosine; holes of what looks up at all are seen from above


def _shims(job: Job) -> Iterator[Small]:
    """Shims of the places by thickness, with what is left of them once those that stand as blocks are taken."""
    used: dict[float, list[str]] = {}
    for seat in job.seats.values():
        for shim in seat.place.shims:
            for by in shim.by:
                used.setdefault(round(by, 6), []).append(seat.name)
    allotted = allot(job, table_pattern(job.scene)) if used and job.scene.stock else None
    plates = [] if allotted is None else [pair for pair in zip(allotted.lines, allotted.left, strict=True)]
    plates = [(one, left) for one, left in plates if is_shim(one.part)]
    for size, names in sorted(used.items()):
        fits = [left for one, left in plates if abs(one.part.box()[1][2] - size) <= SETTING.exact]
        yield Small(
            what=f"shims {show_fine(size, job.scene.units)}",
            kind="shim",
            size=size,
            count=len(names),
            names=tuple(dict.fromkeys(names)),
            owned=sum(fits) if plates else None,
        )


def shims_left(job: Job) -> Mapping[float, int]:
    """Thickness of every sort of shims that the inventory lists, and how many lie on the shelf; none without one."""
    if not job.scene.stock:
        return {}
    left: dict[float, int] = {}
    for one, count in allot(job, table_pattern(job.scene)).free():
        if is_shim(one.part):
            size = one.part.box()[1][2]
            left[size] = left.get(size, 0) + count
    for seat in job.seats.values():
        for shim in seat.place.shims:
            for by in shim.by:
                for size in [size for size in left if abs(size - by) <= SETTING.exact][:1]:
                    left[size] -= 1
    return {size: count for size, count in sorted(left.items()) if count > 0}


def shortages(job: Job) -> Iterator[Shortage]:
    """What the inventory does not cover: blocks, then loose dowels, bolts and shims; none without an inventory."""
    if not job.scene.stock:
        return
    allotted = allot(job, table_pattern(job.scene))
    for pick in pick_list(job):
        if pick.owned is not None and pick.short > 0:
            yield Shortage(
                model=pick.model,
                what=f"{pick.model} ({pick.size})",
                needed=pick.count,
                owned=pick.count - pick.short,
                names=tuple(name for name in pick.names if name not in allotted.of),
                all_names=pick.names,
            )
    for small in small_list(job):
        if small.short:
            yield Shortage(
                model=small.what, what=small.what, needed=small.count, owned=small.count - small.short, small=small
            )


def size_in_words(part: Part, units: Units) -> str:
    """The parameters that differ from the model's defaults, such as ``"height 80 mm"``."""
    words = []
    for name, parameter in parameters(type(part)).items():
        value = float(getattr(part, name))
        if abs(value - parameter.resolved("default", part.pattern)) <= 1e-6:
            continue
        plain = name.replace("_", " ")
        if parameter.kind == "length":
            words.append(f"{plain} {show(value, units)}")
        elif parameter.kind == "angle":
            words.append(f"{plain} {value:g} degrees")
        else:
            words.append(f"{plain} {value:g}")
    return ", ".join(words) if words else "standard"


def given(part: Part, units: Units) -> dict[str, float]:
    """The parameters that differ from the model's own, as a scene file in these units has them under ``with``."""
    out = {}
    for name, parameter in parameters(type(part)).items():
        value = float(getattr(part, name))
        if abs(value - parameter.resolved("default", part.pattern)) > 1e-6:
            out[name] = round(from_mm(value, units), 9) if parameter.kind == "length" else value
    return out


def outer_size(part: Part, units: Units) -> str:
    """Length, depth and height of the block over all, as it lies on the shelf."""
    low, high = part.box()
    return show_sizes((h - k for k, h in zip(low, high, strict=True)), units)


def table_pattern(scene: Scene) -> Pattern:
    """The hole pattern of the table top, for which the inventory's blocks are made."""
    table = scene.table
    return Pattern(pitch=table.pitch[0], bore=table.bore, inch=scene.units == "in")


def _size(part: Part, usual: Pattern, units: Units) -> str:
    """Its size in words, and its hole pattern where that is not the table's: such a block is another block."""
    words = size_in_words(part, units)
    if part.pattern == usual:
        return words
    return f"{words}, for holes of {show(part.pattern.bore, units)} at {show(part.pattern.pitch, units)}"
