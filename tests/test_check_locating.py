"""Locating as a check: bars on posts whose answer follows from 3-2-1 (common practice of jig design) and by hand."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from fixture3d.cache import Store
from fixture3d.checks import locating_answers
from fixture3d.checks.base import Result, quiet
from fixture3d.checks.locating import CHECK
from fixture3d.checks.locating_kinds import kinds
from fixture3d.checks.locating_laid import Table
from fixture3d.checks.locating_places import Places
from fixture3d.checks.locating_stops import Stops, unfaced
from fixture3d.checks.locating_torch import Room
from fixture3d.job.resolve import resolve, with_block
from fixture3d.library import library
from fixture3d.locating import words as locating_words
from fixture3d.scene import Scene
from tests.check_jobs import ask, job, of_rule, post, scene, shape_of, slab
from tests.test_check_shrinkage import AT, block, drawer, inside, ladder

BAR = slab("bar", [75, 75, 50], [475, 125, 90])
UNDER = [post("R1", "C3"), post("R2", "H3")]  # tops at 50; x 75 to 175 and 325 to 425
SIDE = [post("S1", "C4", height=80), post("S2", "H4", height=80)]  # y 125 to 175
END = post("S3", "L3", height=80)  # x 475 on? its left face lies at 525


def bar(*places: Any, **keys: Any) -> Result:
    return ask(CHECK, scene(plate=[BAR], place=list(places), **keys))


def row(result: Result, name: str = "bar") -> Any:
    return next(row for row in result.figures["pieces"] if row["name"] == name)


def free(result: Result, name: str = "bar") -> set[str]:
    return {m["words"] for m in row(result, name)["free_motions"] if m["kind"] == "free"}


def test_a_bar_on_two_posts_slides_and_turns() -> None:
    result = bar(*UNDER)
    assert row(result)["rank"] == 3
    assert row(result)["rests"]
    assert row(result)["contacts"] == ["R1", "R2"]
    (finding,) = of_rule(result, "piece-free")
    assert finding.subjects == ("bar",)
    assert "along its length (+X and -X)" in finding.message
    assert "turn about the vertical" in finding.message


def test_two_stops_on_the_side_leave_the_slide_along_it() -> None:
    result = bar(*UNDER, *SIDE)
    assert row(result)["rank"] == 5
    assert free(result) == {"can slide along its length (+X)", "can slide along its length (-X)"}


@pytest.mark.parametrize(("gap", "told"), [(0.0, False), (0.2, False), (5.0, True)])
def test_a_stop_at_the_end_locates_it_while_it_touches(gap: float, told: bool) -> None:
    """Its left face at 525 is brought to the end of a bar that reaches so far; blocks may be 0.2 out of place."""
    long = slab("bar", [75, 75, 50], [525 - gap, 125, 90])
    result = ask(CHECK, scene(plate=[long], place=[*UNDER, *SIDE, END]))
    assert bool(of_rule(result, "piece-free")) is told
    assert row(result)["rank"] == (5 if told else 6)


def test_the_remedy_names_a_hole_that_works() -> None:
    """A post turned by 90 has its back 25 before its hole: in L, at 550, it ends at 525, and nothing is left to do."""
    long = slab("bar", [75, 75, 50], [525, 125, 90])
    places = [*UNDER, *SIDE]
    (finding,) = of_rule(ask(CHECK, scene(plate=[long], place=places)), "piece-free")
    found = re.search(r"like (\w+) in hole (L\d+), turn = 90: tried", finding.remedy)
    assert found is not None, finding.remedy
    like = next(place for place in places if place["name"] == found[1])
    mended = [*places, {**like, "name": "S9", "hole": found[2], "turn": 90}]
    assert of_rule(ask(CHECK, scene(plate=[long], place=mended)), "piece-free") == []


def test_where_no_block_comes_to_lie_the_place_is_told() -> None:
    long = slab("bar", [81, 75, 50], [531, 125, 90])
    (finding,) = of_rule(ask(CHECK, scene(plate=[long], place=[*UNDER, *SIDE])), "piece-free")
    assert "tried, it comes" not in finding.remedy
    assert "x 531 mm" in finding.remedy


def test_what_tips_fails_and_what_nothing_carries_is_left_to_the_other_rule() -> None:
    """The middle of the bar lies at x = 275: R1 alone ends at 175, a post from 225 to 325 carries it."""
    (alone,) = of_rule(bar(UNDER[0]), "piece-falls")
    assert (alone.level, alone.subjects) == ("fail", ("bar",))
    assert "tips over: its right end drops" in alone.message
    assert of_rule(bar(post("R3", "F3")), "piece-falls") == []
    assert of_rule(bar(post("R3", "F9")), "piece-falls") == []


def test_a_leaning_piece_that_nothing_touches_is_left_to_the_other_rule() -> None:
    """It leans at 45 degrees in the air: no block to bring under its middle, and no crash for want of one."""
    lone = {"name": "brace", "stock": "SHS 30x30x3", "from": [100, 100, 50], "to": [400, 100, 350]}
    result = ask(CHECK, scene(member=[lone], place=[post("S1", "N10")]))
    assert row(result, "brace")["contacts"] == []
    assert of_rule(result, "piece-falls") == []


def test_what_tips_until_its_clamp_is_shut_is_a_warning() -> None:
    """The same bar on R1 alone, pressed there: it has to be held only until the clamp is shut."""
    clamp = {"name": "K1", "model": "presser", "hole": "B3", "presses": "bar", "with": {"work_height": 90.0}}
    (finding,) = of_rule(bar(UNDER[0], clamp=[clamp]), "piece-falls")
    assert finding.level == "warn"
    assert "until K1 is shut" in finding.message


def test_a_piece_locates_another_one_only_where_it_is_located_itself() -> None:
    """A short bar behind the long one: with the long one against stops it has one place across, without not."""
    behind = slab("short", [275, 25, 50], [375, 75, 90])
    low = post("R3", "G2")
    stopped = ask(CHECK, scene(plate=[BAR, behind], place=[*UNDER, *SIDE, low]))
    loose = ask(CHECK, scene(plate=[BAR, behind], place=[*UNDER, low]))
    assert "bar" in row(stopped, "short")["contacts"]
    assert "bar" not in row(loose, "short")["contacts"]


ENDS = [slab("left", [60, 75, 50], [74, 125, 90]), slab("right", [476, 75, 50], [525, 125, 90])]  # 1 mm off the bar


@pytest.mark.parametrize("gap", [0.0, 1.0])
def test_a_piece_that_gives_way_is_no_stop(gap: float) -> None:
    """A plate before each end of a bar, on nothing: the bar takes them along, both ways, whether they touch or not."""
    ends = [slab("left", [60, 75, 50], [75 - gap, 125, 90]), slab("right", [475 + gap, 75, 50], [525, 125, 90])]
    result = ask(CHECK, scene(plate=[BAR, *ends], place=[*UNDER, *SIDE]))
    assert free(result, "bar") == {"can slide along its length (+X)", "can slide along its length (-X)"}
    assert row(result)["contacts"] == ["R1", "R2", "S1", "S2"]


def test_a_piece_with_a_block_behind_it_is_a_stop() -> None:
    """A block behind the one plate locates the bar that way; the other way is left open, to a clamp or to a hand."""
    result = ask(CHECK, scene(plate=[BAR, *ENDS], place=[*UNDER, *SIDE, END]))
    assert "can slide along its length (+X)" not in free(result, "bar")
    touching = ask(CHECK, scene(plate=[BAR, slab("right", [475, 75, 50], [525, 125, 90])], place=[*UNDER, *SIDE, END]))
    assert row(touching)["rank"] == 6
    assert "right" in row(touching)["contacts"]
    away = {m["words"] for m in row(touching)["free_motions"] if m["kind"] == "away"}
    assert "can slide along its length (-X), off its stop" in away


def test_what_stops_a_piece_within_its_play_is_named() -> None:
    """Blocks behind both plates, each 1 mm off the bar: it has one place, and the plates are what gives it."""
    left = slab("left", [25, 75, 50], [74, 125, 90])
    behind = post("S4", "A3", height=80)  # its right face at x 75; a shorter one ends at 25
    behind = {**behind, "with": {**behind.get("with", {}), "length": 50.0}}
    result = ask(CHECK, scene(plate=[BAR, left, ENDS[1]], place=[*UNDER, *SIDE, END, behind]))
    assert free(result, "bar") == set()
    assert {"left", "right"} <= set(row(result)["contacts"])


def test_the_stop_goes_behind_what_a_piece_pushes_along() -> None:
    """The plates at its ends leave no room for a stop at the bar itself."""
    result = ask(CHECK, scene(plate=[BAR, *ENDS], place=[*UNDER, *SIDE]))
    remedies = {f.remedy for f in of_rule(result, "piece-free") if f.subjects[0] == "bar"}
    assert remedies == {"it pushes right along (+X): put a stop behind right there"}


def test_a_short_stop_on_a_long_piece_takes_a_second_one() -> None:
    """A post like Q, 100 long, against a bar of 400 that can turn too: two are asked for, 160 off its middle, x 281."""
    long = slab("bar", [81, 75, 50], [481, 125, 90])  # no post comes to its ends from a hole
    result = ask(CHECK, scene(plate=[long], place=[*UNDER, post("Q", "N9", height=80)]))
    (finding,) = of_rule(result, "piece-free")
    assert "and a clamp from the other side" in finding.remedy
    assert "so better two against its +Y face, near its ends" in finding.remedy
    assert "x 121 mm, y 125 mm" in finding.remedy
    assert "x 441 mm, y 125 mm" in finding.remedy


def test_no_two_stops_of_one_run_pinch_the_work() -> None:
    """Two bars side by side, free both ways: the stops that one run names do not push straight against each other."""
    one = slab("bar", [81, 75, 50], [481, 125, 90])
    second = slab("second", [81, 125, 50], [481, 175, 90])
    under = [post("R1", "C3", width=100.0), post("R2", "H3", width=100.0)]
    result = ask(CHECK, scene(plate=[one, second], place=[*under, post("Q", "N9", height=80)]))
    faces = [
        found for f in of_rule(result, "piece-free") for found in re.findall(r"comes against its (..) face", f.remedy)
    ]
    assert not {"+Y", "-Y"} <= set(faces), faces
    assert any("set the stop for" in f.remedy for f in of_rule(result, "piece-free"))


def test_a_round_that_slides_sideways_is_told_so() -> None:
    """Nothing flat looks that way: its side is named, not its end."""
    ways = [np.array([0.0, y, 0.0, 0.0, 0.0, 0.0]) for y in (1.0, -1.0)]
    free_ = [
        locating_words.Motion("free", way, f"can slide sideways ({s}Y)", None)
        for way, s in zip(ways, "+-", strict=True)
    ]
    assert unfaced(free_) == "put a stop against its +Y side or its -Y side, or lay it in V-blocks"


@pytest.mark.parametrize(("height", "opposed"), [(80.0, True), (40.0, False)])
def test_hard_stops_on_both_sides(height: float, opposed: bool) -> None:
    """A bar of 100 between posts whose faces are 100 apart, and with the one side too low to reach it."""
    wide = slab("bar", [75, 75, 50], [475, 175, 90])
    places = [post("R1", "C3", width=100.0), post("R2", "H3", width=100.0)]
    places += [post("S1", "C5", height=80.0), post("S2", "H2", height=height)]
    result = ask(CHECK, scene(plate=[wide], place=places))
    assert bool(of_rule(result, "stops-opposed")) is opposed


def test_a_stop_that_can_be_set_is_no_hard_stop() -> None:
    """The same bar of 100 with shims on one stop, which leave it where it is: it stands 0.1 lower by itself."""
    wide = slab("bar", [75, 75, 50], [475, 175, 90])
    shims = [{"pad": "seat", "by": [0.1]}]
    places = [post("R1", "C3", width=100.0), post("R2", "H3", width=100.0)]
    places += [post("S1", "C5", height=80.0), post("S2", "H2", height=79.9, shims=shims)]
    result = ask(CHECK, scene(plate=[wide], place=places))
    assert "S2" in row(result)["contacts"]
    assert of_rule(result, "stops-opposed") == []


def test_a_stop_that_would_run_into_something_is_not_told() -> None:
    """Where the stop of the remedy would stand is a post that is too low to be one."""
    long = slab("bar", [75, 75, 50], [525, 125, 90])
    places = [*UNDER, *SIDE, post("X1", "L2", height=20, turn=90), post("X2", "B2", height=20, turn=90)]
    (finding,) = of_rule(ask(CHECK, scene(plate=[long], place=places)), "piece-free")
    found = re.search(r"in hole ([A-Z]+\d+), turn = (\d+): tried", finding.remedy)
    assert found is None or found[1] not in ("L1", "L2", "L3", "B1", "B2", "B3", "B4")


def test_four_supports_are_noted_and_three_are_not() -> None:
    wide = slab("bar", [75, 75, 50], [475, 275, 90])
    four = [post("R1", "C3"), post("R2", "H3"), post("R3", "C5"), post("R4", "H5")]
    (finding,) = of_rule(ask(CHECK, scene(plate=[wide], place=four)), "supports-four")
    assert finding.subjects[-1] == "bar"
    assert set(finding.subjects[:-1]) == {"R1", "R2", "R3", "R4"}
    assert of_rule(ask(CHECK, scene(plate=[wide], place=four[:3])), "supports-four") == []


def test_same_answer_from_the_cache(tmp_path: Path) -> None:
    made = job(scene(plate=[BAR], place=[*UNDER, *SIDE]), Store(tmp_path))
    first = locating_answers.answer(made)
    assert locating_answers.answer(made) == first
    assert locating_answers._worked_out(made) == first


def test_order_of_the_file_and_place_on_the_table_change_nothing() -> None:
    here = scene(plate=[BAR], place=[*UNDER, *SIDE])
    mixed = scene(plate=[BAR], place=[*SIDE[::-1], *UNDER[::-1]])
    assert shape_of(ask(CHECK, here)) == shape_of(ask(CHECK, mixed))


# --- the stop that is lacking: shims, other models, what is in the way, torch and shrinkage ---


def remedy(tables: Any) -> str:
    (finding,) = of_rule(ask(CHECK, tables), "piece-free")
    return finding.remedy


def test_a_shim_makes_up_what_a_hole_leaves() -> None:
    """Faces of turned posts lie at 525 before hole L and at 75 behind hole B: a bar from 80 is 5 away from that, and
    from 81 it is 6, which is more than a shim is put in for (see above)."""
    long = slab("bar", [80, 75, 50], [531, 125, 90])
    places = [post("R1", "D3"), post("R2", "I3"), *SIDE]
    words = remedy(scene(plate=[long], place=places))
    shim = re.escape('turn = 270, shims = [{ pad = "back", by = [5] }]: tried')
    found = re.search(rf"like (\w+) in hole (B\d+), {shim}", words)
    assert found is not None, words
    like = next(place for place in places if place["name"] == found[1])
    shims = [{"pad": "back", "by": [5]}]
    mended = [*places, {**like, "name": "S9", "hole": found[2], "turn": 270, "shims": shims}]
    assert of_rule(ask(CHECK, scene(plate=[long], place=mended)), "piece-free") == []


def stop_blocks(end: float) -> tuple[dict[str, Any], list[dict[str, Any]]]:
    """A bar from x = 75 to ``end`` on two stop blocks, two more along its back: their fronts are 20 before a hole."""
    block: dict[str, Any] = {"model": "stop_block"}
    places = [
        {"name": "R1", "hole": "D3", "turn": 180, **block},
        {"name": "R2", "hole": "I3", "turn": 180, **block},
        {"name": "S1", "hole": "C4", "with": {"height": 80}, **block},
        {"name": "S2", "hole": "H4", "with": {"height": 80}, **block},
    ]
    return slab("bar", [75, 90, 50], [end, 130, 90]), places


def shipped(plate: dict[str, Any], places: list[dict[str, Any]]) -> list[Any]:
    made = resolve(Scene.from_dict(scene(plate=[plate], place=places)), library(), None)
    return of_rule(CHECK.run(made, quiet), "piece-free")


def test_a_shipped_model_that_is_not_in_the_setup_is_named_with_all_that_places_it() -> None:
    """The end at 470 is 30 before hole K: the long side of a stop bar, of no stop block, and of a slide stop at no
    notch, which is 90 and whole threes. The other end, at 75, is 25 behind B and before C."""
    plate, places = stop_blocks(470)
    (finding,) = shipped(plate, places)
    found = re.search(r"a stop_bar in hole (K\d+), turn = (\d+), with = \{ height = (\d+) \}: tried", finding.remedy)
    assert found is not None, finding.remedy
    more = {"hole": found[1], "turn": int(found[2]), "with": {"height": int(found[3])}}
    assert shipped(plate, [*places, {"name": "S9", "model": "stop_bar", **more}]) == []


def test_a_block_made_for_the_place_reaches_the_face() -> None:
    """38 from a row of holes: a stop block of twice that depth, too short for the bores that put its row aside."""
    made = resolve(Scene.from_dict(scene(plate=[BAR], place=[])), library(), None)
    point, push = np.array([462.0, 100.0, 70.0]), np.array([-1.0, 0.0, 0.0])
    depths = [kind.place.with_["depth"] for kind in kinds(made, "made", point, push)]
    assert depths == [76]
    (_, place), *_ = Places(made).near("made", np.array([[75, 75, 50], [462, 125, 90]]), point, push)
    after = with_block(made, place)
    faces = [pad.at[0] for pad in after.pads() if float(pad.normal @ push) > 0.999]
    assert faces == pytest.approx([462.0], abs=1e-6)


def test_what_stands_in_the_way_of_a_stop_is_named() -> None:
    """Long low posts lie where posts would stop the bar, at both ends; they are too low to stop it themselves."""
    long = slab("bar", [75, 75, 50], [525, 125, 90])
    low = [post("X1", "L8", length=400, height=20, turn=270), post("X2", "B8", length=400, height=20, turn=270)]
    words = remedy(scene(plate=[long], place=[*UNDER, *SIDE, *low]))
    assert re.search(r"turn = \d+, would, but runs into (X1|X2): move \1 first", words), words


def test_work_closes_on_a_stop_within_it() -> None:
    """A hard stop within the ladder against another one grips, a drawer of two notches backs off, outside is free."""
    before = job(ladder(inside()[0], lift=25.0))
    stops = Stops(before, Table(before))
    for other, name, expected in (
        (inside()[1], "S2", 2),
        (drawer(2), "T1", 1),
        (block("S3", (340, 400), (180, 220)), "S3", 0),
    ):
        after = job(ladder(inside()[0], other, lift=25.0))
        assert stops._closes(after, name) == expected
    for normal, faced in ((1.0, True), (-1.0, False)):  # at the right rail: from within, and from outside
        stop = locating_words.Stop(np.array([AT[0] + 300.0, AT[1] + 200.0, 30.0]), np.array([normal, 0.0, 0.0]), "")
        assert stops._faced(stop) is faced


def test_the_torch_loses_a_weld_to_a_block_in_its_corner() -> None:
    """A tall post where the near rung meets the left rail, and one of the same size far outside."""
    tables = ladder(lift=60.0)
    tables["weldment"]["technique"] = "corner"
    before = resolve(Scene.from_dict(tables), library(), None)
    for x, lost in ((1.0, True), (700.0, False)):
        at = [AT[0] + x + 27.5, AT[1] + 93.0 + 20.0, 0, 0]
        more = [{"name": "S9", "model": "stop_block", "free": at, "with": {"height": 200, "depth": 40}}]
        after = resolve(Scene.from_dict({**tables, "place": more}), library(), None)
        names = Room(before).loses(after, "S9")
        assert ("left near b" in names) is lost
        assert bool(names) is lost
