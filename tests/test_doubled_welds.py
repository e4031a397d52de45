"""A listed weld with a path of its own that lies on a found one: one line, counted once, and told."""

from __future__ import annotations

import numpy as np
import pytest

from fixture3d.engine import assemble_all, check
from fixture3d.errors import SceneError
from fixture3d.job.doubled_welds import doubled
from fixture3d.scene import loads
from fixture3d.scene.schema import Weld
from fixture3d.welding import find_welds, weld_names
from tests.test_found_welds import EQUAL
from tests.weld_cases import box

NEAR = """
[[weld]]
name = "near side"
type = "fillet"
size = 3
joins = ["post", "arm"]
path = [[20, {y}, -14], [20, {y}, 14]]
"""
FRONT = "post / arm, front"


def told(text: str) -> tuple[list[str], list[tuple[str, str]]]:
    report = check(loads(text))
    findings = [f for f in report.findings if f.rule == "weld-doubtful" and "lies on the found weld" in f.message]
    assert all(f.level == "warn" for f in findings)
    return [weld.name for weld in report.job.scene.welds], [(f.message, f.remedy) for f in findings]


@pytest.mark.parametrize("y", [130, 128.5])
def test_the_listed_one_is_run_and_the_found_one_is_not(y: float) -> None:
    names, findings = told(EQUAL + NEAR.format(y=y))
    assert "near side" in names
    assert FRONT not in names
    ((message, remedy),) = findings
    assert message.startswith(f'"near side" lies on the found weld "{FRONT}", which is not counted beside it; ')
    # The found one goes round the corners of 6 to where the gap is 1, 3.5 further at both ends than the flat of 28.
    rest = float(message.split("; ")[1].split(" mm of that one")[0])
    assert rest == pytest.approx(2 * 6.0 * np.arccos(5.0 / 6.0), abs=0.7)
    assert f'give "near side" the name "{FRONT}"' in remedy


def test_one_that_lies_beside_is_another_weld() -> None:
    names, findings = told(EQUAL + NEAR.format(y=127))
    assert {"near side", FRONT} <= set(names)
    assert findings == []


def test_one_of_the_same_name_overrides_and_nothing_is_told() -> None:
    names, findings = told(EQUAL + NEAR.format(y=130).replace("near side", FRONT))
    assert names.count(FRONT) == 1
    assert findings == []


def test_one_that_is_left_out_drops_nothing() -> None:
    names, findings = told(EQUAL + NEAR.format(y=130) + "skip = true\n")
    assert FRONT in names
    assert findings == []


def test_a_listed_weld_on_a_flush_face_lies_on_the_flare_below_it() -> None:
    flush = (
        NEAR.format(y=0)
        .replace('"fillet"', '"butt"')
        .replace('joins = ["post", "arm"]', "sides = [[0, 0, 1], [0, 0, 1]]")
    )
    flush = flush.replace("[[20, 0, -14], [20, 0, 14]]", "[[20, 136, 20], [20, 164, 20]]")
    names, findings = told(EQUAL + flush)
    assert "post / arm, top" not in names
    assert len(findings) == 1


def test_a_found_weld_that_the_file_names_as_well_is_refused() -> None:
    twice = EQUAL + NEAR.format(y=130) + f'[[weld]]\nname = "{FRONT}"\nsize = 4\n'
    with pytest.raises(SceneError, match=f'"near side" lies on the found weld "{FRONT}", which the file names too'):
        assemble_all(loads(twice))
    stage = EQUAL + NEAR.format(y=130) + f'[[stage]]\nname = "one"\nwelds = ["{FRONT}"]\n'
    with pytest.raises(SceneError, match="which this stage names"):
        assemble_all(loads(stage))


def test_both_sides_of_a_thin_plate_are_told_apart_by_which_is_nearer() -> None:
    welds = find_welds({"a": box((-50, 50), (-30, 30), (-6, 0)), "b": box((-40, 40), (-0.75, 0.75), (0, 40))})
    found = dict(zip(weld_names(welds), welds, strict=True))
    listed = [Weld(name="one", type="fillet", size=1.5, joins=("a", "b"), path=((-40, 0.75, 0), (40, 0.75, 0)))]
    (one,) = doubled(listed, found)
    assert found[one.found].path[:, 1] == pytest.approx(0.75, abs=1e-6)
    assert one.rest == 0.0
    crossing = [Weld(name="one", type="fillet", size=1.5, joins=("a", "b"), path=((0, -30, 0), (0, 30, 0)))]
    assert doubled(crossing, found) == ()


def test_a_line_all_round_that_is_listed_side_by_side_is_told_with_what_is_left() -> None:
    welds = find_welds({"a": box((-60, 60), (-60, 60), (-6, 0)), "b": box((-20, 20), (-20, 20), (0, 40))})
    found = dict(zip(weld_names(welds), welds, strict=True))
    path = [(-20, -20, 0), (20, -20, 0), (20, 20, 0), (-20, 20, 0)]
    listed = [Weld(name=f"{k}", type="fillet", size=3, joins=("b", "a"), path=(path[k], path[k + 1])) for k in range(3)]
    twice = doubled(listed, found)
    assert [one.listed for one in twice] == ["0", "1", "2"]
    assert sum(w.length for w in welds) == pytest.approx(160.0, abs=0.1)
    left = {one.found: one.rest for one in twice}
    assert sum(left.values()) == pytest.approx(160.0 - 120.0 if len(found) == 1 else 0.0, abs=2.5)
