"""Where one block would stand in the place of another, with its faces where those of the other are now.

Whole holes, quarter turns, notches and shims of the shelf.

Plain arithmetic on the pads; whether the block stands there, and is clear, is asked by ``substitutes``.
"""

from __future__ import annotations

import dataclasses
import itertools
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from fixture3d import frame
from fixture3d.errors import FixtureError
from fixture3d.frame import Array
from fixture3d.job import Job, PlacedPad, Seat, placed_pads
from fixture3d.job.contact import touching_pads
from fixture3d.job.inventory import given
from fixture3d.job.owned import Stocked
from fixture3d.job.resolve import block_plane, reseated
from fixture3d.job.set_shims import made_up
from fixture3d.scene.schema import Clamp, Place, Shim
from fixture3d.tolerance import LOCATING, SHOP

_LOOKS = 0.999  # cosine; a face that looks the same way
_SIDE = 2  # holes to either side along a line that nothing fixes
_MOST_PAIRS = 24  # ways in which the faces of a block may take those of the other


@dataclass(frozen=True)
class Candidate:
    """A block in the place of another.

    Attributes:
        effort: what it takes: shims, holes that it goes aside, another turn.
        place: as the scene would have it.
    """

    effort: tuple[int, int, int, int]
    place: Place | Clamp


@dataclass(frozen=True)
class _Wanted:
    """A face that is to be where it is now: a point of it and the way that it looks, world; or what carries a block."""

    at: Array
    normal: Array
    socket: bool = False


def candidates(job: Job, seat: Seat, line: Stocked, shims: Mapping[float, int]) -> list[Candidate]:
    """The places of a block whose faces come to lie where those of another lie now, those of least effort first.

    Args:
        job: the setup.
        seat: that is to be replaced.
        line: the block that is to stand there.
        shims: thickness in mm and number of those on the shelf, with those that lie at the seat now.
    """
    keys = {key: value for key, value in given(line.part, job.scene.units).items() if key in line.line.record.with_}
    bare = seat.place.model_copy(
        update={
            "model": line.part.model,
            "with_": keys,
            "mark": line.mark,
            "pin": "1",
            "pins": None,
            "notch": None,
            "slide": None,
            "shims": (),
        }
    )
    if seat.clamp:
        return [Candidate((0, 0, 0, 0), bare)]
    wanted = list(_wanted(job, seat))
    out: list[Candidate] = []
    for quarter in range(1 if seat.place.free is not None else 4):
        turned = bare.model_copy(update={"turn": (bare.turn + 90.0 * quarter) % 360.0}) if quarter else bare
        made = _seat(job, turned)
        if made is not None:
            out += _standing(job, made, turned, wanted, shims, int(quarter > 0))
    return sorted(out, key=lambda one: one.effort)


def _seat(job: Job, place: Place | Clamp) -> Seat | None:
    try:
        return reseated(job, place).seats.get(place.name)
    except FixtureError:
        return None


def _wanted(job: Job, seat: Seat) -> Iterator[_Wanted]:
    """The faces that work lies against, and the plane that carries blocks."""
    alone = dataclasses.replace(job, seats={seat.name: seat}, bodies=job.pieces())
    touched = {touch.pad for touch in touching_pads(alone)}
    for pad in placed_pads(seat):
        if pad.pad.name in touched:
            yield _Wanted(pad.at, pad.normal)
    carried = [other for other in job.seats.values() if other.stacked and other.stands_on == seat.name]
    for socket in dict.fromkeys(other.place.socket for other in carried):
        plane = block_plane(seat, socket)
        if plane is not None:
            yield _Wanted(plane.to_world[:3, 3], plane.to_world[:3, 2], socket=True)


def _standing(
    job: Job, made: Seat, place: Place | Clamp, wanted: Sequence[_Wanted], shims: Mapping[float, int], turned: int
) -> Iterator[Candidate]:
    """The settings, shims and holes of a block at one turn that bring its faces to where they are wanted."""
    faces = [list(_offered(made, one)) for one in wanted]
    for pads in itertools.islice(itertools.product(*faces), _MOST_PAIRS):
        for keys, moved in _settings(made, pads, wanted):
            at = [pad.at + (moved if pad.pad.moves else 0.0) if isinstance(pad, PlacedPad) else pad for pad in pads]
            gaps = [one.at - spot for one, spot in zip(wanted, at, strict=True)]
            ways = [one.normal for one in wanted]
            lift = _lift(made, gaps, ways)
            found = None if lift is None else _holes(job, made, gaps, ways)
            if lift is None or found is None:
                continue
            steps, packs = found
            for shift in _shifts(job, made, place, steps, gaps):
                laid = _laid(pads, packs, lift, shims)
                hole = _shifted(job, place, shift)
                if laid is None or hole is None:
                    continue
                count = sum(len(shim.by) for shim in laid)
                aside = abs(shift[0]) + abs(shift[1])
                new = place.model_copy(update={**keys, "shims": laid, "hole": hole or place.hole})
                yield Candidate((count, aside, turned, int(keys.get("notch") or 0)), new)


