"""From one setup to the next: the fewest moves, none of which meets a block, told so that it can be done."""

from __future__ import annotations

import io
import json
import random
from collections.abc import Sequence
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any, cast

import numpy as np
import pytest

from fixture3d import frame
from fixture3d.cli import main
from fixture3d.engine import assemble, load
from fixture3d.errors import FixtureError
from fixture3d.job import Body, Job
from fixture3d.job.going_in import opened
from fixture3d.scene import loads
from fixture3d.swap.pdf import swap_pdf
from fixture3d.swap.puzzle import Answer, Puzzle, solve
from fixture3d.swap.spots import puzzle_of
from fixture3d.swap.swap import Swap, swap
from fixture3d.swap.text import to_dict, to_text
from tests.conftest import SCENES
from tests.swap_cases import fewest_by_trying, moves_when_done, random_puzzle

HEAD = 'format = 1\ntitle = "{title}"\ntable = "50/16 {table}"\n'


def setup(*blocks: str, title: str = "Setup", table: str = "800x800") -> Job:
    """A job of blocks such as ``S1 stop_block C4 turn=90 with.height=60``."""
    return assemble(loads(text_of(*blocks, title=title, table=table), f"{title}.toml"))


def text_of(*blocks: str, title: str = "Setup", table: str = "800x800") -> str:
    out = [HEAD.format(title=title, table=table)]
    for block in blocks:
        name, model, hole, *more = block.split()
        where = f'on = "{hole[3:]}"' if hole.startswith("on:") else f'hole = "{hole}"'
        lines = [f"[[{'clamp' if 'clamp' in model else 'place'}]]", f'name = "{name}"', f'model = "{model}"', where]
        sizes = [one.removeprefix("with.").replace("=", " = ") for one in more if one.startswith("with.")]
        lines += [one.replace("=", " = ", 1) for one in more if not one.startswith("with.")]
        lines += [f"with = {{ {', '.join(sizes)} }}"] if sizes else []
        out.append("\n".join(lines) + "\n")
    return "\n".join(out)


def told(found: Swap) -> list[tuple[str, str, str]]:
    """What is done to which block, and where it comes to."""
    return [(line.do, line.block, line.after.hole if line.after else "") for line in found.lines]


# --- as numbers


@pytest.mark.parametrize("part", range(3))
def test_fewest_moves_against_trying_everything(part: int) -> None:
    """Random small cases; every proposed step can be done, and no sequence of lifting and putting down is shorter."""
    seen: set[Any] = set()
    for seed in range(100 * part, 100 * (part + 1)):
        puzzle = random_puzzle(seed)
        got, least = solve(puzzle), fewest_by_trying(puzzle)
        if least is None:
            assert got.stuck, seed
            assert not got.steps
        else:
            assert moves_when_done(puzzle, got) == got.moves == got.least == least, seed
            assert got.proven
            seen.add(least > max(len(puzzle.old), len(puzzle.new)))
    assert seen == {True, False}  # some need the rack on the way


def test_five_and_five_against_trying_everything() -> None:
    for seed in range(1000, 1012):
        puzzle = random_puzzle(seed, most=5)
        got, least = solve(puzzle), fewest_by_trying(puzzle)
        assert bool(got.stuck) == (least is None), seed
        if least is not None:
            assert moves_when_done(puzzle, got) == got.moves == least, seed


def test_there_and_back_take_as_many_moves() -> None:
    for seed in range(300, 360):
        puzzle = random_puzzle(seed)
        m, n = len(puzzle.old), len(puzzle.new)

        def turned(spot: int, m: int = m, n: int = n) -> int:
            return spot + n if spot < m else spot - m

        back = Puzzle(
            old=puzzle.new,
            new=puzzle.old,
            pairs={(turned(j), turned(i)): way for (i, j), way in puzzle.pairs.items()},
            still={turned(j): turned(i) for i, j in puzzle.still.items()},
            anew=frozenset(turned(puzzle.still[i]) for i in puzzle.anew),
            blocks=frozenset((turned(a), turned(b)) for a, b in puzzle.blocks),
            hinders={turned(puzzle.still[i]): frozenset(map(turned, b)) for i, b in puzzle.hinders.items()},
        )
        one, two = solve(puzzle), solve(back)
        assert (bool(one.stuck), one.moves) == (bool(two.stuck), two.moves), seed


