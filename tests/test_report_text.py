"""The report: the verdict first, what is wrong worst first with its cure, then figures, then what was not checked."""

from __future__ import annotations

import dataclasses
import json
import math
import re
from functools import cache
from typing import Any, cast

import numpy as np
import pytest

from fixture3d.checks.base import Finding, Result
from fixture3d.engine import assemble, check, check_job
from fixture3d.errors import BadSolid
from fixture3d.job import Job
from fixture3d.job.contact import FacePair
from fixture3d.report import Report, make_report, plain
from fixture3d.report.text import figure, measure, to_text, verdict
from fixture3d.scene import Scene

METRIC = {"pitch": 50, "bore": 16, "columns": 20, "rows": 16, "edge": 50, "thickness": 12}
INCH = {"pitch": 2, "bore": 0.75, "columns": 20, "rows": 16, "edge": 2, "thickness": 0.5}
HOSTILE = "a\nREADY: 0 fail\r\x1b[2J\u2028b"


def scene(*places: dict[str, Any], units: str = "mm", **rest: Any) -> Scene:
    table = METRIC if units == "mm" else INCH
    named = [{"name": f"S{k}", "model": "stop_block", **p} for k, p in enumerate(places, start=1)]
    return Scene.from_dict({"format": 1, "units": units, "table": table, "place": named, **rest})


@cache
def small_job(units: str = "mm") -> Job:
    return assemble(scene({"hole": "C4"}, {"hole": "G4"}, units=units))


def finding(rule: str, level: str, message: str, **rest: Any) -> Finding:
    subjects = rest.pop("subjects", ("S1",))
    return Finding(check="seating", rule=rule, level=level, subjects=subjects, message=message, **rest)  # type: ignore[arg-type]


def report(*findings: Finding, job: Job | None = None, **rest: Any) -> Report:
    results = [Result(name="seating", status="ran", findings=findings, not_covered=("Nothing.",), **rest)]
    return make_report(job or small_job(), results, {"seating": 0.25})


def accepting(**accept: Any) -> Job:
    accepts = scene({"hole": "C4"}, accept=[accept]).accepts
    return dataclasses.replace(small_job(), scene=small_job().scene.model_copy(update={"accepts": accepts}))


SPINS = finding("spins", "warn", "it can spin", remedy="turn it")
FLOATS = finding("floats", "fail", "it floats", measured=30.0, limit=0.02, unit="mm", remedy="lower it")
NOTE = finding("overhang", "note", "it hangs over", measured=12.5, unit="mm")


@pytest.mark.parametrize(
    ("found", "first", "code"),
    [
        ((), "READY: 0 fail, 0 warn, 0 note", 0),
        ((SPINS, NOTE), "READY: 0 fail, 1 warn, 1 note", 0),
        ((NOTE, FLOATS, FLOATS), "NOT READY: 2 fail, 0 warn, 1 note", 1),
    ],
)
def test_the_verdict_comes_first(found: tuple[Finding, ...], first: str, code: int) -> None:
    made = report(*found)
    assert to_text(made).splitlines()[0].startswith(first + " - ")
    assert made.exit_code == code
    assert made.to_dict()["ok"] is (code == 0)


def test_a_crash_is_a_fault_of_the_program() -> None:
    made = make_report(small_job(), [Result(name="seating", status="crashed", why=HOSTILE)], {})
    assert (made.exit_code, made.ready, made.complete) == (3, False, False)
    assert "NOT READY" in verdict(made)
    assert "seating: crashed: a\\nREADY" in to_text(made)


def test_like_findings_stand_together_worst_first() -> None:
    small = dataclasses.replace(FLOATS, measured=2.0, message="a little")
    lines = to_text(report(NOTE, small, SPINS, FLOATS)).splitlines()
    order = [next(k for k, line in enumerate(lines) if word in line) for word in ("FAIL", "WARN", "NOTE")]
    assert order == sorted(order)
    assert sum("[floats]" in line for line in lines) == 1
    large, little = (next(k for k, line in enumerate(lines) if w in line) for w in ("it floats", "a little"))
    assert large < little
    assert lines.index("    mend: lower it") > little  # one remedy for both
    assert any("it floats: 30 mm, limit 0.02 mm" in line for line in lines)


