/**
 * How the work lies, over the picture: where it is located, how pieces can still move, and how it comes off the table.
 * Shape tells the marks apart as well as colour: a triangle carries or keeps down, a square with a line pushes that way.
 */
import { Vector3 } from "three";
import { button, el } from "./dom.js";
import { along } from "./measure/vec.js";

const CARRIES = "#0b4f6c";
const STOPS = "#5b2a86";
const MOVES = "#a33c00";
const QUIET = "#4c5258";
const INK = "#1d2125";
const PAPER = "#fffdf7";
const MARK = 5; // CSS pixels, as all below
const PUSH = 13;
const HEAD = 13;
const OUT = 92;
const WORDED = 6; // pieces that can still move: of more the words are there for the one that is picked
const NARROW = 520; // CSS pixels; on a phone only what is picked has its words
const FAR = 400; // mm, for the way an arrow points on the screen

/** @typedef {{x: number, y: number}} Spot */
/** @typedef {import("./types").Contact} Contact */

export class Lies {
  /** @param {import("./types").App} app */
  constructor(app) {
    this.app = app;
    this.shown = { contacts: true, motions: true, out: true };
    /** What the last picture had of each, for whoever asks. */
    this.drawn = { contacts: 0, motions: 0, out: 0 };
    /** @type {Map<string, {place: Spot, words: Set<string>, told: boolean}>} by piece, of the last picture */
    this.said = new Map();
    const all = app.data.lies;
    this.has = {
      contacts: all.some((lie) => lie.pieces.some((piece) => piece.contacts.length > 0)),
      motions: all.some((lie) => lie.motions.length > 0),
      out: all.some((lie) => lie.ways_out.length > 0),
    };
    app.ink.painters.push(() => this.paint());
  }

  /** Of the stage that is shown. @returns {import("./types").Lie | null} */
  now() {
    const { lies, stages } = this.app.data;
    return lies.find((one) => !stages.length || one.stage === this.app.bodies.stage) ?? null;
  }

  /** Name of what is picked, or an empty text. */
  picked() {
    const { bodies, data } = this.app;
    return bodies.picked === null ? "" : data.items[bodies.picked].name;
  }

  paint() {
    this.drawn = { contacts: 0, motions: 0, out: 0 };
    this.said = new Map();
    const lie = this.now();
    const { tabs, welds } = this.app;
    // Where welds are looked at or something is measured, nothing more lies over the picture.
    if (!lie || welds?.at || tabs.now === "welds" || tabs.now === "measure" || this.app.bodies.alone !== null) return;
    if (this.shown.out) lie.ways_out.forEach((way) => this.wayOut(way, lie.ways_out.length));
    if (this.shown.contacts) this.contacts(lie);
    if (this.shown.motions) this.motions(lie);
  }

  /** A mark a place where the work lies against blocks; of the picked part all its points, and those on other pieces. @param {import("./types").Lie} lie */
  contacts(lie) {
    const name = this.picked();
    const own = lie.pieces.some((piece) => piece.name === name);
    const done = new Set();
    for (const piece of lie.pieces) {
      for (const contact of piece.contacts) {
        const big = name !== "" && (piece.name === name || (!own && contact.on === name));
        const key = JSON.stringify(contact.places[0].points);
        if (done.has(key) && !big) continue; // pieces that are one have their contacts in common
        done.add(key);
        if (!big && contact.by_piece) continue;
        for (const place of contact.places)
          for (const at of big ? this.apart(place.points) : [place.at]) this.mark(contact.role, at, place.normal, big ? 1.35 : 0.9);
      }
    }
  }

  /** The points whose marks do not cover those before them: the rim of a round face has many. @param {number[][]} points */
  apart(points) {
    /** @type {Spot[]} */
    const kept = [];
    return points.filter((at) => {
      const spot = this.app.view.project(at);
      if (!spot || kept.some((p) => Math.hypot(p.x - spot.x, p.y - spot.y) < 3 * MARK)) return false;
      kept.push(spot);
      return true;
    });
  }