def test_by_hand() -> None:
    """Two unlike blocks that change places: one must wait on the rack. Two alike that do so: nothing is to be done."""
    crossed = frozenset({(0, 2), (2, 0), (1, 3), (3, 1)})
    got = solve(Puzzle(old=("a", "b"), new=("b", "a"), pairs={(0, 3): 1.0, (1, 2): 1.0}, blocks=crossed))
    assert (got.moves, got.least) == (3, 3)
    assert [step.do for step in got.steps] == ["off", "move", "on"]
    alike = {(0, 2): 0.0, (0, 3): 1.0, (1, 2): 1.0, (1, 3): 0.0}
    got = solve(Puzzle(old=("a", "a"), new=("a", "a"), pairs=alike, still={0: 2, 1: 3}, blocks=crossed))
    assert (got.moves, got.steps, got.stays) == (0, (), ((0, 2), (1, 3)))
    # What cannot go straight is on the rack before it comes from there.
    got = solve(Puzzle(old=("a",), new=("a",), pairs={}))
    assert [step.do for step in got.steps] == ["off", "on"]
    # Three alike, each next to a place that the next one keeps shut: not the short ways, but into what each keeps shut.
    ways = {(i, 3 + j): 0.0 if i == j else 100.0 for i in range(3) for j in range(3)}
    got = solve(Puzzle(old=("a",) * 3, new=("a",) * 3, pairs=ways, blocks=frozenset({(3, 1), (4, 2), (5, 0)})))
    assert (got.moves, {(step.old, step.new) for step in got.steps}) == (3, {(1, 3), (2, 4), (0, 5)})
    # Of two that are as few the shorter way is taken.
    far = {(0, 2): 500.0, (0, 3): 10.0, (1, 2): 10.0, (1, 3): 500.0}
    got = solve(Puzzle(old=("a", "a"), new=("a", "a"), pairs=far))
    assert {(step.old, step.new) for step in got.steps} == {(0, 3), (1, 2)}
    assert got.shortest


def test_the_very_same_block_is_not_in_two_places() -> None:
    """The block of spot 0 is the one that spot 1 wants; where it cannot go straight it still leaves before it comes."""
    puzzle = Puzzle(old=("a",), new=("a", "a"), pairs={(0, 1): 0.0}, follows=frozenset({(0, 1)}))
    got = solve(puzzle)
    assert [(s.do, s.new) for s in got.steps if s.new == 1] == [("move", 1)]
    apart = replace(puzzle, pairs={})
    order = [(s.do, s.new) for s in solve(apart).steps]
    assert order.index(("off", None)) < order.index(("on", 1))


@pytest.mark.parametrize("bound", [{"rounds": 0}, {"effort": 0}])
def test_a_bounded_search_says_so(monkeypatch: pytest.MonkeyPatch, bound: dict[str, int]) -> None:
    from fixture3d.swap import puzzle as module
    from fixture3d.tolerance import Swapping

    monkeypatch.setattr(module, "SWAPPING", Swapping(**bound))
    bounded = 0
    for seed in range(0, 60):
        puzzle = random_puzzle(seed)
        least, got = fewest_by_trying(puzzle), solve(puzzle)
        if least is not None and not got.stuck:
            assert moves_when_done(puzzle, got) == got.moves >= least
            assert got.least <= least
            bounded += not got.proven
    assert bounded


# --- on the table


def test_what_is_alike_stays_by_whatever_name() -> None:
    before = setup("S1 stop_block C4", "R1 riser H8", "R2 riser H12")
    after = setup("anvil stop_block C4", "R2 riser H8", "R9 riser L12", title="Next")
    found = swap(before, after)
    assert told(found) == [("move", "R2", "L12")]
    assert found.lines[0].becomes == "R9"
    assert set(found.stays) == {("S1", "anvil"), ("R1", "R2")}


def test_another_size_is_another_block() -> None:
    found = swap(setup("R1 riser C4 with.height=50"), setup("R1 riser C4 with.height=60"))
    assert told(found) == [("take off", "R1", ""), ("put on", "R1", "C4")]
    assert found.moves == 2


