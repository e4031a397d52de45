"""What each command does. Every function takes the parsed options, prints the answer, and returns the exit code."""

from __future__ import annotations

import json
import sys
import time
from argparse import Namespace
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, Literal

from fixture3d.errors import FixtureError, ModelError, OutputRefused, UnitError, nearest_name, one_line

if TYPE_CHECKING:
    from fixture3d.checks.base import Finding
    from fixture3d.job import Job
    from fixture3d.library import Entry
    from fixture3d.part import Part, Pattern
    from fixture3d.report import Report
    from fixture3d.report.family import FamilyReport
    from fixture3d.scene import Scene

Units = Literal["mm", "in"]
_LOOK: Final = 0.2  # s between two looks at a file that is watched


def run_check(options: Namespace) -> int:
    """``check``: the worst exit code of all scenes; a scene that cannot be read does not stop the others."""
    worst = 0
    for number, path in enumerate(options.scene):
        try:
            report = _check(path, options, options.stage, _spread(options))
        except FixtureError as error:
            print(str(error), file=sys.stderr)
            worst = max(worst, 2)
            continue
        if options.json:
            # One scene to be read by a person, many to be read line by line.
            indent = 1 if len(options.scene) == 1 else None
            print(json.dumps(report.to_dict(timing=options.timing), indent=indent, ensure_ascii=False, allow_nan=False))
        else:
            if len(options.scene) > 1:
                print(("\n" if number else "") + f"== {one_line(str(path))}")
            shown = {name: getattr(options, name) for name in ("faces", "timing", "order", "shrinkage")}
            print(_report_text(report, **shown), end="")
        worst = max(worst, report.exit_code)
    return worst


def run_watch(options: Namespace) -> int:
    """``watch``: check, wait until the file changes, check again."""
    code = 0
    rounds = 0
    files: tuple[Path, ...] = ()
    while True:
        files = _watched(options, files)
        before = _stamp(files)
        try:
            report = _check(options.scene, options)
            print(_report_text(report), flush=True)
            code = report.exit_code
        except FixtureError as error:
            print(str(error), file=sys.stderr, flush=True)
            code = 2
        rounds += 1
        if options.once and rounds == 2:
            return code
        print(f"watching {options.scene}; Ctrl-C stops", file=sys.stderr, flush=True)
        _wait_for_change(files, before)


def _watched(options: Namespace, known: tuple[Path, ...]) -> tuple[Path, ...]:
    """The files that a check of a scene reads; of one that cannot be read now, those that were known before."""
    from fixture3d.scene.find import find, load
    from fixture3d.scene.record import record_path

    path = find(options.scene)
    try:
        named = load(path, options.models, record=False, shop=options.shop).files
    except FixtureError:
        named = known
    given = () if options.shop is None else (options.shop,)
    return tuple(dict.fromkeys((path, record_path(path), *given, *named)))


def _wait_for_change(files: Sequence[Path], before: tuple[int, ...]) -> None:
    """Until one of the files is other than before and they all stay as they are from one look to the next.

    Many editors empty a file before they write it, so what is seen at the first look may be half of it.
    """
    while _stamp(files) == before:
        time.sleep(_LOOK)
    seen = None
    while (now := _stamp(files)) != seen:
        seen = now
        time.sleep(_LOOK)


def _stamp(files: Sequence[Path]) -> tuple[int, ...]:
    """When files were last written, and how large they are."""
    out: list[int] = []
    for file in files:
        try:
            status = file.stat()
            out += [status.st_mtime_ns, status.st_size]
        except OSError:
            out += [0, 0]
    return tuple(out)


def run_view(options: Namespace) -> int:
    """``view``: a window, a picture with ``--png``, a page with ``--html``."""
    size = _pixels(options.pixels)
    _no_pixels(options)
    if options.html is not None:
        _write_page(options)
        if options.png is None:
            return 0
    if options.png is None:
        from fixture3d.preview.window import show_window

        job = _assemble(_load(options.scene, options, record=not options.no_record), options.stage)
        show_window(job, *_checked(job, options.plain))
        return 0
    from fixture3d.engine import check_job
    from fixture3d.output import check_target
    from fixture3d.preview.located import located_in
    from fixture3d.preview.png import write_png

    scene = _load(options.scene, options, record=not options.no_record)
    check_target(options.png, options.force, (".png",))
    job = _assemble(scene, options.stage)
    report = None if options.plain else check_job(job)
    findings = report.findings if report is not None else ()
    welds = report.figures("welds") if report is not None else []
    lies = None if report is None else located_in(report)
    contacts = options.contacts
    print(write_png(job, options.png, findings, size, options.force, welds, lies, contacts))
    return 0


