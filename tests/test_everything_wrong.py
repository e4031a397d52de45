"""The scene in which everything is wrong: an example of every rule, and each is cured as its comment says."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import pytest

import fixture3d
from fixture3d.checks import all_rules
from fixture3d.checks.base import Finding, quiet
from fixture3d.engine import assemble
from fixture3d.report import Report
from tests.conftest import SCENES

WRONG = "everything_wrong"


@cache
def report() -> Report:
    return fixture3d.check(fixture3d.load(SCENES / f"{WRONG}.toml"))


@dataclass(frozen=True)
class Cure:
    """What the comment beside a fault says: in which table of the file what is written in place of what."""

    rule: str
    subject: str
    table: str
    old: str
    new: str


RISER = 'model = "riser"\nwith = { height = 55 }'
ROLLED = "from = [430, -270, 0.799]\nto = [430, -70, 0.799]\nroll = 45"
FLAT = "from = [430, -270, -5]\nto = [430, -70, -5]\nroll = 0"
SHIMMED = 'depth = 40, height = 49.9 }\nshims = [{ pad = "seat", by = ["0.1"] }]'
HANGS = "from = [230, -270, 5]\nto = [230, -70, 5]"
CLOSED = "[0, 54], [32, 54], [32, 57], [48, 57], [48, 43], [32, 43], [32, 46], [0, 46]"
OPEN = "[0, 57], [48, 57], [48, 43], [0, 43]"
LIES = "from = [230, -345, 5]\nto = [230, -145, 5]"

CURES = (
    Cure("grips-work", "S16", 'name = "S16"', "length = 110", "length = 100"),
    Cure("shrinks-onto", "T2", 'name = "T2"', "notch = 10", "notch = 8"),
    Cure("shrinks-away", "S1", 'name = "S17"', "length = 110", "length = 106"),
    Cure("weld-doubtful", "", 'hole = "E6"', 'welds = "auto"\n', ""),
    Cure("no-weld-found", "", 'name = "bar"', "to = [348.5,", "to = [350,"),
    Cure("below-table", "left foot", 'name = "left foot"', "[[-25, -78], [75, -78]", "[[-25, -75], [75, -75]"),
    Cure("between-notches", "B15", 'name = "B15"', "slide = 10", "notch = 3"),
    Cure("cannot-stand", "B13", 'name = "B12"', 'face = "front"\n', ""),
    Cure("clamp-misses", "K1", 'name = "K1"', 'hole = "B10"', 'hole = "C10"'),
    Cure("clamp-not-bolted", "B16", 'name = "B16"', "bolt = false", "bolt = true"),
    Cure("clamp-off-point", "K2", 'name = "K2"', "at = 470", "at = 480"),
    Cure("clamp-off-support", "K1", 'name = "K1"', 'hole = "B10"', 'hole = "C10"'),
    Cure("contact-unread", "H1", 'name = "H1"', "height = 57", "height = 40"),
    Cure("clamp-over-nothing", "K5", 'name = "P6"', 'hole = "M29"', 'hole = "G29"'),
    Cure("clamp-pushes-off", "K7", 'name = "K7"', 'hole = "G31"\nturn = 90', 'hole = "G39"\nturn = 270'),
    Cure("corner-radius", "S2", 'name = "S2"', "height = 55", "height = 75"),
    Cure("does-not-go-in", "long tie", 'name = "S10"', '"I19"', '"J19"'),
    Cure("figure-may-be-out", "rail to right leg", 'name = "rail to right leg"', "= 0.45", "= 3"),
    Cure("figure-missed", "legs apart", 'name = "legs apart"', "size = 410", "size = 400"),
    Cure("figure-out", "rail to left leg", 'name = "rail to left leg"', "= 0.3", "= 3"),
    Cure("floats", "B1", 'name = "B1"', "250, 30,", "250, 0,"),
    Cure("hole-shared", "B8", 'name = "B8"', 'hole = "Y4"', 'hole = "X6"'),
    Cure("may-dent", "K3", 'name = "thin bar"', "SHS 30x30x1.5", "SHS 30x30x3"),
    Cure("loose-seat", "B14", 'name = "B14"', "length = 300", "length = 105"),
    Cure("as-set-out", "feet apart", 'place = "S4"', '["4"]', '["0.05"]'),
    Cure("as-set-tight", "S4", 'place = "S4"', '["4"]', '["0.05"]'),
    Cure("measured-out", "rail to left leg", 'figure = "rail to left leg"', "value = 91", "value = 90.1"),
    Cure("measured-unexpected", "angle of left leg and bar", 'figure = "angle of left', "value = 93", "value = 90.2"),
    Cure("out-of-square", "left leg", 'figure = "diagonal one"', "value = 634.9", "value = 632"),
    Cure("record-stale", "S9", 'place = "S9"', 'code = "00000000"\n', ""),
    Cure("needs-measuring", "B2", 'name = "B2"', "free = [900, 450, 0, 0]", 'hole = "S10"'),
    Cure("no-nut", "B11", 'name = "B11"', "bolt = true", "bolt = false"),
    Cure("no-way-in", "collar", 'name = "collar"', CLOSED, OPEN),
    Cure("stuck", "J4", 'name = "collar"', CLOSED, OPEN),
    Cure("take-off-first", "S12", 'name = "S12"', 'hole = "AB19"', 'hole = "AB2"'),
    Cure("no-technique", "left rail, near", 'name = "left rail, near"', "path =", 'technique = "corner"\npath ='),
    Cure("not-pinned", "B6", 'name = "B6"', "pins = []\n", ""),
    Cure("not-a-seat", "R7", 'name = "rung"', ROLLED, FLAT),
    Cure("on-bead", "tag", 'name = "tag"', "at = [50,", "at = [54,"),
    Cure("overhang", "B3", 'name = "B3"', "turn = 180", "turn = 0"),
    Cure("overlap", "T1", 'name = "T1"', "notch = 2", "notch = 0"),
    Cure("piece-falls", "short tie", 'name = "short tie"', HANGS, LIES),
    Cure("piece-falls", "rail", 'name = "R5"', "depth = 40", "depth = 60"),
    Cure("piece-free", "long tie", 'name = "S11"', "depth = 75", "depth = 85"),
    Cure("piece-overlap", "bar", 'name = "bar"', "from = [46,", "from = [50,"),
    Cure("pin-blocked", "B10", 'name = "B10"', '"T12"', '"T13"'),
    Cure("pin-off-hole", "B9", 'name = "B9"', "turn = 30", "turn = 0"),
    Cure("short-of-blocks", "stop_block", "inventory = [", "count = 3", "count = 6"),
    Cure("slides", "long bar", 'name = "K4"', 'hole = "M20"', 'hole = "R20"'),
    Cure("spins", "B5", 'name = "B5"', "bolt = false", "bolt = true"),
    Cure("stops-near", "J1", 'name = "J2"', 'model = "screw_jack"', RISER),
    Cure("stops-opposed", "S10", 'name = "S10"', '"I19"', '"J19"'),
    Cure("stops-short", "V1", 'name = "V1"', "centre_height = 72", "centre_height = 75"),
    Cure("stops-spare", "S7", 'name = "S7"', '"M6"', '"M5"'),
    Cure("supports-four", "R1", 'name = "R1"', "depth = 40 }", SHIMMED),
    Cure("supports-in-line", "J1", 'name = "J2"', 'model = "screw_jack"', RISER),
    Cure("sweep-blocked", "K2", 'name = "S6"', "height = 190", "height = 60"),
    Cure("technique-angle", "left rail, top", 'name = "left rail, top"', '"corner"', '"flat"'),
    Cure("tips-over", "K6", 'name = "K6"', 'hole = "W26"', 'hole = "U26"'),
    Cure("tips", "B4b", 'name = "B4b"', "turn = 180", "turn = 0"),
    Cure("unsupported", "bar", 'name = "V1"', "centre_height = 72", "centre_height = 75"),
    Cure("weld-blocked", "right rail, far", 'name = "S4"', 'hole = "L10"', 'hole = "L11"'),
    Cure("weld-keep-out", "S3", 'name = "S3"', "height = 54", "height = 40"),
    Cure("weld-off-work", "right rail, near", 'name = "right rail, near"', "340", "350"),
    Cure("weld-partly-blocked", "strip", 'name = "S5"', "height = 200", "height = 82"),
    Cure("weld-restart", "strip", 'name = "S5"', "height = 200", "height = 82"),
    Cure("work-misplaced", "", 'hole = "E6"', "offset = [20, 19.9]", "offset = [20, 20]"),
    Cure("weld-tight", "right rail, top", "[technique.close]", "stand_off = 2", "stand_off = 15"),
    Cure("weld-unseen", "right rail, top", "[technique.close]", "stand_off = 2", "stand_off = 15"),
)
IDS = [cure.rule for cure in CURES]


BREAK = "\n# === the record beside it ===\n"


def text() -> str:
    """The scene, and behind it the record beside it."""
    files = (SCENES / f"{WRONG}.toml", SCENES / f"{WRONG}.record.toml")
    return BREAK.join(path.read_text(encoding="utf-8") for path in files)


def put(source: str, path: Path) -> None:
    """Both as files."""
    scene, record = source.split(BREAK)
    path.write_text(scene, encoding="utf-8")
    path.with_suffix(".record.toml").write_text(record, encoding="utf-8")


def cured(source: str, cures: Sequence[Cure]) -> str:
    """The scene with some of its faults mended: each edit touches only the table that it names."""
    for head, old, new in dict.fromkeys((cure.table, cure.old, cure.new) for cure in cures):
        found = re.search(rf"^{re.escape(head)}.*?(?=^\n|\Z)", source, re.MULTILINE | re.DOTALL)
        assert found is not None, head
        assert old in found[0], (head, old)
        source = source[: found.start()] + found[0].replace(old, new) + source[found.end() :]
    return source


def findings(source: str, folder: Path, cure: Cure) -> list[Finding]:
    """What the one check that knows the rule says of a scene; torch access is asked for the one weld only."""
    check, _ = all_rules()[cure.rule]
    if check.name == "torch access":
        table = rf'^\[\[weld\]\]\nname = "(?!{re.escape(cure.subject)}").*?(?=^\n)'
        source = re.sub(table, "", source, flags=re.MULTILINE | re.DOTALL)
        if cure.rule not in ("weld-doubtful", "no-weld-found"):
            source = source.replace('welds = "auto"\n', "")
    path = folder / "scene.toml"
    put(source, path)
    tagging = ("on-bead", "supports-four", "stops-spare", "no-way-in", "stuck", "take-off-first")
    stage = "tagging" if cure.rule in tagging else "welding"
    return [f for f in check.run(assemble(fixture3d.load(path), stage=stage), quiet).findings if f.rule == cure.rule]


def about(found: Sequence[Finding], cure: Cure) -> list[Finding]:
    """Those findings that are about the fault which the cure mends."""
    return [f for f in found if not cure.subject or f.subjects[0] == cure.subject]


def spare_the_search(monkeypatch: pytest.MonkeyPatch) -> None:
    """No stops and no blocks are proposed: what is found is the same, and looking for them is dear."""
    monkeypatch.setattr("fixture3d.checks.locating_stops.IN_ALL", 0)
    monkeypatch.setattr("fixture3d.checks.substitutes.IN_ALL", 0)


def test_has_an_example_of_every_rule() -> None:
    assert {f.rule for f in report().findings} == set(all_rules()) == set(IDS)
    assert not report().ready


def test_every_finding_says_how_to_mend_it() -> None:
    assert [f for f in report().findings if not f.remedy.strip()] == []
    assert [r.name for _, r in all_rules().values() if not r.cure.strip() or not r.meaning.strip()] == []


@pytest.mark.parametrize("cure", CURES, ids=IDS)
def test_the_file_names_the_fault_and_the_cure(cure: Cure) -> None:
    comments = [line for line in text().splitlines() if line.startswith("#")]
    assert any(re.search(rf"\b{cure.rule}\b", line) for line in comments)
    assert all("Cure: " in line for line in comments if re.search(rf"\b{cure.rule}\b", line))


@pytest.mark.parametrize("cure", CURES, ids=IDS)
def test_the_cure_takes_the_finding_away(cure: Cure, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    spare_the_search(monkeypatch)
    assert about([f for f in report().findings if f.rule == cure.rule], cure)
    assert about(findings(cured(text(), [cure]), tmp_path, cure), cure) == []


def test_with_every_cure_nothing_fails(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    spare_the_search(monkeypatch)
    path = tmp_path / "scene.toml"
    put(cured(text(), CURES), path)
    found = fixture3d.check(fixture3d.load(path))
    assert [(f.rule, f.message) for f in found.findings if f.level == "fail"] == []