@pytest.mark.parametrize(
    ("value", "unit", "units", "shown"),
    [
        (0.3048, "mm", "in", "0.012 in"),
        (12.7, "mm", "in", "0.500 in"),
        (38.1, "mm", "in", "1-1/2 in"),
        (12.5, "mm", "mm", "12.50 mm"),
        (120.0, "mm", "mm", "120 mm"),
        (133.0, "deg", "mm", "133.0 degrees"),
        (0.26, "deg", "mm", "0.3 degrees"),
        (123456.0, "mm3", "mm", "123000 mm3"),
        (0.0123456, "mm3", "mm", "0.0123 mm3"),
        (16387.064, "mm3", "in", "1 in3"),
        (41.7, "%", "mm", "42 %"),
        (3.0, "", "mm", "3"),
    ],
)
def test_figures_in_the_units_of_the_file(value: float, unit: str, units: Any, shown: str) -> None:
    assert figure(value, unit, units) == shown


def test_an_inch_file_is_answered_in_inches() -> None:
    text = to_text(check(scene({"hole": "C4"}, {"hole": "C9", "turn": 30, "pins": ["1", "2"]}, units="in")))
    assert " mm" not in text
    # 4 in x sin 15 degrees = 1.035 in, from the second bore to the hole that it is turned away from.
    assert "the nearest hole is D9: 1-1/32 in plus 0.004 in, limit 0.000 in" in text
    assert "S1 top: z = 2 in, facing up; centre x 5 in, y 6-9/16 in" in text


def test_accepted_findings_are_counted_and_shown_at_the_end() -> None:
    job = accepting(rule="floats", subjects=["S1"], why="held by hand")
    made = report(FLOATS, SPINS, job=job)
    lines = to_text(made).splitlines()
    assert lines[0].startswith("READY: 0 fail, 1 warn, 0 note, 1 accepted")
    assert lines.index("  fail floats: it floats - held by hand") > next(i for i, t in enumerate(lines) if "WARN" in t)
    assert made.exit_code == 0
    assert [a["rule"] for a in made.to_dict()["accepted"]] == ["floats"]
    assert [f["rule"] for f in made.to_dict()["findings"]] == ["spins"]


def test_accepting_one_subject_leaves_the_others() -> None:
    job = accepting(rule="floats", subjects=["S1"], why="held by hand")
    made = report(dataclasses.replace(FLOATS, subjects=("S2",)), job=job)
    assert made.exit_code == 1
    assert "nothing matches any more: floats of S1" in to_text(made)


def test_what_was_not_checked_comes_last() -> None:
    skipped = Result(name="torch access", status="skipped", why="the scene has no weld")
    made = make_report(
        small_job(), [Result(name="seating", status="ran", not_covered=("No pitch error.",)), skipped], {}
    )
    last = to_text(made).split("\n\n")[-1]
    assert last.startswith("Not checked")
    for words in (
        "seating: pitch error of the table",
        "No pitch error.",
        "torch access: the scene has no weld",
        "not an approved procedure",
    ):
        assert words in " ".join(last.split())
    assert made.to_dict()["complete"] is False


def test_the_verdict_and_the_worst_stand_last_again() -> None:
    assert "In short" not in to_text(report(FLOATS, SPINS))  # all of it is on the screen
    many = [dataclasses.replace(FLOATS, message=f"S{k} floats", subjects=(f"S{k}",)) for k in range(30)]
    made = report(*many, SPINS)
    last = to_text(made).rstrip().split("\n\n")[-1].splitlines()
    assert last[0] == "In short"
    assert last[-1] == to_text(made).splitlines()[0]
    assert any(line.startswith("  first: ") for line in last)
    assert len(last) <= 8


def test_a_figure_of_a_weld_says_which_of_the_two_it_is() -> None:
    """12 of 65 mm: reached, run at most in one go, or not seen are three different things."""
    words = {"weld-partly-blocked": "is reached", "weld-restart": "the longest run is", "weld-unseen": "is not seen"}
    for rule, said in words.items():
        finding = dataclasses.replace(FLOATS, rule=rule, measured=12.0, limit=65.0, unit="mm")
        assert "12 mm of 65 mm" in measure(finding, "mm")
        assert said in measure(finding, "mm")


def test_findings_in_json_are_fails_first() -> None:
    levels = [f["level"] for f in report(NOTE, SPINS, FLOATS).to_dict()["findings"]]
    assert levels == ["fail", "warn", "note"]


