/** The two packed blocks of the page, and the binary glTF in one of them. */
import { surfaceOf } from "./measure/surface.js";

/** @typedef {import("./measure/face.js").Shape & {lines: ArrayLike<number>}} Mesh `lines`: pairs of vertices of sharp edges */

/** Text of a <script type="text/plain">: base64 of gzip. @param {string} id @returns {Promise<ArrayBuffer>} */
export async function unpacked(id) {
  const text = document.getElementById(id)?.textContent?.trim() ?? "";
  const raw = atob(text);
  const bytes = new Uint8Array(raw.length);
  for (let k = 0; k < raw.length; k++) bytes[k] = raw.charCodeAt(k);
  const stream = new Blob([bytes]).stream().pipeThrough(new DecompressionStream("gzip"));
  return new Response(stream).arrayBuffer();
}

/** Bits of a base64 text, bit 0 of each byte first. @param {string} text @returns {(index: number) => boolean} */
export function bits(text) {
  const raw = atob(text ?? "");
  return (index) => Boolean((raw.charCodeAt(index >> 3) >> (index & 7)) & 1);
}

const ARRAYS = { 5126: Float32Array, 5125: Uint32Array, 5123: Uint16Array, 5121: Uint8Array };
const WIDTH = { SCALAR: 1, VEC3: 3 };

/**
 * Meshes of a GLB (Khronos glTF 2.0, section 4.4), as far as fixture3d writes it: primitive 0 triangles sorted by
 * face, primitive 1 lines on sharp edges, `extras.faces` says which face each triangle is of.
 * @param {ArrayBuffer} file @returns {Mesh[]}
 */
export function meshesOf(file) {
  const view = new DataView(file);
  if (view.getUint32(0, true) !== 0x46546c67) throw new Error("the scene in this page is not a GLB");
  const size = view.getUint32(12, true);
  const json = JSON.parse(new TextDecoder().decode(new Uint8Array(file, 20, size)));
  const start = 20 + size + 8;
  const array = (/** @type {number} */ index) => {
    const a = json.accessors[index];
    const v = json.bufferViews[a.bufferView];
    const from = start + (v.byteOffset ?? 0) + (a.byteOffset ?? 0);
    const kind = /** @type {any} */ (ARRAYS)[a.componentType];
    return new kind(file, from, a.count * /** @type {any} */ (WIDTH)[a.type]);
  };
  return (json.meshes ?? []).map((/** @type {any} */ mesh) => {
    const [solid, edges] = mesh.primitives;
    const positions = array(solid.attributes.POSITION);
    let first = 0;
    const ranges = (mesh.extras?.faces ?? []).map((/** @type {number[]} */ row) => {
      const range = { first, count: row[0], surface: surfaceOf(row) };
      first += row[0];
      return range;
    });
    const index = array(solid.indices);
    if (first * 3 !== index.length) ranges.splice(0, ranges.length, { first: 0, count: index.length / 3, surface: { kind: "other" } });
    return { positions, index, ranges, lines: edges ? linePoints(array(edges.attributes.POSITION), edges.indices === undefined ? null : array(edges.indices)) : new Float32Array(0) };
  });
}

/** Ends of lines one after the other. @param {ArrayLike<number>} positions @param {ArrayLike<number> | null} index */
function linePoints(positions, index) {
  if (index === null) return positions;
  const out = new Float32Array(index.length * 3);
  for (let k = 0; k < index.length; k++) for (let c = 0; c < 3; c++) out[3 * k + c] = positions[3 * index[k] + c];
  return out;
}
