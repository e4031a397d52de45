"""Holding through the whole line, from a scene to findings: small setups whose forces follow by hand.

Pads are square boxes of 10 mm, plates boxes, clamps a tip of a given force anywhere: all overlaps with what carries the
tip are of no interest here.
"""

from __future__ import annotations

import copy
import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from importlib.resources import files
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import jsonschema
import numpy as np
import pytest

from fixture3d.cache import Store
from fixture3d.checks import holding
from fixture3d.checks.base import Result, quiet
from fixture3d.checks.holding_work import force_of
from fixture3d.job import Job
from fixture3d.job.resolve import resolve
from fixture3d.library import Entry, Library, library
from fixture3d.part import Pad, Part, PartBody, Pin, Point, Tip, part
from fixture3d.part import length as size
from fixture3d.report import make_report
from fixture3d.report.holding import holding_lines
from fixture3d.report.text import to_text
from fixture3d.scene import Scene
from fixture3d.solid.mesh import Mesh
from tests.check_jobs import box


@part("pad", made="for tests")
@dataclass(frozen=True, kw_only=True)
class Pedestal(Part):
    """A box about its own middle, standing on one pin."""

    long: float = size(10.0, low=5.0, high=500.0, help="along X")
    wide: float = size(10.0, low=5.0, high=500.0, help="along Y")
    height: float = size(50.0, low=5.0, high=500.0, help="seat to top")

    def pins(self) -> tuple[Pin, ...]:
        """One in the middle."""
        return (Pin(name="1", at=(0.0, 0.0, 0.0), depth=self.height),)

    def pads(self) -> tuple[Pad, ...]:
        """The top."""
        top: Point = (0.0, 0.0, self.height)
        return (Pad(name="top", at=top, normal=(0, 0, 1), along=(1.0, 0.0, 0.0), length=self.long, width=self.wide),)

    def box(self) -> tuple[Point, Point]:
        """All of it."""
        return (-self.long / 2, -self.wide / 2, 0.0), (self.long / 2, self.wide / 2, self.height)

    def solid(self) -> Mesh:
        """The box."""
        return box(*self.box())


@part("press", made="for tests")
@dataclass(frozen=True, kw_only=True)
class Press(Part):
    """A tip of 8 mm radius right over its own foot, that presses down with a force."""

    work_height: float = size(60.0, low=10.0, high=200.0, help="table to tip")
    newtons: float = size(1000.0, low=10.0, high=9000.0, help="N, not mm")

    def pins(self) -> tuple[Pin, ...]:
        """One."""
        return (Pin(name="1", at=(0.0, 0.0, 0.0), depth=0.0, integral=True),)

    def tip(self) -> Tip:
        """At the origin of X and Y."""
        force = (self.newtons, self.newtons)
        return Tip(at=(0, 0, self.work_height), direction=self._way(), radius=8.0, force=force, stroke=5.0, throat=50.0)

    def _way(self) -> Point:
        return (0.0, 0.0, -1.0)

    def box(self) -> tuple[Point, Point]:
        """Over the tip."""
        return (-10.0, -10.0, self.work_height), (10.0, 10.0, self.work_height + 20.0)

    def bodies(self) -> tuple[PartBody, ...]:
        """One."""
        return (PartBody(name="", build=lambda: box(*self.box())),)


@part("level_press", made="for tests")
@dataclass(frozen=True, kw_only=True)
class LevelPress(Press):
    """The same along +X."""

    def _way(self) -> Point:
        return (1.0, 0.0, 0.0)


MODELS = (Pedestal, Press, LevelPress)
LIBRARY = Library({m.model: Entry(name=m.model, model=m, digest=m.model, summary="") for m in MODELS})
TABLE = {"pitch": 50, "bore": 16, "columns": 30, "rows": 20, "edge": 300, "thickness": 12}


def pad(name: str, x: float, y: float, turn: float = 0.0, **given: float) -> dict[str, Any]:
    return {"name": name, "model": "pad", "free": [x, y, 0, turn], "with": given}


def press(name: str, x: float, y: float, presses: str, z: float = 60.0, **keys: Any) -> dict[str, Any]:
    force = keys.pop("force", 1000.0)
    turn, model = keys.pop("turn", 0.0), keys.pop("model", "press")
    given = {"work_height": z, "newtons": force}
    return {"name": name, "model": model, "free": [x, y, 0, turn], "presses": presses, "with": given, **keys}