def test_two_that_change_places_need_the_rack_once() -> None:
    before = setup("S1 stop_block C4", "R1 riser H8 with.height=75")
    after = setup("R1 riser C4 with.height=75", "S1 stop_block H8")
    found = swap(before, after)
    assert found.moves == found.least == 3
    assert [line.do for line in found.lines] == ["lay by", "move", "put back"]
    assert "by way of the rack" in to_text(found)


def test_a_stack_comes_down_from_the_top_and_goes_up_from_the_bottom() -> None:
    before = setup("R1 riser C4", "R2 riser on:R1 with.height=75", "S1 stop_block J4")
    after = setup("R1 riser H9", "R2 riser on:R1 with.height=75", "S1 stop_block J4")
    found = swap(before, after)
    # The upper one cannot go straight: its new place is on the lower one, which it stands on.
    assert [(line.do, line.block) for line in found.lines] == [("lay by", "R2"), ("move", "R1"), ("put back", "R2")]
    assert swap(before, setup("S1 stop_block J4")).moves == 2
    gone = [line.block for line in swap(before, setup("S1 stop_block J4")).lines]
    assert gone == ["R2", "R1"]


def test_what_is_bolted_to_an_upright_face_comes_off_before_and_goes_on_after_what_carries_it() -> None:
    """Going straight up an angle plate meets nothing that is bolted to its face, and yet it carries it."""
    text = (SCENES / "paddle_hook.toml").read_text(encoding="utf-8")
    hook, bare = assemble(loads(text, "hook.toml")), setup("S1 riser C4", table="1200x900")
    on = {name for name, seat in hook.seats.items() if seat.stands_on == "AP"}
    assert len(on) == 5
    order = [line.block for line in swap(hook, bare).lines if line.do == "take off"]
    assert on < set(order[: order.index("AP")])
    order = [line.block for line in swap(bare, hook).lines if line.do == "put on"]
    assert on < set(order[order.index("AP") :])


def test_a_block_under_one_that_stays_takes_that_one_off_for_a_while() -> None:
    """The riser below is exchanged for another model of the same height: what stands on it must wait on the rack."""
    before = setup("R1 riser C4 with.height=60", "R2 riser on:R1 with.height=75")
    after = setup("L1 stop_block C4 with.height=60", "R2 riser on:L1 with.height=75")
    top = [float(job.seats["R2"].model_to_world[2, 3]) for job in (before, after)]
    assert top == [60.0, 60.0]
    found = swap(before, after)
    assert found.moves == found.least == 4
    assert [(line.do, line.block) for line in found.lines] == [
        ("lay by", "R2"),
        ("take off", "R1"),
        ("put on", "L1"),
        ("put back", "R2"),
    ]


def test_a_notch_is_set_where_the_block_stands() -> None:
    found = swap(setup("T1 slide_stop C8 notch=3"), setup("T1 slide_stop C8 notch=10"))
    assert (found.moves, told(found)) == (0, [("set anew", "T1", "C8")])
    assert "C8: notch 3 to notch 10" in to_text(found)
    assert "No block is lifted. 0 of 1 blocks stay, 1 set anew." in to_text(found)


def test_a_slide_is_set_once_its_way_is_clear() -> None:
    """What stands where the slide comes to is taken away before; what comes there waits until it is back."""
    tips = [max(float(b.box[1, 0]) for b in setup(f"T1 slide_stop E8 notch={n}").bodies) for n in (0, 16)]
    assert tips == [290.0, 338.0]
    at = "P1 dowel G8 with.diameter=18"  # in column G, 300 from column A: from 291 on
    out = swap(setup("T1 slide_stop E8 notch=0", at), setup("T1 slide_stop E8 notch=16"))
    assert [line.do for line in out.lines] == ["take off", "set anew"]
    stays = swap(setup("T1 slide_stop E8 notch=0", at), setup("T1 slide_stop E8 notch=16", at))
    assert stays.stuck  # nothing can be set through what stays
    back = swap(setup("T1 slide_stop E8 notch=16"), setup("T1 slide_stop E8 notch=0", at))
    assert [line.do for line in back.lines] == ["set anew", "put on"]


