"""What ships: torches and techniques by their sources, the cup number rule, an electrode that burns down."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from fixture3d.access.shipped import SHIPPED, TECHNIQUES, usual_joint
from fixture3d.access.torch import CUP_STEP, Technique, cup_bore, floor_angle
from fixture3d.access.torch_space import BURN, TorchBody, torch_body

Array = NDArray[np.float64]


@pytest.mark.parametrize(("number", "bore"), [(4, 6.35), (6, 9.53), (8, 12.70), (12, 19.05)])
def test_cup_numbers_are_sixteenths_of_an_inch(number: int, bore: float) -> None:
    """Trade rule, looked up: cup number = inside diameter in 1/16 in."""
    assert cup_bore(number) == pytest.approx(bore, abs=0.006)
    assert pytest.approx(1.5875) == CUP_STEP


def test_tig_stick_out_and_tungsten_keep_to_the_cup() -> None:
    """Stick-out no more than the cup's bore, and a bore of three tungstens or more: rules of thumb, looked up."""
    tig = [how for name, how in TECHNIQUES.items() if name.startswith("tig-")]
    assert len(tig) == 3
    for how in tig:
        bore = SHIPPED[how.torch].nozzle_diameter - 5.0
        assert bore == pytest.approx(cup_bore(6), abs=0.05)
        assert how.stand_off <= bore
        assert bore >= 3 * 2.4


@pytest.mark.parametrize(
    ("diameter", "stand_off", "angle"),
    [(15, 10, 36.9), (20, 10, 45.0), (25, 10, 51.3), (20, 12, 39.8), (20, 15, 33.7), (25, 20, 32.0), (15, 20, 20.6)],
)
def test_floor_angle_table(diameter: float, stand_off: float, angle: float) -> None:
    """tan(angle) = D / 2s; the kernel is held against it in test_access::test_floor_angle."""
    assert floor_angle(diameter, stand_off) == pytest.approx(angle, abs=0.05)


def test_angles_of_the_textbooks() -> None:
    """Modern Welding: 45 for fillets, 0 for butts, 0 to 40 of travel; GMAW 5 to 15; GTAW 15 to 20 push: looked up."""
    for name, how in TECHNIQUES.items():
        assert how.work_angle[0] == {"corner": 45, "butt": 0, "middle": "middle"}[name.rpartition("-")[2]]
        assert 0 <= abs(how.travel_angle[0]) <= 40
        assert how.torch in SHIPPED
        assert how.name == name
    for process in ("short", "spray"):
        assert 5 <= TECHNIQUES[f"{process}-corner"].travel_angle[0] <= 15
        assert sum(TECHNIQUES[f"{process}-corner"].travel_angle) <= 20
    assert 15 <= TECHNIQUES["tig-corner"].travel_angle[0] <= 20
    assert TECHNIQUES["tig-corner"].filler_angle is not None
    assert 10 <= TECHNIQUES["tig-corner"].filler_angle[0] <= 20
    assert TECHNIQUES["stick-corner"].travel_angle[0] < 0 > TECHNIQUES["fcaw-corner"].travel_angle[0]
    # Contact tip to work 6 to 13 in short circuit, from 13 in spray, 19 to 25 flux-cored; tip 3 out to 6 within.
    assert 6 <= TECHNIQUES["short-butt"].stand_off <= 13 + 3
    assert 13 - 6 <= TECHNIQUES["spray-butt"].stand_off <= 25 - 3
    assert 19 - 6 <= TECHNIQUES["fcaw-butt"].stand_off <= 25


def test_nominal_position_clears_a_right_angled_corner() -> None:
    """Every shipped nozzle at its stand-off stands clear of both faces at 45 degrees, before any lean."""
    for how in TECHNIQUES.values():
        assert floor_angle(SHIPPED[how.torch].nozzle_diameter, how.stand_off) < 45.0, how.name


@pytest.mark.parametrize(
    ("kind", "middle", "joint"),
    [
        ("butt", 0.0, "butt"),
        ("fillet", 45.0, "corner"),
        ("fillet", 60.0, "corner"),
        ("fillet", 60.1, "middle"),
        ("lap", 45.0, "corner"),
        ("corner", 45.0, "middle"),
        ("edge", 0.0, "middle"),
        ("flare", 75.0, "middle"),
    ],
)
def test_usual_technique_by_type(kind: str, middle: float, joint: str) -> None:
    assert usual_joint(kind, middle) == joint


def test_the_middle_is_put_in_at_the_joint() -> None:
    how = TECHNIQUES["middle"]
    with pytest.raises(ValueError, match="middle of the joint is not known"):
        how.window()
    assert how.at(63.0).window().works.tolist() == [48.0, 53.0, 58.0, 63.0, 68.0, 73.0, 78.0]
    assert TECHNIQUES["corner"].at(63.0) is TECHNIQUES["corner"]


