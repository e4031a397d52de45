"""``welds = "auto"`` in a scene: what is found becomes its welds, and how the file settles what it wants otherwise."""

from __future__ import annotations

import math
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from fixture3d.cache import Store
from fixture3d.engine import assemble, assemble_all, check
from fixture3d.errors import SceneError
from fixture3d.job.found_welds import with_found
from fixture3d.preview.weld_lines import weld_lines
from fixture3d.scene import loads

ARM = """format = 1
table = "50/16 1000x700"

[weldment]
hole = "H7"
lift = 60
welds = "auto"

[[member]]
name = "post"
stock = "SHS 40x40x3"
from = [0, 0, 0]
to = [0, 300, 0]

[[member]]
name = "arm"
stock = "SHS 30x30x3"
from = [20, 150, 0]
to = [200, 150, 0]
"""
EQUAL = ARM.replace("SHS 30x30x3", "SHS 40x40x3")
FLAT = 30.0 - 2 * 2 * 3.0  # a corner radius of twice the wall on either side (EN 10219-2, walls up to 6 mm)


def rows(text: str) -> dict[str, Mapping[str, Any]]:
    return {row["name"]: row for row in check(loads(text)).figures("welds")}


def test_a_narrower_tube_is_one_fillet_all_round() -> None:
    found = rows(ARM)
    assert list(found) == ["post / arm, all round"]
    (row,) = found.values()
    assert row["type"] == "fillet"
    assert row["length"] == pytest.approx(4 * FLAT + 2 * np.pi * 6.0, rel=5e-3, abs=0.5)


def test_sides_of_an_equal_tee_have_names_of_their_own() -> None:
    found = rows(EQUAL)
    sides = {name.removeprefix("post / arm, "): row for name, row in found.items()}
    assert set(sides) == {"top", "bottom", "front", "back"}
    for side in ("front", "back"):
        assert sides[side]["type"] == "fillet"
        # The flat, and at both ends round the corner of 6 to where the gap is 1: the post falls away by as much.
        corner = 6.0 * math.acos((6.0 - 1.0) / 6.0)
        assert sides[side]["length"] == pytest.approx(40.0 - 12.0 + 2.0 * corner, abs=0.7)
    assert {sides["top"]["type"], sides["bottom"]["type"]} <= {"flare", "butt"}


def test_an_entry_of_the_name_overrides_what_it_gives() -> None:
    job = assemble(loads(EQUAL + '\n[[weld]]\nname = "post / arm, top"\nsize = 5\ntype = "fillet"\n'))
    by_name = {weld.name: weld for weld in job.welds}
    assert by_name["post / arm, top"].size == 5.0
    assert by_name["post / arm, bottom"].size == 3.0  # the thinner wall
    assert by_name["post / arm, top"].joins == ("post", "arm")


def test_skip_drops_one_and_says_so() -> None:
    report = check(loads(EQUAL + '\n[[weld]]\nname = "post / arm, bottom"\nskip = true\n'))
    assert "post / arm, bottom" not in {weld.name for weld in report.job.welds}
    (torch,) = [r for r in report.results if r.name == "torch access"]
    assert any("left out by skip = true: post / arm: bottom" in text for text in torch.not_covered)


def test_what_the_file_settles_is_no_longer_doubtful() -> None:
    doubtful = [f.subjects[0] for f in check(loads(EQUAL)).findings if f.rule == "weld-doubtful"]
    assert "post / arm, top" in doubtful
    settled = EQUAL + '\n[[weld]]\nname = "post / arm, top"\ntype = "flare"\nsize = 4\n'
    left = [f.subjects[0] for f in check(loads(settled)).findings if f.rule == "weld-doubtful"]
    assert left == [name for name in doubtful if name != "post / arm, top"]
    drawn = {line.name for line in weld_lines(assemble(loads(settled)), []) if line.doubtful}
    assert drawn == set(left)  # the picture and the page ask no more than the report


QUARTER = np.pi * 6.0 / 2.0  # of the tube's corner, 6 outside


@pytest.mark.parametrize(
    ("part", "length", "ends"),
    [
        ("[0, 12]", 12.0, None),
        ("[20, 50]", 30.0, None),
        # The line begins at the lower end of one side: from there on round the bottom, and not the bottom.
        (f"[{FLAT + 2 * QUARTER:.3f}, 0]", 3 * FLAT + 2 * QUARTER, ([20, -9], [20, -9])),
        (f"[{4 * FLAT + 3 * QUARTER:.3f}, 12]", 12.0 + QUARTER, None),
    ],
)
def test_a_part_of_a_found_weld(part: str, length: float, ends: tuple[list[float], list[float]] | None) -> None:
    """Lengths by hand: four flats of 18 and four quarters of the corner."""
    text = ARM + f'\n[[weld]]\nname = "post / arm, all round"\npart = {part}\n'
    (whole,) = assemble(loads(ARM)).welds
    (weld,) = assemble(loads(text)).welds
    assert weld.length == pytest.approx(length, abs=0.1)
    assert len(weld.sides) == len(weld.path) - 1
    # Each part of it lies between the faces that it had in the whole.
    for start, end, sides in zip(weld.path[:-1], weld.path[1:], weld.sides, strict=True):
        middle = (start + end) / 2.0
        k = int(np.argmin(np.linalg.norm((whole.path[:-1] + whole.path[1:]) / 2.0 - middle, axis=1)))
        near = np.linalg.norm(whole.path[k] - middle) < 10.0
        assert not near or np.abs(whole.sides[k] - sides).max() < 0.3
    if ends is not None:
        lift = np.array([whole.path[:, axis].min() for axis in range(3)])
        assert weld.path[0][2] - lift[2] == pytest.approx(6.0, abs=0.1)
        assert weld.path[-1][2] - lift[2] == pytest.approx(6.0, abs=0.1)


