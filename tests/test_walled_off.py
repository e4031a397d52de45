"""Closed is what is enclosed, bores and boxes; what a piece merely stands in front of is open, and found blocked."""

from __future__ import annotations

from typing import Any

import cadquery as cq
import pytest

from fixture3d.checks import torch_access
from fixture3d.checks.base import quiet
from fixture3d.engine import assemble
from fixture3d.scene.scene import loads
from fixture3d.welding import FoundWeld, find_welds


def box(low: tuple[float, float, float], high: tuple[float, float, float]) -> Any:
    sizes = [b - a for a, b in zip(low, high, strict=True)]
    return cq.Workplane("XY").box(*sizes, centered=False).translate(low).val()


BASE = box((0, 0, -6), (200, 100, 0))
WEB = box((0, 56, 0), (200, 62, 100))  # its front is at y = 56


def front(pieces: dict[str, Any]) -> FoundWeld:
    """The line in the corner of base and web at y = 56."""
    (weld,) = [
        weld
        for weld in find_welds(pieces)
        if set(weld.joins) == {"base", "web"} and weld.length > 50.0 and abs(weld.path[:, 1].mean() - 56.0) < 0.1
    ]
    return weld


@pytest.mark.parametrize(
    "slot",
    [
        {"screen": box((0, 47, 0), (200, 48, 60))},  # 8 mm before the web, open at the top and both ends
        {"screen": box((0, 51, 0), (200, 52, 60))},  # 4 mm
        {"screen": box((0, 27, 0), (200, 28, 200))},  # 28 mm, and 200 deep
        {"lid": box((0, 10, 6), (200, 50, 7))},  # over it, 6 mm up, with a slot at the web
        {  # a pocket closed at both ends, open at the top
            "screen": box((0, 47, 0), (200, 48, 60)),
            "left": box((0, 48, 0), (2, 56, 60)),
            "right": box((198, 48, 0), (200, 56, 60)),
        },
    ],
    ids=["8 mm", "4 mm", "28 mm", "lid", "pocket"],
)
def test_what_something_stands_in_front_of_is_open(slot: dict[str, Any]) -> None:
    assert front({"base": BASE, "web": WEB, **slot}).state == "open"


@pytest.mark.parametrize(
    "around",
    [
        {"screen": box((0, 47, 0), (200, 48, 60)), "top": box((0, 47, 60), (200, 56, 62))},  # a bore of 8 x 60
        {  # a box of plates, closed all round
            "screen": box((0, 10, 0), (200, 12, 60)),
            "top": box((0, 10, 60), (200, 56, 62)),
            "left": box((0, 12, 0), (2, 56, 60)),
            "right": box((198, 12, 0), (200, 56, 60)),
        },
        {"screen": box((0, 26, 0), (200, 28, 30)), "top": box((0, 26, 30), (200, 56, 32))},  # open at both ends
    ],
    ids=["bore", "box", "open ends"],
)
def test_what_is_enclosed_is_closed(around: dict[str, Any]) -> None:
    assert front({"base": BASE, "web": WEB, **around}).state == "closed"


@pytest.mark.parametrize(("depth", "width"), [(120.0, 40.0), (120.0, 60.0), (300.0, 100.0)])
def test_the_end_of_a_tube_is_closed(depth: float, width: float) -> None:
    tube = cq.Workplane("XY").rect(width, width).rect(width - 6, width - 6).extrude(depth).val()
    plate = cq.Workplane("XY").box(200, 200, 8).translate((0, 0, -4)).val()
    states = {(round(weld.length), weld.state) for weld in find_welds({"plate": plate, "tube": tube})}
    assert states == {(round(width - 6), "closed"), (round(width), "open")}


def test_a_hidden_weld_is_found_blocked_with_its_mend() -> None:
    plate = """
[[plate]]
name = "{}"
outline = [[0, 0], [100, 0], [100, {}], [0, {}]]
thickness = {}
at = [0, {}, {}]
normal = {}
along = [1, 0, 0]
"""
    text = 'format = 1\ntable = "50/16 1000x700"\n[weldment]\nhole = "H7"\nlift = 50\nwelds = "auto"\n'
    text += plate.format("base", 100, 100, 6, 0, 0, [0, 0, 1])
    text += plate.format("web", 100, 100, 6, 56, 6, [0, -1, 0])
    text += plate.format("screen", 60, 60, 1, 42, 6, [0, -1, 0])
    found = torch_access.CHECK.run(assemble(loads(text, "screen.toml")), quiet)
    said = [one for one in found.findings if one.rule in ("weld-blocked", "weld-partly-blocked")]
    (hidden,) = [one for one in said if one.subjects[0] == "base / web, front"]
    assert "screen" in hidden.subjects
    assert "weld it before screen is put there" in hidden.remedy
