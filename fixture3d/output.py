"""The one place that writes files: whole or not at all, and never over an existing one unless told to.

Bytes go to a temporary file in the same folder, which then takes the target's name in one step of the file system.
A process that dies half way leaves at most a file named ``.NAME.....part``.
"""

from __future__ import annotations

import contextlib
import os
import re
import stat
import unicodedata
import uuid
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Final

from fixture3d.errors import OutputRefused, one_line

# Names that Windows keeps for devices, whatever their extension. Refused everywhere, so that a folder of outputs
# can be carried to any machine. Source: Microsoft, "Naming Files, Paths, and Namespaces".
RESERVED: Final = frozenset(
    ["con", "prn", "aux", "nul", "conin$", "conout$"]
    + [f"{port}{n}" for port in ("com", "lpt") for n in ("0", *"123456789", "¹", "²", "³")]
)
_FORBIDDEN: Final = frozenset('<>:"|?*\\/')
_LONGEST: Final = 200  # bytes of one name; file systems allow 255, and the temporary file needs some

_KEPT: Final[set[str]] = set()


def keep(paths: Iterable[str | os.PathLike[str]]) -> None:
    """None of these files is written over from now on, not even with ``force``: they are what the user works from.

    They take the place of those of an earlier call.
    """
    _KEPT.clear()
    _KEPT.update(os.path.realpath(path) for path in paths)


def check_target(path: str | os.PathLike[str], force: bool = False, endings: tuple[str, ...] = ()) -> Path:
    """The path to write to, after everything that can be known beforehand has been looked at.

    Args:
        path: where a file shall be.
        force: an existing file may be replaced.
        endings: of the name, in lower case, the usual one first; another one would lie about what is in the file.

    Raises:
        OutputRefused: one line: the name is not allowed, the folder is missing or is a file, the path is a folder,
            the file exists and ``force`` is not set, it is read-only, or it is one to `keep`.
    """
    target = Path(path)
    shown = one_line(str(target))
    _check_name(target.name, shown)
    if endings and target.suffix.casefold() not in endings:
        raise OutputRefused(
            f"{shown}: expected a name that ends in {' or '.join(endings)}; "
            f'nearest: "{one_line(str(target.with_suffix(endings[0])))}"'
        )
    folder = target.parent
    try:
        if target.is_symlink():
            target = Path(os.path.realpath(target))
            folder = target.parent
            if not force and not target.exists():
                raise OutputRefused(
                    f"{shown}: a link to {one_line(str(target))}, where nothing is; --force writes there"
                )
        if not folder.exists():
            raise OutputRefused(f"{shown}: the folder {one_line(str(folder))} is missing; make it first")
        if not folder.is_dir():
            raise OutputRefused(f"{shown}: {one_line(str(folder))} is a file; expected a folder")
        _check_existing(target, shown, force)
    except (OSError, ValueError) as error:
        raise OutputRefused(f"{shown}: {_reason(error)}") from error
    return target


def _check_existing(target: Path, shown: str, force: bool) -> None:
    if target.is_dir():
        raise OutputRefused(f"{shown}: is a folder; expected the name of a file, such as {shown}{os.sep}out")
    if not os.path.lexists(target):
        return
    if os.path.realpath(target) in _KEPT:
        raise OutputRefused(f"{shown}: the setup is made from this file; give another name")
    mode = target.stat().st_mode
    if not stat.S_ISREG(mode):
        raise OutputRefused(f"{shown}: is not a plain file; expected the name of one")
    if not force:
        raise OutputRefused(f"{shown}: exists already; add --force to replace it, or give another name")
    if not mode & stat.S_IWRITE:
        raise OutputRefused(f"{shown}: is read-only; make it writable or give another name")


