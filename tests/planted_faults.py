"""Plant faults one after the other in a copy of the project, and show that the suite catches each.

``python tests/planted_faults.py [--only NAME] [--jobs N]`` prints a line a fault and, last, one JSON object. Each
fault is a text that stands once in a file and what it is replaced by, with the tests that must notice. Exit code 1
when one is not noticed. ``test_planted_faults.py`` keeps the list in step with the code.
"""

from __future__ import annotations

import argparse
import json
import os
import queue
import re
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import NamedTuple

ROOT = Path(__file__).resolve().parent.parent
LONGEST = 900  # s; the control run of all named tests takes some minutes
QUIET = ("-q", "-p", "no:cacheprovider", "--tb=no")


@dataclass(frozen=True)
class Fault:
    """One fault.

    Attributes:
        name: unique.
        kind: what sort of mistake it is.
        file: from the top of the project.
        old: a text that stands once in the file.
        new: what is put in its place.
        tests: the tests that must notice, as ``test_units::test_name``, parted by spaces.
    """

    name: str
    kind: str
    file: str
    old: str
    new: str
    tests: str

    @property
    def paths(self) -> list[str]:
        """The tests as pytest takes them."""
        parts = (test.partition("::") for test in self.tests.split())
        return [f"tests/{file}.py{colons}{name}" for file, colons, name in parts]


