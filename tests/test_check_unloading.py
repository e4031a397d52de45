"""Loading and unloading as a check: boxes whose ways in and out follow from the drawing alone."""

from __future__ import annotations

import itertools
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from fixture3d.cache import Store
from fixture3d.checks import unloading_answers
from fixture3d.checks.base import Finding, Result, quiet
from fixture3d.checks.unloading import CHECK, comes_out
from fixture3d.checks.unloading_answers import Lot, Unloading, lots_of, ways_when, work_out
from fixture3d.job import Job
from fixture3d.job.coming_out import Cleared, Setup
from fixture3d.job.lots import welded_lots
from fixture3d.job.resolve import resolve
from fixture3d.library import Entry, Library
from fixture3d.part import Part, PartBody, Step, part
from fixture3d.part import length as size
from fixture3d.report.report import make_report
from fixture3d.report.unloading import unloading_lines
from fixture3d.scene import Scene
from fixture3d.tolerance import LEAVING
from tests.check_jobs import LIBRARY, Presser, box, of_rule, scene, slab
from tests.unloading_cases import BAR, CASES, UNDER, UP, WALLS, Box, Known, Point, lid


@part("brick", made="for tests")
@dataclass(frozen=True, kw_only=True)
class Brick(Part):
    """A box from its corner on, without a pin."""

    dx: float = size(50.0, low=0.1, high=2000.0, help="along X")
    dy: float = size(50.0, low=0.1, high=2000.0, help="along Y")
    dz: float = size(50.0, low=0.1, high=2000.0, help="along Z")

    def box(self) -> tuple[Point, Point]:
        """All of it."""
        return (0.0, 0.0, 0.0), (self.dx, self.dy, self.dz)

    def solid(self) -> Any:
        """The box."""
        return box(*self.box())


@part("spool", made="for tests")
@dataclass(frozen=True, kw_only=True)
class Spool(Part):
    """A column of 40 x 40 about the origin, 100 high, with a foot and a head of 100 x 100 x 20."""

    def box(self) -> tuple[Point, Point]:
        """All of it."""
        return (-50.0, -50.0, 0.0), (50.0, 50.0, 100.0)

    def solid(self) -> Any:
        """The foot."""
        return box((-50.0, -50.0, 0.0), (50.0, 50.0, 20.0))

    def bodies(self) -> tuple[PartBody, ...]:
        """Foot, column and head."""
        column = PartBody(name="column", build=lambda: box((-20.0, -20.0, 20.0), (20.0, 20.0, 80.0)))
        head = PartBody(name="head", build=lambda: box((-50.0, -50.0, 80.0), (50.0, 50.0, 100.0)))
        return PartBody(name="", build=self.solid), column, head


@part("drawback", made="for tests")
@dataclass(frozen=True, kw_only=True)
class Drawback(Presser):
    """A presser whose arm is drawn back behind its post when it is opened."""

    back: float = size(200.0, low=0.0, high=400.0, help="how far the arm is drawn back")

    def bodies(self) -> tuple[PartBody, ...]:
        """Post and arm."""
        post, arm, *_ = super().bodies()
        return post, replace(arm, opens=(Step(shift=(-self.back, 0.0, 0.0)),))


SHOP = Library(
    {
        **{name: LIBRARY.entry(name) for name in ("post", "drawer", "presser")},
        **{m.model: Entry(name=m.model, model=m, digest=m.model, summary="") for m in (Brick, Spool, Drawback)},
    }
)


def brick(name: str, where: Box, shift: Sequence[float] = (0.0, 0.0, 0.0), turn: float = 0.0) -> dict[str, Any]:
    """Keys of a block that fills a box, out of place by ``shift`` and ``turn``."""
    (x, y, z), high = where
    sizes = dict(zip(("dx", "dy", "dz"), (h - k for k, h in zip(where[0], high, strict=True)), strict=True))
    at = [round(v + s, 6) for v, s in zip((x, y, z), shift, strict=True)]
    return {"name": name, "model": "brick", "free": [*at, turn], "with": sizes}


def made(tables: Mapping[str, Any], store: Store | None = None) -> Job:
    return resolve(Scene.from_dict(tables), SHOP, Store(None) if store is None else store)


