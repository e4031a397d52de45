"""Accuracy as a check, from the scene to the figure: worked examples of jig design, ISO 13920, both sides of limits.

ISO 13920 values are those of its Tables 1 to 3 (1996 and 2023), as a public fabrication page quotes them.
"""

from __future__ import annotations

import json
import math
import re
from dataclasses import dataclass
from importlib.resources import files
from pathlib import Path
from typing import Any, get_args

import jsonschema
import numpy as np
import pytest

from fixture3d.accuracy.stack import Cause, Stack, Term, combine, stack_up
from fixture3d.cache import Store
from fixture3d.checks import accuracy_answers
from fixture3d.checks.accuracy import _CURES as CURES
from fixture3d.checks.accuracy import CHECK
from fixture3d.checks.accuracy_answers import answer, setup_of
from fixture3d.checks.accuracy_words import departure, size
from fixture3d.checks.base import Result, quiet
from fixture3d.cli import main
from fixture3d.errors import SceneError
from fixture3d.job import Job
from fixture3d.job.resolve import resolve
from fixture3d.library import Entry, Library
from fixture3d.part import Move, Pad, Part, Pin, Point, Tip, part
from fixture3d.scene import Scene
from fixture3d.scene.stages import at_stage
from fixture3d.tolerance import ACCURACY
from tests.check_jobs import LIBRARY, TABLE, ask, box, job, of_rule, post, scene, slab

TRUE = {**TABLE, "pitch_tolerance": 0, "flatness": 0}

# Two long bars along X, one 500 behind the other, each on two posts, against two at its front and one at its left end.
LOW, HIGH = slab("low", [0, 75, 50], [1000, 125, 90]), slab("high", [0, 575, 50], [1000, 625, 90])


def under(name: str, row: int) -> list[Any]:
    return [post(f"{name}1", f"C{row}"), post(f"{name}2", f"R{row}")]


def front(name: str, row: int) -> list[Any]:
    """Posts of 80 whose back faces lie 25 behind row: two with 750 between their middles."""
    return [post(f"{name}1", f"C{row}", height=80), post(f"{name}2", f"R{row}", height=80)]


BARS = [*under("R", 3), *front("S", 2), *under("Q", 13), *front("T", 12)]
ENDS = [
    {"name": "E1", "model": "post", "hole": "A3", "turn": 270, "with": {"length": 100, "width": 50, "height": 80}},
    {"name": "E2", "model": "post", "hole": "A13", "turn": 270, "with": {"length": 100, "width": 50, "height": 80}},
]
# Their backs look along +X, 25 in front of A; so the work begins there.
HERE = {"weldment": {"hole": "A1", "offset": [25, 0]}}


def bars(*figures: Any, table: Any = TRUE, places: Any = None, **keys: Any) -> dict[str, Any]:
    given = {**HERE, **keys}
    return scene(plate=[LOW, HIGH], place=places or [*BARS, *ENDS], figure=list(figures), **given) | {"table": table}


def points(name: str, of: list[str], *at: list[float], **keys: Any) -> dict[str, Any]:
    return {"name": name, "kind": "length", "of": of, "points": list(at), **keys}


ACROSS = points("across", ["low", "high"], [500, 125, 70], [500, 575, 70])
DIAGONAL = points("diagonal", ["low", "high"], [0, 100, 70], [1000, 600, 70])


def stacks(made: Job) -> dict[str, Stack]:
    setup = setup_of(made)
    found, _ = stack_up(setup.figures, setup.loaded, setup.contributors, setup.stands_on)
    return {stack.figure.name: stack for stack in found}


def of_body(stack: Stack, *bodies: str, causes: tuple[str, ...] = ()) -> list[Term]:
    return [t for t in stack.terms if t.body in bodies and (not causes or t.cause in causes)]


def row(result: Result, name: str) -> Any:
    return next(row for row in result.figures["figures"] if row["name"] == name)


# --- worked examples ---


@pytest.mark.parametrize(
    ("spot", "expected"),
    [
        # 16 H7/g6 at worst, 0.035 in each of two holes 50 apart: 0.14 at 200 from their middle. Two pins and one
        # plane, elementary geometry: asin((c1 + c2) / 2 L) times the distance, and half the clearance.
        (200.0, 0.14),
        (0.0, 0.0175),
        (100.0, 0.07),
    ],
)
def test_a_short_stop_on_two_pins_turns_what_lies_against_it(spot: float, expected: float) -> None:
    """A bar against one stop only, whose back is 100 long: it goes with the stop, and turns with it."""
    places = [*under("R", 3), post("S1", "J2", height=80), ENDS[0], *under("Q", 13), *front("T", 12), ENDS[1]]
    middle = 9 * 50.0 + 25.0 - 25.0  # between the pins in J and K, in the frame of the work
    x = middle + spot
    figure = points("gap", ["low", "high"], [x, 125, 70], [x, 575, 70])
    found = stacks(job(bars(figure, places=places)))["gap"]
    seat = of_body(found, "S1", causes=("seat",))
    assert sum(t.size for t in seat) == pytest.approx(expected if spot else 0.0175, abs=3e-4)


