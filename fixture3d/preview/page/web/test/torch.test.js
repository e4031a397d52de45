/** Where the torch stands, which positions are free, and the order of a run: small cases worked by hand. */
import assert from "node:assert/strict";
import { test } from "node:test";
import { freeOf, inWorld, pose } from "../src/torch.js";
import { bits } from "../src/unpack.js";
import { runOf } from "../src/welds.js";

const close = (got, want) => got.forEach((v, k) => assert.ok(Math.abs(v - want[k]) < 1e-12, `${got} is not ${want}`));

// t along X, b along Z, n along -Y, as columns of a row-major matrix.
const FRAME = [1, 0, 0, 0, 0, -1, 0, 1, 0];
const weld = {
  points: [[10, 20, 30]],
  frames: [FRAME],
  directions: [[0, 0, 0, 0, 1, 1, 0, 0], [45, 0, 0, 1, 0, 1, 0, 0]],
  rolls: [0, 90, 180],
};

test("bits: the first is the lowest of the first byte", () => {
  const read = bits(Buffer.from([0b00000101, 0b10000000]).toString("base64"));
  assert.deepEqual([...Array(16).keys()].filter(read), [0, 2, 15]);
});

test("bits: none at all is all blocked", () => assert.equal(bits("")(3), false));

test("columns of a frame are t, b and n", () => {
  close(inWorld(FRAME, [1, 0, 0]), [1, 0, 0]);
  close(inWorld(FRAME, [0, 1, 0]), [0, 0, 1]);
  close(inWorld(FRAME, [0, 0, 1]), [0, -1, 0]);
});

test("a quarter turn of the handle about the axis is right-handed", () => {
  close(pose(weld, 0, 0, 0).axis, [0, -1, 0]);
  close(pose(weld, 0, 0, 0).x, [1, 0, 0]);
  close(pose(weld, 0, 0, 1).x, [0, 0, 1]); // (-Y) x X = Z
  close(pose(weld, 0, 1, 2).x, [-1, 0, 0]);
});

test("positions are point-major, then direction, then roll", () => {
  const two = { ...weld, points: [[0, 0, 0], [1, 0, 0]], free: Buffer.from([0b00000000, 0b00000010]).toString("base64") };
  const free = freeOf(two); // bit 9 = (point 1, direction 1, roll 0)
  const found = [];
  for (const p of [0, 1]) for (const d of [0, 1]) for (const r of [0, 1, 2]) if (free(p, d, r)) found.push([p, d, r]);
  assert.deepEqual(found, [[1, 1, 0]]);
});

test("a run begins after the gap, also round a closed joint", () => {
  const points = (steps) => runOf({ run_positions: steps }).map((s) => s.point);
  assert.deepEqual(points([null, [0, 0], [0, 1], null]), [1, 2]);
  assert.deepEqual(points([[0, 0], [0, 1], null, [1, 1]]), [3, 0, 1]);
  assert.deepEqual(points([[0, 0], [0, 0]]), [0, 1]);
  assert.deepEqual(points([null, null]), []);
});
