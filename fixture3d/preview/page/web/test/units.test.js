/** The same words as fixture3d/units.py: its doctests, and roundings worked by hand. */
import assert from "node:assert/strict";
import { test } from "node:test";
import { show, showAngle } from "../src/units.js";

test("millimetres", () => {
  const want = { 12.7: "12.7 mm", 0: "0 mm", 100: "100 mm", 0.004: "0 mm", "-0.001": "0 mm", 0.125: "0.12 mm", 0.375: "0.38 mm", 1.115: "1.11 mm", "-3.5": "-3.5 mm" };
  for (const [mm, text] of Object.entries(want)) assert.equal(show(Number(mm), "mm"), text);
});

test("inches", () => {
  const want = { 12.7: "1/2 in", 38.1: "1-1/2 in", 38.5763: "1-33/64 in plus 0.003 in", 25.4: "1 in", 0: "0 in", "-12.7": "-1/2 in", 0.1: "0.004 in", "-0.1": "-0.004 in" };
  for (const [mm, text] of Object.entries(want)) assert.equal(show(Number(mm), "in"), text);
});

test("angles", () => {
  assert.equal(showAngle(90), "90°");
  assert.equal(showAngle(22.456), "22.46°");
});
