/**
 * Lettering over the picture: names, pins, dimension lines, torch needles. A flat canvas, so that hundreds of names cost
 * nothing; all of it is also in the lists at the side, for keyboard and screen reader.
 */
export const INK = "#1d2125";
const LONGEST = 60; // letters of a name over the picture
export const PAPER = "#fffdf7";
export const LEVELS = /** @type {Record<string, string>} */ ({ fail: "#a3201d", warn: "#855000", note: "#235a85" });

/** @typedef {{x: number, y: number, w: number, h: number}} Rect */

export class Ink {
  /** @param {import("./view.js").View} view @param {HTMLCanvasElement} canvas */
  constructor(view, canvas) {
    this.view = view;
    this.canvas = canvas;
    this.pen = /** @type {CanvasRenderingContext2D} */ (canvas.getContext("2d"));
    /** @type {((ink: Ink) => void)[]} */
    this.painters = [];
    /** @type {{rect: Rect, act: () => void}[]} what can be tapped, the last one drawn first */
    this.targets = [];
    /** @type {Rect[]} room that is taken */
    this.taken = [];
    this.widths = new Map();
    view.painters.push(() => this.paint());
  }

  paint() {
    const { width, height } = this.view.size;
    const ratio = Math.min(devicePixelRatio, 2);
    if (this.canvas.width !== width * ratio || this.canvas.height !== height * ratio) {
      this.canvas.width = width * ratio;
      this.canvas.height = height * ratio;
    }
    this.pen.setTransform(ratio, 0, 0, ratio, 0, 0);
    this.pen.clearRect(0, 0, width, height);
    this.targets = [];
    this.taken = [];
    for (const paint of this.painters) paint(this);
  }

  /** What lies under a tap. @param {number} x @param {number} y @param {number} [reach] */
  tapped(x, y, reach = 6) {
    let best = null;
    let least = Infinity;
    for (const target of this.targets) {
      const { rect } = target;
      const dx = Math.max(rect.x - x, x - rect.x - rect.w, 0);
      const dy = Math.max(rect.y - y, y - rect.y - rect.h, 0);
      const away = Math.hypot(dx, dy);
      const middle = Math.hypot(rect.x + rect.w / 2 - x, rect.y + rect.h / 2 - y) / 1000;
      if (away <= reach && away + middle < least) [best, least] = [target, away + middle];
    }
    return best;
  }

  /** @param {string} text @param {string} font */
  width(text, font) {
    const key = `${font}|${text}`;
    let known = this.widths.get(key);
    if (known === undefined) {
      this.pen.font = font;
      known = this.pen.measureText(text).width;
      this.widths.set(key, known);
    }
    return known;
  }

  /** @param {Rect} rect */
  free(rect) {
    const { width, height } = this.view.size;
    if (rect.x < 2 || rect.y < 2 || rect.x + rect.w > width - 2 || rect.y + rect.h > height - 2) return false;
    return !this.taken.some((t) => rect.x < t.x + t.w && t.x < rect.x + rect.w && rect.y < t.y + t.h && t.y < rect.y + rect.h);
  }

