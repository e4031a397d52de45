"""Scene files for the tests: setups of our own invention, with every key of the format in one or the other."""

SMALLEST = """\
format = 1
table = "50/16 2000x1000"
[[place]]
name = "S1"
model = "stop_block"
hole = "C4"
"""

KAYAK_RACK = """\
# A wall rack for three kayaks, one upright at a time.
format = 1
title = "Kayak rack upright"
units = "mm"

[table]  # the long one by the door
pitch = [50, 50]
bore = 16
columns = 40
rows = 30
edge = 50
thickness = 12
bore_limits = "H7"
pitch_tolerance = 0.1
flatness = 0.5
stagger = true
names = { x = "letters", y = "numbers", corner = "front left", skip = ["I", "O"] }
blocked = ["C5", "C6"]
no_nut = ["D1"]
slots = [{ name = "back slot", from = [200, 1475], to = [1200, 1475], width = 24 }]

[[grid]]
name = "side"
origin = [0, -50, -40]
x = [1, 0, 0]
y = [0, 0, 1]
columns = 38
rows = 2
blocked = ["B2"]

[torch.long-neck]
nozzle_diameter = 20
nozzle_length = 80
neck_angle = 60
neck_radius = 40
neck_diameter = 16
handle_diameter = 38
handle_length = 180
hand_diameter = 95

[technique.corner]
torch = "long-neck"
work_angle = [45, 15]
travel_angle = [10, 15]
stand_off = 15
direction = "either"
process = "MAG, 1.0 mm wire"

[technique."thin edge"]
torch = "mig-45"

[weldment]
hole = "E4"
offset = [10, -5]
lift = 25
turn = 90
tilt = 0
up = "z"
iso_13920 = "BF"
technique = "corner"

[[member]]
name = "left leg"
stock = "SHS 40x40x3"
from = [0, 0, 0]
to = [0, 1200, 0]
roll = 0
ends = ["square", { mitre_to = "top rail" }]

[[member]]
name = "top rail"
stock = "SHS 40x40x3"
from = [0, 1200, 0]
to = [500, 1200, 0]
ends = [{ mitre_to = "left leg" }, { mitre = -30, about = "z" }]

[[member]]
name = "hoop"
stock = "CHS 33.7x2.6"
path = [[0, 1200, 0], [0, 1200, 400], [500, 1200, 400]]
bend = 100

[[frame]]
name = "base"
stock = "SHS 40x40x3"
width = 600
height = 400
corners = "butt x"
at = [0, 0, 0]
normal = [0, 0, 1]
along = [1, 0, 0]

[[member]]
name = "stay"
stock = "CHS 33.7x2.6"
from = [0, 600, 0]
to = [0, 1200, 250]
ends = [
    { against = "left leg", notch = { side = "top left", length = 20, depth = 5, across = 5 } },
    { cope = "hoop", gap = 1, slot = { width = 6, depth = 60, about = "x", offset = 2 } },
]
holes = [{ at = 300, diameter = 9, side = "right", offset = 2, through = false }]

[[plate]]
name = "gusset 1"
outline = [
  [0, 0],  # the corner, "square"
  [80, 0], [0, 80],
]
thickness = 6
at = [20, 20, 0]
normal = [0, 0, 1]
along = [1, 0, 0]
holes = [{ at = [20, 20], diameter = 9 }]

[[plate]]
name = "gusset 2"
dxf = "gusset.dxf"
unit = "mm"
layer = "cut"
thickness = 6

[[weld]]
name = "foot, front"
type = "fillet"
size = 4
joins = ["left leg", "base front"]
path = [[0, 0, 0], [40, 0, 0]]

[[weld]]
name = "free one"
type = "lap"
size = 3
sides = [[0, 0, 1], [0, 1, 0]]
path = [[0, 0, 0], [40, 0, 0], [40, 10, 0]]
technique = "thin edge"
skip = true

[[place]]
name = "S1"
model = "slide_stop"
hole = "F4"
turn = 90
notch = 3
face = "bottom"
pins = []
bolt = true
shims = [{ pad = "front", by = ["0.5", "0.2"] }]
with = { length = 100, height = 50, side = "left", hollow = true, steps = [1, 2] }

[[place]]
name = "R2"
model = "riser"
on = "S1"
socket = "2"

[[place]]
name = "S3"
model = "stop_bar"
hole = "side:A1"
pin = 2
slide = 12.5

[[place]]
name = "S4"
model = "stop_block"
hole = "C4+"

[[place]]
name = "F1"
model = "riser"
free = [100, 200.5, 0, 30]

[[clamp]]
name = "K1"
model = "toggle_clamp"
hole = "H6"
presses = "left leg"
toward = "S1"
at = 300

[[clamp]]
name = "K2"
model = "toggle_clamp"
edge = "front"
along = 400

[[clamp]]
name = "K3"
model = "toggle_clamp"
magnet = true
stages = ["first side", "after tacking"]
presses = "base left"

[[stage]]
name = "first side"

[[stage]]
name = "after tacking"
welds = []
weldment = { up = "-z", hole = "C6", offset = [5, 0], lift = 75.5, turn = 90, tilt = 15 }
without = ["K2"]
pieces = ["left leg", "top rail", "base", "gusset 1"]

[[inventory]]
model = "stop_block"
with = { length = 100, height = 50 }
count = 8

[[inventory]]
model = "riser"
mark = "B7"
measured = { height = 50.03 }
count = 1

[[inventory]]
small = "dowel"
diameter = 16
count = 24

[[printing]]
material = "PETG"
clearance = 0.3
pin_clearance = 0.05
shrink = 0.45

[[figure]]
name = "overall X"
size = 640
limits = 2

[[figure]]
name = "leg and rail"
kind = "angle"
of = ["left leg", "top rail"]
degrees = 90
limits_degrees = [-0.2, 0.3]

[[figure]]
name = "height of the leg"
kind = "overall"
axis = "y"
of = ["left leg"]
limits = ["-0.5 mm", "1 mm"]

[[figure]]
name = "corner to corner"
kind = "diagonal"
of = ["left leg", "top rail"]
points = [[0, 0, 0], [500, 1200, 0]]

[[accept]]
rule = "overhang"
subjects = ["left leg"]
why = "steadied by hand"

[torch.head]
nozzle_diameter = 14.5
nozzle_length = 45
neck_angle = 70
neck_radius = 12
neck_diameter = 16
handle_diameter = 24
handle_length = 170
back_cap = 60
back_cap_diameter = 18

[torch.stick]
nozzle_diameter = 6
nozzle_length = 320
neck_angle = 90
neck_radius = 20
neck_diameter = 25
handle_diameter = 35
handle_length = 200
stub_length = 50

[technique.filled]
torch = "head"
work_angle = ["middle", 10]
stand_off = 9
filler_angle = [15, 60]

[[weld]]
name = "gusset, late"
type = "fillet"
size = 10
passes = 3
sides = [[0, 0, 1], [1, 0, 0]]
path = [[20, 20, 6], [20, 90, 6]]
skip = true
"""