def _offered(made: Seat, one: _Wanted) -> Iterator[PlacedPad | Array]:
    """Faces of a block that look the wanted way; of what carries, its own plane of sockets."""
    if one.socket:
        plane = block_plane(made)
        if plane is not None and float(plane.to_world[:3, 2] @ one.normal) > _LOOKS:
            yield plane.to_world[:3, 3]
        return
    yield from (pad for pad in placed_pads(made) if float(pad.normal @ one.normal) > _LOOKS)


def _settings(
    made: Seat, pads: Sequence[PlacedPad | Array], wanted: Sequence[_Wanted]
) -> Iterator[tuple[dict[str, float | int], Array]]:
    """Keys of every setting that may help, and how far the faces that move go, (3,) world, mm."""
    move, still = made.part.move(), np.zeros(3)
    moving = [
        one.at - pad.at for pad, one in zip(pads, wanted, strict=True) if isinstance(pad, PlacedPad) and pad.pad.moves
    ]
    if move is None or not moving:
        yield {}, still
        return
    axis = frame.directions(made.model_to_world, frame.unit(move.axis))
    if move.notch is not None:
        for notch in range(move.notches + 1):
            yield {"notch": notch}, axis * (notch * move.notch)
        return
    slide = round(float(moving[0] @ axis), 6)
    if 0.0 <= slide <= move.travel:
        yield {"slide": slide} if slide else {}, axis * slide


def _lift(made: Seat, gaps: Sequence[Array], ways: Sequence[Array]) -> float | None:
    """How far the block has to be lifted for its level faces, mm; None where it cannot be, or they disagree."""
    up = made.plane_to_world[:3, 2]
    lifts = [float(gap @ up) for gap, way in zip(gaps, ways, strict=True) if float(way @ up) > _LOOKS]
    if not lifts:
        return 0.0
    if max(lifts) - min(lifts) > SHOP.contact or min(lifts) < -SHOP.contact:
        return None
    return 0.0 if lifts[0] <= SHOP.contact else lifts[0]


def _holes(
    job: Job, made: Seat, gaps: Sequence[Array], ways: Sequence[Array]
) -> tuple[list[int | None], list[float]] | None:
    """Whole holes along columns and rows (None where nothing fixes them), and what is left before each face, mm."""
    steps: list[int | None] = [None, None]
    packs = [0.0] * len(gaps)
    fixed = made.place.hole is None or made.stands_on != ""
    up = made.plane_to_world[:3, 2]
    for k, (gap, way) in enumerate(zip(gaps, ways, strict=True)):
        if abs(float(way @ up)) > _LOOKS:
            continue
        axis = int(np.argmax(np.abs(way)))
        far, pitch = float(gap @ way), job.table.pitch[axis] if axis < 2 else 0.0
        whole = 0
        if not fixed and axis < 2 and abs(float(way[axis])) > _LOOKS:
            whole = int(np.floor((far + SHOP.contact) / pitch))
            step = whole * int(np.sign(way[axis]))
            if steps[axis] not in (None, step):
                return None
            steps[axis] = step
        else:  # a face that looks along no line of holes stays with its block where it is
            steps = [0, 0] if steps in ([None, None], [0, 0]) else [99, 99]
        packs[k] = far - whole * pitch
        if not -SHOP.contact <= packs[k] <= LOCATING.shim or 99 in steps:
            return None
    return ([0, 0] if fixed else steps), packs


def _shifts(
    job: Job, made: Seat, place: Place | Clamp, steps: Sequence[int | None], gaps: Sequence[Array]
) -> Iterator[tuple[int, int]]:
    """Holes along columns and rows: as found, and along a line that nothing fixes those next to where the other is."""
    spread: list[list[int]] = []
    for axis, step in enumerate(steps):
        if step is not None or not gaps:
            spread.append([step or 0])
            continue
        middle = round(float(np.mean([gap[axis] for gap in gaps])) / job.table.pitch[axis])
        spread.append([*range(middle - _SIDE, middle + _SIDE + 1)])
    yield from ((i, j) for i in spread[0] for j in spread[1])


def _laid(
    pads: Sequence[PlacedPad | Array], packs: Sequence[float], lift: float, shims: Mapping[float, int]
) -> tuple[Shim, ...] | None:
    """The shims under the block and before its faces; None where the shelf has none that make it up."""
    rest = dict(shims)
    need: dict[str, float] = {"seat": lift} if lift else {}
    for pad, pack in zip(pads, packs, strict=True):
        if isinstance(pad, PlacedPad) and pack > SHOP.contact:
            if pad.pad.width <= 0.0:
                return None
            need[pad.pad.name] = pack
    out = []
    for name, size in need.items():
        by = made_up(size, rest)
        if not by:
            return None
        for one in by:
            rest[one] -= 1
        out.append(Shim.model_construct(pad=name, by=by))
    return tuple(out)


def _shifted(job: Job, place: Place | Clamp, shift: tuple[int, int]) -> str | None:
    """The hole so far from that of a place; empty for a place that is no hole, None where there is none."""
    if place.hole is None:
        return "" if shift == (0, 0) else None
    if shift == (0, 0):
        return place.hole
    here = job.table.find(place.hole)
    grid = job.table.grid(here.grid)
    if not grid.has(here.i + shift[0], here.j + shift[1], here.plus):
        return None
    return grid.at(here.i + shift[0], here.j + shift[1], here.plus).name