  /**
   * A name in a frame beside its place, where there is room, with a thread to the place.
   * @param {{x: number, y: number}} at @param {string} text
   * @param {{font?: string, fill?: string, ink?: string, frame?: string, round?: number, force?: boolean, dashed?: boolean}} [look]
   * @returns {Rect | null} null when there was no room
   */
  label(at, text, look = {}) {
    const letters = text.length > LONGEST ? [...text] : []; // whole signs: half of an emoji is none
    if (letters.length > LONGEST) text = `${letters.slice(0, LONGEST - 1).join("")}…`; // whole in the lists
    const small = this.view.size.width < 520;
    const font = (look.font ?? "600 13px system-ui, sans-serif").replace("13px", small ? "11px" : "13px");
    const room = this.view.size.width - 24;
    while (text.length > 4 && this.width(text, font) > room) text = `${[...text].slice(0, -4).join("")}…`;
    const w = Math.ceil(this.width(text, font)) + (small ? 8 : 12);
    const h = small ? 17 : 20;
    let spot = null;
    for (const gap of [12, 30, 52, 80]) {
      for (const [i, j] of [[0, -1], [1, -0.6], [-1, -0.6], [0, 1], [1, 0.6], [-1, 0.6]]) {
        const rect = { x: at.x - w / 2 + i * (w / 2 + gap), y: at.y - h / 2 + j * (h / 2 + gap), w, h };
        if (this.free(rect)) {
          spot = rect;
          break;
        }
      }
      if (spot) break;
    }
    const { width, height } = this.view.size;
    if (at.x < -40 || at.y < -40 || at.x > width + 40 || at.y > height + 40) return null; // its place is out of the picture
    if (!spot && look.force) {
      spot = { x: clamp(at.x - w / 2, 2, width - w - 2), y: clamp(at.y - h - 12, 2, height - h - 2), w, h };
    }
    if (!spot) return null;
    this.thread(at, spot, look.frame ?? INK);
    this.plate(spot, text, font, look);
    this.taken.push(spot);
    return spot;
  }

  /** @param {{x: number, y: number}} at @param {Rect} spot @param {string} colour */
  thread(at, spot, colour) {
    const { pen } = this;
    pen.strokeStyle = colour;
    pen.lineWidth = 1;
    pen.beginPath();
    pen.moveTo(at.x, at.y);
    pen.lineTo(clamp(at.x, spot.x + 4, spot.x + spot.w - 4), clamp(at.y, spot.y, spot.y + spot.h));
    pen.stroke();
    pen.fillStyle = colour;
    pen.beginPath();
    pen.arc(at.x, at.y, 2, 0, 7);
    pen.fill();
  }

  /** @param {Rect} spot @param {string} text @param {string} font @param {{fill?: string, ink?: string, frame?: string, round?: number}} look */
  plate(spot, text, font, look) {
    const { pen } = this;
    pen.fillStyle = look.fill ?? PAPER;
    pen.strokeStyle = look.frame ?? INK;
    pen.lineWidth = 1.2;
    pen.beginPath();
    pen.roundRect(spot.x, spot.y, spot.w, spot.h, look.round ?? 3);
    pen.fill();
    pen.stroke();
    this.text(text, spot.x + spot.w / 2, spot.y + spot.h / 2 + 0.5, font, look.ink ?? INK);
  }

  /** @param {string} text @param {number} x @param {number} y @param {string} font @param {string} colour @param {boolean} [halo] */
  text(text, x, y, font, colour, halo = false) {
    const { pen } = this;
    pen.font = font;
    pen.textAlign = "center";
    pen.textBaseline = "middle";
    if (halo) {
      pen.strokeStyle = "rgba(255, 253, 247, 0.9)";
      pen.lineWidth = 4;
      pen.lineJoin = "round";
      pen.strokeText(text, x, y);
    }
    pen.fillStyle = colour;
    pen.fillText(text, x, y);
  }