  /** @param {Contact["role"]} role @param {number[]} at @param {number[]} normal @param {number} size */
  mark(role, at, normal, size) {
    const { view, bodies, ink } = this.app;
    const spot = bodies.cutAway(at) ? null : view.project(at);
    if (!spot) return;
    this.drawn.contacts += 1;
    const { pen } = ink;
    const r = MARK * size;
    pen.lineJoin = "round";
    pen.fillStyle = role === "beside" ? STOPS : CARRIES;
    pen.strokeStyle = PAPER;
    if (role === "beside") {
      const [dx, dy] = this.onScreen(at, normal);
      for (const [colour, wide] of /** @type {[string, number][]} */ ([[PAPER, 5], [STOPS, 2.2]])) {
        pen.strokeStyle = colour;
        pen.lineWidth = wide * size;
        stroke(pen, [spot, { x: spot.x + dx * PUSH * size, y: spot.y + dy * PUSH * size }]);
      }
      pen.strokeStyle = PAPER;
    }
    pen.lineWidth = 1.2;
    pen.beginPath();
    if (role === "beside") pen.rect(spot.x - 0.7 * r, spot.y - 0.7 * r, 1.4 * r, 1.4 * r);
    else {
      const down = role === "under" ? 1.7 * r : -1.7 * r;
      pen.moveTo(spot.x, spot.y);
      pen.lineTo(spot.x + r, spot.y + down);
      pen.lineTo(spot.x - r, spot.y + down);
      pen.closePath();
    }
    pen.fill();
    pen.stroke();
  }

  /** Which way a direction goes on the screen, as long as its part across the line of sight. @param {number[]} at @param {number[]} way */
  onScreen(at, way) {
    const { view } = this.app;
    const [a, b] = [view.project(at), view.project(along(at, way, 1))];
    if (!a || !b) return [0, 0];
    const scale = view.scaleAt(new Vector3(...at));
    return [(b.x - a.x) / scale, (b.y - a.y) / scale];
  }

  /** @param {import("./types").Lie} lie */
  motions(lie) {
    const name = this.picked();
    const wanted = lie.motions.filter((one) => one.told || one.piece === name);
    const pieces = new Set(wanted.map((one) => one.piece));
    /** @type {Lies["said"]} */
    const said = new Map();
    for (const motion of wanted) {
      const colour = motion.told ? MOVES : QUIET;
      for (const arrow of motion.arrows) {
        const spots = arrow.line.map((p) => this.app.view.project(p));
        if (spots.some((spot) => !spot) || this.app.bodies.cutAway(arrow.line[0])) continue;
        const line = /** @type {Spot[]} */ (spots);
        if (Math.max(...line.map((p) => Math.hypot(p.x - line[0].x, p.y - line[0].y))) < 6) endOn(this.app.ink.pen, /** @type {any} */ (line), colour);
        else arrowOf(this.app.ink.pen, line, arrow.ends, colour);
        this.drawn.motions += 1;
        const one = said.get(motion.piece) ?? { place: line[line.length - 1], words: new Set(), told: motion.told };
        one.words.add(motion.words);
        said.set(motion.piece, one);
      }
    }
    if (pieces.size > WORDED || this.app.view.size.width < NARROW) for (const piece of pieces) if (piece !== name) said.delete(piece);
    this.said = said;
  }

  /** What must go before the work comes out. @param {import("./types").WayOut} way */
  flags(way) {
    const { view, ink, bodies, lettering } = this.app;
    way.first_off.forEach(([name, verb], k) => {
      const item = bodies.named(name);
      const at = item < 0 ? null : lettering.anchor(item);
      const spot = at && view.project(at);
      if (spot) ink.label(spot, `${k + 1}: ${verb} ${name}`, { fill: INK, ink: "#ffffff", force: true, font: "700 13px system-ui, sans-serif" });
    });
  }

  /** What each piece can still do in words, and flags, once pins have found their room. */
  words() {
    if (this.drawn.out) this.now()?.ways_out.forEach((way) => this.flags(way));
    for (const [piece, { place, words, told }] of this.said) {
      const colour = told ? MOVES : QUIET;
      const rect = this.app.ink.label(place, `${piece} ${[...words].join(" and ")}`, { frame: colour, ink: colour });
      if (rect) this.app.ink.targets.push({ rect, act: () => this.open(piece) });
    }
  }

