"""A family of sizes in one file: sums behind ``=``, values in their places, faults with line and size, commands."""

from __future__ import annotations

import json
import math
import random
import tomllib
from fractions import Fraction
from importlib.resources import files
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

import fixture3d
from fixture3d.cli import main
from fixture3d.errors import SceneError
from fixture3d.scene import Scene, dump, dumps, load, loads, problem
from fixture3d.scene.expression import DEEPEST, LONGEST, BadExpression, read
from fixture3d.scene.family import MOST_SIZES
from fixture3d.scene.jsonschema import json_schema
from fixture3d.scene.scene import size_text
from fixture3d.scene.stages import at_stage
from fixture3d.scene.write import tables_text, toml_text
from tests.conftest import SCENES
from tests.scene_texts import KAYAK_RACK, PADDLE_SHELF, SMALLEST
from tests.test_scene_fuzz import judge, read_data, read_text, spots, tries

VALUES: dict[str, Any] = {"width": 600, "height": 412.5, "h2": 7, "hole": "P4", "long": "2 ft 3 in", "on": True}

TWO_STOPS = """\
format = 1
title = "Two stops"
table = "50/16 1000x600"
[sizes]
names = ["near", "far"]
hole = ["F4", "H4"]
turn = [0, 90]
[[place]]
name = "S1"
model = "stop_block"
hole = "C4"
[[place]]
name = "S2"
model = "stop_block"
hole = "=hole"
turn = "=turn"
"""


def complaints(text: str) -> list[str]:
    with pytest.raises(SceneError) as caught:
        loads(text, "x.toml")
    judge(caught.value, text)
    return [line.removeprefix("x.toml").removeprefix(":") for line in str(caught.value).split("\n")]


# Sums -----------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("=width", 600),
        ("= hole ", "P4"),  # a name alone gives its value, whatever it is
        ("=on", True),
        ("=width - 25", 575),
        ("=width-25", 575),
        ("=25-width", -575),
        ("=-width", -600),
        ("=width - -25", 625),
        ("=width / 2 * 3", 900),
        ("=2 + width * 3 - 4 / 2", 1800),
        ("=(2 + width) * (3 - 1) / 4", 301),
        ("=width - 100 - 50", 450),  # from left to right
        ("=width / 2 / 3", 100),
        ("=width / 7", 600 / 7),
        ("=height * 2", 825),  # whole: a count may come of it
        (f"={'(' * DEEPEST}width{')' * DEEPEST}", 600),
        # lengths with their unit: 1 in is 25.4 mm (the international inch, see units.py)
        ("=width/2 - 1-1/2 in", "261.9 mm"),
        ("=width/2 - 1 1/2 in", "261.9 mm"),
        ("=width - 1 - 1/2 in", "586.3 mm"),
        ("=width + 3/4 in", "619.05 mm"),
        ('=width + 3/4"', "619.05 mm"),
        ("=width + 2 ft 3 in", "1285.8 mm"),
        ("=width + 2'", "1209.6 mm"),
        ("=width + 1.5 cm", "615 mm"),
        ("=0.5 m - width", "-100 mm"),
        ("=long - width", "85.8 mm"),
        ("=3 * 1/3 in", "25.4 mm"),
        ("=h2-1/2 in", "-5.7 mm"),
        ("=width / (2 in)", float(Fraction(600) / Fraction("50.8"))),  # a ratio of lengths
        ("=(4 in) / (1 in)", 4),
        ("=width/2 + (1-1/2 in) / 2", "319.05 mm"),
    ],
)
def test_what_sums_come_to(text: str, value: Any) -> None:
    found = read(text).value(VALUES, "mm")
    assert found == value
    assert type(found) is type(value)


