"""The whole command: show the record of a scene, add to it, or join the record of somebody else."""

from __future__ import annotations

import json
import textwrap
from argparse import Namespace
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Final

from fixture3d.checks.accuracy_answers import answer
from fixture3d.checks.accuracy_record import record_row
from fixture3d.engine import assemble, assemble_all
from fixture3d.errors import FixtureError, Problem, SceneError, one_line
from fixture3d.job import Job
from fixture3d.job.code import content_code
from fixture3d.job.recorded import measurable, problems_of, record_problems, seats_as_set, shim_words, value_words, who
from fixture3d.record.file import Table, add, join, same_thing
from fixture3d.report.record_text import record_lines
from fixture3d.report.report import plain
from fixture3d.scene import Scene
from fixture3d.scene.record import AsSet, Measured, Record, found_record, last_of, load_record, read_record, record_path
from fixture3d.scene.write import tables_text, value_text
from fixture3d.units import Units, show

__all__ = ["Told", "run"]

_WIDTH: Final = 100
_EXAMPLES: Final = "notch=11, slide=12.5 or shims=front:0.5+0.2 (shims=none)"


@dataclass(frozen=True, kw_only=True)
class Told:
    """What a command prints, and its exit code."""

    text: str
    code: int = 0


def run(scene: Scene, options: Namespace) -> Told:
    """Do what the command line asks for.

    Args:
        scene: from a file, without its record.
        options: of the command line.

    Raises:
        FixtureError: it cannot be done; nothing is written then.
    """
    assert scene.path is not None
    path = record_path(scene.path)
    adds, joins = bool(options.measured or options.set), options.merge is not None
    if adds and joins:
        raise FixtureError("--merge goes by itself; expected --measured and --set in a command of their own")
    if not adds and (options.by or options.when or options.note):
        raise FixtureError("--by, --when and --note say who measured or set; expected --measured or --set with them")
    if (adds or joins) and scene.path not in (options.scene, options.scene.with_suffix(".toml")):
        raise FixtureError(
            f"{one_line(str(options.scene))}: ships with the program; expected a file of your own, as a copy of it: "
            f"fixture3d again, or save it from {one_line(str(scene.path))}"
        )
    if (adds or joins) and options.json:
        raise FixtureError("--json shows a record; expected it without --measured, --set and --merge")
    jobs = assemble_all(scene) if options.stage is None or adds else (assemble(scene, stage=options.stage),)
    if joins:
        return Told(text=_joined(jobs, path, options.merge))
    if adds:
        return Told(text=_added(jobs, path, options))
    return _shown(jobs, scene, path, options)


# --- adding ---


def _added(jobs: Sequence[Job], path: Path, options: Namespace) -> str:
    scene = jobs[0].scene.whole
    before = found_record(scene.path, scene.units)
    units = scene.units if before is None else before.units
    said = {
        "code": content_code(jobs[0]),
        "size": scene.size,
        "stage": options.stage,
        "by": options.by,
        "when": options.when,
    }
    said = {key: value for key, value in {**said, "note": options.note}.items() if value is not None}
    given = [("measured", {"figure": name, "value": _number(value)}) for name, value in options.measured]
    given += [("as_set", _setting(words)) for words in options.set]
    probe = _probe([(kind, {**keys, **said}) for kind, keys in given], path, scene.units)
    known = _known(jobs) if options.measured else {}
    _refuse(probe, jobs, known)
    same = units == scene.units
    entries = [(kind, {**(keys if same else _with_units(keys, scene.units, known)), **said}) for kind, keys in given]
    now = add(path, scene.units, entries)
    lines = [str(path)]
    for one in probe.entries:
        lines.append(f"  added: {_words(one, known, scene.units)}")
        earlier = [] if before is None else [old for old in before.entries if same_thing(old, one)]
        if earlier:
            lines.append(f"    before: {'; '.join(_words(old, known, units, bare=True) for old in earlier[-3:])}")
            lines += _not_last(one, now)
    return "\n".join(lines) + "\n"


def _not_last(one: Measured | AsSet, now: Record) -> Iterator[str]:
    """A line where an entry does not count, because an earlier one is of a later day."""
    each = [old for old in now.entries if same_thing(old, one)]
    kept = last_of(each)
    if kept.when is not None and one.when is not None and kept.when > one.when:
        yield f"    mind: the entry of {kept.when} counts, which is the later day"


