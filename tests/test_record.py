"""What was set and measured at the table: the file, two writers, what it means for the deviations, the command.

The tape is that of Directive 2014/32/EU, annex X (MI-008): class II, 0.3 mm + 0.2 mm for each metre begun
(from memory).
"""

from __future__ import annotations

import contextlib
import json
import math
import multiprocessing
from dataclasses import replace
from importlib.resources import files
from pathlib import Path
from typing import Any

import jsonschema
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fixture3d import output
from fixture3d.checks.accuracy import CHECK
from fixture3d.checks.accuracy_record import reading
from fixture3d.checks.base import Finding, Result, quiet
from fixture3d.cli import main
from fixture3d.engine import check, load
from fixture3d.errors import FixtureError, OutputRefused, SceneError
from fixture3d.job import Job
from fixture3d.job.code import content_code
from fixture3d.job.recorded import as_set_words, last_words, record_problems, seats_as_set
from fixture3d.job.resolve import resolve
from fixture3d.library import Entry, Library
from fixture3d.record import command, lock
from fixture3d.record import file as record_file
from fixture3d.record.file import add, join
from fixture3d.scene import Scene, loads
from fixture3d.scene.jsonschema import json_schema
from fixture3d.scene.record import Record, last_of, load_record, read_record, record_path
from fixture3d.sheet import kept
from fixture3d.tolerance import ACCURACY
from tests.check_jobs import LIBRARY, job, of_rule, post
from tests.conftest import SCENES
from tests.test_check_accuracy import BARS, DIAGONAL, ENDS, Setter, bars, points
from tests.test_scene_fuzz import judge, tries

HEAD = "format = 1\n"


def read(text: str) -> Record:
    return read_record(HEAD + text, "x.record.toml", "mm")


# --- the file ---


def test_what_stands_in_it() -> None:
    record = read(
        '[[measured]]\nfigure = "overall X"\nvalue = "40-1/4 in"\ncode = "742c10ba"\nwhen = 2026-11-29\n'
        '[[as_set]]\nplace = "T1"\nnotch = 11\nshims = [{ pad = "front", by = ["0.5"] }]\n'
    )
    (value,), (setting,) = record.measured, record.as_set
    assert (value.code, value.when, value.amount("mm", "mm")) == ("742C10BA", "2026-11-29", 1022.35)
    assert (setting.notch, setting.shims and setting.shims[0].by) == (11, (0.5,))
    assert record_path("shop/rack.v2.toml") == Path("shop/rack.v2.record.toml")


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("[[measured]]\nvalue = 3", 'x.record.toml:2: measured 1: key "figure" is missing'),
        ('[[measured]]\nfigure = "a"\nvalue = nan', "x.record.toml:4: measured 1: value: nan is not a possible value"),
        ('[[measured]]\nfigure = "a"\nvalue = "wide"', "x.record.toml:4: measured 1: value"),
        ('[[measured]]\nfigure = "a"\nvalue = 1\ncode = "12"', 'code: "12" is not a content code'),
        ('[[measured]]\nfigure = "a"\nvalue = 1\nwhen = "29.11.2026"', "when: "),
        ('[[as_set]]\nplace = "T1"', "as_set 1: it says no setting"),
        ('[[as_set]]\nplace = "T1"\nnotch = 1\nslide = 2', "notch together with slide; expected one of them"),
        ('[[as_set]]\nplace = "T1"\nnotch = 1\nplcae = 2', 'x.record.toml:5: as_set 1: unknown key "plcae"; nearest'),
        ("[[as_sett]]\nnotch = 1", 'unknown key "as_sett"; nearest: "as_set"'),
        ("[measured]\nfigure = 1", "double brackets"),
        ('units = "cm"', 'x.record.toml:2: "cm" is not known here'),
    ],
)
def test_a_wrong_entry_is_told_with_its_line(text: str, said: str) -> None:
    with pytest.raises(SceneError) as caught:
        read(text)
    assert said in str(caught.value)


def test_its_keys_are_none_of_a_scene() -> None:
    assert "AsSet" not in json_schema()["$defs"]
    with pytest.raises(SceneError, match='unknown key "as_set"'):
        loads('format = 1\ntable = "50/16 1000x600"\n[[as_set]]\nplace = "T1"\nnotch = 1\n')


def test_a_newer_format_is_told_first() -> None:
    with pytest.raises(SceneError, match="newer version"):
        read_record("format = 2\nwhatever = 1", "x.record.toml", "mm")