def test_bare_numbers_are_in_the_units_of_the_file() -> None:
    assert read("=width + 25.4 mm").value({"width": 24}, "in") == "25 in"
    assert read("=width + 1/16 in").value({"width": 24}, "in") == "24.0625 in"
    assert read("=width + 1").value({"width": "1/3"}, "in") == "1.3333333333333333 in"


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("=", "nothing behind it"),
        ("=1-1/2 + width", '"1-1/2" may be a mixed number or a difference'),
        ("=width - 1 1/2", '"1 1/2" may be a mixed number or a difference'),
        ("=25-10", "may be read in two ways"),
        ("=25 -10", "may be read in two ways"),
        ("=25- 10", "may be read in two ways"),
        ("=1 in-2 in", "may be read in two ways"),
        ("=width / 2 in", '"/ 2 in" may be read in two ways'),
        ("=width/3/4 in", '"/ 3/4 in" may be read in two ways'),
        ("=2 width", 'nothing between "2" and "width"'),
        ("=2width", 'nothing between "2" and "width"'),
        ("=width height", 'nothing between "width" and "height"'),
        ("=12 MM", 'nothing between "12" and "MM"'),
        ("=(width", '"(" without its ")"'),
        ("=width)", '")" without its "("'),
        ("=()", '")" where a name'),
        ("=width +", "the end where a name"),
        ("=*2", '"*" where a name'),
        ("=--width", '"-" where a name'),
        ("=width ** 2", '"*" where a name'),
        ("=width // 2", '"/" where a name'),
        ("=width, 2", '"," has no meaning'),
        ("=width.__class__", '"." has no meaning'),
        ("=__import__('os')", 'nothing between "__import__" and "("'),
        ("=[x for x in width]", '"[" has no meaning'),
        ("=width\n+ 1", "has no meaning"),
        ("=½ * width", "has no meaning"),
        ("=1/0 in + width", "divides by zero"),
        ("=" + "(" * (DEEPEST + 1) + "width" + ")" * (DEEPEST + 1), "nested too deep"),
        ("=" + "width+" * LONGEST, f"expected at most {LONGEST}"),
    ],
)
def test_what_could_be_read_in_two_ways_or_in_none_is_refused(text: str, says: str) -> None:
    with pytest.raises(BadExpression) as caught:
        read(text)
    assert says in f"{caught.value.what}; expected {caught.value.expected}"


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("=width / (h2 - 7)", "divides by (h2 - 7), which is 0"),
        ("=hole + 1", 'hole is "P4", which cannot be reckoned with'),
        ("=-on", "on is true, which cannot be reckoned with"),
        ("=(1 in) * (2 in)", "an area"),
        ("=long * long", "an area"),
        ("=width * 999999999999", "comes to more than 1e12"),
    ],
)
def test_what_cannot_be_reckoned(text: str, says: str) -> None:
    with pytest.raises(BadExpression) as caught:
        read(text).value(VALUES, "mm")
    assert says in caught.value.what


def test_sums_agree_with_python_on_random_ones() -> None:
    """Spaces round every sign, so that both read the same: exact fractions against Python's own."""
    drawn = random.Random(6)

    def one(depth: int) -> str:
        kind = drawn.randrange(4 if depth < 4 else 2)
        if kind < 2:
            return drawn.choice(["width", "height", "h2", str(drawn.randint(1, 99))])
        text = f"{one(depth + 1)} {drawn.choice('+-*/')} {one(depth + 1)}"
        return f"({text})" if drawn.random() < 0.6 else text

    names = {name: Fraction(VALUES[name]) for name in ("width", "height", "h2")}
    tried = 0
    while tried < 300:
        text = f"width + {one(0)}"
        try:
            exact = eval(__exact(text), {}, {**names, "F": Fraction})
        except ZeroDivisionError:
            continue
        if len(text) >= LONGEST or abs(exact) > 1e12:
            continue
        tried += 1
        assert read(f"={text}").value(VALUES, "mm") == float(exact), text


def __exact(text: str) -> str:
    return " ".join(
        f"F({word})" if word.isdigit() else word for word in text.replace("(", "( ").replace(")", " )").split()
    )


# Reading --------------------------------------------------------------------------------------------------------------