def _check_name(name: str, shown: str) -> None:
    """Refuse names that some system of the three cannot keep.

    Raises:
        OutputRefused: one line.
    """
    if not name or name in (".", ".."):
        raise OutputRefused(f'"{shown}" names no file; expected something like setup.pdf')
    bad = sorted({c for c in name if c in _FORBIDDEN or not (c.isprintable() or "\ud800" <= c <= "\udfff")})
    if bad:
        raise OutputRefused(
            f"{shown}: a file name cannot hold {' '.join(one_line(c) for c in bad)}; nearest: {file_name(name)}"
        )
    if name.split(".")[0].strip().casefold() in RESERVED:
        raise OutputRefused(
            f"{shown}: Windows keeps the name {one_line(name.split('.')[0])} for a device; nearest: {file_name(name)}"
        )
    if name[-1] in ". ":
        raise OutputRefused(f"{shown}: a file name cannot end in a dot or space; nearest: {file_name(name)}")
    if len(name.encode("utf-8", "surrogatepass")) > _LONGEST:
        raise OutputRefused(f"{shown[:60]}...: the file name is too long; expected at most {_LONGEST} bytes")


def file_name(text: str, fallback: str = "unnamed") -> str:
    """A file name that every system can keep, as like ``text`` as can be.

    Two texts may give the same name: a caller that writes several files numbers them.

    >>> file_name("S1: left/right"), file_name("nul.stl"), file_name("..")
    ('S1 left-right', 'nul_.stl', 'unnamed')
    """
    plain = unicodedata.normalize("NFC", text)
    plain = re.sub(r"[/\\|]", "-", plain)
    plain = "".join(c for c in plain if c.isprintable() and c not in _FORBIDDEN)
    plain = re.sub(r"\s+", " ", plain).strip(" .")
    while len(plain.encode("utf-8", "ignore")) > 120:
        plain = plain[:-1]
    plain = plain.strip(" .")
    if not plain:
        return fallback
    stem, dot, rest = plain.partition(".")
    if stem.strip().casefold() in RESERVED:
        plain = f"{stem.strip()}_{dot}{rest}"
    return plain


def write_bytes(path: str | os.PathLike[str], data: bytes, force: bool = False) -> Path:
    """Write one file, whole or not at all.

    Returns:
        The path written.

    Raises:
        OutputRefused: see `check_target`; also when the disk is full or the folder may not be written.
    """
    return write_many({Path(path): data}, force)[0]


def write_text(path: str | os.PathLike[str], text: str, force: bool = False) -> Path:
    """Write text as UTF-8 with plain line ends, the same bytes on every system. See `write_bytes`."""
    return write_bytes(path, text.encode("utf-8"), force)


def write_many(files: Mapping[Path, bytes], force: bool = False) -> tuple[Path, ...]:
    """Write several files. None takes its name before all of them are on the disk.

    Raises:
        OutputRefused: one of them may not be written; then none is.
    """
    targets = [check_target(path, force) for path in files]
    temporary: list[Path] = []
    try:
        for target, (path, data) in zip(targets, files.items(), strict=True):
            temporary.append(target.with_name(f".{target.name[:60]}.{uuid.uuid4().hex}.part"))
            try:
                _write_out(temporary[-1], data)
            except OSError as error:
                raise OutputRefused(f"{one_line(str(path))}: {_reason(error)}") from error
        for target, path, part in zip(targets, files, temporary, strict=True):
            try:
                _take_name(part, target, force)
            except OSError as error:
                raise OutputRefused(f"{one_line(str(path))}: {_reason(error)}") from error
    finally:
        for part in temporary:
            with contextlib.suppress(OSError):
                part.unlink(missing_ok=True)
    return tuple(Path(path) for path in files)


def _write_out(path: Path, data: bytes) -> None:
    with open(path, "xb") as out:
        out.write(data)
        out.flush()
        os.fsync(out.fileno())


def _take_name(part: Path, target: Path, force: bool) -> None:
    """Give the finished file its name. Without ``force`` a file that appeared meanwhile is left alone."""
    if force:
        os.replace(part, target)
        return
    try:
        os.link(part, target)  # fails when the target exists, in one step
    except FileExistsError:
        raise OutputRefused(f"{one_line(str(target))}: exists already; add --force to replace it") from None
    except OSError:  # a file system without hard links
        if os.path.lexists(target):
            raise OutputRefused(f"{one_line(str(target))}: exists already; add --force to replace it") from None
        os.replace(part, target)


def _reason(error: OSError | ValueError) -> str:
    """The system's reason in plain words."""
    if isinstance(error, PermissionError):
        return "the system does not allow writing there; give another folder"
    if isinstance(error, OSError) and error.strerror:
        return f"cannot be written: {error.strerror.lower()}"
    return f"cannot be written: {one_line(str(error))}"
