// A proof that is done: machines, findings, pictures, facts, slip, what if. SPDX-License-Identifier: Apache-2.0
import { Findings, html, t, useEffect, useRef, useState } from '../../kit/index.js';
import { Facts } from './facts.js';
import { Aloud, Lines } from './lines.js';
import { Pictures } from './pictures.js';
import { Slip } from './slip.js';
import { WhatIf } from './what_if.js';
import JobSpots from './job_spots.js';

const order = { clear: 0, ask: 1, stop: 2 };
/** Whose line is looked at first: the best. @param {any[]} rows */
const best = (rows) => rows.reduce((b, r, i) => (order[/** @type {'clear'} */ (r.verdict)] < order[/** @type {'clear'} */ (rows[b].verdict)] ? i : b), 0);

/** Where the machine is not asked as a solid, the view of a part comes when it is wanted. @param {{proof: string, machine: string}} p */
function PartView(p) {
  const [View, setView] = useState(/** @type {any} */ (null));
  useEffect(() => { void import('./part_view.js').then((m) => setView(() => m.default)); }, []);
  return View ? html`<${View} ...${p} />` : null;
}

/** @param {{answer: any}} p */
export function Answer({ answer: first }) {
  const [other, setOther] = useState(/** @type {any} */ (null)), [chosen, setChosen] = useState(-1);
  const answer = other ?? first, head = useRef(/** @type {HTMLElement|null} */ (null));
  useEffect(() => { setOther(null); setChosen(-1); }, [first.proof]);
  const rows = answer.machines, ones = answer.result.machines ?? [answer.result], i = chosen >= 0 && chosen < rows.length ? chosen : best(rows);
  const row = rows[i], one = ones[i], part = /part-proof/.test(answer.result.format ?? ones[0].format ?? '');
  const show = (/** @type {any} */ a) => { setOther(a); setChosen(-1); head.current?.focus(); };
  return html`<section class="answer" aria-labelledby="prove-answer"><h2 id="prove-answer" tabindex="-1" ref=${head}>${one.file}</h2>
      ${other && html`<p class="row"><span>${t('prove.shown_if')}</span> <button type="button" class="button quiet" onClick=${() => show(null)}>${t('prove.back_to_all')}</button></p>`}
      <${Lines} rows=${rows} ones=${ones} chosen=${i} onChoose=${setChosen} />
      <${Aloud} row=${row} /></section>
    <section aria-labelledby="prove-findings"><h2 id="prove-findings">${t('prove.findings_on', { machine: row.machine })}</h2><${Findings} findings=${one.findings} /></section>
    <section aria-labelledby="prove-slip" class="slip-place"><h2 id="prove-slip">${t('prove.slip')}</h2><${Slip} answer=${answer} machine=${row.machine} /></section>
    ${part ? html`<${PartView} proof=${answer.proof} machine=${row.machine} />` : html`<${JobSpots} one=${one} />`}
    <section aria-labelledby="prove-pictures" class="pictures"><h2 id="prove-pictures">${t('prove.pictures')}</h2><${Pictures} proof=${answer.proof} machine=${row.machine} /></section>
    <section aria-labelledby="prove-if" class="if-place"><h2 id="prove-if">${t('prove.what_if')}</h2><${WhatIf} file=${answer.file} machine=${row.machine} onShow=${show} /></section>
    <section aria-labelledby="prove-facts"><h2 id="prove-facts">${t('prove.facts')}</h2><${Facts} one=${one} part=${part} /></section>`;
}
