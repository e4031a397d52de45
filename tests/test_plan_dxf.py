"""The plan as DXF at true scale, read back by ezdxf."""

from __future__ import annotations

import io
import re
from pathlib import Path
from typing import Any

import ezdxf
import numpy as np
import pytest
from shapely import Polygon

from fixture3d.cli import main
from fixture3d.engine import assemble, load
from fixture3d.export.plan_dxf import LAYERS, MOST_HOLES, plan_dxf
from fixture3d.job import Job
from fixture3d.job.code import content_code
from fixture3d.sheet import layout
from fixture3d.sheet.order import Mark, sequence
from tests.jobs import make_job, rack

INCH = 25.4


def read(data: bytes) -> Any:
    document = ezdxf.read(io.StringIO(data.decode("utf-8").replace("\r\n", "\n")))  # type: ignore[attr-defined,unused-ignore]
    audit = document.audit()
    assert not audit.errors
    assert not audit.fixes
    return document


def circles(document: Any, layer: str) -> list[tuple[float, float, float]]:
    return [
        (float(c.dxf.center[0]), float(c.dxf.center[1]), float(c.dxf.radius))
        for c in document.modelspace().query(f'CIRCLE[layer=="{layer}"]')
    ]


def rings(document: Any, layer: str) -> list[Polygon]:
    found = document.modelspace().query(f'LWPOLYLINE[layer=="{layer}"]')
    assert all(line.closed for line in found)
    return [Polygon(line.get_points("xy")) for line in found]


def texts(document: Any, layer: str = "names") -> list[str]:
    return [t.plain_text() for t in document.modelspace().query(f'TEXT[layer=="{layer}"]')]


def dowels(job: Job) -> np.ndarray[Any, Any]:
    return np.array(
        sorted(
            tuple(np.round(p.at[:2], 6))
            for s in job.seats.values()
            if layout.seen_from_above(s)
            for p in s.pins
            if p.state == "seated"
        )
    )


def dowels_of(document: Any, bore: float) -> np.ndarray[Any, Any]:
    """Centres of circles as large as the bore; the ring at the named hole is larger."""
    return np.array(sorted((x, y) for x, y, r in circles(document, "dowels") if abs(r - bore / 2) < 1e-6))


@pytest.mark.parametrize(("scene", "code", "metric", "unit"), [("kayak_rack", 4, 1, 1.0), ("garden_gate", 1, 0, INCH)])
def test_true_scale_in_the_units_of_the_file(scene: str, code: int, metric: int, unit: float) -> None:
    job = assemble(load(scene))
    document = read(plan_dxf(job, sequence(job, None).marks))
    assert document.header["$INSUNITS"] == code
    assert document.header["$MEASUREMENT"] == metric
    holes = circles(document, "holes")
    table = job.table
    assert len(holes) == table.columns * table.rows
    assert {round(r * unit, 6) for _, _, r in holes} == {table.bore / 2}
    assert (0.0, 0.0) in {(x, y) for x, y, _ in holes}  # the origin is A1
    beside = min(x for x, y, _ in holes if x > 0.0 and y == 0.0)
    assert beside * unit == pytest.approx(table.pitch[0])
    assert np.allclose(dowels_of(document, table.bore / unit) * unit, dowels(job), atol=1e-5)
    assert table.size is not None
    assert np.allclose(np.array(rings(document, "table")[0].bounds) * unit, table.size)
    for layer, roles in (("blocks", ("block", "shim")), ("clamps", ("clamp",)), ("work", ("piece",))):
        wanted = np.array([b.box[:, :2].ravel() for b in job.bodies if b.role in roles])
        found = np.array([ring.bounds for ring in rings(document, layer)]) * unit
        for box in wanted:  # every body's outline ends where its box ends
            assert np.abs(found - box).max(axis=1).min() < 0.1
    said = texts(document)
    assert any(content_code(job) in words for words in said)
    assert any(f"1 unit is 1 {job.scene.units}" in words for words in said)
    assert set(job.seats) <= set(said)
    assert {m.label for m in sequence(job, None).marks} == set(texts(document, "welds"))
    assert {e.dxf.layer for e in document.modelspace()} <= set(LAYERS)


def test_outlines_are_the_blocks_own() -> None:
    """A block of 100 by 50 with two bores of 16, turned by a quarter."""
    job = make_job(blocks=[{"name": "S1", "hole": "D4", "turn": 90.0}])
    outer, *bores = sorted(rings(read(plan_dxf(job)), "blocks"), key=lambda ring: -ring.area)
    assert outer.area == pytest.approx(5000.0)
    assert outer.bounds == pytest.approx((150.0 - 25.0, 150.0 - 25.0, 150.0 + 25.0, 150.0 + 75.0))
    assert [ring.area for ring in bores] == pytest.approx([np.pi * 64.0] * 2, rel=0.01)


def test_a_table_that_counts_from_the_back_right_has_its_blocks_at_minus() -> None:
    table = {"pitch": 50, "bore": 16, "columns": 20, "rows": 12, "edge": 50, "thickness": 12,
             "names": {"corner": "back right"}}  # fmt: skip
    job = make_job(blocks=[{"name": "S1", "hole": "C2"}], table=table)
    found = dowels_of(read(plan_dxf(job)), 16.0)
    assert [-100.0, -50.0] in found.tolist()
    assert np.allclose(found, dowels(job))


