from __future__ import annotations

import math
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from fixture3d.access.arrays import Array
from fixture3d.access.filler import segment_gaps
from fixture3d.access.shipped import SHIPPED, TECHNIQUES
from fixture3d.access.torch import Technique
from fixture3d.access.torch_space import TorchBody, in_parts, torch_body, with_wire
from fixture3d.access.welds import joint_frame


def technique(**change: object) -> Technique:
    return replace(TECHNIQUES["corner"], **change)  # type: ignore[arg-type]


def test_axis_of_a_pushed_torch_as_in_aws_a3_0() -> None:
    """AWS A3.0 angles as welding textbooks quote them, in vectors: push = -asin(e . t), work from the normal.

    t = +x, non-butting normal n = +z, e = (-0.17365, 0.69636, 0.69636): push 10, work 45. Plane trigonometry.
    """
    window = technique(work_angle=(45, 0), travel_angle=(10, 0), direction="forward").window()
    axes, xs = window.local_axes()
    frame = joint_frame([1, 0, 0], [[0, 0, 1], [0, 1, 0]])
    e = frame @ axes[0]
    assert e == pytest.approx([-0.17365, 0.69636, 0.69636], abs=1e-5)
    assert -math.degrees(math.asin(float(e @ [1, 0, 0]))) == pytest.approx(10.0)
    assert math.degrees(math.atan2(e[1], e[2])) == pytest.approx(45.0)
    assert float(xs[0] @ axes[0]) == pytest.approx(0.0, abs=1e-12)
    assert float(xs[0] @ [1, 0, 0]) > 0.9


def test_drag_leans_the_torch_forward_and_back_mirrors_it() -> None:
    def first_axis(direction: str, travel: float) -> list[float]:
        window = technique(work_angle=(45, 0), travel_angle=(travel, 0), direction=direction).window()
        return [round(float(v), 9) for v in window.local_axes()[0][0]]

    assert first_axis("forward", -15)[0] > 0.0
    assert first_axis("back", 10) == first_axis("forward", -10)


def test_either_way_shares_the_leans_that_both_ways_have() -> None:
    window = technique().window()
    assert window.leans.tolist() == list(range(-25, 26, 5))
    assert {sense: window.leans[leans].tolist() for sense, leans in window.runs} == {
        1: list(range(-5, 26, 5)),
        -1: list(range(-25, 6, 5)),
    }
    assert window.shape == (7, 11, 12)
    assert window.positions == 7 * 11 * 12
    for lean, value in enumerate(window.leans):
        way, travel = window.travel(lean)
        assert travel == way * value
        assert -5.0 <= travel <= 25.0
        # In the better of the two ways.
        assert window.cost[3, lean] == pytest.approx(abs(travel - 10.0))
    assert window.travel(int(np.searchsorted(window.leans, 0.0))) == (1, 0.0)


def test_nominal_comes_first_and_limits_are_tried() -> None:
    window = technique(work_angle=(45, 12), travel_angle=(10, 7), direction="forward").window()
    assert window.works[[0, -1]].tolist() == [33.0, 57.0]
    assert window.leans[[0, -1]].tolist() == [3.0, 17.0]
    assert np.diff(window.works).max() <= 5.0
    work, lean = divmod(int(window.nominal_first()[0]), len(window.leans))
    assert (window.works[work], window.leans[lean]) == (45.0, 10.0)
    costs = window.cost.ravel()[window.nominal_first()]
    assert (np.diff(costs) >= 0.0).all()
    assert window.rolls.tolist() == list(range(0, 360, 30))


def test_measures_of_the_benchmark_window() -> None:
    """9 work angles, 7 travel angles, 12 rolls."""
    assert technique(work_angle=(45, 20), direction="forward").window().shape == (9, 7, 12)


@pytest.mark.parametrize("name", sorted(SHIPPED))
def test_shipped_torches_make_sense(name: str) -> None:
    torch = replace(SHIPPED[name], stub_length=0.0)
    body = torch_body(torch, 15.0)
    assert torch.name == name
    assert body.nozzle_length == torch.nozzle_length
    assert body.starts[0] == pytest.approx([0, 0, 15.0 + torch.nozzle_length])
    # One connected chain up to the handle, whose axis is bent by the neck angle; hand round the handle.
    neck = [i for i, label in enumerate(body.labels) if label == "neck"]
    for a, b in pairwise(neck):
        assert body.ends[a] == pytest.approx(body.starts[b])
    handle, hand = body.labels.index("handle"), body.labels.index("hand")
    axis = body.ends[handle] - body.starts[handle]
    length = float(np.linalg.norm(axis))
    assert length + 2.0 * body.radii[handle] == pytest.approx(torch.handle_length)
    assert math.degrees(math.atan2(axis[0], axis[2])) == pytest.approx(torch.neck_angle)
    assert float(np.linalg.norm(body.starts[handle] - body.ends[neck[-1]])) <= body.radii[handle] + 1e-9
    middle = (body.starts[hand] + body.ends[hand]) / 2.0
    along = float((middle - body.starts[handle]) @ axis) / length
    assert float(np.linalg.norm(middle - body.starts[handle] - along * axis / length)) < 1e-9
    assert body.reach > np.linalg.norm(body.ends, axis=1).max()


@pytest.mark.parametrize("name", sorted(SHIPPED))
def test_radii_are_half_of_what_a_caliper_reads(name: str) -> None:
    torch = replace(SHIPPED[name], stub_length=0.0)
    body = torch_body(torch, 15.0)
    assert body.nozzle_radius == pytest.approx(torch.nozzle_diameter / 2.0)
    assert body.radii[body.labels.index("handle")] == pytest.approx(torch.handle_diameter / 2.0)
    assert body.radii[body.labels.index("hand")] == pytest.approx(torch.hand_diameter / 2.0)


