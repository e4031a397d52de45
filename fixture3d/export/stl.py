"""Binary STL, one file a body, in the body's own frame, with the unit in the file's name: STL itself has none.

Curved faces are within 0.02 mm of the true ones. Facets lie inside round outsides and outside round bores, so
both print small by up to that much.
"""

from __future__ import annotations

import os
from collections.abc import Iterable
from pathlib import Path

import numpy as np

from fixture3d import output
from fixture3d.errors import OutputRefused
from fixture3d.job import Job
from fixture3d.solid.mesh import Mesh

_FACET = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("attribute", "<u2")])


def write_stls(job: Job, folder: str | os.PathLike[str], force: bool = False) -> tuple[Path, ...]:
    """Write each block and clamp of the setup, one file a body.

    Blocks made from the same model with the same parameters give equal files under their own names.

    Raises:
        OutputRefused: one of the files may not be written; then none is.
    """
    bodies = [b for b in job.bodies if b.role in ("block", "clamp")]
    if not bodies:
        raise OutputRefused(f"{folder}: the setup has no block to write; expected at least one")
    names = stl_names(b.name for b in bodies)
    files = {Path(folder) / n: stl_bytes(b.shape.mesh, b.name) for n, b in zip(names, bodies, strict=True)}
    return output.write_many(files, force)


def stl_names(names: Iterable[str]) -> tuple[str, ...]:
    """A file name for each body; names that differ only in what a file name cannot hold are numbered.

    >>> stl_names(["S1", "s1", "a/b"])
    ('S1 (mm).stl', 's1 #2 (mm).stl', 'a-b (mm).stl')
    """
    out: list[str] = []
    taken: set[str] = set()
    for name in names:
        stem = output.file_name(name)
        unique, k = stem, 1
        while unique.casefold() in taken:  # Windows and macOS do not tell capitals from small letters
            k += 1
            unique = f"{stem} #{k}"
        taken.add(unique.casefold())
        out.append(f"{unique} (mm).stl")
    return tuple(out)


def stl_bytes(mesh: Mesh, name: str = "") -> bytes:
    """A mesh as binary STL, mm, the same bytes for the same mesh.

    Triangles that collapse when their corners are rounded to the format's single precision are dropped; what is
    left still closes.

    Args:
        mesh: closed.
        name: goes into the header as far as there is room.
    """
    corners = mesh.triangles.astype("<f4")
    same = [(corners[:, i] == corners[:, j]).all(axis=1) for i, j in ((0, 1), (1, 2), (2, 0))]
    kept = ~(same[0] | same[1] | same[2])
    corners = corners[kept]
    exact = corners.astype(np.float64)
    normals = np.cross(exact[:, 1] - exact[:, 0], exact[:, 2] - exact[:, 0])
    sizes = np.linalg.norm(normals, axis=1, keepdims=True)
    facets = np.zeros(len(corners), dtype=_FACET)
    facets["normal"] = np.divide(normals, sizes, out=np.zeros_like(normals), where=sizes > 0.0)
    facets["corners"] = corners
    # Some readers take a file that starts with "solid" for a text file.
    header = f"fixture3d STL, unit mm: {name}".encode("ascii", "replace")[:80].ljust(80, b" ")
    return header + len(facets).to_bytes(4, "little") + facets.tobytes()
