"""Sums of pieces, the search for settings, and what is out of reach: against trying everything, and against tables."""

from __future__ import annotations

import itertools
import random
from fractions import Fraction

import numpy as np
import pytest

from fixture3d.setting import Starts, Sums, TooMany, grains, mm, reach, search
from fixture3d.setting import sums as sums_module
from fixture3d.setting.search import fewest_first

IN = 25.4


def every_sum(sizes: list[int], counts: list[int], most: int) -> dict[int, int]:
    """All sums with their fewest pieces, by trying every choice."""
    out: dict[int, int] = {}
    for choice in itertools.product(*(range(count + 1) for count in counts)):
        pieces = sum(choice)
        if pieces <= most:
            total = sum(size * k for size, k in zip(sizes, choice, strict=True))
            out[total] = min(pieces, out.get(total, pieces))
    return out


def random_pieces(rng: random.Random) -> tuple[list[int], list[int]]:
    """Shims as a shop has them: metric, inch, measured, or all together."""
    kind = rng.choice(["metric", "inch", "measured", "all"])
    pools = {
        "metric": [grains(0.05 * k) for k in range(1, 41)],
        "inch": [grains(IN * k / 1000) for k in (1, 2, 3, 4, 5, 10, 15, 20, 25, 31, 62)] + [grains(IN / 64)],
        "measured": [grains(rng.randrange(20, 3000) / 1000) + rng.randrange(10) for _ in range(20)],
    }
    pool = sorted({size for one in pools.values() for size in one}) if kind == "all" else sorted({*pools[kind]})
    sizes = rng.sample(pool, rng.randint(1, 6))
    return sizes, [rng.randint(1, 3) for _ in sizes]


def random_starts(rng: random.Random) -> Starts:
    """Faces of a few blocks on a grid, some with notches, some that look back."""
    pitch = rng.choice([grains(50), grains(100), grains(2 * IN)])
    at, way = [], []
    for _ in range(rng.randint(1, 4)):
        offset = rng.choice([grains(12.5), grains(37.5), grains(0.75 * IN), grains(20), rng.randrange(grains(60))])
        notch = rng.choice([grains(3), grains(IN / 8), grains(1.5)])
        sign = rng.choice([1, -1])
        for k, m in itertools.product(range(rng.randint(1, 4)), range(rng.randint(1, 5))):
            at.append(k * pitch + sign * (offset + m * notch))
            way.append(sign)
    n = len(at)
    return Starts(
        at=np.array(at, dtype=np.int64),
        way=np.array(way, dtype=np.int64),
        packed=np.array([rng.random() < 0.8 for _ in range(n)]),
        loose=np.array([rng.choice([0.01, 0.02, 0.05]) for _ in range(n)]),
        blocks=np.array([rng.choice([1, 1, 2]) for _ in range(n)], dtype=np.int64),
    )


