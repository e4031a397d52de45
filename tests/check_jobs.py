"""Small setups for tests of the checks: blocks of plain boxes, so that every figure can be worked out by hand.

The blocks are solid boxes, made as meshes without a CAD kernel. All scenes have a grid of 50 mm with bores of 16 mm;
hole A1 is the origin, so B1 lies at x = 50 and A2 at y = 50.
"""

from __future__ import annotations

import copy
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from fixture3d.cache import Store
from fixture3d.checks.base import Check, Finding, Result, quiet
from fixture3d.job import Job
from fixture3d.job.resolve import resolve
from fixture3d.library import Entry, Library
from fixture3d.part import Move, Pad, Part, PartBody, Pin, Point, Socket, Tip, part
from fixture3d.part import length as size
from fixture3d.scene import Scene
from fixture3d.solid.mesh import Mesh


def box(low: Sequence[float], high: Sequence[float]) -> Mesh:
    """A box from corner to corner."""
    corners = np.array([[x, y, z] for z in (low[2], high[2]) for y in (low[1], high[1]) for x in (low[0], high[0])])
    faces = [[0, 2, 1], [1, 2, 3], [4, 5, 6], [5, 7, 6], [0, 1, 4], [1, 5, 4]]
    faces += [[2, 6, 3], [3, 6, 7], [0, 4, 2], [2, 4, 6], [1, 3, 5], [3, 7, 5]]
    return Mesh(corners.astype(np.float64), np.array(faces, dtype=np.int32), True, 0.0)


@part("post", made="for tests")
@dataclass(frozen=True, kw_only=True)
class Post(Part):
    """A box from x = -25 on, its pins on X, sockets on top."""

    length: float = size(100.0, low=10.0, high=2000.0, help="along X")
    width: float = size(50.0, low=10.0, high=2000.0, help="along Y")
    height: float = size(50.0, low=5.0, high=1000.0, help="seat to top")

    def pins(self) -> tuple[Pin, ...]:
        """Two, a pitch apart."""
        return tuple(Pin(name=str(k + 1), at=(k * self.pattern.pitch, 0.0, 0.0), depth=self.height) for k in range(2))

    def sockets(self) -> tuple[Socket, ...]:
        """Above the pins."""
        pitch = self.pattern.pitch
        return tuple(Socket(name=str(k + 1), at=(k * pitch, 0.0, self.height), depth=20.0) for k in range(2))

    def pads(self) -> tuple[Pad, ...]:
        """Back and top."""
        x = self.length / 2 - 25.0
        size_ = {"along": (1.0, 0.0, 0.0), "length": self.length}
        back: Point = (x, self.width / 2, self.height / 2)
        return (
            Pad(name="back", at=back, normal=(0, 1, 0), width=self.height, **size_),  # type: ignore[arg-type]
            Pad(name="top", at=(x, 0.0, self.height), normal=(0, 0, 1), width=self.width, **size_),  # type: ignore[arg-type]
        )

    def box(self) -> tuple[Point, Point]:
        """All of it."""
        return (-25.0, -self.width / 2, 0.0), (self.length - 25.0, self.width / 2, self.height)

    def solid(self) -> Any:
        """The box."""
        return box(*self.box())


@part("drawer", made="for tests")
@dataclass(frozen=True, kw_only=True)
class Drawer(Part):
    """A base of 100 x 50 x 20 with a slide of the same size on top that moves to the back by notches of 3 mm."""

    def pins(self) -> tuple[Pin, ...]:
        """Two, a pitch apart."""
        return tuple(Pin(name=str(k + 1), at=(k * self.pattern.pitch, 0.0, 0.0), depth=20.0) for k in range(2))

    def move(self) -> Move:
        """To the back."""
        return Move(axis=(0.0, 1.0, 0.0), travel=30.0, notch=3.0)

    def box(self) -> tuple[Point, Point]:
        """Fully in."""
        return (-25.0, -25.0, 0.0), (75.0, 25.0, 40.0)

    def solid(self) -> Any:
        """The base."""
        return box((-25.0, -25.0, 0.0), (75.0, 25.0, 20.0))

    def bodies(self) -> tuple[PartBody, ...]:
        """Base and slide."""
        slide = PartBody(name="slide", build=lambda: box((-25.0, -25.0, 20.0), (75.0, 25.0, 40.0)), moves=True)
        return (PartBody(name="", build=self.solid), slide)