def test_one_corner_out_of_square_moves_each_diagonal_by_half_of_the_difference() -> None:
    """Two bars, 1000 long and 500 apart, one of them shifted by its end stop: a sheared rectangle.

    Its diagonals differ by 2 a b sin g / sqrt(a^2 + b^2) with sin g = shift / b; each takes half. Trigonometry.
    """
    found = stacks(job(bars(DIAGONAL)))["diagonal"]
    (face,) = of_body(found, "E2", causes=("block",))
    shear = ACCURACY.block / 500.0
    assert face.size == pytest.approx(1000.0 * 500.0 * shear / math.hypot(1000.0, 500.0), rel=1e-3)


@part("setter", made="for tests")
@dataclass(frozen=True, kw_only=True)
class Setter(Part):
    """A stop whose pins stand in a row along its push; its face moves without teeth, and may be shimmed."""

    def pins(self) -> tuple[Pin, ...]:
        """Two, along X."""
        return tuple(Pin(name=str(k + 1), at=(-k * self.pattern.pitch, 0.0, 0.0), depth=20.0) for k in range(2))

    def pads(self) -> tuple[Pad, ...]:
        """In front."""
        at: Point = (25.0, 0.0, 40.0)
        return (Pad(name="front", at=at, normal=(1, 0, 0), along=(0, 1, 0), length=50.0, width=80.0, moves=True),)

    def move(self) -> Move:
        """Along X."""
        return Move(axis=(1.0, 0.0, 0.0), travel=30.0)

    def box(self) -> tuple[Point, Point]:
        """Fully in."""
        return (-75.0, -25.0, 0.0), (25.0, 25.0, 80.0)

    def solid(self) -> Any:
        """One box: its face is where it is at slide 0."""
        return box(*self.box())


@part("pusher", made="for tests")
@dataclass(frozen=True, kw_only=True)
class Pusher(Part):
    """A clamp that pushes level along +X, 70 above its seat."""

    def pins(self) -> tuple[Pin, ...]:
        """One, its own shank."""
        return (Pin(name="1", at=(0.0, 0.0, 0.0), depth=0.0, integral=True),)

    def tip(self) -> Tip:
        """In front."""
        return Tip(at=(75.0, 0.0, 70.0), direction=(1, 0, 0), radius=8.0, force=(1.0, 200.0), stroke=10.0, throat=75.0)

    def box(self) -> tuple[Point, Point]:
        """All of it."""
        return (-25.0, -25.0, 0.0), (75.0, 25.0, 80.0)

    def solid(self) -> Any:
        """One box."""
        return box(*self.box())


MORE = Library(
    {
        **LIBRARY.entries,
        "setter": Entry(name="setter", model=Setter, digest="setter", summary=""),
        "pusher": Entry(name="pusher", model=Pusher, digest="pusher", summary=""),
    }
)


def test_worst_case_and_root_sum_of_squares_of_a_set_and_shimmed_stop() -> None:
    """0.05 + 0.035 + 0.10 + 0.20 + 0.05: 0.435 at worst, 0.2371 by root of the sum of squares (arithmetic).

    Face 0.05, holes of 0.07 clearance, five shims of 0.02, set by caliper to 0.20, half of a pitch of 0.1.
    """
    shims = [{"pad": "front", "by": [0.02] * 5}]
    stop = {"name": "E1", "model": "setter", "hole": "B3", "slide": 0, "shims": shims}
    table = {**TRUE, "pitch_tolerance": 0.1, "bore_limits": [0, 0.053]}  # and a pin of g6: 0.006 to 0.017 less
    places = [post("R1", "D3"), post("R2", "R3"), post("S1", "D2", height=80), post("S2", "R2", height=80)]
    work = slab("low", [75.1, 75, 50], [1000, 125, 90])
    figure = points("from end", ["low", "high"], [80, 125, 70], [900, 175, 70])
    other = slab("high", [880, 150, 50], [920, 200, 90])
    tables = scene(plate=[work, other], place=[*places, stop], figure=[figure]) | {"table": table}
    made = resolve(Scene.from_dict(tables), MORE, None)
    found = stacks(made)["from end"]
    straight = [
        _straight(t, found) for t in of_body(found, "E1") if "across" not in t.name and t.cause != "table flatness"
    ]
    of_stop = combine(found.figure, straight)
    assert sorted(round(t.size, 4) for t in straight) == [0.035, 0.05, 0.05, 0.1, 0.2]
    assert of_stop.high == pytest.approx(0.435, abs=1e-6)
    assert of_stop.rss == pytest.approx(0.2371, abs=5e-5)