def asked(pieces: Mapping[str, Box], places: Sequence[Any], **keys: Any) -> tuple[Job, Result]:
    job = made(scene(plate=[slab(name, *b) for name, b in pieces.items()], place=list(places), **keys))
    result = CHECK.run(job, quiet)
    for finding in result.findings:
        words = finding.message
        for name in sorted(finding.subjects, key=len, reverse=True):
            words = words.replace(name, "")
        assert not any(c.isdigit() for c in words), finding.message
        assert "trapped" not in words
        assert finding.remedy
    return job, result


def setup(known: Known) -> tuple[Job, Result]:
    return asked(known.pieces, bricks(known.blocks))


def bricks(blocks: Mapping[str, Box]) -> list[dict[str, Any]]:
    return [brick(name, b) for name, b in blocks.items()]


def unloaded(pieces: Mapping[str, Box], places: Sequence[Any]) -> tuple[Job, Lot, list[Finding]]:
    """A setup of one lot, how that comes out, and what is found; loading, which takes longer, is not asked."""
    job = made(scene(plate=[slab(name, *b) for name, b in pieces.items()], place=list(places)))
    (lot,) = lots_of(job)
    return job, lot, list(comes_out(lot, 1))


def wrong(known: Known, places: Sequence[Any] | None = None) -> list[str]:
    """What differs from the known answer."""
    _, lot, findings = unloaded(known.pieces, bricks(known.blocks) if places is None else places)
    rules = {f.rule for f in findings}
    out = []
    ways = frozenset(way.direction for way in lot.ways)
    if ways != known.free:
        out.append(f"free {sorted(ways)} instead of {sorted(known.free)}")
    if known.off and frozenset(lot.first_off) not in known.off:
        out.append(f"{sorted(lot.first_off)} off instead of one of {[sorted(one) for one in known.off]}")
    if not known.off and lot.cleared is not None:
        out.append(f"{lot.first_off} off instead of none")
    if frozenset(lot.kept_by) != known.kept:
        out.append(f"kept by {lot.kept_by} instead of {sorted(known.kept)}")
    expected = {"stuck"} if known.kept else {"take-off-first"} if known.off else set()
    if rules != expected:
        out.append(f"rules {sorted(rules)} instead of {sorted(expected)}")
    return out


def test_enough_cases() -> None:
    assert len(CASES) >= 27
    assert sum(bool(make().kept) for make in CASES.values()) >= 2
    assert sum(bool(make().off) for make in CASES.values()) >= 12


@pytest.mark.parametrize("name", CASES)
def test_known_answer(name: str) -> None:
    assert wrong(CASES[name]()) == []


@pytest.mark.parametrize(("name", "level"), [("lid_of_two", "note"), ("lids_over_both_ends", "warn")])
def test_two_blocks_are_a_warning_and_one_is_a_note(name: str, level: str) -> None:
    (finding,) = of_rule(setup(CASES[name]())[1], "take-off-first")
    assert finding.level == level


# --- the same in other clothes ---


def moved(known: Known, box_to: Any, way_to: Any, name_to: Any) -> Known:
    def place(one: Box) -> Box:
        a, b = (np.array(box_to(corner)) for corner in one)
        low, high = np.minimum(a, b), np.maximum(a, b)
        return tuple(float(v) for v in low), tuple(float(v) for v in high)  # type: ignore[return-value]

    return replace(
        known,
        pieces={name_to(n): place(b) for n, b in reversed(list(known.pieces.items()))},
        blocks={name_to(n): place(b) for n, b in reversed(list(known.blocks.items()))},
        free=frozenset(tuple(float(v) + 0.0 for v in way_to(way)) for way in known.free),  # type: ignore[misc]
        off=tuple(frozenset(name_to(n) for n in names) for names in known.off),
        kept=frozenset(name_to(n) for n in known.kept),
    )


@pytest.mark.parametrize("name", CASES)
def test_turned_shifted_renamed_and_reordered(name: str) -> None:
    known = moved(
        CASES[name](),
        lambda p: (900.0 - p[1], p[0] + 37.5, p[2]),
        lambda w: (-w[1], w[0], w[2]),
        lambda n: f"my {n}",
    )
    assert wrong(known) == []