def plate(name: str, low: Sequence[float], high: Sequence[float]) -> dict[str, Any]:
    (x, y, z), (a, b, c) = low, high
    outline = [[0, 0], [a - x, 0], [a - x, b - y], [0, b - y]]
    return {"name": name, "outline": outline, "thickness": c - z, "at": [x, y, z]}


def scene(**keys: Any) -> dict[str, Any]:
    return copy.deepcopy({"format": 1, "table": TABLE, "weldment": {"hole": "A1"}, **keys})


def job(tables: Mapping[str, Any], store: Store | None = None) -> Job:
    return resolve(Scene.from_dict(tables), LIBRARY, store)


def ask(tables: Mapping[str, Any], store: Store | None = None) -> Result:
    result = holding.CHECK.run(job(tables, store), quiet)
    for finding in result.findings:
        assert finding.remedy
        assert finding.measured is None or finding.unit
    return result


def told(tables: Mapping[str, Any]) -> list[tuple[str, tuple[str, ...]]]:
    return [(f.rule, f.subjects) for f in ask(tables).findings]


def row(result: Result, name: str) -> Mapping[str, Any]:
    return next(r for r in result.figures["holding"] if r["name"] == name)


# --- a clamp in its triangle: reference values worked out by hand (three equations of balance) ----------------------

CORNERS = {"P1": (0.0, 0.0), "P2": (200.0, 0.0), "P3": (100.0, 150.0)}
SHEET = plate("sheet", (-20, -20, 50), (220, 180, 51))


def triangle(x: float, y: float, force: float = 1000.0, **more: Any) -> dict[str, Any]:
    pads = [pad(name, *at) for name, at in CORNERS.items()]
    return scene(plate=[SHEET], place=pads, clamp=[press("K1", x, y, "sheet", 51, force=force)], **more)


@pytest.mark.parametrize(
    ("at", "forces"),
    [((100, 50), (333.3, 333.3, 333.3)), ((100, 100), (166.7, 166.7, 666.7))],
)
def test_a_clamp_inside_its_triangle(at: tuple[float, float], forces: tuple[float, ...]) -> None:
    found = ask(triangle(*at))
    assert [f.rule for f in found.findings if f.level == "fail"] == []
    figures = row(found, "sheet")
    # The sheet weighs 3.7 N, and pads of 10 mm take a little more than points on the far side.
    assert list(figures["reactions"].values()) == pytest.approx(forces, abs=8.0)
    assert sum(figures["reactions"].values()) == pytest.approx(1000.0 + figures["weight"], abs=0.2)
    assert figures["weight"] == pytest.approx(0.24 * 0.2 * 0.001 * 7850 * 9.80665, abs=0.05)
    assert figures["stays"] is True


@pytest.mark.parametrize(
    ("at", "pulls", "lifts"),
    [((100, 160), (-33.3, -33.3, 1066.7), "P1 and P2"), ((20, 100), (566.7, -233.3, 666.7), "P2")],
)
def test_a_clamp_outside_its_triangle_tips_the_piece(
    at: tuple[float, float], pulls: tuple[float, ...], lifts: str
) -> None:
    found = ask(triangle(*at))
    (finding,) = found.findings
    assert (finding.rule, finding.level, finding.subjects) == ("tips-over", "fail", ("K1", "sheet"))
    assert finding.message.endswith(f"it lifts off {lifts}")
    figures = row(found, "sheet")
    assert list(figures["pulls"].values()) == pytest.approx(pulls, abs=12.0)
    assert figures["held"] is False


@pytest.mark.parametrize(("y", "tips"), [(154.9, False), (155.2, False), (155.8, True), (160.0, True)])
def test_the_edge_of_what_carries_it_is_the_limit(y: float, tips: bool) -> None:
    """The pad ends at 155; 3.7 N of weight 75 to 105 mm behind it stand 1000 N up to 0.3 mm beyond."""
    found = ask(triangle(100, y))
    assert bool([f for f in found.findings if f.rule == "tips-over"]) is tips
    if tips:
        (finding,) = [f for f in found.findings if f.rule == "tips-over"]
        assert finding.measured == pytest.approx(y - 155.0, abs=1e-6)
        # The remedy leads back: it names the way, and pressing there is told no more.
        assert "front (-Y)" in finding.remedy