  /** @param {string} name */
  open(name) {
    const item = this.app.bodies.named(name);
    if (item < 0) return;
    this.app.parts.pick(item);
    this.app.tabs.open("parts");
  }

  /** @param {import("./types").WayOut} way @param {number} of how many there are */
  wayOut(way, of) {
    const { view, ink } = this.app;
    const from = view.project(way.start);
    const to = view.project(along(way.start, way.direction, FAR));
    if (!from || !to) return;
    const long = Math.hypot(to.x - from.x, to.y - from.y);
    if (long > 12) {
      const [x, y] = [(to.x - from.x) / long, (to.y - from.y) / long];
      const { width, height } = view.size;
      const tip = { x: from.x + x * OUT, y: from.y + y * OUT };
      // Kept in the picture as long as its foot is.
      const inside = from.x > 0 && from.y > 0 && from.x < width && from.y < height;
      const move = inside ? { x: Math.max(0, 24 - tip.x) + Math.min(0, width - 24 - tip.x), y: Math.max(0, 24 + view.top() - tip.y) + Math.min(0, height - 80 - tip.y) } : { x: 0, y: 0 };
      const outline = [[0, 9], [0.62, 9], [0.62, 21], [1, 0], [0.62, -21], [0.62, -9], [0, -9]].map(([a, b]) => ({
        x: from.x + move.x + x * OUT * a - y * b, y: from.y + move.y + y * OUT * a + x * b,
      }));
      const { pen } = ink;
      pen.fillStyle = "rgba(255, 253, 247, 0.85)";
      pen.strokeStyle = INK;
      pen.lineWidth = 2.5;
      pen.lineJoin = "round";
      pen.beginPath();
      outline.forEach((p, k) => (k ? pen.lineTo(p.x, p.y) : pen.moveTo(p.x, p.y)));
      pen.closePath();
      pen.fill();
      pen.stroke();
      const [xs, ys] = [outline.map((p) => p.x), outline.map((p) => p.y)];
      ink.taken.push({ x: Math.min(...xs), y: Math.min(...ys), w: Math.max(...xs) - Math.min(...xs), h: Math.max(...ys) - Math.min(...ys) });
      this.drawn.out += 1;
      ink.label({ x: tip.x + move.x, y: tip.y + move.y }, `${whose(way, of)}${way.words}`, { font: "700 15px system-ui, sans-serif", force: true });
    }
  }

  /** What is said of a piece beside its stock. @param {string} name @returns {[string, string][]} */
  facts(name) {
    return this.now()?.pieces.find((one) => one.name === name)?.facts ?? [];
  }

  /** The contacts of a piece or a block for its card. @param {string} name @returns {Node[]} */
  card(name) {
    const lie = this.now();
    if (!lie) return [];
    const piece = lie.pieces.find((one) => one.name === name);
    if (piece) return this.rows("Lies against", piece.contacts.map((contact) => ({ contact, name: contact.on })));
    const met = lie.pieces.flatMap((one) => one.contacts.filter((contact) => contact.on === name).map((contact) => ({ contact, name: one.name })));
    const off = lie.ways_out.flatMap((way) => way.first_off.flatMap(([first, verb], k) => (first === name ? [`Before the work comes out: ${verb} ${name} (number ${k + 1})`] : [])));
    return [...off.map((text) => el("p", { class: "told-of", text })), ...this.rows("Locates", met)];
  }

  /** Each contact as a key that goes to its place. @param {string} title @param {{contact: Contact, name: string}[]} all */
  rows(title, all) {
    if (!all.length) return [];
    return [el("h3", { text: title }), el("ul", { class: "rows contacts" }, ...all.map(({ contact, name }) => {
      const row = button("", () => this.fly(contact), { class: "row" });
      row.append(el("i", { class: `seat ${contact.role}`, "aria-hidden": "true" }), el("strong", { text: name }), el("span", { text: contact.text }));
      return el("li", {}, row);
    }))];
  }

