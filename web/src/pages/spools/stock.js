// What is in hand by material now, and how the shop's stock went. SPDX-License-Identifier: Apache-2.0
import { Chart, day, grams, html, number, t, Trouble, useAsk, useMemo } from '../../kit/index.js';

const DAY = 86400000, DAYS = 28;

export function Stock() {
  const edges = useMemo(() => { const now = Date.now(); return Array.from({ length: DAYS + 1 }, (_, i) => now - (DAYS - i) * DAY); }, []);
  const { data, error } = useAsk('stock', { edges_ms: edges }, { concerns: ['spool-', 'run-', 'undo'] });
  if (error) return html`<${Trouble} error=${error} />`;
  if (!data || data.materials.length === 0) return null;
  const shown = data.materials.slice(0, 4), total = data.materials.reduce((/** @type {number} */ sum, /** @type {any} */ m) => sum + (m.mg[m.mg.length - 1] ?? 0), 0);
  const before = data.materials.reduce((/** @type {number} */ sum, /** @type {any} */ m) => sum + (m.mg[0] ?? 0), 0);
  return html`<section aria-labelledby="s-stock"><h2 id="s-stock">${t('spools.stock')}</h2>
    <${Chart} title=${t('spools.stock_title', { n: DAYS })} says=${t('spools.stock_says', { total: `${number(total / 1e6, 1)} kg`, before: `${number(before / 1e6, 1)} kg`, day: day(edges[0]), materials: data.materials.map((/** @type {any} */ m) => `${m.material} ${grams(m.mg[m.mg.length - 1])}`).join(', ') })}
      time xLabel=${t('spools.when')} x=${edges.map((e) => Math.round(e / 1000))} showX=${(/** @type {number} */ x) => day(x * 1000)} series=${shown.map((/** @type {any} */ m) => ({ label: m.material, values: m.mg.map((/** @type {number} */ v) => v / 1000), unit: 'g' }))} />
    ${data.unknown > 0 && html`<p class="quiet">${t('spools.stock_unknown', { n: data.unknown })}</p>`}</section>`;
}