def _straight(term: Term, stack: Stack) -> Term:
    """The term along X, of a distance that runs nearly along it."""
    from dataclasses import replace

    span = stack.figure.points[1] - stack.figure.points[0]
    share = abs(float(span[0])) / float(np.linalg.norm(span))
    return replace(term, plus=term.plus / share, minus=term.minus / share, rocks=0.0)


def test_the_figures_of_a_result_are_those_of_the_stack() -> None:
    """At worst the sum of all that adds, likely the root of its squares (the same of what takes away)."""
    tables = bars(ACROSS, DIAGONAL)
    found, result = stacks(job(tables)), ask(CHECK, tables)
    for name in ("across", "diagonal"):
        one = row(result, name)
        ups = [t.up for t in found[name].terms]
        assert one["worst"][1] == pytest.approx(sum(ups))
        assert one["likely"][1] == pytest.approx(math.sqrt(sum(up**2 for up in ups)))
        assert one["most_from"][0]["size"] == pytest.approx(max(t.size for t in found[name].terms))
        assert len(one["most_from"]) + one["others"] == len(found[name].terms)


# --- what is off, and what says so ---


def test_the_tables_own_flatness_and_pitch_are_taken_where_it_says_so() -> None:
    def terms(table: Any, cause: str) -> list[Term]:
        return of_body(stacks(job(bars(table=table)))["overall Z"], "R1", "R2", "Q1", "Q2", causes=(cause,))

    assert terms(TRUE, "table flatness") == []
    rough = terms({**TRUE, "flatness": 2.0}, "table flatness")
    usual = terms(TABLE | {"pitch_tolerance": 0}, "table flatness")
    for a, b in zip(rough, usual, strict=True):
        assert a.size / b.size == pytest.approx(2.0 / ACCURACY.flatness)

    def of_pitch(tolerance: float) -> float:
        made = job(bars(DIAGONAL, table={**TRUE, "pitch_tolerance": tolerance}))
        return max(t.size for t in of_body(stacks(made)["diagonal"], "E2", causes=("table pitch",)))

    assert of_pitch(0.4) == pytest.approx(2.0 * of_pitch(0.2), rel=1e-3)


def test_a_block_on_a_block_goes_with_it() -> None:
    """A riser of 50 as two of 25, one on the other: the lower one's flatness lifts the bar as much as before."""
    table = {**TRUE, "flatness": 1.0}
    low = post("R1", "C3", height=25)
    upper = {"name": "R1b", "model": "post", "on": "R1", "with": {"length": 100, "width": 50, "height": 25}}
    high = [low, upper, *BARS[1:], *ENDS]
    once = stacks(job(bars(table=table)))["overall Z"]
    twice = stacks(job(bars(table=table, places=high)))["overall Z"]

    def of_floor(stack: Stack) -> list[float]:
        return sorted(round(t.size, 6) for t in stack.terms if t.cause == "table flatness")

    assert of_floor(twice) == of_floor(once)
    assert any(t.body == "R1b" and t.cause == "block" for t in twice.terms)


def test_a_piece_that_can_still_slide_is_set_by_tape() -> None:
    loose = bars(points("end", ["low", "high"], [0, 125, 70], [0, 575, 70]), DIAGONAL, places=[*BARS, ENDS[0]])
    held = bars(DIAGONAL)

    def hand(tables: Any) -> list[float]:
        return [t.size for t in stacks(job(tables))["diagonal"].terms if t.cause == "by hand"]

    assert hand(held) == []
    assert hand(loose) == pytest.approx([ACCURACY.measured * 1000.0 / math.hypot(1000.0, 500.0)], rel=1e-3)


def test_a_block_without_dowels_is_set_by_tape() -> None:
    places = [*BARS, ENDS[0], {**ENDS[1], "pins": []}]
    found = stacks(job(bars(DIAGONAL, places=places)))["diagonal"]
    by_tape = [t for t in of_body(found, "E2", causes=("seat", "seat turn"))]
    assert max(t.size for t in by_tape) == pytest.approx(
        ACCURACY.measured * 1000.0 / math.hypot(1000.0, 500.0), rel=1e-3
    )


