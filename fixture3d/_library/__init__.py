"""Bridge to ``models/`` and ``scenes/``: inside this package in a wheel, at the top of a checkout."""

from pathlib import Path

_here = Path(__file__).resolve().parent
if not (_here / "models").is_dir() and (_here.parents[1] / "pyproject.toml").is_file():
    __path__.append(str(_here.parents[1]))