def _probe(entries: Sequence[Table], path: Path, units: Units) -> Record:
    """The entries as they would be read."""
    text = "\n\n".join([f'format = 1\nunits = "{units}"', *(tables_text({k: [keys]}).strip() for k, keys in entries)])
    try:
        made = read_record(text, "", units)
    except SceneError as error:
        raise SceneError(_told_once(error.problems)) from None
    return replace(made, path=path)


def _told_once(problems: Sequence[Problem]) -> list[Problem]:
    """Problems of what was typed: no file, no line, and what is wrong with all entries alike only once."""
    found: dict[tuple[str, str], Problem] = {}
    for one in problems:
        kind, _, _ = one.where.partition(" ")
        option = {"measured": "--measured", "as_set": "--set"}.get(kind, "record")
        found.setdefault((one.what, one.expected), replace(one, where=option, file="", line=0))
    return list(found.values())


def _refuse(probe: Record, jobs: Sequence[Job], known: Mapping[str, str]) -> None:
    """Refuse names that the setup does not have, values that cannot be, and settings that no block has."""
    scene = jobs[0].scene.whole
    problems: list[Problem] = []
    for one in probe.entries:
        option = "--measured" if isinstance(one, Measured) else "--set"
        for _, what, expected, nearest in problems_of(one, scene, known, scene.units):
            problems.append(Problem(what=what, where=option, expected=expected, nearest=nearest))
    if not problems:
        for job in jobs:
            own = job.scene.model_copy()
            own._record = probe
            try:
                seats_as_set(replace(job, scene=own))
            except SceneError as error:
                problems += [replace(one, where="--set") for one in error.problems]
    if problems:
        raise SceneError(list(dict.fromkeys(replace(one, file="", line=0) for one in problems)))


def _known(jobs: Sequence[Job]) -> dict[str, str]:
    """All that can be measured in some stage, with its unit."""
    out: dict[str, str] = {}
    for job in jobs:
        out = {**measurable(job), **out}
    return out


def _number(text: str) -> float | str:
    """A bare number as one, anything else as the text that it is: ``1_000`` is one to Python, and none at a table."""
    try:
        return text.strip() if "_" in text or not text.isascii() else float(text)
    except ValueError:
        return text.strip()


def _setting(words: Sequence[str]) -> dict[str, Any]:
    """``T1 notch=11`` as the keys of an entry."""
    place, *rest = words
    if not rest:
        raise FixtureError(f"--set {one_line(place)}: no setting is given; expected {_EXAMPLES}")
    out: dict[str, Any] = {"place": place}
    for text in rest:
        key, sign, value = (part.strip() for part in text.partition("="))
        if not sign or key not in ("notch", "slide", "shims") or not value or key in out:
            twice = " is given twice" if key in out else " is not understood"
            raise FixtureError(f'--set {one_line(place)}: "{one_line(text)}"{twice}; expected {_EXAMPLES}')
        if key == "notch":
            if not (value.isascii() and value.isdigit() and len(value) <= 9):
                raise FixtureError(
                    f"--set {one_line(place)}: notch {one_line(value)}; expected a whole number, as in 11"
                )
            out[key] = int(value)
        else:
            out[key] = _number(value) if key == "slide" else _shims(place, value)
    return out


def _shims(place: str, text: str) -> list[dict[str, Any]]:
    """``front:0.5+0.2,seat:1`` as shims."""
    if text.casefold() == "none":
        return []
    out = []
    for part in text.split(","):
        pad, sign, by = part.partition(":")
        if not sign or not pad.strip() or not by.strip():
            raise FixtureError(f'--set {one_line(place)}: shims "{one_line(part)}"; expected {_EXAMPLES}')
        out.append({"pad": pad.strip(), "by": [_number(one) for one in by.split("+")]})
    return out


def _with_units(keys: Mapping[str, Any], units: Units, known: Mapping[str, str]) -> dict[str, Any]:
    """The same entry for a file whose bare numbers are in another unit."""

    def said(value: Any) -> Any:
        return f"{value_text(value)} {units}" if isinstance(value, float) else value

    out = dict(keys)
    if "value" in out and known.get(str(out["figure"])) != "degrees":
        out["value"] = said(out["value"])
    if "slide" in out:
        out["slide"] = said(out["slide"])
    if "shims" in out:
        out["shims"] = [{**shim, "by": [said(by) for by in shim["by"]]} for shim in out["shims"]]
    return out


