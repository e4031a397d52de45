"""What is named to give a blocked weld back does so: each remedy is written into the scene and the scene checked again.

The torch is that of test_check_torch: straight, upright, its hand 90 across from 140 mm above the root on, round at its
end, so that it has its full width from 185 mm on. Two narrow plates lie side by side, 50 above the table; their butt
weld runs along y = 300 from x = 300 to 340, and the front of the near plate is at y = 280.
"""

from __future__ import annotations

import copy
import dataclasses
import re
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import fixture3d
from fixture3d.cache import Store
from fixture3d.checks import all_checks, torch_access, torch_reach, torch_remedies
from fixture3d.checks.base import Finding, Result, quiet
from fixture3d.checks.trial import Trial
from fixture3d.engine import assemble
from fixture3d.job import Job
from fixture3d.job.resolve import reseated, resolve
from fixture3d.scene import Scene
from fixture3d.scene.scene import loads
from fixture3d.scene.stages import at_stage
from tests.check_jobs import LIBRARY, ask, job, post, scene, slab
from tests.conftest import SCENES
from tests.test_check_torch import TECHNIQUE, TORCH, row

CHECK = torch_access.CHECK
LENGTH = 40.0


def strips(**more: Any) -> dict[str, Any]:
    weld = {
        "name": "seam",
        "type": "butt",
        "size": 3,
        "joins": ["one", "two"],
        "path": [[300, 300, 60], [340, 300, 60]],
    }
    plates = [slab("one", (200, 280, 50), (500, 300, 60)), slab("two", (200, 300, 50), (500, 320, 60))]
    return scene(
        torch={"straight": TORCH},
        technique={"t1": TECHNIQUE},
        weldment={"hole": "A1", "technique": "t1"},
        plate=[*plates, *more.pop("plate", [])],
        weld=[weld],
        **more,
    )


def ask_job(made: Job) -> Result:
    return CHECK.run(made, quiet)


def finding_of(tables: Mapping[str, Any]) -> Finding:
    found = [f for f in ask(CHECK, tables).findings if f.rule in ("weld-blocked", "weld-partly-blocked")]
    (finding,) = found
    return finding


def applied(tables: Mapping[str, Any], remedy: str) -> dict[str, Any]:
    """The scene with what a remedy says written into it."""
    out: dict[str, Any] = copy.deepcopy(dict(tables))
    items = {item["name"]: item for item in (*out.get("place", ()), *out.get("clamp", ()))}
    ways = (
        (r"turn (\w+) to (\d+):", "turn", float),
        (r"set (\w+) to notch (\d+):", "notch", int),
        (r"move (\w+) to hole (\w+):", "hole", str),
        (r"use a lower \w+ for (\w+), height = (\d+) mm:", "height", float),
        (r"use a shorter \w+ for (\w+), length = (\d+) mm:", "length", float),
    )
    for pattern, key, read in ways:
        match = re.search(pattern, remedy)
        if match is not None:
            item = items[match[1]]
            (item["with"] if key in ("height", "length") else item)[key] = read(match[2])
            return out
    match = re.search(r"use the \w+ of (.*) for (\w+):", remedy)
    if match is not None:
        items[match[2]]["with"] = {key: float(value) for key, value in re.findall(r"(\w+) (\d+) mm", match[1])}
        return out
    match = re.search(r'with technique = "([\w-]+)":', remedy)
    if match is not None:
        out["weld"][0]["technique"] = match[1]
        return out
    match = re.search(r'with torch = "([\w-]+)" in its technique:', remedy)
    assert match is not None, remedy
    out["technique"]["t1"]["torch"] = match[1]
    return out


def mended(tables: Mapping[str, Any], words: str) -> dict[str, Any]:
    """The scene with its remedy, which must be this one and give all of the weld back."""
    remedy = finding_of(tables).remedy
    assert f"{words}: then all 40 mm are reached (tried)" in remedy
    out = applied(tables, remedy)
    assert row(ask(CHECK, tables))["reachable"] < LENGTH
    assert row(ask(CHECK, out))["reachable"] == pytest.approx(LENGTH)
    return out


def stop(hole: str = "D6", length: float = 400.0, height: float = 300.0) -> dict[str, Any]:
    """A stop whose back is at y = 280, against the near plate."""
    made: dict[str, Any] = post("S1", hole, length=length, width=60, height=height)
    return made


