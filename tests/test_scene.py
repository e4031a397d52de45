"""The scene file: what it means, what is said about faults, and that it survives writing."""

import json
import subprocess
import sys
import tomllib
from pathlib import Path

import jsonschema
import pytest

from fixture3d.errors import OutputRefused, SceneError
from fixture3d.scene import Scene, dump, dumps, load, loads, problem, problem_at
from fixture3d.scene.jsonschema import json_schema, schema_text, shipped
from fixture3d.scene.text import Lines
from fixture3d.scene.upgrade import upgrade, upgrade_file
from fixture3d.scene.write import toml_text
from tests.scene_texts import ALL, GARDEN_GATE, KAYAK_RACK, SAW_STAND, SMALLEST


def complaints(text: str) -> list[str]:
    """The lines of the error that a text gives, without the file's name."""
    with pytest.raises(SceneError) as caught:
        loads(text, "x.toml")
    lines = str(caught.value).split("\n")
    assert len(lines) == len(caught.value.problems)
    assert all(line.isprintable() and line.startswith("x.toml") for line in lines)
    return [line.removeprefix("x.toml").removeprefix(":") for line in lines]


# What it means -------------------------------------------------------------------------------------------------------


def test_the_smallest_scene() -> None:
    scene = loads(SMALLEST)
    assert (scene.units, scene.title, scene.weldment) == ("mm", "", None)
    assert (scene.table.columns, scene.table.rows, scene.table.bore) == (40, 20, 16)
    assert scene.table.assumed == ("thickness", "bore_limits")
    (place,) = scene.places
    assert (place.name, place.model, place.hole, place.turn, place.pins) == ("S1", "stop_block", "C4", 0.0, None)


def test_every_key_arrives() -> None:
    scene = loads(KAYAK_RACK)
    assert scene.table.find("J1").xyz == (400, 0, 0)
    assert scene.table.find("side:B2").xyz == (50, -50, 10)
    assert scene.grids[0].pitch == (50, 50)
    assert scene.table.is_blocked(scene.table.find("c5"))
    assert scene.table.slot("back slot").box == (188, 1463, 1212, 1487)
    assert scene.torches["long-neck"].hand_diameter == 95
    assert scene.techniques["corner"].work_angle == (45, 15)
    assert scene.weldment is not None
    assert scene.weldment.offset == (10, -5)
    ends = [end for member in scene.members for end in member.ends]
    assert [end.kind for end in ends][:4] == ["square", "mitre_to", "mitre_to", "mitre"]
    assert scene.members[2].path == ((0, 1200, 0), (0, 1200, 400), (500, 1200, 400))
    assert scene.frames[0].members == ("base front", "base back", "base left", "base right")
    assert scene.plates[0].holes[0].diameter == 9
    assert scene.welds[1].skip is True
    first = scene.places[0]
    assert first.with_ == {"length": 100, "height": 50, "side": "left", "hollow": True, "steps": [1, 2]}
    assert (first.pins, first.shims[0].by, first.notch) == ((), (0.5, 0.2), 3)
    assert scene.places[2].pin == "2"
    assert scene.places[4].free == (100, 200.5, 0, 30)
    assert [c.presses for c in scene.clamps] == ["left leg", None, "base left"]
    assert [(one.name, one.welds, one.without) for one in scene.stages] == [
        ("first side", None, ()),
        ("after tacking", (), ("K2",)),
    ]
    assert scene.clamps[2].stages == ("first side", "after tacking")
    assert scene.weldment.iso_13920 == "BF"
    assert [(f.kind, f.limits, f.limits_degrees) for f in scene.figures] == [
        (None, (-2, 2), None),
        ("angle", None, (-0.2, 0.3)),
        ("overall", (-0.5, 1), None),
        ("diagonal", None, None),
    ]
    assert scene.accepts[0].why == "steadied by hand"


def test_a_grid_has_its_own_measures_where_it_says_so() -> None:
    scene = loads(KAYAK_RACK.replace("columns = 38", "columns = 38\npitch = [100, 25]\nbore = 12\nthickness = 8"))
    (side,) = scene.grids
    assert (side.pitch, side.bore, side.thickness) == ((100, 25), 12, 8)
    assert side.hole("B2").xyz == (100, -50, -15)
    assert (scene.table.pitch, scene.table.bore) == ((50, 50), 16)


def test_inches_become_mm_but_parameters_stay_as_written() -> None:
    scene = loads(GARDEN_GATE)
    assert (scene.table.pitch, scene.table.bore, scene.table.thickness) == ((50.8, 50.8), 19.05, 19.05)
    assert scene.table.bore_limits == (0.0, 0.02)
    assert scene.weldment is not None
    assert scene.weldment.lift == 38.1
    assert scene.frames[0].height == 48.0625 * 25.4
    place = scene.places[0]
    assert (place.slide, place.shims[0].by, place.shims[0].pad) == (2.54, (0.396875,), "1")
    assert place.with_ == {"height": "2 in", "length": 3.3}


