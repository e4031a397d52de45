"""What a setup takes from the rack, and whether the shop owns enough of it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from fixture3d.job import Job
from fixture3d.part import Part, Pattern, parameters
from fixture3d.scene import Scene
from fixture3d.units import Units, show, show_sizes


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
    """

    model: str
    size: str
    outer: str
    count: int
    names: tuple[str, ...]
    owned: int | None


@dataclass(frozen=True, kw_only=True)
class Shortage:
    """A block that the shop owns too few of."""

    model: str
    what: str
    needed: int
    owned: int


def pick_list(job: Job) -> tuple[Pick, ...]:
    """Blocks by model and size, in the order of their names."""
    used: dict[tuple[str, str], list[str]] = {}
    outer: dict[tuple[str, str], str] = {}
    pattern = table_pattern(job.scene)
    for seat in job.seats.values():
        key = (seat.model, _size(seat.part, pattern, job.scene.units))
        used.setdefault(key, []).append(seat.name)
        outer[key] = outer_size(seat.part, job.scene.units)
    owned = _owned(job)
    return tuple(
        Pick(
            model=model,
            size=size,
            outer=outer[model, size],
            count=len(names),
            names=tuple(names),
            owned=owned.get((model, size), 0) if job.scene.inventory else None,
        )
        for (model, size), names in sorted(used.items())
    )


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
            most[key] = replace(known, count=max(known.count, pick.count), names=names)
    return tuple(most[key] for key in sorted(most))


def dowel_count(job: Job) -> Mapping[float, int]:
    """Loose dowels by nominal diameter, mm."""
    return Counter(
        seat.part.pattern.bore
        for seat in job.seats.values()
        for pin in seat.pins
        if pin.state == "seated" and not pin.pin.integral and pin is not seat.bolt
    )


def shortages(job: Job) -> Iterator[Shortage]:
    """Lines of the pick list that the inventory does not cover; none when the scene has no inventory."""
    for pick in pick_list(job):
        if pick.owned is not None and pick.count > pick.owned:
            what = f"{pick.model} ({pick.size})"
            yield Shortage(model=pick.model, what=what, needed=pick.count, owned=pick.owned)


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


def _owned(job: Job) -> dict[tuple[str, str], int]:
    out: dict[tuple[str, str], int] = {}
    pattern = table_pattern(job.scene)
    for line in job.scene.inventory:
        part = job.library.make(line.model, pattern, line.with_, job.scene.units)
        key = (line.model, _size(part, pattern, job.scene.units))
        out[key] = out.get(key, 0) + line.count
    return out
