"""Setups for the tests of the 3D page, and the way back from a page to what is in it."""

from __future__ import annotations

import base64
import gzip
import json
import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cache
from typing import Any

import numpy as np

from fixture3d import frame
from fixture3d.cache import Store
from fixture3d.engine import assemble_all, check_jobs
from fixture3d.job import Body, Job
from fixture3d.preview.page.page import page
from fixture3d.report import Report
from fixture3d.scene import Scene
from fixture3d.solid.shape import Shape
from tests.jobs import make_job

# A block between the torch and one end of a weld, a clamp that a weld cannot be reached past, a round tube.
BENCH: dict[str, Any] = {
    "format": 1,
    "title": "Trolley corner",
    "table": {"pitch": 50, "bore": 16, "columns": 14, "rows": 12, "edge": 50, "thickness": 12, "blocked": ["B2"]},
    "weldment": {"hole": "E4", "offset": [40, 20], "lift": 70, "technique": "corner"},
    "member": [
        {"name": "post", "stock": "SHS 40x40x3", "from": [0, 0, 0], "to": [0, 300, 0]},
        {"name": "arm", "stock": "SHS 40x40x3", "from": [20, 200, 0], "to": [220, 200, 0]},
        {"name": "handle", "stock": "CHS 33.7x3.2", "from": [120, 60, 0], "to": [120, 160, 0]},
    ],
    "weld": [
        {"name": "near", "type": "fillet", "size": 3, "joins": ["post", "arm"],
         "path": [[20, 180, -14], [20, 180, 14]]},
        {"name": "far", "type": "fillet", "size": 3, "joins": ["post", "arm"],
         "path": [[20, 220, -14], [20, 220, 14]]},
        {"name": "top", "type": "butt", "size": 3, "technique": "butt", "sides": [[0, 0, 1], [0, 0, 1]],
         "path": [[20, 186, 20], [20, 214, 20]]},
    ],
    "place": [
        {"name": "S1", "model": "stop_block", "hole": "E6", "turn": 90, "with": {"height": 75}},
        {"name": "T1", "model": "riser", "hole": "G9", "with": {"height": 130}},
        {"name": "R1", "model": "stop_block", "hole": "E5", "with": {"height": 50, "depth": 40}},
        {"name": "V1", "model": "vee_block", "hole": "H5", "with": {"diameter": 33.7}},
    ],
}  # fmt: skip


# The same turned over for its last weld, with one block gone and one more.
STAGED: dict[str, Any] = {
    **BENCH,
    "place": [
        {**BENCH["place"][0], "stages": ["first side"]},
        *BENCH["place"][2:],
        {"name": "R2", "model": "riser", "hole": "E11", "stages": ["second side"], "with": {"height": 50}},
    ],
    "stage": [
        {"name": "first side", "welds": ["near", "top"]},
        {"name": "second side", "welds": ["far"], "weldment": {"up": "-z", "lift": 90}},
    ],
}


@dataclass(frozen=True, eq=False)
class Made:
    """A setup with its page."""

    jobs: tuple[Job, ...]
    report: Report | None
    html: bytes
    data: dict[str, Any]
    glb: bytes


def made(tables: Mapping[str, Any], *, checked: bool = True, store: Store | None = None) -> Made:
    """The page of those tables."""
    jobs = assemble_all(Scene.from_dict(tables), store)
    report = check_jobs(jobs) if checked else None
    return of_jobs(jobs, report)


def of_jobs(jobs: tuple[Job, ...], report: Report | None = None) -> Made:
    """The page of those jobs."""
    html = page(jobs, report)
    return Made(jobs, report, html, json.loads(unpacked(html, "data")), unpacked(html, "glb"))


@cache
def bench() -> Made:
    """The page of ``BENCH``."""
    return made(BENCH)


def unpacked(html: bytes, name: str) -> bytes:
    """What is packed in a page under that id."""
    found = re.findall(rf'<script[^>]*\bid="{name}"[^>]*>([A-Za-z0-9+/=\s]*)</script>'.encode(), html)
    assert len(found) == 1
    return gzip.decompress(base64.b64decode(found[0]))


@cache
def solids() -> dict[str, Any]:
    """Solids with every kind of face, as ``TopoDS_Shape`` in their own frames."""
    import cadquery as cq

    plate = cq.Workplane("XY").box(90, 70, 12).faces(">Z").workplane().pushPoints([(-25, -15), (25, 15)]).hole(16)
    sunk = cq.Workplane("XY").box(60, 60, 20).faces(">Z").workplane().cskHole(9, 18, 82)
    return {
        "box": cq.Workplane("XY").box(60, 40, 30).val().wrapped,
        "rod": cq.Solid.makeCylinder(12, 80).wrapped,
        "tube": cq.Workplane("XY").circle(30).circle(24).extrude(100).val().wrapped,
        "cone": cq.Solid.makeCone(30, 10, 50).wrapped,
        "ball": cq.Workplane("XY").sphere(12).val().wrapped,
        "ring": cq.Solid.makeTorus(12, 3).wrapped,
        "plate": plate.val().wrapped,
        "sunk": sunk.val().wrapped,
        "elbow": cq.Workplane("XY").center(40, 0).circle(8).revolve(250, (-40, 0, 0), (-40, 1, 0)).val().wrapped,
        "rounded": cq.Workplane("XY").box(50, 40, 30).edges("|Z").fillet(8).val().wrapped,
    }


@cache
def solids_job() -> Job:
    """Those solids, one a place, each turned another way, as pieces over the table."""
    rng = np.random.default_rng(20261129)
    bodies = []
    for k, (name, solid) in enumerate(solids().items()):
        axis, turn = rng.normal(size=3), float(rng.uniform(0, 360))
        at = (150.0 * (k % 3), 150.0 * (k // 3), 120.0 + float(rng.uniform(-20, 20)))
        pose = frame.chain(frame.translation(at), frame.rotation(axis, turn))
        bodies.append(Body(name=name, item=name, role="piece", shape=Shape.of(solid), body_to_world=pose))
    return replace(make_job(title="Solids"), bodies=tuple(bodies))


HOSTILE = (
    '</script><script>window.caught = 1</script><img src=x onerror="window.caught = 2"> @@JS@@ @@DATA@@ '
    '" onload="window.caught = 3 \u2028 \u2029 \u202e &lt;b&gt; '
)


@cache
def hostile() -> Made:
    """A page in which every text that can come from a scene, or from a file it names, tries to be more than text."""
    plain = bench()
    job, report = plain.jobs[0], plain.report
    assert report is not None
    renamed = tuple(replace(w, name=f"{HOSTILE}{w.name}", type="fillet") for w in job.welds)
    post = next(b for b in job.bodies if b.name == "post")
    bodies = tuple(replace(b, name=HOSTILE * 40, item=HOSTILE * 40) if b is post else b for b in job.bodies)
    scene = job.scene.model_copy(update={"title": HOSTILE})
    nasty = replace(job, scene=scene, welds=renamed, bodies=bodies)
    findings = tuple(
        replace(f, message=HOSTILE + f.message, remedy=HOSTILE, subjects=(HOSTILE,)) for f in report.findings
    )
    return of_jobs((nasty,), replace(report, job=nasty, findings=findings))


def extras(glb: bytes) -> dict[str, Any]:
    """The JSON part of a GLB."""
    length = int.from_bytes(glb[12:16], "little")
    document: dict[str, Any] = json.loads(glb[20 : 20 + length])
    return document