  /** @param {Contact} contact */
  fly(contact) {
    const all = contact.places.map((place) => place.at);
    const middle = [0, 1, 2].map((k) => all.reduce((sum, at) => sum + at[k], 0) / all.length);
    // Drawn anew, the card would lose the focus.
    if (!this.shown.contacts) this.app.show.layer("contacts", true);
    this.app.view.flyTo(new Vector3(...middle), 190);
  }

  /** The ways out in words, under the list of parts. */
  told() {
    const lie = this.now();
    return lie ? lie.ways_out.map((way) => `${whose(way, lie.ways_out.length)}${way.words}`) : [];
  }
}

/** What comes out, where that is not all of the work. @param {import("./types").WayOut} way @param {number} of */
function whose(way, of) {
  if (of < 2) return "";
  return `${way.pieces[0]}${way.pieces.length > 1 ? ` and ${way.pieces.length - 1} more` : ""}: `;
}

/** @param {CanvasRenderingContext2D} pen @param {Spot[]} line */
function stroke(pen, line) {
  pen.beginPath();
  line.forEach((p, k) => (k ? pen.lineTo(p.x, p.y) : pen.moveTo(p.x, p.y)));
  pen.stroke();
}

/** An arrow that is seen from its end: a ring with a dot where it comes nearer, with a cross where it goes away. @param {CanvasRenderingContext2D} pen @param {{x: number, y: number, depth: number}[]} line @param {string} colour */
function endOn(pen, line, colour) {
  const { x, y, depth } = line[line.length - 1];
  pen.fillStyle = PAPER;
  pen.strokeStyle = colour;
  pen.lineWidth = 2.5;
  pen.beginPath();
  pen.arc(x, y, 9, 0, 7);
  pen.fill();
  pen.stroke();
  if (depth > line[0].depth) {
    stroke(pen, [{ x: x - 5, y: y - 5 }, { x: x + 5, y: y + 5 }]);
    stroke(pen, [{ x: x - 5, y: y + 5 }, { x: x + 5, y: y - 5 }]);
    return;
  }
  pen.fillStyle = colour;
  pen.beginPath();
  pen.arc(x, y, 3.5, 0, 7);
  pen.fill();
}

/** A line with a head at its end, or at both. @param {CanvasRenderingContext2D} pen @param {Spot[]} line @param {number} ends @param {string} colour */
export function arrowOf(pen, line, ends, colour) {
  pen.lineJoin = "round";
  pen.setLineDash([]);
  for (const [ink, wide, more] of /** @type {[string, number, number][]} */ ([[PAPER, 7.5, 2], [colour, 3.5, 0]])) {
    pen.strokeStyle = pen.fillStyle = ink;
    pen.lineWidth = wide;
    stroke(pen, line);
    for (const path of ends > 1 ? [line, [...line].reverse()] : [line]) {
      const { tip, way } = endOf(path);
      const front = { x: tip.x + way.x * (0.4 * HEAD + more), y: tip.y + way.y * (0.4 * HEAD + more) };
      const [long, half] = [HEAD + 2 * more, 0.55 * HEAD + more];
      pen.beginPath();
      pen.moveTo(front.x, front.y);
      pen.lineTo(front.x - way.x * long - way.y * half, front.y - way.y * long + way.x * half);
      pen.lineTo(front.x - way.x * long + way.y * half, front.y - way.y * long - way.x * half);
      pen.fill();
    }
  }
}

/** Tip of a line and the way it points there, over about the length of a head so that it follows a curve. @param {Spot[]} path */
export function endOf(path) {
  const tip = path[path.length - 1];
  const away = (/** @type {Spot} */ p) => Math.hypot(p.x - tip.x, p.y - tip.y);
  let back = path[0];
  for (const p of path) if (away(p) > 0 && Math.abs(away(p) - HEAD) < Math.abs(away(back) - HEAD)) back = p;
  const long = away(back) || 1;
  return { tip, way: { x: (tip.x - back.x) / long, y: (tip.y - back.y) / long } };
}
