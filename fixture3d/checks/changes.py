"""What can be changed about one block, or about how a weld is run: each in words, and as the scene would have it.

Nothing is judged here; ``torch_remedies`` tries the changes, in the order in which they stand here, which is that of
the effort: another turn, another setting, another place, a smaller block, another torch.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np

from fixture3d.access.shipped import SHIPPED, TECHNIQUES
from fixture3d.access.torch import Technique
from fixture3d.access.welds import Weld
from fixture3d.errors import TableError
from fixture3d.job import Job, Seat
from fixture3d.job.inventory import given, size_in_words
from fixture3d.job.plane import BlockPlane
from fixture3d.job.resolve import plane_of
from fixture3d.job.wayout import in_words
from fixture3d.part import Part, parameters
from fixture3d.scene import schema
from fixture3d.scene.schema import Clamp, Place
from fixture3d.scene.stock import StockLine
from fixture3d.tolerance import NUMERIC
from fixture3d.units import show

FAR = 3
"""Holes along a row or column that a block is sent at most."""
NOTCHES = 4
"""Notches either way that are tried, besides fully in."""
_STEPS = {"mm": 5.0, "in": 6.35}  # mm; blocks are cut in such steps: common practice, no source
_SMALLER = {"height": "lower", "length": "shorter", "width": "narrower", "depth": "less deep"}
_USUAL = {"mig": "", "tig": "tig-", "stick": "stick-"}  # techniques for a torch whose process is not said
_SLIDE = 5.0  # mm; of a slide without notches

Changed = tuple[str, Place | Clamp]
"""What to do, such as ``"turn S4 to 180"``, and the item as it then stands in the scene."""


def turns(job: Job, seat: Seat) -> Iterator[Changed]:
    """The other three turns about its pin."""
    item = seat.place
    if item.edge is not None or (isinstance(item, Clamp) and (item.slot is not None or _follows(item))):
        return
    for more in (90.0, 180.0, 270.0):
        if item.free is not None:
            x, y, z, now = item.free
            turn = (now + more) % 360.0
            yield f"turn {seat.name} to {turn:g}", item.model_copy(update={"free": (x, y, z, turn)})
        else:
            turn = (item.turn + more) % 360.0
            yield f"turn {seat.name} to {turn:g}", item.model_copy(update={"turn": turn})


def _follows(item: Clamp) -> bool:
    """A clamp that turns by itself to where it presses."""
    return item.presses is not None and "turn" not in item.model_fields_set


def settings(job: Job, seat: Seat) -> Iterator[Changed]:
    """Other notches or lengths of its slide, the nearest first, and fully in."""
    move, item = seat.part.move(), seat.place
    if move is None:
        return
    if move.notch is not None and seat.notch is not None:
        now = seat.notch
        near = [now + sign * far for far in range(1, NOTCHES + 1) for sign in (-1, 1)]
        for notch in dict.fromkeys((*near, 0)):
            if 0 <= notch <= move.notches and notch != now:
                yield f"set {seat.name} to notch {notch}", item.model_copy(update={"notch": notch, "slide": None})
    elif move.notch is None:
        lengths = [seat.slide + sign * far * _SLIDE for far in range(1, NOTCHES + 1) for sign in (-1, 1)]
        for slide in dict.fromkeys((*lengths, 0.0)):
            if 0.0 <= slide <= move.travel and abs(slide - seat.slide) > NUMERIC.merge:
                words = f"set {seat.name} to slide = {show(slide, job.scene.units)}"
                yield words, item.model_copy(update={"slide": slide})


def places(job: Job, seat: Seat) -> Iterator[Changed]:
    """Holes in its row and column, or other sockets of what it stands on; a pitch away where it is measured."""
    item = seat.place
    if seat.stacked:
        plane = plane_of(job, seat)
        for name, _ in plane.sockets if isinstance(plane, BlockPlane) else ():
            if item.socket != name:
                yield f"move {seat.name} to socket {name} of {item.on}", item.model_copy(update={"socket": name})
        return
    ways = [(far * i, far * j) for far in range(1, FAR + 1) for i, j in ((1, 0), (-1, 0), (0, 1), (0, -1))]
    if item.hole is not None:
        try:
            hole = job.table.find(item.hole)
            grid = job.table.grid(hole.grid)
        except TableError:
            return
        for i, j in ways:
            if grid.has(hole.i + i, hole.j + j, hole.plus):
                there = grid.at(hole.i + i, hole.j + j, hole.plus).name
                yield f"move {seat.name} to hole {there}", item.model_copy(update={"hole": there})
    elif item.free is not None:
        x, y, z, turn = item.free
        for i, j in ways:
            by = np.array([i * job.table.pitch[0], j * job.table.pitch[1], 0.0])
            spot = (x + float(by[0]), y + float(by[1]), z, turn)
            yield f"move {seat.name} {in_words(by, job.scene.units)}", item.model_copy(update={"free": spot})


# --- smaller blocks ----------------------------------------------------------------------------------------------


def smaller(job: Job, seat: Seat) -> Iterator[Sequence[Changed]]:
    """Rows of smaller blocks of its model, in each row the largest first: lower ones, then such as are shorter.

    Where the file has an inventory, only what the shop owns; what differs there in more than one measure stands alone.
    """
    if seat.clamp:
        return
    lines = [line for line in job.scene.stock if line.record.model == seat.model]
    for name, word in _SMALLER.items():
        known = parameters(type(seat.part)).get(name)
        if known is None or known.kind != "length" or (name == "height" and seat.face not in ("bottom", "top")):
            continue
        low = known.resolved("low", seat.part.pattern)
        row = _owned_row(job, seat, name, lines) if lines else _cut_row(job, seat, name, low)
        items = []
        for value, keys in row:
            words = f"use a {word} {seat.model} for {seat.name}, {name} = {show(value, job.scene.units)}"
            items.append((words, seat.place.model_copy(update={"with_": keys, "mark": None})))
        if items:
            yield items
    for line in lines:
        part = job.library.make(seat.model, seat.part.pattern, line.record.with_, line.units)
        if len(_differ(seat.part, part)) > 1 and _volume(part) < _volume(seat.part):
            words = f"use the {seat.model} of {size_in_words(part, job.scene.units)} for {seat.name}"
            yield [(words, seat.place.model_copy(update={"with_": given(part, job.scene.units), "mark": None}))]


def _owned_row(job: Job, seat: Seat, name: str, lines: Sequence[StockLine]) -> Iterator[tuple[float, dict[str, Any]]]:
    """The blocks of the inventory that differ in this one measure and are smaller, the largest first."""
    now = float(getattr(seat.part, name))
    found: dict[float, dict[str, Any]] = {}
    for line in lines:
        part = job.library.make(seat.model, seat.part.pattern, line.record.with_, line.units)
        if _differ(seat.part, part) == {name} and float(getattr(part, name)) < now:
            found.setdefault(float(getattr(part, name)), given(part, job.scene.units))
    yield from sorted(found.items(), reverse=True)


def _cut_row(job: Job, seat: Seat, name: str, low: float) -> Iterator[tuple[float, dict[str, Any]]]:
    """Sizes in steps down to the model's least, such as it can be made in."""
    now, step = float(getattr(seat.part, name)), _STEPS[job.scene.units]
    for k in range(int(np.ceil(now / step - 1e-9)) - 1, 0, -1):
        value = k * step
        if value >= low - NUMERIC.merge and not list(_resized(seat.part, name, value).rules()):
            yield value, {**seat.place.with_, name: f"{value!r} mm"}


