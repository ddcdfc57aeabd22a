// A chart (uPlot, loaded on demand) with a sentence and a table of the same. SPDX-License-Identifier: Apache-2.0
import { useEffect, useRef } from 'preact/hooks';
import { html } from './html.js';
import { date, number, shortDay } from './when.js';
import { language, t } from './words.js';

/** says: what is to be seen, in a sentence. x: times in s or numbers, rising; series: each as long as x, null: none.
 * @param {{title: string, says: string, x: number[], series: {label: string, values: (number|null)[], unit?: string, bars?: boolean, places?: number}[], time?: boolean, xLabel: string, showX?: (x: number) => string, height?: number}} p */
export function Chart(p) {
  /** @type {{current: HTMLDivElement|null}} */
  const at = useRef(null);
  const showX = p.showX ?? ((v) => (p.time ? date(v * 1000) : number(v)));
  const data = JSON.stringify([p.x, p.series.map((s) => s.values)]);
  useEffect(() => {
    let over = false;
    /** @type {{destroy: () => void, setSize: (s: {width: number, height: number}) => void}|undefined} */ let plot;
    const box = at.current;
    const draw = async () => {
      const { default: uPlot } = await import('uplot');
      if (over || !box) return;
      plot?.destroy();
      const css = getComputedStyle(box), ink = css.getPropertyValue('--ink-2').trim(), rule = css.getPropertyValue('--rule').trim();
      const axis = { stroke: ink, grid: { stroke: rule, width: 1 }, ticks: { stroke: rule, width: 1 } };
      const dash = [[], [7, 4], [2, 3], [9, 3, 2, 3]];
      plot = new uPlot({ width: box.clientWidth, height: p.height ?? 220, legend: { show: p.series.length > 1, live: false }, cursor: { drag: { x: false, y: false } }, scales: { x: { time: !!p.time } },
        axes: [{ ...axis, ...(p.time ? { values: (_, v) => v.map((k) => shortDay(k * 1000)) } : { values: (_, v) => v.map((k) => showX(k)) }) }, { ...axis, size: 60, values: (_, v) => v.map((k) => number(k, Number.isInteger(k) ? 0 : 1)) }],
        series: [{ label: p.xLabel }, ...p.series.map((s, i) => ({ label: s.label, stroke: css.getPropertyValue(`--line-${(i % 4) + 1}`).trim(), fill: s.bars ? css.getPropertyValue(`--line-${(i % 4) + 1}`).trim() : undefined,
          width: 2, dash: dash[i % 4], points: { show: !s.bars && p.x.length < 40 }, paths: s.bars && uPlot.paths.bars ? uPlot.paths.bars({ size: [0.7, 60] }) : undefined }))] },
      /** @type {any} */ ([p.x, ...p.series.map((s) => s.values)]), box);
    };
    void draw();
    const size = new ResizeObserver(() => { if (box) plot?.setSize({ width: box.clientWidth, height: p.height ?? 220 }); });
    if (box) size.observe(box);
    addEventListener('proveout-theme', draw);
    return () => { over = true; size.disconnect(); removeEventListener('proveout-theme', draw); plot?.destroy(); };
  }, [data, language.value]);
  return html`<figure class="chart"><figcaption><strong>${p.title}</strong> <span>${p.says}</span></figcaption><div ref=${at} class="plot" aria-hidden="true"></div>
    <details class="as-table"><summary>${t('kit.as_table')}</summary><div class="scroll" tabindex="0" role="region" aria-label=${p.title}><table><caption class="only-read">${p.title}</caption><thead><tr><th scope="col">${p.xLabel}</th>${p.series.map((s) => html`<th scope="col" class="right">${s.label}${s.unit ? ` (${s.unit})` : ''}</th>`)}</tr></thead>
      <tbody>${p.x.map((v, i) => html`<tr key=${v}><th scope="row">${showX(v)}</th>${p.series.map((s) => { const y = s.values[i]; return html`<td class="right">${y === null || y === undefined ? '\u2013' : number(y, s.places ?? 0)}</td>`; })}</tr>`)}</tbody></table></div></details></figure>`;
}
