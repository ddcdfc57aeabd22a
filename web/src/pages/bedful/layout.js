// What was laid out, or the best so far: picture, what is on each bed in words, what did not fit and why, files. SPDX-License-Identifier: Apache-2.0
import { Button, Caution, Empty, Findings, html, Mark, number, Progress, span, t, Table, Trouble, Verdict } from '../../kit/index.js';

/** @typedef {{part: number, copy: number, x: number, y: number, turn_deg: number, in_hole: boolean, order?: number}} Place */
/** @param {{bed: any, parts: any[], file: string|null}} p */
function Bed({ bed, parts, file }) {
  const ordered = bed.places.some((/** @type {Place} */ p) => p.order !== undefined);
  const kinds = parts.map((p) => ({ ...p, n: bed.places.filter((/** @type {Place} */ x) => x.part === p.part).length })).filter((p) => p.n > 0);
  return html`<section class="card stack" aria-labelledby="bed-${bed.bedful}"><h3 id="bed-${bed.bedful}">${t('bedful.bedful', { n: bed.bedful })}</h3>
    <p>${kinds.map((p) => t('bedful.of_part', { n: p.n, part: p.part, label: p.label })).join('; ')}</p>
    <p class="quiet">${[bed.material, bed.recipe, t('bedful.filled', { percent: number(100 * bed.filled) }), bed.filament_g !== null && t('bedful.takes', { m: number(bed.filament_mm / 1000, 1), g: number(bed.filament_g), time: span(1000 * Math.round(bed.seconds)) })].filter(Boolean).join(', ')}</p>
    ${file && html`<div><${Button} href=${file}>${t('bedful.file_of', { n: bed.bedful })}<//></div>`}
    <details><summary>${t('bedful.places')}</summary><${Table} caption=${t('bedful.places_of', { n: bed.bedful })} hideCaption=${true} rows=${bed.places} rowKey=${(/** @type {Place} */ p) => `${p.part}.${p.copy}`} columns=${[
      ...(ordered ? [{ key: 'order', label: t('bedful.order'), show: (/** @type {Place} */ p) => p.order, right: true }] : []),
      { key: 'part', label: t('bedful.part'), head: true, show: (/** @type {Place} */ p) => `${p.part} ${parts[p.part - 1].label}${p.in_hole ? ` (${t('bedful.in_hole')})` : ''}` },
      { key: 'copy', label: t('bedful.copy'), right: true, show: (/** @type {Place} */ p) => p.copy },
      { key: 'x', label: 'x, mm', right: true, show: (/** @type {Place} */ p) => number(p.x, 1) }, { key: 'y', label: 'y, mm', right: true, show: (/** @type {Place} */ p) => number(p.y, 1) },
      { key: 'turn', label: t('bedful.turned'), right: true, show: (/** @type {Place} */ p) => `${number(p.turn_deg, Number.isInteger(p.turn_deg) ? 0 : 1)}\u00b0` }]} /></details></section>`;
}

/** @param {{at: any, said: string, works: boolean, onStop: () => any}} p */
export function Layout({ at, said, works, onStop }) {
  const r = at.result, done = at.state === 'done';
  if (at.state === 'failed') return html`<${Trouble} error=${new Error(at.says)} />`;
  return html`<section class="bedful-layout stack" aria-labelledby="bedful-layout"><h2 id="bedful-layout">${t(done ? 'bedful.result' : 'bedful.best')}</h2>
    ${works && html`<div class="row"><${Progress} label=${said} value=${at.state === 'works' ? Math.min(at.seconds / at.most_seconds, 1) : undefined} says=${at.state === 'works' ? t('bedful.searched', { s: number(at.seconds), of: number(at.most_seconds) }) : undefined} />
      <${Button} hotkey="x" onPress=${onStop} disabled=${at.stopped}>${t(r ? 'bedful.stop' : 'bedful.give_up')}<//></div>`}
    ${r && html`<p class="row"><${Verdict} verdict=${r.verdict} /><span>${r.bedfuls.length === 0 ? t('bedful.nothing') : `${t('bedful.count', { n: r.bedfuls.length, machine: r.machine })} ${r.bedfuls.length === r.at_least ? t('bedful.fewest') : t('bedful.at_least', { n: r.at_least })}`}</span></p>`}
    ${r && r.left_out.length > 0 && html`<section class="card stack" aria-labelledby="bedful-out"><h3 id="bedful-out">${t('bedful.left_out')}</h3>
      <ul class="bedful-out">${r.left_out.map((/** @type {any} */ o, /** @type {number} */ i) => html`<li key=${i}><${Mark} grade="stop" /> <span><strong>${t('bedful.of_part', { n: o.copies, part: o.part, label: r.parts[o.part - 1].label })}</strong>: ${o.why}</span></li>`)}</ul></section>`}
    ${r && r.findings.some((/** @type {any} */ f) => f.name !== 'too-big') && html`<${Findings} findings=${r.findings.filter((/** @type {any} */ f) => f.name !== 'too-big')} />`}
    ${r && r.bedfuls.length > 0 && html`<figure><img src="/api/1/bedfuls/${at.bedfuls}/picture.svg?round=${at.rounds}" alt=${t('bedful.picture', { n: r.bedfuls.length, machine: r.machine })} /></figure>
      <div class="bedful-beds">${r.bedfuls.map((/** @type {any} */ b) => html`<${Bed} key=${b.bedful} bed=${b} parts=${r.parts} file=${done && b.bedful <= at.files ? `/api/1/bedfuls/${at.bedfuls}/bedful.3mf?bedful=${b.bedful}` : null} />`)}</div>
      ${done && at.files < r.bedfuls.length && html`<p class="quiet">${t('bedful.more_files', { n: at.files })}</p>`}
      ${r.bedfuls.some((/** @type {any} */ b) => b.places[0].order !== undefined) && html`<${Caution} about=${['moving', 'hot']} />`}`}
    ${r && r.bedfuls.length === 0 && html`<${Empty} title=${t('bedful.nothing')} />`}</section>`;
}