def test_a_scene_from_a_dictionary(tmp_path: Path) -> None:
    scene = Scene.from_dict(tomllib.loads(GARDEN_GATE), base=tmp_path)
    assert scene == loads(GARDEN_GATE)
    assert scene.path is None
    assert scene.base == tmp_path
    with pytest.raises(SceneError, match=r'^place "S1": unknown key "hoel"; nearest: "hole"$'):
        Scene.from_dict(
            {"format": 1, "table": "50/16 2000x1000", "place": [{"name": "S1", "model": "m", "hoel": "C4"}]}
        )


def test_scenes_cannot_be_changed() -> None:
    scene = loads(KAYAK_RACK)
    with pytest.raises(Exception, match="frozen"):
        scene.title = "other"
    with pytest.raises(Exception, match="frozen"):
        scene.places[0].turn = 5.0


def test_another_table_in_a_copy_is_another_table() -> None:
    scene = loads(SMALLEST)
    assert scene.table.columns == 40
    other = scene.model_copy(update={"table_keys": scene.table_keys.model_copy(update={"columns": 12})})
    assert other.table.columns == 12
    assert other != scene


# Faults --------------------------------------------------------------------------------------------------------------


def test_one_run_tells_everything() -> None:
    text = """\
format = 1
table = "50/16 2000x1000"
unit = "mm"
[[place]]
name = "S1"
model = "stop_block"
hoel = "C4"
[[place]]
name = "S2"
model = "stop_block"
hole = "ZZ9"
turn = "90"
[[place]]
name = "s2"
model = "stop_block"
on = "S4"
shims = [
  { pad = "front", by = ["0.5", "0,2"] },
  { pd = "front" },
]
[[member]]
name = "leg"
stock = "SHS 40x40x3"
from = [0, 0, 0]
to = [0, 0]
[weldment]
hole = "C4"
technique = "cornr"
[technique.corner]
torch = "mig-600"
"""
    assert complaints(text) == [
        '3: unknown key "unit"; nearest: "units"',
        '7: place "S1": unknown key "hoel"; nearest: "hole"',
        '11: place "S2": hole "ZZ9" is not on the table (columns A to AN, rows 1 to 20); nearest: "Z9"',
        '12: place "S2": turn: "90" is not an angle in degrees; expected a number from -360 to 360',
        '14: place "s2": the name "s2" is taken by place "S2" in line 9; expected a name that nothing else has',
        '16: place "s2": on: no block is called "S4"; expected one of "S1", "S2", "s2"',
        '18: place "s2": shims, entry 1, by, entry 2: "0,2" is not a length; expected a decimal point, \'0.2\'',
        '19: place "s2": key "pad" is missing; expected pad = "front"',
        '19: place "s2": key "by" is missing; expected by = ["0.5"]',
        '19: place "s2": unknown key "pd"; nearest: "pad"',
        '25: member "leg": to: a list of 2; expected 3 values, as in [0, 0, 25]',
        '28: [weldment]: technique: no technique is called "cornr"; nearest: "corner"',
        '30: technique "corner": torch: no torch is called "mig-600"; nearest: "mig-60"',
    ]


