"""Where a fixed body touches a piece: the one record that finding, locating, holding and drawing share."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

__all__ = ["Contact", "Kind", "locators"]

Array = NDArray[np.float64]
Kind = Literal["face", "line", "point"]


@dataclass(frozen=True, eq=False)
class Contact:
    """One place where a fixed body touches a piece.

    Attributes:
        fixed: name of the fixed body.
        kind: a flat patch, a line, or a point.
        normal: (3,) unit, world: of the fixed body's face, pointing into the piece, the way it can push the piece.
        points: (n, 3) mm, world: the patch's hull corners in order, the line's two ends, or the point.
        area: mm2 of a patch, 0 otherwise.
        gap: mm between the faces over the contact, its mean; negative where they press into each other.
        doubt: why this contact is not one to rely on ("on its corner radius", ...); empty when it is.
    """

    fixed: str
    kind: Kind
    normal: Array
    points: Array
    area: float = 0.0
    gap: float = 0.0
    doubt: str = ""


def locators(contacts: list[Contact]) -> tuple[Array, Array, NDArray[np.int64]]:
    """Every locator point of some contacts, one under another.

    Returns:
        points (n, 3) mm, unit inward normals (n, 3), and the index into ``contacts`` of each (n,).
    """
    if not contacts:
        return np.zeros((0, 3)), np.zeros((0, 3)), np.zeros(0, dtype=np.int64)
    points = np.vstack([contact.points for contact in contacts])
    normals = np.vstack([np.broadcast_to(contact.normal, contact.points.shape) for contact in contacts])
    owner = np.repeat(np.arange(len(contacts)), [len(contact.points) for contact in contacts])
    return points, normals, owner