def test_every_size_is_an_ordinary_scene() -> None:
    short = loads(PADDLE_SHELF)
    assert (short.sizes, short.size, short.title) == (("short", "long"), "short", "Paddle shelf, short")
    long = short.at_size("long")
    assert (long.sizes, long.size, long.title) == (("short", "long"), "long", "Paddle shelf, long")
    assert loads(PADDLE_SHELF, size="long") == long != short
    assert long.at_size("short") == short
    for scene, reach, y, stop, notch, pins, lug, height in (
        (short, 290.0, 0.0, "N9", 10, ("1",), 30.0, 75),
        (long, 505.0, 43.0, "R9", 5, (), 40.0, 96.5),
    ):
        place, (member,), (plate,) = scene.places[0], scene.members, scene.plates
        assert (place.hole, place.notch, place.pins, place.with_) == (stop, notch, pins, {"height": height})
        assert member.to == (reach, y, 0.0)
        assert plate.at == (reach / 2 - 12.7, 20.0, 0.0)
        assert plate.outline is not None
        assert plate.outline[1] == (lug, 0.0)
        # The same lines as the file.
        assert scene.line_of(("place", 0, "notch")) == PADDLE_SHELF.split("\n").index('notch = "=notch"') + 1
        assert scene.line_of(("member", 0, "to", 1)) == 23


def test_entries_of_some_sizes() -> None:
    short, long = loads(PADDLE_SHELF, "shelf.toml"), loads(PADDLE_SHELF, "shelf.toml", "long")
    assert [[place.name for place in scene.places] for scene in (short, long)] == [["T1", "R2"], ["T1", "R1", "R2"]]
    assert short.line_of(("place", 1, "hole")) == long.line_of(("place", 2, "hole")) == 51
    assert str(problem(short, short.places[1], "hole", "why")) == 'shelf.toml:51: place "R2", size "short": why'
    text = size_text(short)
    assert text.split("\n")[40:48] == [
        "# The long one sags between its ends.",
        "# [[place]]",
        '# name = "R1"',
        '# model = "riser"',
        '# hole = "J9"',
        '# sizes = ["long"]',
        "",
        "[[place]]",
    ]
    assert loads(text) == short
    staged = PADDLE_SHELF + '[[stage]]\nname = "one"\nwithout = ["T1"]\n[[stage]]\nname = "two"\nwelds = []\n'
    one = at_stage(loads(staged), "one")
    assert [(place.name, one.line_of(one.path_of(place))) for place in one.places] == [("R2", 48)]
    assert 'place "R1": unknown key "sizes"' in complaints(size_text(long).replace("# sizes", "sizes"))[0]


def test_a_scene_without_sizes_has_none() -> None:
    scene = loads(SMALLEST.replace("S1", "=S1"))  # without [sizes] the sign means nothing
    assert (scene.sizes, scene.size, scene.places[0].name) == ((), None, "=S1")
    with pytest.raises(SceneError, match=r'no size is called "x"; expected a scene with \[sizes\]'):
        scene.at_size("x")


def test_a_size_is_the_scene_that_its_values_make_by_hand() -> None:
    by_hand = """\
format = 1
title = "Two stops, far"
table = "50/16 1000x600"
[[place]]
name = "S1"
model = "stop_block"
hole = "C4"
[[place]]
name = "S2"
model = "stop_block"
hole = "H4"
turn = 90
"""
    far = loads(TWO_STOPS, size="far")
    assert far == loads(by_hand)
    found = fixture3d.check(far).to_dict()
    assert found.pop("size") == "far"
    by_itself = fixture3d.check(loads(by_hand)).to_dict()
    assert by_itself.pop("size") is None
    assert found == by_itself


def test_from_a_dictionary(tmp_path: Path) -> None:
    data = tomllib.loads(PADDLE_SHELF)
    scene = Scene.from_dict(data, base=tmp_path)
    assert scene == loads(PADDLE_SHELF)
    assert scene.at_size("long") == loads(PADDLE_SHELF, size="long")
    assert scene.at_size("long").base == tmp_path
    assert data == tomllib.loads(PADDLE_SHELF)


_PLAIN = sorted({path.stem for path in SCENES.glob("*.toml")} - {"oar_arm", "everything_wrong.record"})


