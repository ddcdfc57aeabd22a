// Times as fields show them: the shop's wall clock to and from ms UTC. SPDX-License-Identifier: Apache-2.0
import { zone } from '../../kit/when.js';

/** "2026-12-01T03:20" on the shop's wall. @param {number} ms */
export function wallText(ms) {
  const p = Object.fromEntries(new Intl.DateTimeFormat('en-GB', { timeZone: zone(), year: 'numeric', month: '2-digit', day: '2-digit', hour: '2-digit', minute: '2-digit', hourCycle: 'h23' })
    .formatToParts(ms).map((x) => [x.type, x.value]));
  return `${p.year}-${p.month}-${p.day}T${p.hour}:${p.minute}`;
}
/** The moment of such a text; null: it is none, or the clocks go forward over it. Of a time that comes twice the first. @param {string} text @returns {number|null} */
export function wallMs(text) {
  if (!/^\d{4}-\d\d-\d\dT\d\d:\d\d$/.test(text)) return null;
  const as = Date.parse(`${text}Z`);
  if (Number.isNaN(as)) return null;
  // an offset is at most 14 h; both sides of a change of the clocks are tried, the earlier moment first
  const offsets = [as - 86400000, as + 86400000].map((at) => Date.parse(`${wallText(at)}Z`) - Math.floor(at / 60000) * 60000);
  return offsets.map((o) => as - o).sort((a, b) => a - b).find((ms) => wallText(ms) === text) ?? null;
}