def test_dowels_bolts_and_shims_count() -> None:
    before = setup("R1 riser C4", "S1 stop_block J4")
    after = setup("R1 riser C4 bolt=true", "S1 stop_block J4 pins=[1]")
    found = swap(before, after)
    assert found.moves == 0
    assert sorted(line.block for line in found.lines) == ["R1", "S1"]
    small = {one.what: (one.before, one.after) for one in found.small}
    dowels, bolts = small["dowels 16 mm"], small["hold-down bolts"]
    count = [sum(p.state == "seated" for s in job.seats.values() for p in s.pins) for job in (before, after)]
    assert dowels == (count[0], count[1] - 1)
    assert bolts == (0, 1)
    assert "Fetch 1 hold-down bolts; left over: 2 dowels 16 mm." in to_text(found)


def test_shims_under_a_block_lift_it() -> None:
    under = 'shims=[{pad="seat",by=[1]}]'
    found = swap(setup("R1 riser C4"), setup(f"R1 riser C4 {under}"))
    assert [line.do for line in found.lines] == ["move"]
    front = 'shims=[{pad="front",by=[1]}]'
    assert [line.do for line in swap(setup("S1 stop_block C4"), setup(f"S1 stop_block C4 {front}")).lines] == [
        "set anew"
    ]


def test_half_way_round_it_is_the_same_block() -> None:
    """A riser of two rows turned half way round stands in the same four holes; one of one row is another way round."""
    one = setup("R1 riser C4 with.height=60")
    holes = one.seats["R1"].holes
    found = swap(one, setup(f"R1 riser {holes[-1]} turn=180 with.height=60"))
    assert len(holes) == 4
    assert (found.moves, len(found.stays)) == (0, 1)
    single = swap(setup("R1 riser C4 with.rows=1"), setup("R1 riser D4 turn=180 with.rows=1"))
    assert single.spots[0].seat.holes == single.spots[1].seat.holes[::-1]
    assert told(single) == [("move", "R1", "D4")]


def test_a_marked_block_goes_where_it_is_wanted() -> None:
    """Two of one kind: the one that the next setup names by its stamp is the one that goes there, however far."""

    def stamped(job: Job, **marks: str) -> Job:
        seats = {
            name: replace(s, place=cast(Any, _Marked(s.place, marks.get(name, "")))) for name, s in job.seats.items()
        }
        return replace(job, seats=seats)

    before = setup("R1 riser C4", "R2 riser M4")
    after = setup("R3 riser C8", "R4 riser M8")
    plain, _ = puzzle_of(before, after)
    assert set(plain.pairs) == {(0, 2), (0, 3), (1, 2), (1, 3)}
    puzzle, _ = puzzle_of(stamped(before, R1="B7"), stamped(after, R4="B7"))
    assert set(puzzle.pairs) == {(0, 3), (1, 2)}
    assert puzzle.follows == {(0, 3)}


def test_a_block_without_a_mark_is_not_put_back_as_the_marked_one() -> None:
    """Whether the one that stands there is the one that is asked for is not known: what to look at is told."""
    plain, marked = setup("R1 riser C4"), setup("R1 riser C4 mark='B7'")
    found = swap(plain, marked)
    assert told(found) == [("take off", "R1", ""), ("put on", "R1", "C4")]
    assert [line.size for line in found.lines] == ["standard", "standard, marked B7"]
    assert any("look whether it is R1" in note for note in found.notes)
    back = swap(marked, plain)
    assert (back.moves, back.notes) == (0, ())


class _Marked:
    """A place with a stamp."""

    def __init__(self, place: Any, mark: str) -> None:
        self._place, self.mark = place, mark

    def __getattr__(self, name: str) -> Any:
        return getattr(self._place, name)