  /** A numbered pin; its shape tells the level: fail a square on its corner, warn a triangle, note a disc. @param {{x: number, y: number}} at @param {string} mark @param {string} level @param {"big" | "full" | "small" | "shape"} size `shape`: no room for the number @param {() => void} act */
  pin(at, mark, level, size, act) {
    const { pen } = this;
    const r = { big: 17, full: 13, small: 11, shape: 6 }[size];
    const centre = { x: at.x, y: at.y - (size === "shape" ? 0 : r + 10) };
    const wide = level === "warn" ? r * 1.5 : r * 1.1;
    const box = { x: centre.x - wide, y: centre.y - r, w: 2 * wide, h: 2 * r };
    for (const [dx, dy] of size === "shape" ? [] : [[0, 0], [26, 0], [-26, 0], [26, -24], [-26, -24], [0, -30], [52, 0], [-52, 0], [0, -58], [52, -30], [-52, -30]]) {
      const moved = { ...box, x: box.x + dx, y: box.y + dy };
      if (!this.free(moved)) continue;
      Object.assign(box, moved);
      break;
    }
    [centre.x, centre.y] = [box.x + wide, box.y + r];
    pen.strokeStyle = LEVELS[level] ?? INK;
    pen.lineWidth = 2;
    pen.beginPath();
    pen.moveTo(at.x, at.y);
    pen.lineTo(centre.x, centre.y);
    pen.stroke();
    pen.fillStyle = LEVELS[level] ?? INK;
    pen.strokeStyle = PAPER;
    pen.lineWidth = size === "big" ? 3 : size === "shape" ? 1.2 : 2;
    pen.beginPath();
    outlineOf(pen, level, centre, r);
    pen.fill();
    pen.stroke();
    const font = `700 ${mark.length > 2 || size === "small" ? 10 : 12}px system-ui, sans-serif`;
    if (size !== "shape") this.text(mark, centre.x, centre.y + (level === "warn" ? r * 0.4 : 0.5), font, "#ffffff");
    this.taken.push(box);
    this.targets.push({ rect: box, act });
  }

  /** A dimension line with arrows and its figure. @param {{x: number, y: number}} a @param {{x: number, y: number}} b @param {string} text @param {boolean} dashed */
  dimension(a, b, text, dashed) {
    const { pen } = this;
    const long = Math.hypot(b.x - a.x, b.y - a.y);
    pen.save();
    for (const [colour, wide] of /** @type {[string, number][]} */ ([["rgba(255, 253, 247, 0.9)", 5], ["#0b3c6f", 2]])) {
      pen.strokeStyle = colour;
      pen.lineWidth = wide;
      pen.setLineDash(dashed ? [6, 4] : []);
      pen.beginPath();
      pen.moveTo(a.x, a.y);
      pen.lineTo(b.x, b.y);
      pen.stroke();
    }
    pen.setLineDash([]);
    pen.fillStyle = "#0b3c6f";
    if (long > 22) {
      const u = { x: (b.x - a.x) / long, y: (b.y - a.y) / long };
      for (const [tip, way] of /** @type {[{x: number, y: number}, number][]} */ ([[a, 1], [b, -1]])) {
        pen.beginPath();
        pen.moveTo(tip.x, tip.y);
        pen.lineTo(tip.x + way * u.x * 10 - u.y * 4, tip.y + way * u.y * 10 + u.x * 4);
        pen.lineTo(tip.x + way * u.x * 10 + u.y * 4, tip.y + way * u.y * 10 - u.x * 4);
        pen.fill();
      }
    } else
      for (const tip of [a, b]) {
        pen.beginPath();
        pen.arc(tip.x, tip.y, 3.5, 0, 7);
        pen.fill();
      }
    pen.restore();
    this.label({ x: (a.x + b.x) / 2, y: (a.y + b.y) / 2 }, text, { font: "700 15px system-ui, sans-serif", frame: "#0b3c6f", ink: "#0b3c6f", force: true });
  }
}

/** @param {CanvasRenderingContext2D} pen @param {string} level @param {{x: number, y: number}} c @param {number} r */
function outlineOf(pen, level, c, r) {
  if (level === "fail") {
    pen.moveTo(c.x, c.y - r * 1.15);
    pen.lineTo(c.x + r * 1.15, c.y);
    pen.lineTo(c.x, c.y + r * 1.15);
    pen.lineTo(c.x - r * 1.15, c.y);
    pen.closePath();
  } else if (level === "warn") {
    pen.moveTo(c.x, c.y - r * 1.2);
    pen.lineTo(c.x + r * 1.5, c.y + r);
    pen.lineTo(c.x - r * 1.5, c.y + r);
    pen.closePath();
  } else pen.arc(c.x, c.y, r, 0, 7);
}

/** @param {number} x @param {number} low @param {number} high */
const clamp = (x, low, high) => Math.min(Math.max(x, low), Math.max(low, high));