@pytest.mark.parametrize("name", list(CASES)[1::3])
def test_mirrored(name: str) -> None:
    known = moved(CASES[name](), lambda p: (700.0 - p[0], p[1], p[2]), lambda w: (-w[0], w[1], w[2]), lambda n: n)
    assert wrong(known) == []


@pytest.mark.parametrize("name", [name for name, make in CASES.items() if not make().at_the_limit])
def test_blocks_a_little_out_of_place(name: str) -> None:
    """Every block out of place by 0.1 mm and 0.1 degree: what is clear stays clear, what is in the way stays there."""
    known = CASES[name]()
    rng = np.random.default_rng(11)
    places = []
    for block, where in known.blocks.items():
        shift = rng.normal(size=3)
        reach = float(np.ptp(np.array(where)[:, :2], axis=0).max())
        turn = 0.1 * float(rng.choice([-1, 1])) * min(1.0, 60.0 / reach)
        places.append(brick(block, where, (0.1 * shift / np.linalg.norm(shift)).tolist(), turn))
    assert wrong(known, places) == []


# --- fewest, against an enumeration of every set ---


def _every_set(job: Job) -> int | None:
    """The least number of blocks that must go, by trying every set with bare questions; None when none helps."""
    whole = Setup(job, [body.name for body in job.pieces()])
    ways = [set(whole.stopped(way)) for way in whole.directions()]
    names = list(whole.items)
    level = [np.array(d, dtype=float) for d in ((0, 0, 1), (1, 0, 0), (-1, 0, 0), (0, 1, 0), (0, -1, 0))]
    met = {}
    for name in names:
        own = whole.items[name].solids
        others = [*whole.work, *(k for n in names if n != name for k in whole.items[n].solids)]
        met[name] = [{whole.owner[k] for k in whole.bodies.stops(own, others, way)} for way in level]
    for count in range(len(names) + 1):
        for some in itertools.combinations(names, count):
            if not any(stops <= set(some) for stops in ways):
                continue
            if any(
                all(any(stops <= set(order[:k]) for stops in met[name]) for k, name in enumerate(order))
                for order in itertools.permutations(some)
            ):
                return count
    return None


def test_fewest_against_every_set() -> None:
    """Bricks at random about a ring; the search and the enumeration of all sets agree on the number."""
    rng = np.random.default_rng(3)
    seen: set[int | None] = set()
    ring = {"a": ((250, 250, 40), (350, 270, 60)), "b": ((250, 330, 40), (350, 350, 60)),
            "c": ((250, 270, 40), (270, 330, 60)), "d": ((330, 270, 40), (350, 330, 60)),
            "roof": ((250, 270, 100), (350, 330, 110)), "wall": ((250, 260, 60), (260, 340, 100)),
            "other": ((340, 260, 60), (350, 340, 100)), }  # fmt: skip
    for _ in range(14):
        # A head within, which the ring does not pass, and a post through the ring.
        fixed = [((260, 260, 70), (340, 340, 90)), ((280, 280, 0), (320, 320, 70))]
        places: list[Any] = [brick(f"A{k}", b) for k, b in enumerate(fixed)]
        boxes: list[np.ndarray] = [np.array(b, dtype=float) for b in [*ring.values(), *fixed]]
        while len(places) < 6:
            low = rng.integers((22, 18, 0), (34, 38, 9)) * 10.0
            high = low + rng.integers((2, 1, 2), (12, 6, 10)) * 10.0
            if all((np.minimum(high, b[1]) <= np.maximum(low, b[0])).any() for b in boxes):
                boxes.append(np.array([low, high]))
                places.append(brick(f"B{len(places)}", (tuple(low), tuple(high))))
        job = made(scene(plate=[slab(name, *b) for name, b in ring.items()], place=places))
        found = Setup(job, list(ring)).fewest()
        expected = _every_set(job)
        assert (None if found is None else len(found.off)) == expected
        assert found is None or found.proven
        seen.add(expected)
    assert len(seen) >= 3


@pytest.mark.parametrize("name", [name for name, make in CASES.items() if make().off])
def test_what_is_told_to_come_off_first_is_true(name: str) -> None:
    """Without those blocks the check finds a way, and it is the one that was told."""
    known = CASES[name]()
    _, lot, _ = unloaded(known.pieces, bricks(known.blocks))
    left = {n: b for n, b in known.blocks.items() if n not in lot.first_off}
    _, told, findings = unloaded(known.pieces, bricks(left))
    assert findings == []
    assert lot.way is not None
    assert lot.way.direction in {way.direction for way in told.ways}


