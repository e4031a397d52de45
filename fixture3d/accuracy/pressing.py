"""Which contacts of a piece a clamp closes, by where it pushes."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from fixture3d.accuracy.stack import Loaded
from fixture3d.locating.closure import scaling
from fixture3d.locating.contact import locators
from fixture3d.locating.holding import preload

__all__ = ["pressed_home"]

Array = NDArray[np.float64]

# Of a clamp's push: what each contact is pressed with besides, as the piece is laid home on all of them before a clamp
# is shut (common practice, no source). With less the face right under a clamp would tip the piece off the others.
_BY_HAND = 0.3


def pressed_home(piece: Loaded, pushes: Sequence[tuple[Array, Array]]) -> Loaded:
    """The piece with what presses it: the clamps, each by where it pushes, and less at every contact.

    Of more contacts in a row than it can touch at once a piece lies on those that its clamp stands between.

    Args:
        piece: that is laid in.
        pushes: of clamps, each the middle of its tip (3,) mm and the way in which it pushes (3,) unit, all as hard.
    """
    points, normals, owner = locators(list(piece.contacts))
    if not len(points) or not pushes:
        return piece
    scale = scaling(points, piece.size)
    at, ways = (np.array([push[k] for push in pushes]).reshape(-1, 3) for k in (0, 1))
    pressed, _ = preload(scale.rows(points, normals), scale.rows(at, ways).sum(axis=0))
    each = _BY_HAND / np.bincount(owner)[owner]
    return Loaded(piece.name, piece.contacts, pressed + each, piece.size)