# fmt: off
FAULTS: tuple[Fault, ...] = (
    # --- ground floor: units, frames, tolerances, cache, output ---
    Fault("inch by the survey foot", "inch factor", "fixture3d/units.py",
      "_MM_PER_INCH: Final = Fraction(127, 5)", "_MM_PER_INCH: Final = Fraction(100000, 3937)",
      "test_units::test_what_a_person_writes test_units::test_published_conversions"),
    Fault("a foot of ten inches", "unit", "fixture3d/units.py",
      '"ft": 12 * _MM_PER_INCH', '"ft": 10 * _MM_PER_INCH', "test_units::test_what_a_person_writes"),
    Fault("inches shown to 1/32", "rounding", "fixture3d/units.py",
      "{sign}{_mixed(Fraction(steps, 64))} in", "{sign}{_mixed(Fraction(steps // 2, 32))} in",
      "test_units::test_what_is_shown"),
    Fault("degrees taken as radians", "deg/rad", "fixture3d/frame.py",
      "rad = np.deg2rad(turn)", "rad = turn", "test_weldment::test_mitres_of_opposite_signs_make_a_trapezium"),
    Fault("inverse without its sign", "sign", "fixture3d/frame.py",
      "out[:3, 3] = -r @ a_to_b[:3, 3]", "out[:3, 3] = r @ a_to_b[:3, 3]",
      "test_contact::test_piece_resting_on_a_pad test_resolve::test_stacks_of_any_height"),
    Fault("left-handed frame along an axis", "hand", "fixture3d/frame.py",
      "return from_axes(origin, xu, np.cross(zu, xu), zu)", "return from_axes(origin, xu, np.cross(xu, zu), zu)",
      "test_weldment::test_a_frame_has_its_outside_dimensions"),
    Fault("contact ten times as wide", "tolerance", "fixture3d/tolerance.py",
      "contact: float = 0.02", "contact: float = 0.2",
      "test_contact::test_gap_either_side_of_the_contact_tolerance "
      "test_check_interference::test_touching_and_clear_are_no_findings"),
    Fault("cache believes a damaged file", "dropped check", "fixture3d/cache.py",
      "return data if hashlib.sha256(data).digest() == blob[len(_MAGIC) : head] else None", "return data",
      "test_cache::test_a_flipped_bit_reads_as_missing"),
    Fault("parts of a key run together", "cache key", "fixture3d/cache.py",
      'digest.update(len(data).to_bytes(8, "little"))', 'digest.update(b"")',
      "test_cache::test_keys_do_not_run_together"),
    Fault("cache throws the newest away", "order", "fixture3d/cache.py",
      "in sorted(files):", "in sorted(files, reverse=True):", "test_cache::test_the_oldest_go_first"),
    Fault("NaN goes into the cache", "JSON NaN", "fixture3d/cache.py",
      "allow_nan=False", "allow_nan=True", "test_cache::test_json_keeps_every_bit"),
    Fault("files are overwritten unasked", "force ignored", "fixture3d/output.py",
      "return write_many({Path(path): data}, force)[0]", "return write_many({Path(path): data}, True)[0]",
      "test_output::test_writes_and_refuses_to_overwrite"),
    Fault("half the files when one is refused", "all or none", "fixture3d/output.py",
      "targets = [check_target(path, force) for path in files]", "targets = [Path(path) for path in files]",
      "test_stl_export::test_all_or_none"),
    # --- scene file and table ---
    Fault("first skipped letter is used", "skipped letters", "fixture3d/scene/table.py",
      "for letter in self.skip}", "for letter in self.skip[1:]}", "test_table::test_skipped_letters_are_not_used"),
    Fault("second grid a quarter pitch over", "stagger offset", "fixture3d/scene/table.py",
      "half = 0.5 if plus else 0.0", "half = 0.25 if plus else 0.0",
      "test_table::test_the_second_grid_lies_half_a_pitch_over_and_up"),
    Fault("hole numbers from nought", "off by one", "fixture3d/scene/table.py",
      "int(match[2]) - 1", "int(match[2])", "test_table::test_places_by_name"),
    Fault("letters go on after Z with B", "off by one", "fixture3d/scene/table.py",
      "n, digit = divmod(n - 1, base)", "n, digit = divmod(n, base)",
      "test_table::test_letters_go_on_like_a_spreadsheet"),
    Fault("front and back corner swapped", "mirror", "fixture3d/scene/table.py",
      'self.corner.startswith("front") else -1', 'self.corner.startswith("back") else -1',
      "test_table::test_names_count_away_from_the_corner_and_x_stays_right"),
    Fault("grid looks into its plate", "swapped normal", "fixture3d/scene/table.py",
      "nx, ny, nz = np.cross(self.x, self.y)", "nx, ny, nz = np.cross(self.y, self.x)",
      "test_table::test_other_planes"),
    Fault("one row too many", "<= for <", "fixture3d/scene/table.py",
      "return 0 <= i < self.columns and 0 <= j < self.rows", "return 0 <= i < self.columns and 0 <= j <= self.rows",
      "test_table test_scene::test_faults_are_told_with_their_line"),
    Fault("nearest holes unsorted", "order lost", "fixture3d/scene/table.py",
      "in sorted(found)[:n]]", "in found[:n]]", "test_table::test_nearest_holes_are_the_nearest"),
    Fault("hole lists of a table unread", "dropped check", "fixture3d/scene/table_check.py",
      "_listed_holes(table.hole, keys, ", "_listed_holes(str, keys, ",
      "test_scene::test_faults_are_told_with_their_line"),
    Fault("names differ by their capitals", "dropped check", "fixture3d/scene/refs.py",
      'folded = unicodedata.normalize("NFKC", name).casefold()', "folded = name",
      "test_scene::test_faults_are_told_with_their_line"),
    Fault("circles of blocks unseen", "dropped check", "fixture3d/scene/refs.py",
      "if name in seen and name not in told:", "if name in seen and name in told:",
      "test_scene::test_long_circles_are_told_once"),
    Fault("a newer format is read", "< for >", "fixture3d/scene/read.py",
      "if value > FORMAT:", "if value > FORMAT + 1:",
      "test_scene::test_texts_that_are_no_scene test_scene::test_faults_are_told_with_their_line"),
    # --- stock, limits and fits ---
    Fault("shaft letter's sign kept for holes", "sign", "fixture3d/stock/fits.py",
      "low = -table[letter.lower()][column]", "low = table[letter.lower()][column]",
      "test_fits::test_holes_mirror_shafts_of_the_same_letter"),
    Fault("range edge belongs to the next", "< for <=", "fixture3d/stock/fits.py",
      "if nominal <= top)", "if nominal < top)", "test_fits::test_a_size_on_the_edge_belongs_to_the_range_below"),
    Fault("fit limits swapped", "fit limit", "fixture3d/stock/fits.py",
      "return _tidy(hole[0] - pin[1]), _tidy(hole[1] - pin[0])",
      "return _tidy(hole[0] - pin[0]), _tidy(hole[1] - pin[1])",
      "test_fits::test_clearance_takes_sizes_and_deviations_alike"),
    Fault("whole clearance as shift", "radius/diameter", "fixture3d/stock/fits.py",
      "return max(0.0, clearance_on_diameter) / 2", "return max(0.0, clearance_on_diameter)",
      "test_fits::test_press_fits_do_not_shift test_fits::test_turn_follows_the_pins_pushed_opposite_ways "
      "test_reference::test_turn_of_a_block_on_two_pins"),
    Fault("turn of two pins doubled", "factor 2", "fixture3d/stock/fits.py",
      "/ (2 * spacing)", "/ spacing", "test_reference::test_turn_of_a_block_on_two_pins"),
    Fault("axis in a V by the diameter", "radius/diameter", "fixture3d/stock/vee.py",
      "return diameter / 2 / math.sin(_half(angle))", "return diameter / math.sin(_half(angle))",
      "test_reference::test_axis_and_contacts_in_a_v"),
    Fault("corner radius changes at 6 mm", "< for <=", "fixture3d/stock/rules.py",
      "if wall <= 6 else", "if wall < 6 else", "test_reference::test_corner_radii"),
    Fault("tube with a double wall", "radius/diameter", "fixture3d/stock/section.py",
      "circle(s.height / 2 - s.wall, left=False)", "circle(s.height / 2 - 2 * s.wall, left=False)",
      "test_reference::test_round_tube_in_closed_form"),
    Fault("inertia about the wrong axis", "sign", "fixture3d/stock/section.py",
      "self._moments[4] - self.area * z * z", "self._moments[4] + self.area * z * z",
      "test_reference::test_angles_of_aisc test_reference::test_angles_of_en_10056_from_memory"),
    Fault("section key forgets the inner radius", "cache key", "fixture3d/stock/section.py",
      "            self.inner_radius,\n", "", "test_stock::test_keys_hold_the_outline_and_not_the_name"),
    Fault("height and width of stock swapped", "wrong order", "fixture3d/stock/stock.py",
      "        height=height,\n        width=width,\n", "        height=width,\n        width=height,\n",
      "test_stock::test_reading"),
    # --- solids ---
    Fault("overlaps under 0.2 mm are touching", "tolerance", "fixture3d/solid/pair.py",
      "floor = max(contact, 1.5 * near.slack)", "floor = 10.0 * max(contact, 1.5 * near.slack)",
      "test_relate::test_five_hundredths_are_found"),
    Fault("a foil within a block is nothing", "dropped case", "fixture3d/solid/pair.py",
      "(shared < 0.5 * own)", "(shared < 2.0 * own)", "test_relate::test_a_foil_inside_a_block_overlaps_it"),
    Fault("way out of the other body", "way-out sign", "fixture3d/solid/relate.py",
      "(-1.0 if swapped else 1.0)", "(1.0 if swapped else -1.0)",
      "test_relate::test_moved_by_its_way_out_a_solid_no_longer_overlaps test_relate::test_order_does_not_matter"),
    Fault("kept pairs forget their place", "cache key", "fixture3d/solid/relate.py",
      "second.shape.key, relative.tobytes(), asked]", "second.shape.key, asked]",
      "test_relate::test_cached_pairs_are_the_computed_ones"),
    Fault("kept pairs forget the tolerance", "cache key", "fixture3d/solid/relate.py",
      'asked = f"{contact!r} {reach!r} {want_way_out}"', 'asked = f"{reach!r} {want_way_out}"',
      "test_relate::test_a_kept_answer_is_for_its_own_tolerance_and_reach"),
    Fault("neighbours along X not compared", "skipped pair", "fixture3d/solid/relate.py",
      "others = order[k + 1 : stop]", "others = order[k + 2 : stop]",
      "test_relate::test_near_pairs_equal_the_plain_double_loop"),
    Fault("mean thickness halved", "factor 2", "fixture3d/solid/depth.py",
      "return 2.0 * float(common.volume()) / surface", "return 0.5 * float(common.volume()) / surface",
      "test_relate::test_a_solid_and_itself_overlap "
      "test_relate::test_moved_by_its_way_out_a_solid_no_longer_overlaps"),
    Fault("meshes may cross themselves", "dropped check", "fixture3d/solid/meshcheck.py",
      "    if crossings:", "    if crossings > 10**6:", "test_mesh::test_self_crossing_of_one_shell_is_seen"),
    Fault("STL read without its unit", "STL unit", "fixture3d/solid/meshfile.py",
      "vertices = triangles.reshape(-1, 3) * scale", "vertices = triangles.reshape(-1, 3) * 1.0",
      "test_mesh::test_stl_both_ways_obj_and_3mf"),
    Fault("nested STEP places in the wrong order", "frame order", "fixture3d/solid/assembly.py",
      "here * tool.GetLocation_s(component)", "tool.GetLocation_s(component) * here",
      "test_step_in::test_nested_assemblies_keep_places_and_names"),
    Fault("STEP read in inches", "unit", "fixture3d/solid/assembly.py",
      "SetLengthUnit_s(document, 0.001)", "SetLengthUnit_s(document, 0.0254)",
      "test_step_in::test_one_solid_in_millimetres"),
    Fault("welds drag corners any distance", "dropped check", "fixture3d/solid/meshrepair.py",
      "    if float(np.abs(a - b).max()) > 2.0 * tolerance:\n        return None",
      "    if tolerance > 0.0:\n        return 0.0",
      "test_mesh_repair::test_a_weld_may_not_eat_what_is_small"),
    Fault("faces against their neighbours stay", "swapped winding", "fixture3d/solid/meshrepair.py",
      "out[wrong] = out[wrong][:, ::-1]", "out[wrong] = out[wrong]",
      "test_mesh_repair::test_faces_against_their_neighbours_are_turned"),
    Fault("wide holes are closed", "tolerance", "fixture3d/tolerance.py",
      "hole_width: float = 5.0", "hole_width: float = 50.0",
      "test_mesh_repair::test_holes_are_closed_up_to_a_width_and_a_share"),
    Fault("width of a hole taken as half", "factor 2", "fixture3d/solid/meshholes.py",
      "width = 2.0 * area / rim_length", "width = area / rim_length",
      "test_mesh_repair::test_holes_are_closed_up_to_a_width_and_a_share"),
    Fault("holes that are not flat are closed", "dropped check", "fixture3d/solid/meshholes.py",
      "if off > FILES.flat:", "if off > 1e3 * FILES.flat:",
      "test_mesh_repair::test_a_hole_over_several_faces_of_one_plane_is_closed_and_over_an_edge_is_not"),
    Fault("touching solids become one", "wrong pairing", "fixture3d/solid/meshshells.py",
      "np.lexsort((order, ~forward[order], step))", "np.lexsort((order, forward[order], step))",
      "test_mesh_repair::test_solids_that_touch_stay_two"),
    Fault("a hollow that may be a solid is believed", "dropped check", "fixture3d/solid/meshshells.py",
      "        if unsure:\n", "        if unsure and False:\n",
      "test_mesh_repair::test_hollows_are_hollows_only_when_the_file_says_so"),
    Fault("repairs are not told", "dropped note", "fixture3d/solid/step_in.py",
      "notes=(solid.note,) if solid.note else ()", "notes=()",
      "test_mesh_repair::test_the_note_reaches_the_piece"),
    Fault("unit of a 3MF overruled", "unit", "fixture3d/solid/mesh3mf.py",
      "if unit is not None and unit != own:", "if unit is None:",
      "test_mesh_repair::test_a_stated_unit_may_repeat_that_of_a_3mf_but_not_contradict_it"),
    Fault("3MF components placed the wrong way round", "frame order", "fixture3d/solid/mesh3mf.py",
      "np.vstack([own[:3] @ pose[:3], own[3] @ pose[:3] + pose[3]])",
      "np.vstack([pose[:3] @ own[:3], pose[3] @ own[:3] + own[3]])",
      "test_mesh_repair::test_3mf_transforms_against_trimesh"),
    Fault("mirrored 3MF inside out", "swapped normal", "fixture3d/solid/mesh3mf.py",
      "faces[:, ::-1] if np.linalg.det(pose[:3]) < 0.0 else faces", "faces",
      "test_mesh_repair::test_3mf_components_in_components_and_mirrored"),
    Fault("3MF unpacked without end", "dropped check", "fixture3d/solid/mesh3mf.py",
      "left -= len(block)", "left -= 0",
      "test_mesh_repair::test_a_zip_bomb_is_put_down_while_it_is_read"),
    Fault("concave faces cut up as fans", "dropped case", "fixture3d/solid/meshfile.py",
      "if (normals @ along >= 0.0).all()", "if (normals @ along < np.inf).all()",
      "test_mesh_repair::test_obj_polygons_groups_and_objects"),
    Fault("mirrored STEP instances are turned", "mirror", "fixture3d/solid/cad_text.py",
      "float(np.linalg.det([x, y, z])) < 0.0", "float(np.linalg.det([x, y, z])) < -2.0",
      "test_step_in::test_instances_that_the_kernel_would_misplace_are_refused"),
    Fault("mirrored places taken for turned ones", "mirror", "fixture3d/solid/assembly.py",
      "if not transform.IsNegative():", "if transform.ScaleFactor() > -2.0:",
      "test_step_in::test_mirrored_locations_become_mirrored_solids"),
    Fault("colours in linear light", "colour", "fixture3d/solid/assembly.py",
      "found.Values(Quantity_TOC_sRGB)", "(found.Red(), found.Green(), found.Blue())",
      "test_step_in::test_colours_of_parts_uses_and_files"),
    Fault("faces sewn over any gap", "tolerance", "fixture3d/solid/sewing.py",
      "BRepBuilderAPI_Sewing(FILES.sew)", "BRepBuilderAPI_Sewing(5.0 * FILES.sew)",
      "test_step_in::test_loose_surfaces_are_sewn_as_far_as_their_edges_meet"),
    Fault("same names numbered across assemblies", "names", "fixture3d/solid/named.py",
      "while deep < len(steps) and", "while False and",
      "test_step_in::test_repeated_parts_are_called_by_where_they_are"),
    Fault("STEP colours by the wrong body", "off by one", "fixture3d/export/step.py",
      "_MARK.format(k + 1): s.colour", "_MARK.format(len(solids) - k): s.colour",
      "test_step_export::test_colours_come_back"),
    # --- torch and welds ---
    Fault("neck begins at the front of the nozzle", "nozzle length", "fixture3d/access/torch.py",
      "neck_from = stand_off + torch.nozzle_length", "neck_from = stand_off",
      "test_torch::test_shipped_torches_make_sense test_torch::test_chain_of_chords_covers_the_bent_neck"),
    Fault("hand of twice its size", "capsule radius", "fixture3d/access/torch.py",
      "[torch.handle_diameter / 2.0, torch.hand_diameter / 2.0]", "[torch.handle_diameter / 2.0, torch.hand_diameter]",
      "test_torch::test_radii_are_half_of_what_a_caliper_reads"),
    Fault("handle turned only half round", "roll step", "fixture3d/access/torch.py",
      "(360.0 / rolls)", "(180.0 / rolls)",
      "test_torch::test_measures_of_the_benchmark_window test_torch::test_nominal_comes_first_and_limits_are_tried"),
    Fault("either direction is forward only", "missing 'either'", "fixture3d/access/torch.py",
      '"either": (1, -1)}', '"either": (1,)}', "test_torch::test_either_way_shares_the_leans_that_both_ways_have"),
    Fault("push leans like drag", "sign", "fixture3d/access/torch.py",
      "np.stack([-np.sin(lean),", "np.stack([np.sin(lean),",
      "test_torch::test_axis_of_a_pushed_torch_as_in_aws_a3_0"),
    Fault("nozzle of twice its size", "radius/diameter", "fixture3d/access/torch.py",
      "nozzle_radius=torch.nozzle_diameter / 2.0", "nozzle_radius=torch.nozzle_diameter",
      "test_torch::test_radii_are_half_of_what_a_caliper_reads"),
    Fault("steps wider than asked", "off by one", "fixture3d/access/torch.py",
      "each_side = math.ceil(spread / step - 1e-9)", "each_side = math.floor(spread / step - 1e-9)",
      "test_torch::test_nominal_comes_first_and_limits_are_tried test_torch::test_measures_of_the_benchmark_window"),
    Fault("sideways of a butt weld mirrored", "mirror", "fixture3d/access/welds.py",
      "    b = np.cross(n, t)", "    b = np.cross(t, n)",
      "test_welds::test_butt_has_a_frame_whose_sideways_is_left_of_the_path"),
    Fault("ends of a weld own a whole step", "factor 2", "fixture3d/access/welds.py",
      "owned[[0, -1]] /= 2.0", "owned[[0, -1]] /= 1.0",
      "test_welds::test_points_include_both_ends_and_own_the_length"),
    Fault("middle of the joint from the other face", "wrong face", "fixture3d/access/welds.py",
      "np.arctan2(second[1], second[2])", "np.arctan2(second[2], second[1])",
      "test_welds::test_middle_of_an_opening_counts_from_the_first_normal"),
    Fault("normal of a facet for that of the round", "approximation", "fixture3d/solid/joint_faces.py",
      "yield gap, outward * normal, foot", "yield gap, self.normals[near[0]], foot",
      "test_joint_faces::test_opening_along_a_saddle test_joint_faces::test_side_and_outside_of_a_bend"),
    Fault("any opening of a joint taken", "wrong face", "fixture3d/solid/joint_faces.py",
      "(opening < np.deg2rad(_NARROW), round(opening, 9))", "(opening < np.deg2rad(_NARROW), -opening)",
      "test_welds::test_a_bar_on_its_edge_is_welded_in_the_smaller_corner_that_a_wire_reaches"),
    Fault("weld in a corner that no wire reaches", "limit", "fixture3d/solid/joint_faces.py",
      "_NARROW: Final = 30.0", "_NARROW: Final = 0.0",
      "test_welds::test_a_bar_on_its_edge_is_welded_in_the_smaller_corner_that_a_wire_reaches"),
    Fault("first part of a weld speaks for all of it", "range", "fixture3d/checks/torch_access.py",
      "max(offs, key=lambda off: (round(off[0], 6), -off[1]))", "offs[0]",
      "test_joint_faces::test_the_worst_part_of_a_path_is_held_against_the_technique"),
    Fault("rim of the nozzle without its margin", "dropped tolerance", "fixture3d/access/access.py",
      "torch.nozzle_radius + margin])", "torch.nozzle_radius])",
      "test_access::test_nozzle_between_two_walls"),
    Fault("capsules without their margin", "dropped tolerance", "fixture3d/access/access.py",
      "np.ascontiguousarray(torch.radii + margin)", "np.ascontiguousarray(torch.radii)",
      "test_access::test_clearance_agrees_with_the_verdict_of_a_grown_torch"),
    Fault("kernel: nozzle tested as a thin rod", "radius", "fixture3d/access/kernel.py",
      "    limit = radius * radius\n", "    limit = 0.25 * radius * radius\n",
      "test_access::test_a_whole_window_agrees_with_python_fcl"),
    # --- job ---
    Fault("dowels drop in at half the clearance", "tolerance", "fixture3d/job/seat.py",
      "return max(0.0, self.least) + ROUNDING", "return max(0.0, self.least) / 2 + ROUNDING",
      "test_seat::test_the_limit_is_half_the_sum_of_the_least_clearances"),
    Fault("blocks turn clockwise", "mirrored turn", "fixture3d/job/seat.py",
      "frame.rotation((0, 0, 1), turn),", "frame.rotation((0, 0, 1), -turn),",
      "test_resolve::test_a_clamp_turns_and_reaches_for_the_piece_it_presses "
      "test_resolve::test_a_block_stands_with_its_first_pin_in_the_hole "
      "test_seat::test_45_degrees_takes_the_pins_that_are_spaced_for_it"),
    Fault("the hole takes the model's origin", "wrong pin", "fixture3d/job/seat.py",
      "frame.translation((-foot[0], -foot[1], 0.0)),", "frame.identity(),",
      "test_resolve::test_another_pin_in_the_hole_moves_the_block"),
    Fault("blocked holes take dowels", "dropped check", "fixture3d/job/seat.py",
      "if off <= allowed and not near.blocked and", "if off <= allowed and",
      "test_seat::test_blocked_and_missing_holes"),
    Fault("nearest seat not first", "order lost", "fixture3d/job/seat.py",
      "in sorted(found, key=lambda f: f[:3]):", "in found:",
      "test_seat::test_proposals_work_and_come_nearest_first"),
    Fault("front turned up instead of down", "wrong face", "fixture3d/part.py",
      '"front": ((1, 0, 0), 90.0)', '"front": ((1, 0, 0), -90.0)',
      "test_part::test_face_down_turns_that_face_to_the_table_and_keeps_hands"),
    Fault("left side's height without its sign", "sign", "fixture3d/part.py",
      '"left": -low[0],', '"left": low[0],', "test_seat::test_whatever_face_is_down_the_block_lies_on_the_plane"),
    Fault("greatest value of a parameter refused", "dropped tolerance", "fixture3d/part.py",
      "if low - slack <= value <= high + slack:", "if low <= value < high:",
      "test_part::test_a_range_holds_to_its_ends_and_no_further"),
    Fault("members rolled clockwise", "roll sign", "fixture3d/job/weldment.py",
      "frame.rotation((1, 0, 0), member.roll)", "frame.rotation((1, 0, 0), -member.roll)",
      "test_weldment::test_roll_turns_counter_clockwise_seen_from_the_far_end"),
    Fault("y up is y down", "up axis", "fixture3d/job/weldment.py",
      '"y": ((1.0, 0.0, 0.0), 90.0)', '"y": ((1.0, 0.0, 0.0), -90.0)',
      "test_weldment::test_the_axis_that_is_up_points_up"),
    Fault("tilt about y before x", "frame order", "fixture3d/job/weldment.py",
      "frame.rotation((0, 1, 0), tilt[1]),\n        frame.rotation((1, 0, 0), tilt[0]),",
      "frame.rotation((1, 0, 0), tilt[0]),\n        frame.rotation((0, 1, 0), tilt[1]),",
      "test_weldment::test_tilt_is_about_world_x_then_y_and_turn_comes_last"),
    Fault("frame butted the other way", "wrong side", "fixture3d/job/weldment.py",
      'inset_x = {"mitre": c, "butt x": 0.0, "butt y": b}', 'inset_x = {"mitre": c, "butt x": b, "butt y": 0.0}',
      "test_weldment::test_a_frame_has_its_outside_dimensions"),
    Fault("mitre always about z", "wrong axis", "fixture3d/job/cuts.py",
      "axis = np.array(_AXES[about])", 'axis = np.array(_AXES["z"])',
      "test_weldment::test_a_mitre_about_y_works_on_the_height"),
    Fault("mitre the other way", "sign", "fixture3d/job/cuts.py",
      '"mitre"), cut.degrees)', '"mitre"), -cut.degrees)',
      "test_weldment::test_mitres_of_opposite_signs_make_a_trapezium"),
    Fault("plate grows downwards", "plate direction", "fixture3d/job/pieces.py",
      "gp_Vec(0.0, 0.0, plate.thickness)", "gp_Vec(0.0, 0.0, -plate.thickness)",
      "test_pieces::test_a_plate_with_holes"),
    Fault("holes of twice their size", "radius/diameter", "fixture3d/job/polygon.py",
      "Edge((x + diameter / 2, y), (x + diameter / 2, y),", "Edge((x + diameter, y), (x + diameter, y),",
      "test_pieces::test_a_plate_with_holes"),
    Fault("piece key forgets its cuts", "cache key", "fixture3d/job/pieces.py",
      "for end in piece.end_cuts), *map", "for end in piece.end_cuts[:1]), *map",
      "test_pieces::test_equal_pieces_share_a_key_and_different_ones_do_not"),
    Fault("piece key forgets its holes", "cache key", "fixture3d/job/pieces.py",
      ", *map(repr, piece.holes)]", "]", "test_cope::test_the_key_of_a_solid_holds_every_number"),
    Fault("coped to the far side of the round", "wrong side", "fixture3d/job/cope.py",
      "here = edge.centre[1] - np.sqrt(", "here = edge.centre[1] + np.sqrt(",
      "test_cope::test_the_saddle_is_where_lines_of_the_tube_meet_the_other_cylinder"),
    Fault("cope leans the other way", "sign", "fixture3d/job/cope.py",
      "slope=_pair(-side * (toward", "slope=_pair(side * (toward",
      "test_cope::test_the_saddle_is_where_lines_of_the_tube_meet_the_other_cylinder"),
    Fault("offset of centre lines the other way", "sign", "fixture3d/job/cope.py",
      "offset=round(float(lag @ sideways), 9)", "offset=round(float(-lag @ sideways), 9)",
      "test_cope::test_the_saddle_is_where_lines_of_the_tube_meet_the_other_cylinder"),
    Fault("root gap forgotten on rounds", "gap", "fixture3d/job/cope.py",
      "radius = section.height / 2.0 + gap", "radius = section.height / 2.0",
      "test_cope::test_the_saddle_is_where_lines_of_the_tube_meet_the_other_cylinder"),
    Fault("root gap forgotten at corners", "gap", "fixture3d/job/cope.py",
      "section.outer_radius + gap", "section.outer_radius",
      "test_cope::test_every_point_of_the_edge_is_the_gap_away_from_a_rounded_rectangle"),
    Fault("a cope flatter than a feather edge", "limit", "fixture3d/job/cope.py",
      "LEAST_ANGLE = 15.0", "LEAST_ANGLE = 2.0", "test_cope::test_one_line_with_its_place_for_every_wrong_use"),
    Fault("a cope beyond the other's end", "range", "fixture3d/job/cope.py",
      "if beyond >= -SHOP.contact:", "if beyond >= 1e9:",
      "test_cope::test_one_line_with_its_place_for_every_wrong_use"),
    Fault("each of two members coped round the other", "circle", "fixture3d/job/weldment.py",
      "if not any(cut.to == run.name for cut in other.cuts):", "if True:",
      "test_cope::test_one_line_with_its_place_for_every_wrong_use"),
    Fault("gap of a flat cut into the face", "sign", "fixture3d/job/against.py",
      "point + gap * normal", "point - gap * normal", "test_cope::test_a_cut_against_a_member_lies_on_its_side"),
    Fault("cut against the far face of a plate", "wrong side", "fixture3d/job/against.py",
      "(0.0 if way[2] > 0.0 else thick)", "(0.0 if way[2] < 0.0 else thick)",
      "test_cope::test_a_cut_against_a_plate_lies_on_the_face_or_edge_that_it_runs_into"),
    Fault("slot as deep as it is wide", "wrong figure", "fixture3d/job/ends.py",
      "side * slot.depth", "side * slot.width", "test_cope::test_slots_take_their_width_out_of_both_walls"),
    Fault("hole from the cut, not from the point", "wrong origin", "fixture3d/job/ends.py",
      "x=round(begin + hole.at, 9)", "x=round(hole.at, 9)",
      "test_cope::test_a_hole_counts_from_the_point_in_the_scene_whatever_the_cut"),
    Fault("one wall weighed as both", "wrong figure", "fixture3d/job/endcut.py",
      "half = np.where(a * y + b * z > 0.0, half, 0.0)", "half = half + 0.0 * (a * y + b * z)",
      "test_cope::test_holes_are_drilled_through_one_wall_or_both"),
    Fault("metal taken away twice", "overlap", "fixture3d/job/member_volume.py",
      "np.maximum(b - np.maximum(a, reached), 0.0)", "np.maximum(b - a, 0.0)",
      "test_cope::test_holes_are_drilled_through_one_wall_or_both"),
    Fault("slivers of faces that fit count as overlap", "contact", "fixture3d/solid/pair.py",
      "if found > floor and not (deeper(", "if found < 0.0 and not (deeper(",
      "test_cope::test_a_coped_end_touches_its_mate_or_keeps_the_gap"),
    Fault("bulge turned the other way", "sign", "fixture3d/job/biarc.py",
      "off = (1.0 - b * b) / (4.0 * b)", "off = (b * b - 1.0) / (4.0 * b)",
      "test_plate_dxf::test_arcs_stay_arcs_and_the_area_is_exact"),
    Fault("area of a plate by its chords", "dropped arc", "fixture3d/job/polygon.py",
      "total += e.radius**2 * (e.sweep - math.sin(e.sweep)) / 2", "total += 0.0",
      "test_plate_dxf::test_arcs_stay_arcs_and_the_area_is_exact"),
    Fault("bulge of an arc does not count for inside", "dropped arc", "fixture3d/job/polygon.py",
      "turns += 1.0 if e.left else -1.0", "turns += 0.0",
      "test_plate_dxf::test_crossing_inside_and_area_of_arcs_against_shapely"),
    Fault("what looks down is not mirrored", "hand", "fixture3d/job/plate_dxf.py",
      "return (-x if mirrored else x, y)", "return (x, y)",
      "test_plate_dxf::test_what_looks_down_is_mirrored"),
    Fault("drawing without unit taken for mm", "unit", "fixture3d/job/plate_dxf.py",
      "        if code == 0:\n", "        if code == 0:\n            return 'mm'\n",
      "test_plate_dxf::test_drawings_that_cannot_be_cut"),
    Fault("drawing cut short is read in part", "dropped check", "fixture3d/job/plate_dxf.py",
      '.endswith(b"EOF")', '.endswith(b"")', "test_plate_dxf::test_broken_files_are_one_line"),
    Fault("free curves by coarse arcs", "tolerance", "fixture3d/job/biarc.py",
      "<= tolerance / 2 for p in tried", "<= tolerance * 20 for p in tried",
      "test_plate_dxf::test_free_curves_become_arcs_within_the_tolerance"),
    Fault("arc as long as its chord", "formula", "fixture3d/job/bent.py",
      "length=radius * math.radians(angles[k])", "length=radius * 2 * math.sin(math.radians(angles[k]) / 2)",
      "test_bent::test_the_developed_length_is_that_of_legs_and_arcs"),
    Fault("tangent of the whole bend", "formula", "fixture3d/job/bent.py",
      "(radius * math.tan(math.radians(a) / 2.0) for a", "(radius * math.tan(math.radians(a) / 3.0) for a",
      "test_bent::test_the_developed_length_is_that_of_legs_and_arcs"),
    Fault("short legs are bent all the same", "dropped check", "fixture3d/job/bent.py",
      "if radius > float(fits[k]) + NUMERIC.merge:", "if radius > 2.0 * float(fits[k]) + NUMERIC.merge:",
      "test_bent::test_bends_that_cannot_be"),
    Fault("rotations counted the other way", "sign", "fixture3d/job/bent.py",
      "math.atan2(-way[0], way[1])", "math.atan2(way[0], way[1])", "test_bent::test_rotation_between_bends"),
    Fault("clamp measures across the bend", "straight line", "fixture3d/job/clamping.py",
      "spot = (item.at, 0.0, 0.0) if piece.bent is None else piece.bent.point(item.at)", "spot = (item.at, 0.0, 0.0)",
      "test_bent::test_a_clamp_presses_along_the_developed_centre_line"),
    Fault("long point on the short side", "sign", "fixture3d/job/cut_data.py",
      "clockwise((end.side * g, end.side * h))", "clockwise((-end.side * g, -end.side * h))",
      "test_cut_list::test_mitres_of_any_rotation_are_those_of_the_solids_end_faces"),
    Fault("template of the first end not turned", "hand", "fixture3d/export/template.py",
      "along = girth - along", "along = along",
      "test_cut_list::test_a_template_wrapped_round_the_tube_lies_on_the_solids_edge "
      "test_cut_list::test_lines_of_the_template_lie_on_the_sides_of_the_tube"),
    Fault("template a tenth too wide", "scale", "fixture3d/export/template_pdf.py",
      '"width": tile.width,', '"width": tile.width * 1.1,',
      "test_cut_list::test_the_pdf_is_at_true_scale_and_the_same_each_time"),
    Fault("plate drawn with its arcs turned over", "sign", "fixture3d/export/dxf.py",
      "math.tan(edge.sweep / 4.0)", "-math.tan(edge.sweep / 4.0)",
      "test_cut_list::test_a_plate_goes_out_and_comes_in_again"),
    Fault("drawings carry the hour", "timestamp", "fixture3d/export/dxf.py",
      "options.write_fixed_meta_data_for_testing = True", "options.write_fixed_meta_data_for_testing = False",
      "test_cut_list::test_a_plate_goes_out_and_comes_in_again"),
    Fault("cells that are formulas", "dropped check", "fixture3d/export/cut_list.py",
      "plain[0] in _FORMULA", "plain[0] in '|'", "test_cut_list::test_a_cell_is_never_a_formula"),
    Fault("clamp reaches away from the work", "sign", "fixture3d/job/clamping.py",
      "+ distance - reach", "- distance + reach", "test_clamping::test_reach_height_and_turn_follow_from_the_piece"),
    Fault("clamp presses on the underside", "wrong side", "fixture3d/job/clamping.py",
      "return float(z[inside].max())", "return float(z[inside].min())",
      "test_clamping::test_reach_height_and_turn_follow_from_the_piece"),
    Fault("pads feel the far side of the work", "swapped normal", "fixture3d/job/contact.py",
      "facing = normals[:, 2] < -0.5 * sizes", "facing = normals[:, 2] > 0.5 * sizes",
      "test_contact::test_piece_resting_on_a_pad"),
    Fault("distance between faces of other sign", "sign", "fixture3d/job/contact.py",
      "distance = float((b.at - a.at) @ a.normal)", "distance = float((a.at - b.at) @ a.normal)",
      "test_contact::test_opposed_stops_and_the_work_between_them"),
    Fault("bead felt behind the metal", "swapped normal", "fixture3d/job/keepout.py",
      "height = (out - root) @ normal - SHOP.contact", "height = (root - out) @ normal - SHOP.contact",
      "test_check_interference::test_block_behind_the_metal_does_not_feel_the_weld"),
    Fault("plate has holes of twice their size", "radius/diameter", "fixture3d/job/table_body.py",
      "self.hole_distance(points[:, :2]) - self.grid.bore / 2.0", "self.hole_distance(points[:, :2]) - self.grid.bore",
      "test_table_body::test_shank_beside_its_hole_goes_back_sideways"),
    Fault("second grid's holes on the first", "stagger offset", "fixture3d/job/table_body.py",
      "centre = (index + half) * step", "centre = index * step",
      "test_table_body::test_shank_beside_a_staggered_hole_goes_back_to_it "
      "test_table_body::test_staggered_hole_takes_a_shank"),
    Fault("next notch on the wrong side", "notch off by one", "fixture3d/job/wayout.py",
      "math.floor(wanted / move.notch + 1e-6)", "math.ceil(wanted / move.notch + 1e-6)",
      "test_check_interference::test_slide_is_sent_back_by_notches"),
    Fault("next hole by the wrong corner", "wrong hole", "fixture3d/job/wayout.py",
      "int(math.copysign(1, local[k])) * grid.naming.signs[k]", "int(math.copysign(1, local[k]))",
      "test_check_interference::test_next_hole_counts_from_the_corner_of_a1"),
    Fault("move rounded down", "rounding", "fixture3d/job/wayout.py",
      "math.ceil(mm / _STEP - 1e-6) * _STEP", "math.floor(mm / _STEP + 1e-6) * _STEP",
      "test_check_interference::test_words_are_never_short_of_the_way"),
    Fault("shims draw the pad back", "shim sign", "fixture3d/job/job.py",
      "at + np.asarray(pad.normal) * seat.shims", "at - np.asarray(pad.normal) * seat.shims",
      "test_resolve::test_notch_slide_and_shims_move_the_pad"),
    Fault("shims under the seat sink the block", "shim sign", "fixture3d/job/resolve.py",
      'frame.translation((0.0, 0.0, shims["seat"]))', 'frame.translation((0.0, 0.0, -shims["seat"]))',
      "test_resolve::test_shims_under_the_seat_lift_the_block"),
    Fault("shim body behind its pad", "shim sign", "fixture3d/job/bodies.py",
      "frame.along(pad.at - pad.normal * thickness,", "frame.along(pad.at + pad.normal * thickness,",
      "test_resolve::test_bodies_go_where_their_pads_are"),
    Fault("notch nought is one notch out", "notch off by one", "fixture3d/job/resolve.py",
      "return item.notch * move.notch, item.notch", "return (item.notch + 1) * move.notch, item.notch",
      "test_resolve::test_notch_slide_and_shims_move_the_pad"),
    Fault("edge clamps look outward", "mirrored turn", "fixture3d/job/resolve.py",
      '"front": 90.0, "back": 270.0', '"front": 270.0, "back": 90.0',
      "test_resolve::test_free_edge_and_magnet_are_measured_places"),
    Fault("block slides the wrong way", "slide direction", "fixture3d/job/bodies.py",
      "moved = frame.translation(np.asarray(move.axis) * seat.slide)",
      "moved = frame.translation(np.asarray(move.axis) * -seat.slide)",
      "test_resolve::test_bodies_go_where_their_pads_are"),
    Fault("block key forgets a parameter", "cache key", "fixture3d/job/bodies.py",
      "digest, body, repr(values)]", "digest, body, repr(values[1:])]",
      "test_resolve::test_a_block_is_kept_under_all_that_decides_its_solid"),
    Fault("one block too few is enough", "< for <=", "fixture3d/job/inventory.py",
      "pick.count > pick.owned:", "pick.count > pick.owned + 1:",
      "test_check_seating::test_more_blocks_than_the_shop_owns"),
    Fault("normals of a weld are shifted", "wrong frame", "fixture3d/job/welding.py",
      "sides = frame.directions(to_world, item.sides)", "sides = frame.points(to_world, item.sides)",
      "test_resolve::test_the_given_sides_of_a_weld_turn_with_the_work"),
    Fault("an upright face seen from behind", "left-handed frame", "fixture3d/job/resolve.py",
      "along, np.cross(out, along), out)", "along, np.cross(along, out), out)",
      "test_upright_face::test_a_block_stands_as_on_a_grid_of_the_same_holes"),
    Fault("a block lies on the far side of the one below", "wrong side", "fixture3d/job/support.py",
      "float(out @ NORMALS[f]) >= _LEVEL", "float(out @ NORMALS[f]) <= -_LEVEL",
      "test_upright_face::test_what_carries_it_is_the_face"),
    # --- checks ---
    Fault("open clamps are not looked at", "skipped pair", "fixture3d/checks/opening.py",
      "if a.endswith(_OPEN) == b.endswith(_OPEN):", "if a.endswith(_OPEN) or b.endswith(_OPEN):",
      "test_clamp_models::test_open_is_looked_at_where_no_sweep_is_stated"),
    Fault("the last step of opening is left out", "off by one", "fixture3d/part.py",
      "share = 1.0 if done is None else", "share = 0.0 if done is None else",
      "test_clamp_models::test_a_step_shifts_and_turns"),
    Fault("a shank with a nut is no bolt", "wrong branch", "fixture3d/job/job.py",
      'if p.state == "seated" and p.pin.nut), None)', 'if p.state == "blocked" and p.pin.nut), None)',
      "test_clamp_models::test_a_clamp_on_its_own_bolt_needs_room_for_the_nut_and_does_not_spin"),
    Fault("clamp sweeps are not looked at", "skipped pair", "fixture3d/checks/interference.py",
      '(a.role == "sweep" and b.role == "sweep")', '(a.role == "sweep" or b.role == "sweep")',
      "test_check_interference::test_sweep_blocked"),
    Fault("pieces in each other blame a block", "wrong rule", "fixture3d/checks/interference.py",
      'if a.role == b.role == "piece":', 'if a.role == b.role == "block":',
      "test_check_interference::test_pieces_drawn_into_each_other"),
    Fault("the wrong one of two is moved", "way-out sign", "fixture3d/checks/interference.py",
      "return way if moves_b else -way", "return -way if moves_b else way",
      "test_check_interference::test_next_hole_counts_from_the_corner_of_a1"),
    Fault("flat of a tube by its inner radius", "wrong radius", "fixture3d/checks/interference.py",
      "flat = half - section.outer_radius", "flat = half - section.inner_radius",
      "test_check_interference::test_pad_in_the_round_of_a_tube"),
    Fault("tip meets only far sides", "swapped normal", "fixture3d/checks/interference.py",
      "facing = (det < -NUMERIC.zero)", "facing = (det > NUMERIC.zero)",
      "test_check_interference::test_tip_that_stops_short"),
    Fault("a screw reaches any distance", "< for >", "fixture3d/checks/interference.py",
      "reach = gap <= tip.stroke", "reach = gap >= tip.stroke", "test_check_interference::test_tip_that_stops_short"),
    Fault("clamps on loose dowels unseen", "< for >", "fixture3d/checks/seating.py",
      "if float(way @ item.plane_to_world[:3, 2]) < AGAINST:", "if float(way @ item.plane_to_world[:3, 2]) > -AGAINST:",
      "test_check_seating::test_a_clamp_that_presses_down_needs_its_bolt"),
    Fault("a push that goes up lifts a clamp", "wrong limit", "fixture3d/checks/seating.py",
      "if float(way @ item.plane_to_world[:3, 2]) < AGAINST:", "if float(way @ item.plane_to_world[:3, 2]) < -AGAINST:",
      "test_check_seating::test_only_a_push_that_goes_down_lifts_the_clamp"),
    Fault("only the notch below counts", "notch off by one", "fixture3d/checks/seating.py",
      "around = [k for k in (below, below + 1) if", "around = [k for k in (below,) if",
      "test_check_seating::test_teeth_seat_only_in_a_notch"),
    Fault("a way back is not tried", "dropped check", "fixture3d/checks/overlap_remedies.py",
      'return all(r.kind == "clear" or (r.kind == "touching" and not {a, b} & welds) for a, b, r in found)',
      "return bool(moved)",
      "test_check_interference::test_a_hole_that_does_not_work_is_not_named"),
    Fault("a sunk piece rests on nothing", "tolerance", "fixture3d/checks/interference.py",
      "work.triangles[piece.name], slack + deep)", "work.triangles[piece.name], slack)",
      "test_check_interference::test_a_piece_that_sinks_into_its_block_rests_on_it"),
    Fault("work is sent the wrong way", "flipped sign", "fixture3d/job/misplaced.py",
      "asked = [(-row.gap / float", "asked = [(row.gap / float",
      "test_misplaced::test_a_wrong_lift_is_told_as_one_cause_and_its_parts_stay"),
    Fault("blocks that touch do not speak", "dropped check", "fixture3d/job/misplaced.py",
      "len(contrary) > _CONTRARY * len(blocks)", "len(contrary) < 0",
      "test_misplaced::test_nearly_all_have_to_agree"),
    Fault("a path's place in the world", "wrong frame", "fixture3d/job/weldplace.py",
      "near = frame.points(frame.inverse(job.weldment.weldment_to_world), near)", "near = near + 0.0",
      "test_check_torch::test_the_piece_its_nearest_point_and_the_gap_are_named"),
    Fault("second dowel in one hole unseen", "skipped pair", "fixture3d/checks/seating.py",
      "for other, pin in others:", "for other, pin in others[1:]:",
      "test_check_seating::test_a_shared_hole"),
    Fault("loose seats are not told", "tolerance", "fixture3d/checks/seating.py",
      "if worst > SHOP.seat_play:", "if worst > 100.0 * SHOP.seat_play:",
      "test_check_seating::test_loose_seats_from_half_a_millimetre"),
    Fault("table is not in the torch's way", "skipped body", "fixture3d/checks/torch_access.py",
      "for plate in plates(job.table):", "for plate in plates(job.table)[1:]:",
      "test_check_torch::test_table_is_in_the_way_of_an_overhead_weld"),
    Fault("swept space stops the torch", "wrong body", "fixture3d/checks/torch_access.py",
      'if body.role != "sweep":', 'if body.role != "pin":',
      "test_check_torch::test_swept_space_is_free_for_the_torch"),
    Fault("roomy positions are tight", "< for >", "fixture3d/checks/torch_access.py",
      "if found.best.clearance < TIGHT:", "if found.best.clearance > TIGHT:", "test_check_torch::test_tight"),
    Fault("torch key forgets the bodies", "cache key", "fixture3d/checks/torch_access.py",
      "*(o.key for o in around if _meet(o.box, box))]", "]",
      "test_check_torch::test_unchanged_and_far_changes_are_not_worked_out_again"),
    Fault("torch key forgets the nozzle", "cache key", "fixture3d/checks/torch_access.py",
      "np.array([torch.nozzle_radius, torch.nozzle_length, window.nominal_travel])",
      "np.array([window.nominal_travel])",
      "test_check_torch::test_another_torch_or_technique_is_another_question"),
    # --- report ---
    Fault("one finding that is no fail makes READY", "any for all", "fixture3d/report/report.py",
      'all(f.level != "fail" for f in self.findings)', 'any(f.level != "fail" for f in self.findings)',
      "test_report_text::test_the_verdict_comes_first"),
    Fault("an accepted rule silences all blocks", "accept too much", "fixture3d/report/report.py",
      "return set(accepted) <= set(found) or", "return bool(accepted) or",
      "test_report_text::test_accepting_one_subject_leaves_the_others"),
    Fault("NaN in the JSON report", "JSON NaN", "fixture3d/report/report.py",
      "round(value, 6) + 0.0 if math.isfinite(value) else None", "round(value, 6) + 0.0",
      "test_report_text::test_undefined_is_null_in_json"),
    Fault("notes before fails", "order", "fixture3d/report/report.py",
      "key=lambda f: (LEVELS.index(f.level),", "key=lambda f: (-LEVELS.index(f.level),",
      "test_report_text::test_findings_in_json_are_fails_first"),
    Fault("cubic inches by one inch", "unit", "fixture3d/report/text.py",
      "value / 25.4**3", "value / 25.4",
      "test_report_text::test_figures_in_the_units_of_the_file"),
    Fault("play between faces of other sign", "sign", "fixture3d/report/text.py",
      "slack = pair.distance - pair.stock", "slack = pair.stock - pair.distance",
      "test_report_text::test_what_is_to_spare_between_two_faces"),
    # --- sheet, picture, files ---
    Fault("missing blocks counted backwards", "sign", "fixture3d/sheet/data.py",
      "max(0, pick.count - pick.owned)", "max(0, pick.owned - pick.count)",
      "test_sheet::test_pick_list_flags_what_is_short"),
    Fault("sheet says the next notch", "notch off by one", "fixture3d/sheet/data.py",
      'f"notch {seat.notch}"', 'f"notch {seat.notch + 1}"',
      "test_sheet::test_a_setting_is_that_of_the_scene"),
    Fault("sheet names a dowel's hole for the block", "hole name", "fixture3d/sheet/data.py",
      "return one_line(job.table.find(place.hole).name)", "return one_line(seat.holes[-1])",
      "test_sheet::test_every_block_hole_turn_and_face_is_on_it"),
    Fault("plan upside down", "mirror", "fixture3d/sheet/layout.py",
      "(y1 - y) / self.scale + BAND", "(y - y1) / self.scale + BAND",
      "test_sheet::test_plan_is_seen_from_above_with_the_front_of_the_table_below"),
    Fault("plan draws holes by their diameter", "radius/diameter", "fixture3d/sheet/plan.py",
      "    r = table.bore / 2 / fit.scale\n", "    r = table.bore / fit.scale\n",
      "test_sheet::test_plan_is_seen_from_above_with_the_front_of_the_table_below"),
    Fault("picture mirrored", "mirror", "fixture3d/preview/camera.py",
      "up = np.cross(TO_EYE, right)", "up = np.cross(right, TO_EYE)",
      "test_png::test_blocks_and_work_are_large_in_the_picture "
      "test_png::test_view_keeps_the_setup_inside_the_borders "
      "test_png::test_table_holes_are_where_the_grid_says"),
    # --- stages ---
    Fault("a block stands in a stage that takes it off", "dropped rule", "fixture3d/scene/stages.py",
      "and block.name not in stage.without", "or block.name not in stage.without",
      "test_stages::test_hostile_stages_are_told_with_their_line test_scene::test_every_key_arrives "
      "test_stages::test_a_scene_of_one_stage_has_what_stands_in_it"),
    Fault("this stage's own welds are done before it", "order", "fixture3d/scene/stages.py",
      "for earlier in names[:number] for weld in run[earlier]",
      "for earlier in names[: number + 1] for weld in run[earlier]",
      "test_stages::test_a_scene_of_one_stage_has_what_stands_in_it"),
    Fault("lines of a stage are those of the whole scene", "wrong line", "fixture3d/scene/scene.py",
      "return (head, numbers[rest[0]], *rest[1:])", "return tuple(path)",
      "test_stages::test_a_problem_of_a_stage_points_at_the_file"),
    Fault("legs of a bead by half", "radius/diameter", "fixture3d/job/beads.py",
      "high, wide = (size if opening < _FLUSH else cap), size",
      "high, wide = (size / 2 if opening < _FLUSH else cap), size / 2",
      "test_stages::test_a_fillet_is_the_part_of_a_circle_between_its_faces"),
    Fault("a bead is open at its bends", "forgotten part", "fixture3d/job/beads.py",
      "    for at, before, after in bends:", "    for at, before, after in bends[:0]:",
      "test_stages::test_a_bead_round_a_post_closes_at_its_corners"),
    Fault("a block may touch a finished weld", "dropped limit", "fixture3d/checks/finished_beads.py",
      'or (relation.kind == "touching" and not may_touch)', "or False",
      "test_stages::test_nothing_may_touch_a_finished_weld"),
    Fault("pieces that were there collide with their bead", "dropped rule", "fixture3d/checks/finished_beads.py",
      'return body.role == "piece" and body.name not in late[beads[bead].item]', "return False",
      "test_stages::test_only_a_piece_that_comes_later_can_stand_on_a_bead"),
    Fault("welded pieces do not hold each other", "dropped rule", "fixture3d/checks/interference.py",
      "for group in work.job.joined if any(one in held for one in group)",
      "for group in () if any(one in held for one in group)",
      "test_stages::test_what_is_welded_together_holds_itself_up"),
    Fault("a finding of two stages counts twice", "double count", "fixture3d/report/report.py",
      "found = next((one for one in known if finding.stage not in one.stages), None)", "found = None",
      "test_stages::test_two_equal_stages_find_what_the_scene_without_stages_does"),
    Fault("work is turned the other way round", "sign", "fixture3d/sheet/stages.py",
      'way = "counter-clockwise" if round_ > 0.0', 'way = "counter-clockwise" if round_ < 0.0',
      "test_stages::test_how_the_work_is_turned_is_told_in_words"),
    Fault("blocks of all stages are added up", "sum for most", "fixture3d/job/inventory.py",
      "count=max(known.count, pick.count)", "count=known.count + pick.count",
      "test_stages::test_the_inventory_needs_the_most_that_stand_at_one_time"),
    # --- 3D page ---
    Fault("bores told as rods", "sign", "fixture3d/solid/facets.py",
      'return float(np.einsum("ij,ij->", np.cross(b - a, c - a), away)) < 0.0',
      'return float(np.einsum("ij,ij->", np.cross(b - a, c - a), away)) > 0.0',
      "test_page::test_faces_lie_on_the_surfaces_that_are_told[tube]"),
    Fault("cones point away from their face", "sign", "fixture3d/solid/facets.py",
      "axis = axis if float(along.mean()) >= 0.0 else -axis", "axis = -axis if float(along.mean()) >= 0.0 else axis",
      "test_page::test_faces_lie_on_the_surfaces_that_are_told[cone]"),
    Fault("rims as coarse as the inside of a face", "tolerance", "fixture3d/solid/facets.py",
      "CHORD: Final = 0.018", "CHORD: Final = 0.05",
      "test_page::test_faces_lie_on_the_surfaces_that_are_told[rod]"),
    Fault("bends go round the other way", "wrong side", "fixture3d/solid/bend_mesh.py",
      "if float(((middles - rims[0][0]) % _ROUND).max()) > span:",
      "if float(((middles - rims[0][0]) % _ROUND).max()) <= span:",
      "test_page::test_a_bend_has_few_triangles_and_closes_with_its_neighbours"),
    Fault("lines along every edge", "dropped limit", "fixture3d/solid/facets.py",
      "drawn = where[(bend < _SHARP) & (face", "drawn = where[(bend < 2.0) & (face",
      "test_page::test_lines_are_drawn_at_sharp_edges_only"),
    Fault("facets of a round mesh are faces of their own", "dropped rule", "fixture3d/solid/facets.py",
      "mixed = np.where(small, len(faces) + smooth, flat)", "mixed = flat",
      "test_page::test_a_mesh_is_told_apart_by_its_flat_regions"),
    Fault("page lies on its side", "axes", "fixture3d/preview/page/glb.py",
      "0, -0.001, 0, 0, 0.001, 0, 0, 0, 0, 0, 1)", "0, 0.001, 0, 0, -0.001, 0, 0, 0, 0, 0, 1)",
      "test_page::test_glb_reads_back_as_the_bodies_of_the_job"),
    Fault("poses row by row", "row for column", "fixture3d/preview/page/glb.py",
      "for v in pose.T.ravel()]", "for v in pose.ravel()]",
      "test_page::test_glb_reads_back_as_the_bodies_of_the_job"),
    Fault("bits from the wrong end", "bit order", "fixture3d/preview/page/positions.py",
      'np.packbits(free.ravel(), bitorder="little")', 'np.packbits(free.ravel(), bitorder="big")',
      "test_page::test_bits_stand_point_by_point_with_the_first_bit_first"),
    Fault("who is in the way, of all points at once", "wrong slice", "fixture3d/preview/page/positions.py",
      "points.points[one], points.frames[one], window, here)", "points.points[:1], points.frames[:1], window, here)",
      "test_page::test_positions_say_what_the_check_says"),
    Fault("a run jumps from edge to edge of the window", "dropped border", "fixture3d/preview/page/positions.py",
      "            out[tuple(edge)] = np.inf", "            out[tuple(edge)] += 0.0",
      "test_page::test_a_run_does_not_go_from_one_end_of_the_window_to_the_other"),
    Fault("run changes its hold for nothing", "dropped cost", "fixture3d/preview/page/positions.py",
      "price = window.cost[:, leans, None] + _ROLL", "price = -window.cost[:, leans, None] + _ROLL",
      "test_page::test_a_run_keeps_to_nominal_where_it_can"),
    Fault("room at an outside corner is that of an inside one", "union for common", "fixture3d/preview/page/keepout.py",
      "choose = (min, max) if outside else (max, min)", "choose = (max, min)",
      "test_page::test_room_at_a_weld_is_what_the_check_keeps_clear"),
    Fault("title goes into the page as it is", "dropped escape", "fixture3d/preview/page/page.py",
      '"TITLE": escape(name, quote=True)', '"TITLE": name',
      "test_page::test_texts_of_a_scene_are_data_only"),
    Fault("policy lets any script run", "dropped limit", "fixture3d/preview/page/page.py",
      "script-src '{_sum(script)}';", "script-src 'unsafe-inline';",
      "test_page::test_sums_in_the_policy_are_those_of_script_and_style"),
    Fault("tokens in data are filled in", "order", "fixture3d/preview/page/page.py",
      'return _TOKEN.sub(lambda match: parts[match[1]], _asset("page.html"))',
      'return _TOKEN.sub(lambda m: parts[m[1]], _TOKEN.sub(lambda m: parts[m[1]], _asset("page.html")))',
      "test_page::test_tokens_in_what_is_put_in_stay_as_they_are"),
    Fault("columns of a table count against their names", "sign", "fixture3d/preview/page/data.py",
      '"x": _unit(sx * np.array(grid.x))', '"x": _unit(np.array(grid.x))',
      "test_page::test_holes_have_the_names_and_places_of_the_table"),
    Fault("findings of every stage lead to the first", "wrong index", "fixture3d/preview/page/data.py",
      '"stage": stages.get(finding.stage),', '"stage": 0 if stages else None,',
      "test_page::test_stages_come_in_order_with_what_is_in_each"),
    Fault("code forgets the models", "dropped part", "fixture3d/job/code.py",
      'digest.update(repr((model, entry.digest if entry is not None else "")).encode())', "pass",
      "test_page::test_sheet_and_page_carry_the_same_code"),
    Fault("bodies of all stages in all stages", "dropped stage", "fixture3d/preview/page/bodies.py",
      'out.rows[known[key]]["stages"].append(stage)', 'out.rows[known[key]]["stages"] = list(range(2))',
      "test_page::test_stages_come_in_order_with_what_is_in_each"),
    Fault("STL in inches", "STL unit", "fixture3d/export/stl.py",
      'corners = mesh.triangles.astype("<f4")', 'corners = (mesh.triangles / 25.4).astype("<f4")',
      "test_stl_export::test_every_block_is_closed_and_has_its_volume_within_the_chord"),
    Fault("STL normals inward", "swapped normal", "fixture3d/export/stl.py",
      "np.cross(exact[:, 1] - exact[:, 0], exact[:, 2] - exact[:, 0])",
      "np.cross(exact[:, 2] - exact[:, 0], exact[:, 1] - exact[:, 0])",
      "test_stl_export::test_normals_in_the_file_point_out_of_the_block"),
    Fault("STEP places bodies by the inverse", "STEP pose", "fixture3d/export/step.py",
      "kernel.moved(own, solid.pose).Location()", "kernel.moved(own, solid.pose).Location().Inverted()",
      "test_step_export::test_names_volumes_and_boxes_come_back"),
    Fault("STEP in inches", "unit", "fixture3d/export/step.py",
      'Interface_Static.SetCVal_s("write.step.unit", "MM")', 'Interface_Static.SetCVal_s("write.step.unit", "INCH")',
      "test_step_export::test_file_is_in_millimetres"),
    Fault("a block's file ignores its slide", "forgotten argument", "fixture3d/export/block.py",
      "moved if b.moves else frame.identity()", "frame.identity()",
      "test_step_export::test_a_slide_stands_where_it_is_set_in_the_step_file"),
    # --- models ---
    Fault("45 degrees spaced by one pitch", "wrong spacing", "models/_profiles.py",
      "half = pattern.pitch * ROOT2 / 2.0", "half = pattern.pitch / 2.0",
      "test_models::test_what_can_stand_at_45_degrees"),
    Fault("bores twice as wide", "radius/diameter", "models/_profiles.py",
      "return cq.Solid.makeCylinder(diameter / 2.0,", "return cq.Solid.makeCylinder(diameter,",
      "test_models::test_every_body_is_one_valid_solid_in_its_declared_box[dowel-50/16-default]"),
    Fault("side pads at the wrong side", "swapped sides", "models/_profiles.py",
      "at[axis] = (high if normal[axis] > 0.0 else low)[axis]",
      "at[axis] = (low if normal[axis] > 0.0 else high)[axis]",
      "test_models::test_pads_are_on_the_surface_all_over[riser-50/16-default]"),
    Fault("stop block's middle one bore off", "off by one", "models/stop_block.py",
      "middle = (self.bores - 1) * self.pattern.pitch / 2.0", "middle = self.bores * self.pattern.pitch / 2.0",
      "test_models::test_bores_lie_in_the_foot_and_take_a_dowel_to_their_depth[stop_block-50/16-default]"),
    Fault("stop bar's row on the other side", "sign", "models/stop_bar.py",
      "return (-end, self.offset - half, 0.0), (self.length - end, self.offset + half, self.height)",
      "return (-end, -self.offset - half, 0.0), (self.length - end, half - self.offset, self.height)",
      "test_models::test_two_stop_bars_meet_in_a_corner_and_close_up"),
    Fault("ledge at the height of the top", "ledge/shoulder", "models/step_block.py",
      "(x, (front + inner) / 2.0, self.ledge)", "(x, (front + inner) / 2.0, self.height)",
      "test_models::test_pads_are_on_the_surface_all_over[step_block-50/16-default]"),
    Fault("shoulder looks backward", "swapped normal", "models/step_block.py",
      "(0.0, -1.0, 0.0)", "(0.0, 1.0, 0.0)",
      "test_models::test_pads_are_on_the_surface_all_over[step_block-50/16-default]"),
    Fault("V by its lips instead of the tube", "V-block centre", "models/vee_block.py",
      "return self.centre_height - self.groove.centre", "return self.centre_height - self.groove.deep",
      "test_models::test_a_tube_lies_on_both_flats_of_the_v"),
    Fault("flats of the V look outward", "swapped normal", "models/_vee.py",
      "self._turned(-hand * self.cos, self.sin, opens)", "self._turned(hand * self.cos, self.sin, opens)",
      "test_models::test_pads_are_on_the_surface_all_over[vee_block-50/16-default]"),
    Fault("slide goes in for out", "slide direction", "models/slide_stop.py",
      "Move(axis=(1.0, 0.0, 0.0)", "Move(axis=(-1.0, 0.0, 0.0)",
      "test_models::test_a_moving_body_is_clear_of_the_fixed_ones_at_every_notch[slide_stop-50/16-default]"),
    Fault("travel one notch short", "notch off by one", "models/slide_stop.py",
      "math.ceil((pattern.pitch - notch) / notch - 1e-9)", "math.floor((pattern.pitch - notch) / notch - 1e-9)",
      "test_models::test_a_slide_stop_reaches_every_notch_between_two_holes"),
    Fault("teeth of the washer half a notch off", "offset", "models/_serration.py",
      "return self._line(start, end, lambda x: max(self._sharp(x), low + flat), breaks)",
      "return self._line(start, end, lambda x: max(self._sharp(x + self.notch / 4), low + flat), breaks)",
      "test_models::test_serrations_touch_on_a_notch_and_clash_between_two"),
    Fault("clamp presses upward", "sign", "models/toggle_clamp.py",
      "direction=(0.0, 0.0, -1.0)", "direction=(0.0, 0.0, 1.0)",
      "test_models::test_what_a_clamp_sweeps[default-50/16]"),
    Fault("the screw swings without being turned back", "missing step", "models/screw_clamp.py",
      "opens=(back, swing)", "opens=(swing,)", "test_clamp_models::test_the_sweep_holds_all_of_the_way"),
    Fault("a magnet pulls where it does not touch", "wrong sign", "fixture3d/checks/interference.py",
      "-way if tip.pulls else way", "way", "test_clamp_models::test_a_magnet_holds_what_lies_on_it"),
    Fault("the lever of a magnet goes over its top", "size", "models/magnet.py",
      "return math.sqrt((self.height / 2.0 - GAP)", "return math.sqrt((self.height - GAP)",
      "test_clamp_models::test_the_sweep_holds_all_of_the_way"),
    Fault("the catalogue page trusts a summary", "injection", "fixture3d/export/catalogue_page.py",
      "<p>{escape(entry.summary)}</p>\\n'", "<p>{entry.summary}</p>\\n'",
      "test_catalogue_page::test_a_hostile_model_is_only_text"),
    Fault("an example is shown that does not stand", "skipped check", "fixture3d/export/example.py",
      'if f.level in ("fail", "warn")]', 'if f.level == "fail"]',
      "test_catalogue_page::test_every_model_stands_as_its_entry_places_it"),
    Fault("the handle of a push clamp goes forward", "sign", "models/push_clamp.py",
      "about=(0.0, -1.0, 0.0)", "about=(0.0, 1.0, 0.0)", "test_clamp_models::test_the_sweep_holds_all_of_the_way"),
    Fault("a level clamp is brought up to the axis", "reference", "fixture3d/job/clamping.py",
      "return None if top is None else -top", "return None if top is None else 0.0",
      "test_clamping::test_a_push_clamp_comes_up_to_the_side_of_the_work"),
    Fault("a bar clamp is drawn off only half way", "half", "models/bar_clamp.py",
      "return self.reach + self._half()\n", "return (self.reach + self._half()) / 2.0\n",
      "test_clamp_models::test_open_it_leaves_the_throat_clear"),
    Fault("the screw of an edge stop ends short of the plate", "offset", "models/edge_stop.py",
      "0.75 * self.pattern.bore, -self.plate - low)", "0.75 * self.pattern.bore, 1.0 - self.plate - low)",
      "test_edges::test_an_edge_stop_is_exact_across_and_measured_along"),
    Fault("an edge stop is measured from its lip", "reference", "fixture3d/job/resolve.py",
      'low = 0.0 if part.stands == "edge" else part.box()[0][0]', "low = part.box()[0][0]",
      "test_edges::test_an_edge_stop_is_exact_across_and_measured_along"),
    Fault("reach of a clamp on the edge is not looked at", "missing test", "fixture3d/job/clamping.py",
      "if not low - SHOP.contact <= wanted <= high + SHOP.contact:", "if low > high:",
      "test_edges::test_beyond_its_throat_is_an_error_with_the_nearest_reach"),
    Fault("the strap is pulled forward", "sign", "models/hold_down_bolt.py",
      "shift=(self._clear() - self.reach - self._radius(), 0.0, 0.0)",
      "shift=(self.reach + self._radius() - self._clear(), 0.0, 0.0)",
      "test_clamp_models::test_open_it_leaves_the_throat_clear"),
    Fault("arm opens downward", "sign", "models/_swing.py",
      "[_turned(p, ARM_OPENS)", "[_turned(p, -ARM_OPENS)", "test_models::test_what_a_clamp_sweeps[default-50/16]"),
    Fault("pads over the window of a riser", "wrong case", "models/riser.py",
      '*(() if self.hollow else ("left", "right"))', '*(("left", "right") if self.hollow else ())',
      "test_models::test_pads_are_on_the_surface_all_over[riser-50/16-high]"),
    Fault("slotted shim touches over its slot", "wrong face", "models/shim.py",
      '("top back", half, y1)', '("top back", -half, y1)',
      "test_models::test_pads_are_on_the_surface_all_over[shim-50/16-high]"),
    Fault("letters of an angle plate go up", "swapped axes", "models/angle_plate.py",
      "(i * p.pitch, -lead, lead + j * p.pitch)", "(j * p.pitch, -lead, lead + i * p.pitch)",
      "test_upright_face::test_a_block_stands_as_on_a_grid_of_the_same_holes"),
    Fault("relief of a corner half as wide", "radius/diameter", "models/corner_block.py",
      "UP, 2.0 * self.relief, tall)", "UP, self.relief, tall)",
      "test_model_shapes::test_nothing_is_nearer_to_the_corner_than_the_relief"),
    Fault("one socket past the end of a rail", "off by one", "models/rail.py",
      "[blind(self.pattern)] * (last - 1)", "[blind(self.pattern)] * last",
      "test_models::test_sockets_are_open_and_stand_over_the_bores[rail-50/16-default]"),
    Fault("bores through the top of a low parallel", "missing limit", "models/parallel.py",
      "deep = min(blind(self.pattern), self.height - self.pattern.bore / 4.0)", "deep = blind(self.pattern)",
      "test_models::test_bores_lie_in_the_foot_and_take_a_dowel_to_their_depth[parallel-50/16-low]"),
    Fault("count and thickness of shims added", "+ for *", "models/shim_stack.py",
      "self.plate + self.count * self.thickness", "self.plate + self.count + self.thickness",
      "test_model_shapes::test_a_shim_stack_is_as_high_as_its_sum"),
    Fault("screw jack goes down", "sign", "models/screw_jack.py",
      "Move(axis=UP, travel", "Move(axis=(0.0, 0.0, -1.0), travel",
      "test_models::test_a_moving_body_is_clear_of_the_fixed_ones_at_every_notch[screw_jack-50/16-default]"),
    Fault("slope falls to the back", "sign", "models/tilt_block.py",
      "normal=(0.0, -s, c)", "normal=(0.0, s, c)",
      "test_models::test_pads_are_on_the_surface_all_over[tilt_block-50/16-default]"),
    Fault("ring of a headed dowel up to its broken edge", "wrong edge", "models/headed_dowel.py",
      "outer = (inner + rim) / 2.0", "outer = rim + 0.5",
      "test_models::test_pads_are_on_the_surface_all_over[headed_dowel-50/16-default]"),
    Fault("diamond pin as wide as a round one", "not relieved", "models/diamond_dowel.py",
      "math.sqrt(r**2 - w**2), WAIST * r", "math.sqrt(r**2 - w**2), r",
      "test_model_shapes::test_a_diamond_pin_is_free_along_one_line_only"),
    Fault("ridge of a nest carries the root radius", "no relief", "models/nest.py",
      "return max(self.root + 1.0, SLOT), SHARE", "return SLOT, SHARE",
      "test_model_shapes::test_an_angle_of_the_standard_lies_on_both_legs"),
    Fault("jaws by their lips instead of the tube", "V centre", "models/centring_pair.py",
      "vertex = self.middle - hand * g.centre", "vertex = self.middle - hand * g.deep",
      "test_model_shapes::test_a_centring_pair_holds_a_round_over_a_hole"),
    Fault("shank half as thick", "radius/diameter", "models/dowel.py",
      "round_bar((0.0, 0.0, -self.shank), up, self.pattern.bore, self.shank)",
      "round_bar((0.0, 0.0, -self.shank), up, self.pattern.bore / 2.0, self.shank)",
      "test_models::test_a_shank_is_as_thick_as_the_bore_and_as_long_as_its_pin"),
)
# fmt: on


