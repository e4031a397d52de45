"""Whatever is in the file: a scene, or one plain line a problem. Never a traceback, never a scene that is not one."""

import copy
import datetime
import math
import os
import tomllib
from typing import Any

import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from fixture3d.errors import SceneError
from fixture3d.scene import Scene, loads
from fixture3d.scene.read import decode
from fixture3d.scene.text import Lines
from fixture3d.scene.upgrade import upgrade
from fixture3d.scene.write import toml_text
from tests.scene_texts import ALL, GARDEN_GATE, KAYAK_RACK, SMALLEST

TRIES = float(os.environ.get("FIXTURE3D_FUZZ", "1"))  # a night's run asks for 50 times as many


def tries(count: int) -> settings:
    """As many examples, however long each takes: always the same ones, unless more are asked for."""
    slow = [HealthCheck.too_slow, HealthCheck.data_too_large]
    return settings(
        max_examples=round(count * TRIES), deadline=None, derandomize=TRIES <= 1.0, suppress_health_check=slow
    )


def judge(error: SceneError, text: str | None = None) -> None:
    """The promises about every message."""
    assert error.problems
    if text is not None:
        assert all(p.file == "x.toml" and 0 <= p.line <= text.count("\n") + 1 for p in error.problems)
    lines = str(error).split("\n")
    assert len(lines) == len(error.problems) <= 201
    for line in lines:
        assert line.isprintable()
        assert 0 < len(line) < 2000
        assert "Traceback" not in line


def sound(scene: Scene) -> None:
    """The promises about every scene that is accepted."""
    assert loads(toml_text(scene)) == scene
    assert 0 < scene.table.bore < min(scene.table.pitch)
    for place in (*scene.places, *scene.clamps):
        if place.hole is not None:
            assert all(math.isfinite(v) for v in scene.table.find(place.hole).xyz)
    for one in map(scene.at_size, scene.sizes):
        assert loads(toml_text(one)) == one


def read_text(text: str) -> Scene | None:
    try:
        scene = loads(text, "x.toml")
    except SceneError as error:
        judge(error, text)
        return None
    sound(scene)
    return scene


def read_bytes(raw: bytes) -> None:
    try:
        text = decode(raw, "x.toml")
    except SceneError as error:
        judge(error)
        return
    read_text(text)


def read_data(data: Any) -> Scene | None:
    try:
        scene = Scene.from_dict(data)
    except SceneError as error:
        judge(error)
        return None
    sound(scene)
    return scene


@tries(150)
@given(st.binary(max_size=300))
def test_any_bytes(raw: bytes) -> None:
    read_bytes(raw)


@tries(150)
@given(st.data())
def test_a_scene_with_damaged_bytes(data: st.DataObject) -> None:
    raw = bytearray(data.draw(st.sampled_from(sorted(ALL.values()))).encode())
    for _ in range(data.draw(st.integers(1, 4))):
        at = data.draw(st.integers(0, len(raw) - 1))
        raw[at : at + data.draw(st.integers(0, 8))] = data.draw(st.binary(max_size=8))
        if not raw:
            break
    read_bytes(bytes(raw))


@tries(150)
@given(st.sampled_from(sorted(ALL.values())), st.integers(0, 10_000))
def test_a_file_that_ends_too_soon(text: str, at: int) -> None:
    read_text(text[: at % len(text)])


KEYS = (
    "format table place clamp member frame plate weld grid torch technique weldment stage accept inventory name model "
    "hole on with shims pins turn free units"
)
SIGNS = '= [ ] [[ ]] { } , . # " \' """ \'\'\' 1 -1 0.5 nan inf 1e400 0x10 true "S1" "C4" 1979-05-27 07:32:00 \\u0000 é'
WORDS = st.sampled_from([*KEYS.split(), *SIGNS.split(), "\u202e", "\n", "\r\n", " "])


@tries(200)
@given(st.lists(WORDS, max_size=40), st.sampled_from(["", " "]), st.booleans())
def test_any_heap_of_words(words: list[str], gap: str, headed: bool) -> None:
    text = gap.join(words)
    Lines(text)  # never fails, not even on what is no TOML
    read_text(SMALLEST + text if headed else text)


@tries(150)
@given(st.data())
def test_a_scene_with_lines_moved_about(data: st.DataObject) -> None:
    rows = data.draw(st.sampled_from([KAYAK_RACK, GARDEN_GATE])).split("\n")
    for _ in range(data.draw(st.integers(1, 3))):
        a, b = (data.draw(st.integers(0, len(rows) - 1)) for _ in range(2))
        if data.draw(st.booleans()):
            rows[a], rows[b] = rows[b], rows[a]
        else:
            rows.insert(a, rows[b])
    read_text("\n".join(rows))


NUMBERS = st.one_of(
    st.sampled_from(
        [0, -1, 1, 2001, 10**6, 10**400, -(10**400), 0.0, -0.0, 1e-300, 1e300, math.nan, math.inf, -math.inf]
    ),
    st.integers(-100, 100),
    st.floats(-1e3, 1e3),
)
TEXTS = st.one_of(
    st.sampled_from(
        [
            "",
            " ",
            "S1",
            "R2",
            "C4",
            "ZZ9",
            "=reach",
            "=reach / 2",
            "side:B2",
            "base front",
            "square",
            "auto",
            "in",
            "mm",
            "3/4",
            "1-1/2 in",
        ]
    ),
    st.sampled_from(
        ["NUL", "a/b", "..", "<script>", "a\nb", "\x00", "x" * 5000, "9" * 400 + " in", "1/0", "\ud800", "\u202eab"]
    ),
    st.text(max_size=12),
)
SCALARS = st.one_of(NUMBERS, TEXTS, st.booleans(), st.just(datetime.date(2020, 2, 29)), st.just(datetime.time(7, 30)))
VALUES = st.recursive(
    SCALARS,
    lambda inner: st.one_of(st.lists(inner, max_size=4), st.dictionaries(TEXTS, inner, max_size=3)),
    max_leaves=8,
)
DATA = {name: tomllib.loads(text) for name, text in ALL.items()}


