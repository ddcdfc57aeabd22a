// Small parts: buttons, fields, choices, verdicts, findings, notices, cautions. SPDX-License-Identifier: Apache-2.0
import { signal } from '@preact/signals';
import { useId, useRef, useState, useEffect } from 'preact/hooks';
import { Away, Problem } from './api.js';
import { html } from './html.js';
import { clock } from './when.js';
import { t } from './words.js';

/** kind: 'main' (the one thing to do here), 'plain', 'quiet', 'danger'. busy: shows that it works and takes no second press.
 * @param {{kind?: 'main'|'plain'|'quiet'|'danger', onPress?: () => any, href?: string, busy?: boolean, disabled?: boolean, hotkey?: string, label?: string, type?: 'button'|'submit', children?: any, class?: string}} p */
export function Button(p) {
  const [works, setWorks] = useState(false);
  const press = async () => {
    if (works || p.busy) return;
    const done = p.onPress?.();
    if (done instanceof Promise) {
      setWorks(true);
      try { await done; } finally { setWorks(false); }
    }
  };
  const c = `button ${p.kind ?? 'plain'} ${p.class ?? ''}`;
  const inside = html`<span>${p.children}</span>${p.hotkey && html`<kbd aria-hidden="true">${p.hotkey}</kbd>`}`;
  if (p.href) return html`<a class=${c} href=${p.href} aria-label=${p.label}>${inside}</a>`;
  return html`<button type=${p.type ?? 'button'} class=${c} disabled=${p.disabled} aria-busy=${works || p.busy ? 'true' : undefined}
    aria-label=${p.label} aria-keyshortcuts=${p.hotkey} onClick=${p.type === 'submit' ? undefined : press}>${inside}</button>`;
}

/** A labelled input. error: text beside it (from a problem whose `where` names it). unit: after it.
 * @param {{label: string, value: any, onInput: (value: string) => void, name?: string, hint?: string, error?: string, unit?: string, type?: string, inputmode?: string,
 *   autocomplete?: string, required?: boolean, rows?: number, autofocus?: boolean, min?: number|string, max?: number|string, maxlength?: number, placeholder?: string, list?: string[]}} p */
export function Field(p) {
  const id = useId();
  /** @type {{current: HTMLInputElement|HTMLTextAreaElement|null}} */
  const input = useRef(null);
  useEffect(() => { // the form was sent by its button: whoever pressed is taken to the first field at fault; who types elsewhere is left alone
    const on = document.activeElement;
    if (p.error && input.current && (on === document.body || on?.tagName === 'BUTTON') && document.querySelector('main [aria-invalid="true"], dialog [aria-invalid="true"]') === input.current) input.current.focus();
  }, [p.error]);
  const about = [p.hint && `${id}h`, p.error && `${id}e`].filter(Boolean).join(' ') || undefined;
  const common = { id, ref: input, name: p.name, value: p.value, required: p.required, autocomplete: p.autocomplete ?? 'off', maxlength: p.maxlength, placeholder: p.placeholder,
    'aria-describedby': about, 'aria-invalid': p.error ? 'true' : undefined, 'data-autofocus': p.autofocus ? '' : undefined,
    onInput: (/** @type {any} */ e) => p.onInput(e.currentTarget.value) };
  return html`<div class="field ${p.error ? 'faulty' : ''}">
    <label for=${id}>${p.label}${p.required ? '' : html` <small>${t('kit.optional')}</small>`}</label>
    ${p.hint && html`<p class="hint" id="${id}h">${p.hint}</p>`}
    <span class="with-unit">${p.rows ? html`<textarea rows=${p.rows} ...${common}></textarea>`
      : html`<input type=${p.type ?? 'text'} inputmode=${p.inputmode} min=${p.min} max=${p.max} list=${p.list ? `${id}l` : undefined} ...${common} />`}
      ${p.unit && html`<span class="unit">${p.unit}</span>`}</span>
    ${p.list && html`<datalist id="${id}l">${p.list.map((v) => html`<option value=${v} />`)}</datalist>`}
    ${p.error && html`<p class="error" id="${id}e"><${Mark} grade="stop" /> ${p.error}</p>`}
  </div>`;
}

