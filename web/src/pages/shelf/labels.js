// Labels for parts, several on a sheet, with bars and squares drawn as the server made them. SPDX-License-Identifier: Apache-2.0
import { Button, day, html, Loading, shop, t, Trouble, useAsk, useEffect } from '../../kit/index.js';

/** Bars of code 128: widths of bar and space in turn; ten quiet modules on each side. @param {{bars: {modules: number, widths: number[]}, label: string}} p */
function Bars({ bars, label }) {
  let at = 10, path = '';
  bars.widths.forEach((w, i) => { if (i % 2 === 0) path += `M${at} 0h${w}v20h-${w}z`; at += w; });
  return html`<svg class="bars" viewBox="0 0 ${bars.modules + 20} 20" preserveAspectRatio="none" role="img" aria-label=${label} shape-rendering="crispEdges"><path d=${path} /></svg>`;
}
/** Squares (ISO/IEC 18004) with their four quiet ones. @param {{squares: {size: number, rows: string[]}, label: string}} p */
function Squares({ squares, label }) {
  const path = squares.rows.flatMap((row, y) => [...row].map((c, x) => (c === '1' ? `M${x + 4} ${y + 4}h1v1h-1z` : ''))).join('');
  return html`<svg class="squares" viewBox="0 0 ${squares.size + 8} ${squares.size + 8}" role="img" aria-label=${label} shape-rendering="crispEdges"><path d=${path} /></svg>`;
}
/** A sheet of labels for these runs. @param {{runs: number[], onBack: () => void}} p */
export function Labels({ runs, onBack }) {
  const { data, error, again } = useAsk('/api/1/shelf/labels', { runs: runs.join() }, { concerns: ['shelf-'] });
  useEffect(() => { /** @type {HTMLElement|null} */ (document.querySelector('.labels-acts button'))?.focus(); }, []);
  return html`<section class="labels" aria-labelledby="labels-head"><div class="row labels-acts"><h2 id="labels-head">${t('shelf.labels', { n: runs.length })}</h2>
      <${Button} kind="main" onPress=${() => window.print()}>${t('kit.print')}<//><${Button} onPress=${onBack}>${t('shelf.labels_back')}<//></div>
    <${Trouble} error=${error} onAgain=${again} />${!data && !error && html`<${Loading} />`}
    <ul class="sheet">${data?.labels.map((/** @type {any} */ l) => html`<li key=${l.run}><p class="run">${l.run}</p>
      ${l.squares && html`<${Squares} squares=${l.squares} label=${t('shelf.squares_of', { code: l.code })} />`}
      <dl><div><dt>${t('shelf.member')}</dt><dd>${l.member}</dd></div><div><dt>${t('shelf.place')}</dt><dd>${l.place ?? '\u2013'}</dd></div>${l.kept_until_ms && html`<div><dt>${t('shelf.kept_until')}</dt><dd>${day(l.kept_until_ms - 1)}</dd></div>`}<div><dt>${t('kit.machine')}</dt><dd>${l.machine}</dd></div></dl>
      <${Bars} bars=${l.bars} label=${t('shelf.bars_of', { code: l.code })} /><p class="house">${shop.value?.name ?? ''}</p></li>`)}</ul></section>`;
}