def spots(value: Any, path: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    """Paths of every key and list entry below ``value``."""
    keys = value.keys() if isinstance(value, dict) else range(len(value)) if isinstance(value, list) else ()
    return [found for key in keys for found in ((*path, key), *spots(value[key], (*path, key)))]


@tries(300)
@given(st.data())
def test_a_scene_with_any_value_at_any_place(data: st.DataObject) -> None:
    names = ["kayak rack", "kayak rack", "garden gate", "saw stand", "paddle shelf"]
    scene = copy.deepcopy(DATA[data.draw(st.sampled_from(names))])
    for _ in range(data.draw(st.integers(1, 3))):
        path = data.draw(st.sampled_from(spots(scene)))
        parent: Any = scene
        for key in path[:-1]:
            parent = parent[key]
        what = data.draw(st.sampled_from(["replace", "replace", "replace", "delete", "add"]))
        if what == "replace":
            parent[path[-1]] = data.draw(VALUES)
        elif what == "delete":
            del parent[path[-1]]
        elif isinstance(parent, dict):
            parent[data.draw(TEXTS)] = data.draw(VALUES)
        else:
            parent.append(data.draw(VALUES))
        if not scene:
            break
    read_data(scene)


@tries(150)
@given(st.dictionaries(st.sampled_from(sorted(DATA["kayak rack"])), VALUES, max_size=6))
@example({"format": 1, "table": {1: 2}})
@example({"format": 1, "table": None, "place": (None, object())})
@example({1: 2, "format": 1})
@example({"format": 1, "technique": {"x" * 5000: {}}, "weld": [{"name": "w", "technique": "thin edge"}]})
@example({"format": 1, "table": "50/16 2000x1000", "place": [{"name": b"S1", "model": {1, 2}, "hole": "C4"}]})
def test_any_data(data: dict[Any, Any]) -> None:
    read_data(data)


@tries(150)
@given(
    st.integers(1, 2000),
    st.integers(1, 60),
    st.floats(1, 300, allow_subnormal=False),
    st.floats(0.1, 50, allow_subnormal=False),
    st.sampled_from(["mm", "in"]),
    st.lists(st.tuples(st.floats(-500, 500), st.floats(-720, 720)), max_size=4),
)
def test_any_numbers_survive_writing(
    columns: int, rows: int, pitch: float, bore: float, units: str, free: list[tuple[float, float]]
) -> None:
    scene = read_data(
        {
            "format": 1,
            "units": units,
            "table": {"pitch": pitch, "bore": bore, "columns": columns, "rows": rows},
            "place": [
                {"name": f"B{k}", "model": "riser", "free": [x, x / 3, -x, turn], "with": {"height": x}}
                for k, (x, turn) in enumerate(free)
            ],
        }
    )
    if scene is not None:
        plain = toml_text(scene)
        assert toml_text(loads(plain)) == plain


@tries(150)
@given(st.lists(WORDS, max_size=20), st.sampled_from(["# note\n", "", "# a\n\n", "\n\n"]))
def test_upgrading_changes_nothing_but_the_format(words: list[str], heading: str) -> None:
    text = heading + " ".join(words)
    try:
        done = upgrade(text, "x.toml")
    except SceneError as error:
        judge(error)
        return
    before, after = tomllib.loads(text), tomllib.loads(done)
    assert after.pop("format") == 1
    before.pop("format", None)
    assert repr(after) == repr(before)
    assert upgrade(done) == done


LONG = "B" * 70


@pytest.mark.parametrize(
    "text",
    [
        "a = [" * 20_000,
        "a = {b = " * 20_000,
        "[" + "a." * 100_000 + "a]",
        "a" + "." * 100_000,
        '"a".' * 50_000 + "a = 1",
        "a = '" + "'" * 100_000,
        'a = "' + "\\" * 100_001,
        "#" * 1_000_000,
        "[[place]]\n" * 60_000,
        "".join(f"k{k} = {k}\n" for k in range(20_000)),
        SMALLEST + "".join(f'[[place]]\nname = "B{k}"\nmodel = "m"\non = "B{k + 1}"\n' for k in range(4_900)),
        SMALLEST
        + "".join(f'[[place]]\nname = "{"B" * 70}{k}"\nmodel = "m"\non = "{"C" * 70}"\n' for k in range(4_900)),
        SMALLEST + "".join(f'[[place]]\nname = "B"\nmodel = "m"\nhole = "{"Z" * 400}{k}"\n' for k in range(4_900)),
        SMALLEST + 'unknown = "' + "x" * 1_000_000 + '"',
        SMALLEST.replace("C4", "C" * 1_000_000),
        SMALLEST + "turn = [" + "1," * 300_000 + "]",
        SMALLEST + "with = {" + ", ".join(f"k{k} = {k}" for k in range(20_000)) + "}",
        SMALLEST.replace("50/16 2000x1000", "/" * 5_000 + " " * 5_000 + "x" * 5_000),
        SMALLEST.replace("50/16 2000x1000", "1/1 " * 20_000),
    ],
    ids=lambda text: text[:12].encode("unicode_escape").decode() + f"...{len(text)}",
)
def test_large_and_deep_texts_come_to_an_end(text: str) -> None:
    assert read_text(text) is None or len(text) < 400_000