def test_a_bound_is_called_one(monkeypatch: pytest.MonkeyPatch) -> None:
    from fixture3d.job import coming_out

    monkeypatch.setattr(coming_out, "LEAVING", replace(LEAVING, block_sets=1))
    known = CASES["cage_with_two_blocks_before_its_side"]()
    _, result = setup(known)
    (finding,) = of_rule(result, "take-off-first")
    assert "fewer may do" in finding.remedy
    assert result.figures["unloading"][0]["fewest"] is False


# --- stuck: what helps is tried ---


def test_stuck_names_what_would_help() -> None:
    known = CASES["closed_cage_round_a_head"]()
    _, result = setup(known)
    (finding,) = of_rule(result, "stuck")
    assert finding.level == "fail"
    assert finding.subjects[0] == "head"
    assert "no single straight way out" in finding.message
    assert "hold the work without head" in finding.remedy
    without = {n: b for n, b in known.blocks.items() if n != "head"}
    _, after = setup(replace(known, blocks=without))
    assert after.findings == ()


RING: dict[str, Box] = {
    "left": ((240, 240, 30), (278, 360, 60)),
    "right": ((322, 240, 30), (360, 360, 60)),
    "front": ((278, 240, 30), (322, 278, 60)),
    "back": ((278, 322, 30), (322, 360, 60)),
}
SPOOL = {"name": "Q", "model": "spool", "free": [300, 300, 0, 0]}


def test_welded_round_a_spool() -> None:
    """Four bars go in one by one; as one they stay, for neither foot nor head passes the hole. Three come out."""
    _, result = asked(RING, [SPOOL])
    (finding,) = of_rule(result, "stuck")
    assert of_rule(result, "no-way-in") == []
    assert finding.subjects[0] == "Q"
    assert "tack left on in a second stage" in finding.remedy
    _, after = asked({n: b for n, b in RING.items() if n != "left"}, [SPOOL])
    assert of_rule(after, "stuck") == []


@pytest.mark.parametrize(("over", "rules"), [(0.0, set()), (0.3, set()), (0.6, {"stuck"})])
def test_round_a_spool_on_both_sides_of_the_limit(over: float, rules: set[str]) -> None:
    """The hole is as wide as the head less ``over`` on the left: hardly less, and it goes past."""
    hole = 50.0
    ring: dict[str, Box] = {
        "left": ((200, 200, 30), (300 - hole + over, 400, 60)),
        "right": ((300 + hole, 200, 30), (400, 400, 60)),
        "front": ((300 - hole + over, 200, 30), (300 + hole, 300 - hole, 60)),
        "back": ((300 - hole + over, 300 + hole, 30), (300 + hole, 400, 60)),
    }
    _, _, findings = unloaded(ring, [SPOOL])
    assert {f.rule for f in findings} == rules


def test_round_the_table_itself() -> None:
    """Two belts, one along and one across: no block at all, and no way out."""
    table = {"pitch": 50, "bore": 16, "columns": 5, "rows": 5, "edge": 50, "thickness": 12}
    belts: dict[str, Box] = {
        "over": ((80, -70, 0), (120, 270, 10)), "under": ((80, -70, -22), (120, 270, -12)),
        "near": ((80, -70, -12), (120, -60, 0)), "far": ((80, 260, -12), (120, 270, 0)),
        "across": ((-70, 80, 10), (270, 120, 20)), "below": ((-70, 80, -32), (270, 120, -22)),
        "left": ((-70, 80, -22), (-60, 120, 10)), "right": ((260, 80, -22), (270, 120, 10)),
    }  # fmt: skip
    job = made(scene(plate=[slab(name, *b) for name, b in belts.items()], place=[], table=table))
    (lot,) = lots_of(job)
    (finding,) = comes_out(lot, 1)
    assert (finding.rule, finding.subjects[0]) == ("stuck", "table")
    assert lot.kept_by == ("table",)


# --- what stands on it, dowels, clamps, settings ---