@pytest.mark.parametrize("name", _PLAIN)
def test_values_taken_out_of_a_demo_scene_come_back(name: str) -> None:
    """Single values of a real file put into the table, some as sums: each size is the scene that it was taken from."""
    file = SCENES / f"{name}.toml"
    data = tomllib.loads(file.read_text(encoding="utf-8"))
    whole = load(file)
    drawn = random.Random(name)
    paths = [path for path in spots(data) if path[0] not in ("format", "units", "title")]
    values: dict[str, list[Any]] = {}
    taken: set[tuple[Any, ...]] = set()
    for path in drawn.sample(paths, 40):
        if any(path[: len(one)] == one or one[: len(path)] == path for one in taken):
            continue  # one lies in the other
        parent: Any = data
        for key in path[:-1]:
            parent = parent[key]
        value = parent[path[-1]]
        if isinstance(value, dict) or (isinstance(value, list) and len(path) == 1):
            continue
        taken.add(path)
        called = f"v{len(values)}"
        if isinstance(value, int | float) and not isinstance(value, bool):
            parent[path[-1]] = f"=({called} - 7) / 4"  # exact: 4 is a power of two
            values[called] = [4 * value + 7] * 2
        else:
            parent[path[-1]] = f"={called}"
            values[called] = [value] * 2
    assert len(values) >= 10
    text = tables_text({**data, "sizes": {"names": ["one", "other"], **values}})
    family = loads(text, str(file))
    for size in family.sizes:
        one = family.at_size(size)
        assert one.title == f"{whole.title}, {size}"
        assert one.model_copy(update={"title": whole.title}) == whole
        assert loads(size_text(one), str(file)) == one
    assert not list(jsonschema.Draft202012Validator(json_schema()).iter_errors(tomllib.loads(text)))


def test_stages_are_of_the_size() -> None:
    text = KAYAK_RACK.replace("\n[table]", '\n[sizes]\nnames = ["a", "b"]\nfirst = [["K1"], ["K1", "K2"]]\n\n[table]')
    text = text.replace('without = ["K2"]', 'without = "=first"')
    for size, gone in (("a", {"K1"}), ("b", {"K1", "K2"})):
        scene = at_stage(loads(text, size=size), "after tacking")
        assert scene.size == scene.whole.size == size
        assert {c.name for c in scene.whole.clamps} - {c.name for c in scene.clamps} == gone
        assert scene.at_size("a").stage is None


def test_titles_by_size_stay_as_they_are() -> None:
    text = TWO_STOPS.replace('"Two stops"', '"=called"').replace(
        "turn = [", 'called = ["Near stops", "Far ones"]\nturn = ['
    )
    scene = loads(text, "stops.toml")
    assert [scene.at_size(name).title for name in scene.sizes] == ["Near stops", "Far ones"]
    assert (loads(TWO_STOPS).family_title, scene.family_title) == ("Two stops", "stops.toml")
    assert complaints(text.replace("Far ones", "Near stops")) == [
        "2: title: two sizes have the same; expected one for each, or one for all to which their names are added"
    ]


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ('["N9", "R9"]', '["N9"]', '8: [sizes]: stop: a list of 1; expected 2, one for each of "short", "long"'),
        ('["N9", "R9"]', '"N9"', '8: [sizes]: stop: "N9" is not a list; expected a list with one value for each size'),
        ('["N9", "R9"]', '["N9", "=notch"]', '8: [sizes]: stop: "=notch" points at another value'),
        ("stop = [", "st-op = [", '8: [sizes]: the name "st-op" cannot stand in a sum; expected letters, digits and _'),
        ("stop = [", "ft = [", '8: [sizes]: the name "ft" is a unit of length; expected another name'),
        ("names = ", "nanes = ", '6: [sizes]: key "names" is missing; expected names = ["small", "large"]'),
        ('"short", "long"]', '"short", "Short"]', '6: [sizes]: names, entry 2: "Short" is there already'),
        ('"short", "long"]', '"short", "a/b"]', '6: [sizes]: names, entry 2: "a/b" has a / in it'),
        ('"short", "long"]', '"short", 3]', "6: [sizes]: names, entry 2: 3 is not a name"),
        ('["short", "long"]', "[]", f"6: [sizes]: names: a list of 0; expected 1 to {MOST_SIZES} names"),
        ('["short", "long"]', '"short"', '6: [sizes]: names: "short" is not a list'),
        ("[sizes]", "[[sizes]]", "5: sizes: a list is not a table of values"),
        ('title = "Paddle shelf"', "", '5: [sizes]: key "title" is missing; expected title = "..." at the top'),
        ('"=stop"', '"=stopp"', '35: place "T1": hole: [sizes] has no "stopp"; nearest: "stop"'),
        ('"=stop"', '"N9"', '8: [sizes]: nothing uses "stop"; expected "=stop" somewhere, or no such line'),
        ('"=stop"', '"=stop + 1"', '35: place "T1", size "short": hole: stop is "N9", which cannot be reckoned with'),
        ('"=stop"', '"=7 + 2"', '35: place "T1": hole: "=7 + 2" has no name of [sizes] in it'),
        ('/ 5"', "/ (notch - 5)\"", '23: member "arm", size "long": to, entry 2: in "=(reach - 290) / (notch - 5)"'),
        ('"N9", "R9"', '"N99", "R9"', '35: place "T1", size "short": hole "N99" is not on the table'),
        ('"N9", "R9"', '"N99", "N99"', '35: place "T1": hole "N99" is not on the table'),  # alike: told once
        ("notch = [10, 5]", "notch = [10, -5]", '37: place "T1", size "long": notch: -5 is too small'),
        ("notch = [10, 5]", 'notch = [10, "5 mm"]', '37: place "T1", size "long": notch: "5 mm" is not a notch'),
        ('"=notch"', '"=notch + 1 mm"', '37: place "T1", size "short": notch: "11 mm" is not a notch'),
        ('sizes = ["long"]', 'sizes = ["lung"]', '46: place "R1": sizes: no size is called "lung"; nearest: "long"'),
        ('sizes = ["long"]', "sizes = []", '46: place "R1": sizes: an empty list; expected some of "short", "long"'),
        ('sizes = ["long"]', 'sizes = "long"', '46: place "R1": sizes: "long" is not a list'),
        ('"K9"', '"K99"', '51: place "R2": hole "K99" is not on the table'),  # another number in each size, told once
        ('"J9"', '"=stop"\nturn = "=200 / (notch - 10)"\nbolt = 1', '47: place "R1", size "long": bolt: 1 is neither'),
        ('table = "50/16 2000x1000"', 'table = "50/16 2000x1000"\nunits = "=stop"', "4: units: \"=stop\" cannot"),
    ],
)  # fmt: skip
def test_faults_are_told_with_line_and_size(old: str, new: str, says: str) -> None:
    assert PADDLE_SHELF.count(old) == 1, old
    said = complaints(PADDLE_SHELF.replace(old, new))
    assert any(line.startswith(says) for line in said), said