def test_what_a_part_leaves_is_told() -> None:
    report = check(loads(ARM + '\n[[weld]]\nname = "post / arm, all round"\npart = [20, 50]\n'))
    assert "post / arm, all round: 30 mm of 110 mm are run here, by part in the file; the rest is not checked" in (
        report.assumed
    )


@pytest.mark.parametrize(
    ("entry", "told"),
    [
        ('name = "post / arm, all round"\npart = [20, 500]', r"part: 500 mm lies beyond the end of the weld; .*109.68"),
        ('name = "post / arm, all round"\npart = [20, 20]', "part: no length lies between 20 and 20 mm"),
        ('name = "post / arm, all round"\npart = [20]', "part"),
        (
            'name = "s"\ntype = "butt"\nsize = 3\njoins = ["post", "arm"]\npath = [[0, 0, 20], [0, 9, 20]]\n'
            "part = [0, 5]",
            "part and path are both given",
        ),
        ('name = "post / arm, all around"\npart = [0, 5]', 'nearest: "post / arm, all round"'),
    ],
)
def test_a_part_that_is_not_there_is_told(entry: str, told: str) -> None:
    with pytest.raises(SceneError, match=told):
        assemble(loads(ARM + f"\n[[weld]]\n{entry}\n"))


def test_none_turns_it_off() -> None:
    report = check(loads(ARM.replace('"auto"', '"none"')))
    (torch,) = [r for r in report.results if r.name == "torch access"]
    assert (torch.status, report.job.welds) == ("skipped", ())
    assert 'welds = "none"' in torch.why


def test_a_name_that_nothing_has_is_told_with_the_nearest() -> None:
    with pytest.raises(SceneError, match=r'no weld "post / arm, topp" was found .* nearest: "post / arm, top"'):
        assemble(loads(EQUAL + '\n[[weld]]\nname = "post / arm, topp"\nsize = 5\n'))


def test_a_weld_with_a_path_of_its_own_is_added() -> None:
    more = '\n[[weld]]\nname = "seam"\nsize = 3\ntype = "butt"\nsides = [[0, 0, 1], [0, 0, 1]]\n'
    more += "path = [[0, 0, 20], [0, 50, 20]]\n"
    names = {weld.name for weld in assemble(loads(EQUAL + more)).welds}
    assert "seam" in names
    assert "post / arm, top" in names


@pytest.mark.parametrize(("gap", "limit", "kinds"), [(0.9, None, "weld"), (1.4, None, "near miss"), (1.4, 1.5, "weld")])
def test_the_root_gap_decides(gap: float, limit: float | None, kinds: str) -> None:
    text = ARM.replace("from = [20, 150, 0]", f"from = [{20 + gap}, 150, 0]")
    if limit is not None:
        text = text.replace('welds = "auto"', f'welds = "auto"\nroot_gap = {limit}')
    report = check(loads(text))
    assert bool(report.job.welds) == (kinds == "weld")
    told = [f.message for f in report.findings if f.rule == "no-weld-found"]
    assert any("near miss 1.4 mm" in text for text in told) == (kinds == "near miss")


def test_names_stay_when_the_work_is_turned_over() -> None:
    names = [
        {weld.name for weld in assemble(loads(text)).welds}
        for text in (ARM, ARM.replace("lift = 60", 'lift = 60\nup = "-z"\nturn = 90'))
    ]
    assert names[0] == names[1]


def test_normals_and_paths_lie_in_the_world() -> None:
    job = assemble(loads(ARM.replace("lift = 60", "lift = 60\nturn = 90")))
    (round_,) = job.welds
    path, sides = np.asarray(round_.path), np.asarray(round_.sides)
    # The post's face looks along the arm, which lies along Y now; the root goes round the arm at a height of 60.
    assert np.ptp(path[:, 2]) == pytest.approx(30.0, abs=0.05)
    assert (path[:, 2].min() + path[:, 2].max()) / 2.0 == pytest.approx(60.0, abs=0.05)
    assert sides[:, 0] == pytest.approx(np.tile([0.0, 1.0, 0.0], (len(sides), 1)), abs=0.35)
    assert np.median(sides[:, 0, 1]) == pytest.approx(1.0, abs=1e-3)
    assert sides[:, 1, 1] == pytest.approx(0.0, abs=1e-3)


