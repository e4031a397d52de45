"""What is drawn of how the work lies: a bar on posts, whose contacts, motions and arrows follow by hand."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from PIL import Image, ImageDraw

from fixture3d.checks import locating
from fixture3d.checks.base import Finding
from fixture3d.checks.locating import without_sense
from fixture3d.engine import check_job
from fixture3d.preview.camera import around, view
from fixture3d.preview.located import Located, located
from fixture3d.preview.located_drawn import MOVES, ROLES, Lies
from fixture3d.preview.page.lies import lies
from fixture3d.preview.png import in_words, picture
from tests.check_jobs import ask, job, post, scene, slab
from tests.page_jobs import BENCH, bench, made
from tests.test_png import SMALL, drawing, fail, hue_share, luminance

BAR = slab("bar", [75, 75, 50], [475, 125, 90])
UNDER = [post("R1", "C3"), post("R2", "H3")]  # tops at 50; x 75 to 175 and 325 to 425
SIDE = [post("S1", "C4", height=80), post("S2", "H4", height=80)]  # y 125 to 175
OUT = {
    "pieces": ["bar"],
    "ways": [{"direction": [0.0, 0.0, 1.0], "words": "lift it straight up", "distance": 40.0}],
    "first_off": [{"name": "S1", "verb": "take off"}, {"name": "S2", "verb": "take off"}],
}


def lying(*places: Any, told: bool = True, out: bool = False) -> tuple[Any, Located]:
    """The job of a bar on those posts, and how it lies."""
    tables = scene(plate=[BAR], place=list(places))
    result = ask(locating.CHECK, tables)
    figures = {**result.figures, **({"unloading": [OUT]} if out else {})}
    bar = job(tables)
    return bar, located(bar, figures, result.findings if told else ())


def test_contacts_are_where_the_posts_touch_the_bar() -> None:
    _, found = lying(*UNDER, *SIDE)
    by = {touch.fixed: touch for touch in found.touches}
    assert set(by) == {"R1", "R2", "S1", "S2"}
    for name, low, high in (("R1", 75, 175), ("R2", 325, 425)):
        assert by[name].role == "under"
        assert by[name].normal == pytest.approx([0, 0, 1])
        np.testing.assert_allclose([by[name].points.min(axis=0), by[name].points.max(axis=0)],
                                   [[low, 75, 50], [high, 125, 50]], atol=1e-6)  # fmt: skip
    for name in ("S1", "S2"):
        assert by[name].role == "beside"
        assert by[name].normal == pytest.approx([0, -1, 0])
        np.testing.assert_allclose(by[name].points[:, 1], 125.0, atol=1e-6)
        assert by[name].points[:, 2].max() == pytest.approx(80.0)
    assert not any(touch.by_piece for touch in found.touches)


def test_a_slide_has_an_arrow_off_each_end_that_goes_first() -> None:
    _, found = lying(*UNDER, *SIDE)
    (motion,) = found.motions
    assert motion.whole == "can slide along its length (+X and -X)"
    ends = sorted((arrow.line for arrow in motion.arrows(60.0)), key=lambda line: float(line[0, 0]))
    for line, sign, end in zip(ends, (-1.0, 1.0), (75.0, 475.0), strict=True):
        assert np.linalg.norm(line[1] - line[0]) == pytest.approx(60.0)
        assert (line[1] - line[0]) / 60.0 == pytest.approx([sign, 0, 0])
        assert 0.0 < sign * (line[0, 0] - end) < 20.0  # clear of the bar, and not far off
        assert line[0, 1:] == pytest.approx([100.0, 70.0])  # on its middle


def test_a_turn_is_a_curve_about_its_axis_with_both_senses_in_one() -> None:
    _, found = lying(*UNDER)
    turn = next(motion for motion in found.motions if motion.turns)
    (arrow,) = turn.arrows(60.0)
    assert arrow.ends == 2
    pivot = np.cross(turn.twists[0][3:], turn.twists[0][:3])[:2]
    assert np.ptp(np.linalg.norm(arrow.line[:, :2] - pivot, axis=1)) < 1e-6
    assert np.ptp(arrow.line[:, 2]) < 1e-6
    assert arrow.line[0, 2] > 90.0  # over the bar
    assert sum(not motion.turns for motion in found.motions) == 2


def test_only_what_a_finding_tells_is_drawn_as_a_warning() -> None:
    _, told = lying(*UNDER)
    _, quiet = lying(*UNDER, told=False)
    assert all(motion.told for motion in told.motions)
    assert quiet.motions
    assert not any(motion.told for motion in quiet.motions)
    image = Image.new("RGB", SMALL)
    seen = around(np.array([[0.0, 0, 0], [500, 200, 100]]), SMALL, 10.0)
    assert [bool(Lies(ImageDraw.Draw(image), seen, 0.3, one, "none").moves) for one in (told, quiet)] == [True, False]


def test_words_without_their_sense() -> None:
    assert without_sense("can slide along its length (+X)") == ("can slide along its length", "+X")
    assert without_sense("tips over about an axis along (1, 0, -0.1) at its end (right-handed about (-1, 0, 0.1))") == (
        "tips over about an axis along (1, 0, -0.1) at its end",
        "right-handed about (-1, 0, 0.1)",
    )
    assert without_sense("can turn, off its stop") == ("can turn, off its stop", "")


def test_the_way_out_says_what_goes_first_and_is_left_out_where_it_was_not_judged() -> None:
    _, found = lying(*UNDER, *SIDE, out=True)
    (way,) = found.ways_out
    assert way.told == "take off S1 and S2, then lift it straight up"
    assert way.start == pytest.approx([275.0, 100.0, 90.0])
    assert lying(*UNDER, *SIDE)[1].ways_out == ()
    grips = Finding(check="shrinkage", rule="grips-work", level="fail", subjects=("S1", "S2"), message="grips")
    made_so = located(job(scene(plate=[BAR], place=UNDER)), {"unloading": [{**OUT, "first_off": []}]}, [grips])
    assert made_so.ways_out[0].told == "lift it straight up; an estimate: once welded it grips S1 and S2"


@drawing
def test_the_picture_shows_each_and_grows_a_row_of_the_key() -> None:
    bar, found = lying(*UNDER, out=True)
    plain, whole = picture(bar, size=(960, 720)), picture(bar, size=(960, 720), lies=found)
    assert hue_share(whole, MOVES) > hue_share(plain, MOVES) + 5e-4
    assert np.asarray(whole).tobytes() == np.asarray(picture(bar, size=(960, 720), lies=found)).tobytes()
    none, points = (picture(bar, size=(960, 720), lies=found, contacts=how) for how in ("none", "points"))
    inked = [(np.asarray(one) == (0x0B, 0x4F, 0x6C)).all(axis=2).sum() for one in (none, whole, points)]
    assert 0 == inked[0] < inked[1] < inked[2]


def test_marks_are_told_apart_by_shape_in_grey() -> None:
    shapes = []
    for role in ROLES:
        image = Image.new("RGB", (80, 80), "white")
        seen = view(job(scene()), (80, 80), 0, 0, 0)
        lie = Lies(ImageDraw.Draw(image), seen, 2.0, Located(), "places")
        lie.contact(role, np.array([40.0, 40.0]), np.array([1.0, 0.0]), 2.0)
        shapes.append(np.asarray(image.convert("L")) < 140)
    for k, a in enumerate(shapes):
        assert a.sum() > 50
        assert all((a ^ b).sum() > 0.5 * min(a.sum(), b.sum()) for b in shapes[:k])
    for colour in (MOVES, *(colour for colour, _ in ROLES.values())):
        assert 1.05 / (luminance(colour) + 0.05) >= 4.5  # WCAG 2.2, 1.4.3 (AA)


def test_findings_begin_with_plain_words_and_keep_their_code() -> None:
    words, code = in_words(fail())
    assert words == "A pin is not over a hole: off"
    assert code == "[pin-off-hole]"
    assert in_words(Finding(check="x", rule="y", level="warn", subjects=(), message="so"))[0] == "so"


def test_the_page_has_the_same_in_the_units_of_the_file() -> None:
    tables = scene(plate=[BAR], place=[*UNDER, *SIDE])
    report = check_job(job(tables))
    row = lies(report, None)
    (piece,) = row["pieces"]
    facts = dict(piece["facts"])
    assert facts["goes in"] == "1 of 1"
    assert facts["moves"] == "can slide along its length (+X and -X)"
    assert [(c["on"], c["text"]) for c in piece["contacts"]] == [
        ("R1", "carries it, on a face"),
        ("R2", "carries it, on a face"),
        ("S1", "stops it going +Y, on a face"),
        ("S2", "stops it going +Y, on a face"),
    ]
    assert [motion["told"] for motion in row["motions"]] == [True]
    held = next(r for r in report.figures("holding") if not r["whole"])
    for units, force in (("mm", "100 N"), ("in", "lbf")):
        scene_in = report.job.scene.model_copy(update={"units": units})
        rows = tuple(
            replace(r, figures={**r.figures, "holding": [{**held, "held": True}]}) if "holding" in r.figures else r
            for r in report.results
        )
        told = lies(replace(report, job=replace(report.job, scene=scene_in), results=rows), None)
        assert force in dict(told["pieces"][0]["facts"])["held"]


def test_a_page_names_what_is_there_and_knows_nothing_without_checks() -> None:
    assert made(BENCH, checked=False).data["lies"] == []
    names = {item["name"] for item in bench().data["items"]} | {"table"}
    for piece in bench().data["lies"][0]["pieces"]:
        assert {contact["on"] for contact in piece["contacts"]} <= names
