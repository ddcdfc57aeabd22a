// Charts of the book: use by day, machine, material, failures by cause, allowance of the term; each says what it shows. SPDX-License-Identifier: Apache-2.0
import { Chart, day, dayKey, html, metres, number, t, Trouble, useAsk, useMemo } from '../../kit/index.js';
import { bookWord, dayOver, PlainBar } from '../people/acting.js';

const DAYS = 21, FEW = 30; // below so many runs shares say little

/** Days of the shop's zone that end with today, as moments; the clocks may change between them. */
function edgesOf() {
  const over = dayOver(dayKey(Date.now())), list = [over];
  for (let i = 1; i <= DAYS; i++) list.unshift(dayOver(dayKey(list[0] - 12 * 3600000 - 86400000 + 1)));
  return [...new Set(list)];
}
export function UseByDay() {
  const edges = useMemo(edgesOf, []);
  const { data, error } = useAsk('run-sums', { by: 'month', edges_ms: edges }, { concerns: ['run-', 'undo'] });
  if (error) return html`<${Trouble} error=${error} />`;
  if (!data) return null;
  const rows = data.sums, um = rows.reduce((/** @type {number} */ a, /** @type {any} */ r) => a + r.um, 0), runs = rows.reduce((/** @type {number} */ a, /** @type {any} */ r) => a + r.runs, 0);
  const most = rows.reduce((/** @type {any} */ a, /** @type {any} */ r) => (r.um > a.um ? r : a), rows[0]);
  return html`<${Chart} title=${t('book.by_day')} says=${um === 0 ? t('book.by_day_none', { n: rows.length }) : t('book.by_day_says', { n: runs, days: rows.length, metres: metres(um, 0), day: day(most.from_ms), most: metres(most.um, 0) })} time xLabel=${t('book.day')}
    x=${rows.map((/** @type {any} */ r) => Math.round(r.from_ms / 1000))} showX=${(/** @type {number} */ x) => day(x * 1000)} series=${[{ label: t('person.length'), values: rows.map((/** @type {any} */ r) => r.um / 1e6), unit: 'm', bars: true, places: 1 }]} />`;
}
/** Bars one below the other, longest first, with the figures beside them. @param {{title: string, says: string, first: string, rows: {key: string, value: number, cells: any[]}[], heads: string[]}} p */
export function Bars({ title, says, first, rows, heads }) {
  const most = Math.max(1, ...rows.map((r) => r.value));
  return html`<figure class="bars"><figcaption><strong>${title}</strong> <span>${says}</span></figcaption><table><caption class="only-read">${title}</caption><thead><tr><th scope="col">${first}</th>${heads.map((h) => html`<th key=${h} scope="col" class="right">${h}</th>`)}</tr></thead>
    <tbody>${rows.map((r) => html`<tr key=${r.key}><th scope="row">${r.key}<svg viewBox="0 0 100 6" preserveAspectRatio="none" aria-hidden="true" focusable="false"><rect x="0" y="0" width=${(r.value / most) * 100} height="6" /></svg></th>${r.cells.map((c, i) => html`<td key=${heads[i]} class="right">${c}</td>`)}</tr>`)}</tbody></table></figure>`;
}
/** @param {{by: 'machine'|'material', from?: number, until?: number}} p */
export function UseBy({ by, from, until }) {
  const { data, error } = useAsk('run-sums', { by, from, until, limit: 40 }, { concerns: ['run-', 'undo'] });
  if (error) return html`<${Trouble} error=${error} />`;
  if (!data) return null;
  const rows = [...data.sums].sort((a, b) => b.um - a.um), all = rows.reduce((a, r) => a + r.um, 0), hours = rows.reduce((a, r) => a + r.seconds, 0) / 3600;
  return html`<${Bars} title=${t(`book.by_${by}`)} says=${all === 0 ? t('book.by_none') : t(`book.by_${by}_says`, { metres: metres(all, 0), hours: number(hours), key: rows[0].key ?? t('book.not_said'), most: metres(rows[0].um, 0), n: rows.length })} first=${t(`book.head_${by}`)}
    heads=${[t('person.runs'), t('person.length'), t('book.hours')]} rows=${rows.map((r) => ({ key: r.key ?? t('book.not_said'), value: r.um, cells: [number(r.runs), metres(r.um, 0), number(r.seconds / 3600, 1)] }))} />`;
}
/** @param {{from?: number, until?: number}} p */
export function Failures({ from, until }) {
  const { data, error } = useAsk('run-sums', { by: 'cause', from, until, limit: 40 }, { concerns: ['run-', 'undo'] });
  if (error) return html`<${Trouble} error=${error} />`;
  if (!data) return null;
  const over = data.sums.reduce((/** @type {number} */ a, /** @type {any} */ r) => a + r.good + r.failed + r.stopped, 0);
  const rows = data.sums.map((/** @type {any} */ r) => ({ key: r.key ? bookWord('cause', r.key) : t('book.no_cause'), n: r.failed + r.stopped, um: r.um, cause: r.key })).filter((/** @type {any} */ r) => r.n > 0).sort((/** @type {any} */ a, /** @type {any} */ b) => b.n - a.n);
  const failed = rows.reduce((/** @type {number} */ a, /** @type {any} */ r) => a + r.n, 0), low = wilson(failed, over);
  return html`<${Bars} title=${t('book.failures')} first=${t('book.cause')} heads=${[t('book.failed_runs'), t('person.length')]}
    says=${over === 0 ? t('book.failures_none_yet') : failed === 0 ? t('book.failures_none', { n: over }) : `${t('book.failures_says', { failed, n: over, low: number(low[0] * 100), high: number(low[1] * 100), cause: rows[0].key, most: rows[0].n })}${failed < FEW ? ` ${t('book.few')}` : ''}`}
    rows=${rows.map((/** @type {any} */ r) => ({ key: r.key, value: r.n, cells: [number(r.n), metres(r.um, 0)] }))} />`;
}
/** The 95 % score interval of a share: E. B. Wilson, J. Am. Stat. Assoc. 22 (1927) 209-212. @param {number} k @param {number} n @returns {[number, number]} */
export function wilson(k, n) {
  if (n === 0) return [0, 1];
  const z = 1.959964, p = k / n, d = 1 + (z * z) / n, middle = (p + (z * z) / (2 * n)) / d, half = (z * Math.sqrt((p * (1 - p)) / n + (z * z) / (4 * n * n))) / d;
  return [Math.max(0, middle - half), Math.min(1, middle + half)];
}
/** How much of their allowance members have used, in tenths. @param {{term: any}} p */
export function Allowances({ term }) {
  const rows = term.by_member ?? [], all = term.allowance_um;
  if (!all || rows.length === 0) return html`<p class="quiet">${t('book.allowance_none')}</p>`;
  const bins = Array.from({ length: 11 }, () => 0);
  for (const r of rows) bins[Math.min(10, Math.floor((r.charged_um / all) * 10))]++;
  const near = rows.filter((/** @type {any} */ r) => r.charged_um >= all * 0.8 && r.charged_um <= all).length, over = rows.filter((/** @type {any} */ r) => r.charged_um > all).length;
  const past = (Date.now() - term.from_ms) / (term.until_ms - term.from_ms);
  return html`<div class="stack"><${PlainBar} parts=${[{ share: Math.max(0, Math.min(1, past)), kind: 'used' }]} says=${t('book.term_past', { percent: number(Math.max(0, Math.min(1, past)) * 100), until: day(term.until_ms - 1) })} />
    <${Chart} title=${t('book.allowance')} says=${t('book.allowance_says', { n: rows.length, near, over, all: metres(all, 0) })} xLabel=${t('book.allowance_share')} x=${bins.map((_, i) => i * 10)} showX=${(/** @type {number} */ x) => (x >= 100 ? t('book.allowance_over') : `${x}–${x + 10} %`)}
      series=${[{ label: t('pages.people'), values: bins, bars: true }]} />${term.more && html`<p class="quiet">${t('book.allowance_more', { n: rows.length })}</p>`}</div>`;
}
