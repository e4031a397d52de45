"""The outline of a body seen from above, from its mesh: no CAD kernel."""

from __future__ import annotations

import numpy as np

from fixture3d.frame import Array
from fixture3d.job import Body

_SMOOTH = 0.05  # mm; far under a pen's width at any scale


def outline(body: Body) -> list[Array]:
    """What the body covers of the table, seen from straight above.

    Returns:
        Its rings, (n, 2) world mm each, outer ones and holes alike: inside is what an odd number of them surround.
    """
    seen = body.shape.mesh.manifold.transform(np.ascontiguousarray(body.body_to_world[:3])).project()
    return [np.asarray(ring, dtype=np.float64) for ring in seen.simplify(_SMOOTH).to_polygons()]