def test_two_clamps_hold_each_other_down_when_both_are_shut() -> None:
    both = triangle(100, 160)
    both["clamp"].append(press("K2", 100, 40, "sheet", 51))
    assert [r for r, _ in told(both) if r == "tips-over"] == []


# --- pushed off, over nothing, dents --------------------------------------------------------------------------------

BAR = plate("bar", (0, -25, 50), (500, 25, 80))
ENDS = [pad("R1", 50, 0, long=40.0, wide=50.0), pad("R2", 450, 0, long=40.0, wide=50.0)]


def level(x: float, turn: float, name: str = "K1") -> dict[str, Any]:
    return press(name, x, 0, "bar", 65, turn=turn, model="level_press")


@pytest.mark.parametrize(
    ("stop", "clamp", "rules"),
    [
        (pad("S1", 505, 0, height=80.0), level(0, 0), []),
        (pad("S1", -5, 0, height=80.0), level(0, 0), ["clamp-pushes-off"]),
        (pad("S1", -5, 0, height=80.0), level(500, 180), []),
        (pad("S1", 600, 0, height=80.0), level(0, 0), ["clamp-pushes-off"]),
    ],
)
def test_a_level_clamp_wants_a_stop_opposite(stop: dict[str, Any], clamp: dict[str, Any], rules: list[str]) -> None:
    found = ask(scene(plate=[BAR], place=[*ENDS, stop], clamp=[clamp])).findings
    assert [f.rule for f in found if f.level == "fail"] == rules
    for finding in found:
        if finding.rule == "clamp-pushes-off":
            assert "pushes bar +X" in finding.message
            assert ("off S1" in finding.message) is (stop["free"][0] < 0)


@pytest.mark.parametrize(("x", "over"), [(50, False), (70, False), (77.5, False), (78.5, True), (250, True)])
def test_a_clamp_between_two_blocks_presses_nothing(x: float, over: bool) -> None:
    """R1 ends at 70; the tip has a radius of 8."""
    found = ask(scene(plate=[BAR], place=ENDS, clamp=[press("K1", x, 0, "bar", 80)]))
    mine = [f for f in found.findings if f.rule == "clamp-over-nothing"]
    assert [f.subjects for f in mine] == ([("K1", "bar")] if over else [])
    for finding in mine:
        assert finding.measured == pytest.approx(min(x - 70.0, 430.0 - x))
        assert "nothing carries 360 mm" in finding.remedy


def test_what_clamp_off_support_says_is_not_said_again() -> None:
    tables = scene(plate=[BAR], place=ENDS, clamp=[press("K1", 250, 0, "bar", 80, toward="R1")])
    assert "clamp-over-nothing" not in [rule for rule, _ in told(tables)]


def tube(stock: str, y: float, force: float) -> dict[str, Any]:
    bar = {"name": "tube", "stock": stock, "from": [0, 0, 70], "to": [400, 0, 70]}
    under = pad("R1", 200, 0, long=100.0, wide=60.0)
    return scene(member=[bar], place=[under], clamp=[press("K1", 200, y, "tube", 90, force=force)])


@pytest.mark.parametrize(
    ("stock", "y", "force", "dents"),
    [
        ("SHS 40x40x2", 0, 1000, False),
        ("SHS 40x40x2", 0, 1100, True),
        ("SHS 40x40x3", 0, 2200, False),  # with the square of the wall: 2250 N
        ("SHS 40x40x3", 0, 2300, True),
        ("SHS 40x40x2", 9.9, 2000, True),
        ("SHS 40x40x2", 10.1, 2000, False),  # the tip of 8 reaches the side wall, which begins at 18
        ("flat 40x40", 0, 9000, False),
    ],
)
def test_a_thin_wall_may_dent(stock: str, y: float, force: float, dents: bool) -> None:
    # 1 to 2 kN on the flat of a 2 mm wall without a pad: common practice, no source.
    assert ("may-dent" in [rule for rule, _ in told(tube(stock, y, force))]) is dents