RACK_LINES = KAYAK_RACK.split("\n")


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        # numbers that cannot be
        ("bore = 16", "bore = 0", "bore: 0 is not a possible length here; expected a length above 0"),
        ("bore = 16", "bore = -16", "bore: -16 is not a possible length here"),
        ("bore = 16", "bore = nan", "bore: nan is not a length"),
        ("bore = 16", "bore = inf", "bore: inf is not a length"),
        ("bore = 16", "bore = 60", "bore 60 mm"),
        ("bore = 16", 'bore = "16 kg"', 'bore: "16 kg" is not a length; expected the units are mm'),
        ("bore = 16", "bore = true", "bore: true is not a length"),
        ("bore = 16", "bore = [16]", "bore: a list is not a length"),
        ("bore = 16", "bore = 1979-05-27", "bore: datetime.date(1979, 5, 27) is not a length"),
        ("columns = 40", "columns = 1000000", "columns: 1000000 is too large; expected a whole number from 1 to 2000"),
        ("columns = 40", "columns = 40.5", "columns: 40.5 is not a number of holes"),
        ("columns = 40", "columns = 0", "columns: 0 is too small"),
        ("columns = 40", "columns = 2000", "would be 100 m long"),
        ("width = 600", "width = 40000", "width: 40000 is 40 m; expected at most 30 m"),
        ("width = 600", 'width = "200 ft"', 'width: "200 ft" is 61 m'),
        ("pitch_tolerance = 0.1", "pitch_tolerance = -0.1", "expected 0 or more"),
        ("turn = 90\nnotch", "turn = 1e9\nnotch", "turn: 1000000000.0 is not a possible value; expected a number"),
        ("notch = 3", "notch = -1", "notch: -1 is too small"),
        ("work_angle = [45, 15]", "work_angle = [45, -15]", "work_angle, entry 2: -15 is not a possible value"),
        ("work_angle = [45, 15]", "work_angle = 45", "work_angle: 45 is not a list; expected 2 values, as in [45, 15]"),
        ("at = 300", "at = nan", "at: nan is not a length"),
        # words
        ('units = "mm"', 'units = "cm"', 'units: "cm" is not known here; expected "mm", "in"'),
        ('bore_limits = "H7"', 'bore_limits = "tight"', 'bore_limits: "tight" is not a tolerance class'),
        ('bore_limits = "H7"', 'bore_limits = "Q99"', 'bore_limits: the fit class "Q99" is not in the tables'),
        ('bore_limits = "H7"', 'bore_limits = "h7"', 'is not a class of a bore; nearest: "H7"'),
        ('bore_limits = "H7"', "bore_limits = [0.1, 0.0]", "the lower deviation first"),
        ('corner = "front left"', 'corner = "frontleft"', 'nearest: "front left"'),
        ('x = "letters", y = "numbers"', 'x = "letters", y = "letters"', "one axis must be named by letters"),
        ('corners = "butt x"', 'corners = "buttx"', 'nearest: "butt x"'),
        ('type = "fillet"', 'type = "filet"', 'nearest: "fillet"'),
        ('direction = "either"', 'direction = "up"', 'expected "either", "forward", "back"'),
        ('edge = "front"\n', 'edge = "font"\n', 'nearest: "front"'),
        ('up = "z"', 'up = "+z"', 'nearest: "z"'),
        # names
        ('name = "S4"', 'name = "CON"', 'name: "CON" is reserved by Windows'),
        ('name = "S4"', 'name = "nul.step"', "is reserved by Windows"),
        ('name = "S4"', 'name = "../S4"', "has a / in it"),
        ('name = "S4"', 'name = "a\\\\b"', "has a \\ in it"),
        ('name = "S4"', 'name = "<b>S4</b>"', "has a < in it"),
        ('name = "S4"', 'name = "S4\\u0007"', "control or invisible"),
        ('name = "S4"', 'name = "S\\u202e4"', "control or invisible"),
        ('name = "S4"', 'name = "S4\\n"', "control or invisible"),
        ('name = "S4"', 'name = " S4"', "begins or ends with a space or a dot"),
        ('name = "S4"', 'name = "S4."', "begins or ends with a space or a dot"),
        ('name = "S4"', f'name = "{"S" * 81}"', "has 81 characters"),
        ('name = "S4"', 'name = ""', "is empty"),
        ('name = "S4"', "name = 4", "name: 4 is not a name"),
        ("[torch.long-neck]", '[torch."a/b"]', 'the name "a/b" has a / in it'),
        # who is who
        ('name = "S4"', 'name = "S1"', 'the name "S1" is taken by place "S1" in line'),
        ('name = "S4"', 'name = "left leg"', 'the name "left leg" is taken by member "left leg" in line 63'),
        ('name = "S4"', 'name = "base front"', 'the name "base front" is taken by frame "base" in line 84'),
        ('name = "K1"', 'name = "k2"', 'the name "K2" is taken by clamp "k2"'),
        ('hole = "F4"', 'hole = "F45"', 'nearest: "F30"'),
        ('hole = "F4"', 'hole = "syde:F4"', 'grid "syde" is not known; the grids are side; nearest: "side"'),
        ('blocked = ["C5", "C6"]', 'blocked = ["C5", "C66"]', 'blocked: hole "C66" is not on the table'),
        ('blocked = ["B2"]', 'blocked = ["B3"]', 'grid "side": blocked: hole "side:B3" is not on grid "side"'),
        ('on = "S1"', 'on = "S11"', 'on: no block is called "S11"; nearest: "S1"'),
        ('toward = "S1"', 'toward = "left leg"', 'toward: no block is called "left leg"'),
        ('presses = "left leg"', 'presses = "left leq"', 'nearest: "left leg"'),
        ('joins = ["left leg", "base front"]', 'joins = ["left leg", "base"]', 'no piece is called "base"; nearest'),
        ('joins = ["left leg", "base front"]', 'joins = ["left leg", "left leg"]', "to itself"),
        ('mitre_to = "top rail"', 'mitre_to = "left leg"', "names the member itself"),
        ('mitre_to = "top rail"', 'mitre_to = "gusset 1"', 'no member is called "gusset 1"'),
        ('technique = "thin edge"', 'technique = "thin edje"', 'nearest: "thin edge"'),
        ('torch = "mig-45"', 'torch = "mig-46"', "nearest: \"mig-"),
        # what does not go together
        ('on = "S1"', 'on = "S1"\nhole = "A1"', "hole together with on; expected exactly one of hole, on, free or"),
        ('hole = "C4+"', "", "nothing says where it stands; expected exactly one of hole, on, free or edge"),
        ("along = 400", 'along = 400\nhole = "A1"', "hole together with edge"),
        ("along = 400", "", "edge without along"),
        ('edge = "front"\n', 'hole = "A1"\n', "along without edge"),
        ('hole = "C4+"', 'hole = "C4+"\nsocket = 2', "socket without on"),
        ("slide = 12.5", "slide = 12.5\nnotch = 2", "notch together with slide"),
        ("free = [100, 200.5, 0, 30]", "free = [100, 200.5, 0, 30]\nturn = 5", "turn together with free"),
        ('on = "S1"', 'on = "R2"', "stands on itself"),
        ('hole = "F4"', 'on = "R2"', 'blocks stand on each other in a circle: "S1" on "R2" on "S1"'),
        ('hole = "H6"\npresses = "left leg"', 'hole = "H6"', "at without presses"),
        ('lift = 25', 'lift = 25\nfile = "rack.step"', "file together with [[member]], [[frame]] or [[plate]]"),
        ("lift = 25", 'lift = 25\nunit = "mm"', "unit without file"),
        ('sides = [[0, 0, 1], [0, 1, 0]]', 'sides = [[0, 0, 1], [0, 0, 0]]', "a direction of no length"),
        ("size = 4\n", "", 'key "size" is missing; expected size = 4'),
        ("path = [[0, 0, 0], [40, 0, 0]]\n", "", 'key "path" is missing'),
        ("path = [[0, 0, 0], [40, 0, 0]]", "path = [[0, 0, 0], [0, 0, 0]]", "the same point twice"),
        ("path = [[0, 0, 0], [40, 0, 0]]", "path = [[0, 0, 0]]", "expected 2 to 2000 points"),
        ('sides = [[0, 0, 1], [0, 1, 0]]\n', "", "nothing says which faces it joins"),
        ("to = [0, 1200, 0]", "to = [0, 0, 0]", "from and to are the same point"),
        (', about = "z" }]', ' }]', "mitre and about go together"),
        # shapes
        ("[80, 0], [0, 80],", "[80, 0], [40, 0],", "encloses no area"),
        ("[80, 0], [0, 80],", "[80, 80], [80, 0], [0, 70],", "crosses itself"),
        ("[80, 0], [0, 80],", "[80, 0], [80, 80], [40, 0], [0, 80],", "crosses itself"),
        ("[80, 0], [0, 80],", "[80, 0], [80, 0], [0, 80],", "same point twice"),
        ("[80, 0], [0, 80],", "[80, 0],", "expected 3 to 2000 points"),
        ("at = [20, 20, 0]\nnormal = [0, 0, 1]", "normal = [-2, 0, 0]", "along is parallel to normal"),
        ("y = [0, 0, 1]\ncolumns = 38", "y = [1, 0, 1]\ncolumns = 38", "right angles"),
        # not there yet
        ('{ mitre = -30, about = "z" }', '{ cope = "left lag" }', 'is called "left lag"; nearest: "left leg"'),
        ('{ mitre = -30, about = "z" }', '{ against = "top rail" }', "against names the member itself"),
        ("thickness = 6\n", 'thickness = 6\ndxf = "g.dxf"\n', "outline together with dxf; expected one of them"),
        # wrong kinds of thing
        ("[weldment]", "[[weldment]]", "weldment"),
        ('ends = ["square", {', 'ends = ["round", {', 'ends, entry 1: "round" is not an end'),
        ('pins = []', "pins = 2", "pins: 2 is not a list"),
        ("bolt = true", "bolt = 1", "bolt: 1 is neither true nor false"),
        ("with = { length = 100, height = 50 }\ncount", "with = 3\ncount", "with: 3 is not a table of parameters"),
        ("side = \"left\"", "side = nan", "nan is not a possible value"),
        ("side = \"left\"", "side = { deep = 1 }", "a table of keys is not a number"),
        ('title = "Kayak rack upright"', "title = 3", "title: 3 is not text"),
        ('title = "Kayak rack upright"', 'title = "two\\nlines"', "is not a plain line"),
        ('without = ["K2"]', 'without = ["K"]', 'no block is called "K"; nearest: "K3"'),
        ("count = 8", "count = -1", "count: -1 is too small"),
        ("filler_angle = [15, 60]", "filler_angle = [60, 15]", "filler_angle is [60, 15]; expected the usual angle"),
        ("stub_length = 50", "stub_length = 321", "stub_length is more than nozzle_length"),
        ("back_cap_diameter = 18", "", "back_cap without back_cap_diameter"),
        ('iso_13920 = "BF"', 'iso_13920 = "bf"', '"bf" is no class of ISO 13920; expected A to D'),
        ('iso_13920 = "BF"', 'iso_13920 = "F"', '"F" is no class of ISO 13920; expected A to D'),
        ('of = ["left leg", "top rail"]\ndeg', 'of = ["left lag", "top rail"]\ndeg', '"left lag"; nearest: "left leg"'),
        ("limits_degrees = [-0.2, 0.3]", "limits_degrees = [0.3, -0.2]", "whose first is not below its second"),
        ("limits_degrees = [-0.2, 0.3]", "limits = 1", "an angle with a length; expected degrees"),
        ("degrees = 90\n", "degrees = -90\n", "an angle of -90 degrees; expected 0 to 180"),
        ('axis = "y"\n', "", 'kind = "overall" without axis'),
        ('kind = "diagonal"', 'kind = "diagonl"', '"diagonl" is not known here'),
        ('kind = "diagonal"\n', "", "of, points or axis without kind"),
        ("points = [[0, 0, 0], [500, 1200, 0]]", "points = [[0, 0, 0], [0, 0, 0]]", "the same point twice"),
        ("limits = 2", "limit = 2", 'unknown key "limit"; nearest: "limits"'),
        ("limits = 2", "limits = true", "true is no limit"),
        ('["middle", 10]', '["midle", 10]', '"midle" is not an angle; expected degrees, or "middle"'),
    ],
)  # fmt: skip
def test_faults_are_told_with_their_line(old: str, new: str, says: str) -> None:
    assert KAYAK_RACK.count(old) >= 1, old
    text = KAYAK_RACK.replace(old, new, 1)
    said = complaints(text)
    hits = [line for line in said if says in line]
    assert hits, said
    first = KAYAK_RACK[: KAYAK_RACK.index(old)].count("\n") + 1
    number = int(hits[0].partition(":")[0])
    far = 60 if "taken by" in says or "circle" in says or "[[member]]" in says else 12
    assert abs(number - first) <= far, hits


