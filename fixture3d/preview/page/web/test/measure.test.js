/**
 * Measured distances against closed forms of elementary geometry. The meshes are coarse on purpose (24 sides: a chord
 * of a rod of 20 lies 0.17 mm inside): what is asked for is the true surface within 0.02 mm.
 */
import assert from "node:assert/strict";
import { test } from "node:test";
import { faceOf } from "../src/measure/face.js";
import { measure } from "../src/measure/measure.js";
import { HERE, ball, bend, funnel, placed, rod, shapeOf, sheet } from "./shapes.js";

const CLOSE = 0.02;
const face = (faces, index = 0, matrix = HERE) => ({ face: faceOf(shapeOf(faces), index, matrix) });
const hole = (x, y, name = "A1") => ({ hole: { centre: [x, y, 0], axis: [0, 0, 1], name } });
const near = (got, want, what) => assert.ok(Math.abs(got - want) <= CLOSE, `${what}: ${got}, expected ${want}`);
/** Both ways round, as a person may tap either first. */
const both = (a, b, want, what) => {
  near(measure(a, b).distance, want, what);
  near(measure(b, a).distance, want, `${what}, the other way`);
};

test("two parallel planes one over the other", () => {
  const m = measure(face([sheet(100, 60)]), face([sheet(40, 40)], 0, placed([1, 0, 0], 180, [10, 5, 25])));
  assert.equal(m.distance, 25);
  assert.equal(m.square.mm, 25);
  near(m.angle, 0, "angle");
});

test("two parallel planes beside one another: nearest corner and square distance differ", () => {
  const m = measure(face([sheet(100, 100)]), face([sheet(100, 100)], 0, placed([0, 0, 1], 0, [130, 140, 12])));
  near(m.distance, Math.hypot(30, 40, 12), "corner to corner");
  near(m.square.mm, 12, "square");
});

test("tilted planes meet at an edge and give their angle", () => {
  const m = measure(face([sheet(100, 100)]), face([sheet(50, 50)], 0, placed([0, 1, 0], 30, [0, 0, 40])));
  near(m.distance, 40 - 25 * Math.sin(Math.PI / 6), "lowest edge");
  near(m.angle, 30, "angle");
  assert.equal(m.square, null);
});

test("planes that cut one another are 0 apart", () => {
  assert.equal(measure(face([sheet(100, 100)]), face([sheet(50, 50)], 0, placed([1, 0, 0], 90, [0, 0, 5]))).distance, 0);
});

test("rod lying over a plane, at any turn of its facets", () => {
  for (const turn of [0, 3, 7.5, 11]) {
    const lying = face(rod(16.85, 300), 0, turned(turn, [0, 0, 60]));
    both(face([sheet(500, 500)]), lying, 60 - 16.85, `rod turned ${turn}`);
    near(measure(face([sheet(500, 500)]), lying).centres.mm, 60, "centre line to the face");
  }
});

/** A rod along +Y, its facets turned about its own axis. */
function turned(turn, shift) {
  const [a, b] = [placed([1, 0, 0], -90, shift), placed([0, 0, 1], turn, [0, 0, 0])];
  const out = [];
  for (let c = 0; c < 4; c++)
    for (let r = 0; r < 4; r++) out.push([0, 1, 2, 3].reduce((s, k) => s + a[4 * k + r] * b[4 * c + k], 0));
  return out;
}

test("rod leaning by half a degree touches nearest at its end circle", () => {
  const lean = (0.5 * Math.PI) / 180;
  const leaning = face(rod(20, 400), 0, placed([1, 0, 0], -90.5, [0, 0, 60])); // its far end dips
  both(face([sheet(900, 900)]), leaning, 60 - 400 * Math.sin(lean) - 20 * Math.cos(lean), "leaning rod");
});

test("crossing rods: common perpendicular less both radii", () => {
  for (const angle of [1, 5, 30, 90]) {
    const low = face(rod(20, 400), 0, placed([1, 0, 0], -90, [0, -200, 0]));
    const half = (angle * Math.PI) / 180;
    const up = face(rod(12, 400), 0, multiply(placed([0, 0, 1], angle, [200 * Math.sin(half), -200 * Math.cos(half), 50]), placed([1, 0, 0], -90, [0, 0, 0])));
    both(low, up, 50 - 32, `crossing at ${angle}`);
    near(measure(low, up).centres.mm, 50, "centre lines");
    near(measure(low, up).angle, angle, "angle");
  }
});

function multiply(a, b) {
  const out = [];
  for (let c = 0; c < 4; c++)
    for (let r = 0; r < 4; r++) out.push([0, 1, 2, 3].reduce((s, k) => s + a[4 * k + r] * b[4 * c + k], 0));
  return out;
}