GARDEN_GATE = """\
format = 1
units = "in"
title = "Garden gate"
shop = "shop.toml"

[table]
pitch = 2
bore = "3/4"
columns = 48
rows = 24
edge = [1, 1]
thickness = "3/4 in"
bore_limits = [0, "0.02 mm"]

[weldment]
hole = "D4"
lift = "1-1/2"
welds = "auto"
root_gap = 0.06

[[weld]]
name = "post / rail, all round"
part = [0.5, 2.25]

[[frame]]
name = "gate"
stock = "HSS 1-1/2x1-1/2x1/8"
width = "3 ft"
height = "4 ft 1/16 in"

[[place]]
name = "S1"
model = "slide_stop"
hole = "C4"
slide = 0.1
shims = [{ pad = 1, by = ["1/64"] }]
with = { height = "2 in", length = 3.3 }
"""

SAW_STAND = """\
format = 1
table = "100/28 2400x1200"

[weldment]
hole = "B2"
lift = 40
file = "saw stand.stl"
unit = "in"
mirrored = true

[[place]]
name = "V1"
model = "v_block"
hole = "C3"

[[clamp]]
name = "K1"
model = "toggle_clamp"
hole = "D4"
presses = "a solid of the file"
"""

PADDLE_SHELF = """\
format = 1
title = "Paddle shelf"  # of either size
table = "50/16 2000x1000"

[sizes]  # what differs
names = ["short", "long"]
reach = [290, 505]       # middle to end
stop = ["N9", "R9"]
notch = [10, 5]
lugs = [[[0, 0], [30, 0], [0, 30]], [[0, 0], [40, 0], [0, 40]]]
pins = [["1"], []]

[weldment]
hole = "E4"
lift = 70

[[member]]
name = "arm"
stock = "SHS 40x40x3"
from = [0, 0, 0]
to = [
    "=reach",  # its end
    "=(reach - 290) / 5", 0,
]

[[plate]]
name = "lug"
outline = "=lugs"
thickness = 6
at = ["=reach/2 - 1/2 in", 20, 0]

[[place]]
name = "T1"
model = "slide_stop"
hole = "=stop"
turn = 180
notch = "=notch"
pins = "=pins"
with = { height = "=reach / 10 + 46" }

# The long one sags between its ends.
[[place]]
name = "R1"
model = "riser"
hole = "J9"
sizes = ["long"]

[[place]]
name = "R2"
model = "riser"
hole = "K9"
"""

ALL = {
    "smallest": SMALLEST,
    "kayak rack": KAYAK_RACK,
    "garden gate": GARDEN_GATE,
    "saw stand": SAW_STAND,
    "paddle shelf": PADDLE_SHELF,
}