def _write_page(options: Namespace) -> None:
    """The 3D page of every stage, or of the one that is asked for, with the checks unless they are not wanted."""
    from fixture3d.engine import assemble, assemble_all, check_jobs
    from fixture3d.output import check_target
    from fixture3d.preview.page.page import write_page
    from fixture3d.progress import on_terminal

    scene, stage = _load(options.scene, options, record=not options.no_record), getattr(options, "stage", None)
    check_target(options.html, options.force, (".html", ".htm"))
    jobs = assemble_all(scene) if stage is None else (assemble(scene, stage=stage),)
    with on_terminal(str(options.scene)) as progress:
        report = None if options.plain else check_jobs(jobs, progress)
        written = write_page(jobs, options.html, report, force=options.force, progress=progress)
    print(written)


def run_sheet(options: Namespace) -> int:
    """``sheet``: the setup sheet as PDF, or as a page, or its plan as DXF."""
    from fixture3d.output import write_many
    from fixture3d.sheet.files import check_targets, sheet_files
    from fixture3d.sheet.kept import kept_sheet

    scene, stage = _load(options.scene, options, record=not options.no_record), options.stage
    targets = {kind: path for kind in ("html", "dxf") if (path := getattr(options, kind)) is not None}
    if options.output is not None or not targets:
        targets["pdf"] = _target(options, ".pdf")
    check_targets(targets, options.force)
    single = stage is not None or set(targets) == {"dxf"}

    def make() -> dict[str, bytes]:
        from fixture3d.engine import assemble_all, check_jobs
        from fixture3d.progress import on_terminal

        with on_terminal(str(options.scene)) as progress:
            jobs = (_assemble(scene, stage),) if single else assemble_all(scene)
            return sheet_files(jobs, list(targets), check_jobs(jobs, progress), options.paper)

    made = kept_sheet(scene, list(targets), (str(options.paper), repr(stage), str(single)), make)
    for path in write_many({targets[kind]: data for kind, data in made.items()}, options.force):
        print(path)
    return 0


def run_cuts(options: Namespace) -> int:
    """``cuts``: the cut list as text or JSON, or as files in a folder."""
    from fixture3d.cache import default_store
    from fixture3d.export.cut_list import cuts_dict, cuts_text, refuse_early, write_cuts
    from fixture3d.job.weldment import build

    if options.output is not None:
        refuse_early(options.output)
    scene = _load(options.scene, options)
    weldment = build(scene, default_store())
    if weldment is None or not weldment.pieces:
        shown = one_line(str(options.scene))
        raise FixtureError(f"{shown}: it has no pieces to cut; expected a [[member]], [[frame]] or [[plate]]")
    if options.output is not None:
        for path in write_cuts(scene, weldment, options.output, force=options.force, paper=options.paper):
            print(path)
    elif options.json:
        print(json.dumps(cuts_dict(scene, weldment), indent=1, ensure_ascii=False, allow_nan=False))
    else:
        print(cuts_text(scene, weldment), end="")
    return 0


def run_locate(options: Namespace) -> int:
    """``locate``: settings for a distance; of a scene, which stops are on position."""
    if options.datum is None:
        return _on_position(options)
    from fixture3d.job.ask import USUAL_TABLE, Asked, bare_table, load_stock, question
    from fixture3d.job.locate import locate
    from fixture3d.library import library
    from fixture3d.report.setting_data import to_dict
    from fixture3d.report.setting_text import to_text

    if options.scene is not None and (options.table is not None or options.units is not None):
        raise FixtureError("--scene has a table and units of its own; expected no --table and no --units with it")
    if options.scene is None and options.size is not None:
        raise FixtureError("--size is of a scene with sizes; expected --scene with it")
    if options.list < 1:
        raise FixtureError(f"--list {options.list}: expected 1 or more")
    scene = bare_table(options.table, options.units or "mm")
    if options.scene is not None:
        scene = _load(options.scene, options)
    elif options.table is None:
        print(f'for a table "{USUAL_TABLE[scene.units]}"; --table or --scene for another one', file=sys.stderr)
    scene._shop = options.shop
    stock, source = load_stock(scene)
    shop = library([Path(m) for m in options.models])
    asked = Asked(
        distance=options.what,
        datum=options.datum,
        facing=options.facing,
        within=options.within,
        height=options.height,
        shims=options.shims,
    )
    found = locate(question(asked, scene, stock, shop, options.stage), shop, options.list)
    if options.json:
        print(json.dumps(to_dict(found), indent=1, ensure_ascii=False, allow_nan=False))
    else:
        print(to_text(found, options.what, source), end="")
    return 0 if found.good else 1