def drawer() -> dict[str, Any]:
    """A post 75 in front of the root, on it a slide that at notch 10 comes to 45 before it, where the hand is."""
    low = post("P1", "G5", height=240)
    return strips(place=[low, {"name": "D1", "model": "drawer", "on": "P1", "socket": "1", "notch": 10}])


def test_another_turn() -> None:
    """Turned by 90 degrees more it would run into the plates, by 180 it lies beyond their end."""
    mended(strips(place=[post("W1", "K8", length=200, height=300, turn=180)]), "turn W1 to 0")


def test_the_next_notch() -> None:
    """45 mm before the root the hand and its margin are met, a notch of 3 mm further back they are not.

    Turned round, the slide would go away from the weld, but its second dowel would find no socket.
    """
    mended(drawer(), "set D1 to notch 9")


def test_the_next_hole_that_still_touches_the_work() -> None:
    """From I its end is 35 off the weld's; a hole further on 85. A hole to the front it would touch nothing."""
    mended(strips(place=[stop("I6", length=100)]), "move S1 to hole J6")


def test_a_hole_where_another_block_stands_is_passed_over() -> None:
    tables = strips(place=[stop("I6", length=100), post("S2", "J6", length=50, width=60, height=50)])
    remedy = finding_of(tables).remedy
    assert "hole J6" not in remedy
    assert "hole K6" not in remedy


def test_the_highest_of_the_lower_blocks_that_is_low_enough() -> None:
    """The long stop is in the way from every hole. Of two blocks 5 mm apart in height only the lower one is not.

    The hand's round end is about z = 60 + 185; 20 before the root it comes down to 245 - sqrt(45^2 - 20^2) = 204.7.
    """
    tables = strips(place=[stop()])
    out = mended(tables, "use a lower post for S1, height = 200 mm")
    out["place"][0]["with"]["height"] = 205
    assert row(ask(CHECK, out))["reachable"] < LENGTH


def test_a_lower_block_is_only_named_while_it_touches_the_work() -> None:
    """The plate's front is from 50 to 60 above the table."""
    tables = strips(place=[stop()])
    trial = Trial(job(tables))
    for height, enough in ((55.0, True), (50.0, False), (45.0, False)):
        assert stands(trial, "S1", with_={"length": 400, "width": 60, "height": height}) is enough


def test_the_neighbouring_size_that_the_shop_owns() -> None:
    """At 100 long its end is 75 off the weld; lower ones are not owned, and another hole is of no use to a long one."""
    tables = strips(place=[stop()])
    sizes = {"length": 400, "width": 60, "height": 300}
    owned = [sizes, {**sizes, "length": 100}, {**sizes, "length": 100, "height": 55}]
    tables["inventory"] = [{"model": "post", "with": size, "count": 1} for size in owned]
    out = mended(tables, "use a shorter post for S1, length = 100 mm")
    assert "short-of-blocks" not in {rule for rule, _ in problems(job(out))}
    del tables["inventory"][1]
    mended(tables, "use the post of width 60 mm, height 55 mm for S1")  # 100 is its usual length
    del tables["inventory"][1]
    assert "use the" not in finding_of(tables).remedy
    assert "use a" not in finding_of(tables).remedy


def test_a_change_that_takes_another_weld_away_is_passed_over() -> None:
    """Turned to 0 the block would stand 25 beside the second weld, which is whole as it is."""
    tables = strips(
        place=[post("W1", "K8", length=200, height=300, turn=180)],
        plate=[slab("three", (560, 280, 50), (700, 300, 60)), slab("four", (560, 300, 50), (700, 320, 60))],
    )
    other = {**tables["weld"][0], "name": "other", "joins": ["three", "four"], "path": [[580, 300, 60], [620, 300, 60]]}
    tables["weld"].append(other)
    assert row(ask(CHECK, tables), "other")["reachable"] == pytest.approx(40.0)
    remedy = finding_of(tables).remedy
    assert "turn W1 to 0:" not in remedy
    assert "then all 40 mm are reached (tried)" in remedy
    found = ask(CHECK, applied(tables, remedy))
    assert [row(found, name)["reachable"] for name in ("seam", "other")] == pytest.approx([LENGTH, 40.0])