# --- knocks ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("force", "slides"), [(600.0, True), (640.0, True), (690.0, False), (2000.0, False)])
def test_friction_at_one_face_is_what_holds_a_clamped_piece(force: float, slides: bool) -> None:
    """0.15 (F + W) against 100 N at the middle of the piece: F + W = 667 N; W = 0.4 x 0.04 x 0.005 m3 of steel, 6 N."""
    strip = plate("strip", (0, -20, 50), (400, 20, 55))
    tables = scene(
        plate=[strip], place=[pad("R1", 200, 0, long=100.0, wide=40.0)],
        clamp=[press("K1", 200, 0, "strip", 55, force=force)],
    )  # fmt: skip
    found = ask(tables)
    assert ("slides" in [f.rule for f in found.findings]) is slides
    figures = row(found, "strip")
    weight = 0.4 * 0.04 * 0.005 * 7850 * 9.80665
    assert min(s["most"] for s in figures["stands"]) == pytest.approx(0.15 * (force + weight), rel=0.01)
    assert figures["held"] is not slides
    # Twice 100 N on one rubbing face: N = 2 F / mu = 1333 N, less the weight.
    assert figures["needs"]["K1"] == pytest.approx(200.0 / 0.15 - weight, rel=0.01)


@pytest.mark.parametrize(("x", "level"), [(250, None), (50, "note")])
def test_the_free_end_of_a_piece_with_one_clamp_is_a_note(x: float, level: str | None) -> None:
    under = [pad("R1", 50, 0, long=40.0, wide=50.0), pad("R3", 250, 0, long=40.0, wide=50.0), ENDS[1]]
    found = ask(scene(plate=[BAR], place=under, clamp=[press("K1", x, 0, "bar", 80, force=2000.0)])).findings
    assert [f.level for f in found if f.rule == "slides"] == ([level] if level else [])
    for finding in found:
        # 0.15 x 2000 N at half of half a diagonal of the face under it, 16 mm, over the 200 mm to the middle.
        assert 10.0 < (finding.measured or 0.0) < 60.0
        assert "swings" in finding.message


def test_work_that_nothing_carries_is_told_elsewhere() -> None:
    two = [BAR, plate("lid", (0, 200, 50), (100, 300, 60))]
    found = ask(scene(plate=two, place=[pad("S1", 700, 700)]))
    assert found.findings == ()
    assert [r["held"] for r in found.figures["holding"]] == [False, False, False]
    one = ask(scene(plate=[plate("lid", (0, 200, 50), (100, 300, 60)), BAR], place=[pad("R1", 300, 0)])).findings
    assert [(f.rule, f.subjects) for f in one] == [("tips-over", ("weldment",))]


def test_a_piece_without_a_clamp_is_told_in_the_report_only() -> None:
    found = ask(scene(plate=[BAR], place=ENDS))
    assert found.findings == ()
    figures = row(found, "bar")
    assert (figures["held"], figures["stays"], figures["clamps"]) == (False, True, [])


def test_stops_on_all_sides_hold_a_piece_without_any_clamp() -> None:
    round_it = [pad(f"S{k}", *at, height=80.0, long=20.0, wide=20.0) for k, at in enumerate(
        [(-10, 0), (510, 0), (50, 35), (450, 35), (50, -35), (450, -35)]
    )]  # fmt: skip
    assert row(ask(scene(plate=[BAR], place=[*ENDS, *round_it])), "bar")["held"] is True


def test_a_clamp_holds_what_it_presses_through() -> None:
    on_top = plate("top", (0, -25, 80), (500, 25, 90))
    found = ask(scene(plate=[BAR, on_top], place=ENDS, clamp=[press("K1", 50, 0, "top", 90, force=4000.0)]))
    assert row(found, "bar")["pressed"] is True
    assert row(found, "bar")["clamps"] == []
    assert sum(row(found, "bar")["reactions"].values()) > 4000.0


def test_what_a_clamp_pushes_out_through_a_neighbour_shows_on_the_tacked_work() -> None:
    two = [plate("rail", (0, -25, 50), (300, 25, 80)), plate("leg", (300, -100, 50), (350, 100, 80))]
    under = [pad("R1", 100, 0, wide=50.0), pad("R2", 250, 0, wide=50.0), pad("R3", 325, 80), pad("R4", 325, -80)]
    push = press("K1", 0, 0, "rail", 65, model="level_press")
    assert told(scene(plate=two, place=under, clamp=[push])) == [("clamp-pushes-off", ("K1", "weldment"))]
    stops = [pad("S1", 355, 60, height=80.0), pad("S2", 355, -60, height=80.0)]
    assert told(scene(plate=two, place=[*under, *stops], clamp=[push])) == []


