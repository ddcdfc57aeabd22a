// Every text a person reads: t('today.take_off', {name, n}). SPDX-License-Identifier: Apache-2.0
import { signal } from '@preact/signals';

/** @typedef {'en'|'de'} Language */
/** @type {{key: Language, name: string}[]} */
export const languages = [{ key: 'en', name: 'English' }, { key: 'de', name: 'Deutsch' }];
/** @type {import('@preact/signals').Signal<Language>} */
export const language = signal('en');
/** @type {import('@preact/signals').Signal<Record<string, string|Record<string, string>>>} */
const catalogue = signal({});

/** Store that may be switched off in a browser. */
export const store = {
  /** @param {string} key */
  get(key) {
    try { return localStorage.getItem(`proveout.${key}`); } catch { return null; }
  },
  /** @param {string} key @param {string|null} value */
  set(key, value) {
    try {
      if (value === null) localStorage.removeItem(`proveout.${key}`);
      else localStorage.setItem(`proveout.${key}`, value);
    } catch { /* not kept, then */ }
  },
};

/** @param {Language} which */
async function load(which) {
  const all = which === 'de' ? await import('words:de') : await import('words:en');
  catalogue.value = all.default;
  language.value = which;
  document.documentElement.lang = which;
}
/** What was chosen here, else what the browser speaks, else English. */
export async function startWords() {
  const chosen = store.get('language') ?? navigator.languages.map((l) => l.slice(0, 2)).find((l) => languages.some((x) => x.key === l)) ?? 'en';
  await load(chosen === 'de' ? 'de' : 'en');
}
/** @param {Language} which */
export async function speak(which) {
  store.set('language', which);
  await load(which);
}

const names = new Set(['run', 'rerun', 'ticket', 'event', 'place', 'line', 'member', 'spool', 'stick', 'number', 'code']);

/**
 * A text of the catalogue. A value that is an object ({"one": ..., "other": ...}) is chosen by the plural of `n`; {name} is replaced;
 * numbers are written by the language, but those that name something (a run, a ticket, a place, a line) stay as they are.
 * @param {string} key @param {Record<string, any>} [values]
 */
export function t(key, values) {
  let text = catalogue.value[key];
  if (typeof text === 'object') {
    const n = Number(values?.n ?? 0);
    text = (n === 0 ? text.zero : undefined) ?? text[new Intl.PluralRules(language.value).select(n)] ?? text.other;
  }
  if (text === undefined) return key;
  return text.replace(/\{(\w+)\}(\.(?!\.))?/g, (_, name, stop = '') => {
    const v = values?.[name];
    const put = typeof v === 'number' && !names.has(name) ? new Intl.NumberFormat(language.value).format(v) : v === undefined ? '' : String(v);
    return put.endsWith('.') ? put : put + stop; // "1. Dez." ends a sentence by its own full stop
  });
}
/** Is there such a text? For words that the server names, such as outcomes: has(`words.${x}`). @param {string} key */
export const has = (key) => catalogue.value[key] !== undefined;
