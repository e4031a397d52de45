"""Names of solids from files, fit for a scene, a sheet and a file name, and told apart."""

from __future__ import annotations

import re

from fixture3d.scene.fields import LONGEST_NAME, name_fault


def clean(name: str) -> str:
    """A name that can stand in a scene, on a sheet and in a file name."""
    text = "".join(c if c.isprintable() else " " for c in name)
    text = re.sub(r'[<>:"/\\|?*]+', "-", " ".join(text.split())).strip(" .-")[: LONGEST_NAME - 6].strip(" .")
    return text if text and not name_fault(text) else f"part {text}".strip() if text else "part"


def unique(name: str, used: set[str]) -> str:
    """The name, or the first of "name 2", "name 3" and so on that is not in ``used``, which then holds it."""
    number, title = 1, name
    while title.casefold() in used:
        number += 1
        title = f"{name} {number}"
    used.add(title.casefold())
    return title
