"""What is asked of one weld: its technique, its torch, the positions that are tried, and the points along it."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable, Iterator
from dataclasses import dataclass, fields
from functools import cached_property
from typing import TYPE_CHECKING, Any, TypeVar

import numpy as np

from fixture3d.access.best import ROOM
from fixture3d.access.filler import Feed, feed_of
from fixture3d.access.position import Position, welding_position
from fixture3d.access.shipped import SHIPPED, TECHNIQUES, usual_joint
from fixture3d.access.sweep import reach_box
from fixture3d.access.torch import Technique, Torch
from fixture3d.access.torch_space import TorchBody, torch_body
from fixture3d.access.welds import Weld, WeldPoints, middle_angle, weld_points
from fixture3d.access.window import Window
from fixture3d.access.wrap import on_the_bead, passes_of
from fixture3d.frame import Array
from fixture3d.job import Job
from fixture3d.tolerance import NUMERIC, SHOP

if TYPE_CHECKING:
    from fixture3d.scene import schema as scene_schema

_Any = TypeVar("_Any")


@dataclass(frozen=True, eq=False)
class Asked:
    """One weld with all that its answer depends on, apart from the bodies."""

    weld: Weld
    technique: Technique
    torch: TorchBody
    window: Window
    points: WeldPoints
    feed: Feed | None

    @cached_property
    def position(self) -> Position:
        """The welding position of the weld as it lies."""
        key = ("position", _content(self.weld), self.technique.direction)
        return _remembered(key, lambda: welding_position(self.weld, self.points, direction=self.technique.direction))

    @cached_property
    def later(self) -> tuple[WeldPoints, Any] | None:
        """Where the last of several passes is run, and the bead beneath it."""
        return on_the_bead(self.weld, self.points)

    @cached_property
    def box(self) -> Array:
        """Beyond it no body changes the answer, (2, 3) mm."""
        box = reach_box(self.torch, self.points.points, SHOP.torch_margin + ROOM)
        if self.feed is not None:
            hand = self.feed.reach + 2.0 * SHOP.torch_margin
            box[0] = np.minimum(box[0], self.points.points.min(axis=0) - hand)
            box[1] = np.maximum(box[1], self.points.points.max(axis=0) + hand)
        # A later pass stands on the bead, no farther out than its leg.
        leg = self.weld.size if passes_of(self.weld) > 1 else 0.0
        box[0] -= leg
        box[1] += leg
        return box


def question(job: Job, weld: Weld, windows: dict[Technique, Window]) -> Asked:
    """The question that is put for one weld.

    Args:
        job: the setup.
        weld: one of its welds.
        windows: of techniques met before; a new one is added.

    Raises:
        KeyError, ValueError: its technique or torch is not known, or it cannot be run as it stands.
    """
    technique, torch = technique_of(job, technique_name(weld))
    technique = technique.at(_middle(weld))
    points = _remembered(("points", _content(weld)), lambda: weld_points(weld, SHOP.weld_step))
    if technique not in windows:
        windows[technique] = technique.window()
    body = torch_body(torch, technique.stand_off)
    return Asked(weld, technique, body, windows[technique], points, feed_of(technique))


def technique_name(weld: Weld) -> str:
    """The technique that a weld names, or the usual one for its type and opening."""
    return weld.technique or usual_joint(weld.type, _middle(weld))


def _middle(weld: Weld) -> float:
    """Work angle of the middle of the joint, the mean along the weld where the opening changes, degrees."""

    def average() -> float:
        angles, lengths = zip(*((angle, length) for angle, length, _ in middles(weld)), strict=True)
        return float(np.average(angles, weights=lengths))

    return _remembered(("middle", _content(weld)), average)


_MEMORY: OrderedDict[tuple[Any, ...], Any] = OrderedDict()
_REMEMBERED = 3000  # answers; a setup of 200 welds asks for three a weld, and a block that moves changes none


def _content(weld: Weld) -> tuple[Any, ...]:
    """All that a weld is, as part of a key."""
    values = (getattr(weld, f.name) for f in fields(weld))
    return tuple((v.shape, v.tobytes()) if isinstance(v, np.ndarray) else v for v in values)


def _remembered(key: tuple[Any, ...], work: Callable[[], _Any]) -> _Any:
    """What follows from a weld alone, worked out once while the program runs; the oldest is forgotten first."""
    if key not in _MEMORY:
        made = work()
        _MEMORY[key] = made
        if len(_MEMORY) > _REMEMBERED:
            _MEMORY.popitem(last=False)
        return made
    found: _Any = _MEMORY[key]
    return found


def middles(weld: Weld) -> Iterator[tuple[float, float, int]]:
    """Middle of the joint, length and index of every part of a path; parts without a length have no frame."""
    parts = np.diff(np.asarray(weld.path), axis=0)
    sides = np.broadcast_to(np.asarray(weld.sides), (len(parts), 2, 3))
    for k, (part, pair) in enumerate(zip(parts, sides, strict=True)):
        length = float(np.linalg.norm(part))
        if length > NUMERIC.merge:
            yield middle_angle(part, pair), length, k


def technique_of(job: Job, name: str) -> tuple[Technique, Torch]:
    """The technique of that name, of the scene or shipped, and its torch.

    Raises:
        KeyError: no such technique or torch.
        ValueError: one that cannot be used.
    """
    own = job.scene.techniques.get(name)
    if own is not None:
        technique = Technique(
            name=name,
            torch=own.torch,
            work_angle=own.work_angle,
            travel_angle=own.travel_angle,
            stand_off=own.stand_off,
            direction=own.direction,
            process=own.process or "",
            filler_angle=own.filler_angle,
        )
    elif name in TECHNIQUES:
        technique = TECHNIQUES[name]
    else:
        raise KeyError(f'technique "{name}" is not known')
    torch = job.scene.torches.get(technique.torch)
    if torch is not None:
        return technique, _torch(technique.torch, torch)
    if technique.torch not in SHIPPED:
        raise KeyError(f'torch "{technique.torch}" is not known')
    return technique, SHIPPED[technique.torch]


def _torch(name: str, keys: scene_schema.Torch) -> Torch:
    return Torch(name=name, **{f.name: getattr(keys, f.name) for f in fields(Torch) if f.name != "name"})