def _on_position(options: Namespace) -> int:
    """``locate SCENE``: which stops are on position."""
    from fixture3d.job.ask import free_shims
    from fixture3d.job.on_position import on_position
    from fixture3d.report.position_text import to_dict, to_text
    from fixture3d.scene.find import find
    from fixture3d.units import UNITS, length

    path = Path(options.what)
    if not find(path).exists():
        for unit in UNITS:
            try:
                length(options.what, unit)
            except UnitError:
                continue
            raise FixtureError(f'"{one_line(options.what)}" is a distance and needs --from, such as --from A1.x')
    if options.scene is not None:
        raise FixtureError("--scene goes with a distance and --from; expected locate SCENE, or a distance")
    scene = _load(path, options)
    job = _assemble(scene, options.stage)
    rows = on_position(job, free_shims(job))
    if options.json:
        print(json.dumps(to_dict(job, rows), indent=1, ensure_ascii=False, allow_nan=False))
    else:
        print(to_text(job, rows), end="")
    return 0 if all(row.on for row in rows) else 1


def run_make(options: Namespace) -> int:
    """``make``: the files of one block, its drawing and its fits; or the files of every block of a list."""
    from fixture3d import output
    from fixture3d.catalogue import gauge_lines
    from fixture3d.export.block import write_block
    from fixture3d.export.orders import LISTS
    from fixture3d.library import library

    if options.hold is not None:
        return _make_hold(options)
    _only_with_hold(options)
    if Path(options.model).suffix.casefold() in LISTS:
        return _make_list(options)
    given: dict[str, object] = {}
    for text in options.parameter:
        key, sign, value = text.partition("=")
        if not sign or not key or not value:
            raise ModelError(f'"{text}" is not KEY=VALUE; expected such as height=75')
        if key.strip() in given:
            raise ModelError(f'"{key.strip()}" is given twice; expected one value')
        given[key.strip()] = value.strip()
    shop = library([Path(m) for m in options.models])
    entry = shop.entry(options.model)
    part = shop.make(options.model, _pattern(options.table, options.units), given, options.units)
    drawn, told = _drawn(options, part, entry), _fits(options, part)
    formats, kerf = _formats(options, options.units)
    printed = _printed(options, part, entry)
    paths = (
        ()
        if printed and options.format is None
        else write_block(
            part,
            options.output,
            entry=entry,
            units=options.units,
            formats=formats,
            kerf=kerf,
            force=options.force,
        )
    )
    for path in paths:
        print(path)
    for line in printed:
        print(line)
    for path in output.write_many(drawn, options.force):
        print(path)
    print(told, end="")
    print("".join(f"{line}\n" for line in gauge_lines(part, options.units)), end="")
    if options.table is None:
        print(f"made for holes of {_USUAL[options.units][1]}; --table PITCH/BORE for other ones", file=sys.stderr)
    return 0


def _only_with_hold(options: Namespace) -> None:
    """Refuse options of ``make --hold`` without it."""
    named = {"scene": "--scene", "side": "--from", "at": "--at", "height": "--height", "name": "--name"}
    for key, option in (*named.items(), ("stack", "--stack")):
        if getattr(options, key):
            raise FixtureError(f"{option} goes with --hold; expected make --hold PIECE --scene SCENE")
    if options.model is None:
        raise FixtureError("make: expected a MODEL, a list, or --hold PIECE --scene SCENE; see: fixture3d models")