def test_a_feeding_hand_parts_the_two_ways_of_travel() -> None:
    """A lean of both ways stands twice, because the rod is on another side; every index belongs to one way."""
    how = Technique(
        name="t", torch="tig-long-cap", work_angle=(45, 5), travel_angle=(10, 15), stand_off=6, filler_angle=(15, 60)
    )
    window = how.window()
    ways = dict(window.runs)
    assert sorted([*ways[1], *ways[-1]]) == list(range(len(window.leans)))
    assert window.leans[ways[1]].tolist() == list(range(-5, 30, 5))
    assert window.leans[ways[-1]].tolist() == list(range(-25, 10, 5))
    for sense, leans in window.runs:
        for lean in leans:
            assert window.travel(int(lean))[0] == sense
            assert window.cost[1, lean] == pytest.approx(abs(sense * window.leans[lean] - 10))
    assert len(replace(how, filler_angle=None).window().leans) == 11


# --- torches -------------------------------------------------------------------------------------------------------


def gap(body: TorchBody, points: Array) -> Array:
    """Distance of points (n, 3) from the nearest capsule of a body, negative inside."""
    out = np.full(len(points), np.inf)
    for a, b, r in zip(body.starts, body.ends, body.radii, strict=True):
        length = float((b - a) @ (b - a))
        f = np.clip((points - a) @ (b - a) / length, 0.0, 1.0) if length > 0.0 else np.zeros(len(points))
        out = np.minimum(out, np.linalg.norm(points - a - f[:, None] * (b - a), axis=1) - r)
    return out


def surface(body: TorchBody, rng: np.random.Generator, count: int) -> Array:
    """Random points on the capsules of a body."""
    out = []
    for a, b, r in zip(body.starts, body.ends, body.radii, strict=True):
        way = rng.normal(size=(count, 3))
        way /= np.linalg.norm(way, axis=1)[:, None]
        out.append(a + rng.random((count, 1)) * (b - a) + r * way)
    return np.vstack(out)


@pytest.mark.parametrize("name", ["stick-350", "stick-450"])
def test_a_burning_electrode_fills_every_length_and_little_more(name: str) -> None:
    rng = np.random.default_rng(6)
    torch = SHIPPED[name]
    swept = torch_body(torch, 4.0)
    full = torch_body(replace(torch, stub_length=0.0), 4.0)
    assert (swept.nozzle_length, swept.nozzle_radius) == (full.nozzle_length, full.nozzle_radius)
    travel = torch.nozzle_length - torch.stub_length
    for length in rng.uniform(torch.stub_length, torch.nozzle_length, 30):
        at = torch_body(replace(torch, stub_length=0.0, nozzle_length=float(length)), 4.0)
        assert gap(swept, surface(at, rng, 40)).max() <= 1e-6
    # What is told too much: no point is more than BURN outside of the holder at every length.
    outside = surface(swept, rng, 60)
    least = np.full(len(outside), np.inf)
    for length in np.linspace(torch.stub_length, torch.nozzle_length, 400):
        at = torch_body(replace(torch, stub_length=0.0, nozzle_length=float(length)), 4.0)
        least = np.minimum(least, gap(at, outside))
    assert least.max() <= BURN + travel / 399
    assert least.max() > 0.5


def test_back_cap_stands_along_the_nozzle() -> None:
    long, short, none = (torch_body(SHIPPED[n], 6.0) for n in ("tig-long-cap", "tig-short-cap", "tig-straight"))
    for body, height in ((long, 100.0), (short, 32.0)):
        cap = body.labels.index("cap")
        ends = np.stack([body.starts[cap], body.ends[cap]])
        assert ends[:, :2] == pytest.approx(np.zeros((2, 2)))
        assert body.radii[cap] == 9.0
        assert ends[:, 2].max() + 9.0 == pytest.approx(6.0 + 45.0 + height)
        assert ends[:, 2].min() - 9.0 == pytest.approx(6.0 + 45.0)
    assert "cap" not in none.labels


def test_necks_are_bent_as_named() -> None:
    for name, angle in (("mig-60", 60), ("mig-45", 45), ("mig-straight", 0), ("mig-compact", 60)):
        body = torch_body(SHIPPED[name], 15.0)
        hand = body.labels.index("handle")
        axis = body.ends[hand] - body.starts[hand]
        assert math.degrees(math.atan2(axis[0], axis[2])) == pytest.approx(angle)
    assert torch_body(SHIPPED["mig-compact"], 15.0).reach < torch_body(SHIPPED["mig-60"], 15.0).reach