def test_a_clamp_that_always_pushes_a_stop_leaves_a_bias_and_no_play() -> None:
    """The high bar is pushed along -X against its end stop: it goes 0.0175 that way, and not to and fro."""
    clamp = {"name": "K1", "model": "pusher", "hole": "W13", "turn": 180}
    clamp |= {"presses": "high", "toward": "E2"}
    tables = bars(DIAGONAL)
    free = stacks(job(tables))["diagonal"]
    pushed = stacks(resolve(Scene.from_dict({**tables, "clamp": [clamp]}), MORE, None))["diagonal"]
    play, share = 0.035 / 2.0, 1000.0 / math.hypot(1000.0, 500.0)
    assert sum(t.size for t in of_body(free, "E2", causes=("seat",))) > play * share
    assert sum(t.size for t in of_body(pushed, "E2", causes=("seat",))) == pytest.approx(0.0, abs=1e-9)
    assert free.bias == 0.0
    assert pushed.bias == pytest.approx(-play * share, rel=1e-3)
    bolted = [*BARS, ENDS[0], {**ENDS[1], "bolt": True}]
    held = bars(DIAGONAL, places=bolted)
    assert stacks(resolve(Scene.from_dict({**held, "clamp": [clamp]}), MORE, None))["diagonal"].bias == 0.0


# --- limits ---


@pytest.mark.parametrize(
    ("classes", "allowed"),
    [("B", 3.0), ("A", 2.0), ("C", 6.0), ("D", 9.0)],
)
def test_classes_of_iso_13920_are_looked_up_by_length(classes: str, allowed: float) -> None:
    """Over 400 up to 1000 mm: 2, 3, 6 and 9 in classes A to D (Table 1, public quotation)."""
    result = ask(CHECK, bars(weldment={"hole": "A1", "offset": [25, 0], "iso_13920": classes}))
    one = row(result, "overall X")
    assert (one["drawn"], one["limits"], one["limits_stated"]) == (1000.0, [-allowed, allowed], True)
    assert one["limits_by"] == f"ISO 13920-{classes}"


def test_the_usual_class_is_only_a_figure() -> None:
    """B and F where the file names none; a bar set by tape misses a class often, and nothing is said of it."""
    tables = bars(ACROSS, DIAGONAL, table={**TRUE, "flatness": 40.0})
    result = ask(CHECK, tables)
    high = row(result, "overall Z")
    assert high["limits"] == [-2.0, 2.0]  # over 30 up to 120 in class B (Table 1)
    assert high["likely"][1] > 2.0
    assert not high["limits_stated"]
    assert result.findings == ()
    stated = ask(CHECK, {**tables, "weldment": {"hole": "A1", "offset": [25, 0], "iso_13920": "BF"}})
    assert {f.subjects[0] for f in of_rule(stated, "figure-out")} >= {"overall Z"}


def limited(limits: Any, **keys: Any) -> Result:
    return ask(CHECK, bars({**ACROSS, "limits": limits, **keys}))


def test_both_sides_of_each_limit() -> None:
    """Drawn 450: missed beyond the limit; likely, or at worst only, beyond; and nothing once all of it is within."""
    one = row(ask(CHECK, bars(ACROSS)), "across")
    likely, worst = one["likely"][1], one["worst"][1]
    assert 0.0 < likely < worst
    assert one["drawn"] == pytest.approx(450.0)
    rules = {
        likely * 0.999: ["figure-out"],
        likely * 1.001: ["figure-may-be-out"],
        worst * 0.999: ["figure-may-be-out"],
        worst * 1.001: [],
    }
    for limit, expected in rules.items():
        assert [f.rule for f in limited([-50.0, limit]).findings] == expected, limit
        wide = limited([-50.0, limit], size=450.0 - 0.001)
        assert len(wide.findings) <= 1
    assert [f.rule for f in limited(2.0, size=447.9).findings] == ["figure-missed"]
    assert [f.rule for f in limited(2.0, size=448.1).findings] == ["figure-out"]
    (missed,) = limited(2.0, size=447.9).findings
    assert (missed.level, missed.limit) == ("fail", 2.0)
    assert missed.measured == pytest.approx(2.1)


def test_the_seat_that_spoils_most_is_named_with_what_others_gain() -> None:
    """A bar against one short stop in worn holes: pins further apart take most of what its far end wanders away."""
    worn = {**TRUE, "bore_limits": [0, 0.5]}
    places = [*under("R", 3), post("S1", "J2", height=80), ENDS[0], *under("Q", 13), *front("T", 12), ENDS[1]]
    gap = points("gap", ["low", "high"], [900, 125, 70], [900, 575, 70], limits=0.5)
    (finding,) = ask(CHECK, bars(gap, places=places, table=worn)).findings
    assert finding.rule == "figure-out"
    assert "most comes from S1 in its holes" in finding.message
    found = re.search(
        r"S1 with pins further apart \(100 mm apart\): likely off by (\S+) mm in place of (\S+) mm", finding.remedy
    )
    assert found is not None, finding.remedy
    # Pins 50 apart, 0.2585 to each side, 450 from their middle: 9.5 and 8.5 times that; 100 apart: 4.75 and 3.75.
    play = (0.5 + 0.017) / 2.0
    assert float(found[2]) == pytest.approx(play * math.hypot(9.5, 8.5), rel=0.06)
    assert float(found[1]) == pytest.approx(play * math.hypot(4.75, 3.75), rel=0.15)