def test_lines_are_exact() -> None:
    for at, row in enumerate(RACK_LINES, start=1):
        if row.startswith("hole = "):
            assert complaints("\n".join([*RACK_LINES[: at - 1], 'hole = "A99"', *RACK_LINES[at:]]))[0].startswith(
                f"{at}: "
            )
        elif "=" in row and not row.startswith((" ", "#")):
            broken = [*RACK_LINES[: at - 1], "no_such_key_here = 1", *RACK_LINES[at - 1 :]]
            if row.startswith("format"):
                continue
            assert any(line.startswith(f"{at}: ") for line in complaints("\n".join(broken))), row


def test_a_fault_does_not_hide_the_next_one_in_the_same_block() -> None:
    said = complaints(SMALLEST.replace('hole = "C4"', 'hole = "C99"\nturn = "x"\nnotch = 1\nslide = 2'))
    assert [line.partition(":")[0] for line in said] == ["6", "7", "9"]


def test_a_broken_table_hides_no_other_fault_and_invents_none() -> None:
    said = complaints(KAYAK_RACK.replace("bore = 16", "boer = 16").replace("notch = 3", "notch = -3"))
    assert [line.partition(" ")[2] for line in said] == [
        '[table]: key "bore" is missing; expected bore = ...',
        '[table]: unknown key "boer"; nearest: "bore"',
        'place "S1": notch: -3 is too small; expected a whole number from 0 to 1000',
    ]