def test_what_a_change_takes_of_a_weld_that_is_not_whole_is_told() -> None:
    """A roof keeps the half of the second weld from the torch that the turned block does not stand beside."""
    tables = strips(
        place=[post("W1", "K8", length=200, height=300, turn=180)],
        plate=[
            slab("three", (560, 280, 50), (700, 300, 60)),
            slab("four", (560, 300, 50), (700, 320, 60)),
            slab("roof", (550, 150, 80), (662, 322, 90)),
        ],
    )
    other = {**tables["weld"][0], "name": "other", "joins": ["three", "four"], "path": [[640, 300, 60], [690, 300, 60]]}
    tables["weld"].append(other)
    (first,) = [f for f in ask(CHECK, tables).findings if f.subjects[0] == "seam" and f.rule.endswith("blocked")]
    match = re.search(
        r"(turn W1 to 0): then all 40 mm are reached \(tried\); it takes (\d+) mm of other welds", first.remedy
    )
    assert match is not None, first.remedy
    before = row(ask(CHECK, tables), "other")["reachable"]
    after = row(ask(CHECK, applied(tables, match[1] + ":")), "other")["reachable"]
    assert round(before - after) == int(match[2]) > 0


def test_another_torch() -> None:
    """A roof over the weld: no block is in the way, and a torch with a bent neck goes out beside it."""
    mended(
        strips(plate=[slab("roof", (290, 250, 260), (350, 350, 270))]), 'run it with torch = "mig-60" in its technique'
    )


def test_another_technique() -> None:
    """Held at 88 degrees the torch is in the plate."""
    tables = strips()
    tables["technique"]["t1"] = {**TECHNIQUE, "work_angle": [88, 0]}
    mended(tables, 'run it with technique = "butt"')


def test_where_nothing_helps_it_is_said_how_much_was_tried() -> None:
    """A roof over all of it, 40 mm above: no block is there to move; four shipped torches, and the usual technique."""
    tables = strips(plate=[slab("roof", (200, 200, 100), (500, 400, 110))])
    remedy = finding_of(tables).remedy
    assert "; 5 changes tried; none gives it back" in remedy
    assert remedy.endswith("; or weld it before roof is put there: then all 40 mm are reached (tried)")
    del tables["plate"][-1]
    assert row(ask(CHECK, tables))["reachable"] == pytest.approx(LENGTH)


def test_a_change_that_gives_a_part_is_told_with_its_figure() -> None:
    """The roof over the first half stays; only what the stop takes of the other half comes back."""
    roof = slab("roof", (200, 200, 80), (318, 400, 90))
    tables = strips(place=[stop()], plate=[roof])
    finding = finding_of(tables)
    match = re.search(r"(.*): then (\d+) mm of 40 mm are reached \(the most of \d+ changes tried\)", finding.remedy)
    assert match is not None, finding.remedy
    out = applied(tables, match[1] + ":")
    assert finding.measured is not None
    assert round(row(ask(CHECK, out))["reachable"]) == int(match[2]) > finding.measured


def test_limits_are_told(monkeypatch: pytest.MonkeyPatch) -> None:
    """The stop is taken away in thought first, then turned twice."""
    tables = strips(place=[stop()])
    monkeypatch.setattr(torch_remedies, "MOST_TRIES", 3)
    assert "2 changes tried, and there it was left; none gives it back" in finding_of(tables).remedy
    left = [line for line in ask(CHECK, tables).not_covered if "not every change was tried" in line]
    assert left == ["For 1 of 1 welds not every change was tried: 3 changes are tried for one setup, 60 for one weld."]
    monkeypatch.setattr(torch_remedies, "MOST_TRIES", 0)
    assert "not tried: the tries went to the welds that lose more" in finding_of(tables).remedy
    told = "Of 1 welds that are blocked or take a restart 1 were not tried: 0 changes are tried for one setup, 60"
    assert any(line.startswith(told) for line in ask(CHECK, tables).not_covered)


def test_weld_it_before_a_clamp_is_put_in_place() -> None:
    """The clamp's arm crosses the long weld, whatever hole it stands in."""
    clamp = {"name": "K1", "model": "presser", "hole": "G9", "turn": 270, "presses": "one",
             "with": {"reach": 110, "work_height": 60}}  # fmt: skip
    tables = strips(clamp=[clamp])
    tables["weld"][0]["path"] = [[205, 300, 60], [495, 300, 60]]
    remedy = finding_of(tables).remedy
    assert "or weld it before K1 is put there: then all 290 mm are reached (tried)" in remedy
    tables["stage"] = [{"name": "before", "welds": ["seam"]}, {"name": "after", "welds": []}]
    tables["clamp"][0]["stages"] = ["after"]
    made = resolve(at_stage(Scene.from_dict(tables), "before"), LIBRARY)
    assert row(ask_job(made))["reachable"] == pytest.approx(290.0)