def random_setup(seed: int) -> tuple[str, ...]:
    """Five blocks on a table of 10 by 10, of which no two share a part of the table."""
    r = random.Random(seed)
    models = ["stop_block", "riser", "step_block with.height=85", "slide_stop notch=5", "toggle_clamp", "riser"]
    while True:
        rows = []
        for k, model in enumerate(r.sample(models, 5)):
            name, *rest = model.split()
            hole = f"{'CDEFGH'[r.randrange(6)]}{r.randint(3, 8)}"
            rows.append(" ".join([f"B{k}", name, hole, f"turn={r.choice((0, 90, 180, 270))}", *rest]))
        job = setup(*rows, table="500x500")
        boxes = [np.array([b.box for b in job.of_item(n) if b.role in ("block", "clamp")]) for n in job.seats]
        feet = [(b[:, 0, :2].min(axis=0), b[:, 1, :2].max(axis=0)) for b in boxes]
        apart = all(
            (feet[i][0] >= feet[j][1] - 1e-6).any() or (feet[j][0] >= feet[i][1] - 1e-6).any()
            for i in range(5)
            for j in range(i)
        )
        if apart and not any(seat.complaint for seat in job.seats.values()):
            return tuple(rows)


def overlaps(one: Sequence[Body], other: Sequence[Body], up: float) -> bool:
    """Whether one block lifted by so much lies in another one, by exact booleans of their meshes."""
    for a in one:
        pose = frame.chain(frame.translation((0.0, 0.0, up)), opened(a))
        mine = a.shape.mesh.manifold.transform(np.ascontiguousarray(pose[:3]))
        for b in other:
            theirs = b.shape.mesh.manifold.transform(np.ascontiguousarray(opened(b)[:3]))
            if (mine ^ theirs).volume() > 50.0:  # mm3; faces that only touch have none
                return True
    return False


def test_no_proposed_block_meets_another_on_its_way() -> None:
    """Random pairs of setups: every lift and every way down is tried in steps of 5 mm with another engine."""
    tried = parked = 0
    for seed in range(6):
        before, after = (setup(*random_setup(10 * seed + k), table="500x500") for k in (1, 2))
        found = swap(before, after)
        assert not found.stuck
        here = {k: blocks(found, k) for k in range(len(before.seats))}
        for line in found.lines:
            old, new = line.spots
            if line.do == "set anew":
                here[int(new or 0)] = blocks(found, int(new or 0))
                del here[int(old or 0)]
                continue
            for spot, leaves in ((old, True), (new, False)):
                if spot is None:
                    continue
                if leaves:
                    here.pop(spot if spot in here else found_twin(found, spot))
                mine = blocks(found, spot)
                for up in np.arange(0.0 if not leaves else 5.0, 260.0, 5.0):
                    near = [other for other in here.values() if flat_boxes_meet(mine, other)]
                    assert not any(overlaps(mine, other, float(up)) for other in near), (seed, line)
                    if not near:
                        break
                    tried += 1
                if not leaves:
                    here[spot] = mine
            parked += line.do == "lay by"
        assert len(here) == len(after.seats)
    assert tried > 20
    assert parked


def blocks(found: Swap, spot: int) -> list[Body]:
    one = found.spots[spot]
    return [body for body in one.job.of_item(one.seat.name) if body.role in ("block", "clamp", "shim")]


def found_twin(found: Swap, spot: int) -> int:
    raise AssertionError(f"{found.spots[spot].seat.name} is lifted but does not stand there")


def flat_boxes_meet(one: Sequence[Body], other: Sequence[Body]) -> bool:
    """Whether their shadows on the table may overlap, clamps open."""

    def shadow(bodies: Sequence[Body]) -> tuple[Any, Any]:
        points = np.vstack([frame.points(opened(b), b.shape.mesh.vertices) for b in bodies])
        return points.min(axis=0)[:2], points.max(axis=0)[:2]

    (a, b), (c, d) = shadow(one), shadow(other)
    return bool((a < d - 1e-6).all() and (c < b - 1e-6).all())


