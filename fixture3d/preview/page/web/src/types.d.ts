/** What the Python side puts into the page; see page/data.py. Lengths in mm, world frame, angles in degrees. */
type Vec = number[];
export interface Grid {
  name: string; origin: Vec; x: Vec; y: Vec; normal?: Vec; pitch: [number, number]; bore: number;
  columns: string[]; rows: string[]; stagger?: boolean; blocked?: string[]; prefix?: string;
}
export interface Slot { name: string; ends: [Vec, Vec]; width: number }
export interface Item { name: string; kind: "block" | "clamp" | "piece" | "keep-out"; facts: [string, string][] }
export interface Body {
  item: number | null; name: string; role: string; layer: string; colour: Vec | null; stages: number[] | null;
  mesh: number; matrix: number[];
}
export interface Finding {
  mark: string; level: string; check: string; rule: string; title: string; message: string; figure: string;
  subjects: string[]; at: Vec | null; remedy: string; stage: number | null;
}
export interface Torch {
  name: string; burns?: boolean; stand_off: number; nozzle: { radius: number; from: number; to: number };
  capsules: { a: Vec; b: Vec; r: number; part?: string }[];
}
export interface Weld {
  name: string; type: string; joins: string[]; stage: number | null; size: string; length: string; reachable: string;
  lies: string; run: string; runs: number; rank: number; doubts: string[]; stretches: [string, Vec[]][];
  state: "reached" | "part" | "blocked" | "unchecked"; path: Vec[]; torch: number | null; points: Vec[];
  frames: number[][]; directions: number[][]; rolls: number[]; free: string;
  best: { point: number; direction: number; roll: number; text: string } | null;
  blockers: [string, number][][]; run_positions: ([number, number] | null)[];
}
export interface Contact {
  on: string; text: string; role: "under" | "beside" | "over"; by_piece: boolean;
  places: { normal: Vec; at: Vec; points: Vec[] }[];
}
export interface WayOut { pieces: string[]; words: string; start: Vec; direction: Vec; first_off: [string, string][] }
export interface Lie {
  stage: number | null;
  pieces: { name: string; facts: [string, string][]; contacts: Contact[] }[];
  motions: { piece: string; words: string; told: boolean; arrows: { line: Vec[]; ends: number }[] }[];
  ways_out: WayOut[];
}
export interface Data {
  schema: string; version: string; scene: string; file: string; code: string; units: "mm" | "in"; cautions: string[];
  verdict: { ready: boolean; text: string; not_judged: string[] };
  stages: { name: string; text: string }[];
  table: { plate: [Vec, Vec] | null; grids: Grid[]; slots?: Slot[] };
  items: Item[]; bodies: Body[]; findings: Finding[]; torches: Torch[]; welds: Weld[]; lies: Lie[];
}
export type View = import("./view.js").View;
export interface App {
  data: Data;
  view: View;
  [part: string]: any;
}
