// A day as strips: spans on a time axis, one row a machine, against desk hours. SPDX-License-Identifier: Apache-2.0
import { useEffect, useRef, useState } from 'preact/hooks';
import { html } from './html.js';
import { clock, when } from './when.js';
import { t } from './words.js';

/** @typedef {{key: any, from: number, to: number, label: string, says?: string, kind?: 'run'|'planned'|'wait'|'out'|'care', href?: string, open?: boolean}} Span  times in ms; says: the whole sentence; open: nobody knows the end */
/** @typedef {{key: string, label: string, href?: string, spans: Span[]}} StripRow */
/** rows of spans between from and to (ms); hours: when the desk is open. Arrow keys walk from span to span; the table below says the same.
 * @param {{label: string, from: number, to: number, rows: StripRow[], hours?: {from: number, to: number}[], now?: number}} p */
export function Strip(p) {
  /** @type {{current: HTMLDivElement|null}} */
  const box = useRef(null);
  const [width, setWidth] = useState(800);
  const [at, setAt] = useState([0, 0]);
  useEffect(() => {
    const o = new ResizeObserver((e) => setWidth(Math.max(240, e[0].contentRect.width)));
    if (box.current) o.observe(box.current);
    return () => o.disconnect();
  }, []);
  const head = width < 520 ? 64 : 96, high = 34, top = 24, all = top + p.rows.length * high + 4;
  const x = (/** @type {number} */ ms) => head + ((Math.min(Math.max(ms, p.from), p.to) - p.from) / (p.to - p.from)) * (width - head - 8);
  const hour = 3600000, step = hour * ([1, 2, 3, 4, 6, 12, 24].find((h) => ((p.to - p.from) / hour / h) * 52 < width - head) ?? 24);
  const ticks = [];
  for (let k = Math.ceil(p.from / hour) * hour; k <= p.to; k += hour) if (Number(clock(k).slice(0, 2)) % (step / hour) === 0) ticks.push(k);
  const walk = (/** @type {KeyboardEvent} */ e) => {
    const full = p.rows.map((r, i) => ({ r, i })).filter(({ r }) => r.spans.length);
    if (!full.length) return;
    let n = Math.max(0, full.findIndex(({ i }) => i === at[0])), s = at[1];
    if (e.key === 'ArrowRight') s++;
    else if (e.key === 'ArrowLeft') s--;
    else if (e.key === 'ArrowDown') { n = Math.min(full.length - 1, n + 1); s = 0; }
    else if (e.key === 'ArrowUp') { n = Math.max(0, n - 1); s = 0; }
    else return;
    e.preventDefault();
    s = Math.min(Math.max(0, s), full[n].r.spans.length - 1);
    setAt([full[n].i, s]);
    /** @type {any} */ (box.current?.querySelector(`[data-at="${full[n].i}/${s}"]`))?.focus();
  };
  const first = p.rows.findIndex((r) => r.spans.length), chosen = p.rows[at[0]]?.spans[at[1]] ? at : [first, 0];
  return html`<figure class="strip" aria-label=${p.label}><div ref=${box} onKeyDown=${walk}>
    <svg viewBox="0 0 ${width} ${all}" width=${width} height=${all} role="group" aria-label=${p.label}>
      ${(p.hours ?? []).map((h) => html`<rect key=${h.from} class="hours" x=${x(h.from)} y=${top} width=${Math.max(0, x(h.to) - x(h.from))} height=${all - top} />`)}
      ${ticks.map((k) => html`<g key=${k} aria-hidden="true"><line class="tick" x1=${x(k)} x2=${x(k)} y1=${top - 4} y2=${all} /><text class="hour" x=${x(k)} y=${top - 9} text-anchor="middle">${clock(k)}</text></g>`)}
      ${p.rows.map((r, i) => { const y = top + i * high; return html`<g key=${r.key}><line class="rule" x1="0" x2=${width} y1=${y + high} y2=${y + high} />
        <text class="name" x="0" y=${y + high / 2 + 5} aria-hidden="true">${r.label}</text>
        ${r.spans.map((s, j) => { const from = x(s.from), wide = Math.max(4, x(s.to) - from), says = s.says ?? spanWords(r.label, s);
          const inner = html`<rect class="span ${s.kind ?? 'run'} ${s.open ? 'open' : ''}" x=${from} y=${y + 5} width=${wide} height=${high - 10} rx="3" />
            ${wide > s.label.length * 7.2 + 10 && html`<text class="in ${s.kind ?? 'run'}" x=${from + 6} y=${y + high / 2 + 4.5} aria-hidden="true">${s.label}</text>`}<title>${says}</title>`;
          const tab = chosen[0] === i && chosen[1] === j ? '0' : '-1';
          return s.href ? html`<a key=${s.key} href=${s.href} tabindex=${tab} data-at="${i}/${j}" aria-label=${says} onFocus=${() => setAt([i, j])}>${inner}</a>`
            : html`<g key=${s.key} role="img" tabindex=${tab} data-at="${i}/${j}" aria-label=${says} onFocus=${() => setAt([i, j])}>${inner}</g>`; })}</g>`; })}
      ${p.now !== undefined && p.now > p.from && p.now < p.to && html`<g class="now" aria-hidden="true"><line x1=${x(p.now)} x2=${x(p.now)} y1=${top - 6} y2=${all} /><path d="M${x(p.now) - 5} ${top - 8}h10l-5 7z" /></g>`}
    </svg></div>
    <details class="as-table"><summary>${t('kit.as_table')}</summary><table><caption class="only-read">${p.label}</caption><thead><tr><th scope="col">${t('kit.machine')}</th><th scope="col">${t('kit.from')}</th><th scope="col">${t('kit.until')}</th><th scope="col">${t('kit.what')}</th></tr></thead>
      <tbody>${p.rows.flatMap((r) => (r.spans.length ? r.spans.map((s) => html`<tr key=${r.key + s.key}><th scope="row">${r.label}</th><td>${when(s.from)}</td><td>${s.open ? t('kit.end_unknown') : when(s.to)}</td><td>${s.label}</td></tr>`)
        : [html`<tr key=${r.key}><th scope="row">${r.label}</th><td colspan="3">${t('kit.free')}</td></tr>`]))}</tbody></table></details></figure>`;
}
/** @param {string} row @param {Span} s */
const spanWords = (row, s) => t('kit.span', { row, label: s.label, from: when(s.from), to: s.open ? t('kit.end_unknown') : when(s.to) });