def test_one_run_tells_the_faults_of_all_sizes_and_what_is_alike_once() -> None:
    text = TWO_STOPS.replace('"H4"', '"H44"').replace("90]", "9000]").replace('hole = "C4"', 'hoel = "C4"')
    text = text.replace("[0,", "[-9000,")
    assert complaints(text) == [
        '11: place "S1": unknown key "hoel"; nearest: "hole"',
        '15: place "S2", size "far": hole "H44" is not on the table (columns A to T, rows 1 to 12); nearest: "H4"',
        '16: place "S2", size "near": turn: -9000 is not a possible value; expected a number from -360 to 360',
        '16: place "S2", size "far": turn: 9000 is not a possible value; expected a number from -360 to 360',
    ]


def test_very_many_problems_are_counted_once() -> None:
    text = TWO_STOPS + "".join(f'[[place]]\nname = "B{k}"\nmodel = "riser"\non = "C{k}"\n' for k in range(300))
    text = text.replace('"H4"', '"H44"') + 'unknown = "=hole"\n'
    said = complaints(text)
    assert len(said) == 201
    assert said[0].startswith('15: place "S2", size "far": hole "H44"')
    assert said[-1] == " 102 more problems of 302"


def test_what_later_steps_find_has_its_size_too(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = tmp_path / "x.toml"
    text = PADDLE_SHELF.replace("[sizes]", '[sizes]\nsteel = ["SHS 40x40x3", "SHS 40x40x30"]').replace(
        '"slide_stop"', '"slid_stop"'
    )
    file.write_text(text.replace('stock = "SHS 40x40x3"', 'stock = "=steel"'), encoding="utf-8")
    assert main(["check", str(file)]) == 2
    said = capsys.readouterr().err.replace(f"{file}:", "").splitlines()
    assert len(said) == 2
    assert said[0].startswith('20: member "arm", size "long": stock "SHS 40x40x30" has a wall of 30 mm')
    assert said[1] == '35: place "T1": model "slid_stop" is not known; nearest: "slide_stop"'
    assert main(["check", str(file), "--size", "short"]) == 2
    assert 'place "T1", size "short": model' in capsys.readouterr().err


# Writing --------------------------------------------------------------------------------------------------------------


def test_a_size_by_itself_keeps_every_comment_and_line() -> None:
    long = loads(PADDLE_SHELF, "shelf.toml", "long")
    text = size_text(long)
    assert loads(text) == long
    assert loads(text).sizes == ()
    old, new = PADDLE_SHELF.split("\n"), text.split("\n")
    assert len(old) == len(new)
    assert new[1] == 'title = "Paddle shelf, long"  # of either size'
    assert new[4:7] == [
        "# One size of a family, from shelf.toml:  # what differs",
        '# size = "long"',
        "# reach = 505       # middle to end",
    ]
    assert new[21] == "    505,  # its end"
    changed = [k for k, (a, b) in enumerate(zip(old, new, strict=True)) if a != b]
    assert changed == [
        k for k, row in enumerate(old) if k == 1 or 4 <= k <= 10 or '"=' in row or row.startswith("sizes")
    ]


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("lugs = [[[0, 0], [30, 0], [0, 30]], ", "lugs = [  # two\n  [[0, 0], [30, 0], [0, 30]],\n  "),
        ("[sizes]  # what differs\n", ""),
        ("[weldment]", '[weldment]  # after "=reach"'),
    ],
)
def test_other_ways_to_write_it(old: str, new: str) -> None:
    text = PADDLE_SHELF.replace(old, new, 1)
    if not new:  # dotted keys
        head, mark, tail = text.partition("\n[weldment]")
        rows = [f"sizes.{row}" if " = " in row and k > 3 else row for k, row in enumerate(head.split("\n"))]
        text = "\n".join(rows) + mark + tail
    long = loads(text, size="long")
    alone = size_text(long)
    assert loads(alone) == long == loads(PADDLE_SHELF, size="long")
    assert alone.count("\n") == text.count("\n")


