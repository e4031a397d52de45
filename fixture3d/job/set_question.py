"""What is asked of a stop, and what an answer says."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal, NamedTuple

from fixture3d.job.seat import Fit
from fixture3d.job.set_datum import Datum
from fixture3d.job.shop_blocks import Owned, Shop
from fixture3d.part import Face, Part
from fixture3d.scene.table import Table
from fixture3d.tolerance import SETTING
from fixture3d.units import Units

Facing = Literal["toward", "away", "either"]


@dataclass(frozen=True, kw_only=True)
class Question:
    """What is asked.

    Attributes:
        wanted: distance from the datum, mm.
        datum: where it begins, and the direction.
        table: whose holes blocks stand in.
        units: for messages.
        shop: what there is.
        dowel_fit: of dowels in the table's holes.
        facing: which way the face looks: back to the datum, away from it, or either.
        good: errors up to this are good, mm.
        shims: before one face at most.
        height: that the face must reach, above the table, mm; None for any.
        taken: holes that others stand in.
    """

    wanted: float
    datum: Datum
    table: Table
    units: Units
    shop: Shop
    dowel_fit: Fit
    facing: Facing = "either"
    good: float = SETTING.good
    shims: int = SETTING.shims
    height: float | None = None
    taken: frozenset[str] = frozenset()


@dataclass(frozen=True, kw_only=True)
class Answer:
    """One way to set a face.

    Attributes:
        owned: the block whose face it is.
        face: which of its faces is down.
        turn: degrees.
        anchor: the pin that stands in the hole.
        hole: where that pin stands; empty on top of other blocks.
        dowels: how many dowels hold it.
        pad: the face.
        looks: 1 along the direction, -1 back to the datum.
        notch: None where nothing meshes.
        slide: mm from fully in, to be measured; None for a block that is set by notches or not at all.
        shims: before the face, or under the block where the distance is a height; mm, the thickest first.
        below: blocks that it stands on, the lowest first.
        error: where the face comes to stand less where it was wanted, mm.
        pieces: blocks and shims.
        loose: how far the face can move within the fits, mm each way.
        span: from where to where above the table the face reaches, mm.
    """

    owned: Owned
    face: Face
    turn: float = 0.0
    anchor: str = "1"
    hole: str = ""
    dowels: int = 2
    pad: str
    looks: int = 1
    notch: int | None = None
    slide: float | None = None
    shims: tuple[float, ...] = ()
    below: tuple[Owned, ...] = ()
    error: float
    pieces: int
    loose: float
    span: tuple[float, float] = (0.0, 0.0)

    @property
    def exact(self) -> bool:
        """There is no error that anybody could measure."""
        return abs(self.error) <= SETTING.exact


class Ranked(NamedTuple):
    """A setting that has not been put in words yet.

    Attributes:
        error: grains.
        pieces: blocks and shims.
        build: gives the answer; None where no hole takes the block.
    """

    error: int
    pieces: int
    build: Callable[[], Answer | None]


def with_shim(question: Question, thickness: float) -> Question:
    """The same question in a shop with one shim more."""
    shims = dict(question.shop.shims)
    shims[thickness] = shims.get(thickness, 0) + 1
    return dataclasses.replace(question, shop=dataclasses.replace(question.shop, shims=tuple(sorted(shims.items()))))


def with_block(question: Question, part: Part) -> Question:
    """The same question in a shop with one block and nothing else."""
    only = Owned(model=part.model, part=part, count=1, free=1)
    return dataclasses.replace(question, shop=dataclasses.replace(question.shop, blocks=(only,), shims=()))
