"""Torches and techniques that a scene may name without describing them, each value with its source or mark.

"Looked up" was seen in a copy or an excerpt; "from memory" names a source that was not at hand; the rest is common
practice, no source, and meant to be overridden by ``[torch.NAME]`` and ``[technique.NAME]``.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any, Final

from fixture3d.access.torch import Technique, Torch, cup_bore

# Nozzle 18 to 28 outside (bore 12 to 19), neck tube 15 to 20, neck 45 or 60 degrees, handle 35 to 45 by 120 to 180,
# hand 90 to 120: common practice, no source. "Barrel about 20 mm, at 60 degrees to the handle": Steel Designers'
# Manual, 6th edition, p. 693, looked up.
_MIG: Final = Torch(
    name="mig-60",
    nozzle_diameter=20.0,
    nozzle_length=60.0,
    neck_angle=60.0,
    neck_radius=40.0,
    neck_diameter=16.0,
    handle_diameter=38.0,
    handle_length=180.0,
    hand_diameter=90.0,
)
_CUP: Final = round(cup_bore(6) + 5.0, 1)
"""Cup number 6, 5 mm more outside (4 to 8: common practice, no source)."""
# Head at 70 degrees to the handle, its body 45 high over the cup's front; 60 to 150 tall with a back cap, a short cap
# 25 to 40: common practice, no source.
_TIG: Final = Torch(
    name="tig-long-cap",
    nozzle_diameter=_CUP,
    nozzle_length=45.0,
    neck_angle=70.0,
    neck_radius=12.0,
    neck_diameter=16.0,
    handle_diameter=24.0,
    handle_length=170.0,
    hand_diameter=90.0,
    back_cap=100.0,
    back_cap_diameter=18.0,
)
# Electrodes are 350 or 450 mm long: Steel Designers' Manual, looked up. Core 4 mm, about 6 mm over the coating, 30 mm
# of it in the holder, thrown away at 50 mm: common practice, no source.
_STICK: Final = Torch(
    name="stick-350",
    nozzle_diameter=6.0,
    nozzle_length=320.0,
    neck_angle=90.0,
    neck_radius=20.0,
    neck_diameter=25.0,
    handle_diameter=35.0,
    handle_length=200.0,
    hand_diameter=100.0,
    stub_length=50.0,
)

SHIPPED: dict[str, Torch] = {
    torch.name: torch
    for torch in (
        _MIG,
        replace(_MIG, name="mig-45", neck_angle=45.0),
        replace(_MIG, name="mig-straight", neck_angle=0.0),
        # A small head for narrow corners: common practice, no source.
        replace(
            _MIG,
            name="mig-compact",
            nozzle_diameter=18.0,
            nozzle_length=45.0,
            neck_radius=28.0,
            neck_diameter=15.0,
            handle_diameter=35.0,
            handle_length=130.0,
        ),
        # A pencil torch: no back cap stands out.
        replace(
            _TIG,
            name="tig-straight",
            neck_angle=0.0,
            neck_radius=0.0,
            handle_diameter=22.0,
            handle_length=150.0,
            back_cap=0.0,
            back_cap_diameter=0.0,
        ),
        _TIG,
        replace(_TIG, name="tig-short-cap", back_cap=32.0),
        _STICK,
        replace(_STICK, name="stick-450", nozzle_length=420.0),
    )
}
"""Torches that a scene may name without describing them."""

# For each process: how the torch is held, whatever the joint. Travel angles: 0 to 40 degrees for all processes, Modern
# Welding (textbook); 5 to 15 good and above 20 poor shielding for gas metal arc, machine manuals; GTAW 15 to 20 push
# and filler 10 to 20 from the surface, GTAW handbook ch. 8: all looked up. Plus or minus: common practice, no source.
_PROCESSES: Final[dict[str, dict[str, Any]]] = {
    # Between the two below; the default.
    "": {"torch": "mig-60", "travel_angle": (10, 15), "stand_off": 15, "process": "gas metal arc"},
    # Contact tip to work 6 to 13, tip flush with the nozzle to 3 out: machine manuals, looked up.
    "short-": {"torch": "mig-60", "travel_angle": (10, 10), "stand_off": 13, "process": "short-circuit gas metal arc"},
    # Tip to work 13 (looked up) to 25 (from memory), tip 3 to 6 within the nozzle (looked up): 20 - 4.
    "spray-": {"torch": "mig-60", "travel_angle": (10, 10), "stand_off": 16, "process": "spray gas metal arc"},
    # Tip to work 19 to 25 for a 1.1 mm wire, looked up; tip 3 within the nozzle, and "slag means drag": common
    # practice, no source.
    "fcaw-": {"torch": "mig-60", "travel_angle": (-10, 10), "stand_off": 19, "process": "gas-shielded flux-cored arc"},
    # Stick-out no more than the cup's bore, 9.5 (rule of thumb, looked up), and no less than lets the cup into a
    # right-angled corner, 7.3 (plane trigonometry). The hand that feeds comes steeper, up to 60
    # degrees, where something stands ahead: common practice, no source.
    "tig-": {
        "torch": "tig-long-cap",
        "travel_angle": (15, 10),
        "stand_off": 9,
        "process": "gas tungsten arc",
        "filler_angle": (20, 60),
    },
    # A dragged stick leans 5 to 25 degrees; arc about one core diameter: common practice, no source.
    "stick-": {"torch": "stick-350", "travel_angle": (-15, 10), "stand_off": 4, "process": "shielded metal arc"},
}
# For each kind of joint: 45 degrees for fillets with equal legs, 0 for butts: Modern Welding (textbook), looked up.
# Other joints have no textbook angle: the middle of the opening. Plus or minus: common practice, no source.
_JOINTS: Final[dict[str, tuple[Any, float]]] = {"corner": (45, 15), "butt": (0, 15), "middle": ("middle", 15)}

TECHNIQUES: dict[str, Technique] = {
    process + joint: Technique(name=process + joint, work_angle=angle, **how)
    for process, how in _PROCESSES.items()
    for joint, angle in _JOINTS.items()
}
"""Techniques that a scene may name without describing them."""


def usual_joint(kind: str, middle: float) -> str:
    """The technique that is taken for a weld that names none, by its type and the middle of its opening, degrees."""
    if kind == "butt":
        return "butt"
    nominal, spread = TECHNIQUES["corner"].work
    return "corner" if kind in ("fillet", "lap") and abs(middle - nominal) <= spread + 1e-6 else "middle"