def test_pieces_need_a_place() -> None:
    text = SMALLEST + '[[member]]\nname = "a"\nstock = "BAR 20"\nfrom = [0, 0, 0]\nto = [9, 0, 0]\n'
    assert complaints(text) == [
        '7: member "a": pieces, but no [weldment] that says where they sit; expected a [weldment] with hole = "E4"'
    ]


def test_a_magnet_may_hold_what_stands_free() -> None:
    scene = loads(KAYAK_RACK.replace("magnet = true", "magnet = true\nfree = [1, 2, 0, 0]"))
    assert scene.clamps[2].magnet
    assert scene.clamps[2].free == (1, 2, 0, 0)
    said = complaints(KAYAK_RACK.replace("magnet = true", 'magnet = true\nhole = "A1"'))
    assert said[0].endswith("hole together with magnet; expected exactly one of hole, on, free, edge, slot or magnet")


def test_stl_needs_its_unit() -> None:
    assert "an STL file does not say its unit" in complaints(SAW_STAND.replace('unit = "in"\n', ""))[0]


def test_long_circles_are_told_once() -> None:
    blocks = "".join(f'[[place]]\nname = "B{k}"\nmodel = "riser"\non = "B{(k + 1) % 300}"\n' for k in range(300))
    said = complaints(f'format = 1\ntable = "50/16 2000x1000"\n{blocks}')
    assert len(said) == 1
    assert '"B0" on "B1" on "B2" on ... on "B299" on "B0"' in said[0]


def test_many_problems_are_counted() -> None:
    blocks = "".join(f'[[place]]\nname = "B{k}"\nmodel = "riser"\non = "C{k}"\n' for k in range(1000))
    said = complaints(f'format = 1\ntable = "50/16 2000x1000"\n{blocks}')
    assert len(said) == 201
    assert "800 more problems of 1000" in said[-1]


