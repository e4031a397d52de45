"""Every small number that decides something, named for its use, with its reason.

Numbers that describe the shop (what touches, what can be seen) stand apart from numbers that only guard the
arithmetic. Functions take these as defaults and never carry literals of their own.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, kw_only=True)
class Shop:
    """Tolerances with a meaning at the table, in mm and degrees.

    Attributes:
        contact: two faces nearer than this touch; overlap thinner than this is touching. A sheet of paper is
            0.1 mm, ground blocks are true to 0.01 to 0.02 mm.
        report_gap: gaps up to this are listed; further apart is of no interest.
        torch_margin: clear space that a torch position must keep from every body, because at a gap of
            exactly zero every library answers differently.
        outline: corners of a drawn outline nearer than this are one, and arcs that stand for a free curve keep
            this near to it; a tenth of what a plasma or laser table holds, common practice, no source.
        weld_step: the greatest distance between two points of a weld at which the torch is tried.
        stand_off_most: from the root to the nozzle; self-shielded wires with a long guide stick out up to some 70 mm
            (2 3/4 in), from memory, and all others far less; beyond it no arc is held.
        end_most: the longest stretch that may be missing at each end of a weld without a warning: `weld_step`, so that
            it is the last point alone. A bead begins and ends within some millimetres of its mark anyhow, and a fillet
            is counted short by its throat at each end where it is not made up there (EN 1993-1-8, 4.5.1, from memory).
            The figure itself is common practice, no source.
        end_share: and no more than this share of the weld, so that short welds must be whole; common practice, no
            source.
        bead_keep_out: clear space round a weld root for bead and spatter; common practice, no source.
        bead_cap: how high the cap of a flush weld stands at least, mm; ISO 5817 level B (excess weld metal), from
            memory.
        bead_cap_share: what comes on top of that, as a share of the cap's width; likewise.
        default_bore_limits: what the table's bores are taken to be when the scene does not say.
        seat_play: how far a locating face may move within the fits before the seat is called loose; common
            practice, no source.
        pin_class: fit class of a loose dowel; common practice for dowels that lift out, no source.
        measured_most: a block that was measured further off its size than this is a block of another size, or the
            figure was read or typed wrongly; common practice, no source.
    """

    contact: float = 0.02
    report_gap: float = 5.0
    torch_margin: float = 0.05
    outline: float = 0.01
    weld_step: float = 5.0
    stand_off_most: float = 75.0
    end_most: float = 5.0
    end_share: float = 0.1
    bead_keep_out: float = 10.0
    bead_cap: float = 1.0
    bead_cap_share: float = 0.1
    default_bore_limits: str = "H7"
    seat_play: float = 0.5
    pin_class: str = "g6"
    measured_most: float = 1.0


@dataclass(frozen=True, kw_only=True)
class Numeric:
    """Guards of the arithmetic, in mm unless said.

    Attributes:
        chord: greatest distance between a curved face and its mesh.
        merge: vertices of one solid nearer than this are one.
        zero: lengths below this are zero.
        volume: mm3; a common solid smaller than this is empty.
        angle: degrees; directions closer than this are equal.
        key: poses are rounded to this before they become part of a cache key.
    """

    chord: float = 0.02
    merge: float = 1e-6
    zero: float = 1e-9
    volume: float = 1e-9
    angle: float = 1e-6
    key: float = 1e-7


@dataclass(frozen=True, kw_only=True)
class Files:
    """What is proof enough to mend a solid from a file, and how large a file may be; mm unless said.

    Attributes:
        flat: corners of a hole this near to one plane make it flat: half of `Shop.contact`, so that what the
            missing face could be otherwise is not felt at the table.
        hole_width: mean width (twice the area over the rim) of a flat hole that is closed. A wall of tube is
            thinner; the open end of a tube drawn without a wall is wider, and closing it would make a bar of it.
        hole_share: part of its solid's surface that closed holes may make up together. Above it the missing
            faces, not those in the file, would decide what the solid is.
        holes: rims of one solid that are closed; with more the file has lost faces by the dozen, walls of bores
            among them perhaps, and nobody can look at each place in a note.
        sew: edges of neighbouring faces of a STEP or IGES file this near to each other are one edge; half of
            `Shop.contact`.
        bytes: of a file; larger ones take the kernel minutes and gigabytes.
        unpacked: bytes of the models in a 3MF file, which a small file can claim without end.
        solids: of one file. Each is checked against each, and a weldment has hundreds of pieces at most.
        seconds: that the CAD kernel may take for one file; real assemblies of that size take under a minute.
        depth: of assemblies within assemblies; drawings have three or four.
    """

    flat: float = 0.01
    hole_width: float = 5.0
    hole_share: float = 0.02
    holes: int = 20
    sew: float = 0.01
    bytes: int = 200_000_000
    unpacked: int = 500_000_000
    solids: int = 2000
    seconds: float = 120.0
    depth: int = 32


@dataclass(frozen=True, kw_only=True)
class Joints:
    """Where two pieces are taken to form a weld, and of what type; mm and degrees.

    Attributes:
        gap: root gap up to which a weld is found; common practice, no source.
        most_gap: the largest gap that may be asked for; beyond it a wall would be seen through.
        near: gaps up to this much more are told as near misses.
        flush: faces out of step by no more than this count as flush, and a piece may sink this deep into another
            before its edge counts as buried.
        step: distance between the places of an edge that are looked at; ends are then found to a hundredth.
        look: radius of the circle round a root on which the material is read: less than the thinnest wall
            (1 mm) and more than `flush`.
        look_gap: the same as a share of the root gap where that is larger.
        least: a smaller opening is no joint but a crack; told, not counted.
        crack: nor is a smaller one told: it is the gap between two faces that lie on each other.
        tight: openings below this are found but called tight.
        fillet: greatest opening of a fillet; a dodecagon's inner corner (150) still is one.
        butt: greatest opening of a butt; beyond it is an outside corner.
        thin: a face that reaches under the other piece this many times as far as the edge is thick makes a lap.
        flare: shorter contacts of a round along a flat are told, not counted.
        slot: a flat that ends beside a round before it has turned away must leave this much for the wire; else its end
            is an edge with a gap, and no flare.
        flare_parallel: degrees that an axis may be off a plane or another axis and still lie along it.
        round_fit: how far the points of a free-form face may lie off a plane or cylinder that it is read as.
        bend: a path that turns by more goes round a corner: another weld begins.
        join: ends of lines nearer than this are one place.
        same: lines nearer than this, and looking the same way, are one.
        reach: how far back from the root the way of a torch must be clear.
        nozzle: diameter of the nozzle that must fit.
        nozzle_back: how far back from the root it ends.
        hand: diameter of the handle with the hand on it: a longer bore that is narrower is closed.
        hand_back: how far back from the root that begins.
        slim: diameter of the slimmest nozzle or cup (a number 5 cup with its wall), which may come down a groove that
            is open along the weld; common practice, no source.
        slim_back: how far back from the root that one may end.
        side: a line's middle must be this far off the joint's middle to be told as in front, left or on top: half of
            the thinnest plate, and more than the 0.1 mm by which a model is out.
        doubled: a listed weld that runs no further from a found one is the same weld; both sides of a thinner plate are
            told apart by which is nearer.
        leg_step: sizes of welds are whole numbers of this; common practice, no source.
        least_leg: a smaller leg is not laid by hand; common practice, no source.
        most_leg: a larger leg is not taken by default: thick walls are prepared, or the drawing gives a size; common
            practice, no source.
        overlap: mean thickness of a common solid from which on it is told as a model error.
        aim: radius of the ball that fits where the arc is aimed in a flare or a tight opening: half the core of a 4 mm
            electrode, or of a bead 4 mm wide; common practice, no source.
        aim_share: at a large round no less than this share of its radius. A flush flare-bevel groove has an effective
            throat of 5/16 R with stick (5/8 R with gas metal arc): AWS D1.1, from memory. So no bead reaches nearer to
            the root than 11/16 R, where the groove of a round on a flat holds a ball of (11/16)^2 / 4 R.
        aim_flush: a round's radius is at least so many times the ball's: then the aim of a round on a flat, 2 sqrt(R c)
            out, lies no farther out than R, where the groove is flush.
    """

    aim: float = 2.0
    aim_share: float = (11.0 / 16.0) ** 2 / 4.0
    aim_flush: float = 4.0
    gap: float = 1.0
    most_gap: float = 5.0
    near: float = 1.0
    flush: float = 0.3
    step: float = 4.0
    look: float = 0.7
    look_gap: float = 1.3
    least: float = 20.0
    crack: float = 10.0
    tight: float = 40.0
    fillet: float = 155.0
    butt: float = 205.0
    thin: float = 2.5
    flare: float = 5.0
    slot: float = 3.0
    flare_parallel: float = 0.5
    round_fit: float = 0.02
    bend: float = 30.0
    join: float = 0.3
    same: float = 0.5
    reach: float = 300.0
    nozzle: float = 16.0
    nozzle_back: float = 18.0
    hand: float = 45.0
    hand_back: float = 100.0
    slim: float = 10.0
    slim_back: float = 25.0
    side: float = 0.4
    doubled: float = 2.0
    leg_step: float = 0.5
    least_leg: float = 1.5
    most_leg: float = 8.0
    overlap: float = 0.05


@dataclass(frozen=True, kw_only=True)
class Tacking:
    """Where tacks go and what counts as alike when an order of welding is proposed; mm. All common practice, no source.

    Attributes:
        length: of a tack at least: half an inch.
        most_length: of a tack at most: an inch.
        least: a shorter one holds nothing; two of it are better than one tack where a joint has one short weld only.
        per_leg: a tack is this many legs of its weld long.
        spacing: from tack to tack at most.
        spacing_per_leg: thin work, with its small legs, is tacked closer: this many legs.
        back: a tack keeps this far from a corner or an end, where the bead starts and turns.
        back_share: on a short weld it keeps this share of the weld's length.
        two_from: a shorter weld gets one tack in its middle, unless it is the only one of its joint.
        apart: clear length between two tacks.
        round: tacks round a closed line at least.
        step: places along a weld are tried so far apart.
        alike: distances that differ by less are alike, and names decide.
        steep: degrees; a weld that rises by more is run upwards, whatever end is free.
    """

    length: float = 12.7
    most_length: float = 25.4
    least: float = 8.0
    per_leg: float = 3.0
    spacing: float = 150.0
    spacing_per_leg: float = 50.0
    back: float = 10.0
    back_share: float = 0.125
    two_from: float = 60.0
    apart: float = 5.0
    round: int = 3
    step: float = 1.0
    alike: float = 1.0
    steep: float = 45.0


@dataclass(frozen=True, kw_only=True)
class Holding:
    """What keeps a piece in its place, and what is asked of it; N and mm unless said.

    Attributes:
        rank: singular values of the contact normals below this share of the largest count as zero: 0.1 degree, to
            which models are true, is 0.0017 rad.
        spread: contact forces may differ by this ratio at most for a piece to be called closed in. Beyond it
            closure rests on arms of a hundredth of the part's size, which play takes away.
        slack: share of the piece's weight by which forces may be out of balance: normals are out by 0.1 degree.
        slant: share of the clamps' forces that may act sideways when it is asked whether a piece rests without
            friction: normals and clamps are out by 0.1 degree, some of them together.
        friction: coefficient for steel on steel with mill scale, oil and spatter, common practice 0.15 to 0.20, no
            source (clean dry steel has 0.74 in tables and is not to be counted on); the lower end.
        edges: of the pyramid that stands for a friction cone from inside: with 8 it gives away 8 %.
        nudge: force of a hand or cable on the work at the weld, common practice, no source.
        twist: N mm; the same at an arm of 100 mm.
        safety: factor on both, common practice, no source.
        clamp: what a clamp of unstated force is taken to give: a medium toggle, common practice, no source.
        most_clamp: no clamp on a welding table gives more: a heavy C-clamp, common practice, no source.
        dent: that a flat of `dent_wall` stands under a bare tip: 1 to 2 kN, common practice, no source; the lower end.
        dent_wall: mm; other walls by the square of their thickness, as bending of a plate goes.
        opposed: cosine; a support takes the push of a clamp when its normal looks against it this well (45 degrees).
        passed: share of a clamp's force that counts as pressing the next piece through one that it presses.
    """

    rank: float = 2e-3
    spread: float = 200.0
    slack: float = 0.01
    slant: float = 0.005
    friction: float = 0.15
    edges: int = 8
    nudge: float = 100.0
    twist: float = 10_000.0
    safety: float = 2.0
    clamp: float = 1000.0
    most_clamp: float = 25_000.0
    dent: float = 1000.0
    dent_wall: float = 2.0
    opposed: float = 0.7
    passed: float = 0.05


@dataclass(frozen=True, kw_only=True)
class Accuracy:
    """What the shop's own work varies by, where the scene does not say; mm and degrees. Common practice, no source.

    Attributes:
        saw: length of a cut by a cold saw, plus or minus.
        band_saw: by a band or abrasive saw.
        laser: by a tube laser.
        mitre: angle of a mitre cut, plus or minus.
        square: of a square cut, whose stop of the saw is not swung: 0.2 mm over a tube of 40.
        plate: size of a cut plate either way in its plane, plus or minus: plasma; a laser holds less.
        plate_share: its thickness, plus or minus, as a share: rolled plate is stocked within a sixteenth or so.
        block: a face of a block from its dowels, plus or minus: milled and bored in ordinary shop work.
        notch: a tooth from another, plus or minus: both halves are cut with one cutter.
        slide: a stop without teeth that is set with a caliper, plus or minus.
        shim: of one shim, plus or minus, with what dirt and a burr add.
        gauged: of a face whose block was measured, plus or minus: a caliper reads so truly, and so does the hand.
        measured: a block or piece that is set by tape and square, plus or minus.
        turned: degrees within which a block on one pin, or on none, is squared up by eye and square: 1 mm in 230.
        flatness: of a table whose scene does not say, in all: a welding table that is sold as flat.
        pitch: of holes whose scene does not say, plus or minus between neighbours.
        close: fit class of the closer pins that a seat may have once the second one is relieved.
        gain: another seat is told where it takes away this share of what a figure is likely off: less is not felt.
        even: a figure that is by so much within its limit is said to keep it: what is worked out here is not finer.
        samples: of a Monte Carlo run: the share beyond three sigma is then known to a tenth of itself or so.
        most_samples: of one; more take minutes and gigabytes and tell nothing.
        seed: of its random numbers: the same file gives the same figures.
        alike: points nearer than this are one corner when frames are looked for: half a usual tube.
        thin: corners of one piece nearer to each other than this are one, where outermost points are looked for.
        tape: of a class II tape, plus or minus, whatever the length; Directive 2014/32/EU, annex X (MI-008), chapter I,
            error a + b L: a.
        tape_per_m: the same, for every metre begun: b.
        read: to which a person reads a tape or rule, plus or minus.
        protractor: degrees to which an angle is measured, plus or minus.
        length_class: of ISO 13920 that figures are held against where the scene names none: the usual one of frames.
        form_class: likewise, of flatness.
    """

    saw: float = 0.5
    band_saw: float = 1.0
    laser: float = 0.3
    mitre: float = 0.5
    square: float = 0.25
    plate: float = 0.5
    plate_share: float = 0.06
    block: float = 0.05
    notch: float = 0.05
    slide: float = 0.2
    shim: float = 0.02
    gauged: float = 0.02
    measured: float = 1.0
    turned: float = 0.25
    flatness: float = 0.5
    pitch: float = 0.1
    close: str = "h6"
    gain: float = 0.05
    even: float = 1e-6
    samples: int = 20_000
    most_samples: int = 1_000_000
    seed: int = 1
    alike: float = 1.0
    thin: float = 2.0
    tape: float = 0.3
    tape_per_m: float = 0.2
    read: float = 0.5
    protractor: float = 0.1
    length_class: str = "B"
    form_class: str = "F"


@dataclass(frozen=True, kw_only=True)
class Leaving:
    """What stops a straight move out of the setup; mm and degrees.

    Attributes:
        hook: a region that stops the work must hold a circle of this radius, so hooks narrower than twice this are
            not seen. Meshes of round faces that fit each other cross by 0.04, blocks stand 0.1 out of place, and
            nobody feels less at the table; 0.5 of undercut holds a circle of 0.25.
        undercut: a hook of this much always stops the work, whatever stands 0.1 out of place.
        sunk: faces that reach into each other by no more than this, square to themselves, only touch: 0.1 mm and
            0.1 degree out of place over a long stop come to that. What reaches in further is interference.
        near: faces of blocks within this distance of the work say which ways out are tried.
        same: degrees; directions closer than this are one.
        normals: face directions from which ways out are made, the largest faces first.
        clamp_orders: orders of opening clamps that are tried where an open clamp stands in a piece's way.
        block_sets: sets of blocks that are looked at for the fewest that must be taken off before the work comes out.
        by_hand: kg; work that is heavier is not lifted out by one alone: common practice, no source.
    """

    hook: float = 0.2
    undercut: float = 0.5
    sunk: float = 0.4
    near: float = 5.0
    same: float = 0.05
    normals: int = 8
    clamp_orders: int = 200
    block_sets: int = 2000
    by_hand: float = 25.0


@dataclass(frozen=True, kw_only=True)
class Locating:
    """What counts as touching when a piece is located, and when it counts as located; mm and degrees.

    Attributes:
        contact: faces within this touch. Blocks that stand 0.1 mm and 0.1 degree out of place leave gaps of 0.2 mm at
            the far side of a face, and the verdict must not hang on that.
        angle: faces that lean by no more than this lie flat on one another; likewise.
        clean_contact: the same for a setup whose solids are drawn true.
        clean_angle: likewise.
        least: a patch or line narrower than this is a graze, not a seat.
        hull: corners of a patch that stand out by less are left out.
        rank: a motion that opens contacts by less than this share of itself is free, however true the solids are; at
            other times the angle, in radians, decides.
        grip: share of a contact's force that may act sideways when it is asked whether the piece rests: what normals
            are out by, and far less than friction. By the same share of the piece's least half width the middle of
            mass may lie off: a bar that lies on a round or a line.
        squeeze: times its weight; forces up to this, all told, may act sideways by `grip`. Faces that squeeze a piece
            press as hard as one likes, and would let it hang between them. A wedge of 5 degrees on each side, out of
            place by 0.1 degree, needs 2.
        opposed: degrees; faces that look at each other this squarely are opposed.
        supports: degrees; faces that push against gravity within this are supports.
        stops: degrees; faces that push level within this are stops, others are flanks of a V.
        magnify: an error of one locator is felt at the far end of the piece this many times: beyond it the locators
            stand too near each other; common practice, no source.
        magnify_alone: the same for one block alone, whose face is machined flat, so that only its seat errs; common
            practice, no source.
        tall: share of its length that a piece may be wide and still have a length.
        play: a motion that other bodies stop within this is play, not a free motion: saddles and ends are fitted with
            root gaps that are no contact.
        stopped: a piece that was moved by ``play`` and reaches this far into another body is stopped by it.
        shim: the thickest shim that is proposed on a stop; beyond it another block is right; common practice,
            no source.
        least_shim: the thinnest: what is less is within what the seat itself errs by.
        over: a stop that is proposed reaches so much higher than the middle of the face, to meet more than a line.
    """

    contact: float = 0.3
    angle: float = 0.5
    clean_contact: float = 0.05
    clean_angle: float = 0.1
    least: float = 0.5
    hull: float = 0.2
    rank: float = 1e-3
    grip: float = 0.01
    squeeze: float = 3.0
    opposed: float = 2.0
    supports: float = 60.0
    stops: float = 20.0
    magnify: float = 3.0
    magnify_alone: float = 6.0
    tall: float = 0.8
    play: float = 2.0
    stopped: float = 0.4
    shim: float = 5.0
    least_shim: float = 0.1
    over: float = 5.0


@dataclass(frozen=True, kw_only=True)
class Shrinking:
    """When shrunk work counts as gripped, and how much a stop backs off; mm and degrees.

    Attributes:
        grip: work that still reaches this far into its stops, in the best place it can take, sits fast; what is
            less is touching (`Shop.contact`).
        opposed: normals of two contacts that are within this of opposite face each other.
        room: room at the moving end, as a multiple of the greatest estimate; common practice, no source.
        shift: the work is not taken to move further on its stops than this as it shrinks.
        turn: nor to turn further.
        felt: closing by less than this between two stops is not told: dowels in their holes and the work itself give
            as much, and no rule of a handbook is that fine; common practice, no source.
        reach: stops that stand this far clear of a face of the work may be reached when it shrinks.
        one_way: a weld whose parts draw to different sides, so that less than this share of it is left, draws nothing.
        matters: class of ISO 13920 beyond which work that comes out short is told.
    """

    grip: float = 0.02
    opposed: float = 5.0
    room: float = 2.0
    shift: float = 50.0
    turn: float = 3.0
    felt: float = 0.1
    reach: float = 3.0
    one_way: float = 0.3
    matters: str = "B"


@dataclass(frozen=True, kw_only=True)
class Setting:
    """How a stop is set to a distance; mm.

    Attributes:
        good: a setting that is out by no more is told: the width of a scribed line, common practice, no source.
        good_inch: the same where lengths are in inches: 1/64 in.
        exact: below this an error is none: inches are written to a ten-thousandth (0.00254 mm), diagonals are rounded.
        shims: that are laid before one face: three to five at most, or the pack is springy; common practice, no source.
        thickest: a plate that is no thicker is taken for a shim, which may stand before a face; a thicker one only
            carries a block. 1/4 in, common practice, no source.
        thinnest: shim stock that can be had, common practice, no source.
        usual: thicknesses of slotted shims as they are sold, common practice, no source.
        usual_inch: the same in thousandths of an inch, 62 for 1/16 in.
    """

    good: float = 0.5
    good_inch: float = 25.4 / 64.0
    exact: float = 0.001
    shims: int = 5
    thickest: float = 6.5
    thinnest: float = 0.02
    usual: tuple[float, ...] = (0.05, 0.1, 0.2, 0.25, 0.5, 0.7, 1.0, 2.0, 3.0)
    usual_inch: tuple[float, ...] = (1.0, 2.0, 3.0, 4.0, 5.0, 10.0, 15.0, 20.0, 25.0, 31.25, 62.5, 125.0)


@dataclass(frozen=True, kw_only=True)
class Making:
    """How blocks become files to make them from; mm and degrees.

    Attributes:
        overhang: a face that looks down more steeply than this from the upright needs support in a print: 45 degrees,
            common practice, no source.
        on_bed: what lies this low lies on the bed: a mesh of a round foot stays off it by a chord.
        sides: flat sides that a part is tried on, largest first; more make no better bed.
        bed: of the largest flat side's area, that a side must have to be lain on: a broken edge is no bed.
        apart: between parts of one print file, common practice, no source.
        gap: between flat parts on a sheet and to its edge, and no less than the part is thick: what a plasma or laser
            cut leaves standing without warping, common practice, no source.
        grain: coordinates in a 3MF file are rounded to this.
        most_kerf: no flame, plasma or laser cut is wider.
        flat: area times thickness of a flat-cut part agree with its volume within this share.
    """

    overhang: float = 45.0
    on_bed: float = 0.05
    sides: int = 24
    bed: float = 0.2
    apart: float = 5.0
    gap: float = 5.0
    grain: float = 1e-6
    most_kerf: float = 10.0
    flat: float = 1e-6


@dataclass(frozen=True, kw_only=True)
class Printing:
    """How blocks become prints of molten plastic; mm. Public print guides give these ranges and mix diameter and side.

    Attributes:
        hole: what a hole is drawn wider, on diameter: printed holes come out 0.1 to 0.3 small (public guides).
        pin: what a pin is drawn thinner, on diameter: none, guides speak of holes only.
        foot: how far the first layer's edge is drawn in: 0.3 to 0.5, common practice, no source.
        layer: height of a step of that edge, common practice, no source.
        lost: by what share the volume that faces lose when they are moved may differ from area times move; corners
            between two of them lose a little more, a face that did not move much less.
        chord: how far the mesh of a print is off a true round; a bore comes out by up to twice that too small.
        wall: thinnest wall that is good for a block: 1.2 to 1.6 in public guides.
        bridge: widest gap that is bridged clean: 10 to 30 in public guides, so the shorter.
        slices: planes a direction in which walls are looked for.
        key: side of a square key that joins two pieces, largest first; common practice, no source.
        key_wall: left round a key, common practice, no source.
        key_play: of a key in its socket, on the whole width: a slip fit, 0.2 to 0.3 in public guides.
        cut_step: mm, how far apart the places are that are tried for a cut.
        beside: mm to either side with whose sections one is compared, half of a usual bore and more.
        hollow: part of a section; one that is smaller by half as much goes through a hole.
        bed: the usual bed and height, common practice, no source.
        pieces: most that one block is split into; more are no trial.
        most_clearance: no print is off by more.
        off: what a usual print is off by, public guides: limits narrower than the greater of the two are beyond it.
    """

    hole: float = 0.2
    pin: float = 0.0
    foot: float = 0.4
    layer: float = 0.2
    lost: float = 0.08
    chord: float = 0.004
    wall: float = 1.2
    bridge: float = 10.0
    slices: int = 24
    key: tuple[float, ...] = (12.0, 8.0, 5.0)
    key_wall: float = 2.4
    key_play: float = 0.25
    cut_step: float = 4.0
    beside: float = 16.0
    hollow: float = 0.02
    bed: tuple[float, float, float] = (220.0, 220.0, 250.0)
    pieces: int = 24
    most_clearance: float = 2.0
    off: tuple[float, float] = (0.1, 0.2)


SHOP = Shop()
NUMERIC = Numeric()
FILES = Files()
JOINTS = Joints()
TACKING = Tacking()


@dataclass(frozen=True, kw_only=True)
class Swapping:
    """How far the fewest moves from one setup to the next are looked for.

    Attributes:
        rounds: pairings of old and new places that are tried, the best first. A mirrored demo takes some 10, random
            setups of 60 blocks that cover more than half of the table took up to 70.
        effort: pairs and rules of all these pairings together; without it 65 blocks that all go aside by a hole
            would take minutes.
        shorter: pairings of as few moves that are tried for the one in which least is carried.
        nodes: of the search tree for each of these.
        orders: orders in which the rack is emptied that are tried for one pairing, where a kind runs out on it.
        same: mm and degrees; two settings of a block that differ by less are one.
    """

    rounds: int = 300
    effort: int = 300_000
    shorter: int = 12
    nodes: int = 100
    orders: int = 400
    same: float = 0.01


LEAVING = Leaving()
SHRINKING = Shrinking()
LOCATING = Locating()
HOLDING = Holding()
ACCURACY = Accuracy()
SETTING = Setting()
SWAPPING = Swapping()
MAKING = Making()
PRINTING = Printing()


@dataclass(frozen=True, kw_only=True)
class Drawing:
    """What a workshop drawing says where the model does not. Common practice, no source, unless said.

    Attributes:
        edge_most: mm; a flat of 45 degrees with legs up to this is a broken edge and told in one note.
        bore_place: mm each way; where the bores of one row may be, so that two dowels drop into two holes.
        stop_place: mm each way; where a face that locates the work may be from the first bore.
        general_in: in each way; the general tolerance of an inch drawing: three decimals on most title blocks.
        general_angle: degrees each way; with it.
        bore_finish: Ra of fitted bores and pins, micrometres and microinches: preferred values of ISO 1302 and ASME
            B46.1, from memory.
        finish: Ra of all other machined faces, likewise.
        gauge_finish: Ra of faces of a gauge that have limits, likewise: rougher ones wear out of limits this narrow.
        thin: mm; a plate up to this is drawn from above alone, and its thickness is told.
        blind_deep: mm and in; by how much a blind bore may be deeper: less than the steel that is left there.
        blind_corner: mm and in; what the lead of a reamer leaves at the bottom.
        skin: mm; steel past a drill's point, of 118 degrees, for it to have room.
        work_pin: class of a pin for a hole of the work: its size is the greatest it has. Of ISO 286 in inches too,
            as the shafts of LC2 in ANSI B4.1 are, which is tabled here for few sizes.
        runout: mm in all; of ground diameters to each other: they are ground in one setting or between centres.
        undercut: length and depth, mm and in, where a ground diameter meets a shoulder: DIN 509 E, from memory.
    """

    edge_most: float = 3.0
    bore_place: float = 0.02
    stop_place: float = 0.05
    general_in: float = 0.01
    general_angle: float = 0.5
    bore_finish: tuple[float, int] = (1.6, 63)
    finish: tuple[float, int] = (3.2, 125)
    gauge_finish: tuple[float, int] = (0.4, 16)
    thin: float = 6.0
    blind_deep: tuple[float, float] = (0.5, 0.02)
    blind_corner: tuple[float, float] = (1.0, 0.04)
    skin: float = 2.0
    work_pin: str = "h6"
    runout: float = 0.02
    undercut: tuple[tuple[float, float], tuple[float, float]] = ((2.0, 0.08), (0.3, 0.012))


DRAWING = Drawing()