def test_a_second_pin_gains_what_the_block_with_both_has() -> None:
    """One pin and a bolt: squared up by eye; the same block with its second pin in is what was foretold."""
    gap = points("gap", ["low", "high"], [900, 125, 70], [900, 575, 70], limits=0.01)

    def with_stop(**keys: Any) -> Any:
        stop = post("S1", "J2", height=80, **keys)
        places = [*under("R", 3), stop, ENDS[0], *under("Q", 13), *front("T", 12), ENDS[1]]
        return next(f for f in answer(job(bars(gap, places=places))).figures if f.name == "gap")

    one, two = with_stop(pins=["1"], bolt=True), with_stop()
    assert one.spoils == "S1"
    (gain,) = one.gains
    assert (gain.words, gain.apart) == ("a second pin", pytest.approx(50.0))
    assert gain.likely == pytest.approx(max(-two.likely[0], two.likely[1]), rel=1e-6)
    assert gain.likely < 0.6 * gain.now


@pytest.mark.parametrize(("gap", "too_much"), [(0.0, 0.5), (0.2, 0.3), (0.5, 0.0)])
def test_a_piece_between_stops_that_cannot_give(gap: float, too_much: float) -> None:
    """A plate 100 wide, cut to plus or minus 0.5, between posts whose faces are 100 and a gap apart."""
    wide = slab("bar", [75, 75 + gap / 2, 50], [475, 175 - gap / 2, 90])
    places = [post("R1", "C3", width=100.0), post("R2", "H3", width=100.0)]
    places += [post("S1", "C5", height=80.0), post("S2", "C2", height=80.0)]
    found = of_rule(ask(CHECK, scene(plate=[wide], place=places)), "does-not-go-in")
    assert [round(f.measured or 0.0, 2) for f in found] == ([too_much] if too_much else [])


def test_between_stops_that_stand_apart_it_turns_a_little_and_goes_in() -> None:
    wide = slab("bar", [75, 75, 50], [475, 175, 90])
    places = [post("R1", "C3", width=100.0), post("R2", "H3", width=100.0)]
    places += [post("S1", "C5", height=80.0), post("S2", "H2", height=80.0)]
    assert of_rule(ask(CHECK, scene(plate=[wide], place=places)), "does-not-go-in") == []


def test_a_stop_that_can_be_set_lets_it_in() -> None:
    wide = slab("bar", [75, 75, 50], [475, 175, 90])
    shims = [{"pad": "seat", "by": [0.1]}]
    places = [post("R1", "C3", width=100.0), post("R2", "H3", width=100.0)]
    places += [post("S1", "C5", height=80.0), post("S2", "C2", height=79.9, shims=shims)]
    assert of_rule(ask(CHECK, scene(plate=[wide], place=places)), "does-not-go-in") == []


def test_a_stop_that_can_be_set_decides_nothing_opposite_a_hard_one() -> None:
    """The plate lies against S1; what S2 is off, which is shimmed up to it from the other side, moves nothing."""
    wide = slab("bar", [75, 75, 50], [475, 175, 90])
    low = slab("low", [75, 200, 50], [475, 240, 90])
    shims = [{"pad": "seat", "by": [0.1]}]
    places = [post("R1", "C3", width=100.0), post("R2", "H3", width=100.0), post("R3", "C5"), post("R4", "H5")]
    places += [post("S1", "C5", height=80.0), post("S2", "C2", height=79.9, shims=shims)]
    figure = points("gap", ["bar", "low"], [275, 125, 70], [275, 220, 70])
    tables = scene(plate=[wide, low], place=[p for p in places if p["name"] != "R3"], figure=[figure]) | {"table": TRUE}
    found = stacks(job(tables))["gap"]
    assert of_body(found, "S1")
    assert of_body(found, "S2") == []


# --- frames of members ---

FRAME = {"name": "base", "stock": "SHS 40x40x3", "width": 600, "height": 400, "corners": "butt x", "at": [0, 0, 20]}
ROUND_IT = [  # posts under the frame and round it: front and left are stopped
    *(post(f"R{k}", hole, length=50.0) for k, hole in enumerate(("B2", "M2", "B9", "M9"))),
]


def frame(*figures: Any, **keys: Any) -> Job:
    given = {"weldment": {"hole": "A1", "offset": [25, 25], "lift": 50}, **keys}
    return job(scene(frame=[FRAME], place=ROUND_IT, figure=list(figures), table=TRUE, **given))