def pinned(name: str, hole: str, **keys: Any) -> dict[str, Any]:
    given = {k: keys.pop(k) for k in ("length", "width", "height") if k in keys}
    return {"name": name, "model": "post", "hole": hole, **keys, "with": given}


def test_a_block_goes_with_what_stands_on_it() -> None:
    """A post over the corner of the bar, and one stacked on it that does not touch the way."""
    walls = {f"{n} {k}": ((*low[:2], z), (*high[:2], z + 30)) for n, (low, high) in {
        "left": ((130, 185, 0), (160, 215, 0)), "right": ((300, 185, 0), (330, 215, 0)),
        "front": ((220, 150, 0), (240, 185, 0)), "back": ((220, 215, 0), (240, 250, 0)),
    }.items() for k, z in enumerate((0, 10, 20))}  # fmt: skip
    walls = {n: (low, (*high[:2], low[2] + 10)) for n, (low, high) in walls.items()}
    given = {"length": 100, "width": 40, "height": 20}
    lower = {"name": "P1", "model": "post", "free": [200, 200, 40, 0], "with": given}
    upper = {"name": "P2", "model": "post", "on": "P1", "with": given}
    _, lot, (finding,) = unloaded({"bar": ((160, 185, 0), (300, 215, 30))}, [*bricks(walls), lower, upper])
    assert lot.first_off == ("P2", "P1")
    assert finding.level == "warn"
    assert finding.remedy == "take off P2 and P1, then lift it straight up"


def test_a_pinned_block_slides_out_only_when_its_dowels_can_be_pulled() -> None:
    """A post under a roof: with the roof over its dowels it stays, with the roof beside them it slides away."""
    inside = pinned("P1", "G7", length=100, width=50, height=50)  # x 275 to 375, dowels at 300 and 350

    def ways(roof: Box) -> Any:
        job, _, _ = unloaded({"roof": roof}, [inside])
        return Setup(job, ["roof"]).can_go(["P1"])

    assert ways(((270, 260, 60), (380, 340, 70))) is None
    beside = ways(((270, 318, 60), (380, 340, 70)))
    assert beside is not None
    assert beside[0].words.startswith("once its dowels are pulled")


K1 = {"name": "K1", "model": "drawback", "hole": "C7", "presses": "bar", "toward": "R1"}


@pytest.mark.parametrize(("back", "told"), [(200.0, False), (5.0, True)])
def test_an_open_clamp_that_does_not_clear_is_named(back: float, told: bool) -> None:
    bar: dict[str, Box] = {"bar": ((180, 280, 20), (380, 320, 60))}
    around = [
        brick("R1", ((200, 280, 0), (220, 320, 20))), brick("back", ((240, 320, 0), (260, 360, 70))),
        brick("front", ((240, 240, 0), (260, 280, 70))), brick("right", ((380, 290, 0), (400, 310, 70))),
        brick("far", ((340, 320, 0), (360, 360, 70))), brick("near", ((340, 240, 0), (360, 280, 70))),
        brick("left", ((160, 280, 0), (180, 290, 70))),
    ]  # fmt: skip
    clamp = {**K1, "with": {"reach": 100, "work_height": 60, "back": back}}
    job, result = asked(bar, around, clamp=[clamp])
    found = of_rule(result, "take-off-first")
    assert bool(found) is told
    if told:
        assert found[0].level == "note"
    else:
        steps = [(step.what, step.name) for step in work_out(job).loading.steps]
        assert steps == [("put in", "bar"), ("shut", "K1")]


def test_a_clamp_on_other_work_stays_shut_where_only_its_open_arm_is_in_the_way() -> None:
    """Drawn back by 200 the arm, 80 to 165 before its post, stands over a bar behind the post; shut it does not."""
    pieces: dict[str, Box] = {"bar": ((380, 280, 20), (580, 320, 60)), "other": ((205, 285, 0), (265, 315, 40))}
    around = [
        brick("left", ((190, 285, 0), (205, 315, 50))), brick("right", ((265, 285, 0), (270, 315, 50))),
        brick("back", ((220, 315, 0), (250, 340, 50))), brick("front", ((220, 260, 0), (250, 285, 50))),
    ]  # fmt: skip
    clamp = {**K1, "hole": "G7", "with": {"reach": 100, "work_height": 60}}
    under = brick("R1", ((395, 280, 0), (415, 320, 20)))
    tables = {"place": [*around, under], "clamp": [clamp]}
    job = made(scene(plate=[slab(name, *b) for name, b in pieces.items()], **tables))
    lots = {lot.pieces[0]: lot for lot in lots_of(job)}
    assert [way.words for way in lots["other"].ways] == ["lift it straight up with K1 still shut"]
    assert lots["bar"].ways[0].words == "lift it straight up"
    swapped = made(
        scene(
            plate=[slab(n, *b) for n, b in pieces.items()], place=tables["place"], clamp=[{**clamp, "presses": "other"}]
        )
    )
    other = next(lot for lot in lots_of(swapped) if lot.pieces == ("other",))
    assert other.first_off == ("K1",)