def _words(one: Measured | AsSet, known: Mapping[str, str], file_units: Units, bare: bool = False) -> str:
    """One entry in words."""
    if isinstance(one, Measured):
        unit = known.get(one.figure)
        said = str(one.value) if unit is None else value_words(one.amount(unit, file_units), unit, file_units)
        return one_line(f"{'' if bare else one.figure + ' '}{said}{who(one)}")
    parts = [] if one.notch is None else [f"notch {one.notch}"]
    parts += [] if one.slide is None else [f"slide {show(one.slide, file_units)}"]
    parts += [] if one.shims is None else [shim_words(one.shims, file_units)]
    said = "; ".join(parts)
    return one_line(f"{'' if bare else one.place + ' '}{said}{who(one)}")


# --- joining ---


def _joined(jobs: Sequence[Job], path: Path, other: Path) -> str:
    scene = jobs[0].scene.whole
    if other.exists() and path.exists() and other.samefile(path):
        raise FixtureError(f"--merge {one_line(str(other))}: is the record of this scene itself; expected another file")
    theirs = load_record(other, scene.units)
    probes = [replace(job, scene=job.scene.model_copy()) for job in jobs]
    for probe in probes:
        probe.scene._record = theirs
    problems = record_problems(probes)
    if problems:
        raise SceneError(problems)
    for probe in probes:
        seats_as_set(probe)
    done = join(path, scene.units, other)
    known = _known(jobs) if done.against else {}
    lines = [str(path), f"  {_many(len(done.added), 'entry', 'entries')} added, {done.known} known already"]
    for old, new in done.against:
        counts = "the second counts" if last_of([old, new]) is new else "the first counts, which is of a later day"
        first, second = (_words(one, known, done.record.units, bare=True) for one in (old, new))
        name = old.figure if isinstance(old, Measured) else old.place
        said = f"they differ on {one_line(name)}: here {first}; there {second}; both are kept, {counts}"
        lines += textwrap.wrap(said, _WIDTH, initial_indent="  ", subsequent_indent="      ")
    return "\n".join(lines) + "\n"


def _many(count: int, one: str, more: str) -> str:
    return f"{count} {one if count == 1 else more}"


# --- showing ---


def _shown(jobs: Sequence[Job], scene: Scene, path: Path, options: Namespace) -> Told:
    record = found_record(scene.path, scene.units)
    probes = [replace(job, scene=job.scene.model_copy()) for job in jobs]
    for probe in probes:
        probe.scene._record = record
    problems = record_problems(probes)
    if problems:
        raise SceneError(problems)
    rows = [record_row(job, answer(job)) if record is not None and job.pieces() else _bare(job) for job in probes]
    bad = any(_is_out(one) for row in rows if row is not None for one in row["measured"])
    names = [measurable(job) for job in jobs]
    if options.json:
        data = {
            "schema": "fixture3d.record/1",
            "units": "mm",
            "scene": scene.path.name if scene.path is not None else "",
            "file": path.name if record is not None else None,
            "code": content_code(jobs[0]),
            "record": [{**(row or {}), "stage": job.stage} for row, job in zip(rows, jobs, strict=True)],
            "measurable": [{"stage": job.stage, "names": list(each)} for job, each in zip(jobs, names, strict=True)],
        }
        return Told(text=json.dumps(plain(data), indent=1, ensure_ascii=False, allow_nan=False) + "\n", code=int(bad))
    file = one_line(path.name) if record is not None else f"none yet ({one_line(path.name)})"
    lines = [f"Record of {one_line(scene.title or path.name)}, code {content_code(jobs[0])}: {file}"]
    for job, row, each in zip(jobs, rows, names, strict=True):
        lead = "  "
        if len(jobs) > 1:
            lines.append(f"  Stage {one_line(job.stage or '')}")
            lead = "    "
        for said in record_lines(row, scene.units) if row is not None else ():
            lines += textwrap.wrap(said, _WIDTH, initial_indent=lead, subsequent_indent=lead + "    ")
        if row is None or not row["measured"]:
            said = f"can be measured: {'; '.join(one_line(name) for name in each) or 'nothing, for there is no work'}"
            lines += textwrap.wrap(said, _WIDTH, initial_indent=lead, subsequent_indent=lead + "    ")
    return Told(text="\n".join(lines) + "\n", code=int(bad))


def _bare(job: Job) -> dict[str, Any] | None:
    """The settings of a job without work, of which nothing is foreseen."""
    from fixture3d.checks.accuracy_answers import Answer

    return record_row(job, Answer(figures=(), tight={}, unknown={}))


def _is_out(one: Mapping[str, Any]) -> bool:
    limits = one["limits"]
    return bool(one["limits_stated"]) and limits is not None and not limits[0] <= one["off"] <= limits[1]
