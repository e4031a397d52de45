"""What a blind locating case says, and the list of them."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from typing import Literal

from tests.blind_locating_solids import P3, P6, Touch

Setup = tuple[object, dict[str, object]]
Way = str | P3
"""A direction: "+x" to "-z", or three numbers."""

AXES: dict[str, P3] = {
    "+x": (1, 0, 0),
    "-x": (-1, 0, 0),
    "+y": (0, 1, 0),
    "-y": (0, -1, 0),
    "+z": (0, 0, 1),
    "-z": (0, 0, -1),
}


def vector(way: Way) -> P3:
    """The three numbers of a direction."""
    return AXES[way] if isinstance(way, str) else way


@dataclass(frozen=True)
class Case:
    """A piece, what stands fixed about it, and the answer as worked out by hand. What is None is not judged.

    Attributes:
        why: the answer's reason in a line.
        tolerance: "both" where the answer stands for solids drawn true and for the default tolerance.
        jitter: the answer stands, too, with every body but the table out of place by 0.1 mm and 0.1 degree.
        touch: contacts that carry the answer (hull corners of patches, ends of lines); more may be found, never others.
        free: twists that span what no contact hinders; 6 - rank of them.
        can: twists left to it although their opposite is not; cannot: twists that are stopped.
        listed: straight motions that the list must hold, with their kind.
        opposed: all pairs of bodies that push straight against each other; opposed_in: some of them.
        over: there is something too many or badly placed.
        doubts: bodies whose contact is not one to rely on.
        out: direction to the names of what stops an endless straight move, "" for nothing.
        leaves: there is a straight way out.
        leave_has: ways out that must be found; leave_only: every way out is one of these.
    """

    name: str
    why: str
    build: Callable[[], Setup]
    tolerance: Literal["both", "clean", "sloppy"] = "both"
    jitter: bool = False
    gravity: P3 = (0, 0, -1)
    touch: Touch = field(default_factory=list)
    rank: int | None = None
    free: tuple[P6, ...] = ()
    can: tuple[P6, ...] = ()
    cannot: tuple[P6, ...] = ()
    listed: Mapping[Way, str] = field(default_factory=dict)
    rests: bool | None = None
    opposed: tuple[tuple[str, str], ...] | None = None
    opposed_in: tuple[tuple[str, str], ...] = ()
    over: bool | None = None
    doubts: tuple[str, ...] = ()
    out: Mapping[Way, str] = field(default_factory=dict)
    leaves: bool | None = None
    leave_has: tuple[Way, ...] = ()
    leave_only: tuple[Way, ...] | None = None

    @property
    def located(self) -> bool:
        """Whether anything is asked of locating, not only of ways out."""
        return self.rank is not None or self.rests is not None or self.leaves is not None

    def but(self, **changes: object) -> Case:
        """This case with some answers changed."""
        return replace(self, **changes)  # type: ignore[arg-type]
