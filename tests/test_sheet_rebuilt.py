"""From the sheet alone every block and clamp is set again: it then stands as in the scene it was printed from.

Tried as a person would who has the sheet, the table and the rack: the PDF is read by pypdf (tests/sheet_reader.py).
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from fixture3d.engine import assemble
from fixture3d.job import Job, Seat
from fixture3d.scene import Scene
from fixture3d.scene.scene import loads
from fixture3d.sheet.pdf import sheet_pdf
from fixture3d.units import show
from tests.sheet_reader import Row, Sheet, dowels_of, place_of, presses_of, read_sheet
from tests.sheets import demo_jobs, demo_sheet

DEMOS = (
    "kayak_rack", "garden_gate", "saw_stand", "tool_trolley", "bench_end", "canoe_trolley", "hose_reel", "paddle_hook",
)  # fmt: skip


def rebuilt(sheet: Sheet, rows: list[Row]) -> Job:
    """The setup that the rows of one stage make, without work on it."""
    places: dict[bool, list[dict[str, Any]]] = {False: [], True: []}
    for row in rows:
        places[row.clamp].append(place_of(row, sheet))
    head = {"format": 1, "units": sheet.units, "table": sheet.table}
    return assemble(Scene.from_dict({**head, "place": places[False], "clamp": places[True]}))


def top(job: Job, name: str) -> float:
    return max(float(body.box[1, 2]) for body in job.of_item(name) if body.role in ("block", "clamp"))


def alike(job: Job, seat: Seat, again: Job, row: Row) -> None:
    other = again.seats[seat.name]
    assert (other.model, other.face, other.stands_on) == (seat.model, seat.face, seat.stands_on)
    assert other.notch == seat.notch
    assert other.slide == pytest.approx(seat.slide, abs=0.01)
    assert set(other.shims) == set(seat.shims)
    assert all(other.shims[pad] == pytest.approx(by, abs=0.005) for pad, by in seat.shims.items())
    assert (other.bolted, other.holes) == (seat.bolted, seat.holes)
    assert {hole.rpartition(":")[2] for hole in seat.holes} == dowels_of(row)
    turned = abs((other.turn - seat.turn + 180.0) % 360.0 - 180.0)
    assert turned <= (0.5 if seat.clamp else 0.005) or (row.cells["Turn"] == "any" and not seat.clamp)
    assert top(again, seat.name) == pytest.approx(top(job, seat.name), abs=0.02)
    if not seat.clamp:
        assert np.abs(other.model_to_world - seat.model_to_world).max() < 0.01
    else:
        said = presses_of(row)
        place: Any = seat.place
        assert (said.get("presses"), said.get("toward")) == (place.presses, place.toward)
        at = "" if place.at is None else show(place.at, job.scene.units).removesuffix(f" {job.scene.units}")
        assert said.get("at", "") == at


@pytest.mark.parametrize("name", DEMOS)
def test_a_demo_is_rebuilt_from_its_sheet(name: str) -> None:
    jobs = demo_jobs(name)
    sheet = read_sheet(demo_sheet(name))
    assert len(sheet.stages) == len(jobs)
    for job, rows in zip(jobs, sheet.stages, strict=True):
        assert sorted(row.name for row in rows) == sorted(job.seats)
        assert [row.clamp for row in rows] == [job.seats[row.name].clamp for row in rows]
        again = rebuilt(sheet, rows)
        for row in rows:
            alike(job, job.seats[row.name], again, row)


SHIMMED = """
format = 1
title = "t"
table = "50/16 1000x1000"
[[place]]
name = "S1"
model = "stop_block"
hole = "C3"
turn = 90
shims = [{ pad = "front", by = [0.5, 0.2] }, { pad = "seat", by = [1.0] }]
[[place]]
name = "S2"
model = "slide_stop"
hole = "H8"
turn = 180
slide = 4.5
[[place]]
name = "S3"
model = "stop_block"
hole = "M3"
face = "front"
[[place]]
name = "S4"
model = "stop_block"
hole = "C10"
pin = "2"
[[place]]
name = "S5"
model = "stop_block"
on = "S1"
socket = "1"
[[place]]
name = "S6"
model = "riser"
hole = "M12"
turn = 12.5
bolt = true
"""


def test_shims_slide_face_and_dowels_left_out_are_rebuilt() -> None:
    """What no demo has, each in one block."""
    job = assemble(loads(SHIMMED))
    sheet = read_sheet(sheet_pdf(job))
    (rows,) = sheet.stages
    assert sorted(row.name for row in rows) == sorted(job.seats)
    again = rebuilt(sheet, rows)
    for row in rows:
        alike(job, job.seats[row.name], again, row)