def test_a_mirrored_setup_is_drawn_mirrored(tmp_path: Path) -> None:
    assert main(["again", "kayak_rack", "--mirror", "left-right", "--plain", "-o", str(tmp_path / "m.toml")]) == 0
    job, twin = assemble(load("kayak_rack")), assemble(load(tmp_path / "m.toml"))
    middle = (job.table.columns - 1) * job.table.pitch[0] / 2
    here, there = (dowels_of(read(plan_dxf(one)), 16.0) for one in (job, twin))
    mirrored = np.array(sorted(tuple(p) for p in np.round(here * (-1.0, 1.0) + (2 * middle, 0.0), 6)))
    assert np.allclose(mirrored, np.array(sorted(tuple(p) for p in np.round(there, 6))), atol=1e-5)


def test_names_that_look_like_codes_of_the_format_are_read_as_they_are() -> None:
    names = ["50%%c", "%%%d ^J", "a^ b", "%%p U+00B0", "ü 日本"]
    job = make_job(blocks=[{"name": n, "hole": f"{'CFILO'[k]}3"} for k, n in enumerate(names)], title="%%u^I")
    document = read(plan_dxf(job))
    said = texts(document)
    assert set(names) <= set(said)
    assert any(words.startswith("%%u^I, code ") for words in said)


def test_same_bytes_and_no_date() -> None:
    job = rack()
    first = plan_dxf(job)
    assert first == plan_dxf(job)
    # The Julian day of noon on 1 January 2000 stands for no date.
    assert re.findall(r"\$TD(?:CREATE|UPDATE)\s+40\s+(\S+)", first.decode()) == ["2451545.0"] * 2


def test_welds_that_go_round_are_closed_and_upright_ones_are_rings() -> None:
    ring = [(100.0 + 20 * np.cos(t), 100.0 + 20 * np.sin(t), 5.0) for t in np.linspace(0, 2 * np.pi, 37)]
    marks = (
        Mark(label="1", path=np.array(ring)),
        Mark(label="2", path=np.array([[200.0, 100.0, 0.0], [200.0, 100.0, 50.0]])),
        Mark(label="3", path=np.array([[200.0, 100.0, 0.0], [300.0, 100.0, 50.0]])),
        Mark(label="t1", path=np.array([[250.0, 100.0, 0.0]])),
    )
    document = read(plan_dxf(rack(), marks))
    lines = document.modelspace().query('LWPOLYLINE[layer=="welds"]')
    assert sorted((line.closed, len(line)) for line in lines) == [(False, 2), (True, 3), (True, 36)]
    assert circles(document, "welds") == [(200.0, 100.0, 3.0)]
    assert set(texts(document, "welds")) == {"1", "2", "3", "t1"}


def test_a_table_of_very_many_holes_is_drawn_in_part_and_says_so() -> None:
    table = {"pitch": 15, "bore": 8, "columns": 600, "rows": 400, "edge": 20, "thickness": 12}
    near = make_job(blocks=[{"name": "S1", "hole": "C3"}, {"name": "S2", "hole": "AZ60"}], table=table)
    document = read(plan_dxf(near))
    assert 0 < len(circles(document, "holes")) <= MOST_HOLES
    assert "only the used part of the table has its holes drawn" in texts(document)
    assert not any("only every" in words for words in texts(document))
    far = make_job(blocks=[{"name": "S1", "hole": "A1"}, {"name": "S2", "hole": "WB399"}], table=table)
    document = read(plan_dxf(far))
    holes = circles(document, "holes")
    assert 0 < len(holes) <= MOST_HOLES
    (words,) = (words for words in texts(document) if "only every" in words)
    step = int(words.split()[2].rstrip("."))
    assert min(x for x, y, _ in holes if x > 0.0 and y == 0.0) == pytest.approx(15.0 * step)


def test_the_command_writes_what_is_asked_for_or_nothing(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    assert main(["sheet", "kayak_rack", "--dxf", "a.dxf"]) == 0
    assert capsys.readouterr().out == "a.dxf\n"
    assert [p.name for p in tmp_path.iterdir()] == ["a.dxf"]
    assert main(["sheet", "kayak_rack", "--dxf", "b.dxf", "-o", "a.pdf"]) == 0
    assert (tmp_path / "b.dxf").read_bytes() == (tmp_path / "a.dxf").read_bytes()
    assert (tmp_path / "a.pdf").read_bytes().startswith(b"%PDF")
    capsys.readouterr()
    assert main(["sheet", "kayak_rack", "--dxf", "a.dxf", "-o", "c.pdf"]) == 2
    assert "a.dxf: exists already; add --force" in capsys.readouterr().err
    assert main(["sheet", "kayak_rack", "--dxf", "a.dwg"]) == 2
    assert 'expected a name that ends in .dxf; nearest: "a.dxf"' in capsys.readouterr().err
    assert {p.name for p in tmp_path.iterdir()} == {"a.dxf", "b.dxf", "a.pdf"}
    assert main(["sheet", "bench_end", "--dxf", "s.dxf"]) == 0
    assert 'this is stage 1 of 2, "first side"' in capsys.readouterr().err