def test_answers_that_are_kept_are_those_that_were_worked_out(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    tables = strips(place=[stop("I6", length=100)])
    first = ask(CHECK, tables, Store(tmp_path))
    assert first.findings == ask(CHECK, tables).findings
    monkeypatch.setattr(torch_reach, "_free", None)  # nothing is swept again
    assert ask(CHECK, tables, Store(tmp_path)) == first


def problems(made: Job) -> set[tuple[str, tuple[str, ...]]]:
    """What seating and interference have against a setup."""
    checks = [check for check in all_checks() if check.name in ("seating", "interference")]
    found = [finding for check in checks for finding in check.run(made, quiet).findings]
    return {(f.rule, f.subjects) for f in found if f.level != "note"}


def as_typed(source: str, remedy: str, weld: str) -> str:
    """The bad scene with the first change that a remedy names written into its text."""
    ways = (
        (r"move (\w+) to hole (\w+): then", r'hole = "[^"]*"', 'hole = "{}"'),
        (r"use a lower \w+ for (\w+), height = (\d+) mm: then", r"height = \d+", "height = {}"),
    )
    for pattern, old, new in ways:
        match = re.search(pattern, remedy)
        if match is not None:
            return in_table(source, match[1], old, new.format(match[2]))
    match = re.search(r'torch = "([\w-]+)" in a technique of its own, otherwise as "(\w+)"', remedy)
    assert match is not None, remedy
    found = re.search(rf"\[technique\.{match[2]}\]\n((?:\w.*\n)+)", source)
    assert found is not None
    own = re.sub(r'torch = "[^"]*"', f'torch = "{match[1]}"', found[1])
    head, named = f'[[weld]]\nname = "{weld}"\n', f'[[weld]]\nname = "{weld}"\ntechnique = "own"\n'
    if head in source:
        source = re.sub(rf"({re.escape(head)}(?:\w.*\n)*?)technique = .*\n", r"\1", source).replace(head, named)
        return f"{source}\n[technique.own]\n{own}"
    return f"{source}\n{named}\n[technique.own]\n{own}"


def in_table(source: str, name: str, old: str, new: str) -> str:
    """A scene's text with one thing replaced in the table of a name."""
    start = source.index(f'name = "{name}"\n')
    end = source.find("\n\n", start)
    body, count = re.subn(old, new, source[start:end], count=1)
    assert count == 1, (name, old)
    return source[:start] + body + source[end:]


def test_every_remedy_of_the_bad_scene_does_what_it_says(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Typed into the file, each gives what it names: all of the weld, a part of it, or one run."""
    source = (SCENES / "everything_wrong.toml").read_text(encoding="utf-8")
    rules = ("weld-blocked", "weld-partly-blocked", "weld-restart")
    told = [f for f in ask_job(assemble(loads(source), stage="welding")).findings if f.rule in rules]
    assert {f.rule for f in told if "(tried)" in f.remedy} == set(rules)
    monkeypatch.setattr(torch_remedies, "MOST_TRIES", 0)
    done: dict[str, Job] = {}
    for finding in told:
        weld = finding.subjects[0]
        match = re.search(r"then (?:all )?(\d+) mm (?:of \d+ mm )?are reached|then it is run in one go", finding.remedy)
        if match is None or "or weld it before" in finding.remedy[: match.start()]:
            continue
        typed = as_typed(source, finding.remedy, weld)
        if typed not in done:
            done[typed] = assemble(loads(typed), stage="welding")
        only = tuple(one for one in done[typed].welds if one.name == weld)
        found = row(ask_job(dataclasses.replace(done[typed], welds=only)), weld)
        if match[1] is None:
            assert len(found["runs"]) == 1, finding
        else:
            assert round(found["reachable"]) == int(match[1]) > (finding.measured or 0.0), finding
    assert len(done) >= 4


def test_the_checks_find_nothing_new_when_a_remedy_of_the_bad_scene_is_followed() -> None:
    """Judged by the checks themselves, which the trial of a change may not ask."""
    made = assemble(fixture3d.load(SCENES / "everything_wrong.toml"), stage="welding")
    made = dataclasses.replace(made, welds=tuple(weld for weld in made.welds if weld.name == "right rail, far"))
    (finding,) = [f for f in ask_job(made).findings if f.rule == "weld-blocked"]
    match = re.match(r"move S4 to hole (\w+): then all 38 mm are reached \(tried\)", finding.remedy)
    assert match is not None, finding.remedy
    after = reseated(made, made.seats["S4"].place.model_copy(update={"hole": match[1]}))
    assert problems(after) <= problems(made)
    found = row(ask_job(after), "right rail, far")
    assert found["reachable"] == pytest.approx(found["length"])


# --- what a trial goes by ---------------------------------------------------------------------------------------------


def same(a: Job, b: Job) -> bool:
    poses = [(x.name, x.shape.key, np.round(x.body_to_world, 9).tolist()) for x in a.bodies]
    return poses == [(x.name, x.shape.key, np.round(x.body_to_world, 9).tolist()) for x in b.bodies]


@pytest.mark.parametrize(
    ("name", "update"), [("T1", {"notch": 3}), ("S1", {"turn": 180.0}), ("K1", {"hole": "C9"}), ("R1", {"hole": "F8"})]
)
def test_a_changed_block_stands_as_if_all_were_put_together_anew(name: str, update: dict[str, Any]) -> None:
    made = assemble(fixture3d.load(SCENES / "kayak_rack.toml"))
    item = made.seats[name].place.model_copy(update=update)
    after = reseated(made, item)
    assert same(after, resolve(after.scene, made.library, made.store, made.found))
    assert not same(after, made)


def test_what_is_stacked_goes_with_its_block() -> None:
    made = job(drawer())
    after = reseated(made, made.seats["P1"].place.model_copy(update={"hole": "H5"}))
    assert same(after, resolve(after.scene, made.library))
    moved = after.seats["D1"].model_to_world[:3, 3] - made.seats["D1"].model_to_world[:3, 3]
    assert moved == pytest.approx([50.0, 0.0, 0.0])


@pytest.mark.parametrize(
    ("update", "why"),
    [
        ({"turn": 180.0, "hole": "F6"}, "its front touches the plate where its back did, but no pad"),
        ({"hole": "D5"}, "it touches nothing"),
        ({"hole": "D7"}, "it runs into the plates"),
        ({"turn": 45.0}, "only one dowel finds a hole"),
        ({"hole": "F6"}, "its dowels and those of S2 want the same hole"),
    ],
)
def test_what_does_not_stand_is_not_tried_further(update: dict[str, Any], why: str) -> None:
    trial = Trial(job(strips(place=[stop(length=100), post("S2", "G6", width=60, length=60)])))
    assert stands(trial, "S1", hole="E6")
    assert not stands(trial, "S1", **update), why


def stands(trial: Trial, name: str, **update: Any) -> bool:
    return trial.stands(reseated(trial.job, trial.job.seats[name].place.model_copy(update=update)), name)


def test_a_block_may_touch_another_one_but_not_run_into_it() -> None:
    """At E the stop ends at 275, where the wide block begins; at F it would be 50 in it. They share no hole."""
    trial = Trial(job(strips(place=[stop(length=100), post("S2", "G3", width=300)])))
    assert stands(trial, "S1", hole="E6")
    assert not stands(trial, "S1", hole="F6")


@pytest.mark.parametrize(("y", "clear"), [(264.9, True), (265.1, False)])
def test_the_bead_keeps_its_room(y: float, clear: bool) -> None:
    """A block 50 wide that lies on the plates: its edge is 10 mm from the root where its middle is 35 from it."""
    block = {**post("W1", "A1", height=20), "free": [300, 200, 60, 0]}
    del block["hole"]
    assert stands(Trial(job(strips(place=[block]))), "W1", free=(300.0, y, 60.0, 0.0)) is clear


@pytest.mark.parametrize(("length", "enough"), [(125.0, True), (127.0, True), (130.0, False)])
def test_a_block_that_would_hang_over_the_edge_does_not_stand(length: float, enough: bool) -> None:
    """From AC its end is 1375 and its length; the table ends at 1500, and a chamfer of 2.5 mm is no overhang."""
    assert stands(Trial(job(strips(place=[post("W1", "AA3", length=length)]))), "W1", hole="AC3") is enough