def test_a_setting_that_backs_off_is_preferred() -> None:
    """The slide of a drawer stands out over the bar by 9: back at notch 0 nothing is in the way."""
    bar: dict[str, Box] = {"bar": ((300, 327, 0), (360, 347, 18))}
    around = [
        brick("left", ((270, 327, 0), (300, 347, 60))), brick("right", ((360, 327, 0), (390, 347, 60))),
        brick("back", ((320, 347, 0), (340, 380, 60))), brick("front", ((345, 326, 0), (359, 327, 60))),
    ]  # fmt: skip
    drawer = {"name": "T1", "model": "drawer", "hole": "G7", "notch": 3}
    _, _, (finding,) = unloaded(bar, [*around, drawer])
    assert finding.level == "note"
    assert finding.subjects[0] == "T1"
    assert "back off T1 (to notch 0)" in finding.remedy
    assert unloaded(bar, [*around, {**drawer, "notch": 0}])[2] == []


def test_what_reaches_into_the_work_is_left_to_interference() -> None:
    """A block two millimetres in the bar is told as an overlap; half as deep as a hook counts, it is only touching."""
    sunk = {**UNDER, **WALLS, "left": ((150, 300, 0), (202, 340, 100))}
    job, result = setup(Known(BAR, sunk))
    assert result.findings == ()
    assert work_out(job).lots[0].sunk == ("left",)
    assert any("left" in sentence for sentence in result.not_covered)


# --- several lots ---


def test_each_lot_comes_out_past_the_others() -> None:
    """A bar over another one: listed first is the lower one, the upper one comes out first."""
    lower: Box = ((200, 300, 50), (400, 340, 90))
    upper: Box = ((250, 290, 95), (350, 350, 120))
    job, result = asked({"lower": lower, "upper": upper}, [brick(n, b) for n, b in (UNDER | WALLS).items()])
    assert [lot.pieces for lot in work_out(job).lots] == [("upper",), ("lower",)]
    assert result.findings == ()
    order = [step.name for step in work_out(job).loading.steps]
    assert order == ["lower", "upper"]


def test_pieces_with_a_root_gap_are_one_and_others_are_not() -> None:
    a: Box = ((200, 300, 0), (300, 340, 40))
    for gap, lots in ((0.0, 1), (0.9, 1), (1.5, 2)):
        b: Box = ((300 + gap, 300, 0), (400, 340, 40))
        job = made(scene(plate=[slab("a", *a), slab("b", *b)]))
        assert len(welded_lots(job)) == lots


# --- loading ---


def test_ways_in_are_told_in_words() -> None:
    """Under a roof the bar goes in from its open side; the cross lies on it."""
    roof = brick("roof", ((190, 290, 100), (410, 350, 120)))
    walls = [brick(n, WALLS[n]) for n in ("left", "front", "back")]
    job, result = asked(BAR, [*(brick(n, b) for n, b in UNDER.items()), roof, *walls])
    assert result.findings == ()
    (step,) = work_out(job).loading.steps
    assert step.words == "slid in along its length (-X)"
    assert step.direction == (-1.0, 0.0, 0.0)
    assert work_out(job).way_in == {"bar": (-1.0, 0.0, 0.0)}


