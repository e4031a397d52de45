"""Which pads touch what, on setups whose answer is known from the drawing."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from fixture3d import frame
from fixture3d.job import Body, Job, PlacedPad, contact
from fixture3d.part import Pad
from fixture3d.solid.shape import Shape
from tests.jobs import make_job, rack


def one_block(gap: float, across: float = 40.0, up: float = 0.0) -> Job:
    """A stop whose front looks along -Y at y = 325, and a bar of 40 mm in front of it."""
    return make_job(
        blocks=[{"name": "S1", "hole": "D8"}],
        pieces={"bar": ((200.0, 40.0, 40.0), (175.0 + across - 40.0, 305.0 - gap, 20.0 + up))},
    )


@pytest.mark.parametrize(
    ("gap", "touches"), [(0.0, True), (0.019, True), (-0.019, True), (0.021, False), (-0.021, False)]
)
def test_gap_either_side_of_the_contact_tolerance(gap: float, touches: bool) -> None:
    found = contact.touching_pads(one_block(gap))
    assert [(t.item, t.pad, t.piece) for t in found] == ([("S1", "front", "bar")] if touches else [])
    assert all(t.gap == pytest.approx(gap, abs=1e-9) for t in found)


def test_a_piece_beside_above_or_behind_the_pad_does_not_touch() -> None:
    assert contact.touching_pads(one_block(0.0, across=40.0 + 150.0)) == []  # starts where the pad ends
    assert contact.touching_pads(one_block(0.0, across=40.0 + 149.0)) != []
    assert contact.touching_pads(one_block(0.0, up=50.0)) == []
    assert contact.touching_pads(one_block(-90.0)) == []  # at the back of the block


def test_piece_resting_on_a_pad() -> None:
    job = make_job(blocks=[{"name": "R1", "hole": "D8"}], pieces={"bar": ((200.0, 40.0, 40.0), (175.0, 350.0, 70.0))})
    assert [(t.pad, t.piece) for t in contact.touching_pads(job)] == [("top", "bar")]


def test_round_tube_touches_along_a_line_at_any_turn() -> None:
    import trimesh

    tube = Shape.of(trimesh.creation.cylinder(radius=30.0, height=300.0, sections=720))
    for turn in (0.0, 13.0, 90.0, 211.0):
        spin = frame.rotation((0, 0, 1), turn)
        lying = frame.chain(spin, frame.translation((0, 0, 30.0)), frame.rotation((0, 1, 0), 90.0))
        triangles = frame.points(lying, tube.mesh.vertices)[tube.mesh.faces]
        pad = PlacedPad(
            item="R",
            pad=Pad(name="top", at=(0, 0, 0), normal=(0, 0, 1), along=(1, 0, 0), length=50.0, width=20.0),
            at=np.zeros(3),
            normal=np.array([0.0, 0.0, 1.0]),
            along=frame.directions(spin, (1.0, 0.0, 0.0)),
        )
        gap = contact.pad_gap(pad, triangles, 0.02)
        assert gap is not None
        # A corner of the regular polygon lies on the circle.
        assert abs(gap) <= 30.0 * (1 - np.cos(np.pi / 720)) + 1e-9


def test_opposed_stops_and_the_work_between_them() -> None:
    (pair,) = contact.opposed_faces(rack())
    assert (pair.a, pair.pad_a, pair.b, pair.pad_b) == ("S1", "front", "S2", "front")
    assert pair.distance == pytest.approx(150.0)
    assert pair.stock == pytest.approx(150.0)
    assert pair.between == ("left leg",)


def test_stock_and_distance_differ_by_the_gaps() -> None:
    (pair,) = contact.opposed_faces(rack(pieces={"leg": ((300.0, 149.5, 40.0), (275.0, 250.0, 45.0))}))
    assert pair.distance - pair.stock == pytest.approx(0.5)


def test_two_pieces_between_two_stops() -> None:
    legs = {"leg 1": ((200.0, 40.0, 40.0), (200.0, 305.0, 45.0)), "leg 2": ((200.0, 40.0, 40.0), (200.0, 195.0, 45.0))}
    (pair,) = contact.opposed_faces(rack(pieces=legs))
    assert pair.between == ("leg 1", "leg 2")
    assert pair.stock == pytest.approx(150.0)


def test_stops_that_look_away_from_each_other_are_no_pair() -> None:
    job = rack(
        blocks=[{"name": "S1", "hole": "E4"}, {"name": "S2", "hole": "D8", "turn": 180}],
        pieces={"a": ((200.0, 40.0, 40.0), (200.0, 105.0, 25.0)), "b": ((200.0, 40.0, 40.0), (200.0, 395.0, 25.0))},
    )
    assert {t.item for t in contact.touching_pads(job)} == {"S1", "S2"}
    assert contact.opposed_faces(job) == []


def test_moving_the_whole_setup_changes_nothing() -> None:
    job = rack()
    pose = frame.chain(frame.translation((1000.0, -300.0, 40.0)), frame.rotation((1, 2, 3), 37.0))

    def moved(value: Any) -> Any:
        return frame.chain(pose, value)

    bodies = tuple(
        Body(name=b.name, item=b.item, role=b.role, shape=b.shape, body_to_world=moved(b.body_to_world))
        for b in job.bodies
    )
    import dataclasses

    seats = {n: dataclasses.replace(s, model_to_world=moved(s.model_to_world)) for n, s in job.seats.items()}
    turned = dataclasses.replace(job, bodies=bodies, seats=seats)
    assert [(t.item, t.pad, t.piece) for t in contact.touching_pads(turned)] == [
        (t.item, t.pad, t.piece) for t in contact.touching_pads(job)
    ]
    (a,), (b,) = contact.opposed_faces(turned), contact.opposed_faces(job)
    assert a.distance == pytest.approx(b.distance)
    assert a.stock == pytest.approx(b.stock)
