"""The cut list as files: a table for a spreadsheet, templates at true size, plate outlines; and as data for JSON."""

from __future__ import annotations

import csv
import io
import os
from collections.abc import Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Any, Final

from fixture3d import __version__, output
from fixture3d.errors import OutputRefused, one_line
from fixture3d.export.dxf import plate_dxf
from fixture3d.export.template import template_dxf, templates
from fixture3d.export.template_pdf import templates_pdf
from fixture3d.job.cut_data import CutRow, EndFacts, cut_rows, totals
from fixture3d.job.weldment import Weldment
from fixture3d.report.cut_text import bend_text, end_text, hole_text, rotation_text, stock_text, to_text
from fixture3d.scene import Scene
from fixture3d.sheet.typeset import Paper
from fixture3d.units import KG_PER_POUND, Units, from_mm

SCHEMA: Final = "fixture3d.cuts/1"
_FORMULA: Final = "=+-@\t\r"  # what a spreadsheet would take for a formula at the head of a cell


def cuts_text(scene: Scene, weldment: Weldment) -> str:
    """The cut list for people."""
    rows = cut_rows(weldment.pieces, weldment.mirrored)
    return to_text(_title(scene), rows, totals(rows), scene.units)


def cuts_dict(scene: Scene, weldment: Weldment) -> dict[str, Any]:
    """The cut list for programs: lengths in mm, angles in degrees, mass in kg."""
    rows = cut_rows(weldment.pieces, weldment.mirrored)
    return {
        "schema": SCHEMA,
        "version": __version__,
        "title": _title(scene),
        "units": scene.units,
        "pieces": [_row_dict(row, scene.units) for row in rows],
        "stock": [_rounded(asdict(total)) for total in totals(rows)],
    }


def write_cuts(
    scene: Scene,
    weldment: Weldment,
    folder: str | os.PathLike[str],
    force: bool = False,
    paper: Paper | None = None,
) -> tuple[Path, ...]:  # fmt: skip
    """Write the cut list: ``cuts.csv``, ``templates.pdf``, and a DXF a template and plate; all of them or none.

    Args:
        scene: of the weldment.
        weldment: its pieces.
        folder: that is there.
        force: existing files may be replaced.
        paper: of the templates; None takes letter for a file in inches and A4 otherwise.

    Raises:
        OutputRefused: one of the files may not be written.
        MissingLibrary: typst or ezdxf is not installed.
    """
    rows = cut_rows(weldment.pieces, weldment.mirrored)
    made = templates(rows)
    drawings = {f"{template.name} template.dxf": template_dxf(template, scene.units) for template in made}
    plates = {f"{row.mark} plate.dxf": plate_dxf(row.piece.plate) for row in rows if row.piece.plate is not None}
    target = Path(folder)
    files = {target / "cuts.csv": cuts_csv(rows, scene.units)}
    if made:
        paper = paper or ("letter" if scene.units == "in" else "a4")
        files[target / "templates.pdf"] = templates_pdf(made, _title(scene), paper, scene.units)
    files |= {target / output.file_name(name): data for name, data in {**drawings, **plates}.items()}
    return output.write_many(files, force)


def refuse_early(folder: str | os.PathLike[str]) -> None:
    """Refuse a folder that is not there, or that nothing can be written into, before anything is worked out."""
    if not Path(folder).is_dir():
        why = "is a file; expected a folder" if Path(folder).exists() else "no such folder; make it first"
        raise OutputRefused(f"{one_line(str(folder))}: {why}")
    if not os.access(folder, os.W_OK):
        raise OutputRefused(f"{one_line(str(folder))}: the system does not allow writing there; give another folder")