@pytest.mark.parametrize(("over", "told"), [(0.3, False), (0.5, True), (20.0, True)])
def test_no_way_in_and_what_would_let_it_in(over: float, told: bool) -> None:
    places = [brick(n, b) for n, b in (UNDER | WALLS | lid(over)).items()]
    _, result = asked(BAR, places)
    found = of_rule(result, "no-way-in")
    assert bool(found) is told
    if not told:
        return
    assert found[0].level == "warn"
    assert found[0].subjects == ("bar", "lid left")
    assert "set lid left after bar" in found[0].remedy
    assert result.figures["loading"][0]["what"] == "no way in"
    _, after = asked(BAR, [place for place in places if place["name"] != "lid left"])
    assert after.findings == ()


def test_a_plate_with_a_hole_round_a_spool_neither_goes_in_nor_comes_out() -> None:
    plate = {**slab("plate", (240, 240, 30), (360, 360, 60)), "holes": [{"at": [60, 60], "diameter": 62}]}
    job = made(scene(plate=[plate], place=[SPOOL]))
    result = CHECK.run(job, quiet)
    assert {f.rule: f.level for f in result.findings} == {"no-way-in": "fail", "stuck": "fail"}
    wide = {**plate, "holes": []} | {"outline": [[0, 0], [30, 0], [30, 120], [0, 120]]}
    assert CHECK.run(made(scene(plate=[wide], place=[SPOOL])), quiet).findings == ()


def test_the_order_is_the_one_that_locating_tells() -> None:
    from fixture3d.checks.locating import CHECK as LOCATING

    pieces: dict[str, Box] = {"upper": ((250, 290, 90), (350, 350, 120)), **BAR}
    job, result = asked(pieces, [brick(n, b) for n, b in (UNDER | WALLS).items()])
    rows = {row["name"]: row["order"] for row in LOCATING.run(job, quiet).figures["pieces"]}
    mine = [row["name"] for row in result.figures["loading"] if row["what"] == "put in"]
    assert mine == sorted(rows, key=lambda name: rows[name]) == ["bar", "upper"]


# --- answers for others ---


def test_asked_again_of_shrunk_work() -> None:
    """A ring whose left bar has moved on to the post by one millimetre does not come off it; half of little does."""
    from fixture3d import frame

    known = CASES["ring_round_a_post"]()
    job, _ = setup(known)
    same, _ = ways_when(job, list(known.pieces), {})
    assert [way.direction for way in same] == [UP]
    closed = {"ring left": frame.translation([1.0, 0.0, 0.0])}
    ways, cleared = ways_when(job, list(known.pieces), closed)
    assert ways == ()
    assert cleared is None or [one.name for one in cleared.off] == ["post"]
    nearly = {"ring left": frame.translation([0.3, 0.0, 0.0])}
    assert [way.direction for way in ways_when(job, list(known.pieces), nearly)[0]] == [UP]


def test_same_answer_from_the_cache(tmp_path: Path) -> None:
    known = CASES["cage_with_one_side_open_and_a_block_before_it"]()
    tables = scene(
        plate=[slab(n, *b) for n, b in known.pieces.items()], place=[brick(n, b) for n, b in known.blocks.items()]
    )
    first = work_out(made(tables, Store(tmp_path)))
    again = work_out(made(tables, Store(tmp_path)))
    assert first == again == unloading_answers._worked_out(made(tables))
    assert isinstance(first, Unloading)
    assert isinstance(first.lots[0].cleared, Cleared)
    assert json.dumps(CHECK.run(made(tables), quiet).figures["unloading"])


def test_the_line_of_the_report() -> None:
    job, result = setup(replace(CASES["lid_of_two"](), blocks=UNDER | WALLS | lid(2.0)))
    said = [text for _, text in unloading_lines(make_report(job, [result], {}))]
    assert any(text.startswith("Way out: take off lid left, then lift it straight up") for text in said)
    # 200 x 40 x 40 of steel at 7850 kg/m3 is 2.512 kg.
    assert any("2.51 kg if it is steel" in text for text in said)
    assert not any("hoist" in text for text in said)


@pytest.mark.parametrize(("height", "heavy"), [(30.0, False), (45.0, True)])
def test_heavy_work_is_told(height: float, heavy: bool) -> None:
    """300 x 300 of steel weigh 0.7065 kg a millimetre: 21.2 kg and 31.8 kg."""
    job, result = asked({"slab": ((200, 200, 0), (500, 500, height))}, [])
    said = " ".join(text for _, text in unloading_lines(make_report(job, [result], {})))
    assert ("by two or by a hoist" in said) is heavy
