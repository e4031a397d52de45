"""The solids of the weldment's pieces, each in the frame of its piece.

A member is made in ``member_solid.py``, a bent one in ``bent_solid.py``; a plate is an extrusion with its holes.
``OCP`` is imported inside functions only.
"""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING, Any

from fixture3d.cache import content_key
from fixture3d.job.bent_solid import bent_solid
from fixture3d.job.member_solid import member_solid
from fixture3d.job.prism import prism
from fixture3d.job.weldment import Piece, PlateShape
from fixture3d.solid.shape import Shape

if TYPE_CHECKING:
    from fixture3d.cache import Store

_VERSION = "2"  # part of every key: raise it when the same numbers make another solid


def piece_shape(piece: Piece, store: Store | None = None) -> Shape:
    """The solid of a piece in its own frame, made when it is first needed.

    The key holds every number that decides the solid and nothing of its name or place, so that equal pieces
    share one solid.

    Args:
        piece: of a weldment.
        store: cache of meshes and solids.

    Returns:
        A lazy shape. Asking for its solid raises ``BadSolid`` when the kernel cannot make it, and
        ``ImportFailed`` when it is from a file that is gone.
    """
    if piece.solid is not None:
        return piece.solid.shape(store)
    if piece.plate is not None:
        key = content_key(["plate", _VERSION, repr(piece.plate)])
        return Shape(key, partial(plate_solid, piece.plate), store)
    assert piece.section is not None
    assert piece.end_cuts is not None
    numbers = [piece.section.key(), *(end.numbers() for end in piece.end_cuts), *map(repr, piece.holes)]
    if piece.bent is not None:
        key = content_key(["bent", _VERSION, repr([*numbers, piece.bent.key()])])
        return Shape(key, partial(bent_solid, piece.section, piece.bent, piece.end_cuts, piece.holes), store)
    key = content_key(["member", _VERSION, repr(numbers)])
    return Shape(key, partial(member_solid, piece.section, piece.end_cuts, piece.holes), store)


def plate_solid(plate: PlateShape) -> Any:
    """A plate with its holes, as a ``TopoDS_Shape``; its outline in XY, its thickness along Z from 0.

    Raises:
        BadSolid: the kernel cannot make it.
    """
    from OCP.gp import gp_Pnt, gp_Vec

    return prism(plate.loops, lambda x, y: gp_Pnt(x, y, 0.0), gp_Vec(0.0, 0.0, plate.thickness))
