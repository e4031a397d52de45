"""Foreign CAD files are read by a process of their own: the kernel can crash or run for ever on a damaged one.

The process starts with the first file, takes one after another, and ends when it has had nothing to do for a while.
A file on which it dies, or takes too long, is refused with one sentence, and the next file gets a fresh process.
"""

from __future__ import annotations

import atexit
import json
import os
import subprocess
import sys
import threading
from dataclasses import dataclass
from pathlib import Path
from typing import IO, Any

from fixture3d.errors import BadSolid, ImportFailed, one_line
from fixture3d.tolerance import FILES

_IDLE = 20.0  # s; long enough for the next file of a command, short enough not to sit on 300 MB of memory
_CODE = "import json, sys; sys.path[:] = json.loads(sys.argv[1]); from fixture3d.solid.reading import serve; serve()"


@dataclass(frozen=True)
class Packed:
    """One solid as the reader hands it over.

    Attributes:
        name: unique in the file.
        brep: the solid in the kernel's binary form; see ``kernel.brep_from_bytes``.
        volume: mm3.
        box: least and greatest corner, mm.
        colour: sRGB from 0 to 1.
        notes: what a reader should know.
    """

    name: str
    brep: bytes
    volume: float
    box: tuple[tuple[float, float, float], tuple[float, float, float]]
    colour: tuple[float, float, float] | None
    notes: tuple[str, ...]


def read(path: Path) -> list[Packed]:
    """The solids of a STEP or IGES file.

    Raises:
        ImportFailed: one line, without the name of the file in front.
    """
    with _lock:
        for _ in range(2):
            reader = _running()
            answer = reader.ask(path)
            if answer is not None:
                return answer
            if reader.process.returncode != 0:
                break
            # It had gone to sleep just as the question came.
    raise ImportFailed("cannot be read: the CAD kernel crashed on it, as it does on damaged files; export it again")


class _Reader:
    """The other process, seen from here."""

    def __init__(self) -> None:
        self.process = subprocess.Popen(
            [sys.executable, "-c", _CODE, json.dumps(sys.path)],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
        )

    def ask(self, path: Path) -> list[Packed] | None:
        """Its answer; None when it died.

        Raises:
            ImportFailed: the file is refused, or takes too long.
        """
        answers: list[list[Packed] | str | None] = []
        worker = threading.Thread(target=lambda: answers.append(self._exchange(path)), daemon=True)
        worker.start()
        worker.join(FILES.seconds)
        if not answers:
            self.process.kill()
            worker.join()
            self.end()
            raise ImportFailed(
                f"takes the CAD kernel longer than {FILES.seconds:g} s; export the weldment alone, without threads, "
                "logos and fasteners"
            )
        if isinstance(answers[0], str):
            raise ImportFailed(answers[0])
        if answers[0] is None:
            self.end()
        return answers[0]

    def _exchange(self, path: Path) -> list[Packed] | str | None:
        assert self.process.stdin is not None
        assert self.process.stdout is not None
        try:
            self.process.stdin.write(json.dumps(os.fspath(path.resolve())).encode() + b"\n")
            self.process.stdin.flush()
            line = self.process.stdout.readline()
            if not line.endswith(b"\n"):
                return None
            head = json.loads(line)
            if isinstance(head, str):
                return head
            solids = [_packed(facts, self.process.stdout.read(facts["bytes"])) for facts in head]
        except (OSError, ValueError):
            return None
        return solids if all(len(s.brep) == facts["bytes"] for s, facts in zip(solids, head, strict=True)) else None

    def end(self) -> None:
        """Close the pipes, wait for the end, and make sure of it."""
        for pipe in (self.process.stdin, self.process.stdout):
            try:
                if pipe is not None:
                    pipe.close()
            except OSError:
                pass
        try:
            self.process.wait(5.0)
        except subprocess.TimeoutExpired:
            self.process.kill()
            self.process.wait()


_lock = threading.Lock()
_reader: _Reader | None = None


def _running() -> _Reader:
    global _reader
    if _reader is None or _reader.process.poll() is not None:
        if _reader is not None:
            _reader.end()
        else:
            atexit.register(_stop)
        _reader = _Reader()
    return _reader


def _stop() -> None:
    if _reader is not None:
        _reader.end()


def _packed(facts: dict[str, Any], brep: bytes) -> Packed:
    (a, b, c), (d, e, f) = facts["box"]
    colour = facts["colour"]
    return Packed(
        name=facts["name"],
        brep=brep,
        volume=float(facts["volume"]),
        box=((a, b, c), (d, e, f)),
        colour=None if colour is None else (colour[0], colour[1], colour[2]),
        notes=tuple(facts["notes"]),
    )


def serve() -> None:
    """What the other process does: read one path a line from stdin, answer on stdout."""
    # The kernel writes its remarks to stdout; the answers go where it cannot reach.
    answers = os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)
    while True:
        idle = threading.Timer(_IDLE, os._exit, (0,))
        idle.daemon = True
        idle.start()
        line = sys.stdin.buffer.readline()
        idle.cancel()
        if not line:
            return
        _answer(Path(json.loads(line)), answers)


def _answer(path: Path, answers: IO[bytes]) -> None:
    from fixture3d.solid import kernel
    from fixture3d.solid.named import named_solids

    try:
        with kernel.quiet():
            found = named_solids(path)
            breps = [kernel.brep_bytes(one.solid) for one in found]
            head: Any = [
                {
                    "name": one.name,
                    "bytes": len(brep),
                    "volume": kernel.volume(one.solid),
                    "box": kernel.box(one.solid).tolist(),
                    "colour": one.colour,
                    "notes": list(one.notes),
                }
                for one, brep in zip(found, breps, strict=True)
            ]
    except (ImportFailed, BadSolid) as fault:
        head, breps = one_line(str(fault)), []
    except Exception:  # the kernel raises its own Standard_Failure tree
        head, breps = "cannot be read: the kernel gave up on it; export it again", []
    answers.write(json.dumps(head).encode() + b"\n" + b"".join(breps))
    answers.flush()