def test_the_figures_of_a_frame_are_found_and_held_against_their_classes() -> None:
    """600 by 400 outside: lengths by Table 1, angles by the shorter leg in Table 2, flatness by the longer side."""
    found = {
        f.name: f
        for f in answer(frame(weldment={"hole": "A1", "offset": [25, 25], "lift": 50, "iso_13920": "BF"})).figures
    }
    assert {k: v.drawn for k, v in found.items() if k.startswith("overall")} == pytest.approx(
        {"overall X": 600.0, "overall Y": 400.0, "overall Z": 40.0}
    )
    diagonals = [f for f in found.values() if f.kind == "diagonal"]
    assert [f.drawn for f in diagonals] == pytest.approx([math.hypot(560, 360)] * 2)
    assert len([f for f in found.values() if f.kind == "angle"]) == 4
    # Over 30 up to 120: 2; over 120 up to 400: 2; over 400 up to 1000: 3 mm (class B). Legs up to 400: 45 minutes.
    assert [found[f"overall {axis}"].limits for axis in "XYZ"] == [(-3.0, 3.0), (-2.0, 2.0), (-2.0, 2.0)]
    angles = {f.limits for f in found.values() if f.kind == "angle"}
    assert angles == {(-0.75, 0.75)}
    (flat,) = (f for f in found.values() if f.kind == "flatness" and "underside" not in f.name)
    assert flat.limits == (0.0, 3.0)  # class F, over 400 up to 1000
    assert all(f.stated for f in found.values())


def test_without_a_class_of_form_flatness_is_only_told() -> None:
    weldment = {"hole": "A1", "offset": [25, 25], "lift": 50, "iso_13920": "B"}
    flat = [f for f in answer(frame(weldment=weldment)).figures if f.kind == "flatness"]
    assert flat
    assert all(f.limits is None for f in flat)


def test_turned_on_the_table_the_work_has_the_same_figures() -> None:
    """A quarter turn of the work and of its posts; axes are those of the work, so names stay."""
    here = {f.name: f for f in answer(frame()).figures}
    turned = [
        *(post(f"R{k}", hole, length=50.0, turn=90) for k, hole in enumerate(("T2", "T13", "M2", "M13"))),
    ]
    weldment = {"hole": "U1", "offset": [-25, 25], "lift": 50, "turn": 90}
    there = {f.name: f for f in answer(job(scene(frame=[FRAME], place=turned, table=TRUE, weldment=weldment))).figures}
    assert here.keys() == there.keys()
    for name, one in here.items():
        assert there[name].drawn == pytest.approx(one.drawn, abs=1e-6), name
        assert there[name].limits == one.limits, name
        assert there[name].worst[1] == pytest.approx(one.worst[1], rel=0.02, abs=0.01), name


def test_limits_count_once_all_pieces_are_on_the_table() -> None:
    """In two stages: the frame is only told of in the first, where the bar is not there yet."""
    figure = {"name": "overall X", "limits": 0.001}
    stages = [{"name": "frame", "welds": [], "pieces": ["base"]}, {"name": "bar", "welds": []}]
    bar = {"name": "bar", "stock": "SHS 40x40x3", "from": [300, 40, 20], "to": [300, 360, 20]}
    tables = scene(
        frame=[FRAME], member=[bar], place=ROUND_IT, figure=[figure], stage=stages, table=TRUE,
        weldment={"hole": "A1", "offset": [25, 25], "lift": 50},
    )  # fmt: skip
    found = {}
    for name in ("frame", "bar"):
        made = resolve(at_stage(Scene.from_dict(tables), name), LIBRARY, None)
        found[name] = next(f for f in answer(made).figures if f.name == "overall X")
    assert (found["frame"].stated, found["frame"].by) == (False, "ISO 13920-BF")
    assert (found["bar"].stated, found["bar"].by, found["bar"].limits) == (True, "the file", (-0.001, 0.001))


# --- the same work seen otherwise ---


def figures(result: Result) -> dict[str, Any]:
    return {r["name"]: (r["drawn"], r["likely"], r["worst"]) for r in result.figures["figures"]}


def test_names_and_the_order_of_the_file_change_nothing() -> None:
    tables = bars(ACROSS, DIAGONAL)
    first = figures(ask(CHECK, tables))
    text = json.dumps(tables)
    for old, new in (("E2", "an end"), ("T1", "9 stop"), ("Q1", "below")):
        text = text.replace(f'"{old}"', f'"{new}"')
    renamed = json.loads(text)
    renamed["place"] = renamed["place"][::-1]
    second = figures(ask(CHECK, renamed))
    assert first.keys() == second.keys()
    for name, values in first.items():
        for a, b in zip(values, second[name], strict=True):
            assert b == pytest.approx(a, abs=2e-3), name  # where a piece may rock, which corner carries it is chance


