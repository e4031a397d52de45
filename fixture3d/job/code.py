"""The content code: eight characters that tell whether a sheet, a page and a scene file are of one setup."""

from __future__ import annotations

import hashlib
import json

import numpy as np

from fixture3d import __version__
from fixture3d.job import Job


def content_code(job: Job) -> str:
    """Eight characters that change whenever the setup may have changed, whatever the file is called.

    They depend on the content of the scene, on the source of the models that it uses, on the size and place of pieces
    from a geometry file, and on the version of the program. Comments and the order of keys do not matter.
    """
    digest = hashlib.sha256()
    digest.update(json.dumps([__version__, job.scene.model_dump(mode="json", by_alias=True)], sort_keys=True).encode())
    for model in sorted({seat.model for seat in job.seats.values()}):
        digest.update(repr((model, job.library.entry(model).digest)).encode())
    for piece in job.pieces():
        digest.update(repr((piece.name, (np.round(piece.box, 2) + 0.0).tolist())).encode())
    return digest.hexdigest()[:8].upper()
