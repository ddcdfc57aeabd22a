// Asks the server about a part that is looked at: answers that are computed first are asked for again. SPDX-License-Identifier: Apache-2.0
import { Away, get, post, Problem, query } from '../../kit/index.js';

/** @typedef {{turn: number[], down: string, size_mm: number[], foothold_mm2: number, support_mm2: number, support_mm3: number, bridge_mm: number|null, stands: boolean, brim: boolean, layers: number, why: string|null}} Pose */
/** @typedef {{number: number, finding: string, grade: 'stop'|'ask'|'note', at: number[], normal: number[], size_mm: number, mm2: number|null, mm: number|null}} Spot */
/** @typedef {{recipe: string, filament_mm: number, filament_g: number, seconds: number, seconds_range: number[], layers: number, support_mm: number}} Estimate */
/** @typedef {{machine: string, as_is: boolean, turned: boolean, turn_deg: number|null, over_mm: number[], largest_scale: number}} Fit */
/** @typedef {{pose: Pose, fits: Fit[], estimates: Estimate[], judged: number, why_no_estimate: string|null, spots: Spot[], spots_all: number}} Posed */
/** @typedef {{machine: string, material: string, recipes: string[], recipe: string|null, solid: number, solids: any[], bed: {round: boolean, size_mm: number[]}, lies: Pose|null, poses: Pose[],
 *   as_is: number|null, faces: {triangle: number, mm2: number, side: string}[], spots: Spot[], spots_all: number, allowance_mm: number, triangles: number, mendable: boolean, bead_mm: number}} Part */
/** @typedef {{xyz: Float32Array, corners: Uint16Array|Uint32Array, from: Uint32Array, classes: Uint8Array, points: Float32Array, origin: number[], whole: number, cell: number, keptAll: boolean}} Shown */

/** @param {string} proof */
const base = (proof) => `/api/1/proofs/${proof}/part`;
const pause = (/** @type {number} */ ms) => new Promise((done) => setTimeout(done, ms));
/** Asks until it is computed. @param {() => Promise<any>} once @param {AbortSignal} [signal] */
async function until(once, signal) {
  for (;;) {
    const answer = await once();
    if (answer?.format !== 'proveout/working/1') return answer;
    if (signal?.aborted) throw new DOMException('', 'AbortError');
    await pause(200);
  }
}

/** @param {string} proof @param {Record<string, any>} which @param {AbortSignal} [signal] @returns {Promise<Part>} */
export const askPart = (proof, which, signal) => until(() => get(`${base(proof)}${query(which)}`, { signal }), signal);
/** @param {string} proof @param {Record<string, any>} body @param {AbortSignal} [signal] @returns {Promise<Posed>} */
export const askPose = (proof, body, signal) => until(() => post(`${base(proof)}/pose`, body, { signal }), signal);
/** @param {string} proof @param {Record<string, any>} which @param {AbortSignal} [signal] @returns {Promise<{allowance_mm: number, allowance_scale: number|null, machine_scale: number|null, both_scale: number|null, recipe: string|null}>} */
export const askScales = (proof, which, signal) => until(() => get(`${base(proof)}/scales${query(which)}`, { signal }), signal);

/** @param {string} path @param {AbortSignal} [signal] @returns {Promise<ArrayBuffer>} */
async function bytes(path, signal) {
  for (let turn = 0; ; turn++) {
    const reply = await fetch(path, { signal }).catch((e) => { if (signal?.aborted) throw e; throw new Away(); });
    if (reply.status === 200) return reply.arrayBuffer();
    const said = await reply.json().catch(() => ({ title: reply.statusText }));
    if (reply.status !== 202 && !(reply.status === 503 && turn < 5)) throw new Problem(reply.status, said);
    await pause(300);
  }
}
/** @param {string} proof @param {Record<string, any>} which @param {AbortSignal} [signal] */
export const askClasses = async (proof, which, signal) => new Uint8Array(await bytes(`${base(proof)}/classes${query(which)}`, signal));
/** The mesh for showing; the layout of its bytes is told in docs/api.md. @param {string} proof @param {Record<string, any>} which @param {AbortSignal} [signal] @returns {Promise<Shown>} */
export async function askMesh(proof, which, signal) {
  const data = await bytes(`${base(proof)}/mesh${query(which)}`, signal), view = new DataView(data);
  const [vertices, triangles, whole, index, points] = [4, 8, 12, 16, 20].map((at) => view.getUint32(at, true));
  let at = 56;
  const take = (/** @type {any} */ Kind, /** @type {number} */ n) => { const a = new Kind(data.slice(at, at + n * Kind.BYTES_PER_ELEMENT)); at += n * Kind.BYTES_PER_ELEMENT; return a; };
  const xyz = take(Float32Array, 3 * vertices), from = take(Uint32Array, triangles), dots = take(Float32Array, 4 * points);
  const corners = take(index === 2 ? Uint16Array : Uint32Array, 3 * triangles), classes = take(Uint8Array, triangles);
  return { xyz, corners, from, classes, points: dots, origin: [32, 40, 48].map((o) => view.getFloat64(o, true)), whole, cell: view.getFloat32(24, true), keptAll: (view.getUint32(28, true) & 1) === 1 };
}
/** A turn as the server reads it. @param {number[]} turn */
export const turnText = (turn) => turn.map(String).join(',');
/** @param {string} proof @param {Record<string, any>} which */
export const viewAddress = (proof, which) => `${base(proof)}/view.svg${query(which)}`;
/** @param {string} proof @param {Record<string, any>} which */
export const fileAddress = (proof, which) => `${base(proof)}/part.3mf${query(which)}`;
