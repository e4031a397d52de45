"""A block on risers: where one block alone is not high enough, or where it is wanted so."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Literal

import numpy as np

from fixture3d import frame
from fixture3d.frame import Array
from fixture3d.need.corner import Candidate
from fixture3d.need.ways import DIAGONAL, LEVEL, carrying, diagonal_pin, is_square
from fixture3d.part import Part, parameters
from fixture3d.scene.schema import Place
from fixture3d.tolerance import SHOP

if TYPE_CHECKING:
    from fixture3d.need.designs import Designs

_ENDS: Final[tuple[Literal["low"], Literal["high"]]] = ("low", "high")
_MOST: Final = 600.0  # mm; heights of an upper block are tried up to this
_STEP: Final = 5.0  # mm; heights of an upper block that are tried, in steps
RISERS: Final = 3
"""One on the other; more of them are no stand for work."""


@dataclass(frozen=True, kw_only=True)
class Upper:
    """The block on top, by the parameter that says its height."""

    key: str
    place: Place
    part: Part
    height: float


def stacked(
    designs: Designs,
    model: str,
    sizes: Mapping[str, float | int],
    key: str,
    z: float,
    least: float,
    axis: Array | None,
) -> Iterator[Candidate]:
    """The model on a riser, or on several: as low as it can be made, the risers take the rest.

    Args:
        designs: the search.
        model: of the block on top.
        sizes: of it, mm or counts.
        key: its parameter that says how high it holds.
        z: how high that is to be, mm.
        least: of that parameter, mm.
        axis: (3,) of a round piece.
    """
    if "riser" not in designs.job.library.entries:
        return
    noted, lowest = len(designs.notes), 0.0
    known = parameters(designs.job.library.entries["riser"].model)["height"]
    low, high = (known.resolved(end, designs.pattern) for end in _ENDS)
    top = parameters(designs.job.library.entry(model).model)[key].resolved("high", designs.pattern)
    if z > RISERS * high + top:
        designs.note(
            f"{designs.show(z)} is higher than a {model} of {designs.show(top)} on {RISERS} risers of "
            f"{designs.show(high)}; nearest: {designs.show(RISERS * high + top)}, the work laid lower by "
            f"{designs.show(z - RISERS * high - top)} (lift in [weldment])"
        )
        return
    for count in range(1, RISERS + 1):
        height = max(least, z - count * high)
        while height <= _MOST and (height < z or not lowest):
            made = designs.place(model, {**sizes, key: height})
            lowest = lowest or (height if made is not None else 0.0)
            if made is not None and height < z:
                upper = Upper(key=key, place=made[0], part=made[1], height=height)
                found = list(_lowers(designs, z - height, count))
                if found:
                    del designs.notes[noted:]  # those of heights that were too low or too high
                for lower in found:
                    yield from on_risers(designs, lower, upper, axis)
                if found:
                    return
            height = designs.pattern.neat(height + _STEP)
    del designs.notes[noted:]
    if lowest and designs.stack:
        designs.note(
            f"a {model} of {designs.show(lowest)} or more on a riser of {designs.show(low)} or more is higher "
            f"than {designs.show(z)}; nearest: {designs.show(lowest + low)}, or one block without --stack"
        )


def _lowers(designs: Designs, rest: float, count: int) -> Iterator[tuple[tuple[Place, Part], ...]]:
    """So many risers, the lowest first, which are as high as the rest together; a single one may have one row."""
    even = designs.pattern.neat(rest / count) if count > 1 else rest
    heights = [even] * (count - 1) + [rest - even * (count - 1)]
    for rows in (2, 1) if count == 1 else (2,):
        made = [designs.place("riser", {"height": height, "rows": rows}) for height in heights]
        if all(made):
            yield tuple(one for one in made if one is not None)


def on_risers(
    designs: Designs, lower: tuple[tuple[Place, Part], ...], upper: Upper, axis: Array | None
) -> Iterator[Candidate]:
    """A block on these risers, the lowest first, the nearest places first."""
    heights = " and ".join(designs.show(float(getattr(part, "height", 0.0))) for _, part in lower)
    on = f"a riser of {heights}" if len(lower) == 1 else f"risers of {heights}"
    words = f"{upper.key.replace('_', ' ')} {designs.show(upper.height)} on {on}"
    if axis is not None:
        words = f"a V for {designs.show(designs.spots[0].diameter)}, {words}"
    if axis is not None and not is_square(axis):
        standing = _turned(designs, lower[0], upper, axis)
    else:
        places = designs.over(upper.place, axis)
        standing = ((under, place, socket) for place in places for under, socket in _under(designs, lower[0], place))
    for under, place, socket in standing:
        chain = [under]
        for k, (more, part) in enumerate(lower[1:], 1):
            first = part.pins()[0].name
            stands = {"name": f"R0 {k}", "hole": None, "on": chain[-1].name, "socket": first, "turn": under.turn}
            chain.append(more.model_copy(update=stands))
        top = place.model_copy(update={"hole": None, "on": chain[-1].name, "socket": socket})
        yield Candidate(places=(*chain, top), words=words)


def _under(designs: Designs, lower: tuple[Place, Part], upper: Place) -> Iterator[tuple[Place, str]]:
    """Places of a riser with one of its sockets under the first bore of the upper block, and that socket."""
    table = designs.job.table
    at = np.asarray(table.find(str(upper.hole)).xyz)
    place, part = lower
    for extra in (0.0, 180.0):
        turn = (upper.turn + extra) % 360.0
        pose = frame.rotation((0.0, 0.0, 1.0), turn)
        for socket in part.sockets():
            spot = at - frame.directions(pose, (socket.at[0], socket.at[1], 0.0))
            hole = table.hole_near((float(spot[0]), float(spot[1])), SHOP.contact)
            if hole is not None:
                yield place.model_copy(update={"name": "R0", "hole": hole.name, "turn": turn}), socket.name


def _turned(
    designs: Designs, lower: tuple[Place, Part], upper: Upper, axis: Array
) -> Iterator[tuple[Place, Place, str]]:
    """Riser and block both at 45 degrees: the riser on its bores for that turn, the block in a row of its sockets."""
    turns = [turn for turn in DIAGONAL if abs(float(frame.rotation((0.0, 0.0, 1.0), turn)[:3, 1] @ axis)) > 1.0 - LEVEL]
    under = lower[0].model_copy(update={"name": "R0", "pin": diagonal_pin(lower[1])})
    across = np.array([-axis[1], axis[0], 0.0])
    for place in designs.holes(under, turns, lambda seat: carrying(seat, None), [across]):
        for socket in ("1", "3"):  # the first one of each row
            yield place, upper.place.model_copy(update={"turn": place.turn}), socket
