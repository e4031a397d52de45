"""The files that ``new`` writes: the smallest useful scene, and a model to start from, with a word on each line."""

from __future__ import annotations

import keyword
import re
from pathlib import Path
from typing import Final, Literal

from fixture3d.errors import ModelError, one_line

_TABLES = {"mm": '"50/16 2000x1000"', "in": '"2/(3/4) 96x48"'}
_SCENE = """\
format = 1
title = "First setup"
units = "{units}"
table = {table:<24}   # hole pitch / bore, and the size of the table

# A block stands with its first pin in the named hole. See: fixture3d models
[[place]]
name = "S1"
model = "stop_block"
hole = "C4"
turn = 0                           # degrees, counter-clockwise seen from above
"""


def starter(units: Literal["mm", "in"]) -> str:
    """The text of a small commented scene."""
    return _SCENE.format(units=units, table=_TABLES[units])


_MODEL: Final = '''\
"""A block of your own. To see it: fixture3d models NAME --models FOLDER. To try it: fixture3d models --test FOLDER."""

from collections.abc import Iterator
from dataclasses import dataclass

# What a model may use. Lengths are mm, angles degrees. a_length, an_angle and a_count make parameters.
from fixture3d.part import Pad, Part, Pattern, Pin, Point, Socket, part, through
from fixture3d.part import count as a_count
from fixture3d.part import length as a_length


def _edge(pattern: Pattern) -> float:
    """From the middle of a bore to the side of the block: half a bore of steel is left at least."""
    return pattern.neat(pattern.bore)  # rounded up to 5 mm, or to 1/8 in


# The name is what a scene calls it. Frame: the origin lies under the first pin, X along the block, Y to the back, Z up.
@part("NAME", made="milled from bar")
@dataclass(frozen=True, kw_only=True)
class CLASS(Part):
    """A low block with a back wall that work is pushed against.

    ::

        side  +----+            -      top  +---------------------------+  -
              |    | wall       | height    |###########################|  | thickness of the wall
              |    +-------+    |           |---------------------------|  -
              |            |    | ledge     |     (1)         (2)       |  | depth
              +------------+    -           +---------------------------+  -
    """

    # One line a parameter: default, least, greatest, and what it is. A number, or a function of the hole pattern (its
    # pitch and bore), so that the block suits any table. The program refuses values out of the range.
    ledge: float = a_length(lambda p: p.neat(p.bore), low=5.0, high=100.0, help="table to the ledge that work lies on")
    height: float = a_length(lambda p: p.neat(2.5 * p.bore), low=10.0, high=300.0, help="table to the top of the wall")
    depth: float = a_length(
        lambda p: 2.0 * _edge(p), low=lambda p: 2.0 * p.bore, high=lambda p: 3.0 * p.pitch, help="of the ledge"
    )
    bores: int = a_count(2, low=2, high=4, help="dowels in the row, one pitch apart")

    def rules(self) -> Iterator[str]:
        """What must hold between parameters: a sentence for each rule that is broken."""
        if self.height < self.ledge + 5.0:
            show = self.pattern.show
            yield f"height = {show(self.height)} leaves no wall; expected at least {show(self.ledge + 5.0)}"

    def pins(self) -> tuple[Pin, ...]:
        """The bores for dowels, the first at (0, 0). ``through`` gives both ends of an upright bore."""
        ends = [end for k in range(self.bores) for end in through(str(k + 1), k * self.pattern.pitch, 0.0, self.ledge)]
        return tuple(end for end in ends if end.face == "bottom")  # it cannot be turned over: the wall is in the way

    def sockets(self) -> tuple[Socket, ...]:
        """The same bores from above, for a block that stands on the ledge. None: nothing stands on this one."""
        return ()

    def pads(self) -> tuple[Pad, ...]:
        """The flats that work may touch: middle, the way it looks, a direction in it, its length and its width."""
        (x0, y0, _), (x1, _, top) = self.box()
        middle, wall = (x0 + x1) / 2.0, self._wall()
        ledge = Pad(
            name="ledge",
            at=(middle, (y0 + wall) / 2.0, self.ledge),
            normal=(0.0, 0.0, 1.0),
            along=(1.0, 0.0, 0.0),
            length=x1 - x0,
            width=wall - y0,
        )
        face = Pad(
            name="wall",
            at=(middle, wall, (self.ledge + top) / 2.0),
            normal=(0.0, -1.0, 0.0),
            along=(1.0, 0.0, 0.0),
            length=x1 - x0,
            width=top - self.ledge,
        )
        return ledge, face

    def box(self) -> tuple[Point, Point]:
        """The least and the greatest corner of all of it."""
        end = _edge(self.pattern)
        back = self._wall() + self.pattern.bore
        return (-end, self._wall() - self.depth, 0.0), ((self.bores - 1) * self.pattern.pitch + end, back, self.height)

    def solid(self):  # -> cadquery.Solid
        """One closed solid, its seat at z = 0. CadQuery is imported here, so that a list of models comes at once."""
        import cadquery as cq

        (x0, y0, _), (x1, y1, top) = self.box()
        foot = cq.Solid.makeBox(x1 - x0, y1 - y0, self.ledge, cq.Vector(x0, y0, 0.0))
        wall = cq.Solid.makeBox(x1 - x0, y1 - self._wall(), top, cq.Vector(x0, self._wall(), 0.0))
        block = foot.fuse(wall).clean()
        for pin in self.pins():
            x, y, _ = pin.at  # a drill as long as the ledge is high, and 1 mm more at both ends
            drill = cq.Solid.makeCylinder(self.pattern.bore / 2.0, self.ledge + 2.0, cq.Vector(x, y, -1.0))
            block = block.cut(drill)
        return block.Solids()[0]

    def _wall(self) -> float:
        """Where the wall stands: the bores lie in the middle of the ledge."""
        return self.depth / 2.0
'''


def model_starter(file: Path, shipped: frozenset[str]) -> str:
    """The text of a small commented model that is called as its file.

    Args:
        file: to be written.
        shipped: names that are taken.

    Raises:
        ModelError: one line: the file's name is none for a model.
    """
    name, shown = file.stem, one_line(str(file))
    plain = re.sub(r"\W+", "_", name.casefold(), flags=re.ASCII).strip("_")
    plain = f"my_{plain}" if not plain or plain[0].isdigit() or plain in shipped or keyword.iskeyword(plain) else plain
    if plain != name:
        why = "is the name of a shipped model" if name in shipped else "is no name for a model"
        raise ModelError(
            f'{shown}: "{one_line(name)}" {why}; expected small letters, digits and _; nearest: {plain}.py'
        )
    return _MODEL.replace("NAME", name).replace("CLASS", "".join(word.capitalize() for word in name.split("_")))
