"""What the record beside the scene means for a job: which entries count, how blocks stand as set, words for the sheet.

An entry counts when it was written on this very setup (its content code is that of the job, or it has none) and is of
this stage, or of none. The others are kept and told, never used.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from fixture3d.errors import Problem, SceneError, UnitError, nearest_name, one_line, some_names
from fixture3d.job.code import content_code
from fixture3d.job.contact import FacePair, opposed_faces
from fixture3d.job.figures import figures_of, works_of
from fixture3d.job.job import Job, Seat
from fixture3d.job.resolve import seats_with
from fixture3d.scene.record import AsSet, Entry, Measured, Record, last_of
from fixture3d.scene.scene import Scene
from fixture3d.scene.schema import Clamp, Place, Shim
from fixture3d.units import Units, show, show_plain, show_shim

__all__ = [
    "Counted",
    "Setting",
    "as_set_words",
    "counted",
    "last_words",
    "measurable",
    "pair_name",
    "problems_of",
    "record_problems",
    "seats_as_set",
    "setting_words",
    "shim_words",
    "value_words",
    "who",
]

Item = Place | Clamp


@dataclass(frozen=True, kw_only=True)
class Setting:
    """One block as it was set.

    Attributes:
        place: as planned.
        item: as set.
        entries: those that say so, in the order of the file.
    """

    place: Item
    item: Item
    entries: tuple[AsSet, ...]


@dataclass(frozen=True, kw_only=True)
class Counted:
    """The entries of a record by what they mean for one job.

    Attributes:
        record: all of it.
        code: of the job.
        measured: by figure the entries that count, in the order of the file.
        settings: by place.
        stale: entries of another state of the scene.
    """

    record: Record
    code: str
    measured: Mapping[str, tuple[Measured, ...]]
    settings: Mapping[str, Setting]
    stale: tuple[Measured | AsSet, ...]


def counted(job: Job) -> Counted | None:
    """What the record has for a job; None where there is no record."""
    record = job.scene.record
    if record is None:
        return None
    code = content_code(job)
    own = _of_size(record, job.scene)
    fresh = [one for one in own if _fresh(one, code)]
    here = [one for one in fresh if one.stage in (None, job.stage)]
    measured: dict[str, list[Measured]] = {}
    for one in here:
        if isinstance(one, Measured):
            measured.setdefault(one.figure, []).append(one)
    places: dict[str, Item] = {item.name: item for item in (*job.scene.places, *job.scene.clamps)}
    by_place: dict[str, list[AsSet]] = {}
    for one in here:
        if isinstance(one, AsSet) and one.place in places:
            by_place.setdefault(one.place, []).append(one)
    return Counted(
        record=record,
        code=code,
        measured={name: tuple(each) for name, each in measured.items()},
        settings={name: _setting(places[name], by_place[name]) for name in places if name in by_place},
        stale=tuple(one for one in own if not _fresh(one, code)),
    )


def _of_size(record: Record, scene: Scene) -> list[Measured | AsSet]:
    """Its entries but for those of another size of the same scene, which are told of that size."""
    others = {name for name in scene.whole.sizes if name != scene.whole.size}
    return [one for one in record.entries if one.size not in others]


def _fresh(one: Entry, code: str) -> bool:
    return one.code in (None, code)


def _setting(place: Item, entries: Sequence[AsSet]) -> Setting:
    """How a block stands: its move and its shims each as the entry says that counts for it."""
    moves = [one for one in entries if one.notch is not None or one.slide is not None]
    shims = [one for one in entries if one.shims is not None]
    change: dict[str, object] = {}
    if moves:
        change |= {"notch": last_of(moves).notch, "slide": last_of(moves).slide}
    if shims:
        change |= {"shims": last_of(shims).shims}
    used = [last_of(each) for each in (moves, shims) if each]
    return Setting(
        place=place,
        item=place.model_copy(update=change),
        entries=tuple(one for one in entries if any(one is other for other in used)),
    )


def seats_as_set(job: Job, found: Counted | None = None) -> dict[str, Seat]:
    """How the blocks stand as they were set, those that stand otherwise than planned; empty where none does.

    Args:
        job: the setup as planned.
        found: what ``counted`` gives, when it is known.

    Raises:
        SceneError: a setting that the block does not have, with the line of the record.
    """
    known = counted(job) if found is None else found
    if known is None:
        return {}
    changed = [one for one in known.settings.values() if one.item != one.place]
    problems = [problem for one in changed for problem in _impossible(job, known.record, one)]
    if problems:
        raise SceneError(sorted(problems, key=lambda p: p.line))
    new = seats_with(job, [one.item for one in changed]) if changed else {}
    return {name: seat for name, seat in new.items() if seat is not job.seats[name]}


def _impossible(job: Job, record: Record, one: Setting) -> Iterator[Problem]:
    try:
        seats_with(job, [one.item])
    except SceneError as error:
        for problem in error.problems:
            what = f"{one.place.name}: {problem.what}"
            yield record.problem(*record.index(one.entries[-1]), "", what, problem.expected, problem.nearest)


def pair_name(pair: FacePair) -> str:
    """The name of the distance of two opposed faces, as report and sheet have it."""
    return f"{pair.a} {pair.pad_a} to {pair.b} {pair.pad_b}"


def measurable(job: Job) -> dict[str, str]:
    """All that can be measured on a job, by name: its unit, ``"mm"`` or ``"degrees"``; key figures first."""
    if not job.pieces():
        return {}
    out = {one.figure.name: str(one.figure.unit) for one in figures_of(job, works_of(job))}
    for pair in opposed_faces(job):
        out.setdefault(pair_name(pair), "mm")
    return out


def record_problems(jobs: Sequence[Job]) -> list[Problem]:
    """What the entries that count name and the setup does not have, with the lines of the record.

    Args:
        jobs: of all stages; of fewer, only what no stage could have is told.
    """
    record = jobs[0].scene.record
    if record is None:
        return []
    scene, code = jobs[0].scene.whole, content_code(jobs[0])
    complete = len(jobs) == max(1, len(scene.stages))
    known: dict[str, str] = {}
    own = _of_size(record, scene)
    if any(_fresh(one, code) for one in own if isinstance(one, Measured)):
        for job in jobs:
            known |= {name: unit for name, unit in measurable(job).items() if name not in known}
    out = []
    for one in own:
        if _fresh(one, code):
            said = problems_of(one, scene, known, record.units, complete)
            out += [record.problem(*record.index(one), *each) for each in said]
    return sorted(out, key=lambda p: p.line)


def problems_of(
    one: Measured | AsSet, scene: Scene, known: Mapping[str, str], file_units: Units, complete: bool = True
) -> Iterator[tuple[str, str, str, str]]:
    """What is wrong with the names of one entry: key, what was found, what was expected, the nearest.

    Args:
        one: the entry.
        scene: with all its stages.
        known: all that can be measured, with units.
        file_units: of bare numbers.
        complete: ``known`` is of all stages.
    """
    if one.size is not None and one.size not in scene.sizes:
        near = nearest_name(one.size, scene.sizes)
        expected = "no size" if not scene.sizes else "" if near else "the name of a size"
        yield "size", f'no size is called "{one_line(one.size)}"', expected, near
    stages = [stage.name for stage in scene.stages]
    if one.stage is not None and one.stage not in stages:
        expected = "no stage" if not stages else "" if nearest_name(one.stage, stages) else "the name of a stage"
        yield "stage", f'no stage is called "{one_line(one.stage)}"', expected, nearest_name(one.stage, stages)
    if isinstance(one, AsSet):
        names = [item.name for item in (*scene.places, *scene.clamps)]
        if one.place not in names:
            near = nearest_name(one.place, names)
            yield "place", f'no block is called "{one_line(one.place)}"', "" if near else some_names(names, 6), near
        return
    if one.figure not in known:
        if complete:
            near = nearest_name(one.figure, known)
            expected = "" if near else "a name of the report: a key figure, or the distance of two opposed faces"
            yield "figure", f'nothing that can be measured is called "{one_line(one.figure)}"', expected, near
        return
    try:
        value = one.amount(known[one.figure], file_units)
    except UnitError as error:
        what, _, expected = str(error).partition("; ")
        yield "value", what, expected.removeprefix("write "), ""
        return
    if value < 0.0 or (known[one.figure] == "degrees" and value > 180.0):
        yield "value", f"{value:g} is not a possible value here", "what was measured, not what it is off", ""


# --- words for the sheet ---


def as_set_words(job: Job) -> dict[str, str]:
    """How each block stands that the record says something of, by place: ``notch 11; front: 0.50 mm``."""
    found = counted(job)
    if found is None:
        return {}
    return {name: setting_words(one.item, one.entries, job.scene.units) for name, one in found.settings.items()}


def setting_words(item: Item, entries: Sequence[AsSet], units: Units) -> str:
    """Of a block as set or as planned, what some entries speak of."""
    said = []
    if any(one.notch is not None or one.slide is not None for one in entries):
        said.append(f"notch {item.notch}" if item.slide is None else f"slide {show(item.slide, units)}")
        if item.notch is None and item.slide is None:
            said[-1] = "fully in"
    if any(one.shims is not None for one in entries):
        said.append(shim_words(item.shims, units))
    return "; ".join(said)


def shim_words(shims: Sequence[Shim], units: Units) -> str:
    """Shims as the sheet has them: ``front: 0.50 mm + 0.20 mm``."""
    each = (f"{one_line(shim.pad)}: {' + '.join(show_shim(by, units) for by in shim.by)}" for shim in shims)
    return "; ".join(each) or "no shims"


def last_words(job: Job) -> dict[str, str]:
    """The measured value that counts, by figure or by the distance of two opposed faces: ``1023.5 mm, Ana``."""
    found = counted(job)
    if found is None or not found.measured:
        return {}
    known = measurable(job)
    out = {}
    for name, entries in found.measured.items():
        if name in known:
            one = last_of(entries)
            out[name] = value_words(one.amount(known[name], found.record.units), known[name], job.scene.units)
            out[name] += who(one)
    return out


def value_words(value: float, unit: str, units: Units) -> str:
    """A measured value as it is shown."""
    return f"{value:.2f}".rstrip("0").rstrip(".") + " degrees" if unit == "degrees" else show_plain(value, units)


def who(one: Entry) -> str:
    """Who and when, behind a comma; nothing where neither is known."""
    return "".join(f", {one_line(part)}" for part in (one.by, one.when) if part)