def _make_hold(options: Namespace) -> int:
    """``make --hold``: the blocks that hold a piece, their files and drawings, and the scene with them."""
    from fixture3d import output
    from fixture3d.export.block import block_files, block_title, no_outline
    from fixture3d.need.command import NotPossible, design
    from fixture3d.scene.find import load

    if options.scene is None:
        raise FixtureError("--hold: expected --scene SCENE with it, whose piece is to be held")
    scene = load(options.scene, options.models, record=False)
    _keep_files(scene)
    formats, kerf = _formats(options, scene.units, ("step", "3mf"))
    try:
        made = design(scene, options)
    except NotPossible as no:
        print(f"not possible: {one_line(str(no))}")
        return 1
    files: dict[Path, bytes] = {made.target: made.text.encode("utf-8")}
    told = ""
    solid: list[tuple[str, str]] = []
    for block in made.blocks:
        title = block_title(block.part, scene.units)
        done = block_files(block.part, title, entry=block.entry, units=scene.units, formats=formats, kerf=kerf)
        files |= {made.target.parent / name: data for name, data in done.files.items()}
        solid += done.solid
        drawings = [_for_block(path, block.name, len(made.blocks)) for path in options.drawing or ()]
        quantity = options.quantity if options.quantity is not None or not drawings else block.count
        own = {**vars(options), "model": block.part.model, "drawing": drawings, "units": scene.units}
        files |= _drawn(Namespace(**{**own, "quantity": quantity}), block.part, block.entry)
        if fits := _fits(Namespace(**own), block.part):
            told += f"{block.name}:\n{fits}"
    if scene.path is not None and made.target == Path(scene.path):
        output.keep(file for file in scene.files if Path(file) != made.target)  # it is asked for with --force
    print("\n".join(made.lines))
    for path in output.write_many(files, options.force):
        print(path)
    for line in no_outline(solid):
        print(line, file=sys.stderr)
    print(told, end="")
    return 0


def _for_block(path: Path, name: str, count: int) -> Path:
    """The file of a drawing: of several blocks each has its own, with the name of the block behind."""
    from fixture3d import output

    return path if count == 1 else path.with_name(f"{path.stem} {output.file_name(name)}{path.suffix}")


def _printed(options: Namespace, part: Part, entry: Entry) -> tuple[str, ...]:
    """Write the print version that is asked for; its path and what is to be said of it."""
    from fixture3d import output
    from fixture3d.export.block import block_shapes, block_title
    from fixture3d.tolerance import PRINTING
    from fixture3d.workshop.printing import PrintOrder, checked_clearance, read_bed, read_plastic, write_print

    chosen = {"--clearance": options.clearance, "--pin-clearance": options.pin_clearance, "--bed": options.bed}
    if not options.print:
        alone = next((key for key, value in chosen.items() if value is not None), None)
        if alone is not None:
            raise FixtureError(f"{alone} goes with a print; expected --print as well")
        return ()
    own = {key: _asked_length(key, chosen[key], options.units) for key in ("--clearance", "--pin-clearance")}
    hole, pin = (None if mm is None else checked_clearance(key, mm) for key, mm in own.items())
    order = PrintOrder(
        plastic=read_plastic(options.material),
        hole=PRINTING.hole if hole is None else hole,
        pin=PRINTING.pin if pin is None else pin,
        bed=read_bed(options.bed),
        measured=hole is not None,
    )
    title = f"{block_title(part, options.units)} print {order.plastic}"
    solids = []
    for body, shape in block_shapes(part, entry):
        if shape.brep is None:
            raise ModelError(
                f"{part.model} {body.name}".strip() + ": only known as a mesh; a print version needs a solid"
            )
        solids.append((f"{part.model} {body.name}".strip(), shape.brep))
    path = Path(options.output) / f"{output.file_name(title)}.3mf"
    written, lines = write_print(path, title, solids, order, options.units, options.force)
    return (str(written), *lines)


def _make_list(options: Namespace) -> int:
    """``make LIST``: every block of a list; those that could not be made are told at the end."""
    from fixture3d.export.block import no_outline
    from fixture3d.export.orders import read_orders, write_orders
    from fixture3d.library import library
    from fixture3d.progress import on_terminal

    if options.print:
        raise FixtureError("--print makes one block at a time; expected a model, not a list")
    if options.parameter:
        raise FixtureError(f'"{one_line(options.parameter[0])}" after a list: expected parameters in its lines')
    pattern = None if options.table is None else _pattern(options.table, options.units)
    asked = read_orders(options.model, library([Path(m) for m in options.models]), pattern, options.units)
    formats, kerf = _formats(options, asked.units, ("step", "3mf"))
    with on_terminal(options.model) as progress:
        done = write_orders(asked, options.output, formats=formats, kerf=kerf, force=options.force, progress=progress)
    for path in done.paths:
        print(path)
    print(f"{done.made} made, {done.there} there already, {len(done.problems)} not made")
    for line in done.problems:
        print(f"not made: {line}")
    for line in no_outline(done.solid):
        print(line, file=sys.stderr)
    return 3 if done.faults else 1 if done.problems else 0


