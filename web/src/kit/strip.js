// A day as strips: spans on a time axis, one row a machine, against desk hours. SPDX-License-Identifier: Apache-2.0
import { useEffect, useLayoutEffect, useRef, useState } from 'preact/hooks';
import { html } from './html.js';
import { clock, when } from './when.js';
import { t } from './words.js';

/** Times in ms. says: the whole sentence; open: nobody knows the end; low, high: the range of the end; thin: a part of the span below it, drawn along its lower edge.
 * @typedef {{key: any, from: number, to: number, label: string, says?: string, kind?: 'run'|'planned'|'promised'|'wait'|'out'|'care'|'done'|'watch', href?: string, open?: boolean, low?: number, high?: number, thin?: boolean,
 *   take?: () => void, held?: boolean}} Span  take: it may be moved, and is taken up by a press, Enter or a drag; held: it is being moved */
/** marks: moments at which somebody is needed; bad: nobody is there. @typedef {{key: string, label: string, href?: string, spans: Span[], marks?: {at: number, says: string, bad?: boolean}[], was?: {from: number, to: number}[]}} StripRow  was: where something was before it was moved */
/** rows of spans between from and to (ms); hours: when the desk is open. Arrow keys walk from span to span; the table below says the same.
 * What may be moved is dropped on a row at a time (step: ms), or, while it is held, nudged by arrows: one step, one row; Enter keeps it.
 * @param {{label: string, from: number, to: number, rows: StripRow[], hours?: {from: number, to: number}[], now?: number, step?: number,
 *   onDrop?: (span: Span, row: any, at: number) => void, onNudge?: (steps: number, rows: number) => void, onKeep?: () => void}} p */