def test_too_many_blocks() -> None:
    blocks = "".join(f'[[place]]\nname = "B{k}"\nmodel = "riser"\nhole = "A1"\n' for k in range(5001))
    said = complaints(f'format = 1\ntable = "50/16 2000x1000"\n{blocks}')
    assert said == [
        " 5001 blocks in one scene; expected at most 5000",
        "3: place: a list of 5001; expected 0 to 5000 places",
    ]


HEAD = 'format = 1\ntable = "50/16 2000x1000"'


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "is empty; expected format = 1 and a table"),
        ("\n \n", "is empty"),
        ('table = "50/16 2000x1000"', 'key "format" is missing; expected format = 1 as the first key'),
        ("format = 1", 'key "table" is missing; expected table = "50/16 2000x1000", or a [table]'),
        ('format = 2\nnew = "key"', "1: written for a newer version of the program (format 2)"),
        ("format = 99999999999999999999", "newer version"),
        ("format = 0", "1: written in the older format 0; expected format = 1; the upgrade command"),
        ('format = "1"\ntable = "50/16 2000x1000"', '1: format: "1" is not a format; expected format = 1'),
        ("format = true", "true is not a format"),
        ('format = 1\ntable = "50/16"', '2: table "50/16" cannot be read'),
        ("format = 1\ntable = 5", "2: table: 5 is not a table; expected text"),
        ("format = 1\ntable = 1-1/2", '2: not valid TOML at column 10, expected newline or end of document'),
        ("format = 1\nlift = 1-1/2", 'expected fractions in quotes, as in "3/4"'),
        ("format = 1\nlift = 12 mm", 'expected lengths with a unit in quotes'),
        ("format = 1\nhole = C4", 'expected text in quotes, as in hole = "C4"'),
        ("format = 1\nformat = 1", "2: not valid TOML"),
        ("[a]\n[a]", "each [table] once"),
        ("a = [1,\n2", "2: not valid TOML"),
        ("a = " + "[" * 5000, "nested too deep"),
        ("a" + ".a" * 3000 + " = 1", "more than 40 dots"),
        ("a = 1979-02-30", "not valid TOML"),
        ("a = " + "9" * 5000, "cannot be"),
        ('place = "x"\n' + HEAD, 'place: "x" is not a list'),
        ('place = [1]\n' + HEAD, "place 1: 1 is not a table of keys; expected a [[place]]"),
        ('torch = 3\n' + HEAD, "torch: 3 is not a table of keys; expected a [torch.NAME] table"),
        (HEAD + '\n[place]\nname = "S1"', "3: [place]: a table in single brackets; expected double brackets"),
    ],
)  # fmt: skip
def test_texts_that_are_no_scene(text: str, says: str, tmp_path: Path) -> None:
    file = tmp_path / "s.toml"
    file.write_text(text, encoding="utf-8")
    with pytest.raises(SceneError) as caught:
        load(file)
    lines = str(caught.value).removeprefix(str(file)).removeprefix(":").split("\n" + str(file))
    assert any(says in line for line in lines), lines


def test_files_that_cannot_be_read(tmp_path: Path) -> None:
    def said(path: Path) -> str:
        with pytest.raises(SceneError) as caught:
            load(path)
        text = str(caught.value)
        assert text.isprintable()
        return text.removeprefix(str(path))

    file = tmp_path / "rack.toml"
    assert said(tmp_path) == ": is a folder; expected a scene file, such as rack.toml"
    assert said(file) == ": there is no such file"
    for raw, says in (
        (b"\x00\x01\x02", ": is not a text file; expected a scene file in TOML"),
        (SMALLEST.encode("utf-16"), ": is saved as UTF-16; expected UTF-8; most editors offer it under Save as"),
        (b"format = 1\n# \xff\n", ":2: is not UTF-8 text; expected UTF-8; most editors offer it under Save as"),
        (
            b"# " + b"x" * 5_000_001,
            ": is larger than 5 MB; expected a scene file; geometry belongs in a file of its own",
        ),
        (SMALLEST.encode()[:-3], ":6: not valid TOML"),
    ):
        file.write_bytes(raw)
        assert says.split(",")[0] in said(file)
    assert said(tmp_path / "rakc.toml") == f': there is no such file; nearest: "{file}"'
    assert said(Path("no\0where")) != ""


def test_marks_of_windows_editors_do_no_harm(tmp_path: Path) -> None:
    file = tmp_path / "s.toml"
    file.write_bytes(b"\xef\xbb\xbf" + SMALLEST.replace("\n", "\r\n").encode())
    assert load(file) == loads(SMALLEST)
    file.write_bytes(b"\xef\xbb\xbf" + SMALLEST.replace("C4", "C99").replace("\n", "\r\n").encode())
    with pytest.raises(SceneError, match=r"s\.toml:6: "):
        load(file)