/** One of a few: a radio group, as a row of segments or (stack) below each other.
 * @param {{label: string, value: any, options: {value: any, label: any, hint?: string, disabled?: boolean}[], onChange: (value: any) => void, stack?: boolean, hint?: string, hideLabel?: boolean}} p */
export function Choice(p) {
  const id = useId();
  return html`<fieldset class="choice ${p.stack ? 'stack' : ''}"><legend class=${p.hideLabel ? 'only-read' : ''}>${p.label}</legend>
    ${p.hint && html`<p class="hint">${p.hint}</p>`}
    <div class="options">${p.options.map((o, i) => html`<label key=${String(o.value)} for="${id}-${i}" class=${o.value === p.value ? 'on' : ''}>
      <input type="radio" id="${id}-${i}" name=${id} checked=${o.value === p.value} disabled=${o.disabled} onChange=${() => p.onChange(o.value)} />
      <span>${o.label}${o.hint && html`<small>${o.hint}</small>`}</span></label>`)}</div></fieldset>`;
}
/** @param {{label: any, value: boolean, onChange: (on: boolean) => void, hint?: string, disabled?: boolean}} p */
export function Check(p) {
  const id = useId();
  return html`<div class="check"><input type="checkbox" id=${id} checked=${p.value} disabled=${p.disabled} aria-describedby=${p.hint ? `${id}h` : undefined}
    onChange=${(/** @type {any} */ e) => p.onChange(e.currentTarget.checked)} /><label for=${id}>${p.label}</label>
    ${p.hint && html`<p class="hint" id="${id}h">${p.hint}</p>`}</div>`;
}

/** The shape of a grade: a tick in a round, a question in a lozenge, a bar in an octagon, a dot. Beside a word always.
 * @param {{grade: 'clear'|'ask'|'stop'|'note'}} p */
export function Mark({ grade }) {
  const shape = { clear: html`<circle cx="10" cy="10" r="9" /><path class="ink" d="M5.5 10.5l3 3 6-7" />`,
    ask: html`<path d="M10 .5L19.500 10 10 19.500.5 10z" /><path class="ink" d="M7.600 8.200q.1-2.300 2.400-2.300t2.400 2q0 1.300-1.300 2-1.100.6-1.100 1.800M10 14.300v.2" />`,
    stop: html`<path d="M6.300 1h7.400L19 6.300v7.400L13.700 19H6.300L1 13.700V6.300z" /><path class="ink" d="M5.500 10h9" />`,
    note: html`<circle cx="10" cy="10" r="4" />` }[grade];
  return html`<svg class="mark ${grade}" viewBox="0 0 20 20" width="20" height="20" aria-hidden="true" focusable="false">${shape}</svg>`;
}
/** A verdict by word, shape and colour. @param {{verdict: 'clear'|'ask'|'stop', children?: any, big?: boolean}} p */
export function Verdict({ verdict, children, big }) {
  return html`<span class="verdict ${verdict} ${big ? 'big' : ''}"><${Mark} grade=${verdict} /><span>${children ?? t(`kit.verdict_${verdict}`)}</span></span>`;
}
/** Findings, worst first, as the proof names them. where: text of the place is made here.
 * @param {{findings: {name: string, grade: 'stop'|'ask'|'note', says: string, do?: string, count?: number, where?: any}[], onPlace?: (finding: any) => void}} p */