def _formats(
    options: Namespace, units: Units, usual: tuple[str, ...] = ("step", "stl")
) -> tuple[tuple[str, ...], float]:
    """The formats that are asked for, and the kerf, mm."""
    from fixture3d.export.block import read_formats

    formats, kerf = read_formats(options.format, usual), _asked_length("--kerf", options.kerf, units)
    if kerf is not None and "dxf" not in formats:
        raise FixtureError("--kerf is for outlines; expected dxf among --format")
    return formats, kerf or 0.0


def _asked_length(name: str, text: str | None, units: Units) -> float | None:
    """The length after an option, in mm; None where there is none."""
    from fixture3d.units import length

    if text is None:
        return None
    try:
        return length(text, units)
    except UnitError as error:
        raise UnitError(f"{name}: {error}") from None


def _drawn(options: Namespace, part: Part, entry: Entry) -> dict[Path, bytes]:
    """The files of the drawing that ``make`` is asked for, before anything is written."""
    from fixture3d.export.block import block_shapes
    from fixture3d.workshop.drawing import Style, drawing_files
    from fixture3d.workshop.strip import Order
    from fixture3d.workshop.uses import read_fits

    chosen = {
        key: getattr(options, key) for key in ("projection", "paper", "quantity", "material", "finish", "general")
    }
    if not options.drawing:
        printed = {"material"} if options.print else set()
        alone = next((key for key, value in chosen.items() if value is not None and key not in printed), None)
        if alone is not None:
            raise FixtureError(f"--{alone} goes with a drawing; expected --drawing {options.model}.pdf as well")
        return {}
    quantity = 1 if options.quantity is None else options.quantity
    if quantity < 1:
        raise FixtureError(f"--quantity {quantity}: expected 1 or more")
    order = Order(
        material=options.material or "",
        finish=options.finish or "",
        quantity=quantity,
        general=options.general or "",
    )
    style = Style(
        units=options.units,
        projection=options.projection,
        paper=options.paper,
        order=order,
        fits=read_fits(options.fit),
    )
    solids = []
    for body, shape in block_shapes(part, entry):
        if shape.brep is None:
            raise ModelError(f"{part.model} {body.name}".strip() + ": only known as a mesh; a drawing needs a solid")
        solids.append((body.name, shape.brep))
    return drawing_files(part, solids, options.drawing, style, options.force)


def _fits(options: Namespace, part: Part) -> str:
    """Limits, clearances and play, where a drawing or a fit is asked for; what is left over on another table."""
    from fixture3d.units import UNITS
    from fixture3d.workshop.uses import fits, fits_text, read_fits, stands_on, used

    if not (options.fit or options.drawing or options.on):
        return ""
    chosen = fits(part.pattern, read_fits(options.fit), used(part))
    text = fits_text(part, chosen, options.units) if options.fit or options.drawing else ""
    if options.on is not None:
        asked = options.on.strip()
        own: Units = next((unit for unit in UNITS if asked.endswith(unit)), options.units)
        table = _pattern(asked.removesuffix(own).strip(), own)
        text += stands_on(part, table, chosen, options.units) + "\n"
    return text


def run_export(options: Namespace) -> int:
    """``export``: a STEP assembly, one STL a block, or each kind of block as files to make it from."""
    from fixture3d.output import check_target

    if options.parts is None and any(getattr(options, one) is not None for one in ("format", "kerf", "sheet", "gap")):
        raise FixtureError("--format, --kerf, --sheet and --gap go with --parts FOLDER")
    scene = _load(options.scene, options)
    target = _target(options, ".step")
    if options.parts is not None:
        return _export_parts(options, scene)
    if options.stl is None:
        check_target(target, options.force, (".step", ".stp"))
    job = _assemble(scene, options.stage)
    if options.stl is not None:
        from fixture3d.export.stl import write_stls

        for path in write_stls(job, options.stl, force=options.force):
            print(path)
        return 0
    from fixture3d.export.step import write_step

    written = write_step(job, target, force=options.force)
    print(written.path)
    for sentence in written.notes:
        print(sentence, file=sys.stderr)
    return 0