def test_work_that_a_block_reaches_into_is_not_judged() -> None:
    sunk = [pad("R1", 50, 0, long=40.0, wide=50.0, height=52.0), ENDS[1]]
    found = ask(scene(plate=[BAR], place=sunk, clamp=[press("K1", 50, 0, "bar", 80)]))
    assert found.findings == ()
    assert row(found, "bar")["held"] is None
    assert "R1" in row(found, "bar")["why"]


def test_the_force_that_is_counted_is_the_middle_of_the_range() -> None:
    """A medium toggle gives 500 to 2000 N by hand (common practice, no source): 1000 N are counted."""
    clamp = {"name": "K1", "model": "toggle_clamp", "hole": "B2", "presses": "bar", "bolt": True}
    made = resolve(Scene.from_dict(scene(plate=[BAR], place=[], clamp=[clamp])), library())
    assert force_of(made.seats["K1"]) == 1000.0


def test_a_clamp_that_does_not_reach_presses_nothing() -> None:
    high = scene(plate=[BAR], place=ENDS, clamp=[press("K1", 600, 0, "bar", 80)])
    assert row(ask(high), "bar")["pressed"] is False


# --- what must not matter -------------------------------------------------------------------------------------------


def turned(tables: dict[str, Any], degrees: float, dx: float, dy: float) -> dict[str, Any]:
    """The same setup turned about the vertical and shifted."""
    c, s = np.cos(np.deg2rad(degrees)), np.sin(np.deg2rad(degrees))
    out = copy.deepcopy(tables)
    for item in (*out["place"], *out["clamp"]):
        x, y, z, turn = item["free"]
        item["free"] = [c * x - s * y + dx, s * x + c * y + dy, z, (turn + degrees) % 360.0]
    out["weldment"] = {"hole": "A1", "offset": [dx, dy], "turn": degrees}
    return out


def mirrored(tables: dict[str, Any]) -> dict[str, Any]:
    """Right and left changed."""
    out = copy.deepcopy(tables)
    for item in (*out["place"], *out["clamp"]):
        item["free"][0] *= -1.0
        item["free"][3] = (180.0 - item["free"][3]) % 360.0
    for piece in out["plate"]:
        piece["at"][0] = -piece["at"][0] - piece["outline"][1][0]
    return out


def inches(value: Any) -> Any:
    if isinstance(value, dict):
        return {k: v if k in ("format", "columns", "rows", "newtons") else inches(v) for k, v in value.items()}
    if isinstance(value, list):
        return [inches(v) for v in value]
    return value / 25.4 if isinstance(value, int | float) and not isinstance(value, bool) else value


SETUPS: dict[str, Callable[[], dict[str, Any]]] = {
    "tips": lambda: triangle(20, 100),
    "stands": lambda: triangle(100, 50),
    "pushed off": lambda: scene(plate=[BAR], place=[*ENDS, pad("S1", -5, 0, height=80.0)], clamp=[level(0, 0)]),
    "between": lambda: scene(plate=[BAR], place=ENDS, clamp=[press("K1", 250, 0, "bar", 80)]),
}


def summary(result: Result) -> list[Any]:
    rows = [
        (r["name"], r["held"], r["stays"], [round(v) for v in r["reactions"].values()],
         sorted(round(s["most"]) for s in r["stands"] if s["most"] < 5000.0))
        for r in result.figures["holding"]
    ]  # fmt: skip
    return [[(f.rule, f.subjects, None if f.measured is None else round(f.measured, 3)) for f in result.findings], rows]


@pytest.mark.parametrize("name", SETUPS)
def test_turn_shift_mirror_and_inches_change_nothing(name: str) -> None:
    tables = SETUPS[name]()
    here = summary(ask(tables))
    assert summary(ask(turned(tables, 90.0, 137.0, -21.5))) == here
    assert summary(ask(turned(tables, 0.0, 900.0, 400.0))) == here
    assert summary(ask(mirrored(tables)))[0] == here[0]
    assert [f[:2] for f in summary(ask(turned(tables, 33.0, 50.0, 60.0)))[0]] == [f[:2] for f in here[0]]
    one = inches({k: v for k, v in tables.items() if k != "format"}) | {"format": 1, "units": "in"}
    for item in (*one["place"], *one["clamp"]):
        item["free"][3] *= 25.4
    one["clamp"][0]["with"]["newtons"] = tables["clamp"][0]["with"]["newtons"] / 25.4
    assert summary(ask(one)) == here


