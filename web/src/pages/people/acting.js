// What people, spools, machines and book share: one act with undo, a form for an act, days and figures read from fields. SPDX-License-Identifier: Apache-2.0
import { act, Button, Choice, dayKey, Dialog, errorAt, errorElsewhere, Field, has, html, notice, t, Trouble, useDirty, useId, useState } from '../../kit/index.js';

/** One act of the page: booked, said with undo; what the book refused stands in `error`. */
export function useActs() {
  const [error, setError] = useState(/** @type {Error|null} */ (null));
  /** @param {string} name @param {Record<string, any>} body @param {string} says @param {{undo?: boolean}} [o] undo false: it can't be taken back */
  const book = async (name, body, says, o = {}) => {
    try {
      const done = await act(name, body);
      setError(null);
      notice(says, o.undo === false ? {} : { undo: () => act('undo', { event: done.event }) });
      return done;
    } catch (e) {
      setError(/** @type {Error} */ (e));
      return null;
    }
  };
  return { error, setError, book };
}

/** The first moment after a day of the shop's zone ("2026-12-18"), ms. @param {string} key */
export function dayOver(key) {
  const noon = Date.parse(`${key}T12:00:00Z`);
  if (!Number.isFinite(noon)) return NaN;
  let low = noon - 24 * 3600000, high = noon + 48 * 3600000; // zones differ by 14 hours at most
  while (high - low > 1) {
    const middle = Math.floor((low + high) / 2);
    if (dayKey(middle) > key) high = middle;
    else low = middle;
  }
  return high;
}
/** The first moment of a day of the shop's zone: when the day before is over. @param {string} key */
export const dayBegins = (key) => dayOver(new Date(Date.parse(`${key}T12:00:00Z`) - 86400000).toISOString().slice(0, 10));
/** A figure as it is typed here, with a comma or a point; NaN: none. @param {string} text @param {number} times */
export function figure(text, times = 1) {
  const plain = text.trim().replace(/\s/g, '').replace(',', '.');
  return /^\d+(\.\d*)?$/.test(plain) ? Math.round(Number(plain) * times) : NaN;
}
const factors = { metres: 1e6, grams: 1000, mm: 1000, money: 100, celsius: 1, hours: 60, whole: 1 };
const units = { metres: 'm', grams: 'g', mm: 'mm', celsius: '°C', hours: 'h' };

/** @typedef {{name: string, label: string, kind?: 'text'|'long'|'choice'|'day'|'begin'|'metres'|'grams'|'mm'|'money'|'celsius'|'hours'|'whole', options?: {value: any, label: string}[], hint?: string, required?: boolean, unit?: string, start?: any, list?: string[]}} ActField */

/** A choice among more than a few: the browser's own list. @param {{label: string, value: any, options: {value: any, label: string}[], onChange: (v: any) => void, hint?: string, error?: string}} p */
export function Select(p) {
  const id = useId();
  return html`<div class="field ${p.error ? 'faulty' : ''}"><label for=${id}>${p.label}</label>${p.hint && html`<p class="hint" id="${id}h">${p.hint}</p>`}
    <select id=${id} value=${p.value} aria-describedby=${p.hint ? `${id}h` : undefined} onChange=${(/** @type {any} */ e) => p.onChange(e.currentTarget.value)}>${p.options.map((o) => html`<option key=${o.value} value=${o.value} selected=${o.value === p.value}>${o.label}</option>`)}</select>
    ${p.error && html`<p class="error">${p.error}</p>`}</div>`;
}

/** A dialog that fills one act. fixed: fields that are known; says: what is told when it is booked; check(body): a text keeps it from being sent.
 * @param {{title: string, act: string, fields: ActField[], fixed?: Record<string, any>, press: string, says: (body: any) => string, onClose: () => void, onDone?: (done: any, body: any) => void, undo?: boolean, danger?: boolean, lead?: any, children?: any,
 *   complete?: (body: any) => any}} p  complete: what the fields say made into the act's body */