def test_later_stages_point_at_the_file(tmp_path: Path) -> None:
    file = tmp_path / "k.toml"
    file.write_text(KAYAK_RACK, encoding="utf-8")
    scene = load(file)
    line = RACK_LINES.index('with = { length = 100, height = 50, side = "left", hollow = true, steps = [1, 2] }') + 1
    assert scene.path_of(scene.places[0]) == ("place", 0)
    assert scene.path_of(scene.techniques["corner"]) == ("technique", "corner")
    found = problem(scene, scene.places[0], ("with", "height"), "height 50 is too much", "at most 40", "40")
    assert str(found) == f'{file}:{line}: place "S1": height 50 is too much; expected at most 40; nearest: 40'
    error = problem_at(scene, ("clamp", 0), "presses", "no such piece")
    line = RACK_LINES.index('presses = "left leg"') + 1
    assert str(error) == f'{file}:{line}: clamp "K1": no such piece'
    assert (
        str(problem_at(Scene.from_dict(tomllib.loads(SMALLEST)), ("place", 0), "model", "unknown"))
        == 'place "S1": unknown'
    )


# Lines ---------------------------------------------------------------------------------------------------------------


def test_lines_of_difficult_texts() -> None:
    text = '''\
# [not.a.table]
title = """
[[place]] # not one
a = "1\\""" still in
"""
a."b.c".d = 1  # dotted
raw = \'\'\'
x = [ {
\'\'\'\'
list = [ # why
  "]", '#', [1, 2,
  3],
  { k = "}", m.n = [ 4 ] },
]
[t . "u v"]
x = 1
[[t."u v".w]]
y = 2
[[t."u v".w]]
y = 3
[t."u v".w.sub]
z = 1979-05-27 07:32:00
[[t."u v".w.deep]]
q = { a = { b = [ { c = 1 } ] } }
'''
    data = tomllib.loads(text)
    lines = Lines(text)
    assert data["t"]["u v"]["w"][1]["deep"][0]["q"] == {"a": {"b": [{"c": 1}]}}
    for path, line in [
        (("title",), 2),
        (("a",), 6),
        (("a", "b.c", "d"), 6),
        (("raw",), 7),
        (("list",), 10),
        (("list", 0), 11),
        (("list", 2, 1), 11),
        (("list", 2, 2), 12),
        (("list", 3, "k"), 13),
        (("list", 3, "m", "n", 0), 13),
        (("t", "u v", "x"), 16),
        (("t", "u v", "w", 0, "y"), 18),
        (("t", "u v", "w", 1), 19),
        (("t", "u v", "w", 1, "y"), 20),
        (("t", "u v", "w", 1, "sub", "z"), 22),
        (("t", "u v", "w", 1, "deep", 0, "q", "a", "b", 0, "c"), 24),
        (("t", "u v", "w", 1, "deep", 0, "nothing"), 23),
        (("nothing",), 0),
    ]:
        assert lines.of(path) == line, path


@pytest.mark.parametrize("name", ALL)
def test_every_value_of_a_scene_has_a_line(name: str) -> None:
    text = ALL[name]
    lines, rows = Lines(text), text.split("\n")

    def walk(path: tuple[str | int, ...], value: object) -> None:
        if isinstance(value, dict):
            for key, one in value.items():
                walk((*path, key), one)
                assert key in rows[lines.of((*path, key)) - 1]
        elif isinstance(value, list):
            for k, one in enumerate(value):
                walk((*path, k), one)
        else:
            shown = value if isinstance(value, str) else json.dumps(value)
            assert shown in rows[lines.of(path) - 1], path

    walk((), tomllib.loads(text))


# Writing -------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ALL)
def test_what_is_written_reads_back_equal(name: str, tmp_path: Path) -> None:
    scene = loads(ALL[name])
    plain = toml_text(scene)
    assert loads(plain) == scene
    assert toml_text(loads(plain)) == plain
    assert dumps(scene) == ALL[name]
    written = dump(scene, tmp_path / "out.toml")
    assert load(written) == scene
    assert written.read_text(encoding="utf-8") == ALL[name]


def test_a_changed_copy_is_written_as_it_is_now(tmp_path: Path) -> None:
    scene = loads(KAYAK_RACK)
    moved = scene.model_copy(update={"places": (scene.places[0].model_copy(update={"hole": "G5"}), *scene.places[1:])})
    back = load(dump(moved, tmp_path / "moved.toml"))
    assert back == moved
    assert back != scene
    assert back.places[0].hole == "G5"


def test_a_turn_of_nought_that_was_given_stays_given() -> None:
    given = loads(SMALLEST + "turn = 0\n")
    assert "turn" in loads(toml_text(given)).places[0].model_fields_set
    assert "turn" not in loads(toml_text(loads(SMALLEST))).places[0].model_fields_set


def test_nothing_is_overwritten_unasked(tmp_path: Path) -> None:
    file = tmp_path / "s.toml"
    dump(loads(SMALLEST), file)
    with pytest.raises(OutputRefused):
        dump(loads(GARDEN_GATE), file)
    assert load(file) == loads(SMALLEST)
    dump(loads(GARDEN_GATE), file, force=True)
    assert load(file) == loads(GARDEN_GATE)
    with pytest.raises(OutputRefused):
        dump(loads(SMALLEST), tmp_path / "nul.toml")
    assert sorted(p.name for p in tmp_path.iterdir()) == ["s.toml"]