export function Findings({ findings, onPlace }) {
  if (findings.length === 0) return html`<p class="quiet">${t('kit.no_findings')}</p>`;
  const order = { stop: 0, ask: 1, note: 2 };
  return html`<ul class="findings">${[...findings].sort((a, b) => order[a.grade] - order[b.grade]).map((f) => html`<li key=${f.name + (f.where?.line ?? '')} class=${f.grade}>
    <p><${Mark} grade=${f.grade} /> <strong>${t(`kit.grade_${f.grade}`)}</strong> ${f.says}${(f.count ?? 1) > 1 ? html` <small>${t('kit.times', { n: f.count })}</small>` : ''}</p>
    ${f.do && html`<p class="do">${f.do}</p>`}
    <p class="place"><a href="/about/${f.name}">${f.name}</a>${placeWords(f.where)}${onPlace && f.where && html` <${Button} kind="quiet" onPress=${() => onPlace(f)}>${t('kit.show_place')}<//>`}</p></li>`)}</ul>`;
}
/** @param {any} w */
function placeWords(w) {
  if (!w) return '';
  const say = [w.line != null && t('kit.at_line', { line: w.line }), w.z != null && t('kit.at_z', { z: w.z }),
    w.seconds != null && t('kit.after_minutes', { n: Math.round(w.seconds / 60) })].filter(Boolean);
  return say.length ? html` <span class="quiet">${say.join(', ')}</span>` : '';
}

/** The usual caution. about: 'hot', 'moving', 'fumes', 'mains', 'lifting', 'alone'. @param {{about: string[]}} p */
export function Caution({ about }) {
  return html`<aside class="caution" aria-label=${t('kit.caution')}><svg viewBox="0 0 20 18" width="20" height="18" aria-hidden="true"><path d="M10 1l9 16H1z" /><path class="ink" d="M10 7v5M10 14v.5" /></svg>
    <p><strong>${t('kit.caution')}</strong> ${about.map((a) => t(`kit.caution_${a}`)).join(' ')} ${t('kit.caution_codes')}</p></aside>`;
}
/** Nothing to show: why, and what to do. @param {{title: any, children?: any}} p */
export const Empty = ({ title, children }) => html`<div class="empty"><p><strong>${title}</strong></p>${children && html`<div>${children}</div>`}</div>`;
/** @param {{label: string, value?: number, max?: number, says?: string}} p  no value: it goes on, nobody knows how long */
export function Progress({ label, value, max = 1, says }) {
  const id = useId();
  return html`<div class="progress"><label for=${id}>${label}</label><progress id=${id} max=${max} value=${value}></progress>${says && html`<span class="quiet">${says}</span>`}</div>`;
}
/** @param {{what?: string}} p */
export const Loading = ({ what }) => html`<p class="loading quiet" role="status">${what ?? t('kit.loading')}</p>`;

/** What went wrong, at the top of an act. @param {{error: Error|null|undefined, onAgain?: () => void}} p */
export function Trouble({ error, onAgain }) {
  /** @type {{current: HTMLDivElement|null}} */
  const place = useRef(null);
  useEffect(() => { // the button that was pressed may stand far below
    const at = error && place.current?.getBoundingClientRect();
    if (at && (at.top < 0 || at.bottom > innerHeight)) place.current?.scrollIntoView({ block: 'center' });
  }, [error]);
  return html`<div role="alert" class="trouble-place" ref=${place}>${error && html`<div class="trouble"><${Mark} grade="stop" /> <p>${says(error)}</p>
    ${onAgain && html`<${Button} kind="quiet" onPress=${onAgain}>${t('kit.again')}<//>`}</div>`}</div>`;
}
/** A sentence for a person of any error. @param {Error} error */
export function says(error) {
  if (error instanceof Problem) return error.detail || t('kit.failed', { n: error.status });
  if (error instanceof Away) return t('kit.away');
  return error.message;
}
/** The text of an error if it concerns this field. @param {Error|null|undefined} error @param {string} field */
export const errorAt = (error, field) => (error instanceof Problem && (error.where === field || error.where?.endsWith(`.${field}`)) ? error.detail : undefined);
/** The same error unless one of these fields shows it. @param {Error|null|undefined} error @param {string[]} fields */
export const errorElsewhere = (error, fields) => (fields.some((f) => errorAt(error, f)) ? null : error);