export function ActDialog(p) {
  const [v, setV] = useState(/** @type {Record<string, any>} */ (Object.fromEntries(p.fields.map((f) => [f.name, f.start ?? (f.kind === 'choice' ? f.options?.[0]?.value : '')]))));
  const [wrong, setWrong] = useState(/** @type {Record<string, string>} */ ({}));
  const [busy, setBusy] = useState(false);
  const { error, book } = useActs();
  useDirty(p.fields.some((f) => f.kind !== 'choice' && v[f.name] !== (f.start ?? '')));
  const send = async () => {
    if (busy) return;
    /** @type {Record<string, any>} */ const body = { ...p.fixed };
    /** @type {Record<string, string>} */ const faults = {};
    for (const f of p.fields) {
      const text = typeof v[f.name] === 'string' ? v[f.name].trim() : v[f.name];
      if (text === '' || text === undefined) {
        if (f.required) faults[f.name] = t('people.needed');
      } else if (f.kind === 'day' || f.kind === 'begin') {
        body[f.name] = Number.isNaN(Date.parse(text)) ? NaN : (f.kind === 'day' ? dayOver : dayBegins)(text);
        if (Number.isNaN(body[f.name])) faults[f.name] = t('people.no_day');
      } else if (f.kind && f.kind in factors) {
        body[f.name] = figure(text, factors[/** @type {keyof typeof factors} */ (f.kind)]);
        if (Number.isNaN(body[f.name])) faults[f.name] = t('people.no_figure');
      } else {
        body[f.name] = text;
      }
    }
    setWrong(faults);
    if (Object.keys(faults).length) return;
    setBusy(true);
    const whole = p.complete?.(body) ?? body;
    const done = await book(p.act, whole, p.says(whole), { undo: p.undo });
    setBusy(false);
    if (done) {
      p.onDone?.(done, whole);
      p.onClose();
    }
  };
  return html`<${Dialog} title=${p.title} onClose=${p.onClose} onSubmit=${send} acts=${html`<${Button} onPress=${p.onClose}>${t('people.leave')}<//><${Button} type="submit" kind=${p.danger ? 'danger' : 'main'} busy=${busy}>${p.press}<//>`}>
    <${Trouble} error=${errorElsewhere(error, p.fields.map((f) => f.name))} />
    ${p.lead && html`<p>${p.lead}</p>`}
    ${p.fields.map((f, i) => {
      const set = (/** @type {any} */ x) => setV((now) => ({ ...now, [f.name]: x })), fault = wrong[f.name] ?? errorAt(error, f.name);
      if (f.kind === 'choice') {
        return (f.options?.length ?? 0) > 6 ? html`<${Select} key=${f.name} label=${f.label} hint=${f.hint} value=${v[f.name]} options=${f.options} onChange=${set} error=${fault} />`
          : html`<div key=${f.name}><${Choice} label=${f.label} hint=${f.hint} value=${v[f.name]} options=${f.options} onChange=${set} />${fault && html`<p class="error">${fault}</p>`}</div>`;
      }
      return html`<${Field} key=${f.name} label=${f.label} hint=${f.hint} value=${v[f.name]} onInput=${set} required=${f.required} error=${fault} unit=${f.unit ?? (f.kind ? /** @type {any} */ (units)[f.kind] : undefined)} autofocus=${i === 0}
        rows=${f.kind === 'long' ? 2 : undefined} type=${f.kind === 'day' || f.kind === 'begin' ? 'date' : undefined} inputmode=${f.kind && f.kind in factors ? 'decimal' : undefined} list=${f.list} maxlength=${!f.kind || f.kind === 'long' ? 1000 : undefined} />`;
    })}
    ${p.children}<//>`;
}

/** A word of the book in the language, else as the book writes it. @param {string} kind @param {string|null|undefined} word */
export const bookWord = (kind, word) => (!word ? '' : has(`book-words.${kind}_${word}`) ? t(`book-words.${kind}_${word}`) : word);
/** A plain bar of shares of a whole, with the words beside it as text. parts: each a share from 0 to 1 and a class.
 * @param {{parts: {share: number, kind: string}[], says: any}} p */
export function PlainBar({ parts, says }) {
  let at = 0;
  return html`<div class="plain-bar"><svg viewBox="0 0 100 10" preserveAspectRatio="none" aria-hidden="true" focusable="false"><rect class="whole" x="0" y="0" width="100" height="10" />
    ${parts.map((q) => { const x = at, wide = Math.max(0, Math.min(100 - at, q.share * 100)); at += wide; return html`<rect key=${q.kind} class=${q.kind} x=${x} y="0" width=${wide} height="10" />`; })}</svg><p>${says}</p></div>`;
}