WORDS = st.sampled_from(
    [
        *(
            "format = 1",
            "[[measured]]\nfigure =",
            "[[as_set]]\nplace =",
            "measured",
            "figure",
            "value =",
            "place",
            "notch =",
        ),
        *(
            "slide =",
            "shims =",
            "code =",
            "by =",
            "when =",
            "units =",
            '"a"',
            '"mm"',
            "3",
            "-1",
            "nan",
            "0.5",
            "[",
            "]",
        ),
        *("{ pad = 1, by = [0.5] }", "{", "}", ",", "2026-11-29", "=", '"T1"', "\n"),
    ]
)


@tries(150)
@given(st.lists(WORDS, max_size=40), st.booleans())
def test_any_heap_of_words_is_a_record_or_an_error(words: list[str], headed: bool) -> None:
    text = (HEAD if headed else "") + " ".join(words)
    try:
        read_record(text, "x.toml", "mm")
    except SceneError as error:
        judge(error, text)


# --- writing ---

ONE = ("measured", {"figure": "overall X", "value": 659.5, "by": "Ana"})
TWO = ("as_set", {"place": "T1", "notch": 11})


def test_what_was_typed_stays(tmp_path: Path) -> None:
    path = tmp_path / "rack.record.toml"
    typed = (
        '# by the door\r\nformat = 1\r\n\r\n[[measured]]  # cold\r\nfigure = "overall Y"\r\nvalue = 1_000.5\r\n# end'
    )
    path.write_bytes(typed.encode())
    now = add(path, "mm", [ONE, TWO])
    assert path.read_bytes().startswith(typed.encode())
    assert path.read_bytes().count(b"\n") == path.read_bytes().count(b"\r\n")
    assert [one.figure for one in now.measured] == ["overall Y", "overall X"]
    assert load_record(path, "mm").as_set == now.as_set
    assert [entry.name for entry in tmp_path.iterdir()] == ["rack.record.toml"]