/** @typedef {{id: number, text: string, undo?: () => Promise<any>, bad?: boolean, until: number}} NoticeRow */
/** @type {import('@preact/signals').Signal<NoticeRow[]>} */
export const notices = signal([]);
let made = 0;
/** Says something at the foot of the page; undo: offered for ten seconds, also by the key u. @param {string} text @param {{undo?: () => Promise<any>, bad?: boolean}} [o] */
export function notice(text, o = {}) {
  const id = ++made, lasts = o.undo ? 10000 : o.bad ? 12000 : 5000;
  notices.value = [...notices.value.slice(-2), { id, text, ...o, until: Date.now() + lasts }];
  const end = () => {
    if (document.querySelector('.notices:hover, .notices:focus-within')) setTimeout(end, 2000);
    else notices.value = notices.value.filter((n) => n.id !== id);
  };
  setTimeout(end, lasts);
}
/** The newest act that can be taken back: the key u is its. */
const newest = () => notices.value.findLast((n) => n.undo);
/** Takes an act back: the newest, or that of a notice. @param {NoticeRow} [row] */
export async function undoLast(row = newest()) {
  if (!row) return;
  notices.value = notices.value.filter((n) => n !== row);
  try {
    await row.undo?.();
    notice(t('kit.undone'));
  } catch (e) {
    notice(says(/** @type {Error} */ (e)), { bad: true });
  }
}
/** The shell shows this once. */
export function Notices() {
  return html`<div class="notices" role="status" aria-live="polite">${notices.value.map((n) => html`<div key=${n.id} class="notice ${n.bad ? 'bad' : ''}">
    ${n.bad && html`<${Mark} grade="stop" />`}<p>${n.text}</p>
    ${n.undo && html`<${Button} kind="quiet" hotkey=${n === newest() ? 'u' : undefined} onPress=${() => undoLast(n)}>${t('kit.undo')}<//>`}
    <button type="button" class="close" aria-label=${t('kit.close')} onClick=${() => { notices.value = notices.value.filter((x) => x !== n); }}>\u00d7</button></div>`)}</div>`;
}

/** A list in order of time. rows: at (ms) or a word, what, acts. now: a line is drawn before the first row after it.
 * @param {{label: string, rows: {key: any, at?: number, word?: string, what: any, more?: any, acts?: any, late?: boolean}[], now?: number}} p */
export function TimeLine({ label, rows, now }) {
  const first = now === undefined ? -1 : rows.findIndex((r) => r.at !== undefined && r.at > now);
  return html`<ol class="time-line" aria-label=${label}>${rows.map((r, i) => html`<li key=${r.key} class="${r.late ? 'late' : ''} ${i === first && i > 0 ? 'next' : ''}">
    <span class="at">${r.at !== undefined ? html`<time dateTime=${new Date(r.at).toISOString()}>${r.word ?? clock(r.at)}</time>` : r.word}</span>
    <div class="what">${r.what}${r.more && html`<p class="quiet">${r.more}</p>`}</div><div class="acts">${r.acts}</div></li>`)}</ol>`;
}
/** @param {{children?: any}} p */
export const PrintButton = ({ children }) => html`<${Button} kind="quiet" onPress=${() => window.print()}>${children ?? t('kit.print')}<//>`;
/** Marks a part of a page in which something was typed and not yet booked: the page isn't loaded anew meanwhile. @param {boolean} dirty */
export function useDirty(dirty) {
  useEffect(() => {
    if (!dirty) return undefined;
    const mark = document.createElement('i');
    mark.hidden = true;
    mark.dataset.dirty = '';
    document.body.append(mark);
    return () => mark.remove();
  }, [dirty]);
}