@pytest.mark.parametrize("chords", [1, 2, 4, 9])
def test_chain_of_chords_covers_the_bent_neck(chords: int) -> None:
    """Every point of the true tube round the arc lies in some capsule, which is at most two sagittas too thick."""
    torch = SHIPPED["mig-60"]
    body = torch_body(torch, 15.0, chords)
    sagitta = torch.neck_radius * (1.0 - math.cos(math.radians(torch.neck_angle) / chords / 2.0))
    assert body.radii[:chords] == pytest.approx(torch.neck_diameter / 2.0 + sagitta)
    worst = 0.0
    for turn in np.linspace(0.0, math.radians(torch.neck_angle), 200):
        centre = np.array([torch.neck_radius * (1 - math.cos(turn)), 0.0, 75.0 + torch.neck_radius * math.sin(turn)])
        across = np.array([math.cos(turn), 0.0, -math.sin(turn)])
        for side in np.linspace(0.0, 2.0 * math.pi, 16, endpoint=False):
            rim = centre + torch.neck_diameter / 2.0 * (
                math.cos(side) * across + math.sin(side) * np.array([0.0, 1.0, 0.0])
            )
            gaps = []
            for a, b, r in zip(body.starts[:chords], body.ends[:chords], body.radii[:chords], strict=True):
                f = min(max(float((rim - a) @ (b - a)) / float((b - a) @ (b - a)), 0.0), 1.0)
                gaps.append(float(np.linalg.norm(rim - a - f * (b - a))) - r)
            worst = max(worst, min(gaps))
    assert worst <= 1e-9


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"nozzle_diameter": 0.0}, "nozzle_diameter is 0; expected a positive number"),
        ({"handle_length": -1.0}, "handle_length is -1"),
        ({"neck_radius": -1.0}, "neck_radius is -1; expected a number of 0 or more"),
        ({"hand_diameter": math.nan}, "hand_diameter is nan"),
        ({"nozzle_length": math.inf}, "nozzle_length is inf"),
        ({"neck_angle": 200.0}, "neck_angle is 200 degrees"),
        ({"handle_length": 5000.0}, "longer than 3 m"),
        ({"back_cap": 30.0}, "back_cap_diameter is 0"),
        ({"back_cap": -1.0, "back_cap_diameter": 18.0}, "back_cap is -1"),
        ({"stub_length": 61.0}, "stub_length is 61; expected no more than its nozzle_length, 60"),
    ],
)
def test_impossible_torches(change: dict[str, float], words: str) -> None:
    with pytest.raises(ValueError, match=words):
        replace(SHIPPED["mig-60"], **change)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"work_angle": (45, -1)}, "work_angle is"),
        ({"work_angle": (100, 30)}, "work_angle goes to 130"),
        ({"travel_angle": (70, 15)}, "travel_angle goes to 85"),
        ({"travel_angle": (math.nan, 1)}, "travel_angle is"),
        ({"stand_off": -1}, "stand_off is -1"),
        ({"direction": "up"}, 'expected "either"'),
        ({"filler_angle": (20, 10)}, "filler_angle is"),
        ({"filler_angle": (0, 10)}, "filler_angle is"),
    ],
)
def test_impossible_techniques(change: dict[str, object], words: str) -> None:
    with pytest.raises(ValueError, match=words):
        technique(**change)


def test_shipped_techniques_name_shipped_torches() -> None:
    assert {how.torch for how in TECHNIQUES.values()} <= SHIPPED.keys()
    assert all(how.name == name for name, how in TECHNIQUES.items())
    assert TECHNIQUES["corner"].work_angle == (45, 15)


def test_bodies_refuse_bad_arguments() -> None:
    for stand_off in (-1.0, math.nan):
        with pytest.raises(ValueError, match="stand-off"):
            torch_body(SHIPPED["mig-60"], stand_off)
    with pytest.raises(ValueError, match="chord"):
        torch_body(SHIPPED["mig-60"], 1.0, 0)
    with pytest.raises(ValueError, match="steps"):
        TECHNIQUES["corner"].window(work_step=0.0)


@pytest.mark.parametrize("name", sorted(SHIPPED))
def test_what_the_hand_covers_is_tried_once(name: str) -> None:
    """The trimmed torch fills the same space, point by point, and its first parts stay on the axis."""
    whole = with_wire(torch_body(SHIPPED[name], 15.0))
    parts, axial = in_parts(whole)
    rng = np.random.default_rng(4)
    ends = np.vstack([whole.starts, whole.ends])
    low, high = ends.min(axis=0) - 60.0, ends.max(axis=0) + 60.0
    points = rng.uniform(low, high, (4000, 3))

    def depth(body: TorchBody) -> Array:
        gaps = [
            segment_gaps(points, points, a, b + 1e-12) - r
            for a, b, r in zip(body.starts, body.ends, body.radii, strict=True)
        ]
        return np.asarray(np.min(gaps, axis=0))

    assert np.array_equal(depth(whole) < 0.0, depth(parts) < 0.0)
    assert 0.001 < (depth(whole) < 0.0).mean() < 0.9
    length = [float(np.linalg.norm(b.ends - b.starts, axis=1).sum()) for b in (whole, parts)]
    # Where an electrode burns down, handle and hand stand in places of their own.
    assert length[1] <= length[0]
    assert length[1] < length[0] - 50.0 or name.startswith("stick"), "the hand is round the handle"
    assert not parts.starts[:axial, :2].any()
    assert not parts.ends[:axial, :2].any()
    assert parts.labels[0] == "wire"