def _export_parts(options: Namespace, scene: Scene) -> int:
    """``export --parts``: exit code 1 where a flat part fits on no sheet."""
    from fixture3d.export.cut_list import refuse_early
    from fixture3d.export.parts import Sheets, read_sheet, write_parts

    if options.output is not None or options.stl is not None:
        raise FixtureError("--parts goes without --output and --stl; expected one of them")
    refuse_early(options.parts)
    units = scene.units
    (formats, kerf), gap = _formats(options, units), _asked_length("--gap", options.gap, units)
    if options.sheet is None and gap is not None:
        raise FixtureError("--gap goes with --sheet, such as --sheet 1000x500")
    sheets = None if options.sheet is None else Sheets(size=read_sheet(options.sheet, units), gap=gap)
    job = _assemble(scene, options.stage)
    written = write_parts(job, options.parts, formats=formats, kerf=kerf, sheets=sheets, force=options.force)
    for path in written.paths:
        print(path)
    for sentence in written.left_out:
        print(f"fits on no sheet: {sentence}")
    for sentence in written.notes:
        print(sentence, file=sys.stderr)
    return 1 if written.left_out else 0


def run_again(options: Namespace) -> int:
    """``again``: the scene file of the same setup elsewhere, and what the checks say of both."""
    from fixture3d.again.command import make_again
    from fixture3d.output import check_target

    scene = _load(options.scene, options)
    check_target(options.output, options.force, (".toml",))
    told = make_again(scene, options)
    print("\n".join(told.lines))
    return told.code


def run_swap(options: Namespace) -> int:
    """``swap``: from one setup to the next in the fewest moves, as text or JSON, and as PDF."""
    from fixture3d.output import check_target
    from fixture3d.swap.swap import swap
    from fixture3d.swap.text import to_dict, to_text

    old, new = _load(options.old, options, "from_size"), _load(options.new, options, "to_size")
    if options.output is not None:
        check_target(options.output, options.force, (".pdf",))
    elif options.paper is not None:
        raise FixtureError("swap --paper without a file; expected -o FILE.pdf with it")
    found = swap(_assemble(old, options.from_stage, "--from-stage"), _assemble(new, options.to_stage, "--to-stage"))
    if options.json:
        print(json.dumps(to_dict(found), indent=1, ensure_ascii=False, allow_nan=False))
    else:
        print(to_text(found), end="")
    if options.output is not None and not found.stuck:
        from fixture3d.swap.pdf import write_swap

        written = write_swap(found, options.output, paper=options.paper, force=options.force)
        print(written, file=sys.stderr if options.json else sys.stdout)
    return 1 if found.stuck else 0


def run_record(options: Namespace) -> int:
    """``record``: what was set and measured at the table: shown, added to, joined."""
    from fixture3d.record.command import run
    from fixture3d.scene.find import load

    scene = load(options.scene, options.models, options.size, record=False)
    _say_first(scene, options, "size")
    told = run(scene, options)
    print(told.text, end="")
    return told.code


def run_models(options: Namespace) -> int:
    """``models``: all models in a line each, or one in full; or a page with pictures with ``--html``."""
    from fixture3d.catalogue import describe, listing
    from fixture3d.library import library

    if options.test:
        return _test_models(options)
    shop = library([Path(m) for m in options.models])
    pattern = _pattern(options.table, options.units)
    table = _USUAL[options.units][0] if options.table is None else options.table
    if options.html is not None:
        from fixture3d.export.catalogue_page import write_catalogue

        names = [] if options.model is None else [options.model]
        print(
            write_catalogue(
                options.html, shop, pattern, table=table, units=options.units, names=names, force=options.force
            )
        )
    elif options.model is None:
        print(listing(shop), end="")
    else:
        entry = shop.entry(options.model)
        print(describe(entry, pattern, options.units, library=shop, table=table), end="")
    return 0


def _test_models(options: Namespace) -> int:
    """``models --test``: exit code 1 where something is wrong with a model."""
    from fixture3d.corners.tried import Tried, in_words, try_model
    from fixture3d.library import library
    from fixture3d.progress import on_terminal

    shop = library([*(Path(m) for m in options.models), *options.test])
    folders = {folder.resolve() for folder in options.test}
    own = [entry for entry in shop.entries.values() if entry.file and Path(entry.file).resolve().parent in folders]
    if options.model is not None:
        shop.entry(options.model)
        own = [entry for entry in own if entry.name == options.model]
    if not own:
        raise ModelError(f"{one_line(str(options.test[0]))}: no model in it; nearest: fixture3d new model NAME.py")
    tried: list[Tried] = []
    with on_terminal("models") as progress:
        for entry in own:
            tried.append(try_model(shop, entry, progress=progress))
    print(in_words(tried), end="")
    return 1 if any(one.wrong for one in tried) else 0