def test_mirrored_the_figures_stay() -> None:
    """Left and right exchanged: the ends against posts at the right, which look the other way."""
    first = figures(ask(CHECK, bars(ACROSS, DIAGONAL)))
    other = [{**ENDS[0], "hole": "V3", "turn": 90}, {**ENDS[1], "hole": "V13", "turn": 90}]
    mirrored_places = [
        *(post(f"{n}{k}", f"{c}{r}") for n, r in (("R", 3), ("Q", 13)) for k, c in ((1, "S"), (2, "D"))),
        *(post(f"{n}{k}", f"{c}{r}", height=80) for n, r in (("S", 2), ("T", 12)) for k, c in ((1, "S"), (2, "D"))),
    ]
    figures_there = [
        points("across", ["low", "high"], [500, 125, 70], [500, 575, 70]),
        points("diagonal", ["low", "high"], [1000, 100, 70], [0, 600, 70]),
    ]
    tables = bars(*figures_there, places=[*mirrored_places, *other])
    second = figures(ask(CHECK, tables))
    for name in ("across", "diagonal", "overall X"):
        assert second[name][1][1] == pytest.approx(first[name][1][1], rel=0.05), name


# --- imagined setups, and the command line ---


def test_imagined_setups_stay_within_the_worst_case_and_near_the_likely() -> None:
    from dataclasses import replace

    made = replace(job(bars(ACROSS, DIAGONAL)), spread=(4000, 1))
    result = CHECK.run(made, quiet)
    for name in ("across", "diagonal"):
        one = row(result, name)
        drawn = one["spread"]
        assert one["worst"][0] <= drawn["low"] < 0.0 < drawn["high"] <= one["worst"][1]
        assert drawn["high"] == pytest.approx(one["likely"][1], rel=0.35)
        assert (drawn["samples"], drawn["seed"]) == (4000, 1)
    assert CHECK.run(made, quiet).figures == result.figures
    other = CHECK.run(replace(made, spread=(4000, 2)), quiet)
    assert row(other, "across")["spread"] != row(result, "across")["spread"]