def main(arguments: Sequence[str] | None = None) -> int:
    """Plant every fault, or the named ones; 0 when each was caught and the tests pass without any."""
    parser = argparse.ArgumentParser(description="Plant known faults, one at a time, and see that the tests catch each")
    parser.add_argument("--only", action="append", default=[], metavar="NAME", help="this fault; may be repeated")
    parser.add_argument("--jobs", type=int, default=1, metavar="N", help="faults tried at the same time, in N copies")
    asked = parser.parse_args(arguments)
    unknown = sorted(set(asked.only) - {fault.name for fault in FAULTS})
    if unknown or asked.jobs < 1:
        what = f"no fault is called {', '.join(unknown)}" if unknown else f"--jobs is {asked.jobs}; expected 1 or more"
        print(f"planted_faults.py: {what}", file=sys.stderr)
        return 2
    faults = [fault for fault in FAULTS if not asked.only or fault.name in asked.only]
    with tempfile.TemporaryDirectory(prefix="planted-faults-") as scratch:
        copies = [Copy.of_project(Path(scratch) / f"copy {k + 1}") for k in range(min(asked.jobs, len(faults)))]
        last, broken = copies[0].control(faults)
        print(f"without a fault: {last}", flush=True)
        free: queue.SimpleQueue[Copy] = queue.SimpleQueue()
        for copy in copies:
            free.put(copy)

        def try_one(fault: Fault) -> Outcome:
            if useless := broken.intersection(path.partition("[")[0] for path in fault.paths):
                return Outcome(False, f"fails without the fault: {', '.join(sorted(useless))}", 0.0)
            copy = free.get()
            try:
                return copy.plant(fault)
            finally:
                free.put(copy)

        missed = []
        with ThreadPoolExecutor(len(copies)) as pool:
            for fault, outcome in zip(faults, pool.map(try_one, faults), strict=True):
                word = "caught" if outcome.caught else "MISSED"
                print(f"{word}  {outcome.seconds:6.1f} s  {fault.name} ({fault.kind}): {outcome.by}", flush=True)
                if not outcome.caught:
                    missed.append(fault.name)
    print(json.dumps({"planted": len(faults), "caught": len(faults) - len(missed), "missed": missed}))
    return 1 if missed else 0