def test_names_and_order_change_nothing() -> None:
    tables = triangle(20, 100)
    text = json.dumps(tables)
    for old, new in (("P1", "a b"), ("P2", "zz"), ("P3", "m"), ("K1", "clamp"), ("sheet", "thing")):
        text = text.replace(f'"{old}"', f'"{new}"')
    other = json.loads(text)
    other["place"] = other["place"][::-1]
    here, there = ask(tables), ask(other)
    assert [f.rule for f in here.findings] == [f.rule for f in there.findings]
    assert [f.measured for f in here.findings] == pytest.approx([f.measured for f in there.findings])
    assert there.findings[0].subjects == ("clamp", "thing")
    assert row(there, "thing")["pulls"]["zz"] == pytest.approx(row(here, "sheet")["pulls"]["P2"], abs=0.2)


@pytest.mark.parametrize("seed", range(4))
def test_a_tenth_of_a_millimetre_and_of_a_degree_change_no_verdict(seed: int) -> None:
    rng = np.random.default_rng(seed)
    for make in SETUPS.values():
        tables = make()
        here = told(tables)
        for item in (*tables["place"], *tables["clamp"]):
            item["free"] = [*(np.array(item["free"][:2]) + rng.uniform(-0.1, 0.1, 2)), item["free"][2], item["free"][3]]
            item["free"][3] = float(item["free"][3] + rng.uniform(-0.1, 0.1)) % 360.0
            if item["model"] == "pad" and item["name"].startswith(("P", "R")):
                item["with"]["height"] = 50.0 + float(rng.uniform(-0.1, 0.0))
            item["free"] = [float(v) for v in item["free"]]
        assert told(tables) == here


def test_answers_are_kept_and_follow_what_they_depend_on(tmp_path: Path) -> None:
    store = Store(tmp_path)
    tables = triangle(100, 50)
    first = ask(tables, store)
    again = ask(tables, Store(tmp_path))
    assert again == first
    moved = copy.deepcopy(tables)
    moved["place"][2]["free"][1] = 120.0
    moved["clamp"][0]["free"][1] = 140.0
    assert [f.rule for f in ask(moved, Store(tmp_path)).findings] == ["tips-over"]
    harder = triangle(100, 50, force=2000.0)
    assert sum(row(ask(harder, Store(tmp_path)), "sheet")["reactions"].values()) > 2000.0


def test_pieces_that_are_one_by_now_are_told_as_one() -> None:
    common = {"whole": False, "held": False, "clamps": [], "stays": True, "stands": [], "pushes": [], "why": ""}
    rows = [common | {"name": "frame", "pieces": ["frame", "post"]}, common | {"name": "lid", "pieces": ["lid"]}]
    report: Any = SimpleNamespace(figures=lambda _: rows, job=SimpleNamespace(scene=SimpleNamespace(units="mm")))
    (text,) = holding_lines(report)
    assert "not clamped, hold while tacking: frame + 1, lid" in text


def test_report_and_its_schema() -> None:
    tables = scene(plate=[BAR, plate("lid", (0, 200, 50), (100, 300, 60))],
                   place=[*ENDS, pad("R3", 50, 250, long=60.0, wide=60.0)],
                   clamp=[press("K1", 250, 0, "bar", 80)])  # fmt: skip
    made = job(tables)
    report = make_report(made, [holding.CHECK.run(made, quiet)], {})
    text = to_text(report)
    assert "[clamp-over-nothing]" in text
    assert "not clamped, hold while tacking: lid" in text
    assert "friction 0.15" in text
    data = report.to_dict()
    schema = json.loads((files("fixture3d.report") / "report.schema.json").read_text(encoding="utf-8"))
    jsonschema.validate(data, schema)
    assert {p["name"]: p["held"] for p in data["pieces"]} == {"bar": True, "lid": False}
    assert [r["whole"] for r in data["holding"]] == [False, False, True]
