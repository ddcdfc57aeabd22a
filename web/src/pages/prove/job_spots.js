// One part of a job with the places that findings are about: its bounds as stacked outlines, flags with numbers. SPDX-License-Identifier: Apache-2.0
// A drawing of lines in SVG, turned by keys or buttons; it needs no WebGL.
import { Button, Findings, html, number, t, useState } from '../../kit/index.js';

/** @typedef {{number: number, aid: boolean, bounds_mm: {min: number[], max: number[]}}} JobPart */
const OUTLINES = 14, AROUND_MM = 3, WIDE = 560, HIGH = 400, EDGE = 44;

/** Findings with a place on a part or close to it, with their numbers on the slip. @param {any[]} findings @param {JobPart} part */
export function findingsOn(findings, part) {
  const { min, max } = part.bounds_mm;
  return findings.map((f, i) => ({ f, n: i + 1, at: f.where && [f.where.x, f.where.y, f.where.z] }))
    .filter(({ at }) => at && at.every((/** @type {any} */ v, /** @type {number} */ k) => typeof v === 'number' && v >= min[k] - AROUND_MM && v <= max[k] + AROUND_MM));
}

/** @param {{part: JobPart, spots: {f: any, n: number, at: number[]}[], az: number, chosen: number, label: string}} p */
function Lines({ part, spots, az, chosen, label }) {
  const { min, max } = part.bounds_mm, el = .42, middle = min.map((v, k) => (v + max[k]) / 2);
  const look = (/** @type {number[]} */ q) => {
    const [x, y, z] = q.map((v, k) => v - middle[k]);
    return [x * Math.cos(az) + y * Math.sin(az), -(z * Math.cos(el) + (y * Math.cos(az) - x * Math.sin(az)) * Math.sin(el))];
  };
  const reach = Math.max(Math.hypot(max[0] - min[0], max[1] - min[1], max[2] - min[2]), 1), scale = Math.min(WIDE - 2 * EDGE, HIGH - 2 * EDGE) / reach;
  const dot = (/** @type {number[]} */ q) => { const [u, v] = look(q); return [WIDE / 2 + u * scale, HIGH / 2 + v * scale]; };
  const ring = (/** @type {number} */ z) => [[min[0], min[1]], [max[0], min[1]], [max[0], max[1]], [min[0], max[1]]].map(([x, y]) => dot([x, y, z]).map((v) => v.toFixed(1)).join(',')).join(' ');
  return html`<svg class="job-lines" viewBox="0 0 ${WIDE} ${HIGH}" role="img" aria-label=${label}>
    ${Array.from({ length: OUTLINES }, (_, i) => min[2] + (max[2] - min[2]) * i / (OUTLINES - 1)).map((z, i) => html`<polygon key=${i} class=${i === 0 ? 'foot' : 'ring'} points=${ring(z)} />`)}
    ${spots.map((s, i) => {
      const [x, y] = dot(s.at), [, level] = dot([s.at[0], s.at[1], min[2]]), lift = 26 + 20 * (i % 3);
      return html`<g key=${s.n} class="flag ${s.f.grade} ${i === chosen ? 'chosen' : ''}"><path d="M${x} ${y}V${level}" class="drop" /><path d="M${x} ${y}V${y - lift}" class="pole" /><circle cx=${x} cy=${y} r="3.500" />
        ${s.f.grade === 'stop' ? html`<rect x=${x} y=${y - lift - 12} width="26" height="18" />` : html`<path class="cloth" d="M${x} ${y - lift - 12}h22l6 9-6 9h-22z" />`}<text x=${x + 12} y=${y - lift + 2}>${s.n}</text></g>`;
    })}</svg>`;
}

/** @param {{one: any}} p  what one machine's proof says of the job */
export default function JobSpots({ one }) {
  const parts = /** @type {JobPart[]} */ ((one.facts?.parts ?? []).filter((/** @type {any} */ p) => p.bounds_mm?.min?.every(Number.isFinite) && p.bounds_mm.max.every(Number.isFinite)));
  const told = parts.map((p) => findingsOn(one.findings, p)), worst = told.findIndex((l) => l.length === Math.max(...told.map((x) => x.length)));
  const [shown, setShown] = useState(-1), [az, setAz] = useState(-.55), [chosen, setChosen] = useState(-1);
  if (parts.length === 0 || told.every((l) => l.length === 0)) return '';
  const i = shown >= 0 && shown < parts.length ? shown : worst, spots = told[i], { min, max } = parts[i].bounds_mm;
  const turn = (/** @type {number} */ by) => setAz((a) => a + by);
  return html`<section class="job-spots" aria-labelledby="job-spots-h"><h2 id="job-spots-h">${t('part.job_title')}</h2>
    ${parts.length > 1 && html`<div class="field part-solid"><label for="job-part">${t('part.job_which')}</label><select id="job-part" value=${i} onChange=${(/** @type {any} */ e) => { setShown(Number(e.currentTarget.value)); setChosen(-1); }}>
      ${parts.map((p, k) => html`<option key=${k} value=${k}>${t('part.job_part', { n: p.number })}, ${t('part.job_places', { n: told[k].length })}</option>`)}</select></div>`}
    <p>${t('part.job_about', { x: number(max[0] - min[0], 1), y: number(max[1] - min[1], 1), z: number(max[2] - min[2], 1) })}</p>
    <div class="split"><div class="stack"><${Lines} part=${parts[i]} spots=${spots} az=${az} chosen=${chosen} label=${t('part.job_sees', { n: spots.length, part: parts[i].number })} />
      <div class="row"><${Button} kind="quiet" onPress=${() => turn(-Math.PI / 6)}>${t('part.job_left')}<//><${Button} kind="quiet" onPress=${() => turn(Math.PI / 6)}>${t('part.job_right')}<//></div></div>
      ${spots.length > 0 ? html`<ol class="part-spots">${spots.map((s, k) => html`<li key=${s.n}><button type="button" aria-pressed=${k === chosen ? 'true' : 'false'} onClick=${() => setChosen(k)}><span class="spot ${s.f.grade}"><b>${s.n}</b></span>
        <span><strong>${s.f.name}</strong> ${s.f.says}<small>${t('part.spot_at', { x: number(s.at[0], 1), y: number(s.at[1], 1), z: number(s.at[2], 2) })}</small></span></button></li>`)}</ol>` : html`<${Findings} findings=${[]} />`}</div></section>`;
}
