"""Is one piece located: everything that follows from its contacts, as one record."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from fixture3d.frame import Array
from fixture3d.locating.contact import Contact
from fixture3d.locating.features import Standing
from fixture3d.locating.find import TOO_LOW, Doubt, bodies_of, checked_near, contacts_of, doubts_of, unread_near
from fixture3d.locating.leaving import ways_out
from fixture3d.locating.lie import Lie, lie_of
from fixture3d.locating.motions import freedom
from fixture3d.locating.over import Opposed, Over, Spacing, opposed_pairs, over_constraint, spacings
from fixture3d.locating.read_features import standing
from fixture3d.locating.words import Motion, told
from fixture3d.solid.relate import Placed
from fixture3d.tolerance import LOCATING

__all__ = ["Located", "locate_piece", "locate_standing"]


@dataclass(frozen=True, eq=False)
class Located:
    """How a piece is located by the fixed bodies about it.

    Attributes:
        rank: of the locating Jacobian, 0 to 6; 6 is located.
        free_motions: what is left under one-sided contacts, both senses apart; see `Motion`. Those of kind "free" are
            6 - rank motions, each both ways; "away" leaves a stop, "lift" is held by gravity, "falls" is not.
        contacts: where fixed bodies touch the piece; one whose doubt is `find.TOO_LOW` is not counted on.
        opposed: fixed faces that push straight against each other.
        rests: gravity holds it on its contacts without friction; False too when nothing carries it.
        can_leave: (k, 3) unit directions of single straight ways out; empty when there is none, which is not yet
            trapped.
        over: too many locators, or badly placed ones, with remedies.
        spacing: how far paired locators stand apart, and the error they magnify.
        doubts: where it meets a fixed body and should not rely on it.
        unread: fixed bodies near which a face is of a kind that is not read (a free form, a cone): contacts there are
            missing.
        conditioning: least singular value that counts over the greatest, scaled; near 0 is barely located.
        lie: the piece's own axes, size and middle of mass.
    """

    rank: int
    free_motions: tuple[Motion, ...]
    contacts: tuple[Contact, ...]
    opposed: tuple[Opposed, ...]
    rests: bool
    can_leave: Array
    over: tuple[Over, ...]
    spacing: tuple[Spacing, ...]
    doubts: tuple[Doubt, ...]
    unread: tuple[str, ...]
    conditioning: float
    lie: Lie

    @property
    def located(self) -> bool:
        """Whether every motion is hindered at least one way."""
        return self.rank == 6

    @property
    def unlocated(self) -> tuple[Motion, ...]:
        """The motions that no contact hinders either way, and those by which it falls."""
        return tuple(m for m in self.free_motions if m.kind in ("free", "falls"))


def locate_piece(
    piece: object,
    fixed: Mapping[str, object] | Sequence[Placed],
    gravity: ArrayLike = (0.0, 0.0, -1.0),
    within: float = LOCATING.contact,
    angle: float = LOCATING.angle,
    leave: bool = True,
) -> Located:
    """How a piece is located by the fixed bodies about it, judged from the solids alone.

    Rigid bodies, contacts without friction, first order: a motion that is stopped only to second order counts as free.
    Clamps that are among ``fixed`` count as fixed bodies. Names are only passed on.

    Args:
        piece: a cadquery shape, ``TopoDS_Shape``, trimesh mesh, `Mesh`, `Shape` or `Placed`, mm, world.
        fixed: name to solid, of any of these kinds; or placed bodies.
        gravity: (3,) the way things fall.
        within: mm; a gap up to this is touching, and so is an overlap no deeper.
        angle: degrees; faces that lean by no more than this lie flat. Where solids are drawn true take
            ``LOCATING.clean_contact`` and ``LOCATING.clean_angle``.
        leave: look for straight ways out.

    Raises:
        BadSolid: a body is not one closed solid.
        ValueError: gravity has no length, or a tolerance makes no sense.
    """
    bodies = bodies_of(fixed)
    way_out = (piece, fixed) if leave else None
    return locate_standing(standing("piece", piece), bodies, gravity, within, angle, way_out)


def locate_standing(
    piece: Standing,
    fixed: Sequence[Standing],
    gravity: ArrayLike = (0.0, 0.0, -1.0),
    within: float = LOCATING.contact,
    angle: float = LOCATING.angle,
    leaving: tuple[object, Mapping[str, object] | Sequence[Placed]] | None = None,
) -> Located:
    """As `locate_piece`, for bodies whose features are known: what a job with many pieces calls.

    Args:
        piece: the piece in its place.
        fixed: the fixed bodies in theirs; the piece may be among them and is passed over.
        gravity: as for `locate_piece`.
        within: likewise.
        angle: likewise.
        leaving: piece and fixed bodies as `leaving.ways_out` takes them; None looks for no way out.
    """
    near = checked_near(within, angle)
    pull = np.asarray(gravity, dtype=np.float64).reshape(-1)
    if pull.shape != (3,):
        raise ValueError(f"gravity has {len(pull)} numbers; expected 3")
    found = contacts_of(piece, fixed, near)
    down = pull / float(np.linalg.norm(pull)) if pull.any() else pull
    lie = lie_of(piece, down)
    free = freedom([c for c in found if c.doubt != TOO_LOW], lie, pull, angle)
    ways = np.zeros((0, 3))
    if leaving is not None:
        pushes = np.array([m.twist[:3] for m in free.motions if not m.turns]).reshape(-1, 3)
        clear = [way.direction for way in ways_out(*leaving, extra=pushes if len(pushes) else None) if way.free]
        ways = np.array(clear).reshape(-1, 3)
    rigid = [c for c in found if not c.doubt]
    return Located(
        rank=free.rank,
        free_motions=tuple(told(motion, piece, lie, down) for motion in free.motions),
        contacts=tuple(found),
        opposed=tuple(opposed_pairs(found)),
        rests=free.rests,
        can_leave=ways,
        over=tuple(over_constraint(found, lie, down)),
        spacing=tuple(spacings(rigid, lie, down)),
        doubts=tuple(doubts_of(piece, fixed, found, near)),
        unread=unread_near(piece, fixed, near),
        conditioning=free.conditioning,
        lie=lie,
    )
