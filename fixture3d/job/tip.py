"""Where the tip of a clamp meets a piece. Lengths in mm."""

from __future__ import annotations

import numpy as np

from fixture3d import frame
from fixture3d.frame import Array
from fixture3d.tolerance import NUMERIC, SHOP


def tip_gap(at: Array, way: Array, radius: float, triangles: Array) -> float | None:
    """How far a round flat tip can go before it meets a surface, mm; None when it never does.

    The least over rays from the middle and from three rings of the tip's face; a tip that is already inside by up to
    its own radius meets the surface at 0.

    Args:
        at: (3,) middle of the face.
        way: (3,) unit vector of the push.
        radius: of the face.
        triangles: (m, 3, 3) surface of the piece.
    """
    hint = np.eye(3)[int(np.argmin(np.abs(way)))]
    pose = frame.along(at, way, hint)
    turns = np.deg2rad(np.arange(0, 360, 15))
    ring = np.stack([np.cos(turns), np.sin(turns)], axis=1)
    spots = np.vstack([[[0.0, 0.0]], ring * radius / 3.0, ring * radius * 2.0 / 3.0, ring * radius])
    local = frame.points(frame.inverse(pose), triangles.reshape(-1, 3)).reshape(-1, 3, 3)
    aside = local[:, :, :2]
    least, most = (f(f(aside[:, 0], aside[:, 1]), aside[:, 2]) for f in (np.minimum, np.maximum))
    reach = radius + NUMERIC.merge
    local = local[((least <= reach) & (most >= -reach)).all(axis=1)]
    edge1, edge2 = local[:, 1, :2] - local[:, 0, :2], local[:, 2, :2] - local[:, 0, :2]
    det = edge1[:, 0] * edge2[:, 1] - edge1[:, 1] * edge2[:, 0]
    back = max(radius, SHOP.contact)
    facing = (det < -NUMERIC.zero) & (local[:, :, 2].max(axis=1) >= -back)
    local, edge1, edge2, det = local[facing], edge1[facing], edge2[facing], det[facing]
    best: float | None = None
    for spot in spots:
        from_a = spot - local[:, 0, :2]
        u = (from_a[:, 0] * edge2[:, 1] - from_a[:, 1] * edge2[:, 0]) / det
        v = (edge1[:, 0] * from_a[:, 1] - edge1[:, 1] * from_a[:, 0]) / det
        hit = (u >= -1e-9) & (v >= -1e-9) & (u + v <= 1.0 + 1e-9)
        z = local[:, 0, 2] + u * (local[:, 1, 2] - local[:, 0, 2]) + v * (local[:, 2, 2] - local[:, 0, 2])
        ahead = z[hit & (z >= -back)]
        if len(ahead) and (best is None or float(ahead.min()) < best):
            best = float(ahead.min())
    return None if best is None else max(best, 0.0)
