import assert from "node:assert/strict";
import { test } from "node:test";
import { along, crosses, middle } from "../src/weldlines.js";

const bent = [[0, 0, 0], [30, 0, 0], [30, 40, 0]];

test("points along a line go round its corner, both ends included", () => {
  assert.deepEqual(along(bent, 10), [[0, 0, 0], [10, 0, 0], [20, 0, 0], [30, 0, 0], [30, 10, 0], [30, 20, 0], [30, 30, 0], [30, 40, 0]]);
  assert.deepEqual(along([[0, 0, 0], [1, 0, 0]], 10), [[0, 0, 0], [1, 0, 0]]);
});

test("half way is half of the length", () => assert.deepEqual(middle({ path: bent }).map((v) => Math.round(v)), [30, 5, 0]));

test("a cross has three strokes through one point", () => {
  const [a, b, c, d, e, f] = crosses([[0, 0, 0], [9, 0, 0]]);
  for (const [p, q] of [[a, b], [c, d], [e, f]]) assert.deepEqual(p.map((v, k) => (v + q[k]) / 2), [0, 0, 0]);
  assert.equal(crosses([[0, 0, 0], [9, 0, 0]]).length, 12);
});
