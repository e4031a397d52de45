"""The V of a V-block: its flats, its relief slot, and where a round tube lies in it."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from fixture3d.part import Pad, Point
from fixture3d.stock import vee

from ._profiles import outline

if TYPE_CHECKING:
    import cadquery as cq

_SPARE = 1.25  # flat beyond the contact line, so that the largest tube of its size class still lies on it
_LIP = 2.0  # mm, and for the broken edge


@dataclass(frozen=True)
class Groove:
    """A V made for one tube.

    Attributes:
        diameter: of the tube, mm.
        angle: between the flats, degrees.
    """

    diameter: float
    angle: float

    @property
    def sin(self) -> float:
        """Of half the angle."""
        return math.sin(math.radians(self.angle / 2.0))

    @property
    def cos(self) -> float:
        """Of half the angle."""
        return math.cos(math.radians(self.angle / 2.0))

    @property
    def centre(self) -> float:
        """Sharp bottom to the axis of the tube, mm."""
        return vee.centre_height(self.diameter, self.angle)

    @property
    def flat(self) -> float:
        """Sharp bottom to the lip along the flat, mm."""
        return vee.flat_to_contact(self.diameter, self.angle) * _SPARE + _LIP

    @property
    def deep(self) -> float:
        """Lip to the sharp bottom, straight down, mm."""
        return self.flat * self.cos

    @property
    def opening(self) -> float:
        """Half the width at the lips, mm."""
        return self.flat * self.sin

    @property
    def slot(self) -> float:
        """Half the width of the relief slot, and how far it goes below the sharp bottom, mm."""
        return min(2.0, 0.25 * self.diameter * self.cos)

    @property
    def takes(self) -> tuple[float, float]:
        """The thinnest and the thickest tube that lies on both flats, mm."""
        return 2.0 * self.slot / self.cos, 2.0 * self.flat * self.sin / self.cos

    def pads(
        self, name: str, sides: tuple[str, str], vertex: Point, run: float, opens: tuple[float, float]
    ) -> tuple[Pad, Pad]:
        """Both flats from slot to lip.

        Args:
            name: of the V.
            sides: of the flat on the left of someone who looks the way the V opens, and of the other one.
            vertex: middle of the sharp bottom line, model frame, mm.
            run: length of the flats along Y, mm.
            opens: (x, z) unit vector.
        """
        start = self.slot / self.sin
        reach, width = (start + self.flat) / 2.0, self.flat - start
        out = []
        for side, hand in zip(sides, (-1.0, 1.0), strict=True):
            x, z = self._turned(hand * reach * self.sin, reach * self.cos, opens)
            nx, nz = self._turned(-hand * self.cos, self.sin, opens)
            out.append(
                Pad(
                    name=f"{name} {side}",
                    at=(vertex[0] + x, vertex[1], vertex[2] + z),
                    normal=(nx, 0.0, nz),
                    along=(0.0, 1.0, 0.0),
                    length=run,
                    width=width,
                )
            )
        return out[0], out[1]

    def cutter(self, vertex: tuple[float, float], y: tuple[float, float], opens: tuple[float, float]) -> cq.Solid:
        """What is milled away, with 1 mm to spare above the lips.

        Args:
            vertex: (x, z) of the sharp bottom, mm.
            y: from and to, mm.
            opens: (x, z) unit vector.
        """
        s, top = self.slot, self.deep + 1.0
        shape = [
            (-s, -s),
            (s, -s),
            (s, s * self.cos / self.sin),
            (top * self.sin / self.cos, top),
            (-top * self.sin / self.cos, top),
            (-s, s * self.cos / self.sin),
        ]
        turned = [self._turned(u, w, opens) for u, w in shape]
        return outline([(vertex[0] + x, vertex[1] + z) for x, z in turned], *y)

    @staticmethod
    def _turned(across: float, up: float, opens: tuple[float, float]) -> tuple[float, float]:
        """(x, z) of a point given across the V and up out of it."""
        ox, oz = opens
        return across * oz + up * ox, up * oz - across * ox