class Outcome(NamedTuple):
    """Whether a fault was caught, by which test, and how long that took."""

    caught: bool
    by: str
    seconds: float


class Copy:
    """A copy of the project that faults are planted in, one at a time."""

    def __init__(self, root: Path) -> None:
        self.root = root

    @classmethod
    def of_project(cls, root: Path) -> Copy:
        """Every file that git knows or would add, as it is in the working tree."""
        listed = subprocess.run(
            ["git", "ls-files", "-z", "--cached", "--others", "--exclude-standard"],
            cwd=ROOT,
            check=True,
            capture_output=True,
        ).stdout.decode()
        for name in filter(None, listed.split("\0")):
            if (ROOT / name).is_file():
                (root / name).parent.mkdir(parents=True, exist_ok=True)
                shutil.copyfile(ROOT / name, root / name)
        copy = cls(root)
        where = "import fixture3d, fixture3d._library.models as m; print(fixture3d.__file__); print(m.__file__)"
        found = copy._run("-c", where, numba="numba").stdout.splitlines()
        # The project is usually installed from its working tree, which must not be what is tested here.
        assert len(found) == 2, found
        assert all(Path(file).resolve().is_relative_to(root.resolve()) for file in found), found
        return copy

    def control(self, faults: Sequence[Fault]) -> tuple[str, frozenset[str]]:
        """Run all tests that are named, without any fault.

        Returns:
            The last line of the run, and the files and tests that fail already: they can tell nothing.

        Raises:
            SystemExit: the tests cannot be run.
        """
        tests = sorted({test for fault in faults for test in fault.paths})
        run = self._run("-m", "pytest", *QUIET, *tests, numba="numba")
        last = (run.stdout.strip().splitlines() or ["nothing was printed"])[-1]
        if run.returncode not in (0, 1):
            raise SystemExit(f"{run.stdout[-3000:]}\nplanted_faults.py: the tests cannot be run: {last}")
        failed = re.findall(r"^(?:FAILED|ERROR) ((tests/\w+\.py)(?:::\w+)?)", run.stdout, re.MULTILINE)
        return last, frozenset(path for paths in failed for path in paths)

    def plant(self, fault: Fault) -> Outcome:
        """Plant, test and mend again."""
        path = self.root / fault.file
        sound = path.read_text(encoding="utf-8")
        if sound.count(fault.old) != 1:
            return Outcome(False, f"its text is {sound.count(fault.old)} times in {fault.file}", 0.0)
        start = time.perf_counter()
        try:
            path.write_text(sound.replace(fault.old, fault.new), encoding="utf-8", newline="\n")
            # Compiled kernels are kept by their source's time and size: a fault gets a folder of its own.
            numba = f"numba {FAULTS.index(fault)}" if fault.file.endswith("kernel.py") else "numba"
            run = self._run("-m", "pytest", "-x", *QUIET, *fault.paths, numba=numba)
        except subprocess.TimeoutExpired:
            return Outcome(False, f"no end after {LONGEST} s", time.perf_counter() - start)
        finally:
            path.write_text(sound, encoding="utf-8", newline="\n")
        by = re.search(r"^(?:FAILED|ERROR) tests/(.+?)(?: - .*)?$", run.stdout, re.MULTILINE)
        seconds = time.perf_counter() - start
        if run.returncode == 1 and by is not None:
            return Outcome(True, by[1], seconds)
        return Outcome(False, (run.stdout.strip().splitlines() or ["nothing was printed"])[-1], seconds)

    def _run(self, *arguments: str, numba: str) -> subprocess.CompletedProcess[str]:
        """Python in the copy, with answers kept from no other run: they would hide a fault."""
        with tempfile.TemporaryDirectory(prefix="planted-faults-cache-") as cache:
            environment = {
                **os.environ,
                "PYTHONPATH": str(self.root),
                "PYTHONDONTWRITEBYTECODE": "1",
                "FIXTURE3D_CACHE": cache,
                "NUMBA_CACHE_DIR": str(self.root.parent / f"{self.root.name} {numba}"),
            }
            return subprocess.run(
                [sys.executable, *arguments],
                cwd=self.root,
                env=environment,
                capture_output=True,
                encoding="utf-8",
                errors="replace",
                timeout=LONGEST,
            )


if __name__ == "__main__":
    sys.exit(main())