def test_sizes_in_braces_and_values_in_one_line() -> None:
    text = (
        'format = 1\ntitle = "x"\ntable = "50/16 1000x600"\nsizes = { names = ["a", "b"], x = [100, 200] }\n'
        'place = [{ name = "B", model = "riser", free = ["=x", "=x/2", 0, 0] }]\n'
    )
    b = loads(text, size="b")
    assert size_text(b).split("\n")[3:5] == [
        '# size = "b": { x = 200 }',
        'place = [{ name = "B", model = "riser", free = [200, 100, 0, 0] }]',
    ]
    assert loads(dumps(b)) == b


def test_what_dump_writes(tmp_path: Path) -> None:
    file = tmp_path / "shelf.toml"
    file.write_text(PADDLE_SHELF, encoding="utf-8")
    scene = load(file)
    assert dumps(scene) == PADDLE_SHELF  # the first stands for the family
    written = dump(scene.at_size("long"), tmp_path / "long.toml")
    assert load(written) == scene.at_size("long")
    assert "# middle to end" in written.read_text(encoding="utf-8")
    other = scene.model_copy(update={"places": ()})
    assert dumps(other) == toml_text(other)
    assert loads(dumps(other)) == other


def test_the_schema_knows_sizes() -> None:
    validator = jsonschema.Draft202012Validator(json_schema())
    assert not list(validator.iter_errors(tomllib.loads(PADDLE_SHELF)))
    for old, new in (
        ('"=notch"', '"notch"'),
        ('names = ["short", "long"]\n', ""),
        ("notch = [10, 5]", "notch = 10"),
        ("format = 1", 'format = "=notch"'),
        ("turn = 180", 'turn = "180"'),
    ):
        assert PADDLE_SHELF.count(old) == 1
        assert list(validator.iter_errors(tomllib.loads(PADDLE_SHELF.replace(old, new)))), new


# Commands -------------------------------------------------------------------------------------------------------------


@pytest.fixture
def stops(tmp_path: Path) -> Path:
    file = tmp_path / "stops.toml"
    file.write_text(TWO_STOPS, encoding="utf-8")
    return file