export function Strip(p) {
  /** @type {{current: HTMLDivElement|null}} */
  const box = useRef(null);
  const [width, setWidth] = useState(800);
  const [at, setAt] = useState(['', '']);
  const [drag, setDrag] = useState(/** @type {{key: string, x: number, y: number, dx: number, dy: number}|null} */ (null));
  const held = p.rows.flatMap((r) => r.spans.filter((s) => s.held).map((s) => `${r.key}/${s.key}`))[0], mine = useRef(false), dragged = useRef(false);
  useLayoutEffect(() => { // it was moved to another row with the focus on it
    if (held && mine.current && document.activeElement === document.body) /** @type {any} */ (box.current?.querySelector(`[data-at="${CSS.escape(held)}"]`))?.focus();
  });
  useEffect(() => {
    const o = new ResizeObserver((e) => setWidth(Math.max(240, Math.floor(e[0].contentRect.width))));
    if (box.current) o.observe(box.current);
    return () => o.disconnect();
  }, []);
  const head = width < 520 ? 68 : 96, high = 38, top = 24, all = top + p.rows.length * high + 4;
  const x = (/** @type {number} */ ms) => head + ((Math.min(Math.max(ms, p.from), p.to) - p.from) / (p.to - p.from)) * (width - head - 8);
  const hour = 3600000, step = [1, 2, 3, 4, 6, 12, 24].find((h) => ((p.to - p.from) / hour / h) * 52 < width - head) ?? 24;
  const ticks = [];
  for (let k = Math.ceil(p.from / hour) * hour; k <= p.to; k += hour) if (Number(clock(k).slice(0, 2)) % step === 0) ticks.push(k);
  // What lies outside of these hours is not walked to.
  const rows = p.rows.map((r) => ({ ...r, spans: r.spans.filter((s) => s.to > p.from && s.from < p.to), marks: (r.marks ?? []).filter((m) => m.at >= p.from && m.at <= p.to) }));
  const full = rows.filter((r) => r.spans.length), name = (/** @type {any} */ key) => String(key);
  const row = full.find((r) => r.key === at[0]) ?? full[0], span = row?.spans.find((s) => name(s.key) === at[1]) ?? row?.spans[0];
  const walk = (/** @type {KeyboardEvent} */ e) => {
    if (!row || !span) return;
    const nudge = span.held && { ArrowRight: [1, 0], ArrowLeft: [-1, 0], ArrowDown: [0, 1], ArrowUp: [0, -1] }[e.key];
    if (nudge && p.onNudge) {
      e.preventDefault();
      p.onNudge(nudge[0], nudge[1]);
      return;
    }
    if ((e.key === 'Enter' || e.key === ' ') && span.take) {
      e.preventDefault();
      if (span.held) p.onKeep?.();
      else span.take();
      return;
    }
    let n = full.indexOf(row), s = row.spans.indexOf(span);
    if (e.key === 'ArrowRight') s++;
    else if (e.key === 'ArrowLeft') s--;
    else if (e.key === 'Home') s = 0;
    else if (e.key === 'End') s = row.spans.length - 1;
    else if (e.key === 'ArrowDown' || e.key === 'ArrowUp') {
      n = Math.min(full.length - 1, Math.max(0, n + (e.key === 'ArrowDown' ? 1 : -1)));
      s = full[n].spans.reduce((best, one, i) => (Math.abs(one.from - span.from) < Math.abs(full[n].spans[best].from - span.from) ? i : best), 0); // the nearest in time
    } else return;
    e.preventDefault();
    s = Math.min(Math.max(0, s), full[n].spans.length - 1);
    const to = [full[n].key, name(full[n].spans[s].key)];
    setAt(to);
    /** @type {any} */ (box.current?.querySelector(`[data-at="${CSS.escape(to.join('/'))}"]`))?.focus();
  };
  // Dragged by mouse, pen or finger; a press without way takes it up.
  const back = (/** @type {number} */ px) => p.from + ((px - head) / (width - head - 8)) * (p.to - p.from), whole = p.step ?? 300000;
  const grip = (/** @type {StripRow} */ r, /** @type {Span} */ s, /** @type {number} */ i) => (!s.take ? {} : {
    onPointerDown: (/** @type {any} */ e) => { if (e.button === 0) { e.currentTarget.setPointerCapture?.(e.pointerId); dragged.current = false; setDrag({ key: `${r.key}/${s.key}`, x: e.clientX, y: e.clientY, dx: 0, dy: 0 }); } },
    onPointerMove: (/** @type {any} */ e) => { if (drag) { dragged.current ||= Math.hypot(e.clientX - drag.x, e.clientY - drag.y) > 5; setDrag({ ...drag, dx: e.clientX - drag.x, dy: e.clientY - drag.y }); } },
    onPointerUp: () => {
      if (!drag) return;
      setDrag(null);
      const to = p.rows[Math.min(Math.max(0, i + Math.round(drag.dy / high)), p.rows.length - 1)];
      if (dragged.current) p.onDrop?.(s, to.key, Math.round(back(x(s.from) + drag.dx) / whole) * whole);
    },
    onClick: () => { if (!dragged.current && !s.held) s.take?.(); },
    onPointerCancel: () => setDrag(null) });
  return html`<figure class="strip"><div ref=${box} onKeyDown=${(/** @type {any} */ e) => { if (drag && e.key === 'Escape') { e.stopPropagation(); setDrag(null); } else walk(e); }}
      onFocusIn=${() => { mine.current = true; }} onFocusOut=${(/** @type {any} */ e) => { if (e.relatedTarget && !box.current?.contains(e.relatedTarget)) mine.current = false; }}>
    <svg viewBox="0 0 ${width} ${all}" width=${width} height=${all} role="group" aria-label=${p.label}>
      <rect class="closed" x=${head} y=${top} width=${width - head - 8} height=${all - top} />
      ${(p.hours ?? []).map((h) => html`<rect key=${h.from} class="hours" x=${x(h.from)} y=${top} width=${Math.max(0, x(h.to) - x(h.from))} height=${all - top} />`)}
      ${ticks.map((k) => html`<g key=${k} aria-hidden="true"><line class="tick" x1=${x(k)} x2=${x(k)} y1=${top - 4} y2=${all} /><text class="hour" x=${x(k)} y=${top - 9} text-anchor=${x(k) > width - 26 ? 'end' : 'middle'}>${clock(k)}</text></g>`)}
      ${rows.map((r, i) => { const y = top + i * high; return html`<g key=${r.key}><line class="rule" x1="0" x2=${width} y1=${y + high} y2=${y + high} />
        <text class="name" x="0" y=${y + high / 2 + 5} aria-hidden="true">${r.label}</text>
        ${(r.was ?? []).map((w) => html`<rect key=${w.from} class="span was" x=${x(w.from)} y=${y + 5} width=${Math.max(4, x(w.to) - x(w.from))} height=${high - 10} rx="3" />`)}
        ${r.spans.map((s) => { const from = x(s.from), wide = Math.max(4, x(s.to) - from), says = s.says ?? spanWords(r.label, s), kind = s.kind ?? 'run';
          const inner = html`<rect class="span ${kind} ${s.open ? 'open' : ''} ${s.held ? 'held' : ''}" x=${from} y=${s.thin ? y + high - 12 : y + 5} width=${wide} height=${s.thin ? 7 : high - 10} rx=${s.thin ? 2 : 3} />
            ${s.low !== undefined && s.high !== undefined && x(s.high) - x(s.low) > 3 && html`<path class="whisker" d="M${x(s.low)} ${y + 9}v6M${x(s.low)} ${y + 12}H${x(s.high)}M${x(s.high)} ${y + 9}v6" />`}
            ${!s.thin && wide > s.label.length * 7.4 + 12 && html`<text class="in ${kind}" x=${from + 6} y=${y + high / 2 + 4.5} aria-hidden="true">${s.label}</text>`}<title>${says}</title>`;
          const tab = row?.key === r.key && span?.key === s.key ? '0' : '-1', focus = () => setAt([r.key, name(s.key)]), where = `${r.key}/${name(s.key)}`;
          const moved = drag?.key === where ? `translate(${drag.dx} ${drag.dy})` : undefined;
          if (s.take) return html`<g key=${s.key} role="button" class="grip ${moved ? 'dragged' : ''}" tabindex=${tab} data-at=${where} aria-label=${says} aria-pressed=${s.held ? 'true' : 'false'} transform=${moved} onFocus=${focus} ...${grip(r, s, i)}>${inner}</g>`;
          return s.href ? html`<a key=${s.key} href=${s.href} tabindex=${tab} data-at=${where} aria-label=${says} onFocus=${focus}>${inner}</a>`
            : html`<g key=${s.key} role="img" tabindex=${tab} data-at=${where} aria-label=${says} onFocus=${focus}>${inner}</g>`; })}
        ${r.marks.map((m) => html`<g key=${m.at} class="mark-at ${m.bad ? 'bad' : ''}" role="img" aria-label=${m.says}><title>${m.says}</title><path d="M${x(m.at)} ${y + 4}l6 6-6 6-6-6z" />${m.bad && html`<path class="cross" d="M${x(m.at) - 3} ${y + 7}l6 6m0-6l-6 6" />`}</g>`)}</g>`; })}
      ${p.now !== undefined && p.now > p.from && p.now < p.to && html`<g class="now" aria-hidden="true"><line x1=${x(p.now)} x2=${x(p.now)} y1=${top - 6} y2=${all} /><path d="M${x(p.now) - 5} ${top - 8}h10l-5 7z" /></g>`}
    </svg></div>
    <details class="as-table"><summary>${t('kit.as_table')}</summary><div class="scroll" tabindex="0" role="region" aria-label=${p.label}><table><caption class="only-read">${p.label}</caption><thead><tr><th scope="col">${t('kit.machine')}</th><th scope="col">${t('kit.from')}</th><th scope="col">${t('kit.until')}</th><th scope="col">${t('kit.what')}</th></tr></thead>
      <tbody>${rows.flatMap((r) => (r.spans.length || r.marks.length ? [...r.spans.map((s) => html`<tr key=${`${r.key}/${s.key}`}><th scope="row">${r.label}</th><td>${when(s.from)}</td><td>${s.open ? t('kit.end_unknown') : when(s.to)}</td><td>${s.href ? html`<a href=${s.href}>${s.label}</a>` : s.label}</td></tr>`),
        ...r.marks.map((m) => html`<tr key=${`${r.key}/m${m.at}`}><th scope="row">${r.label}</th><td>${when(m.at)}</td><td></td><td>${m.says}</td></tr>`)]
        : [html`<tr key=${r.key}><th scope="row">${r.label}</th><td colspan="3">${t('kit.free')}</td></tr>`]))}</tbody></table></div></details></figure>`;
}
/** @param {string} row @param {Span} s */
const spanWords = (row, s) => t('kit.span', { row, label: s.label, from: when(s.from), to: s.open ? t('kit.end_unknown') : when(s.to) });