# Older formats -------------------------------------------------------------------------------------------------------


def test_a_draft_gets_its_format_and_keeps_its_comments() -> None:
    draft = KAYAK_RACK.replace("format = 1\n", "")
    done = upgrade(draft)
    assert loads(done) == loads(KAYAK_RACK)
    assert done.replace("format = 1\n", "") == draft
    assert upgrade(done) == done
    assert upgrade("# heading\n\n# of the table\n" + draft).startswith("# heading\nformat = 1\n\n# of the table\n")
    assert upgrade("# of the title\ntitle = 'x'\n") == "format = 1\n# of the title\ntitle = 'x'\n"
    assert upgrade(SMALLEST.replace("format = 1", "format = 0  # draft")) == SMALLEST.replace(
        "format = 1", "format = 1  # draft"
    )


@pytest.mark.parametrize("text", ["format = 2", "format = -1", "format = 'x'", "format = [", "format = 1.0"])
def test_what_cannot_be_upgraded(text: str) -> None:
    with pytest.raises(SceneError) as caught:
        upgrade(text, "x.toml")
    assert str(caught.value).startswith("x.toml:1: ")


def test_upgrading_overwrites_only_when_asked(tmp_path: Path) -> None:
    file = tmp_path / "old.toml"
    draft = SMALLEST.replace("format = 1\n", "")
    file.write_text(draft, encoding="utf-8")
    with pytest.raises(OutputRefused):
        upgrade_file(file)
    assert file.read_text(encoding="utf-8") == draft
    assert load(upgrade_file(file, tmp_path / "new.toml")) == loads(SMALLEST)
    assert load(upgrade_file(file, force=True)) == loads(SMALLEST)


# JSON Schema ---------------------------------------------------------------------------------------------------------


def test_the_shipped_schema_is_the_one_that_the_records_give() -> None:
    assert shipped() == schema_text(), "run: python -m fixture3d.scene.jsonschema"
    jsonschema.Draft202012Validator.check_schema(json_schema())
    assert "null" not in shipped()  # TOML has none


@pytest.mark.parametrize("name", ALL)
def test_the_schema_accepts_what_loads(name: str) -> None:
    jsonschema.Draft202012Validator(json_schema()).validate(tomllib.loads(ALL[name]))
    jsonschema.Draft202012Validator(json_schema()).validate(tomllib.loads(toml_text(loads(ALL[name]))))


SHIPPED = sorted(p for p in (Path(__file__).parents[1] / "scenes").glob("*.toml") if ".record" not in p.suffixes)


@pytest.mark.parametrize("file", SHIPPED, ids=lambda p: p.stem)
def test_the_schema_accepts_the_shipped_scenes(file: Path) -> None:
    jsonschema.Draft202012Validator(json_schema()).validate(tomllib.loads(file.read_text(encoding="utf-8")))


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("bore = 16", "boer = 16"),
        ("columns = 40", "columns = 2001"),
        ("columns = 40", 'columns = "40"'),
        ('units = "mm"', 'units = "cm"'),
        ('type = "fillet"', 'type = "filet"'),
        ("notch = 3", "notch = 3.5"),
        ('stock = "SHS 40x40x3"\nfrom', "from"),
        ("format = 1", "format = 2"),
        ('mitre_to = "top rail"', 'copes = "top rail"'),
        ("bolt = true", 'bolt = "yes"'),
        ("free = [100, 200.5, 0, 30]", "free = [100, 200.5]"),
    ],
)
def test_the_schema_finds_what_an_editor_should_underline(old: str, new: str) -> None:
    assert old in KAYAK_RACK
    data = tomllib.loads(KAYAK_RACK.replace(old, new, 1))
    assert list(jsonschema.Draft202012Validator(json_schema()).iter_errors(data))


def test_every_key_of_the_schema_is_tried_by_a_text() -> None:
    used: set[str] = set()

    def walk(value: object) -> None:
        for one in value.values() if isinstance(value, dict) else value if isinstance(value, list) else ():
            walk(one)
        used.update(value if isinstance(value, dict) else ())

    for text in ALL.values():
        walk(tomllib.loads(text))
    schema = json_schema()
    keys = set(schema["properties"]).union(*(record.get("properties", ()) for record in schema["$defs"].values()))
    assert keys - used == set()


def test_reading_a_scene_loads_nothing_heavy(tmp_path: Path) -> None:
    file = tmp_path / "s.toml"
    file.write_text(SMALLEST, encoding="utf-8")
    code = f"import sys; from fixture3d.scene import load; load({str(file)!r}); print(*sorted(sys.modules))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    heavy = {"cadquery", "OCP", "trimesh", "pyvista", "manifold3d", "numba", "scipy", "typst", "tomlkit", "vtk"}
    assert not heavy & set(done.stdout.split())
