import assert from "node:assert/strict";
import { readFileSync } from "node:fs";
import { test } from "node:test";
import { endOf } from "../src/lies.js";
import { nearestOn } from "../src/welds.js";

test("a tap is measured to the nearest place of a line, its ends included", () => {
  const [a, b] = [{ x: 0, y: 0 }, { x: 30, y: 40 }];
  assert.deepEqual(nearestOn(a, b, 15, 20), { share: 0.5, away: 0 });
  assert.deepEqual(nearestOn(a, b, -3, -4), { share: 0, away: 5 });
  assert.deepEqual(nearestOn(a, b, 33, 44), { share: 1, away: 5 });
  assert.ok(Math.abs(nearestOn(a, b, 15 + 4, 20 - 3).away - 5) < 1e-12);
  assert.deepEqual(nearestOn(a, a, 3, 4), { share: 0, away: 5 });
});

test("a head follows the last stretch of its curve", () => {
  const arc = [...Array(31).keys()].map((k) => ({ x: 40 * Math.cos((k * Math.PI) / 60), y: 40 * Math.sin((k * Math.PI) / 60) }));
  const { tip, way } = endOf(arc);
  assert.deepEqual(tip, arc[30]);
  assert.ok(way.x < -0.95 && Math.abs(Math.hypot(way.x, way.y) - 1) < 1e-9);
  assert.deepEqual(endOf([{ x: 0, y: 0 }, { x: 100, y: 0 }]).way, { x: 1, y: 0 });
});

test("marks and arrows of the page have the colours of the picture", () => {
  const page = readFileSync(new URL("../src/lies.js", import.meta.url), "utf8");
  const picture = readFileSync(new URL("../../../located_drawn.py", import.meta.url), "utf8");
  for (const colour of ["#0b4f6c", "#5b2a86", "#a33c00"]) for (const text of [page, picture]) assert.ok(text.includes(colour), colour);
});