def test_a_broken_record_is_left_as_it_is(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "rack.record.toml"
    for text, said in (
        ("format = 1\n[[measured]]\nvalue = 2\n", ":2: measured 1"),
        (HEAD + "measured = []\n", "one list"),
    ):
        path.write_text(text, encoding="utf-8")
        with pytest.raises(SceneError, match=said):
            add(path, "mm", [ONE])
        assert path.read_text(encoding="utf-8") == text
    path.write_text(HEAD, encoding="utf-8")

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(output, "_write_out", full)
    with pytest.raises(OutputRefused, match="no space left"):
        add(path, "mm", [ONE])
    assert path.read_text(encoding="utf-8") == HEAD
    assert [entry.name for entry in tmp_path.iterdir()] == ["rack.record.toml"]


def write_many(path: str, name: str, count: int) -> None:
    for number in range(count):
        add(Path(path), "mm", [("measured", {"figure": name, "value": float(number)})])


def test_of_two_who_write_at_once_nothing_is_lost(tmp_path: Path) -> None:
    path = tmp_path / "rack.record.toml"
    writers = [multiprocessing.Process(target=write_many, args=(str(path), name, 15)) for name in ("a", "b", "c")]
    for writer in writers:
        writer.start()
    for writer in writers:
        writer.join(60)
    found = load_record(path, "mm").measured
    assert {name: [one.value for one in found if one.figure == name] for name in "abc"} == {
        name: [float(k) for k in range(15)] for name in "abc"
    }


def test_where_nothing_can_be_locked_the_file_is_looked_at_twice(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "rack.record.toml"
    path.write_text(HEAD, encoding="utf-8")

    def none(_: int) -> None:
        raise OSError(95, "Operation not supported")

    real, meanwhile = record_file._read_again, [HEAD + '[[measured]]\nfigure = "hers"\nvalue = 1\n']

    def slow(*given: Any) -> Record:
        if meanwhile:
            path.write_text(meanwhile.pop(), encoding="utf-8")
        return real(*given)

    monkeypatch.setattr(lock, "_try", none)
    monkeypatch.setattr(record_file, "_read_again", slow)
    assert [one.figure for one in add(path, "mm", [ONE]).measured] == ["hers", "overall X"]
    assert [one.figure for one in load_record(path, "mm").measured] == ["hers", "overall X"]


def test_a_writer_that_waits_too_long_is_told(tmp_path: Path) -> None:
    with (
        lock.locked(tmp_path) as held,
        pytest.raises(OutputRefused, match="another program"),
        lock.locked(tmp_path, wait=0.05),
    ):
        pass
    assert held


# --- joining ---


def test_joined_records_have_every_entry_once(tmp_path: Path) -> None:
    ours, theirs = tmp_path / "a.record.toml", tmp_path / "b.record.toml"
    same = '[[measured]]\nfigure = "overall X"\nvalue = 660\nby = "Ana"\n'
    ours.write_text(f'# ours\n{HEAD}\n{same}\n[[as_set]]\nplace = "T1"\nnotch = 11\n', encoding="utf-8")
    more = '# with the new tape\n[[measured]]\nfigure = "overall X"\nvalue = "66.1 cm"  # twice\n'
    theirs.write_text(
        f'{HEAD}{same.replace("660", "660.0")}\n{more}\n[[as_set]]\nplace = "T1"\nnotch = 12\n', encoding="utf-8"
    )
    before = ours.read_text(encoding="utf-8")
    done = join(ours, "mm", theirs)
    after = ours.read_text(encoding="utf-8")
    assert (len(done.added), done.known, len(done.against)) == (2, 1, 2)
    assert after.startswith(before)
    assert more.strip() in after
    record = load_record(ours, "mm")
    assert [one.amount("mm", "mm") for one in record.measured] == [660.0, 661.0]
    assert [one.notch for one in record.as_set] == [11, 12]
    again = join(ours, "mm", theirs)
    assert (len(again.added), again.known, ours.read_text(encoding="utf-8")) == (0, 3, after)


@pytest.mark.parametrize("ours", ["", 'units = "mm"\n# nothing yet\n'])
def test_bare_numbers_of_another_unit_are_not_put_into_an_empty_record(tmp_path: Path, ours: str) -> None:
    path, theirs = tmp_path / "a.record.toml", tmp_path / "b.record.toml"
    theirs.write_text(f'{HEAD}units = "in"\n' + measured("overall X", 15.75), encoding="utf-8")
    path.write_text(HEAD + ours, encoding="utf-8")
    with pytest.raises(SceneError, match=r"bare numbers are in in, those of .* in mm"):
        join(path, "mm", theirs)
    assert path.read_text(encoding="utf-8") == HEAD + ours
    path.unlink()  # a file that is made takes the unit of the other
    join(path, "mm", theirs)
    record = load_record(path, "mm")
    assert record.measured[0].amount("mm", record.units) == pytest.approx(400.05)


def test_the_later_day_counts_else_the_later_entry() -> None:
    def values(*days: str) -> float | str:
        rows = [f'[[measured]]\nfigure = "a"\nvalue = {k}\n{day and f"when = {day}"}\n' for k, day in enumerate(days)]
        return last_of(read("".join(rows)).measured).value

    assert values("", "") == 1
    assert values("2026-11-29", "2026-11-28") == 0
    assert values("2026-11-29", "") == 1
    assert values("2026-11-28", "2026-11-29", "2026-11-29") == 2


# --- what it means: two long bars along X, 500 apart, each against an end stop of its own ---


def with_record(made: Job, text: str) -> Job:
    own = made.scene.model_copy()
    own._record = read(text)
    return replace(made, scene=own)


def run(text: str, *figures: Any, **keys: Any) -> tuple[Result, Any]:
    result = CHECK.run(with_record(job(bars(*figures, **keys)), text), quiet)
    for finding in result.findings:
        words = finding.message
        for name in sorted(finding.subjects, key=len, reverse=True):
            words = words.replace(name, "")
        assert not any(c.isdigit() for c in words)
        assert finding.remedy
    (row,) = result.figures["record"]
    return result, row


def measured(figure: str, value: object, more: str = "") -> str:
    return f'[[measured]]\nfigure = "{figure}"\nvalue = {value}\n{more}\n'


def shim(place: str, pad: str, by: float, more: str = "") -> str:
    return f'[[as_set]]\nplace = "{place}"\nshims = [{{ pad = "{pad}", by = [{by}] }}]\n{more}\n'


def test_a_shim_at_one_end_shears_the_rectangle() -> None:
    """One bar of 1000 shifted by s beside the other, 500 away: a diagonal changes by 1000 s / sqrt(1000^2 + 500^2)."""
    _, row = run(shim("E2", "back", 0.5), DIAGONAL)
    (moved,) = [one for one in row["moved"] if one["name"] == "diagonal"]
    for end in (0, 1):
        by = moved["as_set"][end] - moved["planned"][end]
        # one shim is itself off by a little, which widens both sides alike
        assert by == pytest.approx(0.5 * 1000.0 / math.hypot(1000.0, 500.0), abs=2e-3)


def test_shims_under_all_supports_of_a_bar_lift_it() -> None:
    lifts = points("step", ["low", "high"], [500, 350, 50], [500, 350, 90], kind="length")
    flat: dict[str, Any] = {"name": "level", "kind": "flatness", "of": ["low", "low", "high", "high"]}
    flat["points"] = [[0, 100, 90], [1000, 100, 90], [0, 600, 90], [1000, 600, 90]]
    text = shim("Q1", "seat", 1) + shim("Q2", "seat", 1)
    _, row = run(text, lifts, flat)
    assert not [one for one in row["moved"] if one["name"] == "level"]  # both bars stay in one plane
    assert [one["as_set"] for one in row["as_set"]] == ["seat: 1.00 mm"] * 2
    higher = next(one for one in row["moved"] if one["name"] == "step")
    assert higher["as_set"][1] - higher["planned"][1] == pytest.approx(1.0, abs=0.01)
    tilted = run(shim("Q1", "seat", 1), flat)[1]["moved"]
    assert next(one for one in tilted if one["name"] == "level")["as_set"][1] > 0.4


SETTER = Library({**LIBRARY.entries, "setter": Entry(name="setter", model=Setter, digest="setter", summary="")})


def test_a_notch_further_out_moves_what_lies_against_it() -> None:
    """A bar against one stop that is set 0.5 further out: its end stands 0.5 from where it was, on both sides alike."""
    places = [*BARS, ENDS[1], {"name": "E1", "model": "setter", "hole": "A3", "slide": 0}]
    figure = points("ends", ["low", "high"], [0, 100, 90], [-300, 100, 90], kind="length")
    made = resolve(Scene.from_dict(bars(figure, places=places)), SETTER)
    given = with_record(made, '[[as_set]]\nplace = "E1"\nslide = 0.5\n')
    (row,) = CHECK.run(given, quiet).figures["record"]
    (moved,) = [one for one in row["moved"] if one["name"] == "ends"]
    assert np.subtract(moved["as_set"], moved["planned"]) == pytest.approx([0.5, 0.5], abs=1e-3)
    assert row["as_set"][0]["planned"] == "slide 0 mm"


def test_a_setting_as_planned_moves_nothing() -> None:
    _, row = run('[[as_set]]\nplace = "E2"\nshims = []\n', DIAGONAL)
    assert row["moved"] == []
    assert [one["same"] for one in row["as_set"]] == [True]


@pytest.mark.parametrize(("off", "level"), [(0.79, None), (0.81, "fail"), (-0.41, "fail"), (-0.39, None)])
def test_a_measured_figure_is_held_against_the_file(off: float, level: str | None) -> None:
    figure = {**DIAGONAL, "limits": [-0.4, 0.8]}
    drawn = math.hypot(1000.0, 500.0)
    result, row = run(measured("diagonal", drawn + off), figure)
    assert [f.level for f in of_rule(result, "measured-out")] == ([level] if level else [])
    assert row["measured"][0]["off"] == pytest.approx(off)
    worn = [f.level for f in (*of_rule(result, "figure-out"), *of_rule(result, "figure-may-be-out"))]
    assert worn  # what is foreseen stays told, as a note only where it was measured to be good
    assert level is not None or worn == ["note"]


def test_against_a_class_that_nobody_asks_for_it_is_a_note() -> None:
    """ISO 13920 class B allows 4 mm on 1000 to 2000 mm (its table 1)."""
    drawn = math.hypot(1000.0, 500.0)
    inside, _ = run(measured("diagonal", drawn + 3.9), DIAGONAL)
    outside, _ = run(measured("diagonal", drawn + 4.1), DIAGONAL)
    asked, _ = run(
        measured("diagonal", drawn + 4.1), DIAGONAL, weldment={"hole": "A1", "offset": [25, 0], "iso_13920": "BF"}
    )
    assert [[f.level for f in of_rule(one, "measured-out")] for one in (inside, outside, asked)] == [
        [],
        ["note"],
        ["fail"],
    ]


def test_more_than_anything_known_makes_is_told() -> None:
    _, row = run(measured("diagonal", 1118), DIAGONAL)
    (one,) = row["measured"]
    foreseen = next(f for f in run("", DIAGONAL)[0].figures["figures"] if f["name"] == "diagonal")
    room = 0.3 + 2 * 0.2 + ACCURACY.read  # 1118 mm are two metres begun
    assert reading(1118.0, "mm") == pytest.approx(room)
    assert one["possible"] == pytest.approx([foreseen["worst"][0] - room, foreseen["worst"][1] + room])
    top = one["planned"] + one["possible"][1]
    for value, told in ((top - 0.01, 0), (top + 0.01, 1)):
        assert len(of_rule(run(measured("diagonal", value), DIAGONAL)[0], "measured-unexpected")) == told


def test_as_set_it_is_held_against_what_is_set() -> None:
    """A shim of 3 mm explains 2.7 mm of the diagonal, which nothing planned could."""
    value = math.hypot(1000.0, 500.0) + 3.0 * 1000.0 / math.hypot(1000.0, 500.0)
    alone, _ = run(measured("diagonal", value), DIAGONAL)
    both, _ = run(measured("diagonal", value) + shim("E2", "back", 3), DIAGONAL)
    assert len(of_rule(alone, "measured-unexpected")) == 1
    assert of_rule(both, "measured-unexpected") == []


@pytest.mark.parametrize(("by", "out"), [(0.5, False), (3.0, True)])
def test_settings_that_spoil_a_figure_are_told(by: float, out: bool) -> None:
    figure = {**DIAGONAL, "limits": 2}
    result, _ = run(shim("E2", "back", by), figure)
    found: list[Finding] = of_rule(result, "as-set-out")
    assert [f.subjects[:2] for f in found] == ([("diagonal", "E2")] if out else [])
    # what is measured counts more than what is worked out
    result, _ = run(shim("E2", "back", by) + measured("diagonal", math.hypot(1000, 500)), figure)
    assert of_rule(result, "as-set-out") == []


def corner_angle(a: float, b: float, diagonal: float) -> float:
    """Degrees between sides a and b of a triangle with that third side: law of cosines."""
    return math.degrees(math.acos((a * a + b * b - diagonal * diagonal) / (2.0 * a * b)))


def test_two_diagonals_say_how_square_it_is() -> None:
    """d1^2 - d2^2 = 4 a b sin g; the diagonals here come from the law of cosines for a corner of 89.7 degrees."""
    gamma, a, b = 89.7, 1000.0, 500.0
    cosine = math.cos(math.radians(gamma))
    first, second = (math.sqrt(a * a + b * b + sign * 2.0 * a * b * cosine) for sign in (1, -1))
    other = points("other", ["high", "low"], [0, 600, 70], [1000, 100, 70], kind="diagonal")
    diagonal = {**DIAGONAL, "kind": "diagonal"}
    text = measured("diagonal", first) + measured("other", second)
    _, row = run(text, diagonal, other)
    (square,) = row["square"]
    assert square["degrees"] == pytest.approx(90.0 - gamma, abs=1e-6)
    assert corner_angle(a, b, second) == pytest.approx(gamma)
    assert square["longer"] == "diagonal"
    assert math.sin(math.radians(square["degrees"])) == pytest.approx((first**2 - second**2) / (4.0 * a * b))
    assert run(measured("diagonal", first), diagonal, other)[1]["square"] == []


def test_four_measured_sides_and_both_diagonals() -> None:
    """Corners (0, 0), (1000, 0), (1010, 500), (0, 500): right angles at the left, atan(10 / 500) off at the right."""
    at = {"a": (0, 100), "b": (1000, 100), "c": (1000, 600), "d": (0, 600)}
    out = {"a": (0, 0), "b": (1000, 0), "c": (1010, 500), "d": (0, 500)}
    asked, text = [], ""
    for ends in ("ab", "bc", "cd", "da", "ac", "bd"):
        of = ["low" if one in "ab" else "high" for one in ends]
        kind = "diagonal" if ends in ("ac", "bd") else "length"
        asked.append(points(ends, of, *([float(v) for v in (*at[one], 70)] for one in ends), kind=kind))
        text += measured(ends, math.dist(*(out[one] for one in ends)))
    (square,) = run(text, *asked)[1]["square"]
    assert square["sides"] == "measured"
    assert square["degrees"] == pytest.approx(math.degrees(math.atan2(10, 500)))


def test_the_distance_of_opposed_faces() -> None:
    """The posts S and T stand 450 apart with nothing of known size between; a shim on one face takes from that."""
    places = [*BARS, *ENDS]
    made = job(bars(places=places))
    names = [name for name in last_words(with_record(made, measured("E1 back to E2 back", 1)))]
    assert names == []
    problem = str(SceneError(record_problems([with_record(made, measured("E1 back to E2 back", 1))])))
    assert 'x.record.toml:3: measured 1: nothing that can be measured is called "E1 back to E2 back"' in problem
    far = post("F1", "V3", height=80, turn=90)  # its back looks along -X, at the far end of the low bar
    made = job(bars(places=[*places, far]))
    pair = next(name for name in record_names(made) if name.startswith(("E1", "F1")))
    distance = next(p.distance for p in pairs(made) if {p.a, p.b} == {"E1", "F1"})
    result = CHECK.run(with_record(made, measured(pair, distance - 0.6) + shim("E1", "back", 0.5)), quiet)
    (row,) = [one for one in result.figures["record"][0]["measured"] if one["kind"] == "distance"]
    assert row["off"] == pytest.approx(-0.6)
    assert row["as_set"] == pytest.approx([-0.5, -0.5])
    (tight,) = of_rule(result, "as-set-tight")
    assert tight.subjects[:2] == ("E1", "F1")
    assert tight.measured == pytest.approx(distance - 0.5 - 1000.0)  # the bar between is 1000 long
    for by, told in ((0.09, 0), (0.11, 1)):  # two faces may each be off by 0.05
        given = with_record(made, shim("E1", "back", by))
        assert len(of_rule(CHECK.run(given, quiet), "as-set-tight")) == told
    assert of_rule(result, "measured-unexpected") == []
    result = CHECK.run(with_record(made, measured(pair, distance - 50)), quiet)
    assert len(of_rule(result, "measured-unexpected")) == 1


def record_names(made: Job) -> list[str]:
    from fixture3d.job.recorded import measurable

    return list(measurable(made))


def pairs(made: Job) -> Any:
    from fixture3d.job.contact import opposed_faces

    return opposed_faces(made)


def test_another_state_of_the_scene_counts_for_nothing() -> None:
    made = job(bars(DIAGONAL))
    code = content_code(made)
    for mark, told in ((code, 0), ("00000000", 1)):
        text = measured("diagonal", 1200, f'code = "{mark}"') + shim("E2", "back", 3, f'code = "{mark}"')
        text += measured("of old", 1, 'code = "00000000"') if told else ""
        assert record_problems([with_record(made, text)]) == []
        result = CHECK.run(with_record(made, text), quiet)
        (row,) = result.figures["record"]
        assert len(of_rule(result, "record-stale")) == told
        assert (len(row["measured"]), len(row["as_set"]), len(row["stale"])) == ((1, 1, 0) if not told else (0, 0, 3))


def test_names_and_settings_that_are_not_there_are_told_with_their_line() -> None:
    made = job(bars(DIAGONAL))
    text = (
        measured("diagonall", 1)
        + measured("diagonal", '"89 degrees"')
        + shim("E9", "back", 1)
        + measured("diagonal", -3)
    )
    said = [str(problem) for problem in record_problems([with_record(made, text)])]
    assert said == [
        'x.record.toml:3: measured 1: nothing that can be measured is called "diagonall"; nearest: "diagonal"',
        'x.record.toml:8: measured 2: "89 degrees" is an angle, and the figure is a length; expected a length',
        'x.record.toml:11: as_set 1: no block is called "E9"; expected "R1", "R2", "S1", "S2", "Q1", "Q2" and 4 more',
        "x.record.toml:16: measured 3: -3 is not a possible value here; expected what was measured, not what it is off",
    ]
    with pytest.raises(SceneError, match=r'x\.record\.toml:2: as_set 1: E2: post has no pad "bakc".*nearest: "back"'):
        seats_as_set(with_record(made, shim("E2", "bakc", 1)))
    with pytest.raises(SceneError, match=r"as_set 1: E2: post has nothing that slides"):
        seats_as_set(with_record(made, '[[as_set]]\nplace = "E2"\nnotch = 3\n'))


def test_words_for_the_sheet() -> None:
    made = job(bars(DIAGONAL))
    text = measured("diagonal", 1118.25, 'by = "Ana"\nwhen = 2026-11-29') + shim("E2", "back", 0.5)
    assert as_set_words(with_record(made, text)) == {"E2": "back: 0.50 mm"}
    assert last_words(with_record(made, text)) == {"diagonal": "1118.25 mm, Ana, 2026-11-29"}
    assert as_set_words(made) == last_words(made) == {}


# --- from the command line ---

SCENE = """\
format = 1
title = "Gate hinge"
table = "50/16 1000x600"
[weldment]
hole = "C4"
lift = 50
[[member]]
name = "tie"
stock = "SHS 40x40x3"
from = [0, 0, 20]
to = [400, 0, 20]
[[place]]
name = "T1"
model = "slide_stop"
hole = "M8"
notch = 3
[[figure]]
name = "overall X"
limits = 1
"""


@pytest.fixture
def hinge(tmp_path: Path) -> Path:
    path = tmp_path / "hinge.toml"
    path.write_text(SCENE, encoding="utf-8")
    return path


def test_without_a_record_nothing_changes(hinge: Path) -> None:
    before = check(load(hinge)).to_dict()
    assert "record" not in before
    record_path(hinge).write_text(
        HEAD + measured("overall X", 401.1) + '[[as_set]]\nplace = "T1"\nnotch = 4\n', encoding="utf-8"
    )
    assert check(load(hinge, record=False)).to_dict() == before
    after = check(load(hinge)).to_dict()
    schema = json.loads(files("fixture3d.report").joinpath("report.schema.json").read_text(encoding="utf-8"))
    jsonschema.validate(after, schema)
    assert {key for key in after if after[key] != before.get(key)} == {
        "checks",
        "findings",
        "ok",
        "record",
    }  # what is not covered, too
    assert [f["rule"] for f in after["findings"] if f not in before["findings"]] == ["measured-out"]


def test_written_shown_and_joined(hinge: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["record", str(hinge)]) == 0
    assert "can be measured: overall X; overall Y" in capsys.readouterr().out
    name, by = str(hinge), ["--by", "Ana", "--when", "2026-11-29"]
    assert main(["record", name, "--measured", "overall X", "400.4", "--set", "T1", "notch=4", *by]) == 0
    assert "added: T1 notch 4, Ana, 2026-11-29" in capsys.readouterr().out
    record = load_record(record_path(hinge), "mm")
    assert (record.measured[0].by, record.measured[0].code) == ("Ana", check_code(hinge))
    assert main(["record", name]) == 0
    shown = capsys.readouterr().out
    assert "T1: planned notch 3, as set notch 4 (Ana, 2026-11-29)" in shown
    assert "overall X: measured 400.4 mm, +0.40 off 400 mm" in shown
    other = hinge.with_name("other.toml")
    other.write_text(HEAD + measured("overall X", 401.5, f'code = "{check_code(hinge)}"\nby = "Bob"'), encoding="utf-8")
    assert main(["record", name, "--merge", str(other)]) == 0
    told = " ".join(capsys.readouterr().out.split())
    assert "here 400.4 mm, Ana, 2026-11-29; there 401.5 mm, Bob; both are kept, the second counts" in told
    assert main(["record", name, "--json"]) == 1
    (stage,) = json.loads(capsys.readouterr().out)["record"]
    assert (stage["measured"][0]["measured"], stage["measured"][0]["before"]) == (401.5, [400.4])


def test_sizes_have_entries_of_their_own(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    arm = tmp_path / "arm.toml"
    arm.write_text((SCENES / "oar_arm.toml").read_text(encoding="utf-8"), encoding="utf-8")
    for size, value in (("two pairs", "524.5"), ("one pair", "310.5")):
        assert main(["record", str(arm), "--size", size, "--measured", "overall X", value]) == 0
    told = {}
    for size in ("one pair", "two pairs", "four pairs"):
        capsys.readouterr()
        assert main(["record", str(arm), "--size", size]) == 0
        told[size] = capsys.readouterr().out
        assert "line " not in told[size]  # none of them is stale
    assert "measured 310.5 mm" in told["one pair"]
    assert "524.5" not in told["one pair"]
    assert "measured 524.5 mm" in told["two pairs"]
    assert "310.5" not in told["two pairs"]
    assert "nothing is measured yet" in told["four pairs"]
    record = record_path(arm)
    record.write_text(record.read_text(encoding="utf-8").replace('"two pairs"', '"two pear"'), encoding="utf-8")
    with pytest.raises(SceneError, match=r'arm\.record\.toml:8: .*no size is called "two pear"; nearest: "?two pairs'):
        check(load(arm, size="two pairs"))


def check_code(path: Path) -> str:
    from fixture3d.engine import assemble

    return content_code(assemble(load(path)))


@pytest.mark.parametrize(
    ("given", "said"),
    [
        (
            ["--measured", "overal X", "3"],
            '--measured: nothing that can be measured is called "overal X"; nearest: "overall X"',
        ),
        (["--measured", "overall X", "wide"], '--measured: value: "wide" is not a length'),
        (["--measured", "overall X", "inf"], "--measured: value: inf is not a possible value"),
        (["--measured", "overall X", "1_000"], '--measured: value: "1_000" is not a length'),
        (["--measured", "overall X", "3", "--when", "today"], '--measured: when: "today" is not a day'),
        (
            ["--measured", "overall X", "3", "--stage", "first"],
            '--measured: no stage is called "first"; expected no stage',
        ),
        (["--set", "T2", "notch=1"], '--set: no block is called "T2"; expected "T1"'),
        (["--set", "T1", "notch=99"], "--set: T1: notch 99 is out of range; expected 0 to 16; nearest: 16"),
        (["--set", "T1", "notch=x"], "--set T1: notch x; expected a whole number"),
        (["--set", "T1", "notch"], '--set T1: "notch" is not understood'),
        (["--set", "T1"], "--set T1: no setting is given"),
        (["--set", "T1", "shims=0.5"], '--set T1: shims "0.5"; expected'),
        (["--set", "T1", "shims=up:0.5"], '--set: T1: slide_stop has no pad "up"'),
        (["--by", "Ana"], "--by, --when and --note say who measured or set"),
        (["--merge", "gone.toml"], "gone.toml: there is no such file"),
        (["--merge", "gone.toml", "--set", "T1", "notch=1"], "--merge goes by itself"),
        (["--json", "--set", "T1", "notch=1"], "--json shows a record"),
    ],
)
def test_bad_input_is_one_line_and_writes_nothing(
    hinge: Path, given: list[str], said: str, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(hinge.parent)
    assert main(["record", "hinge.toml", *given]) == 2
    error = capsys.readouterr().err
    assert said in error
    assert error.count("\n") == 1
    assert [entry.name for entry in hinge.parent.iterdir()] == ["hinge.toml"]


def test_a_broken_record_stops_the_check_but_not_without_it(hinge: Path, capsys: pytest.CaptureFixture[str]) -> None:
    record_path(hinge).write_text(HEAD + measured("overall X", 400) + "[[as_set]]\nplace = 3\n", encoding="utf-8")
    assert main(["check", str(hinge)]) == 2
    assert "hinge.record.toml:7: as_set 1: place" in capsys.readouterr().err
    assert main(["check", str(hinge), "--no-record"]) in (0, 1)
    assert main(["check", str(record_path(hinge))]) == 2
    assert 'is the record of a scene; expected the scene; nearest: "' in capsys.readouterr().err


def test_a_kept_sheet_is_not_that_of_another_record(hinge: Path) -> None:
    bare = load(hinge)
    keys = [kept._key(bare, ())]
    for notch in (4, 5):
        record_path(hinge).write_text(f'{HEAD}[[as_set]]\nplace = "T1"\nnotch = {notch}\n', encoding="utf-8")
        keys.append(kept._key(load(hinge), ()))
    assert len(set(keys)) == 3
    assert kept._key(load(hinge, record=False), ()) == keys[0]


def test_no_output_takes_its_place(hinge: Path, capsys: pytest.CaptureFixture[str]) -> None:
    record_path(hinge).write_text(HEAD, encoding="utf-8")
    with contextlib.suppress(SystemExit):
        assert main(["again", str(hinge), "--move", "right", "1", "-o", str(record_path(hinge)), "--force"]) == 2
    assert "the setup is made from this file" in capsys.readouterr().err


def test_a_shipped_scene_takes_no_record(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.chdir(tmp_path)
    assert main(["record", "paddle_hook", "--measured", "overall X", "3"]) == 2
    assert "ships with the program" in capsys.readouterr().err


@tries(100)
@given(st.lists(st.text("T1=notchslideshims:+.,-0123456789 \"'\\né", max_size=20), min_size=1, max_size=4))
def test_whatever_is_typed_is_an_entry_or_one_line(words: list[str]) -> None:
    said = ""
    try:
        made = command._probe([("as_set", command._setting(words))], Path("x.record.toml"), "mm")
        assert made.as_set[0].place == words[0]
    except FixtureError as error:
        said = str(error)
    assert all(line.isprintable() for line in said.split("\n"))