@part("presser", made="for tests")
@dataclass(frozen=True, kw_only=True)
class Presser(Part):
    """A clamp: a post of 50 x 50, an arm along +X whose underside is its tip, and 100 mm of sweep above the arm."""

    reach: float = size(100.0, low=60.0, high=300.0, help="post to tip")
    work_height: float = size(60.0, low=10.0, high=200.0, help="table to tip")
    shank: float = size(0.0, low=0.0, high=30.0, help="how far its shank goes into the hole")

    def pins(self) -> tuple[Pin, ...]:
        """One, its own shank."""
        return (Pin(name="1", at=(0.0, 0.0, 0.0), depth=0.0, integral=True),)

    def tip(self) -> Tip:
        """Under the end of the arm; 10 mm of screw."""
        at = (self.reach, 0.0, self.work_height)
        return Tip(at=at, direction=(0, 0, -1), radius=8.0, force=(100.0, 200.0), stroke=10.0, throat=self.reach)

    def box(self) -> tuple[Point, Point]:
        """Post and arm."""
        return (-25.0, -25.0, 0.0), (self.reach + 10.0, 25.0, self.work_height + 20.0)

    def solid(self) -> Any:
        """The post."""
        return box((-25.0, -25.0, 0.0), (25.0, 25.0, self.work_height + 20.0))

    def bodies(self) -> tuple[PartBody, ...]:
        """Post, arm, shank and sweep."""
        z = self.work_height
        arm = box((25.0, -10.0, z), (self.reach + 10.0, 10.0, z + 20.0))
        sweep = box((25.0, -10.0, z + 20.0), (self.reach + 10.0, 10.0, z + 120.0))
        out = [
            PartBody(name="", build=self.solid),
            PartBody(name="arm", build=lambda: arm),
            PartBody(name="sweep", build=lambda: sweep, role="sweep"),
        ]
        if self.shank:
            # A square shank of 10 mm has its corners at 7.07 mm, inside a bore of 8 mm radius.
            out.append(PartBody(name="shank", build=lambda: box((-5.0, -5.0, -self.shank), (5.0, 5.0, 0.0))))
        return tuple(out)


LIBRARY = Library(
    {
        model.model: Entry(name=model.model, model=model, digest=model.model, summary="")
        for model in (Post, Drawer, Presser)
    }
)

TABLE: dict[str, Any] = {"pitch": 50, "bore": 16, "columns": 30, "rows": 20, "edge": 50, "thickness": 12}


def post(name: str, hole: str, length: float = 100.0, width: float = 50.0, height: float = 50.0, **keys: Any) -> Any:
    """Keys of a placed post."""
    return {"name": name, "model": "post", "hole": hole, **keys, "with": _given(length, width, height)}


def _given(length: float, width: float, height: float) -> dict[str, float]:
    return {"length": length, "width": width, "height": height}


def slab(name: str, low: Sequence[float], high: Sequence[float]) -> dict[str, Any]:
    """Keys of a plate that fills a box of the weldment frame."""
    dx, dy = high[0] - low[0], high[1] - low[1]
    return {
        "name": name,
        "outline": [[0, 0], [dx, 0], [dx, dy], [0, dy]],
        "thickness": high[2] - low[2],
        "at": list(low),
    }


def scene(**keys: Any) -> dict[str, Any]:
    """Tables of a scene on the usual table, the weldment frame being the world unless said otherwise."""
    out: dict[str, Any] = {"format": 1, "table": TABLE, **keys}
    if any(k in keys for k in ("plate", "member", "frame")):
        out.setdefault("weldment", {"hole": "A1"})
    return copy.deepcopy(out)


def job(tables: Mapping[str, Any], store: Store | None = None) -> Job:
    """The job of those tables."""
    return resolve(Scene.from_dict(tables), LIBRARY, store)


def ask(check: Check, tables: Mapping[str, Any], store: Store | None = None) -> Result:
    """The result of one check, with what every result promises asserted."""
    made = job(tables, store)
    assert check.needs(made) == ""
    result = check.run(made, quiet)
    declared = {rule.name for rule in check.rules}
    for finding in result.findings:
        assert finding.check == check.name
        assert finding.rule in declared
        assert finding.message
        assert not any(c.isdigit() for c in _without_names(finding)), f"a bare figure in: {finding.message}"
        if finding.measured is not None:
            assert np.isfinite(finding.measured)
            assert finding.unit
    return result


def _without_names(finding: Finding) -> str:
    """The message less the names of blocks and pieces, which may hold digits."""
    words = finding.message
    for name in sorted(finding.subjects, key=len, reverse=True):
        words = words.replace(name, "")
    for name in (" pin 1", " pin 2", '"t1"'):
        words = words.replace(name, "")
    return words


def of_rule(result: Result, rule: str) -> list[Finding]:
    """The findings of one rule."""
    return [finding for finding in result.findings if finding.rule == rule]


def shape_of(result: Result) -> set[tuple[Any, ...]]:
    """What must not change when a setup is shifted or its file reordered."""
    return {
        (f.rule, f.level, f.subjects, f.message, None if f.measured is None else round(f.measured, 6), f.limit)
        for f in result.findings
    }
