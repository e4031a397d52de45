"""What a picture shows, as arrays: bodies by role with their sharp edges, the table with its holes. World mm."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from fixture3d import frame
from fixture3d.frame import Array
from fixture3d.job import Body, Job, Role
from fixture3d.scene.slots import TableSlot
from fixture3d.sheet import layout
from fixture3d.solid.mesh import Mesh

Ints = NDArray[np.int64]

MOST_HOLES: Final = 6000  # of a larger table, those nearest to the setup
_SIDES: Final = 24
_SHARP: Final = float(np.cos(np.deg2rad(25.0)))
_ABOVE: Final = 0.25  # mm over the table top, so that a hole's disc is not lost in the top itself


@dataclass(frozen=True)
class Group:
    """Triangles of one kind: vertices (n, 3), faces (m, 3), and edges (k, 2) that are drawn as lines."""

    vertices: Array
    faces: Ints
    edges: Ints


def groups(job: Job) -> dict[Role, Group]:
    """The bodies of each role as one mesh."""
    kept: dict[str, Ints] = {}
    out: dict[Role, Group] = {}
    for role in ("block", "clamp", "pin", "shim", "piece", "sweep"):
        parts = []
        for body in (b for b in job.bodies if b.role == role):
            mesh = body.shape.mesh
            if body.shape.key not in kept:
                kept[body.shape.key] = sharp_edges(mesh)
            vertices = frame.points(body.body_to_world, mesh.vertices)
            parts.append(Group(vertices, mesh.faces.astype(np.int64), kept[body.shape.key]))
        if parts:
            out[role] = joined(parts)
    return out


def body_group(body: Body) -> Group:
    """One body."""
    mesh = body.shape.mesh
    return Group(frame.points(body.body_to_world, mesh.vertices), mesh.faces.astype(np.int64), sharp_edges(mesh))


def joined(parts: list[Group]) -> Group:
    """Several groups as one."""
    starts = np.cumsum([0, *(len(p.vertices) for p in parts)])
    return Group(
        np.concatenate([p.vertices for p in parts]),
        np.concatenate([p.faces + s for p, s in zip(parts, starts, strict=False)]),
        np.concatenate([p.edges + s for p, s in zip(parts, starts, strict=False)]),
    )


def sharp_edges(mesh: Mesh) -> Ints:
    """Edges (k, 2) at which the surface bends by more than 25 degrees."""
    corners = mesh.triangles
    normals = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    normals /= np.maximum(np.linalg.norm(normals, axis=1, keepdims=True), 1e-300)
    faces = mesh.faces.astype(np.int64)
    pairs = np.sort(np.concatenate([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]]), axis=1)
    owner = np.tile(np.arange(len(faces)), 3)
    order = np.lexsort((pairs[:, 1], pairs[:, 0]))
    pairs, owner = pairs[order], owner[order]
    same = (pairs[:-1] == pairs[1:]).all(axis=1)
    bend = np.einsum("ij,ij->i", normals[owner[:-1]], normals[owner[1:]])
    found: Ints = pairs[:-1][same & (bend < _SHARP)]
    return found


@dataclass(frozen=True)
class TableShape:
    """The table for a picture.

    Attributes:
        plate: the plate as a box, with its edges.
        holes: dark discs on its top, with their rims as edges.
        slots: dark fields on its top, likewise.
        shown: how many holes are drawn.
        all: how many there are.
    """

    plate: Group
    holes: Group
    slots: tuple[Group, ...]
    shown: int
    all: int


def table_shape(job: Job) -> TableShape:
    """The plate, and its holes by repeating one disc; a picture needs no cut plate."""
    table = job.table
    x0, y0, x1, y1 = layout.plate(table)
    low, high = np.array([x0, y0, -(table.thickness or 12.0)]), np.array([x1, y1, 0.0])
    centres = _hole_centres(job)
    all_holes = table.columns * table.rows
    if table.stagger:
        all_holes += (table.columns - 1) * (table.rows - 1)
    turn = np.arange(_SIDES) * (2 * np.pi / _SIDES)
    ring = np.stack([np.cos(turn), np.sin(turn), np.zeros(_SIDES)], axis=1) * (table.bore / 2)
    disc = np.concatenate([np.zeros((1, 3)), ring])
    k = np.arange(_SIDES)
    fan = np.stack([np.zeros(_SIDES, dtype=np.int64), 1 + k, 1 + (k + 1) % _SIDES], axis=1)
    rim = np.stack([1 + k, 1 + (k + 1) % _SIDES], axis=1)
    lifted = np.column_stack([centres, np.full(len(centres), _ABOVE)])
    starts = (np.arange(len(centres)) * len(disc))[:, None, None]
    holes = Group(
        (lifted[:, None, :] + disc).reshape(-1, 3),
        (starts + fan).reshape(-1, 3),
        (starts + rim).reshape(-1, 2),
    )
    slots = tuple(_slot_field(slot) for slot in table.slots)
    return TableShape(box(low, high), holes, slots, len(centres), all_holes)


def _slot_field(slot: TableSlot) -> Group:
    """The opening of a slot, a little over the discs of the holes that it cuts."""
    rim = np.column_stack([np.array(slot.outline(2 * _SIDES)), np.full(2 * (_SIDES + 1), 2.0 * _ABOVE)])
    k = np.arange(1, len(rim) - 1)
    fan = np.stack([np.zeros_like(k), k, k + 1], axis=1)
    around = np.arange(len(rim))
    return Group(rim, fan, np.stack([around, (around + 1) % len(rim)], axis=1))


def _hole_centres(job: Job) -> Array:
    """Centres (n, 2) of the holes that are drawn: all, or the nearest to the setup."""
    table = job.table
    sx, sy = table.naming.signs
    x0, y0, x1, y1 = layout.used_window(job)
    if table.columns * table.rows * (2 if table.stagger else 1) <= MOST_HOLES:
        x0, y0, x1, y1 = layout.plate(table)
    grow = 0.0
    columns = layout.lines(table.columns, table.pitch[0], sx, x0, x1)
    rows = layout.lines(table.rows, table.pitch[1], sy, y0, y1)
    # Around a setup on a large table, as many rings of holes as there is room for.
    while True:
        grow += 1.0
        dx, dy = grow * table.pitch[0], grow * table.pitch[1]
        more_columns = layout.lines(table.columns, table.pitch[0], sx, x0 - dx, x1 + dx)
        more_rows = layout.lines(table.rows, table.pitch[1], sy, y0 - dy, y1 + dy)
        count = len(more_columns) * len(more_rows) * (2 if table.stagger else 1)
        if count > MOST_HOLES or (more_columns == columns and more_rows == rows):
            break
        columns, rows = more_columns, more_rows
    step = 1
    while (len(columns) // step) * (len(rows) // step) > MOST_HOLES:
        step += 1
    columns, rows = columns[::step], rows[::step]
    out = []
    for plus in (False, True) if table.stagger else (False,):
        half = 0.5 if plus else 0.0
        i = np.array([c for c in columns if not plus or c < table.columns - 1], dtype=np.float64)
        j = np.array([r for r in rows if not plus or r < table.rows - 1], dtype=np.float64)
        x, y = np.meshgrid(sx * (i + half) * table.pitch[0], sy * (j + half) * table.pitch[1])
        out.append(np.stack([x.ravel(), y.ravel()], axis=1))
    return np.concatenate(out)


def box(low: Array, high: Array) -> Group:
    """An axis-parallel box with its twelve edges."""
    unit = np.array([[x, y, z] for x in (0, 1) for y in (0, 1) for z in (0, 1)], dtype=np.float64)
    faces = [
        [0, 1, 3], [0, 3, 2], [4, 6, 7], [4, 7, 5], [0, 4, 5], [0, 5, 1],
        [2, 3, 7], [2, 7, 6], [0, 2, 6], [0, 6, 4], [1, 5, 7], [1, 7, 3],
    ]  # fmt: skip
    edges = [[0, 1], [0, 2], [0, 4], [1, 3], [1, 5], [2, 3], [2, 6], [3, 7], [4, 5], [4, 6], [5, 7], [6, 7]]
    return Group(low + unit * (high - low), np.array(faces, dtype=np.int64), np.array(edges, dtype=np.int64))
