r"""Whether the welder sees the arc: straight lines from the root to where his eyes can be.

Eyes are 300 to 600 mm from the root, to either side of the torch along the weld: 20 to 60 degrees off the plane square
to the weld, and up to 40 degrees to either side of the nominal work angle in it. Who has a clear line to 300 mm sees
the arc; the same line to 600 mm would show no more. The torch is held as near to nominal as it is free at that point,
its handle turned any way that is free there. All of this is common practice, no source. The helmet's own room and the
hand that feeds filler are not looked at.

```
   eye  .            .  eye
          \  torch  /
   300 mm  \   |   /   20 to 60 degrees
            \  |  /
   ----------\ | /----------> along the weld
               root
```
"""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np

from fixture3d.access.arrays import Array, Bools, Bytes, Ints
from fixture3d.access.filler import segment_gaps
from fixture3d.access.torch_space import TorchBody
from fixture3d.access.welds import WeldPoints
from fixture3d.access.window import Window
from fixture3d.frame import cos_sin

if TYPE_CHECKING:
    from fixture3d.access.obstacles import Obstacles


EYE = 300.0
"""mm from the root to the nearest place of an eye."""
ALONG = (35.0, 20.0, 50.0, 60.0)
"""Degrees off the plane square to the weld, to both sides."""
ACROSS = (0.0, 20.0, -20.0, 40.0, -40.0)
"""Degrees off the nominal work angle."""
FROM = 3.0
"""mm from the root at which a line begins: nearer, the joint's own faces are as near as the line is thick."""
LINE_RADIUS = 0.5
"""mm; half of the least gap through which an arc is seen."""


def views(nominal: float) -> Array:
    """Unit vectors (V, 3) from the root to the eyes, along tangent, sideways and normal of the weld.

    Args:
        nominal: work angle, degrees.
    """
    out = []
    for across in ACROSS:
        c, s = cos_sin(nominal + across)
        for along in ALONG:
            lean_c, lean_s = cos_sin(along)
            out += [[sense * lean_s, lean_c * s, lean_c * c] for sense in (1.0, -1.0)]
    return np.array(out)


@lru_cache(maxsize=1024)
def past_torch(torch: TorchBody, window: Window, direction: int, nominal: float, mirrored: bool) -> Bools:
    """Which of the lines of sight, ``views(nominal)``, pass the torch in one direction, (R, V) for each roll.

    A line from the root meets the nozzle when it goes through its flat front: at an angle to the torch axis whose
    tangent is at most radius over stand-off; farther out it only leaves the axis.

    Args:
        torch: its body.
        window: the positions.
        direction: index of work angle and lean.
        nominal: nominal work angle, degrees.
        mirrored: whether the weld's own frame is left-handed.
    """
    lines = views(nominal)
    axes, xs = window.local_axes()
    z, x0 = axes[direction], xs[direction]
    y0 = np.cross(z, x0) * (-1.0 if mirrored else 1.0)
    up = lines @ z
    square = np.sqrt(np.maximum(0.0, 1.0 - up * up))
    beside = (up <= 0.0) | (square * torch.stand_off > torch.nozzle_radius * up)
    # In the torch's own frame, turned back by each roll, the capsules stand still.
    turns = np.stack([np.column_stack([c * x0 + s * y0, c * y0 - s * x0, z]) for c, s in map(cos_sin, window.rolls)])
    local = np.einsum("vi,rij->rvj", lines, turns)[:, :, None]
    gaps = segment_gaps(torch.starts, torch.ends, FROM * local, EYE * local)
    return np.asarray(beside & (gaps > torch.radii).all(axis=2))


def seen(
    obstacles: Obstacles, torch: TorchBody, weld: WeldPoints, window: Window, free: Bytes, nominal: float
) -> tuple[Bools, Ints]:
    """At which points (k,) the arc is seen, and how many lines each body (bodies,) stops where it is not.

    Points without a free position are not seen and stop nothing.

    Args:
        obstacles: all bodies.
        torch: its body, without the wire.
        weld: points and frames.
        window: the positions.
        free: (k, W, L, R) verdicts.
        nominal: nominal work angle, degrees.
    """
    from fixture3d.access import kernel

    lines = views(nominal)
    flat = free.reshape(len(weld.points), -1, len(window.rolls)) != 0
    order = window.nominal_first()
    mirrored = np.linalg.det(weld.frames) < 0.0
    passed: dict[tuple[int, bool], Bools] = {}
    wanted = np.zeros((len(weld.points), len(lines)), np.uint8)
    for k in np.flatnonzero(flat.any(axis=(1, 2))):
        direction = int(order[flat[k][order].any(axis=1).argmax()])
        key = (direction, bool(mirrored[k]))
        if key not in passed:
            passed[key] = past_torch(torch, window, direction, nominal, key[1])
        wanted[k] = passed[key][flat[k, direction]].any(axis=0)
    nodes, meta, tris, owner = obstacles.tree
    found = np.zeros(len(weld.points), np.uint8)
    stopped = np.zeros(len(obstacles.names), np.int64)
    kernel.lines_of_sight(
        nodes,
        meta,
        tris,
        owner,
        np.ascontiguousarray(weld.points),
        np.ascontiguousarray(weld.frames),
        lines,
        np.array([FROM, EYE, LINE_RADIUS]),
        wanted,
        found,
        stopped,
        np.zeros(len(lines), np.int64),
    )
    return found != 0, stopped