test("parallel rods side by side", () => {
  for (const turn of [0, 4, 9]) {
    const a = face(rod(25, 200));
    const b = face(rod(10, 120), 0, placed([0, 0, 1], turn, [60 * Math.cos(0.1), 60 * Math.sin(0.1), 40]));
    both(a, b, 25, "side by side");
    near(measure(a, b).centres.mm, 60, "centre lines");
  }
});

test("parallel rods end to end, off to one side", () => {
  const a = face(rod(25, 100));
  const b = face(rod(10, 100), 0, placed([0, 0, 1], 5, [60, 0, 180]));
  both(a, b, Math.hypot(25, 80), "end to end");
});

test("pin inside a bore: clearance on one side, even where the chords cross", () => {
  for (const [pin, off] of [[7.9, 0], [7.9, 0.06], [5, 1.5]]) {
    const bore = face(rod(8, 60, 24, 1));
    const inner = face(rod(pin, 40, 18), 0, placed([0, 0, 1], 2, [off, 0, 10]));
    both(bore, inner, 8 - pin - off, `pin ${pin} off by ${off}`);
    near(measure(bore, inner).centres.mm, off, "centre lines");
  }
});

test("ball over a plane, beside a rod, beside a ball", () => {
  const b = face(ball(15), 0, placed([1, 2, 3], 37, [10, 20, 50]));
  both(b, face([sheet(200, 200)]), 35, "plane");
  both(b, face(rod(20, 200), 0, placed([0, 0, 1], 3, [80, 20, -50])), 70 - 35, "rod");
  const other = face(ball(8), 0, placed([3, 2, 1], 71, [40, 60, 50]));
  both(b, other, 50 - 23, "ball");
  near(measure(b, other).centres.mm, 50, "centres");
});

test("round end of a rod to a plane beside it: the true circle, not its chord", () => {
  for (const turn of [0, 7.5]) {
    const end = face(rod(20, 80), 2, placed([0, 0, 1], turn, [0, 0, 0]));
    both(end, face([sheet(300, 300)], 0, placed([0, 1, 0], 90, [50, 0, 80])), 30, `end turned ${turn}`);
  }
});

test("cone beside a plane and over a plane", () => {
  const cone = face(funnel(30, 40), 0, placed([0, 0, 1], 5, [0, 0, 10]));
  both(cone, face([sheet(300, 300)]), 10, "apex down");
  const rim = 40 * Math.tan(Math.PI / 6);
  both(cone, face([sheet(300, 300)], 0, placed([0, 1, 0], 90, [60, 0, 0])), 60 - rim, "rim to a wall");
  const slope = face([sheet(300, 300)], 0, placed([0, 1, 0], 120, [40, 0, 0])); // parallel to the slant
  both(cone, slope, 40 * Math.cos(Math.PI / 6) + 10 * Math.sin(Math.PI / 6), "slant");
});

test("bend of a tube: over a plane, to a ball on either side of it, past its end", () => {
  const tube = face(bend(100, 20), 0, placed([0, 0, 1], 10, [0, 0, 50]));
  both(tube, face([sheet(500, 500)]), 30, "plane");
  const on = (turn, reach) => [reach * Math.cos(((turn + 10) * Math.PI) / 180), reach * Math.sin(((turn + 10) * Math.PI) / 180), 50];
  const bead = (at) => face(ball(5), 0, placed([1, 2, 3], 37, at));
  both(tube, bead(on(41, 160)), 160 - 100 - 20 - 5, "outside the bend");
  both(tube, bead(on(41, 40)), 100 - 20 - 40 - 5, "inside the bend");
  const past = (30 * Math.PI) / 180; // 30 degrees past the end, on the centre line: nearest is the inner edge of the end
  both(tube, bead(on(-30, 100)), Math.hypot(100 * Math.cos(past) - 80, 100 * Math.sin(past)) - 5, "past the end");
});

test("hole to hole is from centre to centre", () => {
  const m = measure(hole(0, 0), hole(150, 200, "E4"));
  assert.equal(m.distance, 250);
  assert.deepEqual(m.delta, [150, 200, 0]);
});

test("hole to a wall, and to the top of a block", () => {
  const wall = face([sheet(40, 40)], 0, placed([0, 1, 0], 90, [70, 10, 60]));
  const m = measure(hole(0, 10), wall);
  near(m.square.mm, 70, "square to the face");
  near(m.distance, Math.hypot(70, 40), "nearest point");
  const top = face([sheet(40, 40)], 0, placed([0, 0, 1], 0, [0, 10, 50]));
  near(measure(hole(0, 10), top).square.mm, 50, "height");
});

test("hole to an upright rod gives the centre lines too", () => {
  const m = measure(hole(0, 0), face(rod(8, 30), 0, placed([0, 0, 1], 0, [30, 40, 10])));
  near(m.centres.mm, 50, "centre lines");
  near(m.distance, Math.hypot(42, 10), "nearest point");
});
