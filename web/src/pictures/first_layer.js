// Drawn first layers, good and poor: from above and from the side. Lines and hatches, no colour alone. SPDX-License-Identifier: Apache-2.0
import { html, t } from '../kit/index.js';

/** Good first, then what is seen most. The word of each: out.layer_KIND, out.see_KIND (what the drawing shows), out.do_KIND (the remedy). */
export const layers = ['good', 'near', 'far', 'loose', 'corner', 'blob', 'gaps'];

const rows = [14, 26, 38, 50, 62, 74, 86];
const bead = (/** @type {string} */ d, /** @type {number} */ w, key = d) => html`<path key=${key} class="bead" d=${d} stroke-width=${w} />`;
const edge = (/** @type {string} */ d, key = d) => html`<path key=${key} class="edge" d=${d} />`;
const line = (/** @type {number} */ y, from = 10, to = 150) => `M${from} ${y}H${to}`;

/** Beads side by side, seen from above. @type {Record<string, () => any>} */
const above = {
  good: () => [rows.map((y) => bead(line(y), 11.4)), rows.slice(1).map((y) => edge(line(y - 6, 7, 153)))],
  near: () => [rows.map((y) => bead(line(y), 12)), rows.slice(1).map((y) => html`<path key=${y} class="ridge" d="M7 ${y - 6}q6 -3 12 0t12 0 12 0 12 0 12 0 12 0 12 0 12 0 12 0 12 0 12 0 12 0" />`),
    [20, 44, 68].map((y) => html`<path key=${`s${y}`} class="bare" d="M${40 + y} ${y - 5}h34v5h-34z" />`)],
  far: () => [14, 32, 50, 68, 86].map((y) => bead(line(y), 7)),
  loose: () => [[14, 26, 38].map((y) => bead(line(y), 11)), bead('M10 50H58q14 0 14 -8t12 -4 6 14 -16 12 -30 10', 8), bead('M96 66q12 -18 26 -6t-4 20 12 10', 8), [86].map((y) => bead(line(y, 10, 84), 11))],
  corner: () => [html`<path class="part" d="M22 16H138V84H22z" />`, html`<path class="lifted" d="M138 84h-44l44 -40z" />`, html`<path class="edge" d="M94 84l44 -40" />`, html`<path class="ridge" d="M146 92l-12 -12m0 9v-9h9" />`],
  blob: () => [rows.map((y) => bead(line(y), 11.4)), html`<path class="bare" d="M58 32q30 10 62 42l-10 6q-26 -30 -56 -40z" />`, html`<path class="lump" d="M108 66q14 -8 22 2t-2 20 -22 2 -4 -20z" />`],
  gaps: () => [[14, 26, 50, 74].map((y) => bead(line(y), 11.4)), bead(line(38, 10, 52), 11.4), bead(line(38, 88, 150), 11.4), bead(line(62, 10, 30), 11.4), bead('M46 62h10M72 62h6M96 62h54', 8, 'drops'), bead(line(86, 10, 112), 11.4)],
};

const bed = html`<path class="bed" d="M4 70H156" /><path class="hatch" d="M10 70l-5 8M26 70l-5 8M42 70l-5 8M58 70l-5 8M74 70l-5 8M90 70l-5 8M106 70l-5 8M122 70l-5 8M138 70l-5 8M154 70l-5 8" />`;
/** The nozzle's tip above the bead that is laid. @param {number} x @param {number} y where it ends */
const nozzle = (x, y) => html`<path class="nozzle" d="M${x - 16} ${y - 30}h32l-10 24v6h-12v-6z" />`;
/** Cut across the beads, seen from the side. @type {Record<string, () => any>} */
const side = {
  good: () => [bed, [16, 42, 68, 94].map((x) => html`<rect key=${x} class="cut" x=${x - 13} y="55" width="26" height="15" rx="7" />`), nozzle(94, 55)],
  near: () => [bed, [16, 46, 76, 106].map((x) => html`<path key=${x} class="cut" d="M${x - 15} 70v-7q2 -8 4 -1t22 0 4 1v7z" />`), nozzle(106, 63)],
  far: () => [bed, [18, 48, 78, 108].map((x) => html`<circle key=${x} class="cut" cx=${x} cy="59" r="11" />`), nozzle(108, 42)],
  loose: () => [bed, [16, 42].map((x) => html`<rect key=${x} class="cut" x=${x - 13} y="55" width="26" height="15" rx="7" />`), html`<path class="bead" d="M62 66q10 -20 22 -14t10 -14 10 -10" stroke-width="9" />`, nozzle(112, 34)],
  corner: () => [bed, html`<path class="cut" d="M20 70v-34h96l28 -16 6 12 -30 20q-10 18 -30 18z" />`, html`<path class="ridge" d="M146 66v-16m-4 5l4 -5 4 5" />`],
  blob: () => [bed, [16, 42].map((x) => html`<rect key=${x} class="cut" x=${x - 13} y="55" width="26" height="15" rx="7" />`), html`<path class="lump" d="M74 70q-8 -26 8 -34t30 2 10 26 -10 6z" />`, nozzle(94, 50)],
  gaps: () => [bed, [16, 42, 94].map((x) => html`<rect key=${x} class="cut" x=${x - 13} y="55" width="26" height="15" rx="7" />`), html`<rect class="missing" x="55" y="55" width="26" height="15" rx="7" />`, nozzle(94, 55)],
};

/** One of them. from: 'above' or 'side'. @param {{kind: string, from: 'above'|'side'}} p */
export function Layer({ kind, from }) {
  const label = t(`out.see_${kind}_${from}`);
  return html`<svg class="layer ${from}" viewBox="0 0 160 100" role="img" aria-label=${label}>${(from === 'above' ? above : side)[kind]()}</svg>`;
}
