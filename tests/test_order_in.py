"""Orders of loading with a known answer; each order found is played through move by move."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from fixture3d.locating.leaving import way_out
from fixture3d.locating.order_in import ClampBodies, Order, order_in
from tests.leaving_cases import TABLE, box, prism

TABLE_ONLY = {"table": box(*TABLE)}


def names(order: Order) -> list[str]:
    return [step.name for step in order.steps]


def step_of(order: Order, name: str) -> Any:
    return next(step for step in order.steps if step.name == name)


def played(order: Order, pieces: dict[str, Any], fixed: dict[str, Any], clamps: list[ClampBodies]) -> None:
    """Each piece comes in past what is there at that time, and each word of a step is kept."""
    there, shut = dict(fixed), set[str]()
    for step in order.steps:
        assert set(step.after) <= set(there)
        if step.what == "shut":
            shut.add(step.name)
            continue
        assert not set(step.while_open) & shut
        here = dict(there)
        for clamp in clamps:
            state: Any = clamp.shut if clamp.name in shut else clamp.open
            parts = state if isinstance(state, list) else [state]
            here |= {f"{clamp.name} part {k}": part for k, part in enumerate(parts)}
        assert step.direction is not None
        assert way_out(pieces[step.name], here, -step.direction) == []
        there[step.name] = pieces[step.name]
    if order.found:
        assert set(names(order)) == set(pieces) | {clamp.name for clamp in clamps}


def test_loose_side_by_side_keeps_their_order() -> None:
    pieces = {f"rail {k}": box((k * 100, k * 100 + 50), (0, 300), (0, 40)) for k in range(4)}
    order = order_in(pieces, TABLE_ONLY)
    assert names(order) == list(pieces)
    for step in order.steps:
        assert step.direction is not None
        assert np.allclose(step.direction, (0, 0, -1))
        assert step.after == ()
    played(order, pieces, TABLE_ONLY, [])


def test_a_stack_goes_in_from_below() -> None:
    """Listed from the top down. The table is below, walls around: up is the one way."""
    walls = {
        "a": box((-20, 0), (-20, 60), (0, 200)), "b": box((100, 120), (-20, 60), (0, 200)),
        "c": box((0, 100), (-20, 0), (0, 200)), "d": box((0, 100), (40, 60), (0, 200)),
    }  # fmt: skip
    pieces = {f"layer {k}": box((0, 100), (0, 40), (k * 40, k * 40 + 40)) for k in (2, 1, 0)}
    fixed = TABLE_ONLY | walls
    order = order_in(pieces, fixed)
    assert names(order) == ["layer 0", "layer 1", "layer 2"]
    assert step_of(order, "layer 2").after == ("layer 1", "layer 0")
    played(order, pieces, fixed, [])


def test_a_rung_slid_in_before_the_second_leg() -> None:
    """A rung with tenons in blind sockets of two legs that stand against stops: one leg last, from the side."""
    left = {"left": _leg(0, 40, socket=(20, 40))}
    right = {"right": _leg(240, 280, socket=(240, 260))}
    rung = {"rung": _along_x((20, 260), (90, 110), (10, 30))}
    stop = {"stop": box((-20, 0), (0, 200), (0, 40))}
    fixed = TABLE_ONLY | stop
    pieces = left | right | rung
    order = order_in(pieces, fixed)
    assert order.found
    assert names(order).index("right") > names(order).index("rung") or names(order).index("rung") == 2
    played(order, pieces, fixed, [])
    # With a second stop beyond the right leg nothing goes in any more: the three hold each other.
    both = fixed | {"stop 2": box((280, 300), (0, 200), (0, 40))}
    stuck = order_in(pieces, both)
    assert {held.name for held in stuck.held} == {"left", "right", "rung"}
    by = {held.name: set(held.by) for held in stuck.held}
    assert "rung" in by["left"] or "rung" in by["right"]
    assert stuck.steps == ()


def _leg(x0: float, x1: float, socket: tuple[float, float]) -> Any:
    import trimesh

    whole = box((x0, x1), (0, 200), (0, 40))
    return trimesh.boolean.difference([whole, box(socket, (90, 110), (10, 30))], engine="manifold")


def _along_x(x: tuple[float, float], y: tuple[float, float], z: tuple[float, float]) -> Any:
    return box(x, y, z)


def _clamp(presses: tuple[str, ...] = ("rail",), sweep: Any = ()) -> ClampBodies:
    """A bar over the rail; open it stands upright behind."""
    return ClampBodies(
        "K1",
        shut=[box((40, 60), (60, 80), (0, 60)), box((40, 60), (20, 80), (40, 60))],
        open=[box((40, 60), (60, 80), (0, 60)), box((40, 60), (60, 80), (60, 120))],
        sweep=sweep,
        presses=presses,
    )


def test_a_clamp_shuts_after_its_piece() -> None:
    pieces = {"rail": box((0, 100), (0, 40), (0, 40))}
    order = order_in(pieces, TABLE_ONLY, [_clamp()])
    assert [(step.what, step.name) for step in order.steps] == [("put in", "rail"), ("shut", "K1")]
    assert step_of(order, "rail").while_open == ("K1",)
    assert step_of(order, "K1").after == ("rail",)
    played(order, pieces, TABLE_ONLY, [_clamp()])


def test_a_clamp_that_cannot_swing() -> None:
    """A block stands where the arm swings: the clamp is held by it, and it holds the rail."""
    pieces = {"rail": box((0, 100), (0, 40), (0, 40))}
    sweep = box((40, 60), (20, 120), (60.5, 130))
    fixed = TABLE_ONLY | {"post": box((40, 60), (100, 110), (0, 100))}
    order = order_in(pieces, fixed, [_clamp(sweep=sweep)])
    assert {held.name: held.by for held in order.held} == {"rail": ("K1",), "K1": ("post",)}
    clear = TABLE_ONLY | {"post": box((40, 60), (121, 130), (0, 100))}
    assert order_in(pieces, clear, [_clamp(sweep=sweep)]).found


def test_an_open_clamp_in_the_way() -> None:
    """Open, the second clamp stands over the plate, so the plate goes in while it is shut: shut, piece, other piece."""
    plate = {"plate": box((200, 300), (0, 40), (0, 40))}
    walls = {
        "a": box((180, 200), (-20, 60), (0, 60)), "b": box((300, 320), (-20, 60), (0, 60)),
        "c": box((200, 300), (-20, 0), (0, 60)), "d": box((200, 300), (40, 60), (0, 60)),
    }  # fmt: skip
    clamp = ClampBodies(
        "K2", shut=box((100, 170), (0, 40), (40, 60)), open=box((220, 260), (0, 40), (100, 120)), presses=("rail",)
    )
    pieces = {"rail": box((0, 150), (0, 40), (0, 40))} | plate
    fixed = TABLE_ONLY | walls
    order = order_in(pieces, fixed, [clamp])
    assert order.found
    assert names(order) == ["rail", "K2", "plate"]
    played(order, pieces, fixed, [clamp])


def test_carried_pieces_come_later() -> None:
    """A bar that lies on two rails, from the side as well as from above: only the rails under it say when."""
    rails = {"r1": box((0, 40), (0, 200), (0, 40)), "r2": box((160, 200), (0, 200), (0, 40))}
    bar = {"bar": box((0, 200), (80, 120), (40, 80))}
    pieces = bar | rails
    order = order_in(pieces, TABLE_ONLY, rests={"bar": ["r1", "r2"]})
    assert names(order)[-1] == "bar"
    assert set(step_of(order, "bar").after) >= {"r1", "r2"}


def test_pieces_that_hold_each_other() -> None:
    """A ring of four laid over and under each other does come apart straight, one linked ring in another does not."""
    ring = _ring((0, 0, 0))
    other = _ring((50, 0, 0)).copy()
    other.apply_transform(_about_x())
    order = order_in({"one": ring, "two": other}, {})
    assert {held.name: held.by for held in order.held} == {"one": ("two",), "two": ("one",)}


def _ring(at: tuple[float, float, float]) -> Any:
    import trimesh

    x, y, z = at
    outer = box((x - 50, x + 50), (y - 50, y + 50), (z - 5, z + 5))
    inner = box((x - 30, x + 30), (y - 30, y + 30), (z - 6, z + 6))
    return trimesh.boolean.difference([outer, inner], engine="manifold")


def _about_x() -> np.ndarray:
    return np.array([[1.0, 0, 0, 0], [0, 0, -1, 0], [0, 1, 0, 0], [0, 0, 0, 1]])


def test_under_a_slope_the_way_in_is_inclined() -> None:
    """A wedge-topped piece under a leaning roof: it comes in along the roof or sideways, not from above."""
    piece = prism([(0, 0), (100, 0), (100, 20), (0, 60)], (0, 40))
    roof = prism([(0, 60), (100, 20), (100, 80), (0, 80)], (0, 40))
    sides = {"n": box((-10, 110), (40, 60), (0, 80)), "s": box((-10, 110), (-20, 0), (0, 80))}
    fixed = {"roof": roof} | sides | TABLE_ONLY
    order = order_in({"wedge": piece}, fixed)
    assert order.found
    assert np.allclose(step_of(order, "wedge").direction, (1, 0, 0))
    played(order, {"wedge": piece}, fixed, [])


def test_renamed_and_shifted_nothing_changes() -> None:
    pieces = {f"layer {k}": box((0, 100), (0, 40), (k * 40, k * 40 + 40)) for k in (2, 1, 0)}
    moved = {f"x{name}": solid.copy().apply_translation((11, 22, 33)) for name, solid in pieces.items()}
    rests = {"layer 2": ["layer 1"], "layer 1": ["layer 0"]}
    one = order_in(pieces, {}, rests=rests)
    two = order_in(moved, {}, rests={f"x{k}": [f"x{n}" for n in v] for k, v in rests.items()})
    assert [f"x{name}" for name in names(one)] == names(two)


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"fixed": {"rail": box((0, 1), (0, 1), (0, 1))}}, 'two bodies are called "rail"'),
        ({"clamps": [_clamp(presses=("rial",))]}, 'clamp "K1" presses "rial"'),
        ({"rests": {"rail": ["leg"]}}, '"leg" carries'),
        ({"lift": (0, 0, 0)}, "not all 0"),
    ],
)
def test_wrong_input(change: dict[str, Any], message: str) -> None:
    given: dict[str, Any] = {"pieces": {"rail": box((0, 100), (0, 40), (0, 40))}, "fixed": {}} | change
    with pytest.raises(ValueError, match=message):
        order_in(**given)