def test_answers_are_kept_and_asked_anew_when_anything_changes(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    store = Store(tmp_path)
    asked: list[str] = []
    real = accuracy_answers._worked_out

    def counted(made: Job, now: Any = None) -> accuracy_answers.Answer:
        asked.append("x")
        return real(made, now)

    monkeypatch.setattr(accuracy_answers, "_worked_out", counted)

    def run(tables: Any) -> Any:
        return ask(CHECK, tables, store).figures

    first = run(bars(ACROSS))
    assert run(bars(ACROSS)) == first
    assert len(asked) == 1
    for changed in (
        bars({**ACROSS, "limits": 0.2}),
        bars(ACROSS, table={**TRUE, "flatness": 0.3}),
        bars(ACROSS, table={**TRUE, "pitch_tolerance": 0.3}),
        bars(ACROSS, weldment={"hole": "A1", "offset": [25, 0], "iso_13920": "A"}),
        bars(ACROSS, places=[*BARS, ENDS[0], {**ENDS[1], "pins": ["1"], "bolt": True}]),
    ):
        before = len(asked)
        run(changed)
        assert len(asked) == before + 1


def test_a_figure_that_is_not_there_is_an_error_with_the_nearest() -> None:
    with pytest.raises(SceneError, match=r'no figure "overal X" was found.*nearest: "?overall X'):
        job(bars({"name": "overal X", "limits": 1}))
    with pytest.raises(SceneError, match='"overall X" is a length'):
        job(bars({"name": "overall X", "limits_degrees": 1}))
    with pytest.raises(SceneError, match='"low" has no straight centre line'):
        job(bars({"name": "corner", "kind": "angle", "of": ["low", "high"]}))
    with pytest.raises(SceneError, match='the name "overall X" belongs to a figure that is found'):
        job(bars({"name": "overall X", "kind": "overall", "axis": "y", "limits": 1}))


HOOK = """\
format = 1
table = "50/16 1000x500"
[weldment]
hole = "A1"
lift = 50
welds = "none"
[[member]]
name = "arm"
stock = "SHS 40x40x3"
from = [0, 100, 20]
to = [400, 100, 20]
[[place]]
name = "R1"
model = "stop_block"
hole = "B3"
[[place]]
name = "R2"
model = "stop_block"
hole = "F3"
"""


def test_the_command_draws_the_same_setups_from_the_same_seed(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The report as JSON, which keeps to its schema; and numbers that make no sense are told in one line."""
    file = tmp_path / "hook.toml"
    file.write_text(HOOK, encoding="utf-8")

    def run(*options: str) -> tuple[int, str, str]:
        code = main(["check", str(file), *options])
        return code, *capsys.readouterr()

    first, again = run("--json", "--spread", "500"), run("--json", "--spread", "500", "--seed", str(ACCURACY.seed))
    assert first[1] == again[1]
    report = json.loads(first[1])
    schema = json.loads((files("fixture3d.report") / "report.schema.json").read_text(encoding="utf-8"))
    jsonschema.validate(report, schema)
    assert {one["spread"]["samples"] for one in report["figures"]} == {500}
    assert "in 500 imagined setups (seed 7)" in " ".join(run("--spread", "500", "--seed", "7")[1].split())
    assert "Key figures, worst first" in run()[1]
    for options, says in ((("--spread", "5"), "expected 100 to"), (("--seed", "3"), "without --spread")):
        code, _, error = run(*options)
        assert (code, says in error, error.count("\n")) == (2, True, 1), error


TUBE = {"name": "tube", "stock": "SHS 40x40x3", "from": [0, 100, 20], "to": [300, 100, 20]}
CAPS = [
    {"name": name, "stock": "FLAT 80x8", "from": [x, 60, 20], "to": [x, 140, 20]}
    for name, x in (("left", -4), ("right", 304))
]


def over(limits: float) -> dict[str, Any]:
    """Over two plates that nothing but the ends of a tube stops."""
    figure = points("over", ["left", "right"], [-8, 100, 20], [308, 100, 20], limits=limits)
    weldment = {**HERE["weldment"], "lift": 50}
    return scene(member=[TUBE, *CAPS], place=[post("R1", "B3"), post("R2", "E3")], figure=[figure], weldment=weldment)


@pytest.mark.parametrize(("limits", "finer"), [(0.70, True), (0.72, False)])
def test_limits_that_the_stock_itself_does_not_keep_are_told(limits: float, finer: bool) -> None:
    """Two thicknesses of plus or minus 0.5 are likely 0.71; each cause that can be met is told with what meets it."""
    (finding,) = of_rule(ask(CHECK, over(limits)), "figure-out")
    assert ("finer than this stock comes" in finding.remedy) == finer
    assert "against cut length of tube (0.50 mm): cut closer" in finding.remedy
    assert "against thickness of left (0.50 mm) and thickness of right (0.50 mm): measure what comes" in finding.remedy


def test_every_cause_has_a_cure_and_none_is_named_that_shows_as_nothing() -> None:
    assert set(CURES) == set(get_args(Cause))
    for one in answer(job(over(1.0))).figures:
        assert all(float(departure(share.size, one.unit, "mm").split()[0]) > 0.0 for share in one.shares), one.name


def test_words_are_never_finer_than_what_is_known() -> None:
    assert departure(0.0, "mm", "mm") == "0.00 mm"
    assert departure(-0.004, "mm", "mm") == "0.00 mm"
    assert departure(0.0123, "degrees", "mm") == "0.01 degrees"
    assert size(805.5123, "mm", "mm", 0.66) == "805.5 mm"
    assert size(762.0, "mm", "in", 0.2) == "30 in"


def test_a_mitre_is_cut_less_true_than_a_square_end() -> None:
    def cuts(corners: str) -> set[float]:
        made = job(
            scene(
                frame=[{**FRAME, "corners": corners}],
                place=ROUND_IT,
                table=TRUE,
                weldment={"hole": "A1", "offset": [25, 25], "lift": 50},
            )
        )
        return {c.limit for c in setup_of(made).contributors if c.cause == "mitre"}

    assert cuts("butt x") == {ACCURACY.square}
    assert cuts("mitre") == {ACCURACY.mitre}


def test_plates_against_the_ends_of_a_tube_are_as_far_apart_as_it_is_long() -> None:
    """Nothing but the tube's ends stops the plates: over both is its cut length and their thicknesses.

    Flat bar 8 thick: plus or minus 0.5 (EN 10058, from memory, as the table of stock has it).
    """
    found = stacks(job(over(1.0)))["over"]
    sizes = {t.name: t.size for t in found.terms if t.cause in ("cut length", "stock size")}
    expected = {"cut length of tube": ACCURACY.saw, "thickness of left": 0.5, "thickness of right": 0.5}
    assert sizes == pytest.approx(expected)
    assert found.rss >= math.hypot(ACCURACY.saw, 0.5, 0.5)


def test_what_a_standard_does_not_say_is_told_with_the_figure() -> None:
    """Of flat bar no bow is at hand here; it is named in the row and among what is not covered."""
    arm = {"name": "arm", "stock": "FLAT 40x6", "from": [0, 100, 20], "to": [400, 100, 20]}
    tables = scene(member=[arm], place=[post("R1", "B3"), post("R2", "F3")], weldment={"hole": "A1", "lift": 50})
    result = ask(CHECK, tables)
    (one,) = row(result, "overall X")["not_counted"]
    assert one["piece"] == "arm"
    assert "bow" in one["what"]
    assert any("Of arm, " in sentence and "not counted" in sentence for sentence in result.not_covered)
