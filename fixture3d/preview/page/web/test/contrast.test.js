/**
 * Contrast of the colours in page.css and over the picture. Source: W3C, Web Content Accessibility Guidelines 2.2, 1.4.3
 * (text 4.5 : 1) and 1.4.11 (edges of controls and parts of pictures 3 : 1), relative luminance as defined there.
 */
import assert from "node:assert/strict";
import { readFileSync } from "node:fs";
import { test } from "node:test";

const css = readFileSync(new URL("../page.css", import.meta.url), "utf8");
const colours = Object.fromEntries([...css.matchAll(/--([a-z]+): (#[0-9a-f]{6});/g)].map((m) => [m[1], m[2]]));

function luminance(hex) {
  const [r, g, b] = [1, 3, 5].map((k) => {
    const v = parseInt(hex.slice(k, k + 2), 16) / 255;
    return v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4;
  });
  return 0.2126 * r + 0.7152 * g + 0.0722 * b;
}

function contrast(a, b) {
  const [high, low] = [luminance(a), luminance(b)].sort((x, y) => y - x);
  return (high + 0.05) / (low + 0.05);
}

test("black on white is 21 : 1, as the guidelines say", () => assert.equal(contrast("#000000", "#ffffff"), 21));

test("text", () => {
  const grounds = ["paper", "ground", "shade"];
  const pairs = [
    ...grounds.map((g) => ["ink", g]), ...grounds.map((g) => ["soft", g]), ["mark", "paper"], ["fail", "paper"],
    ["white", "fail"], ["white", "warn"], ["white", "note"], ["white", "mark"],
  ];
  for (const [text, ground] of pairs) {
    const ratio = contrast(colours[text], colours[ground]);
    assert.ok(ratio >= 4.5, `${text} on ${ground}: ${ratio.toFixed(2)}`);
  }
});

test("edges of controls, focus rings, lines of welds and bars of verdicts", () => {
  const pairs = [["edge", "paper"], ["edge", "ground"], ["mark", "paper"], ["mark", "ground"], ["good", "paper"], ["warn", "paper"], ["fail", "paper"], ["ink", "paper"]];
  for (const [line, ground] of pairs) {
    const ratio = contrast(colours[line], colours[ground]);
    assert.ok(ratio >= 3, `${line} on ${ground}: ${ratio.toFixed(2)}`);
  }
});

test("lettering over the picture", async () => {
  const ink = await import("../src/ink.js");
  for (const colour of Object.values(ink.LEVELS)) assert.ok(contrast(colour, "#ffffff") >= 4.5, colour);
  assert.ok(contrast(ink.INK, ink.PAPER) >= 4.5);
  const source = readFileSync(new URL("../src/lettering.js", import.meta.url), "utf8");
  const fills = [...source.matchAll(/fill: "(#[0-9a-f]{6})", frame: "(#[0-9a-f]{6})"/g)];
  assert.ok(fills.length >= 3);
  for (const [, fill, frame] of fills) {
    assert.ok(contrast(ink.INK, fill) >= 4.5, fill);
    assert.ok(contrast(frame, fill) >= 3, frame);
  }
});
