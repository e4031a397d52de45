"""STL files read back by trimesh: closed, right volume, right size; and the same bytes each time."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
import trimesh

from fixture3d.errors import OutputRefused
from fixture3d.export.stl import stl_bytes, stl_names, write_stls
from fixture3d.solid.mesh import Mesh
from fixture3d.tolerance import NUMERIC
from tests.jobs import make_job, rack


def test_every_block_is_closed_and_has_its_volume_within_the_chord(tmp_path: Path) -> None:
    written = write_stls(rack(), tmp_path)
    assert [p.name for p in written] == ["S1 (mm).stl", "S2 (mm).stl", "R1 (mm).stl"]
    for path, height in zip(written, (50.0, 50.0, 25.0), strict=True):
        mesh = trimesh.load_mesh(path)
        assert mesh.is_watertight
        assert mesh.is_winding_consistent
        np.testing.assert_allclose(mesh.bounds, np.array([[-25, -25, 0], [75, 25, height]]), atol=1e-4)
        exact = (100 * 50 - 2 * math.pi * 8**2) * height
        # Facets of a bore are chords: the bore comes out smaller by at most the chord all round.
        most = 2 * 2 * math.pi * 8 * NUMERIC.chord * height
        assert exact <= mesh.volume + 1e-2
        assert mesh.volume <= exact + most


def test_bytes_follow_the_format_and_repeat(tmp_path: Path) -> None:
    """84 bytes and 50 a triangle: the layout of binary STL as it is commonly published, no standard."""
    mesh = rack().bodies[0].shape.mesh
    data = stl_bytes(mesh, "S1")
    assert len(data) == 84 + 50 * int.from_bytes(data[80:84], "little")
    assert not data.lower().startswith(b"solid")
    assert b"unit mm" in data[:80]
    assert data == stl_bytes(rack().bodies[0].shape.mesh, "S1")


def test_normals_in_the_file_point_out_of_the_block() -> None:
    data = stl_bytes(rack().bodies[0].shape.mesh, "S1")
    record = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("attribute", "<u2")])
    facets = np.frombuffer(data, dtype=record, offset=84)
    corners, normals = facets["corners"].astype(np.float64), facets["normal"]
    assert np.linalg.norm(normals, axis=1) == pytest.approx(1.0, abs=1e-6)
    for side, way in ((50.0, 1.0), (0.0, -1.0)):
        flat = (corners[:, :, 2] == side).all(axis=1)
        assert flat.any()
        assert normals[flat, 2] == pytest.approx(way)
    turned = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    assert (np.einsum("ij,ij->i", turned, normals) > 0.0).all()


def test_slivers_that_single_precision_flattens_leave_no_hole() -> None:
    mesh = trimesh.creation.box([100.0, 100.0, 100.0])
    vertices, faces = np.array(mesh.vertices), np.array(mesh.faces)
    a, b, c = faces[0]
    # A vertex so near another that both are one in single precision.
    extra = vertices[a] + (vertices[b] - vertices[a]) * 1e-9
    other = next(k for k, f in enumerate(faces) if k and {a, b} <= set(f))
    d = next(v for v in faces[other] if v not in (a, b))
    n = len(vertices)
    kept = [f for k, f in enumerate(faces) if k not in (0, other)]
    split = Mesh(
        np.vstack([vertices, extra]),
        np.array([*kept, [a, n, c], [n, b, c], [b, n, d], [n, a, d]], dtype=np.int32),
        True,
        0.0,
    )
    assert split.open_edges == 0
    data = stl_bytes(split)
    assert int.from_bytes(data[80:84], "little") == 12
    assert trimesh.load_mesh(trimesh.util.wrap_as_stream(data), file_type="stl").is_watertight


def test_names_that_collide_are_numbered() -> None:
    assert stl_names(["K1 arm", "k1 ARM", "con", "a:b", "ab"]) == (
        "K1 arm (mm).stl", "k1 ARM #2 (mm).stl", "con_ (mm).stl", "ab (mm).stl", "ab #2 (mm).stl",
    )  # fmt: skip


def test_all_or_none(tmp_path: Path) -> None:
    (tmp_path / "S2 (mm).stl").write_bytes(b"mine")
    with pytest.raises(OutputRefused, match="add --force"):
        write_stls(rack(), tmp_path)
    assert [p.name for p in tmp_path.iterdir()] == ["S2 (mm).stl"]
    with pytest.raises(OutputRefused, match="no block"):
        write_stls(make_job(), tmp_path)
