"""The content code: eight characters that tell whether a sheet, a page and a scene file are of one setup."""

from __future__ import annotations

import hashlib
import json
from typing import TYPE_CHECKING

import numpy as np

from fixture3d import __version__
from fixture3d.job import Job

if TYPE_CHECKING:
    from fixture3d.scene import Scene


def content_code(job: Job) -> str:
    """Eight characters that change whenever the setup may have changed, whatever the file is called.

    They depend on the content of the scene with all its stages, on the source of the models that it uses, on the
    files with geometry that it names, on the place of its pieces where these do not lie otherwise in another stage,
    and on the version of the program. Comments and the order of keys do not matter.
    """
    scene: Scene = job.scene.whole
    digest = hashlib.sha256()
    digest.update(json.dumps([__version__, scene.model_dump(mode="json", by_alias=True)], sort_keys=True).encode())
    for model in sorted({item.model for item in (*scene.places, *scene.clamps)}):
        entry = job.library.entries.get(model)
        digest.update(repr((model, entry.digest if entry is not None else "")).encode())
    for file in scene.geometry_files:
        digest.update(hashlib.sha256(file.read_bytes()).digest())
    if not scene.stages:
        for piece in job.pieces():
            digest.update(repr((piece.name, (np.round(piece.box, 2) + 0.0).tolist())).encode())
    return digest.hexdigest()[:8].upper()