def test_check_looks_at_all_sizes(stops: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["check", str(stops)]) == 0
    out = capsys.readouterr().out
    assert out.startswith("READY: all 2 sizes - Two stops\n  near: ready: 0 fail, 0 warn, 0 note\n  far: ready: 0 fail")
    near, far, alike = (
        out.index(head) for head in ("== Size 1 of 2: near", "== Size 2 of 2: far", "== In all 2 sizes")
    )
    assert near < out.index("S2 top: z = 50 mm, facing up; centre x 275 mm") < far
    assert far < out.index("S2 top: z = 50 mm, facing up; centre x 337.5 mm") < alike
    assert out.index("Not checked") > alike
    assert out.count("Not checked") == 1

    stops.write_text(TWO_STOPS.replace('"H4"', '"D4"'), encoding="utf-8")  # runs into S1 in one of them
    assert main(["check", str(stops)]) == 1
    out = capsys.readouterr().out
    assert out.startswith(
        "NOT READY: 1 of 2 sizes ready - Two stops\n  near: ready: 0 fail, 0 warn, 0 note\n  far: NOT READY"
    )
    assert main(["check", str(stops), "--size", "near"]) == 0
    assert capsys.readouterr().out.startswith("READY: 0 fail, 0 warn, 0 note - Two stops, near\n")
    assert main(["check", str(stops), "--size", "far"]) == 1
    capsys.readouterr()


def test_json_of_all_sizes_and_of_one(stops: Path, capsys: pytest.CaptureFixture[str]) -> None:
    one = jsonschema.Draft202012Validator(
        json.loads((files("fixture3d.report") / "report.schema.json").read_text("utf-8"))
    )
    many = jsonschema.Draft202012Validator(
        json.loads((files("fixture3d.report") / "sizes.schema.json").read_text("utf-8"))
    )
    assert main(["check", "--json", str(stops)]) == 0
    found = json.loads(capsys.readouterr().out)
    many.validate(found)
    assert (found["schema"], found["scene"], found["ok"]) == ("fixture3d.sizes/1", "Two stops", True)
    assert [part["size"] for part in found["sizes"]] == ["near", "far"]
    assert [part["seats"][1]["holes"][0] for part in found["sizes"]] == ["F4", "H4"]
    main(["check", "--json", "--size", "far", str(stops)])
    alone = json.loads(capsys.readouterr().out)
    assert alone == found["sizes"][1]
    for part in found["sizes"]:
        one.validate(part)
    assert list(many.iter_errors({**found, "sizes": []}))


