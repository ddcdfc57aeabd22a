// What the plan can't meet: which runs, and what would make room. SPDX-License-Identifier: Apache-2.0
import { html, Mark, t, when } from '../../kit/index.js';

/** @typedef {{run: number, alone: boolean, earliest_off_ms: number|null, machine: string, another_machine: boolean, others: number[]}} Lack */

/** What would help, in words. @param {Lack} l */
function helps(l) {
  const machine = l.machine;
  if (!l.alone) return [l.earliest_off_ms === null ? t('today.lack_alone_never') : t('today.lack_alone', { at: when(l.earliest_off_ms) })];
  const said = [];
  if (l.others.length) said.push(t('today.lack_first', { machine, runs: l.others.slice(0, 12).join(', ') }) + (l.others.length > 12 ? ` ${t('today.lack_more', { n: l.others.length - 12 })}` : ''));
  if (l.another_machine) said.push(t('today.lack_another', { machine }));
  return said.length ? said : [t('today.lack_none', { machine })];
}
/** @param {{lacks: Lack[], runs: import('./trial.js').Planned[]}} p */
export function Lacks({ lacks, runs }) {
  if (lacks.length === 0) return null;
  return html`<section class="lacks" aria-labelledby="today-lacks"><h3 id="today-lacks">${t('today.lacks')}</h3><ul>${lacks.map((l) => {
    const r = runs.find((x) => x.run === l.run), v = { run: String(l.run), due: r?.due_ms ? when(r.due_ms) : '', off: r?.placed ? when(r.free_ms) : '' };
    return html`<li key=${l.run}><p><${Mark} grade="ask" /> <strong>${t(!r?.placed ? (v.due ? 'today.lack_due_no_place' : 'today.lack_no_place') : 'today.lack_late', v)}</strong></p>
      ${helps(l).map((x) => html`<p class="quiet">${x}</p>`)}</li>`;
  })}</ul></section>`;
}