def _resized(part: Part, name: str, value: float) -> Part:
    sizes: dict[str, Any] = {name: value}
    return dataclasses.replace(part, **sizes)


def _differ(one: Part, other: Part) -> set[str]:
    """The parameters in which two blocks of a model differ."""
    names = parameters(type(one))
    return {name for name in names if abs(float(getattr(one, name)) - float(getattr(other, name))) > NUMERIC.merge}


def _volume(part: Part) -> float:
    low, high = part.box()
    return float(np.prod(np.asarray(high) - np.asarray(low)))


# --- other torches -----------------------------------------------------------------------------------------------


def torches(job: Job, weld: Weld, technique: Technique) -> Iterator[tuple[str, schema.Technique | None, Weld]]:
    """Other shipped torches for the same process in the same technique, then the process's other techniques."""
    kind = _kind(technique)
    # A technique that others are run by too is not to be changed for the sake of one.
    users = sum(one.technique == technique.name for one in job.welds)
    own = technique.name in job.scene.techniques and users < 2 and not job.scene.whole.stages
    whose = "its technique" if own else f'a technique of its own, otherwise as "{technique.name}"'
    for name in SHIPPED:
        if name.partition("-")[0] == kind and name != technique.torch:
            keys = schema.Technique.model_construct(
                torch=name,
                work_angle=technique.work_angle,
                travel_angle=technique.travel_angle,
                stand_off=technique.stand_off,
                direction=technique.direction,
                process=technique.process or None,
                filler_angle=technique.filler_angle,
            )
            other = dataclasses.replace(weld, technique=technique.name)
            yield f'run it with torch = "{name}" in {whose}', keys, other
    prefixes = {t.process: n.removesuffix("butt") for n, t in TECHNIQUES.items() if n.endswith("butt")}
    for joint in ("butt",) if weld.type == "butt" else ("corner", "middle"):
        name = prefixes.get(technique.process, _USUAL[kind]) + joint
        if name != technique.name and name not in job.scene.techniques:
            yield f'run it with technique = "{name}"', None, dataclasses.replace(weld, technique=name)


def _kind(technique: Technique) -> str:
    """The kind of torch that a technique asks for, as the shipped ones are named."""
    if technique.torch in SHIPPED:
        return technique.torch.partition("-")[0]
    words = technique.process.lower()
    if technique.filler_angle is not None or "tungsten" in words:
        return "tig"
    return "stick" if "shielded metal" in words or "stick" in words else "mig"