def run_new(options: Namespace) -> int:
    """``new``: a small commented scene or model."""
    from fixture3d.output import check_target, write_text
    from fixture3d.starter import model_starter, starter

    *kind, name = options.file
    if kind == ["model"]:
        from fixture3d.library import library

        check_target(name, options.force, (".py",))
        text = model_starter(Path(name), frozenset(library().entries))
    elif kind:
        raise FixtureError(f'new "{one_line(kind[0])}": expected new FILE for a scene, or new model NAME.py')
    else:
        text = starter(options.units)
    print(write_text(name, text, force=options.force))
    return 0


def run_explain(options: Namespace) -> int:
    """``explain``: the manual page of one rule or check, or the list of all."""
    import textwrap

    from fixture3d.checks import all_checks, all_rules

    rules = all_rules()
    checks = {check.name.replace(" ", "-"): check for check in all_checks()}
    if options.rule is None:
        for name, (check, rule) in sorted(rules.items()):
            print(f"{name:<22}{rule.level:<6}{check.name:<14}{rule.title}")
        print(f"\nchecks, each with what it leaves out: {', '.join(checks)}")
        return 0
    asked = checks.get("-".join(options.rule.split()))
    if asked is not None:
        print(f"{asked.name} (check). Not looked at: {asked.gist}.\n")
        for sentence in asked.not_covered:
            print(textwrap.fill(sentence, 90, initial_indent="- ", subsequent_indent="  ", break_on_hyphens=False))
        print(f"\nWhat it can find: {', '.join(sorted(rule.name for rule in asked.rules))}")
        return 0
    if options.rule not in rules:
        near = nearest_name(options.rule, [*rules, *checks])
        text = f'"{one_line(options.rule)}" is not a rule or a check; ' + (
            f"nearest: {near}" if near else "see: fixture3d explain"
        )
        raise FixtureError(text)
    check, rule = rules[options.rule]
    print(f"{rule.name} ({rule.level}, {check.name}): {rule.title}\n")
    print(textwrap.fill(rule.meaning, 90))
    print()
    print(textwrap.fill(f"Cure: {rule.cure}", 90))
    return 0


def run_upgrade(options: Namespace) -> int:
    """``upgrade``: print the file in the present format, or write it with ``-o``."""
    from fixture3d.output import write_text
    from fixture3d.scene.read import read_text
    from fixture3d.scene.upgrade import upgrade

    text = upgrade(read_text(str(options.scene)), str(options.scene))
    if options.output is None:
        print(text, end="")
    else:
        print(write_text(options.output, text, force=options.force))
    return 0


def _load(path: Path, options: Namespace, which: str = "size", record: bool = False) -> Scene:
    """The scene, whose own files no output of this run may replace; of several sizes that which is asked for.

    Where none is asked for it is the first, and that is said. ``which`` option names the size; ``record`` reads what
    was set and measured at the table too.
    """
    from fixture3d.scene.find import load

    scene = load(path, options.models, getattr(options, which), record=record, shop=getattr(options, "shop", None))
    _keep_files(scene)
    _say_first(scene, options, which)
    return scene


def _keep_files(scene: Scene) -> None:
    """No output of this run may replace the files of a scene, or its record."""
    from fixture3d import output
    from fixture3d.scene.record import record_path

    output.keep((*scene.files, *(() if scene.path is None else (record_path(scene.path),))))


def _say_first(scene: Scene, options: Namespace, which: str) -> None:
    """Say that this is the first of several sizes, where none is asked for."""
    if getattr(options, which) is None and len(scene.sizes) > 1:
        first, option, others = one_line(scene.sizes[0]), f"--{which.replace('_', '-')}", _others(scene.sizes)
        print(f'this is size 1 of {len(scene.sizes)}, "{first}"; {option} for {others}', file=sys.stderr)


def _others(names: Sequence[str]) -> str:
    """The names behind the first."""
    return ", ".join(f'"{one_line(name)}"' for name in names[1:4]) + (", ..." if len(names) > 4 else "")