def test_every_command_takes_a_size(
    stops: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(stops.parent)
    said = 'this is size 1 of 2, "near"; --size for "far"\n'
    assert main(["sheet", "stops.toml"]) == 0
    assert main(["sheet", "stops.toml", "--size", "far"]) == 0
    out, err = capsys.readouterr()
    assert (out.split("\n")[:2], err) == (["stops.pdf", "stops far.pdf"], said)
    assert main(["locate", "100", "--from", "S2.left", "--scene", "stops.toml", "--size", "far"]) in (0, 1)
    assert "100 mm from S2.left" in capsys.readouterr().out.replace("the left of S2", "S2.left")
    assert main(["locate", "stops.toml", "--size", "far"]) == 0
    assert "Two stops, far" in capsys.readouterr().out
    assert main(["export", "stops.toml", "--size", "far", "--stl", "far"]) in (0, 2)
    capsys.readouterr()
    assert main(["again", "stops.toml", "--move", "right", "1", "-o", "moved.toml", "--size", "far"]) == 0
    out, err = capsys.readouterr()
    assert (err, "now: READY: 0 fail, 0 warn, 0 note - Two stops, far" in out) == ("", True)
    moved = load("moved.toml")
    assert [place.hole for place in moved.places] == ["D4", "I4"]
    assert (moved.sizes, moved.title) == ((), "Two stops, far")
    assert main(["again", "stops.toml", "--move", "right", "1", "-o", "near.toml"]) == 0
    assert capsys.readouterr().err == said
    for command in (
        ["check"],
        ["sheet"],
        ["cuts"],
        ["export"],
        ["view", "--png", "x.png"],
        ["locate"],
        ["watch", "--once"],
    ):
        if command[0] != "watch":
            assert main([command[0], "stops.toml", *command[1:], "--size", "fra"]) == 2
            assert (
                capsys.readouterr().err
                == 'stops.toml: no size is called "fra"; expected "near", "far"; nearest: "far"\n'
            )
    assert main(["locate", "100", "--from", "A1.x", "--size", "far"]) == 2
    assert capsys.readouterr().err == "--size is of a scene with sizes; expected --scene with it\n"
    assert main(["check", "near.toml", "--size", "far"]) == 2
    assert capsys.readouterr().err == 'near.toml: no size is called "far"; expected a scene with [sizes]\n'


def test_the_content_code_is_of_the_size() -> None:
    from fixture3d.engine import assemble
    from fixture3d.job.code import content_code

    near, far = (loads(TWO_STOPS, size=name) for name in ("near", "far"))
    codes = [content_code(assemble(scene)) for scene in (near, far, loads(size_text(far)))]
    assert codes[0] != codes[1] == codes[2]
    # What another size says is nothing to this one.
    assert content_code(assemble(loads(TWO_STOPS.replace('"H4"', '"J4"'), size="near"))) == codes[0]


# Whatever is in the file ----------------------------------------------------------------------------------------------

_WORDS = "width|height|notch|hole|in|mm|ft|1|2|3/4|1-1/2|0|0.5|.5|5.|1e3|99999999999999"
_SIGNS = "+|-|*|/|(|)|'|\"|=|,|.|[|]|½|×|−|\n|\t|\x00|\u202e|()| |  |- | -"
BITS = st.sampled_from([*_WORDS.split("|"), *_SIGNS.split("|")])


@tries(400)
@given(st.lists(BITS, max_size=24), st.sampled_from(["", " "]))
@example(["width", "/"] * 12, "")
def test_any_sum_gives_a_value_or_a_line(bits: list[str], gap: str) -> None:
    text = gap.join(bits)
    try:
        found = read(f"={text}").value({"width": 600, "height": "2 ft", "notch": 0, "hole": "C4"}, "mm")
    except (BadExpression, KeyError):
        return
    assert not isinstance(found, float) or math.isfinite(found)
    for spaced in (f"= {text} ", f"=\t{text}"):
        assert read(spaced).value({"width": 600, "height": "2 ft", "notch": 0, "hole": "C4"}, "mm") == found


@tries(150)
@given(st.lists(BITS, max_size=8), st.sampled_from(["hole", "notch", "turn"]), st.data())
def test_any_sum_in_a_file(bits: list[str], key: str, data: st.DataObject) -> None:
    value = json.dumps("=" + " ".join(bits), ensure_ascii=False)
    row = json.dumps(
        data.draw(st.lists(st.one_of(st.integers(-3, 900), st.sampled_from(["C4", "5 mm", "=x"])), max_size=3))
    )
    text = TWO_STOPS.replace('"=hole"', value).replace("turn = [0, 90]", f"{key} = {row}\nwidth = [1, 2]")
    scene = read_text(text)
    if scene is not None:
        for name in scene.sizes:
            read_text(dumps(scene.at_size(name)))


def test_deep_and_large_tables_come_to_an_end() -> None:
    data = tomllib.loads(TWO_STOPS)
    deep: Any = "=hole"
    for _ in range(45):
        deep = [deep]
    wide: Any = ["=hole"]
    for _ in range(40):  # two to the fortieth, if it were unfolded
        wide = [wide, wide]
    for odd in (deep, wide, {"a": wide}, "=" + "(" * 10**6, "=" + "9" * 10**6, None, 10**400, b"x"):
        assert read_data({**data, "title": "x", "place": [{**data["place"][1], "with": odd}]}) is None or odd is None
        assert read_data({**data, "sizes": odd}) is None
        assert read_data({**data, "sizes": {"names": odd, "hole": ["F4", "H4"], "turn": [0, 90]}}) is None
        read_data({**data, "sizes": {"names": ["a", "b"], "hole": [odd, odd], "turn": [0, 90]}})
    text = TWO_STOPS + "".join(f'[[place]]\nname = "B{k}"\nmodel = "riser"\nhole = "=hole"\n' for k in range(400))
    assert loads(text).at_size("far").places[-1].hole == "H4"
    assert complaints(TWO_STOPS + "x = [" + "[" * 200 + '"=hole"' + "]" * 200 + "]\n")
