/** Names and places of holes, worked by hand. */
import assert from "node:assert/strict";
import { test } from "node:test";
import { byName, holeAt, holesOf } from "../src/holes.js";

const plane = {
  name: "", origin: [0, 0, 0], x: [1, 0, 0], y: [0, -1, 0], normal: [0, 0, 1], pitch: [50, 40], bore: 16,
  columns: ["A", "B", "C"], rows: ["1", "2"], stagger: true, blocked: ["B2"], prefix: "",
};
const side = { ...plane, name: "front", origin: [0, -60, -30], y: [0, 0, 1], normal: undefined, stagger: false, blocked: [], prefix: "front:" };
const holes = holesOf([plane, side]);
const named = byName(holes);

test("as many as there are", () => assert.equal(holes.length, 6 + 2 + 6));

test("columns and rows count along the grid, also downwards", () => {
  assert.deepEqual(named.get("C2").centre, [100, -40, 0]);
  assert.deepEqual(named.get("A1+").centre, [25, -20, 0]);
});

test("a grid on another face has its prefix and looks its own way", () => {
  assert.deepEqual(named.get("FRONT:B2").centre, [50, -60, 10]);
  assert.deepEqual(named.get("FRONT:B2").axis.map((v) => v + 0), [0, -1, 0]);
  assert.deepEqual(named.get("B2").axis, [0, 0, 1]);
});

test("letters stand first also where the rows have them", () => {
  const turned = holesOf([{ ...plane, columns: ["1", "2", "3"], rows: ["A", "B"], stagger: false, blocked: [] }]);
  assert.deepEqual(byName(turned).get("B3").centre, [100, -40, 0]);
});

test("blocked holes are told", () => assert.deepEqual(holes.filter((h) => h.blocked).map((h) => h.name), ["B2"]));

test("the hole under a tap", () => {
  assert.equal(holeAt(holes, [53, -41, 0])?.name, "B2");
  assert.equal(holeAt(holes, [60, 0, 0]), null);
  assert.equal(holeAt(holes, [60, 0, 0], 3)?.name, "B1");
});