STAGES = """
[[stage]]
name = "one"
pieces = ["post", "arm"]

[[stage]]
name = "two"
weldment = { up = "-z" }
welds = ["post / arm, bottom"]
"""


def test_stages_share_the_found_welds() -> None:
    one, two = assemble_all(loads(EQUAL + STAGES))
    assert [weld.name for weld in two.welds] == ["post / arm, bottom"]
    assert "post / arm, top" in {weld.name for weld in one.welds}
    assert "post / arm, bottom" not in {weld.name for weld in one.welds}
    assert {weld.name for weld in two.done} == {weld.name for weld in one.welds}


def test_a_weld_that_no_stage_can_run_is_told() -> None:
    apart = ARM + '\n[[stage]]\nname = "one"\npieces = ["post"]\n\n[[stage]]\nname = "two"\nwelds = []\n'
    report = check(loads(apart))
    told = [f for f in report.findings if f.message == "no stage runs post / arm, all round"]
    assert [(f.rule, f.level) for f in told] == [("weld-doubtful", "warn")]


def test_a_stage_may_not_name_what_is_not_found() -> None:
    with pytest.raises(SceneError, match='welds: no weld is called "post / arm, botom"'):
        assemble_all(loads(EQUAL + STAGES.replace("bottom", "botom")))


def test_a_second_run_takes_the_answer_from_the_cache(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    store = Store(tmp_path)
    first, found = with_found(loads(ARM), store)
    monkeypatch.setattr("fixture3d.job.found_welds.find_welds", lambda *_: pytest.fail("looked for again"))
    second, again = with_found(loads(ARM), store)
    assert first.welds == second.welds
    assert found is not None
    assert again is not None
    assert list(found.welds) == list(again.welds)


def test_order_of_the_file_changes_nothing() -> None:
    head, post, arm = ARM.split("[[member]]")
    swapped = f"{head}[[member]]{arm}\n[[member]]{post}"
    assert {n: r["length"] for n, r in rows(ARM).items()} == {n: r["length"] for n, r in rows(swapped).items()}


def test_scene_without_the_key_is_as_before() -> None:
    scene = loads(ARM.replace('welds = "auto"\n', ""))
    assert with_found(scene) == (scene, None)


def test_a_wrong_name_is_told_the_welds_of_the_same_two_pieces_first() -> None:
    text = EQUAL + '[[weld]]\nname = "arm / post, under"\nskip = true\n'
    with pytest.raises(SceneError) as error:
        assemble(loads(text))
    near = str(error.value).partition("nearest: ")[2]
    assert near.count('"post / arm, ') == 4


@pytest.mark.parametrize(
    ("welds", "told"), [("", 'no welds = "auto" stands'), ('welds = "none"', 'welds = "none" stands')]
)
def test_an_override_without_auto_is_one_line_about_the_missing_key(welds: str, told: str) -> None:
    names = "".join(f'[[weld]]\nname = "post / arm, {side}"\nskip = true\n' for side in ("top", "back"))
    with pytest.raises(SceneError) as error:
        loads(EQUAL.replace('welds = "auto"', welds) + names)
    (line,) = str(error.value).splitlines()
    assert "found between pieces (as do 1 more)" in line
    assert told in line
    assert 'expected welds = "auto"' in line


RUN_BY_NAME = """[[stage]]
name = "one"
welds = [{first}]
[[stage]]
name = "two"
{pieces}
welds = [{second}]
"""


@pytest.mark.parametrize(
    ("first", "second", "pieces", "told"),
    [
        ("post / arm, top", "post / arm, top", "", '"post / arm, top" is run in stage "one" already'),
        ("post / arm, inside", "post / arm, top", "", "lies inside closed tubes, where no torch comes"),
        ("post / arm, top", "post / arm, back", 'pieces = ["post"]', 'joins "arm", which is not on the table'),
    ],
)
def test_a_stage_that_cannot_run_a_found_weld_is_refused(first: str, second: str, pieces: str, told: str) -> None:
    with pytest.raises(SceneError) as error:
        assemble_all(loads(EQUAL + RUN_BY_NAME.format(first=f'"{first}"', second=f'"{second}"', pieces=pieces)))
    assert told in str(error.value)


def test_a_mitred_frame_has_the_same_welds_at_every_corner() -> None:
    """Inside a mitre every way out lies in the seam of two tubes; rounding let some through, and a bore was a weld."""
    text = """format = 1
units = "in"
table = "2/(3/4) 48x36"

[weldment]
hole = "E4"
lift = "2-3/4"
welds = "auto"

[[frame]]
name = "top"
stock = "HSS 1-1/2x1-1/2x1/8"
width = 24
height = 16
corners = "mitre"
"""
    scene, _ = with_found(loads(text))
    corners = [weld.name.split(", ") for weld in scene.welds]
    sides = {joint: sorted(side for its, side in corners if its == joint) for joint, _ in corners}
    assert len(sides) == 4
    assert all(each == ["back", "bottom", "front", "top"] for each in sides.values())
