"""The 3D page of 200 bodies and some 100,000 triangles: its size, the time to write it, the time until it can be used.

Run alone: ``python tests/bench/page.py``. The setup has 40 blocks of 40 different heights with a dowel each, 60 tubes
and 60 flats of different lengths, so that few shapes are shared. It is written twice with one store in memory: new, and
as it is when nothing has changed. Then Chromium opens it from disk, five times; what counts is the page's own clock
when it says that it is ready. Baseline: trimesh writes the same meshes as a GLB scene, which nothing can be asked.

The last line is one JSON object. ``figure`` is the seconds to write the page again, ``baseline`` those of trimesh for
its GLB; ``open`` is the median in seconds, None without a browser; ``limits`` says whether size and opening keep the
3 MB and 2 s that are asked for.
"""

from __future__ import annotations

import json
import statistics
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

import numpy as np

from fixture3d.cache import Store
from fixture3d.engine import assemble_all
from fixture3d.job import Job
from fixture3d.preview.page.page import page
from fixture3d.scene import Scene

BLOCKS, PAIRS, OPENED = 40, 60, 5


def tables() -> dict[str, Any]:
    """The setup as tables of a scene file."""
    places = []
    for k in range(BLOCKS):
        hole = f"{'ABCDEFGHIJKLMNOPQRSTUVWXYZ'[3 * (k % 8) + 1]}{4 * (k // 8) + 2}"
        places.append({"name": f"S{k}", "model": "stop_block", "hole": hole, "pins": ["1"], "with": {"height": 50 + k}})
    members = []
    for k in range(PAIRS):
        y, long = 30.0 * k, 300.0 + 7.0 * k
        tube = {"stock": "SHS 40x40x3", "from": [1400, y, 0], "to": [1400 + long, y, 0]}
        flat = {"stock": "FLAT 40x6", "from": [1400, y, 60], "to": [1400 + long, y, 60]}
        members += [{"name": f"tube {k}", **tube}, {"name": f"flat {k}", **flat}]
    grid = {"pitch": 50, "bore": 16, "columns": 60, "rows": 40, "edge": 50, "thickness": 12}
    return {"format": 1, "title": "200 bodies", "table": grid, "weldment": {"hole": "A1", "lift": 150},
            "place": places, "member": members}  # fmt: skip


def written(store: Store) -> tuple[bytes, float, tuple[Job, ...]]:
    """The page, the seconds from the scene to its bytes, and the jobs."""
    start = time.perf_counter()
    jobs = assemble_all(Scene.from_dict(tables()), store)
    html = page(jobs)
    return html, time.perf_counter() - start, jobs


def with_trimesh(jobs: tuple[Job, ...]) -> tuple[bytes, float]:
    """The same bodies as a GLB by trimesh, and the seconds."""
    import trimesh

    start = time.perf_counter()
    scene = trimesh.Scene()
    known: dict[str, str] = {}
    for body in jobs[0].bodies:
        facets = body.shape.facets
        if body.shape.key not in known:
            known[body.shape.key] = body.name
            mesh = trimesh.Trimesh(facets.vertices, facets.faces, process=False)
            scene.add_geometry(mesh, node_name=body.name, geom_name=body.name, transform=body.body_to_world)
        else:
            scene.graph.update(frame_to=body.name, geometry=known[body.shape.key], matrix=body.body_to_world)
    data = scene.export(file_type="glb")
    return data, time.perf_counter() - start


def opening(html: bytes) -> list[float] | None:
    """Seconds on the page's own clock until it is ready, once for each time; None without a browser."""
    try:
        from playwright.sync_api import sync_playwright
    except ImportError:
        return None
    from tests.test_page_browser import FLAGS, chromium

    if not chromium():
        return None
    out = []
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as playwright:
        file = Path(folder) / "page.html"
        file.write_bytes(html)
        browser = playwright.chromium.launch(executable_path=chromium(), args=FLAGS)
        for _ in range(OPENED):
            context = browser.new_context(viewport={"width": 1024, "height": 768})
            context.set_offline(True)
            tab = context.new_page()
            tab.goto(file.as_uri())
            out.append(tab.evaluate("window.fixture3d.ready.then(() => performance.now())") / 1000.0)
            context.close()
        browser.close()
    return out


def main() -> int:
    """Print the figures."""
    store = Store(None)
    html, cold, jobs = written(store)
    again, warm, jobs = written(store)
    assert html == again
    triangles = sum(len(body.shape.facets.faces) for body in jobs[0].bodies)
    glb, baseline = with_trimesh(jobs)
    times = opening(html)
    median = statistics.median(times) if times else None
    print(f"{len(jobs[0].bodies)} bodies, {triangles} triangles, {len({b.shape.key for b in jobs[0].bodies})} shapes")
    print(f"page {len(html) / 1e6:.2f} MB, new {cold:.2f} s, again {warm:.2f} s")
    print(f"GLB by trimesh {len(glb) / 1e6:.2f} MB, {baseline:.2f} s, and no page to show it")
    print(f"ready after {[round(t, 2) for t in times or []]} s")
    result = {
        "bench": "page",
        "bodies": len(jobs[0].bodies),
        "triangles": triangles,
        "bytes": len(html),
        "figure": round(warm, 3),
        "baseline": round(baseline, 3),
        "baseline_bytes": len(glb),
        "cold": round(cold, 3),
        "open": None if median is None else round(median, 3),
        "limits": bool(len(html) < 3_000_000 and (median is None or median < 2.0)),
        "load": float(np.round(_load(), 1)),
    }
    print(json.dumps(result))
    return 0


def _load() -> float:
    """How busy the machine is, where that can be told."""
    import os

    return os.getloadavg()[0] if hasattr(os, "getloadavg") else 0.0


if __name__ == "__main__":
    sys.exit(main())