def _assemble(scene: Scene, stage: str | None = None, option: str = "--stage") -> Job:
    """The job of one stage; of the first, and says so, where none is asked for and there are some."""
    from fixture3d.engine import assemble

    job = assemble(scene, stage=stage)
    names = [one.name for one in job.scene.whole.stages]
    if stage is None and len(names) > 1:
        print(
            f'this is stage 1 of {len(names)}, "{one_line(names[0])}"; {option} for {_others(names)}', file=sys.stderr
        )
    return job


def _spread(options: Namespace) -> tuple[int, int] | None:
    """Imagined setups and seed of ``check --spread``.

    Raises:
        FixtureError: a number that makes no sense.
    """
    from fixture3d.tolerance import ACCURACY

    if options.spread is None:
        if options.seed is not None:
            raise FixtureError("check --seed without --spread; expected --spread 10000")
        return None
    if not 100 <= options.spread <= ACCURACY.most_samples:
        raise FixtureError(
            f"check --spread {options.spread}: expected 100 to {ACCURACY.most_samples} imagined setups, as in 10000"
        )
    seed = ACCURACY.seed if options.seed is None else options.seed
    if not 0 <= seed < 2**32:
        raise FixtureError(f"check --seed {seed}: expected a whole number from 0 to {2**32 - 1}")
    return options.spread, seed


def _check(
    path: Path, options: Namespace, stage: str | None = None, spread: tuple[int, int] | None = None
) -> Report | FamilyReport:
    """The report of a scene; of one with sizes that of all of them, unless one is asked for."""
    from fixture3d.engine import check, check_sizes, load
    from fixture3d.progress import on_terminal

    with on_terminal(str(path)) as progress:
        scene = load(path, options.models, options.size, record=not options.no_record, shop=options.shop)
        if scene.sizes and options.size is None:
            return check_sizes(scene, progress, stage=stage, spread=spread)
        return check(scene, progress, stage=stage, spread=spread)


def _report_text(report: Report | FamilyReport, **shown: bool) -> str:
    from fixture3d.report import Report
    from fixture3d.report.text import to_text

    return to_text(report, **shown) if isinstance(report, Report) else report.to_text(**shown)


def _checked(job: Job, plain: bool) -> tuple[tuple[Finding, ...], list[Mapping[str, Any]]]:
    """Findings, and the figures of torch access, of the checks; none when they are not wanted."""
    from fixture3d.engine import check_job

    if plain:
        return (), []
    report = check_job(job)
    return report.findings, report.figures("welds")


def _target(options: Namespace, suffix: str) -> Path:
    """The file to write: as asked, or in this folder under the name of the scene, and of the size asked for."""
    if options.output is not None:
        return Path(options.output)
    size = "" if options.size is None else f" {options.size}"
    return Path(f"{options.scene.stem or 'setup'}{size}{suffix}")


def _no_pixels(options: Namespace) -> None:
    """Refuse ``--size 800x600`` where pixels are meant; a size of the scene may be called so."""
    from fixture3d.scene.find import load

    width, sign, height = str(options.size).lower().partition("x")
    if sign and width.isdigit() and height.isdigit() and options.size not in load(options.scene).sizes:
        raise FixtureError(
            f"--size {options.size}: the scene has no size of that name; the pixels of a picture are --pixels "
            f"{options.size}"
        )


def _pixels(text: str) -> tuple[int, int]:
    width, _, height = text.lower().partition("x")
    if width.isdigit() and height.isdigit() and 64 <= int(width) <= 8000 and 64 <= int(height) <= 8000:
        return int(width), int(height)
    raise OutputRefused(f'--pixels {text}: expected width x height in pixels, 64 to 8000 each, such as "1600x1200"')


_USUAL: Final[dict[Units, tuple[str, str]]] = {
    "mm": ("50/16", "16 mm, 50 mm apart"),
    "in": ("2/(3/4)", "3/4 in, 2 in apart"),
}


def _pattern(asked: str | None, units: Units) -> Pattern:
    """``50/16``, or ``2/(3/4)`` in inches, as a hole pattern; these two when none is asked for."""
    from fixture3d.part import Pattern
    from fixture3d.scene.preset import read_preset

    text = _USUAL[units][0] if asked is None else asked
    tail = text if " " in text.strip() else f"{text} 1000x1000" if units == "mm" else f"{text} 48x48"
    preset = read_preset(tail, units)
    return Pattern(pitch=preset.pitch, bore=preset.bore, inch=units == "in")