def test_what_stands_in_each_others_way_is_not_proposed(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Two blocks that share a part of the table cannot both have come down straight."""
    (tmp_path / "old.toml").write_text(text_of("S1 stop_block C4", "R1 riser D4"), encoding="utf-8")
    (tmp_path / "new.toml").write_text(text_of("S1 stop_block J9", "R1 riser M4"), encoding="utf-8")
    code = main(["swap", str(tmp_path / "old.toml"), str(tmp_path / "new.toml"), "-o", str(tmp_path / "x.pdf")])
    out = capsys.readouterr().out
    assert code == 1
    assert "S1 (where it stands) and R1 (where it stands) stand in each other's way" in out
    assert not (tmp_path / "x.pdf").exists()
    main(["swap", str(tmp_path / "old.toml"), str(tmp_path / "new.toml"), "--json"])
    data = json.loads(capsys.readouterr().out)
    assert (data["ok"], data["moves"], data["steps"]) == (False, None, [])


# --- demo scenes


@cache
def kayak() -> Swap:
    """A demo scene against itself moved by one hole: every block goes, into places that the others have left."""
    from fixture3d.again.again import again
    from fixture3d.again.change import change_of

    scene = load(SCENES / "kayak_rack.toml")
    job = assemble(scene)
    made = again(scene, [job], change_of(scene.table, "left-right"))
    return swap(job, assemble(loads(made.text, str(scene.path))))


def test_a_mirrored_demo_takes_one_move_more_than_there_are_blocks() -> None:
    """22 blocks all go elsewhere. The two stops and the two slide stops of the long sides want each other's places,
    crosswise, so that one of the four must wait on the rack.
    """
    found = kayak()
    assert (found.moves, found.least, found.proven) == (23, 23, True)
    assert sum(line.do == "lay by" for line in found.lines) == 1
    assert found.opened == ("K1", "K2", "K3", "K4")
    assert found.work
    text = to_text(found)
    assert "First open K1, K2, K3 and K4 and take the work off." in text
    assert len(text.splitlines()) < 35


def test_stages_by_name(capsys: pytest.CaptureFixture[str]) -> None:
    scene = str(SCENES / "bench_end.toml")
    assert main(["swap", scene, scene, "--to-stage", "second side", "--json"]) == 0
    done = capsys.readouterr()
    data = json.loads(done.out)
    assert (data["from"]["stage"], data["to"]["stage"]) == ("first side", "second side")
    assert "--from-stage for" in done.err
    assert [s["block"] for s in data["steps"] if s["do"] == "move"] == ["R1"]
    assert main(["swap", scene, scene, "--from-stage", "nope"]) == 2
    assert capsys.readouterr().err.count("\n") == 1


def test_json_says_the_same_as_the_text() -> None:
    found = kayak()
    data = to_dict(found)
    assert data["schema"] == "fixture3d.swap/1"
    assert data["moves"] == sum(step["do"] != "set anew" for step in data["steps"]) == 23
    assert [step["number"] for step in data["steps"]] == list(range(1, 24))
    first = data["steps"][0]
    assert f"{first['from']['hole']} at {first['from']['turn']}" in to_text(found)
    assert json.loads(json.dumps(data, allow_nan=False)) == data
    step = next(s for s in data["steps"] if s["do"] == "put back")
    assert step["from"] is None
    assert step["block"] != step["becomes"]


# --- tables


@pytest.mark.parametrize(
    ("other", "why"),
    [
        ('table = "100/28 800x800"', "expected the same pitch and bore"),
        ('table = "50/16.5 800x800"', "expected the same pitch and bore"),
        (
            '[table]\npitch = 50\nbore = 16\ncolumns = 16\nrows = 16\nnames = { corner = "front right" }',
            "expected the same names and corner",
        ),
        ("[table]\npitch = 50\nbore = 16\ncolumns = 16\nrows = 16\nstagger = true", "second grid in one of them only"),
    ],
)
def test_other_tables_are_refused(other: str, why: str) -> None:
    before = setup("S1 stop_block C4")
    after = assemble(
        loads(f'format = 1\n{other}\n[[place]]\nname = "S1"\nmodel = "stop_block"\nhole = "C4"\n', "b.toml")
    )
    with pytest.raises(FixtureError, match=why):
        swap(before, after)


def test_a_larger_table_is_compared_by_hole_names() -> None:
    found = swap(setup("S1 stop_block C4"), setup("S1 stop_block C4", "R1 riser T4", table="1200x800"))
    assert (found.moves, len(found.stays)) == (1, 1)
    assert any("compared by the names of holes" in note for note in found.notes)
    assert any(note.startswith("R1 of Setup.toml would stand beyond the table") for note in found.notes)


def test_inches_and_millimetres_of_one_table() -> None:
    """A table of 2 in is one of 50.8 mm, in whichever unit its file is written; but its blocks are other ones."""
    mm = "[table]\npitch = 50.8\nbore = 19.05\ncolumns = 10\nrows = 10\n"
    inch = 'units = "in"\n[table]\npitch = 2\nbore = "3/4"\ncolumns = 10\nrows = 10\n'
    block = '[[place]]\nname = "R1"\nmodel = "riser"\nhole = "C4"\nwith = { height = "2 in" }\n'
    jobs = [assemble(loads(f"format = 1\n{t}{block}", "x.toml")) for t in (mm, inch)]
    feet = [job.bodies[0].box[:, 0].tolist() for job in jobs]
    assert feet[0] != feet[1]
    found = swap(*jobs)
    assert found.moves == 2
    assert any("in inches" in note for note in found.notes)


# --- on paper


def pages(found: Swap, paper: Any = None) -> Any:
    import pypdf

    return pypdf.PdfReader(io.BytesIO(swap_pdf(found, paper))).pages


@pytest.mark.parametrize(("paper", "size"), [("a4", (595.3, 841.9)), ("letter", (612.0, 792.0))])
def test_the_list_and_the_plan_on_paper(paper: Any, size: tuple[float, float]) -> None:
    found = kayak()
    made = pages(found, paper)
    assert len(made) == 2
    box = made[0].mediabox
    assert (float(box.width), float(box.height)) == pytest.approx(size, abs=0.2)
    words = made[0].extract_text().replace("\u200b", "")
    for line in found.lines:
        assert line.block in words
        assert line.after is None or line.after.hole in words
    plan = made[1].extract_text()
    assert "23 S2" in plan
    assert "19 S1" in plan
    assert swap_pdf(found, paper) == swap_pdf(found, paper)


def test_hostile_and_very_long_names_on_paper() -> None:
    bad = "#panic()&$x$'%s"
    long = "the_left_hand_stop_at_the_far_end_of_the_table_beside_the_second_riser"
    before = setup(f"{bad} stop_block C4", "R1 riser H8", "R2 riser L12")
    after = setup(f"{long} stop_block F4", "R1 riser H8 turn=90", title="*_#" + "x" * 80)
    words = "".join(page.extract_text() for page in pages(swap(before, after))).replace("\u200b", "").replace("\n", "")
    assert bad.replace(" ", "") in words.replace(" ", "")
    assert long in words.replace(" ", "")


def test_nothing_to_do_and_empty_tables(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    job = setup("S1 stop_block C4")
    found = swap(job, job)
    assert (found.moves, found.lines, first_line(found)) == (0, (), "No block is lifted. 1 of 1 blocks stay.")
    assert len(pages(found)) == 1
    empty = setup()
    assert swap(empty, empty).lines == ()
    assert len(pages(swap(empty, empty))) == 1
    assert [line.do for line in swap(empty, job).lines] == ["put on"]


def first_line(found: Swap) -> str:
    return to_text(found).splitlines()[2]


def test_bad_input_is_one_line(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    one, two = tmp_path / "one.toml", tmp_path / "two.toml"
    one.write_text(text_of("S1 stop_block C4"), encoding="utf-8")
    two.write_text(text_of("S1 stop_block C5"), encoding="utf-8")
    (tmp_path / "broken.toml").write_text("format = 1\n[[place", encoding="utf-8")
    for words in (
        [one, tmp_path / "none.toml"],
        [one, tmp_path / "broken.toml"],
        [one, two, "--paper", "a4"],
        [one, two, "-o", tmp_path / "x.png"],
        [one, two, "-o", two, "--force"],
        [one, two, "--to-stage", "first"],
    ):
        assert main(["swap", *map(str, words)]) == 2, words
        done = capsys.readouterr()
        assert (done.out, done.err.count("\n")) == ("", 1), words
    assert main(["swap", str(one), str(two), "-o", str(tmp_path / "x.pdf")]) == 0
    assert capsys.readouterr().out.endswith(f"{tmp_path / 'x.pdf'}\n")
    assert main(["swap", str(one), str(two), "-o", str(tmp_path / "x.pdf")]) == 2
    assert main(["swap", str(one), str(two), "-o", str(tmp_path / "x.pdf"), "--force", "--json"]) == 0
    done = capsys.readouterr()
    assert json.loads(done.out)["moves"] == 1


def test_an_answer_without_blocks_is_empty() -> None:
    assert solve(Puzzle(old=(), new=(), pairs={})) == Answer()