def cuts_csv(rows: Sequence[CutRow], units: Units) -> bytes:
    """One line a distinct piece, with a header; lengths as numbers in the file's units.

    It begins with the mark by which spreadsheets know UTF-8.
    """
    stream = io.StringIO(newline="")
    writer = csv.writer(stream, lineterminator="\r\n")
    mass = "kg" if units == "mm" else "lb"
    writer.writerow(
        [
            *("mark", "quantity", "names", "stock", f"cut length ({units})"),
            *("first end", "last end", "rotation of the ends", "bends", "holes"),
            *(f"length over all ({units})", f"width over all ({units})", f"mass each ({mass}, steel)", "hand"),
        ]
    )
    for row in rows:
        writer.writerow([plain_cell(cell) for cell in _cells(row, units)])
    return stream.getvalue().encode("utf-8-sig")


def _cells(row: CutRow, units: Units) -> list[str]:
    piece = row.piece
    size = sorted(piece.plate.size, reverse=True) if piece.plate is not None else []
    kg = piece.mass
    return [
        row.mark,
        str(row.count),
        ", ".join(one.name for one in row.pieces),
        stock_text(row, units),
        _number(row.length, units) if piece.section is not None else "",
        *([end_text(end, units) for end in row.ends] if row.ends is not None else ["", ""]),
        rotation_text(row),
        "; ".join(bend_text(k, bend, units) for k, bend in enumerate(row.bends, start=1)),
        "; ".join(hole_text(hole, units) for hole in row.holes),
        *([_number(side, units) for side in size] if size else ["", ""]),
        "" if kg is None else f"{kg if units == 'mm' else kg / KG_PER_POUND:.3f}",
        "mirror image of what is said here" if row.other_hand else "as said here",
    ]


def _number(mm: float, units: Units) -> str:
    return f"{from_mm(mm, units):.{2 if units == 'mm' else 4}f}"


def plain_cell(cell: str) -> str:
    """A cell that no spreadsheet takes for a formula."""
    plain = one_line(cell)
    return f"'{plain}" if plain[:1] and plain[0] in _FORMULA else plain


def _title(scene: Scene) -> str:
    return scene.title or (scene.path.name if scene.path is not None else "setup")


def _row_dict(row: CutRow, units: Units) -> dict[str, Any]:
    piece = row.piece
    out: dict[str, Any] = {
        "mark": row.mark,
        "quantity": row.count,
        "names": [one.name for one in row.pieces],
        "kind": piece.kind,
        "stock": piece.section.designation if piece.section is not None else None,
        "cut_length": row.length if piece.section is not None else None,
        "ends": [_end_dict(end, units) for end in row.ends] if row.ends is not None else None,
        "rotation": row.rotation,
        "bends": [asdict(bend) for bend in row.bends],
        "holes": [asdict(hole) for hole in row.holes],
        "other_hand": row.other_hand,
        "plate": None,
        "mass": piece.mass,
        "notes": list(piece.notes),
    }
    if piece.plate is not None:
        out["plate"] = {
            "thickness": piece.plate.thickness,
            "size": sorted(piece.plate.size, reverse=True),
            "area": piece.plate.area,
            "holes": [{"at": [x, y], "diameter": d} for x, y, d in piece.plate.holes],
            "openings": len(piece.plate.openings),
        }
    return dict(_rounded(out))


def _end_dict(end: EndFacts, units: Units) -> dict[str, Any]:
    slot, notch = end.slot, end.notch
    return {
        **{key: value for key, value in asdict(end).items() if key not in ("slot", "notch")},
        "slot": None if slot is None else {"width": slot.width, "depth": slot.depth, "offset": slot.offset},
        "notch": None if notch is None else {"side": notch.name, "length": notch.length},
        "text": end_text(end, units),
    }


def _rounded(value: Any) -> Any:
    """Numbers to a millionth, so that they do not show the noise of the arithmetic."""
    if isinstance(value, float):
        return round(value, 6) + 0.0
    if isinstance(value, dict):
        return {key: _rounded(one) for key, one in value.items()}
    if isinstance(value, list | tuple):
        return [_rounded(one) for one in value]
    return value
