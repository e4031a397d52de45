"""Which pads touch what, on setups whose answer is known from the drawing."""

from __future__ import annotations

import dataclasses
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


def legs(gap: float) -> Job:
    """Two tubes side by side between two stops 150 mm apart."""
    wide = (150.0 - gap) / 2.0
    at = {"leg 1": 325.0 - wide / 2.0, "leg 2": 175.0 + wide / 2.0}
    return rack(pieces={name: ((200.0, wide, 40.0), (200.0, y, 45.0)) for name, y in at.items()})


def test_two_pieces_between_two_stops() -> None:
    (pair,) = contact.opposed_faces(legs(0.0))
    assert pair.between == ("leg 1", "leg 2")
    assert pair.stock == pytest.approx(150.0)


def test_pieces_with_nothing_between_them_are_no_run_of_work() -> None:
    assert [p.stock for p in contact.opposed_faces(legs(0.9))] == pytest.approx([150.0])
    assert contact.opposed_faces(legs(1.1)) == []


def test_pieces_joined_by_a_third_are_a_run_of_work() -> None:
    """As two legs with a rail between them, which neither stop touches."""
    apart = {"leg 1": ((200.0, 40.0, 40.0), (200.0, 305.0, 45.0)), "leg 2": ((200.0, 40.0, 40.0), (200.0, 195.0, 45.0))}
    assert contact.opposed_faces(rack(pieces=apart)) == []
    (pair,) = contact.opposed_faces(rack(pieces={**apart, "rail": ((40.0, 70.0, 40.0), (200.0, 250.0, 45.0))}))
    assert pair.between == ("leg 1", "leg 2")
    assert pair.stock == pytest.approx(150.0)


@pytest.mark.parametrize(("goes_on", "pairs"), [(0.0, 1), (0.9, 1), (1.1, 0), (40.0, 0)])
def test_a_pad_behind_which_the_work_goes_on_is_none_of_a_pair(goes_on: float, pairs: int) -> None:
    """As a pin in a hole, or a stop within the work: the upper of two solids of one piece reaches past the pad."""
    import trimesh

    lower = trimesh.creation.box((100.0, 150.0, 40.0), frame.translation((175.0, 250.0, 25.0)))
    above = frame.translation((175.0, 250.0 + goes_on / 2.0, 60.0))
    upper = trimesh.creation.box((100.0, 150.0 + goes_on, 10.0), above)
    job = rack()
    leg = next(b for b in job.bodies if b.role == "piece")
    solid = Shape.of(trimesh.util.concatenate([lower, upper]))
    stepped = dataclasses.replace(leg, shape=solid, body_to_world=np.eye(4))
    bodies = tuple(stepped if b is leg else b for b in job.bodies)
    assert len(contact.opposed_faces(dataclasses.replace(job, bodies=bodies))) == pairs


@pytest.mark.parametrize(("x", "pairs"), [(200.0, 1), (76.0, 1), (74.5, 0)])
def test_only_what_is_touched_of_two_pads_has_to_overlap(x: float, pairs: int) -> None:
    """Both stops reach from x = 125 to 225; leg 1 lies on one of them at 175 to 225, leg 2 on the other to x + 100."""
    pieces = {
        "leg 1": ((50.0, 75.0, 40.0), (200.0, 287.5, 45.0)),
        "leg 2": ((200.0, 75.0, 40.0), (x, 212.5, 45.0)),
    }
    assert len(contact.opposed_faces(rack(pieces=pieces))) == pairs


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
    seats = {n: dataclasses.replace(s, model_to_world=moved(s.model_to_world)) for n, s in job.seats.items()}
    turned = dataclasses.replace(job, bodies=bodies, seats=seats)
    assert [(t.item, t.pad, t.piece) for t in contact.touching_pads(turned)] == [
        (t.item, t.pad, t.piece) for t in contact.touching_pads(job)
    ]
    (a,), (b,) = contact.opposed_faces(turned), contact.opposed_faces(job)
    assert a.distance == pytest.approx(b.distance)
    assert a.stock == pytest.approx(b.stock)
