// One line a machine, first of all: yes, no or why, metres, when; and the sentence to read aloud. SPDX-License-Identifier: Apache-2.0
import { html, number, span, t, Verdict, when } from '../../kit/index.js';

/** Metres from mm. @param {number|null|undefined} mm */
export const metresOf = (mm) => (mm === null || mm === undefined ? '' : `${number(mm / 1000, 1)}\u202fm`);

/** "start by 15:10, off the bed tomorrow 09:40". @param {any} row */
export function whenWords(row) {
  if (row.verdict === 'stop') return '';
  if (row.good === 'never' || row.start_ms === undefined) return row.good ? t('prove.never') : '';
  const later = row.start_ms > Date.now() + 60000;
  const start = later ? t('prove.from_by', { from: when(row.start_ms), by: when(row.start_by_ms) }) : t('prove.start_by', { at: when(row.start_by_ms) });
  const off = row.off_bed_ms !== undefined ? t('prove.off_bed', { at: when(row.off_bed_ms) }) : t('prove.ends', { at: when(row.end_ms) });
  return `${start}, ${off}`;
}

/** What a machine would take: of a job its own figures, of a part the estimate it is judged by. @param {any} row @param {any} one */
export function takes(row, one) {
  if (row.filament_mm !== undefined) return { mm: row.filament_mm, seconds: row.seconds };
  const e = one?.facts?.estimates?.[0] ?? one?.estimates?.[0];
  return e ? { mm: e.filament_mm, seconds: e.seconds } : { mm: undefined, seconds: undefined };
}

/** @param {{rows: any[], ones: any[], chosen: number, onChoose: (i: number) => void}} p */
export function Lines({ rows, ones, chosen, onChoose }) {
  return html`<div class="lines" role="group" aria-label=${t('prove.machines')}>
    ${rows.map((row, i) => {
      const { mm, seconds } = takes(row, ones[i]);
      const at = whenWords(row);
      return html`<button type="button" key=${row.machine} class="line ${row.verdict}" aria-pressed=${i === chosen} onClick=${() => onChoose(i)}>
        <strong class="name">${row.machine}</strong>
        <${Verdict} verdict=${row.verdict}>${t(`prove.answer_${row.verdict}`)}<//>
        <span class="takes">${mm !== undefined && html`<b>${metresOf(mm)}</b> ${span(seconds * 1000)}`}</span>
        <span class="when">${at || (row.obstacle ? row.obstacle.says : '')}</span>
        ${at && row.obstacle && html`<span class="why">${row.obstacle.says}</span>`}
      </button>`;
    })}</div>`;
}

/** @param {{row: any}} p */
export const Aloud = ({ row }) => html`<figure class="aloud ${row.verdict}"><figcaption>${t('prove.read_aloud')}</figcaption><blockquote lang="en">${row.reads}</blockquote></figure>`;