def test_what_is_to_spare_between_two_faces() -> None:
    faces = (FacePair(a="S1", pad_a="back", b="S2", pad_b="front", distance=60.3, between=("leg",), stock=60.0),)
    text = to_text(dataclasses.replace(report(), faces=faces))
    assert "S1 back to S2 front: 60.3 mm; leg 60 mm, 0.30 mm to spare" in text


def test_undefined_is_null_in_json() -> None:
    odd = dataclasses.replace(FLOATS, measured=math.nan, limit=math.inf, at=(math.nan, 0.0, -math.inf))
    made = report(odd, figures={"seats": [{"block": "S1", "shift": np.float64("nan"), "turn": np.float32(1.5)}]})
    text = json.dumps(made.to_dict(timing=True), allow_nan=False)
    (found,) = json.loads(text)["findings"]
    assert (found["measured"], found["limit"], found["at"]) == (None, None, [None, 0.0, None])
    assert json.loads(text)["seats"] == [{"block": "S1", "shift": None, "turn": 1.5, "stage": None}]
    assert plain(-0.0) == 0.0
    assert str(plain(-1e-9)) == "0.0"


def test_the_same_input_gives_the_same_bytes_and_timing_only_when_asked() -> None:
    data = scene({"hole": "C4"}, {"hole": "C9", "turn": 30})
    first, second = (json.dumps(check(data).to_dict()) for _ in range(2))
    assert first == second
    assert "timing" not in json.loads(first)
    assert "timing" in check(data).to_dict(timing=True)


def test_hostile_names_stay_on_one_line() -> None:
    job = dataclasses.replace(small_job(), scene=small_job().scene.model_copy(update={"title": HOSTILE}))
    seats = {HOSTILE: dataclasses.replace(job.seats["S1"], name=HOSTILE)}
    bad = finding("floats", "fail", f"{HOSTILE} floats", subjects=(HOSTILE,), remedy=f"lower {HOSTILE}")
    weld = {"name": HOSTILE, "length": 10.0, "reachable": 5.0, "best": None}
    made = report(bad, job=dataclasses.replace(job, seats=seats), figures={"welds": [weld]})
    lines = to_text(made, faces=True).splitlines()
    assert not any(line.startswith("READY") for line in lines)
    assert not any(c in line for line in lines for c in "\r\x1b\u2028")
    assert sum("a\\nREADY" in line for line in lines) >= 5


def test_a_bad_solid_ends_the_check_with_its_name() -> None:
    job = small_job()

    class Broken:
        @property
        def mesh(self) -> Any:
            raise BadSolid("the solid is not valid")

        fine = box = brep = mesh
        key = "broken"

    bodies = [dataclasses.replace(b, shape=cast(Any, Broken())) if b.name == "S2" else b for b in job.bodies]
    with pytest.raises(BadSolid, match=r'^stop_block "S2": the solid is not valid$'):
        check_job(dataclasses.replace(job, bodies=tuple(bodies)))


def test_a_weld_is_one_line_with_how_it_lies_and_the_turn_that_makes_it_easier() -> None:
    import fixture3d
    from fixture3d.report.text import to_text
    from tests.conftest import SCENES

    text = to_text(fixture3d.check(fixture3d.load(SCENES / "kayak_rack.toml")))
    rows = text.partition("Welds, worst first")[2].partition("\n\n")[0].splitlines()[1:]
    assert len(rows) == 14 + 1 + 2
    assert next(row for row in rows if "left gusset, top" in row).endswith("; PB/2F")
    # Filled from above: its middle faces up, but it runs out sideways round the tube's corners.
    assert next(row for row in rows if "left leg / rail, top" in row).endswith("; PA/1G (partly PF)")
    # An upright fillet that runs out under the tube's corner: turned on its side it is a level one.
    row = next(row for row in rows if "left leg / rail, front" in row)
    assert re.search(r"; PF/3F \(partly PD\) \(PB by [XY] -?90\)$", row)
    assert rows[-3].startswith("  (P")
    assert "once the work is turned" in rows[-3]
    # Of the whole frame, in two lines.
    assert re.match(r"  Turned -?\d+ degrees about the table's [XY], \d+ mm of all 818 mm would lie flat; as", rows[-2])