@pytest.fixture(params=["all", "row", "halves"])
def way(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> str:
    """One of the three ways in which sums are found, whatever the sizes would ask for."""
    if request.param != "all":
        monkeypatch.setattr(sums_module, "_FEW", 0)
        monkeypatch.setattr(sums_module, "_WORTH", 1 << 30)
    # Sizes without a common step go the other way.
    monkeypatch.setattr(sums_module, "_MOST_PLACES", 0 if request.param == "halves" else 500_000)
    return str(request.param)


def test_sums_against_trying_everything(way: str) -> None:
    rng = random.Random(way)
    for _ in range(60):
        sizes = [
            rng.choice([grains(0.05), grains(0.0254), 700]) * k for k in rng.sample(range(1, 12), rng.randint(1, 5))
        ]
        counts = [rng.randint(1, 3) for _ in sizes]
        most = rng.randint(0, sum(counts))
        sums, every = Sums(sizes, counts, most=most), every_sum(sizes, counts, most)
        assert sums.listed.tolist() == sorted(every)
        ends = sorted(every)
        # Lengths midway between two sums as well: there the one of fewer pieces is the better one.
        wanted = [rng.randrange(ends[-1] + 1) for _ in range(5)] + [(a + b) // 2 for a, b in itertools.pairwise(ends)][
            :40
        ]
        totals, pieces = sums.nearest(wanted)
        best = [min((abs(total - length), every[total], total) for total in every) for length in wanted]
        assert [(p, t) for p, t in zip(pieces.tolist(), totals.tolist(), strict=True)] == [(p, t) for _, p, t in best]


def test_a_thousand_cases_against_trying_everything(way: str) -> None:
    rng = random.Random(way)
    for _ in range(334):
        sizes, counts = random_pieces(rng)
        most = rng.randint(0, sum(counts))
        starts = random_starts(rng)
        wanted = rng.randrange(grains(200))
        sums = Sums(sizes, counts, most=most)
        every = every_sum(sizes, counts, most)
        tried = []
        for k in range(len(starts)):
            for total, pieces in every.items() if starts.packed[k] else [(0, 0)]:
                error = int(starts.at[k] + starts.way[k] * total) - wanted
                tried.append((abs(error), pieces + int(starts.blocks[k]), float(starts.loose[k])))
        tried.sort()
        good = tried[0][0] + rng.randrange(grains(1.0))
        found = search(wanted, starts, sums, good)
        first = found[0]
        assert (abs(first.error), first.pieces, first.loose) == tried[0]
        keys = [(abs(one.error), one.pieces, one.loose) for one in found]
        assert keys == sorted(keys)
        assert keys[-1][0] <= good
        # For every number of pieces that helps, the best of all choices with that many at most.
        best: dict[int, int] = {}
        for error, pieces, _ in tried:
            best[pieces] = min(error, best.get(pieces, error))
        front, least = [], None
        for pieces in sorted(best):
            if best[pieces] <= good and (least is None or best[pieces] < least):
                least = best[pieces]
                front.append((pieces, least))
        assert [(one.pieces, abs(one.error)) for one in fewest_first(found)] == front
        for one in found[:5]:
            taken = sums.pieces(one.pack)
            assert all(0 <= took <= owned for took, owned in zip(taken, counts, strict=True))
            assert sum(size * took for size, took in zip(sizes, taken, strict=True)) == one.pack
            assert sum(taken) + int(starts.blocks[one.start]) == one.pieces
            assert starts.at[one.start] + starts.way[one.start] * one.pack - wanted == one.error


M112 = ["1.0005", *(f"{1 + k / 1000:.3f}" for k in range(1, 10)), *(f"{1 + k / 100:.2f}" for k in range(1, 50))]
M112 += [str(k / 2) for k in range(1, 50)] + ["25", "50", "75", "100"]
INCH_81 = [f"{0.1 + k / 10000:.4f}" for k in range(1, 10)] + [f"{0.1 + k / 1000:.3f}" for k in range(1, 50)]
INCH_81 += [f"{k * 0.05:.2f}" for k in range(1, 20)] + ["1", "2", "3", "4"]


@pytest.mark.parametrize(
    ("blocks", "number", "unit", "wanted", "published"),
    [
        # National Physical Laboratory, "How do I select gauge blocks to pick a specific size combination?" (FAQ,
        # length, 2010): 1.005 + 1.04 + 1.30 + 5 + 50.
        (M112, 112, "1", "58.345", 5),
        # A question of metrology courses: 92.357 between two protectors of 2.5: 1.007 + 1.35 + 10 + 75.
        (M112, 112, "1", "87.357", 4),
        # A maker's guide "How to select gage blocks for use in combinations", set of 81: 0.1002 + 0.126 + 0.750 + 3.
        (INCH_81, 81, "25.4", "3.9762", 4),
        # Worked examples of machine shop courses: 1.000 + 0.134 + 0.1005;
        (INCH_81, 81, "25.4", "1.2345", 3),
        # 1 + 0.55 + 0.102 + 0.1003;
        (INCH_81, 81, "25.4", "1.7523", 4),
        # 0.1001 + 0.130 + 0.100 + 4.000, for a 5 in sine bar at 60 degrees;
        (INCH_81, 81, "25.4", "4.3301", 4),
        # 0.1003 + 0.107 + 0.800 + 4.000.
        (INCH_81, 81, "25.4", "5.0073", 4),
    ],
)
def test_gauge_blocks_in_no_more_pieces_than_published(
    blocks: list[str], number: int, unit: str, wanted: str, published: int
) -> None:
    assert len(set(blocks)) == number
    exact = [Fraction(text) * Fraction(unit) for text in blocks]
    target = Fraction(wanted) * Fraction(unit)
    sizes = [grains(float(size)) for size in exact]
    assert [Fraction(size, 10**7) for size in sizes] == exact
    sums = Sums(sizes, [1] * number, upto=2 * grains(float(target)))
    total, pieces = sums.nearest([grains(float(target))])
    taken = [size for size, took in zip(exact, sums.pieces(int(total[0])), strict=True) if took]
    assert sum(taken) == target
    assert len(taken) == int(pieces[0]) <= published


def test_worked_settings() -> None:
    # Worked by hand: 12 + 1.25 + 0.125 + 0.025 + 0.005 + 0.001 = 13.406 in on a 2 in grid with notches of 1/8 in.
    thou = [1, 2, 4, 5, 10, 25, 50]
    sums = Sums([grains(IN * k / 1000) for k in thou], [1] * len(thou))
    holes = [(k, a, m) for k in range(12) for a in (0.75, 1.25) for m in range(9)]
    found = search(grains(13.406 * IN), _ahead([IN * (2 * k + a + m / 8) for k, a, m in holes]), sums, 0)
    assert found[0].error == 0
    assert found[0].pieces <= 4
    # Likewise: 333.3 mm on a 50 mm grid with notches of 1/8 in; three shims come to 0.05 short, a fourth closes it.
    shims = [0.05, 0.1, 0.2, 0.5, 1.0, 2.0]
    places = [50 * k + a + m * IN / 8 for k in range(9) for a in (12.5, 37.5) for m in range(8)]
    for most, miss in ((3, -0.05), (4, 0.0)):
        sums = Sums([grains(t) for t in shims], [1] * 6, most=most)
        found = search(grains(333.3), _ahead([p for p in places if 308 < p < 336]), sums, grains(0.5))
        assert abs(mm(found[0].error)) <= abs(miss)
    only = [300 + 12.5 + 6 * IN / 8]
    near = search(grains(333.3), _ahead(only), Sums([grains(t) for t in shims], [1] * 6, most=3), 0)[0]
    assert mm(near.error) == pytest.approx(-0.05, abs=1e-9)
    assert mm(near.pack) == 1.7


@pytest.mark.parametrize(
    ("pitch", "holes", "widest"),
    # The remainders of a pitch by a notch of 1/8 in: 50 mm leaves 2.375, 1.575, 0.775 (gcd 0.025 mm, 127 holes).
    [(50, 1, 3.175), (50, 2, 2.375), (50, 3, 1.575), (50, 4, 0.8), (50, 127, 0.025), (100, 2, 1.6)],
)
def test_inch_notches_on_a_metric_grid(pitch: float, holes: int, widest: float) -> None:
    notch = IN / 8
    # Far enough out that every one of the holes reaches each place; a slot is seldom so long.
    starts = _ahead([k * pitch + m * notch for k in range(holes) for m in range(round(holes * pitch / notch) + 20)])
    low, nothing = grains(holes * pitch), Sums([], [])
    found = reach([(starts, nothing)], low, low + grains(10 * notch), 0)
    inner = found.gaps[1:-1]
    assert mm(int((inner[:, 1] - inner[:, 0]).max())) == pytest.approx(widest, abs=1e-7)


def test_shims_fill_what_lies_between_notches() -> None:
    # 1/16 + 1/32 + 1/64 fill steps of 1/8 in by 64ths: worst miss 1/128 in. Worked by hand.
    sums = Sums([grains(IN / k) for k in (16, 32, 64)], [1, 1, 1])
    starts = _ahead([m * IN / 8 for m in range(20)])
    assert len(reach([(starts, sums)], grains(IN / 2), grains(IN), grains(IN / 128)).gaps) == 0
    tight = reach([(starts, sums)], grains(IN / 2), grains(IN), grains(IN / 128) - 1)
    assert len(tight.gaps) == 32
    assert tight.worst == grains(IN / 128)
    # Seven doubled thousandths: 128 sums from 0 to 0.127 in, each a thousandth from the next.
    thou = Sums([grains(IN * 2**k / 1000) for k in range(7)], [1] * 7)
    assert thou.spread(grains(IN / 1000)).tolist() == [[0, grains(IN * 0.127)]]
    assert len(thou.spread(grains(IN / 1000) - 1)) == 128
    # 0.05 + 0.1 + 0.2 + 0.2 + 0.5: every 0.05 from 0 to 1.05.
    metric = Sums([grains(t) for t in (0.05, 0.1, 0.2, 0.5)], [1, 1, 2, 1])
    assert metric.spread(grains(0.05)).tolist() == [[0, grains(1.05)]]


def test_reach_against_trying_places() -> None:
    rng = random.Random(3)
    for _ in range(40):
        sizes, counts = random_pieces(rng)
        starts, sums = random_starts(rng), Sums(sizes, counts, most=3)
        low = rng.randrange(grains(100))
        found = reach([(starts, sums)], low, low + grains(50), within=grains(0.1))
        for _ in range(60):
            place = low + rng.randrange(grains(50))
            miss = abs(search(place, starts, sums, 0)[0].error)
            inside = any(a < place < b for a, b in found.gaps.tolist())
            assert inside == (miss > found.within), (place, miss)
            assert miss <= found.worst or place - low < miss or low + grains(50) - place < miss
        assert 0.0 <= found.share <= 1.0


def test_what_cannot_be_tried_is_said(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sums_module, "_MOST_PLACES", 0)
    monkeypatch.setattr(sums_module, "_MOST_LISTED", 1000)
    monkeypatch.setattr(sums_module, "_FEW", 0)
    odd = [10**6 + 7919 * k * k + k for k in range(40)]
    with pytest.raises(TooMany, match="fewer than 40 pieces at a time") as caught:
        Sums(odd, [1] * 40)
    assert "\n" not in str(caught.value)
    with pytest.raises(TooMany, match="too many sums to list"):
        Sums(odd[:12], [1] * 12).spread(100)
    with pytest.raises(ValueError, match="size of more than 0"):
        Sums([0], [1])


def test_grains_hold_what_is_written_on_blocks() -> None:
    for text in ("0.05", "0.001", "19.05", "1.0005", "0.1984375"):
        assert Fraction(grains(float(text)), 10**7) == Fraction(text)
    for sixty_fourths in range(1, 130):
        assert Fraction(grains(sixty_fourths * IN / 64), 10**7) == Fraction(sixty_fourths, 64) * Fraction("25.4")


def _ahead(places: list[float]) -> Starts:
    n = len(places)
    return Starts(
        at=np.array([grains(p) for p in places], dtype=np.int64),
        way=np.ones(n, dtype=np.int64),
        packed=np.ones(n, dtype=bool),
        loose=np.zeros(n),
        blocks=np.ones(n, dtype=np.int64),
    )
